package obd

import (
	"encoding/hex"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"proveout/obd/canlog"
	"proveout/published"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatalf("%q: %v", s, err)
	}
	return b
}

// session reads a capture written in the test.
func session(t testing.TB, text string) *Session {
	t.Helper()
	l, err := canlog.ReadAll(strings.NewReader(text), canlog.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return Read(l)
}

// Every row of pid_examples.csv (CALC from the formulas of standards.md 1.4).
func TestPIDExamples(t *testing.T) {
	units := map[string]string{"deg BTDC": "deg", "ratio": "lambda"}
	for _, row := range published.Rows(t, "tables/pid_examples.csv", 54) {
		b := unhex(t, row[0])
		if row[3] == "bits" {
			want := strings.TrimPrefix(row[2], "supported: ")
			if got := fmt.Sprintf("% X", Supported(b[1], b[2:])); got != want {
				t.Errorf("%s: %s, want %s", row[0], got, want)
			}
			continue
		}
		got := DecodePID(b[1], b[2:])
		want, unitNames := strings.Split(row[2], ";"), strings.Split(row[3], ",")
		if len(got) != len(want) {
			t.Errorf("%s: %d values, want %d", row[0], len(got), len(want))
			continue
		}
		for i, v := range got {
			w := published.Number(t, want[i])
			if math.Abs(v.Number-w) > 1e-9*max(1, math.Abs(w)) && fmt.Sprintf("%.6g", v.Number) != strings.TrimSpace(want[i]) {
				t.Errorf("%s: %v, want %v", row[0], v.Number, w)
			}
			u := unitNames[i]
			if units[u] != "" {
				u = units[u]
			}
			if v.Signal.Unit.Symbol != u {
				t.Errorf("%s: unit %s, want %s", row[0], v.Signal.Unit.Symbol, u)
			}
			if back := v.Signal.Unit.FromSI(v.SI()); math.Abs(back-v.Number) > 1e-9*max(1, math.Abs(v.Number)) {
				t.Errorf("%s: SI %v gives back %v", row[0], v.SI(), back)
			}
		}
	}
}

// Every row of the PID table: length, and the ends of the range it states.
func TestPIDTable(t *testing.T) {
	for _, row := range published.Rows(t, "tables/pids_mode01.csv", 105) {
		pid := mustByte(row[0])
		p := pids()[pid]
		if p == nil {
			t.Errorf("PID %s: %+v", row[0], p)
			continue
		}
		has := false
		for _, n := range p.lengths {
			has = has || n == mustInt(row[1])
		}
		if !has {
			t.Errorf("PID %s: lengths %v, table %s", row[0], p.lengths, row[1])
		}
		if row[4] == "" || strings.Contains(row[4], "/") || strings.Contains(row[4], ";") {
			continue // no range, or several: covered by the examples
		}
		n := mustInt(row[1])
		lo, hi := make([]byte, n), make([]byte, n)
		s := Signals(pid)[0]
		for i := range n {
			hi[i] = 0xFF
		}
		if s.kind == signed {
			lo[s.at], hi[s.at] = 0x80, 0x7F
		}
		a, _ := s.decode(lo)
		b, _ := s.decode(hi)
		for _, c := range []struct{ got, want float64 }{{a.Number, published.Number(t, row[4])}, {b.Number, published.Number(t, row[5])}} {
			if math.Abs(c.got-c.want) > 0.0051*max(1, math.Abs(c.want)*0.001) {
				t.Errorf("PID %s (%s): range end %v, table %v", row[0], row[2], c.got, c.want)
			}
		}
	}
}

// Every row of readiness_examples.csv.
func TestReadinessExamples(t *testing.T) {
	for _, row := range published.Rows(t, "tables/readiness_examples.csv", 6) {
		b := unhex(t, row[0])
		r, err := DecodeReadiness(b[1], b[2:])
		if err != nil || r.String() != row[1] {
			t.Errorf("%s: %v\n got %s\nwant %s", row[0], err, r, row[1])
		}
	}
	if _, err := DecodeReadiness(1, []byte{0x83, 7, 0xFF}); err == nil {
		t.Error("three bytes taken for readiness")
	}
}

// Every row of dtc_examples.csv; 0000 in a list is padding.
func TestCodeExamples(t *testing.T) {
	for _, row := range published.Rows(t, "tables/dtc_examples.csv", 18) {
		b := unhex(t, row[0])
		codes, _, _ := decodeCodes(append([]byte{1}, b...), true)
		if row[0] == "0000" {
			if len(codes) != 0 {
				t.Errorf("padding read as %v", codes)
			}
			continue
		}
		if len(codes) != 1 || codes[0].String() != row[1] {
			t.Errorf("%s: %v, want %s", row[0], codes, row[1])
			continue
		}
		if back, err := ParseCode(row[1]); err != nil || back != codes[0] {
			t.Errorf("%s: parsed back as %v %v", row[1], back, err)
		}
	}
	for _, s := range []string{"", "P", "P03012", "X0301", "P4301", "P03G1", "P0301-", "P0301-1", "P0301-GG"} {
		if c, err := ParseCode(s); err == nil {
			t.Errorf("%q parsed as %v", s, c)
		}
	}
}

// Every row of uds_dtc_examples.csv, and the status bits by name.
func TestStatusCodeExamples(t *testing.T) {
	for _, row := range published.Rows(t, "tables/uds_dtc_examples.csv", 11) {
		codes, note := decodeStatusCodes(unhex(t, row[0]))
		if len(codes) != 1 || note != "" {
			t.Errorf("%s: %v %s", row[0], codes, note)
			continue
		}
		names := strings.Join(codes[0].Status.Names(), ", ")
		if names == "" {
			names = "none"
		}
		if codes[0].String() != row[1] || hex2(byte(codes[0].Status)) != row[2] || names != row[3] {
			t.Errorf("%s: %v %02X %s, want %s %s", row[0], codes[0], byte(codes[0].Status), names, row[1], row[3])
		}
		if back, err := ParseCode(row[1]); err != nil || back.String() != row[1] {
			t.Errorf("%s parsed back as %v %v", row[1], back, err)
		}
	}
	// Just cleared is 50: bits 4 and 6 (from memory of ISO 14229-1).
	if NotCompletedSinceClear|NotCompletedThisCycle != 0x50 {
		t.Error("status after a clear")
	}
}

// Every row of mode06_examples.csv.
func TestMonitorExamples(t *testing.T) {
	for _, row := range published.Rows(t, "tables/mode06_examples.csv", 17) {
		got, _, _, rest := decodeMonitors(unhex(t, row[0])[1:])
		var s []string
		for _, r := range got {
			s = append(s, r.String())
		}
		if joined := strings.Join(s, " // "); joined != row[1] || len(rest) != 0 {
			t.Errorf("%s\n got %s\nwant %s", row[0], joined, row[1])
		}
	}
}

// The EWMA check series of standards.md 2.4.
func TestEWMA(t *testing.T) {
	v := 0.0
	for i, want := range []float64{10.0000, 19.0000, 27.1000, 34.3900, 40.9510, 46.8559, 52.1703, 56.9533, 61.2580, 65.1322} {
		if v = EWMA(v, 100); math.Abs(v-want) > 5e-5 {
			t.Errorf("cycle %d: %.4f, want %.4f", i+1, v, want)
		}
	}
	for i, want := range []float64{58.619, 52.757, 47.481, 42.733, 38.460} {
		if v = EWMA(v, 0); math.Abs(v-want) > 5e-4 {
			t.Errorf("cycle %d after repair: %.3f, want %.3f", i+1, v, want)
		}
	}
}

// Every units-and-scaling id of uasid.csv: sign and ends of the range.
func TestScalingTable(t *testing.T) {
	for _, row := range table("uasid") {
		id := mustByte(row[0])
		lo, hi := uint16(0), uint16(0xFFFF)
		if row[1] == "signed" {
			lo, hi = 0x8000, 0x7FFF
		}
		a, u, ok := Scale(id, lo)
		b, _, _ := Scale(id, hi)
		if !ok || u != row[4] || fmt.Sprintf("%.6g", a) != row[5] || fmt.Sprintf("%.6g", b) != fmt.Sprintf("%.6g", published.Number(t, row[6])) {
			t.Errorf("id %s: %v to %v %s, table %s to %s", row[0], a, b, u, row[5], row[6])
		}
		if (row[1] == "signed") != (id >= 0x80) {
			t.Errorf("id %s: %s", row[0], row[1])
		}
	}
	if v, _, ok := Scale(0x80, 0xFFFF); ok || v != -1 {
		t.Error("ids are signed from 80 on, reserved ones too")
	}
	if v, _, ok := Scale(0x70, 0x1234); ok || v != 0x1234 {
		t.Error("a reserved id must stay raw")
	}
}

// The SI value of a monitor result, and none where our unit table has no such
// unit: mHz must not be taken for MHz.
func TestMonitorSI(t *testing.T) {
	for id, want := range map[byte]string{0x0A: "0.122 mV 0.000122", 0x13: "1 mohm 0.001", 0x16: "-39.9 degC -39.9", 0x17: "0.01 kPa 10", 0x24: "1 count 1", 0x32: "3.05e-05 in 7.747e-07",
		0x21: "", 0x2C: "", 0x01: "", 0x29: "", 0x70: "", 0x22: "1 Hz 1", 0x8B: "0.001 V 0.001"} {
		r, err := DecodeMonitor([]byte{0x21, 0x80, id, 0, 1, 0, 0, 0xFF, 0xFF})
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if q, ok := r.SI(); ok {
			got = fmt.Sprintf("%.4g %s %.4g", q.Typed, q.Unit.Symbol, q.SI)
		}
		if got != want {
			t.Errorf("id %02X: %q, want %q", id, got, want)
		}
	}
}

func TestSignalLookup(t *testing.T) {
	s, ok := SignalByID("fuel_system_1")
	if !ok || !s.IsEnum() || s.PID != 0x03 {
		t.Errorf("%+v", s)
	}
	if s, ok := SignalByID("engine_speed"); !ok || s.IsEnum() {
		t.Errorf("%+v", s)
	}
	if _, ok := SignalByID("nothing"); ok {
		t.Error("found nothing")
	}
	if _, ok := PIDName(0xF3); ok || Signals(0xF3) != nil || DecodePID(0xF3, []byte{1}) != nil {
		t.Error("PID F3 is not in the tables")
	}
	if MonitorName(0xE5) != "maker's own monitor E5" || MonitorName(0x11) != "reserved monitor 11" || TestName(0x90) != "maker's own test 90" || TestName(0x0D) != "reserved test 0D" {
		t.Error("names of unknown ids")
	}
	if s := enumText(0x51, 0xFE); s != "unknown value FE" {
		t.Error(s)
	}
	if s, ok := NegativeText(0x01); ok || s == "" {
		t.Error(s)
	}
}

// Arithmetic identities of the generic codes (standards.md 3.3).
func TestGenericCodeIdentities(t *testing.T) {
	text := func(n int) string {
		c, err := ParseCode(fmt.Sprintf("P%04d", n))
		if err != nil {
			t.Fatal(err)
		}
		m, ok := c.Meaning()
		if !ok {
			t.Errorf("P%04d has no text", n)
		}
		return strings.ToLower(m.Text)
	}
	for n := 1; n <= 12; n++ {
		if s := text(300 + n); !strings.Contains(s, "misfire") || !strings.Contains(s, strconv.Itoa(n)) {
			t.Errorf("P%04d: %s", 300+n, s)
		}
		c, _ := ParseCode(fmt.Sprintf("P%04d", 300+n))
		if c.Cylinder() != n {
			t.Errorf("%v names cylinder %d", c, c.Cylinder())
		}
		if s := text(200 + n); !strings.Contains(s, "injector") || !strings.Contains(s, strconv.Itoa(n)) {
			t.Errorf("P%04d: %s", 200+n, s)
		}
	}
	for _, n := range []int{300, 313, 200, 171} {
		if c, _ := ParseCode(fmt.Sprintf("P%04d", n)); c.Cylinder() != 0 {
			t.Errorf("%v names cylinder %d", c, c.Cylinder())
		}
	}
	for raw := range meanings() {
		if (Code{Raw: raw}).Owner() != Generic {
			t.Errorf("%v has a generic text and owner %s", Code{Raw: raw}, Code{Raw: raw}.Owner())
		}
	}
}

// Ranges of dtc_groups.csv (from memory of SAE J2012).
func TestOwners(t *testing.T) {
	for code, want := range map[string]Owner{"P0301": Generic, "P1234": Maker, "P2302": Generic, "P3000": Maker, "P33FF": Maker, "P3400": Generic, "P3FFF": Generic,
		"B0003": Generic, "C0123": Generic, "B1000": Maker, "C2FFF": Maker, "B3000": Reserved, "C3FFF": Reserved, "U0100": Generic, "U100B": Maker, "U2001": Maker, "U3003": Generic} {
		if c, err := ParseCode(code); err != nil || c.Owner() != want {
			t.Errorf("%s: %s %v, want %s", code, c.Owner(), err, want)
		}
	}
}

// Every response code of nrc.csv has words, and every table loads.
func TestTablesLoad(t *testing.T) {
	for _, r := range table("nrc") {
		if s, ok := NegativeText(mustByte(r[0])); !ok || s == "" || strings.ContainsAny(s, "ABCDEFGHIJKLMNOPQRSTUVWXYZ_") {
			t.Errorf("%s: %q", r[0], s)
		}
	}
	if s, _ := NegativeText(0x78); s != "request correctly received, response pending" {
		t.Error(s)
	}
	if s, ok := (Code{Failure: 0x87, HasFailure: true}).FailureText(); !ok || s != "missing message" {
		t.Error(s)
	}
	for _, r := range published.Rows(t, "tables/pids_mode01.csv", 105) {
		if name, ok := PIDName(mustByte(r[0])); !ok || name == "" {
			t.Errorf("PID %s", r[0])
		}
	}
	for _, r := range table("mode06_mids") {
		if b, ok := hexByte(r[0]); ok && MonitorName(b) != r[1] {
			t.Errorf("monitor %s: %s", r[0], MonitorName(b))
		}
	}
	for n := 1; n <= 12; n++ { // cylinder n is monitor A1+n
		if got := MonitorName(byte(0xA1 + n)); got != fmt.Sprintf("misfire cylinder %d data", n) {
			t.Errorf("monitor %02X: %s", 0xA1+n, got)
		}
		r, _ := DecodeMonitor([]byte{byte(0xA1 + n), 0x0B, 0x24, 0, 3, 0, 0, 0xFF, 0xFF})
		if r.Cylinder != n || r.Misfire != "ewma" || !r.NoMin || !r.NoMax {
			t.Errorf("%+v", r)
		}
	}
	for _, r := range table("mode06_tids") {
		if b, ok := hexByte(r[0]); ok && TestName(b) != r[1] {
			t.Errorf("test %s: %s", r[0], TestName(b))
		}
	}
	for _, r := range table("enums") {
		if got := enumText(mustByte(r[0]), mustByte(r[1])); got != r[2] {
			t.Errorf("enum %s %s: %s", r[0], r[1], got)
		}
	}
}
