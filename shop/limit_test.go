package shop_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/shop"
)

// A single part is shown by a reading against a cited limit, also where the book reads
// the value as it is: the maker's figure in the job replaces the book's usual one.
func TestMakersLimitOnAnAbsoluteReading(t *testing.T) {
	const head = `schema: proveout/job/1
vehicle:
  engine: {cylinders: 4, firing_order: [1, 3, 4, 2], ignition: coil_on_plug, injection: port, fuel: petrol}
complaint: {symptoms: [lack_of_power], conditions: {state: [load]}}
readings:
  - {test: vacuum_needle, result: falls_at_2500}
  - {feature: exhaust.backpressure, value: 24 kPa, condition: {state: raised}}
`
	for _, c := range []struct {
		name, limits, state, reason string
		up                          bool // the reading speaks for a blocked exhaust
	}{
		{"the book's usual bound alone", "", "suspected", "a cited limit", true},
		{"the maker's bound", "limits:\n  - {feature: exhaust.backpressure, max: 9 kPa, source: service sheet}\n", "shown", "", true},
		{"a maker who allows more", "limits:\n  - {feature: exhaust.backpressure, max: 35 kPa, source: service sheet}\n", "", "", false},
	} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(head+c.limits), 0o600); err != nil {
			t.Fatal(err)
		}
		a, err := shop.Diagnose(dir, shop.Options{Program: "test"})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range a.Suspects {
			if s.ID != "exhaust_restricted@engine" {
				continue
			}
			if c.state != "" && s.State != c.state || !strings.Contains(s.Reason, c.reason) {
				t.Errorf("%s: %s at %.2f: %s", c.name, s.State, s.Chance, s.Reason)
			}
			for _, m := range s.MovedBy {
				if strings.HasPrefix(m.Finding, "backpressure") && (m.Factor > 1) != c.up {
					t.Errorf("%s: the reading multiplies its odds by %.2f", c.name, m.Factor)
				}
			}
		}
	}
}
