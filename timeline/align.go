package timeline

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"proveout/stats"
)

// Thresholds of alignment, our choice.
const (
	cellsMost    = 4096 // of the coarse search
	cellsFewest  = 40
	leastOverlap = 0.3  // of the shorter recording
	leastLike    = 0.55 // correlation of the changes
	secondBest   = 0.80 // of the best: another place that fits as well
	oneEvent     = 0.40 // correlation of what is left without the largest change: less, and it rests on one event
)

// Fit is how one track lies on another.
type Fit struct {
	// Offset is what to add to the second track's time, seconds; SD its standard
	// uncertainty: noise, sampling of both, and how far the two halves disagree.
	Offset, SD float64
	Like       float64 // correlation of the changes, 0 to 1
	TurnedOver bool    // the second goes down where the first goes up
	// OneEvent: without its largest change the two no longer agree. It is a single
	// step in each, and only the person knows whether it is the same one.
	OneEvent bool
	Overlap  float64 // seconds
	// ClockPPM is by how much the second clock seems to run fast, in millionths, from
	// the two halves; ClockSD its standard uncertainty. Not corrected.
	ClockPPM, ClockSD float64
}

// Align finds where b lies on a: both hold the same quantity, or one that moves
// with it. The changes from one cell of time to the next are correlated at all
// offsets (normalised cross-correlation over what overlaps, by FFT), since levels
// that drift agree by chance. From the best place the offset is refined by least
// squares (Gauss-Newton) on
//
//	a(t) = c0 + c1 b(t - offset)
//
// with the standard error of the fit, widened for residuals that hang together by
// (1+r)/(1-r). A lag inside an instrument (a log that answers late) is part of the
// offset and cannot be seen. The error says why there is no alignment.
func Align(a, b Track) (Fit, error) {
	spanA, spanB := a.T[len(a.T)-1]-a.T[0], b.T[len(b.T)-1]-b.T[0]
	h := math.Max(math.Max(a.Step, b.Step), math.Max(spanA, spanB)/cellsMost)
	if !(h > 0) || math.Min(spanA, spanB) < cellsFewest*h {
		return Fit{}, fmt.Errorf("%s and %s share too few samples to be laid on each other", a.Name, b.Name)
	}
	na, nb := int(spanA/h)+1, int(spanB/h)+1
	da, oka := changes(a.grid(a.T[0], h, na))
	db, okb := changes(b.grid(b.T[0], h, nb))
	r := correlate(da, oka, db, okb, int(leastOverlap*float64(min(na, nb))))
	best := -1
	for i := range r {
		if best < 0 || math.Abs(r[i]) > math.Abs(r[best]) {
			best = i
		}
	}
	if best < 0 || r[best] == 0 {
		return Fit{}, fmt.Errorf("%s or %s does not move", a.Name, b.Name)
	}
	f := Fit{Like: math.Abs(r[best]), TurnedOver: r[best] < 0}
	f.OneEvent = withoutLargest(da, oka, db, okb, best-(nb-2)) < oneEvent
	if f.Like < leastLike {
		return f, fmt.Errorf("%s and %s do not move together at any offset (%.2f of 1 at best)", a.Name, b.Name, f.Like)
	}
	// Walk down from the crest, then look for another one.
	lo, hi := best, best
	for lo > 0 && math.Abs(r[lo-1]) > 0.3*f.Like {
		lo--
	}
	for hi < len(r)-1 && math.Abs(r[hi+1]) > 0.3*f.Like {
		hi++
	}
	for i := range r {
		if (i < lo-1 || i > hi+1) && math.Abs(r[i]) > secondBest*f.Like {
			return f, fmt.Errorf("%s fits on %s at more than one place (%.2f and %.2f of 1, %.3g s apart): the signal repeats itself", b.Name, a.Name, f.Like, math.Abs(r[i]), math.Abs(float64(i-best))*h)
		}
	}
	// Lag k pairs cell i of a with cell i-k of b.
	coarse := a.T[0] + float64(best-(nb-2))*h - b.T[0]
	offset, sd, overlap, ok := refine(a, b, coarse, h, math.Inf(-1), math.Inf(1))
	if !ok {
		return f, fmt.Errorf("%s and %s agree roughly at an offset of %.3g s, but not well enough to place one on the other", a.Name, b.Name, coarse)
	}
	f.Offset, f.Overlap = offset, overlap
	// A single sharp change lies anywhere within a step of either; with several the
	// scatter of the fit holds that.
	steps := (a.Resolution*a.Resolution + b.Resolution*b.Resolution) / 12
	if f.OneEvent {
		steps += (a.Step*a.Step + b.Step*b.Step) / 12
	}
	from := math.Max(a.T[0], b.T[0]+offset)
	mid := from + overlap/2
	o1, s1, _, ok1 := refine(a, b, offset, h, math.Inf(-1), mid)
	o2, s2, _, ok2 := refine(a, b, offset, h, mid, math.Inf(1))
	half := 0.0
	if ok1 && ok2 && math.Abs(o1-o2) < 3*h && s1 < h && s2 < h {
		half = (o2 - o1) / 2
		f.ClockPPM = (o1 - o2) / (overlap / 2) * 1e6
		f.ClockSD = math.Sqrt(s1*s1+s2*s2) / (overlap / 2) * 1e6
	}
	f.SD = math.Sqrt(sd*sd + steps + half*half)
	return f, nil
}

// changes is the difference from one cell to the next.
func changes(v []float64, ok []bool) ([]float64, []bool) {
	d, good := make([]float64, len(v)-1), make([]bool, len(v)-1)
	for i := range d {
		if ok[i] && ok[i+1] {
			d[i], good[i] = v[i+1]-v[i], true
		}
	}
	return d, good
}

// correlate is the normalised cross-correlation of a and b over the cells that
// both have, for lags -(len(b)-1) .. len(a)-1; 0 where fewer than least overlap.
func correlate(a []float64, oka []bool, b []float64, okb []bool, least int) []float64 {
	var r []float64
	n := 4
	for n < len(a)+len(b) {
		n *= 2
	}
	fft := stats.NewFFT(n)
	spectrum := func(x []float64, ok []bool, power int) []complex128 {
		p := make([]float64, n)
		for i := range x {
			if ok[i] {
				p[i] = math.Pow(x[i], float64(power))
			}
		}
		return fft.Spectrum(nil, p)
	}
	cross := func(x, y []complex128) []float64 {
		z := make([]complex128, len(x))
		for i := range z {
			z[i] = x[i] * complex(real(y[i]), -imag(y[i]))
		}
		return fft.Series(nil, z)
	}
	m0, m1, m2 := spectrum(a, oka, 0), spectrum(a, oka, 1), spectrum(a, oka, 2)
	k0, k1, k2 := spectrum(b, okb, 0), spectrum(b, okb, 1), spectrum(b, okb, 2)
	count, sa, saa := cross(m0, k0), cross(m1, k0), cross(m2, k0)
	sb, sbb, sab := cross(m0, k1), cross(m0, k2), cross(m1, k1)
	for lag := -(len(b) - 1); lag < len(a); lag++ {
		i := (lag + n) % n
		c := count[i]
		x := 0.0
		if c+0.5 >= float64(least) && c > 10 {
			va, vb := saa[i]-sa[i]*sa[i]/c, sbb[i]-sb[i]*sb[i]/c
			if va > 1e-9*m2size(saa) && vb > 1e-9*m2size(sbb) {
				x = (sab[i] - sa[i]*sb[i]/c) / math.Sqrt(va*vb)
			}
		}
		r = append(r, x)
	}
	return r
}

// withoutLargest is the correlation at a lag of what is left when the cells about
// the change on which it rests most are taken out.
func withoutLargest(a []float64, oka []bool, b []float64, okb []bool, lag int) float64 {
	var x, y []float64
	most := 0
	for i := range a {
		if j := i - lag; j >= 0 && j < len(b) && oka[i] && okb[j] {
			x, y = append(x, a[i]), append(y, b[j])
			if math.Abs(a[i]*b[j]) > math.Abs(x[most]*y[most]) {
				most = len(x) - 1
			}
		}
	}
	if len(x) == 0 {
		return 0
	}
	// The change goes on as long as the product keeps its sign and a fiftieth of its size.
	large := x[most] * y[most]
	lo, hi := most, most
	for lo > 0 && x[lo-1]*y[lo-1]/large > 0.02 {
		lo--
	}
	for hi < len(x)-1 && x[hi+1]*y[hi+1]/large > 0.02 {
		hi++
	}
	x, y = slices.Delete(x, lo, hi+1), slices.Delete(y, lo, hi+1)
	if len(x) < 3 {
		return 0
	}
	if c := stat.Correlation(x, y, nil); !math.IsNaN(c) {
		return math.Abs(c)
	}
	return 0
}

// m2size is the largest of a row of sums of squares: what "nothing moves" is held
// against.
func m2size(x []float64) float64 {
	m := 0.0
	for _, v := range x {
		m = math.Max(m, v)
	}
	return m
}

// refine fits the offset by least squares near a first guess, over the times from
// to of a. The slower track gives the points, the other is read between its samples.
func refine(a, b Track, guess, h, from, to float64) (offset, sd, overlap float64, ok bool) {
	points, line, sign := a, b, -1.0
	if b.Step >= a.Step {
		points, line, sign = b, a, 1.0
	}
	line = line.thinned(points.Step / 4)
	offset = guess
	wide := math.Max(points.Step, 2*line.Step)
	for round := range 20 {
		var y []float64
		var rows []float64
		first, last := math.Inf(1), math.Inf(-1)
		for i, t := range points.T {
			onA := t
			if sign > 0 {
				onA = t + offset
			}
			if onA < from || onA > to {
				continue
			}
			x, ok0 := line.at(t + sign*offset)
			up, ok1 := line.at(t + sign*offset + wide/2)
			down, ok2 := line.at(t + sign*offset - wide/2)
			if !ok0 || !ok1 || !ok2 {
				continue
			}
			y = append(y, points.V[i])
			rows = append(rows, 1, x, sign*(up-down)/wide)
			first, last = math.Min(first, onA), math.Max(last, onA)
		}
		if len(y) < 12 {
			return 0, 0, 0, false
		}
		design := mat.NewDense(len(y), 3, rows)
		var qr mat.QR
		qr.Factorize(design)
		var x mat.VecDense
		if qr.SolveVecTo(&x, false, mat.NewVecDense(len(y), y)) != nil || x.AtVec(1) == 0 {
			return 0, 0, 0, false
		}
		step := x.AtVec(2) / x.AtVec(1)
		if math.Abs(step) > 2*h {
			step = math.Copysign(2*h, step)
		}
		if round > 6 { // the line between samples has corners: settle down
			step /= 2
		}
		offset += step
		if math.Abs(offset-guess) > 6*h {
			return 0, 0, 0, false
		}
		var fitted mat.VecDense
		fitted.MulVec(design, &x)
		s2, lag := 0.0, 0.0
		res := make([]float64, len(y))
		for i := range y {
			res[i] = y[i] - fitted.AtVec(i)
			s2 += res[i] * res[i]
			if i > 0 {
				lag += res[i] * res[i-1]
			}
		}
		rho := math.Min(0.99, math.Max(0, lag/math.Max(s2, 1e-300)))
		s2 *= (1 + rho) / (1 - rho) / float64(len(y)-3)
		var normal, inv mat.Dense
		normal.Mul(design.T(), design)
		if inv.Inverse(&normal) != nil {
			return 0, 0, 0, false
		}
		sd = math.Sqrt(s2*inv.At(2, 2)) / math.Abs(x.AtVec(1))
		if math.Abs(step) < 1e-3*h+0.1*sd {
			return offset, sd, last - first, true
		}
	}
	return 0, 0, 0, false
}
