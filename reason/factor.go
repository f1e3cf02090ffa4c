package reason

import "math"

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
	exponent float64 // of the likelihood
	share    float64 // exponent with which a reading counts in the evidence as a whole
	none     float64 // likelihood under no fault
	other    float64 // likelihood under "something not listed"
	wrong    float64 // likelihood when the reading is simply wrong: any outcome
	normal   float64 // lambda of the normal outcome
	p0       float64 // P0(normal)
	z0       float64 // sum over the other outcomes of P0 lambda
	least    float64 // no likelihood is below this
	most     float64 // nor above this
	even     bool    // all outcomes but the normal one are as likely, namely
	rest     float64
	// tried is set for a part tried; inPart is the likelihood when the cause lies in
	// that part alone.
	tried  *triedPart
	inPart float64
	// or is set for a plain noisy-or symptom: likelihood 1 - none' prod keep.
	or bool
}

// floorL keeps a likelihood off zero: a zero likelihood everywhere would leave
// nothing to divide by. "Our choice"; with a share of unreliable readings above
// 1e-9 it is never met.
const floorL = 1e-9

// combined is the likelihood under several parents: products of keep and hold,
// sums of extra and more.
func (f *factor) combined(keep, hold, extra, more float64) float64 {
	if f.or {
		return max(floorL, 1-f.p0*keep)
	}
	bad := (1 - f.p0*keep) * hold
	k := keep * hold
	like := f.normal * (1 - bad)
	if den := k*(1-f.p0) + more; den > 1e-12 {
		like += bad * (k*f.z0 + extra) / den
	}
	return max(floorL, like)
}

// set is the likelihood, raised to the exponent, under a set of faults given as
// a membership test over the fault numbers in ascending order.
func (f *factor) set(s []int) float64 {
	if f.tried != nil {
		return f.triedLike(s...)
	}
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
		y := in[m-1]
		l = f.combined(x.keep*y.keep, x.hold*y.hold, x.extra+y.extra, x.more+y.more)
	}
	if f.exponent == 1 {
		return l
	}
	return math.Pow(l, f.exponent)
}
