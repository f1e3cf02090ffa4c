package obd

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"proveout/obd/canlog"
	"proveout/obd/isotp"
	"proveout/published"
)

// values gives "id=value unit" of a module's last samples, in the standard's unit.
func values(m *Module) []string {
	var out []string
	for _, s := range m.Parameters {
		last := s.Samples[len(s.Samples)-1]
		t := fmt.Sprintf("%s=%.6g %s", s.ID, s.Shown(last), s.Unit)
		if last.Text != "" {
			t = s.ID + "=" + last.Text
		}
		out = append(out, t)
	}
	return out
}

func codesOf(l *CodeList) string {
	if l == nil {
		return "not read"
	}
	var s []string
	for _, c := range l.Codes {
		s = append(s, c.String())
	}
	return strings.Join(s, " ")
}

func noteTexts(s *Session) string {
	var out []string
	for _, n := range s.Notes {
		out = append(out, fmt.Sprintf("%d: %s", n.Line, n.Text))
	}
	return strings.Join(out, "\n")
}

// Every row of isotp_examples.csv, decoded in one session in the order of the
// table. The values are those the table states.
func TestIsotpExamplesDecoded(t *testing.T) {
	var text strings.Builder
	for _, row := range published.Rows(t, "tables/isotp_examples.csv", 14) {
		for part := range strings.SplitSeq(row[2], " + ") {
			fmt.Fprintf(&text, "%s %s\n", row[1], part)
		}
	}
	s := session(t, text.String())
	m := s.Module("7E8")
	if len(s.Modules) != 1 || m == nil {
		t.Fatalf("%d modules", len(s.Modules))
	}
	if len(s.VINs) != 1 || s.VINs[0] != "1G1JC5444R7252367" || m.Info[0].Source.Line != 2 || m.Info[0].Source.LastLine != 5 {
		t.Errorf("VIN %v from %+v", s.VINs, m.Info)
	}
	var lists []string
	for i := range m.Codes {
		lists = append(lists, string(m.Codes[i].Kind)+" "+codesOf(&m.Codes[i]))
	}
	if d := cmp.Diff([]string{"confirmed P0301 P0171", "confirmed ", "confirmed P0300 P0301 P0303", "permanent P0301"}, lists); d != "" {
		t.Error(d)
	}
	if len(m.Negative) != 2 || m.Negative[0].Text != "conditions not correct" || m.Negative[0].Pending || !m.Negative[1].Pending {
		t.Errorf("%+v", m.Negative)
	}
	if len(s.Clears) != 2 || s.Clears[0].Outcome != Refused || s.Clears[1].Outcome != Accepted {
		t.Errorf("%+v", s.Clears)
	}
	// multi-PID: the table's length 9 takes one byte (0F) more than the three
	// values have; it is kept raw, and 3C beyond the length is ignored.
	if d := cmp.Diff([]string{"calculated_load=50.1961 %", "coolant_temperature=83 degC", "engine_speed=1726 rpm"}, values(m)); d != "" {
		t.Error(d)
	}
	if len(m.Raw) != 1 || m.Raw[0].Data.Text() != "0F" {
		t.Errorf("%+v", m.Raw)
	}
	if notes := noteTexts(s); !strings.Contains(notes, "takes longer (78), and no final answer") || !strings.Contains(notes, "too few for parameter 0F") {
		t.Error(notes)
	}
}

// The decodable rows of candump_examples.csv: what the table states.
func TestCandumpExamplesDecoded(t *testing.T) {
	var text strings.Builder
	for _, row := range published.Rows(t, "tables/candump_examples.csv", 13) {
		text.WriteString(row[0] + "\n")
	}
	s := session(t, text.String())
	if d := cmp.Diff([]string{"coolant_temperature=83 degC", "engine_speed=1726 rpm"}, values(s.Module("7E8"))); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"coolant_temperature=83 degC"}, values(s.Module("18DAF110"))); d != "" {
		t.Error(d)
	}
	if p := s.Module("7E8").Series("engine_speed"); p.Samples[0].Time != 1700000000_012345000 || p.Samples[1].Time != 1700000000_100000000 || !p.HasTime {
		t.Errorf("%+v", p)
	}
}

// A log of service 01 polling becomes a parameter log: one series for each
// parameter, with times and places, modules kept apart.
func TestPollingBecomesSeries(t *testing.T) {
	var text strings.Builder
	for i := range 50 {
		fmt.Fprintf(&text, "(%d.000000) can0 7DF#02010C0000000000\n(%d.010000) can0 7E8#04410C%04XAAAAAA\n(%d.012000) can0 7E9#04410C%04XAAAAAA\n", 100+i, 100+i, 4*(800+i), 100+i, 4*(801+i))
	}
	s := session(t, text.String())
	if len(s.Modules) != 2 || len(s.Notes) != 0 || !s.HasTime || s.Last-s.First != 49_012_000_000 {
		t.Fatalf("%d modules, %v, %d", len(s.Modules), s.Notes, s.Last-s.First)
	}
	for k, m := range s.Modules {
		p := m.Series("engine_speed")
		if len(p.Samples) != 50 {
			t.Fatalf("%d samples", len(p.Samples))
		}
		for i, x := range p.Samples {
			if x.Value != float64(800+i+k) || x.Time != int64(100+i)*1e9+10e6+int64(k)*2e6 || x.Source.Line != 3*i+2+k {
				t.Fatalf("module %d sample %d: %+v", k, i, x)
			}
		}
	}
	if m, p := s.Find("engine_speed"); m != s.Modules[0] || p == nil {
		t.Error("Find")
	}
	if _, p := s.Find("oil_temperature"); p != nil {
		t.Error("a parameter that was not read")
	}
}

// Two vehicles in one capture are flagged.
func TestMixedVehicles(t *testing.T) {
	one := "7E8 10 14 49 02 01 31 47 31\n7E8 21 4A 43 35 34 34 34 52\n7E8 22 37 32 35 32 33 36 37\n"
	if s := session(t, one+one); s.MixedVehicles || len(s.VINs) != 1 || len(s.Notes) != 0 {
		t.Errorf("%v %v", s.VINs, s.Notes)
	}
	other := fmt.Sprintf("014\n0: 49 02 01 %X\n1: %X\n2: %X\n", "1G4", "AH59H45", "G118341")
	s := session(t, one+other)
	if !s.MixedVehicles || len(s.VINs) != 2 || !strings.Contains(noteTexts(s), "mixes vehicles") {
		t.Errorf("%v %s", s.VINs, noteTexts(s))
	}
}

// A VIN whose check digit does not fit is kept, with a hint; one that is no VIN
// is shown as text, with a note.
func TestVINsWithFaults(t *testing.T) {
	hexOf := func(v string) string { return fmt.Sprintf("4902 01%X\n", v) }
	s := session(t, hexOf("1G4AH59H45G118342"))
	if len(s.VINs) != 1 || !strings.Contains(noteTexts(s), "check digit would be 6") {
		t.Errorf("%v %s", s.VINs, noteTexts(s))
	}
	s = session(t, hexOf("1G4AH59H45G1I8341"))
	if len(s.VINs) != 0 || s.Modules[0].Info[0].Values[0] != "1G4AH59H45G1I8341" || !strings.Contains(noteTexts(s), "'I' at position 13") {
		t.Errorf("%v %s", s.VINs, noteTexts(s))
	}
	// Older buses: five messages of four characters, the first with three zero bytes.
	s = session(t, "49 02 01 00 00 00 31\n49 02 02 47 31 4A 43\n49 02 03 35 34 34 34\n49 02 04 52 37 32 35\n49 02 05 32 33 36 37\n")
	if len(s.VINs) != 1 || s.VINs[0] != "1G1JC5444R7252367" || len(s.Notes) != 0 {
		t.Errorf("%v %s", s.VINs, noteTexts(s))
	}
}

// What is not known is kept raw and said once.
func TestUnknownIsKept(t *testing.T) {
	s := session(t, "7E8 04 41 F3 12 34\n7E8 04 41 F3 12 35\n7E8 06 41 0C 1A F8 F4 01\n7E8 03 62 F1 90\n7E0 02 3E 00\n7E8 10 0A 46 E5 90 70 00 2A\n7E8 21 00 00 00 40\n7E8 06 42 F3 00 01 02 03\n49 0D 01 41 42\n7E8 04 59 06 01 02\n")
	m := s.Module("7E8")
	var raw []string
	for _, r := range m.Raw {
		raw = append(raw, r.Data.Text())
	}
	if d := cmp.Diff([]string{"F3 12 34", "F3 12 35", "F4 01", "62 F1 90", "F3 00 01 02 03", "59 06 01 02"}, raw); d != "" {
		t.Error(d)
	}
	if len(s.Raw) != 1 || s.Raw[0].Data.Text() != "3E 00" {
		t.Errorf("%+v", s.Raw)
	}
	if got := m.Monitors[0].String(); got != "MID E5 TID 90: raw 002A, min 0000, max 0040, scaling 70 not known -> pass" {
		t.Error(got)
	}
	if len(m.FreezeFrames) != 1 || len(m.FreezeFrames[0].Unknown) != 1 || m.FreezeFrames[0].Unknown[0].PID != 0xF3 {
		t.Errorf("%+v", m.FreezeFrames)
	}
	if n := s.Module(""); n == nil || n.Info[0].Name != "unknown info type 0D" || n.Info[0].Values[0] != "41 42" {
		t.Errorf("%+v", n)
	}
	if n := strings.Count(noteTexts(s), "parameter F3 is not in our tables"); n != 1 {
		t.Errorf("said %d times:\n%s", n, noteTexts(s))
	}
}

// Traps of standards.md section 11, one by one.
func TestTraps(t *testing.T) {
	one := func(pid byte, i int, data ...byte) Value { return DecodePID(pid, data)[i] }
	// Values are held in SI, with both units named.
	if p := session(t, "41 31 01 00\n41 05 7B\n").Modules[0].Parameters; p[1].SIUnit != "m" || p[1].Unit != "km" || p[1].Samples[0].Value != 256_000 || p[0].SIUnit != "degC" {
		t.Errorf("%+v", p)
	}
	// PID 13: bit 0 is bank 1 sensor 1; PID 1D counts in pairs.
	if got := fmt.Sprint(Sensors(0x13, 0x01), Sensors(0x13, 0x80), Sensors(0x1D, 0x14)); got != "[B1S1] [B2S4] [B2S1 B3S1]" {
		t.Error(got)
	}
	// PID 1E: bit 0, not bit 7.
	if one(0x1E, 0, 0x01).Number != 1 || one(0x1E, 0, 0x80).Number != 0 {
		t.Error("PID 1E")
	}
	// PID 32: one signed 16-bit number.
	if v := one(0x32, 0, 0x00, 0xFF).Number; v != 63.75 {
		t.Error("PID 32", v)
	}
	// PID 54: two's complement.
	if v := one(0x54, 0, 0xFF, 0xFF).Number; v != -1 {
		t.Error("PID 54", v)
	}
	// PID 24: 8/65536 and 8/65535 differ by 0.12 mV at full scale.
	if v := one(0x24, 1, 0, 0, 0xFF, 0xFF).Number; math.Abs(v-8) > 0.00013 {
		t.Error("PID 24", v)
	}
	// Trim byte FF: the sensor is not used for trim.
	if v := one(0x15, 1, 0x5A, 0xFF); !v.NotUsed {
		t.Error("PID 15")
	}
	// Service 03: count byte, padding and 0000 pairs are not codes.
	s := session(t, "7E8 10 0C 43 02 03 01 01 71\n7E8 21 00 00 00 00 00 00\n")
	if got := codesOf(s.Modules[0].Latest(Confirmed)); got != "P0301 P0171" || len(s.Notes) != 0 {
		t.Error(got, noteTexts(s))
	}
	// A count that does not fit is said.
	s = session(t, "7E8 06 43 03 03 01 01 71\n")
	if !strings.Contains(noteTexts(s), "counts 3 codes and lists 2") {
		t.Error(noteTexts(s))
	}
	// Without ids but with transport bytes; 22 37 .. is not service 22 here.
	s = session(t, "10 14 49 02 01 31 47 31\n21 4A 43 35 34 34 34 52\n22 37 32 35 32 33 36 37\n")
	if len(s.VINs) != 1 || len(s.Notes) != 0 {
		t.Error(s.VINs, noteTexts(s))
	}
	// Without count byte (older buses): an even number of bytes after the service.
	s = session(t, "43 03 01 01 71 00 00\n")
	if got := codesOf(s.Modules[0].Latest(Confirmed)); got != "P0301 P0171" || !strings.Contains(noteTexts(s), "without a count byte") {
		t.Error(got)
	}
	// Several enum bits at once are invalid.
	if v := one(0x03, 0, 0x03, 0x00); !strings.HasPrefix(v.Text, "invalid") {
		t.Error(v.Text)
	}
}

// Oxygen sensors get their place from PID 13 or 1D, wherever in the capture.
func TestOxygenSensorPlaces(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"41 16 5A 80\n41 13 33\n", "B1S3"},
		{"41 1D 33\n41 16 5A 80\n", "B2S1"},
		{"41 16 5A 80\n", "B0S0"},
		{"41 13 33\n41 1D 33\n41 16 5A 80\n", "B1S3"},
	} {
		s := session(t, c.text)
		if got := s.Modules[0].Series("o2_3_voltage").Place.String(); got != c.want {
			t.Errorf("%q: %s, want %s", c.text, got, c.want)
		}
		if strings.Contains(c.text, "13 33\n41 1D") != strings.Contains(noteTexts(s), "count oxygen sensors differently") {
			t.Error(noteTexts(s))
		}
	}
	s := session(t, "41 15 5A FF\n41 15 5A 80\n")
	if p := s.Modules[0].Series("o2_2_trim"); p.NotUsed != 1 || len(p.Samples) != 1 || p.Samples[0].Value != 0 {
		t.Errorf("%+v", p)
	}
}

// Trap: PIDs 4F and 50 rescale others. The values are kept, with a hint.
func TestRescalingHint(t *testing.T) {
	s := session(t, "41 24 80 00 80 00\n41 0B 64\n41 10 01 F4\n41 4F 04 00 00 33\n41 50 00 00 00 00\n")
	m := s.Modules[0]
	for id, factor := range map[string]float64{"o2_1_lambda_v": 2, "o2_1_wide_voltage": 0, "manifold_pressure": 2, "air_flow": 0} {
		if p := m.Series(id); p.Factor != factor || (p.Hint != "") != (factor != 0) {
			t.Errorf("%s: %v %q", id, p.Factor, p.Hint)
		}
	}
	if p := m.Series("manifold_pressure"); p.Samples[0].Value != 100_000 || !strings.Contains(p.Hint, "510 kPa as the maximum (PID 4F) where 255 is usual") {
		t.Error(p.Hint)
	}
}

// The request decides how an answer with several ids is cut.
func TestAnswersCutByRequest(t *testing.T) {
	for _, c := range []struct {
		text string
		want []string
		raw  int
	}{
		{"41 06 80 90\n", []string{"short_trim_bank1=0 %", "short_trim_bank3=12.5 %"}, 0},
		{">01 06 07\n41 06 80 07 90\n", []string{"short_trim_bank1=0 %", "long_trim_bank1=12.5 %"}, 0},
		{"41 56 7F\n", []string{"long_trim_second_bank1=-0.78125 %"}, 0}, // one byte: recorded vehicle answers
		{"41 05 7B 00 00 00 00\n", []string{"coolant_temperature=83 degC"}, 0},
		{"7E8 07 41 05 7B 0C 1A F8 0D\n", []string{"coolant_temperature=83 degC", "engine_speed=1726 rpm"}, 1},
		{"42 0C 00 20 80 04 00 80 05 00 28\n", nil, 0},
	} {
		s := session(t, c.text)
		m := s.Modules[0]
		if d := cmp.Diff(c.want, values(m)); d != "" || len(m.Raw) != c.raw {
			t.Errorf("%q: %s raw %+v", c.text, d, m.Raw)
		}
	}
}

// Interleaved modules, a lost frame, a repeated frame: what is whole is decoded,
// the rest is noted.
func TestInterleavedSession(t *testing.T) {
	s := session(t, `7E8 10 14 49 02 01 31 47 31
7E9 10 0B 49 0A 01 54 43 4D
7E8 21 4A 43 35 34 34 34 52
7E8 21 4A 43 35 34 34 34 52
7E9 21 00 54 43 4D 00 AA AA
7E8 22 37 32 35 32 33 36 37
7EA 10 14 49 02 01 31 47 31
7EA 22 37 32 35 32 33 36 37
`)
	if len(s.VINs) != 1 || s.Module("7E9").Name != "TCM" || s.Module("7EA") != nil {
		t.Errorf("%v %+v", s.VINs, s.Modules)
	}
	if got := s.Module("7E9").Info[0].Values; len(got) != 2 || got[0] != "TCM" {
		t.Errorf("%q", got)
	}
	notes := noteTexts(s)
	for _, want := range []string{"4: 7E8: consecutive frame 1 repeated", "8: 7EA: consecutive frame 2 came where 1 was due"} {
		if !strings.Contains(notes, want) {
			t.Errorf("no %q in\n%s", want, notes)
		}
	}
}

func TestCalibrationAndCounters(t *testing.T) {
	s := session(t, fmt.Sprintf("49 04 01 %X%s\n49 06 01 1A 2B 3C 4D\n49 00 55 40 00 00\n49 00 01 55 40 00 00\n", "CAL-0001.V2", strings.Repeat("00", 5)))
	m := s.Modules[0]
	if len(s.Notes) != 0 || m.Info[0].Values[0] != "CAL-0001.V2" || m.Info[1].Values[0] != "1A2B3C4D" || m.SupportedInfo.Text() != "02 04 06 08 0A" {
		t.Errorf("%+v %s\n%s", m.Info, m.SupportedInfo.Text(), noteTexts(s))
	}
	s = session(t, "49 04 02 41 42\n")
	if !strings.Contains(noteTexts(s), "2 items of 16 bytes are announced and 2 bytes are there") {
		t.Error(noteTexts(s))
	}
}

func TestTimeRunsBack(t *testing.T) {
	s := session(t, "(10.0) can0 7E8#03410500\n(9.5) can0 7E8#03410500\n")
	if !strings.Contains(noteTexts(s), "time runs back by 0.500 s") || s.First != 9_500_000_000 {
		t.Error(noteTexts(s))
	}
}

// The same capture gives the same bytes, and they are valid JSON.
func TestDeterministic(t *testing.T) {
	a, err := json.Marshal(session(t, savedFirst))
	if err != nil {
		t.Fatal(err)
	}
	for range 5 {
		if b, _ := json.Marshal(session(t, savedFirst)); string(a) != string(b) {
			t.Fatal("the same capture gave other bytes")
		}
	}
}

func TestReadMessages(t *testing.T) {
	s := ReadMessages([]isotp.Message{{ID: 0x7E8, Data: []byte{0x41, 0x05, 0x7B}}, {ID: 0x7E8}, {NoID: true, Dir: canlog.Rx, Data: []byte{0x44}}})
	if len(s.Modules) != 2 || s.Messages != 2 || s.Modules[0].Series("coolant_temperature").Samples[0].Value != 83 || len(s.Clears) != 1 {
		t.Errorf("%+v", s)
	}
}

// Without ids two modules' answers look alike; that is said, once.
func TestTwoModulesWithoutIDs(t *testing.T) {
	s := session(t, ">0100\n41 00 BE 1F A8 13\n41 00 98 18 80 01\n>010C\n41 0C 1A F8\n41 0C 1A F0\n")
	if n := strings.Count(noteTexts(s), "cannot be told apart"); n != 1 {
		t.Errorf("said %d times", n)
	}
	s = session(t, "41 0C 1A F8\n41 0C 1A F0\n") // answers only: polling without the requests
	if len(s.Notes) != 0 {
		t.Error(noteTexts(s))
	}
}

func TestOlderFraming(t *testing.T) {
	for _, line := range []string{"84 F1 10 41 0C 1A F8 E4", "82 10 F1 01 0C 90", "48 6B 10 41 0C 1A F8 E4", "68 6A F1 01 0C D0"} {
		s := session(t, line+"\n")
		if len(s.Raw) != 0 || len(s.Modules) != 1 || len(s.Modules[0].Raw) != 1 || s.Modules[0].Raw[0].Data.Text() != line || !strings.Contains(noteTexts(s), "older bus") {
			t.Errorf("%s: %+v %s", line, s.Modules, noteTexts(s))
		}
	}
}
