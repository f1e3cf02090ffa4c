package evaluate

import (
	"testing"

	"proveout/reason"
)

// A true cause is never ruled out: 0 in 1,000 (DECISIONS, Figures), with
// sensitivities off by a factor of 2 and one cause in ten not in the book. The
// ordinary tests play a small part of it; the full run is in docs/reasoning.md.
func TestNoTrueCauseIsRuledOut(t *testing.T) {
	s, err := Run(Config{World: bayWorld(t), Jobs: jobs(40), Seed: 424242, Options: reason.Options{NoLookAhead: true}}, Advice)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + Text(s))
	if s[0].TrueRuledOut > 0 {
		t.Errorf("a true cause was ruled out in %d of %d jobs", s[0].TrueRuledOut, s[0].Jobs)
	}
	if s[0].RuledOut == 0 {
		t.Error("nothing was ever ruled out: the check cannot fail")
	}
}
