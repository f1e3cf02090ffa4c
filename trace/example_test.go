package trace_test

import (
	"fmt"
	"strings"

	"proveout/trace"
)

// A file as a recorder in Germany might write it: semicolons, decimal commas,
// units in the header, and a row that was cut short.
func ExampleReadText() {
	file := "Zeit (ms);Druck (bar);Strom (A)\n0,0;50,2;0,01\n0,5;50,1;0,35\n1,0;50,1\n1,5;50,0;0,98\n"
	rec, err := trace.ReadText(strings.NewReader(file), trace.TextOptions{
		Columns: []trace.Column{{Column: "Druck", As: "rail_pressure"}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(rec.Time.N, "samples at", rec.Time.RateHz(), "Hz")
	for _, c := range rec.Channels {
		fmt.Println(c.Label, c.As, c.Unit.Symbol, c.Values)
	}
	for _, n := range rec.Notes {
		fmt.Println(n.Line, n.Text)
	}
	// Output:
	// 4 samples at 2000 Hz
	// Druck rail_pressure bar [5.02e+06 5.01e+06 5.01e+06 5e+06]
	// Strom  A [0.01 0.35 NaN 0.98]
	// 0 delimiter: semicolon, decimal comma
	// 0 time: column "Zeit (ms)" in ms
	// 1 line 1 holds the names of the columns
	// 0 samples are equally spaced, 500 us (2000 Hz)
	// 4 row has 2 of 3 values; the rest is left empty
}

// A long channel is drawn from least and greatest values, so that a single
// sample that stands out is always seen.
func ExamplePyramid_View() {
	values := make([]float64, 1_000_000)
	values[123_456] = 30_000 // one spark
	for _, b := range trace.NewPyramid(values).View(0, len(values), 16) {
		fmt.Println(b.First, b.End, b.Min, b.Max)
	}
	// Output:
	// 0 125000 0 30000
	// 125000 250000 0 0
	// 250000 375000 0 0
	// 375000 500000 0 0
	// 500000 625000 0 0
	// 625000 750000 0 0
	// 750000 875000 0 0
	// 875000 1000000 0 0
}
