package measure

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// readLog reads a drive log of ../shared/data as the intake would: first row
// names, an optional first column of times of day, empty cells missing.
func readLog(t *testing.T, path string) *trace.Recording {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Skipf("the shared drive logs are not here (%v); this test needs ../shared beside the repository", err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = -1
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	head := rows[0]
	clock := strings.EqualFold(strings.TrimSpace(head[0]), "time")
	rec := &trace.Recording{}
	first := 0
	if clock {
		first = 1
	}
	unitIn := regexp.MustCompile(`\[([^\]]*)\]`)
	for _, h := range head[first:] {
		ch := trace.Channel{Name: h}
		if m := unitIn.FindStringSubmatch(h); m != nil {
			if u, err := unit.Parse(m[1]); err == nil {
				ch.Unit = u
			}
		}
		rec.Channels = append(rec.Channels, ch)
	}
	for _, row := range rows[1:] {
		if len(row) < len(head) {
			continue // a row cut short: the reader reports and drops it
		}
		if clock {
			var h, m int
			var s float64
			if _, err := fmt.Sscanf(row[0], "%d:%d:%f", &h, &m, &s); err != nil {
				t.Fatal(err)
			}
			rec.Time.Stamps = append(rec.Time.Stamps, int64(float64(h*3600+m*60)*1e9)+int64(math.Round(s*1e3))*1e6)
		}
		for i := range rec.Channels {
			ch := &rec.Channels[i]
			v, err := strconv.ParseFloat(strings.TrimSpace(row[i+first]), 64)
			if err != nil {
				v = math.NaN()
			} else if ch.Unit.Symbol != "" {
				v = ch.Unit.SI(v)
			}
			ch.Values = append(ch.Values, v)
		}
		rec.Time.N++
	}
	if !clock {
		rec.Time.Num, rec.Time.Den = 1e9, 1
	}
	rec.Segments = []trace.Segment{{First: 0, End: rec.Time.N}}
	return rec
}

const shared = "../../shared/data/"

// asks is a petrol rule set of the usual kind (trade.md 2.6, 2.7, 7).
func petrolAsks() []Ask {
	pm := func(x float64) *Band { return &Band{-x, x} }
	return []Ask{
		{Test: "trim_idle", Feature: "trim.idle", Versus: Absolute, Normal: pm(10)},
		{Test: "trim_raised", Feature: "trim.raised", Versus: Absolute, Normal: pm(10)},
		{Test: "trim_cruise", Feature: "trim.cruise", Versus: Absolute, Normal: pm(10)},
		{Test: "trim_load", Feature: "trim.load", Versus: Absolute, Normal: pm(10)},
		{Test: "coolant", Feature: "coolant.running", Versus: Absolute, Normal: &Band{75, 108}},
		{Test: "charging", Feature: "charging.voltage", Versus: Absolute, Normal: &Band{13.2, 15.0}},
		{Test: "dropouts", Feature: "log.dropouts", Versus: Absolute, Normal: &Band{0, 0.5}},
		{Test: "ve", Feature: "air.volumetric_efficiency", Versus: Absolute, Normal: &Band{65, 105}},
	}
}

// Healthy logs are negative controls: not one fault finding.
func TestHealthyLogsStaySilent(t *testing.T) {
	files, _ := filepath.Glob(shared + "healthy-obd-etios/*.csv")
	if len(files) == 0 {
		t.Skip("the shared drive logs are not here; this test needs ../shared beside the repository")
	}
	trims := 0
	for _, f := range files {
		rec := readLog(t, f)
		meta := Meta{Item: 1, File: filepath.Base(f), Engine: vehicle.Engine{Cylinders: 4, Fuel: "petrol", DisplacementL: 1.5}}
		if kind, why := Recognise(rec, meta); kind != ParameterLog {
			t.Errorf("%s: recognised as %q (%s)", f, kind, why)
		}
		res, err := Capture("", rec, meta)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range res.Readings {
			t.Logf("%-12s %-26s %8.2f ± %.2f n=%d %v %v", filepath.Base(f), r.Feature, r.Value.Typed, r.Uncertainty, r.N, r.Condition.State, r.Flags)
			if strings.HasPrefix(r.Feature, "trim.") {
				trims++
			}
		}
		for _, n := range res.Notes {
			if n.Trouble {
				t.Logf("%-12s note: %s", filepath.Base(f), n.Text)
			}
		}
		for _, fd := range Judge(Task{Engine: meta.Engine, Readings: res.Readings, NotMeasured: res.NotMeasured, Asks: petrolAsks()}) {
			switch fd.State {
			case evidence.High, evidence.Low, evidence.Abnormal, evidence.NotEstablished:
				t.Errorf("%s: false alarm: %s", f, fd.Sentence)
			}
		}
	}
	if trims < 6 {
		t.Errorf("only %d trims were measured in all six logs", trims)
	}
}

// A healthy log of the other engine, whose fuel the job does not say: petrol
// rules are not used, and it says so.
func TestUnknownFuelIsSaid(t *testing.T) {
	rec := readLog(t, shared+"healthy-obd-leon/2017-07-14_Seat_Leon_KA_KA_Frei.csv")
	for _, c := range []struct {
		fuel, says string
	}{{"", "like a diesel"}, {"petrol", "check whose log this is"}, {"diesel", ""}} {
		res, err := Capture(ParameterLog, rec, Meta{Engine: vehicle.Engine{Fuel: c.fuel, DisplacementL: 2}})
		if err != nil {
			t.Fatal(err)
		}
		said := false
		for _, n := range res.Notes {
			said = said || n.Flag == evidence.FuelUnknown && strings.Contains(n.Text, c.says)
			if c.fuel == "diesel" && n.Flag == evidence.FuelUnknown {
				t.Errorf("the fuel is known: %s", n.Text)
			}
		}
		if c.says != "" && !said {
			t.Errorf("fuel %q: %+v", c.fuel, res.Notes)
		}
		for _, r := range res.Readings {
			if strings.HasPrefix(r.Feature, "trim.") || r.Feature == "air.volumetric_efficiency" {
				t.Errorf("fuel %q: petrol rule used: %s = %v", c.fuel, r.Feature, r.Value)
			}
		}
		for _, fd := range Judge(Task{Engine: vehicle.Engine{Cylinders: 4, Fuel: c.fuel}, Readings: res.Readings, Asks: petrolAsks()}) {
			switch fd.State {
			case evidence.High, evidence.Low, evidence.Abnormal, evidence.NotEstablished:
				t.Errorf("fuel %q: false alarm: %s", c.fuel, fd.Sentence)
			}
		}
	}
	// The held values: true update about once a second though rows come each 0.09 s.
	p, err := prepare(mustSeries(t, rec, "Engine RPM [RPM]"))
	if err != nil || !p.held || p.interval < 0.6 || p.interval > 1.5 {
		t.Errorf("true interval %v, held %v, %v", p.interval, p.held, err)
	}
}

func mustSeries(t *testing.T, rec *trace.Recording, name string) Series {
	t.Helper()
	ss, _ := fromRecording(rec, Meta{})
	for _, s := range ss {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no series %q", name)
	return Series{}
}

// The log its authors call a measuring error: data quality, not engine fault.
func TestMeasuringErrorIsTheLogs(t *testing.T) {
	rec := readLog(t, shared+"healthy-obd-leon/2017-07-13_Seat_Leon_RT_KA_Stau_Messfehler.csv")
	res, err := Capture(ParameterLog, rec, Meta{File: "log.csv"})
	if err != nil {
		t.Fatal(err)
	}
	jumps, gap, logger := 0, false, false
	for _, n := range res.Notes {
		if n.Trouble {
			t.Log(n.Text)
		}
		if n.Flag == evidence.Jump && n.From.Channel != "" {
			jumps++
		}
		gap = gap || n.Flag == evidence.Gap && strings.Contains(n.Text, "74 s")
		logger = logger || strings.Contains(n.Text, "trouble of the logger")
	}
	if jumps < 2 || !gap || !logger {
		t.Errorf("%d jumping channels, gap of 74 s %v, logger named %v", jumps, gap, logger)
	}
	for _, fd := range Judge(Task{Engine: vehicle.Engine{Cylinders: 4}, Readings: res.Readings, Asks: petrolAsks()}) {
		switch fd.State {
		case evidence.High, evidence.Low, evidence.Abnormal:
			t.Errorf("engine fault from a measuring error: %s", fd.Sentence)
		}
		if fd.Feature == "log.dropouts" && fd.State != evidence.NotMeasured {
			t.Errorf("drop-outs of the logger are %s: %s", fd.State, fd.Sentence)
		}
	}
}
