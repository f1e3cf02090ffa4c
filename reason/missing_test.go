package reason

import (
	"slices"
	"testing"

	"proveout/book"
)

// The cases in which a single part leads at 0.85 or more and nothing may be shown: each
// lacks a cited limit or a change there and back (DECISIONS, Odds), and each is shown as
// soon as it has it. So the rule holds a part back, and not a gap in the book.
func TestWhatIsMissingShowsThePart(t *testing.T) {
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	cases, err := book.BuiltinCases()
	if err != nil {
		t.Fatal(err)
	}
	held, bounded := 0, 0
	for _, bc := range cases {
		if !bc.Expect.ShownNone {
			continue
		}
		k := slices.IndexFunc(books, func(b *book.Book) bool { return b.ID == bc.Book })
		in, err := book.Instantiate(bc.Layout(), books[k])
		if err != nil {
			t.Fatal(err)
		}
		fs, err := bc.Findings(in)
		if err != nil {
			t.Fatal(err)
		}
		c := caseOf(bc, in, fs)
		a := judge(t, c, Options{Tests: -1})
		top := a.Suspects[0]
		if top.Chance < 0.85 {
			continue
		}
		held++
		if k := top.Suspect.Component.Per; k != "engine" && k != "bank" {
			t.Errorf("%s: %s has neighbours to be held against, and is not shown: %s", bc.File, top.Suspect.ID, top.Reason)
		}
		back := c
		back.Tried = []Tried{{ID: "t1", Component: top.Suspect.Component.ID, Subject: top.Suspect.Subject, Fitted: KnownGood, Result: Returned}}
		if s := suspect(t, judge(t, back, Options{Tests: -1}), top.Suspect.ID); s.State != Shown || s.By != "t1" {
			t.Errorf("%s: %s with the part changed there and back is %s: %s", bc.File, top.Suspect.ID, s.State, s.Reason)
		}
		for i := range fs {
			at := slices.IndexFunc(in.Tests, func(x book.TestAt) bool { return x.Test.ID == fs[i].Test && x.Subject == fs[i].Subject })
			b := in.Tests[at].Test
			if b.Reads == nil || b.Reads.Versus != "absolute" || !slices.Contains(b.Direct, top.Suspect.Fault.ID) {
				continue
			}
			// The book's own bounds, given for this vehicle.
			m, err := newModel(in, DefaultLimits(), nil)
			if err != nil {
				t.Fatal(err)
			}
			x := &m.tests[at]
			bounded++
			given := c
			given.Limits = []Limit{{Feature: b.Reads.Feature, Min: &x.from[x.normal], Max: &x.to[x.normal], Source: "service sheet"}}
			if s := suspect(t, judge(t, given, Options{Tests: -1}), top.Suspect.ID); s.State != Shown {
				t.Errorf("%s: %s with a limit for %s is %s: %s", bc.File, top.Suspect.ID, b.Reads.Feature, s.State, s.Reason)
			}
		}
	}
	if held != 18 || bounded < 3 {
		t.Errorf("%d cases held back, %d with a bound of the book's own; docs/reasoning.md says 18", held, bounded)
	}
}
