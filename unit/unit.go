package unit

import (
	"fmt"
	"math"
	"sort"
	"strings"
)

// Dimension says what kind of thing a unit measures. Two units convert into
// each other only within one dimension.
type Dimension string

// The dimensions the bay uses. The comment names the SI unit values are held in.
const (
	None         Dimension = "none"          // 1 (ratio, count, lambda)
	Percent      Dimension = "percent"       // percent, kept apart from None so that 12 % is never read as 12
	Voltage      Dimension = "voltage"       // V
	Current      Dimension = "current"       // A
	Time         Dimension = "time"          // s
	Pressure     Dimension = "pressure"      // Pa
	Resistance   Dimension = "resistance"    // ohm
	Inductance   Dimension = "inductance"    // H
	Capacitance  Dimension = "capacitance"   // F
	Torque       Dimension = "torque"        // N m
	Angle        Dimension = "angle"         // degree: the trade and every standard used here count crank degrees
	Length       Dimension = "length"        // m
	Temperature  Dimension = "temperature"   // degree Celsius
	Speed        Dimension = "speed"         // m/s
	EngineSpeed  Dimension = "engine speed"  // rpm: kept in rpm, the regulation's own unit
	Frequency    Dimension = "frequency"     // Hz
	MassFlow     Dimension = "mass flow"     // kg/s
	VolumeFlow   Dimension = "volume flow"   // m3/s
	Volume       Dimension = "volume"        // m3
	Mass         Dimension = "mass"          // kg
	Energy       Dimension = "energy"        // J
	Power        Dimension = "power"         // W
	VoltageSlope Dimension = "voltage slope" // V/s
	CurrentSlope Dimension = "current slope" // A/s
	Count        Dimension = "count"         // events
	Concentrate  Dimension = "concentration" // parts per million
)

// Unit is one way to write a dimension. SI value = typed value*Factor + Offset.
type Unit struct {
	Symbol string
	Dim    Dimension
	Factor float64
	Offset float64
}

// SI converts a value in this unit to the SI unit of its dimension.
func (u Unit) SI(v float64) float64 { return v*u.Factor + u.Offset }

// FromSI converts an SI value to this unit.
func (u Unit) FromSI(v float64) float64 { return (v - u.Offset) / u.Factor }

// Step converts a difference (an uncertainty, a slope) in SI to this unit: the
// offset of temperature scales does not apply to differences.
func (u Unit) Step(d float64) float64 { return d / u.Factor }

// StepSI converts a difference in this unit to SI.
func (u Unit) StepSI(d float64) float64 { return d * u.Factor }

// IsZero reports whether no unit was given.
func (u Unit) IsZero() bool { return u.Symbol == "" }

// Exact factors: international inch 25.4 mm, pound 0.45359237 kg, standard
// gravity 9.80665 m/s2 (NIST SP 811, appendix B); inch of mercury at 0 degree
// Celsius 3386.389 Pa (same table).
const (
	psi  = 6894.757293168361 // 0.45359237*9.80665/0.0254^2
	inHg = 3386.389
)

var table = []Unit{
	{"1", None, 1, 0}, {"ratio", None, 1, 0}, {"lambda", None, 1, 0}, {"x", None, 1, 0},
	{"%", Percent, 1, 0},
	{"V", Voltage, 1, 0}, {"mV", Voltage, 1e-3, 0}, {"kV", Voltage, 1e3, 0}, {"uV", Voltage, 1e-6, 0},
	{"A", Current, 1, 0}, {"mA", Current, 1e-3, 0}, {"uA", Current, 1e-6, 0},
	{"s", Time, 1, 0}, {"ms", Time, 1e-3, 0}, {"us", Time, 1e-6, 0}, {"ns", Time, 1e-9, 0}, {"min", Time, 60, 0}, {"h", Time, 3600, 0},
	{"Pa", Pressure, 1, 0}, {"hPa", Pressure, 100, 0}, {"kPa", Pressure, 1e3, 0}, {"MPa", Pressure, 1e6, 0}, {"bar", Pressure, 1e5, 0}, {"mbar", Pressure, 100, 0}, {"psi", Pressure, psi, 0}, {"inHg", Pressure, inHg, 0},
	{"ohm", Resistance, 1, 0}, {"mohm", Resistance, 1e-3, 0}, {"kohm", Resistance, 1e3, 0}, {"Mohm", Resistance, 1e6, 0},
	{"H", Inductance, 1, 0}, {"mH", Inductance, 1e-3, 0}, {"uH", Inductance, 1e-6, 0},
	{"F", Capacitance, 1, 0}, {"uF", Capacitance, 1e-6, 0}, {"nF", Capacitance, 1e-9, 0}, {"pF", Capacitance, 1e-12, 0},
	{"Nm", Torque, 1, 0}, {"lbf.ft", Torque, 1.3558179483314004, 0},
	{"deg", Angle, 1, 0}, {"rad", Angle, 180 / math.Pi, 0},
	{"m", Length, 1, 0}, {"mm", Length, 1e-3, 0}, {"um", Length, 1e-6, 0}, {"cm", Length, 1e-2, 0}, {"km", Length, 1e3, 0}, {"in", Length, 0.0254, 0}, {"mi", Length, 1609.344, 0},
	{"degC", Temperature, 1, 0}, {"degF", Temperature, 5.0 / 9, -160.0 / 9}, {"K", Temperature, 1, -273.15},
	{"m/s", Speed, 1, 0}, {"km/h", Speed, 1 / 3.6, 0}, {"mph", Speed, 0.44704, 0},
	{"rpm", EngineSpeed, 1, 0},
	{"Hz", Frequency, 1, 0}, {"kHz", Frequency, 1e3, 0}, {"MHz", Frequency, 1e6, 0},
	{"kg/s", MassFlow, 1, 0}, {"g/s", MassFlow, 1e-3, 0}, {"kg/h", MassFlow, 1.0 / 3600, 0},
	{"L/h", VolumeFlow, 1e-3 / 3600, 0}, {"L/min", VolumeFlow, 1e-3 / 60, 0}, {"m3/s", VolumeFlow, 1, 0},
	{"m3", Volume, 1, 0}, {"L", Volume, 1e-3, 0}, {"mL", Volume, 1e-6, 0},
	{"kg", Mass, 1, 0}, {"g", Mass, 1e-3, 0}, {"mg", Mass, 1e-6, 0},
	{"J", Energy, 1, 0}, {"mJ", Energy, 1e-3, 0},
	{"W", Power, 1, 0}, {"kW", Power, 1e3, 0},
	{"V/s", VoltageSlope, 1, 0}, {"V/ms", VoltageSlope, 1e3, 0}, {"mV/ms", VoltageSlope, 1, 0}, {"kV/ms", VoltageSlope, 1e6, 0},
	{"A/s", CurrentSlope, 1, 0}, {"A/ms", CurrentSlope, 1e3, 0},
	{"count", Count, 1, 0},
	{"ppm", Concentrate, 1, 0},
}

// aliases are other spellings met in file headers and on paper. Keys are
// lower case with spaces removed; see fold.
var aliases = map[string]string{
	"": "1", "-": "1", "volt": "V", "volts": "V", "v": "V", "kv": "kV", "mv": "mV", "millivolts": "mV",
	"amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "a": "A", "ma": "mA", "µa": "uA", "μa": "uA",
	"sec": "s", "secs": "s", "second": "s", "seconds": "s", "msec": "ms", "millisecond": "ms", "milliseconds": "ms", "µs": "us", "μs": "us", "usec": "us", "microseconds": "us", "minute": "min", "minutes": "min", "hour": "h", "hours": "h", "hr": "h",
	"pascal": "Pa", "kilopascal": "kPa", "kpa": "kPa", "kpag": "kPa", "kpaa": "kPa", "mpa": "MPa", "pa": "Pa", "psig": "psi", "psia": "psi", "lbf/in2": "psi", "lb/in2": "psi", "inhg": "inHg", "\"hg": "inHg", "bara": "bar", "barg": "bar",
	"Ω": "ohm", "ω": "ohm", "ohms": "ohm", "r": "ohm", "mω": "mohm", "kω": "kohm", "kohms": "kohm", "k": "kohm",
	"n.m": "Nm", "n·m": "Nm", "n*m": "Nm", "nm": "Nm", "lbft": "lbf.ft", "lb-ft": "lbf.ft", "ftlb": "lbf.ft", "ft-lb": "lbf.ft", "ft-lbs": "lbf.ft", "lb.ft": "lbf.ft", "lbf·ft": "lbf.ft",
	"°": "deg", "degree": "deg", "degrees": "deg", "degbtdc": "deg", "°btdc": "deg", "°ca": "deg", "degca": "deg", "°crank": "deg",
	"meter": "m", "metre": "m", "millimeter": "mm", "millimetre": "mm", "inch": "in", "inches": "in", "µm": "um", "μm": "um", "miles": "mi",
	"c": "degC", "°c": "degC", "â°c": "degC", "celsius": "degC", "degreesc": "degC", "f": "degF", "°f": "degF", "â°f": "degF", "fahrenheit": "degF", "kelvin": "K",
	"kph": "km/h", "kmh": "km/h", "kmph": "km/h", "mileperhour": "mph",
	"1/min": "rpm", "min-1": "rpm", "min^-1": "rpm", "u/min": "rpm", "rev/min": "rpm", "r/min": "rpm",
	"hertz": "Hz", "hz": "Hz", "khz": "kHz", "mhz": "MHz",
	"gm/s": "g/s", "g/sec": "g/s", "gps": "g/s", "l/h": "L/h", "lph": "L/h", "l/min": "L/min", "lpm": "L/min", "litre": "L", "liter": "L", "l": "L", "litres": "L", "ml": "mL", "cc": "mL",
	"pct": "%", "percent": "%", "prozent": "%",
	"counts": "count", "events": "count", "misfires": "count", "λ": "lambda", "×": "x", "times": "x",
	"w": "W", "kw": "kW", "mj": "mJ", "j": "J", "mh": "mH", "µh": "uH", "μh": "uH", "pf": "pF", "nf": "nF", "µf": "uF", "μf": "uF",
}

var bySymbol, byFold = index()

func index() (map[string]Unit, map[string]Unit) {
	exact, loose := make(map[string]Unit, len(table)), make(map[string]Unit, len(table))
	clash := map[string]bool{}
	for _, u := range table {
		exact[u.Symbol] = u
		f := fold(u.Symbol)
		if _, dup := loose[f]; dup {
			clash[f] = true // "mohm" and "Mohm" fold together: only the exact spelling decides
		}
		loose[f] = u
	}
	for f := range clash {
		delete(loose, f)
	}
	for a, s := range aliases {
		loose[a] = exact[s]
	}
	return exact, loose
}

func fold(s string) string {
	return strings.ToLower(strings.Join(strings.Fields(s), ""))
}

// Parse finds the unit written as s: first the exact symbol, then other
// spellings without regard to case and spaces, as long as milli cannot be taken
// for mega. The error lists the symbols.
func Parse(s string) (Unit, error) {
	s = strings.TrimSpace(s)
	if u, ok := bySymbol[s]; ok {
		return u, nil
	}
	if s == "M\u03a9" || s == "M\u2126" { // the letter omega, and the ohm sign
		return bySymbol["Mohm"], nil
	}
	if u, ok := byFold[fold(s)]; ok && u.Symbol != "" {
		if millionfold(s, u.Symbol) {
			return Unit{}, fmt.Errorf("unit %q could be milli or mega; write %s or its other case exactly", s, u.Symbol)
		}
		return u, nil
	}
	return Unit{}, fmt.Errorf("unit %q is not known; write one of: %s", s, strings.Join(Symbols(), " "))
}

// millionfold reports whether reading s as the symbol would turn a small m into
// a large one, or a large one into milliohm: a slip of a factor of a thousand
// million. Other capitals (MV, MS in a header in capitals) can only mean milli.
func millionfold(s, symbol string) bool {
	return strings.HasPrefix(s, "m") && symbol[0] == 'M' || strings.HasPrefix(s, "M") && symbol == "mohm"
}

// Must is Parse for program constants; it panics on an unknown symbol.
func Must(s string) Unit {
	u, err := Parse(s)
	if err != nil {
		panic("unit: " + err.Error())
	}
	return u
}

// Symbols lists the symbols Parse knows, in table order by dimension.
func Symbols() []string {
	out := make([]string, len(table))
	for i, u := range table {
		out[i] = u.Symbol
	}
	return out
}

// Of lists the units of one dimension, smallest factor first.
func Of(d Dimension) []Unit {
	var out []Unit
	for _, u := range table {
		if u.Dim == d {
			out = append(out, u)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Factor < out[j].Factor })
	return out
}
