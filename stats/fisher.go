package stats

import "math"

// Fisher is the result of Fisher's exact test on a 2x2 table.
type Fisher struct {
	TwoSided float64 // all tables of the same margins no likelier than this one
	Greater  float64 // a at least this high
	Less     float64 // a at most this high
}

// FisherExact tests whether the two rows of
//
//	a b
//	c d
//
// share one proportion, by the hypergeometric distribution of a given all
// margins. NaN for a negative cell. Source: R. A. Fisher, J. R. Stat. Soc. 98
// (1935) 39; ties within a relative 1e-7 count as equal, as in R and SciPy.
func FisherExact(a, b, c, d int) Fisher {
	if a < 0 || b < 0 || c < 0 || d < 0 {
		nan := math.NaN()
		return Fisher{nan, nan, nan}
	}
	r1, c1, n := a+b, a+c, a+b+c+d
	lo, hi := max(0, r1+c1-n), min(r1, c1)
	logp := func(k int) float64 {
		return logChoose(c1, k) + logChoose(n-c1, r1-k) - logChoose(n, r1)
	}
	ref := math.Exp(logp(a)) * (1 + 1e-7)
	var f Fisher
	for k := lo; k <= hi; k++ {
		p := math.Exp(logp(k))
		if p <= ref {
			f.TwoSided += p
		}
		if k >= a {
			f.Greater += p
		}
		if k <= a {
			f.Less += p
		}
	}
	f.TwoSided, f.Greater, f.Less = min(1, f.TwoSided), min(1, f.Greater), min(1, f.Less)
	return f
}
