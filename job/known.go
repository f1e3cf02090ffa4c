package job

import (
	"fmt"
	"slices"

	"proveout/strict"
	"proveout/unit"
)

// Known is what you know of the vehicle or the circuit and no trace shows. Some
// readings need such a fact; without it they say which.
type Known struct {
	Supply             string  `yaml:"supply"`              // "13.8 V": at the feed of coil or injector, while it is switched off
	Driver             string  `yaml:"driver"`              // "0.6 V": left across the closed driver at full current
	Ambient            string  `yaml:"ambient"`             // "98 kPa": pressure of the air outside
	BatteryTemperature string  `yaml:"battery_temperature"` // "8 degC"
	PulleyRatio        float64 `yaml:"pulley_ratio"`        // turns of the alternator for one of the crank
	PolePairs          int     `yaml:"pole_pairs"`          // of the alternator
	PumpBars           int     `yaml:"pump_bars"`           // commutator bars of the fuel pump motor
	CrankTeeth         int     `yaml:"crank_teeth"`         // teeth of the crank wheel in one turn, missing ones counted
	PulsedOrder        []int   `yaml:"pulsed_order"`        // cylinders in the order in which their injectors were pulsed
}

// Facts is Known, checked, in SI (temperature in degree Celsius). Zero: not known.
type Facts struct {
	SupplyVolts, DriverVolts, AmbientPa float64
	BatteryCelsius                      *float64
	PulleyRatio                         float64
	PolePairs, PumpBars, CrankTeeth     int
	PulsedOrder                         []int
}

// With gives the facts with those of a nearer place (a capture) in front.
func (f Facts) With(near Facts) Facts {
	for _, p := range []struct {
		to   *float64
		from float64
	}{{&f.SupplyVolts, near.SupplyVolts}, {&f.DriverVolts, near.DriverVolts}, {&f.AmbientPa, near.AmbientPa}, {&f.PulleyRatio, near.PulleyRatio}} {
		if p.from != 0 {
			*p.to = p.from
		}
	}
	for _, p := range []struct {
		to   *int
		from int
	}{{&f.PolePairs, near.PolePairs}, {&f.PumpBars, near.PumpBars}, {&f.CrankTeeth, near.CrankTeeth}} {
		if p.from != 0 {
			*p.to = p.from
		}
	}
	if near.BatteryCelsius != nil {
		f.BatteryCelsius = near.BatteryCelsius
	}
	if len(near.PulsedOrder) > 0 {
		f.PulsedOrder = near.PulsedOrder
	}
	return f
}

// Ranges in which a fact can lie at all: our choice, wide. Outside, the unit or the
// digit is wrong, and the fact is left out.
const (
	mostSupply, mostDriver    = 60.0, 10.0
	leastAmbient, mostAmbient = 40e3, 115e3 // 7000 m up to a deep mine
	leastBattery, mostBattery = -60.0, 90.0
	leastPulley, mostPulley   = 0.5, 8.0
	mostPoles, mostBars       = 30, 60
	mostCrankTeeth            = 400
)

// known checks the facts at a place of the file; one that cannot be is left out and
// named.
func (r *resolver) known(w Known, steps ...any) Facts {
	return w.check(r.in.Engine.Cylinders, func(name, text string) {
		r.err(text, append(slices.Clone(steps), "known", name)...)
	})
}

// Check gives the facts of someone who has no job file, for an engine of so many
// cylinders; the error names the first that cannot be.
func (w Known) Check(cylinders int) (Facts, error) {
	var first error
	f := w.check(cylinders, func(name, text string) {
		if first == nil {
			first = fmt.Errorf("%s: %s", name, text)
		}
	})
	return f, first
}

// check says what cannot be, by the name of the fact, and leaves it out.
func (w Known) check(cylinders int, say func(name, text string)) Facts {
	var f Facts
	read := func(name, text, sample string, dim unit.Dimension, low, high float64) (float64, bool) {
		if text == "" {
			return 0, false
		}
		q, err := quantity(text, "")
		switch {
		case err != nil:
			say(name, err.Error())
		case q.Unit.Dim != dim:
			say(name, fmt.Sprintf("%s is no %s; write for example %s", strict.Quote(text), dim, sample))
		case !(q.SI >= low && q.SI <= high):
			say(name, fmt.Sprintf("%s cannot be; write for example %s", strict.Quote(text), sample))
		default:
			return q.SI, true
		}
		return 0, false
	}
	f.SupplyVolts, _ = read("supply", w.Supply, "13.8 V", unit.Voltage, 1, mostSupply)
	f.DriverVolts, _ = read("driver", w.Driver, "0.6 V", unit.Voltage, 0, mostDriver)
	f.AmbientPa, _ = read("ambient", w.Ambient, "98 kPa", unit.Pressure, leastAmbient, mostAmbient)
	if c, ok := read("battery_temperature", w.BatteryTemperature, "8 degC", unit.Temperature, leastBattery, mostBattery); ok {
		f.BatteryCelsius = &c
	}
	switch p := w.PulleyRatio; {
	case p == 0:
	case p < leastPulley || p > mostPulley:
		say("pulley_ratio", fmt.Sprintf("%g cannot be: it is the turns of the alternator for one of the crank, usually 2 to 3.5", p))
	default:
		f.PulleyRatio = p
	}
	count := func(name string, n, most int) int {
		if n < 0 || n > most {
			say(name, fmt.Sprintf("%d cannot be; write a number from 1 to %d", n, most))
			return 0
		}
		return n
	}
	f.PolePairs = count("pole_pairs", w.PolePairs, mostPoles)
	f.PumpBars = count("pump_bars", w.PumpBars, mostBars)
	f.CrankTeeth = count("crank_teeth", w.CrankTeeth, mostCrankTeeth)
	for i, c := range w.PulsedOrder {
		if c < 1 || c > cylinders || slices.Contains(w.PulsedOrder[:i], c) {
			say("pulsed_order", fmt.Sprintf("%v must name cylinders 1 to %d, each once; not used", w.PulsedOrder, cylinders))
			return f
		}
	}
	f.PulsedOrder = w.PulsedOrder
	return f
}
