package book_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"proveout/book"
	"proveout/strict"
	"proveout/vehicle"
)

// petrol loads the built-in book on petrol misfires.
func petrol(t testing.TB) *book.Book {
	t.Helper()
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range books {
		if b.ID == "petrol_misfire" {
			return b
		}
	}
	t.Fatal("the book petrol_misfire is not built in")
	return nil
}

// warmFour is the engine of the trade notes' table: four cylinders, coil on plug.
// Direct injection, so that every row of the table has its faults.
func warmFour() vehicle.Engine {
	return vehicle.Engine{Cylinders: 4, Arrangement: "inline", FiringOrder: []int{1, 3, 4, 2}, Ignition: vehicle.CoilOnPlug, Injection: vehicle.Direct, Fuel: "petrol", Access: "easy"}
}

// shares is the table "seed priors" of the trade notes (section 1.1, EST): per
// cent of each group of causes, given the complaint A (load only, one cylinder
// dominates), B (load only, several), C (mostly idle). Zero in the notes for
// exhaust in A and false detection in C is written as the 0.05 of this book.
var shares = []struct {
	cause   string
	faults  []string
	a, b, c float64
}{
	{"plug worn, wide gap", []string{"plug_gap_wide", "plug_set_worn"}, 25, 30, 8},
	{"plug cracked, track, fouled", []string{"plug_cracked", "plug_fouled"}, 9, 3, 6},
	{"boot or lead", []string{"boot_leak", "boot_resistance", "secondary_open"}, 16, 3, 4},
	{"coil", []string{"coil_weak", "coil_primary_short"}, 23, 2, 7},
	{"feed, ground, connector, driver", []string{"coil_feed", "coil_driver", "coil_supply_shared", "system_voltage_low"}, 5, 6, 3},
	{"injector restricted", []string{"injector_restricted"}, 6, 3, 8},
	{"injector leaking or electrical", []string{"injector_leaking", "injector_electrical"}, 2, 1, 6},
	{"fuel pressure, volume, filter, pump, regulator", []string{"fuel_pump_weak", "fuel_filter_restricted", "pressure_regulator", "hp_pump_weak"}, 2, 19, 3},
	{"contaminated or wrong fuel", []string{"fuel_contaminated", "fuel_ethanol_high"}, .5, 5, 3},
	{"air metering", []string{"maf_under_reports", "lambda_sensor_biased"}, .5, 9, 3},
	{"intake leak", []string{"runner_leak", "intake_leak_global"}, 2, 2, 20},
	{"recirculation or purge", []string{"egr_over_delivery", "purge_over_delivery"}, .5, 4, 8},
	{"valve timing or phaser", []string{"cam_timing_off", "phaser_stuck"}, .5, 3, 3},
	{"exhaust restriction", []string{"exhaust_restricted"}, .05, 5, .5},
	{"valve, rings, gasket", []string{"valve_leaking", "rings_worn", "head_gasket_between", "head_gasket_coolant"}, 4, 2, 10},
	{"lobe, spring, lifter, lash", []string{"cam_lobe_worn", "lifter_collapsed", "valve_spring_weak"}, 2, .5, 4},
	{"valve deposits", []string{"intake_valve_deposits"}, 1, .5, 3.5},
	{"false detection, crank signal, learn", []string{"crank_signal_noise", "crank_learn_missing", "false_detection"}, 1, 2, .15},
}

// posterior gives P(fault | symptom) by fault id, single faults only: rate times
// complaint chance, in per cent.
func posterior(in *book.Instance, symptom string) map[string]float64 {
	out := map[string]float64{}
	sum := 0.0
	for _, s := range in.Suspects {
		w := s.Rate * s.Fault.Complaint[symptom].Value
		out[s.Fault.ID] += w
		sum += w
	}
	for id := range out {
		out[id] *= 100 / sum
	}
	return out
}

// TestComplaintSharesFollowTheTradeTable: rate times complaint chance must give
// the shares of the trade notes back, within half a per cent of all complaints
// (rounding of the numbers in the book) and the whole of each column.
func TestComplaintSharesFollowTheTradeTable(t *testing.T) {
	in, err := book.Instantiate(warmFour(), petrol(t))
	if err != nil {
		t.Fatal(err)
	}
	const tolerance = 0.5
	for _, col := range []struct {
		symptom string
		of      func(i int) float64
	}{
		{"misfire_load_one", func(i int) float64 { return shares[i].a }},
		{"misfire_random", func(i int) float64 { return shares[i].b }},
		{"misfire_idle", func(i int) float64 { return shares[i].c }},
		// The driver cannot count cylinders: A and B in the weights 0.40 and 0.22 of the book.
		{"misfire_load", func(i int) float64 { return (.40*shares[i].a + .22*shares[i].b) / .62 }},
	} {
		got := posterior(in, col.symptom)
		covered := 0.0
		for i, row := range shares {
			p := 0.0
			for _, f := range row.faults {
				if _, ok := got[f]; !ok {
					t.Errorf("fault %q of the table is not on the engine", f)
				}
				p += got[f]
			}
			covered += p
			if math.Abs(p-col.of(i)) > tolerance {
				t.Errorf("%s: %s has %.2f %%, the trade table %.2f %%", col.symptom, row.cause, p, col.of(i))
			}
		}
		if covered < 99.9 {
			t.Errorf("%s: the rows of the table cover %.2f %% of the faults; a fault of the book is in no row", col.symptom, covered)
		}
	}
}

// TestSeveralFaultsAtOnce: two or more faults in 5 to 10 % of complaints, on
// every engine and for every symptom (DECISIONS.md, Odds).
func TestSeveralFaultsAtOnce(t *testing.T) {
	b := petrol(t)
	for _, e := range book.Layouts() {
		in, err := book.Instantiate(e, b)
		if err != nil {
			t.Fatal(err)
		}
		for s := range b.Symptoms {
			if p := book.SeveralFaults(in, s); p < 0.05 || p > 0.10 {
				t.Errorf("%d cylinders, %s, %s, boosted %v: two or more faults given %s in %.1f %%, want 5 to 10 %%", e.Cylinders, e.Ignition, e.Injection, e.Boosted, s, 100*p)
			}
		}
	}
}

// TestBookPassesItsChecker: no problem of any weight but notes.
func TestBookPassesItsChecker(t *testing.T) {
	for _, p := range book.Check(petrol(t)) {
		if p.Severity != strict.Note {
			t.Errorf("%s", p)
		}
	}
}

// TestBookSize: the issue asks for 26 causes and 25 tests or more, on the plainest engine too.
func TestBookSize(t *testing.T) {
	e := warmFour()
	e.Injection = vehicle.Port
	in, err := book.Instantiate(e, petrol(t))
	if err != nil {
		t.Fatal(err)
	}
	faults, tests := map[string]bool{}, map[string]bool{}
	for _, s := range in.Suspects {
		faults[s.Fault.ID] = true
	}
	for _, x := range in.Tests {
		tests[x.Test.ID] = true
	}
	if len(faults) < 26 || len(tests) < 25 {
		t.Errorf("%d causes and %d tests on a four-cylinder port-injected engine, want 26 and 25", len(faults), len(tests))
	}
}

// TestEveryCauseWinsAndLoses: every fault leads in one case, and in another it
// is the look-alike that must lose (DECISIONS.md). The cases are run by package
// reason; this looks only at what they claim.
func TestEveryCauseWinsAndLoses(t *testing.T) {
	cases, err := book.BuiltinCases()
	if err != nil {
		t.Fatal(err)
	}
	fault := func(suspect string) string { id, _, _ := strings.Cut(suspect, "@"); return id }
	wins, loses := map[string]bool{}, map[string]bool{}
	for _, c := range cases {
		wins[fault(c.Expect.First)] = true
		for _, p := range c.Expect.Above {
			if fault(p[0]) == fault(c.Expect.First) && fault(p[1]) != fault(p[0]) {
				loses[fault(p[1])] = true
			}
		}
	}
	for _, f := range petrol(t).Faults {
		if !wins[f.ID] {
			t.Errorf("fault %s leads in no case", f.ID)
		}
		if !loses[f.ID] {
			t.Errorf("fault %s is the look-alike in no case", f.ID)
		}
	}
}

// TestCasesFitTheBook: every reading of every case names a test, a subject and
// an outcome that exist, and every suspect expected is on the engine.
func TestCasesFitTheBook(t *testing.T) {
	cases, err := book.BuiltinCases()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range cases {
		in, err := book.Instantiate(c.Layout(), petrol(t))
		if err != nil {
			t.Errorf("%s: %v", c.File, err)
			continue
		}
		if fs, err := c.Findings(in); err != nil || len(fs) == 0 {
			t.Errorf("%s: %d findings, %v", c.File, len(fs), err)
		}
		known := map[string]bool{"nothing_wrong": true, "not_listed": true}
		for _, s := range in.Suspects {
			known[s.ID] = true
		}
		x := c.Expect
		named := slices.Concat(x.NotRuledOut, x.RuledOut, x.Shown, x.ShownIncludes, x.Group)
		if x.First != "" {
			named = append(named, x.First)
		}
		for _, p := range x.Above {
			named = append(named, p...)
		}
		for s := range x.ChanceAtLeast {
			named = append(named, s)
		}
		for s := range x.ChanceAtMost {
			named = append(named, s)
		}
		if len(named) == 0 {
			t.Errorf("%s expects nothing", c.File)
		}
		for _, s := range named {
			if !known[s] {
				t.Errorf("%s: suspect %q is not on this engine", c.File, s)
			}
		}
		for _, s := range c.Symptoms {
			if petrol(t).Symptoms[s] == "" {
				t.Errorf("%s: symptom %q is not in the book", c.File, s)
			}
		}
		for f := range c.Facts {
			if petrol(t).Context[f].Ask == "" {
				t.Errorf("%s: fact %q is not in the book", c.File, f)
			}
		}
	}
}

// chanceOf is the chance of an outcome under a row, as the book's rule has it:
// what the row does not name shares the rest in proportion to the healthy row.
func chanceOf(x *book.Test, r book.Row, outcome string) float64 {
	if p, ok := r.P[outcome]; ok {
		return p
	}
	rest, open := 1.0, 0.0
	for _, o := range x.Outcomes {
		if p, ok := r.P[o.ID]; ok {
			rest -= p
		} else {
			open += x.Healthy.P[o.ID]
		}
	}
	return rest * x.Healthy.P[outcome] / open
}

func testNamed(t *testing.T, b *book.Book, id string) *book.Test {
	t.Helper()
	for i := range b.Tests {
		if b.Tests[i].ID == id {
			return &b.Tests[i]
		}
	}
	t.Fatalf("the book has no test %q", id)
	return nil
}

// TestNoOutcomeIsWorthTooMuch: trade notes 3.5 (EST): a photograph of a track or
// a crack counts 30, a swap there and back 20 to 50; the floor of 0.03 for false
// alarms gives the same bound.
func TestNoOutcomeIsWorthTooMuch(t *testing.T) {
	b := petrol(t)
	for i := range b.Tests {
		x := &b.Tests[i]
		for f, row := range x.Given {
			for _, o := range x.Outcomes {
				worth := chanceOf(x, row, o.ID) / x.Healthy.P[o.ID]
				most := 30.0
				if strings.HasSuffix(o.ID, "_and_returns") {
					most = 50
				}
				if worth > most*1.001 {
					t.Errorf("%s: %s multiplies the odds of %s by %.1f, more than %g", x.ID, o.ID, f, worth, most)
				}
			}
		}
	}
}

// TestWeightsThePractitionerAsked: how far one normal reading takes a suspect
// down (practitioner's review, point 12): the screen by starter current takes a
// leaking valve down by about 6 and a lobe by about 1.3, a normal primary ramp
// takes nothing down by more than 5, feed measured in the bay does not rule a
// wire out.
func TestWeightsThePractitionerAsked(t *testing.T) {
	b := petrol(t)
	for _, x := range []struct {
		test, fault string
		low, high   float64 // odds are divided by
	}{
		{"cranking_ripple", "valve_leaking", 5.5, 7},
		{"cranking_hump", "valve_leaking", 5.5, 7},
		{"cranking_ripple", "cam_lobe_worn", 1.2, 1.45},
		{"cranking_ripple", "valve_spring_weak", 1, 1.2},
		{"coil_ramp", "coil_primary_short", 2, 5},
		{"coil_ramp", "coil_weak", 1, 1.3},
		{"coil_ramp", "coil_feed", 1.5, 3},
		{"coil_feed_drop", "coil_feed", 1.5, 3},
		{"injector_balance", "injector_restricted", 4, 8},
	} {
		test := testNamed(t, b, x.test)
		normal := ""
		for _, o := range test.Outcomes {
			if o.Normal {
				normal = o.ID
			}
		}
		down := test.Healthy.P[normal] / chanceOf(test, test.Given[x.fault], normal)
		if down < x.low || down > x.high {
			t.Errorf("%s normal divides the odds of %s by %.2f, want %g to %g", x.test, x.fault, down, x.low, x.high)
		}
	}
}

// TestPickupNeverProves: what an uncalibrated pickup says is no direct test of a
// part (trade notes 3.4), and heights count as one witness with their group.
func TestPickupNeverProves(t *testing.T) {
	b := petrol(t)
	n := 0
	for i := range b.Tests {
		x := &b.Tests[i]
		if x.Reads == nil || !strings.HasPrefix(x.Reads.Feature, "ignition.") {
			continue
		}
		n++
		if x.Group != "pickup" || x.Rho.Value <= 0 || len(x.Direct) > 0 || x.Static {
			t.Errorf("%s: group %q, rho %g, direct %v, static %v; want group pickup, a rho, nothing direct, not static", x.ID, x.Group, x.Rho.Value, x.Direct, x.Static)
		}
	}
	if n < 12 {
		t.Errorf("%d tests read the secondary trace, want 12 or more", n)
	}
}

// TestSwapsProveOnlyThereAndBack (trade notes 2.9).
func TestSwapsProveOnlyThereAndBack(t *testing.T) {
	b := petrol(t)
	n := 0
	for i := range b.Tests {
		x := &b.Tests[i]
		if !strings.HasSuffix(x.ID, "_swap") && !strings.HasSuffix(x.ID, "_substitute") {
			continue
		}
		n++
		for _, o := range x.Outcomes {
			if o.Proves && !strings.HasSuffix(o.ID, "_and_returns") {
				t.Errorf("%s: outcome %s proves without going back", x.ID, o.ID)
			}
		}
	}
	if n < 7 {
		t.Errorf("%d swaps, want 7 or more", n)
	}
}

// TestContextFollowsTheTradeNotes: multipliers on prior odds, trade notes 1.1
// (EST). "Changed less than 1000 km ago" works both ways on a wide gap (a wrong
// gap times 5, a worn one by a quarter): the book takes the product.
func TestContextFollowsTheTradeNotes(t *testing.T) {
	times := map[string]float64{}
	for _, f := range petrol(t).Faults {
		for _, c := range f.Context {
			times[c.Fact+" "+f.ID] = c.Times.Value
		}
	}
	for _, x := range []struct {
		fact   string
		want   float64
		faults string
	}{
		{"plugs_beyond_interval", 3, "plug_gap_wide plug_set_worn"},
		{"plugs_beyond_interval", 1.5, "coil_weak coil_primary_short"},
		{"recent_plug_or_coil_work", 5, "plug_cracked boot_leak coil_feed secondary_open"},
		{"recent_plug_or_coil_work", 0.25, "plug_set_worn"},
		{"recent_plug_or_coil_work", 1.25, "plug_gap_wide"},
		{"worse_wet", 6, "boot_leak cap_rotor_leak"},
		{"worse_hot", 3, "coil_weak coil_primary_short coil_pair_weak coil_one_weak"},
		{"worse_hot", 2, "crank_signal_noise"},
		{"worse_cold_start", 4, "valve_leaking intake_valve_deposits injector_leaking"},
		{"fuel_below_quarter", 3, "fuel_pump_weak"},
		{"oil_in_plug_well", 8, "boot_leak"},
		{"coolant_loss", 8, "head_gasket_coolant"},
		{"tick_noise", 8, "cam_lobe_worn lifter_collapsed"},
		{"recent_engine_work", 10, "crank_signal_noise crank_learn_missing"},
		{"boosted_load_only", 2, "plug_gap_wide boot_leak coil_weak"},
		{"runs_on_gas", 2, "plug_gap_wide coil_weak"},
		{"short_trips", 3, "plug_fouled"},
		{"aftermarket_coil", 2, "coil_weak coil_primary_short"},
	} {
		for _, f := range strings.Fields(x.faults) {
			if got := times[x.fact+" "+f]; got != x.want {
				t.Errorf("%s multiplies the odds of %s by %g, the trade notes by %g", x.fact, f, got, x.want)
			}
		}
	}
}

// TestRowsFollowTheTradeMatrix: P(test abnormal | cause) of the trade notes 1.5
// (EST), where the book keeps the cell as it stands. The abnormal outcomes of a
// swap are "moves" and "moves and returns" together.
func TestRowsFollowTheTradeMatrix(t *testing.T) {
	b := petrol(t)
	for _, x := range []struct {
		test, outcomes string
		want           map[string]float64
	}{
		{"counter_load", "dominant", map[string]float64{"plug_gap_wide": .75, "plug_cracked": .90, "boot_leak": .90, "coil_weak": .90, "coil_feed": .85, "injector_restricted": .90, "injector_leaking": .80, "valve_leaking": .90, "rings_worn": .80, "head_gasket_between": .40, "cam_lobe_worn": .85}},
		{"coil_swap", "moves moves_and_returns", map[string]float64{"plug_gap_wide": .05, "plug_cracked": .05, "coil_weak": .92, "coil_primary_short": .92, "coil_feed": .10}},
		{"coil_boot_swap", "moves moves_and_returns", map[string]float64{"boot_leak": .60, "coil_weak": .92}},
		{"plug_swap", "moves moves_and_returns", map[string]float64{"plug_gap_wide": .90, "plug_cracked": .90, "boot_leak": .15, "coil_weak": .05, "injector_leaking": .10}},
		{"firing_height_snap", "high", map[string]float64{"plug_gap_wide": .85, "plug_cracked": .05, "boot_leak": .10, "coil_weak": .10, "coil_feed": .05, "injector_restricted": .40}},
		{"burn_time_snap", "short", map[string]float64{"plug_gap_wide": .80, "plug_cracked": .15, "boot_leak": .15, "coil_weak": .70, "coil_feed": .60, "injector_restricted": .50, "injector_leaking": .05, "valve_leaking": .05, "rings_worn": .05}},
		{"snap_ratio", "capped", map[string]float64{"plug_gap_wide": .05, "boot_leak": .75, "coil_weak": .30, "coil_feed": .15, "cam_lobe_worn": .30}},
		{"injector_balance", "low", map[string]float64{"injector_restricted": .85}},
		{"injector_swap", "moves moves_and_returns", map[string]float64{"injector_restricted": .90, "injector_leaking": .85}},
		{"cranking_ripple", "low", map[string]float64{"valve_leaking": .85, "rings_worn": .70, "head_gasket_between": .85, "cam_lobe_worn": .25}},
		{"cranking_hump", "low", map[string]float64{"valve_leaking": .85, "rings_worn": .70, "head_gasket_between": .85, "cam_lobe_worn": .25}},
		{"leak_down", "high", map[string]float64{"valve_leaking": .90, "rings_worn": .85, "head_gasket_between": .90, "cam_lobe_worn": .05}},
		{"compression_snap", "low", map[string]float64{"valve_leaking": .80, "rings_worn": .60, "head_gasket_between": .80, "cam_lobe_worn": .90}},
		{"trim_load", "high", map[string]float64{"plug_gap_wide": .10, "injector_restricted": .35, "fuel_pump_weak": .85, "runner_leak": .10, "valve_leaking": .10, "cam_lobe_worn": .15}},
		{"mist", "provoked", map[string]float64{"plug_gap_wide": .10, "plug_cracked": .30, "boot_leak": .75, "coil_weak": .15, "coil_feed": .05}},
		{"fuel_pressure_load", "low", map[string]float64{"fuel_pump_weak": .90, "injector_leaking": .30, "injector_restricted": .05}},
	} {
		test := testNamed(t, b, x.test)
		for f, want := range x.want {
			row, ok := test.Given[f]
			got := 0.0
			for _, o := range strings.Fields(x.outcomes) {
				got += chanceOf(test, row, o)
			}
			// A row that adds an outcome of the book's own carries the book's tag.
			tagged := row.Source == "EST" || len(row.P) > len(strings.Fields(x.outcomes))
			if !ok || math.Abs(got-want) > 0.001 || !tagged {
				t.Errorf("%s: P(%s | %s) is %.3f with source %q, the trade matrix has %.2f (EST)", x.test, x.outcomes, f, got, row.Source, want)
			}
		}
	}
}
