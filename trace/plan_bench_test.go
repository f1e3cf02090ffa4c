package trace

import (
	"bytes"
	"fmt"
	"testing"
)

// BenchmarkFindOut is the cost of looking at a small file of 27 columns: all
// dialects are tried on its first lines.
func BenchmarkFindOut(b *testing.B) {
	var text bytes.Buffer
	text.WriteString("time (s)")
	for c := range 26 {
		fmt.Fprintf(&text, ",signal %d (V)", c)
	}
	text.WriteByte('\n')
	for r := range 500 {
		fmt.Fprintf(&text, "%.2f", float64(r)*0.01)
		for c := range 26 {
			fmt.Fprintf(&text, ", %d.%06d", r%100, c*1000)
		}
		text.WriteByte('\n')
	}
	lines := sampleLines(text.Bytes(), true, headLines)
	for b.Loop() {
		if p, err := makePlan(lines, TextOptions{}); err != nil || p.cells != 27 {
			b.Fatal(err)
		}
	}
}
