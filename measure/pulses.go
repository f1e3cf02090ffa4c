package measure

import (
	"math"

	"proveout/trace"
)

// pulseMiddles gives the middle of each pulse of a trigger channel, in samples. The
// pulse is what the channel is for the smaller part of the time; those nearer than
// apart samples are strikes of one coil, and count once.
func pulseMiddles(v []float64, apart float64) []float64 {
	l := newLevels(v)
	lo, hi := l.bounds()
	if !(hi > lo) {
		return nil
	}
	upside := l.above(lo+(hi-lo)/2) > len(v)/2
	// A pulse begins where the channel crosses enter, and ends where it crosses leave.
	enter, leave := lo+0.6*(hi-lo), lo+0.4*(hi-lo)
	if upside {
		leave = enter
	}
	var out []float64
	for i := 0; i < len(v); {
		from := l.until(i, enter, !upside)
		i = l.until(from, leave, upside)
		if i == len(v) {
			break // one that has not ended has no middle
		}
		if t := float64(from+i-1) / 2; len(out) == 0 || t-out[len(out)-1] > apart {
			out = append(out, t)
		}
	}
	return out
}

// levels is a trigger channel with the extremes of its blocks: most of them lie whole
// on one side of a level, and need not be looked at again.
type levels struct {
	v      []float64
	lo, hi []float64 // of each block; without bounds where a value is missing
}

const levelBlock = 512 // samples; our choice

func newLevels(v []float64) levels {
	n := (len(v) + levelBlock - 1) / levelBlock
	l := levels{v, make([]float64, n), make([]float64, n)}
	for b := range n {
		lo, hi := trace.Extremes(l.block(b))
		if lo != lo {
			lo, hi = math.Inf(-1), math.Inf(1)
		}
		l.lo[b], l.hi[b] = lo, hi
	}
	return l
}

func (l levels) block(b int) []float64 {
	return l.v[b*levelBlock : min(len(l.v), (b+1)*levelBlock)]
}

// bounds are the least and the greatest value.
func (l levels) bounds() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for b := range l.lo {
		x, y := l.lo[b], l.hi[b]
		if math.IsInf(x, -1) || math.IsInf(y, 1) {
			x, y = leastGreatest(l.block(b))
		}
		lo, hi = math.Min(lo, x), math.Max(hi, y)
	}
	return lo, hi
}

// above counts the samples above a level.
func (l levels) above(level float64) int {
	n := 0
	for b := range l.lo {
		switch {
		case l.lo[b] > level:
			n += len(l.block(b))
		case l.hi[b] > level:
			for _, x := range l.block(b) {
				if x > level {
					n++
				}
			}
		}
	}
	return n
}

// until is the first sample from i on that lies above the level, or, with above false,
// does not; the end where there is none.
func (l levels) until(i int, level float64, above bool) int {
	for ; i < len(l.v); i++ {
		if b := i / levelBlock; i%levelBlock == 0 {
			for b < len(l.lo) && (above && l.hi[b] <= level || !above && l.lo[b] > level) {
				b++
			}
			if i = b * levelBlock; i >= len(l.v) {
				break
			}
		}
		if l.v[i] > level == above {
			return i
		}
	}
	return len(l.v)
}
