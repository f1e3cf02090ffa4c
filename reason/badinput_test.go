package reason

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason/bay"
	"proveout/vehicle"
)

// Each kind of bad input the engine must take by itself. What is asked of all:
// a clear error or defined chances, never a number that is none, never a silent
// 0 or 100 %.

// whole judges and holds every figure of an answer to be a number between its ends.
func whole(t *testing.T, c Case) *Answer {
	t.Helper()
	a, err := Judge(c, Options{})
	if err != nil {
		t.Fatal(err)
	}
	chance := func(what string, p float64) {
		if !(p > 0 && p < 1) {
			t.Errorf("%s has chance %g", what, p)
		}
	}
	for i := range a.Suspects {
		s := &a.Suspects[i]
		chance(s.Suspect.ID, s.Chance)
		chance(s.Suspect.ID+" before", s.Before)
		for _, m := range s.MovedBy {
			if !(m.Factor > 0) || math.IsInf(m.Factor, 0) {
				t.Errorf("%s is moved by %g through %s", s.Suspect.ID, m.Factor, m.Finding)
			}
		}
	}
	chance("nothing wrong", a.NothingWrong)
	chance("something not listed", a.NotListed)
	for _, v := range []float64{a.DoubtBits, a.Outside, a.TwoOrMore, a.CostNow, a.Extended} {
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			t.Errorf("a figure of the answer is %g", v)
		}
	}
	for _, n := range a.Next {
		sum := 0.0
		for _, o := range n.Outcomes {
			sum += o.Chance
		}
		if math.Abs(sum-1) > 1e-6 || math.IsNaN(n.Bits+n.EndsIt+n.Cost+n.Minutes+n.Score) {
			t.Errorf("%s: outcomes sum to %g, figures %g %g %g", n.Test.ID, sum, n.Bits, n.EndsIt, n.Cost)
		}
	}
	return a
}

func TestBadInputContradictoryEvidence(t *testing.T) {
	c := bayCase(t)
	for i := range c.Instance.Tests {
		at := &c.Instance.Tests[i]
		for k, o := range at.Test.Outcomes {
			c.Findings = append(c.Findings, evidence.Finding{ID: fmt.Sprintf("f%d_%d", i, k), Test: at.Test.ID, Subject: at.Subject, Outcome: o.ID, State: evidence.Abnormal})
		}
	}
	a := whole(t, c)
	for i := range a.Suspects {
		if s := &a.Suspects[i]; s.State == Shown || s.State == RuledOut {
			t.Errorf("%s is %s by readings of which each is contradicted by another of the same test", s.Suspect.ID, s.State)
		}
	}
}

func TestBadInputImpossibleReadings(t *testing.T) {
	c := bayCase(t)
	bad := []evidence.Finding{
		read("nan", "gap", 1, math.NaN(), 0.1), read("inf", "gap", 2, math.Inf(1), 0.1), read("minus", "gap", 3, 1, -1), read("sigma", "gap", 4, 1, math.NaN()),
		{ID: "count", Test: "gap", Subject: evidence.Cyl(1), Events: 7, Of: 3, State: evidence.High}, said("outcome", "counter", 1, "purple"),
		{ID: "minus events", Test: "gap", Subject: evidence.Cyl(1), Events: -2, Of: 3, State: evidence.High}, {ID: "minus of", Test: "gap", Subject: evidence.Cyl(1), Events: 0, Of: -5, State: evidence.High},
		{ID: "inf sigma", Test: "gap", Subject: evidence.Cyl(2), Effect: 1, EffectSigma: math.Inf(1), State: evidence.High}, {ID: "minus inf", Test: "gap", Subject: evidence.Cyl(2), Effect: math.Inf(-1), EffectSigma: 0.1, State: evidence.High},
	}
	plain := whole(t, c)
	c.Findings = bad
	a := whole(t, c)
	if len(a.Uncounted) != len(bad) {
		t.Errorf("%d of %d are listed as not counted: %v", len(a.Uncounted), len(bad), a.Uncounted)
	}
	for i := range a.Suspects {
		if a.Suspects[i].Chance != plain.Suspects[i].Chance {
			t.Fatalf("%s was moved by readings that cannot be", a.Suspects[i].Suspect.ID)
		}
	}
	// A number far beyond anything a test can give counts as at its end, and is
	// told: unit, decimal point or channel.
	c.Findings = []evidence.Finding{read("far", "gap", 3, 1e12, 0.01)}
	if a := whole(t, c); len(a.Conflicts) != 1 || a.Conflicts[0].Doubtful != "far" {
		t.Errorf("a gap of a million million times the limit raises %v", a.Conflicts)
	}
}

func TestBadInputZeroLikelihoodEverywhere(t *testing.T) {
	b := bay.Book()
	for i := range b.Tests {
		b.Tests[i].Healthy = book.Row{P: map[string]float64{b.Tests[i].Outcomes[0].ID: 1}}
		for id := range b.Tests[i].Given {
			b.Tests[i].Given[id] = book.Row{P: map[string]float64{b.Tests[i].Outcomes[0].ID: 1}}
		}
	}
	in, err := book.Instantiate(bay.Engine(), b)
	if err != nil {
		t.Fatal(err)
	}
	c := Case{Instance: in, Symptoms: []string{"misfire_load"}}
	for i := range in.Tests {
		at := &in.Tests[i]
		last := at.Test.Outcomes[len(at.Test.Outcomes)-1]
		c.Findings = append(c.Findings, evidence.Finding{ID: fmt.Sprint("f", i), Test: at.Test.ID, Subject: at.Subject, Outcome: last.ID, State: evidence.Abnormal})
	}
	whole(t, c) // every outcome is impossible under every set of faults
}

// A book holds faults and what tests say of them: there is no place in it for a
// fault that depends on a fault, so a cycle can only be written as a field that
// does not exist or as YAML that refers to itself. Both are refused with the line.
// (A network with a cycle is refused in reason/network.)
func TestBadInputBookWithCycle(t *testing.T) {
	for name, text := range map[string]string{
		"a fault caused by itself": "schema: proveout/book/1\nid: x\nfaults:\n  - {id: a, component: a, causes: [b]}\n  - {id: b, component: a, causes: [a]}\n",
		"an anchor inside itself":  "schema: proveout/book/1\nid: x\nfaults: &f\n  - {id: a, component: a, complaint: *f}\n",
	} {
		_, ps := book.Load("cycle.yaml", []byte(text))
		said := ""
		for _, p := range ps {
			said += p.String() + "\n"
		}
		if !strings.Contains(said, "cycle.yaml:4") {
			t.Errorf("%s: %q", name, said)
		}
	}
}

func TestBadInputPriorsOverOne(t *testing.T) {
	b := bay.Book()
	for i := range b.Faults {
		b.Faults[i].Rate.Value = []float64{0.9, 7, 1, 1e300}[i%4]
	}
	in, err := book.Instantiate(bay.Engine(), b)
	if err != nil {
		t.Fatal(err)
	}
	a := whole(t, Case{Instance: in, Symptoms: []string{"misfire_load"}, Findings: []evidence.Finding{said("f", "counter", 3, "abnormal")}})
	if !slices.ContainsFunc(a.Notes, func(n string) bool { return strings.Contains(n, "prior rate above") }) {
		t.Errorf("held without a word: %v", a.Notes)
	}
	if !(a.Outside > 0.5) {
		t.Errorf("with priors that sum to more than one the chance beyond three faults is told as %g", a.Outside)
	}
}

func TestBadInputFiveHundredReadings(t *testing.T) {
	c := bayCase(t)
	for i := range 500 {
		at := &c.Instance.Tests[i%len(c.Instance.Tests)]
		o := at.Test.Outcomes[(i*7/len(c.Instance.Tests))%len(at.Test.Outcomes)]
		c.Findings = append(c.Findings, evidence.Finding{ID: fmt.Sprint("f", i), Test: at.Test.ID, Subject: at.Subject, Outcome: o.ID, State: evidence.Abnormal})
	}
	whole(t, c)
}

func TestBadInputCylinderTheEngineLacks(t *testing.T) {
	c := bayCase(t)
	c.Findings = []evidence.Finding{said("f", "counter", 7, "abnormal")}
	a := whole(t, c)
	if len(a.Uncounted) != 1 || !strings.Contains(a.Uncounted[0].Why, "cylinder 7 of this engine") {
		t.Errorf("cylinder 7 of four: %v", a.Uncounted)
	}
	if _, err := book.Instantiate(vehicle.Engine{Cylinders: -1}, bay.Book()); err == nil {
		t.Error("an engine of minus one cylinders passed")
	}
}

func TestBadInputNoSuspects(t *testing.T) {
	for what, c := range map[string]Case{"no book": {}, "an empty book": {Instance: &book.Instance{}}} {
		if _, err := Judge(c, Options{}); err == nil || len(err.Error()) < 20 {
			t.Errorf("%s: %v", what, err)
		}
	}
}
