package reason

import (
	"math"
	"strings"
	"testing"
)

// The list tells the chance of one way of failing, the stop sentence that of the
// part: the sentence must say so, and give the sum.
func TestStopSpeaksOfThePart(t *testing.T) {
	e, err := NewEngine(bayCase(t), Options{Tests: -1})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []struct{ test, outcome string }{{"counter", "abnormal"}, {"coil_swap", "normal"}, {"plug_swap", "abnormal"}, {"balance", "normal"}, {"burn_time", "abnormal"}, {"ripple", "normal"}} {
		if err := e.Add(said(f.test, f.test, 3, f.outcome)); err != nil {
			t.Fatal(err)
		}
	}
	a, err := e.Answer()
	if err != nil {
		t.Fatal(err)
	}
	part, single := 0.0, 0.0
	for i := range a.Suspects {
		if s := &a.Suspects[i]; s.Suspect.Component.ID == "plug" && s.Suspect.Subject.Number == 3 {
			part += s.Chance
			single = math.Max(single, s.Chance)
		}
	}
	if a.Suspects[0].State != Shown || percent(part) == percent(single) {
		t.Fatalf("the case is not one in which the two differ: %s, part %g, single %g", a.Suspects[0].State, part, single)
	}
	for _, want := range []string{"plug of cylinder 3", "its ways of failing taken together", percent(part)} {
		if !strings.Contains(a.Stop, want) {
			t.Errorf("%q lacks %q", a.Stop, want)
		}
	}
}
