package evaluate

import (
	"math"
	"math/rand/v2"
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
	rng := rand.New(rand.NewPCG(11, 12))
	var one, two, best float64
	for range jobs(15) {
		q := plan.Sequencing{Cost: make([]float64, 5)}
		for i := range q.Cost {
			q.Cost[i] = 1 + float64(rng.IntN(20))
		}
		for s := range 6 {
			q.P = append(q.P, math.Exp(1.5*rng.NormFloat64()))
			q.Signature = append(q.Signature, []int{s & 1, s >> 1 & 1, s >> 2 & 1, rng.IntN(2), rng.IntN(2)})
		}
		sum := 0.0
		for _, p := range q.P {
			sum += p
		}
		for i := range q.P {
			q.P[i] /= sum
		}
		a, err := AdviceCost(q, reason.Options{Rank: reason.ByDoubt, NoLookAhead: true})
		if err != nil {
			t.Fatal(err)
		}
		b, err := AdviceCost(q, reason.Options{Rank: reason.ByDoubt})
		if err != nil {
			t.Fatal(err)
		}
		one, two, best = one+a, two+b, best+q.Optimal()
	}
	t.Logf("minutes over the optimum: one step %.3f, two steps %.3f", one/best, two/best)
	if two > 1.15*best {
		t.Errorf("advice takes %.2f times the optimum", two/best)
	}
}
