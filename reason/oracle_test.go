package reason

import (
	"encoding/json"
	"math"
	"os"
	"strconv"
	"testing"
)

// bn2o is a two-layer noisy-or network.
type bn2o struct {
	Prior    []float64      `json:"prior"`
	Q        [][]float64    `json:"q"`
	Leak     []float64      `json:"leak"`
	Evidence map[string]int `json:"evidence"`
	Exact    bn2oWant       `json:"exact_all_subsets"`
	Max3     bn2oWant       `json:"truncated_max3"`
}

type bn2oWant struct {
	Z         float64               `json:"z"`
	Marginals []float64             `json:"marginals"`
	Tests     map[string][2]float64 `json:"tests_Ppos_MIbits"`
	Top       [][2]json.RawMessage  `json:"top"`
	Entropy   float64               `json:"entropy_bits"`
}

func readBN2O(t *testing.T) bn2o {
	t.Helper()
	b, err := os.ReadFile("testdata/bn2o_12x10.json")
	if err != nil {
		t.Fatal(err)
	}
	var n bn2o
	if err := json.Unmarshal(b, &n); err != nil {
		t.Fatal(err)
	}
	return n
}

// factorOf makes the noisy-or test t of the network, seen positive or negative,
// as a factor of this package.
func (n *bn2o) factor(t int, positive bool) *factor {
	f := &factor{or: positive, p0: 1 - n.Leak[t], none: n.Leak[t], other: 1, exponent: 1}
	if !positive {
		// P(negative | S) = (1 - leak) prod q: a normal outcome and nothing else.
		f.none, f.normal = 1-n.Leak[t], 1
	}
	for i, q := range n.Q[t] {
		if q == 1 {
			continue
		}
		p := parent{fault: i, keep: q, hold: 1, alone: 1 - f.p0*q}
		if !positive {
			p.alone = f.p0 * q
			p.more = f.p0 * (1 - q)
		}
		f.parents = append(f.parents, p)
	}
	return f
}

// B1: two-layer noisy-or of 12 faults and 10 tests; enumeration and Quickscore
// (Heckerman 1989) agree on P(E). Truncated to three faults by the field of this
// package, and exact over all 4096 sets by the same factors.
func TestB1NoisyOr(t *testing.T) {
	n := readBN2O(t)
	k := len(n.Prior)
	base, odds := 1.0, make([]float64, k)
	for i, p := range n.Prior {
		base *= 1 - p
		odds[i] = p / (1 - p)
	}
	var factors []*factor
	lnNone := math.Log(base)
	w := newField(k, 3)
	w.other = math.Inf(-1)
	w.hasNone = true
	for i := range odds {
		w.a[i] = math.Log(odds[i])
	}
	for id, v := range n.Evidence {
		i, _ := strconv.Atoi(id)
		f := n.factor(i, v == 1)
		factors = append(factors, f)
		lnNone += math.Log(f.none)
		f.put(w, 1)
	}
	w.other = math.Inf(-1)
	w.pass(true)
	if z := w.z * math.Exp(w.lnRef+lnNone); math.Abs(z/n.Max3.Z-1) > 1e-11 {
		t.Errorf("P(E), at most three faults: %.14g, want %.14g", z, n.Max3.Z)
	}
	for i, want := range n.Max3.Marginals {
		if got := w.m1[i] / w.z; math.Abs(got-want) > 1e-12 {
			t.Errorf("fault %d, at most three: %.13g, want %.13g", i, got, want)
		}
	}
	// All 4096 sets.
	exact, z, entropy := make([]float64, k), 0.0, 0.0
	weight := make([]float64, 1<<k)
	for s := range weight {
		p := base
		var set []int
		for i := range k {
			if s>>i&1 == 1 {
				set = append(set, i)
				p *= odds[i]
			}
		}
		for _, f := range factors {
			p *= f.set8(set)
		}
		weight[s] = p
		z += p
	}
	for s, p := range weight {
		entropy -= p / z * math.Log2(p/z)
		for i := range k {
			if s>>i&1 == 1 {
				exact[i] += p / z
			}
		}
	}
	if math.Abs(z/n.Exact.Z-1) > 1e-11 {
		t.Errorf("P(E), all sets: %.14g, want %.14g", z, n.Exact.Z)
	}
	for i, want := range n.Exact.Marginals {
		if math.Abs(exact[i]-want) > 1e-12 {
			t.Errorf("fault %d, all sets: %.13g, want %.13g", i, exact[i], want)
		}
	}
	if math.Abs(entropy-n.Exact.Entropy) > 1e-10 {
		t.Errorf("entropy %.12g, want %.12g", entropy, n.Exact.Entropy)
	}
	if kept := n.Max3.Z / n.Exact.Z; math.Abs(kept-.998547458093) > 1e-11 {
		t.Errorf("mass kept by three faults %.12g, want .998547458093", kept)
	}
	// Mutual information of the unseen tests, truncated, by the predictor.
	e := &Engine{w: w, m: &model{limits: DefaultLimits()}, chance: append([]float64(nil), w.m1...), scratch: make([]float64, 2)}
	for i := range e.chance {
		e.chance[i] /= w.z
	}
	p := newPredictor(e)
	p.z, p.skip = w.z, 0
	for id, want := range n.Max3.Tests {
		i, _ := strconv.Atoi(id)
		tm := &testModel{normal: 0, healthy: []float64{1 - n.Leak[i], n.Leak[i]}}
		for f, q := range n.Q[i] {
			if q < 1 {
				tm.rows = append(tm.rows, row{fault: f, p: []float64{(1 - n.Leak[i]) * q, 1 - (1-n.Leak[i])*q}})
			}
		}
		one := func(int) float64 { return 1 }
		a := p.look(tm, nil, 1, one)
		if math.Abs(a.chance[1]-want[0]) > 1e-10 || math.Abs(a.bits-want[1]) > 1e-10 {
			t.Errorf("test %s: P+ %.12g, %.12g bits; want %.12g, %.12g", id, a.chance[1], a.bits, want[0], want[1])
		}
	}
	// The leading sets.
	for _, row := range n.Max3.Top {
		var set []int
		var want float64
		if json.Unmarshal(row[0], &set) != nil || json.Unmarshal(row[1], &want) != nil {
			t.Fatal("cannot read the leading sets")
		}
		if got := math.Exp(w.lnWeight(set)-w.lnRef) / w.z; math.Abs(got-want) > 1e-11 {
			t.Errorf("set %v: %.12g, want %.12g", set, got, want)
		}
	}
}

// set8 is set for any number of members.
func (f *factor) set8(s []int) float64 {
	keep, any := 1.0, 0
	for _, p := range f.parents {
		for _, i := range s {
			if p.fault == i {
				keep *= p.keep
				any++
			}
		}
	}
	if f.or {
		return 1 - f.p0*keep
	}
	return f.p0 * keep
}
