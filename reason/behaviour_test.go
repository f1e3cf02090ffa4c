package reason

import (
	"encoding/json"
	"fmt"
	"math"
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
	b.Faults[3].Context = []book.Factor{{Fact: "worse_hot", Times: book.Num{Value: 3, Source: "trade.md 1.1"}}}
	in, err := book.Instantiate(bay.Engine(), b)
	if err != nil {
		t.Fatal(err)
	}
	c := Case{Instance: in, Symptoms: []string{"misfire_load"}, Facts: map[string]string{"worse_hot": "yes", "other": "unknown"}}
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
	for _, s := range a.Suspects {
		product := 1.0
		for _, m := range s.MovedBy {
			if m.Finding == "prior" || m.Finding == "complaint" || strings.HasPrefix(m.Finding, "fact:") {
				product *= m.Factor
			}
		}
		if want := odds(s.Before); math.Abs(product/want-1) > 1e-9 {
			t.Errorf("%s: prior, facts and complaint give odds %g, before is %g", s.Suspect.ID, product, want)
		}
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

// Next tests: only what is on hand, nothing done already, no load under a
// flashing lamp, and nothing whose every outcome leaves all as it is.
func TestNextTests(t *testing.T) {
	b := bay.Book()
	b.Hazards = map[string]book.Hazard{"road": {Word: "WARNING", Text: "x", Load: true}}
	b.Access = map[string]book.Access{"plugs_out": {Name: "plugs out", Easy: book.Num{Value: 15, Source: "EST"}, Cool: book.Num{Value: 40, Source: "EST"}}}
	for i := range b.Tests {
		switch b.Tests[i].ID {
		case "mist":
			b.Tests[i].Hazards = []string{"road"}
		case "ramp":
			b.Tests[i].Equipment = []string{"low_amp_clamp"}
		case "leak":
			b.Tests[i].Access = "plugs_out"
		}
	}
	// A test that bears on nothing.
	idle := bay.Book().Tests[0]
	idle.ID, idle.Given = "idle_look", map[string]book.Row{"rings": {P: map[string]float64{"abnormal": 0.0400001}}}
	b.Tests = append(b.Tests, idle)
	in, err := book.Instantiate(bay.Engine(), b)
	if err != nil {
		t.Fatal(err)
	}
	c := Case{Instance: in, Symptoms: []string{"misfire_load"}, Equipment: []string{"hand_tools"}, LampFlashing: true, EngineHot: true}
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "coil_swap", 3, "normal")}
	a := judge(t, c, Options{Tests: 20})
	if len(a.Next) == 0 {
		t.Fatal("no next test")
	}
	for _, n := range a.Next {
		switch id := n.Test.ID; {
		case strings.HasPrefix(id, "mist"), strings.HasPrefix(id, "ramp"), strings.HasPrefix(id, "idle_look"), id == "counter@cyl3", id == "coil_swap@cyl3":
			t.Errorf("%s is recommended", id)
		case strings.HasPrefix(id, "leak") && n.Minutes != 30+15+40:
			t.Errorf("leak takes %g min, want 30 and 15 for access and 40 to cool", n.Minutes)
		}
		sum, leaders := 0.0, map[string]bool{}
		for _, o := range n.Outcomes {
			sum += o.Chance
			leaders[o.LeadsTo] = true
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Errorf("%s: outcomes sum to %g", n.Test.ID, sum)
		}
		if len(leaders) == 1 {
			t.Errorf("%s leads to the same whatever comes out", n.Test.ID)
		}
	}
	if !slices.ContainsFunc(a.Notes, func(s string) bool { return strings.Contains(s, "flashing") }) {
		t.Error("tests were withheld without a word")
	}
	any := judge(t, c, Options{Tests: 20, AnyEquipment: true})
	if !slices.ContainsFunc(any.Next, func(n NextTest) bool { return len(n.Missing) == 1 && n.Missing[0] == "low_amp_clamp" }) {
		t.Error("asked for any equipment, the missing clamp is not named")
	}
	for _, r := range []Rank{ByDoubt, ByCost} {
		x := judge(t, c, Options{Tests: 5, Rank: r})
		for i := 1; i < len(x.Next); i++ {
			if x.Next[i].Score > x.Next[i-1].Score {
				t.Errorf("by %s: %s comes before a better one", r, x.Next[i-1].Test.ID)
			}
		}
	}
}

// A difference that is not established asks for more placements, and hardly
// moves anything until then.
func TestNotEstablishedAsksForRepeats(t *testing.T) {
	c := bayCase(t)
	f := read("f2", "gap", 3, 1.15, 0.15)
	f.State, f.More = evidence.NotEstablished, 3
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal"), f}
	a := judge(t, c, Options{})
	for _, m := range suspect(t, a, "plug_gap@cyl3").MovedBy {
		if m.Finding == "f2" && (m.Factor > 4 || m.Factor < 0.25) {
			t.Errorf("a difference not established moves the odds %g times", m.Factor)
		}
	}
	k := slices.IndexFunc(a.Next, func(n NextTest) bool { return n.Test.ID == "gap@cyl3" })
	if k < 0 || a.Next[k].Repeat != 3 || !strings.Contains(a.Next[k].Why, "3 more times") {
		t.Fatalf("placing it again is not recommended: %+v", a.Next)
	}
	if a.Suspects[0].State == Shown {
		t.Error("shown without an established difference")
	}
}

// A planted contradiction is told as a conflict, the odd one named, retaking it
// comes first, and it does not stop the search once confirmed.
func TestConflict(t *testing.T) {
	c := bayCase(t)
	strong := []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "plug_swap", 3, "abnormal"), said("f3", "burn_time", 3, "abnormal"), said("f4", "counter", 1, "normal")}
	c.Findings = append(slices.Clone(strong), gaps(1.6, 1.0, 1.0, 1.01)...) // gap readings of cylinders 1 and 3 swapped
	a := judge(t, c, Options{})
	if len(a.Conflicts) == 0 {
		t.Fatalf("no conflict; leader %s %.3f", a.Suspects[0].Suspect.ID, a.Suspects[0].Chance)
	}
	got := a.Conflicts[0]
	if !slices.Contains(got.Findings, "g1") || !slices.Contains(got.Findings, "g3") || len(got.Findings) < 3 || got.Reason == "" || got.Settle == "" {
		t.Errorf("conflict %+v", got)
	}
	if len(a.Next) == 0 || a.Next[0].Repeat != 1 || !strings.Contains(a.Next[0].Why, "disagree") {
		t.Errorf("retaking is not first: %+v", a.Next)
	}
	if !strings.Contains(a.Stop, "disagree") {
		t.Errorf("stop says %q", a.Stop)
	}
	c.Findings = append(slices.Clone(strong), gaps(1.0, 1.0, 1.6, 1.01)...)
	if a := judge(t, c, Options{}); len(a.Conflicts) > 0 {
		t.Errorf("consistent readings raise a conflict: %v", a.Conflicts)
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

// A unit slip far beyond what a test can give is told by itself.
func TestUnitSlipIsTold(t *testing.T) {
	c := bayCase(t)
	for v, want := range map[float64]int{1.2: 0, 1.9: 0, 3: 0, 42: 1, 0.001: 1} {
		c.Findings = []evidence.Finding{read("f1", "gap", 3, v, 0.01)}
		a := judge(t, c, Options{})
		if len(a.Conflicts) != want {
			t.Errorf("ratio %g: %d conflicts, want %d", v, len(a.Conflicts), want)
		}
		if want == 1 && (a.Conflicts[0].Doubtful != "f1" || len(a.Next) == 0 || a.Next[0].Test.ID != "gap@cyl3") {
			t.Errorf("ratio %g: %+v", v, a.Conflicts[0])
		}
	}
}

// Where the part is cheap and the tests are long, replacing first is told, with
// the numbers; it is not told where tests are cheap.
func TestReplacingCheaperThanTesting(t *testing.T) {
	for _, w := range []struct {
		part, test float64
		told       bool
	}{{2, 90, true}, {120, 5, false}} {
		b := bay.Book()
		for i := range b.Faults {
			b.Faults[i].Repair = book.Repair{Minutes: book.Num{Value: 3, Source: "EST"}, Parts: book.Num{Value: w.part, Source: "EST"}}
		}
		for i := range b.Tests {
			b.Tests[i].Minutes = book.Minutes{Easy: book.Num{Value: w.test, Source: "EST"}}
		}
		in, err := book.Instantiate(bay.Engine(), b)
		if err != nil {
			t.Fatal(err)
		}
		c := Case{Instance: in, Symptoms: []string{"misfire_load"}, Findings: []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "burn_time", 3, "abnormal")}}
		a := judge(t, c, Options{})
		if told := strings.Contains(a.Replace, "cheaper"); told != w.told {
			t.Errorf("parts %g min, tests %g min: %q", w.part, w.test, a.Replace)
		}
	}
}

// The least number of questions is Huffman's bound: 1.59 for V1 (Pattipati &
// Alexandridis 1990, reasoning.md section 4).
func TestQuestions(t *testing.T) {
	p := &predictor{}
	if got := p.questions([]float64{.70, .01, .02, .10, .05, .12}, 0, 0); math.Abs(got-1.59) > 1e-12 {
		t.Errorf("%g questions, want 1.59", got)
	}
	if got := p.questions([]float64{1}, 0, 0); got != 0 {
		t.Errorf("%g questions for one fault", got)
	}
}
