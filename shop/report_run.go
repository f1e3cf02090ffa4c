package shop

import (
	"encoding/json"
	"math"
	"slices"
	"time"

	"proveout/procedure"
	"proveout/procedure/runner"
	"proveout/procedure/watch"
	"proveout/unit"
)

// RunAnswer is what was done in one run of a procedure. What the procedure itself says
// stays in its words; the rest is figures and words to be looked up.
type RunAnswer struct {
	Procedure string   `json:"procedure"`
	Title     string   `json:"title"`
	Version   string   `json:"version"`
	Who       []string `json:"who"`     // in the order in which they came to it
	Started   string   `json:"started"` // RFC 3339
	Ended     string   `json:"ended"`   // empty: it is not ended
	Last      string   `json:"last"`    // of the last thing that was noted in it
	Done      int      `json:"done"`
	Of        int      `json:"of"`
	// State: finished, running, held, held_keep_power, stopping, handed_over as the
	// runner has them; unreadable, and Why then says why.
	State  string `json:"state"`
	Why    string `json:"why,omitempty"`
	Holder string `json:"holder,omitempty"`
	// Dangers are why the vehicle must not be left or driven as this run left it.
	Dangers []string       `json:"dangers"`
	Supply  []SupplyAnswer `json:"supply"`
	// Rests are the seconds that surely passed between the end of a movement and the
	// next one; RestAsked is the least that any of them had to be.
	Rests     []float64      `json:"rests_s"`
	RestAsked float64        `json:"rest_asked_s"`
	Stops     []StopAnswer   `json:"stops"`
	Results   []ResultAnswer `json:"results"`
	Figures   []FigureAnswer `json:"figures"`
	NotDone   []string       `json:"not_done"`    // steps of this variant, in their order
	Unwatched []string       `json:"not_watched"` // steps in which a watch was blind at some moment
}

// SupplyAnswer is the lowest that was seen of one watched quantity, in its unit. Slow
// sampling sees no short dip: it is the lowest seen, never the lowest.
type SupplyAnswer struct {
	Quantity string  `json:"quantity"`
	Point    string  `json:"point"`
	Unit     string  `json:"unit"`
	Known    bool    `json:"known"`
	Lowest   float64 `json:"lowest"`
	By       string  `json:"by"` // feed, min_hold, typed
	Step     string  `json:"step,omitempty"`
	Stop     string  `json:"stop,omitempty"` // the stop line, as the procedure has it
}

// StopAnswer is one time at which the work did not go on as it should.
type StopAnswer struct {
	At   string `json:"at"`
	Step string `json:"step,omitempty"`
	Why  string `json:"why"`
	// MadeSafe are the steps that were done before it went on.
	MadeSafe []string `json:"made_safe"`
	WentOn   string   `json:"went_on,omitempty"` // RFC 3339; empty: not, or by doing the step again
	HandedTo string   `json:"handed_to,omitempty"`
}

// ResultAnswer is a step that tries or reads something, and how it came out.
type ResultAnswer struct {
	Step    string   `json:"step"`
	Outcome string   `json:"outcome,omitempty"`
	By      []string `json:"by"` // what showed it, in the words of the procedure
	Test    bool     `json:"test"`
}

// FigureAnswer is a number written down with the limit beside it, in its unit; of a
// reading that was asked for several times the lowest.
type FigureAnswer struct {
	Ask      string  `json:"ask"`
	Unit     string  `json:"unit"`
	Value    float64 `json:"value"`
	Limit    float64 `json:"limit"` // 0: none was asked for
	LimitAsk string  `json:"limit_ask"`
}

// testActs are the acts that try whether the work holds (our choice: the acts of the
// hazard classes that end a service).
var testActs = map[string]bool{
	"function_test": true, "hold_test": true, "pinch_test": true, "leak_check": true, "verify_zero": true, "check_zero": true, "check_height": true, "drive": true, "isolated": true,
}

// tellRun tells a run from its entries; zone is where its times are told.
func tellRun(m *procedure.Machine, entries []runner.Entry, zone *time.Location) (RunAnswer, error) {
	a := RunAnswer{
		Procedure: m.File.ID, Title: m.File.Title, Who: []string{}, Dangers: []string{}, Supply: []SupplyAnswer{}, Rests: []float64{},
		Stops: []StopAnswer{}, Results: []ResultAnswer{}, Figures: []FigureAnswer{}, NotDone: []string{}, Unwatched: []string{},
	}
	t := telling{RunAnswer: &a, m: m, run: runner.New(m), zone: zone, lowest: make([]lowest, len(m.Watches)), rest: map[int]float64{}, moved: -1}
	for _, e := range entries {
		if err := t.take(e); err != nil {
			return a, err
		}
	}
	t.end(entries)
	return a, nil
}

// telling is a run being told, entry by entry.
type telling struct {
	*RunAnswer
	m      *procedure.Machine
	run    *runner.Run
	zone   *time.Location
	lowest []lowest        // by watch
	rest   map[int]float64 // by step, where the maker's figure was given
	moved  int             // step of the last movement, -1: none came to its end
	still  runner.Stamp    // when it came to its end
	failed string          // step of the last stop, until it is done after all
}

type lowest struct {
	seen     bool
	value    float64 // SI
	by, step string
}

func (t *telling) clock(s runner.Stamp) string {
	return time.Unix(0, s.Wall).In(t.zone).Format(time.RFC3339)
}

// do is a step's text as it is for this vehicle.
func (t *telling) do(step string) string {
	i, ok := t.m.StepIndex(step)
	if !ok {
		return ""
	}
	text, _ := t.m.SayStep(t.run.State(), i)
	return text
}

func (t *telling) take(e runner.Entry) error {
	before := t.m.ModeOf(t.run.State())
	active := t.run.At(e.At).Active
	if err := t.run.Take(e); err != nil {
		return err
	}
	if e.Who != "" && e.Who != serverDevice && !slices.Contains(t.Who, e.Who) {
		t.Who = append(t.Who, e.Who)
	}
	t.supply(e, active)
	t.reading(e)
	t.movement(e)
	t.stop(e, before, active)
	return nil
}

// supply keeps the lowest value of each watch.
func (t *telling) supply(e runner.Entry, active []string) {
	low := func(id string, v float64, by, step string) {
		for i := range t.m.Watches {
			if l := &t.lowest[i]; t.m.Watches[i].ID == id && !math.IsNaN(v) && (!l.seen || v < l.value) {
				*l = lowest{true, v, by, step}
			}
		}
	}
	switch e.Kind {
	case runner.Summary:
		var s watch.Summary
		if json.Unmarshal(e.Data, &s) == nil && s.Samples > 0 {
			low(e.Watch, s.Low, "feed", e.Step)
		}
	case runner.Begin:
		for id, v := range e.Supply {
			low(id, v, "feed", e.Step)
		}
	case runner.WatchNow, runner.Typed, runner.MinHold:
		by := map[string]string{runner.WatchNow: "feed", runner.Typed: "typed", runner.MinHold: "min_hold"}[e.Kind]
		step := ""
		if len(active) > 0 {
			step = active[0]
		}
		if e.Value != nil {
			low(e.Watch, *e.Value, by, step)
		}
	}
}

// reading keeps the lowest value of each reading that was asked for.
func (t *telling) reading(e runner.Entry) {
	i, ok := t.m.StepIndex(e.Step)
	if e.Kind != runner.Confirm || e.Value == nil || !ok {
		return
	}
	for _, mean := range t.m.Steps[i].Confirm.By {
		for _, r := range t.m.File.Readings {
			u, err := unit.Parse(r.Unit)
			if mean.How != e.How || mean.Reading != r.ID || err != nil { // checked at load
				continue
			}
			v := round(u.FromSI(*e.Value))
			k := slices.IndexFunc(t.Figures, func(f FigureAnswer) bool { return f.Ask == r.Ask })
			if k < 0 {
				t.Figures = append(t.Figures, FigureAnswer{Ask: r.Ask, Unit: r.Unit, Value: v})
			} else {
				t.Figures[k].Value = min(t.Figures[k].Value, v)
			}
		}
	}
}

// movement keeps how long each movement was let rest before the next.
func (t *telling) movement(e runner.Entry) {
	i, ok := t.m.StepIndex(e.Step)
	command := ok && t.m.Steps[i].Command
	switch {
	case e.Kind == runner.MakerRest && e.Value != nil:
		t.rest[i] = *e.Value
	case e.Kind == runner.Begin && command:
		if t.moved >= 0 {
			t.Rests = append(t.Rests, round(runner.AtLeast(t.still, e.At)))
			asked, given := t.rest[t.moved]
			if !given {
				asked = t.m.Steps[t.moved].RestSeconds
			}
			if asked > 0 && (t.RestAsked == 0 || asked < t.RestAsked) {
				t.RestAsked = asked
			}
		}
		t.moved, t.still = i, e.At // until its end is told
	case (e.Kind == runner.End || e.Kind == runner.Broken || e.Kind == runner.Fails) && command:
		t.moved, t.still = i, e.At
	case e.Kind == runner.AtRest && t.moved >= 0:
		t.still = e.At
	}
}

// stop keeps what took the work out of its course, and what brought it back.
func (t *telling) stop(e runner.Entry, before procedure.Mode, active []string) {
	now := t.m.ModeOf(t.run.State())
	out := func(m procedure.Mode) bool { return m != procedure.Running && m != procedure.Finished }
	var last *StopAnswer
	if n := len(t.Stops); n > 0 {
		last = &t.Stops[n-1]
	}
	switch {
	case e.Kind == runner.Fails || !out(before) && out(now):
		step := e.Step
		if step == "" && len(active) > 0 {
			step = active[0]
		}
		t.failed = step
		t.Stops = append(t.Stops, StopAnswer{At: t.clock(e.At), Step: t.do(step), Why: t.why(e), MadeSafe: []string{}})
	case last == nil:
	case e.Kind == runner.HandOver:
		last.HandedTo = e.To
	case out(before) && !out(now):
		last.WentOn = t.clock(e.At)
	case out(before) && e.Step != "":
		i, _ := t.m.StepIndex(e.Step)
		if t.m.PhaseOf(t.run.State(), i) == procedure.Done && !slices.Contains(last.MadeSafe, t.m.Steps[i].Do) {
			last.MadeSafe = append(last.MadeSafe, t.do(e.Step))
		}
	case t.failed != "" && last.WentOn == "":
		if i, ok := t.m.StepIndex(t.failed); ok && t.m.PhaseOf(t.run.State(), i) == procedure.Done {
			last.WentOn = t.clock(e.At)
		}
	}
}

// why is the reason of a stop: a sentence of the runner, or of the procedure.
func (t *telling) why(e runner.Entry) string {
	switch e.Kind {
	case runner.Happens, runner.Fails:
		return procedure.KindText[e.What]
	case runner.WatchNow:
		return procedure.KindText["low_supply"]
	case runner.Choose:
		if i, ok := t.m.StepIndex(e.Step); ok {
			for _, o := range t.m.Steps[i].Outcomes {
				if o.ID == e.Outcome && o.Stop != "" {
					return o.Stop
				}
			}
		}
	}
	return "stopped by hand"
}

// end adds what only the whole run says.
func (t *telling) end(entries []runner.Entry) {
	var now runner.Stamp
	if n := len(entries); n > 0 {
		now = entries[n-1].At
		t.Started, t.Last = t.clock(entries[0].At), t.clock(now)
	}
	v := t.run.At(now)
	t.State, t.Holder, t.Done, t.Of = v.Mode, v.Holder, v.Done, v.Of
	t.Dangers = append(t.Dangers, v.Dangers...)
	if t.run.Ended() {
		t.Ended = t.Last
	}
	for i, l := range t.lowest {
		w := &t.m.Watches[i]
		s := SupplyAnswer{Quantity: w.Quantity, Point: w.Point, Stop: w.Stop, Known: l.seen, By: l.by, Step: t.do(l.step)}
		if lim, err := w.Limits(); err == nil { // checked at load
			s.Unit, s.Lowest = lim.Unit.Symbol, round(lim.Unit.FromSI(l.value))
		}
		t.Supply = append(t.Supply, s)
	}
	records := t.run.Records()
	for _, sv := range v.Steps {
		if sv.Kind == "recovery" || sv.Skipped {
			continue
		}
		if sv.Phase != procedure.Done.Text() {
			t.NotDone = append(t.NotDone, sv.Do)
			continue
		}
		for k := len(records) - 1; k >= 0; k-- {
			if records[k].Step == sv.ID && records[k].Done {
				t.result(&t.m.Steps[sv.Index], sv.Do, &records[k])
				break
			}
		}
	}
}

// result tells how a step came out, where it tries, reads or measures something.
func (t *telling) result(st *procedure.MStep, do string, rec *runner.StepRecord) {
	if len(rec.NotWatched) > 0 {
		t.Unwatched = append(t.Unwatched, do)
	}
	r := ResultAnswer{Step: do, Test: testActs[st.Act], By: []string{}}
	for _, o := range st.Outcomes {
		if o.ID == rec.Outcome && len(st.Outcomes) > 1 {
			r.Outcome = o.Text
		}
	}
	for _, mean := range st.Confirm.By {
		if slices.Contains(rec.Means, mean.How) {
			r.By = append(r.By, mean.Text)
		}
		for _, id := range mean.Figures {
			g, given := rec.Figures[id]
			if f, ok := t.m.FigureByID(id); ok && given {
				t.Figures = append(t.Figures, FigureAnswer{Ask: f.Ask, Unit: f.Unit, Value: round(f.U.FromSI(g.Value)), Limit: round(f.U.FromSI(g.Limit)), LimitAsk: f.LimitAsk})
			}
		}
	}
	if r.Test || r.Outcome != "" && st.Origin() == "step" {
		t.Results = append(t.Results, r)
	}
}
