package procedure

import (
	"fmt"
	"sort"
	"strings"
)

func ways(n int) string {
	switch n {
	case 1:
		return "one way"
	case 2:
		return "two ways"
	}
	return fmt.Sprintf("%d ways", n)
}

// phrase puts "the fact has one of these values" into words.
func (f *MFact) phrase(set uint64) string {
	var parts []string
	for v := 1; v < len(f.Values); v++ {
		if set>>v&1 == 1 {
			parts = append(parts, f.Phrase(v))
		}
	}
	return strings.Join(parts, ", or ")
}

// Phrase puts one value of the fact into words.
func (f *MFact) Phrase(v int) string {
	name := strings.ReplaceAll(strings.ReplaceAll(f.ID, ".", " "), "_", " ")
	if v == 0 {
		return name + " is unsure"
	}
	if s := f.Say[f.Values[v]]; s != "" {
		return s
	}
	return name + " is " + strings.ReplaceAll(f.Values[v], "_", " ")
}

// unmet lists in words the leaves that keep a guard from holding.
func (m *Machine) unmet(n *node, s *State) []string {
	if m.eval(n, s) {
		return nil
	}
	switch n.op {
	case opAll:
		var out []string
		for i := range n.kids {
			out = append(out, m.unmet(&n.kids[i], s)...)
		}
		return out
	case opAny:
		var alt []string
		for i := range n.kids {
			alt = append(alt, strings.Join(m.unmet(&n.kids[i], s), " and "))
		}
		return []string{"either " + strings.Join(alt, ", or ")}
	case opNot:
		return []string{"not: " + m.say(&n.kids[0])}
	case opFact:
		f := &m.Facts[n.idx]
		v := int(n.f.get(s))
		if f.Reading != "" {
			return []string{n.text}
		}
		if v == 0 {
			return []string{n.text + " (this is not known now)"}
		}
		return []string{n.text + " (now: " + f.Phrase(v) + ")"}
	}
	return []string{n.text}
}

// say puts a guard into words.
func (m *Machine) say(n *node) string {
	switch n.op {
	case opTrue:
		return "always"
	case opAll, opAny:
		var parts []string
		for i := range n.kids {
			p := m.say(&n.kids[i])
			if n.kids[i].op == opAny || n.kids[i].op == opAll {
				p = "(" + p + ")"
			}
			parts = append(parts, p)
		}
		if n.op == opAll {
			return strings.Join(parts, ", and ")
		}
		return strings.Join(parts, ", or ")
	case opNot:
		return "not: " + m.say(&n.kids[0])
	}
	return n.text
}

// SayStep gives the text of step i as it is for this vehicle, and its hazards.
func (m *Machine) SayStep(s State, i int) (do string, hazards []Hazard) {
	st := &m.Steps[i]
	for k := range st.wordings {
		if m.eval(&st.wordings[k], &s) {
			return st.Wording[k].Do, append(append([]Hazard{}, st.Hazards...), st.Wording[k].Hazards...)
		}
	}
	return st.Do, st.Hazards
}

// SayInterlock puts the interlock of step i into words; empty when there is none.
func (m *Machine) SayInterlock(i int) string {
	if m.Steps[i].guard.op == opTrue {
		return ""
	}
	return m.say(&m.Steps[i].guard)
}

// SayOnlyIf puts the condition of step i into words; empty when there is none.
func (m *Machine) SayOnlyIf(i int) string {
	if m.Steps[i].onlyIf.op == opTrue {
		return ""
	}
	return m.say(&m.Steps[i].onlyIf)
}

// SayWhen puts the condition of a wording of step i into words.
func (m *Machine) SayWhen(i, wording int) string { return m.say(&m.Steps[i].wordings[wording]) }

// RestWays lists the ways in which the vehicle may be left, each by what is missing for
// it, the nearest first; nothing when it may be left as it is. A way that is over because
// a step was done is not among them while another is open.
func (m *Machine) RestWays(s State) [][]string {
	if m.eval(&m.rest, &s) {
		return nil
	}
	ways := m.rest.kids
	if m.rest.op != opAny {
		ways = []node{m.rest}
	}
	var open, over [][]string
	for i := range ways {
		if missing := m.unmet(&ways[i], &s); m.past(&ways[i], &s) {
			over = append(over, missing)
		} else {
			open = append(open, missing)
		}
	}
	if len(open) == 0 {
		open = over
	}
	sort.SliceStable(open, func(i, j int) bool { return len(open[i]) < len(open[j]) })
	return open
}

// past: the guard asks that a step is not done, and it is.
func (m *Machine) past(n *node, s *State) bool {
	if n.op == opNot {
		return n.kids[0].op == opDone && m.eval(&n.kids[0], s)
	}
	if n.op != opAll {
		return false
	}
	for i := range n.kids {
		if m.past(&n.kids[i], s) {
			return true
		}
	}
	return false
}

// SayRest puts the safe resting state into words.
func (m *Machine) SayRest() string { return m.say(&m.rest) }

// Tell puts an event into a plain sentence, in the past tense, for stories.
func (m *Machine) Tell(e Event) string {
	step := func() string {
		s := &m.Steps[e.Step]
		return fmt.Sprintf("%q (%s)", s.ID, strings.TrimRight(s.Do, "."))
	}
	switch e.Op {
	case Start:
		return "The technician begins step " + step() + "."
	case Ended:
		return fmt.Sprintf("The movement of step %q comes to its end.", m.Steps[e.Step].ID)
	case Rested:
		return fmt.Sprintf("The wait of step %q is over.", m.Steps[e.Step].ID)
	case ConfirmMean:
		s := &m.Steps[e.Step]
		mean := s.Confirm.By[e.X]
		return fmt.Sprintf("Step %q is confirmed as %s: %s.", s.ID, strings.ReplaceAll(mean.How, "_", " "), strings.TrimRight(mean.Text, "."))
	case Complete:
		s := &m.Steps[e.Step]
		if len(s.Outcomes) > 0 {
			return fmt.Sprintf("Step %q ends with: %s.", s.ID, strings.TrimRight(s.Outcomes[e.X].Text, "."))
		}
		return fmt.Sprintf("Step %q is done.", s.ID)
	case Interrupt:
		return "Interruption: " + KindText[Kinds[e.X]] + "."
	case StepFails:
		return fmt.Sprintf("In step %q %s.", m.Steps[e.Step].ID, KindText[Kinds[e.X]])
	case BreakWait:
		return fmt.Sprintf("The wait of step %q is broken early.", m.Steps[e.Step].ID)
	case AtRest:
		return "Everything is seen to be at rest."
	case MotorRested:
		return "The rest after the movement is over."
	case Resume:
		return "The technician goes on."
	case Stop:
		return "The technician stops, to make safe and hand over."
	case HandOver:
		return "The vehicle is handed over in its resting state."
	case PickUp:
		return "Someone takes the work up again."
	case Finish:
		return "The procedure is finished."
	case WatchBand:
		w := &m.Watches[e.Step]
		return fmt.Sprintf("The %s at the %s is now %s.", w.Quantity, w.Point, [...]string{"not watched", "within limits", "known from a typed reading only", "beyond its limits"}[e.X])
	case TimerElapsed:
		t := &m.Timers[e.Step]
		return fmt.Sprintf("%g s have passed since step %q.", t.Seconds, m.Steps[t.Step].ID)
	}
	return "Something happens."
}
