package checker

import (
	"fmt"
	"math/bits"
	"strings"

	"proveout/procedure"
)

// Options bound a check.
type Options struct {
	// MaxStates ends the exploration; 0 is 4,000,000. A check that ends there has
	// not passed.
	MaxStates int
	// AllProblems goes on after the first broken rule, once for each rule.
	AllProblems bool
	// AllBands explores the bands of what is watched as part of the state. Without it
	// they are explored as always within limits: a worse band only ever takes starts
	// away, and may become good again at any moment, so the states that can be reached
	// are the same. That each start is then indeed refused is audited in every state,
	// in every band. A test compares both.
	AllBands bool
}

// Problem is one thing that is not as it must be, with the shortest story to it.
type Problem struct {
	Kind  string   `json:"kind"` // never, stranded, stuck, unfinishable, dead, bypass, bound
	Rule  string   `json:"rule,omitempty"`
	Text  string   `json:"text"`
	Story []string `json:"story,omitempty"`
	// Events is the story for machines.
	Events []procedure.Event `json:"-"`
}

// Report is what a check found.
type Report struct {
	Procedure   string    `json:"procedure"`
	Version     int       `json:"version"`
	Passed      bool      `json:"passed"`
	States      int       `json:"states"`
	Transitions int       `json:"transitions"`
	Rules       int       `json:"rules"`
	Problems    []Problem `json:"problems"`
}

// Check explores the machine. The same machine and options give the same report.
func Check(m *procedure.Machine, opt Options) Report {
	if opt.MaxStates == 0 {
		opt.MaxStates = 4_000_000
	}
	c := &check{m: m, g: newGraph(), opt: opt, seenRule: map[int]bool{}, begun: make([]bool, len(m.Steps)), done: make([]map[uint8]bool, len(m.Steps)), bypass: map[string]bool{}}
	c.report = Report{Procedure: m.File.ID, Version: m.File.Version, Rules: len(m.Rules)}
	c.run()
	c.report.States, c.report.Transitions = len(c.g.states), len(c.g.to)
	c.report.Passed = len(c.report.Problems) == 0
	return c.report
}

type check struct {
	m        *procedure.Machine
	g        *graph
	opt      Options
	report   Report
	seenRule map[int]bool
	begun    []bool
	done     []map[uint8]bool
	bypass   map[string]bool
	stuck    bool
}

func (c *check) run() {
	m, g := c.m, c.g
	first := m.Essence(m.Initial())
	if !c.opt.AllBands {
		first = m.WithWatches(first, procedure.Good)
	}
	g.add(first, -1, procedure.Event{})
	var buf []procedure.Event
	for i := 0; i < len(g.states); i++ {
		s := g.states[i]
		g.row = append(g.row, uint32(len(g.to)))
		if rule, step := m.Broken(s); rule >= 0 {
			c.broken(int32(i), rule, step)
			if !c.opt.AllProblems {
				return
			}
			continue
		}
		buf = m.Events(s, buf[:0])
		if m.ModeOf(s) == procedure.Running && !c.stuck && !c.opt.AllBands && !moves(buf) {
			c.stuck = true
			c.problem("stuck", "", int32(i), "here the procedure runs, but nothing can be begun, confirmed, waited for or finished: the technician would not know what to do"+c.blockedNow(s))
		}
		for _, e := range buf {
			if e.Op == procedure.WatchBand && !c.opt.AllBands {
				continue
			}
			t := m.Essence(m.Apply(s, e))
			c.audit(int32(i), s, t, e)
			j, fresh := g.add(t, int32(i), e)
			g.to = append(g.to, j)
			g.quiet = append(g.quiet, isQuiet(m, s, e))
			if fresh && len(g.states) > c.opt.MaxStates {
				c.problem("bound", "", -1, fmt.Sprintf("more than %d states: the exploration ended before everything was seen, so nothing is shown", c.opt.MaxStates))
				return
			}
		}
	}
	g.row = append(g.row, uint32(len(g.to)))
	if len(c.report.Problems) > 0 && !c.opt.AllProblems {
		return
	}
	c.liveness()
	c.dead()
}

// moves: something besides stopping and interruptions can happen.
func moves(events []procedure.Event) bool {
	for _, e := range events {
		switch e.Op {
		case procedure.Start, procedure.Ended, procedure.Rested, procedure.ConfirmMean, procedure.Complete, procedure.MotorRested, procedure.TimerElapsed, procedure.Finish:
			return true
		}
	}
	return false
}

// blockedNow says what the next step in the order waits for.
func (c *check) blockedNow(s procedure.State) string {
	for i := range c.m.Steps {
		if c.m.Steps[i].Origin() != "recovery" && c.m.PhaseOf(s, i) == procedure.Idle && !c.m.SkippedIn(s, i) {
			return fmt.Sprintf("; step %q: %s", c.m.Steps[i].ID, strings.Join(c.m.Why(s, procedure.Event{Op: procedure.Start, Step: uint16(i)}), " "))
		}
	}
	return ""
}

// isQuiet: the edge needs nothing but people making safe what is there.
func isQuiet(m *procedure.Machine, s procedure.State, e procedure.Event) bool {
	switch e.Op {
	case procedure.Stop, procedure.AtRest, procedure.HandOver, procedure.MotorRested:
		return true
	case procedure.Start, procedure.Ended, procedure.Rested, procedure.ConfirmMean, procedure.Complete:
		st := &m.Steps[e.Step]
		return st.Origin() == "recovery" && len(st.WatchedBy()) == 0 && m.ModeOf(s) == procedure.Stopping
	}
	return false
}

// audit reads off one transition that nothing was bypassed. It asks the state and
// the step directly, not the code that allowed the event.
func (c *check) audit(i int32, s, t procedure.State, e procedure.Event) {
	switch e.Op {
	case procedure.Start:
		c.auditStart(i, s, e)
	case procedure.Complete, procedure.ConfirmMean, procedure.Rested:
		c.auditDone(i, s, t, e)
	}
}

func (c *check) auditStart(i int32, s procedure.State, e procedure.Event) {
	m := c.m
	st := &m.Steps[e.Step]
	c.begun[e.Step] = true
	for _, n := range st.NeedsDone() {
		if m.PhaseOf(s, n) != procedure.Done && !m.SkippedIn(s, n) {
			c.flaw(i, e, "order", fmt.Sprintf("step %q begins before step %q is done", st.ID, m.Steps[n].ID))
		}
	}
	if st.Command && m.MotorOf(s) != procedure.Quiet {
		c.flaw(i, e, "rest", fmt.Sprintf("the command of step %q goes out before the last movement has come to rest", st.ID))
	}
	for _, w := range st.WatchedBy() {
		for b := procedure.Blind; b <= procedure.Low; b++ {
			if (b == procedure.Good || b == procedure.Typed && m.Watches[w].TypedGate) || !m.Allowed(m.WithWatches(s, b), e) {
				continue
			}
			c.flaw(i, e, "watch", fmt.Sprintf("step %q begins while watch %q does not hold", st.ID, m.Watches[w].ID))
		}
	}
}

// auditDone looks at steps that became done (or, for recovery steps, ended).
func (c *check) auditDone(i int32, s, t procedure.State, e procedure.Event) {
	m := c.m
	st := &m.Steps[e.Step]
	before, after := m.PhaseOf(s, int(e.Step)), m.PhaseOf(t, int(e.Step))
	if after == before || after != procedure.Done && after != procedure.Idle {
		return
	}
	if c.done[e.Step] == nil {
		c.done[e.Step] = map[uint8]bool{}
	}
	outcome := uint8(0)
	if e.Op == procedure.Complete {
		outcome = e.X
	}
	c.done[e.Step][outcome] = true
	given := m.GivenOf(s, int(e.Step))
	if e.Op == procedure.ConfirmMean {
		given |= 1 << e.X
	}
	waited := before == procedure.Waited || before == procedure.Waiting && e.Op == procedure.Rested
	if st.RestSeconds > 0 && !waited {
		c.flaw(i, e, "wait", fmt.Sprintf("step %q is done before its wait is over", st.ID))
	}
	if n := bits.OnesCount64(given); n < st.Confirm.Need || n < 1 {
		c.flaw(i, e, "confirmation", fmt.Sprintf("step %q is done with %d means of confirmation", st.ID, n))
	}
}

func (c *check) flaw(i int32, e procedure.Event, kind, text string) {
	if c.bypass[text] {
		return
	}
	c.bypass[text] = true
	c.problem("bypass", kind, i, text, e)
}

func (c *check) broken(i int32, rule, step int) {
	if c.seenRule[rule] {
		return
	}
	c.seenRule[rule] = true
	r := c.m.Rules[rule]
	text := fmt.Sprintf("never rule %q of %s is broken: %s", r.ID, r.Owner, r.Text)
	if step >= 0 {
		text += fmt.Sprintf(" (in step %q)", c.m.Steps[step].ID)
	}
	c.problem("never", r.ID, i, text)
}

func (c *check) problem(kind, rule string, at int32, text string, more ...procedure.Event) {
	p := Problem{Kind: kind, Rule: rule, Text: text}
	if at >= 0 {
		p.Events = append(c.g.story(at), more...)
		p.Story = Story(c.m, p.Events)
	}
	c.report.Problems = append(c.report.Problems, p)
}

// liveness: rest and finish stay reachable from everywhere.
func (c *check) liveness() {
	m, g := c.m, c.g
	rest := g.reaches(func(i int) bool {
		mode := m.ModeOf(g.states[i])
		return mode == procedure.HandedOver || mode == procedure.Finished
	}, true)
	for i := range g.states { // breadth first: the first is nearest to the start
		if !rest[i] {
			c.problem("stranded", "", int32(i), "from here no safe resting state can be reached by stopping and making safe: the person would be stranded")
			break
		}
	}
	finish := g.reaches(func(i int) bool { return m.ModeOf(g.states[i]) == procedure.Finished }, false)
	for i := range g.states {
		if !finish[i] {
			c.problem("unfinishable", "", int32(i), "from here the procedure can never be finished any more"+c.blocked(int32(i)))
			break
		}
	}
}

// blocked names the steps that can be done in no state reachable from state i, the
// nearest first: the cause is usually the first of them.
func (c *check) blocked(i int32) string {
	m, g := c.m, c.g
	seen := map[int32]bool{i: true}
	can := map[int]bool{}
	for queue := []int32{i}; len(queue) > 0; queue = queue[1:] {
		at := queue[0]
		for k := range m.Steps {
			if m.PhaseOf(g.states[at], k) == procedure.Done || m.SkippedIn(g.states[at], k) {
				can[k] = true
			}
		}
		for e := g.row[at]; e < g.row[at+1]; e++ {
			if !seen[g.to[e]] {
				seen[g.to[e]] = true
				queue = append(queue, g.to[e])
			}
		}
	}
	for k := range m.Steps {
		if st := &m.Steps[k]; !can[k] && st.Origin() != "recovery" {
			text := fmt.Sprintf("; the first step that can never be done is %q", st.ID)
			if why := m.SayInterlock(k); why != "" {
				text += ", which asks that " + why
			}
			return text
		}
	}
	return ""
}

func (c *check) dead() {
	for i := range c.m.Steps {
		st := &c.m.Steps[i]
		switch {
		case !c.begun[i]:
			c.problem("dead", "", -1, fmt.Sprintf("step %q can never begin", st.ID))
		case c.done[i] == nil:
			c.problem("dead", "", -1, fmt.Sprintf("step %q can begin but never be done", st.ID))
		default:
			for k, o := range st.Outcomes {
				if !c.done[i][uint8(k)] {
					c.problem("dead", "", -1, fmt.Sprintf("step %q can never end with %q", st.ID, o.ID))
				}
			}
		}
	}
}

// Story puts events into numbered-ready plain sentences. Steps that go through
// without anything happening are drawn together, so that the telling stays short.
func Story(m *procedure.Machine, events []procedure.Event) []string {
	var out []string
	var plain []string
	flush := func() {
		if len(plain) == 0 {
			return
		}
		if len(plain) == 1 {
			out = append(out, fmt.Sprintf("Step %q is begun, confirmed and done.", plain[0]))
		} else {
			out = append(out, fmt.Sprintf("Steps are begun, confirmed and done in this order: %s.", strings.Join(plain, ", ")))
		}
		plain = nil
	}
	for k := 0; k < len(events); k++ {
		if n, whole := wholeStep(m, events[k:]); whole {
			plain = append(plain, m.Steps[events[k].Step].ID)
			k += n - 1
			continue
		}
		flush()
		out = append(out, m.Tell(events[k]))
	}
	flush()
	return out
}

// wholeStep reports whether the events begin with one step from start to done, and
// how many they are.
func wholeStep(m *procedure.Machine, events []procedure.Event) (int, bool) {
	first := events[0]
	if first.Op != procedure.Start || len(m.Steps[first.Step].Outcomes) > 0 {
		return 0, false
	}
	st := &m.Steps[first.Step]
	means, rested := 0, st.RestSeconds == 0
	for k := 1; k < len(events) && events[k].Step == first.Step; k++ {
		switch events[k].Op {
		case procedure.Ended:
		case procedure.Rested:
			rested = true
		case procedure.ConfirmMean:
			means++
		default:
			return 0, false
		}
		if rested && means >= st.Need {
			return k + 1, true
		}
	}
	return 0, false
}
