package measure

import (
	"math"
	"testing"

	"proveout/evidence"
)

// Firing heights from the rates of ordinary instruments, on traces of known crest
// (30 us rise: 22 samples of it at 1 MS/s, 11 at 500 kS/s, 2 at 100 kS/s). The
// stated uncertainty must hold the truth, and coarser sampling must widen it.
func TestHeightByRate(t *testing.T) {
	last := 0.0
	for _, c := range []struct {
		rate float64
		flag evidence.Flag
	}{{1e6, ""}, {500e3, ""}, {250e3, ""}, {125e3, evidence.Undersampled}, {50e3, evidence.TooSlow}} {
		hit, n, width := 0, 0, 0.0
		for seed := range uint64(20) {
			s := plainSynth()
			s.rate, s.seed = c.rate, seed
			rec, truth := s.draw()
			res := capture(t, rec, onCylinder(1))
			r, ok := find(res.Readings, "ignition.firing_height_idle")
			if !ok {
				if c.flag != evidence.TooSlow {
					t.Fatalf("%g Hz: no height: %v", c.rate, res.NotMeasured)
				}
				continue
			}
			if c.flag != "" && !r.Has(c.flag) || c.flag != evidence.TooSlow && r.Blocked() || c.flag == "" && r.Has(evidence.Undersampled) {
				t.Errorf("%g Hz: flags %v, want %q", c.rate, r.Flags, c.flag)
			}
			mean := 0.0
			for _, x := range truth.crests {
				mean += x / float64(len(truth.crests))
			}
			n++
			width += r.Uncertainty / mean / 20
			if math.Abs(r.Value.SI-mean) < 1.96*r.Uncertainty {
				hit++
			}
		}
		t.Logf("%g Hz: %d of %d, ± %.1f %%", c.rate, hit, n, 196*width)
		if c.flag != evidence.TooSlow && (hit < 18 || width < last) {
			t.Errorf("%g Hz: the interval holds the truth in %d of %d; width %.3f after %.3f", c.rate, hit, n, width, last)
		}
		last = width
	}
}

// A spike at the end is held against the line before it, however long it rises.
func TestEndSpikeOverTheLineBefore(t *testing.T) {
	for _, up := range []float64{50e-6, 100e-6, 150e-6} {
		s := plainSynth()
		s.slope, s.crest, s.spike, s.spikeUp = 0, 4, 2.4, up
		rec, _ := s.draw()
		r, ok := find(capture(t, rec, onCylinder(1)).Readings, "ignition.end_spike")
		// The line still carries some of the decay after breakdown: 0.2 % to 6 % of the level.
		if !ok || r.Value.SI < 2.15 || r.Value.SI > 2.6 {
			t.Errorf("rise of %.0f us: %v, want 2.4", up*1e6, r.Value.SI)
		}
	}
}

// Heights of few samples are shown and compared, but never called high however
// often they were placed.
func TestCoarseCrestIsNotCalledHigh(t *testing.T) {
	rs := typed("ignition.firing_height_idle", "V", []float64{10, 10.1, 9.9, 10}, []float64{10, 9.9, 10.1, 10}, []float64{25, 25.1, 24.9, 25}, []float64{10, 10, 10, 9.9})
	for _, coarse := range []bool{false, true} {
		if coarse {
			for i := range rs {
				rs[i].Flags = append(rs[i].Flags, evidence.Undersampled)
			}
		}
		fs := Judge(Task{Engine: four, Readings: rs})
		if high := fs[2].State == evidence.High; high == coarse {
			t.Errorf("coarse %v: %s", coarse, fs[2].Sentence)
		}
	}
}

// Idle and snap in one file, snap three times as high: no idle firing may be taken
// for a neighbour's spark.
func TestIdleBesideHighSnapIsKept(t *testing.T) {
	lost, all := 0, 0
	for seed := range uint64(10) {
		s := plainSynth()
		s.rate, s.seed, s.snapUp, s.seconds = 250e3, seed, 3, 6
		s.snapOf = func(t float64) bool { return math.Mod(t, 2) > 1.4 }
		s.rpm = func(t float64) float64 {
			if u := math.Mod(t, 2) - 1.4; u > 0 {
				return 800 + 3000*u
			}
			return 800
		}
		rec, truth := s.draw()
		res := capture(t, rec, Meta{Item: 1, Subject: evidence.Cyl(1), Placement: "1"})
		found := 0
		for _, m := range res.Marks {
			if m.Feature == "ignition.burn_time" {
				found++
			}
		}
		all += truth.n
		lost += truth.n - found
	}
	if lost*100 > all {
		t.Errorf("%d of %d firings were lost", lost, all)
	}
}
