package measure

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/obd"
	"proveout/unit"
)

// oxygenDrive is a warm hold at 2500 rpm after a minute of idle, with an oxygen sensor
// that switches as a trapezoid of known period, levels and rich share: closed form.
type oxygenDrive struct {
	dt           float64 // s between updates of the sensor
	period       float64
	low, high    float64 // V
	rich         float64 // share of the period
	noise        float64
	seconds      float64
	name, symbol string
	coolant      float64
}

func plainOxygen() oxygenDrive {
	return oxygenDrive{dt: 0.1, period: 1.4, low: 0.12, high: 0.82, rich: 0.5, noise: 0.01, seconds: 100, name: "O2 Sensor B1S1", symbol: "V", coolant: 90}
}

func (d oxygenDrive) series() []Series {
	rng := rand.New(rand.NewPCG(8, 9))
	out := []Series{{Name: "Engine RPM", Unit: unit.Must("rpm")}, {Name: "Vehicle Speed", Unit: unit.Must("km/h")}, {Name: "ECT", Unit: unit.Must("degC")}, {Name: d.name, Unit: unit.Must(d.symbol)}}
	for t := 0.0; t < d.seconds; t += d.dt {
		rpm := 780.0
		if t > 40 {
			rpm = 2500
		}
		const edge = 0.06 // s from one level to the other
		u := math.Mod(t, d.period)
		v := d.low
		switch r := d.rich * d.period; {
		case d.period == 0:
			v = d.low
		case u < edge:
			v = d.low + (d.high-d.low)*u/edge
		case u < r:
			v = d.high
		case u < r+edge:
			v = d.high - (d.high-d.low)*(u-r)/edge
		}
		for i, x := range []float64{rpm, 0, d.coolant, v + d.noise*rng.NormFloat64()} {
			out[i].T = append(out[i].T, t)
			out[i].V = append(out[i].V, out[i].Unit.SI(x))
		}
	}
	return out
}

// Switches, period, amplitude and rich share come back as drawn, on their bank.
func TestOxygenSwitching(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(*oxygenDrive)
	}{
		{"plain", func(*oxygenDrive) {}},
		{"fast", func(d *oxygenDrive) { d.period = 0.7 }},
		{"lazy", func(d *oxygenDrive) { d.period = 6 }},
		{"rich", func(d *oxygenDrive) { d.rich = 0.8 }},
		{"lean", func(d *oxygenDrive) { d.rich = 0.25 }},
		{"small swing", func(d *oxygenDrive) { d.low, d.high = 0.25, 0.65 }},
		{"noisy", func(d *oxygenDrive) { d.noise = 0.04 }},
	} {
		d := plainOxygen()
		c.set(&d)
		res := parameters(t, d.series(), petrol16)
		for id, truth := range map[string]float64{
			"oxygen.period": d.period, "oxygen.switches": 20 / d.period, "oxygen.amplitude": d.high - d.low, "oxygen.rich_share": 100 * d.rich,
		} {
			r, ok := find(res.Readings, id)
			if !ok {
				t.Errorf("%s: %s: %s", c.name, id, whys(res))
				continue
			}
			tol := math.Max(0.04*truth, 2.5*r.Uncertainty)
			if id == "oxygen.amplitude" {
				tol += 4 * d.noise
			}
			if math.Abs(r.Value.SI-truth) > tol || r.Uncertainty > 0.4*truth {
				t.Errorf("%s: %s = %.3g ± %.2g, drawn %.3g", c.name, id, r.Value.SI, r.Uncertainty, truth)
			}
			if r.Subject != evidence.BankNo(1) || r.Condition.State != evidence.Raised || r.From.Channel != d.name || r.From.Last <= r.From.First {
				t.Errorf("%s: %s is of %s, %s, from %+v", c.name, id, r.Subject, r.Condition.State, r.From)
			}
		}
	}
}

// A dead sensor switches never, which is a reading; what a log cannot show is refused.
func TestOxygenThatDoesNotSwitch(t *testing.T) {
	d := plainOxygen()
	d.period = 0
	res := parameters(t, d.series(), petrol16)
	if r, ok := find(res.Readings, "oxygen.switches"); !ok || r.Value.SI != 0 || r.Uncertainty <= 0 {
		t.Errorf("a sensor that stays lean: %v %v", r.Value, ok)
	}
	if r, ok := find(res.Readings, "oxygen.rich_share"); !ok || r.Value.SI > 1 {
		t.Errorf("a sensor that stays lean is rich %v of the time", r.Value)
	}
	for name, c := range map[string]struct {
		set  func(*oxygenDrive)
		says string
	}{
		"one update a second":          {func(d *oxygenDrive) { d.dt = 1 }, "between two updates"},
		"two updates in a period":      {func(d *oxygenDrive) { d.dt, d.period = 0.2, 0.45 }, "between two updates"},
		"cold engine":                  {func(d *oxygenDrive) { d.coolant = 30 }, "no 15 s of a warm engine"},
		"ten seconds of log":           {func(d *oxygenDrive) { d.seconds = 10 }, "no 15 s of a warm engine"},
		"a wide-range sensor's supply": {func(d *oxygenDrive) { d.low, d.high = 2.4, 2.6 }, "a switching sensor gives"},
	} {
		d := plainOxygen()
		c.set(&d)
		res := parameters(t, d.series(), petrol16)
		if r, ok := find(res.Readings, "oxygen.switches"); ok || !strings.Contains(whys(res), c.says) {
			t.Errorf("%s: switches %v; %s", name, r.Value, whys(res))
		}
		if _, ok := find(res.Readings, "oxygen.period"); ok {
			t.Errorf("%s: a period was given", name)
		}
	}
	diesel := petrol16
	diesel.Engine.Fuel = "diesel"
	d = plainOxygen()
	if _, ok := find(parameters(t, d.series(), diesel).Readings, "oxygen.switches"); ok {
		t.Error("the oxygen sensor of a diesel was judged by its switching")
	}
}

// Names put a sensor to its bank and its side of the catalyst.
func TestOxygenNames(t *testing.T) {
	for name, want := range map[string]struct {
		role string
		bank int
	}{
		"O2S11 (V)": {Oxygen, 1}, "O2S21": {Oxygen, 2}, "O2S12": {OxygenAfter, 1}, "O2S22": {OxygenAfter, 2}, "O2 B2S1": {Oxygen, 2}, "O2 Sensor 2 Bank 1": {OxygenAfter, 1},
		"Oxygen sensor downstream bank 2": {OxygenAfter, 2}, "Lambdasonde Bank 2": {Oxygen, 2}, "Lambdasonde nach Kat": {OxygenAfter, 1}, "Commanded lambda": {LambdaTarget, 0}, "Lambda B1": {Lambda, 1},
	} {
		r, s, ok := recogniseName(name, unit.Unit{})
		if !ok || r.id != want.role || want.bank > 0 && s != evidence.BankNo(want.bank) {
			t.Errorf("%s: %q, %s; want %s of bank %d", name, r.id, s, want.role, want.bank)
		}
	}
}

// Measured over commanded lambda in each window; under load only with the commanded.
func TestLambdaDeviation(t *testing.T) {
	d := plainDrive()
	series := d.series(3)
	rpm := series[0]
	lam, target := Series{Name: "Lambda B1", Unit: unit.Must("lambda")}, Series{Name: "Commanded lambda", Unit: unit.Must("lambda")}
	off := map[evidence.State]float64{evidence.Idle: 0.01, evidence.Raised: -0.02, evidence.Cruise: 0.03, evidence.Load: 0.12}
	for i, x := range rpm.T {
		s, aim := evidence.Idle, 1.0
		switch u := math.Mod(x, 120); {
		case u >= 40 && u < 75:
			s = evidence.Raised
		case u >= 75 && u < 105:
			s = evidence.Cruise
		case u >= 105 && u < 114:
			s, aim = evidence.Load, 0.88
		}
		wave := 0.004 * math.Sin(float64(i)*0.9)
		lam.T, lam.V = append(lam.T, x), append(lam.V, aim*(1+off[s]+wave))
		target.T, target.V = append(target.T, x), append(target.V, aim)
	}
	res := parameters(t, append(append([]Series{}, series...), lam, target), petrol16)
	for _, w := range lambdaWindows {
		r, ok := find(res.Readings, w.feature)
		if !ok || math.Abs(r.Value.SI-100*off[w.state]) > 0.8 || r.Subject != evidence.BankNo(1) || r.Condition.State != w.state {
			t.Errorf("%s: %v ± %.2g, drawn %.3g; %s", w.feature, r.Value, r.Uncertainty, 100*off[w.state], whys(res))
		}
	}
	res = parameters(t, append(append([]Series{}, series...), lam), petrol16)
	if _, ok := find(res.Readings, "lambda.deviation_load"); ok || !strings.Contains(whys(res), "rich on purpose") {
		t.Errorf("load without the commanded lambda: %s", whys(res))
	}
	if r, ok := find(res.Readings, "lambda.deviation_cruise"); !ok || math.Abs(r.Value.SI-3) > 0.8 {
		t.Errorf("cruise without the commanded lambda: %v", r.Value)
	}
}

// A module's own sensors: by place before or behind the catalyst, none without a place.
func TestOxygenOfModules(t *testing.T) {
	for _, c := range []struct {
		id   string
		at   obd.Sensor
		want string
	}{
		{"o2_1_voltage", obd.Sensor{Bank: 1, Position: 1}, Oxygen}, {"o2_2_voltage", obd.Sensor{Bank: 1, Position: 2}, OxygenAfter}, {"o2_5_voltage", obd.Sensor{Bank: 2, Position: 1}, Oxygen},
		{"o2_1_lambda_v", obd.Sensor{Bank: 1, Position: 1}, Lambda}, {"o2_1_lambda_i", obd.Sensor{Bank: 1, Position: 1}, Lambda}, {"o2_2_lambda_v", obd.Sensor{Bank: 1, Position: 2}, ""},
		{"o2_1_wide_voltage", obd.Sensor{Bank: 1, Position: 1}, ""}, {"o2_1_trim", obd.Sensor{Bank: 1, Position: 1}, ""}, {"o2_1_voltage", obd.Sensor{}, ""},
	} {
		if got, ok := sensorRole(&obd.Series{ID: c.id, Place: c.at}); got != c.want || ok != (c.want != "") {
			t.Errorf("%s at %s: %q, want %q", c.id, c.at, got, c.want)
		}
	}
}
