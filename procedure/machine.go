package procedure

import "math/bits"

// isDone reports whether step i is done, or left out because of what was asked.
func (m *Machine) isDone(s *State, i int) bool {
	st := &m.Steps[i]
	return Phase(st.phase.get(s)) == Done || st.onlyIf.op != opTrue && !m.eval(&st.onlyIf, s)
}

// ModeOf, MotorOf, PhaseOf, FactOf and WatchOf read a state.
func (m *Machine) ModeOf(s State) Mode { return Mode(m.mode.get(&s)) }

// MotorOf is what was commanded last.
func (m *Machine) MotorOf(s State) Motor { return Motor(m.motor.get(&s)) }

// PhaseOf is how far step i is.
func (m *Machine) PhaseOf(s State, i int) Phase { return Phase(m.Steps[i].phase.get(&s)) }

// SkippedIn reports whether step i is left out in this variant.
func (m *Machine) SkippedIn(s State, i int) bool {
	st := &m.Steps[i]
	return st.onlyIf.op != opTrue && !m.eval(&st.onlyIf, &s)
}

// GivenOf is the set of means given for step i, one bit each.
func (m *Machine) GivenOf(s State, i int) uint64 { return m.Steps[i].given.get(&s) }

// FactOf is the value of fact i; 0 is unsure.
func (m *Machine) FactOf(s State, i int) int { return int(m.Facts[i].f.get(&s)) }

// WatchOf is the band of watch i.
func (m *Machine) WatchOf(s State, i int) Band { return Band(m.Watches[i].f.get(&s)) }

// TimerOf reports whether an "elapsed" condition is true.
func (m *Machine) TimerOf(s State, i int) bool { return m.Timers[i].f.get(&s) == 1 }

func (m *Machine) active(s *State, i int) bool {
	p := Phase(m.Steps[i].phase.get(s))
	return p == Doing || p == Waiting || p == Waited
}

// watchesHold: each watch of the step is good, or typed where that may open a start.
func (m *Machine) watchesHold(s *State, st *MStep) bool {
	for _, w := range st.watch {
		b := Band(m.Watches[w].f.get(s))
		if b != Good && !(b == Typed && m.Watches[w].TypedGate) {
			return false
		}
	}
	return true
}

// needsDone: every step before it, near and far, is done or left out. Far ones
// count too: a step that must be confirmed again holds up all that comes after.
func (m *Machine) needsDone(s *State, st *MStep) bool {
	for w := range s {
		if s[w]&st.needMask[w] != st.needWant[w] {
			return false
		}
	}
	for _, n := range st.needMaybe {
		if !m.isDone(s, n) {
			return false
		}
	}
	return true
}

// allDone: every step that belongs to this variant is done.
func (m *Machine) allDone(s *State) bool {
	for _, i := range m.mainSteps {
		if !m.isDone(s, i) {
			return false
		}
	}
	return true
}

func (m *Machine) anyActive(s *State, steps []int) bool {
	for _, i := range steps {
		if m.active(s, i) {
			return true
		}
	}
	return false
}

func (m *Machine) anyOwed(s *State) bool {
	for _, i := range m.recoverySteps {
		if m.OwedIn(*s, i) {
			return true
		}
	}
	return false
}

// Allowed reports whether the event may happen in the state, by the file alone:
// the never rules are not asked, so that the checker can find what the file lets
// through. The runner asks them again at run time.
func (m *Machine) Allowed(s State, e Event) bool {
	mode := Mode(m.mode.get(&s))
	motor := Motor(m.motor.get(&s))
	switch e.Op {
	case Start:
		st := &m.Steps[e.Step]
		ph := Phase(st.phase.get(&s))
		if st.origin == fromRecovery {
			held := mode == Held || mode == HeldKeepPower
			if !(held && (ph == Owed || ph == Idle && m.unblocks(&s, st)) || mode == Stopping && (ph == Idle || ph == Owed)) || motor == Moving {
				return false // held: what is owed and what that asks for; stopping: whatever makes it safe
			}
			if !m.eval(&st.applies, &s) {
				return false
			}
			if mode == HeldKeepPower && st.Powers || ph == Idle && (st.OwedOnly || m.alreadySo(&s, st)) {
				return false
			}
		} else if mode != Running || ph != Idle || m.SkippedIn(s, int(e.Step)) {
			return false
		}
		if st.Command && motor != Quiet || m.laneBusy(&s, st) >= 0 {
			return false
		}
		return m.needsDone(&s, st) && m.watchesHold(&s, st) && m.eval(&st.guard, &s) && m.disturbed(s, int(e.Step)) < 0
	case Ended:
		st := &m.Steps[e.Step]
		return m.stepMode(mode, st) && Phase(st.phase.get(&s)) == Doing && st.RestSeconds > 0
	case Rested, BreakWait:
		st := &m.Steps[e.Step]
		return m.stepMode(mode, st) && Phase(st.phase.get(&s)) == Waiting
	case ConfirmMean:
		st := &m.Steps[e.Step]
		ph := Phase(st.phase.get(&s))
		if !m.stepMode(mode, st) || int(e.X) >= len(st.means) || st.given.get(&s)>>e.X&1 == 1 {
			return false
		}
		if ph != Waiting && ph != Waited && !(ph == Doing && st.RestSeconds == 0) {
			return false
		}
		mean := &st.means[e.X]
		if mean.reading < 0 {
			return e.Band == 0
		}
		return e.Band > 0 && mean.pass>>e.Band&1 == 1
	case Complete:
		st := &m.Steps[e.Step]
		return m.stepMode(mode, st) && m.ripe(&s, st) && len(st.outcomes) > 1 && int(e.X) < len(st.outcomes) && bits.OnesCount64(st.given.get(&s)) >= st.Need
	case Interrupt:
		return e.X < 5 && (mode == Running || mode == Held || mode == HeldKeepPower || mode == Stopping)
	case StepFails:
		st := &m.Steps[e.Step]
		return (e.X == 5 || e.X == 6 && st.AtMostSeconds > 0 && Phase(st.phase.get(&s)) == Doing) && m.active(&s, int(e.Step)) && m.stepMode(mode, st) && st.origin != fromRecovery
	case AtRest:
		return motor == Moving && (mode == Held || mode == HeldKeepPower || mode == Stopping)
	case MotorRested:
		return motor == Resting && !m.commandWaiting(&s)
	case Resume:
		if mode != Held && mode != HeldKeepPower {
			return false
		}
		if motor == Moving && !m.commandMoving(&s) {
			return false // it must be seen at rest, unless its step goes on
		}
		return !m.anyOwed(&s) && !m.anyActive(&s, m.recoverySteps)
	case Stop:
		return mode == Running || mode == Held || mode == HeldKeepPower
	case HandOver:
		return mode == Stopping && motor != Moving && !m.anyOwed(&s) && !m.anyActive(&s, m.recoverySteps) && m.eval(&m.rest, &s)
	case PickUp:
		return mode == HandedOver
	case Finish:
		return mode == Running && motor == Quiet && m.allDone(&s) && m.eval(&m.finish, &s)
	case WatchBand:
		w := &m.Watches[e.Step]
		return mode != Finished && mode != HandedOver && Band(w.f.get(&s)) != Band(e.X) && e.X < 4 && (Band(e.X) != Typed || w.TypedGate)
	case TimerElapsed:
		t := &m.Timers[e.Step]
		return mode != Finished && t.f.get(&s) == 0 && Phase(m.Steps[t.Step].phase.get(&s)) == Done
	}
	return false
}

// OwedIn: recovery step i was asked for, and still applies.
func (m *Machine) OwedIn(s State, i int) bool {
	return Phase(m.Steps[i].phase.get(&s)) == Owed && m.eval(&m.Steps[i].applies, &s)
}

// unblocks: a recovery step is owed whose interlock does not hold yet, and this one
// makes so a fact that it asks for.
func (m *Machine) unblocks(s *State, st *MStep) bool {
	for _, i := range m.recoverySteps {
		owed := &m.Steps[i]
		if Phase(owed.phase.get(s)) != Owed || !m.eval(&owed.applies, s) || m.eval(&owed.guard, s) {
			continue
		}
		for _, a := range st.sets {
			if m.asksFor(&owed.guard, s, a.fact) {
				return true
			}
		}
	}
	return false
}

// asksFor: a part of the condition that does not hold reads the fact.
func (m *Machine) asksFor(n *node, s *State, fact int) bool {
	if m.eval(n, s) {
		return false
	}
	for i := range n.kids {
		if m.asksFor(&n.kids[i], s, fact) {
			return true
		}
	}
	return n.op == opFact && n.idx == fact
}

// alreadySo: everything a recovery step would make true is true.
func (m *Machine) alreadySo(s *State, st *MStep) bool {
	for _, a := range st.sets {
		if int(m.Facts[a.fact].f.get(s)) != a.value {
			return false
		}
	}
	return len(st.sets) > 0
}

// laneBusy gives the step that is under way in the lane of st, or -1. There are
// four lanes: left, right, the whole vehicle, and making safe. In one lane things
// are done one after the other; left and right may go on side by side.
func (m *Machine) laneBusy(s *State, st *MStep) int {
	for i := range m.Steps {
		o := &m.Steps[i]
		if (o.origin == fromRecovery) == (st.origin == fromRecovery) && (o.side == st.side || st.origin == fromRecovery) && m.active(s, i) {
			return i
		}
	}
	return -1
}

// disturbed gives a step under way whose interlock would no longer hold once step
// i begins and makes unsure what it changes; -1 if there is none.
func (m *Machine) disturbed(s State, i int) int {
	after := s
	m.unsettle(&after, &m.Steps[i])
	if after == s {
		return -1
	}
	for j := range m.Steps {
		if j != i && m.active(&s, j) && !m.eval(&m.Steps[j].guard, &after) && m.eval(&m.Steps[j].guard, &s) {
			return j
		}
	}
	return -1
}

// stepMode: main steps go on while running, recovery steps while held or stopping.
func (m *Machine) stepMode(mode Mode, st *MStep) bool {
	if st.origin == fromRecovery {
		return mode == Held || mode == HeldKeepPower || mode == Stopping
	}
	return mode == Running
}

func (m *Machine) commandMoving(s *State) bool {
	for _, i := range m.commandSteps {
		if Phase(m.Steps[i].phase.get(s)) == Doing {
			return true
		}
	}
	return false
}

func (m *Machine) commandWaiting(s *State) bool {
	for _, i := range m.commandSteps {
		if Phase(m.Steps[i].phase.get(s)) == Waiting {
			return true
		}
	}
	return false
}

// Broken gives the index of a never rule that the state breaks, or -1. It looks
// at steps under way, at the finish, and at rules about states.
func (m *Machine) Broken(s State) (rule, step int) {
	mode := Mode(m.mode.get(&s))
	for i := range m.Steps {
		st := &m.Steps[i]
		if len(st.rules) == 0 || !m.active(&s, i) || !m.stepMode(mode, st) {
			continue
		}
		if st.Command && Phase(st.phase.get(&s)) != Doing {
			continue // its movement is over
		}
		for k := range st.rules {
			if !m.eval(&st.rules[k].unless, &s) {
				return st.rules[k].rule, i
			}
		}
	}
	if mode == Finished {
		for k := range m.finishRules {
			if !m.eval(&m.finishRules[k].unless, &s) {
				return m.finishRules[k].rule, -1
			}
		}
	}
	if mode == HandedOver {
		for k := range m.handRules {
			if !m.eval(&m.handRules[k].unless, &s) {
				return m.handRules[k].rule, -1
			}
		}
	}
	for k := range m.stateRules {
		if m.eval(&m.stateRules[k].unless, &s) {
			return m.stateRules[k].rule, -1
		}
	}
	return -1, -1
}

// WithWatches gives the state with every watch in the band.
func (m *Machine) WithWatches(s State, b Band) State {
	for i := range m.Watches {
		m.Watches[i].f.set(&s, uint64(b))
	}
	return s
}

// Events lists all events allowed in the state, in a fixed order.
func (m *Machine) Events(s State, out []Event) []Event {
	try := func(e Event) {
		if m.Allowed(s, e) {
			out = append(out, e)
		}
	}
	mode := Mode(m.mode.get(&s))
	for i := range m.Steps {
		st := &m.Steps[i]
		u := uint16(i)
		switch Phase(st.phase.get(&s)) {
		case Idle, Owed:
			try(Event{Op: Start, Step: u})
		case Doing, Waiting, Waited:
			try(Event{Op: Ended, Step: u})
			try(Event{Op: Rested, Step: u})
			try(Event{Op: BreakWait, Step: u})
			for k := range st.means {
				if st.means[k].reading < 0 {
					try(Event{Op: ConfirmMean, Step: u, X: uint8(k)})
					continue
				}
				for b := 1; b < len(m.Facts[st.means[k].reading].Values); b++ {
					try(Event{Op: ConfirmMean, Step: u, X: uint8(k), Band: uint8(b)})
				}
			}
			for k := range st.outcomes {
				try(Event{Op: Complete, Step: u, X: uint8(k)})
			}
			try(Event{Op: StepFails, Step: u, X: 5})
			try(Event{Op: StepFails, Step: u, X: 6})
		}
	}
	for k := 0; k < 5; k++ {
		try(Event{Op: Interrupt, X: uint8(k)})
	}
	if mode != Running {
		try(Event{Op: AtRest})
		try(Event{Op: Resume})
		try(Event{Op: HandOver})
		try(Event{Op: PickUp})
	}
	try(Event{Op: MotorRested})
	try(Event{Op: Stop})
	if mode == Running {
		try(Event{Op: Finish})
	}
	for w := range m.Watches {
		for b := 0; b < 4; b++ {
			try(Event{Op: WatchBand, Step: uint16(w), X: uint8(b)})
		}
	}
	for t := range m.Timers {
		try(Event{Op: TimerElapsed, Step: uint16(t)})
	}
	return out
}

// ModeStep reports whether step i is under way and may be worked on in the present
// mode.
func (m *Machine) ModeStep(s State, i int) bool {
	return m.active(&s, i) && m.stepMode(Mode(m.mode.get(&s)), &m.Steps[i])
}
