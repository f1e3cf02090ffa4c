package procedure

import (
	"fmt"
	"math/bits"
	"strings"
)

// Why lists in plain sentences what keeps the event from happening; empty when
// Allowed. Never rules are told too, after everything else.
func (m *Machine) Why(s State, e Event) []string {
	why := m.why(s, e)
	if len(why) == 0 && e.Op == Start {
		if r := m.RuleAgainst(s, int(e.Step)); r >= 0 {
			why = append(why, "Never: "+m.Rules[r].Text+".")
		}
	}
	return why
}

// NotLeft begins the sentences about what is missing before the vehicle may be left.
const NotLeft = "It may not be left yet: needed is"

// RuleAgainst gives a never rule that beginning step i would break, or -1. For a
// procedure that passed the checker it never finds one; the runner asks it anyway.
func (m *Machine) RuleAgainst(s State, i int) int {
	st := &m.Steps[i]
	for k := range st.rules {
		if !m.eval(&st.rules[k].unless, &s) {
			return st.rules[k].rule
		}
	}
	return -1
}

func (m *Machine) why(s State, e Event) []string {
	if m.Allowed(s, e) {
		return nil
	}
	mode := m.ModeOf(s)
	var out []string
	say := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	switch e.Op {
	case Start:
		out = m.whyNotStart(s, e)
	case Ended, Rested, BreakWait, ConfirmMean, Complete, StepFails:
		st := &m.Steps[e.Step]
		ph := m.PhaseOf(s, int(e.Step))
		switch {
		case !m.stepMode(mode, st):
			say("Not now: %s.", modeText[mode])
		case ph == Done:
			say("Step %q is done already.", st.ID)
		case ph == Idle || ph == Owed:
			say("Step %q has not begun; it was put back, or someone else has ended it.", st.ID)
		case e.Op == ConfirmMean && int(e.X) >= len(st.means):
			say("Step %q has no such confirmation.", st.ID)
		case e.Op == ConfirmMean && m.GivenOf(s, int(e.Step))>>e.X&1 == 1:
			say("Step %q was confirmed as %s already; the same means twice does not count.", st.ID, strings.ReplaceAll(st.Confirm.By[e.X].How, "_", " "))
		case e.Op == ConfirmMean && ph == Doing && st.RestSeconds > 0:
			say("Step %q: first say that the movement has ended.", st.ID)
		case e.Op == ConfirmMean:
			mean := st.Confirm.By[e.X]
			if mean.Reading != "" && e.Band == 0 {
				say("Step %q: a number is needed for %s.", st.ID, m.readingAsk(mean.Reading))
			} else {
				say("Step %q: not within its limit: %s.", st.ID, limitText(m.readingAsk(mean.Reading), mean.AtLeast, mean.AtMost))
			}
		case e.Op == Complete && !m.ripe(&s, st):
			say("Step %q: its wait is not over.", st.ID)
		case e.Op == Complete && bits.OnesCount64(m.GivenOf(s, int(e.Step))) < st.Need:
			say("Step %q must be shown in %s first.", st.ID, ways(st.Need))
		case e.Op == Ended && st.RestSeconds == 0:
			say("Step %q has no wait: confirm it.", st.ID)
		default:
			say("Step %q is not where that fits: it is %s.", st.ID, phaseText[ph])
		}
	case Resume:
		if mode != Held && mode != HeldKeepPower {
			say("Not now: %s.", modeText[mode])
			break
		}
		if m.MotorOf(s) == Moving && !m.commandMoving(&s) {
			say("First look: is everything at rest?")
		}
		out = append(out, m.owedText(&s)...)
	case HandOver:
		if mode != Stopping {
			say("Not now: %s.", modeText[mode])
			break
		}
		if m.MotorOf(s) == Moving {
			say("First look: is everything at rest?")
		}
		out = append(out, m.owedText(&s)...)
		for _, u := range m.unmet(&m.rest, &s) {
			say(NotLeft+" %s.", u)
		}
	case Finish:
		if mode != Running {
			say("Not now: %s.", modeText[mode])
		}
		for _, i := range m.mainSteps {
			if !m.isDone(&s, i) {
				say("Step %q is not done.", m.Steps[i].ID)
				break
			}
		}
		if m.MotorOf(s) != Quiet {
			say("The last movement has not come to rest.")
		}
		for _, u := range m.unmet(&m.finish, &s) {
			say("Needed is: %s.", u)
		}
	default:
		say("Not now: %s.", modeText[mode])
	}
	if len(out) == 0 {
		say("That cannot happen now.")
	}
	return out
}

func (m *Machine) whyNotStart(s State, e Event) []string {
	var out []string
	say := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	st := &m.Steps[e.Step]
	mode, ph, motor := m.ModeOf(s), m.PhaseOf(s, int(e.Step)), m.MotorOf(s)
	switch {
	case st.origin == fromRecovery && (mode == Running || mode == HandedOver || mode == Finished):
		say("Step %q makes safe: it comes after an interruption or a stop.", st.ID)
	case st.origin == fromRecovery && ph == Idle && (mode != Stopping && !m.unblocks(&s, st) || st.OwedOnly):
		say("Step %q is not asked for now; to leave the vehicle, stop first.", st.ID)
	case st.origin != fromRecovery && mode != Running:
		say("Not now: %s.", modeText[mode])
	case st.origin != fromRecovery && m.SkippedIn(s, int(e.Step)):
		say("Step %q does not belong to this variant: only if %s.", st.ID, m.SayOnlyIf(int(e.Step)))
	case ph == Done:
		say("Step %q is done.", st.ID)
	case ph != Idle && ph != Owed:
		say("Step %q is under way.", st.ID)
	case st.origin == fromRecovery && ph == Idle && m.alreadySo(&s, st):
		say("It is so already.")
	}
	if st.origin == fromRecovery {
		for _, u := range m.unmet(&st.applies, &s) {
			say("Step %q is not needed as things are: it is for when %s.", st.ID, u)
		}
	}
	if st.origin == fromRecovery && mode == HeldKeepPower && st.Powers {
		say("Keep power and session: try again before any key-off.")
	}
	if st.origin == fromRecovery && motor == Moving {
		say("First look: is everything at rest?")
	}
	if st.Command && motor == Moving {
		say("A movement is under way: no second command.")
	}
	if st.Command && motor == Resting {
		say("The rest after the last movement is not over.")
	}
	if i := m.laneBusy(&s, st); i >= 0 && i != int(e.Step) {
		say("First end step %q.", m.Steps[i].ID)
	}
	missing := 0
	for i := range m.Steps {
		if i != int(e.Step) && contains(m.Steps[i].after, int(e.Step)) && !m.isDone(&s, i) {
			if missing++; missing <= 3 {
				say("Before it comes step %q: %s", m.Steps[i].ID, m.Steps[i].Do)
			}
		}
	}
	if missing > 3 {
		say("More steps before it: %d.", missing-3)
	}
	for _, w := range st.watch {
		mw := &m.Watches[w]
		switch b := m.WatchOf(s, w); {
		case b == Blind:
			say("The %s at the %s is not watched. %s", mw.Quantity, mw.Point, mw.Blind)
		case b == Low:
			say("The %s at the %s is beyond its limits.", mw.Quantity, mw.Point)
		case b == Typed && !mw.TypedGate:
			say("The %s must be watched: a typed reading is not enough here.", mw.Quantity)
		}
	}
	for _, u := range m.unmet(&st.guard, &s) {
		say("Needed is: %s.", u)
	}
	if len(out) == 0 {
		if j := m.disturbed(s, int(e.Step)); j >= 0 {
			say("Step %q is under way and relies on what this one changes.", m.Steps[j].ID)
		}
	}
	return out
}

func (m *Machine) owedText(s *State) []string {
	var out []string
	for _, i := range m.recoverySteps {
		switch Phase(m.Steps[i].phase.get(s)) {
		case Owed:
			if !m.eval(&m.Steps[i].applies, s) {
				continue
			}
			out = append(out, fmt.Sprintf("First make safe: %s", m.Steps[i].Do))
			for _, u := range m.unmet(&m.Steps[i].guard, s) {
				out = append(out, fmt.Sprintf("Before that, needed is: %s.", u))
			}
		case Doing, Waiting, Waited:
			out = append(out, fmt.Sprintf("First end step %q.", m.Steps[i].ID))
		}
	}
	return out
}

func (m *Machine) readingAsk(id string) string {
	for _, r := range m.File.Readings {
		if r.ID == id {
			return r.Ask
		}
	}
	return id
}

var modeText = [...]string{"it runs", "it was interrupted; look, make safe, then go on", "it was interrupted; keep power and session, then try again", "it is being stopped; make safe and hand over", "it is handed over; someone must take it up first", "it is finished"}

var phaseText = [...]string{"not begun", "under way", "waiting", "waited for", "done", "owed"}

// Text of a mode, for people.
func (m Mode) Text() string { return modeText[m] }

// Text of a phase, for people.
func (p Phase) Text() string { return phaseText[p] }

// Dangers lists why the vehicle must not be left as it is, worst of the file first.
func (m *Machine) Dangers(s State) []string {
	if m.ModeOf(s) == Finished {
		return nil
	}
	var out []string
	switch m.MotorOf(s) {
	case Moving:
		out = append(out, "A movement is under way. Send no further command; let it come to rest.")
	case Resting:
		out = append(out, "The rest after a movement is not over.")
	}
	for i := range m.dangers {
		if m.eval(&m.dangers[i], &s) {
			out = append(out, m.File.Dangers[i].Text)
		}
	}
	for i := range m.Steps {
		if st := &m.Steps[i]; st.Dangerous != "" && m.active(&s, i) {
			out = append(out, st.Dangerous)
		}
	}
	return out
}

// Restful reports whether the vehicle may be left and handed over as it is.
func (m *Machine) Restful(s State) bool { return m.eval(&m.rest, &s) }

// StepIndex finds a step by its full id, such as "retract.left".
func (m *Machine) StepIndex(id string) (int, bool) {
	for i := range m.Steps {
		if m.Steps[i].ID == id {
			return i, true
		}
	}
	return 0, false
}

// BandOfReading gives the band (from 1) of a value in SI for a reading of the file.
func (m *Machine) BandOfReading(reading string, si float64) (uint8, bool) {
	for i := range m.Facts {
		if m.Facts[i].Reading == reading {
			return uint8(bandOf(m.Facts[i].Cuts, si) + 1), true
		}
	}
	return 0, false
}

// FactIndex finds a fact by id.
func (m *Machine) FactIndex(id string) (int, bool) {
	for i := range m.Facts {
		if m.Facts[i].ID == id {
			return i, true
		}
	}
	return 0, false
}
