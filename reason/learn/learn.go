// Package learn turns counts of closed cases into the shop's own chances:
// shrinkage towards a prior, a prior fitted over several shops or faults, and
// mixtures fitted by EM. It never counts only the tests that were done: which
// test is done depends on what was found before, so a chance is to be learned
// from the full likelihood of a case.
package learn

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/optimize"
)

// Beta is a prior or posterior over a chance, worth A+B cases.
type Beta struct{ A, B float64 }

// Mean is A/(A+B).
func (b Beta) Mean() float64 { return b.A / (b.A + b.B) }

// After is the posterior after k of n.
func (b Beta) After(k, n float64) Beta { return Beta{b.A + k, b.B + n - k} }

// Weight is the share that n own cases have against the prior: n/(n+A+B).
func (b Beta) Weight(n float64) float64 { return n / (n + b.A + b.B) }

// Pool fits a Beta prior to several counts k of n by maximum likelihood of the
// beta-binomial; the binomial coefficients do not matter. It needs at least two
// counts that differ.
func Pool(k, n []float64) (Beta, error) {
	if len(k) < 2 || len(k) != len(n) {
		return Beta{}, errors.New("pooling needs at least two counts, each with its number of cases")
	}
	for i := range k {
		if !(n[i] > 0) || k[i] < 0 || k[i] > n[i] {
			return Beta{}, errors.New("each count must lie between 0 and its number of cases")
		}
	}
	nll := func(x []float64) float64 {
		a, b := math.Exp(x[0]), math.Exp(x[1])
		s := 0.0
		for i := range k {
			s -= lbeta(a+k[i], b+n[i]-k[i]) - lbeta(a, b)
		}
		return s
	}
	r, err := optimize.Minimize(optimize.Problem{Func: nll}, []float64{0, 1}, &optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-14, Iterations: 200}, MajorIterations: 5000}, &optimize.NelderMead{})
	if err != nil {
		return Beta{}, err
	}
	b := Beta{math.Exp(r.X[0]), math.Exp(r.X[1])}
	if b.A+b.B > 1e6 {
		return Beta{}, errors.New("the counts differ no more than chance: the fit runs to a single common chance")
	}
	return b, nil
}

func lbeta(a, b float64) float64 {
	x, _ := math.Lgamma(a)
	y, _ := math.Lgamma(b)
	z, _ := math.Lgamma(a + b)
	return x + y - z
}

// Linkage is one EM step for the multinomial of Dempster, Laird & Rubin 1977,
// section 1: counts of cells with chances 1/2+t/4, (1-t)/4, (1-t)/4, t/4.
func Linkage(y [4]float64, t float64) float64 {
	x := y[0] * t / (2 + t)
	return (x + y[3]) / (x + y[1] + y[2] + y[3])
}

// Mixture is one EM step for cases each of which has one of two hidden kinds,
// equally likely beforehand, with chances a and b of a success: heads[i] of
// n (Do & Batzoglou 2008). In the shop: closed cases whose cause was one of two
// that a test tells apart only by chance.
func Mixture(heads []float64, n, a, b float64) (float64, float64) {
	var ha, ta, hb, tb float64
	for _, h := range heads {
		la := h*math.Log(a) + (n-h)*math.Log(1-a)
		lb := h*math.Log(b) + (n-h)*math.Log(1-b)
		w := 1 / (1 + math.Exp(lb-la))
		ha, ta = ha+w*h, ta+w*(n-h)
		hb, tb = hb+(1-w)*h, tb+(1-w)*(n-h)
	}
	return ha / (ha + ta), hb / (hb + tb)
}
