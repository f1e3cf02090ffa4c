package runner_test

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/procedure/runner"
)

const sec = int64(1e9)

func header(id string) runner.Header {
	return runner.Header{Format: runner.RecordFormat, Procedure: id, Version: 1, SHA256: "test"}
}

// memory is a store that keeps its lines.
type memory struct{ bytes.Buffer }

func (m *memory) Append(line []byte) error { _, err := m.Write(line); return err }

// bench drives a run by hand, with a clock of its own.
type bench struct {
	t   *testing.T
	m   *procedure.Machine
	r   *runner.Run
	now runner.Stamp
	log []runner.Entry
}

func begin(t *testing.T, id string) *bench {
	t.Helper()
	m, _, err := procedure.LoadShipped(id)
	if err != nil {
		t.Fatal(err)
	}
	return &bench{t: t, m: m, r: runner.New(m), now: runner.Stamp{Wall: 1e18, Mono: 1e12, Boot: "a"}}
}

func (b *bench) pass(s float64) {
	b.now.Wall += int64(s * 1e9)
	b.now.Mono += int64(s * 1e9)
}

func (b *bench) try(e runner.Entry) error {
	e.Seq, e.At, e.Device, e.Who = b.r.Next(), b.now, "d1", "Ruben"
	err := b.r.Take(e)
	if err == nil {
		b.log = append(b.log, e)
	}
	return err
}

func (b *bench) put(e runner.Entry) {
	b.t.Helper()
	if err := b.try(e); err != nil {
		b.t.Fatalf("%s %s: %v", e.Kind, e.Step, err)
	}
}

// upTo does every step in order until the step may begin.
func (b *bench) upTo(step string) {
	b.t.Helper()
	for n := 0; n < 2000; n++ {
		active, open, _ := b.r.Choices(b.now)
		for _, i := range open {
			if b.m.Steps[i].ID == step {
				return
			}
		}
		switch {
		case len(active) > 0:
			b.finish(active[0])
		case len(open) > 0:
			b.put(runner.Entry{Kind: runner.Begin, Step: b.m.Steps[open[0]].ID, Supply: b.supply()})
		default:
			b.pass(1)
			b.put(runner.Entry{Kind: runner.Note})
		}
	}
	b.t.Fatalf("never came to %s", step)
}

func (b *bench) supply() map[string]float64 { return map[string]float64{"supply": 13.4} }

func (b *bench) feed() {
	v := 13.4
	b.put(runner.Entry{Kind: runner.WatchNow, Watch: "supply", Level: "holding", Value: &v})
}

// finish ends and confirms a step under way, waiting as long as it must.
func (b *bench) finish(i int) {
	b.t.Helper()
	st := &b.m.Steps[i]
	if b.m.PhaseOf(b.r.State(), i) == procedure.Doing && st.RestSeconds > 0 {
		b.pass(3)
		b.put(runner.Entry{Kind: runner.End, Step: st.ID})
		b.pass(st.RestSeconds)
	}
	for k, mean := range st.Confirm.By {
		if b.m.GivenOf(b.r.State(), i)>>k&1 == 1 || !b.m.ModeStep(b.r.State(), i) {
			continue
		}
		e := runner.Entry{Kind: runner.Confirm, Step: st.ID, How: mean.How}
		if mean.Reading != "" {
			lo, hi := procedure.LimitsOf(mean)
			v := 1.0
			if lo != nil {
				v = *lo
			} else if hi != nil {
				v = *hi
			}
			e.Value = &v
		}
		for _, id := range mean.Figures {
			if e.Figures == nil {
				e.Figures = map[string]procedure.Given{}
			}
			e.Figures[id] = procedure.Given{Value: 1, Limit: 1}
		}
		b.put(e)
	}
	if len(st.Outcomes) > 0 {
		b.put(runner.Entry{Kind: runner.Choose, Step: st.ID, Outcome: st.Outcomes[0].ID})
	}
}

func (b *bench) refused(e runner.Entry, want string) {
	b.t.Helper()
	before := b.r.State()
	err := b.try(e)
	var r *runner.Refusal
	if !errors.As(err, &r) {
		b.t.Fatalf("%s %s was not refused (%v), want %q", e.Kind, e.Step, err, want)
	}
	if !strings.Contains(r.Error(), want) {
		b.t.Errorf("%s %s refused with %q, want %q in it", e.Kind, e.Step, r.Error(), want)
	}
	if b.r.State() != before {
		b.t.Errorf("%s %s: a refusal changed the state", e.Kind, e.Step)
	}
}

func brake(t *testing.T) *bench {
	b := begin(t, "epb_caliper_pads")
	b.feed()
	b.upTo("baseline_apply")
	return b
}

func (b *bench) move(step string) {
	b.t.Helper()
	b.put(runner.Entry{Kind: runner.Begin, Step: step, Supply: b.supply()})
	b.pass(2)
	b.put(runner.Entry{Kind: runner.End, Step: step})
}

// TestRestCountsFromTheEnd: 30 s, and no clock trick makes it shorter.
func TestRestCountsFromTheEnd(t *testing.T) {
	next := runner.Entry{Kind: runner.Begin, Step: "baseline_release", Supply: map[string]float64{"supply": 13.4}}
	both := func(b *bench) {
		b.put(runner.Entry{Kind: runner.Confirm, Step: "baseline_apply", How: "heard"})
		b.put(runner.Entry{Kind: runner.Confirm, Step: "baseline_apply", How: "reported"})
	}
	t.Run("29.9 s is too early, 30 s is not", func(t *testing.T) {
		b := brake(t)
		b.move("baseline_apply")
		both(b)
		b.pass(29.9)
		b.refused(next, "rest")
		b.pass(0.1)
		b.put(next)
	})
	t.Run("wall clock set forward an hour", func(t *testing.T) {
		b := brake(t)
		b.move("baseline_apply")
		both(b)
		b.now.Wall += 3600 * sec
		b.pass(1)
		b.refused(next, "rest")
		b.pass(29)
		b.put(next)
	})
	t.Run("wall clock set back an hour", func(t *testing.T) {
		b := brake(t)
		b.move("baseline_apply")
		both(b)
		b.now.Wall -= 3600 * sec
		b.pass(30)
		b.put(next)
	})
	t.Run("device asleep: monotonic clock stands", func(t *testing.T) {
		b := brake(t)
		b.move("baseline_apply")
		both(b)
		b.now.Wall += 600 * sec
		b.refused(next, "rest")
	})
	t.Run("device started again: what surely passed is the time since boot", func(t *testing.T) {
		b := brake(t)
		b.move("baseline_apply")
		both(b)
		b.now = runner.Stamp{Wall: b.now.Wall + 300*sec, Mono: 20 * sec, Boot: "b"}
		b.refused(next, "rest")
		b.now.Mono = 30 * sec
		b.put(next)
	})
	t.Run("broken early: the wait begins again", func(t *testing.T) {
		b := brake(t)
		b.move("baseline_apply")
		b.pass(20)
		b.put(runner.Entry{Kind: runner.Broken, Step: "baseline_apply"})
		both(b)
		b.pass(29)
		b.refused(next, "rest")
		b.pass(1)
		b.put(next)
	})
	t.Run("put back while it rests: the next command still waits", func(t *testing.T) {
		b := brake(t)
		b.move("baseline_apply")
		b.put(runner.Entry{Kind: runner.Fails, Step: "baseline_apply", What: "not_as_expected"})
		b.put(runner.Entry{Kind: runner.GoOn})
		again := next
		again.Step = "baseline_apply"
		b.pass(29)
		b.refused(again, "rest")
		b.pass(1)
		b.put(again)
	})
}

// TestMovementIsSeenAtRest: after an interruption in a movement nobody goes on
// before it is seen at rest.
func TestMovementIsSeenAtRest(t *testing.T) {
	b := brake(t)
	b.put(runner.Entry{Kind: runner.Begin, Step: "baseline_apply", Supply: b.supply()})
	b.put(runner.Entry{Kind: runner.Happens, What: "power_loss"})
	b.refused(runner.Entry{Kind: runner.GoOn}, "at rest")
	b.put(runner.Entry{Kind: runner.AtRest})
	b.put(runner.Entry{Kind: runner.GoOn})
	b.pass(31)
	b.refused(runner.Entry{Kind: runner.Begin, Step: "baseline_apply", Supply: b.supply()}, "support_on")
}

// TestSecondDeviceOutOfOrder: a confirmation of an attempt that was interrupted
// since is refused.
func TestSecondDeviceOutOfOrder(t *testing.T) {
	b := brake(t)
	b.move("baseline_apply")
	old := runner.Entry{Kind: runner.Confirm, Step: "baseline_apply", How: "heard", Seen: 1}
	b.put(runner.Entry{Kind: runner.Fails, Step: "baseline_apply", What: "not_as_expected"})
	b.put(runner.Entry{Kind: runner.GoOn})
	b.pass(31)
	b.move("baseline_apply")
	b.refused(old, "attempt 1, now it is attempt 2")
	stale := runner.Entry{Seq: b.r.Next() - 1, At: b.now, Kind: runner.Note}
	if err := b.r.Take(stale); err == nil || !strings.Contains(err.Error(), "not the next entry") {
		t.Errorf("an entry with an old number: %v", err)
	}
}

// TestWatch: the supply as a gate, as an interruption, and typed.
func TestWatch(t *testing.T) {
	low, good := 11.0, 13.4
	start := runner.Entry{Kind: runner.Begin, Step: "baseline_apply", Supply: map[string]float64{"supply": 13.4}}
	t.Run("no feed, no start", func(t *testing.T) {
		b := brake(t)
		b.put(runner.Entry{Kind: runner.WatchNow, Watch: "supply", Level: "not watched"})
		b.refused(start, "not watched")
	})
	t.Run("below the start line", func(t *testing.T) {
		b := brake(t)
		e := start
		e.Supply = map[string]float64{"supply": 12.6}
		b.refused(e, "13.0 V")
	})
	t.Run("stop line in a movement interrupts and says so", func(t *testing.T) {
		b := brake(t)
		b.put(start)
		b.put(runner.Entry{Kind: runner.WatchNow, Watch: "supply", Level: "stop", Value: &low})
		v := b.r.At(b.now)
		if v.Mode != "held" || v.Motor != "moving" || len(v.Dangers) == 0 {
			t.Errorf("mode %s, motor %s, dangers %v", v.Mode, v.Motor, v.Dangers)
		}
	})
	t.Run("a lost feed strands nobody", func(t *testing.T) {
		b := brake(t)
		b.put(start)
		b.put(runner.Entry{Kind: runner.WatchNow, Watch: "supply", Level: "not watched"})
		b.pass(2)
		b.put(runner.Entry{Kind: runner.End, Step: "baseline_apply"})
		b.pass(30)
		b.put(runner.Entry{Kind: runner.Confirm, Step: "baseline_apply", How: "heard"})
		b.put(runner.Entry{Kind: runner.Confirm, Step: "baseline_apply", How: "reported"})
		if rec := b.r.Records()[len(b.r.Records())-1]; !rec.Done || len(rec.NotWatched) != 1 {
			t.Errorf("record %+v: want done, and not watched", rec)
		}
		next := start
		next.Step = "baseline_release"
		b.refused(next, "not watched")
	})
	t.Run("a typed reading opens the start, goes stale, and never counts as watched", func(t *testing.T) {
		b := brake(t)
		b.put(runner.Entry{Kind: runner.WatchNow, Watch: "supply", Level: "not watched"})
		b.put(runner.Entry{Kind: runner.Typed, Watch: "supply", Value: &low})
		b.refused(start, "beyond its limits")
		b.put(runner.Entry{Kind: runner.Typed, Watch: "supply", Value: &good})
		b.pass(61)
		b.refused(start, "not watched")
		b.put(runner.Entry{Kind: runner.Typed, Watch: "supply", Value: &good})
		b.put(start)
		b.put(runner.Entry{Kind: runner.MinHold, Watch: "supply", Value: &good})
		rec := b.r.Records()[len(b.r.Records())-1]
		if len(rec.NotWatched) != 1 || rec.MinHold["supply"] != good {
			t.Errorf("record %+v: want not watched, and the meter's lowest", rec)
		}
	})
	t.Run("a typed reading does not stand in for a feed", func(t *testing.T) {
		b := brake(t)
		b.refused(runner.Entry{Kind: runner.Typed, Watch: "supply", Value: &good}, "feed")
	})
	t.Run("where it must be watched a typed reading is not enough", func(t *testing.T) {
		b := begin(t, "module_reprogramming")
		b.refused(runner.Entry{Kind: runner.Typed, Watch: "supply", Value: &good}, "not enough")
	})
}

func TestOverdue(t *testing.T) {
	b := brake(t)
	b.put(runner.Entry{Kind: runner.Begin, Step: "baseline_apply", Supply: b.supply()})
	b.pass(10)
	if o := b.r.Overdue(b.now); len(o) != 0 {
		t.Errorf("after 10 s: %v", o)
	}
	b.now.Wall += 5 * sec // asleep: the longest time that may have passed counts
	if o := b.r.Overdue(b.now); len(o) != 1 {
		t.Errorf("after 15 s by the wall: %v", o)
	}
}

func TestMakerRest(t *testing.T) {
	b := brake(t)
	ten, ninety := 10.0, 90.0
	b.refused(runner.Entry{Kind: runner.MakerRest, Step: "baseline_apply", Value: &ten}, "maker's text")
	three := 3.0
	b.refused(runner.Entry{Kind: runner.MakerRest, Step: "baseline_apply", Value: &three, Text: "maker's book"}, "at least 5 s whatever is cited")
	b.put(runner.Entry{Kind: runner.MakerRest, Step: "baseline_apply", Value: &ninety})
	b.move("baseline_apply")
	b.refused(runner.Entry{Kind: runner.MakerRest, Step: "baseline_apply", Value: &ten, Text: "maker's book"}, "in its wait")
	b.pass(89)
	if left := b.r.At(b.now).MotorLeft; left <= 0 {
		t.Errorf("after 89 of 90 s nothing is left (%g)", left)
	}
}

// TestReplayGivesTheSame, and a record that was touched is not read.
func TestRecord(t *testing.T) {
	b := brake(t)
	b.move("baseline_apply")
	again, err := runner.Replay(b.m, b.log)
	if err != nil || again.State() != b.r.State() {
		t.Fatalf("replay: %v, same state %v", err, again.State() == b.r.State())
	}
	var buf memory
	s, err := runner.Open(b.m, header("epb_caliper_pads"), nil, &buf)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range b.log {
		if err := s.Put(e); err != nil {
			t.Fatal(err)
		}
	}
	data := buf.Bytes()
	changed := bytes.Replace(data, []byte("Ruben"), []byte("Rubin"), 1)
	if _, _, _, _, err := runner.Read(changed); err == nil || !strings.Contains(err.Error(), "does not follow") {
		t.Errorf("a changed record: %v", err)
	}
	lines := bytes.SplitAfter(data, []byte("\n"))
	missing := bytes.Join(append(append([][]byte{}, lines[:5]...), lines[6:]...), nil)
	if _, _, _, _, err := runner.Read(missing); err == nil {
		t.Error("a record with a line missing was read")
	}
	if _, err := runner.Open(b.m, runner.Header{Format: runner.RecordFormat, Procedure: "epb_caliper_pads", SHA256: "other"}, data, &buf); err == nil {
		t.Error("a run went on with another text of the procedure")
	}
}

type failing struct{ n int }

func (f *failing) Append([]byte) error {
	if f.n--; f.n < 0 {
		return errors.New("disk full")
	}
	return nil
}

func TestStoreFails(t *testing.T) {
	m, _, err := procedure.LoadShipped("window_initialisation")
	if err != nil {
		t.Fatal(err)
	}
	s, err := runner.Open(m, header("window_initialisation"), nil, &failing{1})
	if err != nil {
		t.Fatal(err)
	}
	before := s.Run.State()
	e := runner.Entry{Kind: runner.Begin, Step: "runs", At: runner.Stamp{Boot: "a"}}
	if err := s.Put(e); err == nil || s.Run.State() != before {
		t.Fatalf("an entry that was not stored counts (%v)", err)
	}
	if err := s.Put(e); err == nil {
		t.Error("the session went on after the store failed")
	}
}

func FuzzRead(f *testing.F) {
	line, h, _ := runner.Line("", header("x"))
	two, _, _ := runner.Line(h, runner.Entry{Seq: 1, Kind: "note"})
	f.Add(append(line, two...))
	f.Add([]byte("x"))
	f.Fuzz(func(t *testing.T, in []byte) {
		if len(in) > 1<<16 {
			return
		}
		head, entries, _, torn, err := runner.Read(in)
		if err != nil || torn > 0 || len(in) == 0 {
			return
		}
		// What reads is written again to the same number of lines that follow.
		out, hash, err := runner.Line("", head)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			l, next, err := runner.Line(hash, e)
			if err != nil {
				t.Fatal(err)
			}
			out, hash = append(out, l...), next
		}
		if _, again, _, _, err := runner.Read(out); err != nil || len(again) != len(entries) {
			t.Fatalf("written again: %d of %d entries, %v", len(again), len(entries), err)
		}
	})
}
