package reason

import (
	"math"
	"runtime"
	"sync"
	"sync/atomic"
)

// parent is one fault that bears on a test, as the combination rule needs it.
// See factor.
type parent struct {
	fault int
	keep  float64 // what is left of P(normal) by this fault; at most 1
	hold  float64 // what is left of P(not normal) by this fault; at most 1
	extra float64 // sum over outcomes of likelihood times extra chance
	more  float64 // sum over outcomes of extra chance
	alone float64 // likelihood under this fault alone
}

// factor is one reading as it bears on sets of faults.
//
// Under no fault the outcomes have the book's healthy chances P0, under one
// fault exactly the book's row. For several faults the rule is a noisy-or on
// "not normal": with r_i = P_i(normal)/P0(normal) (at most 1) and, for a fault
// that makes the normal outcome likelier, g_i = (P_i(n)-P0(n))/(1-P0(n)),
//
//	P_S(n) = 1 - (1 - P0(n) prod r_i) prod (1-g_i)
//
// and the rest is shared over the other outcomes c in proportion to
//
//	P0(c) X + sum_i max(0, P_i(c) - P0(c) x_i),  x_i = r_i (1-g_i), X = prod x_i.
//
// The likelihood of the reading is sum_c P_S(c) lambda_c, raised to exponent:
// the share with which the reading counts beside others like it.
type factor struct {
	parents  []parent
	exponent float64
	none     float64 // likelihood under no fault
	other    float64 // likelihood under "something not listed"
	wrong    float64 // likelihood when the reading is simply wrong: any outcome
	normal   float64 // lambda of the normal outcome
	p0       float64 // P0(normal)
	z0       float64 // sum over the other outcomes of P0 lambda
	// or is set for a plain noisy-or symptom: likelihood 1 - none' prod keep.
	or bool
	// Scratch of put: the likelihood of each pair of parents, then its inverse;
	// the parents as arrays; and what the two halves of the work share.
	pair, flat []float64
	at         []int32
	e          float64
	w          *field
	wg         sync.WaitGroup
	background func()
	saturated  atomic.Bool
}

// floorL keeps a likelihood off zero: a zero likelihood everywhere would leave
// nothing to divide by. "Our choice"; with a share of unreliable readings above
// 1e-9 it is never met.
const floorL = 1e-9

// likelihood combines parents (indices into f.parents, at least two).
func (f *factor) likelihood(x, y *parent, z *parent) float64 {
	keep, hold := x.keep*y.keep, x.hold*y.hold
	if f.or {
		if z != nil {
			keep *= z.keep
		}
		return math.Max(floorL, 1-f.p0*keep)
	}
	extra, more := x.extra+y.extra, x.more+y.more
	if z != nil {
		keep, hold = keep*z.keep, hold*z.hold
		extra, more = extra+z.extra, more+z.more
	}
	q := 1 - (1-f.p0*keep)*hold
	k := keep * hold
	den := k*(1-f.p0) + more
	rest := 0.0
	if den > 1e-12 {
		rest = (1 - q) * (k*f.z0 + extra) / den
	}
	return math.Max(floorL, f.normal*q+rest)
}

// put multiplies the factor into the field (sign +1) or takes it out (-1).
func (f *factor) put(w *field, sign float64) {
	e := sign * f.exponent
	if e == 0 {
		return
	}
	n, ps := w.n, f.parents
	ln0 := math.Log(f.none)
	w.other += e * (math.Log(f.other) - ln0)
	for i := range ps {
		w.a[ps[i].fault] += e * (math.Log(ps[i].alone) - ln0)
	}
	if w.bound < 2 {
		return
	}
	k := len(ps)
	if cap(f.pair) < k*k {
		f.pair = make([]float64, k*k)
	}
	f.pair = f.pair[:k*k]
	for i := range ps {
		for j := i + 1; j < k; j++ {
			l := f.likelihood(&ps[i], &ps[j], nil)
			f.pair[i*k+j] = l
			v := e * math.Log(l*f.none/(ps[i].alone*ps[j].alone))
			x, y := ps[i].fault, ps[j].fault
			w.b[x*n+y] += v
			w.b[y*n+x] += v
		}
	}
	if w.c == nil || k < 3 {
		return
	}
	// The rest as one array for each property: this loop meets every triple of
	// parents, all triples there are for a test that bears on all faults.
	f.lay()
	f.e, f.w = e, w
	f.saturated.Store(false)
	if k >= 64 && runtime.GOMAXPROCS(0) > 1 {
		if f.background == nil {
			f.background = func() { f.triples(1); f.wg.Done() }
		}
		f.wg.Add(1)
		go f.background()
		f.triples(0)
		f.wg.Wait()
	} else {
		f.triples(0)
		f.triples(1)
	}
	f.w = nil
	w.saturate = w.saturate || f.saturated.Load()
}

// lay copies the parents into arrays and inverts the pairs.
func (f *factor) lay() {
	k := len(f.parents)
	if cap(f.flat) < 5*k {
		f.flat = make([]float64, 5*k)
	}
	if cap(f.at) < k {
		f.at = make([]int32, k)
	}
	f.flat, f.at = f.flat[:5*k], f.at[:k]
	for i, p := range f.parents {
		f.at[i] = int32(p.fault)
		f.flat[i], f.flat[k+i], f.flat[2*k+i], f.flat[3*k+i], f.flat[4*k+i] = p.keep, p.hold, p.extra, p.more, p.alone
	}
	for i := range k {
		for j := i + 1; j < k; j++ {
			f.pair[i*k+j] = 1 / f.pair[i*k+j]
		}
	}
}

// triples puts the factor on the triples whose first parent is congruent to half
// modulo 2. Each triple belongs to one half, so that two may run at once.
func (f *factor) triples(half int) {
	w, k := f.w, len(f.parents)
	keep, hold, extra, more, alone := f.flat[:k], f.flat[k:2*k], f.flat[2*k:3*k], f.flat[3*k:4*k], f.flat[4*k:5*k]
	saturate := false
	for i := half; i < k; i += 2 {
		for j := i + 1; j < k-1; j++ {
			fj := f.parents[j].fault
			row := w.row(f.parents[i].fault, fj)
			top := alone[i] * alone[j] * f.pair[i*k+j] / f.none
			kij, hij, eij, mij := keep[i]*keep[j], hold[i]*hold[j], extra[i]+extra[j], more[i]+more[j]
			pi, pj, at := f.pair[i*k:i*k+k], f.pair[j*k:j*k+k], f.at[:k]
			for l := j + 1; l < k; l++ {
				kept := kij * keep[l]
				var like float64
				if f.or {
					like = 1 - f.p0*kept
				} else {
					h := hij * hold[l]
					bad := (1 - f.p0*kept) * h
					kh := kept * h
					like = f.normal * (1 - bad)
					if den := kh*(1-f.p0) + mij + more[l]; den > 1e-12 {
						like += bad * (kh*f.z0 + eij + extra[l]) / den
					}
				}
				if like < floorL {
					like = floorL
				}
				r := like * top * alone[l] * pi[l] * pj[l]
				c := &row[int(at[l])-fj-1]
				v := *c
				switch f.e {
				case 1:
					v *= r
				case -1:
					v /= r
				default:
					v *= math.Exp(f.e * math.Log(r))
				}
				if v > cLimit || v < 1/cLimit {
					v = math.Min(math.Max(v, 1/cLimit), cLimit)
					saturate = true
				}
				*c = v
			}
		}
	}
	if saturate {
		f.saturated.Store(true)
	}
}

// set is the likelihood, raised to the exponent, under a set of faults given as
// a membership test over the fault numbers in ascending order.
func (f *factor) set(s []int) float64 {
	var in [8]*parent
	m := 0
	for i, j := 0, 0; i < len(f.parents) && j < len(s) && m < len(in); {
		switch p := &f.parents[i]; {
		case p.fault < s[j]:
			i++
		case p.fault > s[j]:
			j++
		default:
			in[m] = p
			m, i, j = m+1, i+1, j+1
		}
	}
	l := f.none
	switch {
	case m == 1:
		l = in[0].alone
	case m > 1:
		x := *in[0]
		for _, y := range in[1 : m-1] {
			x.keep, x.hold = x.keep*y.keep, x.hold*y.hold
			x.extra, x.more = x.extra+y.extra, x.more+y.more
		}
		l = f.likelihood(&x, in[m-1], nil)
	}
	if f.exponent == 1 {
		return l
	}
	return math.Pow(l, f.exponent)
}
