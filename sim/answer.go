package sim

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sort"

	"proveout/vehicle"
)

// Answer is what a person would type after a test: a number with its unit, or a
// word.
type Answer struct {
	Value float64
	Unit  string
	Word  string
}

// String writes the answer as it is typed into a job file.
func (a Answer) String() string {
	if a.Word != "" {
		return a.Word
	}
	return fmt.Sprintf("%.*f %s", decimals(a), a.Value, a.Unit)
}

func decimals(a Answer) int {
	switch a.Unit {
	case "kPa", "count", "rpm":
		return 0
	case "mm", "A", "V", "ms", "lambda", "x", "L", "ohm":
		return 2
	}
	return 1
}

// asked is what a question is answered from.
type asked struct {
	v   *Vehicle
	rng *rand.Rand
	p   parts
	u   Under
	i   int // cylinder index, 0 for questions about the engine
	c   *Cylinder
}

type question struct {
	per  string // cylinder, bank, engine
	at   string // the state the test is done in unless told otherwise
	unit string
	// abs and rel are one standard deviation of instrument and hand; from memory.
	abs, rel float64
	truth    func(a asked) float64
	word     func(a asked) string
	fits     func(e vehicle.Engine) bool
}

// ErrNothingToSee is the answer of a test that needs the misfire to be there when
// it is not.
var ErrNothingToSee = errors.New("the misfire did not show, so the test says nothing")

// Questions lists what Ask understands, by the names a job file uses: features
// for numbers, tests for words (plug_swap: stays, moves, moves_and_returns).
func Questions() []string {
	out := make([]string, 0, len(questions)+len(worded))
	for q := range questions {
		out = append(out, q)
	}
	for q := range worded {
		out = append(out, q)
	}
	sort.Strings(out)
	return out
}

// Per says whether a question is asked of a cylinder, a bank or the engine; ""
// for an unknown one.
func Per(q string) string {
	k, _ := find(q)
	return k.per
}

func find(q string) (question, bool) {
	if k, ok := questions[q]; ok {
		return k, true
	}
	k, ok := worded[q]
	return k, ok
}

// Ask answers a typed test from physics, with the instrument's error. place is
// the cylinder or bank, 0 for the engine. An empty u.State means the state the
// test is done in.
func (v *Vehicle) Ask(rng *rand.Rand, q string, place int, u Under) (Answer, error) {
	k, ok := find(q)
	if !ok {
		return Answer{}, fmt.Errorf("%q is no question of this simulator; see Questions", q)
	}
	if u.State == "" {
		u.State = k.at
	}
	a := asked{v: v, rng: rng, p: v.at(u), u: u}
	switch k.per {
	case "cylinder":
		if err := v.cylinder(place); err != nil {
			return Answer{}, err
		}
		a.i, a.c = place-1, &a.p.cyl[place-1]
	case "bank":
		if place < 1 || place > v.Engine.Banks() {
			return Answer{}, fmt.Errorf("there is no bank %d: the engine has %d", place, v.Engine.Banks())
		}
		a.i = place - 1
	}
	if k.word != nil {
		if k.fits != nil && !k.fits(v.Engine) {
			return Answer{}, fmt.Errorf("%q cannot be done on this engine", q)
		}
		w := k.word(a)
		if w == "" {
			return Answer{}, fmt.Errorf("%s: %w", q, ErrNothingToSee)
		}
		return Answer{Word: w}, nil
	}
	x := k.truth(a)
	x = x*(1+k.rel*rng.NormFloat64()) + k.abs*rng.NormFloat64()
	if k.unit == "count" {
		x = math.Max(0, math.Round(x))
	}
	return Answer{Value: x, Unit: k.unit}, nil
}

// crankKPa is gauge pressure in cranking: compression of the trapped charge with
// an exponent of 1.22 (heat and ring loss at cranking speed) from where the intake
// valve shuts, four fifths of the ratio: both from memory.
func crankKPa(p parts, b Bore, leak float64) float64 {
	tight, _ := Adiabatic(101.3, 293, 0.8*ratio(p.common.CrankRatio, b.LowMetre), 1.22)
	late := 1 - 0.008*p.common.CamLateDegree
	return (tight - 101.3) * math.Max(0.05, 1-1.05*math.Max(0, leak-0.05)) * late
}

func (a asked) crank() float64 { return crankKPa(a.p, a.c.Bore, a.c.Bore.LeakShare) }

func (a asked) breathe() float64 { return a.c.Bore.Lift }

// amp is the primary current at the end of dwell.
func (a asked) amp() float64 {
	i, _ := a.c.Coil.Charge(a.p.common.BatteryVolt, a.c.Wiring.FeedOhm+a.c.Wiring.GroundOhm, a.c.Coil.Dwell(a.p.common.BatteryVolt)*a.c.Wiring.DwellFactor)
	return i
}

func (a asked) trim() float64 {
	n := a.v.Engine.Cylinders
	miss := make([]float64, n)
	for i := range miss {
		miss[i] = float64(a.v.misfires(a.rng, a.p, i+1, a.u, 60)) / 60
	}
	return 100 * a.v.fuelling(a.p, a.u, miss).trim[a.i]
}

var questions = map[string]question{
	"plug.gap": {per: "cylinder", unit: "mm", abs: 0.02, truth: func(a asked) float64 { return a.c.Plug.GapMetre * 1e3 }},
	"boot.resistance": {per: "cylinder", unit: "kohm", rel: 0.02, truth: func(a asked) float64 {
		if a.c.Boot.Open {
			return 1e5
		}
		return (a.c.Boot.SeriesOhm + 1000) / 1e3
	}},
	"coil.primary_current": {per: "cylinder", at: "idle", unit: "A", rel: 0.02, truth: asked.amp},
	"coil.dwell":           {per: "cylinder", at: "idle", unit: "ms", abs: 0.02, truth: func(a asked) float64 { return 1e3 * a.c.Coil.Dwell(a.p.common.BatteryVolt) * a.c.Wiring.DwellFactor }},
	"coil.primary_resistance": {per: "cylinder", unit: "ohm", abs: 0.02, truth: func(a asked) float64 {
		return a.c.Coil.PrimaryOhm * math.Min(1, a.c.Coil.PrimaryH/StreetCoil().PrimaryH)
	}},
	"coil.feed_drop":      {per: "cylinder", at: "idle", unit: "V", abs: 0.02, truth: func(a asked) float64 { return a.amp() * a.c.Wiring.FeedOhm }},
	"coil.ground_drop":    {per: "cylinder", at: "idle", unit: "V", abs: 0.02, truth: func(a asked) float64 { return a.amp() * a.c.Wiring.GroundOhm }},
	"injector.resistance": {per: "cylinder", unit: "ohm", abs: 0.05, truth: func(a asked) float64 { return a.c.Injector.Ohm }},
	// 62 kPa for a sound injector, in proportion to flow; 2 kPa of hand and gauge.
	"injector.balance_drop": {per: "cylinder", unit: "kPa", abs: 2, truth: func(a asked) float64 {
		if a.c.Injector.Dead {
			return 0
		}
		return 62 * (a.c.Injector.Flow + 0.5*a.c.Injector.Drip)
	}},
	"injector.on_time": {per: "cylinder", at: "idle", unit: "ms", abs: 0.02, truth: func(a asked) float64 {
		f := a.v.fuelling(a.p, a.u, nil)
		return 1.0 + 1.6*(1+f.trim[a.v.Engine.Bank(a.i+1)-1])*a.v.running(a.u).manifoldPa/32e3
	}},
	"injector.kick":         {per: "cylinder", at: "idle", unit: "V", abs: 1, truth: func(a asked) float64 { return a.c.Injector.KickVolt }},
	"injector.closing_time": {per: "cylinder", at: "idle", unit: "ms", abs: 0.02, truth: func(a asked) float64 { return 1e3 * a.c.Injector.CloseSecond }},
	"fuel.pressure_idle":    {per: "engine", at: "idle", unit: "kPa", abs: 4, truth: func(a asked) float64 { return a.v.fuelling(a.p, a.u, nil).fuelKPa }},
	"fuel.pressure_load":    {per: "engine", at: "load", unit: "kPa", abs: 5, truth: func(a asked) float64 { return a.v.fuelling(a.p, a.u, nil).fuelKPa }},
	"fuel.rest_loss": {per: "engine", at: "off", unit: "kPa", abs: 4, truth: func(a asked) float64 {
		loss := a.p.common.FuelRestKPa
		for _, c := range a.p.cyl {
			loss += 450 * c.Injector.Drip
		}
		return math.Min(loss, a.p.common.FuelKPa)
	}},
	"fuel.volume":  {per: "engine", at: "key_on", unit: "L", abs: 0.02, truth: func(a asked) float64 { return 0.85 * (1 - 1.2*(a.p.common.FuelLossLoad-0.02)) }},
	"fuel.ethanol": {per: "engine", at: "off", unit: "%", abs: 1, truth: func(a asked) float64 { return 100 * a.p.common.Ethanol }},
	"cranking.ripple": {per: "cylinder", at: "cranking", unit: "A", abs: 2, truth: func(a asked) float64 {
		return 92 + 78*a.crank()/crankKPa(a.p, Bore{}, 0.05)
	}},
	"cranking.voltage_min": {per: "engine", at: "cranking", unit: "V", abs: 0.05, truth: func(a asked) float64 { return a.p.common.CrankVolt }},
	"cranking.speed":       {per: "engine", at: "cranking", unit: "rpm", abs: 4, truth: func(a asked) float64 { return a.v.running(a.u).rpm }},
	"compression.dry":      {per: "cylinder", at: "cranking", unit: "kPa", abs: 12, rel: 0.015, truth: asked.crank},
	"compression.wet": {per: "cylinder", at: "cranking", unit: "kPa", abs: 12, rel: 0.015, truth: func(a asked) float64 {
		b := a.c.Bore
		return 1.03 * crankKPa(a.p, b, b.LeakShare-b.OilSeals*math.Max(0, b.LeakShare-0.05))
	}},
	// Running compression from the air caught at idle, snap from four fifths of
	// the cranking value: trade.md 2.6, both falling with valve lift.
	"compression.running": {per: "cylinder", at: "idle", unit: "kPa", abs: 10, truth: func(a asked) float64 { return 0.36 * a.crank() * a.breathe() }},
	"compression.snap": {per: "cylinder", at: "snap", unit: "kPa", abs: 15, truth: func(a asked) float64 {
		return 0.80 * a.crank() * a.breathe() * (1 - a.c.Bore.Pinch) * (1 + 0.3*a.c.Bore.Choke) * (1 + 0.004*math.Max(0, a.p.common.Backpressure-4))
	}},
	"cylinder.leak": {per: "cylinder", at: "off", unit: "%", abs: 1.5, truth: func(a asked) float64 { return 100 * a.c.Bore.LeakShare }},
	"valve.lift":    {per: "cylinder", at: "off", unit: "mm", abs: 0.05, truth: func(a asked) float64 { return 9.8 * a.c.Bore.Lift }},
	"balance.drop": {per: "cylinder", at: "idle", unit: "rpm", abs: 3, truth: func(a asked) float64 {
		return 240 / float64(a.v.Engine.Cylinders) * a.v.atSpark(a.p, a.i, a.u) * (1 - a.share(a.p, a.i+1))
	}},
	"vacuum.idle": {per: "engine", at: "idle", unit: "inHg", abs: 0.3, truth: func(a asked) float64 {
		c := a.p.common
		lost := 18*c.PlenumLeak - 6*c.IdleStarved + 14*c.Dilution + 0.12*c.CamLateDegree
		for _, x := range a.p.cyl {
			lost += 5 * (x.Bore.Runner + math.Max(0, x.Bore.LeakShare-0.1)) / float64(len(a.p.cyl))
		}
		return (101.3-32)/3.386389 - lost
	}},
	"exhaust.backpressure": {per: "engine", at: "raised", unit: "kPa", abs: 0.5, truth: func(a asked) float64 { return a.p.common.Backpressure }},
	"exhaust.lambda": {per: "engine", at: "idle", unit: "lambda", abs: 0.004, truth: func(a asked) float64 {
		f, sum := a.v.fuelling(a.p, a.u, nil), 0.0
		for i, l := range f.lambda {
			sum += 1/l - 0.6*a.share(a.p, i+1)
		}
		return float64(len(f.lambda)) / math.Max(sum, 0.5)
	}},
	"battery.rested":   {per: "engine", at: "off", unit: "V", abs: 0.02, truth: func(a asked) float64 { return 12.62 - 0.3*math.Max(0, 13.5-a.p.common.BatteryVolt)/2 }},
	"charging.voltage": {per: "engine", at: "idle", unit: "V", abs: 0.03, truth: func(a asked) float64 { return a.p.common.BatteryVolt }},
	"trim.idle":        {per: "bank", at: "idle", unit: "%", abs: 1.3, truth: asked.trim},
	"trim.raised":      {per: "bank", at: "raised", unit: "%", abs: 1.3, truth: asked.trim},
	"trim.cruise":      {per: "bank", at: "cruise", unit: "%", abs: 1.3, truth: asked.trim},
	"trim.load":        {per: "bank", at: "load", unit: "%", abs: 1.5, truth: asked.trim},
	"air.volumetric_efficiency": {per: "engine", at: "load", unit: "%", abs: 1.5, truth: func(a asked) float64 {
		mean := 0.0
		for i := range a.p.cyl {
			mean += a.v.density(a.p, i, a.u) / float64(len(a.p.cyl))
		}
		return 86 * mean * (1 + a.p.common.AirflowError*(0.2+0.8*a.v.loadPct(a.v.running(a.u))/100))
	}},
	"coolant.running": {per: "engine", at: "idle", unit: "degC", abs: 0.7, truth: func(a asked) float64 { return warmDegC + a.p.common.CoolantKelvin }},
	"misfire.count": {per: "cylinder", at: "load", unit: "count", truth: func(a asked) float64 {
		return float64(a.v.MisfireCounts(a.rng, []Leg{{Under: a.u, Seconds: 60}})[a.i])
	}},
}
