package measure

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// Thresholds of the search for shudder, our choice. Drawn misfires of one or of all
// cylinders reach a share of 0.3 at most; drawn shudder lies above 0.6.
const (
	shudderFrom   = 3.0  // Hz: slower is the driver's foot
	shudderTo     = 30.0 // Hz
	shudderShare  = 0.45 // of the variation of speed that one frequency explains
	shudderBeyond = 0.20 // more than what comes back with each cycle
	shudderSwing  = 0.005
	shudderWindow = 1.0 // s: a spell in which the swing keeps its phase
	shudderFewest = 4   // windows
)

// converterTest tells shudder from misfire (common practice, no source).
const converterTest = "drive at the same speed and load with the converter clutch open (a light touch of the brake pedal, or a gear lower) and again with it closed: if the swing is gone, it is the driveline; if it stays, record ignition or cylinder pressure beside the crank"

// shudder is a swing of speed at a frequency of its own.
type shudder struct {
	hz    float64
	swing float64 // amplitude over the mean speed
	line  float64 // share of the variation of speed at that frequency
	cycle float64 // share that comes back at the same place of each cycle
}

// there reports whether the swing is that of a driveline rather than of cylinders.
func (s shudder) there() bool {
	return s.line >= shudderShare && s.line >= s.cycle+shudderBeyond && s.swing >= shudderSwing
}

// findShudder looks for a swing of the speed that keeps its time instead of its
// place in the cycle.
//
// A cylinder that misses slows the crank at the same place of each cycle of 720
// degrees; several that miss at random come at no regular time. A driveline that
// sticks and slips (converter clutch, clutch, mounts) swings at its own natural
// frequency, whatever the engine turns, and comes by all cylinders in turn. So the
// mean speeds over single firings are explained twice: by a sine of one frequency,
// the same in all windows of a second with a phase of its own in each
// (Lomb-Scargle least squares), and by the mean at each place of the cycle over the
// whole run. The shares of the variance they explain are compared. That the two are
// told apart so is common practice in order analysis, no source.
func (tr *turn) findShudder(n int, from, to float64) shudder {
	f := 720 / float64(n)
	start := math.Ceil(from/f) * f
	var at, v []float64
	var slot []int
	before := math.NaN()
	for k := 0; start+float64(k)*f <= to; k++ {
		t, ok := tr.timeAt(start + float64(k)*f)
		if ok && t > before {
			at, v = append(at, (t+before)/2), append(v, f/6/(t-before))
			slot = append(slot, k%n)
		}
		if before = t; !ok {
			before = math.NaN()
		}
	}
	mean := stat.Mean(v, nil)
	if len(v) < 10*n || !(mean > 0) {
		return shudder{}
	}
	var s shudder
	top := math.Min(shudderTo, 0.45*mean/120*float64(n))
	windows := 0
	total := 0.0
	var hz, power []float64
	for x := shudderFrom; x <= top; x += 0.25 / shudderWindow {
		hz, power = append(hz, x), append(power, 0)
	}
	left := make([]float64, len(v)) // without the slow drift
	for a := 0; a < len(v); {
		b := a
		for b < len(v) && at[b] < at[a]+shudderWindow {
			b++
		}
		if b-a >= 3*n && at[b-1]-at[a] > 0.7*shudderWindow {
			part := left[a:b]
			copy(part, v[a:b])
			offLine(at[a:b], part)
			for _, y := range part {
				total += y * y
			}
			for k := range hz {
				power[k] += explained(at[a:b], part, hz[k])
			}
			windows++
		}
		a = b
	}
	if windows < shudderFewest || total == 0 {
		return shudder{}
	}
	best := 0
	for k := range power {
		if power[k] > power[best] {
			best = k
		}
	}
	sum, count := make([]float64, n), make([]float64, n)
	for i, y := range left {
		sum[slot[i]] += y
		count[slot[i]]++
	}
	for k := range sum {
		s.cycle += sum[k] * sum[k] / math.Max(1, count[k]) / total
	}
	s.hz, s.line = hz[best], power[best]/total
	s.swing = math.Sqrt(2*power[best]/float64(len(v))) / mean
	return s
}

// offLine takes the straight line of least squares off y.
func offLine(x, y []float64) {
	level, slope := stat.LinearRegression(x, y, nil, false)
	for i := range y {
		y[i] -= level + slope*x[i]
	}
}

// explained is the sum of squares of y that the best sine of frequency hz takes
// off, by the normal equations of sine and cosine.
func explained(x, y []float64, hz float64) float64 {
	var cc, ss, cs, yc, ys float64
	for i := range x {
		sn, co := math.Sincos(2 * math.Pi * hz * (x[i] - x[0]))
		cc += co * co
		ss += sn * sn
		cs += co * sn
		yc += y[i] * co
		ys += y[i] * sn
	}
	det := cc*ss - cs*cs
	if det < 1e-9*cc*ss {
		return 0
	}
	return (yc*yc*ss - 2*yc*ys*cs + ys*ys*cc) / det
}
