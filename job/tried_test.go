package job

import (
	"strings"
	"testing"
)

func resolve(t *testing.T, text string) *Resolved {
	t.Helper()
	r, said := resolved(t, "job.yaml", []byte(text))
	if r == nil {
		t.Fatal(said)
	}
	return r
}

// Each mistake in an entry of tried is named with its place, and only that entry
// is left out.
func TestTriedMistakes(t *testing.T) {
	for _, c := range []struct{ entry, want string }{
		{"{part: piston_ring_gap, cylinder: 1, result: stays}", "no part"},
		{"{part: plug, cylinder: 9, result: stays}", "cylinder 9: the engine has 4 cylinders"},
		{"{part: plug, result: stays}", "write which, for example cylinder: 1"},
		{"{part: pump, cylinder: 2, result: stays}", "leave the place out"},
		{"{part: plug, cylinder: 1}", "is missing; write what became of the complaint"},
		{"{part: plug, cylinder: 1, result: better}", "better"},
		{"{part: plug, cylinder: 1, result: gone, would_show: 120 %}", "no chance between 0 and 100"},
		{"{part: plug, cylinder: 1, result: gone, would_show: 3 mm}", "no chance between 0 and 100"},
		{"{part: plug, cylinder: 1, result: gone, fitted: shiny}", "shiny"},
		{"{cylinder: 1, result: gone}", "write the id of the part"},
	} {
		r := resolve(t, "schema: proveout/job/1\nvehicle: {engine: {cylinders: 4}}\ntried:\n  - {part: gap_wide, cylinder: 2, result: stays, would_show: 0.9}\n  - "+c.entry+"\n")
		said := ""
		for _, l := range r.LeftOut() {
			said += l.Why + "\n"
		}
		if !strings.Contains(said, c.want) {
			t.Errorf("%s: %q, want %q", c.entry, said, c.want)
		}
		if len(r.Tried) != 1 || r.Tried[0].Component != "plug" || r.Tried[0].WouldShow != 0.9 || r.Tried[0].Fitted != "new" {
			t.Errorf("%s: beside it %+v", c.entry, r.Tried)
		}
	}
}

// The search entry: words and figures, and what cannot end a search is refused.
func TestSearchEntry(t *testing.T) {
	head := "schema: proveout/job/1\nvehicle: {engine: {cylinders: 4}}\nsearch: "
	if s := resolve(t, head+"{order: cost, stop_at: 95 %, shown_at: 0.8}\n").Search; s.Order != "cost" || s.StopAt != 0.95 || s.ShownAt != 0.8 {
		t.Errorf("%+v", s)
	}
	r := resolve(t, head+"{order: fastest, stop_at: 30 %}\n")
	if len(r.LeftOut()) != 2 || r.Search.StopAt != 0 {
		t.Errorf("left out %v, stop at %g", r.LeftOut(), r.Search.StopAt)
	}
}
