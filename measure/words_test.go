package measure

import (
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/unit"
)

// The sentences of one worked case, as a technician reads them.
func TestSentences(t *testing.T) {
	rs := typed("ignition.firing_height_idle", "x", []float64{8}, []float64{8.1}, []float64{10.6}, []float64{7.8})
	rs = append(rs, typed("compression.dry", "psi", []float64{172}, []float64{165}, []float64{120}, []float64{175})...)
	got := map[string]string{}
	for _, f := range Judge(Task{Engine: four, Readings: rs}) {
		got[f.ID] = f.Sentence
	}
	for id, want := range map[string]string{
		"ignition.firing_height_idle@cyl3": "Cylinder 3: firing line at idle 33 % above the middle of the others; not established (1.33 times ± 0.74, placed once): place it 5 more times.",
		"ignition.firing_height_idle@cyl1": "Cylinder 1: firing line at idle 1.2 % below the middle of the others; no difference seen, but one of 72 % could hide (placed once): place it 6 more times.",
		"compression.dry@cyl3":             "Cylinder 3: cranking compression, dry 120.0 psi, 30 % below the middle of the others; established (0.70 times ± 0.04, read once, could be chance: under 0.1 %).",
		"compression.dry@cyl1":             "Cylinder 1: cranking compression, dry 172.0 psi, 1.2 % above the middle of the others, like the others (1.01 times ± 0.06, read once).",
	} {
		if got[id] != want {
			t.Errorf("%s:\n%s\nwant\n%s", id, got[id], want)
		}
	}
	f, _ := evidence.Lookup("ignition.burn_time_idle")
	if s := show(1.163e-3, f); s != "1.16 ms" {
		t.Error(s)
	}
}

// A width smaller than the usual last figure is not written as none: the brake
// movement of 1.4 s once read "1 s ± 0 s".
func TestPlusMinus(t *testing.T) {
	for _, c := range []struct {
		feature   string
		si, width float64
		want      string
	}{
		{"brake.apply_time", 1.398, 0.02, "1.40 s ± 0.02 s"},
		{"brake.apply_time", 1.398, 0.004, "1.398 s ± 0.004 s"},
		{"brake.apply_time", 61.2, 3, "61 s ± 3 s"},
		{"brake.apply_time", 1.398, 0, "1 s ± 0 s"}, // no width was stated
		{"ignition.burn_time_idle", 1.163e-3, 4e-5, "1.16 ms ± 0.04 ms"},
		{"cylinder.tower_loss", 22, 5.8, "22.0 % ± 5.8 points"},
	} {
		f, ok := evidence.Lookup(c.feature)
		if !ok {
			t.Fatal(c.feature)
		}
		if got := plusMinus(c.si, c.width, f); got != c.want {
			t.Errorf("%s: %q, want %q", c.feature, got, c.want)
		}
	}
}

// A good number without a cylinder is said though it cannot be judged; a number
// that is blocked or impossible is not.
func TestUnplacedNumberIsSaid(t *testing.T) {
	u, err := unit.Parse("ms")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		si    float64
		flags []evidence.Flag
		said  bool
	}{
		{1.48e-3, nil, true},
		{1.48e-3, []evidence.Flag{evidence.TooSlow}, false},
		{1.48, nil, false}, // no spark burns for 1.5 s
	} {
		r := evidence.Reading{Feature: "ignition.burn_time_idle", Value: unit.Quantity{SI: c.si, Unit: u}, Uncertainty: 5e-5, N: 20, Flags: c.flags}
		all := Judge(Task{Engine: four, Readings: []evidence.Reading{r}})
		if len(all) != 1 || all[0].State != evidence.NotMeasured {
			t.Fatalf("%+v", all)
		}
		if got := strings.Contains(all[0].Sentence, "1.48 ms ± ") && strings.Contains(all[0].Sentence, ", but it cannot be judged"); got != c.said {
			t.Errorf("%v %v: %s", c.si, c.flags, all[0].Sentence)
		}
	}
}
