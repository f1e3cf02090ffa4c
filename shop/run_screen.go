package shop

import (
	"context"
	"fmt"
	"math"
	"strings"
	"sync"

	"proveout/job"
	"proveout/procedure"
	"proveout/procedure/player"
	"proveout/procedure/runner"
	"proveout/procedure/watch"
)

// feedWatch is what a meter sends for one watch. Only the last five minutes are kept
// for the picture: the record keeps levels and summaries.
type feedWatch struct {
	monitor *watch.Monitor
	level   watch.Level
	seen    bool
	recent  []watch.Sample
	told    int64 // when those who look on were last told, monotonic ns
}

// tellEvery is how often those who look on are told of new samples (our choice: a meter
// may send many times a second, nobody reads faster).
const tellEvery = int64(1e9)

// pictureSpan is how far back the picture of the supply goes.
const pictureSpan = int64(300e9)

func (f *feedWatch) add(s watch.Sample) {
	if !f.monitor.Add(s) {
		return
	}
	f.seen = true
	f.recent = append(f.recent, s)
	cut := 0
	for cut < len(f.recent) && f.recent[cut].At < s.At-pictureSpan {
		cut++
	}
	f.recent = f.recent[cut:]
}

// view thins what is recent to 120 pairs of least and greatest, so that no dip that
// was seen is lost from the picture.
func (f *feedWatch) view(now int64) *FeedView {
	if len(f.recent) == 0 {
		return nil
	}
	n := len(f.recent)
	v := &FeedView{AgeSeconds: float64(now-f.recent[n-1].At) * 1e-9, Lowest: math.Inf(1)}
	if span := f.recent[n-1].At - f.recent[0].At; span > 0 {
		v.RateHz = float64(n-1) / (float64(span) * 1e-9)
	}
	each := (n + 119) / 120
	for i := 0; i < n; i += each {
		lo, hi := f.recent[i], f.recent[i]
		for _, s := range f.recent[i:min(n, i+each)] {
			if s.Value < lo.Value {
				lo = s
			}
			if s.Value > hi.Value {
				hi = s
			}
		}
		if hi.At < lo.At {
			lo, hi = hi, lo
		}
		for _, s := range []watch.Sample{lo, hi} {
			v.Pairs = append(v.Pairs, float64(now-s.At)*1e-9, s.Value)
			v.Lowest = min(v.Lowest, s.Value)
		}
	}
	return v
}

func (l *liveRun) lastSupply() map[string]float64 {
	out := map[string]float64{}
	for i, f := range l.feeds {
		if s, ok := f.monitor.Last(); ok {
			out[l.run.Machine().Watches[i].ID] = s.Value
		}
	}
	return out
}

// Procedure shows a run as it is now, on a device.
func (b *Bench) Procedure(ctx context.Context, jobID, runID, device string) (*Screen, error) {
	k, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return nil, err
	}
	defer k.mu.Unlock()
	l, err := b.held(k, runID)
	if err != nil {
		return nil, err
	}
	before := l.lines
	w := runWriter{b: b, ctx: ctx, k: k, l: l, run: runID, c: Command{Device: device}}
	if err := w.settle(); err != nil {
		return nil, err
	}
	now := b.stamp()
	if l.lines != before {
		b.feed.tell(Change{Job: jobID, Rev: k.rev, What: "entry", Type: job.ProcedureEventType})
	}
	s := screenOf(l.run, now)
	s.Run = runID
	for _, step := range s.Overdue {
		s.OverdueHere = s.OverdueHere || l.begunBy(step) == device
	}
	for i := range s.Supply {
		s.Supply[i].Feed = l.feeds[i].view(now.Mono)
		if f := s.Supply[i].Feed; f != nil && s.Supply[i].Word != "unwatched" {
			last, _ := l.feeds[i].monitor.Last()
			s.Supply[i].Value, s.Supply[i].Known = last.Value, true
		}
	}
	s.Boxes, s.Unsafe = b.boxesOf(l, s.Steps)
	for n := len(l.entries) - 1; n >= 0 && len(s.Told) < 40; n-- {
		e := l.entries[n]
		s.Told = append(s.Told, RunLine{Seq: e.Seq, At: e.At.Wall / 1e6, Who: e.Who, Text: tellEntry(l.run.Machine(), e)})
	}
	return &s, nil
}

// ProcedureEntries gives the record of a run, for a page that goes on without the
// server, with the procedure and the hash of its text.
func (b *Bench) ProcedureEntries(ctx context.Context, jobID, runID string) (*procedure.Machine, runner.Header, []runner.Entry, runner.Stamp, error) {
	k, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return nil, runner.Header{}, nil, runner.Stamp{}, err
	}
	defer k.mu.Unlock()
	l, err := b.held(k, runID)
	if err != nil {
		return nil, runner.Header{}, nil, runner.Stamp{}, err
	}
	return l.run.Machine(), l.head, append([]runner.Entry{}, l.entries...), b.stamp(), nil
}

// Supply takes samples a meter sent just now, in SI, in the order they were taken.
func (b *Bench) Supply(ctx context.Context, jobID, runID, watchID string, values []float64) error {
	k, err := b.cases.hold(ctx, jobID, false)
	if err != nil {
		return err
	}
	defer k.mu.Unlock()
	l, err := b.held(k, runID)
	if err != nil {
		return err
	}
	i := -1
	for n := range l.run.Machine().Watches {
		if l.run.Machine().Watches[n].ID == watchID {
			i = n
		}
	}
	if i < 0 {
		return &RefusedEvent{[]string{fmt.Sprintf("This procedure watches no %q.", watchID)}}
	}
	now, f := b.stamp(), l.feeds[i]
	for _, v := range values {
		f.add(watch.Sample{At: now.Mono, Value: v})
	}
	if now.Mono-f.told >= tellEvery {
		f.told = now.Mono
		b.feed.tell(Change{Job: jobID, Rev: k.rev, What: "supply"})
	}
	before := l.lines
	w := runWriter{b: b, ctx: ctx, k: k, l: l, run: runID}
	if err := w.settle(); err != nil {
		return err
	}
	if l.lines != before {
		b.feed.tell(Change{Job: jobID, Rev: k.rev, What: "entry", Type: job.ProcedureEventType})
	}
	return nil
}

// tellEntry puts an entry into a sentence.
func tellEntry(m *procedure.Machine, e runner.Entry) string {
	do := func() string {
		if i, ok := m.StepIndex(e.Step); ok {
			return strings.TrimRight(m.Steps[i].Do, ".")
		}
		return e.Step
	}
	switch e.Kind {
	case runner.Begin:
		return "Begun: " + do() + "."
	case runner.End:
		return "Came to its end: " + do() + "."
	case runner.Confirm:
		text := strings.ReplaceAll(e.How, "_", " ")
		if i, ok := m.StepIndex(e.Step); ok {
			for _, mean := range m.Steps[i].Confirm.By {
				if mean.How == e.How {
					text += ": " + mean.Text
				}
			}
		}
		if e.Value != nil {
			text += fmt.Sprintf(" (%.4g in SI)", *e.Value)
		}
		return "Confirmed, " + text + "."
	case runner.Choose:
		return "Ended with " + strings.ReplaceAll(e.Outcome, "_", " ") + ": " + do() + "."
	case runner.Happens, runner.Fails:
		return "Interruption: " + procedure.KindText[e.What] + "."
	case runner.Broken:
		return "It moved again: " + do() + "."
	case runner.AtRest:
		return "Everything seen at rest."
	case runner.GoOn:
		return "Looked, and went on."
	case runner.StopNow:
		return "Stopped: no further command."
	case runner.HandOver:
		return "Handed over to " + e.To + "."
	case runner.TakeUp:
		return "Taken up again."
	case runner.Finished:
		return "Finished."
	case runner.WatchNow:
		if e.Value != nil {
			return fmt.Sprintf("Supply is %s, %.2f V.", e.Level, *e.Value)
		}
		return "Supply is " + e.Level + "."
	case runner.Typed, runner.MinHold:
		if e.Value != nil {
			return fmt.Sprintf("Typed from a meter: %.2f V.", *e.Value)
		}
	case runner.Opened:
		return "The workbench was started again; no meter is heard yet."
	case runner.Summary:
		return "Kept what the meter saw during: " + do() + "."
	case runner.Note:
		return e.Text
	}
	return strings.ReplaceAll(e.Kind, "_", " ") + "."
}

var rehearsals sync.Map // SHA-256 of a procedure to the ids after which it may not be left

// boxesOf finds the stretches of the step line inside which the vehicle may not be
// left: the procedure is rehearsed once, with everything going right, and asked after
// each step.
func (b *Bench) boxesOf(l *liveRun, steps []RunStep) (out []RunBox, ids []string) {
	v, ok := rehearsals.Load(l.head.SHA256)
	if !ok {
		v = unsafeAfter(l.run.Machine())
		rehearsals.Store(l.head.SHA256, v)
	}
	unsafe := v.(map[string]bool)
	open := false
	for i := range steps {
		n := steps[i].Number
		if unsafe[steps[i].ID] {
			ids = append(ids, steps[i].ID)
		}
		switch {
		case n == 0 || !unsafe[steps[i].ID]:
			open = open && n == 0 // one that does not apply neither opens nor closes
		case open:
			out[len(out)-1].To = n
		default:
			out, open = append(out, RunBox{From: n, To: n}), true
		}
	}
	return out, ids
}

func unsafeAfter(m *procedure.Machine) map[string]bool {
	out := map[string]bool{}
	told, err := player.Rehearse(m, player.Rehearsal{})
	if err != nil {
		return out // nothing is boxed; the dangers themselves are still told
	}
	r := runner.New(m)
	done := map[string]bool{}
	for _, e := range told.Entries {
		if r.Take(e) != nil {
			break
		}
		v := r.At(e.At)
		for _, s := range v.Steps {
			if s.Kind != "recovery" && s.Phase == procedure.Done.Text() && !done[s.ID] {
				done[s.ID] = true
				out[s.ID] = !v.MayLeave || len(v.Dangers) > 0
			}
		}
	}
	return out
}

// Card is what goes with the vehicle when the work is interrupted.
type Card struct {
	Where     string   `json:"where"`
	Mode      string   `json:"mode"`
	KeepPower bool     `json:"keep_power"`
	Dangers   []string `json:"dangers"`
	Again     string   `json:"again"`
	Way       []string `json:"way"`
}

// CardOf writes the card from the screen.
func CardOf(s *Screen) Card {
	c := Card{Mode: s.ModeText, KeepPower: s.Mode == "held_keep_power", Dangers: s.Dangers, Way: s.WayOut}
	c.Where = fmt.Sprintf("%s: %d of %d steps done", s.Title, s.Done, s.Of)
	for _, k := range s.Now {
		if c.Again == "" {
			c.Again = s.Steps[k].Do
		}
	}
	if c.Again == "" {
		for i := range s.Steps {
			if s.Steps[i].Look == "open" && s.Steps[i].Kind != "recovery" && c.Again == "" {
				c.Again = s.Steps[i].Do
			}
		}
	}
	return c
}

// String is the card as one text, for the record.
func (c Card) String() string {
	out := c.Where + ": " + c.Mode + "."
	if c.KeepPower {
		out += " Keep the key on, the supply on and the session open."
	}
	for _, d := range c.Dangers {
		out += " Dangerous to leave: " + d
	}
	if c.Again != "" {
		out += " Starts again at: " + c.Again
	}
	return out
}
