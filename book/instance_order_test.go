package book

import (
	"strings"
	"testing"

	"proveout/vehicle"
)

// A book may write the outcomes of a measured test in the order a person thinks of;
// what reads a value meets them lowest first.
func TestOutcomesAreTakenLowestFirst(t *testing.T) {
	turned := strings.NewReplacer("from: 0.5, to: 1.2", "from: 1.2, to: 3", "from: 1.2, to: 3", "from: 0.5, to: 1.2").Replace(small)
	b, ps := Load("turned.yaml", []byte(turned))
	if ps = append(ps, Check(b)...); len(ps) > 0 && strings.Contains(ps[0].String(), "error") {
		t.Fatalf("problems: %v", ps)
	}
	in, err := Instantiate(vehicle.Engine{Cylinders: 4}, b)
	if err != nil {
		t.Fatal(err)
	}
	got := in.Tests[0].Test.Outcomes
	if got[0].ID != "wide" || got[0].From != 0.5 || got[1].ID != "normal" {
		t.Errorf("outcomes come as %+v", got)
	}
	if b.Tests[0].Outcomes[0].ID != "normal" {
		t.Error("the book itself was turned round: its lines no longer fit")
	}
}
