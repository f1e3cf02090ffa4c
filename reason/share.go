package reason

import (
	"math"
	"slices"
)

// shareOut works out with which exponent each reading counts beside others like
// it.
//
// Readings of one group on one subject are correlated as far as they speak of the
// same fault: those that bear on a common fault, directly or through others of
// the group, form a choir, and a reading of another fault takes nothing from
// them. Slots that carry the same fact count as one. F facts of one choir,
// correlated with rho, count as F/(1+(F-1) rho) in all (DECISIONS, Odds: never
// more than 1/rho). How that total is shared out is our choice: by the square of
// what each reading can say, none above 1. Equal readings share evenly, as the
// formula has it; a weak reading beside a strong one takes next to nothing from
// it.
//
// The exponent of a reading is one for all faults. Sharing for each fault by
// itself was tried: then a reading that says the same of two suspects moves the
// one with fewer other readings against the other, and traces told look-alikes
// apart on half as many played vehicles.
func (e *Engine) shareOut() {
	for i := range e.slots {
		s := &e.slots[i]
		s.carried, s.shared = -1, len(s.findings) == 0
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
			e.speak(s)
			e.handsOf(s)
		}
	}
	for i := range e.slots {
		if !e.slots[i].shared {
			e.shareChoir(i)
		}
	}
	e.shareHands()
}

// speak fills what a reading says of each fault its test bears on: ln of the
// likelihood ratio against the healthy row.
func (e *Engine) speak(s *slot) {
	t := &e.m.tests[s.test]
	e.lambdaOf(s, s.lambda)
	none := 0.0
	for c, l := range s.lambda {
		none += t.healthy[c] * l
	}
	s.strength = leastStrength
	for r := range t.rows {
		like := 0.0
		for c, l := range s.lambda {
			like += (s.cover[r]*t.rows[r].p[c] + (1-s.cover[r])*t.healthy[c]) * l
		}
		s.ln[r] = math.Log(math.Max(like, floorL) / math.Max(none, floorL))
		if t.rows[r].own {
			s.strength = math.Max(s.strength, math.Abs(s.ln[r]))
		}
	}
}

// leastStrength keeps readings that say nothing from dividing by zero.
const leastStrength = 1e-3

// shareChoir shares out the slots of the choir that slot i is the first of.
func (e *Engine) shareChoir(i int) {
	choir := append(e.choir[:0], i)
	e.slots[i].shared = true
	cluster := e.m.tests[e.slots[i].test].cluster
	for x := 0; x < len(choir); x++ {
		for j := i + 1; j < len(e.slots); j++ {
			if o := &e.slots[j]; !o.shared && e.m.tests[o.test].cluster == cluster && e.speakTogether(choir[x], j) {
				o.shared = true
				choir = append(choir, j)
			}
		}
	}
	slices.Sort(choir)
	e.choir = choir
	facts, rho := 0, 0.0
	for x, j := range choir {
		o := &e.slots[j]
		t := &e.m.tests[o.test]
		rho = math.Max(rho, t.rho)
		// The slot that stands for the fact holds the strength of the strongest.
		o.rep, o.top, o.capped = j, o.strength, false
		for _, k := range choir[:x] {
			if p := &e.slots[k]; t.fact > 0 && e.m.tests[p.test].fact == t.fact && p.rep == k {
				o.rep = k
				p.top = math.Max(p.top, o.strength)
				break
			}
		}
		if o.rep == j {
			facts++
		}
	}
	e.level()
	e.fill(float64(facts) / (1 + float64(facts-1)*rho))
	for _, j := range choir {
		o, sum := &e.slots[j], 0.0
		for _, k := range choir {
			if p := &e.slots[k]; p.rep == o.rep {
				sum += p.strength * p.strength
			}
		}
		o.inChoir = e.slots[o.rep].ofFact * o.strength * o.strength / sum
	}
}

// speakTogether reports whether two slots carry the same fact or speak of a common
// fault.
func (e *Engine) speakTogether(a, b int) bool {
	s, o := &e.slots[a], &e.slots[b]
	t, u := &e.m.tests[s.test], &e.m.tests[o.test]
	if t.fact > 0 && t.fact == u.fact {
		return true
	}
	for r, q := 0, 0; r < len(t.rows) && q < len(u.rows); {
		switch f, g := t.rows[r].fault, u.rows[q].fault; {
		case f < g:
			r++
		case f > g:
			q++
		default:
			if t.rows[r].own && u.rows[q].own && math.Abs(s.ln[r]) > leastStrength && math.Abs(o.ln[q]) > leastStrength {
				return true
			}
			r++
			q++
		}
	}
	return false
}

// level gives readings that speak against each other the same strength: where
// one says a gap is wide and the other that it is within its limit, the louder
// one is not the truer one.
func (e *Engine) level() {
	for x, j := range e.choir {
		o := &e.slots[j]
		if o.rep != j {
			continue
		}
		for _, k := range e.choir[:x] {
			if p := &e.slots[k]; p.rep == k && e.oppose(o, p) {
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
				u, v := a.ln[r], b.ln[q]
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

// fill shares total over the facts of the choir by the square of their strength,
// none above 1: what is cut off one goes to the others.
func (e *Engine) fill(total float64) {
	for {
		sum := 0.0
		for _, j := range e.choir {
			if o := &e.slots[j]; o.rep == j && !o.capped {
				sum += o.top * o.top
			}
		}
		over := false
		for _, j := range e.choir {
			o := &e.slots[j]
			if o.rep != j || o.capped {
				continue
			}
			if o.ofFact = total * o.top * o.top / sum; o.ofFact > 1 {
				o.ofFact, o.capped, over = 1, true, true
				total--
				break // the others share anew
			}
		}
		if !over {
			return
		}
	}
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
