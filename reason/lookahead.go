package reason

import (
	"math"
	"slices"
)

// lookAhead scores the candidates anew by two steps: each outcome is followed by
// the best second test, whose access is free when the first has opened it. The
// score is one over the minutes to the end of the search as they then look:
//
//	T = m_1 + sum_o P(o) (1 - ends_o) min_u [ m_u + sum_q P(q | o) (1 - ends_q) (k L_oq + d_oq) ]
//
// where m are minutes with the hazard penalty, q the outcomes of the second test,
// L the least number of yes/no questions that could find the fault among what is
// then left (Huffman's bound, which sees more than entropy does: on the example
// of Pattipati & Alexandridis the entropy misses the best plan), k the minutes
// that the best test now takes for each bit, and d the minutes of the quickest
// direct test of the suspect that then leads, which a search that has not ended
// still needs. By doubt, ends and d are left out; by cost, the score is minus the
// expected minutes to a finished repair.
func (e *Engine) lookAhead(cands []candidate, r *repairer) error {
	const deep = 8
	p := e.predictor()
	m := min(deep, len(cands))
	perBit := e.minutesPerBit(cands)
	prove := e.proveMinutes(r)
	ending := e.o.Rank == ByEnding
	left := func(chance []float64, none, other float64) float64 {
		v := perBit * p.questions(chance, none, other)
		if ending {
			v += prove[top(chance)]
		}
		return v
	}
	for x := range m {
		c := &cands[x]
		t := &e.m.tests[c.test]
		open := []string{}
		if t.at.Test.Access != "" {
			open = append(open, t.at.Test.Access)
		}
		total, cost := c.minutes+e.penalty(t.at.Test), c.minutes
		chance, endsBy := append([]float64(nil), c.chance...), append([]bool(nil), c.endsBy...)
		for o, po := range chance {
			if po < 0.005 || endsBy[o] && ending {
				continue
			}
			f := e.virtual(c.test, o)
			f.put(e.w, 1)
			err := e.refresh(true)
			rest, restCost := 0.0, 0.0
			if err == nil {
				p.ready()
				restCost, _ = r.expected(e.chance, e.none, e.m.limits.ReferMinutes)
				rest = left(e.chance, e.none, e.other)
				for y := range m {
					d := cands[y]
					if y == x || d.slot >= 0 {
						continue
					}
					d.minutes = e.minutesFor(d.test, open)
					d.chance, d.endsBy = nil, nil
					u := &e.m.tests[d.test]
					e.judgeAhead(&d, u, p.look(u, nil, e.shareOf(d.test), e.tiltOf(d.test)), r, decision{})
					restCost = math.Min(restCost, d.cost)
					v := d.minutes + e.penalty(u.at.Test)
					for q, pq := range d.chance {
						if pq > 1e-4 && !(ending && d.endsBy[q]) {
							v += pq * left(p.a.after[q], p.a.none[q], p.a.other[q])
						}
					}
					rest = math.Min(rest, v)
				}
			}
			f.put(e.w, -1)
			if err != nil {
				return err
			}
			total += po * rest
			cost += po * restCost
		}
		// The other subjects of a test done in one go remove doubt of their own.
		total -= perBit * math.Max(0, c.allBits-c.bits)
		if e.o.Rank == ByCost {
			c.cost = cost
			c.score = -cost - e.penalty(t.at.Test)
			continue
		}
		c.cost = math.Min(c.cost, cost)
		c.score = 1 / math.Max(total, 1)
		if ending && c.ends < cannotEnd {
			c.score *= saveToLead
		}
	}
	for x := range cands[m:] {
		c := &cands[m+x]
		c.score = e.oneStep(c, perBit, r)
	}
	return e.refresh(true)
}

// A test that cannot end the search goes before one that can only if it saves a
// fifth of the minutes to the end: a person at the fender would rather look at
// the part (our choice).
const (
	cannotEnd  = 0.05
	saveToLead = 0.8
)

// oneStep is the score of lookAhead from one step alone.
func (e *Engine) oneStep(c *candidate, perBit float64, r *repairer) float64 {
	t := &e.m.tests[c.test]
	if e.o.Rank == ByCost {
		return -c.cost - e.penalty(t.at.Test)
	}
	left, ends := perBit*math.Max(0, e.predictor().questions(e.chance, e.none, e.other)-c.allBits), 0.0
	if e.o.Rank == ByEnding {
		left += e.proveMinutes(r)[top(e.chance)]
		ends = c.ends
	}
	return 1 / math.Max(1, c.minutes+e.penalty(t.at.Test)+(1-ends)*left)
}

// proveMinutes are the minutes of the quickest test on hand that looks at each
// suspect directly and may show it; where there is none those of its repair, which
// alone can tell, but no more than the middle of the tests (an outcome that leads to
// such a suspect is neither free nor to be shunned); 0 where it is shown but for its
// chance.
func (e *Engine) proveMinutes(r *repairer) []float64 {
	out := make([]float64, len(e.chance))
	for k := range e.m.tests {
		t := &e.m.tests[k]
		b := t.at.Test
		if len(b.Direct) == 0 || t.tried != nil || len(e.missing(b)) > 0 || slices.Contains(e.c.Skip, b.ID) {
			continue
		}
		minutes := 0.0
		for _, w := range t.rows {
			i := w.fault
			if e.nearly[i] || !slices.Contains(b.Direct, e.m.in.Suspects[i].Fault.ID) {
				continue
			}
			for o := range t.healthy {
				if !e.proves(k, o, i) {
					continue
				}
				if minutes == 0 {
					minutes = e.minutesFor(k, nil) + e.penalty(b)
				}
				if out[i] == 0 || minutes < out[i] {
					out[i] = minutes
				}
			}
		}
	}
	known := make([]float64, 0, len(out))
	for _, v := range out {
		if v > 0 {
			known = append(known, v)
		}
	}
	if len(known) == 0 {
		return out
	}
	slices.Sort(known)
	middle := known[len(known)/2]
	for i := range out {
		if out[i] == 0 && !e.nearly[i] {
			out[i] = min(r.cost[r.of[i]], middle)
		}
	}
	return out
}

// minutesPerBit is what a bit of doubt costs by the best test there is.
func (e *Engine) minutesPerBit(cands []candidate) float64 {
	best := math.Inf(1)
	for x := range cands {
		c := &cands[x]
		if bits := math.Max(c.allBits, c.bits); bits > 1e-3 {
			best = math.Min(best, (c.minutes+e.penalty(e.m.tests[c.test].at.Test))/bits)
		}
	}
	if math.IsInf(best, 1) {
		return 60
	}
	return best
}

// questions is the expected number of yes/no questions of the best conceivable
// kind that find the one fault among the chances given (Huffman 1952). Chances
// below 1 in 10,000 are left out.
func (p *predictor) questions(chance []float64, none, other float64) float64 {
	h := p.heap[:0]
	total := 0.0
	add := func(v float64) {
		if v > 1e-4 {
			h = append(h, v)
			total += v
		}
	}
	add(none)
	add(other)
	for _, v := range chance {
		add(v)
	}
	p.heap = h
	// Two queues: sorted leaves, and sums, which come out in rising order.
	slices.Sort(h)
	sums, at, leaf, length := p.sums[:0], 0, 0, 0.0
	least := func() float64 {
		if at >= len(sums) || leaf < len(h) && h[leaf] <= sums[at] {
			leaf++
			return h[leaf-1]
		}
		at++
		return sums[at-1]
	}
	for len(h)-leaf+len(sums)-at > 1 {
		v := least() + least()
		length += v
		sums = append(sums, v)
	}
	p.sums = sums
	if total == 0 {
		return 0
	}
	return length / total
}
