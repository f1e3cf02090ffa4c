package measure

import (
	"fmt"
	"math"
	"testing"

	"proveout/evidence"
)

// TestCrestBetweenSamples: below 50 kS/s a breakdown (20 us) is over between two
// samples. The highest sample then lies on the spark line or anywhere: nothing that
// needs the crest may be told with confidence, and no spark be called missing.
func TestCrestBetweenSamples(t *testing.T) {
	for _, rate := range []float64{20e3, 25e3, 40e3, 49e3} {
		for seed := uint64(1); seed <= 4; seed++ {
			s := plainSynth()
			s.rate, s.seed = rate, seed
			rec, _ := s.draw()
			res := capture(t, rec, onCylinder(1))
			for _, feature := range []string{"ignition.firing_height_idle", "ignition.firing_scatter_idle", "ignition.missing_share", "ignition.spark_line_ratio"} {
				sure(t, fmt.Sprintf("%g kS/s, seed %d", rate/1e3, seed), res, feature)
			}
		}
	}
}

// TestCutOffForOneSample: a range that cuts a short crest leaves one or two samples on
// its end, too few in one firing to tell; the same top again and again tells. Crests
// that scatter freely, also in steps of 8 bits, are not called cut off.
func TestCutOffForOneSample(t *testing.T) {
	for _, c := range []struct {
		name    string
		cut     float64 // of the middle crest; 0: none
		steps   float64
		clipped bool
	}{
		{"half of them cut", 1, 0, true},
		{"all of them cut", 0.6, 0, true},
		{"cut, 8 bits", 1, 256, true},
		{"free", 0, 0, false},
		{"free, 8 bits", 0, 256, false},
		{"free, 10 bits", 0, 1024, false},
	} {
		for seed := uint64(1); seed <= 5; seed++ {
			s := plainSynth()
			s.rate, s.seed = 200e3, seed
			if c.steps > 0 {
				s.step = 20 / c.steps
			}
			rec, _ := s.draw()
			v := rec.Channels[0].Values
			if limit := c.cut * s.crest; limit > 0 {
				if s.step > 0 {
					limit = math.Floor(limit/s.step) * s.step
				}
				for i := range v {
					v[i] = max(-limit, min(limit, v[i]))
				}
			}
			res := capture(t, rec, onCylinder(1))
			r, ok := find(res.Readings, "ignition.firing_scatter_idle")
			if !ok || r.Has(evidence.Clipped) != c.clipped || c.clipped && !r.Blocked() {
				t.Errorf("%s, seed %d: %v %v, cut off must be %v", c.name, seed, r.Value, r.Flags, c.clipped)
			}
		}
	}
}
