package play

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/measure"
	"proveout/shop"
	"proveout/sim"
	"proveout/trace"
)

// The look-alike pairs of the trade (trade.md 4.3 "note look-alikes", 8 cases 1 to
// 3): two causes that feel the same. Captures of either are drawn by the physics
// model, written to files and taken through intake, measurement and odds, without
// a typed answer. In each pair the traces must tell the two apart, or the answer
// must keep both open and name the test that would.

// pair is two causes of one complaint on cylinder 3.
type pair struct {
	a, b      sim.Fault
	inA, inB  string // faults of the book
	traces    func(*bench, *rand.Rand) error
	wouldTell []string // tests that separate them where the traces do not
}

// vehicles is how many of each cause are drawn.
func vehicles() int {
	if testing.Short() {
		return 1
	}
	if os.Getenv("PROVEOUT_PLAY") != "" {
		return 5
	}
	return 2
}

// apart: factor by which the traces must move the odds of the true cause over its
// look-alike to have told them apart; below its inverse they pointed at the wrong one.
const apart = 3.0

func (p pair) run(t *testing.T) {
	t.Helper()
	for _, side := range []struct {
		truth          sim.Fault
		cause, similar string
	}{{p.a, p.inA, p.inB}, {p.b, p.inB, p.inA}} {
		separated := 0
		for seed := range uint64(vehicles()) {
			rng := rand.New(rand.NewPCG(seed, 41))
			v, err := sim.New(rng, sim.Layouts()[0], side.truth)
			if err != nil {
				t.Fatal(err)
			}
			b, err := newBench(filepath.Join(t.TempDir(), "job"), v, rng)
			if err != nil {
				t.Fatal(err)
			}
			before, err := shop.Diagnose(b.dir, shop.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if err := p.traces(b, rng); err != nil {
				t.Fatal(err)
			}
			a, err := shop.Diagnose(b.dir, shop.Options{})
			if err != nil {
				t.Fatal(err)
			}
			factor := chanceOf(a, side.cause) / chanceOf(a, side.similar) / (chanceOf(before, side.cause) / chanceOf(before, side.similar))
			t.Logf("%s, seed %d: the traces multiply the odds over %s by %.3g (now %.3f to %.3f), next %v", side.truth, seed, side.similar, factor, chanceOf(a, side.cause), chanceOf(a, side.similar), nextTests(a))
			for _, r := range a.RuledOut {
				if strings.HasPrefix(r.ID, side.cause+"@") && strings.HasSuffix(r.ID, "3") {
					t.Errorf("%s, seed %d: the cause was ruled out", side.truth, seed)
				}
			}
			switch {
			case factor >= apart:
				separated++
			case factor <= 1/apart:
				t.Errorf("%s, seed %d: the traces point at its look-alike %s (odds times %.3g)", side.truth, seed, side.similar, factor)
			case !slices.ContainsFunc(nextTests(a), func(n string) bool { return slices.Contains(p.wouldTell, n) }):
				t.Errorf("%s, seed %d: not told from %s, and the next tests %v hold none that would: %v", side.truth, seed, side.similar, nextTests(a), p.wouldTell)
			}
		}
		if want := 2 * vehicles() / 3; separated < want {
			t.Errorf("%s: told from %s on %d of %d vehicles, want %d", side.truth, side.similar, separated, vehicles(), want)
		}
	}
}

func chanceOf(a *shop.Answer, fault string) float64 {
	sum := 1e-9
	for _, s := range a.Suspects {
		if s.Fault == fault && s.Subject.Number == 3 {
			sum += s.Chance
		}
	}
	return sum
}

func nextTests(a *shop.Answer) []string {
	var out []string
	for _, n := range a.Next {
		out = append(out, n.Test)
	}
	return out
}

// secondary lays the pickup on every coil, twice.
func secondary(b *bench, _ *rand.Rand) error {
	if err := b.traces(); err != nil {
		return err
	}
	return b.traces()
}

// primaries records current and feed of every coil.
func primaries(b *bench, rng *rand.Rand) error {
	for c := 1; c <= b.v.Engine.Cylinders; c++ {
		rows, err := b.v.PrimaryCurrent(rng, c, sim.Under{State: "idle"}, 0.7, 100e3)
		if err != nil {
			return err
		}
		name := fmt.Sprintf("captures/primary-%d.csv", c)
		if err := b.file(name, sim.PrimaryCSV(rows)); err != nil {
			return err
		}
		b.captures = append(b.captures, fmt.Sprintf(`{file: %s, kind: ignition_primary, cylinder: %d, condition: {state: idle}, columns: [{column: Time (ms), as: time, unit: ms}, {column: Coil current (A), as: current, unit: A}, {column: Coil feed (V), as: supply_voltage, unit: V}, {column: Battery (V), as: battery_voltage, unit: V}, {column: Coil ground (V), as: ground_voltage, unit: V}]}`, name, c))
	}
	return b.write()
}

// starter records the cranking current.
func starter(b *bench, rng *rand.Rand) error {
	if err := b.file("captures/crank.csv", sim.CrankingCSV(b.v.CrankingCurrent(rng, 5, 2000))); err != nil {
		return err
	}
	b.captures = append(b.captures, `{file: captures/crank.csv, kind: cranking_current, condition: {state: cranking}, columns: [{column: Starter current (A), as: cranking_current}, {column: Battery (V), as: battery_voltage}, {column: Sync cylinder 1 (V), as: sync}]}`)
	return b.write()
}

func both(f ...func(*bench, *rand.Rand) error) func(*bench, *rand.Rand) error {
	return func(b *bench, rng *rand.Rand) error {
		for _, g := range f {
			if err := g(b, rng); err != nil {
				return err
			}
		}
		return nil
	}
}

func TestLookAlikeGapAgainstLean(t *testing.T) {
	pair{
		a: sim.Fault{Name: "wide plug gap", Cylinder: 3, Severity: 0.7}, inA: "plug_gap_wide",
		b: sim.Fault{Name: "restricted injector", Cylinder: 3, Severity: 0.7}, inB: "injector_restricted",
		traces: secondary, wouldTell: []string{"enrichment", "injector_balance", "plug_gap_others", "plug_gap_limit", "plug_look", "plug_swap", "injector_swap"},
	}.run(t)
}

func TestLookAlikeWeakCoilAgainstLowFeed(t *testing.T) {
	pair{
		a: sim.Fault{Name: "weak coil", Cylinder: 3, Severity: 0.6}, inA: "coil_weak",
		b: sim.Fault{Name: "poor coil feed", Cylinder: 3, Severity: 0.6}, inB: "coil_feed",
		traces: both(secondary, primaries), wouldTell: []string{"coil_feed_drop", "coil_peak_current", "coil_ramp", "coil_swap", "coil_supply_drop"},
	}.run(t)
}

func TestLookAlikeLeakAgainstFouled(t *testing.T) {
	pair{
		a: sim.Fault{Name: "boot leak", Cylinder: 3, Severity: 0.7}, inA: "boot_leak",
		b: sim.Fault{Name: "fouled plug", Cylinder: 3, Severity: 0.7}, inB: "plug_fouled",
		traces:    secondary, // a leak beside the plug is normal at idle (trade.md 4.3), so snap tells as well
		wouldTell: []string{"boot_swap", "boot_look", "plug_look", "plug_swap", "mist", "snap_ratio", "burn_time_snap", "firing_height_snap"},
	}.run(t)
}

func TestLookAlikeLobeAgainstValve(t *testing.T) {
	pair{
		a: sim.Fault{Name: "worn lobe", Cylinder: 3, Severity: 0.7}, inA: "cam_lobe_worn",
		b: sim.Fault{Name: "leaking valve", Cylinder: 3, Severity: 0.7}, inB: "valve_leaking",
		traces: both(secondary, starter), wouldTell: []string{"leak_down", "compression_dry", "compression_running", "valve_lift", "leak_where", "cylinder_pressure"},
	}.run(t)
}

// Misfire against converter shudder: both are felt as a stumble in the seat. The
// crank tells them apart; where it cannot it says so and names the test.
func TestLookAlikeMisfireAgainstConverterShudder(t *testing.T) {
	for seed := range uint64(vehicles()) {
		for _, c := range []struct {
			name    string
			faults  []sim.Fault
			shudder sim.Shudder
			misfire bool
		}{
			{"misfire", []sim.Fault{{Name: "boot leak", Cylinder: 3, Severity: 0.5}}, sim.Shudder{}, true},
			{"shudder", nil, sim.Shudder{Hz: 11, Share: 0.03}, false},
			{"shudder near half the engine's order", nil, sim.Shudder{Hz: 12.1, Share: 0.03}, false},
			{"shudder and misfire", []sim.Fault{{Name: "boot leak", Cylinder: 3, Severity: 0.5}}, sim.Shudder{Hz: 9.3, Share: 0.035}, false},
			{"neither", nil, sim.Shudder{}, false},
		} {
			rng := rand.New(rand.NewPCG(seed, 17))
			v, err := sim.New(rng, sim.Layouts()[0], c.faults...)
			if err != nil {
				t.Fatal(err)
			}
			edges, failed := v.CrankEdges(rng, sim.Under{State: "load"}, 1480, 20, c.shudder)
			name := filepath.Join(t.TempDir(), "crank.csv")
			if err := os.WriteFile(name, sim.CrankCSV(edges), 0o644); err != nil {
				t.Fatal(err)
			}
			m := shop.Measure([]string{name}, nil, shop.MeasureOptions{Kind: measure.CrankEdges, Engine: v.Engine, Condition: evidence.Condition{State: evidence.Load},
				Columns: []trace.Column{{Column: "Crank", As: measure.CrankEdges}, {Column: "Coil 1", As: "sync"}}})[0]
			if m.Error != "" {
				t.Fatalf("%s: %s", c.name, m.Error)
			}
			var text strings.Builder
			rates := map[int]float64{}
			for _, f := range m.Findings {
				text.WriteString(f.Sentence + "\n")
				if f.Feature == "misfire.rate" && f.Value != nil {
					rates[f.Subject.Number] = *f.Value
				}
			}
			said := text.String()
			switch {
			case c.shudder.Hz > 0:
				if len(rates) > 0 || !strings.Contains(said, "shuddering driveline") || !strings.Contains(said, "converter clutch open") {
					t.Errorf("%s, seed %d: rates %v; it says\n%s", c.name, seed, rates, said)
				}
			case c.misfire:
				worst := 0
				for cyl, r := range rates {
					if worst == 0 || r > rates[worst] {
						worst = cyl
					}
				}
				if truth := 100 * float64(failed[2]) / 235; worst != 3 || rates[3] < 0.85*truth || strings.Contains(said, "shudder") {
					t.Errorf("%s, seed %d: rates %v, %v failed; it says\n%s", c.name, seed, rates, failed, said)
				}
			default:
				for cyl, r := range rates {
					if r > 0 {
						t.Errorf("%s, seed %d: cylinder %d misfires %.1f %%", c.name, seed, cyl, r)
					}
				}
				if len(rates) != 4 {
					t.Errorf("%s, seed %d: %d rates\n%s", c.name, seed, len(rates), said)
				}
			}
		}
	}
}
