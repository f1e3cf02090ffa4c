//go:build unix

package measure

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"testing"

	"proveout/intake"
	"proveout/trace"
)

// inTwoWays reads a file in memory and beyond it.
func inTwoWays(t *testing.T, path string, memory int64) (inside, beyond intake.File) {
	t.Helper()
	dir := t.TempDir()
	inside = intake.Files([]string{path}, nil, intake.Options{})[0]
	beyond = intake.Files([]string{path}, nil, intake.Options{Limits: intake.Limits{Memory: memory, Scratch: dir}})[0]
	if inside.Err != nil || beyond.Err != nil {
		t.Fatal(inside.Err, beyond.Err)
	}
	if inside.BeyondMemory() || !beyond.BeyondMemory() {
		t.Fatalf("beyond memory: %v and %v", inside.BeyondMemory(), beyond.BeyondMemory())
	}
	t.Cleanup(func() {
		if err := beyond.Close(); err != nil {
			t.Error(err)
		}
		if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
			t.Errorf("left in the scratch: %v %v", left, err)
		}
	})
	return inside, beyond
}

// TestBeyondMemoryEachKind: a capture whose samples lie on the disk gives the same
// result as in memory, to the last bit, for every kind and with time stamps of every
// sort.
func TestBeyondMemoryEachKind(t *testing.T) {
	seen := map[string]bool{}
	for _, g := range goodCaptures(t) {
		if g.kind == ParameterLog && seen[g.kind] {
			continue // the same recording, for each of its channels
		}
		seen[g.kind] = true
		t.Run(g.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "capture.csv")
			writeCSV(t, path, g.rec, g.kind == CrankingCurrent || g.kind == BatteryKind)
			inside, beyond := inTwoWays(t, path, 1)
			if !reflect.DeepEqual(inside.Recording.Time, beyond.Recording.Time) || !reflect.DeepEqual(inside.Recording.Segments, beyond.Recording.Segments) {
				t.Fatal("another time base")
			}
			var got [2]Result
			for i, f := range []intake.File{inside, beyond} {
				for c := range f.Recording.Channels {
					f.Recording.Channels[c].Name = g.rec.Channels[c].Name
				}
				var err error
				if got[i], err = Capture(g.kind, f.Recording, g.meta); err != nil || len(got[i].Readings) == 0 {
					t.Fatalf("nothing measured: %v %+v", err, got[i].NotMeasured)
				}
			}
			if a, b := fmt.Sprintf("%+v", got[0]), fmt.Sprintf("%+v", got[1]); a != b {
				t.Errorf("in memory\n%s\nbeyond\n%s", a, b)
			}
		})
	}
	for _, k := range sampled() {
		if !seen[k.id] {
			t.Errorf("no capture of kind %s", k.id)
		}
	}
}

// writeCSV writes a recording as a recorder would, packed or not.
func writeCSV(t *testing.T, path string, rec *trace.Recording, packed bool) {
	t.Helper()
	var b bytes.Buffer
	b.WriteString("Time (s)")
	for _, ch := range rec.Channels {
		fmt.Fprintf(&b, ",%s (%s)", ch.Name, ch.Unit.Symbol)
	}
	b.WriteByte('\n')
	line := []byte{}
	for i := range min(rec.Time.N, 600_000) {
		line = strconv.AppendFloat(line[:0], float64(rec.Time.At(i))*1e-9, 'f', 7, 64)
		for _, ch := range rec.Channels {
			v := ch.Values[i]
			if !ch.Unit.IsZero() {
				v = ch.Unit.FromSI(v)
			}
			if line = append(line, ','); !math.IsNaN(v) {
				line = strconv.AppendFloat(line, v, 'g', 7, 64)
			}
		}
		b.Write(append(line, '\n'))
	}
	out := b.Bytes()
	if packed {
		var z bytes.Buffer
		w, _ := gzip.NewWriterLevel(&z, gzip.BestSpeed)
		w.Write(out)
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		out = z.Bytes()
	}
	if err := os.WriteFile(path, out, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestBeyondMemoryLong measures a file of 15 MB (PROVEOUT_BEYOND: so many MB) in
// memory and beyond it, and looks at the most that was held: less than the samples by
// far, and what the limit allows.
func TestBeyondMemoryLong(t *testing.T) {
	mega := 15.0
	if s := os.Getenv("PROVEOUT_BEYOND"); s != "" {
		var err error
		if mega, err = strconv.ParseFloat(s, 64); err != nil {
			t.Fatal(err)
		}
	}
	s := plainSynth()
	s.seconds = 0.5
	rec, _ := s.draw()
	path := filepath.Join(t.TempDir(), "long.csv")
	rows := writeAgain(t, path, rec.Channels[0].Values, int64(mega*1e6))
	const memory = 1 << 20
	inside, beyond := inTwoWays(t, path, memory)
	meta := onCylinder(1)
	want, held, err := peakWhile(func() (Result, error) { return Capture(IgnitionSecondary, inside.Recording, meta) })
	if err != nil || len(want.Readings) == 0 {
		t.Fatalf("nothing measured: %v %+v", err, want.NotMeasured)
	}
	t.Logf("in memory: %d samples of 8 bytes, and %.1f MB beside them", rows, held/1e6)
	inside.Recording = nil
	beyond.Close()
	got, held, err := peakWhile(func() (Result, error) {
		f := intake.Files([]string{path}, nil, intake.Options{Limits: intake.Limits{Memory: memory, Scratch: t.TempDir()}})[0]
		if f.Err != nil {
			return Result{}, f.Err
		}
		defer f.Close()
		return Capture(IgnitionSecondary, f.Recording, meta)
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("beyond memory: %.1f MB in all, with %.1f MB of samples and stamps", held/1e6, 16e-6*float64(rows))
	if a, b := fmt.Sprintf("%+v", want), fmt.Sprintf("%+v", got); a != b {
		t.Errorf("in memory\n%.2000s\nbeyond\n%.2000s", a, b)
	}
	// Blocks are looked at by their extremes: a tenth of the samples of 1 MS/s.
	if most := 40e6 + 0.2*8*float64(rows); held > most {
		t.Errorf("%.1f MB were held, %.1f allowed", held/1e6, most/1e6)
	}
}

// writeAgain repeats a stretch of 1 MS/s until the file has so many bytes.
func writeAgain(t *testing.T, path string, v []float64, bytes int64) (rows int) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	w.WriteString("Time (us),Channel A (V)\n")
	var line []byte
	for n := int64(0); n < bytes; rows++ {
		line = strconv.AppendInt(line[:0], int64(rows), 10)
		line = append(line, ',')
		line = strconv.AppendFloat(line, v[rows%len(v)], 'f', 3, 64)
		line = append(line, '\n')
		w.Write(line)
		n += int64(len(line))
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return rows
}
