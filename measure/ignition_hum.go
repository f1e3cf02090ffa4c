package measure

import "math"

// hum is mains pick-up: amplitude and phase of one frequency about a level.
type hum struct {
	hz, cos, sin, level float64
}

func (h hum) at(t float64) float64 {
	if h.hz == 0 {
		return h.level
	}
	s, c := math.Sincos(2 * math.Pi * h.hz * t)
	return h.level + h.cos*c + h.sin*s
}

func (h hum) amplitude() float64 { return math.Hypot(h.cos, h.sin) }

// findHum fits 50 and 60 Hz by least squares to the middle of blocks at rest and
// keeps the better one when it explains more than half of their variance; else
// only the level is kept. busy marks blocks of the sparks themselves.
func (w *wave) findHum(busy []bool) {
	stride := max(1, len(w.lo)/40000)
	t, y := make([]float64, 0, len(w.lo)/stride+1), make([]float64, 0, len(w.lo)/stride+1)
	for b := 0; b < len(w.lo); b += stride {
		if busy[b] || w.lo[b] > w.hi[b] || w.hi[b]-w.lo[b] > 2.5*w.quiet {
			continue
		}
		t = append(t, w.seconds(min(b*w.size+w.size/2, len(w.v)-1))) // the last block may be short
		y = append(y, (w.lo[b]+w.hi[b])/2)
	}
	w.hum = hum{level: w.base}
	// A fit needs rest that reaches over whole periods: short triggered stretches
	// hold dwell and droop as well, and would be fitted instead.
	rest := 0.0
	for _, r := range w.runs {
		if d := float64(r.End-r.First) / w.rate; d > 60e-3 {
			rest += d
		}
	}
	if len(y) < 20 || rest < 0.2 {
		return
	}
	mean := 0.0
	for _, v := range y {
		mean += v / float64(len(y))
	}
	total := 0.0
	for _, v := range y {
		total += (v - mean) * (v - mean)
	}
	w.hum.level = mean
	best := 0.5
	for _, hz := range []float64{50, 60} {
		// Normal equations for 1, cos, sin.
		var a [3][4]float64
		for i := range y {
			s, c := math.Sincos(2 * math.Pi * hz * t[i])
			d := y[i] - mean
			a[0][1], a[0][2], a[0][3] = a[0][1]+c, a[0][2]+s, a[0][3]+d
			a[1][1], a[1][2], a[1][3] = a[1][1]+c*c, a[1][2]+c*s, a[1][3]+c*d
			a[2][2], a[2][3] = a[2][2]+s*s, a[2][3]+s*d
		}
		a[0][0], a[1][0], a[2][0], a[2][1] = float64(len(y)), a[0][1], a[0][2], a[1][2]
		x, ok := solve3(a)
		if !ok {
			continue
		}
		fitted := x[0]*a[0][3] + x[1]*a[1][3] + x[2]*a[2][3] // of the sum of squares
		if share := fitted / total; total > 0 && share > best {
			best = share
			w.hum = hum{hz: hz, level: mean + x[0], cos: x[1], sin: x[2]}
			w.humFound = true
		}
	}
}

// solve3 solves three linear equations by elimination with pivoting.
func solve3(a [3][4]float64) (x [3]float64, ok bool) {
	for i := range 3 {
		p := i
		for r := i + 1; r < 3; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[p][i]) {
				p = r
			}
		}
		a[i], a[p] = a[p], a[i]
		if math.Abs(a[i][i]) < 1e-12*float64(3) {
			return x, false
		}
		for r := i + 1; r < 3; r++ {
			f := a[r][i] / a[i][i]
			for c := i; c < 4; c++ {
				a[r][c] -= f * a[i][c]
			}
		}
	}
	for i := 2; i >= 0; i-- {
		x[i] = a[i][3]
		for c := i + 1; c < 3; c++ {
			x[i] -= a[i][c] * x[c]
		}
		x[i] /= a[i][i]
	}
	return x, true
}
