package sim

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"proveout/vehicle"
)

// Fault is one thing wrong with the vehicle, by a plain name of FaultNames.
type Fault struct {
	Name string
	// Cylinder is the place of a fault of one cylinder; for a gasket the lower of
	// the two neighbours, for a shared coil one of its pair.
	Cylinder int
	Bank     int
	// Severity from 0 (barely there) to 1 (bad); 0.5 is typical.
	Severity float64
	// When is "", "hot", "cold" or "wet": the only condition in which it shows.
	When string
}

// String says the truth in a few words.
func (f Fault) String() string {
	s := f.Name
	switch {
	case f.Cylinder > 0:
		s += fmt.Sprintf(", cylinder %d", f.Cylinder)
	case f.Bank > 0:
		s += fmt.Sprintf(", bank %d", f.Bank)
	}
	if f.When != "" {
		s += ", only when " + f.When
	}
	return s
}

// shows reports whether the fault is there in a condition.
func (f Fault) shows(u Under) bool { return f.When == "" || f.When == u.Warm || f.When == u.Wet }

type kind struct {
	name   string
	per    string // cylinder, neighbours, bank, engine
	fits   func(e vehicle.Engine) bool
	weight float64 // how often the generator draws it: its own choice
	// do spoils the parts; c is the cylinder (nil for engine-wide faults), s the severity.
	do func(e vehicle.Engine, p *parts, c *Cylinder, f Fault)
}

// kinds are all the simulator knows.
var kinds = slices.Concat(inBooks, inNoBook)

// inBooks are those of the trade tables.
var inBooks = []kind{
	{"wide plug gap", "cylinder", nil, 9, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Plug.GapMetre *= 1.32 + 0.33*f.Severity
	}},
	{"all plugs worn", "engine", nil, 7, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		for i := range p.cyl {
			p.cyl[i].Plug.GapMetre *= 1.25 + 0.30*f.Severity
		}
	}},
	{"cracked plug", "cylinder", nil, 4, func(e vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Plug.CrackVolt, c.Plug.LooksWrong = ceiling(e, f, 14e3, 4.5e3), "cracked"
	}},
	{"fouled plug", "cylinder", nil, 4, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Plug.Fouling, c.Plug.LooksWrong = 0.5+0.45*f.Severity, "fouled"
	}},
	{"boot leak", "cylinder", nil, 7, func(e vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Boot.LeakVolt = ceiling(e, f, 18.5e3, 5.5e3)
	}},
	{"corroded boot spring", "cylinder", nil, 3, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Boot.SeriesOhm = 30e3 + 120e3*f.Severity
	}},
	{"open boot", "cylinder", nil, 1, func(_ vehicle.Engine, _ *parts, c *Cylinder, _ Fault) { c.Boot.Open = true }},
	{"weak coil", "cylinder", hasOwnCoil, 8, weaken},
	{"weak shared coil", "engine", sharesCoil, 8, weaken},
	{"shorted coil turns", "cylinder", hasOwnCoil, 3, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Coil.PrimaryH *= 0.75 - 0.2*f.Severity
		c.Coil.Efficiency *= 0.46 - 0.15*f.Severity
		c.Coil.Quality, c.Coil.ShortedStep = 3.5, 1.2+1.5*f.Severity
	}},
	{"poor coil feed", "cylinder", hasOwnCoil, 3, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Wiring.FeedOhm += 0.6 + 1.0*f.Severity
	}},
	{"poor coil ground", "cylinder", hasOwnCoil, 2, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Wiring.GroundOhm += 0.6 + 1.0*f.Severity
	}},
	{"poor shared coil feed", "engine", nil, 3, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		for i := range p.cyl {
			p.cyl[i].Wiring.FeedOhm += 0.7 + 0.9*f.Severity
		}
	}},
	{"short dwell", "cylinder", hasOwnCoil, 2, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Wiring.DwellFactor = 0.75 - 0.2*f.Severity
	}},
	{"restricted injector", "cylinder", nil, 8, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Injector.Flow *= 0.84 - 0.20*f.Severity
	}},
	{"leaking injector", "cylinder", nil, 4, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Injector.Flow *= 1.06
		c.Injector.Drip = 0.20 + 0.35*f.Severity
		c.Plug.Fouling = max(c.Plug.Fouling, 0.25*f.Severity)
	}},
	{"dead injector", "cylinder", nil, 2, func(_ vehicle.Engine, _ *parts, c *Cylinder, _ Fault) {
		c.Injector.Dead, c.Injector.Ohm, c.Injector.KickVolt = true, 1e6, 0
	}},
	{"low fuel pressure", "engine", nil, 6, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.FuelLossLoad = 0.38 + 0.27*f.Severity
		p.common.FuelKPa *= 0.97
	}},
	{"spoiled fuel", "engine", nil, 2, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.Spoiled, p.common.Ethanol = 0.6+0.4*f.Severity, 0.10+0.55*f.Severity
	}},
	{"runner air leak", "cylinder", nil, 4, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Bore.Runner = 0.35 + 0.35*f.Severity
	}},
	{"plenum air leak", "engine", nil, 4, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.PlenumLeak = 0.14 + 0.14*f.Severity
	}},
	{"airflow reads low", "engine", nil, 4, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.AirflowError = -0.14 - 0.16*f.Severity
	}},
	{"purge stuck open", "engine", nil, 3, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.PurgeFuel = 0.16 + 0.25*f.Severity
	}},
	{"recirculation stuck open", "engine", nil, 3, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.Dilution = 0.20 + 0.15*f.Severity
	}},
	{"cam timing late", "engine", nil, 2, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.CamLateDegree = 10 + 15*f.Severity
	}},
	{"exhaust blocked", "engine", nil, 2, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.Backpressure = 22 + 30*f.Severity
	}},
	{"leaking valve", "cylinder", nil, 5, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Bore.LeakShare, c.Bore.OilSeals = 0.28+0.40*f.Severity, 0.03
		c.Bore.LeakInto = []string{"exhaust", "intake"}[int(f.Severity*20)%2]
	}},
	{"worn rings", "cylinder", nil, 3, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Bore.LeakShare, c.Bore.OilSeals, c.Bore.LeakInto = 0.26+0.30*f.Severity, 0.75, "crankcase"
	}},
	{"gasket leak between cylinders", "neighbours", nil, 2, func(e vehicle.Engine, p *parts, c *Cylinder, f Fault) {
		for _, pair := range e.Neighbours() {
			if pair[0] == f.Cylinder {
				for _, n := range pair {
					b := &p.cyl[n-1].Bore
					b.LeakShare, b.OilSeals, b.LeakInto = 0.36+0.3*f.Severity, 0.03, "neighbour"
				}
			}
		}
	}},
	{"worn lobe", "cylinder", nil, 3, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Bore.Lift = 0.72 - 0.22*f.Severity
	}},
	{"weak valve spring", "cylinder", nil, 1, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Bore.SpringRPM = 3600 - 500*f.Severity
	}},
	{"intake deposits", "engine", func(e vehicle.Engine) bool { return e.Injection == vehicle.Direct }, 3, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		for i := range p.cyl { // uneven, as deposits are
			p.cyl[i].Bore.DepositsNo = (0.4 + 0.6*f.Severity) * []float64{0.7, 1, 0.85, 1.1}[i%4]
		}
	}},
	{"noisy crank signal", "engine", nil, 2, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.CrankNoise = 4 + 12*f.Severity
	}},
	{"crank learn missing", "engine", nil, 2, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.LearnMissing = 4 + 10*f.Severity
	}},
	{"rough road", "engine", nil, 2, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.RoughRoad = 2 + 5*f.Severity
	}},
}

// ceiling scales a flash-over voltage with the voltage the engine needs: a
// boosted one works at smaller gaps and higher pressure.
func ceiling(e vehicle.Engine, f Fault, from, down float64) float64 {
	v := from - down*f.Severity
	if e.Boosted {
		v *= 1.15
	}
	return v
}

func hasOwnCoil(e vehicle.Engine) bool { return e.Ignition == vehicle.CoilOnPlug }

func sharesCoil(e vehicle.Engine) bool { return !hasOwnCoil(e) }

// weaken halves a coil. A shared coil weakens every cylinder it serves: the pair
// of Cylinder on a waste-spark engine, all of them behind a distributor.
func weaken(e vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
	one := func(n int) {
		c := &p.cyl[n-1].Coil
		c.Efficiency *= 0.58 - 0.18*f.Severity
		c.Quality = 5
	}
	switch e.Ignition {
	case vehicle.CoilOnPlug:
		one(f.Cylinder)
	case vehicle.WasteSpark:
		for _, pair := range e.Companions() {
			if pair[0] == f.Cylinder || pair[1] == f.Cylinder {
				one(pair[0])
				one(pair[1])
			}
		}
	default:
		for n := 1; n <= e.Cylinders; n++ {
			one(n)
		}
	}
}

// FaultNames lists the faults that can be on an engine, in a fixed order.
func FaultNames(e vehicle.Engine) []string {
	var out []string
	for _, k := range kinds {
		if k.fits == nil || k.fits(e) {
			out = append(out, k.name)
		}
	}
	return out
}

// DrawFault draws one fault of the trade tables for the engine, by the generator's
// own weights.
func DrawFault(rng *rand.Rand, e vehicle.Engine) Fault { return draw(rng, e, inBooks) }

// DrawUnlisted draws one that no book lists.
func DrawUnlisted(rng *rand.Rand, e vehicle.Engine) Fault { return draw(rng, e, inNoBook) }

func draw(rng *rand.Rand, e vehicle.Engine, from []kind) Fault {
	sum := 0.0
	for _, k := range from {
		if k.fits == nil || k.fits(e) {
			sum += k.weight
		}
	}
	u := rng.Float64() * sum
	for _, k := range from {
		if k.fits != nil && !k.fits(e) {
			continue
		}
		if u -= k.weight; u < 0 {
			return place(rng, e, k)
		}
	}
	return place(rng, e, from[0])
}

// place gives a fault a cylinder and a severity.
func place(rng *rand.Rand, e vehicle.Engine, k kind) Fault {
	f := Fault{Name: k.name, Severity: 0.15 + 0.85*rng.Float64()}
	switch {
	case k.per == "cylinder" || k.name == "weak shared coil":
		f.Cylinder = 1 + rng.IntN(e.Cylinders)
	case k.per == "neighbours":
		n := e.Neighbours()
		f.Cylinder = n[rng.IntN(len(n))][0]
	}
	return f
}

// check says what is wrong with a fault on an engine.
func (f Fault) check(e vehicle.Engine) error {
	i := slices.IndexFunc(kinds, func(k kind) bool { return k.name == f.Name })
	if i < 0 {
		return fmt.Errorf("%q is no fault of this simulator; it knows: %v", f.Name, FaultNames(e))
	}
	k := kinds[i]
	if k.fits != nil && !k.fits(e) {
		return fmt.Errorf("%q cannot be on this engine", f.Name)
	}
	if (k.per != "engine" || f.Name == "weak shared coil") && (f.Cylinder < 1 || f.Cylinder > e.Cylinders) {
		return fmt.Errorf("%q needs a cylinder from 1 to %d", f.Name, e.Cylinders)
	}
	return nil
}

// apply spoils the parts.
func (f Fault) apply(e vehicle.Engine, p *parts) {
	for _, k := range kinds {
		if k.name == f.Name {
			var c *Cylinder
			if f.Cylinder >= 1 && f.Cylinder <= len(p.cyl) {
				c = &p.cyl[f.Cylinder-1]
			}
			k.do(e, p, c, f)
		}
	}
}
