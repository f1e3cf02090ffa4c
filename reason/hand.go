package reason

import (
	"fmt"
	"slices"
	"strings"
)

// handsOf fills in what took the readings of a slot, as far as it is known: what is
// wrong with it is wrong with all it took.
//
//   - The instrument of a value that is read as it is or held against a limit.
//     Where cylinders are compared its error is in all of them and cancels.
//   - One signal of one recording, which has one instrument in one placement.
//   - The person who picked an outcome by eye, ear or feel.
func (e *Engine) handsOf(s *slot) {
	s.hands = s.hands[:0]
	add := func(kind, name string) {
		if h := kind + strings.ToLower(strings.TrimSpace(name)); len(h) > len(kind) && !slices.Contains(s.hands, h) {
			s.hands = append(s.hands, h)
		}
	}
	reads := e.m.tests[s.test].at.Test.Reads
	for _, i := range s.findings {
		f := &e.findings[i]
		if f.Outcome != "" {
			add("person ", f.Operator)
			continue
		}
		if reads != nil && (reads.Versus == "absolute" || reads.Versus == "limit") {
			for _, name := range f.Instruments {
				add("instrument ", name)
			}
		}
		for _, from := range f.From {
			if from.Channel != "" {
				add("signal ", fmt.Sprintf("%d %s %s", f.Item, from.File, from.Channel))
			}
		}
	}
}

// shareHands weakens readings of different tests that one hand took and that speak
// of a common fault: m of them count as m/(1+(m-1) rho) in all, so that an old gauge
// read ten times over makes no certainty. Groups of the book come first: readings of
// one group, and one test on several subjects, share there and not here.
//
// A reading beside a stronger one counts for it only as far as its strength goes,
// by the square, as within a group: a weak reading takes next to nothing from a
// strong one.
func (e *Engine) shareHands() {
	for i := range e.slots {
		s := &e.slots[i]
		if len(s.findings) == 0 || s.carried >= 0 {
			continue
		}
		beside := 0.0 // m-1
		for j := range e.slots {
			o := &e.slots[j]
			t, u := &e.m.tests[s.test], &e.m.tests[o.test]
			if len(o.findings) == 0 || o.carried >= 0 || t.cluster == u.cluster || t.same == u.same || !oneHand(s, o) || !e.speakTogether(i, j) {
				continue
			}
			beside += min(1, o.inChoir*o.strength*o.strength/(s.inChoir*s.strength*s.strength))
		}
		if v := s.inChoir / (1 + beside*e.m.limits.RhoHand); v != s.whole {
			s.whole, s.changed = v, true
		}
	}
}

func oneHand(a, b *slot) bool {
	return slices.ContainsFunc(a.hands, func(h string) bool { return slices.Contains(b.hands, h) })
}
