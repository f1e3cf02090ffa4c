package reason

import (
	"math/rand/v2"
	"testing"

	"proveout/evidence"
)

// No test is recommended whose every outcome leaves the decision the same: each
// outcome of each recommended test is put in, and one of them at least must
// change the leader, the suspects not yet separated from it, or end the search.
func TestEveryTestListedCanChangeTheDecision(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 11))
	listed := 0
	for range 12 {
		c := bayCase(t)
		for i := range rng.IntN(12) {
			at := &c.Instance.Tests[rng.IntN(len(c.Instance.Tests))]
			o := at.Test.Outcomes[rng.IntN(len(at.Test.Outcomes))]
			c.Findings = append(c.Findings, evidence.Finding{ID: string(rune('a' + i)), Test: at.Test.ID, Subject: at.Subject, Outcome: o.ID, State: evidence.Abnormal})
		}
		a := judge(t, c, Options{})
		for _, n := range a.Next {
			if n.Repeat > 0 {
				continue // a reading already begun, or one to be taken again
			}
			listed++
			e, err := NewEngine(c, Options{Tests: -1})
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range c.Findings {
				e.enter(f)
			}
			e.settle()
			before, err := e.Answer()
			if err != nil {
				t.Fatal(err)
			}
			was := e.decision(e.chance, e.none, e.other)
			changes := false
			for _, o := range n.Outcomes {
				if err := e.Add(evidence.Finding{ID: "next", Test: n.Test.Test.ID, Subject: n.Test.Subject, Outcome: o.Outcome.ID, State: evidence.Abnormal, AllCompared: true}); err != nil {
					t.Fatal(err)
				}
				is := e.decision(e.chance, e.none, e.other)
				after, err := e.Answer()
				if err != nil {
					t.Fatal(err)
				}
				changes = changes || is != was || after.Stopped != before.Stopped || after.Suspects[0].State != before.Suspects[0].State
				if _, err := e.Undo(); err != nil {
					t.Fatal(err)
				}
			}
			if !changes {
				t.Errorf("%s is recommended, and no outcome changes anything", n.Test.ID)
			}
		}
	}
	if listed < 20 {
		t.Errorf("only %d tests were looked at", listed)
	}
}
