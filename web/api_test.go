package web

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proveout/job"
	"proveout/shop"
)

// call sends JSON to the API and reads the answer into out.
func (b *browser) call(method, path string, in, out any, headers ...string) (int, http.Header) {
	b.Helper()
	var body io.Reader
	if in != nil {
		data, err := json.Marshal(in)
		if err != nil {
			b.Fatal(err)
		}
		body = bytes.NewReader(data)
	}
	r, err := http.NewRequestWithContext(b.Context(), method, b.url+apiPrefix+path, body)
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Accept", "application/json")
	if in != nil {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	code, text, res := b.send(r)
	if out != nil {
		if err := json.Unmarshal([]byte(text), out); err != nil {
			b.Fatalf("%s %s: %d, %v\n%s", method, path, code, err, text)
		}
	}
	return code, res.Header
}

func note(key, text string) map[string]any {
	return map[string]any{"key": key, "type": job.NoteType, "payload": map[string]any{"text": text}}
}

// TestCommandsByKey: the same key again gives the same receipt, another body under it
// is refused, and nothing is written twice.
func TestCommandsByKey(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	var first, again shop.Receipt
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", note("k1", "a"), &first); code != 201 || first.Entry == "" {
		t.Fatalf("written: %d %+v", code, first)
	}
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", note("k1", "a"), &again); code != 200 || again.Entry != first.Entry || !again.Again {
		t.Errorf("again: %d %+v", code, again)
	}
	var p apiProblem
	if code, h := b.call("POST", "/jobs/"+id+"/entries", note("k1", "b"), &p); code != 409 || p.Type != "/problems/key_used" || h.Get("Content-Type") != "application/problem+json" {
		t.Errorf("another body under the key: %d %+v %s", code, p, h.Get("Content-Type"))
	}
	if got := w.entries(id); !slices.Equal(got, []string{"received", "note"}) {
		t.Errorf("entries %v", got)
	}
}

// TestReplayedAndReorderedWrites: commands with a device's own counter come in any
// order, some twice, and stand in the order they were done.
func TestReplayedAndReorderedWrites(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	var wg sync.WaitGroup
	for _, n := range []int64{3, 1, 2, 3, 5, 4, 1} {
		wg.Go(func() {
			c := note(fmt.Sprintf("n%d", n), fmt.Sprintf("note %d", n))
			c["n"] = n
			if code, _ := b.call("POST", "/jobs/"+id+"/entries", c, nil); code != 200 && code != 201 {
				t.Errorf("command %d: %d", n, code)
			}
		})
		time.Sleep(20 * time.Millisecond)
	}
	wg.Wait()
	list, err := w.bench.Entries(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range list {
		var n job.Note
		if e.Type == job.NoteType && json.Unmarshal(e.Payload, &n) == nil {
			got = append(got, n.Text)
		}
	}
	if want := []string{"note 1", "note 2", "note 3", "note 4", "note 5"}; !slices.Equal(got, want) {
		t.Errorf("they stand as %v", got)
	}
}

// TestARequestOutlivesTheHold: a command whose forerunner never comes is taken late, not
// stopped with the request that carries it.
func TestARequestOutlivesTheHold(t *testing.T) {
	if shop.HoldFor > requestTime/2 {
		t.Errorf("a command is held for %s, a request for %s", shop.HoldFor, requestTime)
	}
}

// TestClocksAnHourApart: a device an hour ahead writes what its clock says; the order
// is the shop's, and times worked out from it are never below zero.
func TestClocksAnHourApart(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	for i, off := range []time.Duration{time.Hour, -time.Hour} {
		c := map[string]any{"key": fmt.Sprint("p", i), "type": job.TimePunchType, "payload": map[string]any{"what": []string{"in", "out"}[i]}, "wall": time.Now().Add(off)}
		if code, _ := b.call("POST", "/jobs/"+id+"/entries", c, nil); code != 201 {
			t.Fatalf("punch %d: %d", i, code)
		}
	}
	var v shop.JobView
	if code, _ := b.call("GET", "/jobs/"+id, nil, &v); code != 200 || v.Minutes.Worked != 0 {
		t.Errorf("%d, %v minutes worked by clocks that disagree", code, v.Minutes.Worked)
	}
	if code, page, _ := b.get("/jobs/" + id); code != 200 || strings.Contains(page, "-120") {
		t.Errorf("the page: %d", code)
	}
}

// TestWritesNeedAPerson, by cookie or by the headers of a program.
func TestWritesNeedAPerson(t *testing.T) {
	w := openShop(t)
	id := w.unlocked().receive("2417")
	b := w.browser()
	var p apiProblem
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", note("k", "a"), &p); code != 403 || p.Type != "/problems/locked" {
		t.Errorf("nobody: %d %+v", code, p)
	}
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", note("k", "a"), &p, "X-Person", "p-ines", "X-Pin", "1111", "X-Device", "till-0001"); code != 403 || p.Type != "/problems/wrong_pin" {
		t.Errorf("wrong PIN: %d %+v", code, p)
	}
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", note("k", "a"), nil, "X-Person", "p-ines", "X-Pin", testPIN, "X-Device", "till-0001"); code != 201 {
		t.Errorf("right PIN: %d", code)
	}
	list, err := w.bench.Entries(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if e := list[len(list)-1]; e.Author != "p-ines" || e.Attested != "pin" || e.Device != "till-0001" {
		t.Errorf("the entry says %s, %s, %s", e.Author, e.Attested, e.Device)
	}
}

// TestNobodyTapsProven: a job closes as proven when its proof says so.
func TestNobodyTapsProven(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	if code, _, _ := b.post("/jobs/"+id+"/entries", "type", "closed", "result", "proven", "because", "sounds fine", "rev", w.rev(id)); code != http.StatusConflict {
		t.Errorf("by form: %d", code)
	}
	c := map[string]any{"key": "c", "type": job.ClosedType, "payload": map[string]any{"result": "proven", "because": "sounds fine"}}
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", c, nil); code != http.StatusConflict {
		t.Errorf("by the API: %d", code)
	}
	if got := w.entries(id); slices.Contains(got, "closed") {
		t.Errorf("entries %v", got)
	}
}

// TestUploadResumes where it was cut, and the same bytes again are recognised.
func TestUploadResumes(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	data := bytes.Repeat([]byte("0.001,4.5\n"), 3000)
	sha := ""
	for round := range 2 {
		var up struct {
			ID string `json:"id"`
		}
		if code, h := b.call("POST", "/uploads", map[string]any{"name": `C:\scope\..\..\a.csv`, "size": len(data)}, &up); code != 201 || h.Get("Location") != apiPrefix+"/uploads/"+up.ID {
			t.Fatalf("begin: %d %v", code, h)
		}
		patch := func(offset int, part []byte) (int, string) {
			r, err := http.NewRequestWithContext(t.Context(), "PATCH", w.url+apiPrefix+"/uploads/"+up.ID, bytes.NewReader(part))
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("Upload-Offset", fmt.Sprint(offset))
			r.Header.Set("Accept", "application/json")
			code, _, res := b.send(r)
			return code, res.Header.Get("Upload-Offset")
		}
		if code, at := patch(0, data[:10000]); code != 204 || at != "10000" {
			t.Fatalf("first part: %d, at %s", code, at)
		}
		if code, _ := patch(5, data[5:]); code != 409 { // the page then asks where to go on
			t.Errorf("bytes at the wrong place: %d", code)
		}
		if code, h := b.call("HEAD", "/uploads/"+up.ID, nil, nil); code != 200 || h.Get("Upload-Offset") != "10000" || h.Get("Upload-Length") != fmt.Sprint(len(data)) {
			t.Errorf("where it stands: %d %v", code, h)
		}
		if code, at := patch(10000, data[10000:]); code != 204 || at != fmt.Sprint(len(data)) {
			t.Fatalf("the rest: %d, at %s", code, at)
		}
		var done shop.Uploaded
		if code, _ := b.call("POST", "/uploads/"+up.ID+"/finish", nil, &done); code != 200 || done.Size != int64(len(data)) || done.Known != (round == 1) {
			t.Errorf("finish %d: %d %+v", round, code, done)
		}
		sha = done.SHA256
	}
	code, text, res := b.get(apiPrefix + "/captures/" + sha)
	if code != 200 || text != string(data) || !strings.Contains(res.Header.Get("Content-Disposition"), "attachment") || !strings.Contains(res.Header.Get("Content-Security-Policy"), "sandbox") {
		t.Errorf("the sealed file: %d, %d bytes, %v", code, len(text), res.Header)
	}
}

// TestEventsReachTheOtherDevice at once.
func TestEventsReachTheOtherDevice(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	r, err := http.NewRequestWithContext(t.Context(), "GET", w.url+apiPrefix+"/jobs/"+id+"/events", nil)
	if err != nil {
		t.Fatal(err)
	}
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	lines := make(chan string)
	go func() {
		defer close(lines)
		for in := bufio.NewScanner(res.Body); in.Scan(); {
			lines <- in.Text()
		}
	}()
	b.call("POST", "/jobs/"+id+"/entries", note("k", "a"), nil)
	end := time.After(5 * time.Second)
	for {
		select {
		case line := <-lines:
			if strings.HasPrefix(line, "data: ") && strings.Contains(line, `"note@1"`) {
				return
			}
		case <-end:
			t.Fatal("no event in 5 s")
		}
	}
}

// TestDocumentIsOpenAPI31 and names every operation, those of bytes and events too.
func TestDocumentIsOpenAPI31(t *testing.T) {
	w := openShop(t)
	var d struct {
		OpenAPI string                                `json:"openapi"`
		Paths   map[string]map[string]json.RawMessage `json:"paths"`
	}
	if code, _ := w.browser().call("GET", "/openapi.json", nil, &d); code != 200 || !strings.HasPrefix(d.OpenAPI, "3.1") {
		t.Fatalf("%d, OpenAPI %s", code, d.OpenAPI)
	}
	// Every address that is routed beside the library stands in it.
	for _, rt := range routes {
		method, path, _ := strings.Cut(rt.pattern, " ")
		path, ours := strings.CutPrefix(path, apiPrefix)
		if ours && path != "" {
			if _, ok := d.Paths[path][strings.ToLower(method)]; !ok {
				t.Errorf("the document does not have %s", rt.pattern)
			}
		}
	}
	for _, op := range []string{"get /board", "post /jobs", "get /jobs/{id}", "post /jobs/{id}/entries", "get /jobs/{id}/events", "get /events", "post /uploads", "patch /uploads/{id}", "head /uploads/{id}",
		"post /captures/{sha}/preview", "get /jobs/{id}/items/{n}/samples", "get /settings", "get /people"} {
		method, path, _ := strings.Cut(op, " ")
		if _, ok := d.Paths[path][method]; !ok {
			t.Errorf("the document does not have %s", op)
		}
	}
}

// TestTagsOfTheAPI: what has not changed is not sent again.
func TestTagsOfTheAPI(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	if _, err := w.bench.Answer(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	// The conclusion is written to the record a moment after the answer: until it is, the
	// job still changes by itself.
	code := 0
	var h http.Header
	for range 100 {
		_, h = b.call("GET", "/jobs/"+id, nil, nil)
		if code, _ = b.call("GET", "/jobs/"+id, nil, nil, "If-None-Match", h.Get("ETag")); code == 304 {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if code != 304 {
		t.Errorf("a job that nobody changes: %d", code)
	}
	b.call("POST", "/jobs/"+id+"/entries", note("k", "a"), nil)
	if code, _ := b.call("GET", "/jobs/"+id, nil, nil, "If-None-Match", h.Get("ETag")); code != 200 {
		t.Errorf("a changed job: %d", code)
	}
}

// TestDocumentSaysWhoMayWrite: every operation that writes names the ways to say who
// writes, each a scheme of the document; reading asks for none. Written without any of
// them, nothing is taken.
func TestDocumentSaysWhoMayWrite(t *testing.T) {
	w := openShop(t)
	var d struct {
		Paths map[string]map[string]struct {
			Security []map[string][]string `json:"security"`
		} `json:"paths"`
		Components struct {
			SecuritySchemes map[string]struct{ Type, In, Name, Scheme string } `json:"securitySchemes"`
		} `json:"components"`
	}
	b := w.browser()
	if code, _ := b.call("GET", "/openapi.json", nil, &d); code != 200 {
		t.Fatal(code)
	}
	for path, ops := range d.Paths {
		for method, op := range ops {
			if writes := method != "get" && method != "head"; writes != (len(op.Security) > 0) {
				t.Errorf("%s %s: security %v", method, path, op.Security)
			}
			for _, way := range op.Security {
				for name := range way {
					if d.Components.SecuritySchemes[name].Type == "" {
						t.Errorf("%s %s names the scheme %q, which is not described", method, path, name)
					}
				}
			}
		}
	}
	for name, want := range map[string]string{badgeScheme: "cookie badge", pinScheme: "header X-Pin", xDeviceScheme: "header X-Device", meterScheme: " "} {
		if s := d.Components.SecuritySchemes[name]; s.In+" "+s.Name != want {
			t.Errorf("%s: %+v", name, s)
		}
	}
	for _, path := range []string{"/jobs", "/jobs/x/entries", "/uploads", "/jobs/x/procedures/r/events"} {
		if code, _ := b.call("POST", path, map[string]any{"key": "k", "type": "note@1", "payload": map[string]any{}, "name": "a.csv", "size": 3}, nil); code != 403 && code != 400 && code != 422 {
			t.Errorf("POST %s by nobody: %d", path, code)
		}
	}
	if code, _ := b.call("POST", "/jobs/x/procedures/r/supply/w", map[string]any{"values": []float64{13.4}}, nil); code != 401 {
		t.Errorf("samples without a token: %d", code)
	}
}

// TestWrongMethod: an address that takes another method says so, and which.
func TestWrongMethod(t *testing.T) {
	s := server(t)
	for at, allow := range map[string]string{
		"DELETE /api/v1/jobs": "GET, HEAD, POST", "PUT /api/v1/jobs/j/entries": "GET, HEAD, POST", "GET /api/v1/jobs/j/procedures/r/events": "POST",
		"DELETE /api/v1/uploads/u": "HEAD, PATCH", "PUT /settings": "GET, HEAD, POST", "GET /jobs/j/entries": "POST", "POST /": "GET, HEAD",
	} {
		method, path, _ := strings.Cut(at, " ")
		w := do(t, s, method, path, "", "Accept", "application/json")
		var d Document
		_ = json.Unmarshal(w.Body.Bytes(), &d)
		if w.Code != 405 || w.Header().Get("Allow") != allow || d.Type != "/problems/wrong_method" || !strings.Contains(d.Title, method) {
			t.Errorf("%s: %d, Allow %q, want %q: %+v", at, w.Code, w.Header().Get("Allow"), allow, d)
		}
	}
	for _, at := range []string{"GET /nowhere", "POST /api/v1/nowhere"} {
		method, path, _ := strings.Cut(at, " ")
		if w := do(t, s, method, path, ""); w.Code != 404 || w.Header().Get("Allow") != "" {
			t.Errorf("%s: %d, Allow %q", at, w.Code, w.Header().Get("Allow"))
		}
	}
}
