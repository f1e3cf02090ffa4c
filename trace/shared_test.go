package trace

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// sharedFile reads a recording of ../shared/data, whose origin is told in the
// PROVENANCE.md beside it.
func sharedFile(t *testing.T, name string, opts TextOptions) *Recording {
	t.Helper()
	f, err := os.Open(filepath.Join("../../shared/data", name))
	if err != nil {
		t.Skip("../shared/data is not here")
	}
	defer f.Close()
	rec, err := ReadText(f, opts)
	if err != nil {
		t.Fatal(name, err)
	}
	if msg := broken(rec); msg != "" {
		t.Fatal(name, msg)
	}
	return rec
}

// TestSharedEdgeLists: files of a logic analyser, one row for every edge, some
// without a header (PROVENANCE.md of crank-triggers).
func TestSharedEdgeLists(t *testing.T) {
	files, _ := filepath.Glob("../../shared/data/crank-triggers/*.csv")
	if len(files) == 0 {
		t.Skip("../shared/data is not here")
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		rec := sharedFile(t, "crank-triggers/"+filepath.Base(f), TextOptions{})
		lines := strings.Count(strings.TrimRight(string(b), "\r\n"), "\n") + 1
		if !strings.HasPrefix(string(b), "0,") {
			lines-- // header
		}
		if rec.Time.N != lines {
			t.Errorf("%s: %d samples of %d rows", f, rec.Time.N, lines)
		}
		analog := strings.Contains(f, "trigger_adc")
		for _, c := range rec.Channels {
			if c.Edges == analog {
				t.Errorf("%s: channel %q edges %v", f, c.Name, c.Edges)
			}
		}
		// "analog, 10 kS/s, volts, 6 s each"
		if analog && (!rec.Time.Uniform() || rec.Time.RateHz() != 10000 || rec.Time.N != 60000) {
			t.Errorf("%s: uniform %v, %v Hz, %d samples", f, rec.Time.Uniform(), rec.Time.RateHz(), rec.Time.N)
		}
		if !analog && rec.Time.Uniform() {
			t.Errorf("%s: an edge list called uniform", f)
		}
		for _, n := range rec.Notes {
			if n.Lost {
				t.Errorf("%s: %v", f, n)
			}
		}
	}
}

// TestSharedParameterLog: 27 columns with empty units, a trailing delimiter,
// no time column, 1 Hz; idle1 ends in a row that is cut short.
func TestSharedParameterLog(t *testing.T) {
	rec := sharedFile(t, "healthy-obd-etios/idle1.csv", TextOptions{SampleRateHz: 1})
	if len(rec.Channels) != 27 || rec.Time.N != 1213 || rec.Time.RateHz() != 1 {
		t.Fatalf("%d channels, %d rows, %v Hz", len(rec.Channels), rec.Time.N, rec.Time.RateHz())
	}
	if n := wantNote(t, rec, "cut off after 16 of 27", true); n.Line != 1214 {
		t.Errorf("line %d", n.Line)
	}
	wantNote(t, rec, "rows end with a delimiter", false)
	rpm, ok := rec.Channel("ENGINE_RPM ()")
	if !ok || rpm.Unit.Symbol != "rpm" || rpm.Label != "ENGINE_RPM" {
		t.Errorf("%v %+v", ok, rpm)
	}
	if v := rec.Channels[15].Values[1212]; v != 101 {
		t.Errorf("the last whole value of the cut row is %v", v)
	}
	if v := rec.Channels[16].Values[1212]; !math.IsNaN(v) {
		t.Errorf("the value that was being written is %v", v)
	}
}

// TestSharedHoldLastLog: hh:mm:ss.mmm, degree signs encoded twice, each row
// brings one of ten signals up to date, "true rate of one signal is about 1 Hz",
// and one gap of 62 s in the second file, 73 s in the first.
func TestSharedHoldLastLog(t *testing.T) {
	files, _ := filepath.Glob("../../shared/data/healthy-obd-leon/*.csv")
	if len(files) != 2 {
		t.Skip("../shared/data is not here")
	}
	for i, f := range files {
		rec := sharedFile(t, "healthy-obd-leon/"+filepath.Base(f), TextOptions{})
		if len(rec.Channels) != 10 || rec.Time.OriginOf != "midnight" {
			t.Fatalf("%s: %d channels from %q", f, len(rec.Channels), rec.Time.OriginOf)
		}
		c := rec.Channels[0]
		if c.Unit.Symbol != "degC" || c.Name != "Engine Coolant Temperature [°C]" {
			t.Errorf("%s: %q in %q", f, c.Name, c.Unit.Symbol)
		}
		wantNote(t, rec, "encoded twice", false)
		for _, c := range rec.Channels {
			if c.UpdateHz < 0.8 || c.UpdateHz > 1.5 {
				t.Errorf("%s: %q has a new value %v times a second", f, c.Name, c.UpdateHz)
			}
		}
		longest := int64(0)
		for _, g := range rec.Segments[1:] {
			longest = max(longest, rec.Time.At(g.First)-rec.Time.At(g.First-1))
		}
		if want := [2]int64{73, 62}[i]; longest/second != want {
			t.Errorf("%s: longest pause %d ns, want about %d s", f, longest, want)
		}
	}
}

// TestSharedActuatorLog: 25 Hz in many cycles, time starting at 0 in each of
// 150 groups, a column of words (PROVENANCE.md of actuator-ballscrew).
func TestSharedActuatorLog(t *testing.T) {
	rec := sharedFile(t, "actuator-ballscrew/raw_normal.csv", TextOptions{})
	if len(rec.Segments) != 150 || rec.Time.N != 48600 {
		t.Errorf("%d segments, %d rows", len(rec.Segments), rec.Time.N)
	}
	if hz := rec.Time.RateHz(); math.Abs(hz-25) > 1e-6 {
		t.Errorf("%v Hz", hz)
	}
	wantNote(t, rec, `"profile" holds words`, true)
	wantNote(t, rec, "equally spaced within each of 150 segments, 40 ms", false)
	rec = sharedFile(t, "actuator-ballscrew/20kg/normal/normal_20_1_1.csv", TextOptions{SampleRateHz: 25, Columns: []Column{{Column: "current", As: "motor_current", Unit: "A"}}})
	if rec.Time.N != 324 || rec.Channels[2].As != "motor_current" || rec.Time.RateHz() != 25 {
		t.Errorf("%d rows, %+v", rec.Time.N, rec.Channels[2].As)
	}
}
