package web

import (
	"errors"
	"fmt"
	"html"
	"strconv"
	"strings"
	"testing"
	"time"

	"proveout/job"
	"proveout/shop"
)

// TestFormAndBenchHoldTheSameLimits: what the settings page takes the record takes, and
// nothing else, at the edges of every limit and past them.
func TestFormAndBenchHoldTheSameLimits(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	try := func(field string, v float64, set job.Settings) {
		t.Helper()
		code, _, _ := b.post("/settings", "units", "si", field, strconv.FormatFloat(v, 'f', -1, 64))
		var receipt shop.Receipt
		api, _ := b.call("POST", "/jobs/"+shop.ShopJob+"/entries", map[string]any{"key": fmt.Sprint(field, v), "type": job.SettingsChangedType, "payload": set}, &receipt)
		if (code == 200) != (api == 201) || code != 200 && (code != 422 || api != 422) {
			t.Errorf("%s = %v: the form answers %d, the API %d", field, v, code, api)
		}
	}
	for _, l := range job.SafetyLimits {
		for _, v := range []float64{l.From, l.To, (l.From + l.To) / 2, l.From - 0.001, l.To + 0.001, 0, -l.From} {
			try("limit."+l.ID, v, job.Settings{Thresholds: map[string]float64{l.ID: v}})
		}
	}
	for _, v := range []float64{0, job.MaxAccessMinutes, job.MaxAccessMinutes + 1, -1} {
		try("access.plugs_out", v, job.Settings{AccessMinutes: map[string]float64{"plugs_out": v}})
	}
}

// TestOrderedPartComes: ordered, here and fitted in a tap each, and the board says what
// it waits on.
func TestOrderedPartComes(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	tap := func(fields ...string) string {
		t.Helper()
		code, page, _ := b.post("/jobs/"+id+"/entries", append(fields, "rev", w.rev(id))...)
		if code != 200 {
			t.Fatalf("%v: %d %s", fields, code, plainText(page))
		}
		return page
	}
	page := tap("type", "part_ordered", "name", "ignition coil", "where", "cyl3")
	if _, board, _ := b.get("/"); !strings.Contains(board, "Waiting on a part: ignition coil") {
		t.Error("the board does not say what the job waits on")
	}
	page = tap("type", "part_arrived", "entry", inputValue(t, page, "entry"))
	if !strings.Contains(page, "here, not fitted") {
		t.Error("the job page does not say that the part is here")
	}
	if _, board, _ := b.get("/"); !strings.Contains(board, "Part is here: ignition coil") || strings.Contains(board, "Waiting on a part") {
		t.Error("the board does not say that the part is here")
	}
	page = tap("type", "part_fitted", "name", "ignition coil", "where", "cyl3")
	if strings.Contains(page, "here, not fitted") || strings.Contains(page, `value="part_arrived"`) {
		t.Error("a fitted part can still come")
	}
}

// TestBoardSaysWhichItemsDisagree, until one of them is set aside.
func TestBoardSaysWhichItemsDisagree(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	for i, v := range []string{"250", "380"} {
		form := map[string]any{"feature": "fuel.pressure_load", "value": v + " kPa", "condition": map[string]any{"state": "load", "warm": "warm"}}
		if code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": fmt.Sprint("r", i), "type": job.ReadingTypedType, "payload": map[string]any{"form": form}}, nil); code != 201 {
			t.Fatalf("reading %s kPa: %d", v, code)
		}
	}
	says := func(want bool) bool { // the board follows the odds, which are worked out behind it
		t.Helper()
		for end := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
			_, board, _ := b.get("/")
			if got := strings.Contains(html.UnescapeString(board), "Items 1+2 disagree"); got == want || time.Now().After(end) {
				return got
			}
		}
	}
	if !says(true) {
		t.Error("two gauges on one rail 130 kPa apart, and the board says nothing")
	}
	b.post("/jobs/"+id+"/entries", "type", "set_aside", "item", "1", "reason", "gauge sticks", "rev", w.rev(id))
	if says(false) {
		t.Error("the board still says so after one was set aside")
	}
}

// TestBoardAndJobPageOpenTheCorrectionTogether: once a direct test shows the cause, both
// send the person to put it right.
func TestBoardAndJobPageOpenTheCorrectionTogether(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	b.post("/jobs/"+id+"/readings", "test", "plug_gap_others", "value.cyl1", "1.05", "value.cyl2", "1.05", "value.cyl3", "1.59", "value.cyl4", "1.08", "unit", "mm")
	b.post("/jobs/"+id+"/entries", "type", "found", "test", "plug_swap", "subject", "cyl3", "result", "moves_and_returns", "rev", w.rev(id))
	a, err := w.bench.Answer(t.Context(), id)
	if err != nil || !a.CorrectionOpens() {
		t.Fatalf("the plug is not shown: %v", err)
	}
	v, err := w.bench.Job(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	if v.Next.ID != "correct" || v.Board.Stage != "correction" {
		t.Errorf("the board says %s at %s; the cause is shown and waits to be put right", v.Next.ID, v.Board.Stage)
	}
	if _, page, _ := b.get("/jobs/" + id); strings.Contains(page, "before it was shown") || !strings.Contains(page, "At Correction, part 5 of 6") {
		t.Error("the job page does not open the correction")
	}
}

// TestUndoThroughTheAPI takes back only what is there and may be taken back.
func TestUndoThroughTheAPI(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	list, err := w.bench.Entries(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	for name, entry := range map[string]string{"not there": "made-up", "none named": "", "what opened the job": list[0].ID} {
		var p apiProblem
		if code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": name, "type": job.UndoType, "payload": map[string]any{"entry": entry}}, &p); code != 422 || p.Safe == "" || p.Do == "" {
			t.Errorf("%s: %d %+v", name, code, p)
		}
	}
	var n shop.Receipt
	b.call("POST", "/jobs/"+id+"/entries", note("n", "a"), &n)
	if code, _ := b.call("POST", "/jobs/"+id+"/entries", map[string]any{"key": "u", "type": job.UndoType, "payload": map[string]any{"entry": n.Entry}}, nil); code != 201 {
		t.Errorf("a note: %d", code)
	}
	if _, err := w.bench.Answer(t.Context(), id); err != nil && !errors.Is(err, shop.ErrNothingRead) {
		t.Error(err)
	}
}
