package plan

import (
	"container/heap"
	"math"
)

// Sequencing is the search for a state by perfect tests: Signature[s][t] is the
// outcome of test t in state s (Pattipati & Alexandridis 1990). The search ends
// when one state is left.
type Sequencing struct {
	P         []float64
	Signature [][]int
	Cost      []float64
}

// Optimal is the least expected cost of tests until the state is known.
func (q Sequencing) Optimal() float64 {
	memo := map[uint64]float64{}
	return q.optimal(q.all(), memo)
}

func (q Sequencing) all() uint64 { return 1<<len(q.P) - 1 }

func (q Sequencing) mass(set uint64) float64 {
	m := 0.0
	for s, p := range q.P {
		if set>>s&1 == 1 {
			m += p
		}
	}
	return m
}

// split divides a set by the outcome of a test (0 and not 0).
func (q Sequencing) split(set uint64, t int) (a, b uint64) {
	for s := range q.P {
		if set>>s&1 == 0 {
			continue
		}
		if q.Signature[s][t] == 0 {
			a |= 1 << s
		} else {
			b |= 1 << s
		}
	}
	return a, b
}

func (q Sequencing) optimal(set uint64, memo map[uint64]float64) float64 {
	if set&(set-1) == 0 {
		return 0
	}
	if v, ok := memo[set]; ok {
		return v
	}
	best, m := math.Inf(1), q.mass(set)
	for t := range q.Cost {
		a, b := q.split(set, t)
		if a == 0 || b == 0 {
			continue
		}
		v := q.Cost[t] + q.mass(a)/m*q.optimal(a, memo) + q.mass(b)/m*q.optimal(b, memo)
		best = math.Min(best, v)
	}
	memo[set] = best
	return best
}

// Gain is the information of test t about the state within a set, in bits.
func (q Sequencing) Gain(t int) float64 { return q.gain(q.all(), t) }

func (q Sequencing) gain(set uint64, t int) float64 {
	a, b := q.split(set, t)
	m := q.mass(set)
	return Entropy([]float64{q.mass(a) / m, q.mass(b) / m})
}

// LookAhead is the expected cost of the plan that, at each point, takes the test
// with the best gain per cost, looking so many steps ahead: 1 is the greedy
// rule. With more steps a test is judged by the bits it and its best follow-up
// tests remove in all, over the cost they are expected to take.
func (q Sequencing) LookAhead(steps int) float64 { return q.follow(q.all(), steps) }

func (q Sequencing) follow(set uint64, steps int) float64 {
	if set&(set-1) == 0 {
		return 0
	}
	best, at := math.Inf(-1), -1
	for t := range q.Cost {
		if a, b := q.split(set, t); a == 0 || b == 0 {
			continue
		}
		if v := q.worth(set, t, steps); v > best+tie {
			best, at = v, t
		}
	}
	if at < 0 {
		return math.Inf(1)
	}
	a, b := q.split(set, at)
	m := q.mass(set)
	return q.Cost[at] + q.mass(a)/m*q.follow(a, steps) + q.mass(b)/m*q.follow(b, steps)
}

// worth is minus the expected cost to the end as it looks after so many steps:
// the cost of the steps, and for what is then left the Huffman bound, the least
// any tests could take.
func (q Sequencing) worth(set uint64, t, steps int) float64 {
	if steps <= 1 {
		return q.gain(set, t) / q.Cost[t]
	}
	return -q.ahead(set, t, steps)
}

func (q Sequencing) ahead(set uint64, t, steps int) float64 {
	m := q.mass(set)
	cost := q.Cost[t]
	a, b := q.split(set, t)
	for _, half := range []uint64{a, b} {
		if half&(half-1) == 0 {
			continue
		}
		best := math.Inf(1)
		if steps <= 1 {
			best = q.huffman(half)
		} else {
			for u := range q.Cost {
				if x, y := q.split(half, u); x == 0 || y == 0 {
					continue
				}
				best = math.Min(best, q.ahead(half, u, steps-1))
			}
		}
		cost += q.mass(half) / m * best
	}
	return cost
}

// Huffman is the least expected number of tests any set of yes/no tests could
// take, times the cheapest test: a lower bound.
func (q Sequencing) Huffman() float64 { return q.huffman(q.all()) }

func (q Sequencing) huffman(set uint64) float64 {
	cheapest := math.Inf(1)
	for _, c := range q.Cost {
		cheapest = math.Min(cheapest, c)
	}
	var h masses
	m := q.mass(set)
	for s, p := range q.P {
		if set>>s&1 == 1 {
			h = append(h, p/m)
		}
	}
	heap.Init(&h)
	sum := 0.0
	for h.Len() > 1 {
		v := heap.Pop(&h).(float64) + heap.Pop(&h).(float64)
		sum += v
		heap.Push(&h, v)
	}
	return sum * cheapest
}

type masses []float64

func (m masses) Len() int           { return len(m) }
func (m masses) Less(a, b int) bool { return m[a] < m[b] }
func (m masses) Swap(a, b int)      { m[a], m[b] = m[b], m[a] }
func (m *masses) Push(x any)        { *m = append(*m, x.(float64)) }
func (m *masses) Pop() any {
	old := *m
	v := old[len(old)-1]
	*m = old[:len(old)-1]
	return v
}
