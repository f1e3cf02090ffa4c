package runner

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"proveout/procedure"
	"proveout/procedure/watch"
)

// Run is the state of one run. Make it with New and change it only with Take.
type Run struct {
	m        *procedure.Machine
	state    procedure.State
	seq      int
	last     Stamp
	attempts []int   // how often each step was begun
	since    []Stamp // when the present phase of each step began
	rest     []float64
	motor    Stamp // when the motor was last told to rest
	motorFor float64
	timers   []Stamp
	values   map[string]float64 // last accepted value of each reading, SI
	watches  []watchState
	records  []*StepRecord // an element is replaced, never changed: see touch
	holder   string        // to whom it was handed over
	jumped   bool          // a wall clock was seen to jump
	out      []WayOut      // what to do about the last interruption, until going on
	failures []Failure     // critical steps that failed and were not shown right since
	bare     bool          // never rules are not asked
}

type watchState struct {
	lim   procedure.Limits
	typed Stamp
	value float64
	feed  bool        // a feed reports levels
	level watch.Level // what the feed last said
}

// StepRecord is what happened in one attempt of a step.
type StepRecord struct {
	Step       string             `json:"step"`
	Attempt    int                `json:"attempt"`
	Who        string             `json:"who"`
	Begun      Stamp              `json:"begun"`
	Done       bool               `json:"done"`
	PutBack    string             `json:"put_back,omitempty"` // why it did not end
	Means      []string           `json:"means,omitempty"`
	Outcome    string             `json:"outcome,omitempty"`
	NotWatched []string           `json:"not_watched,omitempty"` // watches that were not live at some moment of it
	MinHold    map[string]float64 `json:"min_hold,omitempty"`
	// Figures were written down with the confirmation that names them.
	Figures map[string]procedure.Given `json:"figures,omitempty"`
}

// New makes a run of a machine that passed the checker. Whether it passed is the
// caller's to know: the shell refuses to start one that did not.
func New(m *procedure.Machine) *Run {
	r := &Run{m: m, state: m.Initial(), attempts: make([]int, len(m.Steps)), since: make([]Stamp, len(m.Steps)), rest: make([]float64, len(m.Steps)), timers: make([]Stamp, len(m.Timers)), values: map[string]float64{}}
	for i := range m.Steps {
		r.rest[i] = m.Steps[i].RestSeconds
	}
	for i := range m.Watches {
		lim, _ := m.Watches[i].Limits() // checked at load
		r.watches = append(r.watches, watchState{lim: lim, value: math.NaN()})
	}
	return r
}

// Bare makes a run that does not ask the never rules, only what the file says. It is
// for trying out what a file lets through; nothing that a person works with is bare.
func Bare(m *procedure.Machine) *Run {
	r := New(m)
	r.bare = true
	return r
}

// Clone copies the run, so that an entry can be tried.
func (r *Run) Clone() *Run {
	c := *r
	c.attempts = slices.Clone(r.attempts)
	c.since = slices.Clone(r.since)
	c.rest = slices.Clone(r.rest)
	c.timers = slices.Clone(r.timers)
	c.watches = slices.Clone(r.watches)
	c.records = slices.Clone(r.records)
	c.values = maps.Clone(r.values)
	return &c
}

// Machine is what the run runs.
func (r *Run) Machine() *procedure.Machine { return r.m }

// State is the machine's state, for tests and drawings.
func (r *Run) State() procedure.State { return r.state }

// Next is the sequence number of the next entry.
func (r *Run) Next() int { return r.seq + 1 }

// Records tells each attempt of each step, in order.
func (r *Run) Records() []StepRecord {
	var out []StepRecord
	for _, p := range r.records {
		out = append(out, *p)
	}
	return out
}

// touch gives a record that may be changed: clones of the run keep the old one.
func (r *Run) touch(k int) *StepRecord {
	c := *r.records[k]
	c.Means = slices.Clone(c.Means)
	c.NotWatched = slices.Clone(c.NotWatched)
	c.MinHold = maps.Clone(c.MinHold)
	r.records[k] = &c
	return &c
}

// Replay makes a run from its entries. An entry that was accepted once is accepted
// again; one that is not means that the record or the procedure was changed, and is
// an error with its number.
func Replay(m *procedure.Machine, entries []Entry) (*Run, error) {
	return replay(New(m), entries)
}

// ReplayBare is Replay for a bare run.
func ReplayBare(m *procedure.Machine, entries []Entry) (*Run, error) {
	return replay(Bare(m), entries)
}

func replay(r *Run, entries []Entry) (*Run, error) {
	for _, e := range entries {
		if err := r.Take(e); err != nil {
			return r, fmt.Errorf("entry %d (%s %s): %w", e.Seq, e.Kind, e.Step, err)
		}
	}
	return r, nil
}

// Offer says whether an entry would be accepted, without changing anything.
func (r *Run) Offer(e Entry) error {
	c := r.Clone()
	return c.Take(e)
}

// Take accepts an entry, or refuses it and changes nothing.
func (r *Run) Take(e Entry) error {
	if e.Seq != r.seq+1 {
		return refuse("This is not the next entry: it has number %d, the record is at %d. Look at the present state first.", e.Seq, r.seq)
	}
	c := r.Clone()
	c.advance(e.At)
	if err := c.take(e); err != nil {
		return err
	}
	c.seq, c.last = e.Seq, e.At
	*r = *c
	return nil
}

// do applies one machine event and keeps the books.
func (r *Run) do(ev procedure.Event, at Stamp, why string) {
	before := r.state
	r.state = r.m.Apply(before, ev)
	for i := range r.m.Steps {
		was, is := r.m.PhaseOf(before, i), r.m.PhaseOf(r.state, i)
		if was == is && !(ev.Op == procedure.BreakWait && int(ev.Step) == i) {
			continue
		}
		r.since[i] = at
		switch is {
		case procedure.Idle, procedure.Owed:
			if was == procedure.Doing || was == procedure.Waiting || was == procedure.Waited {
				r.close(i, ev, why)
			}
		case procedure.Done:
			r.close(i, ev, "")
			r.settle(i)
		}
		for t := range r.m.Timers {
			if r.m.Timers[t].Step == i && is == procedure.Done {
				r.timers[t] = at
			}
		}
	}
	if r.m.MotorOf(r.state) == procedure.Resting && r.m.MotorOf(before) != procedure.Resting || ev.Op == procedure.BreakWait && r.m.Steps[ev.Step].Command {
		r.motor = at
	}
}

// close ends the record of the present attempt of step i.
func (r *Run) close(i int, ev procedure.Event, putBack string) {
	for k := len(r.records) - 1; k >= 0; k-- {
		if r.records[k].Step != r.m.Steps[i].ID || r.records[k].Attempt != r.attempts[i] {
			continue
		}
		rec := r.touch(k)
		own := int(ev.Step) == i && (ev.Op == procedure.ConfirmMean || ev.Op == procedure.Complete || ev.Op == procedure.Rested)
		rec.Done = putBack == "" || own
		if !rec.Done {
			rec.PutBack = putBack
		}
		return
	}
}

// advance lets time pass up to a stamp: waits that are over, rests, elapsed
// conditions, typed readings that have become too old. It depends on the stored
// stamps only, so calling it often or once gives the same.
func (r *Run) advance(now Stamp) {
	if r.seq > 0 && r.last.Boot == now.Boot {
		mono, wall := float64(now.Mono-r.last.Mono)*1e-9, float64(now.Wall-r.last.Wall)*1e-9
		if math.Abs(wall-mono) > 5 {
			r.jumped = true
		}
	}
	for i := range r.watches {
		w := &r.watches[i]
		if r.m.WatchOf(r.state, i) == procedure.Typed && AtMost(w.typed, now) > w.lim.TypedMaxAge {
			r.do(procedure.Event{Op: procedure.WatchBand, Step: uint16(i), X: uint8(procedure.Blind)}, now, "")
		}
	}
	for again := true; again; {
		again = false
		for i := range r.m.Steps {
			ev := procedure.Event{Op: procedure.Rested, Step: uint16(i)}
			if r.m.PhaseOf(r.state, i) == procedure.Waiting && r.Left(i, now) <= 0 && r.m.Allowed(r.state, ev) {
				r.do(ev, now, "")
				again = true
			}
		}
		if r.m.Allowed(r.state, procedure.Event{Op: procedure.MotorRested}) && AtLeast(r.motor, now) >= r.motorFor {
			r.do(procedure.Event{Op: procedure.MotorRested}, now, "")
			again = true
		}
		for t := range r.m.Timers {
			ev := procedure.Event{Op: procedure.TimerElapsed, Step: uint16(t)}
			if r.m.Allowed(r.state, ev) && AtLeast(r.timers[t], now) >= r.m.Timers[t].Seconds {
				r.do(ev, now, "")
				again = true
			}
		}
	}
}

// Left is how many seconds of the wait of step i are left at a moment; 0 when it
// does not wait.
func (r *Run) Left(i int, now Stamp) float64 {
	if r.m.PhaseOf(r.state, i) != procedure.Waiting {
		return 0
	}
	passed := AtLeast(r.since[i], now)
	if r.m.Steps[i].Wait.WallOK && !r.jumped {
		passed = byWall(r.since[i], now)
	}
	return max(0, r.rest[i]-passed)
}

// MotorLeft is how many seconds of the rest after the last movement are left.
func (r *Run) MotorLeft(now Stamp) float64 {
	if r.m.MotorOf(r.state) != procedure.Resting {
		return 0
	}
	return max(0, r.motorFor-AtLeast(r.motor, now))
}

// Overdue lists the steps whose movement has run longer than it may.
func (r *Run) Overdue(now Stamp) []string {
	var out []string
	for i := range r.m.Steps {
		st := &r.m.Steps[i]
		if st.AtMostSeconds > 0 && r.m.ModeOf(r.state) == procedure.Running && r.m.PhaseOf(r.state, i) == procedure.Doing && AtMost(r.since[i], now) > st.AtMostSeconds {
			out = append(out, st.ID)
		}
	}
	return out
}
