package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// Refusals: never a confident wrong number.
func TestIgnitionRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	make1 := func(n int, f func(i int, t float64) float64) []float64 {
		v := make([]float64, n)
		for i := range v {
			v[i] = f(i, float64(i)*1e-6)
		}
		return v
	}
	const n = 600_000
	cases := map[string][]float64{
		"flat line":         make1(n, func(int, float64) float64 { return 0.25 }),
		"all noise":         make1(n, func(int, float64) float64 { return rng.NormFloat64() }),
		"quantised noise":   make1(n, func(int, float64) float64 { return math.Round(rng.NormFloat64() * 2) }),
		"hum":               make1(n, func(_ int, t float64) float64 { return math.Sin(2*math.Pi*50*t) + 0.01*rng.NormFloat64() }),
		"crank sensor sine": make1(n, func(_ int, t float64) float64 { return 5*math.Sin(2*math.Pi*900*t) + 0.02*rng.NormFloat64() }),
		"square wave": make1(n, func(_ int, t float64) float64 {
			return 5*math.Round(0.5+0.5*math.Sin(2*math.Pi*12*t)) + 0.02*rng.NormFloat64()
		}),
		"fast square wave": make1(n, func(_ int, t float64) float64 {
			return 5*math.Round(0.5+0.5*math.Sin(2*math.Pi*120*t)) + 0.02*rng.NormFloat64()
		}),
		"starter current":     make1(n, func(_ int, t float64) float64 { return 160 + 15*math.Sin(2*math.Pi*7*t) + rng.NormFloat64() }),
		"injector voltage":    make1(n, injectorVoltage(rng)),
		"injector current":    make1(n, injectorCurrent(rng)),
		"spikes of nothing":   make1(n, func(i int, t float64) float64 { return 8*b2f(i%97531 == 0) + 0.02*rng.NormFloat64() }),
		"random telegraph":    make1(n, func(i int, t float64) float64 { return b2f(rng.IntN(2000) == 0)*6 + 0.02*rng.NormFloat64() }),
		"not a number":        make1(n, func(int, float64) float64 { return math.NaN() }),
		"infinite":            make1(n, func(int, float64) float64 { return math.Inf(1) }),
		"one sample":          {1},
		"a step":              make1(n, func(i int, _ float64) float64 { return b2f(i > n/2) }),
		"sawtooth":            make1(n, func(_ int, t float64) float64 { return math.Mod(t*20, 1) + 0.003*rng.NormFloat64() }),
		"growing exponential": make1(n, func(_ int, t float64) float64 { return math.Exp(t) }),
	}
	for name, v := range cases {
		res := capture(t, recording(1e6, v), onCylinder(1))
		for _, r := range res.Readings {
			if !r.Blocked() {
				t.Errorf("%s: %s = %v, not blocked", name, r.Feature, r.Value)
			}
		}
		if len(res.NotMeasured) == 0 && len(res.Readings) == 0 {
			t.Errorf("%s: nothing said", name)
		}
		for _, m := range res.NotMeasured {
			if m.Why == "" || m.Fix == "" {
				t.Errorf("%s: no reason or remedy: %+v", name, m)
			}
		}
		// A signal that really is of another kind may be recognised as that one.
		if kind, why := Recognise(recording(1e6, v), Meta{}); kind != "" && !(kind == InjectorKind && strings.HasPrefix(name, "injector")) {
			t.Errorf("%s: recognised as %s (%s)", name, kind, why)
		}
	}
	// The same engine with the time scale wrong by 1000 either way.
	s := plainSynth()
	rec, _ := s.draw()
	for _, f := range []int64{1000, -1000} {
		wrong := *rec
		if f > 0 {
			wrong.Time.Num *= f
		} else {
			wrong.Time.Den *= -f
		}
		res := capture(t, &wrong, onCylinder(1))
		for _, r := range res.Readings {
			if !r.Blocked() {
				t.Errorf("time x%d: %s = %v", f, r.Feature, r.Value)
			}
		}
		if len(res.NotMeasured) == 0 {
			t.Errorf("time x%d: nothing said", f)
		}
	}
	// A calibrated probe whose scale is off by 1000: the volts are refused.
	rec.Channels[0].Unit = unit.Must("kV")
	m := onCylinder(1)
	m.Calibrated = true // 8 V firing line
	res := capture(t, rec, m)
	if r, ok := find(res.Readings, "ignition.firing_voltage_idle"); !ok || !r.Has(evidence.ScaleUnsure) {
		t.Errorf("8 V of firing voltage: %+v", r)
	}
	for i := range rec.Channels[0].Values {
		rec.Channels[0].Values[i] *= 1000
	}
	res = capture(t, rec, m)
	want(t, "calibrated", res, "ignition.firing_voltage_idle", 8400, 0.08)
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// injectorVoltage: supply 14 V, pulled to 0.3 V for 3 ms, kick to 70 V that dies
// away in 0.4 ms, every 120 ms.
func injectorVoltage(rng *rand.Rand) func(int, float64) float64 {
	return func(_ int, t float64) float64 {
		u := math.Mod(t, 0.12)
		v := 14.0
		switch {
		case u < 3e-3:
			v = 0.3
		case u < 5e-3:
			v = 14 + 56*math.Exp(-(u-3e-3)/0.2e-3)
		}
		return v + 0.05*rng.NormFloat64()
	}
}

func injectorCurrent(rng *rand.Rand) func(int, float64) float64 {
	return func(_ int, t float64) float64 {
		u := math.Mod(t, 0.12)
		v := 0.0
		switch {
		case u < 3e-3:
			v = 1.1 * (1 - math.Exp(-u/1.2e-3))
		case u < 3.2e-3:
			v = 1.0 * (1 - (u-3e-3)/0.2e-3)
		}
		return v + 0.005*rng.NormFloat64()
	}
}

func TestClippedHeightIsBlocked(t *testing.T) {
	s := plainSynth()
	s.clip = 5
	rec, tr := s.draw()
	res := capture(t, rec, onCylinder(1))
	if r, ok := find(res.Readings, "ignition.firing_height_idle"); !ok || !r.Has(evidence.Clipped) || !r.Blocked() {
		t.Errorf("%+v", r)
	}
	want(t, "clipped", res, "ignition.burn_time_idle", stats.Median(tr.burns), 0.03)
	want(t, "clipped", res, "ignition.spark_line_level", s.gain*s.level, 0.04)
	if r, _ := find(res.Readings, "ignition.spark_line_level"); r.Has(evidence.Clipped) || r.Blocked() {
		t.Errorf("the spark line lies below the cut: %+v", r)
	}
	fs := Judge(Task{Engine: four, Readings: res.Readings, Asks: []Ask{{Test: "kv", Feature: "ignition.firing_height_idle", Versus: Others}}})
	for _, f := range fs {
		if f.Feature == "ignition.firing_height_idle" && (f.State != evidence.NotMeasured || !strings.Contains(f.Sentence, "wider range")) {
			t.Errorf("%+v", f)
		}
	}
}

// Dropped blocks: missing values and dead time cost firings, not truth.
func TestDroppedBlocks(t *testing.T) {
	s := plainSynth()
	s.seconds = 8
	rec, tr := s.draw()
	rng := rand.New(rand.NewPCG(1, 2))
	v := rec.Channels[0].Values
	for range 25 {
		at := rng.IntN(len(v) - 30000)
		for i := at; i < at+20000; i++ {
			v[i] = math.NaN()
		}
	}
	res := capture(t, rec, onCylinder(1))
	want(t, "missing values", res, "ignition.burn_time_idle", stats.Median(tr.burns), 0.05)
	if r, _ := find(res.Readings, "ignition.burn_time_idle"); !r.Has(evidence.Gap) {
		t.Errorf("%v", r.Flags)
	}
	// Cut into segments with dead time, time stamps kept.
	rec2, tr2 := s.draw()
	var st []int64
	var w []float64
	var segs []trace.Segment
	for i := 0; i+400000 <= len(rec2.Channels[0].Values); i += 500000 {
		segs = append(segs, trace.Segment{First: len(w), End: len(w) + 400000})
		for k := i; k < i+400000; k++ {
			st = append(st, rec2.Time.At(k))
			w = append(w, rec2.Channels[0].Values[k])
		}
	}
	rec2.Time = trace.TimeBase{Stamps: st, N: len(st)}
	rec2.Channels[0].Values, rec2.Segments = w, segs
	res = capture(t, rec2, onCylinder(1))
	want(t, "dead time", res, "ignition.burn_time_idle", stats.Median(tr2.burns), 0.05)
	if r, _ := find(res.Readings, "ignition.burn_time_idle"); r.Condition.SpeedRPM < 780 || r.Condition.SpeedRPM > 820 {
		t.Errorf("speed %v", r.Condition.SpeedRPM)
	}
}

func TestRangeOfNormal(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	for _, n := range []int{3, 5, 10, 20, 50, 200} {
		sum := 0.0
		for range 20000 {
			lo, hi := math.Inf(1), math.Inf(-1)
			for range n {
				x := rng.NormFloat64()
				lo, hi = math.Min(lo, x), math.Max(hi, x)
			}
			sum += hi - lo
		}
		if got := rangeOfNormal(n); math.Abs(got-sum/20000) > 0.02*got {
			t.Errorf("n=%d: %v, simulated %v", n, got, sum/20000)
		}
	}
}

func TestCaptureErrors(t *testing.T) {
	if _, err := Capture(IgnitionSecondary, nil, Meta{}); err == nil {
		t.Error("nil recording")
	}
	rec := recording(1e6, []float64{1, 2, 3})
	for kind, says := range map[string]string{"oil_pressure": "write one of", Diagnostic: "decode it first", "": "could not be found out"} {
		if _, err := Capture(kind, rec, Meta{}); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", kind, err)
		}
	}
	rec.Time = trace.TimeBase{Num: 0, Den: 1, N: 3}
	res, err := Capture(IgnitionSecondary, rec, onCylinder(1))
	if err != nil || len(res.NotMeasured) != 1 || !strings.Contains(res.NotMeasured[0].Fix, "sample_rate") {
		t.Errorf("no rate: %v %+v", err, res)
	}
}

func TestRecogniseIgnition(t *testing.T) {
	s := plainSynth()
	rec, _ := s.draw()
	res, err := Capture("", rec, Meta{Subject: evidence.Cyl(1)})
	if err != nil || res.Kind != IgnitionSecondary || !res.Recognised {
		t.Errorf("%v %+v", err, res.Kind)
	}
	if fmt.Sprint(Kinds()) == "" {
		t.Error("no kinds")
	}
}
