package measure

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"proveout/trace"
)

// boostedPulse draws a direct injector by its circuit: boost until the peak, fast decay
// into the capacitor, held by chopping the battery, fast decay at switch-off. Between
// both pins, in steps of 2 us.
type boostedPulse struct {
	boost, peak, hold, on float64 // V, A, A, s
	every                 []float64
	seconds               float64
	noise                 float64
	scale                 float64 // of the voltage
}

func (b boostedPulse) draw(seed uint64) *trace.Recording {
	const henry, ohm, battery, ripple, rate = 1.5e-3, 1.5, 13.8, 0.2, 500e3
	rng := rand.New(rand.NewPCG(seed, 21))
	amps, volts := make([]float64, int(b.seconds*rate)), make([]float64, int(b.seconds*rate))
	amp, drive := 0.0, "off"
	for i := range amps {
		on := false
		for _, start := range b.every {
			on = on || float64(i)/rate >= start && float64(i)/rate < start+b.on
		}
		volt := 0.0
		switch {
		case !on:
			drive = "off"
		case drive == "off":
			drive = "boost"
		case drive == "boost" && amp >= b.peak:
			drive = "back"
		case drive != "boost" && amp <= b.hold-ripple:
			drive = "battery"
		case drive == "battery" && amp >= b.hold+ripple:
			drive = "free"
		}
		switch {
		case drive == "boost":
			volt = b.boost
		case drive == "battery":
			volt = battery
		case drive == "free":
			volt = -0.7
		case amp > 0: // back into the capacitor
			volt = -b.boost
		}
		amp = math.Max(0, amp+(volt-ohm*amp)/henry/rate)
		amps[i], volts[i] = amp+0.05*rng.NormFloat64()-0.2, b.scale*(volt+b.noise*rng.NormFloat64())
	}
	return sampledAt(rate, channel("injector current", "A", amps), channel("injector voltage", "V", volts))
}

func plainBoosted(on float64) boostedPulse {
	b := boostedPulse{boost: 65, peak: 11, hold: 2.6, on: on, seconds: 0.32, noise: 0.4, scale: 1}
	for k := range 8 {
		b.every = append(b.every, 0.01+0.04*float64(k))
	}
	return b
}

// TestBoostedVoltage: boost and on-time come from the voltage alone, either way round,
// and the current's on-time agrees wherever in the chop it is switched off.
func TestBoostedVoltage(t *testing.T) {
	for k, on := range []float64{0.62e-3, 0.903e-3, 1.117e-3, 1.131e-3, 1.55e-3, 2.41e-3} {
		b := plainBoosted(on)
		for _, b.scale = range []float64{1, -1} {
			rec := b.draw(uint64(k))
			for _, names := range [][]string{{"injector voltage"}, {"injector voltage", "injector current"}} {
				res, err := Capture(InjectorKind, only(rec, names...), cyl2())
				if err != nil {
					t.Fatal(err)
				}
				driverNote(t, res, Boosted)
				covers(t, res, "injector.on_time", on)
				within(t, res, "injector.on_time", on, 0.005)
				within(t, res, "injector.boost_voltage", 65, 0.01)
			}
			res, _ := Capture(InjectorKind, only(rec, "injector current"), cyl2())
			covers(t, res, "injector.on_time", on)
		}
	}
	// A small injection before each: none of them ends with the other.
	b := plainBoosted(0.7e-3)
	for _, at := range b.every[:8] {
		b.every = append(b.every, at+2e-3)
	}
	res, _ := Capture(InjectorKind, only(b.draw(9), "injector voltage"), cyl2())
	covers(t, res, "injector.on_time", 0.7e-3)
}

// TestBoostedRefusals: the high side against ground does not show when the low side lets
// go, and what is no boosted driver is not called one.
func TestBoostedRefusals(t *testing.T) {
	res, _ := Capture(InjectorKind, only(spice(t, "injector_direct"), "high side"), cyl2())
	driverNote(t, res, Boosted)
	within(t, res, "injector.boost_voltage", 65, 0.01)
	if r, ok := find(res.Readings, "injector.on_time"); ok {
		t.Errorf("on-time %v from the high side alone", r.Value)
	}
	if w := why(res, "injector.on_time"); len(w) != 1 || !strings.Contains(w[0].Why, "does not show when the other lets go") {
		t.Errorf("said %+v", w)
	}
	for _, c := range []struct {
		name string
		b    boostedPulse
	}{
		{"in kilovolts", func() boostedPulse { b := plainBoosted(1e-3); b.scale = 1e-3; return b }()},
		{"a piezo's voltage", func() boostedPulse { b := plainBoosted(1e-3); b.boost = 150; return b }()},
		{"no boost", func() boostedPulse { b := plainBoosted(1e-3); b.boost = 14; return b }()},
	} {
		res, _ := Capture(InjectorKind, only(c.b.draw(1), "injector voltage"), cyl2())
		for _, r := range res.Readings {
			if !r.Blocked() {
				t.Errorf("%s: %s = %v", c.name, r.Feature, r.Value)
			}
		}
	}
	rng := rand.New(rand.NewPCG(4, 4))
	noise := make([]float64, 100000)
	for i := range noise {
		noise[i] = 30 * rng.NormFloat64()
	}
	res, _ = Capture(InjectorKind, sampledAt(500e3, channel("injector voltage", "V", noise)), cyl2())
	if r, ok := find(res.Readings, "injector.boost_voltage"); ok && !r.Blocked() {
		t.Errorf("a boost of %v in noise", r.Value)
	}
}

// TestBoostedUnheld: switched off while the current is driven back after the boost, the
// line is that of an injection that ended at the boost's end, or anywhere up to where the
// current is gone. The interval holds the truth and is as wide as that fall allows.
func TestBoostedUnheld(t *testing.T) {
	for _, on := range []float64{0.30e-3, 0.36e-3, 0.42e-3} {
		b := plainBoosted(on) // to 11 A in 0.29 ms, and back to nothing 0.2 ms later
		res, _ := Capture(InjectorKind, only(b.draw(3), "injector voltage"), cyl2())
		r, ok := find(res.Readings, "injector.on_time")
		if !ok || math.Abs(r.Value.SI-on) > 1.96*r.Uncertainty || r.Uncertainty < 30e-6 {
			t.Errorf("on for %.2f ms: %v, u %.2g", 1e3*on, r.Value, r.Uncertainty)
		}
	}
}
