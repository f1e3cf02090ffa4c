package measure

import (
	"testing"

	"proveout/evidence"
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
