package trace

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"runtime"
	"strconv"
	"sync"
	"testing"
)

// rowsOf makes a CSV of time and two channels: 10 us steps, three and four
// decimals, about 26 bytes a row as the reference figures use.
func rowsOf(n int) []byte {
	var b bytes.Buffer
	b.Grow(n * 28)
	b.WriteString("Time (s),Channel A (V),Channel B (A)\n")
	line := make([]byte, 0, 64)
	for i := range n {
		line = strconv.AppendFloat(line[:0], float64(i)*1e-5, 'f', 5, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, 5*math.Sin(float64(i)*0.01), 'f', 4, 64)
		line = append(line, ',')
		line = strconv.AppendFloat(line, 10*math.Cos(float64(i)*0.003), 'f', 3, 64)
		line = append(line, '\n')
		b.Write(line)
	}
	return b.Bytes()
}

var benchText = sync.OnceValue(func() []byte { return rowsOf(1_000_000) })

func BenchmarkReadText(b *testing.B) {
	text := benchText()
	for _, workers := range []int{1, 2} {
		b.Run(fmt.Sprintf("workers=%d", workers), func(b *testing.B) {
			prev := runtime.GOMAXPROCS(workers)
			defer runtime.GOMAXPROCS(prev)
			b.SetBytes(int64(len(text)))
			for b.Loop() {
				rec, err := ReadText(bytes.NewReader(text), TextOptions{Size: int64(len(text)), Workers: workers})
				if err != nil || rec.Time.N != 1_000_000 || !rec.Time.Uniform() {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkEncodingCSV is the reference: encoding/csv with ReuseRecord and
// strconv.ParseFloat, on one core, values kept.
func BenchmarkEncodingCSV(b *testing.B) {
	text := benchText()
	prev := runtime.GOMAXPROCS(1)
	defer runtime.GOMAXPROCS(prev)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if n := referenceRows(b, text, 1_000_000); n != 1_000_000 {
			b.Fatal(n)
		}
	}
}

func referenceRows(tb testing.TB, text []byte, rows int) int {
	r := csv.NewReader(bytes.NewReader(text))
	r.ReuseRecord = true
	if _, err := r.Read(); err != nil {
		tb.Fatal(err)
	}
	var cols [3][]float64
	for c := range cols {
		cols[c] = make([]float64, 0, rows)
	}
	for {
		rec, err := r.Read()
		if err == io.EOF {
			return len(cols[0])
		}
		if err != nil {
			tb.Fatal(err)
		}
		for c := range cols {
			v, err := strconv.ParseFloat(rec[c], 64)
			if err != nil {
				tb.Fatal(err)
			}
			cols[c] = append(cols[c], v)
		}
	}
}
