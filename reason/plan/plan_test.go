package plan

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// D1: p/c ordering with ties, after Kadane & Simon 1977; figures computed in
// reasoning.md section 1.
func TestD1OrderWithTies(t *testing.T) {
	p, a := []float64{.40, .30, .20, .10}, single([]float64{8, 3, 4, 1})
	cost, orders := BestOrders(p, a)
	near(t, "cost", cost, 9.3, 1e-12)
	want := map[string]bool{"[3 1 2 0]": true, "[1 3 2 0]": true, "[1 3 0 2]": true, "[3 1 0 2]": true}
	if len(orders) != len(want) {
		t.Errorf("%d tied orders %v, want 4", len(orders), orders)
	}
	for _, o := range orders {
		if !want[fmt.Sprint(o)] {
			t.Errorf("order %v is not among the four", o)
		}
	}
	near(t, "by falling p", OrderCost(p, a, []int{0, 1, 2, 3}), 11.1, 1e-12)
	near(t, "greedy", OrderCost(p, a, Greedy(p, a)), 9.3, 1e-12)
}

// D2: dependent actions, Ottosen & Jensen / SACSO example.
func TestD2DependentActions(t *testing.T) {
	p := []float64{.20, .25, .40, .15}
	a := []Action{{"a1", []int{0, 1}, 1}, {"a2", []int{1, 2}, 1}, {"a3", []int{2, 3}, 1}}
	g := Greedy(p, a)
	if fmt.Sprint(g) != "[1 0 2]" {
		t.Errorf("greedy order %v, want a2, a1, a3", g)
	}
	near(t, "greedy", OrderCost(p, a, g), 1.50, 1e-12)
	cost, orders := BestOrders(p, a)
	near(t, "optimum", cost, 1.45, 1e-12)
	if fmt.Sprint(orders) != "[[2 0]]" {
		t.Errorf("optimum %v, want a3, a1", orders)
	}
	for _, c := range []struct {
		order []int
		cost  float64
	}{{[]int{0, 2}, 1.55}, {[]int{1, 2, 0}, 1.55}, {[]int{2, 1, 0}, 1.65}, {[]int{0, 1, 2}, 1.70}} {
		near(t, fmt.Sprint(c.order), OrderCost(p, a, c.order), c.cost, 1e-12)
	}
}

// D3: observe, then repair, with a service call: Heckerman, Breese & Rommelse
// 1995; figures computed in reasoning.md section 1.
func TestD3ObserveRepairService(t *testing.T) {
	cs := []Component{{.45, 2, 10}, {.30, 1, 30}, {.15, 4, 20}, {.10, 8, 60}}
	cost, order := BestObserveRepair(cs, math.Inf(1))
	near(t, "best", cost, 26.7, 1e-12)
	if fmt.Sprint(order) != "[1 0 2 3]" {
		t.Errorf("order %v, want 2, 1, 3, 4", order)
	}
	near(t, "1, 2, 3, 4", ObserveRepair(cs, []int{0, 1, 2, 3}, 0), 26.85, 1e-12)
	for _, c := range []struct {
		service, cost float64
		order         string
	}{{20, 17.5, "[0]"}, {40, 23.9, "[1 0 2]"}, {60, 25.9, "[1 0 2]"}, {100, 26.7, "[1 0 2 3]"}} {
		got, order := BestObserveRepair(cs, c.service)
		near(t, fmt.Sprintf("service %g", c.service), got, c.cost, 1e-12)
		if fmt.Sprint(order) != c.order {
			t.Errorf("service %g: order %v, want %s", c.service, order, c.order)
		}
	}
}

// D4: postponed system test (Ottosen, Aalborg TR 10-001, 2010); figures computed
// in reasoning.md section 1.
func TestD4PostponedCheck(t *testing.T) {
	p, c := []float64{.35, .30, .20, .15}, []float64{1, 2, 3, 4}
	best, blocks := Postponed(p, c, 3)
	near(t, "best", best, 9.15, 1e-12)
	if fmt.Sprint(blocks) != "[[0 1] [2] [3]]" {
		t.Errorf("blocks %v, want {1,2}, {3}, {4}", blocks)
	}
	each, left := 0.0, 1.0
	for i := range p {
		each += left * (c[i] + 3)
		left -= p[i]
	}
	near(t, "check after each", each, 10.40, 1e-12)
}

// D5: tests and repairs together by exact dynamic programming; figures computed
// in reasoning.md section 1.
func TestD5TestsAndRepairs(t *testing.T) {
	pr := Problem{P: []float64{.4, .3, .2, .1}, Repair: []float64{50, 80, 30, 120}, Tests: []Test{
		{"T1", 10, []float64{.95, .9, .1, .05}}, {"T2", 15, []float64{.1, .85, .9, .05}}}}
	near(t, "repair only", RepairOnly(pr.P, pr.Repair), 112.0, 1e-9)
	cost, first := pr.Optimal()
	near(t, "optimal", cost, 99.1275, 1e-9)
	if first.Test != 0 {
		t.Errorf("first move %+v, want T1", first)
	}
	for i, w := range []Look{{Positive: .675, Bits: .532039847, Value: 11.25, Then: 100.75}, {Positive: .48, Bits: .505856393, Value: 5.0, Then: 107.0}} {
		l := pr.Look(i)
		near(t, pr.Tests[i].Name+" P+", l.Positive, w.Positive, 1e-12)
		near(t, pr.Tests[i].Name+" bits", l.Bits, w.Bits, 1e-9)
		near(t, pr.Tests[i].Name+" value", l.Value, w.Value, 1e-9)
		near(t, pr.Tests[i].Name+" then", l.Then, w.Then, 1e-9)
	}
	for _, c := range []struct {
		o    []int
		post []float64
	}{{[]int{1, 1}, []float64{.132983, .803150, .062992, .000875}}, {[]int{1, -1}, []float64{.878613, .104046, .005138, .012203}},
		{[]int{-1, 1}, []float64{.010296, .131274, .833977, .024453}}, {[]int{-1, -1}, []float64{.137667, .034417, .137667, .690249}}} {
		for i, v := range pr.After(c.o...) {
			near(t, fmt.Sprintf("posterior %v of fault %d", c.o, i+1), v, c.post[i], 5e-7)
		}
	}
}

// V1: Pattipati & Alexandridis 1990, test sequencing: optimum 2.18; greedy
// information gain 2.86; two-step look-ahead must find the optimum.
func TestV1Sequencing(t *testing.T) {
	q := v1()
	near(t, "optimum", q.Optimal(), 2.18, 1e-12)
	near(t, "greedy", q.LookAhead(1), 2.86, 1e-12)
	near(t, "two steps", q.LookAhead(2), 2.18, 1e-12)
	near(t, "Huffman bound", q.Huffman(), 1.59, 1e-12)
	near(t, "entropy", Entropy(q.P), 1.454873, 5e-7)
	for i, w := range []float64{.841465, .680077, .584239, .795040, .499916} {
		near(t, fmt.Sprintf("gain of t%d", i+1), q.Gain(i), w, 5e-7)
	}
}

func v1() Sequencing {
	return Sequencing{P: []float64{.70, .01, .02, .10, .05, .12}, Cost: []float64{1, 1, 1, 1, 1},
		Signature: [][]int{{0, 0, 0, 0, 0}, {0, 1, 0, 0, 1}, {0, 0, 1, 1, 0}, {1, 0, 0, 1, 1}, {1, 1, 0, 0, 0}, {1, 1, 1, 1, 0}}}
}

// On random small problems looking two steps ahead must, on average, not be
// worse than greedy, and never beat the optimum.
func TestLookAheadAgainstOptimum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var greedy, two, optimum float64
	for range 200 {
		q := Sequencing{Cost: []float64{1, 1, 1, 1, 1, 1}}
		for s := range 7 {
			q.P = append(q.P, math.Exp(2*rng.NormFloat64()))
			row := []int{s & 1, s >> 1 & 1, s >> 2 & 1, rng.IntN(2), rng.IntN(2), rng.IntN(2)}
			q.Signature = append(q.Signature, row)
		}
		q.P = scaled(q.P)
		o := q.Optimal()
		g, l := q.LookAhead(1), q.LookAhead(2)
		if l < o-1e-9 || g < o-1e-9 {
			t.Fatalf("a plan (greedy %g, two steps %g) beats the optimum %g", g, l, o)
		}
		greedy, two, optimum = greedy+g, two+l, optimum+o
	}
	t.Logf("mean cost over the optimum: greedy %.4f, two steps %.4f", greedy/optimum, two/optimum)
	if two > greedy {
		t.Errorf("two steps cost %g in all, greedy %g", two, greedy)
	}
}
