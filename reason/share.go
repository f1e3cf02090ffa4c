package reason

import "math"

// claim is what one reading says of one fault, beside the other readings of its
// cluster that bear on the same fault.
type claim struct {
	slot, row int
	fact      int     // readings with the same positive number carry one fact
	ln        float64 // ln of the likelihood ratio, fault against healthy
	rep       int     // index of the claim that stands for the fact
	top       float64 // of the rep: the strongest |ln| of the fact
	whole     float64 // of the rep: with which exponent the fact counts
	share     float64 // with which exponent this reading counts for this fault
}

// shareOut works out, fault by fault, with which exponent each reading counts
// beside others like it.
//
// Correlation is between readings that speak of the same fault: of a group of
// readings on one subject, only those that bear on a fault share its evidence,
// and a reading that says nothing of it takes nothing from the others. Like
// readings with correlation rho count as m/(1+(m-1) rho) in all (DECISIONS,
// Odds: never more than 1/rho), m being those that speak of the fault. How that
// total is shared out is our choice: by the square of what each says of the
// fault, none above 1, so that equal readings share evenly as the formula has it
// and a weak reading beside a strong one takes next to nothing from it. Where
// that would leave less than the strongest says alone, the strongest counts in
// full: a reading that agrees never makes the evidence weaker. Readings that
// carry the same fact count as one.
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
		}
	}
	for i := range e.slots {
		if !e.slots[i].shared {
			e.shareCluster(i)
		}
	}
}

// speak fills what a reading says of each fault its test bears on.
func (e *Engine) speak(s *slot) {
	t := &e.m.tests[s.test]
	e.lambdaOf(s, s.lambda)
	none := 0.0
	for c, l := range s.lambda {
		none += t.healthy[c] * l
	}
	for r := range t.rows {
		like := 0.0
		for c, l := range s.lambda {
			like += (s.cover[r]*t.rows[r].p[c] + (1-s.cover[r])*t.healthy[c]) * l
		}
		s.ln[r] = math.Log(math.Max(like, floorL) / math.Max(none, floorL))
	}
}

// shareCluster shares out the slots of the cluster that slot i is the first of:
// one fault after the other, in the order in which all tests list them.
func (e *Engine) shareCluster(i int) {
	cluster, rho := e.m.tests[e.slots[i].test].cluster, 0.0
	members := e.members[:0]
	for j := i; j < len(e.slots); j++ {
		s := &e.slots[j]
		if t := &e.m.tests[s.test]; !s.shared && t.cluster == cluster {
			members = append(members, j)
			rho = math.Max(rho, t.rho)
			s.shared, s.cursor, s.whole = true, 0, 1
		}
	}
	e.members = members
	for {
		next := math.MaxInt
		for _, j := range members {
			s := &e.slots[j]
			if rows := e.m.tests[s.test].rows; s.cursor < len(rows) {
				next = min(next, rows[s.cursor].fault)
			}
		}
		if next == math.MaxInt {
			break
		}
		claims := e.claims[:0]
		for _, j := range members {
			s := &e.slots[j]
			t := &e.m.tests[s.test]
			if s.cursor < len(t.rows) && t.rows[s.cursor].fault == next {
				claims = append(claims, claim{slot: j, row: s.cursor, fact: t.fact, ln: s.ln[s.cursor]})
				s.cursor++
			}
		}
		e.claims = claims
		shareClaims(claims, rho)
		for x := range claims {
			c := &claims[x]
			if s := &e.slots[c.slot]; s.part[c.row] != c.share {
				s.part[c.row], s.changed = c.share, true
			}
		}
	}
	// As a whole a reading counts as it does for the fault it says most of.
	for _, j := range members {
		s := &e.slots[j]
		most := -1.0
		for r, row := range e.m.tests[s.test].rows {
			if v := math.Abs(s.ln[r]); row.own && v > most {
				most, s.whole = v, s.part[r]
			}
		}
	}
}

// leastStrength keeps readings that say nothing from dividing by zero, and from
// being told apart by rounding.
const leastStrength = 1e-3

// opposed is the least size of ln of a likelihood ratio for and against one
// fault at which two readings oppose each other (our choice).
const opposed = 1.0

// shareClaims fills the shares of all claims on one fault.
func shareClaims(cs []claim, rho float64) {
	if len(cs) == 1 {
		cs[0].share = 1
		return
	}
	up, down := false, false
	for x := range cs {
		c := &cs[x]
		c.rep, c.top, c.whole = x, math.Max(math.Abs(c.ln), leastStrength), 0
		up, down = up || c.ln > opposed, down || c.ln < -opposed
		for y := range x {
			if p := &cs[y]; c.fact > 0 && p.fact == c.fact && p.rep == y {
				c.rep = y
				p.top = math.Max(p.top, c.top)
				break
			}
		}
	}
	if up && down {
		// One says that a gap is wide and another that it is within its limit: the
		// louder one is not the truer one, they weigh alike.
		level := 0.0
		for x := range cs {
			if math.Abs(cs[x].ln) > opposed {
				level = math.Max(level, cs[cs[x].rep].top)
			}
		}
		for x := range cs {
			if math.Abs(cs[x].ln) > opposed {
				cs[cs[x].rep].top = level
			}
		}
	}
	speaking, strongest := 0, 0
	for x := range cs {
		if cs[x].rep != x {
			continue
		}
		if cs[x].top > speaks {
			speaking++
		}
		if cs[x].top > cs[strongest].top || cs[strongest].rep != strongest {
			strongest = x
		}
	}
	total := 1.0
	if speaking > 1 {
		total = float64(speaking) / (1 + float64(speaking-1)*rho)
	}
	shareBySquare(cs, total)
	said := 0.0
	for x := range cs {
		if cs[x].rep == x {
			said += cs[x].whole * cs[x].top
		}
	}
	if said < cs[strongest].top {
		top := cs[strongest].top
		cs[strongest].top = 0
		shareBySquare(cs, total-1)
		cs[strongest].top, cs[strongest].whole = top, 1
	}
	// Within one fact by the square of what each says.
	for x := range cs {
		sum := 0.0
		for y := range cs {
			if cs[y].rep == cs[x].rep {
				v := math.Max(math.Abs(cs[y].ln), leastStrength)
				sum += v * v
			}
		}
		v := math.Max(math.Abs(cs[x].ln), leastStrength)
		cs[x].share = cs[cs[x].rep].whole * v * v / sum
	}
}

// shareBySquare shares a total out over the facts by the square of their strength,
// none above 1: what is cut off one goes to the others.
func shareBySquare(cs []claim, total float64) {
	for x := range cs {
		cs[x].whole = -1 // not settled
	}
	for {
		sum := 0.0
		for x := range cs {
			if c := &cs[x]; c.rep == x && c.whole < 0 {
				sum += c.top * c.top
			}
		}
		over := -1
		for x := range cs {
			if c := &cs[x]; c.rep == x && c.whole < 0 && sum > 0 && total*c.top*c.top > sum*(1+1e-12) {
				over = x
				break
			}
		}
		if over < 0 {
			for x := range cs {
				if c := &cs[x]; c.rep == x && c.whole < 0 {
					c.whole = 0
					if sum > 0 {
						c.whole = total * c.top * c.top / sum
					}
				}
			}
			return
		}
		cs[over].whole = 1
		total--
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
