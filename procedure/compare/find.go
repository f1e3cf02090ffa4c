package compare

import (
	"math"
	"sort"
)

// Movements finds runs of a motor in its current: longer than 0.15 s above a fifth
// of the way from the quiet level to the highest value, gaps shorter than 0.2 s
// closed. Values are A; a clamp may be either way round, so without a known apply
// direction Toward follows the sign and positive is called applying only when signed
// currents of both signs were recorded. Stamps are in nanoseconds and ascend.
func Movements(side string, at []int64, amps []float64) []Movement {
	if len(at) != len(amps) || len(at) < 3 {
		return nil
	}
	mag := make([]float64, 0, len(amps))
	neg, pos := false, false
	for _, v := range amps {
		if !math.IsNaN(v) {
			mag = append(mag, math.Abs(v))
		}
	}
	sort.Float64s(mag)
	if len(mag) == 0 {
		return nil
	}
	quiet, top := mag[len(mag)/10], mag[len(mag)-1]
	// 0.8 A stands clear of a clamp's zero drift and below any free run (2 A).
	level := max(0.8, quiet+min((top-quiet)/5, 1.2))
	for _, v := range amps {
		neg, pos = neg || v < -level, pos || v > level
	}
	var out []Movement
	begin, last := -1, -1
	flush := func() {
		if begin >= 0 && at[last]-at[begin] >= 150e6 {
			out = append(out, measure(side, at, amps, begin, last, neg && pos))
		}
		begin = -1
	}
	for i, v := range amps {
		if math.Abs(v) > level {
			if begin >= 0 && (at[i]-at[last] > 200e6 || neg && pos && v*amps[last] < 0) {
				flush()
			}
			if begin < 0 {
				begin = i
			}
			last = i
		}
	}
	flush()
	return out
}

func measure(side string, at []int64, amps []float64, begin, last int, signed bool) Movement {
	m := Movement{Side: side, Begin: at[begin], End: at[last]}
	var body []float64
	var tail float64
	sum := 0.0
	for i := begin; i <= last; i++ {
		v := math.Abs(amps[i])
		sum += amps[i]
		if at[i]-m.Begin <= 100e6 {
			m.Inrush = max(m.Inrush, v)
		} else {
			body = append(body, v)
		}
		if m.End-at[i] <= 60e6 {
			tail = max(tail, v)
		}
	}
	m.Last = tail
	if len(body) > 0 {
		// The free run is the flat low part: its lower quartile is not moved by the
		// rise against the clamp at the end.
		sort.Float64s(body)
		m.FreeRun = body[len(body)/4]
	}
	if signed {
		m.Toward = 1
		if sum < 0 {
			m.Toward = -1
		}
	}
	return m
}
