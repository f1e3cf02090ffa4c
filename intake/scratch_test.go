//go:build unix && !solaris && !aix

package intake

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"

	"proveout/trace"
)

// rowsOf writes a file of n rows by a function.
func rowsOf(n int, head string, row func(i int) string) []byte {
	var b strings.Builder
	b.WriteString(head + "\n")
	for i := range n {
		b.WriteString(row(i) + "\n")
	}
	return []byte(b.String())
}

// wavOf is a WAV file of two channels of 16 bits.
func wavOf(n int) []byte {
	le := func(v, bytes int) string {
		out := make([]byte, bytes)
		for i := range out {
			out[i] = byte(v >> (8 * i))
		}
		return string(out)
	}
	s := "RIFF" + le(36+4*n, 4) + "WAVEfmt " + le(16, 4) + le(1, 2) + le(2, 2) + le(48000, 4) + le(192000, 4) + le(4, 2) + le(16, 2) + "data" + le(4*n, 4)
	var b strings.Builder
	b.WriteString(s)
	for i := range n {
		b.WriteString(le(i*37%65536, 2) + le(i*101%65536, 2))
	}
	return []byte(b.String())
}

// TestBeyondMemory: a recording that is kept on disk is the same as one in memory, with
// every sort of time and of file, and whether its length is known beforehand or not.
func TestBeyondMemory(t *testing.T) {
	const n = 150_000
	clock := func(i int) string {
		s := 86_000 + float64(i)*0.01 // past midnight
		s = math.Mod(s, 86_400)
		return fmt.Sprintf("%02d:%02d:%06.3f,%d", int(s)/3600, int(s)/60%60, math.Mod(s, 60), i%77)
	}
	files := map[string][]byte{
		"even.csv":    rowsOf(n, "time,v (V),i (A)", func(i int) string { return fmt.Sprintf("%.5f,%d.5,%d", float64(i)*1e-5, i%91, -i%13) }),
		"uneven.csv":  rowsOf(n, "time,v (V)", func(i int) string { return fmt.Sprintf("%.4f,%d", float64(i)*0.1+0.04*float64(i%7)/7, i%91) }),
		"paused.csv":  rowsOf(n, "time,v (V)", func(i int) string { return fmt.Sprintf("%.4f,%d", float64(i)*0.01+float64(i/50_000), i%91) }),
		"clock.csv":   rowsOf(n, "time,v (V)", clock),
		"since70.csv": rowsOf(n, "time,v (V)", func(i int) string { return fmt.Sprintf("%.3f,%d", 1.7e9+float64(i)*0.01, i%91) }),
		"untimed.csv": rowsOf(n, "v (V)", func(i int) string { return fmt.Sprint(i % 91) }),
		"edges.csv":   rowsOf(n, "time,crank", func(i int) string { return fmt.Sprintf("%.6f,%d", float64(i)*0.001+1e-4*float64(i%5), i%2) }),
		"gaps.csv":    rowsOf(n, "time,v (V)", func(i int) string { return fmt.Sprintf("%.2f,%s", float64(i)*0.01, []string{"1", "", "x", "3"}[i%4]) }),
		"two.wav":     wavOf(n),
	}
	files["packed.csv.gz"] = pack(t, files["even.csv"])
	dir := t.TempDir()
	for name, b := range files {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(dir, name)
			write(t, path, b)
			want := Files([]string{path}, nil, Options{})[0]
			if want.Err != nil || want.BeyondMemory() {
				t.Fatal(want.Err, want.BeyondMemory())
			}
			for _, memory := range []int64{1, 8 * n} { // from the first row on, and from the middle
				lim := Limits{Memory: memory, Scratch: t.TempDir()}
				file := Files([]string{path}, nil, Options{Limits: lim})[0]
				stream := Files([]string{"-"}, strings.NewReader(string(b)), Options{Limits: lim})[0]
				for _, got := range []File{file, stream} {
					if got.Err != nil {
						t.Fatal(got.Err)
					}
					if beyond := memory == 1 || name != "untimed.csv"; got.BeyondMemory() != beyond { // which has a value a row
						t.Errorf("memory for %d bytes: beyond it %v", memory, got.BeyondMemory())
					}
					if got.SHA256 != want.SHA256 {
						t.Error("another hash")
					}
					same(t, want.Recording, got.Recording)
				}
				left, err := os.ReadDir(lim.Scratch)
				if err != nil || len(left) > 0 {
					t.Errorf("files with a name in the scratch: %v %v", left, err)
				}
				if err := errors.Join(file.Close(), stream.Close(), file.Close()); err != nil {
					t.Error(err)
				}
			}
		})
	}
}

// same holds two recordings against each other, to the bit.
func same(t *testing.T, want, got *trace.Recording) {
	t.Helper()
	for c := range want.Channels {
		a, b := want.Channels[c].Values, got.Channels[c].Values
		if len(a) != len(b) {
			t.Fatalf("channel %d: %d values, want %d", c, len(b), len(a))
		}
		for i := range a {
			if math.Float64bits(a[i]) != math.Float64bits(b[i]) {
				t.Fatalf("channel %d, sample %d: %g, want %g", c, i, b[i], a[i])
			}
		}
	}
	x, y := *want, *got
	x.Channels, y.Channels = nil, nil
	for c := range want.Channels {
		p, q := want.Channels[c], got.Channels[c]
		p.Values, q.Values = nil, nil
		x.Channels, y.Channels = append(x.Channels, p), append(y.Channels, q)
	}
	if !reflect.DeepEqual(x, y) {
		t.Errorf("beyond memory\n%+v\nin memory\n%+v", y, x)
	}
}

// TestBeyondMemoryRefused: what cannot be kept is refused with what to do, and nothing
// is left open.
func TestBeyondMemoryRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.csv")
	write(t, path, rowsOf(1000, "time,v (V)", func(i int) string { return fmt.Sprintf("%d,%d", i, i%7) }))
	wav := filepath.Join(t.TempDir(), "a.wav")
	write(t, wav, wavOf(1000))
	for _, name := range []string{path, wav} {
		f := Files([]string{name}, nil, Options{Limits: Limits{Memory: 800, Scratch: filepath.Join(t.TempDir(), "none")}})[0]
		if f.Err == nil || !strings.Contains(f.Err.Error(), "--scratch") || !strings.Contains(f.Err.Error(), "no such file") {
			t.Errorf("%s: %v", name, f.Err)
		}
		if f.BeyondMemory() || f.Recording != nil {
			t.Errorf("%s: something was kept", name)
		}
		f = Files([]string{name}, nil, Options{Limits: Limits{Memory: 800, Values: 500}})[0]
		if f.Err == nil || !strings.Contains(f.Err.Error(), "--max-values") {
			t.Errorf("%s: %v", name, f.Err)
		}
	}
	full := (&scratch{dir: "/a/folder"}).explain(&os.PathError{Op: "write", Path: "/a/folder/x", Err: syscall.ENOSPC})
	if s := full.Error(); !strings.Contains(s, "less than 1 GiB would stay free") || !strings.Contains(s, "/a/folder:") {
		t.Error(s)
	}
}
