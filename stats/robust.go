package stats

import (
	"math"
	"slices"
)

// MADToSigma makes the median absolute deviation an estimate of sigma for normal
// data: 1/Phi^-1(0.75).
const MADToSigma = 1.482602218505602

// Median of x; NaN for an empty slice. x is not changed.
func Median(x []float64) float64 {
	return MedianInPlace(slices.Clone(x))
}

// MedianInPlace is Median without a copy: it reorders x.
func MedianInPlace(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	hi := selectKth(x, n/2)
	if n%2 == 1 {
		return hi
	}
	lo := x[0]
	for _, v := range x[1 : n/2] {
		if v > lo { // seldom, and so guessed right
			lo = v
		}
	}
	return lo + (hi-lo)/2
}

// Quantile is the p-quantile by linear interpolation between order statistics
// (R type 7, the default of R and NumPy). NaN for an empty slice or p outside 0..1.
func Quantile(x []float64, p float64) float64 {
	if len(x) == 0 || !(p >= 0 && p <= 1) {
		return math.NaN()
	}
	s := slices.Clone(x)
	h := p * float64(len(s)-1)
	i := int(h)
	lo := selectKth(s, i)
	if i+1 >= len(s) {
		return lo
	}
	next := s[i+1]
	for _, v := range s[i+1:] {
		if v < next {
			next = v
		}
	}
	return lo + (h-float64(i))*(next-lo)
}

// MADSigma is the robust standard deviation: MADToSigma times the median of
// |x - median|. 0 for one value, NaN for none.
func MADSigma(x []float64) float64 {
	m := Median(x)
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - m)
	}
	return MADToSigma * MedianInPlace(d)
}

// MedianVariance is the variance of the median of n independent standard normal
// values: exact order-statistic results to n = 8, then the asymptotic
// pi/(2n) with its first correction (within 1.5 %). Source: David and Nagaraja, Order
// Statistics (from memory); the test checks it by integration.
func MedianVariance(n int) float64 {
	exact := [...]float64{math.NaN(), 1, 0.5, 0.448671, 0.298248, 0.286834, 0.214721, 0.210447, 0.168222}
	if n < 1 {
		return math.NaN()
	}
	if n < len(exact) {
		return exact[n]
	}
	f := float64(n)
	if n%2 == 1 {
		return math.Pi / 2 / (f + math.Pi/2 - 1)
	}
	return math.Pi / 2 / (f + math.Pi - 1 - math.Pi/4)
}

// shortSort is how many values are sorted by insertion. Our choice, by measurement.
const shortSort = 12

// selectKth is quickselect: O(n) on average, ordering x so that x[k] is the k-th
// smallest and none before it is greater. NaN sorts nowhere defined: callers pass
// finite values.
func selectKth(x []float64, k int) float64 {
	lo, hi := 0, len(x) // x[k] comes from x[lo:hi]; what lies before is not greater
	for hi-lo > shortSort {
		pivot := middlePivot(x[lo:hi])
		if lo > 0 && x[lo-1] == pivot { // the least there is, and perhaps there often
			n := lo + divide(x[lo:hi], pivot, true)
			if k < n {
				return pivot
			}
			lo = n
			continue
		}
		// The pivot waits at the end, so that each round takes it away at least.
		n := lo + divide(x[lo:hi-1], pivot, false)
		x[n], x[hi-1] = x[hi-1], x[n]
		switch {
		case k < n:
			hi = n
		case k > n:
			lo = n + 1
		default:
			return pivot
		}
	}
	for i := lo + 1; i < hi; i++ {
		v, j := x[i], i
		for ; j > lo && x[j-1] > v; j-- {
			x[j] = x[j-1]
		}
		x[j] = v
	}
	return x[k]
}

// divide puts what is less than the pivot first (with equal, what is not greater) and
// gives its number. It takes no branch, since half of the guesses would be wrong: the
// sign of the difference is added (Lomuto's way, every value moved).
func divide(x []float64, pivot float64, equal bool) int {
	n := 0
	if equal {
		for i, v := range x {
			x[i], x[n] = x[n], v
			n += 1 - int(math.Float64bits(pivot-v)>>63)
		}
		return n
	}
	for i, v := range x {
		x[i], x[n] = x[n], v
		n += int(math.Float64bits(v-pivot) >> 63)
	}
	return n
}

// middlePivot gives the middle one of three values, of many the middle one of three
// such, and puts it at the end.
func middlePivot(x []float64) float64 {
	last := len(x) - 1
	at := middleOf(x, 0, last/2, last)
	if step := len(x) / 9; step > 4 {
		at = middleOf(x, middleOf(x, 0, step, 2*step), middleOf(x, 3*step, 4*step, 5*step), middleOf(x, 6*step, 7*step, last))
	}
	x[at], x[last] = x[last], x[at]
	return x[last]
}

func middleOf(x []float64, a, b, c int) int {
	if x[b] < x[a] {
		a, b = b, a
	}
	if x[c] < x[a] {
		return a
	}
	if x[c] < x[b] {
		return c
	}
	return b
}
