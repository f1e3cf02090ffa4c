package canlog

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func FuzzReadAll(f *testing.F) {
	for _, s := range []string{
		"(1700000000.012345) can0 7E8#04410C1AF8AAAAAA\n", "123##1112233", "123#R7", "20000004#00", "1234#11",
		" (000.1)  can0  RX - -  7E8   [8]  04 41 0C 1A F8 AA AA AA\n", "014\n0: 49 02 01 31 47 31\n1: 4A\n", ">010C\r41 0C 1A F8\r\n",
		"18 DA F1 10 03 41 05 7B", "2023-11-14 22:13:20.5 RX 41 05 7B", "[ ] { }", "7E8 [999999] 1", "(", "()", "( )#", "0:", ":", ">", "<", "\xEF\xBB\xBF41 05",
	} {
		f.Add([]byte(s))
	}
	if b, err := os.ReadFile("testdata/example_can227.pcap"); err == nil {
		f.Add(b)
	}
	f.Add(pcapngFile(binary.LittleEndian))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 1<<16 {
			return
		}
		Sniff(b)
		l, err := ReadAll(bytes.NewReader(b), Options{})
		if err != nil {
			return
		}
		for i, r := range l.Records {
			if r.Index != i || r.Byte < 0 || r.Byte > int64(len(b)) || len(r.Data) > maxMessage || r.Kind == Frame && len(r.Data) > maxFD {
				t.Fatalf("record %d: %+v", i, r)
			}
			if r.ID > 0x1FFFFFFF || !r.Is(Extended) && !r.Is(Error) && r.ID > 0x7FF {
				t.Fatalf("id %X", r.ID)
			}
		}
		for _, n := range l.Notes {
			if n.Text == "" || n.Byte < 0 || n.Byte > int64(len(b)) {
				t.Fatalf("note %+v", n)
			}
		}
	})
}

// Round trip: a frame written as candump writes it is read back as it was.
func TestLogLineRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOfN(rapid.Byte(), 0, 8).Draw(t, "data")
		ext := rapid.Bool().Draw(t, "ext")
		ns := rapid.Int64Range(0, 9_000_000_000_000_000).Draw(t, "us") * 1000
		id, width := rapid.Uint32Range(0, 0x7FF).Draw(t, "id"), 3
		if ext {
			id, width = rapid.Uint32Range(0, 0x1FFFFFFF).Draw(t, "id29"), 8
		}
		line := fmt.Sprintf("(%d.%06d) can0 %0*X#%X\n", ns/1e9, ns%1e9/1e3, width, id, data)
		l, err := ReadAll(strings.NewReader(line), Options{})
		if ext && id&0x20000000 != 0 {
			return
		}
		if err != nil || len(l.Records) != 1 {
			t.Fatalf("%q: %v %+v", line, err, l)
		}
		r := l.Records[0]
		if r.ID != id || r.Is(Extended) != ext || r.Time != ns || !bytes.Equal(r.Data, data) {
			t.Fatalf("%q: %+v", line, r)
		}
	})
}

func BenchmarkLogLines(b *testing.B) {
	var text bytes.Buffer
	const n = 100_000
	for i := range n {
		fmt.Fprintf(&text, "(1700000000.%06d) can0 7E8#04410C1A%02XAAAAAA\n", i, i&0xFF)
	}
	benchmark(b, text.Bytes(), n)
}

func BenchmarkPCAP(b *testing.B) {
	const n = 100_000
	packets := make([][]byte, n)
	for i := range packets {
		packets[i] = []byte{0, 0, 0x07, 0xE8, 8, 0, 0, 0, 4, 0x41, 0x0C, 0x1A, byte(i), 0xAA, 0xAA, 0xAA}
	}
	benchmark(b, pcapFile(binary.LittleEndian, 0xA1B2C3D4, 227, packets...), n)
}

func BenchmarkHexLines(b *testing.B) {
	var text bytes.Buffer
	const n = 100_000
	for i := range n {
		fmt.Fprintf(&text, "7E8 04 41 0C 1A %02X AA AA AA\n", i&0xFF)
	}
	benchmark(b, text.Bytes(), n)
}

func benchmark(b *testing.B, file []byte, n int) {
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	var rec Record
	for b.Loop() {
		r, err := NewReader(bytes.NewReader(file), Options{})
		if err != nil {
			b.Fatal(err)
		}
		got := 0
		for r.Next(&rec) == nil {
			got++
		}
		if got != n {
			b.Fatalf("%d of %d frames", got, n)
		}
	}
	b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}
