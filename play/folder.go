package play

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"proveout/sim"
)

// bench is one vehicle on the lift, with the job folder that grows test by test.
type bench struct {
	dir      string
	v        *sim.Vehicle
	rng      *rand.Rand
	felt     []sim.Under
	under    sim.Under // the condition in which tests on the road are done
	captures []string
	readings []string
	symptom  string
	pickups  int // placements done on each coil
}

// newBench writes the job as it stands after reception: complaint, module log,
// drive log.
func newBench(dir string, v *sim.Vehicle, rng *rand.Rand) (*bench, error) {
	b := &bench{dir: dir, v: v, rng: rng, felt: v.Felt(rng)}
	if err := os.MkdirAll(filepath.Join(dir, "captures"), 0o755); err != nil {
		return nil, err
	}
	b.under = sim.Under{State: "load", Warm: "warm", Wet: "dry"}
	states := map[string]bool{}
	for _, u := range b.felt {
		states[u.State] = true
		b.under.Warm, b.under.Wet = u.Warm, u.Wet
	}
	switch {
	case states["load"] && !states["idle"]:
		b.symptom = "misfire_load"
	case states["idle"] && !states["load"]:
		b.symptom = "misfire_idle"
	case states["idle"] && states["load"]:
		b.symptom = "misfire_always"
	case states["cruise"]:
		b.symptom = "surging"
	case len(v.Faults) == 0:
		b.symptom = "misfire_load" // somebody thought so
	default:
		b.symptom = "lack_of_power"
	}
	legs := sim.RoadTest(b.under.Warm, b.under.Wet)
	s := v.Session(rng, legs)
	if err := b.file("captures/modules.log", sim.Candump(rng, v.Messages(rng, s), 1792832400)); err != nil {
		return nil, err
	}
	if err := b.file("captures/drive.csv", v.ParameterCSV(v.ParameterLog(rng, legs, 0.8), false)); err != nil {
		return nil, err
	}
	cond := fmt.Sprintf("condition: {warm: %s, wet: %s}", b.under.Warm, b.under.Wet)
	b.captures = append(b.captures, "{file: captures/modules.log, kind: diagnostic, "+cond+"}", "{file: captures/drive.csv, kind: parameter_log, "+cond+"}")
	return b, b.write()
}

func (b *bench) file(name string, data []byte) error {
	return os.WriteFile(filepath.Join(b.dir, filepath.FromSlash(name)), data, 0o644)
}

// write writes the job file anew.
func (b *bench) write() error {
	e := b.v.Engine
	var s strings.Builder
	fmt.Fprintf(&s, "schema: proveout/job/1\njob: play\nvehicle:\n  year: %d\n  odometer: %.0f km\n  engine:\n    cylinders: %d\n    arrangement: %s\n    firing_order: %s\n", b.v.Year, b.v.Odometer, e.Cylinders, e.Arrangement, list(e.FiringOrder))
	if e.Banks() > 1 {
		banks := make([][]int, e.Banks())
		for c := 1; c <= e.Cylinders; c++ {
			banks[e.Bank(c)-1] = append(banks[e.Bank(c)-1], c)
		}
		s.WriteString("    banks: [")
		for i, x := range banks {
			if i > 0 {
				s.WriteString(", ")
			}
			s.WriteString(list(x))
		}
		s.WriteString("]\n")
	}
	fmt.Fprintf(&s, "    ignition: %s\n    injection: %s\n    boosted: %t\n    fuel: petrol\n    displacement: %.1f L\n    access: %s\n", e.Ignition, e.Injection, e.Boosted, e.DisplacementL, e.Access)
	fmt.Fprintf(&s, "complaint:\n  symptoms: [%s]\n  conditions:\n", b.symptom)
	if len(b.felt) > 0 {
		fmt.Fprintf(&s, "    state: [%s]\n", strings.Join(b.states(), ", "))
		fmt.Fprintf(&s, "    warm: %s\n    wet: %s\n", onlyOr(b.under.Warm, "warm", "any"), onlyOr(b.under.Wet, "dry", "any"))
	} else {
		s.WriteString("    state: [load]\n")
	}
	// The one limit every service sheet has; the simulator's sound plugs are below
	// it. Boosted engines have smaller gaps.
	gap := 1.2
	if e.Boosted {
		gap = 0.85
	}
	fmt.Fprintf(&s, "limits:\n  - {feature: plug.gap, max: %.2f mm, source: the simulated vehicle's service sheet}\n", gap)
	s.WriteString("captures:\n")
	for _, c := range b.captures {
		s.WriteString("  - " + c + "\n")
	}
	if len(b.readings) > 0 {
		s.WriteString("readings:\n")
		for _, r := range b.readings {
			s.WriteString("  - " + r + "\n")
		}
	}
	return b.file("job.yaml", []byte(s.String()))
}

func (b *bench) states() []string {
	var out []string
	seen := map[string]bool{}
	for _, u := range b.felt {
		if !seen[u.State] {
			seen[u.State] = true
			out = append(out, u.State)
		}
	}
	return out
}

// onlyOr gives the condition when it is a special one, else the open word.
func onlyOr(s, usual, open string) string {
	if s == usual || s == "" {
		return open
	}
	return s
}

func list(x []int) string {
	return strings.ReplaceAll(fmt.Sprint(x), " ", ", ")
}
