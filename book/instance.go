package book

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"proveout/evidence"
	"proveout/vehicle"
)

// Suspect is one fault on one instance of its component.
type Suspect struct {
	ID        string // fault id @ subject key: "plug_gap_wide@cyl3"
	Fault     *Fault
	Component *Component
	Subject   evidence.Subject
	// Rate is the fault's rate spread over its instances.
	Rate float64
}

// Words names a suspect as one would say it: "gap too wide on this plug, cylinder 3".
// The part is put before a failure that does not name it: "charge hose: split".
func (s *Suspect) Words() string {
	t := cmp.Or(s.Fault.Name, s.Fault.ID)
	if !namesPart(t, s.Component.Name) {
		t = s.Component.Name + ": " + t
	}
	if s.Subject.Kind != evidence.Engine && s.Subject.Kind != evidence.Vehicle {
		t += ", " + s.Subject.String()
	}
	return t
}

// namesPart reports whether the name of a failure holds a word of the part's name.
func namesPart(fault, component string) bool {
	letters := func(r rune) bool { return !unicode.IsLetter(r) }
	for _, c := range strings.FieldsFunc(strings.ToLower(component), letters) {
		c = strings.TrimSuffix(c, "s")
		if len(c) >= 3 && strings.Contains(strings.ToLower(fault), c) {
			return true
		}
	}
	return component == ""
}

// TestAt is one test on one instance.
type TestAt struct {
	ID      string // test id @ subject key
	Test    *Test
	Subject evidence.Subject
}

// Instance is one or more books applied to one engine.
type Instance struct {
	Engine   vehicle.Engine
	Books    []*Book // in order of precedence; Books[0] gives the settings
	Suspects []Suspect
	Tests    []TestAt
}

// Instantiate applies books to an engine. Faults and tests whose layout does
// not fit are left out. Ids must be unique over all the books.
func Instantiate(e vehicle.Engine, books ...*Book) (*Instance, error) {
	if err := e.Validate(); err != nil {
		return nil, err
	}
	in := &Instance{Engine: e, Books: books}
	comps := map[string]*Component{}
	for _, b := range books {
		for i := range b.Components {
			c := &b.Components[i]
			if comps[c.ID] != nil {
				return nil, fmt.Errorf("book %s: component %q is already in another book; give it another id", b.ID, c.ID)
			}
			comps[c.ID] = c
		}
	}
	faults, tests := map[string]bool{}, map[string]bool{}
	for _, b := range books {
		for i := range b.Faults {
			f := &b.Faults[i]
			c := comps[f.Component]
			if c == nil {
				return nil, fmt.Errorf("book %s: fault %q is of component %q, which no book has", b.ID, f.ID, f.Component)
			}
			if faults[f.ID] {
				return nil, fmt.Errorf("book %s: fault %q is already in another book; give it another id", b.ID, f.ID)
			}
			faults[f.ID] = true
			if !f.When.Matches(e) || !c.When.Matches(e) {
				continue
			}
			subs := subjects(c.Per, e)
			for _, s := range subs {
				in.Suspects = append(in.Suspects, Suspect{ID: f.ID + "@" + s.Key(), Fault: f, Component: c, Subject: s, Rate: f.Rate.Value / float64(len(subs))})
			}
		}
		for i := range b.Tests {
			t := b.Tests[i].lowestFirst()
			if tests[t.ID] {
				return nil, fmt.Errorf("book %s: test %q is already in another book; give it another id", b.ID, t.ID)
			}
			tests[t.ID] = true
			if !t.When.Matches(e) {
				continue
			}
			for _, s := range subjects(t.Per, e) {
				in.Tests = append(in.Tests, TestAt{ID: t.ID + "@" + s.Key(), Test: t, Subject: s})
			}
		}
	}
	for _, b := range books {
		for i := range b.Components {
			c := &b.Components[i]
			if !c.Exchange || !c.When.Matches(e) {
				continue
			}
			var of []*Fault
			for k := range in.Suspects {
				if s := &in.Suspects[k]; s.Component == c && !slices.Contains(of, s.Fault) {
					of = append(of, s.Fault)
				}
			}
			if len(of) == 0 {
				continue
			}
			t := thereAndBack(b, c, of)
			if tests[t.ID] {
				return nil, fmt.Errorf("book %s: the test of changing component %q is called %q, which a book has already; give that test another id", b.ID, c.ID, t.ID)
			}
			for _, s := range subjects(c.Per, e) {
				in.Tests = append(in.Tests, TestAt{ID: t.ID + "@" + s.Key(), Test: t, Subject: s})
			}
		}
	}
	return in, nil
}

// lowestFirst is the test with the stretches of its outcomes in rising order, as a
// measured value meets them; a book may write them in the order a person thinks of.
func (t *Test) lowestFirst() *Test {
	rising := func(a, b Outcome) int { return cmp.Compare(a.From, b.From) }
	if slices.IsSortedFunc(t.Outcomes, rising) {
		return t
	}
	c := *t
	c.Outcomes = slices.SortedStableFunc(slices.Values(t.Outcomes), rising)
	return &c
}

// subjects lists the instances of a "per" on an engine, in order.
func subjects(per string, e vehicle.Engine) []evidence.Subject {
	var out []evidence.Subject
	switch per {
	case "cylinder":
		for c := 1; c <= e.Cylinders; c++ {
			out = append(out, evidence.Cyl(c))
		}
	case "coil_pair":
		for _, p := range e.Companions() {
			out = append(out, evidence.PairOf(p[0], p[1]))
		}
	case "neighbours":
		for _, p := range e.Neighbours() {
			out = append(out, evidence.PairOf(p[0], p[1]))
		}
	case "bank":
		for b := 1; b <= e.Banks(); b++ {
			out = append(out, evidence.BankNo(b))
		}
	default:
		out = append(out, evidence.WholeEngine)
	}
	return out
}

// Bears says how a fault on subject f stands to a test on subject t: "own" when
// one covers the other, else "other".
func (in *Instance) Bears(f, t evidence.Subject) string {
	if f == t || f.Kind == evidence.Engine || t.Kind == evidence.Engine || f.Kind == evidence.Vehicle || t.Kind == evidence.Vehicle {
		return "own"
	}
	for c := 1; c <= in.Engine.Cylinders; c++ {
		if f.Covers(c, in.Engine.Bank) && t.Covers(c, in.Engine.Bank) {
			return "own"
		}
	}
	return "other"
}
