package book

import (
	"fmt"
	"slices"
)

// A part that can be changed for a known-good one and put back has a test of its own on
// every engine: change it, see whether the complaint is gone, put the old one back, see
// whether it returns (A-B-A). It is the only direct test of a single part that no limit
// speaks of. What its outcomes weigh is worked out by the reasoning, from the figures
// by which it weighs any part tried.

// Outcomes of the test of a part changed there and back.
const (
	ThereStays     = "stays"
	ThereReturned  = "returned"
	ThereStaysGone = "stays_gone"
)

// checkMinutes is driving the conditions of the complaint after each of the two changes:
// four runs of three minutes (our choice).
const checkMinutes = 12

// thereAndBack makes the test for the exchangeable components of a book; a book with a
// swap of the part that returns has one of its own already. faults are those of the
// component on this engine.
func thereAndBack(b *Book, c *Component, faults []*Fault) *Test {
	var repair Num
	for _, f := range faults {
		if repair.Source == "" || f.Repair.Minutes.Value < repair.Value {
			repair = f.Repair.Minutes
		}
	}
	name := c.Name
	if name == "" {
		name = c.ID
	}
	t := &Test{
		ID: "there_and_back_" + c.ID, Name: "change the " + name + " for a known-good one, and back", Per: c.Per, Exchanges: c.ID, Static: true, Invasive: true,
		Minutes: Minutes{Easy: Num{2 * (repair.Value + checkMinutes), "twice the book's minutes for the repair and 12 minutes of driving, our choice"}},
		Do: fmt.Sprintf("Make sure the complaint shows now. Fit a %s that is known to work, see to its connectors, and drive the conditions of the complaint four times. Then put the old one back and drive them again. Mind what a repair of this part asks for.",
			name),
		Says:   "Gone with the other part and back with the old one convicts it. Gone alone does not: the moving about may have seated a connector, and an intermittent fault may be hiding.",
		Source: "our choice",
		Outcomes: []Outcome{
			{ID: ThereStays, Text: "the complaint stays", Normal: true, Source: "our choice"},
			{ID: ThereReturned, Text: "gone with the other one, back with the old one", Proves: true, Returns: true, Source: "our choice"},
			{ID: ThereStaysGone, Text: "gone, and with the old one back it stays gone", Source: "our choice"},
		},
		Given: map[string]Row{},
	}
	for _, f := range faults {
		t.Direct = append(t.Direct, f.ID)
		t.Given[f.ID] = Row{Source: "our choice"}
	}
	for _, id := range []string{"hand_tools", "known_good_part"} {
		if _, ok := b.Equipment[id]; ok {
			t.Equipment = append(t.Equipment, id)
		}
	}
	// What a look at the part asks to mind, and the road.
	for i := range b.Tests {
		u := &b.Tests[i]
		if !slices.ContainsFunc(u.Direct, func(f string) bool { return slices.Contains(t.Direct, f) }) {
			continue
		}
		for _, h := range u.Hazards {
			if !slices.Contains(t.Hazards, h) {
				t.Hazards = append(t.Hazards, h)
			}
		}
	}
	for _, h := range []string{"hot_parts", "road_test", "catalyst_heat"} {
		if _, ok := b.Hazards[h]; ok && !slices.Contains(t.Hazards, h) {
			t.Hazards = append(t.Hazards, h)
		}
	}
	return t
}
