package evaluate

import "math"

// Calibration sums up how well chances p of yes/no events y were told.
type Calibration struct {
	Brier   float64 // mean of (p - y)^2
	LogLoss float64 // mean of -ln of the chance of what happened
	// ECE is the expected calibration error over equal bins [lo, hi): the mean
	// distance of told and true share, weighted by the number in each bin. It is
	// biased with few cases: report log loss first.
	ECE   float64
	Count []int // by bin
}

// Calibrate scores chances against what happened. A chance of exactly 0 or 1 that
// turned out wrong gives an infinite log loss, as it should.
func Calibrate(p []float64, y []bool, bins int) Calibration {
	c := Calibration{Count: make([]int, bins)}
	told, was := make([]float64, bins), make([]float64, bins)
	for i, v := range p {
		out := 0.0
		if y[i] {
			out = 1
			c.LogLoss -= math.Log(v)
		} else {
			c.LogLoss -= math.Log(1 - v)
		}
		c.Brier += (v - out) * (v - out)
		b := min(int(v*float64(bins)), bins-1)
		c.Count[b]++
		told[b] += v
		was[b] += out
	}
	n := math.Max(1, float64(len(p)))
	for b := range told {
		c.ECE += math.Abs(told[b]-was[b]) / n
	}
	c.Brier /= n
	c.LogLoss /= n
	return c
}
