package shop

import (
	"fmt"
	"math"
	"strings"

	"proveout/evidence"
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

// disagreements finds pairs of readings of one thing that cannot both be right,
// and adds them to the conflicts. It looks at readings, not findings: once two
// readings are pooled their quarrel is only a large uncertainty.
func (w *work) disagreements() {
	w.wordsDisagree()
	for i := range w.readings {
		for j := i + 1; j < len(w.readings); j++ {
			a, b := &w.readings[i], &w.readings[j]
			if sameThing(a, b) && cannotBothBeRight(a, b) {
				w.answer.Conflicts = append(w.answer.Conflicts, w.disagreement(a, b))
			}
		}
	}
}

// wordsDisagree finds tests whose result is a word and that were done twice on
// one subject under comparable conditions with different results.
func (w *work) wordsDisagree() {
	for i := range w.findings {
		for j := i + 1; j < len(w.findings); j++ {
			a, b := &w.findings[i], &w.findings[j]
			if a.Outcome == "" || b.Outcome == "" || a.Outcome == b.Outcome || carriesOn(a.Outcome, b.Outcome) || a.Item == b.Item || a.Test != b.Test || a.Subject != b.Subject ||
				a.SetAside || b.SetAside || (a.When == "after") != (b.When == "after") || !comparableConditions(a.Condition, b.Condition) {
				continue
			}
			name := a.Test
			if t := findTest(w.instance, a.Test); t != nil {
				name = t.Name
			}
			w.answer.Conflicts = append(w.answer.Conflicts, ConflictAnswer{
				Findings: []string{a.ID, b.ID}, Items: []int{a.Item, b.Item},
				Reason: fmt.Sprintf("%s on %s came out differently in item %d and item %d under comparable conditions: only one can be right.", upperFirst(name), a.Subject, a.Item, b.Item),
				Settle: fmt.Sprintf("do it once more (%s), and set the wrong item aside with the reason.", name),
			})
		}
	}
}

// carriesOn reports whether one result is the other taken further: a part that
// moved the fault, and after putting it back moved and returned it.
func carriesOn(a, b string) bool {
	return strings.HasPrefix(a, b+"_") || strings.HasPrefix(b, a+"_")
}

// comparableConditions reports whether nothing that was written down speaks against two
// readings having been taken under the same conditions.
func comparableConditions(a, b evidence.Condition) bool {
	same := func(x, y string) bool { return x == "" || y == "" || x == y }
	return same(string(a.State), string(b.State)) && same(a.Warm, b.Warm) && same(a.Wet, b.Wet)
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
	return comparableConditions(a.Condition, b.Condition)
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

func (w *work) disagreement(a, b *evidence.Reading) ConflictAnswer {
	name := a.Feature
	if f, ok := w.instance.Feature(a.Feature); ok {
		name = f.Name
	}
	on := ""
	if a.Subject.Kind != evidence.Engine {
		on = " of " + a.Subject.String()
	}
	c := ConflictAnswer{
		Reason: fmt.Sprintf("%s%s is %s in item %d and %s in item %d: the same thing under comparable conditions, they cannot both be right.", upperFirst(name), on, a.Value, a.Item, b.Value, b.Item),
		Settle: fmt.Sprintf("read %s again, check unit and instrument, and set the wrong item aside with the reason.", name),
		Items:  []int{a.Item, b.Item},
		Sides:  []ConflictSide{sideOf(name, a), sideOf(name, b)},
	}
	for i := range w.findings {
		f := &w.findings[i]
		if f.Feature == a.Feature && f.Subject == a.Subject && !f.SetAside && (f.When == "after") == (a.When == "after") {
			c.Findings = append(c.Findings, f.ID)
		}
	}
	if c.Findings == nil {
		c.Findings = []string{}
	}
	// A value typed by hand is the likelier slip beside one measured from a capture.
	if a.Typed != b.Typed {
		t := a
		if b.Typed {
			t = b
		}
		c.Doubtful = fmt.Sprintf("item %d", t.Item)
		c.Reason += fmt.Sprintf(" Item %d was typed by hand.", t.Item)
	}
	c.Reason = strings.TrimSpace(c.Reason)
	return c
}

func sideOf(name string, r *evidence.Reading) ConflictSide {
	how := "measured"
	if r.Typed {
		how = "typed"
	}
	return ConflictSide{Item: r.Item, Text: fmt.Sprintf("%s %s, %s", upperFirst(name), r.Value, how)}
}
