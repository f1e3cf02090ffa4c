package measure

import (
	"fmt"
	"sort"
	"strings"

	"proveout/evidence"
	"proveout/obd"
	"proveout/unit"
)

// signalRoles ties the standard's signals to the roles of a parameter log.
var signalRoles = map[string]string{
	"engine_speed": EngineSpeed, "vehicle_speed": VehicleSpeed, "coolant_temperature": Coolant, "intake_air_temperature": IntakeAir,
	"calculated_load": EngineLoad, "throttle_position": Throttle, "manifold_pressure": ManifoldPress, "barometric_pressure": Barometer,
	"air_flow": Airflow, "short_trim_bank1": ShortTrim, "long_trim_bank1": LongTrim, "short_trim_bank2": ShortTrim, "long_trim_bank2": LongTrim,
	"module_voltage": Supply, "fuel_level": FuelLevel, "ignition_advance": Advance, "run_time": RunTime,
	"pedal_position_d": Pedal, "lambda_commanded": LambdaTarget,
}

// sensorRole is the role of an oxygen sensor's signal, by where it sits: the first
// one of a bank is before the catalyst. Without a place it has none.
func sensorRole(p *obd.Series) (string, bool) {
	if p.Place.Bank == 0 {
		return "", false
	}
	switch first := p.Place.Position == 1; {
	case strings.HasSuffix(p.ID, "_voltage") && !strings.HasSuffix(p.ID, "_wide_voltage") && first:
		return Oxygen, true
	case strings.HasSuffix(p.ID, "_voltage") && !strings.HasSuffix(p.ID, "_wide_voltage"):
		return OxygenAfter, true
	case (strings.HasSuffix(p.ID, "_lambda_v") || strings.HasSuffix(p.ID, "_lambda_i")) && first:
		return Lambda, true
	}
	return "", false
}

// Diagnostics measures a decoded session: misfire monitor results of each
// cylinder, and parameters that were read over time. Only results read before
// the module was cleared count for the fault; what was read after a clear is
// said to be so.
func Diagnostics(s *obd.Session, meta Meta) (Result, error) {
	if s == nil {
		return Result{}, fmt.Errorf("there is no session to measure")
	}
	res := Result{Kind: Diagnostic}
	if s.MixedVehicles {
		for _, c := range []string{"misfire.count", "misfire.ewma"} {
			res.NotMeasured = append(res.NotMeasured, NotMeasured{Feature: c, Subject: evidence.WholeEngine, Why: "the capture holds answers of more than one vehicle", Fix: "keep one capture for each vehicle", Flag: evidence.WrongChannel, Item: meta.Item, When: meta.When, From: evidence.Source{File: meta.File}})
		}
		return res, nil
	}
	monitorMisfires(s, meta, &res)
	for _, m := range s.Modules {
		series := sessionSeries(m, meta)
		if !anyOverTime(series) {
			continue
		}
		r, err := Parameters(series, meta)
		if err != nil {
			res.Notes = append(res.Notes, Note{Text: err.Error(), Trouble: true, From: evidence.Source{File: meta.File, Channel: m.Address}})
			continue
		}
		res.Readings = append(res.Readings, r.Readings...)
		res.NotMeasured = append(res.NotMeasured, r.NotMeasured...)
		res.Notes = append(res.Notes, r.Notes...)
	}
	return res, nil
}

// sessionSeries makes series of the module's parameters that have a role and
// time stamps.
func sessionSeries(m *obd.Module, meta Meta) []Series {
	var out []Series
	for _, p := range m.Parameters {
		role, ok := signalRoles[p.ID]
		if !ok {
			role, ok = sensorRole(p)
		}
		if !ok || !p.HasTime || len(p.Samples) == 0 || p.Signal == nil || p.Factor != 0 {
			continue // a rescaled value (Factor) is not what it seems: left out
		}
		s := Series{Name: p.Name, Role: role, Subject: evidence.WholeEngine, Unit: p.Signal.Unit, From: evidence.Source{File: meta.File, Channel: m.Address + " " + p.ID}}
		switch role {
		case ShortTrim, LongTrim:
			bank := 1
			if p.ID[len(p.ID)-1] == '2' {
				bank = 2
			}
			s.Subject = evidence.BankNo(bank)
		case Oxygen, OxygenAfter, Lambda:
			s.Subject = evidence.BankNo(p.Place.Bank)
		}
		zero := p.Samples[0].Time
		for _, q := range m.Parameters {
			if q.HasTime && len(q.Samples) > 0 {
				zero = min(zero, q.Samples[0].Time)
			}
		}
		for _, x := range p.Samples {
			s.T = append(s.T, float64(x.Time-zero)*1e-9)
			s.V = append(s.V, x.Value)
		}
		out = append(out, s)
	}
	return out
}

// anyOverTime reports whether there is enough to call it a log: engine speed or
// two parameters over at least 10 s.
func anyOverTime(ss []Series) bool {
	long := 0
	for _, s := range ss {
		if n := len(s.T); n >= 8 && s.T[n-1]-s.T[0] >= 10 {
			long++
		}
	}
	return long >= 2
}

// monitorMisfires reads test 0C (counts of the last or current driving cycle) and
// 0B (register) of the cylinder monitors. The last value before a clear is used;
// the denominators are not in the message and stay unknown.
func monitorMisfires(s *obd.Session, meta Meta, res *Result) {
	type key struct {
		cyl int
		tid byte
	}
	latest := map[key]obd.MonitorReading{}
	module := map[key]string{}
	for _, m := range s.Modules {
		first := 1 << 30
		for _, r := range m.Monitors {
			if r.Cylinder > 0 && r.Misfire != "" {
				first = min(first, r.Clears)
			}
		}
		for _, r := range m.Monitors {
			if r.Cylinder == 0 || r.Misfire == "" {
				continue
			}
			if r.Clears > first {
				res.Notes = append(res.Notes, Note{Text: fmt.Sprintf("cylinder %d: a misfire result read after the codes were cleared was not used; the one from before counts", r.Cylinder), From: monitorSource(meta, m.Address, r)})
				continue
			}
			k := key{r.Cylinder, r.TID}
			latest[k], module[k] = r, m.Address
		}
	}
	keys := make([]key, 0, len(latest))
	for k := range latest {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool {
		if keys[i].tid != keys[j].tid {
			return keys[i].tid < keys[j].tid
		}
		return keys[i].cyl < keys[j].cyl
	})
	for _, k := range keys {
		r := latest[k]
		feature := "misfire.count"
		var flags []evidence.Flag
		if r.Misfire == "ewma" {
			feature = "misfire.ewma"
			flags = append(flags, evidence.Diluted)
		}
		if r.Verdict == obd.NotRun || !r.Scaled {
			res.NotMeasured = append(res.NotMeasured, NotMeasured{Feature: feature, Subject: evidence.Cyl(k.cyl), Why: "the monitor has not run since the last clear", Fix: "drive until it has run, then read it again", Flag: evidence.NoExposure, Item: meta.Item, When: meta.When, From: monitorSource(meta, module[k], r)})
			continue
		}
		q, err := unit.New(r.Value, unit.Must("count"))
		if err != nil {
			continue
		}
		// The module counts over a whole drive cycle, whatever the engine does while
		// the result is read: the state the capture was taken in is not the state of
		// the count.
		cond := meta.Condition
		cond.State, cond.SpeedRPM, cond.LoadPct = evidence.StateUnknown, 0, 0
		res.Readings = append(res.Readings, evidence.Reading{
			Item: meta.Item, Feature: feature, Subject: evidence.Cyl(k.cyl), Value: q, N: 1, Condition: cond, When: meta.When,
			Flags: flags, From: monitorSource(meta, module[k], r), Instrument: meta.Probe,
		})
	}
}

func monitorSource(meta Meta, address string, r obd.MonitorReading) evidence.Source {
	return evidence.Source{File: meta.File, Channel: address, First: r.Source.Record, Last: r.Source.Last, Line: r.Source.Line}
}
