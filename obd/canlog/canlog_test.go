package canlog

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"os"
	"proveout/published"
	"strings"
	"testing"
	"testing/iotest"
)

func read(t *testing.T, text string) *Log {
	t.Helper()
	l, err := ReadAll(strings.NewReader(text), Options{})
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	return l
}

// describe writes a record the way the tests state it.
func describe(r Record) string {
	var b strings.Builder
	if r.Is(HasTime) {
		fmt.Fprintf(&b, "t=%d.%06d ", r.Time/1e9, r.Time%1e9/1e3)
	}
	if r.Bus != "" {
		fmt.Fprintf(&b, "%s ", r.Bus)
	}
	b.WriteString([]string{"", "rx ", "tx "}[r.Dir])
	switch {
	case r.Is(NoID):
	case r.Is(Error):
		fmt.Fprintf(&b, "error %08X ", r.ID)
	case r.Is(Extended):
		fmt.Fprintf(&b, "%08X ", r.ID)
	default:
		fmt.Fprintf(&b, "%03X ", r.ID)
	}
	for f, s := range map[Flag]string{FD: "FD "} {
		if r.Is(f) {
			b.WriteString(s)
		}
	}
	if r.Is(BRS) {
		b.WriteString("BRS ")
	}
	if r.Is(ESI) {
		b.WriteString("ESI ")
	}
	if r.Is(Remote) {
		fmt.Fprintf(&b, "remote %d", r.DLC)
	} else if r.Kind == Message {
		b.WriteString("message " + hex.EncodeToString(r.Data))
	} else {
		fmt.Fprintf(&b, "[%d] %s", r.DLC, hex.EncodeToString(r.Data))
	}
	return strings.TrimSpace(b.String())
}

// Every row of the candump table (can-utils lib.h, candump.c).
func TestCandumpExamples(t *testing.T) {
	want := map[string]string{
		"(1700000000.000000) can0 7DF#02010C5555555555":      "t=1700000000.000000 can0 7DF [8] 02010c5555555555",
		"(1700000000.012345) can0 7E8#04410C1AF8AAAAAA":      "t=1700000000.012345 can0 7E8 [8] 04410c1af8aaaaaa",
		"(1700000000.1) can0 7E8#04410C1AF8AAAAAA":           "t=1700000000.100000 can0 7E8 [8] 04410c1af8aaaaaa",
		"(1700000001.000001) can1 18DAF110#0341057BAAAAAAAA": "t=1700000001.000001 can1 18DAF110 [8] 0341057baaaaaaaa",
		"(1700000002.000000) can0 123#R":                     "t=1700000002.000000 can0 123 remote 0",
		"(1700000002.000000) can0 123#R7":                    "t=1700000002.000000 can0 123 remote 7",
		"(1700000003.000000) vcan0 123##1112233":             "t=1700000003.000000 vcan0 123 FD BRS [3] 112233",
		"(1700000003.000000) vcan0 123##3":                   "t=1700000003.000000 vcan0 123 FD BRS ESI [0]",
		"(1700000003.000000) can0 123#1122334455667788_E":    "t=1700000003.000000 can0 123 [14] 1122334455667788",
		"(1700000004.000000) can0 20000004#0001000000000000": "t=1700000004.000000 can0 error 00000004 [8] 0001000000000000",
		"(1700000005.000000) can0 7E8#03.41.05.7B R":         "t=1700000005.000000 can0 rx 7E8 [4] 0341057b",
		"123#112": "byte 6: odd number of hex digits",
		"1234#11": `byte 0: CAN id "1234" must be 3 or 8 hex digits`,
	}
	all := published.Rows(t, "candump_examples.csv", 13)
	if len(all) != len(want) {
		t.Fatalf("%d rows, %d expectations", len(all), len(want))
	}
	for _, row := range all {
		w, ok := want[row[0]]
		if !ok {
			t.Errorf("row %q has no expectation", row[0])
			continue
		}
		l := read(t, row[0]+"\n")
		if strings.HasPrefix(row[1], "reject") {
			if len(l.Records) != 0 || len(l.Notes) != 1 || !l.Notes[0].Lost {
				t.Fatalf("%s: not rejected: %+v", row[0], l)
			}
			at, text, _ := strings.Cut(strings.TrimPrefix(w, "byte "), ": ")
			if fmt.Sprint(l.Notes[0].Byte) != at || !strings.Contains(l.Notes[0].Text, text) || l.Notes[0].Line != 1 {
				t.Errorf("%s: note %+v, want %s", row[0], l.Notes[0], w)
			}
			continue
		}
		if len(l.Records) != 1 || len(l.Notes) != 0 {
			t.Errorf("%s: %d records, notes %v", row[0], len(l.Records), l.Notes)
			continue
		}
		if got := describe(l.Records[0]); got != w {
			t.Errorf("%s\n got %s\nwant %s", row[0], got, w)
		}
		if string(l.Records[0].Raw) != row[0] {
			t.Errorf("raw %q", l.Records[0].Raw)
		}
	}
}

func TestTextForms(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		// Console form (candump.c).
		{"  can0  7E8   [8]  04 41 0C 1A F8 AA AA AA", "can0 7E8 [8] 04410c1af8aaaaaa"},
		{" (1700000000.000000)  can0  RX - -  7E8   [8]  04 41 0C 1A F8 AA AA AA", "t=1700000000.000000 can0 rx 7E8 [8] 04410c1af8aaaaaa"},
		{" (000.012345)  can0  TX B E  7E0  [03]  02 01 0C", "t=0.012345 can0 tx 7E0 FD BRS ESI [3] 02010c"},
		{" (2023-11-14 22:13:20.500000)  can0  18DAF110   [4]  03 41 05 7B", "t=1700000000.500000 can0 18DAF110 [4] 0341057b"},
		{"  can0  123   [8]  11 22 33 44 55 66 77 88   '.\"3DUfw.'", "can0 123 [8] 1122334455667788"},
		{"  can0  123   [4]  remote request", "can0 123 remote 4"},
		{"  can0  20000004   [8]  00 01 00 00 00 00 00 00   ERRORFRAME", "can0 error 00000004 [8] 0001000000000000"},
		// Hex lines.
		{"41 0C 1A F8", "message 410c1af8"},
		{"410C1AF8", "message 410c1af8"},
		{"41 0c 1a f8 \r", "message 410c1af8"},
		{">01 0C", "tx message 010c"},
		{"> 010C", "tx message 010c"},
		{"< 41 0C 1A F8", "rx message 410c1af8"},
		{"TX 7DF 02 01 0C 00 00 00 00 00", "tx 7DF [8] 02010c0000000000"},
		{"RX: 7E8 04 41 0C 1A F8", "rx 7E8 [5] 04410c1af8"},
		{"7E8 04 41 0C 1A F8", "7E8 [5] 04410c1af8"},
		{"7E8#04410C1AF8", "7E8 [5] 04410c1af8"},
		{"can0 7E8#04410C1AF8", "can0 7E8 [5] 04410c1af8"},
		{"7E804410C1AF8", "7E8 [5] 04410c1af8"},
		{"<- 41 05 7B", "rx message 41057b"},
		{"-> 01 05", "tx message 0105"},
		{"REQ: 01 05", "tx message 0105"},
		{"RSP: 41 05 7B", "rx message 41057b"},
		{"0x7E8: 0x04 0x41 0x0C 0x1A 0xF8", "7E8 [5] 04410c1af8"},
		{"7E8,8,04,41,0C,1A,F8,00,00,00", "7E8 [8] 04410c1af8000000"},
		{"0.012,RX,7E8,04 41 0C 1A F8 00 00 00", "t=0.012000 rx 7E8 [8] 04410c1af8000000"},
		{"7E8 41 0C 1A F8", "7E8 message 410c1af8"},
		{"7E8 8 04 41 0C 1A F8 AA AA AA", "7E8 [8] 04410c1af8aaaaaa"},
		{"18DAF110 03 41 05 7B", "18DAF110 [4] 0341057b"},
		{"18 DA F1 10 03 41 05 7B", "18DAF110 [4] 0341057b"},
		{"18DAF1100341057B", "18DAF110 [4] 0341057b"},
		{"04 41 0C 1A F8", "[5] 04410c1af8"},
		{"12:34:56.789 7E8 04 41 0C 1A F8", "t=45296.789000 7E8 [5] 04410c1af8"},
		{"1700000000.25 41 05 7B", "t=1700000000.250000 message 41057b"},
		{"2023-11-14 22:13:20.5 RX 41 05 7B", "t=1700000000.500000 rx message 41057b"},
		{"2023-11-14T22:13:20.5Z,7E8,03,41,05,7B", "t=1700000000.500000 7E8 [4] 0341057b"},
		{"[0.125] >0105", "t=0.125000 tx message 0105"},
		{"(0.125) 41 05 7B", "t=0.125000 message 41057b"},
		{"41 05 7B  # coolant", "message 41057b"},
		{"41 05 7B  // coolant", "message 41057b"},
		{"02 02 00", "message 020200"}, // service 02, PID 02, frame 00: not a single frame
		{"43 01 03 01", "message 43010301"},
		{"7F 04 22", "message 7f0422"},
		// Several lines.
		{"014\n0: 49 02 01 31 47 31\n1: 4A 43 35 34 34 34 52\n2: 37 32 35 32 33 36 37", "message 490201314731" + "4a433534343452" + "37323532333637"},
		{"014\n0:490201314731\n1:4A433534343452\n2:37323532333637AA", "message 490201314731" + "4a433534343452" + "37323532333637"},
		{"0: 41 00 BE 1F A8 13", "message 4100be1fa813"},
	} {
		l := read(t, c.in+"\n")
		if len(l.Records) != 1 || len(l.Notes) != 0 {
			t.Errorf("%q: %d records, notes %v", c.in, len(l.Records), l.Notes)
			continue
		}
		if got := describe(l.Records[0]); got != c.want {
			t.Errorf("%q\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}

// A bad line is noted with its place and everything around it is read.
func TestBadLinesAreNoted(t *testing.T) {
	text := "# a comment\n" +
		">010C\n" +
		"SEARCHING...\n" +
		"41 0C 1A F8\n" +
		"41 0C 1A F\n" +
		"41 0G 1A\n" +
		"\n" +
		"NO DATA\n" +
		"(17000x) can0 7E8#0341057B\n" +
		"can0 7E8 [8] 03 41 05\n" +
		"7E8#112233445566778899\n" +
		"00155#00:00:00000000#11\n" +
		"41 05 7B\n"
	l := read(t, text)
	if len(l.Records) != 3 || l.Records[1].Line != 4 || l.Records[2].Line != 13 {
		t.Fatalf("records %+v", l.Records)
	}
	want := []struct {
		line int
		at   string // text at the byte the note names
		lost bool
		text string
	}{
		{3, "SEARCHING", false, "not a message"},
		{5, "F\n", true, "half a byte"},
		{6, "G 1A", true, "not a hex digit"},
		{8, "NO DATA", false, "not a message"},
		{9, "17000x", true, "time stamp"},
		{10, "[8]", true, "cut short"},
		{11, "99\n", true, "more than 8"},
		{12, "00155#", true, "CAN XL"},
	}
	if len(l.Notes) != len(want) {
		t.Fatalf("notes %+v", l.Notes)
	}
	for i, w := range want {
		n := l.Notes[i]
		if n.Line != w.line || n.Lost != w.lost || !strings.Contains(n.Text, w.text) || !strings.HasPrefix(text[n.Byte:], w.at) {
			t.Errorf("note %d: %+v at %q, want %+v", i, n, text[n.Byte:min(int(n.Byte)+8, len(text))], w)
		}
	}
}

// Lines that look like one of the forms and are not: each gives one note that
// says why, and no record.
func TestRefusedLines(t *testing.T) {
	for line, why := range map[string]string{
		"  can0  7E8  [8]  04 41":                      "says 8 data bytes and holds 2",
		"  can0  7E  [1]  04":                          `CAN id "7E" must be`,
		"  can0  FFF  [1]  04":                         "more than 11 bits",
		"  can0  9FFFFFFF  [1]  04":                    "more than 29 bits",
		"  can0  7E8  [2]  04 4":                       "not a data byte",
		"  can0  7E8  [2048]  04 41":                   "CAN XL",
		" (yesterday)  can0  7E8  [1]  04":             "time stamp",
		"(1700000000.0000000001) can0 7E8#00":          "time stamp",
		"(99999999999.0) can0 7E8#00":                  "time stamp",
		"(1.) can0 7E8#00":                             "time stamp",
		"(1.0) can0 FFF#00":                            "more than 11 bits",
		"(1.0) can0 9FFFFFFF#00":                       "more than 29 bits",
		"(1.0) can0 7E8#0G":                            "odd number of hex digits",
		"(1.0) can0 7E8#00G0":                          "not a hex digit",
		"(1.0) can0 7E8##":                             "flag digit",
		"(1.0) can0 7E8##1" + strings.Repeat("00", 65): "more than 64",
		"(1.0) can0 7E8#R9":                            "not a hex digit",
		"7E8#1122334455667788_7":                       "not a hex digit",
		"41 0C 1A F8 zz":                               "not a hex digit",
		strings.Repeat("41 ", 4096):                    "more than 4095",
	} {
		l := read(t, line+"\n")
		if len(l.Records) != 0 || len(l.Notes) != 1 || !l.Notes[0].Lost || !strings.Contains(l.Notes[0].Text, why) {
			t.Errorf("%.60q: %d records, %+v, want %q", line, len(l.Records), l.Notes, why)
		}
	}
}

func TestNumberedLines(t *testing.T) {
	for _, c := range []struct {
		name, in string
		records  []string
		note     string
	}{
		{"two messages", "008\n0: 43 03 03 00 03 01\n1: 03 03 00\n\n>0101\n0: 41 01 00\n", []string{"message 4303030003010303", "tx message 0101", "message 410100"}, ""},
		{"next group right after", "0: 41 01\n0: 41 02\n", []string{"message 4101", "message 4102"}, ""},
		{"line missing", "014\n0: 49 02 01 31 47 31\n2: 37 32 35 32 33 36 37\n41 05 7B\n", []string{"message 41057b"}, "numbered line 2 where 1 was due"},
		{"last line missing", "014\n0: 49 02 01 31 47 31\n1: 4A 43 35 34 34 34 52\n>03\n", []string{"tx message 03"}, "should have 20 bytes and has 13"},
		{"length without lines", "014\n41 05 7B\n", []string{"message 41057b"}, "stands alone"},
	} {
		l := read(t, c.in)
		var got []string
		for _, r := range l.Records {
			got = append(got, describe(r))
		}
		if fmt.Sprint(got) != fmt.Sprint(c.records) {
			t.Errorf("%s: %q want %q", c.name, got, c.records)
		}
		if (c.note == "") != (len(l.Notes) == 0) || c.note != "" && (!strings.Contains(l.Notes[0].Text, c.note) || !l.Notes[0].Lost) {
			t.Errorf("%s: notes %+v", c.name, l.Notes)
		}
	}
	l := read(t, "014\n0: 49 02 01 31 47 31\n1: 4A 43 35 34 34 34 52\n2: 37 32 35 32 33 36 37\n")
	if r := l.Records[0]; r.Line != 1 || r.LastLine != 4 || !strings.HasPrefix(string(r.Raw), "014\n0: 49") {
		t.Errorf("place of a message over lines: %+v", r)
	}
}

func TestSniff(t *testing.T) {
	pcap, _ := os.ReadFile("testdata/example_can227.pcap")
	for _, c := range []struct {
		name, head string
		want       Format
		min, max   float64
	}{
		{"log", "(1700000000.000000) can0 7DF#02010C5555555555\n(1700000000.012345) can0 7E8#04410C1AF8AAAAAA\n", LogLine, 1, 1},
		{"console", "  can0  7E8   [8]  04 41 0C 1A F8 AA AA AA\n", Console, 1, 1},
		{"hex with ids", "# idle\n7E8 04 41 0C 1A F8\n", Hex, 1, 1},
		{"requests and answers", ">010C\n41 0C 1A F8\n>0105\n41 05 7B\n", Hex, 0.9, 1},
		{"with status text", ">0100\nSEARCHING...\n41 00 BE 1F A8 13\n>010C\n41 0C 1A F8\n>0105\nNO DATA\n>03\n43 00\n", Hex, 0.85, 1},
		{"numbered", ">0902\n014\n0: 49 02 01 31 47 31\n1: 4A 43 35 34 34 34 52\n2: 37 32 35 32 33 36 37\n", Hex, 0.9, 1},
		{"pcap", string(pcap), PCAP, 1, 1},
		{"table of numbers", "time,rpm\n0.1,800\n0.2,810\n0.3,820\n", Unknown, 0, 0.2},
		{"table of small whole numbers", "01,12\n02,13\n03,14\n04,15\n", Hex, 0, 0.35},
		{"table with three-digit first column", "100,80,12\n101,81,12\n", Hex, 0, 0.35},
		{"bare CRs", ">010C\r41 0C 1A F8 \r\r>0105\r41 05 7B \r\r>", Hex, 0.7, 1},
		{"prose", "The vehicle came in with a misfire.\n", Unknown, 0, 0},
		{"zero bytes", "\x00\x01\x02", Unknown, 0, 0},
		{"empty", "", Unknown, 0, 0},
	} {
		f, p := Sniff([]byte(c.head))
		if f != c.want || p < c.min || p > c.max {
			t.Errorf("%s: %q %.2f, want %q %.2f..%.2f", c.name, f, p, c.want, c.min, c.max)
		}
	}
}

func TestRefusedStreams(t *testing.T) {
	for name, c := range map[string]struct{ in, want string }{
		"empty":            {"", "empty"},
		"binary":           {"abc\x00def", "byte 3 is 0"},
		"pcap header only": {"\xD4\xC3\xB2\xA1\x02\x00", "ends in its header"},
		"ethernet":         {"\xD4\xC3\xB2\xA1\x02\x00\x04\x00\x00\x00\x00\x00\x00\x00\x00\x00\xFF\xFF\x00\x00\x01\x00\x00\x00", "link type 1"},
	} {
		_, err := ReadAll(strings.NewReader(c.in), Options{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestDeltas(t *testing.T) {
	l, err := ReadAll(strings.NewReader(" (000.100)  can0  7E8   [1]  01\n (000.250)  can0  7E8   [1]  01\n"), Options{Deltas: true})
	if err != nil || l.Records[1].Time != 350_000_000 {
		t.Errorf("%v %+v", err, l.Records)
	}
}

func TestNoteLimit(t *testing.T) {
	l := read(t, strings.Repeat("7E8#1\n", NoteLimit+10)+"41 05 7B\n")
	if len(l.Records) != 1 || len(l.Notes) != NoteLimit+1 || !strings.Contains(l.Notes[NoteLimit].Text, "10 further") || !l.Notes[NoteLimit].Lost {
		t.Errorf("%d records %d notes, last %+v", len(l.Records), len(l.Notes), l.Notes[len(l.Notes)-1])
	}
}

func TestLongLine(t *testing.T) {
	l := read(t, strings.Repeat("41 ", 50_000)+"\n41 05 7B\n")
	if len(l.Records) != 1 || len(l.Notes) != 1 || l.Notes[0].Line != 1 || l.Records[0].Line != 2 {
		t.Errorf("%+v", l)
	}
	for _, n := range []int{maxLine - 1, maxLine, maxLine + 1, 2 * maxLine, 3 * maxLine} { // no line end at all
		l := read(t, "41 05 7B\n"+strings.Repeat("4", n))
		if len(l.Records) != 1 || len(l.Notes) != 1 || !l.Notes[0].Lost || l.Notes[0].Line != 2 {
			t.Errorf("%d bytes: %+v", n, l)
		}
	}
}

// Frames without ids: what looks like service 22 is a consecutive frame while a
// message is being sent.
func TestFramesWithoutIDs(t *testing.T) {
	l := read(t, "10 14 49 02 01 31 47 31\n21 4A 43 35 34 34 34 52\n22 37 32 35 32 33 36 37\n22 F1 90\n")
	var got []string
	for _, r := range l.Records {
		got = append(got, describe(r))
	}
	want := "[[8] 1014490201314731 [8] 214a433534343452 [8] 2237323532333637 message 22f190]"
	if fmt.Sprint(got) != want {
		t.Errorf("%v", got)
	}
}

func TestPaddedIDs(t *testing.T) {
	l := read(t, "000007E8 03 41 05 7B\n000007E8 03 41 05 7C\n")
	if len(l.Records) != 2 || describe(l.Records[0]) != "7E8 [4] 0341057b" || len(l.Notes) != 1 || l.Notes[0].Lost {
		t.Errorf("%+v", l)
	}
}

// The order of records and their own bytes do not change with how the reader
// hands them out.
func TestStreamEqualsReadAll(t *testing.T) {
	text := "7E8 04 41 0C 1A F8\n014\n0: 49 02 01 31 47 31\n1: 4A 43 35 34 34 34 52\n2: 37 32 35 32 33 36 37\n41 05 7B\n"
	l := read(t, text)
	r, err := NewReader(strings.NewReader(text), Options{})
	if err != nil {
		t.Fatal(err)
	}
	var rec Record
	for i := range l.Records {
		if err := r.Next(&rec); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(rec.Data, l.Records[i].Data) || !bytes.Equal(rec.Raw, l.Records[i].Raw) || rec.Index != i {
			t.Errorf("record %d: %+v, %+v", i, rec, l.Records[i])
		}
	}
}

// Interfaces end lines with CR alone; the prompt stands at the head of the next.
func TestLineEnds(t *testing.T) {
	long := strings.Repeat("41 0C 1A F8 \r\r>010C\r", 10_000) // more than the buffer, no LF at all
	for _, c := range []struct {
		in      string
		records int
		lines   []int
	}{
		{"010C\r41 0C 1A F8 \r\r>0105\r41 05 7B \r\r>", 4, []int{1, 2, 4, 5}},
		{"010C\r\n41 0C 1A F8\r\n", 2, []int{1, 2}},
		{"010C\n41 0C 1A F8", 2, []int{1, 2}},
		{"010C\r\r\n41 0C 1A F8\r", 2, []int{1, 3}},
		{long, 20_000, []int{1, 3, 4}},
	} {
		l := read(t, c.in)
		if len(l.Records) != c.records || len(l.Notes) != 0 {
			t.Errorf("%.40q: %d records, want %d; notes %v", c.in, len(l.Records), c.records, l.Notes)
			continue
		}
		for i, n := range c.lines {
			if l.Records[i].Line != n || !strings.HasPrefix(c.in[l.Records[i].Byte:], string(l.Records[i].Raw)) {
				t.Errorf("%.40q: record %d: %+v, want line %d", c.in, i, l.Records[i], n)
			}
		}
	}
	// One byte at a time gives the same.
	r, err := NewReader(iotest.OneByteReader(strings.NewReader("010C\r\n41 0C 1A F8\r41 05 7B")), Options{})
	if err != nil {
		t.Fatal(err)
	}
	var rec Record
	for i, want := range []int{1, 2, 3} {
		if err := r.Next(&rec); err != nil || rec.Line != want {
			t.Errorf("record %d: %v line %d", i, err, rec.Line)
		}
	}
}
