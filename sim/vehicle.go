package sim

import (
	"fmt"
	"math"
	"math/rand/v2"

	"proveout/vehicle"
)

// Vehicle is one simulated vehicle with its hidden faults. Make one with New or
// Draw, take files from Secondary, CrankingCurrent, ParameterLog and Messages,
// and typed answers from Ask. A Vehicle does not change when it is asked.
type Vehicle struct {
	Engine   vehicle.Engine
	Faults   []Fault // the truth
	VIN      string
	Year     int
	Odometer float64 // km
	healthy  parts
}

// parts is everything that can be right or wrong, for one condition.
type parts struct {
	cyl    []Cylinder
	common Common
}

func (p parts) copy() parts {
	q := parts{common: p.common, cyl: make([]Cylinder, len(p.cyl))}
	copy(q.cyl, p.cyl)
	return q
}

// Layouts are engines the generator draws from: 3 to 8 cylinders, the three
// kinds of ignition, port and direct injection, with and without boost.
func Layouts() []vehicle.Engine {
	banks := func(n int) []int { // vee with odd cylinders on bank 1
		out := make([]int, n)
		for i := range out {
			out[i] = 1 + i%2
		}
		return out
	}
	e := func(n int, arr string, order []int, ig vehicle.Ignition, in vehicle.Injection, boost bool, litre float64, access string) vehicle.Engine {
		x := vehicle.Engine{Cylinders: n, Arrangement: arr, FiringOrder: order, Ignition: ig, Injection: in, Boosted: boost, Fuel: "petrol", DisplacementL: litre, Access: access}
		if arr != "inline" {
			x.BankOf = banks(n)
		}
		return x
	}
	return []vehicle.Engine{
		e(4, "inline", []int{1, 3, 4, 2}, vehicle.CoilOnPlug, vehicle.Port, false, 1.6, "easy"),
		e(4, "inline", []int{1, 3, 4, 2}, vehicle.CoilOnPlug, vehicle.Direct, true, 1.4, "easy"),
		e(4, "inline", []int{1, 3, 4, 2}, vehicle.WasteSpark, vehicle.Port, false, 1.4, "easy"),
		e(4, "inline", []int{1, 3, 4, 2}, vehicle.Distributor, vehicle.Port, false, 1.8, "easy"),
		e(3, "inline", []int{1, 3, 2}, vehicle.CoilOnPlug, vehicle.Direct, true, 1.0, "easy"),
		e(5, "inline", []int{1, 2, 4, 5, 3}, vehicle.CoilOnPlug, vehicle.Port, true, 2.5, "easy"),
		e(6, "vee", []int{1, 2, 3, 4, 5, 6}, vehicle.CoilOnPlug, vehicle.Port, false, 3.0, "buried"),
		e(6, "vee", []int{1, 2, 3, 4, 5, 6}, vehicle.WasteSpark, vehicle.Port, false, 3.4, "buried"),
		e(8, "vee", []int{1, 8, 4, 3, 6, 5, 7, 2}, vehicle.CoilOnPlug, vehicle.Port, false, 5.0, "buried"),
	}
}

// New makes a vehicle with the given layout and faults; rng draws the ordinary
// spread of its parts. It fails for a layout or a fault that cannot be.
func New(rng *rand.Rand, e vehicle.Engine, faults ...Fault) (*Vehicle, error) {
	if err := e.Validate(); err != nil {
		return nil, err
	}
	if e.DisplacementL <= 0 {
		e.DisplacementL = 0.45 * float64(e.Cylinders)
	}
	v := &Vehicle{Engine: e, Faults: faults, Odometer: math.Round(60e3 + 110e3*rng.Float64())}
	v.Year = 2012 + rng.IntN(9)
	v.VIN = InventedVIN(rng, v.Year)
	v.healthy = v.drawHealthy(rng)
	p := v.healthy.copy()
	for _, f := range faults {
		if err := f.check(e); err != nil {
			return nil, err
		}
		f.apply(e, &p)
	}
	return v, nil
}

// How the generator draws. The chances are its own.
const (
	soundShare    = 0.08 // vehicles with nothing wrong
	twoShare      = 0.10 // with two faults
	UnlistedShare = 0.10 // whose first fault is in no book
)

// Draw makes a vehicle with a layout of Layouts and, by chance, no fault (8 %),
// one (82 %) or two (10 %) of those that can be on it. One vehicle in ten has a fault
// that no book lists.
func Draw(rng *rand.Rand) *Vehicle {
	l := Layouts()
	e := l[rng.IntN(len(l))]
	var faults []Fault
	if u := rng.Float64(); u >= soundShare {
		if rng.Float64() < UnlistedShare/(1-soundShare) {
			faults = append(faults, DrawUnlisted(rng, e))
		} else {
			faults = append(faults, DrawFault(rng, e))
		}
		if u >= 1-twoShare {
			faults = append(faults, DrawFault(rng, e))
		}
	}
	v, err := New(rng, e, faults...)
	if err != nil {
		panic("sim: a drawn fault does not fit its engine: " + err.Error())
	}
	return v
}

// drawHealthy draws sound parts with ordinary spread. Wear with distance: gaps
// 1.0 mm plus up to 0.12 mm.
func (v *Vehicle) drawHealthy(rng *rand.Rand) parts {
	n := v.Engine.Cylinders
	p := parts{cyl: make([]Cylinder, n)}
	gap := 1.0e-3 + 0.12e-3*rng.Float64()
	if v.Engine.Boosted {
		gap = 0.72e-3 + 0.06e-3*rng.Float64()
	}
	base := 0.05 + 0.03*rng.Float64() // leak-down common to the engine
	for i := range p.cyl {
		c := Cylinder{Coil: StreetCoil()}
		c.Coil.Efficiency *= lognormal(rng, 0.015)
		c.Coil.PrimaryOhm *= lognormal(rng, 0.01)
		if v.Engine.Boosted { // stronger coils where more voltage is needed
			c.Coil.TargetAmp = 8.3
		} else if v.Engine.Ignition == vehicle.Distributor { // the rotor gap must be fed too
			c.Coil.TargetAmp = 7.8
		}
		c.Plug = Plug{GapMetre: gap * (1 + 0.015*rng.NormFloat64()), Ohm: 5e3 * lognormal(rng, 0.06)}
		c.Wiring = Wiring{FeedOhm: 0.01 + 0.01*rng.Float64(), GroundOhm: 0.005 + 0.005*rng.Float64(), DwellFactor: 1}
		c.Injector = Injector{Flow: 1 + 0.012*rng.NormFloat64(), Ohm: 12.6 * (1 + 0.01*rng.NormFloat64()), KickVolt: 66 * (1 + 0.015*rng.NormFloat64()), CloseSecond: 1.35e-3 + 0.03e-3*rng.NormFloat64()}
		if v.Engine.Injection == vehicle.Direct {
			c.Injector.Ohm, c.Injector.CloseSecond = 1.5*(1+0.01*rng.NormFloat64()), 0.42e-3+0.01e-3*rng.NormFloat64()
		}
		c.Bore = Bore{LeakShare: max(0.02, base+0.012*rng.NormFloat64()), LeakInto: "crankcase", OilSeals: 0.3, Lift: 1 + 0.004*rng.NormFloat64()}
		p.cyl[i] = c
	}
	p.common = Common{BatteryVolt: 14.1 + 0.15*rng.NormFloat64(), CrankVolt: 10.4 + 0.2*rng.NormFloat64(), FuelKPa: v.nominalFuelKPa() * (1 + 0.01*rng.NormFloat64()),
		FuelLossLoad: 0.02, FuelRestKPa: 15 + 6*rng.Float64(), Ethanol: 0.05, Backpressure: 3.5 + rng.Float64(), CrankRatio: 10.5}
	if v.Engine.Boosted {
		p.common.CrankRatio = 9.6
	}
	return p
}

// at gives the parts as they are in a condition: faults that show only hot, cold
// or wet are there only then.
func (v *Vehicle) at(u Under) parts {
	p := v.healthy.copy()
	for _, f := range v.Faults {
		if f.shows(u) {
			f.apply(v.Engine, &p)
		}
	}
	return p
}

func (v *Vehicle) cylinder(n int) error {
	if n < 1 || n > v.Engine.Cylinders {
		return fmt.Errorf("there is no cylinder %d: the engine has %d", n, v.Engine.Cylinders)
	}
	return nil
}
