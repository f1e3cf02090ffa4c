package reason

import (
	"slices"

	"proveout/evidence"
)

// What a direct test is held against before it may show a part (DECISIONS, Odds):
// sound neighbours tested the same way; where there are none, or all are alike, a
// cited limit or a change there and back (A-B-A). Else the part stays suspected,
// however high its chance.

// hasLimit reports whether a limit that can be looked up stands behind an outcome:
// one given for this vehicle, or the bounds or words of a publication.
func hasLimit(t *testModel, outcome int) bool {
	b := t.at.Test
	if b.Reads != nil && b.Reads.Versus == "limit" {
		return true
	}
	if outcome < t.normal && t.madeLow || outcome > t.normal && t.madeHigh {
		return true
	}
	return (b.Reads == nil || b.Reads.Versus == "absolute") && b.Cited(outcome)
}

// given lays the bounds given for this vehicle over the book's usual ones, for a test
// that reads a value as it is: the normal outcome runs between them, the stretches
// beyond keep their width. The row of chances stays the book's.
func (t *testModel) given(limits []Limit) {
	r := t.at.Test.Reads
	if r == nil || r.Versus != "absolute" || t.from == nil {
		return
	}
	var lim *Limit
	for i := range limits {
		if l := &limits[i]; l.Feature == r.Feature && (l.Subject == t.at.Subject || l.Subject.Kind == "" && (lim == nil || lim.Subject.Kind == "")) {
			lim = l
		}
	}
	if lim == nil || lim.Min != nil && lim.Max != nil && !(*lim.Max > *lim.Min) {
		return
	}
	n, last := t.normal, len(t.from)-1
	from, to := t.from[n], t.to[n]
	lo, hi := from, to
	if lim.Min != nil && n > 0 {
		lo, t.madeLow = *lim.Min, true
	}
	if lim.Max != nil && n < last {
		hi, t.madeHigh = *lim.Max, true
	}
	if !(hi > lo) { // one bound alone, beyond the book's other: the stretch keeps its width
		if t.madeLow {
			hi = lo + to - from
		} else {
			lo = hi - (to - from)
		}
	}
	for c := range t.from {
		if c < n {
			t.from[c], t.to[c] = t.from[c]+lo-from, t.to[c]+lo-from
		} else if c > n {
			t.from[c], t.to[c] = t.from[c]+hi-to, t.to[c]+hi-to
		}
	}
	t.from[n], t.to[n] = lo, hi
}

// mayShow reports whether outcome o of test i, done now, would be held against
// something that lets it show a part.
func (e *Engine) mayShow(i, o int) bool {
	t := &e.m.tests[i]
	b := t.at.Test
	if b.Outcomes[o].Returns || hasLimit(t, o) || b.Neighbours || b.Reads != nil && (b.Reads.Versus == "others" || b.Reads.Versus == "difference") {
		return true
	}
	siblings := 0
	for j := range e.m.tests {
		if j == i || e.m.tests[j].same != t.same {
			continue
		}
		if siblings++; !e.done(j) {
			return false
		}
	}
	return siblings > 0
}

// wouldShow says what would show suspect i, or what is missing for it: the quickest
// test that may, else the limit that nobody has given, else a change there and back.
func (e *Engine) wouldShow(i int) string {
	name, limit, best := "", "", 0.0
	s := &e.m.in.Suspects[i]
	for k := range e.m.tests {
		t := &e.m.tests[k]
		b := t.at.Test
		if t.tried != nil && (!t.tried.offered || e.partTried(t.tried)) || !slices.Contains(b.Direct, s.Fault.ID) || !e.looksAt(t.at.Subject, s.Subject) {
			continue
		}
		may := slices.ContainsFunc(e.outcomes(k), func(o int) bool { return e.proves(k, o, i) })
		if !may && b.Reads != nil && b.Reads.Versus == "absolute" && slices.ContainsFunc(e.outcomes(k), func(o int) bool { return b.Outcomes[o].Proves && e.tells(t, o, i) }) {
			if f, ok := e.m.in.Feature(b.Reads.Feature); ok {
				limit = f.Name
			}
		}
		if !may || e.done(k) {
			continue
		}
		if slices.Contains(e.c.Skip, b.ID) {
			if b.Reads != nil && b.Reads.Versus == "limit" {
				if f, ok := e.m.in.Feature(b.Reads.Feature); ok {
					limit = f.Name
				}
			}
			continue
		}
		if name == "" || b.Minutes.Easy.Value < best {
			name, best = b.Name, b.Minutes.Easy.Value
		}
	}
	switch {
	case name != "":
		return name + " would settle it"
	case limit != "":
		return "a cited limit for the " + limit + " of this vehicle would let its reading show it"
	}
	return "only there and back would show it (A-B-A: with it put right the complaint is gone, with the old state back it returns)"
}

// outcomes are the numbers of a test's outcomes.
func (e *Engine) outcomes(test int) []int {
	out := make([]int, len(e.m.tests[test].healthy))
	for o := range out {
		out[o] = o
	}
	return out
}

// proves reports whether outcome o of test k would show suspect i, its chance apart.
func (e *Engine) proves(k, o, i int) bool {
	t := &e.m.tests[k]
	b, s := t.at.Test, &e.m.in.Suspects[i]
	return b.Outcomes[o].Proves && slices.Contains(b.Direct, s.Fault.ID) && e.tells(t, o, i) && e.looksAt(t.at.Subject, s.Subject) && e.mayShow(k, o)
}

// looksAt reports whether a test on subject t looks at the part at subject f
// itself, and not at a wider circle of which it is one.
func (e *Engine) looksAt(t, f evidence.Subject) bool {
	if t == f {
		return true
	}
	if f.Kind == evidence.Engine || f.Kind == evidence.Vehicle {
		return true
	}
	if t.Kind == evidence.Cylinder {
		return f.Covers(t.Number, e.m.in.Engine.Bank)
	}
	return false
}
