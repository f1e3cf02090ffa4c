package reason

import (
	"math"
	"slices"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/vehicle"
)

func petrol(t *testing.T, e vehicle.Engine) *book.Instance {
	t.Helper()
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	in, err := book.Instantiate(e, books...)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

var four = vehicle.Engine{Cylinders: 4, Arrangement: "inline", FiringOrder: []int{1, 3, 4, 2}, Ignition: vehicle.CoilOnPlug, Injection: vehicle.Port, Fuel: "petrol", Access: "easy"}

// A single part that nothing else can show is offered as a change there and back, with
// its minutes, equipment and hazards; its result is told by the same arithmetic as a
// part tried, and it shows the part.
func TestThereAndBackIsOffered(t *testing.T) {
	in := petrol(t, four)
	c := Case{Instance: in, Symptoms: []string{"lamp_only"}, Facts: map[string]string{"recent_engine_work": "yes"},
		Findings: []evidence.Finding{{ID: "f1", Test: "crank_trace", Subject: evidence.WholeEngine, Outcome: "noisy", State: evidence.Abnormal}}}
	a := judge(t, c, Options{Tests: 40})
	at := slices.IndexFunc(a.Next, func(n NextTest) bool { return n.Test.ID == "there_and_back_crank_sensor@engine" })
	if at < 0 {
		for _, n := range a.Next {
			t.Log(n.Test.ID, n.Score)
		}
		t.Fatalf("the crank sensor leads (%s, %.2f) and its change there and back is not offered", a.Suspects[0].Suspect.ID, a.Suspects[0].Chance)
	}
	n := a.Next[at]
	// Twice 40 min of the book's repair and twice 12 min of driving.
	if n.Minutes != 104 || !slices.Contains(n.Test.Test.Equipment, "known_good_part") || !slices.Contains(n.Test.Test.Hazards, "road_test") || n.EndsIt <= 0 {
		t.Errorf("%.0f min, needs %v, mind %v, ends it %.3f", n.Minutes, n.Test.Test.Equipment, n.Test.Test.Hazards, n.EndsIt)
	}
	total := 0.0
	for _, o := range n.Outcomes {
		total += o.Chance
	}
	if math.Abs(total-1) > 1e-6 {
		t.Errorf("the chances of its outcomes add up to %g", total)
	}

	by := func(o string) *Answer {
		d := c
		d.Findings = append(slices.Clone(c.Findings), evidence.Finding{ID: "f2", Test: "there_and_back_crank_sensor", Subject: evidence.WholeEngine, Outcome: o, State: evidence.Abnormal})
		return judge(t, d, Options{Tests: 40})
	}
	tried := func(r TriedResult) *Answer {
		d := c
		d.Tried = []Tried{{ID: "t1", Component: "crank_sensor", Subject: evidence.WholeEngine, Fitted: KnownGood, Result: r}}
		return judge(t, d, Options{Tests: -1})
	}
	for o, r := range map[string]TriedResult{book.ThereReturned: Returned, book.ThereStays: Stays} {
		x, y := suspect(t, by(o), "crank_signal_noise@engine").Chance, suspect(t, tried(r), "crank_signal_noise@engine").Chance
		// One has three outcomes and the other four, over which a wrong note is spread.
		if math.Abs(x-y) > 0.02 {
			t.Errorf("%s: %.4f by the test, %.4f as a part tried", o, x, y)
		}
	}
	got := by(book.ThereReturned)
	if s := suspect(t, got, "crank_signal_noise@engine"); s.State != Shown || s.By != "f2" {
		t.Errorf("gone with the other, back with the old: %s, %s", s.State, s.Reason)
	}
	if slices.ContainsFunc(got.Next, func(n NextTest) bool { return n.Test.ID == "there_and_back_crank_sensor@engine" }) {
		t.Error("it is offered again")
	}
}

// There and back weighs more than the swap one way of the book: no cap of the book is
// exceeded except by it (DECISIONS, Odds).
func TestThereAndBackWeighsMoreThanASwap(t *testing.T) {
	in := petrol(t, four)
	c := Case{Instance: in, Symptoms: []string{"misfire_load"}}
	factor := func(s *SuspectAnswer) float64 {
		return s.Chance / (1 - s.Chance) / (s.Before / (1 - s.Before))
	}
	swapped := c
	swapped.Findings = []evidence.Finding{{ID: "f", Test: "plug_swap", Subject: evidence.Cyl(3), Outcome: "moves", State: evidence.Abnormal}}
	tried := c
	tried.Tried = []Tried{{ID: "t", Component: "plug", Subject: evidence.Cyl(3), Fitted: KnownGood, Result: Returned}}
	x := factor(suspect(t, judge(t, swapped, Options{Tests: -1}), "plug_gap_wide@cyl3"))
	y := factor(suspect(t, judge(t, tried, Options{Tests: -1}), "plug_gap_wide@cyl3"))
	if !(y > x && x > 5) {
		t.Errorf("the odds of the plug are multiplied by %.2f by a swap one way and by %.2f by there and back", x, y)
	}
	t.Logf("swap one way x%.1f, there and back x%.1f", x, y)
}
