package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/obd"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// drive is a log in closed form: idle, 2500 rpm standing, cruise, wide-throttle
// pull, repeated; 5 Hz.
type drive struct {
	trims    [4]float64 // long trim at idle, 2500, cruise, load
	ve       float64    // true volumetric efficiency
	litres   float64
	pulseLag float64 // s
	pulseOn  bool    // pulse width follows the throttle
	coolant  func(t float64) float64
	minutes  float64
}

func plainDrive() drive {
	return drive{trims: [4]float64{1, 2, 3, 4}, ve: 0.85, litres: 1.6, pulseLag: 0.4, pulseOn: true, coolant: func(float64) float64 { return 90 }, minutes: 8}
}

var petrol16 = Meta{Item: 2, File: "drive.csv", Engine: vehicle.Engine{Cylinders: 4, Fuel: "petrol", DisplacementL: 1.6}}

func (d drive) series(seed uint64) []Series {
	rng := rand.New(rand.NewPCG(seed, 5))
	const dt = 0.2
	n := int(d.minutes * 60 / dt)
	name := []string{"Engine RPM", "Vehicle Speed (km/h)", "Throttle Position %", "Calculated Load", "ECT", "STFT B1", "LTFT B1", "MAF", "MAP", "IAT", "Injector Pulse Width", "Battery Voltage"}
	sym := []string{"rpm", "km/h", "%", "%", "degC", "%", "%", "g/s", "kPa", "degC", "ms", "V"}
	out := make([]Series, len(name))
	for i := range out {
		out[i] = Series{Name: name[i], Unit: unit.Must(sym[i])}
	}
	throttleAt := func(t float64) (rpm, kmh, thr, load, mapKPa float64, phase int) {
		switch u := math.Mod(t, 120); {
		case u < 40:
			return 780, 0, 15, 20, 30, 0
		case u < 75:
			return 2500, 0, 22, 25, 33, 1
		case u < 82:
			return 1200 + 140*(u-75), 10 * (u - 75), 35, 50, 60, 2
		case u < 105:
			return 2200, 70, 25 + 4*math.Sin(u), 40, 50, 2
		case u < 114:
			return 2600 + 100*(u-105), 70 + 2*(u-105), 90, 95, 97, 3
		default:
			return 1500 - 100*(u-114), 88 - 88*(u-114)/6, 15, 15, 28, 0
		}
	}
	for k := range n {
		t := float64(k) * dt
		rpm, kmh, thr, load, p, ph := throttleAt(t)
		_, _, lagged, _, _, _ := throttleAt(math.Max(0, t-d.pulseLag))
		pulse := 2.0
		if d.pulseOn {
			pulse = 1.5 + 0.1*lagged
		}
		maf := d.ve * (p * 1e3 / (287.05 * (25 + 273.15))) * d.litres * 1e-3 * rpm / 120 * 1e3
		v := []float64{rpm + 5*rng.NormFloat64(), kmh, thr + 0.2*rng.NormFloat64(), load, d.coolant(t), 2 * math.Sin(2*math.Pi*t/1.7), d.trims[ph], maf, p, 25, pulse + 0.03*rng.NormFloat64(), 14.1 + 0.03*rng.NormFloat64()}
		for i := range out {
			out[i].T = append(out[i].T, t)
			out[i].V = append(out[i].V, out[i].Unit.SI(v[i]))
		}
	}
	return out
}

func parameters(t *testing.T, ss []Series, m Meta) Result {
	t.Helper()
	res, err := Parameters(ss, m)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func TestTrimsByWindow(t *testing.T) {
	d := plainDrive()
	res := parameters(t, d.series(1), petrol16)
	for i, id := range []string{"trim.idle", "trim.raised", "trim.cruise", "trim.load"} {
		r, ok := find(res.Readings, id)
		if !ok {
			t.Fatalf("%s: %+v", id, res.NotMeasured)
		}
		if math.Abs(r.Value.SI-d.trims[i]) > 0.6 || r.Subject != evidence.BankNo(1) || r.Uncertainty < 0.3 || r.Uncertainty > 2 {
			t.Errorf("%s = %v ± %v, truth %v", id, r.Value.SI, r.Uncertainty, d.trims[i])
		}
	}
	// The job does not say the fuel: not judged by petrol rules, and said so.
	m := petrol16
	m.Engine.Fuel = ""
	if _, ok := find(parameters(t, d.series(1), m).Readings, "trim.idle"); ok {
		t.Error("a trim without knowing the fuel")
	}
	// Cold: open loop, no trims.
	d.coolant = func(float64) float64 { return 30 }
	res = parameters(t, d.series(1), petrol16)
	if _, ok := find(res.Readings, "trim.idle"); ok {
		t.Error("trims of a cold engine")
	}
	if len(res.NotMeasured) == 0 {
		t.Error("nothing said about the missing trims")
	}
}

// VE against its definition: airflow was made from a known efficiency.
func TestVolumetricEfficiency(t *testing.T) {
	for _, ve := range []float64{0.45, 0.85, 1.02} {
		d := plainDrive()
		d.ve = ve
		r, ok := find(parameters(t, d.series(2), petrol16).Readings, "air.volumetric_efficiency")
		if !ok || math.Abs(r.Value.SI-100*ve) > 2*r.Uncertainty || r.Uncertainty > 8 {
			t.Errorf("VE %v: %+v", ve, r)
		}
	}
	m := petrol16
	m.Engine.DisplacementL = 0
	res := parameters(t, plainDrive().series(2), m)
	if _, ok := find(res.Readings, "air.volumetric_efficiency"); ok {
		t.Error("VE without a displacement")
	}
}

func TestPulseFollowsThrottle(t *testing.T) {
	d := plainDrive()
	res := parameters(t, d.series(3), petrol16)
	r, ok := find(res.Readings, "injector.follows_throttle")
	if !ok || r.Value.SI < 0.8 {
		t.Errorf("follows: %+v", r)
	}
	if lag, ok := find(res.Readings, "injector.follow_delay"); !ok || math.Abs(lag.Value.SI-0.4) > 0.101 {
		t.Errorf("delay: %+v", lag)
	}
	d.pulseOn = false
	if r, ok := find(parameters(t, d.series(3), petrol16).Readings, "injector.follows_throttle"); !ok || math.Abs(r.Value.SI) > 0.1 {
		t.Errorf("does not follow: %+v", r)
	}
	none := parameters(t, d.series(3), petrol16)
	covers(t, none, "injector.follow_gain", 0)
	if r, ok := find(none.Readings, "injector.follow_gain"); ok && r.Uncertainty > 0.1e-3 {
		t.Errorf("the gain of nothing is known to %g s only", r.Uncertainty)
	}
	if _, ok := find(none.Readings, "injector.follow_delay"); ok {
		t.Error("a delay of a pulse width that does not follow")
	}
	// In closed form: the foot moves in two sines, the pulse width is a line of what the
	// throttle was some steps before. Lag, gain and the step's noise must come back.
	for _, c := range []struct{ lag, gain float64 }{{0, 0.1}, {0.4, 0.1}, {0.8, 0.05}, {1.6, 0.2}} {
		foot := func(t float64) float64 { return 40 + 20*math.Sin(2*math.Pi*t/9) + 10*math.Sin(2*math.Pi*t/3.7) }
		var ss []Series
		for i, name := range []string{"Engine RPM", "Throttle Position %", "Injector Pulse Width"} {
			s := Series{Name: name, Unit: unit.Must([]string{"rpm", "%", "ms"}[i])}
			rng := rand.New(rand.NewPCG(uint64(i), 12))
			for k := range 600 {
				x := float64(k) * 0.2
				v := []float64{2000 + 300*math.Sin(x), foot(x) + 0.2*rng.NormFloat64(), 1.5 + c.gain*foot(x-c.lag) + 0.03*rng.NormFloat64()}[i]
				s.T, s.V = append(s.T, x), append(s.V, s.Unit.SI(v))
			}
			ss = append(ss, s)
		}
		res := parameters(t, ss, petrol16)
		near(t, res, "injector.follow_delay", c.lag, 1e-9)
		covers(t, res, "injector.follow_gain", 10e-3*c.gain)
		within(t, res, "injector.follow_gain", 10e-3*c.gain, 0.02)
		near(t, res, "injector.follow_monotonic", 100, 0)
	}
	// A throttle that never moves shows nothing.
	d = plainDrive()
	ss := d.series(3)
	for i := range ss[2].V {
		ss[2].V[i] = 20
	}
	res = parameters(t, ss, petrol16)
	if _, ok := find(res.Readings, "injector.follows_throttle"); ok {
		t.Error("correlation with a throttle at rest")
	}
}

func TestWarmUp(t *testing.T) {
	d := plainDrive()
	d.coolant = func(t float64) float64 { return math.Min(91, 20+t*0.3) }
	if r, ok := find(parameters(t, d.series(4), petrol16).Readings, "coolant.running"); !ok || math.Abs(r.Value.SI-91) > 1 {
		t.Errorf("warmed up: %+v", r)
	}
	d.coolant = func(t float64) float64 { return 20 + t*0.1 }
	res := parameters(t, d.series(4), petrol16)
	if _, ok := find(res.Readings, "coolant.running"); ok {
		t.Error("still warming up, but a running temperature was given")
	}
	// A thermostat stuck open: stands still, too low. That is measured.
	d.coolant = func(t float64) float64 { return math.Min(64, 20+t*0.3) }
	if r, ok := find(parameters(t, d.series(4), petrol16).Readings, "coolant.running"); !ok || math.Abs(r.Value.SI-64) > 1 {
		t.Errorf("stuck open: %+v", r)
	}
}

func TestLogQuality(t *testing.T) {
	// One channel jumps: its own readings are blocked, the others stand.
	ss := plainDrive().series(5)
	ss[4].V[700] += 40
	res := parameters(t, ss, petrol16)
	if r, ok := find(res.Readings, "coolant.running"); ok && !r.Blocked() {
		t.Errorf("a jumping coolant sensor was believed: %+v", r)
	}
	if r, ok := find(res.Readings, "trim.idle"); !ok || r.Blocked() {
		t.Errorf("trims do not rest on the coolant sensor's jump: %+v", r)
	}
	if r, ok := find(res.Readings, "log.dropouts"); !ok || r.Value.SI < 1 || r.Blocked() {
		t.Errorf("one channel: %+v", r)
	}
	// The voltage wrong by 1000: refused, not judged.
	ss = plainDrive().series(5)
	for i := range ss[11].V {
		ss[11].V[i] *= 1000
	}
	if r, ok := find(parameters(t, ss, petrol16).Readings, "charging.voltage"); ok && !r.Has(evidence.ScaleUnsure) {
		t.Errorf("14100 V was believed: %+v", r)
	}
	// Lowest voltage names its limits.
	ss = plainDrive().series(5)
	ss[11].V[333] = 9.7
	res = parameters(t, ss, petrol16)
	r, _ := find(res.Readings, "log.voltage_lowest")
	if r.Value.SI != 9.7 || r.From.First != 333 {
		t.Errorf("lowest: %+v", r)
	}
	said := false
	for _, n := range res.Notes {
		said = said || strings.Contains(n.Text, "a shorter dip was not seen")
	}
	if !said {
		t.Error("the note on short dips is missing")
	}
	// Time running backwards is an error with its place.
	ss[0].T[10] = 0
	if _, err := Parameters(ss, petrol16); err == nil || !strings.Contains(err.Error(), "sample 10") {
		t.Errorf("backwards: %v", err)
	}
	if _, err := Parameters(nil, petrol16); err == nil {
		t.Error("no series")
	}
}

// Misfire counters from a log: events, half revolutions, bursts.
func TestMisfireCounters(t *testing.T) {
	ss := plainDrive().series(6)
	n := len(ss[0].T)
	for c := 1; c <= 4; c++ {
		s := Series{Name: fmt.Sprintf("Misfire count cylinder %d", c), Unit: unit.Must("count"), T: ss[0].T}
		v := 0.0
		for k := range n {
			if c == 3 && k%600 > 560 && k%600 < 575 { // a burst of 14 each two minutes
				v++
			}
			if k == 1500 {
				v = 0 // key cycle: reset
			}
			s.V = append(s.V, v)
		}
		ss = append(ss, s)
	}
	res := parameters(t, ss, petrol16)
	var three, one evidence.Reading
	for _, r := range res.Readings {
		if r.Feature == "misfire.count" && r.Subject == evidence.Cyl(3) {
			three = r
		}
		if r.Feature == "misfire.count" && r.Subject == evidence.Cyl(1) {
			one = r
		}
	}
	if three.Value.SI != 56 || three.Episodes != 4 || one.Value.SI != 0 {
		t.Errorf("%+v\n%+v", three, one)
	}
	// 8 minutes: mean speed by the profile, half of that times the minutes.
	revs := 0.0
	for k := range n {
		revs += ss[0].V[k] / 60 * 0.2
	}
	if math.Abs(three.Opportunities-revs/2) > 0.01*revs {
		t.Errorf("opportunities %v, half revolutions %v", three.Opportunities, revs/2)
	}
	fs := Judge(Task{Engine: vehicle.Engine{Cylinders: 4}, Readings: res.Readings, Asks: []Ask{{Test: "counts", Feature: "misfire.count", Versus: Count}}})
	for _, f := range fs {
		if f.Feature == "misfire.count" && f.Subject == evidence.Cyl(3) && (f.Effect != 1 || !strings.Contains(f.Sentence, "4 bursts")) {
			t.Errorf("%+v", f)
		}
	}
}

func TestParameterNames(t *testing.T) {
	for name, want := range map[string]string{
		"ENGINE_RPM ()": EngineSpeed, "Engine RPM [RPM]": EngineSpeed, "rpm": EngineSpeed, "Motordrehzahl (1/min)": EngineSpeed, "EngineSpeed": EngineSpeed,
		"VEHICLE_SPEED ()": VehicleSpeed, "Vehicle Speed Sensor [km/h]": VehicleSpeed, "VSS (mph)": VehicleSpeed,
		"COOLANT_TEMPERATURE ()": Coolant, "ECT": Coolant, "Engine Coolant Temperature [Â°C]": Coolant, "Kühlmitteltemperatur": Coolant,
		"LONG_TERM_FUEL_TRIM_BANK_1 ()": LongTrim, "SHORT_TERM_FUEL_TRIM_BANK_2 ()": ShortTrim, "STFT1": ShortTrim, "LTFT B2": LongTrim, "Short Term Fuel Trim - Bank 1 (%)": ShortTrim,
		"INTAKE_MANIFOLD_PRESSURE ()": ManifoldPress, "MAP (kPa)": ManifoldPress, "Air Flow Rate from Mass Flow Sensor [g/s]": Airflow, "MAF": Airflow,
		"THROTTLE ()": Throttle, "Absolute Throttle Position [%]": Throttle, "ABSOLUTE_THROTTLE_B ()": "", "COMMANDED_THROTTLE_ACTUATOR ()": "",
		"ENGINE_LOAD ()": EngineLoad, "CONTROL_MODULE_VOLTAGE ()": Supply, "FUEL_TANK ()": FuelLevel, "TIMING_ADVANCE ()": Advance,
		"FUEL_AIR_COMMANDED_EQUIV_RATIO ()": LambdaTarget, "TIME_SINCE_TROUBLE_CODES_CLEARED ()": "", "ABSOLUTE_BAROMETRIC_PRESSURE ()": Barometer,
		"Injector Pulse Width #1 (ms)": PulseWidth, "Misfires cyl 3": Misfires, "MISF CYL3": Misfires, "MISF 2": Misfires, "PW": PulseWidth, "MISFIRE_CYL_4": Misfires, "Misfire total": "", "Channel A": "", "pickup": "", "": "",
		"ENGINE_RUN_TINE ()": RunTime, "Accelerator Pedal Position D [%]": Pedal, "Accelerator Pedal Position E [%]": "", "INTAKE_AIR_TEMP ()": IntakeAir,
		"Target idle RPM": "", "Transmission turbine speed": "",
	} {
		r, s, ok := recogniseName(name, unit.Unit{})
		if got := r.id; !ok && want != "" || ok && got != want {
			t.Errorf("%q is taken for %q, want %q", name, got, want)
		}
		if want == Misfires && s.Kind != evidence.Cylinder {
			t.Errorf("%q: %v", name, s)
		}
	}
	if _, s, _ := recogniseName("SHORT_TERM_FUEL_TRIM_BANK_2 ()", unit.Unit{}); s != evidence.BankNo(2) {
		t.Errorf("bank: %v", s)
	}
	// A unit of another dimension speaks against the name.
	if r, _, ok := recogniseName("MAF", unit.Must("V")); ok {
		t.Errorf("a MAF in volts is its sensor voltage, not airflow, but %q", r.id)
	}
}

// The same functions measure decoded module answers.
func TestSessionParameters(t *testing.T) {
	ss := plainDrive().series(7)
	ids := map[int]string{0: "engine_speed", 1: "vehicle_speed", 2: "throttle_position", 3: "calculated_load", 4: "coolant_temperature", 5: "short_trim_bank1", 6: "long_trim_bank1"}
	m := &obd.Module{Address: "7E8"}
	for i := range 7 {
		s := &obd.Series{Signal: &obd.Signal{ID: ids[i], Unit: ss[i].Unit}, ID: ids[i], Name: ids[i], HasTime: true}
		for k := range ss[i].T {
			if k%5 == i%5 { // asked in turn, each once a second
				s.Samples = append(s.Samples, obd.Sample{Time: int64(ss[i].T[k] * 1e9), Value: ss[i].V[k]})
			}
		}
		m.Parameters = append(m.Parameters, s)
	}
	res, err := Diagnostics(&obd.Session{Modules: []*obd.Module{m}, HasTime: true}, petrol16)
	if err != nil {
		t.Fatal(err)
	}
	for i, id := range []string{"trim.idle", "trim.raised", "trim.cruise", "trim.load"} {
		if r, ok := find(res.Readings, id); !ok || math.Abs(r.Value.SI-plainDrive().trims[i]) > 1 || !strings.Contains(r.From.Channel, "short_trim") {
			t.Errorf("%s: %+v", id, r)
		}
	}
}

func TestRankCorrelation(t *testing.T) {
	// Monotonic, not linear: 1. Reversed: -1. Worked by hand with ties.
	if r := rankCorrelation([]float64{1, 2, 3, 4}, []float64{1, 8, 27, 64}); r != 1 {
		t.Error(r)
	}
	if r := rankCorrelation([]float64{1, 2, 3}, []float64{9, 4, 1}); r != -1 {
		t.Error(r)
	}
	// ranks x: 0,1,2,3; y: 0.5,0.5,2,3 -> cov 4.5, var 5 and 4.5: 0.9487
	if r := rankCorrelation([]float64{1, 2, 3, 4}, []float64{1, 1, 2, 3}); math.Abs(r-4.5/math.Sqrt(5*4.5)) > 1e-12 {
		t.Error(r)
	}
	if rankCorrelation([]float64{1, 2, 3}, []float64{5, 5, 5}) != 0 {
		t.Error("no movement must give 0")
	}
}

func TestNoTimeBaseIsSaid(t *testing.T) {
	rec := &trace.Recording{Time: trace.TimeBase{N: 30, Den: 1}}
	for _, n := range []string{"rpm", "coolant"} {
		ch := trace.Channel{Name: n}
		for range 30 {
			ch.Values = append(ch.Values, 80)
		}
		rec.Channels = append(rec.Channels, ch)
	}
	res, err := Capture(ParameterLog, rec, Meta{})
	said := false
	for _, n := range res.Notes {
		said = said || strings.Contains(n.Text, "no time base")
	}
	if err != nil || !said {
		t.Errorf("%v %+v", err, res.Notes)
	}
}

func BenchmarkParameters(b *testing.B) {
	d := plainDrive()
	d.minutes = 30
	ss := d.series(1)
	b.ResetTimer()
	for b.Loop() {
		if _, err := Parameters(ss, petrol16); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(ss)*len(ss[0].T))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mvalues/s")
}

// TestSteadyCountIsNoBurst: a count that rises every few seconds for ten minutes, on one
// cylinder alone, is no single event that chance could have put there.
func TestSteadyCountIsNoBurst(t *testing.T) {
	for _, every := range []int{3, 8} { // s
		var ss []Series
		rpm := Series{Name: "engine speed", Unit: unit.Must("rpm")}
		for k := range 600 {
			rpm.T, rpm.V = append(rpm.T, float64(k)), append(rpm.V, 2200)
		}
		ss = append(ss, rpm)
		for c := 1; c <= 4; c++ {
			s := Series{Name: fmt.Sprintf("Misfire count cylinder %d", c), Unit: unit.Must("count"), T: rpm.T}
			for k := range 600 {
				s.V = append(s.V, b2f(c == 3)*float64(k/every))
			}
			ss = append(ss, s)
		}
		res := parameters(t, ss, petrol16)
		for _, r := range res.Readings {
			if r.Feature == "misfire.rate" && r.N != 11000 { // 2200/2 a minute, ten minutes
				t.Errorf("%s: %d firings behind the rate", r.Subject, r.N)
			}
		}
		for _, f := range Judge(Task{Engine: vehicle.Engine{Cylinders: 4}, Readings: res.Readings, Asks: []Ask{{Test: "counts", Feature: "misfire.count", Versus: Count}}}) {
			if f.Feature == "misfire.count" && (f.State == evidence.High) != (f.Subject == evidence.Cyl(3)) {
				t.Errorf("every %d s: %s %s", every, f.State, f.Sentence)
			}
		}
	}
}
