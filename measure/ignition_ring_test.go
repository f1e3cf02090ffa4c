package measure

import (
	"fmt"
	"math"
	"testing"

	"proveout/evidence"
)

// The loss of a damped ring is that of the closed form, 1-exp(-1/(f tau)), whatever
// the pickup's gain.
func TestRingDecay(t *testing.T) {
	for _, hz := range []float64{6e3, 8e3, 12e3} {
		for _, tau := range []float64{120e-6, 250e-6, 500e-6} {
			for _, gain := range []float64{1, -0.004} {
				s := plainSynth()
				s.ringHz, s.ringTau, s.gain = hz, tau, gain
				s.noise = 0.005 * math.Abs(gain)
				rec, _ := s.draw()
				res := capture(t, rec, onCylinder(1))
				name := fmt.Sprintf("%g kHz, tau %g us, gain %g", hz/1e3, tau*1e6, gain)
				truth := 100 * (1 - math.Exp(-1/(hz*tau)))
				r, ok := find(res.Readings, "ignition.ring_decay")
				if !ok { // a ring that is gone after one swing has no three half swings
					if truth < 60 {
						t.Errorf("%s: not measured: %s", name, whys(res))
					}
					continue
				}
				if math.Abs(r.Value.SI-truth) > 4 {
					t.Errorf("%s: loses %.1f %% a swing, drawn %.1f", name, r.Value.SI, truth)
				}
			}
		}
	}
}

// The swing at switch-on is measured where it is, seen to be missing where it is not,
// and refused where noise would hide it.
func TestTurnOnSwing(t *testing.T) {
	s := plainSynth()
	rec, tr := s.draw()
	res := capture(t, rec, onCylinder(1))
	mean := 0.0
	for _, c := range tr.crests {
		mean += c / float64(len(tr.crests))
	}
	want(t, "there", res, "ignition.turn_on", 0.12*1.5*s.crest/mean, 0.08)
	s.dwell = s.rise
	rec, _ = s.draw()
	res = capture(t, rec, onCylinder(1))
	if r, ok := find(res.Readings, "ignition.turn_on"); !ok || r.Value.SI > 0.03 {
		t.Errorf("no swing drawn: %v %v; %s", ok, r.Value, whys(res))
	}
	s.noise = 0.12
	rec, _ = s.draw()
	if r, ok := find(capture(t, rec, onCylinder(1)).Readings, "ignition.turn_on"); ok && r.Value.SI < 0.05 {
		t.Errorf("noise would hide it, and %v was given", r.Value)
	}
}

// Scatter from firing to firing at idle is the one drawn.
func TestFiringScatterAtIdle(t *testing.T) {
	s := plainSynth()
	s.seconds = 8
	rec, tr := s.draw()
	mean, ss := 0.0, 0.0
	for _, c := range tr.crests {
		mean += c / float64(len(tr.crests))
	}
	for _, c := range tr.crests {
		ss += (c - mean) * (c - mean) / float64(len(tr.crests)-1)
	}
	res := capture(t, rec, onCylinder(1))
	r, ok := find(res.Readings, "ignition.firing_scatter_idle")
	if truth := 100 * math.Sqrt(ss) / mean; !ok || math.Abs(r.Value.SI-truth) > 2 || r.N < enoughForScatter || r.Condition.State != evidence.Idle {
		t.Errorf("scatter %v of %d firings, drawn %.1f %%", r.Value, r.N, truth)
	}
}
