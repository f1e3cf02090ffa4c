package sim_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"proveout/sim"
)

func crestsOf(t *testing.T, v *sim.Vehicle, cylinder int, u sim.Under, seconds float64) (highest, lowest float64) {
	t.Helper()
	rows, err := v.CylinderPressure(rand.New(rand.NewPCG(3, 4)), cylinder, u, seconds, 10e3)
	if err != nil {
		t.Fatal(err)
	}
	highest, lowest = math.Inf(-1), math.Inf(1)
	for _, r := range rows {
		if math.IsNaN(r.KPa) || math.IsInf(r.KPa, 0) {
			t.Fatalf("%+v", r)
		}
		highest, lowest = math.Max(highest, r.KPa), math.Min(lowest, r.KPa)
	}
	return highest, lowest
}

// A sound cylinder is what the trade's gauges show (trade.md 2.6): running compression
// about half of cranking, snap about 80 %, cranking 125 to 190 psi and up to 218 on some.
func TestCylinderPressureOfASoundEngine(t *testing.T) {
	v := with(t, 0)
	crank, _ := crestsOf(t, v, 2, sim.Under{State: "cranking"}, 4)
	idle, pocket := crestsOf(t, v, 2, sim.Under{State: "idle"}, 2)
	snap, _ := crestsOf(t, v, 2, sim.Under{State: "snap"}, 5)
	if crank < 862 || crank > 1750 {
		t.Errorf("cranking %.0f kPa", crank)
	}
	if r := idle / crank; r < 0.25 || r > 0.6 {
		t.Errorf("running over cranking %.2f", r)
	}
	if r := snap / crank; r < 0.7 || r > 1.25 {
		t.Errorf("snap over cranking %.2f", r)
	}
	if pocket > -45 || pocket < -95 {
		t.Errorf("lowest at idle %.0f kPa", pocket)
	}
}

// Each fault shows where it should: a leak most when turned slowly, a worn lobe hardly
// then, or even raises the crest (trade.md 1.2 M4, [S14]), and much when the cylinder
// must breathe (appendix A, case 3).
func TestCylinderPressureOfFaults(t *testing.T) {
	sound := with(t, 0)
	for _, c := range []struct {
		fault, state string
		from, to     float64 // of the sound cylinder's crest
	}{
		{"leaking valve", "cranking", 0.3, 0.85}, {"leaking valve", "idle", 0.7, 0.985},
		{"worn lobe", "cranking", 0.85, 1.15}, {"worn lobe", "idle", 0.4, 0.8}, {"worn lobe", "snap", 0.4, 0.85},
		{"weak coil", "idle", 0.97, 1.03},
	} {
		v := with(t, 0, sim.Fault{Name: c.fault, Cylinder: 3, Severity: 0.6})
		bad, _ := crestsOf(t, v, 3, sim.Under{State: c.state}, 5)
		good, _ := crestsOf(t, sound, 3, sim.Under{State: c.state}, 5)
		if r := bad / good; r < c.from || r > c.to {
			t.Errorf("%s, %s: crest is %.2f of the sound one, want %.2f to %.2f", c.fault, c.state, r, c.from, c.to)
		}
	}
	if _, err := sound.CylinderPressure(rand.New(rand.NewPCG(1, 1)), 9, sim.Under{}, 1, 1e4); err == nil {
		t.Error("a cylinder that is not there was recorded")
	}
}
