package reason

import (
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason/bay"
)

// A single part (the pump) has no neighbour: it is shown by a cited limit or by a
// change there and back, else it stays suspected however high its chance, and the
// answer says what is missing (DECISIONS, Odds).
func TestSinglePartNeedsLimitOrReturn(t *testing.T) {
	pump := func(change func(*book.Test)) Case {
		b := bay.Book()
		for i := range b.Faults {
			if b.Faults[i].ID == "pressure" {
				b.Faults[i].Rate.Value = 0.3 // so that its chance is no obstacle
			}
		}
		for i := range b.Tests {
			if b.Tests[i].ID == "fuel_pressure" {
				change(&b.Tests[i])
			}
		}
		in, err := book.Instantiate(bay.Engine(), b)
		if err != nil {
			t.Fatal(err)
		}
		c := bayCase(t)
		c.Instance = in
		f := said("f1", "fuel_pressure", 0, "abnormal")
		f.AllCompared = true // there is nothing to compare: it must not count as compared
		c.Findings = []evidence.Finding{f}
		return c
	}
	none := func(*book.Test) {}
	for _, x := range []struct {
		name   string
		change func(*book.Test)
		tried  []Tried
		shown  bool
	}{
		{"bare", none, nil, false},
		{"an estimate is no cited limit", func(b *book.Test) { b.Outcomes[1].Source = "EST" }, nil, false},
		{"cited limit", func(b *book.Test) { b.Outcomes[1].Source = "S31" }, nil, true},
		{"cited for the whole test", func(b *book.Test) { b.Source = "S31" }, nil, true},
		{"there and back in the test", func(b *book.Test) { b.Outcomes[1].Returns = true }, nil, true},
		{"another one fitted and gone", none, []Tried{{ID: "t", Component: "fuel pump", Subject: evidence.WholeEngine, Result: Gone}}, false},
		{"there and back by trying", none, []Tried{{ID: "t", Component: "fuel pump", Subject: evidence.WholeEngine, Result: Returned}}, true},
	} {
		c := pump(x.change)
		c.Tried = x.tried
		a := judge(t, c, Options{Tests: -1})
		s := suspect(t, a, "pressure@engine")
		if s.Chance < 0.9 {
			t.Fatalf("%s: the chance is only %.3f, the case tests nothing", x.name, s.Chance)
		}
		if s.WasShown() != x.shown || !x.shown && s.State != Suspected {
			t.Errorf("%s: %s: %s", x.name, s.State, s.Reason)
		}
		if !x.shown && !(strings.Contains(s.Reason, "A-B-A") && strings.Contains(a.Stop, "A-B-A")) {
			t.Errorf("%s: neither %q and %q name what would show it", x.name, s.Reason, a.Stop)
		}
	}
}

// Where only a limit is missing, its name is told.
func TestMissingLimitIsNamed(t *testing.T) {
	c := bayCase(t)
	c.Skip = []string{"gap", "plug_swap"} // nobody has given a limit, and the swap cannot be done
	s := suspect(t, judge(t, c, Options{Tests: -1}), "plug_gap@cyl3")
	if !strings.Contains(s.Reason, "a cited limit for the plug gap") {
		t.Errorf("%q does not ask for the limit", s.Reason)
	}
}
