package job

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/strict"
	"proveout/unit"
)

// Plausible is what a quantity of a vehicle can be, worn and broken ones with it. A figure
// beyond is far more often a slip of the finger than a reading, and is asked about.
type Plausible struct {
	Low, High float64
	Unit      string
	Source    string
}

const wide = "our choice, wide: a slip of a digit or a unit lies beyond, a broken part does not"

// plausible figures by feature; a name that ends in a point stands for all features below
// it. The longest name wins.
var plausible = map[string]Plausible{
	"plug.gap":          {0, 5, "mm", wide},
	"valve.lift":        {0, 25, "mm", wide},
	"battery.":          {0, 36, "V", "our choice, wide: 12 V and 24 V systems on charge"},
	"battery.parasitic": {0, 200, "A", wide}, "battery.sleep_time": {0, 600, "min", wide}, "battery.state_of_charge": {0, 110, "%", wide},
	"charging.voltage": {0, 36, "V", "our choice, wide: 12 V and 24 V systems on charge"}, "charging.ripple": {0, 10, "V", wide},
	"cranking.voltage_min": {0, 36, "V", wide}, "cranking.current": {0, 3000, "A", wide}, "cranking.speed": {0, 1000, "rpm", wide},
	"circuit.voltage_drop": {-60, 60, "V", wide},
	"compression.":         {0, 10, "MPa", wide}, "cylinder.leak": {0, 100, "%", "a share of the whole"},
	"fuel.pressure_idle": {-100, 400e3, "kPa", "our choice, wide: high-pressure injection of diesel engines with it"},
	"fuel.pressure_load": {-100, 400e3, "kPa", "our choice, wide: high-pressure injection of diesel engines with it"},
	"fuel.ethanol":       {0, 100, "%", "a share of the whole"}, "fuel.volume": {0, 50, "L", wide}, "fuel.pump_current": {0, 100, "A", wide},
	"vacuum.idle":     {-5, 31, "inHg", "the air outside has 29.9 inHg at sea level (ISO 2533)"},
	"exhaust.lambda":  {0.3, 30, "lambda", wide},
	"trim.":           {-200, 200, "%", "SAE J1979, parameters 06 to 09: -100 to 99.2 % each, short plus long; from memory"},
	"coolant.running": {-60, 200, "degC", wide},
	"misfire.rate":    {0, 100, "%", "a share of the whole"}, "misfire.share": {0, 100, "%", "a share of the whole"}, "ignition.missing_share": {0, 100, "%", "a share of the whole"},
	"ignition.burn_time_":      {0, 20, "ms", wide},
	"ignition.firing_voltage_": {0, 80, "kV", wide},
	"coil.primary_current":     {0, 100, "A", wide}, "coil.clamp_voltage": {0, 2, "kV", wide},
	"injector.boost_voltage": {0, 400, "V", wide}, "injector.kick": {0, 2, "kV", wide}, "injector.on_time": {0, 100, "ms", wide},
	"log.idle_speed": {0, 5000, "rpm", wide}, "balance.drop": {-2000, 5000, "rpm", wide},
}

// neverBelowZero are the quantities that cannot be less than nothing.
var neverBelowZero = []unit.Dimension{unit.Length, unit.Resistance, unit.Time, unit.EngineSpeed, unit.Count, unit.Inductance, unit.Capacitance, unit.Frequency, unit.Volume, unit.VolumeFlow, unit.Mass, unit.Energy}

// supplyPlausible is the supply voltage of a vehicle's own low-voltage system.
var supplyPlausible = Plausible{0, 36, "V", "our choice, wide: 12 V and 24 V systems on charge"}

// PlausibleFor gives what a feature can be; false where nothing is known of it.
func PlausibleFor(feature string) (Plausible, bool) {
	best, found := "", false
	for name := range plausible {
		fits := name == feature || strings.HasSuffix(name, ".") && strings.HasPrefix(feature, name) || strings.HasSuffix(name, "_") && strings.HasPrefix(feature, name)
		if fits && len(name) >= len(best) {
			best, found = name, true
		}
	}
	return plausible[best], found
}

// Doubt is a figure far from what its quantity can be.
type Doubt struct {
	Typed string // as it was typed
	What  string // name of the quantity
	Range Plausible
}

// Question asks about it.
func (d Doubt) Question() string {
	return fmt.Sprintf("%s is far from what %s can be (%s; %s). Typed right?", d.Typed, d.What, d.Range, d.Range.Source)
}

// String writes the range: "0 to 5 mm".
func (p Plausible) String() string {
	if math.IsInf(p.High, 1) {
		return fmt.Sprintf("%g %s or more", p.Low, p.Unit)
	}
	return fmt.Sprintf("%g to %g %s", p.Low, p.High, p.Unit)
}

// Holds reports whether a value lies in the range; one of another dimension is not held
// to it.
func (p Plausible) Holds(q unit.Quantity) bool {
	u, err := unit.Parse(p.Unit)
	return err != nil || u.Dim != q.Unit.Dim || q.SI >= u.SI(p.Low) && q.SI <= u.SI(p.High)
}

// Doubts lists the figures of a typed reading that are far from what their quantity can
// be. feature is what the reading's test reads; the zero one where that is not known. The
// error is for a figure that is none: not finite, or without a number.
func Doubts(form Form, feature evidence.Feature) ([]Doubt, error) {
	var r struct {
		Value  any            `json:"value"`
		Values map[string]any `json:"values"`
		Unit   string         `json:"unit"`
	}
	if err := json.Unmarshal(form, &r); err != nil {
		return nil, err
	}
	typed := []string{}
	if r.Value != nil {
		typed = append(typed, fmt.Sprint(r.Value))
	}
	for _, v := range r.Values {
		typed = append(typed, fmt.Sprint(v))
	}
	slices.Sort(typed)
	var out []Doubt
	for _, t := range typed {
		q, err := quantity(t, r.Unit)
		if err != nil || math.IsNaN(q.SI) || math.IsInf(q.SI, 0) {
			if bare(t) || err == nil {
				continue
			}
			return nil, fmt.Errorf("%s is no number with a unit", strict.Quote(t))
		}
		if d, ok := doubt(t, q, feature); ok {
			out = append(out, d)
		}
	}
	return out, nil
}

func doubt(typed string, q unit.Quantity, f evidence.Feature) (Doubt, bool) {
	p, known := PlausibleFor(f.ID)
	if !known {
		if !slices.Contains(neverBelowZero, q.Unit.Dim) || q.SI >= 0 {
			return Doubt{}, false
		}
		p = Plausible{0, math.Inf(1), q.Unit.Symbol, "a " + string(q.Unit.Dim) + " is never less than nothing"}
	}
	what := f.Name
	if what == "" {
		what = "a " + string(q.Unit.Dim)
	}
	return Doubt{typed, what, p}, !p.Holds(q) && !(math.IsInf(p.High, 1) && q.SI >= 0)
}

// DoubtSupply asks about a typed supply voltage.
func DoubtSupply(typed, quantityName, symbol string) (Doubt, bool) {
	q, err := quantity(strings.Replace(typed, ",", ".", 1), symbol)
	if err != nil || quantityName != "supply voltage" {
		return Doubt{}, false // what cannot be read is refused where it is read
	}
	return Doubt{strings.TrimSpace(typed) + " " + symbol, "the supply voltage", supplyPlausible}, !supplyPlausible.Holds(q)
}
