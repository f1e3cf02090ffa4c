package reason

import (
	"fmt"
	"slices"
)

// wentThereAndBack is a part with which the complaint went and came back.
type wentThereAndBack struct {
	finding int
	part    part
	name    string
	whole   bool // the complaint itself went; else it moved with the part from its cylinder
}

// twoThereAndBack finds two parts that each took the complaint away and brought it back
// under comparable conditions. With two causes neither alone would have: as long as one
// is there the complaint is. A part after whose change the complaint stayed is out of
// it: the other was found behind it.
func (e *Engine) twoThereAndBack() []Conflict {
	var all []wentThereAndBack
	for k := range e.slots {
		s := &e.slots[k]
		t := &e.m.tests[s.test]
		if !s.on {
			continue
		}
		for _, x := range s.findings {
			c, _ := t.class(&e.findings[x])
			if !t.at.Test.Outcomes[c].Returns {
				continue
			}
			for r := range t.rows {
				i := t.rows[r].fault
				if !t.rows[r].own || !slices.Contains(t.at.Test.Direct, e.m.in.Suspects[i].Fault.ID) {
					continue
				}
				p := partOf(&e.m.in.Suspects[i])
				if _, result := e.lastTried(p); result != Stays {
					all = append(all, wentThereAndBack{x, p, partWords(&e.m.in.Suspects[i]), t.tried != nil})
				}
				break
			}
		}
	}
	slices.SortFunc(all, func(a, b wentThereAndBack) int { return a.finding - b.finding })
	for i, b := range all {
		for _, a := range all[:i] {
			if a.part == b.part || !(a.whole && b.whole) && a.part.subject != b.part.subject || !e.findings[a.finding].Condition.Comparable(e.findings[b.finding].Condition) {
				continue
			}
			doubtful := b
			if e.partChance(a.part) < e.partChance(b.part) {
				doubtful = a
			}
			return []Conflict{{
				Findings: []string{e.findings[a.finding].ID, e.findings[b.finding].ID}, Doubtful: e.findings[doubtful.finding].ID, Factor: 1 / e.u,
				Reason: fmt.Sprintf("The complaint went and came back with %s, and so it did with %s: with two causes neither alone would have taken it away.", a.name, b.name),
				Settle: "Change each there and back once more, one at a time, under the conditions of the complaint; then keep both or set one aside.",
			}}
		}
	}
	return nil
}
