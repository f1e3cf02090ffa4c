package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// BinomialAtLeast is P(X >= k) for X ~ Binomial(n, p), by the regularised
// incomplete beta function I_p(k, n-k+1) (exact, no normal approximation).
func BinomialAtLeast(k, n int, p float64) float64 {
	switch {
	case n < 0 || !(p >= 0 && p <= 1):
		return math.NaN()
	case k <= 0:
		return 1
	case k > n:
		return 0
	case p == 0:
		return 0
	case p == 1:
		return 1
	}
	return mathext.RegIncBeta(float64(k), float64(n-k+1), p)
}

// BinomialAtMost is P(X <= k) for X ~ Binomial(n, p).
func BinomialAtMost(k, n int, p float64) float64 {
	return BinomialAtLeast(n-k, n, 1-p)
}

// ClopperPearson gives the exact two-sided limits of a share from k of n at the
// confidence conf (0.95). Source: Clopper and Pearson, Biometrika 26 (1934) 404.
// NaN for n < 1, k outside 0..n, or conf outside (0, 1).
func ClopperPearson(k, n int, conf float64) (lo, hi float64) {
	if n < 1 || k < 0 || k > n || !(conf > 0 && conf < 1) {
		return math.NaN(), math.NaN()
	}
	a := (1 - conf) / 2
	lo, hi = 0, 1
	if k > 0 {
		lo = mathext.InvRegIncBeta(float64(k), float64(n-k+1), a)
	}
	if k < n {
		hi = mathext.InvRegIncBeta(float64(k+1), float64(n-k), 1-a)
	}
	return lo, hi
}

// ClopperPearsonUpper is the one-sided upper limit of a share at confidence conf.
func ClopperPearsonUpper(k, n int, conf float64) float64 {
	_, hi := ClopperPearson(k, n, 2*conf-1)
	return hi
}

// RuleOfThree gives, for no event in n tries, the exact upper limit 1-(1-conf)^(1/n)
// and the trade's short form 3/n (which is for conf = 0.95 only).
func RuleOfThree(n int, conf float64) (exact, threeOverN float64) {
	if n < 1 || !(conf > 0 && conf < 1) {
		return math.NaN(), math.NaN()
	}
	return -math.Expm1(math.Log1p(-conf) / float64(n)), 3 / float64(n)
}

// TrialsToShow is the least n such that r or fewer failures in n tries show a
// reliability of at least rel at confidence conf: the smallest n with
// P(X <= r | n, 1-rel) <= 1-conf. For r = 0 it is ceil(ln(1-conf)/ln rel).
// 0 when the arguments are outside their domain or n would pass a million.
func TrialsToShow(rel, conf float64, r int) int {
	if !(rel > 0 && rel < 1) || !(conf > 0 && conf < 1) || r < 0 {
		return 0
	}
	ok := func(n int) bool { return BinomialAtMost(r, n, 1-rel) <= 1-conf }
	hi := r + 1
	for !ok(hi) {
		if hi > 1_000_000 {
			return 0
		}
		hi *= 2
	}
	lo := r
	for hi-lo > 1 {
		if m := (lo + hi) / 2; ok(m) {
			hi = m
		} else {
			lo = m
		}
	}
	return hi
}

// WorstOfEqual is the chance that the greatest of m counts reaches k when total
// events fall on m cylinders alike: m times P(Binomial(total, 1/m) >= k), capped
// at 1. The factor m pays for having picked the worst (Bonferroni).
// Check: trade.md 3.2, table "Is one cylinder really worse?".
func WorstOfEqual(k, total, m int) float64 {
	if m < 2 || total < 0 || k < 0 {
		return math.NaN()
	}
	return min(1, float64(m)*BinomialAtLeast(k, total, 1/float64(m)))
}

// BinomialTwoSided is the exact two-sided p of k in n against share p: the sum
// of all outcomes no likelier than k, with R's relative tolerance of 1e-7.
func BinomialTwoSided(k, n int, p float64) float64 {
	if k < 0 || k > n || n < 1 || !(p > 0 && p < 1) {
		return math.NaN()
	}
	logp, logq := math.Log(p), math.Log1p(-p)
	pmf := func(i int) float64 {
		return math.Exp(logChoose(n, i) + float64(i)*logp + float64(n-i)*logq)
	}
	ref := pmf(k) * (1 + 1e-7)
	sum := 0.0
	for i := 0; i <= n; i++ {
		if v := pmf(i); v <= ref {
			sum += v
		}
	}
	return min(1, sum)
}

func logChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}
