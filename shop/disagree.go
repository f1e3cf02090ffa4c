package shop

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/reason"
	"proveout/unit"
)

// When two readings of the same thing, taken on the same subject under
// comparable conditions, lie further apart than this, they cannot both be right.
// Our choice: wide enough for two honest instruments, narrow enough for a unit
// slip, a swapped hose or a gauge that sticks.
const (
	disagreeSigma  = 4.0  // times the joint uncertainty the two state
	disagreeShare  = 0.15 // of the larger value
	disagreePoints = 8.0  // percentage points, for features in percent
)

// dispute is a pair of readings of one thing that cannot both be right.
type dispute struct {
	ConflictAnswer
	retaken bool // read a third time
}

// disagreements finds pairs of readings of one thing that cannot both be right: one
// pair for each thing. It looks at readings, not findings: once two readings are
// pooled their quarrel is only a large uncertainty. Where there are three takes the
// one that stands alone is the doubtful one.
func (w *work) disagreements() []dispute {
	var out []dispute
	done := map[int]bool{}
	for i := range w.readings {
		if done[i] {
			continue
		}
		takes := []*evidence.Reading{&w.readings[i]}
		for j := i + 1; j < len(w.readings); j++ {
			if sameThing(&w.readings[i], &w.readings[j]) {
				takes, done[j] = append(takes, &w.readings[j]), true
			}
		}
		if odd, other := oddOne(takes); odd != nil {
			out = append(out, w.disagreement(odd, other, len(takes)))
		}
	}
	return out
}

// oddOne is the reading of one thing that disagrees with most of the others, and one
// it disagrees with; nil where all agree. Of two it is the one typed by hand, if only
// one was, else the later one.
func oddOne(takes []*evidence.Reading) (odd, other *evidence.Reading) {
	most := 0
	for i, a := range takes {
		var with *evidence.Reading
		n := 0
		for j, b := range takes {
			if i != j && cannotBothBeRight(a, b) {
				n++
				if with == nil {
					with = b
				}
			}
		}
		switch {
		case n == 0 || n < most:
		case n > most || !(odd.Typed && !a.Typed):
			most, odd, other = n, a, with
		}
	}
	return odd, other
}

// sameThing reports whether two readings measure one thing under comparable
// conditions. Counts grow, and what depends on the placement of a pickup may
// differ: neither is compared.
func sameThing(a, b *evidence.Reading) bool {
	if a.Item == b.Item || a.Feature != b.Feature || a.Subject != b.Subject || (a.When == "after") != (b.When == "after") {
		return false
	}
	if a.Blocked() || b.Blocked() || a.Value.Unit.Dim == unit.Count {
		return false
	}
	if f, ok := evidence.Lookup(a.Feature); ok && (f.PlacementCV > 0 || f.Amplitude) {
		return false
	}
	return a.Condition.Comparable(b.Condition)
}

func cannotBothBeRight(a, b *evidence.Reading) bool {
	d := math.Abs(a.Value.SI - b.Value.SI)
	if d <= disagreeSigma*math.Hypot(a.Uncertainty, b.Uncertainty) {
		return false
	}
	if a.Value.Unit.Dim == unit.Percent {
		return d > disagreePoints
	}
	return d > disagreeShare*math.Max(math.Abs(a.Value.SI), math.Abs(b.Value.SI))
}

func (w *work) disagreement(odd, other *evidence.Reading, takes int) dispute {
	name := odd.Feature
	if f, ok := w.instance.Feature(odd.Feature); ok {
		name = f.Name
	}
	on := ""
	if odd.Subject.Kind != evidence.Engine {
		on = " of " + odd.Subject.String()
	}
	a, b := odd, other
	if b.Item < a.Item {
		a, b = b, a
	}
	c := dispute{ConflictAnswer: ConflictAnswer{
		Reason:   fmt.Sprintf("%s%s is %s in item %d and %s in item %d: the same thing under comparable conditions, they cannot both be right.", upperFirst(name), on, a.Value, a.Item, b.Value, b.Item),
		Settle:   fmt.Sprintf("read %s again, check unit and instrument, and set the wrong item aside with the reason.", name),
		Items:    []int{a.Item, b.Item},
		Sides:    []ConflictSide{sideOf(name, a), sideOf(name, b)},
		Findings: []string{},
	}}
	for i := range w.findings {
		f := &w.findings[i]
		if f.Feature == odd.Feature && f.Subject == odd.Subject && !f.SetAside && (f.When == "after") == (odd.When == "after") {
			c.Findings = append(c.Findings, f.ID)
		}
	}
	switch {
	case takes > 2:
		c.Doubtful = fmt.Sprintf("item %d", odd.Item)
		c.retaken = true
		c.Reason += fmt.Sprintf(" Of %d takes item %d is the odd one.", takes, odd.Item)
		c.Settle = fmt.Sprintf("set item %d aside with the reason, or keep it.", odd.Item)
	case odd.Typed != other.Typed:
		// A value typed by hand is the likelier slip beside one measured from a capture.
		c.Doubtful = fmt.Sprintf("item %d", odd.Item)
		c.Reason += fmt.Sprintf(" Item %d was typed by hand.", odd.Item)
	}
	return c
}

func sideOf(name string, r *evidence.Reading) ConflictSide {
	how := "measured"
	if r.Typed {
		how = "typed"
	}
	return ConflictSide{Item: r.Item, Text: fmt.Sprintf("%s %s, %s", upperFirst(name), r.Value, how)}
}

// disputeList hands the disagreements to the odds: they stand in the way of the stop, and
// the reading is what to take again first.
func (w *work) disputeList() []reason.Dispute {
	w.disputes = w.disagreements()
	var out []reason.Dispute
	for _, c := range w.disputes {
		out = append(out, reason.Dispute{Findings: c.Findings, Reason: c.Reason, Settle: c.Settle, Retaken: c.retaken, Items: c.Items})
	}
	return out
}

// kept are the items that disagree and that a person keeps all the same.
func (w *work) kept() []reason.Kept {
	var out []reason.Kept
	for _, k := range w.resolved.Kept {
		out = append(out, reason.Kept(k))
	}
	return out
}

// fillConflicts puts the conflicts into the answer: the disagreements first, with what
// each side read.
func (w *work) fillConflicts(r *reason.Answer) {
	a := w.answer
	for _, d := range w.disputes {
		d.Kept = reason.KeptWords(w.kept(), d.Items)
		a.Conflicts = append(a.Conflicts, d.ConflictAnswer)
	}
	for _, k := range r.Conflicts {
		if k.Dispute > 0 {
			continue // stands there already
		}
		a.Conflicts = append(a.Conflicts, ConflictAnswer{Findings: k.Findings, Items: w.itemsOf(k.Findings), Doubtful: k.Doubtful, Reason: k.Reason, Settle: k.Settle, Kept: k.Kept})
	}
}
