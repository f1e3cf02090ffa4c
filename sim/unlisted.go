package sim

import (
	"math"

	"proveout/vehicle"
)

// Causes that no fault book lists, so that "something not listed" has cases: one
// drawn vehicle in ten has one (docs/evaluation.md). Each does something that the
// instruments see; amounts are from memory of the trade.
var inNoBook = []kind{
	// A short or crushed runner starves its cylinder the more, the more air is asked.
	{"narrowed intake runner", "cylinder", nil, 1, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Bore.Pinch = 0.42 + 0.25*f.Severity
	}},
	// The main feed breaks in vibration: single firings of any cylinder are lost.
	{"feed drops out", "engine", nil, 1, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.Dropout = 0.02 + 0.06*f.Severity
	}},
	// A plug of the wrong heat range glows when driven hard and lights the charge before
	// the spark, which then jumps a gap full of burnt gas: gap and insulator are sound.
	{"plug too hot", "cylinder", nil, 1, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Plug.Glow = 0.10 + 0.35*f.Severity
	}},
	// Broken catalyst or a collapsed liner in one exhaust port: the cylinder keeps its
	// burnt gas when much has to leave, and holds its pressure in the exhaust stroke.
	{"exhaust port choked", "cylinder", nil, 1, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Bore.Choke = 0.38 + 0.25*f.Severity
	}},
	// A rod bent by water or fuel leaves the piston low: less squeeze, and no leak.
	{"bent rod", "cylinder", nil, 1, func(_ vehicle.Engine, _ *parts, c *Cylinder, f Fault) {
		c.Bore.LowMetre = 2.2e-3 + 2.2e-3*f.Severity
	}},
	// Lacquer round the throttle plate: the closed throttle passes too little air.
	{"throttle lacquered", "engine", nil, 1, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.IdleStarved = 0.22 + 0.14*f.Severity
	}},
	// The coolant sensor tells of a cold engine: the module enriches for it, and with
	// the engine "cold" does not trim by the oxygen sensor.
	{"coolant sensor reads cold", "engine", nil, 1, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.CoolantKelvin = -62 - 33*f.Severity
	}},
	// A dragging brake: nothing is wrong with the engine, which works harder for less.
	{"brake drags", "engine", nil, 1, func(_ vehicle.Engine, p *parts, _ *Cylinder, f Fault) {
		p.common.Drag = 0.2 + 0.4*f.Severity
	}},
}

// UnlistedNames lists the faults that no book lists.
func UnlistedNames() []string {
	var out []string
	for _, k := range inNoBook {
		out = append(out, k.name)
	}
	return out
}

// lost is the share of the firings of cylinder i (from 0) that no spark can save: the
// feed breaks, or a glowing plug has lit the charge before its time.
func (v *Vehicle) lost(p parts, i int, u Under) float64 {
	return 1 - (1-p.common.dropout(u))*(1-v.early(p, i, u))
}

// early is the share of firings that a glowing plug lights too soon: none below 60 %
// of load, all it can at full load.
func (v *Vehicle) early(p parts, i int, u Under) float64 {
	return p.cyl[i].Plug.Glow * math.Max(0, v.loadPct(v.running(u))/100-0.6) / 0.4
}

// squeeze is the density of a charge at the spark over that of a sound cylinder with
// the same air: a low piston squeezes it less.
func (p parts) squeeze(i int) float64 {
	return (p.ratio(i) - 1) / (p.common.CrankRatio - 1)
}

// ratio is the compression ratio of cylinder i (from 0).
func (p parts) ratio(i int) float64 { return ratio(p.common.CrankRatio, p.cyl[i].Bore.LowMetre) }

// ratio is what is left of the ratio built with a piston that stops low metres too
// low, of a stroke of 86 mm.
func ratio(built, low float64) float64 {
	const strokeMetre = 0.086
	return 1 + strokeMetre/(strokeMetre/(built-1)+low)
}

// atSpark is the charge of cylinder i at the spark over that of a sound one.
func (v *Vehicle) atSpark(p parts, i int, u Under) float64 { return v.density(p, i, u) * p.squeeze(i) }

// runs is how the engine runs with what is wrong with the vehicle around it: slower at
// idle behind a lacquered throttle, harder and slower on the road against a brake.
func (v *Vehicle) runs(p parts, u Under) running {
	r, c := v.running(u), p.common
	switch u.State {
	case "idle", "":
		r.rpm *= 1 - 0.6*c.IdleStarved
	case "cruise":
		r.manifoldPa = math.Min(96e3, r.manifoldPa*(1+1.2*c.Drag))
		r.throttlePct *= 1 + 1.2*c.Drag
	case "load":
		r.speedKmh *= 1 - 0.4*c.Drag
		r.rpm *= 1 - 0.4*c.Drag
	}
	return r
}
