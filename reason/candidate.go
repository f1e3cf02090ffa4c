package reason

import (
	"math"
	"slices"

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

// candidates lists the tests that may be done: not done already, equipment on
// hand, not loading an engine whose lamp flashes.
func (e *Engine) candidates() (out []candidate, withheld []string) {
	for i := range e.m.tests {
		b := e.m.tests[i].at.Test
		if p := e.m.tests[i].tried; p != nil && (!p.offered || e.partTried(p)) {
			continue
		}
		missing := e.missing(b)
		if len(missing) > 0 && !e.o.AnyEquipment || slices.Contains(e.c.Skip, b.ID) {
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
				if f.State == evidence.NotEstablished && e.takes(s) < mostTakes(f.Feature) {
					c.slot, c.repeat = k, max(1, f.More)
				}
			}
		}
		if c.repeat == 0 && e.exhausted(i) {
			continue
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
		if c.Settled() {
			continue
		}
		for k := range e.slots {
			s := &e.slots[k]
			if !s.on || e.m.tests[s.test].tried != nil || !slices.ContainsFunc(s.findings, func(x int) bool { return e.findings[x].ID == c.Doubtful }) {
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

// MinutesFor is the time a test (test@subject) takes now; 0 if there is none.
func (e *Engine) MinutesFor(id string) float64 {
	for i := range e.m.tests {
		if e.m.tests[i].at.ID == id {
			return e.minutesFor(i, nil)
		}
	}
	return 0
}

// partTried reports whether a part was tried already: what came of it is on the record.
func (e *Engine) partTried(p *triedPart) bool {
	for k := range e.slots {
		if t := &e.m.tests[e.slots[k].test]; t.tried != nil && len(e.slots[k].findings) > 0 && t.tried.faults[0] == p.faults[0] {
			return true
		}
	}
	return false
}

// takes is how often the reading of a slot was taken.
func (e *Engine) takes(s *slot) int {
	n := 0
	for _, x := range s.findings {
		n += max(1, len(e.findings[x].From))
	}
	return n
}

// exhausted reports whether a test was repeated under the conditions of the complaint as
// often as it is worth: it may still be not established, but another take adds nothing.
func (e *Engine) exhausted(i int) bool {
	for k := range e.slots {
		if s := &e.slots[k]; s.test == i && len(s.findings) > 0 && e.covers(s) && e.takes(s) >= mostTakes(e.findings[s.findings[0]].Feature) {
			return true
		}
	}
	return false
}

// doneElsewhere is how often a test was done under conditions that do not cover those
// of the complaint.
func (e *Engine) doneElsewhere(i int) int {
	n := 0
	for k := range e.slots {
		if s := &e.slots[k]; s.test == i && len(s.findings) > 0 && !e.covers(s) {
			n += e.takes(s)
		}
	}
	return n
}

// mostTakes is how often a reading is worth taking before another test is: a
// pickup may be laid on eight times, anything else read three times (our choice).
func mostTakes(feature string) int {
	if f, ok := evidence.Lookup(feature); ok && f.PlacementCV > 0 {
		return 8
	}
	return 3
}
