package stats

import (
	"math"
	"sort"
)

// Holm adjusts p-values for looking at all of them at once: in rising order the
// i-th is multiplied by (m-i), made non-decreasing and capped at 1. It holds
// whatever the dependence between them. Source: S. Holm, Scand. J. Stat. 6 (1979)
// 65. m is the size of the family; 0 means len(p). The result is in the order of p.
func Holm(p []float64, m int) []float64 {
	if m < len(p) {
		m = len(p)
	}
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return p[order[a]] < p[order[b]] })
	out := make([]float64, len(p))
	worst := 0.0
	for rank, i := range order {
		worst = max(worst, min(1, p[i]*float64(m-rank)))
		out[i] = worst
	}
	return out
}

// Bonferroni multiplies a p-value by the size of the family, capped at 1.
func Bonferroni(p float64, m int) float64 { return min(1, p*float64(max(m, 1))) }

// SampleSize is how many values each of two groups needs so that a true
// difference of diff is found with the given power at two-sided level alpha,
// when one value scatters by sd (both in the same unit, for example fractions):
//
//	n = 2 (z(1-alpha/2) + z(power))^2 (sd/diff)^2, rounded up
//
// Check: trade.md 3.4, placements per coil. 0 when diff or sd is not positive.
func SampleSize(sd, diff, alpha, power float64) int {
	return ContrastSize(sd, diff, alpha, power, 2)
}

// ContrastSize is SampleSize for a contrast whose variance is factor*sd^2/n: 2
// for one group against one other, 1 + MedianVariance(k) for one cylinder
// against the median of k others measured as often.
func ContrastSize(sd, diff, alpha, power, factor float64) int {
	if !(sd > 0) || !(diff > 0) || !(alpha > 0 && alpha < 1) || !(power > 0 && power < 1) || !(factor > 0) {
		return 0
	}
	z := TQuantile(1-alpha/2, math.Inf(1)) + TQuantile(power, math.Inf(1))
	n := factor * z * z * sd * sd / (diff * diff)
	if n > 1e6 {
		return 1_000_000
	}
	return int(math.Ceil(n - 1e-9))
}
