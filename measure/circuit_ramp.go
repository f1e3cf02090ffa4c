package measure

import "math"

// ramp is the current in a coil or injector after the driver closes:
//
//	i(t) = i0 + s*(1-exp(-k*t))/k
//
// with initial slope s = V/L (A/s) and rate k = R/L (1/s). Written with k, not
// with the time constant, the fit stays well behaved when the dwell is short and
// the ramp nearly straight: k is then near zero with a symmetrical error, and may
// come out slightly negative. Source: closed form of the RL circuit, standards.md
// 8.7.
type ramp struct {
	i0, s, k    float64
	sdS, sdK    float64 // standard errors from the residuals
	residual    float64 // rms
	n           int
	correlation float64 // of s and k
}

// at is the fitted current at t seconds from the origin of the fit.
func (r ramp) at(t float64) float64 { return r.i0 + r.s*rise(r.k, t) }

// start is the time at which the fitted current crosses level: the moment the
// driver closed, when the current rises from there. ok is false when it never does.
func (r ramp) start(level float64) (float64, bool) {
	if !(r.s > 0) {
		return 0, false
	}
	x := 1 - r.k*(level-r.i0)/r.s
	if math.Abs(r.k) < 1e-6 {
		return (level - r.i0) / r.s, true
	}
	if x <= 0 {
		return 0, false
	}
	return -math.Log(x) / r.k, true
}

// rise is (1-exp(-k t))/k, and t at k = 0.
func rise(k, t float64) float64 {
	if x := k * t; math.Abs(x) < 1e-4 {
		return t * (1 - x/2 + x*x/6)
	}
	return -math.Expm1(-k*t) / k
}

// riseByK is its derivative by k.
func riseByK(k, t float64) float64 {
	x := k * t
	if math.Abs(x) < 1e-3 {
		return t * t * (-0.5 + x/3 - x*x/8)
	}
	return (t*math.Exp(-x)*k + math.Expm1(-x)) / (k * k)
}

// riseBoth is rise and riseByK from one exponential: they take most of the time of
// a fit.
func riseBoth(k, t float64) (h, byK float64) {
	x := k * t
	if math.Abs(x) < 1e-3 {
		return rise(k, t), riseByK(k, t)
	}
	e := math.Expm1(-x)
	return -e / k, (t*(e+1)*k + e) / (k * k)
}

// normal is the normal equations of a ramp at its parameters, and its cost.
func (r ramp) normal(t, y []float64) (a [3][3]float64, g [3]float64, cost float64) {
	for j := range t {
		h, byK := riseBoth(r.k, t[j])
		q := r.s * byK
		e := y[j] - r.i0 - r.s*h
		cost += e * e
		g[0] += e
		g[1] += h * e
		g[2] += q * e
		a[0][1] += h
		a[0][2] += q
		a[1][1] += h * h
		a[1][2] += h * q
		a[2][2] += q * q
	}
	a[0][0] = float64(len(t))
	a[1][0], a[2][0], a[2][1] = a[0][1], a[0][2], a[1][2]
	return a, g, cost
}

// fitRamp fits the three parameters by damped least squares (Marquardt 1963).
// Times in seconds; at least 8 points. ok is false when it does not settle.
func fitRamp(t, y []float64) (ramp, bool) {
	n := len(t)
	if n < 8 || n != len(y) || !(t[n-1] > t[0]) {
		return ramp{}, false
	}
	span := t[n-1] - t[0]
	return fitRampFrom(ramp{i0: y[0], s: 1.3 * (y[n-1] - y[0]) / span, k: 0.5 / span}, t, y)
}

// fitRampFrom is fitRamp begun at parameters that are near already.
func fitRampFrom(r ramp, t, y []float64) (ramp, bool) {
	n := len(t)
	if n < 8 || n != len(y) || !(t[n-1] > t[0]) {
		return ramp{}, false
	}
	span := t[n-1] - t[0]
	r = ramp{i0: r.i0, s: r.s, k: r.k, n: n}
	a, g, cost := r.normal(t, y)
	damp := 1e-3
	for range 60 {
		b := a
		for p := range 3 {
			b[p][p] *= 1 + damp
		}
		inv, ok := inverse3(b)
		if !ok {
			return r, false
		}
		next := r
		next.i0 += dot3(inv[0], g)
		next.s += dot3(inv[1], g)
		next.k += dot3(inv[2], g)
		if math.Abs(next.k*span) > 60 {
			damp *= 10
			continue
		}
		na, ng, c := next.normal(t, y)
		if !(c <= cost) {
			if damp *= 10; damp > 1e9 {
				break
			}
			continue
		}
		small := cost-c <= 1e-10*cost && math.Abs(next.k-r.k)*span < 1e-6
		r, a, g, cost, damp = next, na, ng, c, math.Max(damp/10, 1e-12)
		if small || cost == 0 {
			break
		}
	}
	inv, ok := inverse3(a)
	if !ok {
		return r, false
	}
	v := cost / float64(n-3)
	r.residual = math.Sqrt(cost / float64(n))
	r.sdS, r.sdK = math.Sqrt(v*math.Max(0, inv[1][1])), math.Sqrt(v*math.Max(0, inv[2][2]))
	if r.sdS > 0 && r.sdK > 0 {
		r.correlation = v * inv[1][2] / (r.sdS * r.sdK)
	}
	return r, !math.IsNaN(r.k) && !math.IsNaN(r.s)
}

func dot3(a, b [3]float64) float64 { return a[0]*b[0] + a[1]*b[1] + a[2]*b[2] }

// inverse3 inverts a symmetric 3 by 3 matrix after scaling its diagonal to one.
func inverse3(m [3][3]float64) ([3][3]float64, bool) {
	var s [3]float64
	for i := range 3 {
		if !(m[i][i] > 0) {
			return m, false
		}
		s[i] = 1 / math.Sqrt(m[i][i])
	}
	for i := range 3 {
		for j := range 3 {
			m[i][j] *= s[i] * s[j]
		}
	}
	c := func(i, j int) float64 {
		a, b, d, e := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return m[a][d]*m[b][e] - m[a][e]*m[b][d]
	}
	det := m[0][0]*c(0, 0) + m[0][1]*c(0, 1) + m[0][2]*c(0, 2)
	if !(math.Abs(det) > 1e-14) {
		return m, false
	}
	var out [3][3]float64
	for i := range 3 {
		for j := range 3 {
			out[j][i] = c(i, j) / det * s[i] * s[j]
		}
	}
	return out, true
}

// thin averages samples first..end-1 into at most limit points, and gives their
// mean times from origin (seconds).
func thin(v []float64, first, end int, at func(int) float64, origin float64, limit int) (t, y []float64) {
	step := max(1, (end-first)/limit)
	for i := first; i+step <= end; i += step {
		st, sy := 0.0, 0.0
		for j := i; j < i+step; j++ {
			st += at(j) - origin
			sy += v[j]
		}
		t, y = append(t, st/float64(step)), append(y, sy/float64(step))
	}
	return t, y
}
