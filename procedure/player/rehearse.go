package player

import (
	"fmt"
	"strings"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// Rehearsal is what is to go wrong in a rehearsal. Everything else goes right.
type Rehearsal struct {
	Fault string // id of a Fault, "" for none
	Side  string // the side it is on
	// Kind happens while Step is under way; "not_as_expected" fails the step once.
	Kind, Step string
	Answers    map[string]string // question -> answer; without it the first
	Leave      bool              // stop and hand over after the interruption, then take it up again
}

// Told is the log of a rehearsal.
type Told struct {
	Lines    []string
	Finished bool
	Struck   bool // the interruption happened: its step belongs to this variant
	Handed   bool // it ended handed over, with the reason in the last lines
	Minutes  float64
	Stumbles []string // the runner refused what the person was told to do
	Entries  []runner.Entry
}

type rehearsal struct {
	m       *procedure.Machine
	run     *runner.Run
	r       Rehearsal
	fault   *Fault
	now     int64
	out     Told
	tries   map[string]int
	hit     bool
	stopped bool
}

// Rehearse lets a careful technician work through a procedure on a fast clock. The
// same rehearsal gives the same log.
func Rehearse(m *procedure.Machine, r Rehearsal) (Told, error) {
	h := &rehearsal{m: m, run: runner.New(m), r: r, now: 1e12, tries: map[string]int{}}
	if r.Fault != "" {
		f, err := FaultByID(r.Fault)
		if err != nil {
			return Told{}, err
		}
		h.fault = f
		if len(f.Acts) > 0 && !h.hasAct(f.Acts) {
			return Told{}, fmt.Errorf("fault %q does not happen in procedure %s", r.Fault, m.File.ID)
		}
	}
	for q, a := range r.Answers {
		i, ok := m.StepIndex(q)
		if !ok || !hasOutcome(m.Steps[i].Outcomes, a) {
			return Told{}, fmt.Errorf("procedure %s has no answer %q to a question %q", m.File.ID, a, q)
		}
	}
	if r.Step != "" {
		if _, ok := m.StepIndex(r.Step); !ok {
			return Told{}, fmt.Errorf("procedure %s has no step %q", m.File.ID, r.Step)
		}
		if r.Kind != "" && !contains(procedure.Kinds, r.Kind) {
			return Told{}, fmt.Errorf("interruption %q is not known; it is one of: %s", r.Kind, strings.Join(procedure.Kinds, ", "))
		}
	}
	for i := range m.Watches {
		h.put(runner.Entry{Kind: runner.WatchNow, Watch: m.Watches[i].ID, Level: "holding", Value: h.level(i)})
	}
	for turn := 0; turn < 4000 && !h.run.Ended() && !h.out.Handed; turn++ {
		h.turn()
	}
	h.out.Finished = h.run.Ended()
	h.out.Minutes = float64(h.now-1e12) / 60e9
	if h.out.Finished {
		h.say("FINISHED after %.0f min of procedure time.", h.out.Minutes)
	}
	return h.out, nil
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

func hasOutcome(outcomes []procedure.Outcome, id string) bool {
	for _, o := range outcomes {
		if o.ID == id {
			return true
		}
	}
	return false
}

func (h *rehearsal) hasAct(acts []string) bool {
	for i := range h.m.Steps {
		if contains(acts, h.m.Steps[i].Act) {
			return true
		}
	}
	return false
}

// level is a value well inside a watch.
func (h *rehearsal) level(i int) *float64 {
	lim, _ := h.m.Watches[i].Limits()
	v := 13.4
	if lim.Unit.Dim == "temperature" {
		v = 600
	}
	return &v
}

func (h *rehearsal) say(format string, a ...any) {
	h.out.Lines = append(h.out.Lines, fmt.Sprintf("%6.1f  ", float64(h.now-1e12)/60e9)+fmt.Sprintf(format, a...))
}

func (h *rehearsal) put(e runner.Entry) bool {
	e.Seq, e.Device, e.Who = h.run.Next(), "rehearsal", "the technician"
	e.At = runner.Stamp{Wall: h.now, Mono: h.now, Boot: "r"}
	if err := h.run.Take(e); err != nil {
		s := fmt.Sprintf("%s %s: %v", e.Kind, e.Step, err)
		h.out.Stumbles = append(h.out.Stumbles, s)
		h.say("STUMBLE %s", s)
		return false
	}
	h.out.Entries = append(h.out.Entries, e)
	return true
}

// would: the entry would be taken now.
func (h *rehearsal) would(e runner.Entry) bool {
	e.Seq, e.At = h.run.Next(), h.stamp()
	return h.run.Offer(e) == nil
}

func (h *rehearsal) stamp() runner.Stamp { return runner.Stamp{Wall: h.now, Mono: h.now, Boot: "r"} }

func (h *rehearsal) turn() {
	active, open, safe := h.run.Choices(h.stamp())
	mode := h.m.ModeOf(h.run.State())
	switch {
	case mode == procedure.Held || mode == procedure.HeldKeepPower || mode == procedure.Stopping:
		h.makeSafe(mode, active, safe)
	case mode == procedure.HandedOver:
		h.now += 3600e9
		h.say("An hour later someone takes it up again.")
		h.put(runner.Entry{Kind: runner.TakeUp})
	case len(active) > 0:
		h.goOn(active[0])
	case len(open) > 0:
		h.begin(open[0])
	case h.would(runner.Entry{Kind: runner.Finished}):
		h.put(runner.Entry{Kind: runner.Finished})
	default:
		h.now += 5e9
	}
}

func (h *rehearsal) begin(i int) {
	st := &h.m.Steps[i]
	supply := map[string]float64{}
	for w := range h.m.Watches {
		supply[h.m.Watches[w].ID] = *h.level(w)
	}
	if !h.put(runner.Entry{Kind: runner.Begin, Step: st.ID, Supply: supply}) {
		h.now += 5e9
		return
	}
	do, hazards := h.m.SayStep(h.run.State(), i)
	for _, hz := range hazards {
		h.say("%s: %s %s", hz.Word, hz.Text, hz.Do)
	}
	h.say("%s: %s", st.ID, do)
	h.now += 20e9
	if h.r.Step == st.ID && h.r.Kind != "" && !h.hit {
		h.hit, h.out.Struck = true, true
		h.interrupt(i)
	}
}

func (h *rehearsal) interrupt(i int) {
	st := &h.m.Steps[i]
	class, text := h.run.WayOut(st.ID, h.r.Kind)
	h.say("INTERRUPTION: %s.", procedure.KindText[h.r.Kind])
	h.say("The way out (%s): %s", class, text)
	e := runner.Entry{Kind: runner.Happens, What: h.r.Kind}
	if h.r.Kind == "not_as_expected" || h.r.Kind == "overdue" {
		e = runner.Entry{Kind: runner.Fails, Step: st.ID, What: h.r.Kind}
	}
	h.put(e)
	for _, d := range h.run.Dangers() {
		h.say("DANGEROUS TO LEAVE: %s", d)
	}
	if h.r.Leave {
		h.say("The technician decides to stop and hand over.")
		if h.m.ModeOf(h.run.State()) != procedure.Stopping {
			h.put(runner.Entry{Kind: runner.StopNow})
		}
	}
}

func (h *rehearsal) goOn(i int) {
	st := &h.m.Steps[i]
	state := h.run.State()
	switch h.m.PhaseOf(state, i) {
	case procedure.Doing:
		if st.RestSeconds > 0 {
			if h.fault != nil && h.fault.Overdue && h.strikes(i) {
				h.now += int64(st.AtMostSeconds * 1e9)
				h.say("It runs too long: %s", h.fault.Sees)
				h.fail(i, "overdue")
				return
			}
			if h.fault != nil && h.fault.Supply > 0 && h.strikes(i) {
				v := h.fault.Supply
				h.say("%s", h.fault.Sees)
				h.put(runner.Entry{Kind: runner.WatchNow, Watch: h.m.Watches[0].ID, Level: "stop", Value: &v})
				h.tries[st.Base()]++
				h.say("Stop: no further command, let it come to rest. The supply is mended.")
				h.now += 120e9
				h.put(runner.Entry{Kind: runner.WatchNow, Watch: h.m.Watches[0].ID, Level: "holding", Value: h.level(0)})
				return
			}
			h.put(runner.Entry{Kind: runner.End, Step: st.ID})
			h.say("%s: come to its end; wait %g s.", st.ID, st.RestSeconds)
			return
		}
	case procedure.Waiting:
		if h.m.GivenOf(state, i) == 1<<len(st.Confirm.By)-1 {
			h.now += int64(h.run.Left(i, h.stamp())*1e9) + 1e9
			h.put(runner.Entry{Kind: runner.Note, Text: "the wait is over"})
			return
		}
	}
	h.confirm(i)
}

func (h *rehearsal) confirm(i int) {
	st := &h.m.Steps[i]
	given := h.m.GivenOf(h.run.State(), i)
	good, bad := 0, ""
	for k, mean := range st.Confirm.By {
		if given>>k&1 == 1 {
			continue
		}
		if sees, no := h.sees(i, mean.How); no {
			bad = sees
			continue
		}
		good++
		e := runner.Entry{Kind: runner.Confirm, Step: st.ID, How: mean.How, Seen: h.run.Attempt(i)}
		if mean.Reading != "" {
			v := (&play{}).reading(mean)
			e.Value = &v
		}
		e.Figures = figures(mean)
		if !h.put(e) {
			h.now += 5e9
			return
		}
		if !h.m.ModeStep(h.run.State(), i) {
			return // that was enough
		}
	}
	if bad != "" {
		h.say("%s: not as expected: %s", st.ID, bad)
		h.fail(i, "not_as_expected")
		return
	}
	if len(st.Outcomes) > 0 && h.m.GivenOf(h.run.State(), i) != 0 {
		outcome := st.Outcomes[0].ID
		if a := h.r.Answers[st.ID]; a != "" {
			outcome = a
		}
		h.say("%s: answered: %s", st.ID, outcome)
		if !h.put(runner.Entry{Kind: runner.Choose, Step: st.ID, Outcome: outcome}) {
			h.now += 5e9
		}
		return
	}
	if good == 0 {
		h.now += 5e9
	}
}

// sees is what the fault shows to this means in this step; no means that it does
// not show what the step asks for.
func (h *rehearsal) sees(i int, how string) (sees string, no bool) {
	if h.fault == nil || !h.strikes(i) || !contains(h.fault.Spoils, how) {
		return "", false
	}
	return h.fault.Sees, true
}

// strikes: the fault shows in this step. A fault that the technician mends shows once.
func (h *rehearsal) strikes(i int) bool {
	st := &h.m.Steps[i]
	if !contains(h.fault.Acts, st.Act) || st.Side() != "" && h.r.Side != "" && st.Side() != h.r.Side {
		return false
	}
	return !h.fault.Mended || h.tries[st.Base()] == 0
}

func (h *rehearsal) fail(i int, what string) {
	st := &h.m.Steps[i]
	h.tries[st.Base()]++
	class, text := h.run.WayOut(st.ID, what)
	h.say("The way out (%s): %s", class, text)
	h.put(runner.Entry{Kind: runner.Fails, Step: st.ID, What: what})
	if h.tries[st.Base()] >= 2 && h.m.ModeOf(h.run.State()) != procedure.Stopping {
		h.say("Twice the same: the technician stops, to make safe and diagnose.")
		h.put(runner.Entry{Kind: runner.StopNow})
		h.stopped = true
	}
}

func (h *rehearsal) makeSafe(mode procedure.Mode, active, safe []int) {
	if h.m.MotorOf(h.run.State()) == procedure.Moving && h.m.Allowed(h.run.State(), procedure.Event{Op: procedure.AtRest}) {
		h.now += 10e9
		h.say("Looked: everything is at rest.")
		h.put(runner.Entry{Kind: runner.AtRest})
		return
	}
	for _, i := range active {
		if h.m.Steps[i].Origin() == "recovery" {
			h.confirm(i)
			return
		}
	}
	if mode != procedure.Stopping {
		if len(safe) > 0 {
			h.begin(safe[0])
			return
		}
		h.now += 60e9
		if h.put(runner.Entry{Kind: runner.GoOn}) {
			h.say("Looked, and going on.")
		}
		return
	}
	if h.would(runner.Entry{Kind: runner.HandOver, To: "the board"}) {
		for _, d := range h.run.Dangers() {
			h.say("DANGEROUS TO LEAVE, on the board until resolved: %s", d)
		}
		h.put(runner.Entry{Kind: runner.HandOver, To: "the board"})
		h.say("Handed over in its resting state.")
		h.out.Handed = h.stopped || !h.r.Leave
		return
	}
	if len(safe) > 0 {
		h.begin(safe[0])
		return
	}
	h.now += 5e9
}
