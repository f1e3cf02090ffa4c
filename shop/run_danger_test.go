package shop

import (
	"errors"
	"strings"
	"testing"
	"time"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// TestADangerStepNeedsItsWord: a step that can kill does not begin on a tap. Walked up
// to the first such step of the isolation of a high-voltage system.
func TestADangerStepNeedsItsWord(t *testing.T) {
	clock := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	h := &hand{t: t, b: runBench(t, t.TempDir(), &clock, "d"), clock: &clock, noMeter: true}
	h.job = openTorvane(t, h.b)
	var err error
	if h.run, _, err = h.b.StartProcedure(t.Context(), h.job, "high_voltage_isolation", Command{Key: "start", Device: "tablet1", Author: "ruben"}); err != nil {
		t.Fatal(err)
	}
	for range 200 {
		s := h.screen()
		for _, k := range s.Now {
			st := &s.Steps[k]
			if !st.Danger || !st.Begins || st.Kind != "step" {
				continue
			}
			for _, word := range []string{"", "danger", "WARNING"} {
				if _, err := h.try(RunEvent{Kind: runner.Begin, Step: st.ID, Danger: word}); !errors.Is(err, ErrRefused) || !strings.Contains(err.Error(), "type DANGER") {
					t.Errorf("step %s began with %q typed: %v", st.ID, word, err)
				}
			}
			h.do(RunEvent{Kind: runner.Begin, Step: st.ID, Danger: "DANGER"})
			if s := h.screen(); s.Steps[k].Phase != procedure.Doing.Text() {
				t.Errorf("with its word the step is %s", s.Steps[k].Phase)
			}
			return
		}
		if !h.step(s) {
			t.Fatalf("stuck: mode %s, not yet %+v", s.Mode, s.NotYet)
		}
	}
	t.Fatal("no step of this procedure is marked DANGER")
}
