package procedure

import "math/bits"

// Apply gives the state after an allowed event. It must not be called for an
// event that Allowed refuses.
func (m *Machine) Apply(s State, e Event) State {
	switch e.Op {
	case Start:
		st := &m.Steps[e.Step]
		st.phase.set(&s, uint64(Doing))
		st.given.set(&s, 0)
		if st.origin == fromRecovery {
			m.putBackRivals(&s, st)
		}
		m.unsettle(&s, st)
		if st.Command {
			m.motor.set(&s, uint64(Moving))
		}
	case Ended:
		st := &m.Steps[e.Step]
		st.phase.set(&s, uint64(Waiting))
		if st.Command {
			m.motor.set(&s, uint64(Resting))
		}
	case Rested:
		st := &m.Steps[e.Step]
		st.phase.set(&s, uint64(Waited))
		if st.Command {
			m.motor.set(&s, uint64(Quiet))
		}
		m.completeIfShown(&s, int(e.Step), st.given.get(&s))
	case BreakWait:
		st := &m.Steps[e.Step]
		if st.Wait.Broken == "step" {
			m.recover(&s, int(e.Step), MRecovery{class: 1})
			if st.Command {
				m.motor.set(&s, uint64(Resting))
			}
		} else {
			st.given.set(&s, 0)
		}
	case ConfirmMean:
		st := &m.Steps[e.Step]
		given := st.given.get(&s) | 1<<e.X
		st.given.set(&s, given)
		if r := st.means[e.X].reading; r >= 0 {
			m.Facts[r].f.set(&s, uint64(e.Band))
		}
		m.completeIfShown(&s, int(e.Step), given)
	case Complete:
		m.complete(&s, int(e.Step), int(e.X))
	case Interrupt:
		m.interrupt(&s, int(e.X))
	case StepFails:
		m.toHeld(&s, Held)
		m.recover(&s, int(e.Step), m.Steps[e.Step].Recovers[e.X])
		m.dropUnguarded(&s)
	case AtRest:
		m.motor.set(&s, uint64(Resting))
	case MotorRested:
		m.motor.set(&s, uint64(Quiet))
	case Resume:
		m.mode.set(&s, uint64(Running))
		m.dropUnguarded(&s)
	case Stop:
		m.stop(&s)
	case HandOver:
		m.mode.set(&s, uint64(HandedOver))
	case PickUp:
		m.mode.set(&s, uint64(Held))
		m.disturb(&s, m.disturbs[2])
	case Finish:
		m.mode.set(&s, uint64(Finished))
	case WatchBand:
		m.Watches[e.Step].f.set(&s, uint64(e.X))
	case TimerElapsed:
		m.Timers[e.Step].f.set(&s, 1)
	}
	return s
}

// putBackRivals: a recovery step takes over what a main step made so, or was making
// so; that step must be confirmed again.
func (m *Machine) putBackRivals(s *State, st *MStep) {
	for _, j := range st.again {
		m.redo(s, j)
	}
	for _, a := range st.sets {
		if j := m.lastSetter(s, a.fact); j >= 0 && m.Facts[a.fact].f.get(s) != 0 {
			m.idle(s, j)
		}
	}
	for _, i := range m.mainSteps {
		if !m.active(s, i) {
			continue
		}
		for _, a := range st.sets {
			if m.changes(i, a.fact) {
				m.idle(s, i)
			}
		}
	}
}

func (m *Machine) changes(i, fact int) bool {
	st := &m.Steps[i]
	for _, a := range st.sets {
		if a.fact == fact {
			return true
		}
	}
	for _, o := range st.outcomes {
		for _, a := range o.sets {
			if a.fact == fact {
				return true
			}
		}
	}
	return contains(st.spoils, fact)
}

// ripe: the step may be completed as far as its wait goes.
func (m *Machine) ripe(s *State, st *MStep) bool {
	ph := Phase(st.phase.get(s))
	return ph == Waited || ph == Doing && st.RestSeconds == 0
}

// completeIfShown ends a step of one outcome as soon as its wait is over and it is
// confirmed by enough means. A step of several outcomes waits for its choice.
func (m *Machine) completeIfShown(s *State, i int, given uint64) {
	st := &m.Steps[i]
	if len(st.outcomes) == 1 && m.ripe(s, st) && bits.OnesCount64(given) >= st.Need {
		m.complete(s, i, 0)
	}
}

// unsettle makes everything a step changes unsure while it is under way.
func (m *Machine) unsettle(s *State, st *MStep) {
	for _, a := range st.sets {
		m.Facts[a.fact].f.set(s, 0)
	}
	for _, o := range st.outcomes {
		for _, a := range o.sets {
			m.Facts[a.fact].f.set(s, 0)
		}
	}
	for _, k := range st.spoils {
		m.Facts[k].f.set(s, 0)
	}
	for _, t := range st.timers {
		m.Timers[t].f.set(s, 0)
	}
}

func (m *Machine) complete(s *State, i, outcome int) {
	st := &m.Steps[i]
	if st.origin == fromRecovery {
		st.phase.set(s, uint64(Idle))
		st.given.set(s, 0)
	} else {
		st.phase.set(s, uint64(Done))
		if !st.keepGiven {
			st.given.set(s, 0)
		}
	}
	for _, a := range st.sets {
		m.Facts[a.fact].f.set(s, uint64(a.value))
	}
	o := &st.outcomes[outcome]
	for _, a := range o.sets {
		m.Facts[a.fact].f.set(s, uint64(a.value))
	}
	if o.stop {
		m.idle(s, i)
		m.stop(s)
	}
}

// makes: step i can make the fact so.
func (m *Machine) makes(i int, a assign) bool {
	for _, b := range m.Steps[i].sets {
		if a == b {
			return true
		}
	}
	for _, o := range m.Steps[i].outcomes {
		for _, b := range o.sets {
			if a == b {
				return true
			}
		}
	}
	return false
}
