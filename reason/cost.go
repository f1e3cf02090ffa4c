package reason

import (
	"math"
	"slices"

	"proveout/book"
	"proveout/evidence"
)

// accessOf finds shared access by id.
func (m *model) accessOf(id string) (book.Access, bool) {
	for _, b := range m.in.Books {
		if a, ok := b.Access[id]; ok {
			return a, true
		}
	}
	return book.Access{}, false
}

func (m *model) hazard(id string) (book.Hazard, bool) {
	for _, b := range m.in.Books {
		if h, ok := b.Hazards[id]; ok {
			return h, true
		}
	}
	return book.Hazard{}, false
}

func (e *Engine) byAccess(easy, buried book.Num) float64 {
	if e.m.in.Engine.Access == "buried" && buried.Source != "" {
		return buried.Value
	}
	return easy.Value
}

// minutesFor is the time a test takes now: its own minutes by access class, the
// shared access unless it is open, cooling first on a hot engine, and the other
// subjects when the test compares them and they have not been done.
func (e *Engine) minutesFor(i int, open []string) float64 {
	t := &e.m.tests[i]
	b := t.at.Test
	full := e.byAccess(b.Minutes.Easy, b.Minutes.Buried)
	more := b.Minutes.More.Value
	done, left := 0, 0
	for j := range e.m.tests {
		if j == i || e.m.tests[j].same != t.same {
			continue
		}
		if e.done(j) {
			done++
		} else {
			left++
		}
	}
	m := full
	if done > 0 && more > 0 {
		m = more
	}
	if compared(t) {
		if more > 0 {
			m += more * float64(left)
		} else {
			m += full * float64(left) * 0.5 // set-up is shared though the book gives no figure; our choice
		}
	}
	if a, ok := e.m.accessOf(b.Access); ok && !slices.Contains(open, b.Access) && !slices.Contains(e.o.Open, b.Access) {
		m += e.byAccess(a.Easy, a.Buried)
		if e.c.EngineHot {
			m += a.Cool.Value
		}
	}
	return math.Max(m, 1)
}

// done reports whether a test was counted under conditions that cover the fault
// conditions, and needs no repeat.
func (e *Engine) done(i int) bool {
	for k := range e.slots {
		s := &e.slots[k]
		if s.test != i || len(s.findings) == 0 || !e.covers(s) {
			continue
		}
		for _, x := range s.findings {
			if e.findings[x].State != evidence.NotEstablished {
				return true
			}
		}
	}
	return false
}

// covers reports whether a reading was taken in conditions that cover those of the
// complaint for a fault it bears on.
func (e *Engine) covers(s *slot) bool {
	full := len(s.cover) == 0
	for _, c := range s.cover {
		full = full || c >= e.m.limits.CoverageNeeded
	}
	return full
}

// missing lists equipment of a test that is not on hand.
func (e *Engine) missing(t *book.Test) []string {
	if e.c.Equipment == nil {
		return nil
	}
	var out []string
	for _, q := range t.Equipment {
		if !slices.Contains(e.c.Equipment, q) {
			out = append(out, q)
		}
	}
	return out
}

// loads reports whether a test loads the engine.
func (e *Engine) loads(t *book.Test) bool {
	for _, h := range t.Hazards {
		if x, ok := e.m.hazard(h); ok && x.Load {
			return true
		}
	}
	if len(t.At) == 0 {
		return false
	}
	for _, s := range t.At {
		if s != string(evidence.Load) {
			return false
		}
	}
	return true
}

// penalty is minutes added for hazards and for taking parts off, when tests are
// ranked. The printed minutes do not contain it.
func (e *Engine) penalty(t *book.Test) float64 {
	l := &e.m.limits
	p := 0.0
	for _, id := range t.Hazards {
		h, _ := e.m.hazard(id)
		switch h.Word {
		case "DANGER":
			p = math.Max(p, l.DangerMinutes)
		case "WARNING":
			p = math.Max(p, l.WarningMinutes)
		case "CAUTION":
			p = math.Max(p, l.CautionMinutes)
		}
	}
	if t.Invasive {
		p += l.InvasiveMinutes
	}
	return p
}

// repairCost is the minutes to put suspect i right, parts included.
func (e *Engine) repairCost(i int) float64 {
	r := e.m.in.Suspects[i].Fault.Repair
	c := r.Minutes.Value + r.Parts.Value
	if c <= 0 {
		c = e.m.limits.RepairMinutes
	}
	return c
}

// repairer works out the expected cost of repairing in the best order. One repair
// clears every fault it covers: all ways of failing of one part that cost the same, and
// all cylinders where the part is renewed as a set.
type repairer struct {
	of    []int     // by suspect: its repair
	cost  []float64 // by repair
	first []int     // by repair: its likeliest suspect
	p     []float64 // by repair: chance that it clears the fault
	order []int
	ratio []float64
	away  []bool // suspects that a person has ruled out
}

// repairKey tells repairs apart.
type repairKey struct {
	component string
	subject   evidence.Subject
	cost      float64
}

func (e *Engine) newRepairer() *repairer {
	n := len(e.chance)
	r := &repairer{of: make([]int, n), away: e.away}
	known := map[repairKey]int{}
	for i := range n {
		s := &e.m.in.Suspects[i]
		k := repairKey{s.Component.ID, s.Subject, e.repairCost(i)}
		if s.Fault.Repair.Set {
			k.subject = evidence.Subject{}
		}
		g, ok := known[k]
		if !ok {
			g = len(r.cost)
			known[k] = g
			r.cost = append(r.cost, k.cost)
		}
		r.of[i] = g
	}
	m := len(r.cost)
	r.first, r.p, r.order, r.ratio = make([]int, m), make([]float64, m), make([]int, m), make([]float64, m)
	for g := range r.order {
		r.order[g] = g
	}
	return r
}

// expected is the expected minutes to a finished repair, one repair after the other with
// a check after each, in falling order of chance over cost (Kadane & Simon 1977), giving
// up after the best number of them (Heckerman, Breese & Rommelse 1995): a specialist then
// finds what is left for the cost refer, and it is repaired at its own cost:
//
//	ECR = sum_k c_k (1 - sum_{j<k} p_j) + (1 - sum p) refer + sum_{j left} p_j c_j.
//
// Chances are taken as of one fault at a time; nothing wrong costs nothing
// beyond the check. first is the suspect to begin with, -1 for giving up at once.
func (r *repairer) expected(chance []float64, none, refer float64) (ecr float64, first int) {
	clear(r.p)
	total := none
	for i, p := range chance {
		total += p
		if r.away != nil && r.away[i] {
			continue
		}
		g := r.of[i]
		if r.p[g] == 0 || p > chance[r.first[g]] {
			r.first[g] = i
		}
		r.p[g] += p
	}
	total = math.Max(total, 1)
	later := 0.0
	for g, p := range r.p {
		later += p / total * r.cost[g]
		r.ratio[g] = 0
		// A repair pays only if its chance of sparing the referral is worth its cost.
		if p*refer > r.cost[g]*1e-3 && p > 1e-4 {
			r.ratio[g] = p / r.cost[g]
		}
	}
	// The order of the call before is nearly that of this one.
	for x := 1; x < len(r.order); x++ {
		g := r.order[x]
		y := x
		for ; y > 0 && r.before(g, r.order[y-1]); y-- {
			r.order[y] = r.order[y-1]
		}
		r.order[y] = g
	}
	left := 1 - none/total
	best, first := left*refer+later, -1
	sum := 0.0
	for _, g := range r.order {
		if r.ratio[g] == 0 {
			break
		}
		sum += r.cost[g] * left
		left = math.Max(0, left-r.p[g]/total)
		later -= r.p[g] / total * r.cost[g]
		if v := sum + left*refer + math.Max(later, 0); v < best {
			best, first = v, r.first[r.order[0]]
		}
	}
	return best, first
}

// before reports whether repair a comes before b: by chance over cost, the first of the
// list where they tie.
func (r *repairer) before(a, b int) bool {
	if r.ratio[a] != r.ratio[b] {
		return r.ratio[a] > r.ratio[b]
	}
	return r.first[a] < r.first[b] || r.first[a] == r.first[b] && a < b
}
