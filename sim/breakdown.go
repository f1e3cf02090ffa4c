package sim

import "math"

// Gas is the charge between the electrodes at the moment of the spark.
type Gas struct {
	PressurePa  float64 // absolute
	Kelvin      float64
	Lambda      float64 // 1 = stoichiometric
	Flow        float64 // how much the arc is blown about: 0 quiet, 1 idle, 2 snap
	CycleSpread float64 // relative spread of the needed voltage from cycle to cycle
}

// spread is the cycle-to-cycle spread of the needed voltage; a lean charge is
// less even.
func (g Gas) spread() float64 { return g.CycleSpread * (1 + 1.5*max(0, g.Lambda-1.05)) }

// Breakdown is the voltage that bridges a uniform gap in air:
//
//	V[kV] = 24.22 d' + 6.08 sqrt(d'),  d' = d[cm] (p/101.325 kPa)(293.15 K/T)
//
// (Naidu and Kamaraju, High Voltage Engineering, scaled by density: Paschen
// similarity). gap in metre, result in volt. Never below 327 V, the least
// voltage at which air breaks down at all.
func Breakdown(gapMetre, pressurePa, kelvin float64) float64 {
	d := gapMetre * 100 * (pressurePa / 101325) * (293.15 / kelvin)
	if d <= 0 {
		return 327
	}
	return max(327, 1e3*(24.22*d+6.08*math.Sqrt(d)))
}

// GasAtSpark gives the charge at the spark for a manifold pressure. It runs
// through the anchor points of trade.md 4.1: idle 3.2 bar 560 K, cruise 5 bar
// 590 K, full load 13 bar 650 K, boosted 24 bar 700 K. density is the share of
// the air the cylinder catches and keeps (1 = sound).
func GasAtSpark(manifoldPa, density, lambda float64) Gas {
	kPa := manifoldPa / 1000
	anchors := [...][3]float64{{20, 1.9, 545}, {32, 3.2, 560}, {48, 5, 590}, {98, 13, 650}, {180, 24, 700}}
	p, t := anchors[0][1], anchors[0][2]
	for i := 1; i < len(anchors); i++ {
		a, b := anchors[i-1], anchors[i]
		if kPa <= b[0] || i == len(anchors)-1 {
			f := (kPa - a[0]) / (b[0] - a[0])
			p, t = a[1]+f*(b[1]-a[1]), a[2]+f*(b[2]-a[2])
			break
		}
	}
	return Gas{PressurePa: max(p, 0.5) * 1e5 * density, Kelvin: t, Lambda: lambda,
		Flow: 0.8 + 0.012*(kPa-20), CycleSpread: 0.13}
}

// Adiabatic gives pressure and temperature after compression by ratio cr with
// exponent n: p = p0 cr^n, T = T0 cr^(n-1).
func Adiabatic(p0, t0, cr, n float64) (p, t float64) {
	return p0 * math.Pow(cr, n), t0 * math.Pow(cr, n-1)
}
