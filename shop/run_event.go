package shop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"proveout/job"
	"proveout/procedure"
	"proveout/procedure/runner"
	"proveout/procedure/watch"
	"proveout/unit"
)

// RunEvent is what a screen says to a run. Look and LookFails begin a step and confirm
// or fail it in one; Interrupted is an interruption that also makes the hand-over card.
type RunEvent struct {
	Kind    string `json:"kind"`
	Step    string `json:"step,omitempty"`
	How     string `json:"how,omitempty"`
	Outcome string `json:"outcome,omitempty"`
	What    string `json:"what,omitempty"`
	Watch   string `json:"watch,omitempty"`
	To      string `json:"to,omitempty"`
	Text    string `json:"text,omitempty"`
	Typed   string `json:"typed,omitempty"` // a value as it was typed, its unit may be left out
	Seen    int    `json:"seen,omitempty"`  // the attempt of the step the person saw
	Danger  string `json:"danger,omitempty"`
	// Figures are value and limit as typed, by the figure's id.
	Figures map[string][2]string `json:"figures,omitempty"`
}

// keptAfter: an event sent longer after it was made was kept on the device (our choice:
// a slow network takes less).
const keptAfter = 3 * time.Second

// Kinds of event a screen has beside those of the runner.
const (
	Look        = "look"
	LookFails   = "look_fails"
	Interrupted = "interrupted"
)

// When is a device's own time of an event, and its time when it was sent: with both,
// an event made without the server is put at its moment on the server's clock.
type When struct {
	Mono, SentMono int64
	Boot, SentBoot string
	Wall, SentWall time.Time
}

// ProcedureEvent takes one event into a run. It returns when the event is safe on
// disk. What the run does not take is a RefusedEvent; nothing has changed then.
func (b *Bench) ProcedureEvent(ctx context.Context, jobID, runID string, ev RunEvent, when When, c Command) (Receipt, error) {
	late, release, err := b.turns.take(ctx, b, c)
	if err != nil {
		return Receipt{}, err
	}
	defer release()
	if have, err := b.store.Receipt(ctx, c.Key); err == nil {
		var r Receipt
		if err := json.Unmarshal(have.Answer, &r); err != nil {
			return r, err
		}
		r.Sequence, r.Again = have.Order, true
		return r, nil
	} else if !isNotFound(err) {
		return Receipt{}, err
	}
	k, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return Receipt{}, err
	}
	defer k.mu.Unlock()
	l, err := b.held(k, runID)
	if err != nil {
		return Receipt{}, err
	}
	w := runWriter{b: b, ctx: ctx, k: k, l: l, run: runID, c: c, late: late}
	at := w.at(when)
	if ev.Kind != runner.Fails { // it may be saying so itself
		if err := w.overdue(at); err != nil {
			return Receipt{}, err
		}
	}
	if err := w.settle(); err != nil {
		return Receipt{}, err
	}
	if err := k.mayBegin(runID, ev, when); err != nil {
		return Receipt{}, err
	}
	entries, err := l.entriesOf(ev)
	if err != nil {
		return Receipt{}, err
	}
	// All of them or none: tried on a copy first.
	at = w.at(when) // again: settling may have written
	try := l.run.Clone()
	for i := range entries {
		entries[i].At, entries[i].Device, entries[i].Who = at, c.Device, c.Author
		if entries[i].Kind == runner.Begin {
			entries[i].Supply = l.lastSupply()
		}
		entries[i].Seq = try.Next()
		if err := try.Take(entries[i]); err != nil {
			return Receipt{}, refusedEvent(err)
		}
	}
	var r Receipt
	for i, e := range entries {
		// The command's own key stands on the last: with it all are safe.
		key := c.Key
		if i < len(entries)-1 {
			key = fmt.Sprintf("%s/%d", c.Key, i)
		}
		if r, err = w.put(e, key, i == len(entries)-1); err != nil {
			return Receipt{}, err
		}
	}
	if err := w.follow(ev.Kind); err != nil {
		return Receipt{}, err
	}
	b.feed.tell(Change{Job: jobID, Rev: k.rev, What: "entry", Type: job.ProcedureEventType})
	return r, nil
}

func refusedEvent(err error) error {
	var r *runner.Refusal
	if errors.As(err, &r) {
		return &RefusedEvent{Reasons: r.Reasons}
	}
	return err
}

// entriesOf puts an event of a screen into entries of the runner.
func (l *liveRun) entriesOf(ev RunEvent) ([]runner.Entry, error) {
	m := l.run.Machine()
	e := runner.Entry{Kind: ev.Kind, Step: ev.Step, How: ev.How, Outcome: ev.Outcome, What: ev.What, Watch: ev.Watch, To: ev.To, Text: ev.Text, Seen: ev.Seen}
	if ev.Typed != "" {
		v, err := l.typed(ev)
		if err != nil {
			return nil, err
		}
		e.Value = &v
	}
	for id, typed := range ev.Figures {
		f, ok := m.FigureByID(id)
		if !ok {
			return nil, &RefusedEvent{[]string{fmt.Sprintf("There is no figure %q to write down.", id)}}
		}
		v, err := typedIn(typed[0], f.Unit)
		if err != nil {
			return nil, err
		}
		limit, err := typedIn(typed[1], f.Unit)
		if err != nil {
			return nil, err
		}
		if e.Figures == nil {
			e.Figures = map[string]procedure.Given{}
		}
		e.Figures[id] = procedure.Given{Value: v, Limit: limit}
	}
	begin := runner.Entry{Kind: runner.Begin, Step: ev.Step, Seen: ev.Seen}
	switch ev.Kind {
	case runner.Begin:
		i, ok := m.StepIndex(ev.Step)
		if ok && hasDanger(m.Steps[i].Hazards) && ev.Danger != "DANGER" {
			return nil, &RefusedEvent{[]string{"This step can kill. Read the panel, then type DANGER to begin it."}}
		}
	case Look:
		e.Kind, e.Seen, e.Outcome = runner.Confirm, 0, ""
		out := []runner.Entry{begin, e}
		if ev.Outcome != "" {
			out = append(out, runner.Entry{Kind: runner.Choose, Step: ev.Step, Outcome: ev.Outcome})
		}
		return out, nil
	case LookFails:
		return []runner.Entry{begin, {Kind: runner.Fails, Step: ev.Step, What: "not_as_expected"}}, nil
	case runner.Fails:
		if e.What == "" {
			e.What = "not_as_expected"
		}
	case Interrupted:
		e.Kind = runner.Happens
		if e.What == "" {
			e.What = "operator_leaves"
		}
	case runner.WatchNow, runner.Summary, runner.Opened:
		return nil, &RefusedEvent{[]string{"Only a meter's feed says this."}}
	}
	return []runner.Entry{e}, nil
}

func hasDanger(hs []procedure.Hazard) bool {
	for _, h := range hs {
		if h.Word == "DANGER" {
			return true
		}
	}
	return false
}

// typed reads the value a person typed, in the unit of what was asked for.
func (l *liveRun) typed(ev RunEvent) (float64, error) {
	m := l.run.Machine()
	want := ""
	if i, ok := m.StepIndex(ev.Step); ok {
		for _, mean := range m.Steps[i].Confirm.By {
			for _, r := range m.File.Readings {
				if mean.How == ev.How && r.ID == mean.Reading {
					want = r.Unit
				}
			}
		}
	}
	for i := range m.Watches {
		if lim, err := m.Watches[i].Limits(); err == nil && m.Watches[i].ID == ev.Watch {
			want = lim.Unit.Symbol
		}
	}
	if ev.Kind == runner.MakerRest {
		want = "s"
	}
	if want == "" {
		return 0, &RefusedEvent{[]string{"No value is asked for here."}}
	}
	return typedIn(ev.Typed, want)
}

// typedIn reads a typed number in a unit; a decimal comma is taken.
func typedIn(typed, symbol string) (float64, error) {
	u, err := unit.Parse(symbol)
	if err != nil {
		return 0, err
	}
	q, err := unit.ParseQuantity(strings.Replace(strings.TrimSpace(typed), ",", ".", 1))
	switch {
	case err != nil:
		return 0, &RefusedEvent{[]string{fmt.Sprintf("%q is no number. Type the value as it was read, for example 13.4.", typed)}}
	case q.Unit.Symbol == "1" && u.Dim != unit.None:
		return u.SI(q.Typed), nil
	case q.Unit.Dim != u.Dim:
		return 0, &RefusedEvent{[]string{fmt.Sprintf("%q is a %s; it is asked for in %s.", typed, q.Unit.Dim, u.Symbol)}}
	}
	return q.SI, nil
}

// runWriter writes the lines of one command.
type runWriter struct {
	b    *Bench
	ctx  context.Context
	k    *openCase
	l    *liveRun
	run  string
	c    Command
	late bool
}

// at puts a device's moment on the server's clock. An event that came at once is now.
// One that was kept is as long before now as the device's own clocks say, never
// before what a person did last, and never in the future.
func (w *runWriter) at(t When) runner.Stamp {
	now := w.b.stamp()
	back := int64(0)
	if t.Boot != "" && t.Boot == t.SentBoot && t.SentMono > t.Mono {
		back = t.SentMono - t.Mono
	} else if !t.Wall.IsZero() && t.SentWall.After(t.Wall) {
		back = int64(t.SentWall.Sub(t.Wall))
	}
	for n := len(w.l.entries) - 1; n >= 0; n-- {
		if last := w.l.entries[n]; last.Device != serverDevice {
			if last.At.Boot == now.Boot {
				back = min(back, now.Mono-last.At.Mono)
			}
			break
		}
	}
	back = min(max(back, 0), now.Mono)
	now.Mono -= back
	now.Wall -= back
	return now
}

func (l *liveRun) lastStamp() runner.Stamp {
	if len(l.entries) == 0 {
		return runner.Stamp{}
	}
	return l.entries[len(l.entries)-1].At
}

// settle puts down what time and the meter have brought, before anything else: feeds
// that were lost with the program, levels that changed.
func (w *runWriter) settle() error {
	now := w.b.stamp()
	if last := w.l.lastStamp(); len(w.l.entries) > 0 && last.Boot != now.Boot && !w.l.run.Ended() {
		if err := w.own(runner.Entry{Kind: runner.Opened}); err != nil {
			return err
		}
	}
	return w.judge(now)
}

// overdue puts down movements that took longer than they may at the moment of an event
// of the device that began them. Nothing but an event of that device can say so: while
// it cannot reach this machine it may have seen the end in time and kept that.
func (w *runWriter) overdue(at runner.Stamp) error {
	for _, step := range w.l.run.Overdue(at) {
		if w.l.begunBy(step) != w.c.Device {
			continue
		}
		if err := w.own(runner.Entry{Kind: runner.Fails, Step: step, What: "overdue"}); err != nil {
			return err
		}
	}
	return nil
}

func (l *liveRun) begunBy(step string) string {
	for n := len(l.entries) - 1; n >= 0; n-- {
		if l.entries[n].Kind == runner.Begin && l.entries[n].Step == step {
			return l.entries[n].Device
		}
	}
	return ""
}

// own writes an entry the workbench itself makes.
func (w *runWriter) own(e runner.Entry) error {
	e.At, e.Device, e.Who = w.b.stamp(), serverDevice, serverDevice
	c := w.c
	w.c = Command{Key: fmt.Sprintf("%s/%s/%d", w.run, e.Kind, w.l.run.Next()), Device: serverDevice, Author: serverDevice, Wall: w.b.o.Clock(), MonotonicNS: e.At.Mono, Boot: e.At.Boot}
	_, err := w.put(e, w.c.Key, false)
	w.c = c
	return err
}

// put stores one entry and then takes it: in this order.
func (w *runWriter) put(e runner.Entry, key string, last bool) (Receipt, error) {
	e.Seq = w.l.run.Next()
	next := w.l.run.Clone()
	if err := next.Take(e); err != nil {
		return Receipt{}, refusedEvent(err)
	}
	line, hash, err := runner.Line(w.l.last, e)
	if err != nil {
		return Receipt{}, err
	}
	payload, err := json.Marshal(job.ProcedureEvent{Run: w.run, Step: e.Step, Line: strings.TrimSuffix(string(line), "\n")})
	if err != nil {
		return Receipt{}, err
	}
	c := w.c
	c.Key, c.Type, c.Payload = key, job.ProcedureEventType, payload
	if !last {
		c.N = 0
	}
	if c.Wall.IsZero() {
		c.Wall = w.b.o.Clock()
	}
	r, err := w.k.append(w.ctx, c, w.late)
	if err != nil {
		return Receipt{}, err
	}
	w.l.run, w.l.last, w.l.lines = next, hash, w.l.lines+1
	w.l.entries = append(w.l.entries, e)
	return r, nil
}

// beside writes an entry of the job that follows from one of the run.
func (w *runWriter) beside(kind string, payload any) error {
	body, err := json.Marshal(payload)
	if err != nil {
		return err
	}
	c := w.c
	c.Key, c.Type, c.Payload, c.N = fmt.Sprintf("%s/%s/%d", w.c.Key, kind, w.l.lines), kind, body, 0
	if c.Wall.IsZero() {
		c.Wall = w.b.o.Clock()
	}
	_, err = w.k.append(w.ctx, c, false)
	return err
}

// follow writes what an event means for the job: the mark on the board, the hand-over
// card, the end of the run.
func (w *runWriter) follow(kind string) error {
	now := w.b.stamp()
	s := screenOf(w.l.run, now)
	var danger string
	for _, d := range s.Dangers {
		// A movement is over in seconds and is told on the screen itself, unless the
		// person goes away in it.
		if s.Motor == "quiet" || kind == Interrupted || kind == runner.HandOver || len(s.Dangers) > 1 && d != s.Dangers[0] {
			danger = d
			break
		}
	}
	switch {
	case danger != "" && danger != w.l.wrote:
		if err := w.beside(job.DangerousType, job.Dangerous{Text: danger, Run: w.run}); err != nil {
			return err
		}
		w.l.wrote = danger
	case danger == "" && w.l.wrote != "" && s.Motor == "quiet":
		if err := w.beside(job.MadeSafeType, job.MadeSafe{Text: s.Title + ": " + s.ModeText + "."}); err != nil {
			return err
		}
		w.l.wrote = ""
	}
	switch kind {
	case Interrupted:
		c := CardOf(&s)
		return w.beside(job.InterruptedType, job.Interrupted{State: c.Where, Card: c.String(), Run: w.run})
	case runner.GoOn, runner.TakeUp:
		if w.k.state.Interrupted != nil {
			return w.beside(job.ResumedType, job.Resumed{})
		}
	case runner.HandOver:
		c := CardOf(&s)
		return w.beside(job.HandOverType, job.HandOver{Card: c.String()})
	case runner.Finished:
		return w.beside(job.ProcedureEndedType, job.ProcedureEnded{Run: w.run, End: "finished"})
	}
	return nil
}

// judge tells the run when the level of a watch has changed, and keeps a summary of
// each watched step.
func (w *runWriter) judge(now runner.Stamp) error {
	m := w.l.run.Machine()
	for i, f := range w.l.feeds {
		l := f.monitor.Level(now.Mono)
		if l == f.level || !f.seen {
			continue
		}
		e := runner.Entry{Kind: runner.WatchNow, Watch: m.Watches[i].ID, Level: l.String()}
		if s, ok := f.monitor.Last(); ok && l != watch.NotWatched {
			v := s.Value
			e.Value = &v
		}
		if err := w.own(e); err != nil {
			return err
		}
		f.level = l
	}
	under := w.l.run.Watched()
	for step, ws := range under {
		if !w.l.watching[step] {
			w.l.watching[step] = true
			for _, i := range ws {
				w.l.feeds[i].monitor.Begin(now.Mono)
			}
		}
	}
	for step := range w.l.watching {
		if _, still := under[step]; still {
			continue
		}
		delete(w.l.watching, step)
		i, _ := m.StepIndex(step)
		for _, k := range m.Steps[i].WatchedBy() {
			if !w.l.feeds[k].seen {
				continue
			}
			data, err := json.Marshal(w.l.feeds[k].monitor.End(now.Mono))
			if err != nil {
				return err
			}
			if err := w.own(runner.Entry{Kind: runner.Summary, Step: step, Watch: m.Watches[k].ID, Data: data}); err != nil {
				return err
			}
		}
	}
	return nil
}
