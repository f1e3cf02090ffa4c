package reason

import "math"

// maxParents bounds how many faults of a wide test (a road test bears on all)
// enter the prediction of its outcomes: those with the largest chance. The
// faults left out count as if they did not bear on the test; the odds after the
// test is done are exact in any case.
const maxParents = 20

// ahead is what a test would do to the odds, told before it is done.
type ahead struct {
	chance []float64   // by outcome
	bits   float64     // mutual information with the hypotheses
	after  [][]float64 // by outcome: chance of each suspect
	none   []float64   // by outcome
	other  []float64
}

// predictor holds the scratch space of predictions.
type predictor struct {
	e        *Engine
	parents  []aheadParent
	pair     []float64
	rest1    []float64
	joint    []float64 // parents by outcomes
	weight   []float64
	pc       []float64
	given    []float64
	extraSum []float64
	a        ahead
	z        float64
	otherM   float64
	heap     []float64
	sums     []float64
	skip     float64 // sets of three below this share of the total are passed over
}

type aheadParent struct {
	fault      int
	keep, hold float64
	p, extra   []float64
}

func newPredictor(e *Engine) *predictor {
	widest := len(e.scratch)
	p := &predictor{e: e, skip: 1e-9, pair: make([]float64, maxParents*maxParents), rest1: make([]float64, maxParents), joint: make([]float64, maxParents*widest), weight: make([]float64, widest), pc: make([]float64, widest), given: make([]float64, widest), extraSum: make([]float64, widest)}
	for range maxParents {
		p.parents = append(p.parents, aheadParent{p: make([]float64, widest), extra: make([]float64, widest)})
	}
	n := len(e.chance)
	p.a = ahead{chance: make([]float64, widest), after: make([][]float64, widest), none: make([]float64, widest), other: make([]float64, widest)}
	for c := range widest {
		p.a.after[c] = make([]float64, n)
	}
	return p
}

// ready takes over the masses of the field after a pass with pairs.
func (p *predictor) ready() {
	p.otherM, p.z = p.e.masses()
}

// load prepares the rows of a test: what its outcomes will be under each fault
// when it is done in the conditions it asks for. tilts weaken faults of which
// other subjects of the same test have told already; share weakens the test
// beside others of its group; u is the share of results that are simply wrong.
func (p *predictor) load(t *testModel, share float64, tilt func(r int) float64) (parents []aheadParent, healthy []float64) {
	e, u := p.e, p.e.u
	k := len(t.healthy)
	mix := func(dst, src []float64) {
		for c := range dst {
			dst[c] = (1-u)*src[c] + u/float64(k)
		}
	}
	healthy = p.weight[:k]
	mix(healthy, t.healthy)
	// The faults with the largest chance, in order of number.
	limit := 0.0
	if len(t.rows) > maxParents {
		limit = p.cut(t)
	}
	x := 0
	for r := range t.rows {
		row := &t.rows[r]
		if e.w.m1[row.fault] < limit || x == maxParents {
			continue
		}
		a := &p.parents[x]
		a.p, a.extra, a.fault = a.p[:k], a.extra[:k], row.fault
		mix(a.p, row.p)
		if v := share * tilt(r); v != 1 {
			weaken(a.p, healthy, v)
		}
		a.keep, a.hold = 1, 1
		h, n := healthy[t.normal], a.p[t.normal]
		if n <= h {
			a.keep = n / h
		} else {
			a.hold = (1 - n) / (1 - h)
		}
		for c := range a.extra {
			a.extra[c] = 0
			if c != t.normal {
				a.extra[c] = math.Max(0, a.p[c]-healthy[c]*a.keep*a.hold)
			}
		}
		x++
	}
	return p.parents[:x], healthy
}

// cut is the mass above which at most maxParents faults of a test lie.
func (p *predictor) cut(t *testModel) float64 {
	var top [maxParents]float64
	for r := range t.rows {
		v := p.e.w.m1[t.rows[r].fault]
		if v <= top[maxParents-1] {
			continue
		}
		i := maxParents - 1
		for i > 0 && top[i-1] < v {
			top[i] = top[i-1]
			i--
		}
		top[i] = v
	}
	return top[maxParents-1]
}

// combine fills dst with P(outcome | the parents given), by the rule of factor.
func combine(dst []float64, normal int, healthy []float64, in ...*aheadParent) {
	switch len(in) {
	case 0:
		copy(dst, healthy)
		return
	case 1:
		copy(dst, in[0].p)
		return
	}
	keep, hold := 1.0, 1.0
	for _, a := range in {
		keep *= a.keep
		hold *= a.hold
	}
	q := 1 - (1-healthy[normal]*keep)*hold
	sum := 0.0
	for c := range dst {
		dst[c] = 0
		if c == normal {
			continue
		}
		dst[c] = healthy[c] * keep * hold
		for _, a := range in {
			dst[c] += a.extra[c]
		}
		sum += dst[c]
	}
	for c := range dst {
		if sum > 0 {
			dst[c] *= (1 - q) / sum
		}
	}
	dst[normal] = q
}

// look fills p.a for a test. lambda, if not nil, is a reading of the same part
// already had: the prediction is then of the outcome behind it, and the field
// must be without it.
//
// The sets fall into classes by which parents they contain; the mass of a class
// comes by inclusion and exclusion from the masses of singles, pairs and triples,
// so that only the subsets of the parents are visited.
func (p *predictor) look(t *testModel, lambda []float64, share float64, tilt func(r int) float64) *ahead {
	w := p.e.w
	n := w.n
	parents, healthy := p.load(t, share, tilt)
	k, ko := len(parents), len(healthy)
	pc, given := p.pc[:ko], p.given[:ko]
	clear(pc)
	joint := p.joint[:k*ko]
	clear(joint)
	hCond, total := 0.0, 0.0
	add := func(mass float64, a, b, c int) {
		if !(mass > 0) {
			return
		}
		sum := 0.0
		for o := range given {
			if lambda != nil {
				given[o] *= lambda[o]
			}
			sum += given[o]
		}
		if !(sum > 0) {
			return
		}
		for o, g := range given {
			v := mass * g
			pc[o] += v
			if g > 0 {
				hCond -= v * math.Log(g/sum)
			}
			if a >= 0 {
				joint[a*ko+o] += v
			}
			if b >= 0 {
				joint[b*ko+o] += v
			}
			if c >= 0 {
				joint[c*ko+o] += v
			}
		}
		total += mass * sum
	}
	// Masses by inclusion and exclusion.
	pair := p.pair[:k*k]
	rest0 := w.zSize[1] + w.zSize[2] + w.zSize[3]
	for i := range k {
		fi := parents[i].fault
		p.rest1[i] = w.m1[fi]
		rest0 -= w.m1[fi]
	}
	if w.bound >= 2 {
		for i := range k {
			for j := i + 1; j < k; j++ {
				v := w.m2[parents[i].fault*n+parents[j].fault]
				pair[i*k+j] = v
				rest0 += v
				p.rest1[i] -= v
				p.rest1[j] -= v
			}
		}
		for i := range k {
			for j := i + 1; j < k; j++ {
				for l := j + 1; l < k; l++ {
					v := w.triple(parents[i].fault, parents[j].fault, parents[l].fault)
					rest0 -= v
					p.rest1[i] += v
					p.rest1[j] += v
					p.rest1[l] += v
					pair[i*k+j] -= v
					pair[i*k+l] -= v
					pair[j*k+l] -= v
					if v > p.skip*p.z {
						combine(given, t.normal, healthy, &parents[i], &parents[j], &parents[l])
						add(v, i, j, l)
					}
				}
			}
		}
		for i := range k {
			for j := i + 1; j < k; j++ {
				if v := pair[i*k+j]; v > p.skip*1e-3*p.z {
					combine(given, t.normal, healthy, &parents[i], &parents[j])
					add(v, i, j, -1)
				}
			}
		}
	}
	for i := range k {
		combine(given, t.normal, healthy, &parents[i])
		add(p.rest1[i], i, -1, -1)
	}
	combine(given, t.normal, healthy)
	add(math.Max(0, rest0)+w.zNone, -1, -1, -1)
	hs := p.e.m.limits.NotListedHealthy
	for o := range given {
		given[o] = hs*healthy[o] + (1-hs)/float64(ko)
	}
	otherGiven := p.extraSum[:ko]
	copy(otherGiven, given)
	add(p.otherM, -1, -1, -1)
	a := &p.a
	h := 0.0
	for o := range pc {
		a.chance[o] = pc[o] / total
		if pc[o] > 0 {
			h -= a.chance[o] * math.Log2(a.chance[o])
		}
	}
	a.bits = math.Max(0, h-hCond/total/math.Ln2)
	p.afterwards(a, t, parents, healthy, lambda, joint, pc, otherGiven)
	return a
}

// afterwards fills the chances of all suspects after each outcome: for the
// parents exactly, for other faults to second order (what they share with one
// parent at a time).
func (p *predictor) afterwards(a *ahead, t *testModel, parents []aheadParent, healthy, lambda, joint, pc, other []float64) {
	w := p.e.w
	n, ko := w.n, len(healthy)
	at := func(v []float64, o int) float64 {
		if lambda != nil {
			return v[o] * lambda[o]
		}
		return v[o]
	}
	for o := range ko {
		dst := a.after[o]
		if !(pc[o] > 0) {
			copy(dst, p.e.chance)
			continue
		}
		h := at(healthy, o)
		for j := range n {
			dst[j] = w.m1[j] * h
		}
		if w.bound >= 2 {
			for i := range parents {
				d := at(parents[i].p, o) - h
				row := w.m2[parents[i].fault*n : parents[i].fault*n+n]
				for j, v := range row {
					dst[j] += v * d
				}
			}
		}
		for i := range parents {
			dst[parents[i].fault] = joint[i*ko+o]
		}
		for j := range dst {
			dst[j] = math.Min(1, math.Max(0, dst[j]/pc[o]))
		}
		a.none[o] = w.zNone * h / pc[o]
		a.other[o] = p.otherM * at(other, o) / pc[o]
	}
}
