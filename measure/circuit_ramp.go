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
func (r ramp) normal(t, y []float64, even bool) (a [3][3]float64, g [3]float64, cost float64) {
	if even {
		return r.normalEven(t, y)
	}
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
	return mirrored(a, len(t)), g, cost
}

// normalEven is normal for equally spaced times. There the exponential of one time
// follows from that of the time before, so that a fit needs two and not hundreds:
// with E(t) = exp(-kt)-1, E(t+d) = E(t) exp(-kd) + E(d). All terms have one sign,
// and the rounding of n steps stays below n times that of one.
func (r ramp) normalEven(t, y []float64) (a [3][3]float64, g [3]float64, cost float64) {
	dt := (t[len(t)-1] - t[0]) / float64(len(t)-1)
	e, d := math.Expm1(-r.k*t[0]), math.Expm1(-r.k*dt)
	q1, k, perK, perK2 := 1+d, r.k, -1/r.k, r.s/(r.k*r.k)
	var g0, g1, g2, a01, a02, a11, a12, a22 float64
	for j := range t {
		x := k * t[j]
		h, q := e*perK, (x*(e+1)+e)*perK2
		if -1e-3 < x && x < 1e-3 {
			h, q = rise(k, t[j]), r.s*riseByK(k, t[j])
		}
		e = e*q1 + d
		f := y[j] - r.i0 - r.s*h
		cost += f * f
		g0 += f
		g1 += h * f
		g2 += q * f
		a01 += h
		a02 += q
		a11 += h * h
		a12 += h * q
		a22 += q * q
	}
	a[0][1], a[0][2], a[1][1], a[1][2], a[2][2] = a01, a02, a11, a12, a22
	return mirrored(a, len(t)), [3]float64{g0, g1, g2}, cost
}

// mirrored completes normal equations of which one half is summed up.
func mirrored(a [3][3]float64, n int) [3][3]float64 {
	a[0][0] = float64(n)
	a[1][0], a[2][0], a[2][1] = a[0][1], a[0][2], a[1][2]
	return a
}

// equallySpaced reports whether times are equally spaced: each within a thousandth of a
// step of its place, more than the stamps of a recording are rounded by.
func equallySpaced(t []float64) bool {
	dt := (t[len(t)-1] - t[0]) / float64(len(t)-1)
	for j, x := range t {
		if math.Abs(x-t[0]-float64(j)*dt) > 1e-3*dt {
			return false
		}
	}
	return true
}

// fitRamp fits the three parameters by damped least squares (Marquardt 1963).
// Times in seconds; at least 8 points. ok is false when it does not settle.
func fitRamp(t, y []float64) (ramp, bool) {
	n := len(t)
	if n < 8 || n != len(y) || !(t[n-1] > t[0]) {
		return ramp{}, false
	}
	return fitRampFrom(threePoints(t, y), t, y)
}

// threePoints begins a fit from the means of the first, middle and last part: between
// equal times a ramp's rises shrink by exp(-kT).
func threePoints(t, y []float64) ramp {
	n := len(y)
	m := max(1, n/8)
	mean := func(v []float64) float64 {
		sum := 0.0
		for _, x := range v {
			sum += x
		}
		return sum / float64(len(v))
	}
	c := (n - m) / 2
	a, b, e := mean(y[:m]), mean(y[c:c+m]), mean(y[2*c:2*c+m])
	from, apart := mean(t[:m]), mean(t[c:c+m])-mean(t[:m])
	span := t[n-1] - t[0]
	r := ramp{s: 1.3 * (y[n-1] - y[0]) / span, k: 0.5 / span}
	if shrink := (e - b) / (b - a); shrink > 0.02 && shrink < 5 && apart > 0 {
		r.k = -math.Log(shrink) / apart
		r.s = (b - a) / rise(r.k, apart) * math.Exp(r.k*from)
	}
	r.i0 = a - r.s*rise(r.k, from)
	return r
}

// fitRampFrom is fitRamp begun at parameters that are near already.
func fitRampFrom(r ramp, t, y []float64) (ramp, bool) {
	n := len(t)
	if n < 8 || n != len(y) || !(t[n-1] > t[0]) {
		return ramp{}, false
	}
	span := t[n-1] - t[0]
	r = ramp{i0: r.i0, s: r.s, k: r.k, n: n}
	even := equallySpaced(t)
	a, g, cost := r.normal(t, y, even)
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
		na, ng, c := next.normal(t, y, even)
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

// fitPoints is how many points a ramp is thinned to: what is averaged keeps what the
// samples say of the three parameters, and the curve is straight within a point.
const fitPoints = 120

// thin averages samples first..end-1 into at least limit points and less than twice
// as many, where there are enough, and gives their mean times from origin (seconds).
func (s *sheet) thin(v signal, first, end int, origin float64, limit int) (t, y []float64) {
	step := max(1, (end-first)/limit)
	n := max(0, (end-first)/step)
	if n == 0 {
		return nil, nil
	}
	both := make([]float64, 2*n)
	t, y = both[:n], both[n:]
	for p := range y {
		i := first + p*step
		y[p] = v.sum(i, i+step) / float64(step)
	}
	middle := func(p int) float64 {
		i := first + p*step
		return (s.seconds(i)+s.seconds(i+step-1))/2 - origin
	}
	if t[0] = middle(0); n > 1 && s.rec.Time.Uniform() {
		apart := (middle(n-1) - t[0]) / float64(n-1)
		for p := range t {
			t[p] = t[0] + float64(p)*apart
		}
		return t, y
	}
	for p := range t {
		t[p] = middle(p)
	}
	return t, y
}
