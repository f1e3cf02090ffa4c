package evaluate

import (
	"math"
	"testing"

	"proveout/reason"
	"proveout/reason/plan"
)

// V1, Pattipati & Alexandridis 1990, played through the engine itself: greedy
// information gain takes 2.86, the look-ahead must find the optimum 2.18.
func TestV1ThroughTheEngine(t *testing.T) {
	q := plan.Sequencing{P: []float64{.70, .01, .02, .10, .05, .12}, Cost: []float64{1, 1, 1, 1, 1},
		Signature: [][]int{{0, 0, 0, 0, 0}, {0, 1, 0, 0, 1}, {0, 0, 1, 1, 0}, {1, 0, 0, 1, 1}, {1, 1, 0, 0, 0}, {1, 1, 1, 1, 0}}}
	greedy, err := AdviceCost(q, reason.Options{Rank: reason.ByDoubt, NoLookAhead: true})
	if err != nil {
		t.Fatal(err)
	}
	ahead, err := AdviceCost(q, reason.Options{Rank: reason.ByDoubt})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("greedy %.4f, look-ahead %.4f, optimum %.4f", greedy, ahead, q.Optimal())
	if math.Abs(greedy-2.86) > 1e-6 {
		t.Errorf("greedy %.4f, want 2.86", greedy)
	}
	if math.Abs(ahead-2.18) > 1e-6 {
		t.Errorf("look-ahead %.4f, want 2.18", ahead)
	}
}

// Advice against the optimum by dynamic programming on small books.
func TestAdviceAgainstOptimumOnSmallBooks(t *testing.T) {
	o, err := AgainstOptimum(jobs(15), 11)
	if err != nil {
		t.Fatal(err)
	}
	t.Log(o)
	if o.TwoStep > 1.15 || o.TwoStep < 1-1e-9 {
		t.Errorf("advice takes %.3f times the optimum", o.TwoStep)
	}
}
