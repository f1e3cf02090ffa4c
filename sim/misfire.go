package sim

import (
	"math"
	"math/rand/v2"

	"proveout/vehicle"
)

// gas is the charge of a cylinder at the spark in a condition.
func (v *Vehicle) gas(p parts, f fuelling, i int, u Under, manifoldPa float64) Gas {
	g := GasAtSpark(manifoldPa, v.atSpark(p, i, u), f.lambda[i]*(1+0.8*f.dilute))
	g.PressurePa *= 1 - 0.01*p.common.CamLateDegree
	return g
}

// fails draws whether a fired cylinder gives so little work that a crank sensor
// would count it. A spark that misses the gap lights nothing; a lean or diluted
// charge fails about its limit (lambda 1.34 at idle, 1.27 when driven hard), a
// rich one about 0.66; a thin charge about 66 % of its air at idle, where much
// burnt gas is left over, and 56 % under load; a spark that leaves too little
// energy in the gap, 3.5 mJ at idle and 8 mJ in strong flow, often does. Limits
// from memory.
func fails(rng *rand.Rand, sp Spark, gapJoule float64, g Gas, density, dropout float64, u Under) bool {
	chance := failChance(gapJoule, g, density, dropout, u)
	if sp.Misfire {
		chance = besideGap
	}
	return rng.Float64() < chance
}

// besideGap: a spark beside the gap, or none, now and then still lights.
const besideGap = 0.93

// failChance is the chance that a charge with a spark in its gap fails.
func failChance(gapJoule float64, g Gas, density, dropout float64, u Under) float64 {
	lean, thin, need := 1.27, 0.56, 8e-3
	if u.State == "idle" || u.State == "" || u.State == "overrun" {
		lean, thin, need = 1.34, 0.66, 3.5e-3
	}
	below := func(x, limit, width float64) float64 { return 1 / (1 + math.Exp((x-limit)/width)) }
	return 1 - (1-3e-6)*(1-below(-g.Lambda, -lean, 0.024))*(1-below(g.Lambda, 0.66, 0.025))*
		(1-below(density, thin, 0.03))*(1-0.6*below(gapJoule, need, 0.8e-3))*(1-dropout)
}

// besides is the chance that the spark is not in the gap: the need, spread from
// cycle to cycle, is above what the coil can give or above where something else
// flashes over.
func (s Secondary) besides(g Gas, need, available float64) float64 {
	if s.Open {
		return 1
	}
	above := func(x, limit, spread float64) float64 { // P(x spread > limit)
		return 0.5 * math.Erfc(math.Log(limit/x)/spread/math.Sqrt2)
	}
	sd := math.Sqrt(math.Log1p(g.spread() * g.spread()))
	p := above(need, available, sd)
	if s.LeakVolt > 0 {
		p = 1 - (1-p)*(1-above(need, s.LeakVolt, math.Hypot(sd, s.LeakSpread)))
	}
	return p
}

// gapJoule is the energy that reaches the gap after breakdown: what is left of
// the coil's, shared between the arc and the resistances in series with it.
func (s Secondary) gapJoule(sp Spark, g Gas) float64 {
	left := max(0, sp.StoredJoule-CapacitiveEnergy(s.Coil.SecondaryF, sp.Peak))
	amp := math.Sqrt(2 * left / s.Coil.SecondaryH)
	arc := s.arcVolt(g)
	return left * arc / (arc + 0.6*amp*(s.PlugOhm+s.SeriesOhm+s.Coil.WindingOhm))
}

// MisfireShare is the share of a cylinder's firings that fail in a condition,
// counted over n firings. The misfires of the other cylinders are not fed back.
func (v *Vehicle) MisfireShare(rng *rand.Rand, cylinder int, u Under, n int) float64 {
	return float64(v.misfires(rng, v.at(u), cylinder, u, n)) / float64(n)
}

// misfires draws how many of n firings fail.
func (v *Vehicle) misfires(rng *rand.Rand, p parts, cylinder int, u Under, n int) int {
	return binomial(rng, n, v.missChance(rng, p, cylinder, u))
}

// missChance averages the chance of a miss over the scatter of air and mixture.
func (v *Vehicle) missChance(rng *rand.Rand, p parts, cylinder int, u Under) float64 {
	i := cylinder - 1
	f := v.fuelling(p, u, nil)
	r := v.runs(p, u)
	sec, d := p.cyl[i].secondary(v.Engine, u.Wet == "wet"), v.atSpark(p, i, u)
	const draws = 60
	sum := 0.0
	for range draws {
		g := v.gas(p, f, i, u, r.manifoldPa*(1+0.03*rng.NormFloat64()))
		g.Lambda *= 1 + 0.02*rng.NormFloat64()*(1+4*p.common.Spoiled)
		sp, _ := sec.strike(rng, g, p.common.BatteryVolt)
		out := sec.besides(g, sp.median, sp.Available)
		if sp.Peak < sp.Required { // look at the energy of the firings that do reach the gap
			sp.Peak = math.Min(sp.median, sp.Available)
		}
		sum += out*besideGap + (1-out)*failChance(sec.gapJoule(sp, g), g, d, v.lost(p, i, u), u)
	}
	return sum / draws
}

// Leg is a stretch of a drive.
type Leg struct {
	Under
	Seconds float64
	RPM     float64 // 0 = usual for the state
}

// Opportunities is the firings of one cylinder in the leg: one in two revolutions.
func (v *Vehicle) opportunities(l Leg) int {
	rpm := l.RPM
	if rpm == 0 {
		rpm = v.running(l.Under).rpm
	}
	return int(l.Seconds * rpm / 120)
}

// MisfireCounts is what the engine module counts for each cylinder over a drive:
// nine tenths of the real ones, now and then the next cylinder in firing order
// instead, plus what a noisy sensor, a missing learn or a rough road adds above
// 3000 rpm or on that road.
func (v *Vehicle) MisfireCounts(rng *rand.Rand, legs []Leg) []int {
	n := v.Engine.Cylinders
	out := make([]int, n)
	for _, l := range legs {
		p := v.at(l.Under)
		opp := v.opportunities(l)
		for c := 1; c <= n; c++ {
			for range v.misfires(rng, p, c, l.Under, opp) {
				switch x := rng.Float64(); {
				case x < 0.90:
					out[c-1]++
				case x < 0.93:
					out[v.next(c)-1]++
				}
			}
			false3 := p.common.CrankNoise + p.common.LearnMissing
			if l.RPM < 3000 {
				false3 *= 0.1
			}
			if l.State == "cruise" || l.State == "load" {
				false3 += p.common.RoughRoad
			}
			out[c-1] += poisson(rng, false3/1000*float64(opp))
		}
	}
	return out
}

// next is the cylinder that fires after c; the same one if the order is unknown.
func (v *Vehicle) next(c int) int {
	o := v.Engine.FiringOrder
	for i, x := range o {
		if x == c {
			return o[(i+1)%len(o)]
		}
	}
	return c
}

// WeightedRegister is the register of test id 0B: 0.1 new + 0.9 old over drives,
// from 0.
func WeightedRegister(counts []int) float64 {
	r := 0.0
	for _, c := range counts {
		r = 0.1*float64(c) + 0.9*r
	}
	return r
}

func binomial(rng *rand.Rand, n int, p float64) int {
	if n > 200 { // normal or Poisson limit
		m := float64(n) * p
		if m < 30 {
			return min(n, poisson(rng, m))
		}
		return min(n, max(0, int(math.Round(m+math.Sqrt(m*(1-p))*rng.NormFloat64()))))
	}
	k := 0
	for range n {
		if rng.Float64() < p {
			k++
		}
	}
	return k
}

func poisson(rng *rand.Rand, m float64) int {
	if m > 200 {
		return max(0, int(math.Round(m+math.Sqrt(m)*rng.NormFloat64())))
	}
	k, l, p := 0, math.Exp(-m), rng.Float64()
	for p > l {
		k++
		p *= rng.Float64()
	}
	return k
}

// Secondary records a cylinder's secondary with an uncalibrated pickup: sparks
// over a profile of end seconds. The gain in the pickup is that of this
// placement. Waste sparks are among them on a waste-spark engine, and the second
// tower of a pair points the other way.
func (v *Vehicle) Secondary(rng *rand.Rand, cylinder int, u Under, prof Profile, end float64) ([]Spark, error) {
	if err := v.cylinder(cylinder); err != nil {
		return nil, err
	}
	i := cylinder - 1
	p := v.at(u)
	waste := v.Engine.Ignition == vehicle.WasteSpark
	sec := p.cyl[i].secondary(v.Engine, u.Wet == "wet")
	f := v.fuelling(p, u, nil)
	var out []Spark
	for k, m := range prof.Moments(rng, end, waste) {
		g := v.gas(p, f, i, u, m.ManifoldPa)
		g.Lambda *= 1 + 0.015*rng.NormFloat64()
		if early := v.early(p, i, u); early > 0 && rng.Float64() < early {
			g.Kelvin *= 2.5 // the charge burns already
		}
		batt := m.Battery - 14.1 + p.common.BatteryVolt
		s := sec
		exhaust := waste && k%2 == 1
		if exhaust { // burnt gas at about 1.1 bar and 900 K: a small share of the energy
			g.PressurePa, g.Kelvin, g.Lambda, g.Flow = 1.1e5, 900, 1, 0.5
			s.Coil.Efficiency *= 0.3
		} else if waste {
			s.Coil.Efficiency *= 0.85
		}
		sp := s.Fire(rng, g, batt)
		sp.At, sp.RPM, sp.ManifoldPa, sp.Waste = m.At, m.RPM, m.ManifoldPa, exhaust
		if !exhaust {
			sp.Misfire = fails(rng, sp, s.gapJoule(sp, g), g, v.atSpark(p, i, u), v.lost(p, i, u), u)
		}
		out = append(out, sp)
	}
	return out, nil
}

// Inverted reports whether a cylinder's tower gives the other polarity: the
// second one of a waste-spark pair.
func (v *Vehicle) Inverted(cylinder int) bool {
	if v.Engine.Ignition == vehicle.WasteSpark {
		for _, p := range v.Engine.Companions() {
			if p[1] == cylinder {
				return true
			}
		}
	}
	return false
}
