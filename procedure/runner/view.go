package runner

import (
	"fmt"
	"math"

	"proveout/procedure"
	"proveout/procedure/watch"
)

// View is what a screen shows at a moment. It changes nothing: a screen may ask as
// often as it likes.
type View struct {
	Mode       string             `json:"mode"`
	ModeText   string             `json:"mode_text"`
	WaysOut    []WayOut           `json:"ways_out,omitempty"` // what to do about the last interruption
	Steps      []StepView         `json:"steps"`
	Active     []string           `json:"active"`    // steps under way
	Open       []string           `json:"open"`      // steps that may begin now
	NotYet     []Closed           `json:"not_yet"`   // the next steps that may not, and why
	MakeSafe   []string           `json:"make_safe"` // recovery steps that may begin or are owed
	Motor      string             `json:"motor"`     // quiet, moving, resting
	MotorLeft  float64            `json:"motor_left_s,omitempty"`
	Watches    []WatchView        `json:"watches,omitempty"`
	Dangers    []string           `json:"dangers"`            // why it must not be left as it is
	Failures   []Failure          `json:"failures,omitempty"` // what makes it not to be driven until shown right
	MayLeave   bool               `json:"may_leave"`
	WhyNotRest []string           `json:"why_not_hand_over,omitempty"`
	WhyNotOn   []string           `json:"why_not_resume,omitempty"`
	Holder     string             `json:"holder,omitempty"`
	Overdue    []string           `json:"overdue,omitempty"`
	Values     map[string]float64 `json:"values,omitempty"`
	Done, Of   int                `json:"-"`
}

// StepView is one step on the screen.
type StepView struct {
	ID      string   `json:"id"`
	Index   int      `json:"-"`
	Kind    string   `json:"kind"` // question, precondition, step, recovery
	Phase   string   `json:"phase"`
	Do      string   `json:"do"` // as it is said for this vehicle
	Attempt int      `json:"attempt"`
	Left    float64  `json:"wait_left_s,omitempty"`
	Given   []string `json:"given,omitempty"`
	Missing int      `json:"missing"` // independent means still needed
	Skipped bool     `json:"skipped,omitempty"`
}

// Closed is a step that may not begin yet, and why.
type Closed struct {
	Step string   `json:"step"`
	Why  []string `json:"why"`
}

// WatchView is one watch on the screen.
type WatchView struct {
	ID    string  `json:"id"`
	Word  string  `json:"word"` // not watched, holding, sagging, lowest seen, typed, below the line, stop
	Ask   string  `json:"ask,omitempty"`
	Value float64 `json:"value,omitempty"`
	Blind string  `json:"blind,omitempty"` // what is safe when it is not watched
}

var modeNames = [...]string{"running", "held", "held_keep_power", "stopping", "handed_over", "finished"}

// At gives the view at a moment.
func (r *Run) At(now Stamp) View {
	c := r.Clone()
	c.advance(now)
	m, s := c.m, c.state
	v := View{Mode: modeNames[m.ModeOf(s)], ModeText: m.ModeOf(s).Text(), Holder: c.holder, Values: c.values}
	v.Motor = [...]string{"quiet", "moving", "resting"}[m.MotorOf(s)]
	v.MotorLeft = c.MotorLeft(now)
	v.Overdue = c.Overdue(now)
	closed := 0
	for i := range m.Steps {
		st := &m.Steps[i]
		ph := m.PhaseOf(s, i)
		do, _ := m.SayStep(s, i)
		sv := StepView{ID: st.ID, Index: i, Kind: st.Origin(), Phase: ph.Text(), Do: do, Attempt: c.attempts[i], Left: c.Left(i, now), Skipped: m.SkippedIn(s, i)}
		given := m.GivenOf(s, i)
		for k, mean := range st.Confirm.By {
			if given>>k&1 == 1 {
				sv.Given = append(sv.Given, mean.How)
			}
		}
		sv.Missing = max(0, st.Need-len(sv.Given))
		v.Steps = append(v.Steps, sv)
		main := st.Origin() != "recovery"
		if main && !sv.Skipped {
			v.Of++
			if ph == procedure.Done {
				v.Done++
			}
		}
		switch ph {
		case procedure.Doing, procedure.Waiting, procedure.Waited:
			v.Active = append(v.Active, st.ID)
		case procedure.Idle, procedure.Owed:
			ev := procedure.Event{Op: procedure.Start, Step: uint16(i)}
			open := c.may(ev)
			switch {
			case open && main:
				v.Open = append(v.Open, st.ID)
			case open || m.OwedIn(s, i):
				v.MakeSafe = append(v.MakeSafe, st.ID)
			case main && !sv.Skipped && closed < 4:
				closed++
				v.NotYet = append(v.NotYet, Closed{st.ID, m.Why(s, ev)})
			}
		}
	}
	for i := range m.Watches {
		w := &m.Watches[i]
		wv := WatchView{ID: w.ID, Word: [...]string{"not watched", "holding", "typed only, not watched", "below the line"}[m.WatchOf(s, i)]}
		if !math.IsNaN(c.watches[i].value) {
			wv.Value = c.watches[i].value
		}
		if c.watches[i].feed {
			wv.Word = c.watches[i].level.String()
			if c.watches[i].level == watch.LowestSeen {
				wv.Ask = "One low sample, and the next is late: the inrush of a motor cannot be told from a sag. Does the meter still show it?"
			}
		}
		// "Below the line" makes a hand turn the supply up; say so when it is the other way.
		if m.WatchOf(s, i) == procedure.Low && c.watches[i].value > c.watches[i].lim.HoldHigh {
			wv.Ask = fmt.Sprintf("It is too high, over %s: do not turn it up. Begin nothing; turn the source down when everything is at rest.", w.HoldHigh)
		}
		if b := m.WatchOf(s, i); b == procedure.Blind || b == procedure.Typed {
			wv.Blind = w.Blind
		}
		v.Watches = append(v.Watches, wv)
	}
	v.Dangers = c.Dangers()
	v.WaysOut = c.out
	v.Failures = c.failures
	v.MayLeave = m.Restful(s) && m.MotorOf(s) != procedure.Moving
	switch m.ModeOf(s) {
	case procedure.Held, procedure.HeldKeepPower:
		v.WhyNotOn = m.Why(s, procedure.Event{Op: procedure.Resume})
	case procedure.Stopping:
		v.WhyNotRest = m.Why(s, procedure.Event{Op: procedure.HandOver})
	}
	return v
}

// may: the machine allows it and no never rule is against it.
func (r *Run) may(ev procedure.Event) bool {
	return r.m.Allowed(r.state, ev) && (r.bare || ev.Op != procedure.Start || r.m.RuleAgainst(r.state, int(ev.Step)) < 0)
}

// Choices lists by index what is under way, what may begin, and which recovery steps
// may begin at a moment: the short form of At.
func (r *Run) Choices(now Stamp) (active, open, safe []int) {
	c := r.Clone()
	c.advance(now)
	for i := range c.m.Steps {
		switch c.m.PhaseOf(c.state, i) {
		case procedure.Doing, procedure.Waiting, procedure.Waited:
			active = append(active, i)
		case procedure.Idle, procedure.Owed:
			if !c.may(procedure.Event{Op: procedure.Start, Step: uint16(i)}) {
				continue
			}
			if c.m.Steps[i].Origin() == "recovery" {
				safe = append(safe, i)
			} else {
				open = append(open, i)
			}
		}
	}
	return active, open, safe
}

// Attempt is how often step i was begun.
func (r *Run) Attempt(i int) int { return r.attempts[i] }

// WayOut tells the way out of a step for one kind of interruption, in the words of
// the procedure.
func (r *Run) WayOut(step, kind string) (class, text string) {
	i, ok := r.m.StepIndex(step)
	k := indexOf(procedure.Kinds, kind)
	if !ok || k < 0 {
		return "", ""
	}
	rule := r.m.Steps[i].Recovers[k].Rule
	return rule.Class, rule.Text
}

// Ended reports whether nothing more can happen.
func (r *Run) Ended() bool { return r.m.ModeOf(r.state) == procedure.Finished }

// Watched reports whether a watched step is under way, and which watches it needs:
// the shell keeps a summary for it.
func (r *Run) Watched() map[string][]int {
	out := map[string][]int{}
	for i := range r.m.Steps {
		if ph := r.m.PhaseOf(r.state, i); ph == procedure.Doing && len(r.m.Steps[i].WatchedBy()) > 0 {
			out[r.m.Steps[i].ID] = r.m.Steps[i].WatchedBy()
		}
	}
	return out
}
