package reason

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/evidence"
)

// Two readings of one thing, on one subject under comparable conditions, that cannot
// both be right are a conflict by themselves: no cause has to be thought of. That pair
// is what is told, and what either of them does to other readings is not told besides.

// Dispute is such a pair, seen by whoever pooled the two into one finding.
type Dispute struct {
	Findings []string // the pooled findings, the first that counts is the one to retake
	Reason   string
	Settle   string
	Retaken  bool // it was read a third time
	Items    []int
}

// disputed lists the disputes handed in with the case of which a finding is counted.
func (e *Engine) disputed() []Conflict {
	var out []Conflict
	for i := range e.c.Disputes {
		d := &e.c.Disputes[i]
		c := Conflict{Findings: d.Findings, Factor: 1 / e.u, Reason: d.Reason, Settle: d.Settle, Retaken: d.Retaken, Dispute: i + 1}
		for _, id := range d.Findings {
			if c.Doubtful == "" && e.counted(id) {
				c.Doubtful = id
			}
		}
		if c.Doubtful != "" {
			out = append(out, c)
		}
	}
	return out
}

func (e *Engine) counted(id string) bool {
	return slices.ContainsFunc(e.slots, func(s slot) bool {
		return s.on && slices.ContainsFunc(s.findings, func(x int) bool { return e.findings[x].ID == id })
	})
}

// pairs finds tests that were done more than once on one subject under comparable
// conditions and came out differently. The doubtful reading is the one that stands
// alone against two others, else the one that the other findings speak for less.
func (e *Engine) pairs() ([]Conflict, error) {
	var out []Conflict
	for i := range e.m.tests {
		if e.m.tests[i].tried != nil {
			continue
		}
		var takes []int
		for k := range e.slots {
			if s := &e.slots[k]; s.test == i && s.on {
				takes = append(takes, s.findings...)
			}
		}
		if len(takes) < 2 {
			continue
		}
		slices.Sort(takes)
		against := make([]int, len(takes))
		pair := [2]int{-1, -1}
		for x := range takes {
			for y := x + 1; y < len(takes); y++ {
				if e.differ(i, takes[x], takes[y]) {
					against[x]++
					against[y]++
					if pair[0] < 0 {
						pair = [2]int{takes[x], takes[y]}
					}
				}
			}
		}
		if pair[0] < 0 {
			continue
		}
		odd, err := e.worse(pair[0], pair[1])
		if err != nil {
			return nil, err
		}
		most := slices.Index(against, slices.Max(against))
		if slices.Max(against) > 1 && !slices.Contains(against[most+1:], against[most]) {
			odd = takes[most]
		}
		other := pair[0]
		for _, x := range takes {
			if x != odd && e.differ(i, x, odd) {
				other = x
				break
			}
		}
		out = append(out, e.pairConflict(i, odd, other, len(takes)))
	}
	return out, nil
}

// differ reports whether two findings of one test cannot both be right: two results
// in words, or two numbers of different outcomes further apart than their noise.
func (e *Engine) differ(test, x, y int) bool {
	a, b := &e.findings[x], &e.findings[y]
	if a.Item != 0 && a.Item == b.Item || !a.Condition.Comparable(b.Condition) {
		return false
	}
	if a.Outcome != "" || b.Outcome != "" {
		return a.Outcome != "" && b.Outcome != "" && a.Outcome != b.Outcome && !carriesOn(a.Outcome, b.Outcome)
	}
	if f, ok := evidence.Lookup(a.Feature); ok && f.PlacementCV > 0 || a.Of > 0 || b.Of > 0 {
		return false // a pickup laid anew may read differently, and counts grow
	}
	t := &e.m.tests[test]
	p, _ := t.class(a)
	q, _ := t.class(b)
	return p != q && math.Abs(a.Effect-b.Effect) > disagreeSigma*math.Hypot(a.EffectSigma, b.EffectSigma)
}

// disagreeSigma is how many times their joint uncertainty two readings of one thing
// must lie apart to be in dispute (our choice, as for the readings of a job).
const disagreeSigma = 4.0

// carriesOn reports whether one result is the other taken further: a part that
// moved the fault, and after putting it back moved and returned it.
func carriesOn(a, b string) bool {
	return strings.HasPrefix(a, b+"_") || strings.HasPrefix(b, a+"_")
}

// worse gives the one of two findings of one test that the others speak for less: each
// is held against all other findings with its rival left out,
//
//	lift(x) = P(x | others) / P(x | complaint alone),
//
// since one of the two results may be rare by itself and true all the same.
func (e *Engine) worse(x, y int) (int, error) {
	var lift [2]float64
	for k, i := range []int{y, x} { // with y out x is looked at
		e.drop(i)
		err := e.update()
		if err == nil {
			lift[k], err = e.lift([]int{x, y}[k])
		}
		f := &e.findings[i]
		if t, why := e.counts(f); why == "" {
			s := e.slotFor(t, f.Condition, unsure(f))
			s.findings = append(s.findings, i)
			slices.Sort(s.findings)
			s.fresh = true
		}
		if up := e.update(); err == nil {
			err = up
		}
		if err != nil {
			return 0, err
		}
	}
	if lift[0] < lift[1]-1e-9 {
		return x, nil
	}
	return y, nil
}

// lift is ln of how much likelier the slot of a finding is for all other findings, up
// to a constant that is the same for every finding of one test.
func (e *Engine) lift(finding int) (float64, error) {
	all := e.lnEvidence(nil)
	var out []int
	at := -1
	for i := range e.slots {
		switch s := &e.slots[i]; {
		case !s.on:
		case slices.Contains(s.findings, finding):
			at = i
		default:
			out = append(out, i)
		}
	}
	if at < 0 {
		return 0, nil // carried by another finding
	}
	var alone float64
	err := e.without(out, func() {
		f := e.slots[at].factor
		alone = math.Log(e.w.z) + e.w.lnRef + f.share*math.Log(f.none)
	})
	return all - alone, err
}

func (e *Engine) pairConflict(test, odd, other, takes int) Conflict {
	a, b, t := &e.findings[odd], &e.findings[other], &e.m.tests[test]
	p, _ := t.class(a)
	q, _ := t.class(b)
	name := t.at.Test.Name
	c := Conflict{Findings: []string{a.ID, b.ID}, Doubtful: a.ID, Factor: 1 / e.u, Retaken: takes > 2}
	c.Reason = fmt.Sprintf("%s on %s came out in two ways under comparable conditions: %s (%s) and %s (%s). Only one can be right.",
		capital(name), a.Subject, t.at.Test.Outcomes[q].Text, b.ID, t.at.Test.Outcomes[p].Text, a.ID)
	if c.Retaken {
		c.Reason += fmt.Sprintf(" Of %d takes %s stands alone or fits the rest least.", takes, a.ID)
		c.Settle = fmt.Sprintf("Set %s aside with the reason, or keep it.", a.ID)
		return c
	}
	c.Reason += fmt.Sprintf(" %s fits the other readings less.", a.ID)
	c.Settle = fmt.Sprintf("Do it once more (%s), and set the wrong one aside with the reason.", name)
	return c
}

// keep marks the conflicts of which a person keeps all readings.
func (e *Engine) keep(cs []Conflict) {
	for i := range cs {
		c := &cs[i]
		c.Kept = KeptWords(e.c.Kept, e.itemsOf(c))
	}
}

// KeptWords says by whom and why all of the items are kept; empty where nobody did.
func KeptWords(kept []Kept, items []int) string {
	for _, k := range kept {
		if len(items) > 0 && !slices.ContainsFunc(items, func(n int) bool { return !slices.Contains(k.Items, n) }) {
			return fmt.Sprintf("kept by %s: %s", whoOr(k.Who), strings.TrimRight(k.Reason, ". "))
		}
	}
	return ""
}

// itemsOf lists the items whose readings a conflict is between.
func (e *Engine) itemsOf(c *Conflict) []int {
	if c.Dispute > 0 && len(e.c.Disputes[c.Dispute-1].Items) > 0 {
		return e.c.Disputes[c.Dispute-1].Items
	}
	var out []int
	for i := range e.findings {
		if f := &e.findings[i]; slices.Contains(c.Findings, f.ID) && !slices.Contains(out, f.Item) {
			out = append(out, f.Item)
		}
	}
	return out
}
