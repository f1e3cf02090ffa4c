package shop

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"proveout/procedure"
	"proveout/procedure/runner"
	"proveout/store/sqlite"
)

// hand drives a run through the workbench the way a person at a screen does: it
// reads the screen and takes what the screen offers.
type hand struct {
	t        *testing.T
	b        *Bench
	clock    *time.Time
	job, run string
	n        int
	noMeter  bool // nothing is watched in this procedure
}

// runBench is a workbench whose clock stands still until the test moves it.
func runBench(t *testing.T, dir string, clock *time.Time, life string) *Bench {
	t.Helper()
	s, err := sqlite.Open(dir, sqlite.Options{Create: true, Reserve: 4096})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	b, err := NewBench(s, BenchOptions{Shop: "shop1", Program: "test", HoldFor: 200 * time.Millisecond, Clock: func() time.Time { return *clock }, NewID: func() string { n++; return fmt.Sprintf("%s%d", life, n) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close(); s.Close() })
	return b
}

func startBrakes(t *testing.T) *hand {
	clock := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	h := &hand{t: t, b: runBench(t, t.TempDir(), &clock, "a"), clock: &clock}
	h.job = openTorvane(t, h.b)
	c := Command{Key: "start", Device: "tablet1", Author: "ruben"}
	run, _, err := h.b.StartProcedure(t.Context(), h.job, "epb_caliper_pads", c)
	if err != nil {
		t.Fatal(err)
	}
	again, r, err := h.b.StartProcedure(t.Context(), h.job, "epb_caliper_pads", c)
	if err != nil || again != run || !r.Again {
		t.Fatalf("the second tap on start made run %s (%+v, %v), the first %s", again, r, err, run)
	}
	h.run = run
	return h
}

func (h *hand) screen() *Screen {
	h.t.Helper()
	s, err := h.b.Procedure(h.t.Context(), h.job, h.run, "tablet1")
	if err != nil {
		h.t.Fatal(err)
	}
	return s
}

func (h *hand) try(ev RunEvent) (Receipt, error) {
	h.n++
	return h.b.ProcedureEvent(h.t.Context(), h.job, h.run, ev, When{}, Command{Key: fmt.Sprint("ev", h.n), Device: "tablet1", Author: "ruben"})
}

func (h *hand) do(ev RunEvent) {
	h.t.Helper()
	if _, err := h.try(ev); err != nil {
		h.t.Fatalf("%s %s: %v", ev.Kind, ev.Step, err)
	}
}

// pass lets time pass, the meter sending a value five times a second.
func (h *hand) pass(seconds, volts float64) {
	h.t.Helper()
	for range int(seconds * 5) {
		*h.clock = h.clock.Add(200 * time.Millisecond)
		if volts > 0 && !h.noMeter {
			if err := h.b.Supply(h.t.Context(), h.job, h.run, "supply", []float64{volts}); err != nil {
				h.t.Fatal(err)
			}
		}
	}
}

// step does one thing that the screen offers; false when nothing is left.
func (h *hand) step(s *Screen) bool {
	h.t.Helper()
	if s.Timer != nil {
		h.pass(s.Timer.Left+0.3, 13.4)
		return true
	}
	for _, k := range s.Now {
		st := &s.Steps[k]
		switch {
		case st.Active && st.Phase == procedure.Doing.Text() && st.Rest > 0:
			h.pass(2, 13.0)
			h.do(RunEvent{Kind: runner.End, Step: st.ID, Seen: st.Attempt})
			return true
		case st.Active && st.Missing > 0:
			for _, m := range st.Means {
				if !m.Given {
					h.do(confirmed(st, m, runner.Confirm))
					return true
				}
			}
		case st.Active && len(st.Outcomes) > 0:
			h.do(RunEvent{Kind: runner.Choose, Step: st.ID, Outcome: st.Outcomes[0].ID, Seen: st.Attempt})
			return true
		case st.Begins && (st.Kind == "question" || st.Kind == "precondition"):
			ev := confirmed(st, st.Means[0], Look)
			if len(st.Outcomes) > 0 {
				ev.Outcome = st.Outcomes[0].ID
			}
			h.do(ev)
			return true
		case st.Begins:
			ev := RunEvent{Kind: runner.Begin, Step: st.ID}
			if st.Danger {
				ev.Danger = "DANGER"
			}
			h.pass(1, 13.4)
			h.do(ev)
			return true
		}
	}
	return false
}

// confirmed gives a value in the middle of what is asked for.
func confirmed(st *RunStep, m RunMean, kind string) RunEvent {
	ev := RunEvent{Kind: kind, Step: st.ID, How: m.How}
	if kind == runner.Confirm {
		ev.Seen = st.Attempt
	}
	if m.Ask != "" {
		ev.Typed = strings.Fields(m.Least + " " + m.Most + " 1")[0]
		if m.Least != "" && m.Most != "" {
			ev.Typed = strings.Fields(m.Most)[0]
		}
	}
	for _, f := range m.Figures {
		if ev.Figures == nil {
			ev.Figures = map[string][2]string{}
		}
		ev.Figures[f.ID] = [2]string{"10", "10"}
	}
	return ev
}

// upTo works until the step may begin.
func (h *hand) upTo(step string) {
	h.t.Helper()
	for range 2000 {
		s := h.screen()
		for _, k := range s.Now {
			if s.Steps[k].ID == step && s.Steps[k].Begins {
				return
			}
		}
		if !h.step(s) {
			h.t.Fatalf("stuck before %s: mode %s, not yet %+v, why %v", step, s.Mode, s.NotYet, s.WhyNot)
		}
	}
	h.t.Fatalf("%s is not reached", step)
}

// TestBrakeServiceWithAVoltageStop: the supply falls below the stop line while an
// actuator extends; the run is held, the mark stands on the board, and after a look it
// goes on to the end and the mark comes off.
func TestBrakeServiceWithAVoltageStop(t *testing.T) {
	h := startBrakes(t)
	h.upTo("extend.left")
	h.pass(1, 13.4)
	h.do(RunEvent{Kind: runner.Begin, Step: "extend.left"})
	h.pass(1, 11.2)
	s := h.screen()
	if s.Mode != "held" && s.Mode != "held_keep_power" {
		t.Fatalf("the supply is below the stop line and the mode is %s", s.Mode)
	}
	if s.Supply[0].Word != "stop" || s.Supply[0].Feed.Lowest != 11.2 {
		t.Errorf("the supply shows %+v", s.Supply[0])
	}
	if _, err := h.try(RunEvent{Kind: runner.Begin, Step: "extend.right"}); !errors.Is(err, ErrRefused) {
		t.Errorf("a command below the line: %v", err)
	}
	v, err := h.b.Job(t.Context(), h.job)
	if err != nil || v.Dangerous == nil {
		t.Fatalf("nothing on the board says that the vehicle must not be left: %v", err)
	}
	h.pass(2, 13.4)
	h.do(RunEvent{Kind: runner.AtRest})
	h.pass(31, 13.4)
	for range 50 { // what must be made safe first
		s = h.screen()
		if len(s.WhyNot) == 0 || !h.step(s) {
			break
		}
	}
	h.do(RunEvent{Kind: runner.GoOn})
	for range 3000 {
		if s = h.screen(); !h.step(s) {
			break
		}
	}
	h.do(RunEvent{Kind: runner.Finished})
	s = h.screen()
	if s.Mode != "finished" || s.Done != s.Of {
		t.Fatalf("ended as %s with %d of %d done", s.Mode, s.Done, s.Of)
	}
	if v, err = h.b.Job(t.Context(), h.job); err != nil || v.Dangerous != nil || v.Runs[0].End != "finished" {
		t.Errorf("after the end: dangerous %+v, runs %+v, %v", v.Dangerous, v.Runs, err)
	}
	state, err := h.b.State(t.Context(), h.job)
	if err != nil {
		t.Fatal(err)
	}
	run, _ := state.Run(h.run)
	whole := ""
	for _, l := range run.Lines {
		whole += l.Line
	}
	for _, want := range []string{`"level":"stop"`, `"kind":"at_rest"`, `"kind":"resume"`, `"kind":"summary"`} {
		if !strings.Contains(whole, want) {
			t.Errorf("the record has no %s", want)
		}
	}
}

// TestASecondDeviceConfirmsTheSameStep: it is told what changed, and nothing is
// written.
func TestASecondDeviceConfirmsTheSameStep(t *testing.T) {
	h := startBrakes(t)
	h.upTo("tag_on")
	h.do(RunEvent{Kind: runner.Begin, Step: "tag_on"})
	ev := RunEvent{Kind: runner.Confirm, Step: "tag_on", How: "photo", Seen: 1}
	h.do(ev)
	before := h.screen().Seq
	_, err := h.b.ProcedureEvent(t.Context(), h.job, h.run, ev, When{}, Command{Key: "other", Device: "phone2", Author: "ida"})
	var no *RefusedEvent
	if !errors.As(err, &no) || len(no.Reasons) == 0 {
		t.Fatalf("the second confirmation: %v", err)
	}
	if after := h.screen().Seq; after != before {
		t.Errorf("a refused event was written: %d, then %d", before, after)
	}
	// The same tap once more (a lost answer) is the same event.
	h.n--
	r, err := h.try(ev)
	if err != nil || !r.Again {
		t.Errorf("the first device's tap sent again: %+v, %v", r, err)
	}
}

// TestARunOutlivesTheProgram: the program ends at any moment and the run stands where
// it stood; a meter that was heard before is not taken for heard now, and a wait that
// was running has not become shorter.
func TestARunOutlivesTheProgram(t *testing.T) {
	clock := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	dir := t.TempDir()
	s, err := sqlite.Open(dir, sqlite.Options{Create: true, Reserve: 4096})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	o := BenchOptions{Shop: "shop1", Program: "test", Clock: func() time.Time { return clock }, NewID: func() string { n++; return fmt.Sprint("x", n) }}
	b, err := NewBench(s, o)
	if err != nil {
		t.Fatal(err)
	}
	h := &hand{t: t, b: b, clock: &clock, job: openTorvane(t, b)}
	if h.run, _, err = b.StartProcedure(t.Context(), h.job, "epb_caliper_pads", Command{Key: "start", Device: "tablet1", Author: "ruben"}); err != nil {
		t.Fatal(err)
	}
	h.upTo("baseline_apply")
	h.pass(1, 13.4)
	h.do(RunEvent{Kind: runner.Begin, Step: "baseline_apply"})
	h.pass(2, 13.1)
	h.do(RunEvent{Kind: runner.End, Step: "baseline_apply", Seen: 1})
	h.pass(10, 13.4)
	left := h.screen().Timer.Left
	if left > 20.1 || left < 19 {
		t.Fatalf("10 s after the end of movement %g s of 30 are left", left)
	}
	b.Close()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = sqlite.Open(dir, sqlite.Options{Reserve: 4096}); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if h.b, err = NewBench(s, o); err != nil {
		t.Fatal(err)
	}
	defer h.b.Close()
	sc := h.screen()
	if sc.Timer == nil || sc.Timer.Left < left {
		t.Fatalf("after the restart the rest is %+v, before it %g s were left", sc.Timer, left)
	}
	if sc.Supply[0].Word != "unwatched" {
		t.Errorf("no meter is heard and the supply says %s", sc.Supply[0].Word)
	}
	h.pass(31, 0)
	if sc = h.screen(); sc.Timer != nil {
		t.Errorf("31 s later the rest is still %+v", sc.Timer)
	}
}

// TestAnEventMadeWithoutTheServerIsPutAtItsMoment: a tap kept for two minutes counts
// from when it was made, and never before what was already known.
func TestAnEventMadeWithoutTheServerIsPutAtItsMoment(t *testing.T) {
	h := startBrakes(t)
	h.upTo("baseline_apply")
	h.pass(1, 13.4)
	h.do(RunEvent{Kind: runner.Begin, Step: "baseline_apply"})
	h.pass(2, 13.1)
	*h.clock = h.clock.Add(20 * time.Second)
	sec := int64(time.Second)
	kept := When{Boot: "page1", SentBoot: "page1", Mono: 100 * sec, SentMono: 118 * sec}
	c := Command{Key: "kept", Device: "tablet1", Author: "ruben"}
	if _, err := h.b.ProcedureEvent(t.Context(), h.job, h.run, RunEvent{Kind: runner.End, Step: "baseline_apply", Seen: 1}, kept, c); err != nil {
		t.Fatal(err)
	}
	if left := h.screen().Timer.Left; left < 11.9 || left > 12.3 {
		t.Errorf("the movement ended 18 s ago and %g s of 30 are left", left)
	}
	// A device that claims an hour ago is held to the last known entry.
	far := When{Boot: "page1", SentBoot: "page1", Mono: 0, SentMono: 3600 * sec}
	c.Key = "far"
	if _, err := h.b.ProcedureEvent(t.Context(), h.job, h.run, RunEvent{Kind: runner.Note, Text: "x"}, far, c); err != nil {
		t.Fatal(err)
	}
	if left := h.screen().Timer.Left; left < 11.9 {
		t.Errorf("a note from an hour ago moved the rest to %g s", left)
	}
}

func TestInterruptedMakesTheCard(t *testing.T) {
	h := startBrakes(t)
	h.upTo("unbolt.left")
	h.do(RunEvent{Kind: runner.Begin, Step: "unbolt.left"})
	h.do(RunEvent{Kind: Interrupted})
	v, err := h.b.Job(t.Context(), h.job)
	if err != nil || v.Interrupted == nil || v.Dangerous == nil {
		t.Fatalf("interrupted %+v, dangerous %+v, %v", v.Interrupted, v.Dangerous, err)
	}
	if card := v.Interrupted.What.Card; !strings.Contains(card, "Dangerous to leave") || !strings.Contains(card, "Starts again at") {
		t.Errorf("the card says %q", card)
	}
	if v.Interrupted.What.Run != h.run {
		t.Errorf("the card names run %q", v.Interrupted.What.Run)
	}
}

func TestRunRefusesInPlainWords(t *testing.T) {
	h := startBrakes(t)
	for _, tt := range []struct {
		name, say string
		ev        RunEvent
	}{
		{"unknown step", "no step", RunEvent{Kind: runner.Begin, Step: "fly"}},
		{"too early", "", RunEvent{Kind: runner.Begin, Step: "unbolt.left"}},
		{"unknown kind", "not known", RunEvent{Kind: "jump", Step: "tag_on"}},
		{"a feed's word from a screen", "meter's feed", RunEvent{Kind: runner.WatchNow, Watch: "supply"}},
		{"no number", "no number", RunEvent{Kind: runner.Typed, Watch: "supply", Typed: "many"}},
		{"wrong unit", "asked for in V", RunEvent{Kind: runner.Typed, Watch: "supply", Typed: "13 A"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := h.try(tt.ev)
			if !errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), tt.say) {
				t.Errorf("got %v, want a refusal with %q", err, tt.say)
			}
		})
	}
	if got := h.screen().Seq; got != 0 {
		t.Errorf("refused events were written: %d", got)
	}
}

func TestBoxedStretchOfTheBrakeService(t *testing.T) {
	h := startBrakes(t)
	s := h.screen()
	if len(s.Boxes) == 0 {
		t.Fatal("no stretch is boxed, though the vehicle is without brakes in the middle")
	}
	number := map[string]int{}
	for i := range s.Steps {
		number[s.Steps[i].ID] = s.Steps[i].Number
	}
	inside := func(n int) bool {
		for _, b := range s.Boxes {
			if n >= b.From && n <= b.To {
				return true
			}
		}
		return false
	}
	for step, want := range map[string]bool{"save_codes": false, "unbolt.left": true, "push_piston.right": true, "bolt_up.left": true} {
		if got := inside(number[step]); got != want {
			t.Errorf("step %s (%d) is boxed: %v, want %v; boxes %+v", step, number[step], got, want, s.Boxes)
		}
	}
}

// Those who look on hear of a meter's samples, at most once a second.
func TestSupplyIsToldOnceASecond(t *testing.T) {
	h := startBrakes(t)
	changes, stop := h.b.Changes(h.job)
	defer stop()
	heard := func() int {
		n := 0
		for {
			select {
			case c := <-changes:
				if c.What == "supply" {
					n++
				}
			case <-time.After(50 * time.Millisecond):
				return n
			}
		}
	}
	h.pass(0.2, 13.4)
	if n := heard(); n != 1 {
		t.Fatalf("the first sample was told %d times", n)
	}
	h.pass(0.8, 13.4)
	if n := heard(); n != 0 {
		t.Errorf("four more within the second were told %d times", n)
	}
	h.pass(0.2, 13.4)
	if n := heard(); n != 1 {
		t.Errorf("a second later it was told %d times", n)
	}
}
