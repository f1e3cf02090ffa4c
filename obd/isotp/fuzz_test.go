package isotp

import (
	"bytes"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"proveout/obd/canlog"
)

func FuzzAdd(f *testing.F) {
	for _, s := range []string{
		"\x08\x04\x41\x0C\x1A\xF8\xAA\xAA\xAA", "\x08\x10\x14\x49\x02\x01\x31\x47\x31\x08\x21\x4A\x43\x35\x34\x34\x34\x52\x08\x22\x37\x32\x35\x32\x33\x36\x37",
		"\x08\x10\x00\xFF\xFF\xFF\xFF\x01\x02", "\x03\x30\x00\x00", "\x01\x00", "\x00",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 1<<14 {
			return
		}
		a := New(Options{})
		total := 0
		for i := 0; len(b) > 0; i++ { // length byte (top bits choose the id), data
			n := min(int(b[0]&0x3F), len(b)-1)
			r := canlog.Record{Index: i, ID: 0x7E8 + uint32(b[0]>>6), Data: b[1 : 1+n]}
			b = b[1+n:]
			total += n
			if m, ok := a.Add(&r); ok && (len(m.Data) == 0 || len(m.Data) > total) {
				t.Fatalf("%d bytes out of %d", len(m.Data), total)
			}
		}
		a.Flush()
		a.Notes()
	})
}

// Round trip: what a sender segments is what comes out, whatever the length,
// and a lost frame never yields a message with other bytes.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		data := rapid.SliceOfN(rapid.Byte(), 1, 600).Draw(t, "data")
		lines := segment("7E8", data)
		lose := rapid.IntRange(-1, len(lines)-1).Draw(t, "lose")
		a := New(Options{})
		var got []Message
		for i, l := range lines {
			if i == lose {
				continue
			}
			id, rest := l[:3], l[4:]
			b := make([]byte, len(rest)/2)
			fmt.Sscanf(rest, "%X", &b)
			r := canlog.Record{Index: i, ID: 0x7E8, Data: b}
			if id != "7E8" {
				t.Fatal(id)
			}
			if m, ok := a.Add(&r); ok {
				got = append(got, m)
			}
		}
		a.Flush()
		if lose < 0 {
			if len(got) != 1 || !bytes.Equal(got[0].Data, data) || len(a.Notes()) != 0 {
				t.Fatalf("%d messages, notes %v", len(got), a.Notes())
			}
			return
		}
		if len(got) != 0 {
			t.Fatalf("a message without frame %d: %X", lose, got[0].Data)
		}
		if len(lines) > 1 && len(a.Notes()) == 0 {
			t.Fatal("a lost frame left no note")
		}
	})
}

func BenchmarkReassemble(b *testing.B) {
	var recs []canlog.Record
	for i, l := range append(segment("7E8", pattern(20)), segment("7E9", pattern(7))...) {
		recs = append(recs, frame(b, i, l))
	}
	b.ReportAllocs()
	a := New(Options{})
	for b.Loop() {
		for i := range recs {
			a.Add(&recs[i])
		}
	}
	b.ReportMetric(float64(len(recs))*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}
