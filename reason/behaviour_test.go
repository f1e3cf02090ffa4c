package reason

import (
	"encoding/json"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason/bay"
)

func judge(t *testing.T, c Case, o Options) *Answer {
	t.Helper()
	a, err := Judge(c, o)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func suspect(t *testing.T, a *Answer, id string) *SuspectAnswer {
	t.Helper()
	for i := range a.Suspects {
		if a.Suspects[i].Suspect.ID == id {
			return &a.Suspects[i]
		}
	}
	t.Fatalf("no suspect %s", id)
	return nil
}

func gaps(values ...float64) (out []evidence.Finding) {
	for i, v := range values {
		f := read(fmt.Sprintf("g%d", i+1), "gap", i+1, v, 0.02)
		f.AllCompared = true
		out = append(out, f)
	}
	return out
}

// Shown needs a direct test of the part that differs from its neighbours, and a
// chance at the stop threshold; elimination never shows anything.
func TestShown(t *testing.T) {
	strong := []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "burn_time", 3, "abnormal"), said("f3", "coil_swap", 3, "normal"), said("f4", "ramp", 3, "normal"), said("f5", "capped", 3, "normal")}
	c := bayCase(t)
	c.Findings = append(strong, gaps(1.0, 1.02, 1.4, 1.01)...)
	a := judge(t, c, Options{Tests: -1})
	s := suspect(t, a, "plug_gap@cyl3")
	if s.State != Shown || s.By != "g3" || !strings.HasPrefix(a.Stop, "Stop:") {
		t.Errorf("one gap wide, the others sound: %s by %q, %s; %s", s.State, s.By, s.Reason, a.Stop)
	}
	// One gap alone, the others not measured.
	one := gaps(1, 1, 1.4, 1)[2]
	one.AllCompared = false
	c.Findings = append(slices.Clone(strong), one)
	if s := suspect(t, judge(t, c, Options{Tests: -1}), "plug_gap@cyl3"); s.State == Shown {
		t.Errorf("shown with one gap of four: %s", s.Reason)
	}
	// Blocked reading.
	one = gaps(1, 1, 1.4, 1)[2]
	one.Flags = []evidence.Flag{evidence.Clipped}
	c.Findings = append(slices.Clone(strong), one)
	if s := suspect(t, judge(t, c, Options{Tests: -1}), "plug_gap@cyl3"); s.State == Shown {
		t.Errorf("shown by a clipped reading")
	}
	// Elimination: everything else looked at, the gap never measured.
	c.Findings = append(slices.Clone(strong), said("f6", "plug_swap", 1, "normal"), said("f7", "balance", 3, "normal"), said("f8", "mist", 3, "normal"), said("f9", "fuel_pressure", 0, "normal"), said("f10", "counter", 1, "normal"))
	if s := suspect(t, judge(t, c, Options{Tests: -1}), "plug_gap@cyl3"); s.State == Shown || s.Chance < 0.7 {
		t.Errorf("by elimination: %s at %.3f", s.State, s.Chance)
	}
	// All gaps alike against the others is no difference; against a cited limit it may be one.
	for _, versus := range []string{"others", "limit"} {
		b := bay.Book()
		b.Tests[len(b.Tests)-1].Reads.Versus = versus
		in, err := book.Instantiate(bay.Engine(), b)
		if err != nil {
			t.Fatal(err)
		}
		c := bayCase(t)
		c.Instance = in
		c.Findings = append(slices.Clone(strong), gaps(1.4, 1.41, 1.42, 1.4)...)
		l := DefaultLimits()
		l.StopAt, l.SuspectedAt = 0.05, 0.01 // only the comparison may hold it back here
		s := suspect(t, judge(t, c, Options{Tests: -1, Limits: &l}), "plug_gap@cyl3")
		if (s.State == Shown) != (versus == "limit") {
			t.Errorf("all gaps alike, versus %s: %s, %s", versus, s.State, s.Reason)
		}
	}
}

// Ruled out needs a direct normal reading under the conditions of the complaint.
func TestRuledOut(t *testing.T) {
	l := DefaultLimits()
	l.RuledOutChance, l.RuledOutSum = 0.05, 0.2 // only the conditions may hold it back here
	o := Options{Tests: -1, Limits: &l}
	c := bayCase(t)
	c.Complaint.Warm = "hot"
	f := said("f1", "coil_swap", 3, "normal")
	f.State = evidence.Normal
	state := func(warm string, change func(f *evidence.Finding)) *SuspectAnswer {
		g := f
		g.Condition.Warm = warm
		change(&g)
		c.Findings = []evidence.Finding{g}
		return suspect(t, judge(t, c, o), "coil_weak@cyl3")
	}
	same := func(*evidence.Finding) {}
	if s := state("hot", same); s.State != RuledOut || s.By != "f1" {
		t.Errorf("hot, normal: %s by %q at %g", s.State, s.By, s.Chance)
	}
	if s := state("cold", same); s.State == RuledOut {
		t.Errorf("a cold test ruled out a coil that fails hot: %s", s.Reason)
	}
	if s := state("", same); s.State == RuledOut {
		t.Errorf("a test in unknown conditions ruled out: %s", s.Reason)
	}
	if s := state("hot", func(f *evidence.Finding) { f.Flags = []evidence.Flag{evidence.TooSlow} }); s.State == RuledOut {
		t.Errorf("a blocked reading ruled out: %s", s.Reason)
	}
	if s := state("hot", func(f *evidence.Finding) { f.State = evidence.NotEstablished }); s.State == RuledOut {
		t.Errorf("a reading not established ruled out: %s", s.Reason)
	}
	// A fault that shows only hot is not touched at all by a cold test.
	b := bay.Book()
	for i := range b.Faults {
		if b.Faults[i].ID == "coil_weak" {
			b.Faults[i].Only = "hot"
		}
	}
	c.Instance, _ = book.Instantiate(bay.Engine(), b)
	for i := range c.Instance.Suspects {
		if c.Instance.Suspects[i].ID == "coil_weak@cyl3" {
			e, err := NewEngine(c, Options{MaxFaults: 1})
			if err != nil {
				t.Fatal(err)
			}
			g := f
			g.Condition.Warm = "cold"
			if err := e.Add(g); err != nil {
				t.Fatal(err)
			}
			s := &e.slots[0]
			if got := s.factor.set([]int{i}); math.Abs(got-s.factor.none) > 1e-12 {
				t.Errorf("a cold test moves a fault that shows only hot by %g", got/s.factor.none)
			}
		}
	}
}

// Two single-fault engines differ by exactly one reading: the odds factor of m
// like readings of one group.
func TestGroupAndFactCounts(t *testing.T) {
	b := bay.Book()
	for i := range b.Tests {
		switch b.Tests[i].ID {
		case "burn_time", "capped", "ramp":
			b.Tests[i].Group, b.Tests[i].Rho = "secondary", book.Num{Value: 0.6, Source: "EST"}
			b.Tests[i].Given["coil_weak"] = book.Row{P: map[string]float64{"abnormal": .5}}
			b.Tests[i].Healthy = book.Row{P: map[string]float64{"abnormal": .05, "normal": .95}}
		}
	}
	ratio := func(b *book.Book, tests ...string) float64 {
		in, err := book.Instantiate(bay.Engine(), b)
		if err != nil {
			t.Fatal(err)
		}
		e, err := NewEngine(Case{Instance: in, Symptoms: []string{"misfire_load"}}, Options{MaxFaults: 1})
		if err != nil {
			t.Fatal(err)
		}
		k := slices.IndexFunc(in.Suspects, func(s book.Suspect) bool { return s.ID == "coil_weak@cyl3" })
		before := e.w.a[k]
		for i, id := range tests {
			if err := e.Add(said(fmt.Sprint("f", i), id, 3, "abnormal")); err != nil {
				t.Fatal(err)
			}
		}
		return e.w.a[k] - before // relative to no fault
	}
	one := ratio(b, "burn_time")
	for m, tests := range [][]string{2: {"burn_time", "capped"}, 3: {"burn_time", "capped", "ramp"}} {
		if m < 2 {
			continue
		}
		want := float64(m) / (1 + float64(m-1)*0.6)
		if got := ratio(b, tests...) / one; math.Abs(got-want) > 1e-9 {
			t.Errorf("%d readings of one group count as %.6f, want %.6f", m, got, want)
		}
	}
	// The same test ten times never passes what it may say once with certainty.
	ten := ratio(b, slices.Repeat([]string{"burn_time"}, 10)...)
	if cap := math.Log(.5 / .05); ten > cap || ten < one {
		t.Errorf("ten repeats move by ln %.4f, one by %.4f, the book allows %.4f", ten, one, cap)
	}
	// The same fact counts once.
	for i := range b.Tests {
		if id := b.Tests[i].ID; id == "burn_time" || id == "capped" || id == "ramp" {
			b.Tests[i].Fact = "spark starves"
		}
	}
	if got := ratio(b, "burn_time", "capped", "ramp"); math.Abs(got-one) > 1e-9 {
		t.Errorf("the same fact three times counts as %.6f of once", got/one)
	}
}

// The share of a whole is told once: one cylinder's high share carries the fact.
func TestShareOfWhole(t *testing.T) {
	b := bay.Book()
	b.Tests[0].ShareOfWhole = true
	in, err := book.Instantiate(bay.Engine(), b)
	if err != nil {
		t.Fatal(err)
	}
	c := Case{Instance: in, Symptoms: []string{"misfire_load"}}
	c.Findings = []evidence.Finding{said("f1", "counter", 1, "normal"), said("f2", "counter", 2, "normal"), said("f3", "counter", 3, "abnormal"), said("f4", "counter", 4, "normal")}
	a := judge(t, c, Options{Tests: -1})
	if len(a.Uncounted) != 3 {
		t.Errorf("uncounted %v, want the three low shares", a.Uncounted)
	}
	c.Findings = c.Findings[2:3]
	b2 := judge(t, c, Options{Tests: -1})
	if math.Abs(a.Suspects[0].Chance-b2.Suspects[0].Chance) > 1e-12 {
		t.Error("the other shares were counted a second time")
	}
}

// Prior, facts and complaint multiply to the odds before; the comparison of two
// suspects adds up.
func TestExplanationAddsUp(t *testing.T) {
	b := bay.Book()
	b.Faults[3].Context = []book.Factor{{Fact: "worse_hot", Times: book.Num{Value: 3, Source: "trade.md 1.1"}}, {Fact: "worse_wet", Times: book.Num{Value: 2, Source: "trade.md 1.1"}}}
	b.Context = map[string]book.Fact{"worse_wet": {Ask: "Worse wet?", Share: book.Num{Value: 0.2, Source: "our choice"}}}
	in, err := book.Instantiate(bay.Engine(), b)
	if err != nil {
		t.Fatal(err)
	}
	c := Case{Instance: in, Symptoms: []string{"misfire_load"}, Facts: map[string]string{"worse_hot": "yes", "worse_wet": "no", "other": "unknown"}}
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "burn_time", 3, "abnormal"), said("f3", "balance", 3, "normal"), said("f4", "balance", 3, "normal")}
	e, err := NewEngine(c, Options{Tests: -1})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range c.Findings {
		if err := e.Add(f); err != nil {
			t.Fatal(err)
		}
	}
	a, err := e.Answer()
	if err != nil {
		t.Fatal(err)
	}
	wet := 0
	for _, s := range a.Suspects {
		product := 1.0
		for _, m := range s.MovedBy {
			if m.Finding == "fact:worse_wet" {
				wet++
				if math.Abs(m.Factor-0.75) > 1e-12 { // (1 - 0.2 x 2)/(1 - 0.2)
					t.Errorf("%s: no to a fact that holds for a fifth and doubles: %g", s.Suspect.ID, m.Factor)
				}
			}
			if m.Finding == "prior" || m.Finding == "complaint" || strings.HasPrefix(m.Finding, "fact:") {
				product *= m.Factor
			}
		}
		if want := odds(s.Before); math.Abs(product/want-1) > 1e-9 {
			t.Errorf("%s: prior, facts and complaint give odds %g, before is %g", s.Suspect.ID, product, want)
		}
	}
	if wet == 0 {
		t.Error("the answer no moved nobody")
	}
	sum := 0.0
	lines := 0
	for _, m := range a.Versus.Items {
		sum += math.Log(m.Factor)
		lines++
	}
	if math.Abs(sum-a.Versus.LnRatio) > 1e-12 {
		t.Errorf("items add up to %g, ratio is %g", sum, a.Versus.LnRatio)
	}
	// f3 and f4 are one line.
	for _, m := range a.Versus.Items {
		if m.Finding == "f3" && (len(m.Also) != 1 || m.Also[0] != "f4") {
			t.Errorf("repeats are not one line: %+v", m)
		}
		if m.Finding == "f4" {
			t.Error("a repeat has a line of its own")
		}
	}
	x, y := -1, -1
	for i := range in.Suspects {
		switch in.Suspects[i].ID {
		case a.Versus.A:
			x = i
		case a.Versus.B:
			y = i
		}
	}
	if want := e.w.a[x] - e.w.a[y]; math.Abs(want-a.Versus.LnRatio) > 1e-9 {
		t.Errorf("ln ratio %g, the weights say %g", a.Versus.LnRatio, want)
	}
}

// With a sane book two or more faults at once have 5 to 10 % given the complaint
// (DECISIONS, Odds).
func TestTwoFaultsGivenTheComplaint(t *testing.T) {
	a := judge(t, bayCase(t), Options{Tests: -1})
	if a.TwoOrMoreBefore < 0.03 || a.TwoOrMoreBefore > 0.12 {
		t.Errorf("two or more faults at once: %.3f", a.TwoOrMoreBefore)
	}
	if a.Outside <= 0 || a.Outside > 0.01 {
		t.Errorf("more than three at once: %g", a.Outside)
	}
	if math.Abs(a.NothingWrong-0.04) > 1e-9 || math.Abs(a.NotListed-0.05) > 1e-9 {
		t.Errorf("prior shares %g and %g, the book says 0.04 and 0.05", a.NothingWrong, a.NotListed)
	}
}

// An overrule changes the state, is seen, and leaves the numbers alone.
func TestOverrule(t *testing.T) {
	c := bayCase(t)
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal")}
	before := suspect(t, judge(t, c, Options{Tests: -1}), "coil_weak@cyl3").Chance
	c.Overrules = []Overrule{{Suspect: "coil_weak@cyl3", State: RuledOut, Reason: "new last week", Who: "R. Haas"}}
	s := suspect(t, judge(t, c, Options{Tests: -1}), "coil_weak@cyl3")
	if s.State != RuledOut || s.Overruled == nil || s.Chance != before || !strings.Contains(s.Reason, "new last week") {
		t.Errorf("%+v", s)
	}
}

// A suspect that a person ruled out is not named as what is left, and the answer
// says that the readings put it first all the same.
func TestOverruledLeaderIsTold(t *testing.T) {
	c := bayCase(t)
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "coil_swap", 3, "abnormal")}
	top := judge(t, c, Options{Tests: -1}).Suspects[0].Suspect.ID
	c.Overrules = []Overrule{{Suspect: top, State: RuledOut, Reason: "new last week.", Who: "R. Haas"}}
	a := judge(t, c, Options{Tests: -1})
	if slices.Contains(a.Group, top) {
		t.Errorf("%s is ruled out, and yet in the group %v", top, a.Group)
	}
	for _, want := range []string{"put " + phrase(&a.Suspects[0]) + " first", percent(a.Suspects[0].Chance), "R. Haas has ruled out: new last week."} {
		if !strings.Contains(a.Stop, want) {
			t.Errorf("%q lacks %q", a.Stop, want)
		}
	}
}

// Set-aside findings are told with and without.
func TestSetAside(t *testing.T) {
	c := bayCase(t)
	f := said("f2", "coil_swap", 3, "normal")
	f.SetAside = true
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal"), f}
	a := judge(t, c, Options{Tests: -1})
	c.Findings[1].SetAside = false
	b := judge(t, c, Options{Tests: -1})
	id := "coil_weak@cyl3"
	if a.WithSetAside == nil || math.Abs(a.WithSetAside[id]-suspect(t, b, id).Chance) > 1e-12 || suspect(t, a, id).Chance <= suspect(t, b, id).Chance {
		t.Errorf("with set aside %v, counted %g", a.WithSetAside[id], suspect(t, b, id).Chance)
	}
	if b.WithSetAside != nil {
		t.Error("nothing is set aside, yet it is told")
	}
}

// The same case gives the same bytes.
func TestSameInSameOut(t *testing.T) {
	c := bayCase(t)
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "burn_time", 3, "abnormal"), read("f3", "gap", 2, 1.0, 0.05)}
	x, err := json.Marshal(judge(t, c, Options{}))
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		if y, _ := json.Marshal(judge(t, c, Options{})); string(x) != string(y) {
			t.Fatal("two runs differ")
		}
	}
}

// On two cores and on one the sums come out the same to the last bit.
func TestOneCoreAndTwoCoresAgree(t *testing.T) {
	run := func(procs int) []float64 {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(procs))
		e := bigEngine(t, 90, 3, 30, 90, 6)
		if err := e.refresh(true); err != nil {
			t.Fatal(err)
		}
		return append(slices.Clone(e.chance), e.w.m2...)
	}
	if !slices.Equal(run(1), run(2)) {
		t.Error("the sums depend on the number of cores")
	}
}

// A part may be shown by a person's word: the reason is in the answer, the numbers
// stay, and no rule takes the word for a direct test.
func TestShownByWord(t *testing.T) {
	c := bayCase(t)
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal")}
	before := judge(t, c, Options{})
	c.Overrules = []Overrule{{Suspect: "coil_weak@cyl3", State: Shown, Reason: "I heard it arc.", Who: "R. Haas"}}
	a := judge(t, c, Options{})
	s := suspect(t, a, "coil_weak@cyl3")
	if s.State != Shown || s.By != ByWord || s.WasShown() || s.Overruled == nil || s.Chance != suspect(t, before, "coil_weak@cyl3").Chance {
		t.Errorf("%+v", s)
	}
	for _, want := range []string{"Shown by word of R. Haas, not by a test: I heard it arc. The readings say:"} {
		if !strings.Contains(s.Reason, want) {
			t.Errorf("%q lacks %q", s.Reason, want)
		}
	}
	if a.Stopped || !strings.Contains(a.Stop, "Shown by word of R. Haas, which is no direct test") {
		t.Errorf("stopped %t: %s", a.Stopped, a.Stop)
	}
	if len(a.Next) != len(before.Next) || a.Next[0].Test.ID != before.Next[0].Test.ID {
		t.Error("a person's word changed the next tests")
	}
	// What a test has shown stays shown by the test (the case of TestShown).
	c.Overrules[0].Suspect = "plug_gap@cyl3"
	c.Findings = append([]evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "burn_time", 3, "abnormal"), said("f3", "coil_swap", 3, "normal"), said("f4", "ramp", 3, "normal"), said("f5", "capped", 3, "normal")}, gaps(1.0, 1.02, 1.4, 1.01)...)
	a = judge(t, c, Options{Tests: -1})
	if s := suspect(t, a, "plug_gap@cyl3"); s.By != "g3" || !s.WasShown() || !a.Stopped || !strings.Contains(s.Reason, "R. Haas says so too: I heard it arc.") {
		t.Errorf("%s by %q: %s; %s", s.State, s.By, s.Reason, a.Stop)
	}
}
