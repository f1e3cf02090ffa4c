package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"proveout/evidence"
	"proveout/sim"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// fromSim makes a recording of the simulator's samples.
func fromSim(s sim.Samples, full float64) *trace.Recording {
	r := &trace.Recording{Channels: []trace.Channel{{Name: "pickup", Unit: unit.Must("V"), FullScale: full}}}
	ch := &r.Channels[0]
	for _, b := range s.Blocks {
		first := len(ch.Values)
		for i, v := range b.Volts {
			ch.Values = append(ch.Values, v)
			r.Time.Stamps = append(r.Time.Stamps, int64(math.Round((b.Start+float64(i)/s.RateHz)*1e9)))
		}
		r.Segments = append(r.Segments, trace.Segment{First: first, End: len(ch.Values)})
	}
	r.Time.N = len(r.Time.Stamps)
	return r
}

// The physics model shares no constant with the measuring code: burn time,
// firing line and the number of sparks must come back from its traces, on every
// layout, the exhaust sparks of a waste-spark coil left out.
func TestAgainstThePhysicsModel(t *testing.T) {
	for _, e := range sim.Layouts() {
		rng := rand.New(rand.NewPCG(3, 7))
		v, err := sim.New(rng, e)
		if err != nil {
			t.Fatal(err)
		}
		sparks, err := v.Secondary(rng, 1, sim.Under{State: "idle", Warm: "warm"}, sim.IdleProfile(750), 1.3)
		if err != nil {
			t.Fatal(err)
		}
		p := sim.GoodPickup()
		p.Gain, p.Bits, p.Inverted = 0.31, 12, v.Inverted(1)
		var burns, peaks []float64
		for _, s := range sparks {
			if !s.Waste && s.Arced {
				burns = append(burns, s.Burn)
				peaks = append(peaks, s.Peak*p.Gain/1000)
			}
		}
		m := onCylinder(1)
		m.Engine = e
		res := capture(t, fromSim(p.Record(rng, sparks, 0, 1.3), p.FullScale), m)
		name := string(e.Ignition)
		r, ok := find(res.Readings, "ignition.burn_time_idle")
		if !ok || r.N < len(burns)-1 || r.N > len(burns) {
			t.Errorf("%s, %d cylinders: %d of %d sparks: %+v", name, e.Cylinders, r.N, len(burns), res.NotMeasured)
			continue
		}
		if b := r.Value.SI/stats.Median(burns) - 1; math.Abs(b) > 0.015 {
			t.Errorf("%s, %d cylinders: burn time off by %.1f %%", name, e.Cylinders, 100*b)
		}
		if h, ok := find(res.Readings, "ignition.firing_height_idle"); !ok || math.Abs(h.Value.SI/stats.Median(peaks)-1) > 0.03 {
			t.Errorf("%s, %d cylinders: firing line %v, truth %v", name, e.Cylinders, h.Value, stats.Median(peaks))
		}
		if r.Condition.SpeedRPM < 720 || r.Condition.SpeedRPM > 780 {
			t.Errorf("%s: %v rpm, truth 750", name, r.Condition.SpeedRPM)
		}
	}
}

// A snap of the model is recognised, and the snap ratio is that of the sparks.
func TestSnapOfThePhysicsModel(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 9))
	v, err := sim.New(rng, sim.Layouts()[0])
	if err != nil {
		t.Fatal(err)
	}
	sparks, err := v.Secondary(rng, 2, sim.Under{State: "snap", Warm: "warm"}, sim.SnapProfile(780, 3200, 1.6), 2.4)
	if err != nil {
		t.Fatal(err)
	}
	var idle, snap []float64
	for _, s := range sparks {
		if s.ManifoldPa > 80e3 {
			snap = append(snap, s.Peak)
		} else if s.At < 1.6 {
			idle = append(idle, s.Peak)
		}
	}
	p := sim.GoodPickup()
	m := onCylinder(2)
	m.Engine = vehicle.Engine{Cylinders: 4, Ignition: vehicle.CoilOnPlug}
	m.Condition = evidence.Condition{}
	res := capture(t, fromSim(p.Record(rng, sparks, 0, 2.4), p.FullScale), m)
	r, ok := find(res.Readings, "ignition.snap_ratio")
	if truth := stats.Median(snap) / stats.Median(idle); !ok || math.Abs(r.Value.SI/truth-1) > 0.08 {
		t.Errorf("snap ratio %+v, truth %.3f", r, truth)
	}
}
