package measure

import (
	"math"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
)

// goodCapture is a capture that can be measured, to be spoiled.
type goodCapture struct {
	name string
	kind string
	rec  *trace.Recording
	meta Meta
	main int // channel that is measured
	sync int // channel of the sync, -1 none
	// fast is the same engine at another speed; nil where there is no engine speed.
	fast *trace.Recording
}

// goodCaptures has at least one capture of each kind; TestBadInput holds that.
func goodCaptures(t *testing.T) []goodCapture {
	t.Helper()
	secondary := plainSynth()
	secondary.seconds, secondary.rate = 3, 500e3
	rec, _ := secondary.draw()
	out := []goodCapture{{"secondary", IgnitionSecondary, rec, onCylinder(1), 0, -1, nil}}
	secondary.rpm, secondary.seed = func(float64) float64 { return 2400 }, 5
	out[0].fast, _ = secondary.draw()
	par := plainParade(1, 3, 4, 2)
	par.crest = []float64{8, 9.5, 8, 7} // so that cylinders can be told apart
	par.burn = []float64{1.3e-3, 1.1e-3, 1.3e-3, 1.5e-3}
	out = append(out, goodCapture{"parade", IgnitionParade, par.draw(), paradeMeta("", 1, 3, 4, 2), 0, 1, nil})
	par.rpm = 2200
	out[1].fast = par.draw()
	coil := cyl2()
	coil.Known = Known{SupplyVolts: 14, DriverVolts: 0.5}
	out = append(out, goodCapture{"primary", IgnitionPrimary, sampledAt(100e3, channel("clamp", "A", plainRamps().draw())), coil, 0, -1, nil})
	ramps := plainRamps()
	ramps.period = 8e-3
	out[2].fast = sampledAt(100e3, channel("clamp", "A", ramps.draw()))
	out = append(out, goodCapture{"injector", InjectorKind, sampledAt(100e3, channel("clamp", "A", plainShots().draw())), coil, 0, -1, nil})
	shots := plainShots()
	shots.period, shots.on = 9e-3, 5e-3
	out[3].fast = sampledAt(100e3, channel("clamp", "A", shots.draw()))
	wheel := plainCrank()
	wheel.misfire = map[int]float64{}
	for c := 3; c < 28; c += 2 {
		wheel.misfire[4*c+1] = 0.05
	}
	out = append(out, goodCapture{"crank edges", CrankEdges, wheel.draw(), wheel.meta(), 0, 2, nil})
	start := plainStarter()
	start.weak = map[int]float64{1: 0.6}
	rec = start.draw()
	out = append(out, goodCapture{"cranking", CrankingCurrent, rec, start.meta(), 0, len(rec.Channels) - 1, nil})
	start.rpm, start.before = 520, 0
	out[5].fast = start.draw()
	cycle := []placedMove{{2, epbHealthy, 1}, {35, epbRelease, -1}}
	out = append(out, goodCapture{"brake", BrakeMotorCurrent, epb{seconds: 70, noise: 0.1, left: cycle, right: []placedMove{{4, epbHealthy, 1}, {37, epbRelease, -1}}, rest: 12.8, ohm: 0.01}.draw(), Meta{Item: 1}, 0, -1, nil})
	out = append(out, goodCapture{"battery start", BatteryKind, sampledAt(1e3, channel("battery", "V", batteryStart(1e3, 0.02, 1))), Meta{Item: 1, Condition: evidence.Condition{State: evidence.Cranking}}, 0, -1, nil})
	out = append(out, goodCapture{"battery ripple", BatteryKind, sampledAt(50e3, channel("battery", "V", rectified(50e3, 0.5, 375, 0.1, 0.005, true, 1))), Meta{Item: 1, Condition: evidence.Condition{State: evidence.Raised, SpeedRPM: 1500}}, 0, -1, nil})
	model := idleModel()
	out = append(out, goodCapture{"cylinder pressure", CylinderPressure, model.draw(), pressureMeta(evidence.Idle), 0, -1, nil})
	model.rpm, model.intake = 2200, 60e3
	out[len(out)-1].fast = model.draw()
	out = append(out, goodCapture{"rail pressure", FuelPressureKind, sampledAt(100, channel("rail", "kPa", pressures(10, 100, 2e3, 1, func(x float64) float64 { return 385e3 + 4e3*math.Sin(2*math.Pi*13*x) }))), inState(evidence.Idle), 0, -1, nil})
	out = append(out, goodCapture{"pump current", FuelPressureKind, sampledAt(25e3, channel("pump", "A", pumpCurrent(25e3, 2, 5600, 8, 1, 0.06, 1))), inState(evidence.Idle), 0, -1, nil})
	log := &trace.Recording{}
	drive := plainDrive()
	drive.minutes = 5
	for _, s := range drive.series(1) {
		log.Channels = append(log.Channels, trace.Channel{Name: s.Name, Unit: s.Unit, Values: s.V})
		log.Time.N = len(s.V)
	}
	log.Time.Num, log.Time.Den, log.Segments = 2e8, 1, []trace.Segment{{End: log.Time.N}}
	for c, ch := range log.Channels {
		out = append(out, goodCapture{"parameter log, " + ch.Name, ParameterLog, log, petrol16, c, -1, nil})
	}
	return append(out, moreCaptures(t)...)
}

// moreCaptures are other instruments and tests of the same kinds: what another part of
// the code reads.
func moreCaptures(t *testing.T) []goodCapture {
	t.Helper()
	var out []goodCapture
	add := func(name, kind string, rec *trace.Recording, meta Meta, main int) {
		out = append(out, goodCapture{name, kind, rec, meta, main, -1, nil})
	}
	kv := plainSynth()
	kv.seconds, kv.rate, kv.gain = 2.5, 500e3, 1000
	rec, _ := kv.draw()
	meta := onCylinder(1)
	meta.Calibrated = true
	add("calibrated secondary", IgnitionSecondary, rec, meta, 0)
	add("primary voltage", IgnitionPrimary, only(spice(t, "coil_plain"), "driver"), cyl2(), 0)
	add("injector voltage", InjectorKind, noisy(only(spice(t, "injector_port"), "driver"), unit.Voltage, 0.05, 2), cyl2(), 0)
	add("peak and hold", InjectorKind, only(spice(t, "injector_hold"), "current"), cyl2(), 0)
	add("boosted", InjectorKind, only(spice(t, "injector_direct"), "current"), cyl2(), 0)
	add("rest pressure", FuelPressureKind, sampledAt(20, channel("rail", "kPa", pressures(330, 20, 1e3, 2, func(x float64) float64 { return 380e3 * math.Exp(-math.Max(0, x-3)/1200) }))), inState(evidence.Off), 0)
	meta = inState(evidence.KeyOn)
	meta.Known.Order = []int{1, 3, 4, 2}
	add("balance drops", FuelPressureKind, sampledAt(100, channel("rail", "kPa", pressures(44, 100, 1e3, 3, func(x float64) float64 {
		u, d := math.Mod(x, 11)-3, []float64{72e3, 75e3, 55e3, 74e3}[min(3, int(x/11))]
		return 380e3 - d*math.Max(0, math.Min(1, math.Min(u/0.5, (7.5-u)/0.5)))
	}))), meta, 0)
	off := Meta{Condition: evidence.Condition{State: evidence.Off}}
	add("parasitic", BatteryKind, sampledAt(1, channel("clamp", "A", pressures(1800, 1, 2e-3, 5, func(x float64) float64 {
		if x < 600 {
			return 0.9
		}
		return 0.032
	}))), off, 0)
	add("rested", BatteryKind, sampledAt(100, channel("battery", "V", pressures(10, 100, 5e-3, 6, func(float64) float64 { return 12.5 }))), off, 0)
	drop := pressures(4, 1000, 4e-3, 7, func(x float64) float64 {
		if x > 1 && x < 3 {
			return 0.36
		}
		return 0
	})
	amps := pressures(4, 1000, 0.5, 8, func(x float64) float64 {
		if x > 1 && x < 3 {
			return 150
		}
		return 0
	})
	add("voltage drop", BatteryKind, sampledAt(1000, channel("ground drop", "V", drop), channel("clamp", "A", amps)), Meta{Condition: evidence.Condition{State: evidence.Cranking}}, 0)
	model := crankingModel()
	add("cranking pressure", CylinderPressure, model.draw(), pressureMeta(evidence.Cranking), 0)
	return out
}
