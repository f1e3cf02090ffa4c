package sim

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
)

// Gas and crank gear of one cylinder that does not fire, from memory of textbooks
// unless a source stands beside it.
const (
	gasGamma      = 1.37   // air between 300 and 650 K
	gasConstant   = 287.0  // J/(kg K)
	chargeKelvin  = 318.0  // trapped charge
	wallKelvin    = 365.0  // bore, head and piston, warm
	wallPerDegree = 1.2e-3 // share of the excess over the wall that goes in a degree at 200 rpm
	rodToCrank    = 3.3    // rod length over crank radius
	sharpOrifice  = 0.81e-6 / 0.9
	outdoorPa     = 101.3e3
	intakeShuts   = 116.0 // degrees before top centre, sound cam: four fifths of the stroke are trapped
	exhaustOpens  = 138.0 // after it
	pressureStep  = 0.1   // degrees
)

// PressureRow is one sample of a transducer in the plug hole, gauge.
type PressureRow struct{ Seconds, KPa float64 }

// CylinderPressure records one cylinder, its spark and fuel cut, in cranking, at idle
// ("snap": idle with the throttle snapped open every 2.5 s) or raised. The gas is a
// single zone: energy and mass over small steps of the crank, walls that cool it, a
// leak through a sharp-edged hole, valves that open over some degrees.
//
// The hole is the one whose leak-down gauge shows Bore.LeakShare behind the usual
// 0.040 in orifice (FAA AC 43.13-1B): for small losses flow goes with the root of the
// difference, so A = A0 sqrt(share/(1-share)).
func (v *Vehicle) CylinderPressure(rng *rand.Rand, cylinder int, u Under, seconds, rateHz float64) ([]PressureRow, error) {
	if err := v.cylinder(cylinder); err != nil {
		return nil, err
	}
	p := v.at(u)
	g := newGas(v, p, cylinder, u)
	r := v.running(u)
	swing, snaps := 0.01, u.State == "snap"
	if snaps {
		r = v.running(Under{State: "idle"})
	}
	if u.State == "cranking" {
		swing = 0.08
	}
	var out []PressureRow
	deg := -360 + 150*rng.Float64() // somewhere in the intake stroke
	g.start(r.manifoldPa)
	for i := 0; i < int(seconds*rateHz); i++ {
		t := float64(i) / rateHz
		rpm, manifold := r.rpm, r.manifoldPa
		if x := math.Mod(t, 2.5) - 1; snaps && x >= 0 && x < 1.3 {
			open := math.Min(1, x/0.05) * math.Max(0, math.Min(1, (0.6-x)/0.05))
			manifold += (95e3 - manifold) * open
			rpm *= 1 + 2*math.Min(x, 0.6)/0.6 - 2*math.Max(0, x-0.6)/0.7
		}
		rpm *= 1 - swing*math.Cos(float64(v.Engine.Cylinders)/2*deg*math.Pi/180)
		for turned := 6 * rpm / rateHz; turned > 0; turned -= pressureStep {
			d := math.Min(turned, pressureStep)
			g.advance(deg, d, rpm, manifold)
			if deg += d; deg >= 360 {
				deg -= 720
			}
		}
		out = append(out, PressureRow{t, (g.p-outdoorPa)/1e3 + 1.5*rng.NormFloat64()})
	}
	return out, nil
}

// gas is the charge of one cylinder.
type gas struct {
	clearance, ratio      float64 // m3, 1
	hole                  float64 // m2
	into                  string
	filling, shuts, opens float64
	back                  float64 // Pa over ambient at 2500 rpm
	p, t, m               float64 // Pa, K, kg
}

func newGas(v *Vehicle, p parts, cylinder int, u Under) *gas {
	b := p.cyl[cylinder-1].Bore
	swept := v.Engine.DisplacementL * 1e-3 / float64(v.Engine.Cylinders)
	share := math.Max(0, math.Min(0.97, b.LeakShare))
	g := &gas{ratio: p.ratio(cylinder - 1), clearance: swept / (p.ratio(cylinder-1) - 1), hole: sharpOrifice * math.Sqrt(share/(1-share)), into: b.LeakInto,
		filling: 1, shuts: intakeShuts - p.common.CamLateDegree, opens: exhaustOpens + p.common.CamLateDegree, back: 1e3*p.common.Backpressure + 150e3*b.Choke}
	// A worn lobe lifts less and for less long; turned slowly the cylinder fills all the same.
	worn := math.Max(0, 1-b.Lift)
	g.shuts += 45 * worn
	if g.filling = 1 - worn; u.State == "cranking" {
		g.filling = 1 - 0.1*worn
	}
	return g
}

func (g *gas) volume(deg float64) float64 {
	s, c := math.Sincos(deg * math.Pi / 180)
	return g.clearance * (1 + (g.ratio-1)/2*(1+rodToCrank-c-math.Sqrt(rodToCrank*rodToCrank-s*s)))
}

func (g *gas) start(manifold float64) {
	g.p, g.t = manifold, chargeKelvin
	g.m = g.p * g.volume(180) / gasConstant / g.t
}

// advance turns the crank by d degrees from deg.
func (g *gas) advance(deg, d, rpm, manifold float64) {
	v0, v1 := g.volume(deg), g.volume(deg+d)
	seconds := d / (6 * rpm)
	switch {
	case deg < -g.shuts: // intake valve open
		g.toward(manifold*g.filling, d, 9)
		g.t = chargeKelvin
		g.m = g.p * v1 / gasConstant / g.t
		return
	case deg >= g.opens: // exhaust valve open, then overlap
		to := outdoorPa + g.back*(rpm/2500)*(rpm/2500)
		if deg > 352 {
			to = manifold * g.filling
		}
		g.toward(to, d, 6)
		g.t = math.Max(chargeKelvin, g.t-0.3*d)
		g.m = g.p * v1 / gasConstant / g.t
		return
	}
	outside := outdoorPa
	if g.into == "intake" {
		outside = manifold
	}
	before := g.m
	g.m += throughHole(outside, 340, g.p, g.hole)*seconds - throughHole(g.p, g.t, outside, g.hole)*seconds
	g.t *= math.Pow(v0/v1*g.m/before, gasGamma-1)
	g.t -= wallPerDegree * math.Sqrt(200/rpm) * (g.t - wallKelvin) * d
	g.p = g.m * gasConstant * g.t / v1
}

// toward lets the pressure run to that behind an open valve, a part of the way in
// each degree.
func (g *gas) toward(to, d, degrees float64) { g.p += (to - g.p) * (1 - math.Exp(-d/degrees)) }

// throughHole is the mass flow of a gas at p and t through a sharp hole towards lower
// pressure, kg/s, nothing the other way: Saint-Venant and Wantzel, choked below the
// critical ratio, with a discharge coefficient of 0.85.
func throughHole(p, t, to, area float64) float64 {
	if to >= p {
		return 0
	}
	const k = gasGamma
	r := math.Max(to/p, math.Pow(2/(k+1), k/(k-1)))
	return 0.85 * area * p / math.Sqrt(gasConstant*t) * math.Sqrt(2*k/(k-1)*(math.Pow(r, 2/k)-math.Pow(r, (k+1)/k)))
}

// PressureCSV writes the recording as delimited text.
func PressureCSV(rows []PressureRow) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),Cylinder pressure (kPa)\n")
	for _, r := range rows {
		fmt.Fprintf(&b, "%.5f,%.2f\n", r.Seconds, r.KPa)
	}
	return b.Bytes()
}
