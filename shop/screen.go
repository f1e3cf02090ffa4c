package shop

import (
	"math"
	"strings"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// Screen is everything a procedure screen shows at a moment: from it a page is
// written, and a page that goes on without the server starts from it. Times are
// seconds left at the moment it was made.
type Screen struct {
	Run       string     `json:"run"`
	Procedure string     `json:"procedure"`
	Title     string     `json:"title"`
	Summary   string     `json:"summary"`
	Override  string     `json:"override"`
	Seq       int        `json:"seq"` // entries taken so far
	Mode      string     `json:"mode"`
	ModeText  string     `json:"mode_text"`
	Done      int        `json:"done"`
	Of        int        `json:"of"`
	Steps     []RunStep  `json:"steps"`
	Now       []int      `json:"now"` // into Steps: under way, then what may begin
	NotYet    []NotYet   `json:"not_yet,omitempty"`
	Motor     string     `json:"motor"` // quiet, moving, resting
	MotorLeft float64    `json:"motor_left_s,omitempty"`
	Supply    []RunWatch `json:"supply,omitempty"`
	Dangers   []string   `json:"dangers"`
	Tag       string     `json:"tag,omitempty"` // the do-not-drive tag, while it hangs
	MayLeave  bool       `json:"may_leave"`
	WhyNot    []string   `json:"why_not,omitempty"` // why it cannot go on, or be handed over
	Overdue   []string   `json:"overdue,omitempty"` // steps that move longer than they may
	// OverdueHere: this device began one of them, and is the one to say so.
	OverdueHere bool      `json:"overdue_here,omitempty"`
	Holder      string    `json:"holder,omitempty"`
	Sides       []RunSide `json:"sides,omitempty"`
	WayOut      []string  `json:"way_out"`
	Rest        string    `json:"rest"` // the safe resting state in words
	After       []string  `json:"after,omitempty"`
	Told        []RunLine `json:"told"` // the last lines of the record, newest first
	Boxes       []RunBox  `json:"boxes,omitempty"`
	Unsafe      []string  `json:"unsafe,omitempty"` // steps after which it may not be left: the boxes are made of them
	Ways        []string  `json:"ways,omitempty"`   // what to do about the last interruption
	// Leave are the ways in which it may be left, each by what is missing for it.
	Leave     [][]string  `json:"leave,omitempty"`
	Timer     *RunTimer   `json:"timer,omitempty"`
	KeepOff   []RunKeep   `json:"keep_off,omitempty"`
	Interrupt []KindWords `json:"interrupt"`
}

// RunStep is one step with what it may be answered with.
type RunStep struct {
	ID       string             `json:"id"`
	Number   int                `json:"number,omitempty"` // of the main steps that apply
	Kind     string             `json:"kind"`             // question, precondition, step, recovery
	Phase    string             `json:"phase"`
	Look     string             `json:"look"` // done, now, open, left_out
	Attempt  int                `json:"attempt"`
	Side     string             `json:"side,omitempty"`
	Do       string             `json:"do"`
	Why      string             `json:"why,omitempty"`
	Hazards  []procedure.Hazard `json:"hazards,omitempty"`
	Danger   bool               `json:"danger,omitempty"` // needs its own typed confirmation
	NoReturn string             `json:"no_return,omitempty"`
	Command  bool               `json:"command,omitempty"`
	Rest     float64            `json:"rest_s,omitempty"`
	AtMost   float64            `json:"at_most_s,omitempty"`
	Left     float64            `json:"left_s,omitempty"`
	WaitWhy  string             `json:"wait_why,omitempty"`
	Until    string             `json:"until,omitempty"`
	Need     int                `json:"need"`
	Missing  int                `json:"missing"`
	Means    []RunMean          `json:"means"`
	Outcomes []RunOutcome       `json:"outcomes,omitempty"`
	Begins   bool               `json:"begins,omitempty"` // may begin now
	Active   bool               `json:"active,omitempty"`
	From     []string           `json:"from,omitempty"`
}

// RunMean is one way to confirm a step.
type RunMean struct {
	How   string `json:"how"`
	Text  string `json:"text"`
	Ask   string `json:"ask,omitempty"` // a value is asked for
	Unit  string `json:"unit,omitempty"`
	Least string `json:"least,omitempty"`
	Most  string `json:"most,omitempty"`
	Given bool   `json:"given,omitempty"`
	// Figures are written down with it, each with the maker's limit beside it.
	Figures []RunFigure `json:"figures,omitempty"`
}

// RunFigure is a number to be written down.
type RunFigure struct {
	ID       string `json:"id"`
	Ask      string `json:"ask"`
	Unit     string `json:"unit"`
	Limit    string `json:"limit"` // at_least, at_most, about, beside
	LimitAsk string `json:"limit_ask"`
}

// RunOutcome is one way a step may end.
type RunOutcome struct {
	ID   string `json:"id"`
	Text string `json:"text"`
	Stop string `json:"stop,omitempty"`
}

// NotYet is a step that may not begin, and why.
type NotYet struct {
	ID  string   `json:"id"`
	Do  string   `json:"do"`
	Why []string `json:"why"`
}

// RunWatch is what is watched, with its lines, in SI.
type RunWatch struct {
	ID       string    `json:"id"`
	Word     string    `json:"word"`          // holding, sagging, lowest, below, stop, typed, unwatched
	Ask      string    `json:"ask,omitempty"` // what to look at, when one slow sample says little
	Quantity string    `json:"quantity"`
	Point    string    `json:"point"`
	Unit     string    `json:"unit"`
	Value    float64   `json:"value,omitempty"`
	Known    bool      `json:"known"`
	Start    float64   `json:"start,omitempty"`
	Warn     float64   `json:"warn,omitempty"`
	Hold     float64   `json:"hold,omitempty"`
	Stop     float64   `json:"stop,omitempty"`
	Blind    string    `json:"blind,omitempty"`
	Typed    bool      `json:"typed_allowed,omitempty"`
	Feed     *FeedView `json:"feed,omitempty"`
}

// FeedView is what a live feed has given of late.
type FeedView struct {
	AgeSeconds float64   `json:"age_s"`
	RateHz     float64   `json:"rate_hz"`
	Lowest     float64   `json:"lowest"` // lowest seen: a shorter dip may have been missed
	Pairs      []float64 `json:"pairs"`  // seconds ago, value; oldest first
}

// RunSide is what is known of one side.
type RunSide struct {
	Side string    `json:"side"`
	Rows []SideRow `json:"rows"`
}

// SideRow is one fact of a side.
type SideRow struct {
	Text  string   `json:"text"`
	Known bool     `json:"known"`
	By    []string `json:"by,omitempty"` // the means by which it was confirmed
}

// RunBox is a stretch of the step line inside which the vehicle may not be left,
// by step numbers.
type RunBox struct {
	From int `json:"from"`
	To   int `json:"to"`
}

// RunTimer is the one number to be read from across the bay.
type RunTimer struct {
	Step  string  `json:"step,omitempty"` // empty: the rest after the last movement
	Left  float64 `json:"left_s"`
	Total float64 `json:"total_s"`
	Over  bool    `json:"over,omitempty"` // it counts what may not be exceeded
}

// RunKeep is something not to be done now, and why.
type RunKeep struct {
	Key  string `json:"key,omitempty"`  // key, hands: the workbench has the words
	Text string `json:"text,omitempty"` // in the procedure's own words
}

// KindWords is a kind of interruption.
type KindWords struct {
	ID   string `json:"id"`
	Text string `json:"text"`
}

// RunLine is one line of the record as a sentence.
type RunLine struct {
	Seq  int    `json:"seq"`
	At   int64  `json:"at"` // Unix milliseconds
	Who  string `json:"who"`
	Text string `json:"text"`
}

// screenOf puts a run at a moment on a screen.
func screenOf(r *runner.Run, now runner.Stamp) Screen {
	m := r.Machine()
	v := r.At(now)
	s := Screen{
		Procedure: m.File.ID, Title: m.File.Title, Summary: m.File.Summary, Override: m.File.Override, Seq: r.Next() - 1,
		Mode: v.Mode, ModeText: v.ModeText, Done: v.Done, Of: v.Of, Motor: v.Motor, MotorLeft: v.MotorLeft,
		Dangers: append([]string{}, v.Dangers...), MayLeave: v.MayLeave, Holder: v.Holder, Overdue: v.Overdue, Rest: m.SayRest(), After: m.File.After,
	}
	for _, w := range v.WaysOut {
		s.Ways = append(s.Ways, w.Text)
	}
	s.WhyNot = append(s.WhyNot, v.WhyNotOn...)
	if v.Mode == "stopping" {
		s.Leave = m.RestWays(r.State())
	}
	for _, w := range v.WhyNotRest {
		if len(s.Leave) == 0 || !strings.HasPrefix(w, procedure.NotLeft) {
			s.WhyNot = append(s.WhyNot, w)
		}
	}
	begins := map[string]bool{}
	for _, id := range append(append([]string{}, v.Open...), v.MakeSafe...) {
		i, _ := m.StepIndex(id)
		// What is owed stands in the list even while it may not begin yet.
		begins[id] = r.Offer(runner.Entry{Seq: r.Next(), At: now, Kind: runner.Begin, Step: id, Supply: full(m, i)}) == nil
	}
	n := 0
	for _, sv := range v.Steps {
		st := runStep(m, sv)
		if sv.Kind != "recovery" && !sv.Skipped {
			n++
			st.Number = n
		}
		st.Begins = begins[sv.ID]
		s.Steps = append(s.Steps, st)
	}
	for k := range s.Steps {
		if s.Steps[k].Active {
			s.Now = append(s.Now, k)
		}
	}
	for k := range s.Steps {
		if _, listed := begins[s.Steps[k].ID]; listed && !s.Steps[k].Active {
			s.Now = append(s.Now, k)
		}
	}
	for _, c := range v.NotYet {
		i, _ := m.StepIndex(c.Step)
		s.NotYet = append(s.NotYet, NotYet{ID: c.Step, Do: m.Steps[i].Do, Why: c.Why})
	}
	for i, w := range v.Watches {
		s.Supply = append(s.Supply, runWatch(&m.Watches[i], w))
	}
	s.Sides = sidesOf(m, r)
	if k, ok := m.FactIndex("tag"); ok {
		if v := m.FactOf(r.State(), k); m.Facts[k].Values[v] == "hung" {
			s.Tag = m.Facts[k].Phrase(v)
		}
	}
	s.Timer = timerOf(&s)
	s.KeepOff = keepOff(m, &s)
	s.WayOut = wayOut(r, &s)
	s.inWords(m, v.Failures)
	for _, k := range procedure.Kinds[:5] {
		s.Interrupt = append(s.Interrupt, KindWords{k, procedure.KindText[k]})
	}
	return s
}

// full is a supply above every start line: asked with it, a step is refused for
// its state and not for what the meter says at this moment.
func full(m *procedure.Machine, i int) map[string]float64 {
	out := map[string]float64{}
	for _, w := range m.Steps[i].WatchedBy() {
		lim, err := m.Watches[w].Limits()
		if err == nil && !math.IsNaN(lim.Start) {
			out[m.Watches[w].ID] = lim.Start
		}
	}
	return out
}

func runStep(m *procedure.Machine, sv runner.StepView) RunStep {
	st := &m.Steps[sv.Index]
	out := RunStep{
		ID: sv.ID, Kind: sv.Kind, Phase: sv.Phase, Attempt: sv.Attempt, Side: st.Side(), Do: st.Do, Why: st.Why, Hazards: st.Hazards,
		NoReturn: st.NoReturn, Command: st.Command, Rest: st.RestSeconds, AtMost: st.AtMostSeconds, Left: sv.Left, WaitWhy: st.Wait.Why, Until: st.Wait.Until,
		Need: st.Need, Missing: sv.Missing, From: st.From,
	}
	switch sv.Phase {
	case procedure.Done.Text():
		out.Look = "done"
	case procedure.Doing.Text(), procedure.Waiting.Text(), procedure.Waited.Text():
		out.Look, out.Active = "now", true
	default:
		out.Look = "open"
	}
	if sv.Skipped {
		out.Look = "left_out"
	}
	for _, h := range st.Hazards {
		out.Danger = out.Danger || h.Word == "DANGER"
	}
	given := map[string]bool{}
	for _, how := range sv.Given {
		given[how] = true
	}
	for _, mean := range st.Confirm.By {
		x := RunMean{How: mean.How, Text: mean.Text, Least: mean.AtLeast, Most: mean.AtMost, Given: given[mean.How]}
		for _, r := range m.File.Readings {
			if r.ID == mean.Reading {
				x.Ask, x.Unit = r.Ask, r.Unit
			}
		}
		for _, id := range mean.Figures {
			if f, ok := m.FigureByID(id); ok {
				x.Figures = append(x.Figures, RunFigure{ID: id, Ask: f.Ask, Unit: f.Unit, Limit: f.Limit, LimitAsk: f.LimitAsk})
			}
		}
		out.Means = append(out.Means, x)
	}
	for _, o := range st.Outcomes {
		out.Outcomes = append(out.Outcomes, RunOutcome{ID: o.ID, Text: o.Text, Stop: o.Stop})
	}
	return out
}

func runWatch(w *procedure.MWatch, v runner.WatchView) RunWatch {
	out := RunWatch{ID: w.ID, Quantity: w.Quantity, Point: w.Point, Value: v.Value, Known: v.Value != 0, Blind: v.Blind, Typed: w.TypedGate, Ask: v.Ask}
	out.Word = map[string]string{"not watched": "unwatched", "holding": "holding", "sagging": "sagging", "lowest seen": "lowest", "typed only, not watched": "typed", "below the line": "below", "stop": "stop"}[v.Word]
	lim, err := w.Limits() // checked at load
	if err != nil {
		return out
	}
	out.Unit = lim.Unit.Symbol
	number := func(x float64) float64 {
		if math.IsNaN(x) {
			return 0
		}
		return x
	}
	out.Start, out.Warn, out.Hold, out.Stop = number(lim.Start), number(lim.Warn), number(lim.Hold), number(lim.Stop)
	return out
}

// sidesOf says what is known of left and right, fact by fact.
func sidesOf(m *procedure.Machine, r *runner.Run) []RunSide {
	state := r.State()
	records := r.Records()
	var out []RunSide
	for _, side := range []string{"left", "right"} {
		rs := RunSide{Side: side}
		for k := range m.Facts {
			f := &m.Facts[k]
			if f.Reading != "" || !strings.HasSuffix(f.ID, "."+side) {
				continue
			}
			v := m.FactOf(state, k)
			row := SideRow{Text: f.Phrase(v), Known: v != 0}
			for _, rec := range records {
				if i, ok := m.StepIndex(rec.Step); ok && rec.Done && v != 0 && m.Steps[i].Sets[f.ID] == f.Values[v] {
					row.By = rec.Means
				}
			}
			rs.Rows = append(rs.Rows, row)
		}
		if len(rs.Rows) > 0 {
			out = append(out, rs)
		}
	}
	return out
}

// timerOf picks the number to be seen: the longest wait under way, else the rest
// after the last movement.
func timerOf(s *Screen) *RunTimer {
	var t *RunTimer
	for i := range s.Steps {
		if st := &s.Steps[i]; st.Left > 0 && (t == nil || st.Left > t.Left) {
			t = &RunTimer{Step: st.ID, Left: st.Left, Total: st.Rest}
		}
	}
	if t == nil && s.MotorLeft > 0 {
		t = &RunTimer{Left: s.MotorLeft, Total: math.Max(s.MotorLeft, 30)}
	}
	return t
}

// keepOff lists what a person must not do now and nobody can lock.
func keepOff(m *procedure.Machine, s *Screen) []RunKeep {
	var out []RunKeep
	if s.Mode == "held_keep_power" || s.Motor != "quiet" {
		out = append(out, RunKeep{Key: "key"})
	}
	if s.Motor != "quiet" {
		out = append(out, RunKeep{Key: "hands"})
	}
	for _, d := range s.Dangers {
		out = append(out, RunKeep{Text: d})
	}
	return out
}

// wayOut is the plan between the two taps of Stop.
func wayOut(r *runner.Run, s *Screen) []string {
	var out []string
	seen := map[string]bool{}
	for _, k := range s.Now {
		if !s.Steps[k].Active {
			continue
		}
		if _, text := r.WayOut(s.Steps[k].ID, "operator_leaves"); text != "" && !seen[text] {
			seen[text] = true
			out = append(out, text)
		}
	}
	for i := range s.Steps {
		if s.Steps[i].Kind == "recovery" {
			out = append(out, s.Steps[i].Do)
		}
	}
	return out
}
