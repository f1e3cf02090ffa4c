package reason

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
)

// glowBook has a fault of one cylinder and one of the whole engine, and a test on each
// cylinder that shows "dead" for both: a glow plug, and the unit that feeds all of them.
func glowBook() *book.Book {
	b := oneOf([]float64{.1, .1}, []float64{10, 10})
	b.Components[0].Per = "cylinder"
	b.Faults[0].Rate, b.Faults[1].Rate = numOf(.1), numOf(.1)
	b.Tests = []book.Test{{ID: "t", Name: "t", Per: "cylinder", Minutes: book.Minutes{Easy: numOf(1)}, Static: true,
		Outcomes: []book.Outcome{{ID: "live", Normal: true}, {ID: "dead"}}, Healthy: book.Row{P: map[string]float64{"live": .98, "dead": .02}},
		Given: map[string]book.Row{"f1": {P: map[string]float64{"live": .05, "dead": .95}}, "f2": {P: map[string]float64{"live": .05, "dead": .95}, Where: "any"}}}}
	return b
}

// For a fault of the whole engine m like readings count as m/(1+(m-1)rho) of one, with
// rho_wide, whichever way they speak: more of the same never speaks less, and never
// passes 1/rho. One dead plug among three live ones is no sign of a dead unit.
func TestOneTestOnSeveralCylindersOfAFaultOfTheWhole(t *testing.T) {
	ratio := func(outcomes ...string) float64 { // ln of what the readings make of the unit against nothing wrong
		e := engineOf(t, glowBook(), Options{MaxFaults: 1, Limits: exactLimits()}, "s")
		unit := len(e.chance) - 1
		before := e.chance[unit] / e.none
		for i, o := range outcomes {
			if err := e.Add(evidence.Finding{ID: fmt.Sprint("f", i), Test: "t", Subject: evidence.Cyl(i + 1), Outcome: o}); err != nil {
				t.Fatal(err)
			}
		}
		return math.Log(e.chance[unit] / e.none / before)
	}
	live, dead, rho := math.Log(.05/.98), math.Log(.95/.02), DefaultLimits().RhoWide
	for m := 1; m <= 4; m++ {
		all := float64(m) / (1 + float64(m-1)*rho)
		lives, deads := []string{"live", "live", "live", "live"}[:m], []string{"dead", "dead", "dead", "dead"}[:m]
		closeTo(t, fmt.Sprint(m, " live"), ratio(lives...), all*live, 1e-4)
		closeTo(t, fmt.Sprint(m, " dead"), ratio(deads...), all*dead, 1e-4)
	}
	closeTo(t, "one dead of four", ratio("live", "dead", "live", "live"), (3*live+dead)/(1+3*rho), 1e-4)
}

// Where an outcome would lead is what it leads to once it is read, for the fault of
// the whole engine too, of which other cylinders have told already.
func TestWhereAnOutcomeLeadsIsWhereItLeads(t *testing.T) {
	for _, so := range [][]string{{"live"}, {"live", "live"}, {"live", "live", "dead"}, {"dead", "dead", "dead"}} {
		for x, o := range []string{"live", "dead"} {
			e := engineOf(t, glowBook(), Options{MaxFaults: 1, Limits: exactLimits()}, "s")
			for i, o := range so {
				if err := e.Add(evidence.Finding{ID: fmt.Sprint("f", i), Test: "t", Subject: evidence.Cyl(i + 1), Outcome: o}); err != nil {
					t.Fatal(err)
				}
			}
			f := e.virtual(len(so), x)
			f.put(e.w, 1)
			if err := e.refresh(false); err != nil {
				t.Fatal(err)
			}
			ahead := math.Log(e.chance[len(e.chance)-1] / e.none)
			f.put(e.w, -1)
			if err := e.Add(evidence.Finding{ID: "next", Test: "t", Subject: evidence.Cyl(len(so) + 1), Outcome: o}); err != nil {
				t.Fatal(err)
			}
			closeTo(t, fmt.Sprintf("%s after %v", o, so), ahead, math.Log(e.chance[len(e.chance)-1]/e.none), 1e-4)
		}
	}
}

// What an outcome leads to does not call a part "not yet shown" that is shown already.
func TestWhereAnOutcomeLeadsKnowsWhatIsShown(t *testing.T) {
	b := glowBook()
	x := &b.Tests[0]
	x.Outcomes[1].Proves, x.Neighbours, x.Direct = true, true, []string{"f1"}
	b.Tests = append(b.Tests, book.Test{ID: "u", Name: "u", Per: "engine", Minutes: book.Minutes{Easy: numOf(1)}, Static: true,
		Outcomes: []book.Outcome{{ID: "live", Normal: true}, {ID: "dead"}}, Healthy: book.Row{P: map[string]float64{"live": .9, "dead": .1}},
		Given: map[string]book.Row{"f2": {P: map[string]float64{"live": .1, "dead": .9}}}})
	l := DefaultLimits()
	l.StopAt, l.WorthBits = 0.999, 0.0001
	e := engineOf(t, b, Options{Limits: &l}, "s")
	for i, o := range []string{"live", "dead", "live", "live"} {
		if err := e.Add(evidence.Finding{ID: fmt.Sprint("f", i), Test: "t", Subject: evidence.Cyl(i + 1), Outcome: o}); err != nil {
			t.Fatal(err)
		}
	}
	a, err := e.Answer()
	if err != nil {
		t.Fatal(err)
	}
	if a.Suspects[0].State != Shown || a.Stopped {
		t.Fatalf("the case tells nothing: %s, %s", a.Suspects[0].State, a.Stop)
	}
	read := 0
	for _, n := range a.Next {
		for _, o := range n.Outcomes {
			if strings.Contains(o.LeadsTo, phrase(&a.Suspects[0])+" leads") && !strings.Contains(o.LeadsTo, "shown, but not sure enough to stop") {
				t.Errorf("%s %s: %s", n.Test.Test.ID, o.Outcome.ID, o.LeadsTo)
			}
			read++
		}
	}
	if read == 0 {
		t.Fatal("no next test: the check cannot fail")
	}
}
