package compare

import (
	"math"
	"sort"
)

// Movements finds runs of a motor in its current. The level between rest and run is
// found from the trace itself (Otsu's threshold on the logarithm of the current, which
// serves a small motor beside its holding current as well as one with an inrush of
// 25 A); a run ends below 0.85 of it, gaps shorter than 0.2 s are closed, and what is
// shorter than 0.15 s is none. When rest and run do not differ by half as much again
// nothing is said to move. Values are A; a clamp may be either way round, so Toward
// follows the sign, and positive is called applying only when currents of both signs
// were recorded. Stamps are in nanoseconds and ascend.
func Movements(side string, at []int64, amps []float64) []Movement {
	if len(at) != len(amps) || len(at) < 3 {
		return nil
	}
	smooth := smoothed(at, amps)
	level, ok := restOrRun(smooth)
	if !ok {
		return nil
	}
	neg, pos := false, false
	for _, v := range smooth {
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
	for i, v := range smooth {
		enough := level
		if begin >= 0 {
			enough = 0.85 * level
		}
		if !(math.Abs(v) > enough) {
			continue
		}
		if begin >= 0 && (at[i]-at[last] > 200e6 || neg && pos && v*smooth[last] < 0) {
			flush()
			if math.Abs(v) <= level {
				continue
			}
		}
		if begin < 0 {
			begin = i
		}
		last = i
	}
	flush()
	return out
}

// smoothed is the running median over 100 ms, three samples at least: noise goes,
// edges stay.
func smoothed(at []int64, amps []float64) []float64 {
	half := 1
	if mean := (at[len(at)-1] - at[0]) / int64(len(at)-1); mean > 0 {
		half = max(1, int(50e6/mean))
	}
	half = min(half, 50)
	out := make([]float64, len(amps))
	window := make([]float64, 0, 2*half+1)
	for i := range amps {
		window = window[:0]
		for k := max(0, i-half); k <= min(len(amps)-1, i+half); k++ {
			if !math.IsNaN(amps[k]) {
				window = append(window, amps[k])
			}
		}
		sort.Float64s(window)
		if len(window) > 0 {
			out[i] = window[len(window)/2]
		}
	}
	return out
}

// restOrRun gives the level between rest and run, and whether the two differ enough.
func restOrRun(amps []float64) (float64, bool) {
	const least = 0.1 // A; keeps the logarithm of nothing finite
	logs := make([]float64, len(amps))
	for i, v := range amps {
		logs[i] = math.Log(math.Abs(v) + least)
	}
	sort.Float64s(logs)
	total := 0.0
	for _, v := range logs {
		total += v
	}
	best, cut, sum := 0.0, -1, 0.0
	for i := 0; i+1 < len(logs); i++ {
		sum += logs[i]
		n, m := float64(i+1), float64(len(logs)-i-1)
		d := sum/n - (total-sum)/m
		if between := n * m * d * d; between > best && logs[i+1] > logs[i] {
			best, cut = between, i
		}
	}
	if cut < 0 {
		return 0, false
	}
	low, high := 0.0, 0.0
	for i, v := range logs {
		if i <= cut {
			low += v / float64(cut+1)
		} else {
			high += v / float64(len(logs)-cut-1)
		}
	}
	if high-low < math.Log(1.5) {
		return 0, false
	}
	return math.Exp((low+high)/2) - least, true
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
