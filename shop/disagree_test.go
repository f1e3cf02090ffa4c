package shop

import (
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/unit"
	"proveout/vehicle"
)

// Each side of a conflict says its own value. Their findings pool the two, and a
// screen that showed those would print the mean of both beside either item.
func TestSidesOfAConflictKeepTheirOwnValues(t *testing.T) {
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	in, err := book.Instantiate(vehicle.Engine{Cylinders: 4, FiringOrder: []int{1, 3, 4, 2}, Ignition: vehicle.CoilOnPlug, Injection: vehicle.Port}, books...)
	if err != nil {
		t.Fatal(err)
	}
	w := &work{instance: in, answer: &Answer{}}
	for item, text := range map[int]string{13: "250 kPa", 14: "380 kPa"} {
		q, err := unit.ParseQuantity(text)
		if err != nil {
			t.Fatal(err)
		}
		w.readings = append(w.readings, evidence.Reading{Item: item, Feature: "fuel.pressure_load", Subject: evidence.Subject{Kind: evidence.Engine}, Value: q, Uncertainty: 5e3, Typed: item == 14})
	}
	got := w.disagreements()
	if len(got) != 1 {
		t.Fatalf("%d conflicts, want one", len(got))
	}
	for _, side := range got[0].Sides {
		want := map[int]string{13: "250 kPa, measured", 14: "380 kPa, typed"}[side.Item]
		if want == "" || !strings.HasSuffix(side.Text, want) {
			t.Errorf("item %d says %q, want it to end with %q", side.Item, side.Text, want)
		}
	}
	if len(got[0].Sides) != 2 {
		t.Errorf("%d sides, want two", len(got[0].Sides))
	}
}
