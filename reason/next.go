package reason

import (
	"math"
	"slices"
	"sort"
)

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
			repeats[x].score = e.oneStep(&repeats[x], perBit, r)
		}
		sortCandidates(repeats, e.o.Rank)
	}
	cands = append(e.retakes(a, r), withRepeats(cands, repeats, e.o.Tests)...)
	var changes []change
	for _, c := range cands[:min(e.o.Tests, len(cands))] {
		nt, more, err := e.describe(c)
		if err != nil {
			return err
		}
		a.Next = append(a.Next, nt)
		changes = append(changes, more...)
	}
	sort.SliceStable(changes, func(x, y int) bool { return changes[x].chance > changes[y].chance })
	for _, c := range changes {
		a.ChangeMind = append(a.ChangeMind, c.text)
	}
	e.sayReplace(a, cands, costNow, first)
	return nil
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
		if c.repeat > 0 || !c.changes || c.ends < 0.005 && c.allBits < e.m.limits.WorthBits || seen[t.same] {
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
