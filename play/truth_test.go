package play

import (
	"slices"
	"testing"

	"proveout/book"
	"proveout/sim"
)

// The simulator's unlisted causes are exactly those that no fault of the petrol book
// names, and every name given is one of the book's.
func TestUnlistedIsWhatTheBookLacks(t *testing.T) {
	books, err := book.Builtin()
	if err != nil || len(books) == 0 {
		t.Fatalf("no book: %v", err)
	}
	known := map[string]bool{}
	for _, b := range books {
		for _, f := range b.Faults {
			known[f.ID] = true
		}
	}
	names := map[string]bool{}
	for _, e := range sim.Layouts() {
		for _, f := range sim.FaultNames(e) {
			names[f] = true
		}
	}
	for f := range names {
		if listed := len(inBook[f]) > 0; listed == slices.Contains(sim.UnlistedNames(), f) {
			t.Errorf("%q: named in the book %t, and the simulator says the contrary", f, listed)
		}
		for _, id := range inBook[f] {
			if !known[id] {
				t.Errorf("%q is to be called %q, which no book has", f, id)
			}
		}
	}
	if len(sim.UnlistedNames()) < 7 {
		t.Errorf("only %d unlisted causes", len(sim.UnlistedNames()))
	}
}
