package reason

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// conflicts lists readings that cannot be right, pairs of readings of one thing that
// differ, and readings that disagree with the rest. A finding in the first two is not
// told again in the last.
func (e *Engine) conflicts() ([]Conflict, error) {
	out := slices.Concat(e.disputed(), e.farOut(), e.twoThereAndBack())
	pairs, err := e.pairs()
	if err != nil {
		return out, err
	}
	rest, err := e.disagreements()
	told := func(c Conflict, by []Conflict) bool {
		return slices.ContainsFunc(by, func(f Conflict) bool {
			return slices.ContainsFunc(f.Findings, func(id string) bool { return slices.Contains(c.Findings, id) })
		})
	}
	pairs = slices.DeleteFunc(pairs, func(c Conflict) bool { return told(c, out) })
	out = append(out, pairs...)
	rest = slices.DeleteFunc(rest, func(c Conflict) bool { return told(c, out) })
	return append(out, rest...), err
}

// farOut are readings so far beyond anything their test can give that a slip of
// the unit, the decimal point or the channel is likelier than the value: five
// times beyond the end of a stretch of ratios, otherwise twice the stretch.
func (e *Engine) farOut() []Conflict {
	var out []Conflict
	for k := range e.slots {
		s := &e.slots[k]
		t := &e.m.tests[s.test]
		if !s.on || t.from == nil {
			continue
		}
		lo, hi := t.from[0], t.to[len(t.to)-1]
		low, high := lo-2*(hi-lo), hi+2*(hi-lo)
		if lo > 0 {
			low, high = lo/5, hi*5
		}
		same := 0
		for _, x := range s.findings {
			f := &e.findings[x]
			if f.Outcome != "" || f.Effect-5*f.EffectSigma <= high && f.Effect+5*f.EffectSigma >= low {
				continue
			}
			if same++; same == 1 {
				out = append(out, Conflict{Findings: []string{f.ID}, Doubtful: f.ID, Factor: 1 / e.u,
					Reason: fmt.Sprintf("%s on %s (%s) gives a value far beyond anything the test can give: unit, decimal point or channel are likely wrong.", t.at.Test.Name, f.Subject, f.ID),
					Settle: "Read it again and check unit, decimal point and channel; then correct it, keep it or set it aside."})
			}
			out[len(out)-1].Retaken = same > 1
		}
	}
	return out
}

// disagreements finds findings that disagree with the rest although every set of up
// to three faults, nothing wrong, something not listed and a share of wrong
// readings have been tried as explanations.
//
// For a line r of findings the evidence ratio is
//
//	R(r) = P(others, r replaced by "wrong") / P(all) = P_wrong(r) / P(r | others),
//
// where a wrong reading gives each outcome of the test with the same chance. r is
// doubtful when R(r) reaches the limit. It is called a conflict only when at least
// two other lines contradict it, each by itself, or one does and R(r) reaches a
// higher limit: with nothing but the complaint known, q contradicts r when
//
//	P(r) P(q) / P(r, q)
//
// reaches its own limit, and only when r is also less likely given all the rest
// than with nothing but the complaint known, by a further limit (Jensen's conflict measure, see reason/network for the
// published Asia values). Lines count as independent: correlated findings are
// one line.
func (e *Engine) disagreements() ([]Conflict, error) {
	l := &e.m.limits
	lines := e.lines()
	if len(lines) < 3 {
		return nil, nil
	}
	if err := e.refresh(false); err != nil {
		return nil, err
	}
	all := e.lnEvidence(nil)
	leader := top(e.chance)
	type doubt struct {
		line, slot int
		ratio      float64
	}
	var doubts []doubt
	for x := range lines {
		out, moves := &e.out[x], 0.0
		for _, i := range []int{leader, top(out.chance)} {
			moves = math.Max(moves, math.Abs(math.Log(odds(e.chance[i])/odds(out.chance[i]))))
		}
		if r := out.ln - all; r >= math.Log(l.ConflictRatio) && moves >= math.Log(l.ConflictMoves) {
			doubts = append(doubts, doubt{line: x, ratio: r})
		}
	}
	if len(doubts) == 0 {
		return nil, nil
	}
	sort.SliceStable(doubts, func(a, b int) bool { return doubts[a].ratio > doubts[b].ratio })
	doubts = doubts[:min(3, len(doubts))]
	for x := range doubts {
		var err error
		if doubts[x].slot, err = e.doubtful(lines[doubts[x].line]); err != nil {
			return nil, err
		}
	}

	// Only the complaint, then single lines and pairs.
	for i := range e.slots {
		if e.slots[i].on {
			e.slots[i].factor.put(e.w, -1)
		}
	}
	pair := func(ls ...int) (float64, error) {
		for _, x := range ls {
			for _, i := range lines[x].slots {
				e.slots[i].factor.put(e.w, 1)
			}
		}
		err := e.refresh(false)
		z := math.Log(e.w.z) + e.w.lnRef
		for _, x := range ls {
			for _, i := range lines[x].slots {
				z += e.slots[i].factor.share * math.Log(e.slots[i].factor.none)
				e.slots[i].factor.put(e.w, -1)
			}
		}
		return z, err
	}
	var out []Conflict
	base, err := pair()
	alone := make([]float64, len(lines))
	for x := range lines {
		if err == nil {
			alone[x], err = pair(x)
		}
	}
	for _, d := range doubts {
		// Against the rest as a whole, by the same measure.
		wrong := 0.0
		for _, i := range lines[d.line].slots {
			wrong += e.slots[i].factor.share * math.Log(e.slots[i].factor.wrong)
		}
		if d.ratio-(base+wrong-alone[d.line]) < math.Log(l.ConflictRest) {
			continue
		}
		type pull struct {
			line int
			by   float64
		}
		var pulls []pull
		for q := range lines {
			if q == d.line || err != nil || !e.comparable(lines[q], lines[d.line]) {
				continue
			}
			var both float64
			both, err = pair(d.line, q)
			if by := alone[d.line] + alone[q] - base - both; by >= math.Log(l.ConflictPull) {
				pulls = append(pulls, pull{q, by})
			}
		}
		if len(pulls) == 0 || len(pulls) == 1 && d.ratio < math.Log(l.ConflictLone) {
			continue
		}
		sort.SliceStable(pulls, func(a, b int) bool { return pulls[a].by > pulls[b].by })
		odd := &e.slots[d.slot]
		c := Conflict{Doubtful: e.findings[odd.findings[0]].ID, Factor: math.Exp(d.ratio), Retaken: len(odd.findings) > 1}
		for _, x := range odd.findings {
			c.Findings = append(c.Findings, e.findings[x].ID)
		}
		for _, p := range pulls[:min(3, len(pulls))] {
			c.Findings = append(c.Findings, lines[p.line].ids[0])
		}
		e.sayConflict(&c)
		out = append(out, c)
	}
	for i := range e.slots {
		if e.slots[i].on {
			e.slots[i].factor.put(e.w, 1)
		}
	}
	if err != nil {
		return nil, err
	}
	return out, e.refresh(false)
}

// lnEvidence is ln of the summed weight of all hypotheses with the constants of
// the factors put back; the slots left out count as wrong readings.
func (e *Engine) lnEvidence(left []int) float64 {
	z := math.Log(e.w.z) + e.w.lnRef
	for i := range e.slots {
		if !e.slots[i].on {
			continue
		}
		f := e.slots[i].factor
		if slices.Contains(left, i) {
			z += f.share * math.Log(f.wrong)
		} else {
			z += f.share * math.Log(f.none)
		}
	}
	return z
}

// doubtful picks, within a line of correlated findings, the slot that fits least:
// the one whose leaving out helps the evidence most.
func (e *Engine) doubtful(l line) (slot int, err error) {
	best := math.Inf(-1)
	slot = l.slots[0]
	if len(l.slots) == 1 {
		return slot, nil
	}
	for _, i := range l.slots {
		one := []int{i}
		var ln float64
		if err := e.without(one, func() { ln = e.lnEvidence(one) }); err != nil {
			return slot, err
		}
		if ln > best+1e-9 {
			best, slot = ln, i
		}
	}
	return slot, e.refresh(false)
}

func top(chance []float64) int {
	at := 0
	for i, p := range chance {
		if p > chance[at] {
			at = i
		}
	}
	return at
}

// comparable reports whether two lines were taken in conditions that can be
// held against each other: warm-up state and wetness the same where both are
// known. Operating states differ by the nature of the tests.
func (e *Engine) comparable(a, b line) bool {
	for _, i := range a.slots {
		for _, j := range b.slots {
			x, y := e.slots[i].cond, e.slots[j].cond
			if x.Warm != "" && y.Warm != "" && x.Warm != y.Warm || x.Wet != "" && y.Wet != "" && isWet(x.Wet) != isWet(y.Wet) {
				return false
			}
		}
	}
	return true
}

// sayConflict writes the plain reason and what settles it.
func (e *Engine) sayConflict(c *Conflict) {
	name := func(id string) string {
		for i := range e.findings {
			if f := &e.findings[i]; f.ID == id {
				t := &e.m.tests[e.m.byTest[testKey{f.Test, f.Subject}]]
				k, _ := t.class(f)
				return fmt.Sprintf("%s on %s (%s: %s)", t.at.Test.Name, f.Subject, id, t.at.Test.Outcomes[k].Text)
			}
		}
		return id
	}
	var others []string
	for _, id := range c.Findings[1:] {
		if id != c.Doubtful && !slices.Contains(e.alsoOf(c.Doubtful), id) {
			others = append(others, name(id))
		}
	}
	c.Reason = fmt.Sprintf("%s does not fit %s: no one, two or three faults of the books explain them together; with it taken as wrong the rest is explained %s better.",
		name(c.Doubtful), list(others, "and"), times(c.Factor))
	if c.Retaken {
		c.Settle = "It was taken again: keep it and look for a cause that the books lack, or set it aside with a reason."
		return
	}
	for i := range e.findings {
		if f := &e.findings[i]; f.ID == c.Doubtful && e.m.tests[e.m.byTest[testKey{f.Test, f.Subject}]].tried != nil {
			c.Settle = fmt.Sprintf("Check that what was fitted is the right part and good, and its connectors, or put the old part back (%s); then keep it or set it aside.", f.ID)
			return
		}
	}
	c.Settle = fmt.Sprintf("Take %s again, and check cylinder, channel and unit; then keep it or set it aside.", name(c.Doubtful))
}

func (e *Engine) alsoOf(id string) []string {
	for _, l := range e.lines() {
		if slices.Contains(l.ids, id) {
			return l.ids
		}
	}
	return nil
}
