package shop

import (
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// A screen names a step by what it says to do, and says on a stop what is missing for
// each way of leaving the vehicle, the nearest first: no id, no nested sentence.
func TestScreenSaysStepsInWords(t *testing.T) {
	h := startBrakes(t)
	h.upTo("unbolt.left")
	s := h.screen()
	told := 0
	for _, n := range s.NotYet {
		for _, w := range n.Why {
			told++
			if strings.Contains(w, `step "unbolt`) || strings.Contains(w, "tag_on") {
				t.Errorf("an id on the screen: %s", w)
			}
		}
	}
	if told == 0 {
		t.Fatal("nothing is not yet possible in the middle of a service")
	}
	h = startBrakes(t)
	h.upTo("chock")
	h.do(RunEvent{Kind: runner.StopNow})
	s = h.screen()
	if len(s.Leave) == 0 {
		t.Fatal("a tag hangs and no chock is placed, and nothing is missing before it may be left")
	}
	for i, way := range s.Leave {
		if len(way) == 0 || i > 0 && len(way) < len(s.Leave[i-1]) {
			t.Errorf("way %d: %q after %q", i, way, s.Leave[max(0, i-1)])
		}
		for _, w := range way {
			if strings.Contains(w, "tag_on") {
				t.Errorf("a way that is over: %q", w)
			}
		}
	}
	for _, w := range s.WhyNot {
		if strings.HasPrefix(w, procedure.NotLeft) {
			t.Errorf("what is missing is said twice: %s", w)
		}
	}
}

// A critical step that failed is told by what it is, without who: the mark on the board
// goes into the record.
func TestFailureIsToldWithoutAPerson(t *testing.T) {
	h := startBrakes(t)
	h.upTo("pedal_firm")
	h.do(RunEvent{Kind: runner.Begin, Step: "pedal_firm"})
	h.do(RunEvent{Kind: runner.Fails, Step: "pedal_firm", Seen: 1})
	said := strings.Join(h.screen().Dangers, "\n")
	if !strings.Contains(said, `Do not drive: step "Engine off: pump the pedal slowly`) || strings.Contains(said, "ruben") || strings.Contains(said, "pedal_firm") {
		t.Error(said)
	}
	v, err := h.b.Job(t.Context(), h.job)
	if err != nil || v.Dangerous == nil || strings.Contains(v.Dangerous.What.Text, "ruben") {
		t.Errorf("the mark on the board: %+v, %v", v.Dangerous, err)
	}
}
