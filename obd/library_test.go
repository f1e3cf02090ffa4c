package obd

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"proveout/published"
	"strings"
	"testing"
)

// libraryDeviations are rows of the library vectors that we decode otherwise or
// not at all, by kind, bytes and field, with the reason.
var libraryDeviations = map[string]string{
	"legacy 486B104100FF payload":           "older bus framing (three header bytes and a checksum) is not taken off; the line is kept raw",
	"legacy 486B1041000001020304FF payload": "as above",
	"legacy 486B1049020100010203FF|486B1049020204050607FF|486B1049020308090A0BFF payload": "as above",
	"service01 41019F DTC_count":               "one byte is not a readiness answer; the library test feeds its byte decoder alone",
	"service01 41010F DTC_count":               "as above",
	"service01 41540000 evap_alt":              "trap: PID 54 is two's complement in the present standard, not raw-32767",
	"service01 411E80 pto":                     "trap: the power take-off is bit 0, the library reads bit 7",
	"service01 41750A001122334455 turbo temps": "turbine outlet: 0x4455/10-40 is 1709.3, the row says 1706.1",
}

type vector struct{ kind, bytes, field, expected, unit, note string }

func vectors(t *testing.T) []vector {
	f, err := os.Open("testdata/library-vectors/vectors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]vector, 0, len(all))
	for _, r := range all[1:] {
		out = append(out, vector{r[0], r[1], r[2], r[3], r[4], r[8]})
	}
	return out
}

// All 491 rows of the library vectors.
func TestLibraryVectors(t *testing.T) {
	all := vectors(t)
	if len(all) != 491 {
		t.Fatalf("%d rows, want 491", len(all))
	}
	used := map[string]bool{}
	count := map[string]int{}
	for _, v := range all {
		got := v.decode(t)
		count[v.kind]++
		key := v.kind + " " + v.bytes + " " + v.field
		_, named := libraryDeviations[key]
		if got == "" && !named {
			continue // agrees
		}
		if got == "" && named {
			t.Errorf("%s agrees although a deviation is named", key)
		}
		if got != "" && !named {
			t.Errorf("%s: %s, library %q (%s)", key, got, v.expected, v.note)
		}
		used[key] = true
	}
	for key, why := range libraryDeviations {
		if !used[key] {
			t.Errorf("deviation %q (%s) was not met", key, why)
		}
	}
	t.Logf("rows by kind %v, %d deviations named", count, len(libraryDeviations))
}

// decode gives "" when our value agrees with the row, otherwise what we get.
func (v vector) decode(t *testing.T) string {
	switch v.kind {
	case "isotp":
		return "" // all nine rows are checked in package isotp
	case "legacy":
		s := session(t, strings.ReplaceAll(v.bytes, "|", "\n")+"\n")
		if n := len(s.Modules[0].Raw); n != 1+strings.Count(v.bytes, "|") || !strings.Contains(noteTexts(s), "older bus") {
			t.Errorf("%s: %d kept raw, %s", v.bytes, n, noteTexts(s))
		}
		return "kept raw"
	case "mode06_uas":
		id, raw, _ := strings.Cut(v.bytes, ":")
		b := unhex(t, raw)
		value, u, ok := Scale(mustByte(id), uint16(b[0])<<8|uint16(b[1]))
		if !ok || math.Abs(value-published.Number(t, v.expected)) > 0.025 || libraryUnits[u] != v.unit {
			return fmt.Sprintf("%v %s", value, u)
		}
		return ""
	case "service01", "service01_multi", "service01_batch":
		return v.service01(t)
	}
	return v.service(t)
}

// libraryUnits are the library's long unit names for ours. It writes what is
// per cylinder, per stroke or squared without saying so.
var libraryUnits = map[string]string{
	"raw": "count", "count": "count", "rpm": "rpm", "km/h": "kph", "mV": "millivolt", "V": "volt", "mA": "milliampere", "A": "ampere", "uA": "microampere",
	"ms": "millisecond", "s": "second", "us": "microsecond", "min": "minute", "mOhm": "milliohm", "Ohm": "ohm", "kOhm": "kiloohm", "degC": "celsius",
	"kPa": "kilopascal", "Pa": "pascal", "Pa/s": "pascal/second", "deg": "degree", "lambda": "ratio", "A/F ratio": "ratio", "ratio": "ratio",
	"mHz": "millihertz", "Hz": "hertz", "kHz": "kilohertz", "km": "kilometer", "mV/ms": "millivolt/millisecond", "mV/s": "millivolt/second",
	"g/s": "grams_per_second", "kg/h": "kilogram/hour", "g/cyl": "gram", "g": "gram", "mg/stroke": "milligram", "%": "percent", "L": "liter", "inch": "inch",
	"mm2": "millimeter", "ppm": "ppm",
}

func (v vector) service01(t *testing.T) string {
	b := unhex(t, v.bytes)
	s := session(t, v.bytes+"\n")
	if len(s.Modules) != 1 {
		return "no module"
	}
	m := s.Modules[0]
	field := v.field
	number1 := func(id string, want, tolerance float64) string {
		p := m.Series(id)
		if p == nil || len(p.Samples) != 1 {
			return id + " not decoded"
		}
		if got := p.Signal.Unit.FromSI(p.Samples[0].Value); math.Abs(got-want) > tolerance {
			return fmt.Sprintf("%s = %v", id, got)
		}
		return ""
	}
	switch v.kind {
	case "service01_batch":
		r := m.LatestReadiness(1)
		if r == nil || r.String() != "MIL=off; DTCs=0; spark; misfire:complete; fuel:complete; components:complete; catalyst:complete; oxygen sensor:complete; oxygen sensor heater:complete; EGR and/or VVT:complete" {
			return "readiness"
		}
		for id, want := range map[string]float64{"calculated_load": 0, "coolant_temperature": -40, "short_trim_bank1": 0, "fuel_system_1": 0} {
			if e := number1(id, want, 1e-9); e != "" {
				return e
			}
		}
		return ""
	case "service01_multi":
		id := map[string]string{"05 ect": "coolant_temperature", "15 voltage": "o2_2_voltage", "15 trim": "o2_2_trim", "0C rpm": "engine_speed", "03 fuelsys1": "fuel_system_1"}[field]
		return number1(id, published.Number(t, v.expected), 1e-9)
	}
	pid := b[1]
	if pid == 0x01 {
		r := m.LatestReadiness(1)
		if r == nil {
			return "not decoded"
		}
		return v.readiness(r.Readiness)
	}
	values := DecodePID(pid, b[2:])
	switch {
	case field == "egt bank1":
		var s []string
		for _, x := range values {
			s = append(s, fmt.Sprintf("%.1f %v", x.Number, !x.NotUsed))
		}
		if fmt.Sprint(s) != "[1656.3 true 1707.7 false 1759.1 false 1810.5 false]" {
			return fmt.Sprint(s)
		}
		return ""
	case field == "turbo temps":
		var s []string
		for _, x := range values {
			s = append(s, fmt.Sprintf("%.1f", x.Number))
		}
		return fmt.Sprint(s)
	case field == "fuel_type" || field == "fuelsys" || field == "secondary_air" || field == "pto":
		return v.names(values)
	}
	i := 0
	if field == "wr_current" || field == "wr_voltage" {
		i = 1
	}
	// The libraries round: to two decimals, or as the note says.
	tolerance := 0.026
	if strings.Contains(v.note, "truncates") || strings.Contains(v.note, "rounds") {
		tolerance = 0.005
	}
	if got := values[i].Number; math.Abs(got-published.Number(t, v.expected)) > tolerance {
		return fmt.Sprintf("%v", got)
	}
	return ""
}

func (v vector) names(values []Value) string {
	text := values[0].Text
	want := map[string]string{"1=open loop cold / 2=absent": "open loop - not warm", "1=open loop fault / 2=absent": "open loop due to system failure", "invalid": "invalid",
		"upstream": "upstream", "pump on for diagnostics": "pump commanded on for diagnostics", "active": "active"}[v.expected]
	if want == "" {
		want = v.expected
	}
	if v.field == "pto" {
		text = map[float64]string{0: "not active", 1: "active"}[values[0].Number]
	}
	if !strings.HasPrefix(text, want) {
		return text
	}
	return ""
}

func (v vector) readiness(r Readiness) string {
	names := map[string]string{"fuel_system": "fuel", "component": "components", "nmhc_catalyst": "NMHC catalyst", "nox_scr": "NOx / SCR aftertreatment", "boost_pressure": "boost pressure",
		"exhaust_gas_sensor": "exhaust gas sensor", "pm_filter": "PM filter", "egr_vvt": "EGR and/or VVT"}
	got := ""
	switch v.field {
	case "MIL":
		got = map[bool]string{false: "0", true: "1"}[r.MIL]
	case "DTC_count":
		got = fmt.Sprint(r.CodeCount)
	case "ignition":
		got = map[bool]string{false: "spark", true: "compression"}[r.Compression]
	case "monitors": // all available and complete
		for _, m := range r.Monitors {
			if !m.Supported || !m.Complete {
				return m.Name + " is not complete"
			}
		}
		return ""
	default:
		name := names[v.field]
		if name == "" {
			name = v.field
		}
		for _, m := range r.Monitors {
			if m.Name == name {
				got = fmt.Sprintf("available=%s complete=%s", bit(m.Supported), bit(m.Complete))
			}
		}
		// The library calls a monitor that is not available "not complete".
		if strings.HasPrefix(v.expected, "available=0") && strings.HasPrefix(got, "available=0") {
			return ""
		}
	}
	if got != v.expected {
		return got
	}
	return ""
}

func bit(b bool) string {
	if b {
		return "1"
	}
	return "0"
}

func (v vector) service(t *testing.T) string {
	b := unhex(t, strings.ReplaceAll(v.bytes, "|", ""))
	differs := func(got string) string {
		if got == v.expected {
			return ""
		}
		return got
	}
	switch v.kind {
	case "supported":
		return differs(fmt.Sprintf("% X", Supported(b[1], b[2:])))
	case "dtc":
		return differs(Code{Raw: uint16(b[0])<<8 | uint16(b[1])}.String())
	}
	s := session(t, strings.ReplaceAll(v.bytes, "|", "\n")+"\n")
	m := s.Modules[0]
	var codes []string
	for _, l := range m.Codes {
		for _, c := range l.Codes {
			codes = append(codes, c.String())
		}
	}
	switch v.kind {
	case "dtc_legacy", "dtc_can":
		return differs(strings.Join(codes, " "))
	case "uds19":
		var got []string
		for _, c := range m.Latest(ByStatus).Codes {
			got = append(got, fmt.Sprintf("%04X%02X status %02X", c.Raw, c.Failure, byte(c.Status)))
		}
		want, inWords, _ := strings.Cut(v.expected, " (")
		if strings.Join(got, "; ") != want {
			return strings.Join(got, "; ")
		}
		if inWords != "" && strings.TrimSuffix(inWords, ")") != strings.Join(codes, " ") {
			return strings.Join(codes, " ")
		}
		return ""
	case "negative":
		n := m.Negative[0]
		want := map[string]string{"service 01 serviceNotSupported": "1 service not supported false", "service 01 response pending: not final": "1 request correctly received, response pending true"}[v.expected]
		if got := fmt.Sprintf("%d %s %v", n.Service, n.Text, n.Pending); got != want {
			return got
		}
		return ""
	case "mode06":
		return v.monitor(m)
	case "mode06_supported":
		return differs(strings.Replace(m.SupportedMonitors.Text(), "1E 28", "1E | 28", 1))
	case "mode09":
		in := m.Info[0]
		switch in.Type {
		case 0x0A:
			return differs(strings.ReplaceAll(strings.Join(in.Values, " / "), "  ", " "))
		case 0x08:
			if len(in.Values) != 9 || in.Values[0] != "general denominator: 1" || in.Values[8] != "oxygen sensor bank 2 completions: 65535" {
				return fmt.Sprint(in.Values)
			}
			return ""
		}
		return differs(strings.Join(in.Values, " "))
	case "service02", "service02_multi":
		want := map[string][]string{"rpm frame 0": {"engine_speed 2080"}, "load frame 0": {"calculated_load 50.196"}, "ect frame 0": {"coolant_temperature 0"},
			"0C/04/05": {"engine_speed 2080", "calculated_load 50.196", "coolant_temperature 0"}}[v.field]
		var got []string
		for _, x := range m.FreezeFrames[0].Values {
			got = append(got, fmt.Sprintf("%s %.5g", x.Signal.ID, x.Number))
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			return fmt.Sprint(got)
		}
		return ""
	}
	t.Fatalf("kind %s has no check", v.kind)
	return ""
}

func (v vector) monitor(m *Module) string {
	if v.field == "records" {
		if len(m.Monitors) != 0 || len(m.Raw) != 1 {
			return fmt.Sprintf("%d results, %d raw", len(m.Monitors), len(m.Raw))
		}
		return ""
	}
	r := m.Monitors[v.field[len("record")]-'1']
	u := r.Unit
	if u == "count" {
		u = "counts"
	}
	got := fmt.Sprintf("MID %02X TID %02X UAS %02X value %.6g min %.6g max %.6g %s", r.MID, r.TID, r.UASID, r.Value, r.Min, r.Max, u)
	if got != v.expected {
		return got
	}
	return ""
}
