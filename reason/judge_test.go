package reason

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"proveout/evidence"
)

// brute enumerates every hypothesis one by one, with nothing but the formulas of
// the documentation: the reference for the field.
func brute(e *Engine) (chance []float64, none, other float64) {
	n := len(e.chance)
	factors := e.factors()
	lnNone, lnOther := e.prior0(), e.otherBase()
	for i := range e.slots {
		if e.slots[i].on {
			f := e.slots[i].factor
			lnOther += f.exponent * (math.Log(f.other) - math.Log(f.none))
		}
	}
	type hyp struct {
		s []int
		w float64
	}
	var all []hyp
	var walk func(from int, s []int)
	walk = func(from int, s []int) {
		if len(s) > 0 {
			all = append(all, hyp{append([]int(nil), s...), e.lnSet(s, factors)})
		}
		if len(s) == e.w.bound {
			return
		}
		for i := from; i < n; i++ {
			walk(i+1, append(s, i))
		}
	}
	walk(0, nil)
	best := math.Max(lnNone, lnOther)
	for _, h := range all {
		best = math.Max(best, h.w)
	}
	z := math.Exp(lnNone-best) + math.Exp(lnOther-best)
	chance = make([]float64, n)
	for _, h := range all {
		p := math.Exp(h.w - best)
		z += p
		for _, i := range h.s {
			chance[i] += p
		}
	}
	for i := range chance {
		chance[i] /= z
	}
	return chance, math.Exp(lnNone-best) / z, math.Exp(lnOther-best) / z
}

// prior0 and otherBase are the weights of the two outside hypotheses before any
// finding, from their prior shares.
func (e *Engine) prior0() float64 { return e.outsideBase(e.prior.share[0]) }

func (e *Engine) otherBase() float64 { return e.outsideBase(e.prior.share[1]) }

func (e *Engine) outsideBase(share float64) float64 {
	n := len(e.chance)
	sum := 0.0
	var walk func(from int, s []int)
	walk = func(from int, s []int) {
		if len(s) > 0 {
			sum += math.Exp(e.lnSet(s, e.prior.factors()))
		}
		if len(s) == e.w.bound {
			return
		}
		for i := from; i < n; i++ {
			walk(i+1, append(s, i))
		}
	}
	walk(0, nil)
	return math.Log(sum * share / (1 - e.prior.share[0] - e.prior.share[1]))
}

func (p *prior) factors() []*factor { return p.facto }

func TestMarginalsAgainstEnumeration(t *testing.T) {
	c := bayCase(t)
	findings := []evidence.Finding{
		said("f1", "counter", 3, "abnormal"), said("f2", "counter", 1, "normal"), said("f3", "ripple", 3, "normal"),
		said("f4", "burn_time", 3, "abnormal"), read("f5", "gap", 3, 1.25, 0.05), said("f6", "fuel_pressure", 0, "normal"),
		read("f7", "gap", 3, 1.0, 0.08), said("f8", "leak", 2, "abnormal"),
	}
	for _, bound := range []int{1, 2, 3} {
		t.Run(fmt.Sprint("bound ", bound), func(t *testing.T) {
			e, err := NewEngine(c, Options{MaxFaults: bound})
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range findings {
				if err := e.Add(f); err != nil {
					t.Fatal(err)
				}
			}
			want, none, other := brute(e)
			for i := range want {
				if d := math.Abs(want[i] - e.chance[i]); d > 1e-12+1e-9*want[i] {
					t.Errorf("%s: chance %g, enumeration %g", e.m.in.Suspects[i].ID, e.chance[i], want[i])
				}
			}
			if math.Abs(none-e.none) > 1e-11 || math.Abs(other-e.other) > 1e-11 && other > 0.0100001 {
				t.Errorf("nothing wrong %g, want %g; not listed %g, want %g", e.none, none, e.other, other)
			}
		})
	}
}

// A misfire on one cylinder with a short burn and a sound injector: an ignition
// part of that cylinder, plug or coil not yet separated; the separating direct
// test comes early; nothing is shown, the injector is listed below.
func TestJudgeWorkedCase(t *testing.T) {
	c := bayCase(t)
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "burn_time", 3, "abnormal"), said("f3", "balance", 3, "normal")}
	a, err := Judge(c, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"plug_gap@cyl3", "coil_weak@cyl3"} {
		if !slices.Contains(a.Group, id) {
			t.Errorf("%s is not in the group %v", id, a.Group)
		}
	}
	if !strings.Contains(a.GroupText, "cylinder 3") || !strings.Contains(a.GroupText, "not yet separated") {
		t.Errorf("the group is told as %q", a.GroupText)
	}
	for _, s := range a.Suspects {
		if s.State == Shown {
			t.Errorf("%s is shown without a direct test", s.Suspect.ID)
		}
		if s.Suspect.ID == "injector_lean@cyl3" && s.Chance > 0.05 {
			t.Errorf("the sound injector has chance %.3f", s.Chance)
		}
	}
	k := slices.IndexFunc(a.Next, func(n NextTest) bool { return n.Test.ID == "gap@cyl3" })
	if k < 0 || k > 2 || a.Next[k].EndsIt < 0.2 {
		t.Errorf("the separating direct test is not among the first three: %d", k)
	}
	if a.Leader != 0 || a.RunnerUp != 1 || a.Versus.A != a.Suspects[0].Suspect.ID || a.DoubtBits <= 0 {
		t.Errorf("leader %d, runner-up %d, versus %+v", a.Leader, a.RunnerUp, a.Versus)
	}
}

// lnWeight is ln w(S) of a set of one to three faults, in ascending order.
func (f *field) lnWeight(s []int) float64 {
	w := 0.0
	for x, i := range s {
		w += f.a[i]
		for _, j := range s[x+1:] {
			w += f.b[i*f.n+j]
		}
	}
	if len(s) == 3 && f.c != nil {
		w += math.Log(f.row(s[0], s[1])[s[2]-s[1]-1])
	}
	return w
}
