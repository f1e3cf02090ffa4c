package measure

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/unit"
)

func driverNote(t *testing.T, res Result, want string) {
	t.Helper()
	for _, n := range res.Notes {
		if strings.Contains(n.Text, "driver type "+want) {
			return
		}
	}
	t.Errorf("driver type %s was not found: %+v %+v", want, res.Notes, res.NotMeasured)
}

// TestInjectorSpice: the netlists' values are the truth; needle times are where
// the simulated needle reaches its stops. Source: testdata/spice.
func TestInjectorSpice(t *testing.T) {
	rec := spice(t, "injector_port")
	opens, closes := needleTimes(t, only(rec, "needle").Channels[0].Values)
	res, err := Capture(InjectorKind, only(rec, "current", "driver", "feed"), cyl2())
	if err != nil {
		t.Fatal(err)
	}
	driverNote(t, res, Saturated)
	within(t, res, "injector.on_time", 3.2e-3, 0.01)
	within(t, res, "injector.resistance", 13, 0.02)
	within(t, res, "injector.peak_current", 0.998, 0.02)
	within(t, res, "injector.opening_time", opens, 0.03)
	within(t, res, "injector.closing_time", closes, 0.03)
	near(t, res, "injector.kick", 62.5, 1.5)
	res, _ = Capture(InjectorKind, noisy(only(rec, "current"), unit.Current, 0.01, 2), cyl2())
	driverNote(t, res, Saturated)
	within(t, res, "injector.on_time", 3.2e-3, 0.01)
	if _, ok := find(res.Readings, "injector.closing_time"); ok {
		t.Error("closing seen in the current")
	}
	res, _ = Capture(InjectorKind, noisy(only(rec, "driver"), unit.Voltage, 0.05, 2), cyl2())
	within(t, res, "injector.on_time", 3.2e-3, 0.01)
	within(t, res, "injector.closing_time", closes, 0.03)

	rec = spice(t, "injector_hold")
	res, _ = Capture(InjectorKind, only(rec, "current", "driver"), cyl2())
	driverNote(t, res, PeakAndHold)
	within(t, res, "injector.on_time", 3e-3, 0.01)
	within(t, res, "injector.peak_current", 14/2.359*(1-math.Exp(-1.1*2.359/2.6)), 0.02)
	within(t, res, "injector.hold_current", 1.05, 0.02)
	within(t, res, "injector.peak_time", 1.1e-3, 0.02)
	res, _ = Capture(InjectorKind, only(rec, "current"), cyl2())
	within(t, res, "injector.on_time", 3e-3, 0.01)
	res, _ = Capture(InjectorKind, only(rec, "driver"), cyl2())
	driverNote(t, res, PeakAndHold)
	within(t, res, "injector.on_time", 3e-3, 0.01)

	rec = spice(t, "injector_direct")
	res, _ = Capture(InjectorKind, only(rec, "current", "high side"), cyl2())
	driverNote(t, res, Boosted)
	within(t, res, "injector.on_time", 1.5e-3, 0.01)
	within(t, res, "injector.peak_current", 65/1.62*(1-math.Exp(-0.2*1.62/1.15)), 0.02)
	within(t, res, "injector.peak_time", 0.2e-3, 0.10)
	if r, ok := find(res.Readings, "injector.resistance"); ok {
		t.Errorf("resistance of a boosted driver: %v", r.Value)
	}
}

// needleTimes finds when the needle first reaches its upper and lower stop, on the
// 10 us grid of the fixture; switch-on is at 2 ms, switch-off at 5.2 ms.
func needleTimes(t *testing.T, x []float64) (opens, closes float64) {
	t.Helper()
	for i := 200; i < 520 && opens == 0; i++ {
		if x[i] >= 1 {
			opens = float64(i)*10e-6 - 2e-3
		}
	}
	for i := 525; i < len(x) && closes == 0; i++ {
		if x[i] <= 0 {
			closes = float64(i)*10e-6 - 5.2e-3
		}
	}
	if opens == 0 || closes == 0 {
		t.Fatal("the needle never moved")
	}
	return opens, closes
}

// shots draws saturated injector currents in closed form: RL rise, a straight fall
// into a clamp, and trouble the estimator does not model.
type shots struct {
	rate, period, volts, ohms, henry, on float64
	n                                    int
	noise, hum, gain, offset, droop      float64
	clip                                 float64
	bent                                 float64 // 0: straight fall, 1: exponential
	supplyOff, driverOff                 float64
	seed                                 uint64
}

func plainShots() shots {
	return shots{rate: 100e3, period: 25e-3, volts: 14, ohms: 13.2, henry: 13e-3, on: 3e-3, n: 20, noise: 0.008, gain: 1, seed: 1}
}

func (p shots) draw() []float64 {
	rng := rand.New(rand.NewPCG(p.seed, 21))
	v := make([]float64, int(p.rate*p.period*(float64(p.n)+0.6)))
	phase := 2 * math.Pi * rng.Float64()
	for k := range p.n {
		on := p.period*(float64(k)+0.4) + rng.Float64()/p.rate
		end := p.volts / p.ohms * (1 - math.Exp(-p.on*p.ohms/p.henry))
		for i := int(on*p.rate) + 1; i < len(v); i++ {
			x := float64(i)/p.rate - on
			if x < p.on {
				v[i] = p.volts / p.ohms * (1 - math.Exp(-x*p.ohms/p.henry))
				continue
			}
			y := (x - p.on) / 220e-6
			v[i] = end * ((1-p.bent)*math.Max(0, 1-y) + p.bent*math.Exp(-2.2*y))
			if y > 5 {
				break
			}
		}
	}
	lost := 0.0
	start, stride := rng.IntN(len(noiseTable)), 2*rng.IntN(len(noiseTable)/2)+1
	for i := range v {
		x := v[i]
		if p.droop > 0 {
			x -= lost
			lost += x / p.droop / p.rate
		}
		x = p.gain*(x+p.hum*math.Sin(2*math.Pi*50*float64(i)/p.rate+phase)+p.noise*noiseTable[(start+i*stride)&(len(noiseTable)-1)]) + p.offset
		if p.clip > 0 {
			x = math.Max(-p.clip, math.Min(p.clip, x))
		}
		v[i] = x
	}
	return v
}

func (p shots) capture() (Result, error) {
	m := cyl2()
	m.Known = Known{SupplyVolts: p.volts + 0.5 + p.supplyOff, DriverVolts: 0.5 + p.driverOff}
	return Capture(InjectorKind, sampledAt(p.rate, channel("clamp", "A", p.draw())), m)
}

func TestInjectorClosedForm(t *testing.T) {
	for _, on := range []float64{2.2e-3, 3e-3, 8e-3} {
		p := plainShots()
		p.on = on
		res, err := p.capture()
		if err != nil {
			t.Fatal(err)
		}
		driverNote(t, res, Saturated)
		within(t, res, "injector.on_time", on, 0.01)
		within(t, res, "injector.resistance", 13.2, 0.03)
		covers(t, res, "injector.resistance", 13.2)
		// A coil that only sits there has no kink.
		if r, ok := find(res.Readings, "injector.opening_time"); ok {
			t.Errorf("kink without a needle: %v", r.Value)
		}
	}
	p := plainShots()
	p.gain = -1
	res, _ := p.capture()
	if r, ok := find(res.Readings, "injector.resistance"); !ok || !r.Has(evidence.Inverted) {
		t.Errorf("clamp turned round: %+v", r)
	}
}

// TestInjectorRefuses: each kind of bad input gives a refusal, not a number.
func TestInjectorRefuses(t *testing.T) {
	p := plainShots()
	good := p.draw()
	rng := rand.New(rand.NewPCG(4, 3))
	noise, flat, sine := make([]float64, len(good)), make([]float64, len(good)), make([]float64, len(good))
	square, tri := make([]float64, len(good)), make([]float64, len(good))
	for i := range good {
		noise[i], flat[i] = rng.NormFloat64(), 1.5
		sine[i] = 4*math.Sin(float64(i)/200) + 0.02*rng.NormFloat64()
		square[i] = 1.2*float64(i/300%2) + 0.005*rng.NormFloat64()
		tri[i] = math.Abs(float64(i%1000)-500)/400 + 0.005*rng.NormFloat64()
	}
	coil := plainRamps()
	for name, v := range map[string][]float64{
		"noise": noise, "flat": flat, "sine": sine, "square": square, "triangle": tri, "coil": coil.draw(), "a thousand times": scaled(good, 1000), "a thousandth": scaled(good, 1e-3),
	} {
		res, err := Capture(InjectorKind, sampledAt(p.rate, channel("clamp", "A", v)), cyl2())
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		sure(t, name, res, "injector.resistance", "injector.peak_current", "injector.opening_time", "injector.closing_time")
		if !strings.HasPrefix(name, "a thousand") {
			sure(t, name, res, "injector.on_time")
		}
		if len(res.NotMeasured) == 0 {
			t.Errorf("%s: nothing was refused", name)
		}
		// Volts in place of ampere: the wrong wire.
		res, _ = Capture(InjectorKind, sampledAt(p.rate, channel("probe", "V", v)), cyl2())
		sure(t, name+" as voltage", res, "injector.on_time", "injector.kick", "injector.closing_time")
	}
	for _, rate := range []float64{p.rate / 1000, p.rate * 1000} {
		res, _ := Capture(InjectorKind, sampledAt(rate, channel("clamp", "A", good)), cyl2())
		sure(t, "time scale", res, "injector.on_time", "injector.resistance")
	}
	res, _ := Capture(InjectorKind, only(spice(t, "coil_plain"), "driver"), cyl2())
	sure(t, "coil voltage", res, "injector.on_time", "injector.kick")
	res, _ = Capture(IgnitionPrimary, sampledAt(p.rate, channel("clamp", "A", good)), cyl2())
	sure(t, "injector as coil", res, "coil.initial_step")
	holes := append([]float64{}, good...)
	for i := 9000; i < 13000; i++ {
		holes[i] = math.NaN()
	}
	res, _ = Capture(InjectorKind, sampledAt(p.rate, channel("clamp", "A", holes)), cyl2())
	within(t, res, "injector.on_time", 3e-3, 0.01)
	if r, _ := find(res.Readings, "injector.on_time"); !r.Has(evidence.Gap) || r.N < 15 {
		t.Errorf("dropped block: %+v", r)
	}
}

// TestRecogniseCircuits: what a trace is, is found out from its shape.
func TestRecogniseCircuits(t *testing.T) {
	for _, x := range []struct {
		name, kind string
		labels     []string
	}{
		{"coil_plain", IgnitionPrimary, []string{"current"}},
		{"coil_plain", IgnitionPrimary, []string{"current", "driver", "feed"}},
		{"coil_plain", IgnitionPrimary, []string{"driver"}},
		{"injector_port", InjectorKind, []string{"current"}},
		{"injector_hold", InjectorKind, []string{"current"}},
		{"injector_direct", InjectorKind, []string{"current"}},
	} {
		res, err := Capture("", only(spice(t, x.name), x.labels...), cyl2())
		if err != nil || res.Kind != x.kind {
			t.Errorf("%s %v was taken for %q: %v", x.name, x.labels, res.Kind, err)
		}
	}
}
