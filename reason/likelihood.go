package reason

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// normalCDF is the standard normal distribution function.
func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// between is P(a < Z < b) of a standard normal, without loss of digits in the tails.
func between(a, b float64) float64 {
	if a > 0 {
		a, b = -b, -a
	}
	return math.Max(0, normalCDF(b)-normalCDF(a))
}

// classLikelihood fills dst with the likelihood of reading x, with standard
// uncertainty s, under each outcome class of a numeric test, relative to a
// reading that is simply wrong.
//
// Class c spreads the true value evenly over [from_c, to_c); the reading adds
// normal noise, so that its density is
//
//	(F((x-from)/s) - F((x-to)/s)) / (to-from) / D,
//
// where D is the same difference over the whole stretch R of the test: values
// beyond the stretch count as at its end, so the noise is cut there too. A wrong
// reading is spread evenly over R, and counts with share u:
//
//	dst[c] = (1-u) * density_c * R + u.
//
// For s to infinity all classes become one and the reading says nothing. dst has
// the length of from and to.
func classLikelihood(dst, from, to []float64, x, s, u float64) {
	lo, hi := from[0], to[len(to)-1]
	span := hi - lo
	x = math.Min(math.Max(x, lo), hi)
	// A reading without an uncertainty is taken as good to a thousandth of the
	// stretch, so that one exactly on a boundary belongs to both sides.
	// Beyond a million times the stretch it says nothing that a float could hold.
	s = math.Min(math.Max(s, span/1000), span*1e6)
	whole := between((lo-x)/s, (hi-x)/s)
	for c := range dst {
		w := to[c] - from[c]
		d := between((from[c]-x)/s, (to[c]-x)/s)
		dst[c] = (1-u)*d/whole*span/w + u
	}
}

// countLikelihood fills dst for a count of k events in n, where the outcome
// classes are stretches of the share of events, from 0 to 1. Class c spreads the
// true share evenly over its stretch, and the count is binomial:
//
//	integral of C(n,k) p^k (1-p)^(n-k) dp / (to-from)
//	  = (I_to(k+1, n-k+1) - I_from(k+1, n-k+1)) / (n+1) / (to-from)
//
// with I the regularised incomplete beta function. As for other numbers the
// result is relative to a share spread evenly over all classes, and a share u of
// wrong readings is mixed in. Few events say little, none of none says nothing.
func countLikelihood(dst, from, to []float64, k, n, u float64) {
	clip := func(p float64) float64 { return math.Min(math.Max(p, 0), 1) }
	beta := func(p float64) float64 { return mathext.RegIncBeta(k+1, n-k+1, clip(p)) }
	lo, hi := clip(from[0]), clip(to[len(to)-1])
	whole := math.Max(beta(hi)-beta(lo), 1e-300)
	for c := range dst {
		a, b := clip(from[c]), clip(to[c])
		dst[c] = u
		if b > a {
			dst[c] += (1 - u) * math.Max(0, beta(b)-beta(a)) / whole * (hi - lo) / (b - a)
		}
	}
}

// pickedLikelihood fills dst for an outcome that a person picked: one of k, or
// with share u any of them.
func pickedLikelihood(dst []float64, picked int, u float64) {
	for c := range dst {
		dst[c] = u
	}
	dst[picked] += (1 - u) * float64(len(dst))
}
