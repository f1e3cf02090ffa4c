package trace

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// roundTo rounds x ns to a multiple of q ns, half away from zero or down.
func roundTo(x float64, q int64, down bool) int64 {
	if down {
		return int64(math.Floor(x/float64(q))) * q
	}
	return int64(math.Round(x/float64(q))) * q
}

// TestUniformFindsEveryRoundedGrid: stamps of any rate and start, printed with
// any resolution up to 0.35 steps, rounded or cut, are found to be uniform, and
// every one lies within the printed step of its place.
func TestUniformFindsEveryRoundedGrid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.Float64Range(200, 1e9).Draw(t, "step")
		start := rapid.Float64Range(-1e12, 1e12).Draw(t, "start")
		n := rapid.IntRange(1, 500).Draw(t, "n")
		q := max(1, int64(step*rapid.Float64Range(0, 0.35).Draw(t, "share")))
		down := rapid.Bool().Draw(t, "down")
		s := make([]int64, n)
		for i := range s {
			s[i] = roundTo(start+float64(i)*step, q, down)
		}
		first, num, den, ok := uniform(s, q+1)
		if !ok {
			t.Fatalf("not found: step %v, printed %d, stamps %v", step, q, s[:min(n, 8)])
		}
		tb := TimeBase{Start: first, Num: num, Den: den, N: n}
		for i, v := range s {
			if d := tb.At(i) - v; d > q/2+2 || d < -q/2-2 {
				t.Fatalf("sample %d: at %d, printed %d, off by %d with printed step %d", i, tb.At(i), v, d, q)
			}
		}
	})
}

// TestUniformRefuses: a missing sample, a sample out of place and a jitter
// above the printed step are never called uniform.
func TestUniformRefuses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.Int64Range(1000, 1e9).Draw(t, "step")
		n := rapid.IntRange(8, 300).Draw(t, "n")
		q := max(1, int64(float64(step)*rapid.Float64Range(0, 1).Draw(t, "share")))
		s := make([]int64, n)
		for i := range s {
			s[i] = roundTo(float64(i)*float64(step), q, false)
		}
		at := rapid.IntRange(2, n-2).Draw(t, "at")
		if rapid.Bool().Draw(t, "missing") {
			for i := at; i < n; i++ {
				s[i] = roundTo(float64(i+1)*float64(step), q, false)
			}
		} else {
			s[at] += 2*q + 3
		}
		if first, num, den, ok := uniform(s, q+1); ok {
			t.Fatalf("called uniform: start %d step %d/%d, printed step %d, changed at %d: %v", first, num, den, q, at, s[:min(n, 12)])
		}
	})
}

// TestUniformPrefersRoundRates: the rate a person would say.
func TestUniformPrefersRoundRates(t *testing.T) {
	for _, c := range []struct {
		hz   float64
		q    int64
		n    int
		want float64
	}{{44100, 1000, 2000, 44100}, {3000, 100000, 40, 3000}, {1e6, 1, 100, 1e6}, {25, 1e6, 300, 25}, {12.5e6, 1, 1000, 12.5e6}, {0.2, 1e9, 50, 0.2}} {
		s := make([]int64, c.n)
		for i := range s {
			s[i] = roundTo(float64(i)*1e9/c.hz, c.q, false)
		}
		_, num, den, ok := uniform(s, c.q+1)
		got := TimeBase{Num: num, Den: den}.RateHz()
		if !ok || math.Abs(got-c.want) > 1e-9*c.want {
			t.Errorf("%g Hz printed to %d ns: found %v, %v Hz", c.hz, c.q, ok, got)
		}
	}
}
