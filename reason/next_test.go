package reason

import (
	"math"
	"slices"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason/bay"
)

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
		case strings.HasPrefix(id, "leak") && n.Minutes != 30+3*15+15+40:
			t.Errorf("leak takes %g min, want 30 and half of it for each of the others, 15 for access and 40 to cool", n.Minutes)
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
