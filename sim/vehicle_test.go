package sim_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/sim"
	"proveout/unit"
)

func rng(a uint64) *rand.Rand { return rand.New(rand.NewPCG(a, 77)) }

func with(t *testing.T, layout int, faults ...sim.Fault) *sim.Vehicle {
	t.Helper()
	v, err := sim.New(rng(1), sim.Layouts()[layout], faults...)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Where each fault is felt: trade.md 1.2, column "when felt". The share of
// failed firings of cylinder 2 (or of all) must lie in the band given.
func TestWhereFaultsAreFelt(t *testing.T) {
	const none, some, much = 0.004, 0.01, 0.05
	cases := []struct {
		fault              string
		idle, cruise, load [2]float64
	}{
		{"wide plug gap", [2]float64{0, none}, [2]float64{0, none}, [2]float64{some, 0.5}},
		{"boot leak", [2]float64{0, none}, [2]float64{0, 0.2}, [2]float64{much, 1}},
		{"cracked plug", [2]float64{0, 0.3}, [2]float64{0, 0.6}, [2]float64{much, 1}},
		{"weak coil", [2]float64{0, none}, [2]float64{0, none}, [2]float64{some, 1}},
		{"short dwell", [2]float64{0, none}, [2]float64{0, 0.05}, [2]float64{much, 1}},
		{"open boot", [2]float64{0.9, 1}, [2]float64{0.9, 1}, [2]float64{0.9, 1}},
		{"corroded boot spring", [2]float64{0, 0.15}, [2]float64{0, 0.7}, [2]float64{some, 1}},
		{"restricted injector", [2]float64{0, 0.5}, [2]float64{0, 1}, [2]float64{much, 1}},
		{"leaking injector", [2]float64{some, 1}, [2]float64{0, 0.008}, [2]float64{0, 0.008}},
		{"dead injector", [2]float64{0.9, 1}, [2]float64{0.9, 1}, [2]float64{0.9, 1}},
		{"low fuel pressure", [2]float64{0, none}, [2]float64{0, none}, [2]float64{0.002, 1}},
		{"runner air leak", [2]float64{much, 1}, [2]float64{0, none}, [2]float64{0, none}},
		{"recirculation stuck open", [2]float64{0.002, 1}, [2]float64{0, none}, [2]float64{0, none}},
		{"leaking valve", [2]float64{much, 1}, [2]float64{0, 0.1}, [2]float64{0, 0.05}},
		{"worn lobe", [2]float64{0, 0.5}, [2]float64{0, 1}, [2]float64{much, 1}},
		{"narrowed intake runner", [2]float64{0, 0.05}, [2]float64{0, 0.1}, [2]float64{much, 1}},
		{"noisy crank signal", [2]float64{0, none}, [2]float64{0, none}, [2]float64{0, none}},
		// In no book.
		{"feed drops out", [2]float64{some, 0.1}, [2]float64{some, 0.1}, [2]float64{some, 0.1}},
		{"plug too hot", [2]float64{0, none}, [2]float64{0, none}, [2]float64{much, 0.6}},
		{"exhaust port choked", [2]float64{0, none}, [2]float64{0, none}, [2]float64{much, 1}},
		{"bent rod", [2]float64{some, 0.5}, [2]float64{0, 0.05}, [2]float64{0, 0.02}},
		{"throttle lacquered", [2]float64{some, 0.9}, [2]float64{0, none}, [2]float64{0, none}},
		{"coolant sensor reads cold", [2]float64{some, 1}, [2]float64{some, 1}, [2]float64{some, 1}},
		{"brake drags", [2]float64{0, none}, [2]float64{0, none}, [2]float64{0, none}},
	}
	for _, c := range cases {
		v := with(t, 0, sim.Fault{Name: c.fault, Cylinder: 2, Severity: 0.7})
		for state, band := range map[string][2]float64{"idle": c.idle, "cruise": c.cruise, "load": c.load} {
			if got := v.MisfireShare(rng(3), 2, sim.Under{State: state}, 3000); got < band[0] || got > band[1] {
				t.Errorf("%s at %s: %.4f of firings fail, want %.4f to %.4f", c.fault, state, got, band[0], band[1])
			}
		}
	}
	healthy := with(t, 0)
	for _, state := range []string{"idle", "raised", "snap", "cruise", "load"} {
		if got := healthy.MisfireShare(rng(4), 2, sim.Under{State: state}, 5000); got > 0.002 {
			t.Errorf("healthy at %s: %.4f of firings fail", state, got)
		}
	}
}

func ask(t *testing.T, v *sim.Vehicle, q string, place int) float64 {
	t.Helper()
	sum := 0.0
	for i := range uint64(9) { // mean over the instrument's error
		a, err := v.Ask(rng(i), q, place, sim.Under{})
		if err != nil {
			t.Fatal(err)
		}
		sum += a.Value / 9
	}
	return sum
}

// Fuel trim patterns of trade.md 2.7, relative to the same engine healthy, and
// its worked figure: an injector at -20 % of one of four asks for about +5 %.
func TestTrimPatterns(t *testing.T) {
	base := with(t, 0)
	rel := func(v *sim.Vehicle, q string) float64 { return ask(t, v, q, 1) - ask(t, base, q, 1) }
	v := with(t, 0, sim.Fault{Name: "restricted injector", Cylinder: 2, Severity: 0.2}) // flow x 0.80
	if d := rel(v, "trim.load"); math.Abs(d-5.3) > 2 {
		t.Errorf("-20 %% of one of four gives %+.1f %%, want about +5 (1/0.95)", d)
	}
	for _, c := range []struct {
		fault                string
		idle, raised, loaded [2]float64
	}{
		{"plenum air leak", [2]float64{10, 26}, [2]float64{-1, 10}, [2]float64{-2, 3}},
		{"low fuel pressure", [2]float64{-1, 4}, [2]float64{-1, 10}, [2]float64{15, 26}},
		{"airflow reads low", [2]float64{3, 15}, [2]float64{3, 15}, [2]float64{13, 26}},
		{"purge stuck open", [2]float64{-26, -10}, [2]float64{-10, 0}, [2]float64{-4, 2}},
		{"wide plug gap", [2]float64{-2, 2}, [2]float64{-2, 2}, [2]float64{-2, 3}},
	} {
		v := with(t, 0, sim.Fault{Name: c.fault, Cylinder: 2, Severity: 0.5})
		for q, band := range map[string][2]float64{"trim.idle": c.idle, "trim.raised": c.raised, "trim.load": c.loaded} {
			if d := rel(v, q); d < band[0] || d > band[1] {
				t.Errorf("%s: %s moves by %+.1f %%, want %+.0f to %+.0f", c.fault, q, d, band[0], band[1])
			}
		}
	}
	if ve, h := ask(t, with(t, 0, sim.Fault{Name: "airflow reads low", Severity: 0.5}), "air.volumetric_efficiency", 0), ask(t, base, "air.volumetric_efficiency", 0); ve > 0.85*h {
		t.Errorf("volumetric efficiency %.0f %% with an airflow meter that reads low, %.0f %% healthy", ve, h)
	}
	if ve, h := ask(t, with(t, 0, sim.Fault{Name: "low fuel pressure", Severity: 0.5}), "air.volumetric_efficiency", 0), ask(t, base, "air.volumetric_efficiency", 0); ve < 0.95*h {
		t.Errorf("volumetric efficiency %.0f %% with low fuel pressure, %.0f %% healthy", ve, h)
	}
}

// Mechanical look-alikes of trade.md 2.6 and appendix A, case 3.
func TestMechanicalTests(t *testing.T) {
	valve := with(t, 0, sim.Fault{Name: "leaking valve", Cylinder: 4, Severity: 0.5})
	rings := with(t, 0, sim.Fault{Name: "worn rings", Cylinder: 4, Severity: 0.5})
	lobe := with(t, 0, sim.Fault{Name: "worn lobe", Cylinder: 4, Severity: 0.5})
	ratio := func(v *sim.Vehicle, q string) float64 {
		return ask(t, v, q, 4) / ((ask(t, v, q, 1) + ask(t, v, q, 2) + ask(t, v, q, 3)) / 3)
	}
	for _, c := range []struct {
		what   string
		got    float64
		lo, hi float64
	}{
		{"valve: cranking compression", ratio(valve, "compression.dry"), 0.3, 0.75},
		{"valve: wet over dry", ask(t, valve, "compression.wet", 4) / ask(t, valve, "compression.dry", 4), 0.95, 1.12},
		{"rings: wet over dry", ask(t, rings, "compression.wet", 4) / ask(t, rings, "compression.dry", 4), 1.2, 1.8},
		{"valve: starter current", ratio(valve, "cranking.ripple"), 0.6, 0.9},
		{"valve: leak-down, points", ask(t, valve, "cylinder.leak", 4) - ask(t, valve, "cylinder.leak", 1), 20, 60},
		{"lobe: cranking compression equal", ratio(lobe, "compression.dry"), 0.95, 1.05},
		{"lobe: starter current equal", ratio(lobe, "cranking.ripple"), 0.95, 1.05},
		{"lobe: running compression", ratio(lobe, "compression.running"), 0.5, 0.75},
		{"lobe: snap compression", ratio(lobe, "compression.snap"), 0.5, 0.75},
		{"lobe: lift, mm", ask(t, lobe, "valve.lift", 4), 5.5, 6.5},
		{"healthy: cranking compression, kPa", ask(t, lobe, "compression.dry", 1), 950, 1500},
		{"healthy: running over cranking", ask(t, lobe, "compression.running", 1) / ask(t, lobe, "compression.dry", 1), 0.3, 0.5},
		{"healthy: vacuum, inHg", ask(t, lobe, "vacuum.idle", 0), 17, 22},
	} {
		if c.got < c.lo || c.got > c.hi {
			t.Errorf("%s = %.2f, want %.2f to %.2f", c.what, c.got, c.lo, c.hi)
		}
	}
}

// What moves with what: trade.md 2.9.
func TestSwaps(t *testing.T) {
	const moves, stays = "moves_and_returns", "stays"
	for _, c := range []struct{ fault, swap, want string }{
		{"weak coil", "coil_swap", moves}, {"weak coil", "plug_swap", stays}, {"weak coil", "boot_swap", stays},
		{"boot leak", "coil_swap", stays}, {"boot leak", "boot_swap", moves}, {"boot leak", "coil_boot_swap", moves},
		{"wide plug gap", "plug_swap", moves}, {"wide plug gap", "coil_swap", stays},
		{"restricted injector", "injector_swap", moves}, {"restricted injector", "plug_swap", stays},
		{"worn lobe", "plug_swap", stays}, {"worn lobe", "injector_swap", stays},
	} {
		v := with(t, 0, sim.Fault{Name: c.fault, Cylinder: 3, Severity: 0.9})
		if a, err := v.Ask(rng(5), c.swap, 3, sim.Under{}); err != nil || a.Word != c.want {
			t.Errorf("%s, %s: %q (%v), want %q", c.fault, c.swap, a.Word, err, c.want)
		}
	}
	if a, err := with(t, 0).Ask(rng(5), "coil_swap", 3, sim.Under{}); !errors.Is(err, sim.ErrNothingToSee) {
		t.Errorf("a swap on a healthy engine says %q, %v", a.Word, err)
	}
	for _, c := range []struct{ fault, part, want string }{
		{"noisy crank signal", "crank_sensor", "returned"}, {"noisy crank signal", "regulator", "stays"},
		{"recirculation stuck open", "egr", "returned"}, {"all plugs worn", "plug_set", "returned"}, {"weak coil", "plug_set", "stays"}, {"low fuel pressure", "regulator", "stays"}, {"low fuel pressure", "fuel_pump", "returned"},
	} {
		v := with(t, 0, sim.Fault{Name: c.fault, Cylinder: 3, Severity: 1})
		if a, err := v.Ask(rng(5), "there_and_back_"+c.part, 0, sim.Under{}); err != nil || a.Word != c.want {
			t.Errorf("%s, %s changed there and back: %q (%v), want %q", c.fault, c.part, a.Word, err, c.want)
		}
	}
	lean, gap := with(t, 0, sim.Fault{Name: "restricted injector", Cylinder: 3, Severity: 0.6}), with(t, 0, sim.Fault{Name: "wide plug gap", Cylinder: 3, Severity: 1})
	a, _ := lean.Ask(rng(6), "enrichment", 0, sim.Under{})
	b, _ := gap.Ask(rng(6), "enrichment", 0, sim.Under{})
	if a.Word != "clears" || b.Word != "no_change" {
		t.Errorf("enrichment: lean %q, gap %q; trade.md 4.3 wants clears and no_change", a.Word, b.Word)
	}
}

// A worded question that is a test of the shipped book is asked of the same kind of
// subject and answers with one of its outcomes, whatever is wrong. Only the words
// are shared: the book's numbers are not.
func TestWordsAreThoseOfTheBook(t *testing.T) {
	books, err := book.Builtin()
	if err != nil || len(books) == 0 {
		t.Fatalf("no book: %v", err)
	}
	outcomes, per := map[string][]string{}, map[string]string{}
	for _, b := range books {
		for _, x := range b.Tests {
			per[x.ID] = x.Per
			for _, o := range x.Outcomes {
				outcomes[x.ID] = append(outcomes[x.ID], o.ID)
			}
		}
	}
	asked, answered := 0, map[string]map[string]bool{}
	for seed := range uint64(100) {
		r := rng(seed)
		v := sim.Draw(r)
		for _, q := range sim.Questions() {
			if strings.Contains(q, ".") {
				continue
			}
			if outcomes[q] == nil {
				continue // the simulator may know a test the book does not have
			}
			if p := sim.Per(q); p != per[q] && per[q] != "coil_pair" {
				t.Fatalf("%s is asked of a %s, the book has it per %s", q, p, per[q])
			}
			place := 1
			if len(v.Faults) > 0 && v.Faults[0].Cylinder > 0 && sim.Per(q) == "cylinder" {
				place = v.Faults[0].Cylinder
			}
			a, err := v.Ask(r, q, place, sim.Under{})
			if err != nil {
				continue // cannot be done on this engine, or nothing to see
			}
			asked++
			if !slices.Contains(outcomes[q], a.Word) {
				t.Fatalf("%s answers %q, the book has %v", q, a.Word, outcomes[q])
			}
			if answered[q] == nil {
				answered[q] = map[string]bool{}
			}
			answered[q][a.Word] = true
		}
	}
	if asked < 2500 {
		t.Errorf("only %d answers", asked)
	}
	// The tests that settle most must be able to come out both ways.
	for _, q := range []string{"plug_swap", "coil_swap", "injector_swap", "plug_look", "boot_look", "mist", "enrichment", "leak_where", "smoke_runner", "coil_ramp", "injector_quantity", "purge_pinch"} {
		if len(answered[q]) < 2 {
			t.Errorf("%s answered only %v over 100 drawn vehicles", q, answered[q])
		}
	}
}

// A driver feels a boot leak under load and not at idle, and a noisy sensor never.
func TestFelt(t *testing.T) {
	states := func(f ...sim.Fault) string { return fmt.Sprint(with(t, 0, f...).Felt(rng(2))) }
	if got := states(sim.Fault{Name: "boot leak", Cylinder: 3, Severity: 0.3}); !strings.Contains(got, "load") || strings.Contains(got, "idle") {
		t.Errorf("boot leak felt at %s", got)
	}
	if got := states(sim.Fault{Name: "boot leak", Cylinder: 3, Severity: 0.3, When: "wet"}); got != "[{cruise warm wet} {load warm wet}]" {
		t.Errorf("boot leak only when wet felt at %s", got)
	}
	if got := states(sim.Fault{Name: "noisy crank signal", Severity: 1}); got != "[]" {
		t.Errorf("a noisy sensor felt at %s", got)
	}
}

// Every numeric question is a feature of the catalogue, in a unit of its
// dimension and for its kind of subject; every question answers on every layout.
func TestQuestionsAnswerEverywhere(t *testing.T) {
	n := 0
	for _, q := range sim.Questions() {
		if !strings.Contains(q, ".") {
			continue
		}
		n++
		f, ok := evidence.Lookup(q)
		if !ok {
			t.Errorf("%q is no feature of the catalogue", q)
			continue
		}
		if string(f.Per) != sim.Per(q) {
			t.Errorf("%s is asked of a %s, the catalogue has it per %s", q, sim.Per(q), f.Per)
		}
		a, err := with(t, 0).Ask(rng(1), q, 1, sim.Under{})
		if err != nil {
			t.Fatal(err)
		}
		if u, err := unit.Parse(a.Unit); err != nil || u.Dim != f.Dim {
			t.Errorf("%s is answered in %q (%v), the catalogue wants %s", q, a.Unit, err, f.Dim)
		}
	}
	if n < 35 {
		t.Errorf("only %d numeric questions", n)
	}
	for i := range sim.Layouts() {
		v := with(t, i)
		for _, q := range sim.Questions() {
			for _, u := range []sim.Under{{}, {State: "idle", Warm: "cold", Wet: "wet"}} {
				a, err := v.Ask(rng(2), q, 1, u)
				if err != nil && (errors.Is(err, sim.ErrNothingToSee) || strings.Contains(err.Error(), "cannot be done")) {
					continue
				}
				if err != nil || math.IsNaN(a.Value) || math.IsInf(a.Value, 0) || (a.Word == "" && a.Unit == "") {
					t.Errorf("layout %d, %s: %+v, %v", i, q, a, err)
				}
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	v := with(t, 0)
	if _, err := v.Ask(rng(1), "plug.gap", 5, sim.Under{}); err == nil {
		t.Error("cylinder 5 of 4 was answered")
	}
	if _, err := v.Ask(rng(1), "colour", 1, sim.Under{}); err == nil {
		t.Error("an unknown question was answered")
	}
	if _, err := sim.New(rng(1), sim.Layouts()[0], sim.Fault{Name: "gremlins"}); err == nil {
		t.Error("an unknown fault was taken")
	}
	if _, err := sim.New(rng(1), sim.Layouts()[0], sim.Fault{Name: "weak coil", Cylinder: 9}); err == nil {
		t.Error("a fault of cylinder 9 of 4 was taken")
	}
	if _, err := sim.New(rng(1), sim.Layouts()[3], sim.Fault{Name: "weak coil", Cylinder: 1}); err == nil {
		t.Error("a coil of its own was taken on a distributor engine")
	}
	if _, err := v.Secondary(rng(1), 0, sim.Under{}, sim.IdleProfile(800), 1); err == nil {
		t.Error("cylinder 0 was recorded")
	}
}
