package sim_test

import (
	"math"
	"slices"
	"testing"

	"proveout/sim"
)

// One drawn vehicle in ten has a cause that no book lists (DECISIONS, figures), and
// every such cause is drawn.
func TestOneVehicleInTenHasAnUnlistedCause(t *testing.T) {
	const n = 4000
	seen, unlisted := map[string]int{}, 0
	r := rng(17)
	for range n {
		any := false
		for _, f := range sim.Draw(r).Faults {
			if slices.Contains(sim.UnlistedNames(), f.Name) {
				any = true
				seen[f.Name]++
			}
		}
		if any {
			unlisted++
		}
	}
	// Four standard deviations of a binomial share of one in ten.
	if d := math.Abs(float64(unlisted) - n*sim.UnlistedShare); d > 4*math.Sqrt(n*0.1*0.9) {
		t.Errorf("%d of %d vehicles have an unlisted cause, want about %.0f", unlisted, n, n*sim.UnlistedShare)
	}
	for _, f := range sim.UnlistedNames() {
		if seen[f] < n*sim.UnlistedShare/16 {
			t.Errorf("%q drawn %d times of %d", f, seen[f], unlisted)
		}
	}
}

// What each unlisted cause does to the instruments, against the same engine sound.
func TestUnlistedCausesAreSeen(t *testing.T) {
	base := with(t, 0)
	of := func(fault string) *sim.Vehicle { return with(t, 0, sim.Fault{Name: fault, Cylinder: 2, Severity: 0.7}) }
	rel := func(fault, q string) float64 { return ask(t, of(fault), q, 2) / ask(t, base, q, 2) }
	peak := func(v *sim.Vehicle) float64 {
		sparks, err := v.Secondary(rng(3), 2, sim.Under{State: "snap"}, sim.SteadyProfile(2400, 95e3), 8)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, s := range sparks {
			sum += s.Peak / float64(len(sparks))
		}
		return sum
	}
	stroke := func(v *sim.Vehicle) float64 { // highest pressure outside compression, raised
		rows, err := v.CylinderPressure(rng(3), 2, sim.Under{State: "raised"}, 1, 8e3)
		if err != nil {
			t.Fatal(err)
		}
		var k []float64
		for _, r := range rows {
			k = append(k, r.KPa)
		}
		slices.Sort(k)
		return k[len(k)*6/10]
	}
	speed := func(v *sim.Vehicle) float64 {
		rows := v.ParameterLog(rng(3), []sim.Leg{{Under: sim.Under{State: "load"}, Seconds: 30}}, 1)
		return rows[len(rows)-1].SpeedKmh
	}
	for _, c := range []struct {
		what   string
		got    float64
		lo, hi float64
	}{
		{"narrowed runner: snap compression", rel("narrowed intake runner", "compression.snap"), 0.3, 0.7},
		{"hot plug: firing voltage under load", peak(of("plug too hot")) / peak(base), 0.6, 0.93},
		{"hot plug: gap", rel("plug too hot", "plug.gap"), 0.97, 1.03},
		{"choked port: pressure in the exhaust stroke, kPa more", stroke(of("exhaust port choked")) - stroke(base), 10, 120},
		{"choked port: cranking compression", rel("exhaust port choked", "compression.dry"), 0.97, 1.03},
		{"bent rod: cranking compression", rel("bent rod", "compression.dry"), 0.55, 0.8},
		{"bent rod: wet over dry", rel("bent rod", "compression.wet") / rel("bent rod", "compression.dry"), 0.97, 1.03},
		{"bent rod: leak-down", rel("bent rod", "cylinder.leak"), 0.8, 1.2},
		{"lacquered throttle: vacuum", rel("throttle lacquered", "vacuum.idle"), 1.05, 1.2},
		{"coolant sensor: coolant read, degC", ask(t, of("coolant sensor reads cold"), "coolant.running", 0), -20, 35},
		{"coolant sensor: lambda", ask(t, of("coolant sensor reads cold"), "exhaust.lambda", 0), 0.6, 0.8},
		{"coolant sensor: trim at idle, %", ask(t, of("coolant sensor reads cold"), "trim.idle", 1), -2, 2},
		{"dragging brake: speed on the hill", speed(of("brake drags")) / speed(base), 0.6, 0.9},
		{"feed drops out: share of firings lost", of("feed drops out").MisfireShare(rng(3), 3, sim.Under{State: "load"}, 3000), 0.03, 0.1},
	} {
		if c.got < c.lo || c.got > c.hi {
			t.Errorf("%s = %.3f, want %.2f to %.2f", c.what, c.got, c.lo, c.hi)
		}
	}
}
