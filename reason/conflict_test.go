package reason

import (
	"slices"
	"strings"
	"testing"

	"proveout/evidence"
)

// A planted contradiction is told as a conflict, the odd one named, retaking it
// comes first, and it does not stop the search once confirmed.
func TestConflict(t *testing.T) {
	c := bayCase(t)
	strong := []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "plug_swap", 3, "abnormal"), said("f3", "burn_time", 3, "abnormal"), said("f4", "counter", 1, "normal")}
	c.Findings = append(slices.Clone(strong), gaps(1.6, 1.0, 1.0, 1.01)...) // gap readings of cylinders 1 and 3 swapped
	a := judge(t, c, Options{})
	if len(a.Conflicts) == 0 {
		t.Fatalf("no conflict; leader %s %.3f", a.Suspects[0].Suspect.ID, a.Suspects[0].Chance)
	}
	got := a.Conflicts[0]
	if !slices.Contains(got.Findings, "g1") || !slices.Contains(got.Findings, "g3") || len(got.Findings) < 3 || got.Reason == "" || got.Settle == "" {
		t.Errorf("conflict %+v", got)
	}
	if len(a.Next) == 0 || a.Next[0].Repeat != 1 || !strings.Contains(a.Next[0].Why, "disagree") {
		t.Errorf("retaking is not first: %+v", a.Next)
	}
	if !strings.Contains(a.Stop, "disagree") {
		t.Errorf("stop says %q", a.Stop)
	}
	c.Findings = append(slices.Clone(strong), gaps(1.0, 1.0, 1.6, 1.01)...)
	if a := judge(t, c, Options{}); len(a.Conflicts) > 0 {
		t.Errorf("consistent readings raise a conflict: %v", a.Conflicts)
	}
}

// A unit slip far beyond what a test can give is told by itself.
func TestUnitSlipIsTold(t *testing.T) {
	c := bayCase(t)
	for v, want := range map[float64]int{1.2: 0, 1.9: 0, 3: 0, 42: 1, 0.001: 1} {
		c.Findings = []evidence.Finding{read("f1", "gap", 3, v, 0.01)}
		a := judge(t, c, Options{})
		if len(a.Conflicts) != want {
			t.Errorf("ratio %g: %d conflicts, want %d", v, len(a.Conflicts), want)
		}
		if want == 1 && (a.Conflicts[0].Doubtful != "f1" || len(a.Next) == 0 || a.Next[0].Test.ID != "gap@cyl3") {
			t.Errorf("ratio %g: %+v", v, a.Conflicts[0])
		}
	}
}
