package procedure

import (
	"fmt"
	"sort"
	"strings"

	"proveout/strict"
	"proveout/unit"
)

// Machine is a procedure ready to be explored or run.
type Machine struct {
	File    *File
	Classes []Class
	Facts   []MFact
	Steps   []MStep
	Watches []MWatch
	Timers  []MTimer
	Rules   []MRule
	Figures []MFigure

	mode, motor   field
	rest, finish  node
	dangers       []node
	finishRules   []stepRule
	handRules     []stepRule
	stateRules    []stepRule
	disturbs      [5][]disturb // by kind
	handSteps     []int
	commandSteps  []int
	mainSteps     []int
	recoverySteps []int
	init          State
	matters       State // the bits that anything asks for; see Essence
}

// MFact is a fact of the machine. Value 0 is always "unsure". Readings are facts
// too, with the band their value lies in.
type MFact struct {
	ID      string
	Values  []string
	Initial int
	Say     map[string]string
	Reading string // id of the reading, when it is one
	Cuts    []cut
	f       field
	setters []int // main steps that set it, first in order first
}

// MStep is a step of the machine.
type MStep struct {
	plain
	Command, Hands, Powers bool
	// Critical: failed, it leaves a vehicle that must not be driven.
	Critical               bool
	RestSeconds            float64
	RestFloor              float64 // of the hazard class: no figure may be shorter
	AtMostSeconds          float64
	Need                   int
	Recovers               [7]MRecovery
	needs                  []int
	onlyIf, guard, applies node
	watch                  []int
	sets                   []assign
	spoils                 []int
	outcomes               []moutcome
	means                  []mmean
	rules                  []stepRule
	phase, given           field
	after                  []int // this step and all that need it, directly or not
	timers                 []int
	needMask, needWant     State // the phases of all steps before it, done
	needMaybe              []int // steps before it that a variant leaves out
	again                  []int // what a recovery step undoes
	owable                 bool  // a recovery step that some rule asks for first
	wordings               []node
	keepGiven              bool // a condition asks by how many means it was confirmed
}

// Origin tells questions, preconditions, steps and recovery steps apart.
func (s *MStep) Origin() string {
	return [...]string{"step", "precondition", "question", "recovery"}[s.origin]
}

// Side is left, right or empty. Base is the id without side and round.
func (s *MStep) Side() string { return s.side }

// Base is the id as written in the file.
func (s *MStep) Base() string { return s.base }

// NeedsDone lists the indices of the steps that must be done before.
func (s *MStep) NeedsDone() []int { return s.needs }

// WatchedBy lists the indices of the watches that must hold during the step.
func (s *MStep) WatchedBy() []int { return s.watch }

// MRecovery is a compiled recovery rule.
type MRecovery struct {
	Rule  RecoveryRule
	class uint8 // 0..5
	first []int
	reset []int // steps put back to idle
}

// MWatch is a watch with its limits in SI; absent limits are NaN.
type MWatch struct {
	Watch
	f     field
	Floor bool // asked for by a hazard class
}

// MTimer is an "elapsed" condition.
type MTimer struct {
	Step    int
	Seconds float64
	f       field
}

// MRule is a never rule; Owner is the hazard class or "this procedure".
type MRule struct {
	ID, Text, Owner string
}

type stepRule struct {
	rule   int
	unless node
}

type disturb struct {
	facts  []int
	reset  []int
	unless *node
}

type assign struct{ fact, value int }

type moutcome struct {
	sets []assign
	stop bool
}

type mmean struct {
	reading int    // fact index of the reading, -1
	pass    uint64 // bands that count
	how     int
}

type compiler struct {
	m         *Machine
	file      *File
	doc       *strict.Document
	plain     []plain
	groups    map[string][]string
	stepIndex map[string]int
	factIndex map[string]int
	readings  map[string]unit.Unit
	cuts      map[string][]cut
	problems  []strict.Problem
	l         layout
	acts      map[string]Act
}

func (c *compiler) fail(path []any, format string, args ...any) {
	c.problems = append(c.problems, c.doc.At(strict.Error, fmt.Sprintf(format, args...), path...))
}

// compile builds the machine of a file. Problems are sentences with a place.
func compile(file *File, doc *strict.Document) (*Machine, []strict.Problem) {
	e := &expander{}
	ps, problems := expandInto(e, file, doc)
	c := &compiler{m: &Machine{File: file}, file: file, doc: doc, plain: ps, groups: e.groups, stepIndex: map[string]int{}, factIndex: map[string]int{}, readings: map[string]unit.Unit{}, cuts: map[string][]cut{}, acts: map[string]Act{}}
	c.problems = problems
	if len(problems) > 0 {
		return nil, problems
	}
	c.sortSteps()
	c.header()
	c.classes()
	c.readingDefs()
	c.figures()
	c.facts()
	if len(c.problems) > 0 {
		return nil, c.problems
	}
	c.m.mode, c.m.motor = c.l.take(6), c.l.take(3)
	c.watches()
	c.steps()
	if len(c.problems) > 0 {
		return nil, c.problems
	}
	c.rules()
	c.recoveries()
	c.validate()
	if !c.l.fits() {
		c.fail(nil, "the procedure is too large: its states need more than %d bits; split it", words*64)
	}
	c.m.start()
	c.m.essence()
	return c.m, c.problems
}

func expandInto(e *expander, file *File, doc *strict.Document) ([]plain, []strict.Problem) {
	e.doc, e.ids = doc, map[string]bool{}
	return e.expand(file)
}

func (c *compiler) classes() {
	ids := append([]string{"vehicle"}, c.file.Systems...)
	for i, id := range ids {
		if i > 0 && id == "vehicle" {
			continue
		}
		cl, ok := ClassByID(id)
		if !ok {
			c.fail([]any{"systems"}, "system %q is no hazard class; it is one of: %s", id, strings.Join(classIDs(), ", "))
			continue
		}
		c.m.Classes = append(c.m.Classes, cl)
		for _, a := range cl.Acts {
			c.acts[a.ID] = mergeActs(c.acts[a.ID], a)
		}
	}
}

func classIDs() []string {
	var out []string
	for _, c := range Classes {
		out = append(out, c.ID)
	}
	return out
}

// mergeActs joins an act known to several classes: the strictest of each.
func mergeActs(a, b Act) Act {
	if a.ID == "" {
		return b
	}
	out := b
	out.Command, out.Hands, out.Powers = a.Command || b.Command, a.Hands || b.Hands, a.Powers || b.Powers
	out.FailStops, out.KeepsPower = a.FailStops || b.FailStops, a.KeepsPower || b.KeepsPower
	out.Critical = a.Critical || b.Critical
	out.Figures = a.Figures || b.Figures
	out.Doubts = append(append([]string{}, a.Doubts...), b.Doubts...)
	out.Sets = append(append([]string{}, a.Sets...), b.Sets...)
	out.Spoils = append(append([]string{}, a.Spoils...), b.Spoils...)
	out.Means, out.Rest = max(a.Means, b.Means), max(a.Rest, b.Rest)
	if severity(a.Hazard) < severity(b.Hazard) {
		out.Hazard = a.Hazard
	}
	return out
}

// severity orders signal words: 0 is the most severe, 9 none.
func severity(word string) int {
	if i := indexOf(SignalWords, word); i >= 0 {
		return i
	}
	return 9
}

func (c *compiler) readingDefs() {
	for i, r := range c.file.Readings {
		u, err := unit.Parse(r.Unit)
		if err != nil {
			c.fail([]any{"readings", i}, "%v", err)
			continue
		}
		if r.Ask == "" {
			c.fail([]any{"readings", i}, "reading %q does not say what to read; fill in ask", r.ID)
		}
		c.readings[r.ID] = u
	}
	note := func(path []any, id, lo, hi string) {
		if id == "" {
			return
		}
		for _, x := range []struct {
			s  string
			up bool
		}{{lo, false}, {hi, true}} {
			if x.s != "" {
				if err := c.addCut(id, x.s, x.up); err != nil {
					c.fail(path, "%v", err)
				}
			}
		}
	}
	var walk func(path []any, g Guard)
	walk = func(path []any, g Guard) {
		for _, k := range g.All {
			walk(path, k)
		}
		for _, k := range g.Any {
			walk(path, k)
		}
		if g.Not != nil {
			walk(path, *g.Not)
		}
		note(path, g.Reading, g.AtLeast, g.AtMost)
	}
	for _, p := range c.plain {
		for _, m := range p.Confirm.By {
			note(p.path, m.Reading, m.AtLeast, m.AtMost)
		}
		walk(p.path, p.Guard)
		walk(p.path, p.OnlyIf)
	}
	walk([]any{"rest"}, c.file.Rest)
	walk([]any{"finish"}, c.file.Finish)
	for i, r := range c.file.Never {
		walk([]any{"never", i}, r.Unless)
		walk([]any{"never", i}, r.State)
	}
}

func (c *compiler) readingAsk(id string) string {
	for _, r := range c.file.Readings {
		if r.ID == id {
			return r.Ask
		}
	}
	return id
}

func (c *compiler) facts() {
	add := func(path []any, d Fact, side string) {
		id := d.ID
		if side != "" {
			id += "." + side
		}
		if _, dup := c.factIndex[id]; dup {
			c.fail(path, "fact %q is there already: it belongs to a hazard class or is given twice", id)
			return
		}
		if len(d.Values) < 1 || len(d.Values) > 30 {
			c.fail(path, "fact %q has %d values; write 1 to 30", id, len(d.Values))
			return
		}
		mf := MFact{ID: id, Values: append([]string{"unsure"}, d.Values...), Say: map[string]string{}}
		for k, v := range d.Say {
			mf.Say[k] = replaceSide(v, side)
		}
		if d.Initial != "" {
			mf.Initial = indexOf(mf.Values, d.Initial)
			if mf.Initial < 1 {
				c.fail(path, "fact %q starts as %q, which is none of its values", id, d.Initial)
				return
			}
		}
		mf.f = c.l.take(len(mf.Values))
		c.factIndex[id] = len(c.m.Facts)
		c.m.Facts = append(c.m.Facts, mf)
	}
	both := func(path []any, d Fact) {
		if d.Sides {
			add(path, d, "left")
			add(path, d, "right")
			return
		}
		add(path, d, "")
	}
	for _, cl := range c.m.Classes {
		for _, d := range cl.Facts {
			if d.Sides {
				both(nil, d)
			} else if _, dup := c.factIndex[d.ID]; !dup {
				both(nil, d) // pedal, fluid: the same fact in two brake classes
			}
		}
	}
	for i, d := range c.file.Facts {
		both([]any{"facts", i}, d)
	}
	for _, r := range c.file.Readings {
		mf := MFact{ID: "reading:" + r.ID, Values: []string{"unsure"}, Reading: r.ID, Cuts: c.cuts[r.ID]}
		for b := 0; b <= len(mf.Cuts); b++ {
			mf.Values = append(mf.Values, fmt.Sprintf("band%d", b))
		}
		mf.f = c.l.take(len(mf.Values))
		c.factIndex[mf.ID] = len(c.m.Facts)
		c.m.Facts = append(c.m.Facts, mf)
	}
}

func (c *compiler) timer(step int, sec float64) int {
	for i, t := range c.m.Timers {
		if t.Step == step && t.Seconds == sec {
			return i
		}
	}
	c.m.Timers = append(c.m.Timers, MTimer{Step: step, Seconds: sec, f: c.l.take(2)})
	return len(c.m.Timers) - 1
}

// sortSteps puts the plain steps into an order in which every step comes after
// the steps it needs, keeping the order of the file where it can.
func (c *compiler) sortSteps() {
	index := map[string]int{}
	for i, p := range c.plain {
		index[p.ID] = i
	}
	state := make([]uint8, len(c.plain))
	var order []plain
	var visit func(i int) bool
	visit = func(i int) bool {
		switch state[i] {
		case 1:
			c.fail(c.plain[i].path, "step %q needs itself in the end: the needs run in a circle", c.plain[i].ID)
			return false
		case 2:
			return true
		}
		state[i] = 1
		for _, n := range c.plain[i].Needs {
			if !visit(index[n]) {
				return false
			}
		}
		state[i] = 2
		order = append(order, c.plain[i])
		return true
	}
	for i := range c.plain {
		if !visit(i) {
			return
		}
	}
	c.plain = order
	for i, p := range c.plain {
		c.stepIndex[p.ID] = i
	}
}

func (m *Machine) start() {
	for i := range m.Facts {
		m.Facts[i].f.set(&m.init, uint64(m.Facts[i].Initial))
	}
	sort.Ints(m.handSteps)
}

// Initial is the state before anything was done.
func (m *Machine) Initial() State { return m.init }

func indexOf(list []string, s string) int {
	for i, x := range list {
		if x == s {
			return i
		}
	}
	return -1
}

func splitBar(s string) []string {
	var out []string
	for _, p := range strings.Split(s, "|") {
		out = append(out, strings.TrimSpace(p))
	}
	return out
}
