package sim_test

import (
	"bytes"
	"compress/gzip"
	"io"
	"math"
	"strings"
	"testing"

	"proveout/sim"
	"proveout/trace"
)

// What is written must be what the program's own readers read: a second pair of
// eyes on both formats.
func TestCSVReadsBack(t *testing.T) {
	s := sim.Samples{RateHz: 250e3, Blocks: []sim.Block{{Start: 0.001, Volts: []float64{0, 0.5, -0.25, 0.125}}, {Start: 0.101, Volts: []float64{1, 2, 3}}}}
	for _, style := range []sim.CSVStyle{{TimeUnit: "us", Milli: true}, {TimeUnit: "ms", Delimiter: ';', Comma: true}, {TimeUnit: "s", Preamble: []string{"# recorder 7"}}} {
		rec, err := trace.ReadText(bytes.NewReader(s.CSV(style)), trace.TextOptions{})
		if err != nil {
			t.Fatalf("%+v: %v", style, err)
		}
		if len(rec.Segments) != 2 || rec.Segments[1].First != 4 || len(rec.Channels) != 1 {
			t.Fatalf("%+v: segments %v, %d channels", style, rec.Segments, len(rec.Channels))
		}
		for i, want := range []float64{0, 0.5, -0.25, 0.125, 1, 2, 3} {
			if got := rec.Channels[0].Values[i]; math.Abs(got-want) > 1e-9 {
				t.Errorf("%+v: sample %d is %g, want %g", style, i, got, want)
			}
		}
		if d := rec.Time.At(4) - rec.Time.At(0); d != 100_000_000 {
			t.Errorf("%+v: dead time ends %d ns after the start, want 100 ms", style, d)
		}
	}
}

func TestWAVReadsBack(t *testing.T) {
	s := sim.Samples{RateHz: 200e3, Blocks: []sim.Block{{Volts: []float64{0, 5, -5, 2.5, 9}}}}
	data, err := s.WAV(5)
	if err != nil {
		t.Fatal(err)
	}
	rec, err := trace.ReadWAV(bytes.NewReader(data), trace.WAVOptions{})
	if err != nil {
		t.Fatal(err)
	}
	v := rec.Channels[0].Values
	for i, want := range []float64{0, 1, -1, 0.5, 1} { // full scale = 1; 9 V is clipped
		if math.Abs(v[i]-want) > 1e-3 {
			t.Errorf("sample %d is %g of full scale, want %g", i, v[i], want)
		}
	}
	if r := rec.Time.RateHz(); math.Abs(r-200e3) > 1e-6 {
		t.Errorf("rate %g", r)
	}
	s.Blocks = append(s.Blocks, sim.Block{Start: 1})
	if _, err := s.WAV(5); err == nil || !strings.Contains(err.Error(), "dead time") {
		t.Errorf("two blocks in a WAV file: %v", err)
	}
}

func TestGzipIsTheSameEachTime(t *testing.T) {
	a, b := sim.Gzip([]byte("knock knock")), sim.Gzip([]byte("knock knock"))
	if !bytes.Equal(a, b) {
		t.Error("two packings differ")
	}
	r, err := gzip.NewReader(bytes.NewReader(a))
	if err != nil {
		t.Fatal(err)
	}
	if out, err := io.ReadAll(r); err != nil || string(out) != "knock knock" {
		t.Errorf("unpacked %q, %v", out, err)
	}
}
