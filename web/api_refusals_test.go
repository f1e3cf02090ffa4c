package web

import (
	"bytes"
	"fmt"
	"net/http"
	"os"
	"path"
	"strings"
	"testing"

	"proveout/job"
	"proveout/shop"
	"proveout/store"
)

// refusal is a problem document as anybody reads it.
type refusal struct {
	Type, Title, Detail, Safe, Do string
	Status                        int
}

// TestRefusalsAreNoFailures: what a person can bring about is refused with words, and
// is never a failure of the workbench.
func TestRefusalsAreNoFailures(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	log, err := os.ReadFile("../examples/01-stumble-on-the-hill/captures/modules.log")
	if err != nil {
		t.Fatal(err)
	}
	begin := func(size int64, out any) int {
		code, _ := b.call("POST", "/uploads", map[string]any{"name": "modules.log", "size": size}, out)
		return code
	}
	patch := func(up string, data []byte) int {
		r, err := http.NewRequestWithContext(t.Context(), "PATCH", w.url+apiPrefix+"/uploads/"+up, bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Upload-Offset", "0")
		r.Header.Set("Accept", "application/json")
		code, _, _ := b.send(r)
		return code
	}
	for _, size := range []int64{store.MaxCapture + 1, 1 << 40, 1 << 62} {
		var p refusal
		if code := begin(size, &p); code != 413 || p.Type != "/problems/capture_too_big" || p.Do == "" || p.Detail == "" {
			t.Errorf("a file of %d bytes: %d %+v", size, code, p)
		}
	}
	var up struct{ ID string }
	if code := begin(10, &up); code != 201 || patch(up.ID, log) != 413 {
		t.Error("more bytes than announced were not refused as too many")
	}
	if code := begin(int64(len(log)), &up); code != 201 || patch(up.ID, log) != 204 {
		t.Fatalf("the log was not taken: %d", code)
	}
	var sealed shop.Uploaded
	if code, _ := b.call("POST", "/uploads/"+up.ID+"/finish", nil, &sealed); code != 200 {
		t.Fatalf("sealed: %d", code)
	}
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": "c", "type": job.CaptureAddedType, "payload": map[string]any{"sha256": sealed.SHA256, "name": "modules.log", "size": sealed.Size, "form": map[string]any{"kind": "diagnostic"}}}, nil); code != 201 {
		t.Fatalf("added: %d", code)
	}
	// An empty file is sealed like any other, and then read as none.
	if code := begin(0, &up); code != 201 {
		t.Fatalf("an empty file: %d", code)
	}
	var none shop.Uploaded
	if code, _ := b.call("POST", "/uploads/"+up.ID+"/finish", nil, &none); code != 200 {
		t.Fatalf("sealed empty: %d", code)
	}
	var p refusal
	if code, _ := b.call("POST", "/captures/"+none.SHA256+"/preview", map[string]any{"name": "none.csv"}, &p); code != 422 || !strings.Contains(p.Detail, "empty") {
		t.Errorf("a preview of an empty file: %d %+v", code, p)
	}
	p = refusal{}
	if code, _ := b.call("GET", "/jobs/"+id+"/items/1/samples?channel=0&from=0&to=10&px=10", nil, &p); code != 422 || p.Detail == "" {
		t.Errorf("samples of a log of messages: %d %+v", code, p)
	}
}

// TestALineOfARunFromElsewhere: entries that only a run or the workbench writes are
// refused from outside, and the run goes on.
func TestALineOfARunFromElsewhere(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2409")
	code, _, res := b.post("/jobs/"+id+"/procedures", "procedure", "epb_caliper_pads", "key", "run")
	if code != 200 {
		t.Fatalf("no run begun: %d", code)
	}
	run := path.Base(res.Request.URL.Path)
	events := "/jobs/" + id + "/procedures/" + run + "/events"
	look := func(key string) int {
		code, _ := b.call("POST", events, map[string]any{"key": key, "payload": map[string]any{"kind": "look", "step": "architecture", "how": "attested", "outcome": "motor_on_caliper"}}, nil)
		return code
	}
	list, err := w.bench.Entries(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range list {
		if !strings.HasPrefix(e.Type, "procedure_") {
			continue
		}
		var p refusal
		if code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": fmt.Sprint("copy", i), "type": e.Type, "payload": e.Payload}, &p); code != 422 || p.Do == "" {
			t.Errorf("a copy of %s: %d %+v", e.Type, code, p)
		}
	}
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": "c", "type": job.ConclusionType, "payload": map[string]any{}}, nil); code != 422 {
		t.Errorf("a conclusion from outside: %d", code)
	}
	if code := look("first"); code != 200 {
		t.Errorf("the run takes no event afterwards: %d", code)
	}
}

// TestRefusalsAreInTheDocument: the codes that a write and an upload give are there,
// and the problem document has the fields it is sent with.
func TestRefusalsAreInTheDocument(t *testing.T) {
	b := openShop(t).unlocked()
	var d struct {
		Paths map[string]map[string]struct {
			Responses map[string]any `json:"responses"`
		} `json:"paths"`
		Components struct {
			Schemas map[string]struct {
				Properties map[string]any `json:"properties"`
			} `json:"schemas"`
		} `json:"components"`
	}
	if code, _ := b.call("GET", "/openapi.json", nil, &d); code != 200 {
		t.Fatal(code)
	}
	got := d.Components.Schemas["ApiProblem"].Properties
	for _, field := range []string{"type", "title", "status", "detail", "instance", "safe", "do", "errors"} {
		if got[field] == nil {
			t.Errorf("the problem document lacks %q: %v", field, got)
		}
	}
	for at, codes := range map[[2]string][]int{
		{"/jobs/{id}/entries", "post"}:          {201, 400, 403, 404, 409, 413, 415, 422, 507},
		{"/uploads", "post"}:                    {201, 413, 507},
		{"/uploads/{id}", "patch"}:              {204, 409, 413},
		{"/jobs/{id}/items/{n}/samples", "get"}: {200, 400, 404, 422},
		{"/uploads/{id}", "head"}:               {200, 404},
	} {
		r := d.Paths[at[0]][at[1]].Responses
		for _, c := range codes {
			if r[fmt.Sprint(c)] == nil {
				t.Errorf("%s %s: %d is not told; %v are", at[1], at[0], c, sortedKeys(r))
			}
		}
	}
}
