package trace

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestSniff(t *testing.T) {
	for _, c := range []struct {
		name, head string
		want       Kind
	}{
		{"nothing", "", KindEmpty},
		{"blank lines", "\n \r\n\t\n", KindEmpty},
		{"comma-separated", "time,v\n0,1\n1,2\n", KindText},
		{"byte-order mark", "\xef\xbb\xbftime;v\n0;1\n", KindText},
		{"UTF-16", "\xff\xfet\x00;\x00v\x00\n\x00", KindText},
		{"UTF-16 without mark", "t\x00i\x00m\x00e\x00,\x00v\x00\n\x000\x00,\x001\x00\n\x00", KindText},
		{"numbers of two digits in columns", "10 20 30\n11 21 31\n12 22 32\n", KindText},
		{"numbers with letters E", "1e3 2e3\n2e3 3e3\n", KindText},
		{"WAV", "RIFF\x24\x00\x00\x00WAVEfmt ", KindWAV},
		{"gzip", "\x1f\x8b\x08\x00", KindGzip},
		{"pcap", "\xd4\xc3\xb2\xa1\x02\x00\x04\x00", KindPcap},
		{"pcap, nanoseconds, big-endian", "\xa1\xb2\x3c\x4d\x00\x02\x00\x04", KindPcap},
		{"pcapng", "\x0a\x0d\x0d\x0a\x1c\x00\x00\x00", KindPcap},
		{"zip", "PK\x03\x04....", KindBinary},
		{"unknown bytes", "\x00\x01\x02\x03\x04", KindBinary},
		{"text with a zero byte", "time,v\n0,1\x00\n", KindBinary},
		{"hex answers", "41 0C 1A F8\n41 05 7B\n", KindMessages},
		{"hex without spaces", ">010C\n410C1AF8\n>0105\n41057B\n", KindMessages},
		{"hex with ids", "7E8 04 41 0C 1A F8\n7E8 03 41 05 7B\n", KindMessages},
		{"console lines", "  can0  7E8   [8]  04 41 0C 1A F8 AA AA AA\n", KindMessages},
	} {
		if got, hint := Sniff([]byte(c.head), int64(len(c.head))); got != c.want || (got == KindBinary) != (hint != "") {
			t.Errorf("%s: %s (%s), want %s", c.name, got, hint, c.want)
		}
	}
}

// TestSniffLogLines: every line of the published grammar that is to be accepted
// is told from samples (../shared/reference/tables/candump_examples.csv, which
// cites can-utils lib.h and candump.c).
func TestSniffLogLines(t *testing.T) {
	f, err := os.Open("../../shared/reference/tables/candump_examples.csv")
	if err != nil {
		t.Skip("../shared/reference is not here")
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, r := range rows[1:] {
		if strings.HasPrefix(r[1], "reject") {
			continue
		}
		n++
		if got, _ := Sniff([]byte(r[0]+"\n"), -1); got != KindMessages {
			t.Errorf("%s: %s", r[0], got)
		}
	}
	if n < 11 {
		t.Errorf("only %d lines in the table", n)
	}
}

// TestSniffFixtures: every text fixture is text, and so are all CSV files of
// the shared data.
func TestSniffFixtures(t *testing.T) {
	files, _ := filepath.Glob("testdata/text/*")
	shared, _ := filepath.Glob("../../shared/data/*/*.csv")
	if len(shared) == 0 {
		t.Log("../shared/data is not here: only our own fixtures")
	}
	for _, name := range append(files, shared...) {
		if strings.HasSuffix(name, ".golden") || strings.Contains(name, "obd-vectors") {
			continue
		}
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if got, _ := Sniff(b[:min(len(b), SniffSize)], int64(len(b))); got != KindText {
			t.Errorf("%s: %s", name, got)
		}
	}
}
