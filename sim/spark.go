package sim

import (
	"math"
	"math/rand/v2"
)

// Secondary is everything between the coil tower and ground on one cylinder.
type Secondary struct {
	Coil Coil
	// ExtraOhm is resistance added to coil feed and ground.
	ExtraOhm float64
	// DwellFactor scales the dwell the controller commands (driver fault); 1 = right.
	DwellFactor float64
	GapMetre    float64
	PlugOhm     float64 // suppression resistor of plug and boot, healthy
	SeriesOhm   float64 // what a corroded spring or lead adds
	// LeakVolt is where the boot, the well or a cracked insulator flashes over
	// instead of the gap; 0 = sound. LeakSpread is its relative spread.
	LeakVolt   float64
	LeakSpread float64
	LeakArc    float64 // arc voltage of that path, V
	Fouling    float64 // 0 clean, 1 covered with soot or oil
	Open       bool    // nothing conducts: no spark anywhere
	RotorVolt  float64 // a distributor's rotor gap in series
}

// HealthySecondary is a sound coil-on-plug secondary with the given gap.
func HealthySecondary(gapMetre float64) Secondary {
	return Secondary{Coil: StreetCoil(), DwellFactor: 1, GapMetre: gapMetre, PlugOhm: 5e3, LeakArc: 650}
}

// Spark is one firing, with what a trace of it is drawn from.
type Spark struct {
	At          float64 // time of turn-off, s
	RPM         float64
	ManifoldPa  float64
	Dwell       float64 // s
	Battery     float64 // V
	PrimaryAmp  float64
	StoredJoule float64 // energy in the secondary at turn-off
	Required    float64 // V the gap needed
	Available   float64 // V the coil could give
	Peak        float64 // V reached
	Arced       bool    // something broke down
	Outside     bool    // it did so beside the gap
	Burn        float64 // s
	Misfire     bool
	Waste       bool // exhaust-stroke spark of a waste-spark pair

	median      float64 // of Required
	riseSeconds float64
	line        []float64 // voltage during burn, lineStep apart
	ringAmp     float64   // amplitude right after burn (or of the failed spark)
	ringPhase   float64
	ringHz      float64
	ringDecay   float64 // 1/s
	turnOn      float64 // turn-on ring amplitude, V
}

const lineStep = 2e-6

// Arc constants, from memory and fitted only in size to trade.md 4.3: cathode
// fall 380 V and a column of 300 V/mm at 3.2 bar which grows with the square
// root of pressure and with flow.
const (
	cathodeFall = 380.0
	columnField = 300.0e3 // V/m
	columnAt    = 3.2e5   // Pa
	blowOutAmp  = 1.2e-3  // A at which a calm arc goes out
	switchOff   = 10e-6   // s
)

// Needs is the voltage the gap needs in the gas, without cycle-to-cycle spread:
// uniform-field breakdown times 1.05 for blunted electrodes, a rise of 1 % for
// each percent lean (from memory: direction as in trade.md 4.1), less when the
// insulator nose is fouled, plus what the rotor gap and the charging current
// through the series resistance take.
func (s Secondary) Needs(g Gas, surgeAmp float64) float64 {
	v := 1.05 * Breakdown(s.GapMetre, g.PressurePa, g.Kelvin)
	v *= 1 + max(0, g.Lambda-1)
	v *= 1 - 0.5*s.Fouling
	const plugF = 15e-12
	return v + s.RotorVolt + s.SeriesOhm*plugF*surgeAmp/s.Coil.SecondaryF
}

// Fire draws one firing at battery voltage v. The energy balance is
//
//	E = E(stored) - C V(peak)^2/2,  I0 = sqrt(2 E/L),  dI/dt = -(Varc + I R)/L
//
// until the current falls below what keeps the arc alight; what is left then
// rings. A lean charge under flow blows the arc out early: rising line, noise,
// spike at the end.
func (s Secondary) Fire(rng *rand.Rand, g Gas, v float64) Spark {
	sp, noise := s.strike(rng, g, v)
	if sp.Arced {
		s.burn(rng, g, &sp, noise)
	}
	return sp
}

// strike is the firing up to breakdown: enough to count misfires by.
func (s Secondary) strike(rng *rand.Rand, g Gas, v float64) (Spark, float64) {
	c := s.Coil
	sp := Spark{Battery: v, Dwell: c.Dwell(v) * s.DwellFactor, ringHz: c.RingHz(), turnOn: 1.2 * c.TurnsRatio * v}
	sp.PrimaryAmp, sp.StoredJoule = c.Charge(v, s.ExtraOhm, sp.Dwell)
	sp.StoredJoule *= lognormal(rng, 0.015)
	z := c.Surge()
	amp0 := math.Sqrt(2 * sp.StoredJoule / c.SecondaryH)
	sp.Available = OpenVoltage(sp.StoredJoule, c.SecondaryF)
	if s.Fouling > 0 { // shunt of 2 Mohm clean-ish down to 250 kohm covered, damping the rise
		sp.Available *= math.Exp(-math.Pi / 4 * z / (250e3 / s.Fouling))
	}
	sp.median = s.Needs(g, amp0)
	sp.Required = sp.median * lognormal(rng, g.spread())
	leak := math.Inf(1)
	if s.LeakVolt > 0 {
		leak = s.LeakVolt * lognormal(rng, s.LeakSpread)
	}
	q := c.Quality / (1 + 2*s.Fouling)
	sp.ringDecay = math.Pi * sp.ringHz / q
	noise := rng.NormFloat64() // drawn always, so that a fault does not shift every later draw
	switch {
	case s.Open || min(sp.Required, leak) > sp.Available:
		sp.Peak, sp.Required = sp.Available, max(sp.Required, 0)
		sp.riseSeconds = math.Pi / 2 * math.Sqrt(c.SecondaryH*c.SecondaryF)
		sp.ringAmp, sp.ringPhase, sp.Misfire = sp.Available, math.Pi/2, true
		sp.ringDecay *= 1.5 // corona and core losses at full voltage
		return sp, noise
	case leak < sp.Required:
		sp.Outside, sp.Peak, sp.Misfire = true, leak, true
	default:
		sp.Peak = sp.Required
	}
	sp.Arced = true
	// Half as long again as the bare quarter sine (see Spark.Voltage), and what the
	// driver takes to switch off.
	sp.riseSeconds = switchOff + 1.5*math.Sqrt(c.SecondaryH*c.SecondaryF)*math.Asin(min(1, sp.Peak/sp.Available))
	return sp, noise
}

// burn integrates the arc current and keeps the voltage seen at the coil tower.
func (s Secondary) burn(rng *rand.Rand, g Gas, sp *Spark, noise float64) {
	c := s.Coil
	left := sp.StoredJoule - CapacitiveEnergy(c.SecondaryF, sp.Peak)
	amp := math.Sqrt(2 * max(left, 0) / c.SecondaryH)
	lean := max(0, g.Lambda-1.05)
	arc := s.arcVolt(g)
	stretch, rough := 0.12*g.Flow, 0.05*g.Flow*(1+14*lean)
	if sp.Outside {
		arc, stretch, rough = s.LeakArc*math.Exp(0.35*noise), 0.05, 0.10
	}
	arc *= math.Exp(0.15*noise) * (1 + 1.2*lean)
	ohm := s.PlugOhm + s.SeriesOhm + c.WindingOhm
	out := blowOutAmp * (1 + 22*lean*max(g.Flow, 0.5))
	wander, t := 0.0, 0.0
	for amp > out && t < 6e-3 {
		// An arc in flow lengthens until it is short-cut; the wander is a first-order
		// process of 60 us.
		wander += -wander*lineStep/60e-6 + rough*math.Sqrt(2*lineStep/60e-6)*rng.NormFloat64()
		va := max(arc*(1+stretch*(1+18*lean)*t/1e-3)*(1+wander), 150)
		tower := va + amp*ohm
		sp.line = append(sp.line, tower-amp*c.WindingOhm)
		amp -= tower / c.SecondaryH * lineStep
		t += lineStep
	}
	sp.Burn = t
	end := arc
	if n := len(sp.line); n > 0 {
		end = sp.line[n-1]
	}
	surge := max(amp, 0) * c.Surge()
	sp.ringAmp, sp.ringPhase = math.Hypot(end, surge), math.Atan2(end, surge)
}

// arcVolt is the voltage of a fresh arc across the gap.
func (s Secondary) arcVolt(g Gas) float64 {
	return (cathodeFall + columnField*s.GapMetre*math.Sqrt(g.PressurePa/columnAt)*(0.8+0.2*g.Flow)) * (1 - 0.45*s.Fouling)
}

// lognormal draws a factor of median 1 and relative spread cv.
func lognormal(rng *rand.Rand, cv float64) float64 {
	return math.Exp(math.Sqrt(math.Log1p(cv*cv)) * rng.NormFloat64())
}
