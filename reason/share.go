package reason

import "math"

// shareOut works out with which exponent each slot counts beside others like it.
//
// Slots that carry the same fact count as one. F facts of one group on one
// subject, correlated with rho, count as F/(1+(F-1) rho) in all (DECISIONS,
// Odds: never more than 1/rho). How that total is shared out is our choice: by
// the square of what each reading can say, none above 1. Equal readings share
// evenly, as the formula has it; a weak reading beside a strong one takes next
// to nothing from it, so that adding a reading that agrees never makes the
// evidence weaker than the strong one was alone.
func (e *Engine) shareOut() {
	for i := range e.slots {
		s := &e.slots[i]
		s.carried, s.want, s.shared = -1, 0, len(s.findings) == 0
		if s.shared {
			continue
		}
		if e.m.tests[s.test].at.Test.ShareOfWhole {
			if k := e.carrier(i); k >= 0 && k != i && !e.alsoHigh(i) {
				s.carried, s.shared = k, true
				continue
			}
		}
		if s.fresh {
			s.strength = e.strengthOf(s)
		}
	}
	for i := range e.slots {
		if !e.slots[i].shared {
			e.shareCluster(i)
		}
	}
}

// shareCluster shares out the slots of the cluster that slot i is the first of.
func (e *Engine) shareCluster(i int) {
	t := &e.m.tests[e.slots[i].test]
	facts, rho := 0, t.rho
	for j := i; j < len(e.slots); j++ {
		o := &e.slots[j]
		u := &e.m.tests[o.test]
		if o.shared || u.cluster != t.cluster {
			continue
		}
		rho = math.Max(rho, u.rho)
		// The slot that stands for the fact holds the strength of the strongest.
		o.rep, o.top, o.capped = j, o.strength, false
		if u.fact > 0 {
			for k := i; k < j; k++ {
				p := &e.slots[k]
				if q := &e.m.tests[p.test]; !p.shared && q.cluster == u.cluster && q.fact == u.fact && p.rep == k {
					o.rep = k
					p.top = math.Max(p.top, o.strength)
					break
				}
			}
		}
		if o.rep == j {
			facts++
		}
	}
	e.level(i, t.cluster)
	e.fill(i, t.cluster, float64(facts)/(1+float64(facts-1)*rho))
	for j := i; j < len(e.slots); j++ {
		o := &e.slots[j]
		if o.shared || e.m.tests[o.test].cluster != t.cluster {
			continue
		}
		sum := 0.0
		for k := i; k < len(e.slots); k++ {
			if p := &e.slots[k]; !p.shared && e.m.tests[p.test].cluster == t.cluster && p.rep == o.rep {
				sum += p.strength * p.strength
			}
		}
		o.want = e.slots[o.rep].whole * o.strength * o.strength / sum
	}
	for j := i; j < len(e.slots); j++ {
		if e.m.tests[e.slots[j].test].cluster == t.cluster {
			e.slots[j].shared = true
		}
	}
}

// level gives readings that speak against each other the same strength: where
// one says a gap is wide and the other that it is within its limit, the louder
// one is not the truer one.
func (e *Engine) level(i, cluster int) {
	for j := i; j < len(e.slots); j++ {
		o := &e.slots[j]
		if o.shared || e.m.tests[o.test].cluster != cluster || o.rep != j {
			continue
		}
		for k := i; k < j; k++ {
			p := &e.slots[k]
			if !p.shared && e.m.tests[p.test].cluster == cluster && p.rep == k && e.oppose(o, p) {
				o.top = math.Max(o.top, p.top)
				p.top = o.top
			}
		}
	}
}

// opposed is the least size of ln of a likelihood ratio for and against one
// fault at which two readings oppose each other (our choice).
const opposed = 1.0

// oppose reports whether one of two readings speaks for a fault and the other
// against it.
func (e *Engine) oppose(a, b *slot) bool {
	x, y := &e.m.tests[a.test], &e.m.tests[b.test]
	for r, q := 0, 0; r < len(x.rows) && q < len(y.rows); {
		switch f, g := x.rows[r].fault, y.rows[q].fault; {
		case f < g:
			r++
		case f > g:
			q++
		default:
			if x.rows[r].own && y.rows[q].own {
				u, v := e.lnRatio(a, r), e.lnRatio(b, q)
				if u > opposed && v < -opposed || u < -opposed && v > opposed {
					return true
				}
			}
			r++
			q++
		}
	}
	return false
}

// lnRatio is ln L(fault)/L(healthy) of a reading for row r of its test.
func (e *Engine) lnRatio(s *slot, r int) float64 {
	t := &e.m.tests[s.test]
	none, like := 0.0, 0.0
	for c, l := range s.lambda {
		none += t.healthy[c] * l
		like += (s.cover[r]*t.rows[r].p[c] + (1-s.cover[r])*t.healthy[c]) * l
	}
	return math.Log(math.Max(like, floorL) / math.Max(none, floorL))
}

// fill shares total over the facts of a cluster by the square of their strength,
// none above 1: what is cut off one goes to the others.
func (e *Engine) fill(i, cluster int, total float64) {
	for {
		sum := 0.0
		for j := i; j < len(e.slots); j++ {
			if o := &e.slots[j]; !o.shared && e.m.tests[o.test].cluster == cluster && o.rep == j && !o.capped {
				sum += o.top * o.top
			}
		}
		over := false
		for j := i; j < len(e.slots); j++ {
			o := &e.slots[j]
			if o.shared || e.m.tests[o.test].cluster != cluster || o.rep != j || o.capped {
				continue
			}
			if o.whole = total * o.top * o.top / sum; o.whole > 1 {
				o.whole, o.capped, over = 1, true, true
				total--
				break // the others share anew
			}
		}
		if !over {
			return
		}
	}
}

// leastStrength keeps readings that say nothing from dividing by zero.
const leastStrength = 1e-3

// strengthOf is how far a reading can move any fault that bears on it: the
// largest |ln L(fault)/L(healthy)| over the rows of its test.
func (e *Engine) strengthOf(s *slot) float64 {
	t := &e.m.tests[s.test]
	e.lambdaOf(s, s.lambda)
	best := leastStrength
	for r := range t.rows {
		if t.rows[r].own {
			best = math.Max(best, math.Abs(e.lnRatio(s, r)))
		}
	}
	return best
}

// alsoHigh reports whether slot i of a share-of-whole test is itself on the high
// side: when two cylinders miss, each carries its own fact.
func (e *Engine) alsoHigh(i int) bool {
	s := &e.slots[i]
	t := &e.m.tests[s.test]
	for _, k := range s.findings {
		f := &e.findings[k]
		c, _ := t.class(f)
		if c != t.normal && (t.from == nil || f.Outcome != "" || t.from[c] > t.from[t.normal]) {
			return true
		}
	}
	return false
}
