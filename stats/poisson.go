package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// PoissonLimits gives the exact two-sided limits of a Poisson mean from a count:
// chi2(a/2; 2k)/2 and chi2(1-a/2; 2k+2)/2, a = 1-conf.
// Source: F. Garwood, Biometrika 28 (1936) 437. The lower limit of 0 is 0.
// NaN for k < 0 or conf outside (0, 1).
func PoissonLimits(k int, conf float64) (lo, hi float64) {
	if k < 0 || !(conf > 0 && conf < 1) {
		return math.NaN(), math.NaN()
	}
	a := (1 - conf) / 2
	if k > 0 {
		lo = mathext.GammaIncRegInv(float64(k), a)
	}
	return lo, mathext.GammaIncRegInv(float64(k+1), 1-a)
}

// PoissonUpper is the one-sided upper limit at confidence conf; for no event it
// is -ln(1-conf), 2.996 at 95 %.
func PoissonUpper(k int, conf float64) float64 {
	if k < 0 || !(conf > 0 && conf < 1) {
		return math.NaN()
	}
	return mathext.GammaIncRegInv(float64(k+1), conf)
}

// TwoRates compares two Poisson counts over their exposures.
type TwoRates struct {
	Less     float64 // P of a second count this low or lower, if the rates were the same
	Greater  float64 // P of a second count this high or higher
	TwoSided float64 // sum of all splits no likelier than this one
	Ratio    float64 // second rate over first; +Inf when only the first count is 0, NaN when both are
	Low      float64 // exact limits of Ratio at the asked confidence
	High     float64
}

// CompareRates is the conditional test of two Poisson rates: given the sum n of
// both counts, the second is Binomial(n, t2/(t1+t2)) under equal rates.
// x1 events in exposure t1 (before), x2 in t2 (after). The one-sided test and
// the two-sided interval may disagree; both are given (reasoning.md R4).
// Source: Przyborowski and Wilenski, Biometrika 31 (1940) 313. NaN everywhere
// when a count is negative, an exposure not positive, or both counts are 0.
func CompareRates(x1 int, t1 float64, x2 int, t2 float64, conf float64) TwoRates {
	nan := math.NaN()
	n := x1 + x2
	if x1 < 0 || x2 < 0 || n == 0 || !(t1 > 0) || !(t2 > 0) || !(conf > 0 && conf < 1) || math.IsInf(t1+t2, 1) {
		return TwoRates{nan, nan, nan, nan, nan, nan}
	}
	p := t2 / (t1 + t2)
	lo, hi := ClopperPearson(x2, n, conf)
	ratio := func(q float64) float64 {
		if q >= 1 {
			return math.Inf(1)
		}
		return q / (1 - q) * t1 / t2
	}
	return TwoRates{
		Less:     BinomialAtMost(x2, n, p),
		Greater:  BinomialAtLeast(x2, n, p),
		TwoSided: BinomialTwoSided(x2, n, p),
		Ratio:    ratio(float64(x2) / float64(n)),
		Low:      ratio(lo),
		High:     ratio(hi),
	}
}
