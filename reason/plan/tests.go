package plan

import "math"

// Test is a yes/no test: Positive[i] is P(positive | fault i). It may be done
// once and is independent of other tests given the fault.
type Test struct {
	Name     string
	Cost     float64
	Positive []float64
}

// Problem is one fault among P to be found by tests and repaired; Repair[i] is
// the cost to put fault i right, perfect and checked at once.
type Problem struct {
	P      []float64
	Repair []float64
	Tests  []Test
}

// RepairOnly is the expected cost by repairs alone in order of p/c.
func RepairOnly(p, repair []float64) float64 {
	cost, _ := BestOrders(p, single(repair))
	return cost
}

func single(cost []float64) []Action {
	out := make([]Action, len(cost))
	for i, c := range cost {
		out[i] = Action{Fixes: []int{i}, Cost: c}
	}
	return out
}

// Move is what a plan does first: test Test, or repair Fault (the other is -1).
type Move struct {
	Test, Fault int
}

// Optimal is the least expected cost to a repaired state over all plans of tests
// and repairs, by dynamic programming over what has been tested with which
// outcome and what has been repaired, with the first move.
func (pr Problem) Optimal() (float64, Move) {
	memo := map[state]solved{}
	s := pr.solve(state{}, memo)
	return s.cost, s.move
}

// state packs, two bits each, what is known: for tests 0 not done, 1 positive,
// 2 negative; for faults 1 repaired.
type state struct {
	tests, faults uint32
}

type solved struct {
	cost float64
	move Move
}

// weights are the joint chances of what is known and each fault left.
func (pr Problem) weights(s state) []float64 {
	w := make([]float64, len(pr.P))
	for i, p := range pr.P {
		if s.faults>>i&1 == 1 {
			continue
		}
		for t, x := range pr.Tests {
			switch s.tests >> (2 * t) & 3 {
			case 1:
				p *= x.Positive[i]
			case 2:
				p *= 1 - x.Positive[i]
			}
		}
		w[i] = p
	}
	return w
}

func (pr Problem) solve(s state, memo map[state]solved) solved {
	if v, ok := memo[s]; ok {
		return v
	}
	w := pr.weights(s)
	total := sum(w)
	best := solved{0, Move{-1, -1}}
	if total > 0 {
		best.cost = math.Inf(1)
		for i := range w {
			if s.faults>>i&1 == 1 || w[i] == 0 {
				continue
			}
			next := state{s.tests, s.faults | 1<<i}
			c := pr.Repair[i] + (total-w[i])/total*pr.solve(next, memo).cost
			if c < best.cost-tie {
				best = solved{c, Move{-1, i}}
			}
		}
		for t, x := range pr.Tests {
			if s.tests>>(2*t)&3 != 0 {
				continue
			}
			pos := 0.0
			for i := range w {
				pos += w[i] * x.Positive[i]
			}
			c := x.Cost
			for o, m := range []float64{pos, total - pos} {
				if m > 0 {
					c += m / total * pr.solve(state{s.tests | uint32(o+1)<<(2*t), s.faults}, memo).cost
				}
			}
			if c < best.cost-tie {
				best = solved{c, Move{t, -1}}
			}
		}
	}
	memo[s] = best
	return best
}

func sum(w []float64) float64 {
	t := 0.0
	for _, v := range w {
		t += v
	}
	return t
}

// Look is what one test is worth before it is done.
type Look struct {
	Positive     float64 // chance of a positive outcome
	Bits         float64 // mutual information with the fault
	Value        float64 // myopic value: cost by repairs alone, less the cost with the test first, less the test
	Then         float64 // cost of the test and then repairs in order of p/c
	WhenPositive []float64
	WhenNegative []float64
}

// Look works out one test on the prior.
func (pr Problem) Look(t int) Look {
	x := pr.Tests[t]
	a, b := make([]float64, len(pr.P)), make([]float64, len(pr.P))
	for i, p := range pr.P {
		a[i], b[i] = p*x.Positive[i], p*(1-x.Positive[i])
	}
	l := Look{Positive: sum(a)}
	l.WhenPositive, l.WhenNegative = scaled(a), scaled(b)
	l.Bits = Entropy(pr.P) - l.Positive*Entropy(l.WhenPositive) - (1-l.Positive)*Entropy(l.WhenNegative)
	l.Then = x.Cost + l.Positive*RepairOnly(l.WhenPositive, pr.Repair) + (1-l.Positive)*RepairOnly(l.WhenNegative, pr.Repair)
	l.Value = RepairOnly(pr.P, pr.Repair) - l.Then
	return l
}

// After is the posterior after outcomes of the tests: +1, -1, or 0 for not done.
func (pr Problem) After(outcomes ...int) []float64 {
	var s state
	for t, o := range outcomes {
		switch {
		case o > 0:
			s.tests |= 1 << (2 * t)
		case o < 0:
			s.tests |= 2 << (2 * t)
		}
	}
	return scaled(pr.weights(s))
}

func scaled(w []float64) []float64 {
	t := sum(w)
	out := make([]float64, len(w))
	for i, v := range w {
		if t > 0 {
			out[i] = v / t
		}
	}
	return out
}

// Entropy is -sum p log2 p.
func Entropy(p []float64) float64 {
	h := 0.0
	for _, v := range p {
		if v > 0 {
			h -= v * math.Log2(v)
		}
	}
	return h
}
