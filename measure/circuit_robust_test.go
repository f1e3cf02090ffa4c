package measure

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
)

var circuitKinds = []string{IgnitionPrimary, InjectorKind, BatteryKind, FuelPressureKind}

// TestCircuitsTakeAnything: whatever the samples, nothing panics, each number is
// finite, carries an uncertainty and lies inside the recording, and the same input
// gives the same output.
func TestCircuitsTakeAnything(t *testing.T) {
	units := []string{"A", "mA", "V", "kPa", "1", "rpm", "degC"}
	roles := []string{"", "", "", RoleCurrent, RoleVoltage, Supply, RoleBattery, RoleGround, RoleDrop, RolePressure, RoleAmbient, EngineSpeed}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 3000).Draw(t, "samples")
		rate := rapid.SampledFrom([]float64{0.5, 20, 1e3, 50e3, 1e6}).Draw(t, "rate")
		rec := &trace.Recording{Time: trace.TimeBase{Num: int64(1e9 / rate * 1000), Den: 1000, N: n}}
		for at := 0; at < n; {
			end := min(n, at+rapid.IntRange(1, n).Draw(t, "segment"))
			rec.Segments = append(rec.Segments, trace.Segment{First: at, End: end})
			at = end
		}
		meta := Meta{Subject: evidence.Cyl(1), Condition: evidence.Condition{State: rapid.SampledFrom([]evidence.State{"", evidence.Off, evidence.KeyOn, evidence.Idle, evidence.Load, evidence.Cranking}).Draw(t, "state"), SpeedRPM: 1500}}
		for c := range rapid.IntRange(1, 3).Draw(t, "channels") {
			name := string(rune('a' + c))
			v := anyShape(t, n)
			rec.Channels = append(rec.Channels, trace.Channel{Name: name, Label: name, Unit: unit.Must(rapid.SampledFrom(units).Draw(t, "unit")), Values: v})
			meta.Columns = append(meta.Columns, Column{Channel: name, As: rapid.SampledFrom(roles).Draw(t, "role")})
		}
		for _, kind := range circuitKinds {
			sound(t, kind, rec, meta)
		}
	})
}

// sound holds what each result must hold.
func sound(t *rapid.T, kind string, rec *trace.Recording, meta Meta) {
	res, err := Capture(kind, rec, meta)
	if err != nil {
		return
	}
	n := len(rec.Channels[0].Values)
	again, _ := Capture(kind, rec, meta)
	if len(again.Readings) != len(res.Readings) {
		t.Fatalf("%s: not the same twice", kind)
	}
	for i, r := range res.Readings {
		if math.IsNaN(r.Value.SI) || math.IsInf(r.Value.SI, 0) || !(r.Uncertainty >= 0) || math.IsInf(r.Uncertainty, 0) {
			t.Fatalf("%s: %s = %v (u %v)", kind, r.Feature, r.Value, r.Uncertainty)
		}
		if r.From.First < 0 || r.From.Last >= n || r.From.First > r.From.Last {
			t.Fatalf("%s: %s comes from samples %d to %d of %d", kind, r.Feature, r.From.First, r.From.Last, n)
		}
		if _, ok := evidence.Lookup(r.Feature); !ok {
			t.Fatalf("%s: %s is not in the catalogue", kind, r.Feature)
		}
		if again.Readings[i].Value != r.Value || again.Readings[i].Uncertainty != r.Uncertainty {
			t.Fatalf("%s: %s differs from run to run", kind, r.Feature)
		}
	}
	for _, x := range res.NotMeasured {
		if _, ok := evidence.Lookup(x.Feature); !ok || x.Why == "" {
			t.Fatalf("%s: refusal of %q without a feature or a reason", kind, x.Feature)
		}
	}
	for _, m := range res.Marks {
		if m.First < 0 || m.Last >= n {
			t.Fatalf("%s: mark %s at %d to %d of %d", kind, m.Feature, m.First, m.Last, n)
		}
	}
}

// TestCircuitsTakeDamagedTraces: good traces, cut, thinned, scaled, shifted, clipped
// and with holes: as sound as any.
func TestCircuitsTakeDamagedTraces(t *testing.T) {
	coil, shot := plainRamps(), plainShots()
	coil.n, shot.n = 5, 5
	good := []struct {
		rate float64
		chs  []trace.Channel
	}{
		{coil.rate, []trace.Channel{channel("clamp", "A", coil.draw())}},
		{shot.rate, []trace.Channel{channel("clamp", "A", shot.draw())}},
		{100e3, spice(t, "coil_plain").Channels},
		{100e3, spice(t, "coil_limit").Channels},
		{100e3, spice(t, "injector_port").Channels},
		{100e3, spice(t, "injector_hold").Channels},
		{100e3, spice(t, "injector_direct").Channels},
		{1e3, []trace.Channel{channel("battery", "V", batteryStart(1e3, 0.02, 1))}},
		{50e3, []trace.Channel{channel("battery", "V", rectified(50e3, 0.5, 375, 0.1, 0.005, true, 1))}},
		{20e3, []trace.Channel{channel("pump", "A", pumpCurrent(20e3, 1, 5600, 8, 0.1, 0.06, 1))}},
		{20, []trace.Channel{channel("fuel", "kPa", pressures(330, 20, 1e3, 2, func(x float64) float64 { return 380e3 * math.Exp(-x/900) }))}},
		{100, []trace.Channel{channel("fuel", "kPa", pressures(20, 100, 500, 2, func(x float64) float64 { return 380e3 - 60e3*math.Floor(x/4) }))}},
	}
	rapid.Check(t, func(t *rapid.T) {
		g := good[rapid.IntRange(0, len(good)-1).Draw(t, "trace")]
		n := len(g.chs[0].Values)
		from := rapid.IntRange(0, n-2).Draw(t, "from") * rapid.IntRange(0, 1).Draw(t, "cut")
		end := rapid.IntRange(from+1, n).Draw(t, "end")
		thin := rapid.SampledFrom([]int{1, 1, 2, 7, 50}).Draw(t, "thin")
		rec := &trace.Recording{}
		for _, ch := range g.chs {
			gain := rapid.SampledFrom([]float64{1, 1, -1, 1e3, 1e-3, 0}).Draw(t, "gain")
			shift := rapid.SampledFrom([]float64{0, 0, 5, -100}).Draw(t, "shift")
			clip := rapid.SampledFrom([]float64{math.Inf(1), 5, 100}).Draw(t, "clip")
			var v []float64
			for i := from; i < end; i += thin {
				v = append(v, math.Max(-clip, math.Min(clip, gain*ch.Values[i]+shift)))
			}
			for range rapid.IntRange(0, 2).Draw(t, "holes") {
				v[rapid.IntRange(0, len(v)-1).Draw(t, "hole")] = math.NaN()
			}
			ch.Values = v
			rec.Channels = append(rec.Channels, ch)
		}
		m := len(rec.Channels[0].Values)
		rec.Time = trace.TimeBase{Num: int64(1e9 / g.rate * float64(thin)), Den: 1, N: m}
		rec.Segments = []trace.Segment{{First: 0, End: m}}
		if cut := rapid.IntRange(0, m-1).Draw(t, "break"); cut > 0 && cut < m {
			rec.Segments = []trace.Segment{{First: 0, End: cut}, {First: cut, End: m}}
		}
		meta := cyl2()
		meta.Condition.State = rapid.SampledFrom([]evidence.State{"", evidence.Off, evidence.KeyOn, evidence.Idle}).Draw(t, "state")
		meta.Condition.SpeedRPM = 1500
		meta.Known = Known{SupplyVolts: 13.8, Order: []int{1, 3, 4, 2}}
		for _, kind := range append([]string{""}, circuitKinds...) {
			sound(t, kind, rec, meta)
		}
	})
}

// anyShape draws samples: pulses, steps, ramps, noise, with holes and infinities.
func anyShape(t *rapid.T, n int) []float64 {
	v := make([]float64, n)
	scale := rapid.SampledFrom([]float64{0, 1e-3, 1, 14, 1e3, 1e6, -7}).Draw(t, "scale")
	period := rapid.IntRange(2, n+2).Draw(t, "period")
	duty := rapid.Float64Range(0, 1).Draw(t, "duty")
	noise := rapid.SampledFrom([]float64{0, 1e-3, 0.1, 1}).Draw(t, "noise")
	kind := rapid.IntRange(0, 3).Draw(t, "shape")
	at, stride := rapid.IntRange(0, len(noiseTable)-1).Draw(t, "noise at"), 2*rapid.IntRange(0, 999).Draw(t, "stride")+1
	for i := range v {
		x := float64(i%period) / float64(period)
		switch {
		case kind == 0 && x < duty:
			v[i] = scale
		case kind == 1 && x < duty:
			v[i] = scale * (1 - math.Exp(-3*x/math.Max(duty, 1e-3)))
		case kind == 2:
			v[i] = scale * math.Sin(2*math.Pi*x)
		case kind == 3:
			v[i] = scale * float64(i) / float64(n)
		}
		v[i] += noise * math.Abs(scale) * noiseTable[(at+i*stride)&(len(noiseTable)-1)]
	}
	for range rapid.IntRange(0, 3).Draw(t, "holes") {
		v[rapid.IntRange(0, n-1).Draw(t, "hole")] = rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300}).Draw(t, "bad")
	}
	return v
}

// Samples a second for each kind, on a good trace.
func BenchmarkCircuits(b *testing.B) {
	coil, shot := plainRamps(), plainShots()
	for _, x := range []struct {
		kind string
		rec  *trace.Recording
		meta Meta
	}{
		{IgnitionPrimary, sampledAt(coil.rate, channel("clamp", "A", coil.draw())), cyl2()},
		{InjectorKind, sampledAt(shot.rate, channel("clamp", "A", shot.draw())), cyl2()},
		{BatteryKind, sampledAt(5e3, channel("battery", "V", batteryStart(5e3, 0.02, 1))), Meta{}},
		{BatteryKind, sampledAt(50e3, channel("battery", "V", rectified(50e3, 2, 375, 0.1, 0.005, true, 1))), inState(evidence.Idle)},
		{FuelPressureKind, sampledAt(25e3, channel("pump", "A", pumpCurrent(25e3, 3, 5600, 8, 0.1, 0.06, 1))), inState(evidence.Idle)},
	} {
		b.Run(x.kind+" "+x.rec.Channels[0].Name, func(b *testing.B) {
			b.SetBytes(int64(8 * len(x.rec.Channels[0].Values)))
			for b.Loop() {
				if _, err := Capture(x.kind, x.rec, x.meta); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)*float64(len(x.rec.Channels[0].Values))/b.Elapsed().Seconds()/1e6, "Msamples/s")
		})
	}
}
