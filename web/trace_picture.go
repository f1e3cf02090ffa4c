package web

import (
	"encoding/binary"
	"math"
	"strconv"
	"strings"
)

// pairsOf reads least and greatest values as Bench gives them.
func pairsOf(b []byte) []float32 {
	out := make([]float32, len(b)/4)
	for i := range out {
		out[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	return out
}

// pathOf draws pairs as one path over a box, scaled to what they span. Runs where
// nothing was measured break it.
func pathOf(pairs []float32, width, height float64) string {
	lo, hi := spanOf(pairs)
	return pathIn(pairs, lo, hi, width, height)
}

func spanOf(pairs []float32) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i, x := range pairs {
		if v := float64(x); !math.IsNaN(v) {
			if i%2 == 0 {
				lo = min(lo, v)
			} else {
				hi = max(hi, v)
			}
		}
	}
	return lo, hi
}

// pathIn is pathOf with the scale given: several traces on one scale.
func pathIn(pairs []float32, lo, hi, width, height float64) string {
	n := len(pairs) / 2
	if n == 0 || !(lo <= hi) {
		return ""
	}
	span := hi - lo
	if span == 0 {
		span = 1
	}
	y := func(v float32) string {
		return strconv.FormatFloat(height*(0.96-0.92*(float64(v)-lo)/span), 'f', 0, 64)
	}
	var b strings.Builder
	pen := false
	for i := range n {
		a, z := pairs[2*i], pairs[2*i+1]
		if !(a <= z) {
			pen = false
			continue
		}
		x := strconv.FormatFloat(width*(float64(i)+0.5)/float64(n), 'f', 0, 64)
		if pen {
			b.WriteString("L" + x + " " + y(a))
		} else {
			b.WriteString("M" + x + " " + y(a))
		}
		if y(a) != y(z) {
			b.WriteString("V" + y(z))
		}
		pen = true
	}
	return b.String()
}
