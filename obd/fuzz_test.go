package obd

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proveout/obd/canlog"
	"proveout/obd/isotp"
	"proveout/published"
)

func FuzzRead(f *testing.F) {
	f.Add([]byte(savedFirst))
	f.Add([]byte("7E8 10 14 49 02 01 31 47 31\n7E8 21 4A 43 35 34 34 34 52\n7E8 22 37 32 35 32 33 36 37\n"))
	f.Add([]byte("41 0C 1A F8 05 7B\n49\n59 02\n7F\n46 00\n42\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 1<<14 {
			return
		}
		l, err := canlog.ReadAll(bytes.NewReader(b), canlog.Options{})
		if err != nil {
			return
		}
		check(t, Read(l))
	})
}

// FuzzMessage feeds single answers, so that every decoder sees every length.
func FuzzMessage(f *testing.F) {
	for _, row := range published.Rows(f, "tables/mode06_examples.csv", 17) {
		f.Add(unhex(f, row[0]))
	}
	for _, row := range published.Rows(f, "tables/pid_examples.csv", 54) {
		f.Add(unhex(f, row[0]))
	}
	for _, s := range []string{"49", "4902", "490201", "4904", "49080102", "43", "4301", "59", "5902", "5902FF030100", "7F", "7F04", "42", "4202", "420200", "46", "4600", "44", "54", "49020231", "4A0000"} {
		f.Add(unhex(f, s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) == 0 || len(b) > 4095 {
			return
		}
		check(t, ReadMessages([]isotp.Message{{ID: 0x7E8, Data: b, Frames: 1}, {NoID: true, Data: b}}))
	})
}

func check(t *testing.T, s *Session) {
	if _, err := json.Marshal(s); err != nil { // also fails for NaN and infinities
		t.Fatal(err)
	}
	for _, m := range s.Modules {
		for _, p := range m.Parameters {
			if len(p.Samples) == 0 {
				t.Fatalf("%s without samples", p.ID)
			}
		}
		for _, r := range m.Monitors {
			_ = r.String()
		}
	}
	for _, c := range s.Clears {
		if c.Sentence() == "" {
			t.Fatal("a clear without a sentence")
		}
	}
}

// Round trips: a code written and read; any list of codes of service 03 built as
// the standard says comes out as it went in.
func TestCodeRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		raws := rapid.SliceOfN(rapid.Uint16Range(1, 0xFFFF), 0, 40).Draw(t, "codes")
		b := []byte{byte(len(raws))}
		for _, r := range raws {
			b = append(b, byte(r>>8), byte(r))
			c := Code{Raw: r, Failure: byte(r), HasFailure: r%2 == 0}
			if r%2 != 0 {
				c.Failure = 0
			}
			if back, err := ParseCode(strings.ToLower(c.String())); err != nil || back != c {
				t.Fatalf("%v: %v %v", c, back, err)
			}
		}
		pad := rapid.IntRange(0, 3).Draw(t, "pad")
		codes, count, note := decodeCodes(append(b, make([]byte, 2*pad)...), true)
		if count != len(raws) || len(codes) != len(raws) || note != "" {
			t.Fatalf("%d of %d codes, note %q", len(codes), len(raws), note)
		}
		for i, c := range codes {
			if c.Raw != raws[i] {
				t.Fatalf("code %d is %v", i, c)
			}
		}
	})
}

// The verdict of service 06 follows raw integers, limits included.
func TestMonitorVerdict(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		id := rapid.Byte().Draw(t, "scaling")
		w := rapid.SliceOfN(rapid.Uint16(), 3, 3).Draw(t, "words")
		b := []byte{0xA2, 0x80, id}
		n := make([]int, 3)
		for i, x := range w {
			b = append(b, byte(x>>8), byte(x))
			n[i] = int(x)
			if id >= 0x80 && x >= 0x8000 {
				n[i] -= 0x10000
			}
		}
		r, err := DecodeMonitor(b)
		if err != nil {
			t.Fatal(err)
		}
		want := Fail
		if n[1] <= n[0] && n[0] <= n[2] {
			want = Pass
		}
		if w[0] == 0 && w[1] == 0 && w[2] == 0 {
			want = NotRun
		}
		if r.Verdict != want {
			t.Fatalf("%s: want %s", r, want)
		}
		if r.Scaled && id < 0x80 && (r.Value < r.Min) != (n[0] < n[1]) {
			t.Fatalf("scaling turns the order round: %s", r)
		}
	})
}

// polling is a capture of n answers with their requests.
func polling(n int) []byte {
	var text bytes.Buffer
	for i := range n {
		fmt.Fprintf(&text, "(1700000000.%06d) can0 7DF#02010C0000000000\n(1700000000.%06d) can0 7E8#04410C1A%02XAAAAAA\n", i%1e6, i%1e6, i&0xFF)
	}
	return text.Bytes()
}

// BenchmarkRead is the whole path: text, frames, messages, values.
func BenchmarkRead(b *testing.B) {
	const n = 50_000
	file := polling(n)
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	for b.Loop() {
		r, err := canlog.NewReader(bytes.NewReader(file), canlog.Options{})
		if err != nil {
			b.Fatal(err)
		}
		builder := NewBuilder()
		var rec canlog.Record
		for r.Next(&rec) == nil {
			builder.Record(&rec)
		}
		if s := builder.Session(); len(s.Modules[0].Series("engine_speed").Samples) != n {
			b.Fatal("samples are missing")
		}
	}
	b.ReportMetric(2*n*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

// BenchmarkTables is what the first decoding pays for reading all tables.
func BenchmarkTables(b *testing.B) {
	for b.Loop() {
		for _, name := range []string{"pids", "signals", "enums", "uasid", "mode06_mids", "mode06_tids", "nrc", "dtc_generic"} {
			table(name)
		}
	}
}
