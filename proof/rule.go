package proof

import "math"

// Level is the one confidence level, everywhere: 95 %.
const Level = 0.95

// RatioLimit is the largest upper bound of the rate after over the rate before
// that may be called proven by road (our choice, fixed before any drive).
const RatioLimit = 0.2

// times is how much longer a drive must be for RatioLimit than for Level alone:
// without an episode the bound is t1/t2 (20^(1/x) - 1).
const times = 1 / RatioLimit

// Factor is how many times the time before must be driven clean at a level, for x
// episodes before: (1/(1-level))^(1/x) - 1. At 95 %: 19 for one, 3.47 for two, 0.82
// for five. +Inf for x < 1: nothing can be beaten.
func Factor(x int, level float64) float64 {
	if x < 1 || !(level > 0 && level < 1) {
		return math.Inf(1)
	}
	return math.Expm1(-math.Log1p(-level) / float64(x))
}

// CouldBeChance is the chance that a vehicle on which nothing changed goes t2
// clean after x episodes in t1: (t1/(t1+t2))^x. 1 when it cannot be said.
func CouldBeChance(x int, t1, t2 float64) float64 {
	if x < 1 || !(t1 > 0) || !(t2 >= 0) {
		return 1
	}
	return math.Pow(t1/(t1+t2), float64(x))
}

// need spreads the drive needed over the cells in proportion to the time before,
// in whole seconds. Cells that were hardly touched (under a second and no episode)
// are left out and their share goes to the others.
func need(before, episodes Grid, factor float64) Grid {
	total, kept := before.Sum(), 0.0
	required := each(before, episodes, func(b, e float64) float64 {
		if b >= 1 || e > 0 {
			return b
		}
		return 0
	})
	if kept = required.Sum(); kept == 0 || math.IsInf(factor, 0) {
		return Grid{}
	}
	return each(required, Grid{}, func(b, _ float64) float64 {
		return max(0, math.Ceil(b*factor*total/kept-1e-9))
	})
}
