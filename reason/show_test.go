package reason

import (
	"os"
	"testing"

	"proveout/book"
)

func TestShowCase(t *testing.T) {
	want := os.Getenv("SHOW_CASE")
	if want == "" {
		t.Skip()
	}
	cases, _ := book.BuiltinCases()
	books, _ := book.Builtin()
	for _, bc := range cases {
		if bc.File != "book/data/cases/"+want+".yaml" {
			continue
		}
		in, _ := book.Instantiate(bc.Layout(), books[0])
		fs, err := bc.Findings(in)
		if err != nil {
			t.Fatal(err)
		}
		a, err := Judge(caseOf(bc, in, fs), Options{})
		if err != nil {
			t.Fatal(err)
		}
		n := map[State]int{}
		for _, s := range a.Suspects {
			n[s.State]++
		}
		t.Log(len(a.Suspects), "suspects", len(in.Tests), "tests", n)
		for _, s := range a.Suspects[:8] {
			t.Logf("%-28s %.4f %s by %q: %s", s.Suspect.ID, s.Chance, s.State, s.By, s.Reason)
			for _, m := range s.MovedBy {
				t.Logf("        %s %v %s", m.Finding, m.Also, times(m.Factor))
			}
		}
		t.Log(a.GroupText, "|", a.Stop, "| none", a.NothingWrong, "other", a.NotListed, "two", a.TwoOrMore, a.TwoOrMoreBefore, "outside", a.Outside, a.Extended, "bits", a.DoubtBits)
		for _, c := range a.Conflicts {
			t.Log("CONFLICT", c)
		}
		for _, x := range a.Next {
			t.Logf("%s x%d %.0f min ends %.3f bits %.3f score %.4f %s", x.Test.ID, x.Repeat, x.Minutes, x.EndsIt, x.Bits, x.Score, x.Why)
			for _, o := range x.Outcomes {
				t.Logf("     %-12s %.3f %s", o.Outcome.ID, o.Chance, o.LeadsTo)
			}
		}
		t.Log(a.Replace)
		for _, x := range a.ChangeMind {
			t.Log("CHANGE", x)
		}
		for _, x := range a.Notes {
			t.Log("NOTE", x)
		}
	}
}
