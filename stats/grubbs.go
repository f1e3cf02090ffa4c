package stats

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// GrubbsCritical is the critical value of Grubbs' test for one outlier in n
// values at level alpha:
//
//	G = (n-1)/sqrt(n) * sqrt(t^2/(n-2+t^2)),  t = t(1-alpha/n; n-2)
//
// with alpha/(2n) when the suspect may lie on either side. NaN for n < 3.
// Source: F. E. Grubbs, Technometrics 11 (1969) 1; NIST e-Handbook 1.3.5.17.1.
//
// With 3 or 4 cylinders the greatest G that can occur at all, (n-1)/sqrt(n), is
// barely above the critical value: the test has no power there, and package
// measure does not decide with it (DECISIONS, Odds).
func GrubbsCritical(n int, alpha float64, twoSided bool) float64 {
	if n < 3 || !(alpha > 0 && alpha < 1) {
		return math.NaN()
	}
	tail := alpha / float64(n)
	if twoSided {
		tail /= 2
	}
	t := TQuantile(1-tail, float64(n-2))
	t2 := t * t
	return float64(n-1) / math.Sqrt(float64(n)) * math.Sqrt(t2/(float64(n-2)+t2))
}

// Grubbs gives the greatest |x - mean|/s and where it is. NaN and -1 for fewer
// than three values or values that are all equal.
func Grubbs(x []float64) (g float64, at int) {
	if len(x) < 3 {
		return math.NaN(), -1
	}
	mean, sd := stat.MeanStdDev(x, nil)
	if !(sd > 0) {
		return math.NaN(), -1
	}
	g, at = 0, -1
	for i, v := range x {
		if d := math.Abs(v-mean) / sd; d > g {
			g, at = d, i
		}
	}
	return g, at
}

// manyDegrees is where Student's t and the normal distribution agree to 1e-6 at
// every quantile in use; beyond it the t quantile loses digits.
const manyDegrees = 1e7

// TQuantile is the p-quantile of Student's t with nu degrees of freedom; the
// normal quantile for infinite nu. NaN outside 0 < p < 1 or nu <= 0.
func TQuantile(p, nu float64) float64 {
	if !(p > 0 && p < 1) || !(nu > 0) {
		return math.NaN()
	}
	if nu > manyDegrees {
		return distuv.UnitNormal.Quantile(p)
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}
	q := t.Quantile(p) // good to some 1e-9; a step of Newton's makes it 1e-13
	if p < 0.5 {
		return q - (t.CDF(q)-p)/t.Prob(q)
	}
	return q + (t.Survival(q)-(1-p))/t.Prob(q)
}

// TTwoSided is the chance that |T| is at least |t| under Student's t with nu
// degrees of freedom.
func TTwoSided(t, nu float64) float64 {
	if math.IsNaN(t) || !(nu > 0) {
		return math.NaN()
	}
	if nu > manyDegrees {
		return math.Erfc(math.Abs(t) / math.Sqrt2)
	}
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Survival(math.Abs(t))
}
