package reason

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/vehicle"
)

// triedCase has two ways for the plug to fail, a coil and a pump.
func triedCase(t testing.TB) Case {
	t.Helper()
	num := func(v float64) book.Num { return book.Num{Value: v, Source: "made up"} }
	b := &book.Book{ID: "tried", Symptoms: map[string]string{"s": "s"}}
	for _, c := range []string{"plug", "coil", "pump", "wire"} {
		b.Components = append(b.Components, book.Component{ID: c, Name: c, Per: "engine"})
	}
	for _, f := range []struct {
		id, part string
		rate, q  float64
	}{{"gap", "plug", 0.03, 0.8}, {"crack", "plug", 0.01, 0.6}, {"weak", "coil", 0.03, 0.7}, {"tired", "pump", 0.02, 0.3}, {"loose", "wire", 0.01, 0.5}} {
		b.Faults = append(b.Faults, book.Fault{ID: f.id, Component: f.part, Name: f.id, Rate: num(f.rate), Complaint: map[string]book.Num{"s": num(f.q)}, Repair: book.Repair{Minutes: num(20)}})
	}
	b.Tests = []book.Test{{ID: "look", Name: "look", Per: "engine", Minutes: book.Minutes{Easy: num(5)}, Direct: []string{"weak"},
		Outcomes: []book.Outcome{{ID: "normal", Normal: true}, {ID: "bad", Proves: true}}, Healthy: book.Row{P: map[string]float64{"normal": 0.95, "bad": 0.05}},
		Given: map[string]book.Row{"weak": {P: map[string]float64{"bad": 0.8}}}}}
	in, err := book.Instantiate(vehicle.Engine{Cylinders: 4, Fuel: "petrol"}, b)
	if err != nil {
		t.Fatal(err)
	}
	return Case{Instance: in, Symptoms: []string{"s"}}
}

func tryPlug(r TriedResult) Tried {
	return Tried{ID: "t", Component: "plug", Subject: evidence.WholeEngine, Fitted: New, Result: r}
}

func triedEngine(t testing.TB, ts ...Tried) *Engine {
	t.Helper()
	e, err := NewEngine(triedCase(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range ts {
		x.ID = fmt.Sprint("t", i)
		if err := e.Try(x); err != nil {
			t.Fatal(err)
		}
	}
	return e
}

// The chances after a part was tried against full enumeration: every set of
// faults, and in each which of its faults bring the complaint about.
func TestTriedPartAgainstEnumeration(t *testing.T) {
	for _, result := range triedResults {
		e := triedEngine(t, tryPlug(result))
		l, s := &e.m.limits, e.m.in.Suspects
		// Four runs of 0.80 that count as 4/(1+3*0.5) = 1.6 (thresholds).
		part, elsewhere := triedChances(1-math.Pow(1-l.TriedShows, 1.6), 1-(1-l.TriedBadNew)*(1-l.TriedDisturbs), l.TriedCures)
		o := 0
		for triedResults[o] != result {
			o++
		}
		mix := func(p []float64) float64 { // a share of readings is simply wrong
			return (1-e.u)*float64(len(p))*p[o] + e.u
		}
		// P(complaint there and the result | set), fault by fault at work or not.
		joint := func(set []int) float64 {
			sum := 0.0
			for at := range 1 << (len(set) + 1) {
				p, there, left := 1.0, false, false
				for x := range len(set) + 1 {
					q, of := l.Leak, false
					if x < len(set) {
						f := &s[set[x]]
						q, of = f.Fault.Complaint["s"].Value, f.Component.ID == "plug"
					}
					if at>>x&1 == 0 {
						p *= 1 - q
						continue
					}
					p *= q
					there, left = true, left || !of
				}
				switch {
				case !there:
				case left:
					sum += p * mix(elsewhere)
				default:
					sum += p * mix(part)
				}
			}
			return sum
		}
		n := len(s)
		chance, sets := make([]float64, n), 0.0
		var walk func(from int, set []int)
		walk = func(from int, set []int) {
			if len(set) > 0 {
				v := joint(set)
				for _, i := range set {
					v *= s[i].Rate / (1 - s[i].Rate)
				}
				sets += v
				for _, i := range set {
					chance[i] += v
				}
			}
			for i := from; i < n && len(set) < 3; i++ {
				walk(i+1, append(set, i))
			}
		}
		walk(0, nil)
		for i := range chance {
			want := chance[i] / sets * (1 - e.none - e.other)
			if math.Abs(want-e.chance[i]) > 1e-12 {
				t.Errorf("%s: %s has %.15g, by enumeration %.15g", result, s[i].ID, e.chance[i], want)
			}
		}
		if d := e.farthest(); d > 1e-11 {
			t.Errorf("%s: field and factors differ by %g", result, d)
		}
	}
}

// What a trial does to the odds: a complaint that stays speaks against the part
// but a new part may be bad; one that is gone speaks for it, the less the more
// rarely it shows; and trying again adds little.
func TestTriedPartMovesTheOdds(t *testing.T) {
	plug := func(ts ...Tried) float64 {
		e := triedEngine(t, ts...)
		return e.partChance(part{"plug", evidence.WholeEngine})
	}
	with := func(x Tried, do func(*Tried)) Tried { do(&x); return x }
	none, stays, gone, back := plug(), plug(tryPlug(Stays)), plug(tryPlug(Gone)), plug(tryPlug(Returned))
	if !(stays < none/3 && stays > 0.02) {
		t.Errorf("stays: %.3f, before %.3f: a fitted part speaks against it, but it may be bad itself", stays, none)
	}
	if !(gone > none && back > gone) {
		t.Errorf("before %.3f, gone %.3f, back with the old part %.3f", none, gone, back)
	}
	rare := plug(with(tryPlug(Gone), func(x *Tried) { x.WouldShow = 0.1 }))
	if !(rare < none+0.03 && rare > none) {
		t.Errorf("gone in a check that shows it once in ten: %.3f, before %.3f, always %.3f", rare, none, gone)
	}
	if s := plug(with(tryPlug(Stays), func(x *Tried) { x.WouldShow = 0.1 })); math.Abs(s-stays) > 0.03 { // but for the share of wrong readings
		t.Errorf("a complaint that was seen is seen, however rare: %.3f and %.3f", s, stays)
	}
	used := plug(with(tryPlug(Stays), func(x *Tried) { x.Fitted = Used }))
	if used <= stays {
		t.Errorf("a used part says less: %.3f against %.3f", used, stays)
	}
	dry := triedCase(t)
	dry.Complaint = evidence.Condition{Wet: "wet"}
	e, err := NewEngine(dry, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := e.Try(with(tryPlug(Gone), func(x *Tried) { x.Condition.Wet = "dry" })); err != nil {
		t.Fatal(err)
	}
	if p := e.partChance(part{"plug", evidence.WholeEngine}); p >= gone {
		t.Errorf("gone in the dry, for a complaint in the wet: %.3f, not less than %.3f", p, gone)
	}
	twice := plug(tryPlug(Stays), tryPlug(Stays))
	ten := plug(tryPlug(Stays), tryPlug(Stays), tryPlug(Stays), tryPlug(Stays), tryPlug(Stays), tryPlug(Stays), tryPlug(Stays), tryPlug(Stays), tryPlug(Stays), tryPlug(Stays))
	if !(twice < stays && ten > 1e-4) {
		t.Errorf("once %.4f, twice %.4f, ten times %.6f", stays, twice, ten)
	}
}

// Coverage of a check is a mixture (DECISIONS: c L_fault + (1-c) L_healthy), summed
// here over whether the conditions were right: a complaint that is gone says less
// where nobody wrote down in what conditions, but one that came back with the old
// part says what it says, since coming back tells that the conditions were right.
func TestTriedCoverageIsAMixture(t *testing.T) {
	d, bad, cures := 0.8, 0.06, 0.05
	full, fullElse := triedChances(d, bad, cures)
	for _, cover := range []float64{1, 0.7, 0.3, 0.01} {
		part, elsewhere := triedCovered(cover, d, bad, cures)
		sum, sumElse := 0.0, 0.0
		for o := range part {
			sum, sumElse = sum+part[o], sumElse+elsewhere[o]
		}
		if math.Abs(sum-1) > 1e-12 || math.Abs(sumElse-1) > 1e-12 {
			t.Errorf("coverage %g: results add up to %g and %g", cover, sum, sumElse)
		}
		if got, want := part[2]/elsewhere[2], full[2]/fullElse[2]; math.Abs(got/want-1) > 1e-12 {
			t.Errorf("coverage %g: there and back says %.3f times, under full coverage %.3f", cover, got, want)
		}
		if got, want := part[1]/elsewhere[1], full[1]/fullElse[1]; cover < 1 && got >= want {
			t.Errorf("coverage %g: gone says %.3f times, under full coverage %.3f", cover, got, want)
		}
	}
}

// A trial that is set aside is listed and not counted; an unknown part or result
// is refused with its name.
func TestTriedPartAsideAndUnknown(t *testing.T) {
	x := tryPlug(Stays)
	x.SetAside = true
	if a, b := triedEngine(t, x), triedEngine(t); math.Abs(a.chance[0]-b.chance[0]) > 1e-12 || len(a.uncounted()) != 1 {
		t.Errorf("set aside, yet %.4f and not %.4f; uncounted %v", a.chance[0], b.chance[0], a.uncounted())
	}
	e := triedEngine(t)
	for want, x := range map[string]Tried{
		"no part \"piston\"": {Component: "piston", Subject: evidence.WholeEngine, Result: Stays},
		"no result":          {Component: "plug", Subject: evidence.WholeEngine, Result: "better"},
		"cannot be":          {Component: "plug", Subject: evidence.WholeEngine, Result: Stays, WouldShow: math.NaN()},
	} {
		if err := e.Try(x); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v, want %q", x, err, want)
		}
	}
}

// Taken back and told: the trial is a line of its own, is never offered as a test,
// and shows the part only with the old one put back.
func TestTriedPartInTheAnswer(t *testing.T) {
	c := triedCase(t)
	always := tryPlug(Returned)
	always.WouldShow = 0.99
	c.Tried = []Tried{always}
	c.Findings = []evidence.Finding{{ID: "f", Test: "look", Subject: evidence.WholeEngine, Outcome: "normal", State: evidence.Normal}}
	a := judge(t, c, Options{})
	top := &a.Suspects[0]
	if top.Suspect.Component.ID != "plug" || top.State != Shown || top.By != "t" || factorOf(top, "t") <= 1 {
		t.Errorf("after A-B-A: %s %s by %q, factor %g: %s", top.Suspect.ID, top.State, top.By, factorOf(top, "t"), top.Reason)
	}
	for _, n := range a.Next {
		if strings.HasPrefix(n.Test.ID, "tried") {
			t.Errorf("a part tried is offered as a test: %s", n.Test.ID)
		}
	}
	c.Tried[0].Result = Gone
	if s := &judge(t, c, Options{}).Suspects[0]; s.State != Suspected || !strings.Contains(s.Reason, "no proof") {
		t.Errorf("a repair that helps is no proof of the cause: %s, %s", s.State, s.Reason)
	}
	// What was shown and is gone after the repair is repaired, and the search stays ended.
	c.Tried = []Tried{always, {ID: "u", Component: "plug", Subject: evidence.WholeEngine, Result: Gone}}
	if a := judge(t, c, Options{}); a.Suspects[0].State != Repaired || a.Suspects[0].By != "t" || !strings.Contains(a.Suspects[0].Reason, "(u)") {
		t.Errorf("shown, repaired and gone: %s by %q", a.Suspects[0].State, a.Suspects[0].By)
	}
	e := triedEngine(t)
	before := append([]float64(nil), e.chance...)
	if err := e.Try(tryPlug(Gone)); err != nil {
		t.Fatal(err)
	}
	if _, err := e.Undo(); err != nil {
		t.Fatal(err)
	}
	for i := range before {
		if math.Abs(before[i]-e.chance[i]) > 1e-12 {
			t.Errorf("taken back, suspect %d has %g, before %g", i, e.chance[i], before[i])
		}
	}
}
