package web

import (
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
)

// TestACaptureIsMappedAgain: kept with a wrong unit and cylinder, read another way from
// the item's page; the old reading stays, set aside with the reason, and what the page
// does not ask of it goes along.
func TestACaptureIsMappedAgain(t *testing.T) {
	b := openShop(t).unlocked()
	id := b.receive("QL-1")
	data, err := os.ReadFile(snapFile)
	if err != nil {
		t.Fatal(err)
	}
	_, page, res := b.postFileOf("/jobs/"+id+"/add", "file", "snap.csv.gz", data)
	col := regexp.MustCompile(`name="column" value="(\d+)"`).FindStringSubmatch(page)
	if col == nil {
		t.Fatal("no column is shown")
	}
	q := res.Request.URL.Query()
	wrong := url.Values{"sha": {q.Get("sha")}, "name": {q.Get("name")}, "kind": {"ignition_primary"}, "cylinder": {"2"}, "state": {"idle"}, "placement": {"1"}, "calibrated": {"no"}, "note": {"left bank"}, "column": {col[1]}, "as " + col[1]: {"ignition_primary"}, "unit " + col[1]: {"V"}, "key": {"k"}}
	if code, page, _ := b.postValues("/jobs/"+id+"/captures", wrong); code != 200 || !strings.Contains(page, "/add?map=1") {
		t.Fatalf("kept: %d\n%s", code, plainText(page))
	}
	code, page, _ := b.get("/jobs/" + id + "/add?map=1")
	for _, want := range []string{`value="ignition_primary" selected`, `name="cylinder" value="2" checked`, `name="state" value="idle" checked`, `name="placement" value="1"`, `name="note" value="left bank"`, `name="map" value="1"`, "Its columns were read wrong", "Keep as item 2, set item 1 aside"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not begin with %s", want)
		}
	}
	if t.Failed() {
		t.Fatalf("%d\n%s", code, plainText(page))
	}
	right := url.Values{}
	for k, v := range wrong {
		right[k] = v
	}
	right.Set("map", "1")
	right.Set("kind", "ignition_secondary")
	right.Set("cylinder", "3")
	right.Set("state", "snap")
	right.Set("as "+col[1], "ignition_secondary")
	right.Set("unit "+col[1], "mV")
	right.Set("key", "k2")
	if code, _, _ := b.postValues("/jobs/"+id+"/captures", right); code != 422 {
		t.Errorf("without a reason: %d", code)
	}
	right.Set("reason", "the clamp was on coil 3")
	code, page, res = b.postValues("/jobs/"+id+"/captures", right)
	if code != 200 || res.Request.URL.Path != "/jobs/"+id+"/items/2" || !strings.Contains(page, "burn time") {
		t.Fatalf("mapped again: %d at %s\n%s", code, res.Request.URL, plainText(page))
	}
	if _, page, _ = b.get("/jobs/" + id + "/items/1"); !strings.Contains(page, "the clamp was on coil 3; read again as item 2") {
		t.Errorf("item 1 does not say why it does not count\n%s", plainText(page))
	}
	if got := strings.Join(b.entries(id), " "); !strings.HasSuffix(got, "capture_added capture_added retaken set_aside") {
		t.Errorf("the record holds %s", got)
	}
	right.Set("sha", strings.Repeat("0", 64)) // another file under this item's number
	if code, _, _ := b.postValues("/jobs/"+id+"/captures", right); code != 422 {
		t.Errorf("another file: %d", code)
	}
}

// TestWhatThePageDoesNotAskIsKept: facts, warm or wet, a column's scale of a job folder
// outlive a new mapping.
func TestWhatThePageDoesNotAskIsKept(t *testing.T) {
	was := `{"item":3,"file":"captures/a.csv","kind":"cranking","cylinder":2,"condition":{"state":"idle","warm":"warm"},"known":{"crank_teeth":"36-1"},"columns":[{"column":"CHA","as":"sync","scale":"10","unit":"V"},{"column":2,"as":"time"}]}`
	q := url.Values{"kind": {"crank_edges"}, "state": {"cranking"}, "column": {"1", "2"}, "as 1": {"crank"}, "named 1": {"CHA"}, "as 2": {"ignore"}}
	want := `{"columns":[{"as":"crank","column":"1","scale":"10"},{"as":"ignore","column":"2"}],"condition":{"state":"cranking","warm":"warm"},"kind":"crank_edges","known":{"crank_teeth":"36-1"}}`
	if got := string(formOf(q, []byte(was))); got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
}

// TestAFileThatDoesNotReadIsNoCapture: it says why, what is safe and what to do, offers
// nothing to keep, and is not kept by a form that is sent all the same.
func TestAFileThatDoesNotReadIsNoCapture(t *testing.T) {
	b := openShop(t).unlocked()
	id := b.receive("QL-2")
	for _, lang := range []string{"en", "de"} {
		b.post("/look", "lang", lang, "back", "/join")
		_, page, res := b.postFileOf("/jobs/"+id+"/add", "file", "zeros.bin", make([]byte, 5000))
		for _, want := range map[string][]string{
			"en": {"This file could not be read", "not text and no format known here", "It is no item of the job", "Export the capture again"},
			"de": {"Diese Datei war nicht zu lesen", "kein Text und kein hier bekanntes Format", "kein Beleg", "Die Aufnahme am Gerät neu ausgeben"},
		}[lang] {
			if !strings.Contains(page, want) {
				t.Errorf("%s: does not say %q\n%s", lang, want, plainText(page))
			}
		}
		if strings.Contains(page, `id="keep"`) {
			t.Errorf("%s: it can be kept", lang)
		}
		q := res.Request.URL.Query()
		code, page, _ := b.post("/jobs/"+id+"/captures", "sha", q.Get("sha"), "name", q.Get("name"), "key", "k")
		if code != 422 || len(plainText(page)) < 100 {
			t.Errorf("%s: kept: %d", lang, code)
		}
	}
	if got := strings.Join(b.entries(id), " "); strings.Contains(got, "capture_added") {
		t.Errorf("the record holds %s", got)
	}
}
