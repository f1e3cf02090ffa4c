package reason

import "math"

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
	s = math.Max(s, span/1000)
	whole := between((lo-x)/s, (hi-x)/s)
	for c := range dst {
		w := to[c] - from[c]
		d := between((from[c]-x)/s, (to[c]-x)/s)
		dst[c] = (1-u)*d/whole*span/w + u
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
