package reason

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"proveout/evidence"
)

// candidate is a test that could be done now.
type candidate struct {
	test    int
	retake  bool // the doubtful reading of a conflict
	repeat  int  // further placements of a test already begun; 0 = a new test
	slot    int  // the slot of the reading to repeat, -1 for a new test
	minutes float64
	missing []string
	bits    float64
	allBits float64 // with the other subjects of a test done in one go
	ends    float64
	cost    float64
	score   float64
	changes bool
	chance  []float64
	endsBy  []bool
}

// next ranks the tests worth doing.
func (e *Engine) next(a *Answer) error {
	if e.o.Tests < 0 {
		return nil
	}
	cands, withheld := e.candidates()
	if len(withheld) > 0 {
		a.Notes = append(a.Notes, "lamp flashing: tests that load the engine are withheld, the catalyst is at risk ("+list(withheld, "and")+")")
	}
	r := e.newRepairer()
	costNow, first := r.expected(e.chance, e.none, e.m.limits.ReferMinutes)
	a.CostNow = costNow
	if err := e.rank(cands, r); err != nil {
		return err
	}
	e.together(cands)
	repeats := slices.DeleteFunc(slices.Clone(cands), func(c candidate) bool { return c.repeat == 0 || c.bits < 1e-6 })
	sortCandidates(repeats, e.o.Rank)
	cands = e.best(cands)
	if !e.o.NoLookAhead {
		if err := e.lookAhead(cands, r); err != nil {
			return err
		}
		sortCandidates(cands, e.o.Rank)
		perBit := e.minutesPerBit(cands)
		for x := range repeats {
			repeats[x].score = e.oneStep(&repeats[x], perBit)
		}
		sortCandidates(repeats, e.o.Rank)
	}
	cands = append(e.retakes(a, r), withRepeats(cands, repeats, e.o.Tests)...)
	for _, c := range cands[:min(e.o.Tests, len(cands))] {
		nt, err := e.describe(a, c)
		if err != nil {
			return err
		}
		a.Next = append(a.Next, nt)
	}
	e.sayReplace(a, cands, costNow, first)
	return nil
}

// candidates lists the tests that may be done: not done already, equipment on
// hand, not loading an engine whose lamp flashes.
func (e *Engine) candidates() (out []candidate, withheld []string) {
	for i := range e.m.tests {
		b := e.m.tests[i].at.Test
		missing := e.missing(b)
		if len(missing) > 0 && !e.o.AnyEquipment {
			continue
		}
		if e.c.LampFlashing && e.loads(b) {
			if !slices.Contains(withheld, b.Name) {
				withheld = append(withheld, b.Name)
			}
			continue
		}
		if e.done(i) || e.carriedBy(i) {
			continue
		}
		c := candidate{test: i, slot: -1, missing: missing, minutes: e.minutesFor(i, nil)}
		for k := range e.slots {
			s := &e.slots[k]
			if s.test != i || !s.on {
				continue
			}
			for _, x := range s.findings {
				f := &e.findings[x]
				if f.State == evidence.NotEstablished {
					c.slot, c.repeat = k, max(1, f.More)
				}
			}
		}
		if c.repeat > 0 {
			more := b.Minutes.More.Value
			if more <= 0 {
				more = e.byAccess(b.Minutes.Easy, b.Minutes.Buried) / 3
			}
			c.minutes = math.Max(1, more*float64(c.repeat)*2) // the suspect and one sound neighbour each time
		}
		out = append(out, c)
	}
	return out, withheld
}

// retakes are the doubtful readings of open conflicts: they come first, since no
// other test can be weighed while they stand.
func (e *Engine) retakes(a *Answer, r *repairer) []candidate {
	var out []candidate
	for _, c := range a.Conflicts {
		if c.Retaken {
			continue
		}
		for k := range e.slots {
			s := &e.slots[k]
			if !s.on || !slices.ContainsFunc(s.findings, func(x int) bool { return e.findings[x].ID == c.Doubtful }) {
				continue
			}
			b := e.m.tests[s.test].at.Test
			m := b.Minutes.More.Value
			if m <= 0 {
				m = e.byAccess(b.Minutes.Easy, b.Minutes.Buried)
			}
			one := []candidate{{test: s.test, slot: k, repeat: 1, minutes: math.Max(1, m), retake: true}}
			if e.rank(one, r) == nil {
				out = append(out, one[0])
			}
		}
	}
	return out
}

// carriedBy reports whether a counted finding already carries the fact of a
// test, or the test's share of a whole is told by another subject.
func (e *Engine) carriedBy(i int) bool {
	t := &e.m.tests[i]
	for k := range e.slots {
		s := &e.slots[k]
		u := &e.m.tests[s.test]
		if len(s.findings) == 0 || s.test == i {
			continue
		}
		if t.fact > 0 && t.fact == u.fact && e.done(s.test) {
			return true
		}
		if t.at.Test.ShareOfWhole && u.same == t.same && s.on {
			if k2 := e.carrier(k); k2 == k {
				return true
			}
		}
	}
	return false
}

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

// shareOf is the exponent a new reading of a test would have beside those of
// its group that are counted already.
func (e *Engine) shareOf(i int) float64 {
	t := &e.m.tests[i]
	m, rho := 0, t.rho
	for k := range e.slots {
		s := &e.slots[k]
		u := &e.m.tests[s.test]
		if len(s.findings) > 0 && s.exponent > 0 && u.cluster == t.cluster {
			m++
			rho = math.Max(rho, u.rho)
		}
	}
	return 1 / (1 + float64(m)*rho)
}

// tiltOf gives the share with which a new reading of a test would count for a
// fault of which other subjects of the same test have told already.
func (e *Engine) tiltOf(i int) func(r int) float64 {
	t := &e.m.tests[i]
	return func(r int) float64 {
		if !t.rows[r].wide {
			return 1
		}
		m := 0
		for k := range e.slots {
			s := &e.slots[k]
			u := &e.m.tests[s.test]
			if u.same != t.same || s.test == i || !s.on {
				continue
			}
			for q := range u.rows {
				if u.rows[q].fault == t.rows[r].fault && u.rows[q].own == t.rows[r].own {
					m++
					break
				}
			}
		}
		return 1 / (1 + float64(m)*e.m.limits.RhoWide)
	}
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
		ends := e.endsWith(t, o, a.after[o])
		c.endsBy = append(c.endsBy, ends)
		if ends {
			c.ends += p
		}
		if e.o.Rank == ByCost || !e.o.NoLookAhead {
			v, _ := r.expected(a.after[o], a.none[o], e.m.limits.ReferMinutes)
			c.cost += p * v
		}
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

// decision is what would be told and done: the leader, the suspects not yet
// separated from it, and whether the search ends.
type decision struct {
	leader int
	group  uint64
	ends   bool
}

const (
	leaderNothing = -1
	leaderOther   = -2
)

func (e *Engine) decision(chance []float64, none, other float64) decision {
	best, at := 0.0, 0
	for i, p := range chance {
		if p > best {
			best, at = p, i
		}
	}
	d := decision{leader: at}
	if none > best {
		d.leader, best = leaderNothing, none
	}
	if other > best {
		d.leader = leaderOther
	}
	if best < e.m.limits.SuspectedAt {
		return d
	}
	for i, p := range chance {
		if p >= best*e.m.limits.GroupRatio {
			d.group = d.group*1099511628211 + uint64(i) + 14695981039346656037
		}
	}
	return d
}

// endsWith reports whether the stop rule holds after outcome o: a suspect at or
// above the stop chance, shown by this outcome or by a direct finding had before.
func (e *Engine) endsWith(t *testModel, o int, after []float64) bool {
	stop := e.m.limits.StopAt
	for i, p := range after {
		if p < stop {
			continue
		}
		if e.nearly[i] || e.proves(t, o, i) {
			return true
		}
	}
	return false
}

// proves reports whether outcome o of a test would show suspect i, its chance apart.
func (e *Engine) proves(t *testModel, o, i int) bool {
	b := t.at.Test
	s := &e.m.in.Suspects[i]
	if !b.Outcomes[o].Proves || !slices.Contains(b.Direct, s.Fault.ID) || !e.looksAt(t.at.Subject, s.Subject) {
		return false
	}
	if b.Reads == nil {
		return true
	}
	return b.Neighbours || b.Reads.Versus == "limit" || b.Reads.Versus == "others" || b.Reads.Versus == "difference" || b.Reads.Versus == "absolute" && b.Outcomes[o].Source != ""
}

// compared reports whether a test is done on all its subjects in one go, because
// they are held against each other.
func compared(t *testModel) bool {
	b := t.at.Test
	return b.Neighbours || b.Reads != nil && (b.Reads.Versus == "others" || b.Reads.Versus == "difference" || b.Reads.Versus == "count")
}

// together scores tests that are done on all subjects in one go as one: bits and
// chances to end the search add up over the subjects, which is exact where the
// abnormal outcomes exclude each other and else too much, hence the caps. The
// best subject stands for all.
func (e *Engine) together(cands []candidate) {
	bits, ends := map[int]float64{}, map[int]float64{}
	for x := range cands {
		c := &cands[x]
		if t := &e.m.tests[c.test]; c.repeat == 0 && compared(t) {
			bits[t.same] += c.bits
			ends[t.same] += c.ends
		}
	}
	for x := range cands {
		c := &cands[x]
		t := &e.m.tests[c.test]
		if c.repeat > 0 || !compared(t) {
			continue
		}
		own := c.score
		c.allBits = math.Min(bits[t.same], e.doubtNow)
		all := e.scoreOf(math.Min(ends[t.same], 1), math.Min(bits[t.same], e.doubtNow), c.minutes, e.penalty(t.at.Test), c.cost)
		if e.o.Rank != ByCost {
			c.score = all * (1 + 1e-6*own/math.Max(all, 1e-12)) // the best subject first
		}
	}
}

// best keeps, in order, the candidates that could change what is told or done:
// one subject for each test, the best.
func (e *Engine) best(cands []candidate) []candidate {
	sortCandidates(cands, e.o.Rank)
	seen, facts := map[int]bool{}, map[string]bool{}
	var out []candidate
	for _, c := range cands {
		t := &e.m.tests[c.test]
		if c.repeat > 0 || !c.changes || c.bits < 1e-6 || seen[t.same] {
			continue
		}
		if fact := t.at.Test.Fact; fact != "" {
			if facts[fact] {
				continue // another test in the list would tell the same
			}
			facts[fact] = true
		}
		seen[t.same] = true
		if out = append(out, c); len(out) >= max(e.o.Tests, 8) {
			break
		}
	}
	return out
}

// withRepeats puts the best reading to be repeated where its score puts it, but
// not off the end of the list: a reading already begun is always told.
func withRepeats(cands, repeats []candidate, n int) []candidate {
	if len(repeats) == 0 || n <= 0 {
		return cands
	}
	at := 0
	for at < len(cands) && at < n-1 && cands[at].score >= repeats[0].score {
		at++
	}
	return slices.Insert(cands, at, repeats[0])
}

func sortCandidates(cands []candidate, by Rank) {
	sort.SliceStable(cands, func(a, b int) bool {
		x, y := &cands[a], &cands[b]
		if x.score != y.score {
			return x.score > y.score
		}
		if x.minutes != y.minutes {
			return x.minutes < y.minutes
		}
		return x.test < y.test
	})
}

// lookAhead scores the candidates anew by two steps: each outcome is followed by
// the best second test, whose access is free when the first has opened it. The
// score is one over the minutes to the end of the search as they then look:
//
//	T = m_1 + sum_o P(o) (1 - ends_o) min_u [ m_u + sum_q P(q | o) (1 - ends_q) k L_oq ]
//
// where m are minutes with the hazard penalty, q the outcomes of the second test,
// L the least number of yes/no questions that could find the fault among what is
// then left (Huffman's bound, which sees more than entropy does: on the example
// of Pattipati & Alexandridis the entropy misses the best plan), and k the
// minutes that the best test now takes for each bit. By cost, the score is minus
// the expected minutes to a finished repair.
func (e *Engine) lookAhead(cands []candidate, r *repairer) error {
	const deep = 8
	p := e.predictor()
	m := min(deep, len(cands))
	perBit := e.minutesPerBit(cands)
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
			if po < 0.005 || endsBy[o] && e.o.Rank != ByCost {
				continue
			}
			f := e.virtual(c.test, o)
			f.put(e.w, 1)
			err := e.refresh(true)
			rest, restCost := 0.0, 0.0
			if err == nil {
				p.ready()
				restCost, _ = r.expected(e.chance, e.none, e.m.limits.ReferMinutes)
				rest = perBit * p.questions(e.chance, e.none, e.other)
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
						if !d.endsBy[q] && pq > 1e-4 {
							v += pq * perBit * p.questions(p.a.after[q], p.a.none[q], p.a.other[q])
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
	}
	for x := range cands[m:] {
		c := &cands[m+x]
		c.score = e.oneStep(c, perBit)
	}
	return e.refresh(true)
}

// oneStep is the score of lookAhead from one step alone.
func (e *Engine) oneStep(c *candidate, perBit float64) float64 {
	t := &e.m.tests[c.test]
	if e.o.Rank == ByCost {
		return -c.cost - e.penalty(t.at.Test)
	}
	left := math.Max(0, e.predictor().questions(e.chance, e.none, e.other)-c.allBits)
	return 1 / math.Max(1, c.minutes+e.penalty(t.at.Test)+(1-c.ends)*perBit*left)
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

// virtual is the factor of an outcome not yet had.
func (e *Engine) virtual(test, outcome int) *factor {
	t := &e.m.tests[test]
	k := len(t.healthy)
	lambda, cover, tilt := make([]float64, k), make([]float64, len(t.rows)), make([]float64, len(t.rows))
	pickedLikelihood(lambda, outcome, e.u)
	by := e.tiltOf(test)
	for r := range t.rows {
		cover[r], tilt[r] = 1, by(r)
	}
	f := &factor{exponent: e.shareOf(test)}
	fillFactor(f, t, lambda, cover, tilt, e.m.limits.NotListedHealthy, e.scratch)
	return f
}

// describe puts a candidate into words: its outcomes, their chances and where
// each would lead, worked out exactly.
func (e *Engine) describe(a *Answer, c candidate) (NextTest, error) {
	t := &e.m.tests[c.test]
	b := t.at.Test
	nt := NextTest{Test: t.at, Minutes: c.minutes, EndsIt: c.ends, Bits: c.bits, Score: c.score, Cost: c.cost, Missing: c.missing, Repeat: c.repeat}
	before := e.leader()
	var change []string
	var old *slot
	if c.slot >= 0 {
		old = &e.slots[c.slot]
		old.factor.put(e.w, -1)
	}
	for o := range t.healthy {
		f := e.virtual(c.test, o)
		if old != nil {
			f.exponent = old.exponent
		}
		f.put(e.w, 1)
		if err := e.refresh(false); err != nil {
			return nt, err
		}
		leads, top := e.leadsTo(c.endsBy[o])
		if top != before && c.chance[o] >= 0.005 {
			change = append(change, fmt.Sprintf("%s on %s giving %q: %s", b.Name, t.at.Subject, b.Outcomes[o].Text, leads))
		}
		nt.Outcomes = append(nt.Outcomes, OutcomeAhead{Outcome: &b.Outcomes[o], Chance: c.chance[o], LeadsTo: leads})
		f.put(e.w, -1)
	}
	if old != nil {
		old.factor.put(e.w, 1)
	}
	if err := e.refresh(false); err != nil {
		return nt, err
	}
	a.ChangeMind = append(a.ChangeMind, change...)
	nt.Why = e.why(c, t)
	return nt, nil
}

// leader is the number of the leading suspect, or one of the two outside.
func (e *Engine) leader() int { return e.decision(e.chance, e.none, e.other).leader }

// leadsTo says in a sentence where the present odds stand.
func (e *Engine) leadsTo(ends bool) (string, int) {
	d := e.leader()
	switch d {
	case leaderNothing:
		return "then nothing wrong is likeliest, at " + percent(e.none), d
	case leaderOther:
		return "then something not listed is likeliest, at " + percent(e.other), d
	}
	s := SuspectAnswer{Suspect: &e.m.in.Suspects[d]}
	text := "then " + phrase(&s) + " leads at " + percent(e.chance[d])
	if ends {
		return text + ", shown: it ends the search", d
	}
	second, at := 0.0, -1
	for i, p := range e.chance {
		if i != d && p > second {
			second, at = p, i
		}
	}
	if at >= 0 && second >= e.chance[d]*e.m.limits.GroupRatio {
		r := SuspectAnswer{Suspect: &e.m.in.Suspects[at]}
		return text + ", before " + phrase(&r) + " at " + percent(second), d
	}
	return text + ", not yet shown", d
}

func (e *Engine) why(c candidate, t *testModel) string {
	var text string
	switch {
	case c.retake:
		text = "Readings disagree: take this one again before anything else"
	case c.repeat > 0:
		text = fmt.Sprintf("The difference is not established: place it %d more time%s on %s", c.repeat, plural(c.repeat), t.at.Subject)
	case c.ends >= 0.01:
		text = "Chance " + percent(c.ends) + " that it ends the search"
	default:
		text = "It cannot end the search by itself"
	}
	text += fmt.Sprintf("; removes %.2f of %.2f bits of doubt in %s", c.bits, e.doubtNow, minutes(c.minutes))
	var haz []string
	for _, id := range t.at.Test.Hazards {
		if h, ok := e.m.hazard(id); ok && (h.Word == "DANGER" || h.Word == "WARNING") {
			haz = append(haz, h.Word)
		}
	}
	if len(haz) > 0 {
		text += "; mind its " + list(slices.Compact(haz), "and")
	}
	if len(c.missing) > 0 {
		text += "; not on hand: " + list(c.missing, "and")
	}
	return text + "."
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

// sayReplace says when replacing the leading part at once is cheaper than
// testing first.
func (e *Engine) sayReplace(a *Answer, cands []candidate, now float64, first int) {
	if first < 0 || a.Suspects[0].State == Shown {
		return
	}
	best, at := math.Inf(1), -1
	for x := range cands {
		if cands[x].slot < 0 && cands[x].cost < best {
			best, at = cands[x].cost, x
		}
	}
	s := SuspectAnswer{Suspect: &e.m.in.Suspects[first]}
	switch {
	case at < 0:
		a.Replace = fmt.Sprintf("No test left on hand would change what to do. Repairing in order of chance over cost, %s first (chance %s, %s with parts), takes %s on average to a finished repair. It stays suspected until a test shows it.",
			phrase(&s), percent(e.chance[first]), minutes(e.repairCost(first)), minutes(now))
	case now <= best:
		t := e.m.tests[cands[at].test].at
		a.Replace = fmt.Sprintf("Replacing is cheaper than testing: putting right %s at once (chance %s, %s with parts) takes %s on average to a finished repair, against %s with %s first. A repair that helps is no proof of the cause.",
			phrase(&s), percent(e.chance[first]), minutes(e.repairCost(first)), minutes(now), minutes(best), t.Test.Name)
	}
}

// MinutesFor is the time a test (test@subject) takes now; 0 if there is none.
func (e *Engine) MinutesFor(id string) float64 {
	for i := range e.m.tests {
		if e.m.tests[i].at.ID == id {
			return e.minutesFor(i, nil)
		}
	}
	return 0
}
