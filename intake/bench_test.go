package intake

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

// tenMillion writes the file of the speed target: time and two channels, ten
// million rows, about 26 bytes each.
func tenMillion(b *testing.B) (name string, size int64) {
	b.Helper()
	name = filepath.Join(b.TempDir(), "long.csv")
	f, err := os.Create(name)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriterSize(f, 1<<20)
	w.WriteString("Time (s),Channel A (V),Channel B (A)\n")
	line := make([]byte, 0, 64)
	for i := range 10_000_000 {
		line = strconv.AppendFloat(line[:0], float64(i)*1e-5, 'f', 5, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, 5*math.Sin(float64(i)*0.01), 'f', 4, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, 10*math.Cos(float64(i)*0.003), 'f', 3, 64)
		line = append(line, '\n')
		w.Write(line)
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	info, err := f.Stat()
	if err != nil {
		b.Fatal(err)
	}
	if err := f.Close(); err != nil {
		b.Fatal(err)
	}
	return name, info.Size()
}

// peakMiB is the largest memory the process ever had, 0 where the system does
// not tell.
func peakMiB() float64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	for _, l := range strings.Split(string(status), "\n") {
		if rest, ok := strings.CutPrefix(l, "VmHWM:"); ok {
			kb, _ := strconv.Atoi(strings.TrimSuffix(strings.TrimSpace(rest), " kB"))
			return float64(kb) / 1024
		}
	}
	return 0
}

// BenchmarkTenMillionRows opens, hashes and reads the file, and fails above the
// targets of 4 s and 600 MB. Run it alone and once (-benchtime 1x): the peak is
// that of the process.
func BenchmarkTenMillionRows(b *testing.B) {
	tenMillionRows(b, func(name string) File { return Files([]string{name}, nil, Options{})[0] })
}

// BenchmarkTenMillionRowsStream is the same from standard input, whose length is
// not known beforehand.
func BenchmarkTenMillionRowsStream(b *testing.B) {
	tenMillionRows(b, func(name string) File {
		f, err := os.Open(name)
		if err != nil {
			b.Fatal(err)
		}
		defer f.Close()
		return Files([]string{"-"}, f, Options{})[0]
	})
}

func tenMillionRows(b *testing.B, read func(name string) File) {
	name, size := tenMillion(b)
	b.SetBytes(size)
	for b.Loop() {
		b.StopTimer()
		runtime.GC() // the recording of the round before
		b.StartTimer()
		f := read(name)
		if f.Err != nil || f.Recording.Time.N != 10_000_000 || !f.Recording.Time.Uniform() {
			b.Fatal(f.Err)
		}
	}
	peak := peakMiB()
	b.ReportMetric(peak, "MiB-peak")
	if testing.Short() {
		return // beside other benchmarks the peak is that of all of them
	}
	if s := b.Elapsed().Seconds() / float64(b.N); s > 4 {
		b.Errorf("%.1f s for ten million rows, at most 4 are allowed", s)
	}
	if peak > 600 {
		b.Errorf("%.0f MiB at the peak, at most 600 are allowed", peak)
	}
}

// BenchmarkTenMillionRowsReference is encoding/csv with strconv on the same
// file, values kept, without a hash.
func BenchmarkTenMillionRowsReference(b *testing.B) {
	name, size := tenMillion(b)
	b.SetBytes(size)
	for b.Loop() {
		f, err := os.Open(name)
		if err != nil {
			b.Fatal(err)
		}
		r := csv.NewReader(bufio.NewReaderSize(f, 1<<20))
		r.ReuseRecord = true
		if _, err := r.Read(); err != nil {
			b.Fatal(err)
		}
		var cols [3][]float64
		for c := range cols {
			cols[c] = make([]float64, 0, 10_000_000)
		}
		for {
			row, err := r.Read()
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			for c := range cols {
				v, err := strconv.ParseFloat(row[c], 64)
				if err != nil {
					b.Fatal(err)
				}
				cols[c] = append(cols[c], v)
			}
		}
		f.Close()
	}
}

// BenchmarkPacked reads a gzip file from memory.
func BenchmarkPacked(b *testing.B) {
	var text bytes.Buffer
	text.WriteString("time (s),v (V)\n")
	for i := range 200_000 {
		text.WriteString(strconv.FormatFloat(float64(i)*1e-4, 'f', 4, 64) + "," + strconv.FormatFloat(math.Sin(float64(i)*0.01), 'f', 4, 64) + "\n")
	}
	packed := pack(b, text.Bytes())
	b.SetBytes(int64(text.Len()))
	for b.Loop() {
		if f := Files([]string{"-"}, bytes.NewReader(packed), Options{})[0]; f.Err != nil || f.Recording.Time.N != 200_000 {
			b.Fatal(f.Err)
		}
	}
}
