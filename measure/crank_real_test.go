package measure

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/vehicle"
)

// crankFile reads a recording of testdata/crank; what is known of each stands in
// the PROVENANCE.md there.
func crankFile(t testing.TB, name string) *trace.Recording {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata/crank", name))
	if err != nil {
		t.Fatal(err)
	}
	rec, err := trace.ReadText(bytes.NewReader(b), trace.TextOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func engineOf(n int) vehicle.Engine { return vehicle.Engine{Cylinders: n} }

// reading finds the reading of a feature.
func reading(res Result, feature string) (evidence.Reading, bool) {
	for _, r := range res.Readings {
		if r.Feature == feature {
			return r, true
		}
	}
	return evidence.Reading{}, false
}

func refusal(res Result, feature string) string {
	for _, r := range res.NotMeasured {
		if r.Feature == feature {
			return r.Why + "; " + r.Fix
		}
	}
	return ""
}

// TestRealCrankRecordings holds wheel and speed against what the recordings'
// source says of them. That source's speeds are of one moment, ours are means of
// a turn: 4 % between them are allowed.
func TestRealCrankRecordings(t *testing.T) {
	for _, c := range []struct {
		file, wheel string
		cylinders   int
		teeth       int
		rpm         float64 // of the source
		when        string  // end, or the start of the file's even part
		faults      int
	}{
		{"v6-cranking.csv", "36-2-2-2", 6, 30, 243, "end", 0},
		{"four-cranking-plugs-out.csv", "12+1", 4, 13, 188, "end", 0},
		{"four-running.csv", "36-2-1", 4, 33, 1436.23, "start", 0},
		{"four-running-doubled-edge.csv", "36-2-1", 4, 33, 1436.23, "start", 1},
		{"four-cranking-two-teeth.csv", "2 even teeth", 4, 2, 204.01, "at 8", 0},
		{"width-coded-cranking.csv", "24 pulses, told apart by their width", 6, 24, 139, "end", 0},
		{"four-uneven-start.csv", "4 teeth, unevenly spaced", 4, 4, 876, "slowest end", 0},
		{"cas-start.csv", "2 even teeth", 4, 2, 228, "at 4", 0},
		// 36 pitches of 1.061 ms: the file's own times, not the value asserted there.
		{"three-tooth-cam.csv", "36-2", 4, 34, 60 / (36 * 1.061e-3), "start", 0},
		{"noisy.csv", "36-2", 6, 34, 0, "", 0},
	} {
		run, res, err := Crank(crankFile(t, c.file), Meta{Engine: engineOf(c.cylinders)})
		if err != nil {
			t.Fatal(c.file, err)
		}
		if run.Wheel != c.wheel || run.TeethPerTurn != c.teeth {
			t.Errorf("%s: wheel %q with %d teeth a turn, is %q with %d", c.file, run.Wheel, run.TeethPerTurn, c.wheel, c.teeth)
		}
		if n := len(run.Doubled) + len(run.Stray) + run.Missing + run.Lost; n != c.faults {
			t.Errorf("%s: %d signal faults, there are %d", c.file, n, c.faults)
		}
		if len(run.Speeds) == 0 {
			t.Errorf("%s: no speeds", c.file)
			continue
		}
		got := 0.0
		switch c.when {
		case "end":
			got = run.Speeds[len(run.Speeds)-1].RPM
		case "slowest end": // 876 rpm of one interval of an engine swinging between 870 and 960
			got = math.Inf(1)
			for _, s := range run.Speeds[len(run.Speeds)-40:] {
				got = math.Min(got, s.RPM)
			}
		case "start":
			got = run.Speeds[0].RPM
		case "at 8":
			got = run.Speeds[6].RPM
		case "at 4":
			got = run.Speeds[2].RPM
		default:
			continue
		}
		if math.Abs(got/c.rpm-1) > 0.04 {
			t.Errorf("%s: %.1f rpm, the source says %.1f", c.file, got, c.rpm)
		}
		if r, ok := reading(res, "crank.misfire_rate"); ok && r.Value.SI != 0 {
			t.Errorf("%s: %.1f %% misfire in a recording of a running engine", c.file, r.Value.SI)
		}
	}
}

// TestDoubledEdgeIsPlaced: the edge was added at 5.393782 s.
func TestDoubledEdgeIsPlaced(t *testing.T) {
	rec := crankFile(t, "four-running-doubled-edge.csv")
	run, res, err := Crank(rec, Meta{Engine: engineOf(4)})
	if err != nil || len(run.Doubled) != 1 {
		t.Fatal(err, run.Doubled)
	}
	at := float64(rec.Time.At(run.Doubled[0])+rec.Time.Origin) * 1e-9
	if math.Abs(at-5.393782) > 2e-4 {
		t.Errorf("doubled edge at %.6f s", at)
	}
	found := false
	for _, n := range res.Notes {
		found = found || n.Trouble && strings.Contains(n.Text, "1 doubled edge")
	}
	if !found {
		t.Error("no note says that an edge is doubled")
	}
}

// TestCompressionRippleOfRealEngines: the V6 pulses six times a cycle, evenly,
// and order 3 towers over the rest; with all plugs out there is nothing to judge.
func TestCompressionRippleOfRealEngines(t *testing.T) {
	run, res, err := Crank(crankFile(t, "v6-cranking.csv"), Meta{Engine: engineOf(6), Condition: evidence.Condition{State: evidence.Cranking}})
	if err != nil {
		t.Fatal(err)
	}
	best, over := dominant(run.Orders)
	if best.PerTurn != 3 || over < 8 || math.Abs(best.RPM-28.1) > 4.5 {
		t.Errorf("strongest order %g with %.1f rpm, %.1f times the others; PROVENANCE: order 3, 28.1 rpm, others at most 2.6", best.PerTurn, best.RPM, over)
	}
	for _, o := range run.Orders {
		if o.PerTurn < 4.5 && o.PerTurn != 3 && o.RPM > 2.9 {
			t.Errorf("order %g has %.1f rpm", o.PerTurn, o.RPM)
		}
	}
	if len(run.Pulses) != 6 {
		t.Fatalf("%d compressions a cycle", len(run.Pulses))
	}
	if r, ok := reading(res, "crank.compression_spread"); !ok || r.Value.SI > 10 || r.N != 24 {
		t.Errorf("spread %v", r)
	}
	if r, ok := reading(res, "crank.compression_ripple"); !ok || r.Value.SI < 9 || r.Value.SI > 13 {
		t.Errorf("ripple %v", r)
	}
	if res.Condition.State != evidence.Cranking {
		t.Errorf("condition %v", res.Condition)
	}

	run, res, err = Crank(crankFile(t, "four-cranking-plugs-out.csv"), Meta{Engine: engineOf(4)})
	if err != nil {
		t.Fatal(err)
	}
	if why := refusal(res, "crank.compression_ripple"); !strings.Contains(why, "plugs out") || !strings.Contains(why, "cannot be judged") {
		t.Errorf("plugs out: %q", why)
	}
	if o := orderOf(run.Orders, 2); o.RPM > 4 {
		t.Errorf("plugs out: order 2 has %.1f rpm; PROVENANCE: 2.7", o.RPM)
	}
	if _, ok := reading(res, "crank.compression_spread"); ok || len(run.Pulses) != 0 {
		t.Error("plugs out: compressions are compared")
	}
}

// TestNoisyCrankIsSaid: the recording is noisy by its name; the clean ones are not
// called so.
func TestNoisyCrankIsSaid(t *testing.T) {
	for file, noisy := range map[string]bool{"noisy.csv": true, "v6-cranking.csv": false, "four-running.csv": false, "four-cranking-plugs-out.csv": false, "three-tooth-cam.csv": false} {
		_, res, err := Crank(crankFile(t, file), Meta{Engine: engineOf(6)})
		if err != nil {
			t.Fatal(err)
		}
		r, ok := reading(res, "crank.speed")
		if !ok {
			r, ok = reading(res, "cranking.speed")
		}
		said := false
		for _, n := range res.Notes {
			said = said || n.Trouble && strings.Contains(n.Text, "noisy crank signal")
		}
		if !ok || said != noisy {
			t.Errorf("%s: noisy said: %v (%v)", file, said, r.Flags)
		}
	}
}

// TestWrongCylinderCountIsRefused on the real V6: with 4 or 8 cylinders declared,
// no compression is compared.
func TestWrongCylinderCountIsRefused(t *testing.T) {
	for _, n := range []int{3, 4, 5, 8} {
		_, res, err := Crank(crankFile(t, "v6-cranking.csv"), Meta{Engine: engineOf(n)})
		if err != nil {
			t.Fatal(err)
		}
		why := refusal(res, "crank.compression_ripple")
		if !strings.Contains(why, "as 6 cylinders would") {
			t.Errorf("%d cylinders: %q", n, why)
		}
		if _, ok := reading(res, "crank.compression_spread"); ok {
			t.Errorf("%d cylinders: compressions are compared", n)
		}
	}
}

// TestCrankIsRecognised without being told, and by Capture.
func TestCrankIsRecognised(t *testing.T) {
	for _, f := range []string{"v6-cranking.csv", "four-running.csv", "four-cranking-plugs-out.csv", "width-coded-cranking.csv", "three-tooth-cam.csv", "noisy.csv"} {
		res, err := Capture("", crankFile(t, f), Meta{Engine: engineOf(6)})
		if err != nil || res.Kind != CrankEdges || !res.Recognised {
			t.Errorf("%s: %v %q", f, err, res.Kind)
		}
	}
	// Even pulses on channels without a telling name could be anything.
	if kind, _ := Recognise(crankFile(t, "cas-start.csv"), Meta{}); kind != "" {
		t.Errorf("even pulses were taken for %s", kind)
	}
}

// TestSharedVariableReluctance: sampled sensors of ../shared/data, at one speed
// and speeding up. The number of teeth is not labelled; both slow files agree on
// 58 a turn. In the two fast ones the recorder's number wraps round at its end,
// which no wheel can be read from.
func TestSharedVariableReluctance(t *testing.T) {
	for file, teeth := range map[string]int{"trigger_adc_real1.csv": 58, "trigger_adc_real4.csv": 58, "trigger_adc_real2.csv": 0, "trigger_adc_real3.csv": 0} {
		f, err := os.Open(filepath.Join("../../shared/data/crank-triggers", file))
		if err != nil {
			t.Skip("../shared/data is not here")
		}
		rec, err := trace.ReadText(f, trace.TextOptions{})
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		run, res, err := Crank(rec, Meta{Engine: engineOf(4)})
		if err != nil || run.TeethPerTurn != teeth && !(teeth == 0 && len(res.Readings) == 0) {
			t.Errorf("%s: %v, %d teeth, %d readings", file, err, run.TeethPerTurn, len(res.Readings))
		}
		if teeth > 0 && (run.Missing+run.Lost+len(run.Stray) > 2) {
			t.Errorf("%s: %d missing, %d lost, %d stray", file, run.Missing, run.Lost, len(run.Stray))
		}
	}
}
