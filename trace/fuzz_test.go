package trace

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// FuzzReadText: whatever the bytes, no panic; the fast way, the careful way and
// several workers agree; the promises of a recording hold; and a recording
// written out as CSV reads back with the same values and times.
func FuzzReadText(f *testing.F) {
	files, _ := filepath.Glob("testdata/text/*")
	for _, name := range files {
		if filepath.Ext(name) == ".golden" {
			continue
		}
		b, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("time,a\n1,2\n\x00"))
	f.Add([]byte("\xff\xfe"))
	f.Add([]byte("1;2\n3;4"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 1<<15 {
			t.Skip("larger than the cap")
		}
		if rec := waysAgree(t, b); rec != nil {
			roundTrip(t, rec)
		}
	})
}

// writeCSV writes time in seconds and values in SI, every digit kept.
func writeCSV(r *Recording) []byte {
	var b bytes.Buffer
	b.WriteString("time (s)")
	for i := range r.Channels {
		fmt.Fprintf(&b, ",signal %d", i+1)
	}
	b.WriteByte('\n')
	for i := range r.Time.N {
		at := r.Time.At(i)
		sign := ""
		if at < 0 {
			sign, at = "-", -at
		}
		fmt.Fprintf(&b, "%s%d.%09d", sign, at/second, at%second)
		for _, c := range r.Channels {
			b.WriteByte(',')
			if v := c.Values[i]; v == v {
				b.WriteString(strconv.FormatFloat(v, 'g', -1, 64))
			}
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// roundTrip writes a recording and reads it back.
func roundTrip(t fataler, r *Recording) {
	if len(r.Channels) > MaxColumns-1 || r.Time.At(0) > far {
		return
	}
	if at := r.Time.At(r.Time.N - 1); at > 1<<62 || at < -1<<62 {
		return
	}
	text := writeCSV(r)
	back, err := ReadText(bytes.NewReader(text), TextOptions{})
	if err != nil {
		t.Fatalf("read back: %v\n%s", err, text)
	}
	if back.Time.N != r.Time.N || len(back.Channels) != len(r.Channels) {
		t.Fatalf("read back %d samples of %d channels, wrote %d of %d\n%s", back.Time.N, len(back.Channels), r.Time.N, len(r.Channels), text)
	}
	for i := range r.Time.N {
		if d := back.Time.At(i) - r.Time.At(i); d > 2 || d < -2 {
			t.Fatalf("sample %d: time %d read back as %d\n%s", i, r.Time.At(i), back.Time.At(i), text)
		}
		for c := range r.Channels {
			if got, want := back.Channels[c].Values[i], r.Channels[c].Values[i]; !sameFloat(got, want) {
				t.Fatalf("sample %d channel %d: %v read back as %v\n%s", i, c, want, got, text)
			}
		}
	}
}

// TestRoundTrip does it for made-up recordings, uniform or not.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 60).Draw(t, "n")
		r := &Recording{Time: TimeBase{Start: rapid.Int64Range(-1e12, 1e12).Draw(t, "start"), Num: rapid.Int64Range(1, 1e12).Draw(t, "num"), Den: rapid.Int64Range(1, 1000).Draw(t, "den"), N: n}}
		if rapid.Bool().Draw(t, "stamps") {
			at := r.Time.Start
			for range n {
				r.Time.Stamps = append(r.Time.Stamps, at)
				at += rapid.Int64Range(0, 1e10).Draw(t, "step")
			}
		}
		for range rapid.IntRange(1, 4).Draw(t, "channels") {
			v := rapid.SliceOfN(rapid.Float64(), n, n).Draw(t, "v")
			r.Channels = append(r.Channels, Channel{Values: v})
		}
		roundTrip(t, r)
	})
}
