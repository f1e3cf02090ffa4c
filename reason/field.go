package reason

import (
	"math"
	"runtime"
	"sync"
	"sync/atomic"
)

// field holds the weight of every set of up to three faults, exactly, in the
// form
//
//	ln w(S) = sum a[i] + sum b[i,j] + sum ln c[i,j,k]   over the members of S,
//
// relative to the empty set. Any function of sets of at most three members has
// this form, so nothing is approximated; but a reading that bears on K faults
// touches only K entries of a, K^2/2 of b and K^3/6 of c instead of every set
// that meets them, and taking a reading back is the same work with the sign
// turned: no weight ever underflows and no division by a small number occurs.
//
// c is kept as a factor, not as a logarithm: the pass over all triples then
// needs multiplications only.
type field struct {
	n, bound int
	none     float64 // ln weight of "nothing wrong", relative to the empty fault set
	other    float64 // ln weight of "something not listed"
	hasNone  bool
	a        []float64 // n
	b        []float64 // n*n, symmetric, zero diagonal
	c        []float64 // triples i<j<k, rows (i,j) contiguous in k; nil below bound 3
	reach    float64   // how far in ln the factors that are in can have moved a triple
	near     bool      // that is near the limit of c: changes are checked
	laying   laying
	// saturated: a factor in c met its limit; take back by rebuilding.
	saturated atomic.Bool

	// Results of the last pass; masses are relative to z.
	z, lnRef   float64 // sum of all weights is z*exp(lnRef)
	zNone      float64
	zOther     float64
	zSize      [4]float64
	m1         []float64 // mass of sets containing i
	m2         []float64 // n*n: mass of sets containing i and j; valid after pass(true)
	scale3     float64   // weight of a triple = scale3 * m_ij * m_ik * m_jk * c
	m          []float64 // n*n scaled half-weights
	h          []float64
	work       [2]worker
	wantPairs  bool
	what       task
	wg         sync.WaitGroup
	background func()
}

// task is work on all triples or pairs that is done in two halves.
type task int

const (
	sumTriples task = iota
	putTriples
	putPairs
)

// both does a task in two halves, at once where there are two cores. The split is
// fixed, so that sums come out the same on one core and on two.
func (f *field) both(what task) {
	f.what = what
	n := f.n
	if what != sumTriples {
		n = f.laying.k
	}
	if n < 64 || runtime.GOMAXPROCS(0) < 2 {
		f.half(0)
		f.half(1)
		return
	}
	f.wg.Add(1)
	go f.background()
	f.half(0)
	f.wg.Wait()
}

func (f *field) half(h int) {
	switch f.what {
	case putTriples:
		f.laying.triples(f, h)
	case putPairs:
		f.laying.pairs(f, h)
	default:
		f.triples(&f.work[h], h)
	}
}

type worker struct {
	m1, m2, acc, share []float64
	z                  float64
}

const cLimit = 1e280

func newField(n, bound int) *field {
	f := &field{n: n, bound: bound, a: make([]float64, n), b: make([]float64, n*n), m1: make([]float64, n), m2: make([]float64, n*n), m: make([]float64, n*n), h: make([]float64, n)}
	if bound >= 3 && n >= 3 {
		f.c = make([]float64, n*(n-1)*(n-2)/6)
	}
	for w := range f.work {
		f.work[w] = worker{m1: make([]float64, n), m2: make([]float64, n*n), acc: make([]float64, n), share: make([]float64, n)}
	}
	f.background = func() {
		f.half(1)
		f.wg.Done()
	}
	f.clear()
	return f
}

func (f *field) clear() {
	f.none, f.other, f.reach, f.near = 0, 0, 0, false
	f.saturated.Store(false)
	f.laying.f = nil
	for i := range f.a {
		f.a[i] = 0
	}
	for i := range f.b {
		f.b[i] = 0
	}
	for i := range f.c {
		f.c[i] = 1
	}
}

// row returns the factors of the triples (i, j, k) for k = j+1 .. n-1.
func (f *field) row(i, j int) []float64 {
	n := f.n
	// Triples whose first member is below i, then rows (i, i+1) .. (i, j-1).
	m := n - i
	before := n*(n-1)*(n-2)/6 - m*(m-1)*(m-2)/6
	r := j - i - 1
	before += r*(n-i-2) - r*(r-1)/2
	return f.c[before : before+n-j-1]
}

// pass sums over all sets. With pairs it also fills m2. It allocates nothing.
func (f *field) pass(pairs bool) {
	n := f.n
	best := math.Inf(-1)
	if f.hasNone {
		best = f.none
	}
	best = math.Max(best, f.other)
	amax, s := math.Inf(-1), math.Inf(-1)
	for _, v := range f.a {
		amax = math.Max(amax, v)
	}
	best = math.Max(best, amax)
	if f.bound >= 2 {
		for i := range n {
			bi, ai := f.b[i*n:i*n+n], f.a[i]
			for j := i + 1; j < n; j++ {
				half := (ai + f.a[j]) / 2
				v := bi[j] + half
				if v > s {
					s = v
				}
				if v+half > best {
					best = v + half
				}
			}
		}
	}
	ref := best
	if f.c != nil && 3*s-ref > 600 {
		ref = 3*s - 600
	}
	f.lnRef = ref
	f.zNone = 0
	if f.hasNone {
		f.zNone = math.Exp(f.none - ref)
	}
	f.zOther = math.Exp(f.other - ref)
	z1, z2 := 0.0, 0.0
	for i, v := range f.a {
		w := math.Exp(v - ref)
		f.m1[i] = w
		z1 += w
	}
	if pairs {
		for i := range f.m2 {
			f.m2[i] = 0
		}
	}
	if f.bound >= 2 && n >= 2 {
		// m_ij = exp((a_i+a_j)/2 + b_ij - s); a pair weighs m_ij h_i h_j, a triple
		// the product of its three m and c.
		for i, v := range f.a {
			f.h[i] = math.Exp((v - amax) / 2)
		}
		k2 := math.Exp(math.Min(700, s+amax-ref))
		for i := range n {
			f.m[i*n+i] = 0
			for j := i + 1; j < n; j++ {
				v := math.Exp(f.b[i*n+j] + (f.a[i]+f.a[j])/2 - s)
				f.m[i*n+j], f.m[j*n+i] = v, v
				w := v * f.h[i] * f.h[j] * k2
				f.m1[i] += w
				f.m1[j] += w
				z2 += w
				if pairs {
					f.m2[i*n+j] = w
				}
			}
		}
	}
	z3 := 0.0
	if f.c != nil {
		f.scale3 = math.Exp(3*s - ref)
		z3 = f.passTriples(pairs)
	}
	f.zSize = [4]float64{0, z1, z2, z3}
	f.z = f.zNone + f.zOther + z1 + z2 + z3
	if pairs {
		for i := range n {
			f.m2[i*n+i] = f.m1[i]
			for j := i + 1; j < n; j++ {
				f.m2[j*n+i] = f.m2[i*n+j]
			}
		}
	}
}

func (f *field) passTriples(pairs bool) float64 {
	f.wantPairs = pairs
	for w := range f.work {
		k := &f.work[w]
		k.z = 0
		clear(k.m1)
		if pairs {
			clear(k.m2)
		}
	}
	f.both(sumTriples)
	f.laying.f = nil // what was pending is in
	z := 0.0
	for w := range f.work {
		k := &f.work[w]
		z += k.z
		for i, v := range k.m1 {
			f.m1[i] += v * f.scale3
		}
		if pairs {
			for i, v := range k.m2 {
				f.m2[i] += v * f.scale3
			}
		}
	}
	return z * f.scale3
}

// triples adds up the triples whose first member is congruent to half modulo 2,
// each row after the pending factor has been put on it.
func (f *field) triples(k *worker, half int) {
	n, l := f.n, &f.laying
	for i := half; i < n-2; i += 2 {
		mi := f.m[i*n : i*n+n]
		clear(k.acc)
		zi := 0.0
		pending := l.f != nil && l.bears[i]
		if pending {
			l.start(i, k.share)
		}
		for j := i + 1; j < n-1; j++ {
			mij := mi[j]
			row := f.row(i, j)
			if pending && l.bears[j] {
				l.put(f, i, j, k.share, row)
			}
			if mij == 0 {
				continue
			}
			ri := mi[j+1:][:len(row)]
			rj := f.m[j*n+j+1:][:len(row)]
			sum := 0.0
			if f.wantPairs {
				ti := k.m2[i*n+j+1:][:len(row)]
				tj := k.m2[j*n+j+1:][:len(row)]
				acc := k.acc[j+1:][:len(row)]
				for x, c := range row {
					p := c * ri[x] * rj[x] * mij
					sum += p
					acc[x] += p
					ti[x] += p
					tj[x] += p
				}
				k.m2[i*n+j] += sum
			} else {
				sum = addRow(row, ri, rj, k.acc[j+1:][:len(row)], mij)
			}
			zi += sum
			k.m1[j] += sum
		}
		k.m1[i] += zi
		k.z += zi
		for x, v := range k.acc {
			k.m1[x] += v
		}
	}
}

// addRow adds the masses c*ri*rj*mij of a row to acc and returns their sum. Four
// sums run side by side: one alone would wait for each addition in turn.
func addRow(c, ri, rj, acc []float64, mij float64) float64 {
	n := len(c)
	ri, rj, acc = ri[:n], rj[:n], acc[:n]
	var s0, s1, s2, s3 float64
	x := 0
	for ; x+3 < n; x += 4 {
		p0 := c[x] * (ri[x] * rj[x] * mij)
		p1 := c[x+1] * (ri[x+1] * rj[x+1] * mij)
		p2 := c[x+2] * (ri[x+2] * rj[x+2] * mij)
		p3 := c[x+3] * (ri[x+3] * rj[x+3] * mij)
		acc[x] += p0
		acc[x+1] += p1
		acc[x+2] += p2
		acc[x+3] += p3
		s0 += p0
		s1 += p1
		s2 += p2
		s3 += p3
	}
	for ; x < n; x++ {
		p := c[x] * (ri[x] * rj[x] * mij)
		acc[x] += p
		s0 += p
	}
	return s0 + s1 + (s2 + s3)
}

// triple is the mass of the set {i, j, k}, i < j < k, after pass.
func (f *field) triple(i, j, k int) float64 {
	if f.c == nil {
		return 0
	}
	n := f.n
	return f.scale3 * f.m[i*n+j] * f.m[i*n+k] * f.m[j*n+k] * f.row(i, j)[k-j-1]
}
