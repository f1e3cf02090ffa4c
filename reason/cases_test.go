package reason

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"proveout/book"
	"proveout/evidence"
)

// Every case beside the built-in books is run: readings in, expected answer out.
func TestBookCases(t *testing.T) {
	cases, err := book.BuiltinCases()
	if err != nil {
		t.Fatal(err)
	}
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	if len(cases) == 0 {
		t.Fatal("no cases")
	}
	for _, bc := range cases {
		t.Run(bc.File, func(t *testing.T) {
			k := slices.IndexFunc(books, func(b *book.Book) bool { return b.ID == bc.Book })
			if k < 0 {
				t.Fatalf("no book %q", bc.Book)
			}
			in, err := book.Instantiate(bc.Layout(), books[k])
			if err != nil {
				t.Fatal(err)
			}
			fs, err := bc.Findings(in)
			if err != nil {
				t.Fatal(err)
			}
			a, err := Judge(caseOf(bc, in, fs), Options{Tests: -1})
			if err != nil {
				t.Fatal(err)
			}
			for _, problem := range check(a, &bc.Expect) {
				t.Error(problem)
			}
			if t.Failed() {
				for _, s := range a.Suspects[:min(6, len(a.Suspects))] {
					t.Logf("%-28s %.4f %s by %q: %s", s.Suspect.ID, s.Chance, s.State, s.By, s.Reason)
				}
				t.Logf("nothing wrong %.4f, not listed %.4f, group %q, %s", a.NothingWrong, a.NotListed, a.GroupText, a.Stop)
				for _, c := range a.Conflicts {
					t.Logf("conflict %v: %s", c.Findings, c.Reason)
				}
			}
		})
	}
}

func caseOf(bc *book.Case, in *book.Instance, fs []evidence.Finding) Case {
	return Case{Instance: in, Symptoms: bc.Symptoms, States: bc.Conditions.State, Facts: bc.Facts, Findings: fs,
		Complaint: evidence.Condition{Warm: bc.Conditions.Warm, Wet: bc.Conditions.Wet}}
}

// check lists what an answer lacks of what a case expects.
func check(a *Answer, x *book.Expect) (problems []string) {
	fail := func(f string, args ...any) { problems = append(problems, fmt.Sprintf(f, args...)) }
	at := map[string]*SuspectAnswer{}
	var shown []string
	for i := range a.Suspects {
		s := &a.Suspects[i]
		at[s.Suspect.ID] = s
		if s.State == Shown {
			shown = append(shown, s.Suspect.ID)
		}
	}
	chance := func(id string) float64 {
		switch id {
		case "nothing_wrong":
			return a.NothingWrong
		case "not_listed":
			return a.NotListed
		}
		if s := at[id]; s != nil {
			return s.Chance
		}
		fail("no suspect %q", id)
		return math.NaN()
	}
	if x.First != "" && a.Suspects[0].Suspect.ID != x.First {
		fail("first is %s, want %s", a.Suspects[0].Suspect.ID, x.First)
	}
	if x.FirstComponent != "" && a.Suspects[0].Suspect.Component.ID != x.FirstComponent {
		fail("first component is %s, want %s", a.Suspects[0].Suspect.Component.ID, x.FirstComponent)
	}
	for _, id := range x.NotRuledOut {
		if s := at[id]; s == nil || s.State == RuledOut {
			fail("%s is ruled out or unknown", id)
		}
	}
	for _, id := range x.RuledOut {
		if s := at[id]; s == nil || s.State != RuledOut {
			fail("%s is not ruled out (chance %.5f)", id, chance(id))
		}
	}
	if x.ShownNone && len(shown) > 0 {
		fail("shown: %v, want none", shown)
	}
	if len(x.Shown) > 0 {
		want := slices.Sorted(slices.Values(x.Shown))
		slices.Sort(shown)
		if !slices.Equal(shown, want) {
			fail("shown: %v, want %v", shown, want)
		}
	}
	for _, id := range x.ShownIncludes {
		if !slices.Contains(shown, id) {
			fail("%s is not shown: %s", id, at[id].Reason)
		}
	}
	for _, p := range x.Above {
		if !(chance(p[0]) > chance(p[1])) {
			fail("%s (%.4f) is not above %s (%.4f)", p[0], chance(p[0]), p[1], chance(p[1]))
		}
	}
	for id, v := range x.ChanceAtLeast {
		if !(chance(id) >= v) {
			fail("chance of %s is %.4f, want at least %g", id, chance(id), v)
		}
	}
	for id, v := range x.ChanceAtMost {
		if !(chance(id) <= v) {
			fail("chance of %s is %.4f, want at most %g", id, chance(id), v)
		}
	}
	for _, id := range x.Group {
		if !slices.Contains(a.Group, id) {
			fail("%s is not in the group %v", id, a.Group)
		}
	}
	if x.Conflict && len(a.Conflicts) == 0 {
		fail("no conflict was raised")
	}
	return problems
}
