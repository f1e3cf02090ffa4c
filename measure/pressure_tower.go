package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
)

// turned is the pressure of one cycle by crank degree, from -360 to 360 about the
// crest, Pa absolute.
type turned [721]float64

// at is the pressure between two degrees.
func (c *turned) at(deg float64) float64 {
	x := math.Max(0, math.Min(719.999, deg+360))
	i := int(x)
	return c[i] + (x-float64(i))*(c[i+1]-c[i])
}

// turn lays one cycle out by degree, as if the crank turned evenly through it. It
// does not, but it slows and quickens alike before and after top centre, so what is
// compared across the crest is at equal angles all the same.
func (g *pressure) turn(t tower) (c turned, ok bool) {
	for i := range c {
		c[i] = g.sampleAt(t.at + float64(i-360)/720*t.period)
		if math.IsNaN(c[i]) {
			return c, false
		}
	}
	return c, true
}

func meanCycle(all []turned) *turned {
	var m turned
	x := make([]float64, len(all))
	for i := range m {
		for k := range all {
			x[k] = all[k][i]
		}
		m[i] = stats.Median(x)
	}
	return &m
}

// Air, for what a leak does to a tower.
const (
	airGamma   = 1.4    // dry air at 20 degC (standards.md 8.9)
	critical   = 0.5283 // (2/(gamma+1))^(gamma/(gamma-1)): below, flow through a gap is choked
	towerFoot  = 0.12   // of the crest: down to here the tower is judged
	farthest   = 110    // degrees
	sideNoise  = 0.004  // relative: what the model leaves on the flanks
	mostAlike  = 0.999  // correlation of the two causes of lopsidedness from which they cannot be parted
	nearestDeg = 2
)

// leakRate is how fast the pressure in a cylinder at p falls by a small gap to
// ambient, up to a constant: for an adiabatic gas behind an orifice
//
//	dp/dt / p = -gamma dm/dt / m ~ p^((gamma-1)/(2 gamma)) / V psi,  V ~ p^(-1/gamma)
//
// so p^((gamma+1)/(2 gamma)) psi, with psi = 1 in choked flow and the Saint-Venant
// and Wantzel function below it. Source: Heywood, Internal Combustion Engine
// Fundamentals, appendix C (from memory).
func leakRate(p, ambient float64) float64 {
	r := ambient / p
	if r >= 1 {
		return 0
	}
	psi := 1.0
	if r > critical {
		f := func(r float64) float64 { return math.Pow(r, 2/airGamma) - math.Pow(r, (airGamma+1)/airGamma) }
		psi = math.Sqrt(f(r) / f(critical))
	}
	return math.Pow(p/ambient, (airGamma+1)/(2*airGamma)) * psi
}

// towerLoss emits the share of the charge that is gone between compression and
// expansion, and returns how far true top centre lies behind the crest (degrees)
// and the loss as a fraction.
//
// A tight cylinder gives back in expansion what it took in compression: p V^n is
// constant, and the tower is the same on both sides of top centre. A leak lowers the
// right flank. But it also moves the crest ahead of top centre, and a wrong top
// centre lowers a flank too. Both are parted by their form. With q = ln p of the
// mean tower about its crest,
//
//	y(a) = q(-a) - q(a) = eps s(a) + b g(a)
//	s(a) = q'(-a) - q'(a)            a shift eps of top centre: fades down the flanks
//	g(a) = integral of leakRate      a leak: grows to the foot
//
// solved by weighted least squares for each cycle. The loss is 1 - exp(-b g(foot)/gamma),
// since p ~ m^gamma at a given volume. With a mark of top centre eps is known. Heat
// lost to the walls looks like a leak of some per cent, alike on all cylinders: the
// loss is judged against the others.
func (g *pressure) towerLoss(m *turned, all []turned, first, last int) (shift, loss float64, ok bool) {
	const feature = "cylinder.tower_loss"
	crest := m[360]
	foot := nearestDeg
	for foot < farthest && math.Min(m.at(float64(-foot-1)), m.at(float64(foot+1))) > math.Max(towerFoot*crest, 1.02*m.at(intakeTo)) {
		foot++
	}
	if foot < 30 {
		g.refuse(feature, evidence.Noisy, fmt.Sprintf("the tower stands only %.0f kPa over its foot", (crest-m.at(intakeTo))/1e3), "crank with the throttle open, or let it idle")
		return 0, 0, false
	}
	mark, markSD, marked := g.topCentre()
	var ss, sg, gg float64
	s, lk, w := make([]float64, foot+1), make([]float64, foot+1), make([]float64, foot+1)
	for a := 1; a <= foot; a++ {
		q := func(d int) float64 { return math.Log(m.at(float64(d))) }
		s[a] = (q(-a+2)-q(-a-2))/4 - (q(a+2)-q(a-2))/4
		l := func(d int) float64 { return leakRate(m.at(float64(d)), g.ambient) }
		lk[a] = lk[a-1] + (l(-a)+l(1-a)+l(a)+l(a-1))/2
		x, y := g.sigma/m.at(float64(-a)), g.sigma/m.at(float64(a))
		w[a] = 1 / (sideNoise*sideNoise + x*x + y*y)
		if a < nearestDeg {
			w[a] = 0
		}
		ss, sg, gg = ss+w[a]*s[a]*s[a], sg+w[a]*s[a]*lk[a], gg+w[a]*lk[a]*lk[a]
	}
	if !(gg > 0) || !marked && sg*sg > mostAlike*ss*gg {
		g.refuse(feature, evidence.Noisy, "a leak and a shift of top centre give this tower the same form", "record a mark of top centre beside it (as: top_centre)")
		return 0, 0, false
	}
	losses, shifts := make([]float64, len(all)), make([]float64, len(all))
	for k := range all {
		var ys, yg float64
		for a := nearestDeg; a <= foot; a++ {
			y := math.Log(all[k].at(float64(-a)) / all[k].at(float64(a)))
			ys, yg = ys+w[a]*y*s[a], yg+w[a]*y*lk[a]
		}
		eps, b := 0.0, 0.0
		if marked {
			eps = -mark
			b = (yg - eps*sg) / gg
		} else {
			det := ss*gg - sg*sg
			eps, b = (ys*gg-yg*sg)/det, (yg*ss-ys*sg)/det
		}
		losses[k], shifts[k] = 1-math.Exp(-b*lk[foot]/airGamma), -eps
	}
	loss, _, se := middle(losses)
	shift = stats.Median(shifts)
	if loss < firesBelow {
		g.refuse(feature, evidence.WrongChannel, fmt.Sprintf("expansion carries %.0f %% more than compression: the cylinder burns", -100*loss), "cut its fuel and spark, and take it again")
		return shift, loss, true
	}
	sys := math.Hypot(leakFloor, leakSystematic*loss)
	if marked {
		sys = math.Hypot(sys, markSD*sg/gg*lk[foot]/airGamma)
		g.note("", false, "%s: top centre by its mark, %.1f degrees after the crest", g.ch.Name, mark)
	} else {
		g.note("", false, "%s: there is no mark of top centre; it was taken from the form of the tower, %.1f degrees after the crest", g.ch.Name, shift)
	}
	g.emit(feature, "%", 100*loss, 100*math.Hypot(se, sys), len(all), first, last)
	return shift, loss, true
}

// topCentre finds the mark of top centre relative to the crest, in degrees after it;
// ok is false without one, or where it cannot be that of this cylinder.
func (g *pressure) topCentre() (deg, sd float64, ok bool) {
	ch := g.companion(CylinderPressure, RoleTopCentre, g.subject)
	if ch == nil {
		return 0, 0, false
	}
	mid := stats.Median(periods(g.towers))
	var offs []float64
	pulses := pulseMiddles(ch.Values, 0.2*mid*g.rate)
	for _, t := range g.towers {
		best := math.Inf(1)
		for _, m := range pulses {
			if d := (float64(g.rec.Time.At(int(m))-g.rec.Time.At(0))*1e-9 + (m-math.Floor(m))/g.rate - t.at) / t.period * 720; math.Abs(d) < math.Abs(best) {
				best = d
			}
		}
		if math.Abs(best) < 180 {
			offs = append(offs, best)
		}
	}
	if len(offs) < fewestTowers {
		g.note(evidence.Unplaced, true, "%s: %s has no pulse at the strokes; top centre is taken from the tower", g.ch.Name, ch.Name)
		return 0, 0, false
	}
	deg = stats.Median(offs)
	if s := spreadOf(offs); math.Abs(deg) > markFar || s > markScatter {
		g.note(evidence.Unplaced, true, "%s: %s lies %.0f degrees from the crest, scattered by %.1f: it is no mark of this cylinder's top centre and was not used", g.ch.Name, ch.Name, deg, s)
		return 0, 0, false
	}
	return deg, math.Hypot(0.3, spreadOf(offs)/math.Sqrt(float64(len(offs)))), true
}
