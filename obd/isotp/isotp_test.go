package isotp

import (
	"encoding/hex"
	"fmt"
	"strings"
	"testing"
	"time"

	"proveout/obd/canlog"
	"proveout/published"
)

// frame makes a record from "7E8 04 41 0C 1A F8".
func frame(t testing.TB, i int, line string) canlog.Record {
	t.Helper()
	id, rest, _ := strings.Cut(line, " ")
	data, err := hex.DecodeString(strings.ReplaceAll(rest, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	r := canlog.Record{Index: i, Line: i + 1, LastLine: i + 1, Byte: int64(100 * i), Data: data}
	if len(id) == 8 {
		r.Flags |= canlog.Extended
	}
	if _, err := fmt.Sscanf(id, "%X", &r.ID); err != nil {
		t.Fatal(err)
	}
	return r
}

// run feeds frames and gives "7E8:hex" for each message, and the notes.
func run(t testing.TB, opt Options, lines ...string) ([]Message, []canlog.Note) {
	t.Helper()
	a := New(opt)
	var out []Message
	for i, l := range lines {
		r := frame(t, i, l)
		if m, ok := a.Add(&r); ok {
			out = append(out, m)
		}
	}
	a.Flush()
	return out, a.Notes()
}

func show(ms []Message) string {
	var s []string
	for _, m := range ms {
		s = append(s, fmt.Sprintf("%X:%X", m.ID, m.Data))
	}
	return strings.Join(s, " ")
}

// Every row of isotp_examples.csv: the bytes on the wire and the message inside.
func TestExamples(t *testing.T) {
	want := map[string]string{
		"VIN request":        "7DF:0902",
		"VIN first frame":    "",
		"flow control":       "",
		"consecutive 1":      "",
		"consecutive 2":      "7E8:" + hex20("49 02 01", "1G1JC5444R7252367"),
		"confirmed DTCs":     "7E8:430203010171",
		"no DTCs":            "7E8:4300",
		"3 DTCs first frame": "",
		"3 DTCs consecutive": "7E8:4303030003010303",
		"clear refused":      "7E8:7F0422",
		"response pending":   "7E8:7F0978",
		"clear accepted":     "7E8:44",
		"permanent DTC":      "7E8:4A010301",
		"multi-PID":          "7E8:410C1AF8057B0480" + "0F", // see below
	}
	// The table counts 41 0C xx xx 05 xx 04 xx as 9; they are 8 bytes, so the
	// declared length 9 takes one more byte (0F) and only 3C is beyond it. What
	// the decoder makes of the left-over 0F is tested in package obd.
	a := New(Options{})
	i := 0
	for _, row := range published.Rows(t, "isotp_examples.csv", 14) {
		got := ""
		for _, part := range strings.Split(row[2], " + ") {
			r := frame(t, i, row[1]+" "+part)
			i++
			if m, ok := a.Add(&r); ok {
				got += show([]Message{m})
			}
		}
		w, ok := want[row[0]]
		if !ok {
			t.Errorf("row %q has no expectation", row[0])
		}
		if got != w {
			t.Errorf("%s: %q, want %q", row[0], got, w)
		}
	}
	a.Flush()
	if len(a.Notes()) != 0 || a.FlowControls() != 1 {
		t.Errorf("notes %v, flow controls %d", a.Notes(), a.FlowControls())
	}
}

func hex20(head, text string) string {
	return strings.ReplaceAll(head, " ", "") + fmt.Sprintf("%X", text)
}

// Every row of isotp_fc_params.csv. Trap (standards.md 11): reserved separation
// times are 127 ms, not an error and not 0.
func TestFlowControl(t *testing.T) {
	check := map[string]func() error{
		"00-7F": func() error {
			return times(0x00, 0x7F, func(b byte) time.Duration { return time.Duration(b) * time.Millisecond })
		},
		"80-F0": func() error { return times(0x80, 0xF0, func(byte) time.Duration { return 127 * time.Millisecond }) },
		"F1-F9": func() error {
			return times(0xF1, 0xF9, func(b byte) time.Duration { return time.Duration(b-0xF0) * 100 * time.Microsecond })
		},
		"FA-FF": func() error { return times(0xFA, 0xFF, func(byte) time.Duration { return 127 * time.Millisecond }) },
		"BS=0":  func() error { return block(0) },
		"BS=1..255": func() error {
			for b := 1; b <= 255; b++ {
				if err := block(byte(b)); err != nil {
					return err
				}
			}
			return nil
		},
	}
	for _, row := range published.Rows(t, "isotp_fc_params.csv", 6) {
		f, ok := check[row[0]]
		if !ok {
			t.Errorf("row %q has no check", row[0])
		} else if err := f(); err != nil {
			t.Errorf("%s: %v", row[0], err)
		}
	}
	// Block size and time are ignored for wait and overflow (isotp_frames.csv).
	for _, s := range []FlowStatus{Wait, Overflow} {
		f, err := DecodeFlowControl([]byte{0x30 | byte(s), 8, 20})
		if err != nil || f != (FlowControl{Status: s}) {
			t.Errorf("status %d: %+v %v", s, f, err)
		}
	}
	for _, b := range [][]byte{{0x33, 0, 0}, {0x30, 0}, {0x20, 0, 0}, {}} {
		if _, err := DecodeFlowControl(b); err == nil {
			t.Errorf("% X taken for flow control", b)
		}
	}
}

func times(from, to int, want func(byte) time.Duration) error {
	for b := from; b <= to; b++ {
		if got := SeparationTime(byte(b)); got != want(byte(b)) {
			return fmt.Errorf("%02X: %v", b, got)
		}
	}
	return nil
}

func block(b byte) error {
	f, err := DecodeFlowControl([]byte{0x30, b, 0})
	if err != nil || f.BlockSize != b || f.Status != Continue {
		return fmt.Errorf("%d: %+v %v", b, f, err)
	}
	return nil
}

// The isotp rows of the library vectors. One deviation is named: the lenient
// library hands out 27 bytes of a message that declares 32.
func TestLibraryVectors(t *testing.T) {
	for _, row := range published.Rows(t, "library_isotp.csv", 9) {
		var lines []string
		for _, f := range strings.Split(row[1], "|") {
			id, b, _ := strings.Cut(f, ":")
			lines = append(lines, id+" "+b)
		}
		ms, notes := run(t, Options{}, lines...)
		want := row[3]
		switch {
		case strings.HasPrefix(row[7], "NOTE declared length 0x020=32"):
			if len(ms) != 0 || len(notes) != 1 || !strings.Contains(notes[0].Text, "27 of 32 bytes") || !notes[0].Lost {
				t.Errorf("%s: an incomplete message must be reported: %s %v", row[1], show(ms), notes)
			}
		case row[2] == "messages":
			if show(ms) != "7E8:410000010203 7EB:410000010203 7EA:410000010203" {
				t.Errorf("%s: %s", row[1], show(ms))
			}
		case want == "":
			if len(ms) != 0 || len(notes) == 0 {
				t.Errorf("%s (%s): %s, notes %v", row[1], row[7], show(ms), notes)
			}
		default:
			if show(ms) != "7E8:"+want || len(notes) != 0 {
				t.Errorf("%s: %s, want %s; notes %v", row[1], show(ms), want, notes)
			}
		}
	}
}

// segment cuts a message into frames as a sender does.
func segment(id string, data []byte) []string {
	if len(data) <= 7 {
		return []string{fmt.Sprintf("%s %02X%X", id, len(data), data)}
	}
	out := []string{fmt.Sprintf("%s %04X%X", id, 0x1000|len(data), data[:6])}
	for sn, rest := 1, data[6:]; len(rest) > 0; sn++ {
		n := min(7, len(rest))
		b := append([]byte{0x20 | byte(sn&15)}, rest[:n]...)
		for len(b) < 8 {
			b = append(b, 0xAA)
		}
		out = append(out, fmt.Sprintf("%s %X", id, b))
		rest = rest[n:]
	}
	return out
}

func pattern(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(i * 7)
	}
	return b
}

// Sequence-number wrap (standards.md 4): 200 bytes are one first frame and 28
// consecutive frames; the last has number C.
func TestSequenceWraps(t *testing.T) {
	lines := segment("7E8", pattern(200))
	if len(lines) != 29 || !strings.HasPrefix(lines[28], "7E8 2C") {
		t.Fatalf("%d frames, last %s", len(lines), lines[len(lines)-1])
	}
	ms, notes := run(t, Options{}, lines...)
	if len(ms) != 1 || string(ms[0].Data) != string(pattern(200)) || len(notes) != 0 || ms[0].Frames != 29 || ms[0].Line != 1 || ms[0].LastLine != 29 {
		t.Errorf("%d messages, notes %v", len(ms), notes)
	}
}

func TestInterleavedModules(t *testing.T) {
	a, b, c := segment("7E8", pattern(40)), segment("7E9", pattern(33)), segment("18DAF110", pattern(26))
	var mixed []string
	for i := 0; i < 6; i++ {
		for _, s := range [][]string{a, b, c} {
			if i < len(s) {
				mixed = append(mixed, s[i])
			}
		}
	}
	ms, notes := run(t, Options{}, mixed...)
	want := fmt.Sprintf("18DAF110:%X 7E9:%X 7E8:%X", pattern(26), pattern(33), pattern(40))
	if show(ms) != want || len(notes) != 0 {
		t.Errorf("%s\nwant %s\n%v", show(ms), want, notes)
	}
}

func TestFaultyTransfers(t *testing.T) {
	v := segment("7E8", pattern(20)) // first frame and two consecutive
	ok := fmt.Sprintf("7E8:%X", pattern(20))
	for _, c := range []struct {
		name  string
		lines []string
		want  string
		notes []string // text and line "n: text"
	}{
		{"frame lost", []string{v[0], v[2], "7E8 0144"}, "7E8:44", []string{"2: *came where 1 was due: 1 lost", "2: 1 consecutive"}},
		{"last frame lost", []string{v[0], v[1], "7E8 0144"}, "7E8:44", []string{"3: *a new single frame began; the message that began in line 1 with 13 of 20"}},
		{"first frame lost", []string{v[1], v[2], "7E8 0144"}, "7E8:44", []string{"1: 2 consecutive frame(s)"}},
		{"frame repeated", []string{v[0], v[1], v[1], v[2]}, ok, []string{"3: *repeated"}},
		{"last frame repeated", []string{v[0], v[1], v[2], v[2]}, ok, []string{"4: *repeated after"}},
		{"first frame repeated", []string{v[0], v[0], v[1], v[2]}, ok, []string{"2: *first frame repeated"}},
		{"same number, other bytes", []string{v[0], v[1], "7E8 2100000000000000", v[2]}, "", []string{"3: *came twice with different bytes", "3: 2 consecutive"}},
		{"out of order", []string{v[0], v[2], v[1]}, "", []string{"2: *came where 1 was due", "2: 2 consecutive"}},
		{"capture ends", v[:2], "", []string{"2: the capture ends inside the message that began in line 1: 13 of 20"}},
		{"short frame inside", []string{v[0], "7E8 21010203", v[2]}, "", []string{"2: *although 14 are still due", "3: 1 consecutive"}},
		{"reserved transport byte", []string{"7E8 4100000000000000"}, "", []string{"1: *41 is reserved"}},
		{"length fits a single frame", []string{"7E8 1007010203040506"}, "", []string{"1: *fit a single frame"}},
		{"single frame too long", []string{"7E8 0801020304050607"}, "", []string{"1: *length 8 is not valid"}},
		{"single frame cut", []string{"7E8 0441"}, "", []string{"1: *says 4 bytes and holds 1"}},
		{"overflow", []string{v[0], "7E0 32"}, "", []string{"2: *not a flow control", "1: the capture ends"}},
		{"long form used for a short message", []string{"7E8 1000000000FF0102"}, "", []string{"1: *long form"}},
		{"absurd length", []string{"7E8 1000FFFFFFFF0102"}, "", []string{"1: *announces 4294967295 bytes"}},
		{"other traffic", []string{"123 0102", "124 0102", "123 0102"}, "", []string{"1: 3 frame(s) of 2 other"}},
	} {
		ms, notes := run(t, Options{}, c.lines...)
		if show(ms) != c.want {
			t.Errorf("%s: %s, want %s", c.name, show(ms), c.want)
		}
		var got []string
		for _, n := range notes {
			got = append(got, fmt.Sprintf("%d: %s", n.Line, n.Text))
		}
		if len(got) != len(c.notes) {
			t.Errorf("%s: notes %q, want %q", c.name, got, c.notes)
			continue
		}
		for _, w := range c.notes {
			line, text, _ := strings.Cut(w, ": ")
			found := false
			for _, g := range got {
				found = found || strings.HasPrefix(g, line+": ") && strings.Contains(g, strings.TrimPrefix(text, "*"))
			}
			if !found {
				t.Errorf("%s: no note %q in %q", c.name, w, got)
			}
		}
	}
	// A first frame during a reception drops the old one and starts the new one.
	other := segment("7E8", append([]byte{1}, pattern(19)...))
	ms, notes := run(t, Options{}, v[0], v[1], other[0], other[1], other[2])
	if show(ms) != fmt.Sprintf("7E8:01%X", pattern(19)) || len(notes) != 1 || !notes[0].Lost || notes[0].Line != 3 {
		t.Errorf("new first frame: %s %v", show(ms), notes)
	}
}

func TestLongForms(t *testing.T) {
	// Escape first frame: 5,000 bytes (32-bit length).
	data := pattern(5000)
	lines := []string{fmt.Sprintf("7E8 1000%08X%X", 5000, data[:2])}
	for sn, rest := 1, data[2:]; len(rest) > 0; sn++ {
		n := min(7, len(rest))
		lines = append(lines, fmt.Sprintf("7E8 2%X%X%s", sn&15, rest[:n], strings.Repeat("AA", 7-n)))
		rest = rest[n:]
	}
	ms, notes := run(t, Options{}, lines...)
	if len(ms) != 1 || string(ms[0].Data) != string(data) || len(notes) != 0 {
		t.Errorf("%d messages, %v", len(ms), notes)
	}
	if ms, notes = run(t, Options{MaxLength: 4095}, lines[0]); len(ms) != 0 || len(notes) != 1 || !notes[0].Lost {
		t.Errorf("cap: %v %v", ms, notes)
	}
	// Escape single frame in a CAN FD frame.
	fd := pattern(20)
	if ms, notes = run(t, Options{}, fmt.Sprintf("7E8 0014%X0000", fd)); show(ms) != fmt.Sprintf("7E8:%X", fd) || len(notes) != 0 {
		t.Errorf("%s %v", show(ms), notes)
	}
	// Address byte: single frames hold 6.
	ms, _ = run(t, Options{AddressByte: true, Accept: func(uint32, bool) bool { return true }}, "6F1 1203220102")
	if show(ms) != "6F1:220102" {
		t.Errorf("%s", show(ms))
	}
}

func TestLateFrameIsNoted(t *testing.T) {
	a := New(Options{})
	for i, l := range segment("7E8", pattern(20)) {
		r := frame(t, i, l)
		r.Flags |= canlog.HasTime
		r.Time = int64(i) * 1_200_000_000
		if m, ok := a.Add(&r); ok && (m.Time != 0 || m.End != 2_400_000_000) {
			t.Errorf("times %d %d", m.Time, m.End)
		}
	}
	if n := a.Notes(); len(n) != 2 || !strings.Contains(n[0].Text, "1.2 s after") {
		t.Errorf("%v", n)
	}
}

// Frames that carry no message are counted or noted, never taken for one.
func TestOtherFrames(t *testing.T) {
	a := New(Options{})
	for i, r := range []canlog.Record{
		{ID: 4, Flags: canlog.Error, Data: []byte{0, 1}},
		{ID: 0x7E8, Flags: canlog.Remote},
		{ID: 0x7E8},
		{ID: 0x7E8, Data: []byte{0x10}},
		{ID: 0x7E8, Data: []byte{0x10, 0x00, 0, 0}},
		{ID: 0x7E8, Data: []byte{0x10, 0x14, 0x49}},
		{ID: 0x7E0, Data: []byte{0x32, 0, 0}},
		{ID: 0x18DB33F1, Flags: canlog.Extended, Data: []byte{0x40}},
		{Flags: canlog.NoID, Data: []byte{0x50}},
	} {
		r.Index = i
		if m, ok := a.Add(&r); ok {
			t.Errorf("frame %d gave %X", i, m.Data)
		}
	}
	a.Flush()
	var got []string
	for _, n := range a.Notes() {
		got = append(got, fmt.Sprintf("%d %s", n.Index, n.Text))
	}
	want := []string{"0 2 error or remote frame(s) on the bus; this is the first", "2 7E8: frame without data", "3 7E8: first frame without its length", "4 7E8: first frame without its 32-bit length",
		"5 7E8: first frame of 3 bytes is cut short (8 are due); it is ignored", "6 7E0: flow control says the message is too long for the receiver: it was not sent on",
		"7 18DB33F1: transport byte 40 is reserved: not a diagnostic frame", "8 frame without id: transport byte 50 is reserved: not a diagnostic frame"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s", strings.Join(got, "\n"))
	}
	// The message of a hex line passes through with its own bytes.
	r := canlog.Record{Kind: canlog.Message, Flags: canlog.NoID, Data: []byte{0x41, 0x00}, Line: 3, LastLine: 5}
	m, ok := a.Add(&r)
	r.Data[0] = 0
	if !ok || m.Data[0] != 0x41 || m.Frames != 0 || m.Line != 3 || m.LastLine != 5 || !m.NoID {
		t.Errorf("%+v", m)
	}
	// Address byte: missing, and a first frame that fits (6 bytes).
	b := New(Options{AddressByte: true})
	b.Add(&canlog.Record{ID: 0x7E8})
	b.Add(&canlog.Record{ID: 0x7E8, Data: []byte{0xF1, 0x10, 0x06, 1, 2, 3, 4, 5}})
	if n := b.Notes(); len(n) != 2 || !strings.Contains(n[0].Text, "address byte is missing") || !strings.Contains(n[1].Text, "fit a single frame") {
		t.Errorf("%+v", n)
	}
}
