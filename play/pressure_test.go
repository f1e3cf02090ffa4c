package play

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"proveout/sim"
)

// pressures records the transducer in every cylinder: cranking, and idle with snaps.
func pressures(b *bench, rng *rand.Rand) error {
	for c := 1; c <= b.v.Engine.Cylinders; c++ {
		for _, state := range []string{"cranking", "snap"} {
			seconds := map[string]float64{"cranking": 4, "snap": 8}[state]
			rows, err := b.v.CylinderPressure(rng, c, sim.Under{State: state}, seconds, 8e3)
			if err != nil {
				return err
			}
			name := fmt.Sprintf("captures/pressure-%s-%d.csv", state, c)
			if err := b.file(name, sim.PressureCSV(rows)); err != nil {
				return err
			}
			b.captures = append(b.captures, fmt.Sprintf(`{file: %s, kind: cylinder_pressure, cylinder: %d, condition: {state: %s}}`, name, c, state))
		}
	}
	return b.write()
}

// A worn lobe against a leaking valve by the pressure in the cylinder alone: both are
// low running; the leak loses its charge in the tower, the lobe gives it back.
func TestLookAlikeLobeAgainstValveByPressure(t *testing.T) {
	pair{
		a: sim.Fault{Name: "worn lobe", Cylinder: 3, Severity: 0.7}, inA: "cam_lobe_worn",
		b: sim.Fault{Name: "leaking valve", Cylinder: 3, Severity: 1}, inB: "valve_leaking",
		traces: pressures, wouldTell: []string{"leak_down", "valve_lift", "leak_where"},
	}.run(t)
}
