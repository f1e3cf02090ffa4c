package shop

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A shown part that was put right while the complaint stays is no end of the search; one
// that is shown after it was changed is the new one, and is.
func TestShownPutRightAndTheComplaintStays(t *testing.T) {
	const job = `schema: proveout/job/1
vehicle:
  engine: {cylinders: 4, ignition: coil_on_plug, injection: port, fuel: petrol}
complaint: {said: stumbles when it pulls, symptoms: [misfire_load], conditions: {state: load, warm: warm}}
limits:
  - {feature: plug.gap, min: 0.7 mm, max: 0.9 mm, nominal: 0.8 mm, source: "service information"}
readings:
  - {item: 1, feature: plug.gap, values: {1: 0.82 mm, 2: 0.80 mm, 3: 1.42 mm, 4: 0.81 mm}}
  - {item: 2, test: counter_load, values: {1: 1, 2: 0, 3: 300, 4: 2}, condition: {state: load, warm: warm}}
  - {item: 4, test: plug_swap, cylinder: 3, result: moves_and_returns, condition: {state: load, warm: warm}}
`
	for _, c := range []struct {
		name, tried string
		stopped     bool
		stays       bool
	}{
		{"shown", "", true, false},
		{"put right, and it stays", "tried:\n  - {item: 5, part: plug, cylinder: 3, fitted: new, result: stays, condition: {state: load, warm: warm}}\n", false, true},
		{"put right, and it is gone", "tried:\n  - {item: 5, part: plug, cylinder: 3, fitted: new, result: gone, condition: {state: load, warm: warm}}\n", true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(job+c.tried), 0o600); err != nil {
				t.Fatal(err)
			}
			a, err := Diagnose(dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			if a.Stopped != c.stopped || (len(a.Next) == 0) != c.stopped || a.CorrectionOpens() != c.stopped {
				t.Errorf("stopped %v with %d tests, correction opens %v: %s", a.Stopped, len(a.Next), a.CorrectionOpens(), a.Stop)
			}
			if s := a.Suspects[0]; (s.Stays != "") != c.stays || !strings.HasPrefix(s.ID, "plug_gap_wide@cyl3") {
				t.Errorf("%s: %+v", s.ID, s)
			}
			if strings.Contains(a.Headline, "complaint stays") != c.stays {
				t.Errorf("headline: %s", a.Headline)
			}
		})
	}
}

// Two parts that each took the complaint away and brought it back cannot both be the
// cause; one that the complaint stayed behind after its change is out of it.
func TestTwoPartsThereAndBack(t *testing.T) {
	const job = `schema: proveout/job/1
vehicle:
  engine: {cylinders: 4, ignition: coil_on_plug, injection: port, fuel: petrol}
complaint: {said: stumbles when it pulls, symptoms: [misfire_load], conditions: {state: load, warm: warm}}
`
	for name, c := range map[string]struct {
		lines string
		items string // of the conflict, none if empty
	}{
		"two parts, the complaint itself":    {"tried:\n  - {item: 1, part: egr, fitted: known_good, result: returned}\n  - {item: 2, part: fuel_pump, fitted: known_good, result: returned}\n", "[1 2]"},
		"one part":                           {"tried:\n  - {item: 1, part: egr, fitted: known_good, result: returned}\n", ""},
		"found behind the first":             {"tried:\n  - {item: 1, part: egr, fitted: known_good, result: returned}\n  - {item: 2, part: egr, fitted: new, result: stays}\n  - {item: 3, part: fuel_pump, fitted: known_good, result: returned}\n", ""},
		"two parts of one cylinder, swapped": {"readings:\n  - {item: 1, test: coil_swap, cylinder: 3, result: moves_and_returns}\n  - {item: 2, test: plug_swap, cylinder: 3, result: moves_and_returns}\n", "[1 2]"},
		"parts of two cylinders, swapped":    {"readings:\n  - {item: 1, test: coil_swap, cylinder: 3, result: moves_and_returns}\n  - {item: 2, test: plug_swap, cylinder: 1, result: moves_and_returns}\n", ""},
		"under other conditions":             {"readings:\n  - {item: 1, test: coil_swap, cylinder: 3, result: moves_and_returns, condition: {wet: wet}}\n  - {item: 2, test: plug_swap, cylinder: 3, result: moves_and_returns, condition: {wet: dry}}\n", ""},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(job+c.lines), 0o600); err != nil {
				t.Fatal(err)
			}
			a, err := Diagnose(dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			if len(a.LeftOut) > 0 {
				t.Fatalf("left out: %+v", a.LeftOut)
			}
			got := ""
			for _, x := range a.Conflicts {
				if strings.Contains(x.Reason, "went and came back") {
					got = fmt.Sprint(x.Items)
				}
			}
			if got != c.items {
				t.Errorf("conflict between %s, want %s: %+v", got, c.items, a.Conflicts)
			}
			if c.items != "" && a.Stopped {
				t.Errorf("stopped with it: %s", a.Stop)
			}
		})
	}
}
