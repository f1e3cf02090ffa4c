package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
)

// exhaustOpening emits where expansion ends. Without combustion the cylinder comes
// back below the exhaust's pressure, and the opening valve lets it rise: a step up
// from a pocket. The straight line through 15 % and 50 % of the step is taken back to
// the pocket. Where pocket and exhaust are alike there is no step, and no opening.
func (g *pressure) exhaustOpening(m *turned, n int, shift float64, first, last int) {
	const feature = "cylinder.exhaust_opening"
	smooth := func(d int) float64 {
		s := 0.0
		for k := -2; k <= 2; k++ {
			s += m.at(float64(d+k)) / 5
		}
		return s
	}
	low, plateau := 90, 0.0
	for d := 90; d <= 200; d++ {
		if smooth(d) < smooth(low) {
			low = d
		}
	}
	for d := exhaustFrom + 10; d < exhaustTo; d++ {
		plateau += smooth(d) / float64(exhaustTo-exhaustFrom-10)
	}
	pocket := smooth(low)
	step := plateau - pocket
	noise := g.sigma / math.Sqrt(float64(5*n))
	if step < math.Max(8*noise, 4e3) || low <= 91 {
		g.refuse(feature, evidence.Noisy, fmt.Sprintf("the cylinder comes back to within %.0f kPa of the exhaust: the valve opens without a step", math.Abs(step)/1e3), "take it at idle, where the throttle keeps the cylinder low")
		return
	}
	cross := func(share float64) float64 {
		for d := low; d < exhaustTo; d++ {
			if a, b := smooth(d), smooth(d+1); a < pocket+share*step && b >= pocket+share*step {
				return float64(d) + (pocket+share*step-a)/(b-a)
			}
		}
		return math.NaN()
	}
	a, b := cross(0.15), cross(0.5)
	open := a - 0.15/0.35*(b-a)
	if math.IsNaN(open) || b-a > 60 {
		g.refuse(feature, evidence.Noisy, "the pressure drifts up to that of the exhaust without a step", "take it at idle")
		return
	}
	sd := math.Sqrt(angleSystematic*angleSystematic + math.Pow(noise/step*(b-a)/0.35, 2) + 1)
	g.emit(feature, "deg", open-shift, sd, n, first, last)
}

// Crank gear and gas for the start of compression. Source: Heywood, Internal
// Combustion Engine Fundamentals, 2.2 (geometry) and 9.3 (n of compression 1.3 with
// some 0.05 either way); from memory.
const (
	rodRatio    = 0.29 // crank radius over rod
	polytropic  = 1.32
	polytropeSD = 0.04
	mostAngleSD = 12.0
)

// volume is cylinder volume over clearance volume at an angle from top centre.
func volume(deg, ratio float64) float64 {
	a := deg * math.Pi / 180
	s, c := math.Sincos(a)
	return 1 + (ratio-1)/2*(1+1/rodRatio-c-math.Sqrt(1/(rodRatio*rodRatio)-s*s))
}

// intakeClosing emits how many degrees before top centre compression begins: the
// line p V^n = const of the closed cylinder, fitted between 100 and 25 degrees, is
// carried back to the pressure at the end of the intake stroke. The compression ratio
// comes out of the fit. That is where the valve has closed in effect; it is some
// degrees from where its lift ends, alike on all cylinders.
func (g *pressure) intakeClosing(m *turned, n int, shift float64, first, last int) {
	const feature = "cylinder.intake_closing"
	intake := 0.0
	for d := intakeFrom; d < intakeTo; d++ {
		intake += m.at(float64(d)) / float64(intakeTo-intakeFrom)
	}
	solve := func(poly, from float64) (deg, rms float64) {
		best, bestC, ratio := math.Inf(1), 0.0, 0.0
		for cr := 5.0; cr <= 25; cr += 0.05 {
			var sum, sq, k float64
			for d := -100; d <= -25; d++ {
				r := math.Log(m.at(float64(d)+shift)) + poly*math.Log(volume(float64(d), cr))
				sum, sq, k = sum+r, sq+r*r, k+1
			}
			if v := sq/k - sum*sum/k/k; v < best {
				best, bestC, ratio = v, sum/k, cr
			}
		}
		want := math.Exp((bestC - math.Log(from)) / poly)
		if !(want < volume(180, ratio)) || !(want > volume(60, ratio)) {
			return math.NaN(), math.Sqrt(math.Max(best, 0))
		}
		lo, hi := 60.0, 180.0
		for range 50 {
			if mid := (lo + hi) / 2; volume(mid, ratio) < want {
				lo = mid
			} else {
				hi = mid
			}
		}
		return lo, math.Sqrt(math.Max(best, 0))
	}
	deg, rms := solve(polytropic, intake)
	if math.IsNaN(deg) || rms > 0.02 {
		g.refuse(feature, evidence.Noisy, "compression does not run along p V^n down to the pressure of the intake stroke", "take it at idle with a transducer of 20 bar or less, zeroed in open air")
		return
	}
	var2 := angleSystematic * angleSystematic
	for _, x := range [][2]float64{{polytropic + polytropeSD, intake}, {polytropic, intake + math.Hypot(zeroSD, g.ambientSD()/3)}} {
		d, _ := solve(x[0], x[1])
		if math.IsNaN(d) {
			d = 180
		}
		var2 += (d - deg) * (d - deg)
	}
	if sd := math.Sqrt(var2); sd > mostAngleSD {
		g.refuse(feature, evidence.Noisy, fmt.Sprintf("near the lower end of the stroke it is only known to %.0f degrees", sd), "take it at idle, and give the ambient pressure")
		return
	}
	g.emit(feature, "deg", deg, math.Sqrt(var2), n, first, last)
}
