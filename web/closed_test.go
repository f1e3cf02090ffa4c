package web

import (
	"strings"
	"testing"
)

func init() {
	row := pastRow{Job: "j", No: "2417", Plate: "QL 417 C", Vehicle: "V", Customer: "W. Castell", Said: "s <b>", Result: "proven", Ended: "25 Nov"}
	samples["closed"] = sample{empty: &closedPage{}, filled: &closedPage{Asked: `q"<b>`, Words: "2 jobs", Rows: []pastRow{row, {Job: "k", Erased: true, Practice: true}}, More: "/closed?before=3", Working: true}}
	samples["earlier"] = sample{empty: &earlierPage{ID: "j"}, filled: &earlierPage{ID: "j", Rows: []pastRow{row}, Heads: []string{"This job", "2403"}, Values: []earlierRow{{Name: "n", Subject: "cylinder 1", Unit: "mm", Cells: []string{"1.4 ± 0.1", ""}, Changed: "no"}}, Working: true, Late: true}}
}

// TestClosedJobIsReadOnly: it is found, opens with its report, and takes no more than a
// note until it is reopened.
func TestClosedJobIsReadOnly(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	b.post("/jobs/"+id+"/entries", "type", "closed", "result", "not_proven", "because", "customer needs the car", "rev", w.rev(id))
	_, page, _ := b.get("/closed?q=ql204t")
	for _, want := range []string{"QL 204 T", "T. Ostrey", "not proven, handed over", `href="/jobs/` + id + `/report"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the list does not say %q", want)
		}
	}
	if _, page, _ := b.get("/closed?q=nobody"); !strings.Contains(page, "No closed job matches") {
		t.Error("a search that finds nothing does not say so")
	}
	if _, page, _ := b.get("/jobs/" + id); !strings.Contains(page, "Closed: read only") {
		t.Error("the job does not say that it is closed")
	}
	if code, page, _ := b.post("/jobs/"+id+"/readings", "test", "plug_gap_others", "value.cyl1", "1.05", "unit", "mm"); code != 422 || !strings.Contains(page, "reopen it first") {
		t.Errorf("a reading in a closed job: %d", code)
	}
	if code, _, _ := b.post("/jobs/"+id+"/entries", "type", "note", "text", "asked for a copy", "rev", w.rev(id)); code != 200 {
		t.Errorf("a note in a closed job: %d", code)
	}
	var v struct{ Of int }
	if code, _ := b.call("GET", "/closed?q=ostrey", nil, &v); code != 200 || v.Of != 1 {
		t.Errorf("by the API: %d %+v", code, v)
	}
	next := b.receive("2501") // the same plate, back again
	if _, page, _ := b.get("/jobs/" + next); !strings.Contains(page, "1 other job of this vehicle") {
		t.Error("the job of a vehicle that was here before does not say so")
	}
	if code, page, _ := b.get("/jobs/" + next + "/earlier"); code != 200 || !strings.Contains(page, "2417") {
		t.Errorf("the earlier jobs: %d", code)
	}
}
