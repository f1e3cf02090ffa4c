package shop

import (
	"errors"
	"testing"

	"proveout/job"
	"proveout/procedure/runner"
)

// A vehicle that must not be left is not closed away, and no second procedure begins
// beside one under way; once it is at rest both may.
func TestNothingBesideAVehicleThatMustNotBeLeft(t *testing.T) {
	h := startBrakes(t)
	start := func(key string) error {
		_, _, err := h.b.StartProcedure(t.Context(), h.job, "battery_replacement", Command{Key: key, Device: "tablet1", Author: "ruben"})
		return err
	}
	close := func(key string) error {
		_, err := h.b.Write(t.Context(), h.job, cmd(key, job.ClosedType, job.Closed{Result: "not_proven", Because: "going home"}))
		return err
	}
	h.upTo("baseline_apply")
	h.pass(1, 13.4)
	h.do(RunEvent{Kind: runner.Begin, Step: "baseline_apply"})
	for name, err := range map[string]error{"a second procedure": start("moving"), "closing": close("moving-close")} {
		if !errors.Is(err, ErrBadCommand) {
			t.Errorf("%s in the middle of a movement: %v", name, err)
		}
	}
	h.upTo("unbolt.left")
	h.do(RunEvent{Kind: runner.Begin, Step: "unbolt.left"})
	for name, err := range map[string]error{"a second procedure": start("open"), "closing": close("open-close")} {
		if !errors.Is(err, ErrBadCommand) {
			t.Errorf("%s with the caliper off: %v", name, err)
		}
	}
}

// A closed job takes no new step, but what a device kept while it was alone, and any
// stop, is what happened and is taken; a danger pins it to the board again.
func TestAClosedJobTakesWhatHappened(t *testing.T) {
	h := startBrakes(t)
	h.upTo("baseline_apply")
	if _, err := h.b.Write(t.Context(), h.job, cmd("close", job.ClosedType, job.Closed{Result: "not_proven", Because: "put off"})); err != nil {
		t.Fatal(err)
	}
	h.pass(1, 13.4)
	begin := RunEvent{Kind: runner.Begin, Step: "baseline_apply"}
	if _, err := h.try(begin); !errors.Is(err, ErrBadCommand) {
		t.Errorf("a step begins in a closed job: %v", err)
	}
	sec := int64(1e9)
	kept := When{Boot: "page1", SentBoot: "page1", Mono: 100 * sec, SentMono: 110 * sec}
	if _, err := h.b.ProcedureEvent(t.Context(), h.job, h.run, begin, kept, Command{Key: "kept", Device: "tablet1", Author: "ruben"}); err != nil {
		t.Fatalf("what was kept is refused: %v", err)
	}
	h.do(RunEvent{Kind: Interrupted})
	v, err := h.b.Board(t.Context())
	if err != nil || len(v.Rows) != 1 || v.Rows[0].Dangerous == "" {
		t.Errorf("the board has %+v, %v", v, err)
	}
}

// Interrupted in the rest after a movement: nobody knows yet what the brake holds, and the
// board says so at once.
func TestInterruptedInTheRestPinsTheVehicle(t *testing.T) {
	h := startBrakes(t)
	h.upTo("baseline_apply")
	h.pass(1, 13.4)
	h.do(RunEvent{Kind: runner.Begin, Step: "baseline_apply"})
	h.pass(2, 13.1)
	h.do(RunEvent{Kind: runner.End, Step: "baseline_apply", Seen: 1})
	h.do(RunEvent{Kind: Interrupted})
	s := h.screen()
	v, err := h.b.Job(t.Context(), h.job)
	if err != nil || v.Interrupted == nil {
		t.Fatalf("interrupted %+v, %v", v.Interrupted, err)
	}
	if (len(s.Dangers) > 0) != (v.Dangerous != nil) {
		t.Errorf("the run says %q, the board %+v", s.Dangers, v.Dangerous)
	}
	if len(s.Dangers) == 0 {
		t.Errorf("nothing is dangerous: %+v", s)
	}
}
