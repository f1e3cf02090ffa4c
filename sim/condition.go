package sim

import (
	"math"

	"proveout/vehicle"
)

// Under is the condition something is done in. State is one of idle, raised,
// snap, cruise, load, cranking, overrun. Warm is cold, warm or hot; Wet is dry
// or wet; empty means warm and dry.
type Under struct{ State, Warm, Wet string }

// running is the engine's own state in a condition.
type running struct {
	rpm, manifoldPa, speedKmh, throttlePct float64
}

func (v *Vehicle) running(u Under) running {
	full := 96e3
	if v.Engine.Boosted {
		full = 168e3
	}
	switch u.State {
	case "raised":
		return running{2500, 29e3, 0, 16}
	case "snap":
		return running{2400, 95e3, 0, 88}
	case "cruise":
		return running{2150, 48e3, 82, 21}
	case "load":
		return running{2450, full * 0.97, 58, 72}
	case "overrun":
		return running{2200, 24e3, 60, 0}
	case "cranking":
		return running{215, 96e3, 0, 0}
	}
	return running{780, 32e3, 0, 13}
}

// airGramPerSecond is the speed-density law m = VE p V n / (120 R T) with 45
// degrees Celsius in the manifold and R = 287 J/(kg K).
func (v *Vehicle) airGramPerSecond(r running) float64 {
	ve := 0.80 + 0.06*math.Min(1, r.rpm/3500)
	return 1e3 * ve * r.manifoldPa * v.Engine.DisplacementL * 1e-3 * r.rpm / (120 * 287 * 318)
}

// loadPct is calculated load: air now over air at full throttle at this speed,
// sea level.
func (v *Vehicle) loadPct(r running) float64 {
	full := 100e3
	if v.Engine.Boosted {
		full = 172e3
	}
	return math.Min(100, 100*r.manifoldPa/full)
}

// fuelling is the mixture of each cylinder after the controller has done what it
// can, with the trims it needed.
type fuelling struct {
	lambda  []float64
	trim    []float64 // by bank, share, + = adding fuel
	dilute  float64
	fuelKPa float64
}

const (
	trimLimit = 0.25
	warmDegC  = 91.0
	loopDegC  = 40.0 // below it the mixture is not trimmed
)

// fuelling solves the mixture. Metered air sets the fuel; leaks, flow errors and
// pressure change the ratio; the bank sensor sees the mean of its cylinders and
// the trim puts that mean right: one of four at -20 % asks for 1/0.95 - 1 = +5 %.
func (v *Vehicle) fuelling(p parts, u Under, misfire []float64) fuelling {
	r, idle := v.running(u), v.running(Under{State: "idle"})
	n := v.Engine.Cylinders
	flow := v.airGramPerSecond(r) / v.airGramPerSecond(idle)
	// A leak flows with the vacuum behind it (choked below half atmosphere).
	pull := func(pa float64) float64 {
		x := pa / 101e3
		if x < 0.53 {
			return 1
		}
		return math.Sqrt(math.Max(0, 1-x) / 0.47)
	}
	leakScale := pull(r.manifoldPa) / pull(idle.manifoldPa) / flow
	demand := math.Min(1, flow/9)
	f := fuelling{fuelKPa: p.common.FuelKPa * (1 - p.common.FuelLossLoad*demand*demand)}
	pressure := math.Sqrt(f.fuelKPa / v.nominalFuelKPa())
	loadShare := v.loadPct(r) / 100
	meter := 1 + p.common.AirflowError*(0.2+0.8*loadShare)
	// Ethanol carries its own oxygen: stoichiometric ratio 9.0 against 14.7. The
	// engine was set up on fuel with 5 %.
	content := 1 / (1 + (p.common.Ethanol-0.05)*(14.7/9.0-1)*0.8)
	f.dilute = p.common.Dilution * leakScale
	f.lambda, f.trim = make([]float64, n), make([]float64, v.Engine.Banks())
	mean, count := make([]float64, len(f.trim)), make([]float64, len(f.trim))
	for i := range n {
		c := p.cyl[i]
		air := 1 + p.common.PlenumLeak*leakScale + c.Bore.Runner*leakScale
		if c.Injector.Dead {
			f.lambda[i] = 20
		} else {
			fuel := c.Injector.Flow*pressure*meter*content + c.Injector.Drip/flow + p.common.PurgeFuel*leakScale
			fuel *= (1 - 0.12*p.common.Spoiled) * (1 + 0.007*max(0, -20-p.common.CoolantKelvin)) // 7 % for 10 K of cold engine
			if u.Warm == "cold" {
				fuel *= 1 - 0.35*c.Bore.DepositsNo
			}
			f.lambda[i] = air / fuel
		}
		b := v.Engine.Bank(i+1) - 1
		mean[b] += 1 / f.lambda[i]
		if misfire != nil { // unburnt oxygen reads lean
			mean[b] -= 0.6 * misfire[i]
		}
		count[b]++
	}
	for b := range f.trim {
		if warmDegC+p.common.CoolantKelvin < loopDegC {
			break // the module does not trim a cold engine
		}
		f.trim[b] = math.Max(-trimLimit, math.Min(trimLimit, count[b]/math.Max(mean[b], 0.1)-1))
	}
	for i := range n {
		f.lambda[i] /= (1 + f.trim[v.Engine.Bank(i+1)-1]) * (1 + p.common.Enrich)
	}
	return f
}

func (v *Vehicle) nominalFuelKPa() float64 {
	if v.Engine.Injection == vehicle.Direct {
		return 500
	}
	return 350
}

// density is the share of its air a cylinder catches and holds till the spark.
func (v *Vehicle) density(p parts, i int, u Under) float64 {
	b, r := p.cyl[i].Bore, v.running(u)
	hold := 1.0 // slow running gives a leak time
	if r.rpm > 1500 {
		hold = 0.65
	}
	lift := b.Lift
	if r.manifoldPa < 40e3 { // throttled, the throttle sets the air more than the valve
		lift = math.Pow(lift, 0.6)
	}
	d := (1 - 0.8*hold*math.Max(0, b.LeakShare-0.06)) * lift
	d *= 1 - b.Pinch*v.loadPct(r)/100
	d *= 1 - b.Choke*v.loadPct(r)/100*math.Min(1, r.rpm/2400) // burnt gas that could not leave
	if u.State == "idle" || u.State == "" {
		d *= 1 - p.common.IdleStarved
	}
	d *= 1 - 0.006*p.common.CamLateDegree
	if u.State == "load" {
		d *= 1 - 0.006*math.Max(0, p.common.Backpressure-4)
	}
	if b.SpringRPM > 0 && r.rpm+1200 > b.SpringRPM {
		d *= 0.6
	}
	return math.Max(0.2, d)
}
