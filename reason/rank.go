package reason

import (
	"math"
)

// rank fills in what each candidate would do.
func (e *Engine) rank(cands []candidate, r *repairer) error {
	if err := e.refresh(true); err != nil {
		return err
	}
	p := e.predictor()
	p.ready()
	now := e.decision(e.chance, e.none, e.other)
	for x := range cands {
		c := &cands[x]
		if c.slot >= 0 {
			continue
		}
		t := &e.m.tests[c.test]
		e.judgeAhead(c, t, p.look(t, nil, e.shareOf(c.test), e.tiltOf(c.test)), r, now)
	}
	for x := range cands {
		c := &cands[x]
		if c.slot < 0 {
			continue
		}
		s := &e.slots[c.slot]
		s.factor.put(e.w, -1)
		err := e.refresh(true)
		if err == nil {
			p.ready()
			t := &e.m.tests[c.test]
			e.judgeAhead(c, t, p.look(t, s.lambda, 1, e.tiltOf(c.test)), r, now)
		}
		s.factor.put(e.w, 1)
		if err != nil {
			return err
		}
	}
	return e.refresh(true)
}

func (e *Engine) predictor() *predictor {
	if e.pred == nil {
		e.pred = newPredictor(e)
	}
	return e.pred
}

// shareOf is the exponent a new reading of a test would have beside those of its
// group that speak of a common fault already.
func (e *Engine) shareOf(i int) float64 {
	t := &e.m.tests[i]
	m, rho := 0, t.rho
	for k := range e.slots {
		s := &e.slots[k]
		if u := &e.m.tests[s.test]; s.on && u.cluster == t.cluster && e.speaksOf(s, t) {
			m++
			rho = math.Max(rho, u.rho)
		}
	}
	return 1 / (1 + float64(m)*rho)
}

// speaksOf reports whether a reading speaks of a fault that a test bears on, or
// carries its fact.
func (e *Engine) speaksOf(s *slot, t *testModel) bool {
	u := &e.m.tests[s.test]
	if t.fact > 0 && t.fact == u.fact {
		return true
	}
	for r := range u.rows {
		if u.rows[r].own && math.Abs(s.ln[r]) > leastStrength {
			if q, ok := t.rowOf(u.rows[r].fault); ok && t.rows[q].own {
				return true
			}
		}
	}
	return false
}

// tiltOf gives the share with which a new reading of a test would count for a
// fault of which other subjects of the same test have told already.
func (e *Engine) tiltOf(i int) func(r int) float64 {
	t := &e.m.tests[i]
	return func(r int) float64 {
		if !t.rows[r].wide {
			return 1
		}
		m, _ := e.told(i, &t.rows[r])
		return 1 / (1 + float64(m)*e.m.limits.RhoWide)
	}
}

// told is on how many other subjects test i has been done that bear as row w does on
// its fault, and what they say of it: the sum of the logarithms of their likelihood
// ratios, each by itself.
func (e *Engine) told(i int, w *row) (m int, ln float64) {
	same := e.m.tests[i].same
	for k := range e.slots {
		s := &e.slots[k]
		u := &e.m.tests[s.test]
		if u.same != same || s.test == i || !s.on {
			continue
		}
		for q := range u.rows {
			if u.rows[q].fault == w.fault && u.rows[q].own == w.own {
				m, ln = m+1, ln+s.ln[q]
				break
			}
		}
	}
	return m, ln
}

// tiltFor is tiltOf once the outcome is known, by its likelihoods: what m readings
// come to, sum ln R/(1+(m-1) rho), grows by this share of its ln R, the weakening of the
// others by one more reading counted in.
func (e *Engine) tiltFor(i, r int, lambda []float64) float64 {
	t, rho := &e.m.tests[i], e.m.limits.RhoWide
	w := &t.rows[r]
	if !w.wide {
		return 1
	}
	m, ln := e.told(i, w)
	if m == 0 {
		return 1
	}
	like, none := 0.0, 0.0
	for c, l := range lambda {
		like, none = like+w.p[c]*l, none+t.healthy[c]*l
	}
	x := math.Log(math.Max(like, floorL) / math.Max(none, floorL))
	if math.Abs(x) < 1e-9 {
		return 1
	}
	grows := (ln+x)/(1+float64(m)*rho) - ln/(1+float64(m-1)*rho)
	return math.Min(math.Max(grows/x, 0), 1)
}

// judgeAhead scores a candidate from its prediction.
func (e *Engine) judgeAhead(c *candidate, t *testModel, a *ahead, r *repairer, now decision) {
	k := len(t.healthy)
	c.bits, c.allBits, c.ends, c.changes = a.bits, a.bits, 0, false
	c.chance = append(c.chance[:0], a.chance[:k]...)
	c.endsBy = c.endsBy[:0]
	c.cost = c.minutes
	for o := range k {
		p := a.chance[o]
		ends := e.endsWith(c.test, o, a.after[o])
		c.endsBy = append(c.endsBy, ends)
		if ends {
			c.ends += p
		}
		v, _ := r.expected(a.after[o], a.none[o], e.m.limits.ReferMinutes)
		c.cost += p * v
		if p < 0.005 {
			continue
		}
		d := e.decision(a.after[o], a.none[o], a.other[o])
		d.ends = ends
		c.changes = c.changes || d != now
	}
	c.score = e.scoreOf(c.ends, c.bits, c.minutes, e.penalty(t.at.Test), c.cost)
}

// scoreOf is what the list is ordered by: higher is better.
//
//	by ending: (chance that it ends the search + w * share of the doubt removed) / minutes
//	by doubt:  bits / minutes
//	by cost:   minus the expected minutes to a finished repair
//
// each held back by the hazard penalty of the table of limits.
func (e *Engine) scoreOf(ends, bits, minutes, penalty, cost float64) float64 {
	switch e.o.Rank {
	case ByDoubt:
		return bits / (minutes + penalty)
	case ByCost:
		return -cost - penalty
	}
	return (ends + e.share(bits)) / (minutes + penalty)
}

// share is the part of the present doubt that bits are, weighted against ending
// the search.
func (e *Engine) share(bits float64) float64 {
	return e.m.limits.DoubtWeight * bits / math.Max(e.doubtNow, 0.1)
}
