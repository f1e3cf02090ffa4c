package procedure

// essence works out which bits of a state anything can ever ask for. Facts that no
// interlock, rule, rest or finish condition reads (a reading kept for the record,
// which axle is driven) cannot change what may happen.
func (m *Machine) essence() {
	used := map[int]bool{}
	var walk func(n *node)
	walk = func(n *node) {
		for i := range n.kids {
			walk(&n.kids[i])
		}
		switch n.op {
		case opFact:
			used[n.idx] = true
		case opMeans:
			m.Steps[n.idx].keepGiven = true
		}
	}
	walk(&m.rest)
	walk(&m.finish)
	for i := range m.finishRules {
		walk(&m.finishRules[i].unless)
	}
	for i := range m.handRules {
		walk(&m.handRules[i].unless)
	}
	for i := range m.stateRules {
		walk(&m.stateRules[i].unless)
	}
	for i := range m.Steps {
		st := &m.Steps[i]
		walk(&st.guard)
		walk(&st.onlyIf)
		walk(&st.applies)
		for k := range st.rules {
			walk(&st.rules[k].unless)
		}
	}
	for _, ds := range m.disturbs {
		for _, d := range ds {
			if d.unless != nil {
				walk(d.unless)
			}
			for _, k := range d.facts {
				used[k] = true
			}
		}
	}
	for i := range m.matters {
		m.matters[i] = ^uint64(0)
	}
	for i := range m.Facts {
		if !used[i] {
			m.Facts[i].f.set(&m.matters, 0)
		}
	}
}

// Essence is the state without the facts that nothing asks for. Two states with
// one essence allow the same events for ever, so the checker explores one of them.
func (m *Machine) Essence(s State) State {
	for i := range s {
		s[i] &= m.matters[i]
	}
	return s
}
