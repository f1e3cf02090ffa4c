package reason

import (
	"testing"

	"proveout/book"
	"proveout/reason/bay"
)

// What it takes to prove a suspect: the quickest direct test that may show it; without
// one its repair, but no more than the middle of the direct tests; never nothing, or
// the search would be drawn to suspects that nobody can prove.
func TestNoSuspectIsProvenForNothing(t *testing.T) {
	in, err := book.Instantiate(bay.Engine(), bay.Book())
	if err != nil {
		t.Fatal(err)
	}
	e, err := NewEngine(Case{Instance: in, Symptoms: []string{"misfire_load"}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{
		"coil_weak": 9, "plug_gap": 18, // their swaps, there and back
		"lobe": 13 + 3*6.5, "valve_leak": 30 + 3*15, // held against the other cylinders
		"pressure": 32.5, "false_count": 32.5, // nothing may show them: the middle, below their repair of 40
	}
	prove := e.proveMinutes(e.newRepairer())
	for i, s := range in.Suspects {
		if w, ok := want[s.Fault.ID]; ok && prove[i] != w || prove[i] <= 0 {
			t.Errorf("%s is proven in %g min, want %g", s.Fault.ID, prove[i], w)
		}
	}
}
