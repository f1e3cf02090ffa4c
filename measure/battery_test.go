package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/published"
	"proveout/unit"
)

// TestStateOfCharge: every row of the BCI examples and of the temperature table.
// Source: standards.md 8.1.
func TestStateOfCharge(t *testing.T) {
	for _, row := range standardsTable(t, "battery_soc_examples.csv") {
		volts, fahrenheit := 0.0, 80.0
		if _, err := fmt.Sscanf(row["ocv_V"], "%g at %g F", &volts, &fahrenheit); err != nil && volts == 0 {
			t.Fatal(row, err)
		}
		if got, want := StateOfCharge(volts, (fahrenheit-32)/1.8), published.Number(t, row["soc_percent"]); math.Abs(got-want) > 0.0055 {
			t.Errorf("%s: %.3f %%, table %.2f", row["ocv_V"], got, want)
		}
	}
	for _, row := range standardsTable(t, "battery_temp_comp.csv") {
		// A battery that reads half charge after correction.
		add := published.Number(t, row["add_to_V12"])
		if got := StateOfCharge(12.24-add, (published.Number(t, row["temp_F"])-32)/1.8); math.Abs(got-50) > 0.01 {
			t.Errorf("%s F: %.3f %%", row["temp_F"], got)
		}
	}
	for _, row := range standardsTable(t, "battery_load_test.csv") {
		if got, want := LoadTestLimit(published.Number(t, row["temp_C"])), published.Number(t, row["min_V_at_15s"]); math.Abs(got-want) > 1e-9 {
			t.Errorf("load limit at %s C: %.3f, table %.1f", row["temp_C"], got, want)
		}
	}
}

// batteryStart draws rest, inrush, cranking, charging: level and times known.
func batteryStart(rate, noise float64, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 31))
	v := make([]float64, int(8*rate))
	for i := range v {
		x := float64(i) / rate
		switch {
		case x < 2:
			v[i] = 12.50
		case x < 2.9: // inrush of 30 ms to 8.1 V, then 10.3 V with a ripple of the compressions
			u := x - 2
			v[i] = 10.3 - 0.25*math.Cos(2*math.Pi*8*u)
			if u < 0.03 {
				v[i] = 8.1
			} else if u < 0.08 {
				v[i] = 8.1 + (v[i]-8.1)*(u-0.03)/0.05
			}
		default:
			v[i] = 14.2 - 1.4*math.Exp(-(x-2.9)/0.4)
		}
		v[i] += noise * rng.NormFloat64()
	}
	return v
}

func TestBatteryStart(t *testing.T) {
	m := Meta{Condition: evidence.Condition{}, Known: Known{Temperature: 40 - 32, HasTemperature: true}}
	res, err := Capture(BatteryKind, sampledAt(5e3, channel("battery", "V", batteryStart(5e3, 0.02, 1))), m)
	if err != nil {
		t.Fatal(err)
	}
	near(t, res, "battery.rested", 12.50, 0.005)
	near(t, res, "cranking.inrush_min", 8.1, 0.05)
	near(t, res, "cranking.voltage_min", 10.05, 0.05)
	near(t, res, "charging.voltage", 14.2, 0.02)
	near(t, res, "battery.state_of_charge", StateOfCharge(12.5, 8), 1)
	// At 5 samples a second cranking is not seen, and the number says so.
	slow := batteryStart(5, 0.01, 2)
	res, err = Capture(BatteryKind, sampledAt(5, channel("battery", "V", slow)), Meta{})
	if err != nil {
		t.Fatal(err)
	}
	sure(t, "slow", res, "cranking.voltage_min", "cranking.inrush_min", "battery.rested")
	if _, ok := find(res.Readings, "battery.lowest_seen"); !ok || len(why(res, "cranking.voltage_min")) == 0 {
		t.Errorf("slow log: %+v", res)
	}
	// Taken from a channel of its own, the temperature moves the charge.
	n := 2000
	level, temp := make([]float64, n), make([]float64, n)
	for i := range level {
		level[i], temp[i] = 12.40, (40.0-32)/1.8
	}
	level[3] += 0.001
	res, _ = Capture(BatteryKind, sampledAt(100, channel("battery", "V", level), channel("air", "degC", temp)), Meta{Condition: evidence.Condition{State: evidence.Off}})
	near(t, res, "battery.state_of_charge", 57.62, 0.05)
	if r, _ := find(res.Readings, "battery.rested"); r.Has(evidence.ConditionUnsure) {
		t.Error("a declared rest was called unsure")
	}
}

// rectified is the output of an ideal six-pulse bridge with the given electrical
// frequency, scaled to peak to peak pp; open takes one positive diode out.
func rectified(rate, seconds, hz, pp, noise float64, open bool, seed uint64) []float64 {
	rng := rand.New(rand.NewPCG(seed, 41))
	v := make([]float64, int(rate*seconds))
	for i := range v {
		a := 2 * math.Pi * hz * float64(i) / rate
		ph := [3]float64{math.Sin(a), math.Sin(a - 2*math.Pi/3), math.Sin(a + 2*math.Pi/3)}
		top := math.Inf(-1)
		for p := range 3 {
			for n := range 3 {
				if p != n && !(open && p == 0) {
					top = math.Max(top, ph[p]-ph[n])
				}
			}
		}
		// Line voltage peaks at sqrt 3; without a battery it falls by 13.4 % between.
		v[i] = 14.1 + pp/(math.Sqrt(3)*(1-math.Cos(math.Pi/6)))*(top-math.Sqrt(3)) + noise*rng.NormFloat64()
	}
	return v
}

// TestChargingRipple: the worked example of standards.md 8.3: 1500 rpm, pulley 2.5,
// 6 pole pairs give 375 Hz electrical, 2250 Hz of ripple, the open-diode line at 375 Hz.
func TestChargingRipple(t *testing.T) {
	m := Meta{Condition: evidence.Condition{State: evidence.Raised, SpeedRPM: 1500}}
	for _, known := range []Known{{}, {PulleyRatio: 2.5, PolePairs: 6}} {
		m.Known = known
		res, err := Capture(BatteryKind, sampledAt(50e3, channel("battery", "V", rectified(50e3, 2, 375, 0.1, 0.005, false, 1))), m)
		if err != nil {
			t.Fatal(err)
		}
		within(t, res, "charging.ripple", 0.1, 0.05)
		within(t, res, "charging.ripple_frequency", 2250, 0.005)
		near(t, res, "charging.diode_line", 0, 0.1)
		res, _ = Capture(BatteryKind, sampledAt(50e3, channel("battery", "V", rectified(50e3, 2, 375, 0.1, 0.005, true, 1))), m)
		within(t, res, "charging.ripple_frequency", 2250, 0.005)
		if r, ok := find(res.Readings, "charging.diode_line"); !ok || r.Value.SI < 2 {
			t.Errorf("an open diode: %+v %+v", r, res.NotMeasured)
		}
	}
	// Without the speed the sixth has no name; too slow, nothing has.
	m.Condition.SpeedRPM, m.Known = 0, Known{}
	res, _ := Capture(BatteryKind, sampledAt(50e3, channel("battery", "V", rectified(50e3, 2, 375, 0.1, 0.005, true, 1))), m)
	sure(t, "no speed", res, "charging.diode_line")
	res, _ = Capture(BatteryKind, sampledAt(1e3, channel("battery", "V", rectified(1e3, 4, 377, 0.1, 0.005, false, 1))), m)
	sure(t, "slow", res, "charging.diode_line", "charging.ripple", "charging.ripple_frequency")
	near(t, res, "charging.voltage", 14.07, 0.04)
	// Quiet supply: noise is not ripple.
	res, _ = Capture(BatteryKind, sampledAt(50e3, channel("battery", "V", rectified(50e3, 2, 375, 0.0005, 0.02, false, 1))), Meta{Condition: m.Condition})
	sure(t, "noise", res, "charging.ripple", "charging.diode_line")
}

func TestParasitic(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	v := make([]float64, 2400) // 40 min, one sample a second
	for i := range v {
		v[i] = 0.032
		switch {
		case i < 120:
			v[i] = 3.4
		case i < 900:
			v[i] = 0.45
		case i > 1200 && i < 1260:
			v[i] = 0.6 // a module wakes up
		}
		v[i] += 0.003 * rng.NormFloat64()
	}
	off := Meta{Condition: evidence.Condition{State: evidence.Off}}
	res, err := Capture(BatteryKind, sampledAt(1, channel("clamp", "A", v)), off)
	if err != nil {
		t.Fatal(err)
	}
	near(t, res, "battery.parasitic", 0.032, 0.001)
	near(t, res, "battery.sleep_time", 1260, 2)
	// Modules that look round for two seconds now and then sleep all the same.
	w := slices.Clone(v)
	for _, at := range []int{1500, 1900, 2300} {
		w[at], w[at+1] = 0.5, 0.5
	}
	res, _ = Capture(BatteryKind, sampledAt(1, channel("clamp", "A", w)), off)
	near(t, res, "battery.parasitic", 0.032, 0.001)
	near(t, res, "battery.sleep_time", 1260, 2)
	res, _ = Capture(BatteryKind, sampledAt(1, channel("clamp", "A", v[:920])), off)
	sure(t, "still awake", res, "battery.parasitic", "battery.sleep_time")
	res, _ = Capture(BatteryKind, sampledAt(1, channel("clamp", "A", v)), Meta{})
	sure(t, "state not given", res, "battery.parasitic")
}

func TestVoltageDrop(t *testing.T) {
	n := 4000
	drop, amps := make([]float64, n), make([]float64, n)
	rng := rand.New(rand.NewPCG(6, 5))
	for i := range drop {
		if i > 1000 && i < 3000 {
			amps[i] = 150
		}
		drop[i] = amps[i]*2.4e-3 + 0.004*rng.NormFloat64()
	}
	m := Meta{Condition: evidence.Condition{State: evidence.Cranking}}
	res, err := Capture(BatteryKind, sampledAt(1000, channel("ground drop", "V", drop), channel("clamp", "A", amps)), m)
	if err != nil {
		t.Fatal(err)
	}
	near(t, res, "circuit.voltage_drop", 0.36, 0.003)
	res, _ = Capture(BatteryKind, sampledAt(1000, channel("ground drop", "V", drop)), m)
	sure(t, "no current", res, "circuit.voltage_drop")
}

func TestBatteryRefuses(t *testing.T) {
	good := batteryStart(5e3, 0.02, 1)
	rng := rand.New(rand.NewPCG(7, 5))
	noise, flat := make([]float64, len(good)), make([]float64, len(good))
	for i := range noise {
		noise[i], flat[i] = 12+3*rng.NormFloat64(), 12.6
	}
	all := []string{"battery.rested", "battery.state_of_charge", "cranking.voltage_min", "cranking.inrush_min", "charging.voltage", "charging.ripple", "battery.lowest_seen"}
	for name, v := range map[string][]float64{"noise": noise, "flat": flat, "a thousand times": scaled(good, 1000), "a thousandth": scaled(good, 1e-3), "coil current": plainRampsDraw()} {
		res, err := Capture(BatteryKind, sampledAt(5e3, channel("battery", "V", v)), Meta{})
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		sure(t, name, res, all...)
		if len(res.NotMeasured) == 0 {
			t.Errorf("%s: nothing was refused", name)
		}
	}
	res, _ := Capture(BatteryKind, sampledAt(5e3, channel("battery", "V", scaled(good, -1))), Meta{})
	near(t, res, "cranking.voltage_min", 10.05, 0.05)
	if r, _ := find(res.Readings, "cranking.voltage_min"); !r.Has(evidence.Inverted) {
		t.Error("swapped leads are not told")
	}
	holes := append([]float64{}, good...)
	for i := 30000; i < 32000; i++ {
		holes[i] = math.NaN()
	}
	res, _ = Capture(BatteryKind, sampledAt(5e3, channel("battery", "V", holes)), Meta{})
	if r, _ := find(res.Readings, "cranking.voltage_min"); !r.Has(evidence.Gap) {
		t.Error("a hole is not told")
	}
}

func plainRampsDraw() []float64 { return plainRamps().draw() }

// TestLargeRippleWithoutSpeed: without the engine speed the line of a dead diode
// cannot be looked for, but its size is not passed over.
func TestLargeRippleWithoutSpeed(t *testing.T) {
	for _, open := range []bool{false, true} {
		res, err := Capture(BatteryKind, sampledAt(50e3, channel("battery", "V", rectified(50e3, 1, 375, 0.1, 0.005, open, 1))), Meta{Condition: evidence.Condition{State: evidence.Raised}})
		if err != nil {
			t.Fatal(err)
		}
		if said(res, "diode makes such") != open || !strings.Contains(refusal(res, "charging.diode_line"), "without the engine speed") {
			t.Errorf("open diode %v: %+v %+v", open, res.Notes, res.NotMeasured)
		}
	}
}

// TestDeadDiode: an alternator drawn by ngspice (testdata/spice), whose six diodes are
// known. The electrical frequency is that of the worked example of standards.md 8.3:
// 1500 rpm, pulley 2.5, 6 pole pairs, 375 Hz, a ripple of 2250 Hz.
func TestDeadDiode(t *testing.T) {
	for _, c := range []struct {
		circuit, says string
		dead          bool
	}{
		{"diode_healthy", "", false},
		{"diode_open", "by its look an open one", true},
		{"diode_shorted", "by its look a shorted one", true},
	} {
		for _, known := range []Known{{}, {PulleyRatio: 2.5, PolePairs: 6}} {
			for _, noise := range []float64{0, 1e-3} {
				rec := noisy(spice(t, c.circuit), unit.Voltage, noise, 7)
				res, err := Capture(BatteryKind, rec, Meta{Condition: evidence.Condition{State: evidence.Raised, SpeedRPM: 1500}, Known: known})
				if err != nil {
					t.Fatal(err)
				}
				within(t, res, "charging.ripple_frequency", 2250, 0.01)
				r, ok := find(res.Readings, "charging.diode_line")
				if !ok || (r.Value.SI > deadDiode) != c.dead {
					t.Errorf("%s, %+v: %+v %+v", c.circuit, known, r, res.NotMeasured)
				}
				if c.says != "" && !said(res, c.says) || c.says == "" && said(res, "a diode is dead") {
					t.Errorf("%s, %+v: %+v", c.circuit, known, res.Notes)
				}
			}
		}
	}
}

// TestSwitchedLoadIsNoDiode: lamps or a blower that are switched put a square wave on the
// battery; on a sound alternator that is no dead diode, and the ripple stays what it is.
func TestSwitchedLoadIsNoDiode(t *testing.T) {
	for _, hz := range []float64{200, 250, 400, 500} {
		for _, volts := range []float64{0.05, 0.1} {
			rec := noisy(spice(t, "diode_healthy"), unit.Voltage, 1e-3, 3)
			v := slices.Clone(rec.Channels[0].Values)
			for i := range v {
				if math.Mod(float64(i)*40e-6*hz, 1) < 0.4 {
					v[i] -= volts
				}
			}
			rec.Channels[0].Values = v
			for _, known := range []Known{{}, {PulleyRatio: 2.5, PolePairs: 6}} {
				res, err := Capture(BatteryKind, rec, Meta{Condition: evidence.Condition{State: evidence.Raised, SpeedRPM: 1500}, Known: known})
				if err != nil {
					t.Fatal(err)
				}
				if said(res, "a diode is dead") {
					t.Errorf("%.0f Hz, %.2f V, %+v: %+v", hz, volts, known, res.Notes)
				}
				if r, ok := find(res.Readings, "charging.ripple_frequency"); ok && math.Abs(r.Value.SI-2250) > 30 {
					t.Errorf("%.0f Hz, %.2f V, %+v: ripple at %v", hz, volts, known, r.Value)
				}
			}
		}
	}
}
