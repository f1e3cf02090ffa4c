package job

import (
	"fmt"
	"strings"
)

// limitGiven keeps the last limit of a feature at a place.
func (s *State) limitGiven(p Said[LimitGiven]) error {
	f, err := parseForm(p.What.Form)
	if err != nil {
		return err
	}
	for i, have := range s.limits {
		if g, ok := have.(*fields); ok && sameLimit(f, g) {
			s.limits[i] = f
			return nil
		}
	}
	s.limits = append(s.limits, f)
	return nil
}

// sameLimit reports whether two limits are of one feature at one place.
func sameLimit(a, b *fields) bool {
	for _, n := range []string{"feature", "cylinder", "cyl", "cylinders", "bank", "corner"} {
		if fmt.Sprint(a.values[n]) != fmt.Sprint(b.values[n]) {
			return false
		}
	}
	return true
}

// LimitsOf are the limits given for a feature, as entries of "limits" of a job file.
func (s *State) LimitsOf(feature string) []Limit {
	var out []Limit
	for _, l := range s.limits {
		f, ok := l.(*fields)
		if !ok || f.text("feature") != feature {
			continue
		}
		form, err := f.MarshalJSON()
		var one Limit
		if err == nil && checkForm("limit", form, &one) == nil {
			out = append(out, one)
		}
	}
	return out
}

// overruled keeps the last decision on a suspect.
func (s *State) overruled(p Said[Overruled]) error {
	o := newFields()
	o.set("suspect", p.What.Suspect)
	o.set("state", p.What.State)
	o.set("reason", p.What.Reason)
	o.set("who", p.Author)
	for i, have := range s.overrules {
		if f, ok := have.(*fields); ok && f.text("suspect") == p.What.Suspect {
			s.overrules[i] = o
			return nil
		}
	}
	s.overrules = append(s.overrules, o)
	return nil
}

// readingsKept keeps items that disagree; each must be there.
func (s *State) readingsKept(p Said[ReadingsKept]) error {
	items := make([]any, 0, len(p.What.Items))
	for _, n := range p.What.Items {
		if _, ok := s.Item(n); !ok {
			return fmt.Errorf("there is no item %d", n)
		}
		items = append(items, n)
	}
	k := newFields()
	k.set("items", items)
	k.set("reason", p.What.Reason)
	k.set("who", p.Author)
	s.kept = append(s.kept, k)
	return nil
}

// listOf gives a list of the job's own overlay.
func (s *State) addOwn(list string, form Form) error {
	f, err := parseForm(form)
	if err != nil {
		return err
	}
	if len(f.names) == 0 {
		return nil
	}
	have, _ := s.own.values[list].([]any)
	for _, h := range have {
		if g, ok := h.(*fields); ok && g.text("id") == f.text("id") {
			if list == "components" {
				return nil // a part named by two suspects
			}
			return fmt.Errorf("%s %q is there already", strings.TrimSuffix(list, "s"), f.text("id"))
		}
	}
	s.own.set(list, append(have[:len(have):len(have)], f))
	return nil
}

func (s *State) suspectAdded(p Said[SuspectAdded]) error {
	if err := s.addOwn("components", p.What.Component); err != nil {
		return err
	}
	symptoms, err := parseForm(p.What.Symptoms)
	if err != nil {
		return err
	}
	if len(symptoms.names) > 0 {
		if before, ok := s.own.values["symptoms"].(*fields); ok {
			symptoms = mergeDeep(before, symptoms)
		}
		s.own.set("symptoms", symptoms)
	}
	return s.addOwn("faults", p.What.Fault)
}

func (s *State) testAdded(p Said[TestAdded]) error { return s.addOwn("tests", p.What.Test) }

func (s *State) testStarted(p Said[TestStarted]) error {
	s.Tests = append(s.Tests, TestDone{Test: p.What.Test, Subject: p.What.Subject, Author: p.Author, Started: p.Wall})
	return nil
}

func (s *State) testEnded(p Said[TestEnded]) error {
	for i := len(s.Tests) - 1; i >= 0; i-- {
		t := &s.Tests[i]
		if t.Test == p.What.Test && t.Subject == p.What.Subject && t.Ended == "" {
			t.Ended, t.Minutes, t.Done = p.Wall, p.What.Minutes, p.What.Done
			if m, ok := minutesBetween(t.Started, t.Ended); ok && t.Minutes <= 0 {
				t.Minutes = m // nobody gave them: the two entries say how long it was
			}
			return nil
		}
	}
	// Its beginning may have been lost with a device: the minutes still count.
	s.Tests = append(s.Tests, TestDone{Test: p.What.Test, Subject: p.What.Subject, Author: p.Author, Ended: p.Wall, Minutes: p.What.Minutes, Done: p.What.Done})
	return nil
}

// partArrived marks the part of an order as here.
func (s *State) partArrived(p Said[PartArrived]) error {
	for i := range s.Parts {
		o := &s.Parts[i]
		if o.Entry != p.What.Entry {
			continue
		}
		if o.Fitted {
			return fmt.Errorf("%s is fitted already", o.What.Name)
		}
		o.Arrived = p.Wall
		return nil
	}
	return fmt.Errorf("there is no order %q", p.What.Entry)
}

// partFitted marks the part that was ordered, or adds one that was on the shelf.
func (s *State) partFitted(p Said[PartUsed]) error {
	for i := range s.Parts {
		o := &s.Parts[i]
		if !o.Fitted && o.What.Name == p.What.Name && o.What.Where == p.What.Where {
			o.Fitted, o.Entry, o.Author, o.Wall = true, p.Entry, p.Author, p.Wall
			return nil
		}
	}
	s.Parts = append(s.Parts, PartState{Said: p, Fitted: true})
	return nil
}

// proofPlanned replaces the plan: half of an old one under a new one would be
// nobody's plan.
func (s *State) proofPlanned(p Said[ProofPlanned]) error {
	f, err := parseForm(p.What.Form)
	if err == nil {
		s.head.set("proof", f)
	}
	return err
}

func (s *State) procedureStarted(p Said[ProcedureStarted]) error {
	if _, ok := s.Run(p.What.Run); ok {
		return fmt.Errorf("run %q is there already", p.What.Run)
	}
	s.Runs = append(s.Runs, Run{ID: p.What.Run, Procedure: p.What.Procedure, Version: p.What.Version, SHA256: p.What.SHA256, Text: p.What.Text, Started: p.Wall, Author: p.Author})
	return nil
}

func (s *State) procedureEvent(p Said[ProcedureEvent]) error {
	r, ok := s.Run(p.What.Run)
	if !ok {
		return fmt.Errorf("there is no run %q", p.What.Run)
	}
	r.Lines = append(r.Lines, p.What)
	return nil
}

func (s *State) procedureEnded(p Said[ProcedureEnded]) error {
	r, ok := s.Run(p.What.Run)
	if !ok {
		return fmt.Errorf("there is no run %q", p.What.Run)
	}
	r.End = p.What.End
	return nil
}
