package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"proveout/evidence"
	"proveout/published"
	"proveout/trace"
	"proveout/unit"
)

func cyl2() Meta {
	return Meta{Item: 1, Subject: evidence.Cyl(2), Condition: evidence.Condition{State: evidence.Idle}}
}

// TestPrimarySpice: the netlist's own values are the truth: fitted R, L and peak
// current within 2 %, dwell within 1 %. Source: testdata/spice/*.cir, made by make.sh.
func TestPrimarySpice(t *testing.T) {
	res, err := Capture(IgnitionPrimary, spice(t, "coil_plain"), cyl2())
	if err != nil {
		t.Fatal(err)
	}
	within(t, res, "coil.dwell", 2.2e-3, 0.01)
	within(t, res, "coil.inductance", 3.2e-3, 0.02)
	within(t, res, "coil.primary_resistance", 0.55, 0.02)
	within(t, res, "coil.time_constant", 3.2e-3/(0.55+0.102+0.07), 0.02) // the whole loop
	within(t, res, "coil.primary_current", 7.485, 0.02)
	near(t, res, "coil.limit_shelf", 0, 0)
	near(t, res, "coil.initial_step", 0, 0.05)
	within(t, res, "coil.supply_sag", 7.3*0.102, 0.05)
	within(t, res, "coil.feed_drop", 7.3*0.09, 0.05)
	within(t, res, "coil.ground_drop", 7.3*0.02, 0.05)
	r, _ := find(res.Readings, "coil.clamp_voltage")
	near(t, res, "coil.clamp_voltage", 390, 15)
	if !r.Has(evidence.TooSlow) {
		t.Error("a kick of 50 us at 100 kS/s was called well sampled")
	}

	res, err = Capture(IgnitionPrimary, spice(t, "coil_limit"), cyl2())
	if err != nil {
		t.Fatal(err)
	}
	within(t, res, "coil.dwell", 4e-3, 0.01)
	within(t, res, "coil.inductance", 3.2e-3, 0.02)
	within(t, res, "coil.primary_resistance", 0.55, 0.02) // though its voltage does not grow in step with the current near the limit
	within(t, res, "coil.primary_current", 7.5, 0.02)
	within(t, res, "coil.limit_shelf", 1.79e-3, 0.05) // the ramp alone would pass 7.5 A at 4.21 ms

	// A shorted group draws its current at once, so the fitted ramp starts above rest.
	res, err = Capture(IgnitionPrimary, spice(t, "coil_shorted"), cyl2())
	if err != nil {
		t.Fatal(err)
	}
	within(t, res, "coil.dwell", 2.2e-3, 0.01)
	within(t, res, "coil.primary_current", 8.036, 0.02)
	if r, ok := find(res.Readings, "coil.initial_step"); !ok || r.Value.SI < 5*r.Uncertainty || r.Value.SI < 0.5 {
		t.Errorf("shorted turns show no step: %+v", r)
	}
	within(t, res, "coil.inductance", 3.2e-3, 0.02)
	within(t, res, "coil.primary_resistance", 0.55, 0.02)
	covers(t, res, "coil.inductance", 3.2e-3)
	covers(t, res, "coil.primary_resistance", 0.55)

	// The same with the current alone and the supply told: less sure, not further off
	// than it says.
	m := cyl2()
	m.Known.SupplyVolts = 13.8
	res, err = Capture(IgnitionPrimary, only(spice(t, "coil_shorted"), "current"), m)
	if err != nil {
		t.Fatal(err)
	}
	covers(t, res, "coil.inductance", 3.2e-3)
	covers(t, res, "coil.primary_resistance", 0.55+0.102+0.07)
}

// TestPrimarySpiceLess: with fewer channels less is claimed, and the truth stays
// within twice the stated uncertainty.
func TestPrimarySpiceLess(t *testing.T) {
	rec := noisy(spice(t, "coil_plain"), unit.Current, 0.03, 1)
	res, err := Capture(IgnitionPrimary, rec, cyl2())
	if err != nil {
		t.Fatal(err)
	}
	covers(t, res, "coil.inductance", 3.2e-3)
	covers(t, res, "coil.primary_resistance", 0.55)
	within(t, res, "coil.dwell", 2.2e-3, 0.01)

	m := cyl2()
	m.Known.SupplyVolts = 13.8
	res, err = Capture(IgnitionPrimary, only(rec, "current"), m)
	if err != nil {
		t.Fatal(err)
	}
	covers(t, res, "coil.inductance", 3.2e-3)
	covers(t, res, "coil.primary_resistance", 0.55+0.102+0.07)

	res, err = Capture(IgnitionPrimary, only(rec, "current"), cyl2())
	if err != nil {
		t.Fatal(err)
	}
	covers(t, res, "coil.ramp_slope", 13.8/3.2e-3)
	covers(t, res, "coil.time_constant", 3.2e-3/(0.55+0.102+0.07))
	for _, f := range []string{"coil.inductance", "coil.primary_resistance"} {
		if _, ok := find(res.Readings, f); ok || len(why(res, f)) == 0 {
			t.Errorf("%s without a supply voltage", f)
		}
	}

	res, err = Capture(IgnitionPrimary, only(spice(t, "coil_plain"), "driver"), cyl2())
	if err != nil {
		t.Fatal(err)
	}
	within(t, res, "coil.dwell", 2.2e-3, 0.01)
	res, err = Capture(IgnitionPrimary, only(spice(t, "coil_limit"), "driver"), cyl2())
	if err != nil {
		t.Fatal(err)
	}
	within(t, res, "coil.dwell", 4e-3, 0.01)
}

// TestPrimaryResistanceUnderNoise: noise on clamp and probes must not bend the resistance
// of a coil whose two ends were recorded. The truth is the netlist's 0.55 ohm.
func TestPrimaryResistanceUnderNoise(t *testing.T) {
	for _, circuit := range []string{"coil_plain", "coil_limit"} {
		for _, amps := range []float64{0.01, 0.03} {
			held, n, off := 0, 0, 0.0
			for seed := range uint64(12) {
				rec := noisy(noisy(spice(t, circuit), unit.Current, amps, seed), unit.Voltage, 0.05, seed+1000)
				res, err := Capture(IgnitionPrimary, rec, cyl2())
				if err != nil {
					t.Fatal(err)
				}
				r, ok := find(res.Readings, "coil.primary_resistance")
				if !ok {
					continue
				}
				n++
				off += r.Value.SI - 0.55
				if math.Abs(r.Value.SI-0.55) < 1.96*r.Uncertainty {
					held++
				}
			}
			if n < 10 || held < n-2 || math.Abs(off/float64(n)) > 0.04*0.55 {
				t.Errorf("%s, %g A of noise: %d of %d hold the truth, off by %.3f ohm in the mean", circuit, amps, held, n, off/float64(n))
			}
		}
	}
}

// TestOneDwellIsNoBetterThanItIs: a single shot has no scatter of dwells to learn from, and
// probes that are noisy or coarse must widen the resistance. Truth: the netlist's 0.55 ohm.
func TestOneDwellIsNoBetterThanItIs(t *testing.T) {
	for _, circuit := range []string{"coil_plain", "coil_limit"} {
		for _, c := range []struct{ volts, step float64 }{{0.3, 0}, {0.05, 0.4}} {
			held, n := 0, 0
			for seed := range uint64(15) {
				whole := noisy(noisy(spice(t, circuit), unit.Current, 0.01, seed), unit.Voltage, c.volts, seed+1000)
				rec := *whole
				rec.Channels = nil
				for _, ch := range whole.Channels {
					ch.Values = ch.Values[:1100]
					if ch.Unit.Dim == unit.Voltage && c.step > 0 {
						for k := range ch.Values {
							ch.Values[k] = c.step * math.Round(ch.Values[k]/c.step)
						}
					}
					rec.Channels = append(rec.Channels, ch)
				}
				rec.Time.N, rec.Segments = 1100, []trace.Segment{{End: 1100}}
				res, err := Capture(IgnitionPrimary, &rec, cyl2())
				if err != nil {
					t.Fatal(err)
				}
				if r, ok := find(res.Readings, "coil.primary_resistance"); ok {
					n++
					if math.Abs(r.Value.SI-0.55) < 1.96*r.Uncertainty {
						held++
					}
				}
			}
			if n < 12 || held < n-2 {
				t.Errorf("%s, %+v: %d of %d hold the truth", circuit, c, held, n)
			}
		}
	}
}

// ramps draws coil currents in closed form (standards.md 8.7), with trouble that
// the estimator does not model.
type ramps struct {
	rate, period       float64
	n                  int
	volts, ohms, henry float64
	dwell, jitter      float64 // jitter of the dwell, s
	limit, step        float64
	noise, hum, gain   float64
	offset, droop      float64 // droop: time constant of an AC-coupled clamp, 0 = none
	clip, grid         float64
	supplyOff          float64 // error of the supply voltage that is typed in
	driverOff          float64
	seed               uint64
}

func plainRamps() ramps {
	return ramps{rate: 100e3, period: 20e-3, n: 24, volts: 13.5, ohms: 0.62, henry: 3e-3, dwell: 2.4e-3, noise: 0.05, gain: 1, seed: 1}
}

func (p ramps) draw() []float64 {
	rng := rand.New(rand.NewPCG(p.seed, 9))
	v := make([]float64, int(p.rate*p.period*(float64(p.n)+0.6)))
	phase := 2 * math.Pi * rng.Float64()
	for k := range p.n {
		on := p.period*(float64(k)+0.4) + rng.Float64()/p.rate
		off := on + p.dwell + p.jitter*rng.NormFloat64()
		for i := int(on*p.rate) + 1; float64(i)/p.rate < off && i < len(v); i++ {
			x := float64(i)/p.rate - on
			v[i] = p.step*(1-math.Exp(-x/2e-6)) + p.volts/p.ohms*(1-math.Exp(-x*p.ohms/p.henry))
			if p.limit > 0 {
				v[i] = math.Min(v[i], p.limit)
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
		if p.grid > 0 {
			x = p.grid * math.Round(x/p.grid)
		}
		v[i] = x
	}
	return v
}

// capture gives the supply as a person would: off by 0.1 V (one sigma) when told to.
func (p ramps) capture(m Meta) (Result, error) {
	m.Known = Known{SupplyVolts: p.volts + 0.5 + p.supplyOff, DriverVolts: 0.5 + p.driverOff}
	return Capture(IgnitionPrimary, sampledAt(p.rate, channel("clamp", "A", p.draw())), m)
}

// TestPrimaryClosedForm: every row of the table of RL currents. Source:
// standards.md 8.7, testdata/rl_coil_examples.csv.
func TestPrimaryClosedForm(t *testing.T) {
	for _, row := range standardsTable(t, "rl_coil_examples.csv") {
		volts, ms, amps := published.Number(t, row["V"]), published.Number(t, row["t_ms"]), published.Number(t, row["i_A"])
		p := plainRamps()
		p.volts, p.ohms, p.henry, p.dwell, p.noise, p.rate = volts, 0.6, 3.5e-3, ms*1e-3, 0, 500e3
		p.n = 6
		res, err := p.capture(cyl2())
		if err != nil {
			t.Fatal(err)
		}
		within(t, res, "coil.primary_current", amps, 0.002)
		within(t, res, "coil.inductance", 3.5e-3, 0.005)
		within(t, res, "coil.primary_resistance", 0.6, 0.01)
		within(t, res, "coil.dwell", ms*1e-3, 0.002)
		within(t, res, "coil.ramp_slope", volts/3.5e-3, 0.005)
		r, _ := find(res.Readings, "coil.primary_current")
		if e := 0.5 * 3.5e-3 * r.Value.SI * r.Value.SI; math.Abs(e*1e3-published.Number(t, row["E_mJ"])) > 0.005*published.Number(t, row["E_mJ"]) {
			t.Errorf("energy %.4f mJ, table %s", e*1e3, row["E_mJ"])
		}
	}
}

func TestPrimaryShapes(t *testing.T) {
	p := plainRamps()
	p.step = 0.8
	res, _ := p.capture(cyl2())
	near(t, res, "coil.initial_step", 0.8, 0.1)
	p = plainRamps()
	p.limit = 7
	res, _ = p.capture(cyl2())
	near(t, res, "coil.limit_shelf", 2.4e-3-1.877e-3, 0.03e-3) // 7 A is reached after L/R*ln(1/(1-7*R/V))
	within(t, res, "coil.primary_current", 7, 0.01)
	p = plainRamps()
	p.gain = -1
	res, _ = p.capture(cyl2())
	r, ok := find(res.Readings, "coil.primary_current")
	if !ok || !r.Has(evidence.Inverted) || r.Value.SI < 8 {
		t.Errorf("clamp turned round: %+v", r)
	}
	p = plainRamps()
	p.clip = 6
	res, _ = p.capture(cyl2())
	if r, _ := find(res.Readings, "coil.primary_current"); !r.Has(evidence.Clipped) {
		t.Errorf("clipped at 6 A: %+v", r)
	}
	// A clamp in volts gives times, and says what is missing for the rest.
	m := cyl2()
	m.Columns = []Column{{Channel: "clamp", As: RoleCurrent}}
	res, _ = Capture(IgnitionPrimary, sampledAt(p.rate, channel("clamp", "V", plainRamps().draw())), m)
	within(t, res, "coil.dwell", 2.4e-3, 0.01)
	if _, ok := find(res.Readings, "coil.primary_current"); ok || len(why(res, "coil.primary_current")) == 0 {
		t.Error("a current from a channel in volts")
	}
}

// TestPrimaryRefuses: each kind of bad input gives a refusal, not a number.
func TestPrimaryRefuses(t *testing.T) {
	p := plainRamps()
	good := p.draw()
	rng := rand.New(rand.NewPCG(3, 3))
	noise, flat, sine := make([]float64, len(good)), make([]float64, len(good)), make([]float64, len(good))
	square, tri := make([]float64, len(good)), make([]float64, len(good))
	for i := range good {
		noise[i], flat[i] = rng.NormFloat64(), 1.5
		sine[i] = 4*math.Sin(float64(i)/200) + 0.02*rng.NormFloat64()
		square[i] = 5*float64(i/300%2) + 0.02*rng.NormFloat64()
		tri[i] = math.Abs(float64(i%1000)-500)/60 + 0.02*rng.NormFloat64()
	}
	sec := plainSynth()
	secondary, _ := sec.draw()
	for name, v := range map[string][]float64{
		"noise": noise, "flat": flat, "sine": sine, "square": square, "triangle": tri, "secondary": secondary.Channels[0].Values,
		"thousand times": scaled(good, 1000), "a thousandth": scaled(good, 1e-3),
	} {
		res, err := Capture(IgnitionPrimary, sampledAt(p.rate, channel("clamp", "A", v)), cyl2())
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		sure(t, name, res, "coil.primary_current", "coil.inductance", "coil.primary_resistance", "coil.ramp_slope")
		if len(res.NotMeasured) == 0 {
			t.Errorf("%s: nothing was refused", name)
		}
	}
	// A time column off by 1000 makes the dwell 2.4 s or 2.4 us.
	for _, rate := range []float64{p.rate / 1000, p.rate * 1000} {
		res, _ := Capture(IgnitionPrimary, sampledAt(rate, channel("clamp", "A", good)), cyl2())
		sure(t, "time scale", res, "coil.dwell", "coil.inductance")
	}
	// Dropped blocks are left out and flagged; what remains is right.
	holes := append([]float64{}, good...)
	for i := 9000; i < 11000; i++ {
		holes[i] = math.NaN()
	}
	m := cyl2()
	m.Known.SupplyVolts = 13.5
	res, _ := Capture(IgnitionPrimary, sampledAt(p.rate, channel("clamp", "A", holes)), m)
	within(t, res, "coil.dwell", 2.4e-3, 0.01)
	if r, _ := find(res.Readings, "coil.dwell"); !r.Has(evidence.Gap) || r.N < 20 {
		t.Errorf("dropped block: %+v", r)
	}
	// A cylinder the engine does not have.
	m.Engine.Cylinders, m.Subject = 4, evidence.Cyl(6)
	res, _ = Capture(IgnitionPrimary, sampledAt(p.rate, channel("clamp", "A", good)), m)
	if len(res.Readings) != 0 || len(res.NotMeasured) != 1 {
		t.Errorf("cylinder 6 of 4: %+v", res)
	}
}
