package measure

import (
	"math"
	"runtime"
	"runtime/debug"
	"slices"
	"testing"
	"time"

	"proveout/evidence"
	"proveout/trace"
)

// TestMemoryBesideTheSamples: while it measures, the program holds less than one and
// a half times the samples: half of them beside what was read, for every kind and with
// leads and clamps the wrong way round. Looked at every few hundred microseconds, with
// the collector kept close behind.
func TestMemoryBesideTheSamples(t *testing.T) {
	defer debug.SetGCPercent(debug.SetGCPercent(2))
	secondary, coil, start, model := plainSynth(), plainRamps(), plainStarter(), idleModel()
	secondary.rate, secondary.seconds = 1e6, 2
	coil.n, coil.rate = 60, 1e6
	start.rate, start.seconds = 100e3, 5
	model.rate, model.seconds = 200e3, 4
	spark, _ := secondary.draw()
	par := plainParade(1, 3, 4, 2)
	meta := cyl2()
	meta.Known = Known{SupplyVolts: 14, DriverVolts: 0.5}
	shot := plainShots()
	shot.n, shot.rate = 60, 1e6
	turned := scaledBy(shot.draw(), -1) // a clamp put on the other way round
	// Recordings of the slow kinds, drawn out to a faster recorder's length.
	motor := epb{seconds: 70, noise: 0.1, left: []placedMove{{2, epbHealthy, 1}, {35, epbRelease, -1}}, rest: 12.8, ohm: 0.01}.draw()
	drive := &trace.Recording{Segments: []trace.Segment{{}}}
	for _, one := range plainDrive().series(1) {
		drive.Channels = append(drive.Channels, trace.Channel{Name: one.Name, Unit: one.Unit, Values: one.V})
		drive.Time = trace.TimeBase{Num: 2e8, Den: 1, N: len(one.V)}
	}
	drive.Segments[0].End = drive.Time.N
	for _, c := range []struct {
		kind string
		rec  *trace.Recording
		meta Meta
		most float64 // of the samples' own memory
	}{
		{IgnitionSecondary, spark, onCylinder(1), 0.5},
		{IgnitionParade, par.draw(), paradeMeta("", 1, 3, 4, 2), 0.5},
		{IgnitionPrimary, sampledAt(coil.rate, channel("clamp", "A", coil.draw())), meta, 0.5},
		{CrankingCurrent, start.draw(), start.meta(), 0.5},
		{CylinderPressure, model.draw(), pressureMeta("idle"), 0.5},
		{InjectorKind, sampledAt(shot.rate, channel("clamp", "A", turned)), meta, 0.5},
		{CrankEdges, sampledCrank(500e3, 4, true, 0.05), plainCrank().meta(), 0.5},
		{FuelPressureKind, sampledAt(200e3, channel("pump", "A", scaledBy(pumpCurrent(200e3, 10, 5600, 8, 1, 0.06, 1), -1))), inState(evidence.Idle), 0.5},
		{FuelPressureKind, sampledAt(200e3, channel("rail", "kPa", pressures(10, 200e3, 2e3, 1, func(x float64) float64 { return 385e3 + 4e3*math.Sin(2*math.Pi*13*x) }))), inState(evidence.Idle), 0.5},
		{BrakeMotorCurrent, oftener(motor, 200), Meta{Item: 1}, 0.5},
		{ParameterLog, oftener(drive, 200), petrol16, 0.5},
		{BatteryKind, sampledAt(200e3, channel("battery", "V", scaledBy(batteryStart(200e3, 0.02, 1), -1))), Meta{}, 0.5},
	} {
		samples := 0
		for _, ch := range c.rec.Channels {
			samples += len(ch.Values)
		}
		// How much waits to be collected depends on the machine's other work: the best of up to ten.
		held := math.Inf(1)
		for try := 0; try < 10 && held > c.most*8*float64(samples); try++ {
			res, bytes, err := peakWhile(func() (Result, error) { return Capture(c.kind, c.rec, c.meta) })
			if err != nil || len(res.Readings) == 0 {
				t.Fatalf("%s: nothing measured: %v %+v", c.kind, err, res.NotMeasured)
			}
			held = math.Min(held, bytes)
		}
		share := held / (8 * float64(samples))
		t.Logf("%s: %d samples, %.2f of their memory", c.kind, samples, share)
		if share > c.most {
			t.Errorf("%s: measuring %d samples takes %.2f of their memory, %.2f allowed", c.kind, samples, share, c.most)
		}
	}
}

// oftener draws a straight line between samples, so that there are n times as many.
func oftener(rec *trace.Recording, n int) *trace.Recording {
	out := *rec
	out.Channels = slices.Clone(rec.Channels)
	for c := range out.Channels {
		v := rec.Channels[c].Values
		fine := make([]float64, 0, n*len(v))
		for i := range len(v) - 1 {
			for k := range n {
				fine = append(fine, v[i]+(v[i+1]-v[i])*float64(k)/float64(n))
			}
		}
		out.Channels[c].Values = append(fine, v[len(v)-1])
	}
	out.Time.N, out.Time.Den = len(out.Channels[0].Values), rec.Time.Den*int64(n)
	out.Segments = []trace.Segment{{End: out.Time.N}}
	return &out
}

// peakWhile is the most that was held at any moment beside what was held before.
func peakWhile(f func() (Result, error)) (Result, float64, error) {
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	done, peak := make(chan bool), make(chan uint64)
	go func() {
		most := uint64(0)
		for {
			select {
			case <-done:
				peak <- most
				return
			case <-time.After(300 * time.Microsecond):
				var now runtime.MemStats
				runtime.ReadMemStats(&now)
				most = max(most, now.HeapAlloc)
			}
		}
	}()
	res, err := f()
	close(done)
	return res, math.Max(0, float64(<-peak)-float64(before.HeapAlloc)), err
}
