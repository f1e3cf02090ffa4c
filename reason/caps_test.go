package reason

import (
	"fmt"
	"math"
	"testing"

	"proveout/book"
	"proveout/evidence"
)

// Ten picked results of one test on one part, correlated with rho, speak of the
// outcome of the part as 10/(1+9 rho) of one (DECISIONS, Odds).
func TestNoiseOfRepeatsIsNotIndependent(t *testing.T) {
	lambda := func(m int) (ratio, rho float64) {
		e, err := NewEngine(bayCase(t), Options{MaxFaults: 1})
		if err != nil {
			t.Fatal(err)
		}
		for i := range m {
			if err := e.Add(said(fmt.Sprint(i), "coil_swap", 3, "abnormal")); err != nil {
				t.Fatal(err)
			}
		}
		s := &e.slots[0]
		tm := &e.m.tests[s.test]
		return math.Log(s.lambda[tm.outcome("abnormal")] / s.lambda[tm.normal]), tm.rho
	}
	one, rho := lambda(1)
	if !(one > 0 && rho > 0 && rho < 1) {
		t.Fatalf("the case tells nothing: ln ratio %g, rho %g", one, rho)
	}
	for _, m := range []float64{2, 3, 10} {
		got, _ := lambda(int(m))
		if want := one * m / (1 + (m-1)*rho); math.Abs(got-want) > 1e-9 {
			t.Errorf("%g repeats tell the outcome with ln %.6f, want %.6f", m, got, want)
		}
	}
}

// The chances of everything ruled out together stay below ruled_out_sum, although
// each suspect alone would pass.
func TestRuledOutTogetherStaysBelowTheSum(t *testing.T) {
	c := bayCase(t)
	for n := 1; n <= 4; n++ {
		c.Findings = append(c.Findings, said(fmt.Sprint("f", n), "coil_swap", n, "normal"))
		c.Findings[n-1].State = evidence.Normal
	}
	ruled := func(limit float64) (n int, sum float64) {
		l := DefaultLimits()
		l.RuledOutChance, l.RuledOutSum = 0.5, limit
		a := judge(t, c, Options{Tests: -1, Limits: &l})
		for i := range a.Suspects {
			if s := &a.Suspects[i]; s.State == RuledOut {
				n, sum = n+1, sum+s.Chance
			}
		}
		return n, sum
	}
	free, all := ruled(1)
	if free < 2 {
		t.Fatalf("only %d ruled out without a limit on the sum", free)
	}
	n, sum := ruled(all / 2)
	if n >= free || sum > all/2 {
		t.Errorf("%d ruled out with %.5f in all, the limit is %.5f; without it %d", n, sum, all/2, free)
	}
}

// A dry test does not touch a fault that shows only in the wet.
func TestDryTestOfAFaultThatShowsOnlyWet(t *testing.T) {
	m := &model{limits: DefaultLimits(), in: &book.Instance{}}
	f, test := &book.Fault{Only: "wet"}, &book.Test{}
	for _, w := range []struct {
		wet  string
		want float64
	}{{"dry", 0}, {"wet", 1}, {"damp", 1}} {
		if got := m.covered(f, test, evidence.Condition{Wet: w.wet}, false, false, &Case{}); got != w.want {
			t.Errorf("done %s: coverage %g, want %g", w.wet, got, w.want)
		}
	}
	if got := m.covered(f, &book.Test{Static: true}, evidence.Condition{Wet: "dry"}, false, false, &Case{}); got != 1 {
		t.Errorf("a part looked at: coverage %g, want 1", got)
	}
}

// A test done at another temperature, speed or load than the complaint's sees less of it:
// warm beside cold, and outside 375 rpm and 20 points of load (40 CFR 86.010-2). Another
// state is weakened once, with the speed that goes with it.
func TestCoverageByWarmthSpeedAndLoad(t *testing.T) {
	m := &model{limits: DefaultLimits(), in: &book.Instance{}}
	w := Window{RPMLow: 1800, RPMHigh: 2600, LoadLow: 70, LoadHigh: 90}
	for _, x := range []struct {
		name, warm string
		at         evidence.Condition
		want       float64
	}{
		{"warm for warm", "warm", evidence.Condition{State: evidence.Load, Warm: "warm"}, 1},
		{"hot for warm", "warm", evidence.Condition{State: evidence.Load, Warm: "hot"}, 1},
		{"not said for warm", "warm", evidence.Condition{State: evidence.Load}, 1},
		{"cold for warm", "warm", evidence.Condition{State: evidence.Load, Warm: "cold"}, 0.3},
		{"warm for hot", "hot", evidence.Condition{State: evidence.Load, Warm: "warm"}, 0.3},
		{"not said for hot", "hot", evidence.Condition{State: evidence.Load}, 0.7},
		{"hot for cold", "cold", evidence.Condition{State: evidence.Load, Warm: "hot"}, 0.3},
		{"inside", "", evidence.Condition{State: evidence.Load, SpeedRPM: 2100, LoadPct: 80}, 1},
		{"similar", "", evidence.Condition{State: evidence.Load, SpeedRPM: 2970, LoadPct: 51}, 1},
		{"too fast", "", evidence.Condition{State: evidence.Load, SpeedRPM: 5500, LoadPct: 80}, 0.3},
		{"too light", "", evidence.Condition{State: evidence.Load, SpeedRPM: 2100, LoadPct: 15}, 0.3},
		{"idle, weakened once", "", evidence.Condition{State: evidence.Idle, SpeedRPM: 800, LoadPct: 20}, 0.3},
		{"too fast and cold", "warm", evidence.Condition{State: evidence.Load, SpeedRPM: 5500, Warm: "cold"}, 0.09},
	} {
		c := &Case{Complaint: evidence.Condition{Warm: x.warm}, States: []evidence.State{evidence.Load}, Window: w}
		if got := m.covered(&book.Fault{}, &book.Test{}, x.at, false, w.misses(x.at), c); math.Abs(got-x.want) > 1e-12 {
			t.Errorf("%s: coverage %g, want %g", x.name, got, x.want)
		}
	}
	if (Window{}).misses(evidence.Condition{SpeedRPM: 5500}) || w.misses(evidence.Condition{}) {
		t.Error("what was not said is held against a reading")
	}
}

// The chances of what a trial may end with, worked out event by event: is the cause
// in the part, is the other part bad, does moving things cure (and break again) a
// cause elsewhere, does it show in the first check and in the second.
func TestTriedChancesEventByEvent(t *testing.T) {
	for _, w := range []struct{ d, bad, cures float64 }{{0.8, 0.06, 0.05}, {0.99, 0.1, 0.3}, {0.1, 0.03, 0.05}} {
		part, elsewhere := triedChances(w.d, w.bad, w.cures)
		for o, want := range []struct{ part, elsewhere float64 }{
			{w.bad * w.d, (1 - w.cures) * w.d},
			{0.5 * (w.bad*(1-w.d) + 1 - w.bad), 0.5 * (w.cures + (1-w.cures)*(1-w.d))},
			// The old part goes back: it shows, or hides again. A cause elsewhere that hid
			// is still there; one that was cured shows only if moving things breaks it anew.
			{0.5 * (w.bad*(1-w.d) + 1 - w.bad) * w.d, 0.5 * ((1-w.cures)*(1-w.d)*w.d + w.cures*w.cures*w.d)},
		} {
			if math.Abs(part[o]-want.part) > 1e-12 || math.Abs(elsewhere[o]-want.elsewhere) > 1e-12 {
				t.Errorf("d %g: %s has %.6f and %.6f, want %.6f and %.6f", w.d, triedResults[o], part[o], elsewhere[o], want.part, want.elsewhere)
			}
		}
	}
}
