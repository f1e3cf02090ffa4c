package shop

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"proveout/job"
	"proveout/procedure"
	"proveout/procedure/runner"
)

// ownText is a shipped procedure as a shop would make it its own.
func ownText(t *testing.T, edits ...string) []byte {
	t.Helper()
	text, err := procedure.ShippedText("window_initialisation")
	if err != nil {
		t.Fatal(err)
	}
	s := strings.Replace(string(text), "id: window_initialisation\n", "id: our_window\n", 1)
	for i := 0; i < len(edits); i += 2 {
		if !strings.Contains(s, edits[i]) {
			t.Fatalf("the text has no %q", edits[i])
		}
		s = strings.Replace(s, edits[i], edits[i+1], 1)
	}
	return []byte(s)
}

func offerIDs(t *testing.T, b *Bench) (ids []string) {
	t.Helper()
	offers, err := b.Procedures(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range offers {
		ids = append(ids, o.ID)
	}
	return ids
}

// A shop's own procedure is checked, kept, offered and run; the run goes on with the
// text it began with when the shop changes it, takes it off the list, or another shop
// takes the job in.
func TestOwnProcedureIsRun(t *testing.T) {
	clock := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	b := runBench(t, t.TempDir(), &clock, "a")
	id := openTorvane(t, b)
	add := func(key string, text []byte) Receipt {
		t.Helper()
		o, r, err := b.AddProcedure(t.Context(), text, Command{Key: key, Device: "tablet1", Author: "ines"})
		if err != nil {
			t.Fatal(err)
		}
		if o.ID != "our_window" || o.SHA256 != job.Digest(text) || !o.Own || o.Steps == 0 {
			t.Fatalf("%+v", o)
		}
		return r
	}
	first := ownText(t)
	added := add("add", first)
	if ids := offerIDs(t, b); ids[0] != "our_window" || len(ids) != len(procedure.Shipped())+1 {
		t.Fatalf("offered: %v", ids)
	}
	run, _, err := b.StartProcedure(t.Context(), id, "our_window", Command{Key: "start", Device: "tablet1", Author: "ruben"})
	if err != nil {
		t.Fatal(err)
	}
	h := &hand{t: t, b: b, clock: &clock, job: id, run: run, noMeter: true}
	h.do(RunEvent{Kind: runner.Note, Text: "begun"})
	// Another version: new runs get it, the one under way keeps its own.
	second := ownText(t, "title: Power window or roof, initialisation", "title: Windows our way")
	again := add("add2", second)
	other, _, err := b.StartProcedure(t.Context(), id, "our_window", Command{Key: "start2", Device: "tablet1", Author: "ruben"})
	if err != nil {
		t.Fatal(err)
	}
	if s := h.screen(); s.Title != "Power window or roof, initialisation" {
		t.Errorf("the run under way is shown as %q", s.Title)
	}
	if s, err := b.Procedure(t.Context(), id, other, "tablet1"); err != nil || s.Title != "Windows our way" {
		t.Errorf("a run of the new text: %v, %v", s, err)
	}
	// Off the list: the newer is undone, then the older; the runs go on.
	for _, entry := range []string{again.Entry, added.Entry} {
		if _, err := b.Write(t.Context(), ShopJob, cmd("undo "+entry, job.UndoType, job.Undo{Entry: entry})); err != nil {
			t.Fatal(err)
		}
	}
	if ids := offerIDs(t, b); slices.Contains(ids, "our_window") {
		t.Error("a procedure taken off the list is offered")
	}
	if _, _, err := b.StartProcedure(t.Context(), id, "our_window", Command{Key: "start3", Device: "tablet1", Author: "ruben"}); !isNotFound(err) {
		t.Errorf("a procedure taken off the list is started: %v", err)
	}
	h.do(RunEvent{Kind: runner.Note, Text: "goes on"})
	// In another shop, which never had it.
	dir := t.TempDir()
	if err := b.Export(t.Context(), id, dir+"/out", ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	there := runBench(t, t.TempDir(), &clock, "b")
	if _, err := there.Import(t.Context(), dir+"/out", "ida"); err != nil {
		t.Fatal(err)
	}
	h.b = there
	if s := h.screen(); s.Title != "Power window or roof, initialisation" {
		t.Errorf("in the other shop the run is shown as %q", s.Title)
	}
	h.do(RunEvent{Kind: runner.Note, Text: "goes on there"})
}

// What the checker does not pass is not taken, with the way to what must never happen;
// and no other way into the record lets it be run.
func TestOwnProcedureIsRefused(t *testing.T) {
	clock := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	b := runBench(t, t.TempDir(), &clock, "a")
	id := openTorvane(t, b)
	unsafe := ownText(t, `needs: [save_codes]`, `needs: [key_on]`, `interlock: {facts: {saved: "yes", ignition: "on"}}`, `interlock: {facts: {ignition: "on"}}`)
	for name, c := range map[string]struct {
		text []byte
		want string
	}{
		"a never rule can be broken":  {unsafe, "erased before they are saved"},
		"the id of a shipped one":     {ownText(t, "id: our_window\n", "id: epb_caliper_pads\n"), "comes with the program"},
		"a misspelt field":            {ownText(t, "summary:", "sumary:"), "sumary"},
		"no YAML":                     {[]byte("\t{"), "procedure.yaml"},
		"too long":                    {[]byte("# " + strings.Repeat("x", maxProcedureText)), "at most"},
		"a class that does not exist": {ownText(t, "systems: [power_closure]", "systems: [whatever]"), "whatever"},
	} {
		_, _, err := b.AddProcedure(t.Context(), c.text, Command{Key: name, Device: "tablet1", Author: "ines"})
		var no *RefusedProcedure
		if !errors.As(err, &no) || !strings.Contains(no.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
			continue
		}
		if name == "a never rule can be broken" && (no.Report == nil || no.Report.Passed || len(no.Report.Problems) == 0 || len(no.Report.Problems[0].Story) == 0) {
			t.Errorf("refused without a counterexample: %+v", no.Report)
		}
	}
	if n := len(offerIDs(t, b)); n != len(procedure.Shipped()) {
		t.Errorf("%d procedures are offered", n)
	}
	// Round the check: an entry that claims to be checked, a run that brings its text.
	added := job.ProcedureAdded{Procedure: "our_window", Title: "t", Version: 1, SHA256: job.Digest(unsafe), Text: string(unsafe), States: 9, Program: "test"}
	if _, err := b.Write(t.Context(), ShopJob, cmd("forged", job.ProcedureAddedType, added)); !errors.Is(err, ErrBadCommand) {
		t.Errorf("an entry that was not checked is taken: %v", err)
	}
	started := job.ProcedureStarted{Run: "forged", Procedure: "our_window", SHA256: job.Digest(unsafe), Text: string(unsafe)}
	if _, err := b.Write(t.Context(), id, cmd("brought", job.ProcedureStartedType, started)); !errors.Is(err, ErrBadCommand) {
		t.Errorf("a run from outside is taken: %v", err)
	}
	if _, err := b.write(t.Context(), id, cmd("brought", job.ProcedureStartedType, started)); err != nil { // as an imported record has it
		t.Fatal(err)
	}
	var no *RefusedProcedure
	if _, err := b.Procedure(t.Context(), id, "forged", "tablet1"); !errors.As(err, &no) {
		t.Errorf("a run that brings a text nobody checked is shown: %v", err)
	}
}
