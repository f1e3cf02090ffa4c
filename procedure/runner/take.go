package runner

import (
	"fmt"
	"maps"
	"math"
	"strings"

	"proveout/procedure"
	"proveout/procedure/watch"
)

// try applies a machine event or refuses it with the machine's reasons.
func (r *Run) try(ev procedure.Event, at Stamp, why string) error {
	if !r.bare || !r.m.Allowed(r.state, ev) {
		if reasons := r.m.Why(r.state, ev); len(reasons) > 0 {
			return &Refusal{reasons}
		}
	}
	r.do(ev, at, why)
	return nil
}

func (r *Run) take(e Entry) error {
	switch e.Kind {
	case Note, Summary, Opened:
		if e.Kind == Opened {
			r.blind(e.At)
		}
		return nil
	case Happens:
		k := indexOf(procedure.Kinds[:5], e.What)
		if k < 0 {
			return refuse("Interruption %q is not known; it is one of: %s.", e.What, strings.Join(procedure.Kinds[:5], ", "))
		}
		r.motorRest()
		out := r.waysOut(k)
		if err := r.try(procedure.Event{Op: procedure.Interrupt, X: uint8(k)}, e.At, procedure.KindText[e.What]); err != nil {
			return err
		}
		r.out = out
		return nil
	case AtRest:
		return r.try(procedure.Event{Op: procedure.AtRest}, e.At, "")
	case GoOn:
		if err := r.try(procedure.Event{Op: procedure.Resume}, e.At, "its interlock no longer holds"); err != nil {
			return err
		}
		r.out = nil
		return nil
	case StopNow:
		r.motorRest()
		return r.try(procedure.Event{Op: procedure.Stop}, e.At, "stopped")
	case HandOver:
		if e.To == "" {
			return refuse("Say to whom it is handed over, or where it stays.")
		}
		if err := r.try(procedure.Event{Op: procedure.HandOver}, e.At, ""); err != nil {
			return err
		}
		r.holder = e.To
		return nil
	case TakeUp:
		r.holder = ""
		return r.try(procedure.Event{Op: procedure.PickUp}, e.At, "taken up again")
	case Finished:
		return r.try(procedure.Event{Op: procedure.Finish}, e.At, "")
	case Resolved:
		return r.resolve(e)
	case WatchNow, Typed, MinHold:
		return r.takeWatch(e)
	}
	return r.takeStep(e)
}

// resolve: what failed was put right outside this procedure. It takes away the
// failures, never what the state itself says.
func (r *Run) resolve(e Entry) error {
	switch {
	case r.m.ModeOf(r.state) != procedure.HandedOver:
		return refuse("Not now: what failed is shown right by doing its step. Only what was handed over is resolved with words.")
	case len(r.failures) == 0:
		return refuse("Nothing has failed that is still open.")
	case strings.TrimSpace(e.Text) == "":
		return refuse("Say what was done and what showed that it is right.")
	}
	r.failures = nil
	return nil
}

// WayOut is what the procedure says to do about an interruption of a step.
type WayOut struct {
	Step  string `json:"step"`
	What  string `json:"what"`
	Class string `json:"class"`
	Text  string `json:"text"`
}

func (r *Run) wayOut(i, kind int) WayOut {
	rule := r.m.Steps[i].Recovers[kind].Rule
	return WayOut{r.m.Steps[i].ID, procedure.KindText[procedure.Kinds[kind]], rule.Class, rule.Text}
}

// waysOut are those of every step under way; of the procedure when none is.
func (r *Run) waysOut(kind int) []WayOut {
	var out []WayOut
	for i := range r.m.Steps {
		if r.m.Steps[i].Origin() != "recovery" && r.m.ModeStep(r.state, i) {
			out = append(out, r.wayOut(i, kind))
		}
	}
	if rule := r.m.File.Interrupt[procedure.Kinds[kind]]; len(out) == 0 {
		out = append(out, WayOut{"", procedure.KindText[procedure.Kinds[kind]], rule.Class, rule.Text})
	}
	return out
}

// motorRest remembers how long the movement under way must rest when it has come to
// its end, in case its step is put back.
func (r *Run) motorRest() {
	for i := range r.m.Steps {
		if ph := r.m.PhaseOf(r.state, i); r.m.Steps[i].Command && (ph == procedure.Doing || ph == procedure.Waiting) {
			r.motorFor = r.rest[i]
		}
	}
}

func (r *Run) takeStep(e Entry) error {
	i, ok := r.m.StepIndex(e.Step)
	if !ok {
		return refuse("There is no step %q in this procedure.", e.Step)
	}
	if e.Seen != 0 && e.Seen != r.attempts[i] {
		return refuse("Step %q has changed since this screen saw it: it saw attempt %d, now it is attempt %d. Look again before confirming.", e.Step, e.Seen, r.attempts[i])
	}
	st := &r.m.Steps[i]
	u := uint16(i)
	switch e.Kind {
	case Begin:
		return r.begin(i, e)
	case End:
		if st.Command {
			r.motorFor = r.rest[i]
		}
		return r.try(procedure.Event{Op: procedure.Ended, Step: u}, e.At, "")
	case Broken:
		return r.try(procedure.Event{Op: procedure.BreakWait, Step: u}, e.At, "its wait was broken early")
	case Fails:
		k := indexOf(procedure.Kinds, e.What)
		if k < 5 {
			return refuse("A step fails as not_as_expected or overdue, not as %q.", e.What)
		}
		r.motorRest()
		if err := r.try(procedure.Event{Op: procedure.StepFails, Step: u, X: uint8(k)}, e.At, procedure.KindText[e.What]); err != nil {
			return err
		}
		r.out = []WayOut{r.wayOut(i, k)}
		r.fail(i, e, procedure.KindText[e.What])
		return nil
	case Choose:
		for k, o := range st.Outcomes {
			if o.ID == e.Outcome {
				if err := r.try(procedure.Event{Op: procedure.Complete, Step: u, X: uint8(k)}, e.At, o.Stop); err != nil {
					return err
				}
				if rec := r.record(i); rec != nil {
					rec.Outcome = e.Outcome
				}
				if o.Stop != "" {
					r.fail(i, e, o.Stop)
				}
				return nil
			}
		}
		return refuse("Step %q has no outcome %q.", e.Step, e.Outcome)
	case Confirm:
		return r.confirm(i, e)
	case MakerRest:
		return r.makerRest(i, e)
	}
	return refuse("Entry kind %q is not known.", e.Kind)
}

func (r *Run) begin(i int, e Entry) error {
	st := &r.m.Steps[i]
	var reasons []string
	for _, w := range st.WatchedBy() {
		mw := &r.m.Watches[w]
		v, given := e.Supply[mw.ID]
		if r.m.WatchOf(r.state, w) == procedure.Good && (!given || !(v >= r.watches[w].lim.Start) && !math.IsNaN(r.watches[w].lim.Start)) {
			reasons = append(reasons, fmt.Sprintf("The %s at the %s must be at least %s to begin this step.", mw.Quantity, mw.Point, mw.Start))
		}
	}
	if len(reasons) > 0 {
		return &Refusal{reasons}
	}
	if err := r.try(procedure.Event{Op: procedure.Start, Step: uint16(i)}, e.At, ""); err != nil {
		return err
	}
	r.attempts[i]++
	rec := &StepRecord{Step: st.ID, Attempt: r.attempts[i], Who: e.Who, Begun: e.At}
	for _, w := range st.WatchedBy() {
		if r.m.WatchOf(r.state, w) != procedure.Good {
			rec.NotWatched = append(rec.NotWatched, r.m.Watches[w].ID)
		}
	}
	r.records = append(r.records, rec)
	return nil
}

func (r *Run) confirm(i int, e Entry) error {
	st := &r.m.Steps[i]
	k := -1
	for j, mean := range st.Confirm.By {
		if mean.How == e.How {
			k = j
		}
	}
	if k < 0 {
		return refuse("Step %q is not confirmed as %q; it is by: %s.", st.ID, e.How, hows(st.Confirm.By))
	}
	mean := st.Confirm.By[k]
	ev := procedure.Event{Op: procedure.ConfirmMean, Step: uint16(i), X: uint8(k)}
	if mean.Reading != "" && e.Value != nil {
		ev.Band, _ = r.m.BandOfReading(mean.Reading, *e.Value)
	}
	if reasons := r.figures(mean, e.Figures); len(reasons) > 0 {
		return &Refusal{reasons}
	}
	if err := r.try(ev, e.At, ""); err != nil {
		return err
	}
	if rec := r.record(i); rec != nil && len(mean.Figures) > 0 {
		rec.Figures = maps.Clone(e.Figures)
	}
	if mean.Reading != "" {
		r.values[mean.Reading] = *e.Value
	}
	if rec := r.record(i); rec != nil {
		rec.Means = append(rec.Means, e.How)
	}
	return nil
}

// figures says what is missing of the figures a means names, or beyond its limit.
func (r *Run) figures(mean procedure.Mean, given map[string]procedure.Given) []string {
	var out []string
	for _, id := range mean.Figures {
		f, ok := r.m.FigureByID(id)
		if !ok {
			continue // checked at load
		}
		g, has := given[id]
		switch why := f.Against(g); {
		case !has:
			out = append(out, fmt.Sprintf("Write it down: %s in %s, and beside it %s.", f.Ask, f.Unit, f.LimitAsk))
		case why != "":
			out = append(out, why+" If it is so, say that it is not as expected.")
		}
	}
	for id := range given {
		if indexOf(mean.Figures, id) < 0 {
			out = append(out, fmt.Sprintf("%q is no figure of this confirmation.", id))
		}
	}
	return out
}

func hows(by []procedure.Mean) string {
	var out []string
	for _, m := range by {
		out = append(out, m.How)
	}
	return strings.Join(out, ", ")
}

// record is the record of the present attempt of step i, nil if it was not begun.
func (r *Run) record(i int) *StepRecord {
	for k := len(r.records) - 1; k >= 0; k-- {
		if r.records[k].Step == r.m.Steps[i].ID {
			return r.touch(k)
		}
	}
	return nil
}

// makerRest takes the vehicle maker's figure for a rest: longer always, shorter
// only with its source, and never while the step waits.
func (r *Run) makerRest(i int, e Entry) error {
	st := &r.m.Steps[i]
	switch {
	case e.Value == nil || !(*e.Value >= 0) || *e.Value > 7*24*3600:
		return refuse("Give the maker's rest in seconds.")
	case st.RestSeconds == 0:
		return refuse("Step %q has no rest.", st.ID)
	case *e.Value < st.RestSeconds && strings.TrimSpace(e.Text) == "":
		return refuse("A rest shorter than %g s needs the maker's text it comes from.", st.RestSeconds)
	case *e.Value < st.RestFloor:
		return refuse("Step %q rests at least %g s whatever is cited: nothing shorter was found for it.", st.ID, st.RestFloor)
	case r.m.PhaseOf(r.state, i) == procedure.Waiting:
		return refuse("Step %q is in its wait: it cannot be changed now.", st.ID)
	}
	r.rest[i] = *e.Value
	return nil
}

func (r *Run) takeWatch(e Entry) error {
	w := -1
	for i := range r.m.Watches {
		if r.m.Watches[i].ID == e.Watch {
			w = i
		}
	}
	if w < 0 {
		return refuse("There is no watch %q in this procedure.", e.Watch)
	}
	ws := &r.watches[w]
	switch e.Kind {
	case MinHold:
		if e.Value == nil {
			return refuse("Give the meter's lowest value.")
		}
		for k := len(r.records) - 1; k >= 0; k-- {
			if i, _ := r.m.StepIndex(r.records[k].Step); contains(r.m.Steps[i].WatchedBy(), w) {
				rec := r.touch(k)
				if rec.MinHold == nil {
					rec.MinHold = map[string]float64{}
				}
				rec.MinHold[e.Watch] = *e.Value
				return nil
			}
		}
		return refuse("No step that is watched by %q has begun yet.", e.Watch)
	case Typed:
		if e.Value == nil {
			return refuse("Give the value that was read.")
		}
		if !r.m.Watches[w].TypedGate {
			return refuse("The %s must be watched: a typed reading is not enough here.", r.m.Watches[w].Quantity)
		}
		if ws.feed {
			return refuse("A feed is watching the %s: it counts, not a typed reading.", r.m.Watches[w].Quantity)
		}
		ws.typed, ws.value = e.At, *e.Value
		band := procedure.Typed
		l := ws.lim
		if v := *e.Value; v < l.Start || v < l.Hold || v > l.HoldHigh {
			band = procedure.Low
		}
		return r.band(w, band, e.At)
	}
	level := watch.NotWatched
	for l := watch.NotWatched; l <= watch.StopNow; l++ {
		if l.String() == e.Level {
			level = l
		}
	}
	if level.String() != e.Level {
		return refuse("Level %q is not known.", e.Level)
	}
	ws.feed, ws.level = level != watch.NotWatched, level
	if e.Value != nil {
		ws.value = *e.Value
	}
	switch level {
	case watch.NotWatched:
		return r.band(w, procedure.Blind, e.At)
	case watch.Holding, watch.Warn:
		return r.band(w, procedure.Good, e.At)
	}
	if err := r.band(w, procedure.Low, e.At); err != nil {
		return err
	}
	if level != watch.StopNow {
		return nil
	}
	// Below the stop line while a watched step moves: that is an interruption.
	for i := range r.m.Steps {
		st := &r.m.Steps[i]
		if contains(st.WatchedBy(), w) && (r.m.PhaseOf(r.state, i) == procedure.Doing || r.m.PhaseOf(r.state, i) == procedure.Waiting) && r.m.ModeOf(r.state) == procedure.Running {
			r.motorRest()
			out := r.waysOut(1)
			if err := r.try(procedure.Event{Op: procedure.Interrupt, X: 1}, e.At, procedure.KindText["low_supply"]); err != nil {
				return err
			}
			r.out = out
			return nil
		}
	}
	return nil
}

// band moves a watch to a band and notes the steps that were not watched.
func (r *Run) band(w int, b procedure.Band, at Stamp) error {
	if r.m.WatchOf(r.state, w) != b {
		ev := procedure.Event{Op: procedure.WatchBand, Step: uint16(w), X: uint8(b)}
		if !r.m.Allowed(r.state, ev) {
			return nil // handed over or finished: nothing hangs on it
		}
		r.do(ev, at, "")
	}
	if b == procedure.Blind || b == procedure.Typed {
		for i := range r.m.Steps {
			ph := r.m.PhaseOf(r.state, i)
			if !contains(r.m.Steps[i].WatchedBy(), w) || ph != procedure.Doing {
				continue
			}
			if rec := r.record(i); rec != nil && indexOf(rec.NotWatched, r.m.Watches[w].ID) < 0 {
				rec.NotWatched = append(rec.NotWatched, r.m.Watches[w].ID)
			}
		}
	}
	return nil
}

// blind: after the program was started again no feed is known to run.
func (r *Run) blind(at Stamp) {
	for w := range r.watches {
		r.watches[w].feed, r.watches[w].level = false, watch.NotWatched
		if r.m.WatchOf(r.state, w) != procedure.Blind {
			r.band(w, procedure.Blind, at)
		}
	}
}

func indexOf(list []string, s string) int {
	for i, x := range list {
		if x == s {
			return i
		}
	}
	return -1
}

func contains(list []int, x int) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}
