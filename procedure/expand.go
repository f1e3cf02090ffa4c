package procedure

import (
	"fmt"

	"proveout/strict"
)

// origin says which part of the file a plain step came from.
type origin uint8

const (
	fromStep origin = iota
	fromGate
	fromQuestion
	fromRecovery
)

// plain is a step after sides, cycles, questions and gates are written out.
type plain struct {
	Step
	origin   origin
	side     string
	base     string // id before the side and the round were added
	question *Question
	path     []any // where it stands in the file
}

// expand writes a file out into plain steps: first the questions, then the gates,
// each after the one before it, then the steps. It reports what does not fit.
func (e *expander) expand(file *File) ([]plain, []strict.Problem) {
	last := ""
	for i := range file.Identify {
		q := &file.Identify[i]
		p := plain{origin: fromQuestion, question: q, base: q.ID, path: []any{"identify", i}}
		p.ID, p.Act, p.Who, p.Do = q.ID, "look", "technician", q.Ask
		p.Confirm = Confirm{Need: 1, By: []Mean{{How: "attested", Text: q.Ask}}}
		for _, a := range q.Answers {
			p.Outcomes = append(p.Outcomes, Outcome{ID: a.ID, Text: a.Text, Sets: a.Sets, Stop: a.Refuse})
		}
		p.Interrupt = resumeAll()
		last = e.chain(p, last)
	}
	for i, g := range file.Before {
		p := plain{origin: fromGate, base: g.ID, path: []any{"before", i}}
		p.ID, p.Act, p.Who, p.Do, p.Sets, p.Hazards, p.From = g.ID, "look", "technician", g.Text, g.Sets, g.Hazards, g.From
		p.Confirm = Confirm{Need: 1, By: []Mean{{How: g.How, Text: g.Text, Reading: g.Reading, AtLeast: g.AtLeast, AtMost: g.AtMost}}}
		p.Interrupt = resumeAll()
		last = e.chain(p, last)
	}
	gateEnd := last
	e.steps(file.Steps, fromStep, "steps", gateEnd)
	e.steps(file.Recovery, fromRecovery, "recovery", "")
	e.resolveNeeds()
	return e.out, e.problems
}

// resumeAll is for steps that only look: nothing was touched, so they are simply
// done again.
func resumeAll() map[string]RecoveryRule {
	m := map[string]RecoveryRule{}
	for _, k := range Kinds {
		m[k] = RecoveryRule{Class: "R1", Text: "Nothing was touched in this step: look again."}
	}
	m["injury_or_fire"] = RecoveryRule{Class: "R5", Text: "Help the person first. Stop here."}
	m["not_as_expected"] = RecoveryRule{Class: "R5", Text: "The start is not given: make safe and hand over, or put it right and begin again."}
	return m
}

type expander struct {
	doc      *strict.Document
	out      []plain
	ids      map[string]bool
	problems []strict.Problem
	groups   map[string][]string // base id or cycle id -> plain ids that must be done
}

func (e *expander) fail(path []any, format string, args ...any) {
	e.problems = append(e.problems, e.doc.At(strict.Error, fmt.Sprintf(format, args...), path...))
}

func (e *expander) group(base string, ids ...string) {
	if e.groups == nil {
		e.groups = map[string][]string{}
	}
	e.groups[base] = append(e.groups[base], ids...)
}

func (e *expander) add(p plain) {
	if p.ID == "" {
		e.fail(p.path, "a step has no id; give it a short name")
		return
	}
	if e.ids[p.ID] {
		e.fail(p.path, "the id %q is given twice; each step needs its own", p.ID)
		return
	}
	e.ids[p.ID] = true
	e.out = append(e.out, p)
}

func (e *expander) chain(p plain, last string) string {
	if last != "" {
		p.Needs = []string{last}
	}
	e.add(p)
	e.group(p.ID, p.ID)
	return p.ID
}

func (e *expander) steps(steps []Step, from origin, list string, gateEnd string) {
	for i, s := range steps {
		path := []any{list, i}
		if len(s.Cycle) > 0 {
			e.cycle(s, from, path)
			continue
		}
		if s.Times != 0 {
			e.fail(path, "%q has times but no cycle; put the steps to repeat under cycle", s.ID)
		}
		if from == fromStep && len(s.Needs) == 0 && gateEnd != "" {
			s.Needs = []string{gateEnd}
		}
		for _, p := range sidesOf(s, from, path, e) {
			e.add(p)
			e.group(s.ID, p.ID)
		}
	}
}

func (e *expander) cycle(s Step, from origin, path []any) {
	if s.Times < 1 || s.Times > 10 {
		e.fail(path, "cycle %q runs %d times; write times from 1 to 10", s.ID, s.Times)
		return
	}
	if len(s.For) > 0 || s.Do != "" || s.Act != "" {
		e.fail(path, "cycle %q has fields of a step; write them on the steps inside it", s.ID)
	}
	needs := s.Needs
	for round := 1; round <= s.Times; round++ {
		for j, in := range s.Cycle {
			if len(in.Cycle) > 0 || len(in.For) > 0 {
				e.fail(append(path, "cycle", j), "%q: a step of a cycle has neither sides nor a cycle of its own", in.ID)
				return
			}
			p := plain{Step: in, origin: from, base: in.ID, path: append(append([]any{}, path...), "cycle", j)}
			p.ID = fmt.Sprintf("%s.%s.%d", s.ID, in.ID, round)
			p.Do = fmt.Sprintf("%s (round %d of %d)", in.Do, round, s.Times)
			p.Wording = nil
			for _, w := range in.Wording {
				w.Do = fmt.Sprintf("%s (round %d of %d)", w.Do, round, s.Times)
				p.Wording = append(p.Wording, w)
			}
			p.Needs = append(append([]string{}, needs...), in.Needs...)
			needs = []string{p.ID}
			e.add(p)
			if round == s.Times {
				e.group(s.ID+"."+in.ID, p.ID)
			}
			if round == s.Times && j == len(s.Cycle)-1 {
				e.group(s.ID, p.ID)
			}
		}
	}
}

func sidesOf(s Step, from origin, path []any, e *expander) []plain {
	if len(s.For) == 0 {
		return []plain{{Step: s, origin: from, base: s.ID, path: path}}
	}
	var out []plain
	for _, side := range s.For {
		if side != "left" && side != "right" {
			e.fail(path, "%q is for %q; sides are left and right", s.ID, side)
			continue
		}
		out = append(out, plain{Step: stepForSide(s, side), origin: from, side: side, base: s.ID, path: path})
	}
	return out
}

func stepForSide(s Step, side string) Step {
	r := func(x string) string { return replaceSide(x, side) }
	list := func(xs []string) []string {
		var out []string
		for _, x := range xs {
			out = append(out, r(x))
		}
		return out
	}
	t := s
	t.For = nil
	t.ID = s.ID + "." + side
	t.Do, t.Why, t.NoReturn, t.Dangerous = r(s.Do), r(s.Why), r(s.NoReturn), r(s.Dangerous)
	t.Needs, t.Spoils, t.Watch, t.Again = list(s.Needs), list(s.Spoils), list(s.Watch), list(s.Again)
	t.OnlyIf, t.Guard, t.Applies = s.OnlyIf.forSide(side), s.Guard.forSide(side), s.Applies.forSide(side)
	t.Sets = mapForSide(s.Sets, side)
	hazards := func(hs []Hazard) []Hazard {
		var out []Hazard
		for _, h := range hs {
			out = append(out, Hazard{h.Word, r(h.Text), r(h.Do)})
		}
		return out
	}
	t.Hazards, t.Wording = hazards(s.Hazards), nil
	for _, w := range s.Wording {
		t.Wording = append(t.Wording, Wording{w.When.forSide(side), r(w.Do), hazards(w.Hazards)})
	}
	t.Confirm.By = nil
	for _, m := range s.Confirm.By {
		m.Text, m.Reading, m.Figures = r(m.Text), r(m.Reading), list(m.Figures)
		t.Confirm.By = append(t.Confirm.By, m)
	}
	t.Outcomes = nil
	for _, o := range s.Outcomes {
		o.Text, o.Sets, o.Stop = r(o.Text), mapForSide(o.Sets, side), r(o.Stop)
		t.Outcomes = append(t.Outcomes, o)
	}
	t.Interrupt = map[string]RecoveryRule{}
	for k, v := range s.Interrupt {
		v.Text, v.First, v.From = r(v.Text), list(v.First), r(v.From)
		t.Interrupt[k] = v
	}
	return t
}

// resolveNeeds turns the ids of two-sided steps and cycles into plain ids.
func (e *expander) resolveNeeds() {
	for i := range e.out {
		p := &e.out[i]
		var needs []string
		seen := map[string]bool{}
		for _, n := range p.Needs {
			ids := e.groups[n]
			if ids == nil && e.ids[n] {
				ids = []string{n}
			}
			if ids == nil {
				e.fail(p.path, "%q needs %q, which is no step of this procedure", p.ID, n)
			}
			for _, id := range ids {
				if !seen[id] {
					seen[id] = true
					needs = append(needs, id)
				}
			}
		}
		p.Needs = needs
	}
}
