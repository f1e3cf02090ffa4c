package circuit

import (
	"fmt"
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.9g, want %.9g", what, got, want)
	}
}

func polybox() *Circuit {
	mul := func(in []int) int { return in[0] * in[1] }
	add := func(in []int) int { return in[0] + in[1] }
	back := func(i, out int, in []int, known []bool) (int, bool) {
		if known[1-i] {
			return out - in[1-i], true
		}
		return 0, false
	}
	return &Circuit{Known: map[string]int{"A": 3, "B": 2, "C": 2, "D": 3, "E": 3, "F": 10, "G": 12}, Gates: []Gate{
		{"M1", []string{"A", "C"}, "X", mul, nil}, {"M2", []string{"B", "D"}, "Y", mul, nil}, {"M3", []string{"C", "E"}, "Z", mul, nil},
		{"A1", []string{"X", "Y"}, "F", add, back}, {"A2", []string{"Y", "Z"}, "G", add, back}}}
}

// G1: the polybox of de Kleer & Williams 1987.
func TestG1Polybox(t *testing.T) {
	c := polybox()
	if got := fmt.Sprint(c.Conflicts(false)); got != "[[A1 M1 M2] [A1 A2 M1 M3]]" {
		t.Errorf("minimal conflicts %s", got)
	}
	if got := fmt.Sprint(c.Diagnoses(false)); got != "[[A1] [M1] [A2 M2] [M2 M3]]" {
		t.Errorf("minimal diagnoses %s", got)
	}
}

// G2: the same box with odds, each gate broken with chance .01; figures computed
// in reasoning.md section 2. Entropy over the predicted values only.
func TestG2PolyboxOddsAndProbe(t *testing.T) {
	c := polybox()
	o := c.Judge(.01)
	near(t, "consistent mass", o.Mass, .0200950399, 5e-11)
	near(t, "{A1}", o.Sets[1<<3], .478026, 5e-7)
	near(t, "{M1}", o.Sets[1<<0], .478026, 5e-7)
	for _, s := range []uint64{1<<3 | 1<<4, 1<<3 | 1<<2, 1<<4 | 1<<1, 1<<3 | 1<<1, 1<<1 | 1<<2, 1<<4 | 1<<0} {
		near(t, fmt.Sprintf("pair %05b", s), o.Sets[s], .004829, 5e-7)
	}
	for g, w := range []float64{.497635, .019609, .01478, .497635, .01478} {
		near(t, c.Gates[g].Name, o.Single[g], w, 5e-7)
	}
	best, at := 0.0, ""
	for _, w := range []struct {
		line string
		p    map[int]float64
		none float64
		nats float64
	}{{"X", map[int]float64{6: .502365, 4: .492561}, .005074, .694643}, {"Y", map[int]float64{6: .990097, 4: .009706}, .000197, .054841}, {"Z", map[int]float64{6: .994926, 8: .004829}, .000246, .030813}} {
		p := c.Probe(o, w.line)
		for v, x := range w.p {
			near(t, fmt.Sprintf("%s = %d", w.line, v), p.Chance[v], x, 6e-7)
		}
		near(t, w.line+" not predicted", p.Unknown, w.none, 1e-6)
		near(t, w.line+" entropy", p.Nats, w.nats, 1e-6)
		if p.Nats > best {
			best, at = p.Nats, w.line
		}
	}
	if at != "X" {
		t.Errorf("first probe %s, want X", at)
	}
}

// G3: ISCAS-85 c17 (six NAND gates), weak fault model; diagnoses by brute force
// in reasoning.md section 2.
func TestG3C17(t *testing.T) {
	nand := func(in []int) int { return 1 - in[0]*in[1] }
	for _, w := range []struct{ in, out, diagnoses string }{
		{"11111", "00", "[[10] [22]]"},
		{"00000", "11", "[[16] [10 19] [10 23] [19 22] [22 23]]"},
		{"10110", "01", "[[10 19] [10 23] [16 22] [19 22] [22 23]]"},
		{"01001", "00", "[[11] [16 19] [16 23] [22 23]]"},
	} {
		c := &Circuit{Known: map[string]int{}, Gates: []Gate{
			{"10", []string{"1", "3"}, "10", nand, nil}, {"11", []string{"3", "6"}, "11", nand, nil}, {"16", []string{"2", "11"}, "16", nand, nil},
			{"19", []string{"11", "7"}, "19", nand, nil}, {"22", []string{"10", "16"}, "22", nand, nil}, {"23", []string{"16", "19"}, "23", nand, nil}}}
		for i, line := range []string{"1", "2", "3", "6", "7"} {
			c.Known[line] = int(w.in[i] - '0')
		}
		c.Known["22"], c.Known["23"] = int(w.out[0]-'0'), int(w.out[1]-'0')
		if got := fmt.Sprint(c.Diagnoses(true)); got != w.diagnoses {
			t.Errorf("in %s, seen %s: %s, want %s", w.in, w.out, got, w.diagnoses)
		}
	}
}
