package sim

import (
	"math"
	"math/rand/v2"
)

// Moment is the running condition at one firing of one cylinder.
type Moment struct {
	At         float64 // s
	RPM        float64
	ManifoldPa float64
	Battery    float64 // V
}

// Profile gives speed and manifold pressure over time.
type Profile func(t float64) (rpm, manifoldPa float64)

// IdleProfile is a warm idle that hunts a little.
func IdleProfile(rpm float64) Profile {
	return func(t float64) (float64, float64) { return rpm + 12*math.Sin(2*math.Pi*0.7*t), 32e3 }
}

// SteadyProfile is a constant speed and manifold pressure.
func SteadyProfile(rpm, manifoldPa float64) Profile {
	return func(float64) (float64, float64) { return rpm, manifoldPa }
}

// SnapProfile idles until at, then snaps the throttle open: manifold pressure
// jumps to nearly atmospheric while the engine runs up to peak rpm in 0.6 s, then
// the throttle shuts and the speed falls back.
func SnapProfile(idle, peak, at float64) Profile {
	return func(t float64) (float64, float64) {
		u := t - at
		switch {
		case u < 0:
			return idle, 32e3
		case u < 0.6:
			return idle + (peak-idle)*u/0.6, 93e3 - 5e3*u/0.6
		}
		return idle + (peak-idle)*math.Exp(-(u-0.6)/0.7), 22e3 + 10e3*(1-math.Exp(-(u-0.6)/1.2))
	}
}

// SnapsProfile repeats SnapProfile every period seconds, the first at one period.
func SnapsProfile(idle, peak, period float64) Profile {
	one := SnapProfile(idle, peak, 0)
	return func(t float64) (float64, float64) {
		if t < period {
			return idle, 32e3
		}
		return one(math.Mod(t, period))
	}
}

// Moments lists the firings of a cylinder over a profile from 0 to end seconds:
// one in two revolutions, or one each revolution with waste.
func (p Profile) Moments(rng *rand.Rand, end float64, waste bool) []Moment {
	var out []Moment
	revs := 2.0
	if waste {
		revs = 1
	}
	t := 5e-3 + 0.02*rng.Float64()
	for t < end {
		rpm, mp := p(t)
		out = append(out, Moment{At: t, RPM: rpm, ManifoldPa: mp * (1 + 0.02*rng.NormFloat64()), Battery: 14.1 + 0.05*rng.NormFloat64()})
		// The interval is that of the speed half way to the next firing.
		half, _ := p(t + revs*30/rpm)
		t += revs * 60 / half * (1 + 0.004*rng.NormFloat64())
	}
	return out
}
