package procedure

func (m *Machine) toHeld(s *State, to Mode) {
	now := Mode(m.mode.get(s))
	if now == Stopping || now == HeldKeepPower && to == Held {
		return
	}
	m.mode.set(s, uint64(to))
}

// stop puts every step under way back, as for a technician who leaves: someone
// else may take it up.
func (m *Machine) stop(s *State) {
	m.mode.set(s, uint64(Stopping))
	for i := range m.Steps {
		if m.active(s, i) && m.Steps[i].origin != fromRecovery {
			r := m.Steps[i].Recovers[2]
			if r.class == 0 {
				r = MRecovery{class: 1}
			}
			m.recover(s, i, r)
		}
	}
}

func (m *Machine) interrupt(s *State, kind int) {
	m.toHeld(s, Held)
	for i := range m.Steps {
		if !m.active(s, i) {
			continue
		}
		if m.Steps[i].origin == fromRecovery {
			// One that no rule ever asks for first was begun while stopping: what it makes
			// so is unsure now, and the resting state asks for it.
			again := Idle
			if m.Steps[i].owable {
				again = Owed
			}
			m.Steps[i].phase.set(s, uint64(again))
			m.Steps[i].given.set(s, 0)
			continue
		}
		m.recover(s, i, m.Steps[i].Recovers[kind])
	}
	m.disturb(s, m.disturbs[kind])
	m.dropUnguarded(s)
	if kind == 4 { // someone is hurt, or fire: there is no going on
		m.mode.set(s, uint64(Stopping))
	}
}

// recover applies a recovery rule to a step that is under way.
func (m *Machine) recover(s *State, i int, r MRecovery) {
	switch r.class {
	case 0:
		return
	case 4:
		m.toHeld(s, HeldKeepPower)
	case 5:
		m.mode.set(s, uint64(Stopping))
	}
	m.idle(s, i)
	for _, j := range r.reset {
		m.redo(s, j)
	}
	for _, j := range r.first {
		m.Steps[j].phase.set(s, uint64(Owed))
		m.Steps[j].given.set(s, 0)
	}
}

func (m *Machine) idle(s *State, i int) {
	st := &m.Steps[i]
	st.phase.set(s, uint64(Idle))
	st.given.set(s, 0)
	for _, t := range st.timers {
		m.Timers[t].f.set(s, 0)
	}
}

// redo puts a step back to the beginning. What it had made true is unsure again,
// unless a later step has set it since.
func (m *Machine) redo(s *State, i int) {
	st := &m.Steps[i]
	was := Phase(st.phase.get(s))
	if was == Idle {
		return
	}
	if was == Done {
		drop := func(as []assign) {
			for _, a := range as {
				if m.lastSetter(s, a.fact) == i {
					m.Facts[a.fact].f.set(s, 0)
				}
			}
		}
		drop(st.sets)
		for _, o := range st.outcomes {
			drop(o.sets)
		}
	}
	m.idle(s, i)
}

func (m *Machine) lastSetter(s *State, fact int) int {
	set := m.Facts[fact].setters
	for k := len(set) - 1; k >= 0; k-- {
		if Phase(m.Steps[set[k]].phase.get(s)) == Done {
			return set[k]
		}
	}
	return -1
}

// disturb makes facts unsure that an interruption may have changed, and asks the
// step that last made each true to be confirmed again.
func (m *Machine) disturb(s *State, ds []disturb) {
	var facts, reset []int
	for i := range ds { // all conditions are asked before anything is put back
		if ds[i].unless == nil || !m.eval(ds[i].unless, s) {
			facts = append(facts, ds[i].facts...)
			reset = append(reset, ds[i].reset...)
		}
	}
	for _, i := range reset {
		m.redo(s, i)
	}
	var again []int
	for _, k := range facts {
		i := m.lastSetter(s, k)
		if i < 0 && int(m.Facts[k].f.get(s)) == m.Facts[k].Initial {
			continue // nobody has touched it yet
		}
		if m.Facts[k].f.get(s) == 0 {
			continue // unsure already: whatever settles it is still to be done
		}
		made := i >= 0 && m.makes(i, assign{k, int(m.Facts[k].f.get(s))})
		m.Facts[k].f.set(s, 0)
		if made { // otherwise a recovery step made it so, and a step to come will settle it
			again = append(again, i) // one step may have set several of them
		}
	}
	for _, i := range again {
		m.idle(s, i)
	}
}

// dropUnguarded puts steps back whose interlock no longer holds: they must be
// begun again when it does.
func (m *Machine) dropUnguarded(s *State) {
	for i := range m.Steps {
		st := &m.Steps[i]
		if st.origin == fromRecovery || !m.active(s, i) || m.eval(&st.guard, s) {
			continue
		}
		m.idle(s, i)
	}
}
