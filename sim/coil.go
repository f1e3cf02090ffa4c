package sim

import "math"

// Coil is an ignition coil as the primary and secondary circuit see it.
type Coil struct {
	PrimaryH    float64 // primary inductance, H
	PrimaryOhm  float64 // primary resistance, driver included, ohm
	TargetAmp   float64 // current the dwell map aims at, A
	Efficiency  float64 // share of the stored energy that reaches the secondary
	SecondaryH  float64 // secondary inductance, H
	SecondaryF  float64 // capacitance of winding, boot and plug, F
	WindingOhm  float64 // secondary winding resistance, ohm
	TurnsRatio  float64
	Quality     float64 // Q of the secondary ring; shorted turns lower it
	ShortedStep float64 // current step at turn-on from shorted primary turns, A
}

// StreetCoil is a coil-on-plug unit of common size: 3 mH, 0.5 ohm to 7 A, 80 pF
// and 20 H on the secondary (trade.md 4.2 and 4.3), Q from memory.
func StreetCoil() Coil {
	return Coil{PrimaryH: 3e-3, PrimaryOhm: 0.5, TargetAmp: 7, Efficiency: 0.82, SecondaryH: 20, SecondaryF: 80e-12,
		WindingOhm: 9e3, TurnsRatio: 82, Quality: 11}
}

// RiseCurrent is the current of an inductance l behind a resistance r, t seconds
// after v is switched on: i = v/r (1-exp(-t r/l)), in ampere. With r = 0 it is
// the limit v t/l.
func RiseCurrent(v, r, l, t float64) float64 {
	if t <= 0 {
		return 0
	}
	if r == 0 {
		return v * t / l
	}
	return v / r * -math.Expm1(-t*r/l)
}

// RiseTime is the time for RiseCurrent to reach i; +Inf when v/r is not enough.
func RiseTime(v, r, l, i float64) float64 {
	if r == 0 {
		return i * l / v
	}
	if i*r >= v {
		return math.Inf(1)
	}
	return -l / r * math.Log1p(-i*r/v)
}

// InductiveEnergy is half l i squared, in joule.
func InductiveEnergy(l, i float64) float64 { return 0.5 * l * i * i }

// CapacitiveEnergy is half c v squared: what breakdown at v takes from the coil.
func CapacitiveEnergy(c, v float64) float64 { return 0.5 * c * v * v }

// OpenVoltage is the highest voltage an energy e can bring a capacitance c to.
func OpenVoltage(e, c float64) float64 { return math.Sqrt(2 * max(e, 0) / c) }

// Dwell is how long the controller keeps the coil on at battery voltage v. It
// works from the coil it was written for: a bad joint does not lengthen it.
func (c Coil) Dwell(v float64) float64 {
	return min(RiseTime(v, StreetCoil().PrimaryOhm, StreetCoil().PrimaryH, c.TargetAmp), 8e-3)
}

// Charge gives the primary current and the energy that reaches the secondary for
// a dwell of t seconds at battery voltage v with extra ohms in feed and ground.
func (c Coil) Charge(v, extraOhm, t float64) (amp, joule float64) {
	amp = RiseCurrent(v, c.PrimaryOhm+extraOhm, c.PrimaryH, t) + c.ShortedStep
	return amp, c.Efficiency * InductiveEnergy(c.PrimaryH, amp-c.ShortedStep)
}

// Surge is the surge impedance of the secondary, sqrt(L/C), ohm.
func (c Coil) Surge() float64 { return math.Sqrt(c.SecondaryH / c.SecondaryF) }

// RingHz is the frequency of the secondary after the spark has gone out.
func (c Coil) RingHz() float64 { return 1 / (2 * math.Pi * math.Sqrt(c.SecondaryH*c.SecondaryF)) }
