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
		lo = max(lo, v)
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
	return lo + (h-float64(i))*(slices.Min(s[i+1:])-lo)
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

// selectKth is quickselect with median-of-three: O(n) on average, ordering x so
// that x[k] is the k-th smallest and none before it is greater. NaN sorts nowhere
// defined: callers pass finite values.
func selectKth(x []float64, k int) float64 {
	lo, hi := 0, len(x)-1
	for lo < hi {
		mid := lo + (hi-lo)/2
		if x[mid] < x[lo] {
			x[mid], x[lo] = x[lo], x[mid]
		}
		if x[hi] < x[lo] {
			x[hi], x[lo] = x[lo], x[hi]
		}
		if x[hi] < x[mid] {
			x[hi], x[mid] = x[mid], x[hi]
		}
		pivot := x[mid]
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	return x[k]
}
