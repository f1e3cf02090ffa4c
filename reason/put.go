package reason

import "math"

// laying is the factor that a field is taking in or giving back: its parents as
// one array for each property, and the inverse of the likelihood of each pair.
// There is one for each field, so that factors hold no scratch of their own.
//
// A factor that bears on most faults is wide: its arrays run over all faults, and
// its triples are put in by the next pass, row by row while the row is at hand.
// Until then it is pending.
type laying struct {
	f    *factor
	e    float64 // exponent, with the sign of the change
	wide bool
	k    int // length of the arrays: parents, or all faults for a wide factor

	keep, hold, extra, more, alone []float64
	// To the power e, so that nothing but the likelihood of the three itself has to be
	// raised for each triple: alone, the likelihood of none, and 1 / likelihood of each
	// pair (k*k, upper half).
	aloneE, inverse []float64
	noneE           float64
	power           power
	fault           []int32 // of each parent
	bears           []bool  // wide: whether the fault is a parent at all
	// light: no likelihood can fall to floorL and no fault makes the normal outcome
	// likelier, so that the loop over triples is short.
	light bool
}

// wideFrom is the share of all faults from which a factor is put in by the pass.
const wideFrom = 0.5

// put multiplies the factor into the field (sign +1) or takes it out (-1).
func (f *factor) put(w *field, sign float64) {
	e := sign * f.exponent
	if e == 0 {
		return
	}
	w.flush()
	before := w.reach
	w.reach += e * f.reach()
	w.near = !(math.Max(before, w.reach) < math.Log(cLimit)-1)
	ln0 := math.Log(f.none)
	w.other += e * (math.Log(f.other) - ln0)
	if f.tried != nil {
		f.putTried(w, e)
		return
	}
	for i := range f.parents {
		w.a[f.parents[i].fault] += e * (math.Log(f.parents[i].alone) - ln0)
	}
	if w.bound < 2 || len(f.parents) < 2 {
		return
	}
	l := &w.laying
	l.lay(f, e, w.n)
	w.both(putPairs)
	switch {
	case w.c == nil || len(f.parents) < 3:
		l.f = nil
	case !l.wide:
		w.both(putTriples)
		l.f = nil
	}
}

// flush puts in what is pending.
func (w *field) flush() {
	if w.laying.f != nil {
		w.both(putTriples)
		w.laying.f = nil
	}
}

// lay copies the parents into arrays.
func (l *laying) lay(f *factor, e float64, n int) {
	l.f, l.e = f, e
	l.wide = float64(len(f.parents)) >= wideFrom*float64(n) && n >= 16
	l.k = len(f.parents)
	if l.wide {
		l.k = n
	}
	l.grow()
	l.light = !f.or && f.least > 2*floorL && f.p0 > 1e-6 && f.p0 < 1-1e-6
	if l.wide {
		for i := range l.k {
			l.bears[i] = false
			l.keep[i], l.hold[i], l.extra[i], l.more[i], l.alone[i], l.fault[i] = 1, 1, 0, 0, f.none, int32(i)
		}
	}
	l.power.set(e, f.least, f.most, l.k*l.k*l.k/6 > tabled && e != 1 && e != -1)
	for i := range f.parents {
		p := &f.parents[i]
		x := i
		if l.wide {
			x = p.fault
		}
		l.bears[x] = true
		l.keep[x], l.hold[x], l.extra[x], l.more[x], l.alone[x], l.fault[x] = p.keep, p.hold, p.extra, p.more, p.alone, int32(p.fault)
		l.light = l.light && p.hold == 1
	}
	for i, v := range l.alone {
		l.aloneE[i] = l.raise(v)
	}
	l.noneE = l.raise(f.none)
}

// raise is x to the power e.
func (l *laying) raise(x float64) float64 {
	switch l.e {
	case 1:
		return x
	case -1:
		return 1 / x
	}
	return l.power.of(x)
}

func (l *laying) grow() {
	if cap(l.keep) < l.k {
		flat := make([]float64, 6*l.k)
		l.keep, l.hold, l.extra, l.more, l.alone = flat[:l.k:l.k], flat[l.k:2*l.k:2*l.k], flat[2*l.k:3*l.k:3*l.k], flat[3*l.k:4*l.k:4*l.k], flat[4*l.k:5*l.k:5*l.k]
		l.aloneE = flat[5*l.k:]
		l.inverse, l.fault, l.bears = make([]float64, l.k*l.k), make([]int32, l.k), make([]bool, l.k)
	}
	k := l.k
	l.keep, l.hold, l.extra, l.more, l.alone = l.keep[:k], l.hold[:k], l.extra[:k], l.more[:k], l.alone[:k]
	l.aloneE, l.inverse, l.fault, l.bears = l.aloneE[:k], l.inverse[:k*k], l.fault[:k], l.bears[:k]
}

// reach is how far, in ln, the factor can at most move one triple: four
// likelihoods stand over four others, each between the least and the most.
func (f *factor) reach() float64 { return 4 * math.Log(f.most/f.least) }

// pairs puts the factor on the pairs whose first parent is congruent to half
// modulo 2, and keeps the inverse of their likelihoods, raised, for the triples.
func (l *laying) pairs(w *field, half int) {
	f, k, n := l.f, l.k, w.n
	for i := half; i < k; i += 2 {
		inv := l.inverse[i*k : i*k+k]
		if !l.bears[i] {
			continue
		}
		x := int(l.fault[i])
		for j := i + 1; j < k; j++ {
			if !l.bears[j] {
				inv[j] = 1 / l.aloneE[i] // the pair is as likely as i alone
				continue
			}
			like := f.combined(l.keep[i]*l.keep[j], l.hold[i]*l.hold[j], l.extra[i]+l.extra[j], l.more[i]+l.more[j])
			inv[j] = 1 / l.raise(like)
			y := int(l.fault[j])
			v := l.e * math.Log(like*f.none/(l.alone[i]*l.alone[j]))
			w.b[x*n+y] += v
			w.b[y*n+x] += v
		}
	}
}

// triples puts the factor on the triples whose first parent is congruent to half
// modulo 2. Each triple belongs to one half, so that two may run at once.
func (l *laying) triples(w *field, half int) {
	share := w.work[half].share
	for i := half; i < l.k-2; i += 2 {
		if !l.bears[i] {
			continue
		}
		l.start(i, share)
		for j := i + 1; j < l.k-1; j++ {
			if l.bears[j] {
				l.put(w, i, j, share, w.row(int(l.fault[i]), int(l.fault[j])))
			}
		}
	}
}

// start fills share with what the triples of parent i and parent x have in
// common: L_x / L_ix, to the power e.
func (l *laying) start(i int, share []float64) {
	for x := i + 1; x < l.k; x++ {
		share[x] = l.aloneE[x] * l.inverse[i*l.k+x]
	}
}

// put puts the factor on the triples of parents i and j, in the short form where
// there is one.
func (l *laying) put(w *field, i, j int, share, c []float64) {
	if !l.light || !l.wide {
		l.row(w, i, j, c)
		return
	}
	l.short(i, j, share, c)
	if !w.near {
		return
	}
	for x, v := range c {
		if !(v <= cLimit && v >= 1/cLimit) {
			c[x] = math.Min(math.Max(v, 1/cLimit), cLimit)
			w.saturated.Store(true)
		}
	}
}

// short is row for factors that are light and wide.
func (l *laying) short(i, j int, share, c []float64) {
	k, f := l.k, l.f
	top := l.aloneE[i] * l.aloneE[j] * l.inverse[i*k+j] / l.noneE
	kij := l.keep[i] * l.keep[j]
	n := len(c)
	from := k - n
	keep, pj := l.keep[from:][:n], l.inverse[j*k+from:][:n]
	share = share[from:][:n]
	if f.even {
		// All outcomes but the normal one are as likely: the likelihood is linear in
		// the chance of the normal one.
		d, z := (f.normal-f.rest)*f.p0*kij, f.rest
		switch l.e {
		case 1:
			d, z = d*top, z*top
			for x, v := range c {
				c[x] = v * ((z + d*keep[x]) * (share[x] * pj[x]))
			}
		case -1:
			for x, v := range c {
				c[x] = v * (top * (share[x] * pj[x])) / (z + d*keep[x])
			}
		default:
			p := &l.power
			for x, v := range c {
				c[x] = v * (top * (share[x] * pj[x])) * p.of(z+d*keep[x])
			}
		}
		return
	}
	// With t the chance of normal the likelihood is (normal t den + (1-t) num) / den.
	a, z, q := f.p0*kij, f.z0/f.p0, (1-f.p0)/f.p0
	eij, mij := l.extra[i]+l.extra[j], l.more[i]+l.more[j]
	extra, more := l.extra[from:][:n], l.more[from:][:n]
	switch l.e {
	case 1:
		for x, v := range c {
			t := a * keep[x]
			den := t*q + (mij + more[x])
			up := f.normal*t*den + (1-t)*(t*z+(eij+extra[x]))
			c[x] = v * (up * (top * (share[x] * pj[x]))) / den
		}
	case -1:
		for x, v := range c {
			t := a * keep[x]
			den := t*q + (mij + more[x])
			up := f.normal*t*den + (1-t)*(t*z+(eij+extra[x]))
			c[x] = v * (den * (top * (share[x] * pj[x]))) / up
		}
	default:
		p := &l.power
		for x, v := range c {
			t := a * keep[x]
			den := t*q + (mij + more[x])
			up := f.normal*t*den + (1-t)*(t*z+(eij+extra[x]))
			c[x] = v * (top * (share[x] * pj[x])) * p.of(up/den)
		}
	}
}

// row puts the factor on the triples of parents i and j, whose factors are c. A
// triple is changed by
//
//	L_ijk L_i L_j L_k / (L_ij L_ik L_jk L_0)
//
// to the power e, L_0 being the likelihood under no fault.
func (l *laying) row(w *field, i, j int, c []float64) {
	k, f := l.k, l.f
	from := j + 1
	n := k - from
	top := l.aloneE[i] * l.aloneE[j] * l.inverse[i*k+j] / l.noneE
	kij, hij, eij, mij := l.keep[i]*l.keep[j], l.hold[i]*l.hold[j], l.extra[i]+l.extra[j], l.more[i]+l.more[j]
	keep, hold, extra, more, alone := l.keep[from:][:n], l.hold[from:][:n], l.extra[from:][:n], l.more[from:][:n], l.aloneE[from:][:n]
	pi, pj, fault := l.inverse[i*k+from:][:n], l.inverse[j*k+from:][:n], l.fault[from:][:n]
	base := from - 1
	if !l.wide {
		base = int(l.fault[j])
	}
	for x := range n {
		like := f.combined(kij*keep[x], hij*hold[x], eij+extra[x], mij+more[x])
		at := &c[int(fault[x])-base-1]
		v := *at * (l.raise(like) * top * alone[x] * pi[x] * pj[x])
		if v > cLimit || v < 1/cLimit {
			v = math.Min(math.Max(v, 1/cLimit), cLimit)
			w.saturated.Store(true)
		}
		*at = v
	}
}
