package trace

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// sameRecording compares everything, bit for bit where it can matter.
func sameRecording(a, b *Recording) string {
	return cmp.Diff(a, b, cmpopts.EquateNaNs(), cmpopts.EquateEmpty())
}

// table is a generated file and the values it was made from.
type table struct {
	text  string
	delim byte
	dec   byte
	rows  [][]string // as strconv would read them
}

// drawTable makes a well-formed file of numbers in one of many dialects.
func drawTable(t *rapid.T) table {
	tab := table{
		delim: rapid.SampledFrom([]byte{',', ';', '\t', '|'}).Draw(t, "delim"),
		dec:   rapid.SampledFrom([]byte{'.', ','}).Draw(t, "dec"),
	}
	quoted := rapid.Bool().Draw(t, "quoted")
	if tab.dec == ',' && tab.delim == ',' {
		quoted = true
	}
	end := rapid.SampledFrom([]string{"\n", "\r\n"}).Draw(t, "end")
	space := rapid.SampledFrom([]string{"", " "}).Draw(t, "space")
	if quoted {
		space = ""
	}
	cols := rapid.IntRange(2, 6).Draw(t, "cols")
	var b strings.Builder
	for c := range cols {
		if c > 0 {
			b.WriteByte(tab.delim)
		}
		fmt.Fprintf(&b, "signal %d", c)
	}
	b.WriteString(end)
	number := rapid.StringMatching(`-?[0-9]{1,9}\.[0-9]{1,16}([eE][-+]?[0-9]{1,2})?`)
	for range rapid.IntRange(3, 30).Draw(t, "rows") {
		row := make([]string, cols)
		for c := range row {
			row[c] = number.Draw(t, "n")
			if c > 0 && rapid.IntRange(0, 9).Draw(t, "gap") == 0 {
				row[c] = ""
			}
			s := strings.Replace(row[c], ".", string(tab.dec), 1)
			if quoted {
				s = `"` + s + `"`
			}
			if c > 0 {
				b.WriteByte(tab.delim)
				b.WriteString(space)
			}
			b.WriteString(s)
		}
		b.WriteString(end)
		tab.rows = append(tab.rows, row)
	}
	tab.text = b.String()
	return tab
}

// TestAgreesWithEncodingCSV: cells by encoding/csv, values by strconv, are the
// oracle for the fast scanner, the careful way, and the finding of the dialect.
func TestAgreesWithEncodingCSV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tab := drawTable(t)
		r := csv.NewReader(strings.NewReader(tab.text))
		r.Comma, r.TrimLeadingSpace = rune(tab.delim), tab.delim != '\t'
		cells, err := r.ReadAll()
		if err != nil {
			t.Fatalf("encoding/csv: %v in\n%s", err, tab.text)
		}
		for _, careful := range []bool{false, true} {
			rec, err := ReadText(strings.NewReader(tab.text), TextOptions{careful: careful})
			if err != nil {
				t.Fatalf("%v in\n%s", err, tab.text)
			}
			if rec.Time.N != len(cells)-1 || len(rec.Channels) != len(cells[0]) {
				t.Fatalf("%d rows of %d, want %d of %d; notes %v in\n%s", rec.Time.N, len(rec.Channels), len(cells)-1, len(cells[0]), rec.Notes, tab.text)
			}
			for i, row := range cells[1:] {
				for c, cell := range row {
					want := math.NaN()
					if cell = strings.TrimSpace(cell); cell != "" {
						if want, err = strconv.ParseFloat(strings.Replace(cell, ",", ".", 1), 64); err != nil {
							t.Fatal(err)
						}
					}
					if got := rec.Channels[c].Values[i]; !sameFloat(got, want) {
						t.Fatalf("careful %v: row %d column %d: %v, want %v in\n%s", careful, i, c, got, want, tab.text)
					}
				}
			}
		}
	})
}

// TestWaysAgree: for any text made of pieces of delimited files, the fast way,
// the careful way and several workers give the same recording or the same error.
func TestWaysAgree(t *testing.T) {
	piece := rapid.SampledFrom([]string{"1", "2.5", "-3,25", "1e3", "0", "1", "NaN", "", " ", ",", ",", ",", ";", ";", "\t", "|", "\n", "\n", "\r\n", "\"", "x", "time", "# note", "12:00:01", "12:00:02.5", "2026-03-01T00:00:00Z", "1.234,5", "99999999999999999999", "+", "-", ".", "inf", "é", "5 V", "7mA", "3 kPa"})
	rapid.Check(t, func(t *rapid.T) {
		head := rapid.SampledFrom([]string{"", "time,a (V),b\n0,1,2\n1,2,3\n2,3,4\n", "a;b\n1,5;2\n2,5;3\n3,5;4\n", "t\tx\n12:00:00\t1\n12:00:01\t2\n12:00:02\t3\n", "0.1 2 3\n0.2 3 4\n0.3 4 5\n", "time,m\n0,5 V\n1,6 mV\n2,7 V\n"}).Draw(t, "head")
		text := head + strings.Join(rapid.SliceOfN(piece, 0, 60).Draw(t, "pieces"), "")
		waysAgree(t, []byte(text))
	})
}

type fataler interface {
	Fatalf(format string, args ...any)
}

// waysAgree reads a text fast, carefully, and with workers, and holds every
// recording to the promises of the package.
func waysAgree(t fataler, text []byte) *Recording {
	fast, err := ReadText(bytes.NewReader(text), TextOptions{MaxValues: 1 << 20})
	slow, err2 := ReadText(bytes.NewReader(text), TextOptions{MaxValues: 1 << 20, careful: true})
	par, err3 := ReadText(bytes.NewReader(text), TextOptions{MaxValues: 1 << 20, Workers: 3, Size: int64(len(text)), chunk: 16})
	if fmt.Sprint(err) != fmt.Sprint(err2) || fmt.Sprint(err) != fmt.Sprint(err3) {
		t.Fatalf("errors differ: fast %v, careful %v, workers %v in\n%q", err, err2, err3, text)
	}
	if err != nil {
		return nil
	}
	if d := sameRecording(fast, slow); d != "" {
		t.Fatalf("fast and careful differ (-fast +careful):\n%s in\n%q", d, text)
	}
	if d := sameRecording(fast, par); d != "" {
		t.Fatalf("one chunk and many chunks among three workers differ:\n%s in\n%q", d, text)
	}
	if msg := broken(fast); msg != "" {
		t.Fatalf("%s in\n%q", msg, text)
	}
	return fast
}

// broken says which promise of the package a recording breaks, or "".
func broken(r *Recording) string {
	n := r.Time.N
	if n == 0 || len(r.Channels) == 0 || len(r.Segments) == 0 {
		return "an empty recording without an error"
	}
	if r.Time.Stamps != nil && len(r.Time.Stamps) != n {
		return "stamps and samples differ in number"
	}
	if r.Time.Den <= 0 || r.Time.Num < 0 {
		return "a step that is no step"
	}
	for _, c := range r.Channels {
		if len(c.Values) != n {
			return "channels differ in length"
		}
		if c.Unit.Factor == 0 {
			return "a unit that does not convert"
		}
		for _, v := range c.Values {
			if math.IsInf(v, 0) {
				return "an infinite value"
			}
		}
	}
	at := 0
	for _, g := range r.Segments {
		if g.First != at || g.End <= g.First {
			return "segments do not follow each other"
		}
		for i := g.First + 1; i < g.End; i++ {
			if r.Time.At(i) < r.Time.At(i-1) {
				return "time runs backwards within a segment"
			}
		}
		at = g.End
	}
	if at != n {
		return "segments do not cover the recording"
	}
	return ""
}
