package trace

import "math"

// A Pyramid draws any part of a long channel quickly: it holds least and
// greatest values of blocks of 64 samples, of 16 such blocks, and so on.
// Missing values (NaN) are passed over. It refers to the values, which must not
// change after it is built.
type Pyramid struct {
	values []float64
	levels []level // levels[k] has blocks of 64*16^k samples
}

type level struct{ min, max []float64 }

const (
	firstBlock = 64
	fanOut     = 16
)

// Bucket is the range of a channel over samples First..End-1. Min and Max are
// NaN when all of them are missing.
type Bucket struct {
	First, End int
	Min, Max   float64
}

// NewPyramid builds the pyramid of a channel: two values for each 60 samples,
// about 3.3 % of the channel's own memory.
func NewPyramid(values []float64) *Pyramid {
	p := &Pyramid{values: values}
	if len(values) < firstBlock {
		return p
	}
	n := (len(values) + firstBlock - 1) / firstBlock
	l := level{make([]float64, n), make([]float64, n)}
	for b := range n {
		l.min[b], l.max[b] = bounds(values[b*firstBlock : min(len(values), (b+1)*firstBlock)])
	}
	p.levels = append(p.levels, l)
	for len(l.min) > fanOut {
		n := (len(l.min) + fanOut - 1) / fanOut
		up := level{make([]float64, n), make([]float64, n)}
		for b := range n {
			first, end := b*fanOut, min(len(l.min), (b+1)*fanOut)
			up.min[b], _ = bounds(l.min[first:end])
			_, up.max[b] = bounds(l.max[first:end])
		}
		p.levels = append(p.levels, up)
		l = up
	}
	return p
}

// Extremes gives least and greatest of v, which must not be empty; both are NaN when
// any value is. It compares the bits of the floats as whole numbers, which takes no
// branch (a guess at every value of noise costs five times as much), and in two lanes.
// As signed numbers the positive floats are in order and the negative ones in reverse
// below them; as unsigned numbers the negative ones lie above, the least of them on top.
func Extremes(v []float64) (lo, hi float64) {
	first := math.Float64bits(v[0])
	low, high, top := int64(first), int64(first), first
	low2, high2, top2 := low, high, top
	for v = v[1:]; len(v) >= 4; v = v[4:] {
		a, b, c, d := math.Float64bits(v[0]), math.Float64bits(v[1]), math.Float64bits(v[2]), math.Float64bits(v[3])
		low, high, top = min(low, int64(a)), max(high, int64(a)), max(top, a)
		low2, high2, top2 = min(low2, int64(b)), max(high2, int64(b)), max(top2, b)
		low, high, top = min(low, int64(c)), max(high, int64(c)), max(top, c)
		low2, high2, top2 = min(low2, int64(d)), max(high2, int64(d)), max(top2, d)
	}
	for _, x := range v {
		a := math.Float64bits(x)
		low, high, top = min(low, int64(a)), max(high, int64(a)), max(top, a)
	}
	low, high, top = min(low, low2), max(high, high2), max(top, top2)
	const infinity, sign = 0x7FF0000000000000, 1 << 63
	if high > infinity || top > sign|infinity {
		return math.NaN(), math.NaN()
	}
	lo = math.Float64frombits(uint64(low)) // where all are of one sign, the one next to zero
	hi = lo
	if low < 0 {
		lo = math.Float64frombits(top)
	}
	if high >= 0 {
		hi = math.Float64frombits(uint64(high))
	}
	return lo, hi
}

// bounds gives least and greatest of v, NaN when all are missing.
func bounds(v []float64) (lo, hi float64) {
	if len(v) > 0 {
		if lo, hi = Extremes(v); lo == lo {
			return lo, hi
		}
	}
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if x < lo {
			lo = x
		}
		if x > hi {
			hi = x
		}
	}
	if lo > hi {
		return math.NaN(), math.NaN()
	}
	return lo, hi
}

// View cuts samples first..end-1 into at most points/2 buckets of nearly equal
// length, each drawn by two points. Samples outside the channel are cut off; a
// range of no more samples than buckets gives one bucket for each sample. Call
// it once for each segment: a bucket does not know about dead time.
func (p *Pyramid) View(first, end, points int) []Bucket {
	first, end = max(first, 0), min(end, len(p.values))
	n := min(points/2, end-first)
	if n <= 0 {
		return nil
	}
	out := make([]Bucket, n)
	for i := range out {
		b := &out[i]
		b.First = first + int(int64(end-first)*int64(i)/int64(n))
		b.End = first + int(int64(end-first)*int64(i+1)/int64(n))
		b.Min, b.Max = p.Bounds(b.First, b.End)
	}
	return out
}

// Bounds gives the least and greatest of samples first..end-1, NaN when there
// are none or all are missing.
func (p *Pyramid) Bounds(first, end int) (lo, hi float64) {
	first, end = max(first, 0), min(end, len(p.values))
	r := extent{math.Inf(1), math.Inf(-1)}
	if first < end {
		p.collect(&r, -1, first, end)
	}
	if r.lo > r.hi {
		return math.NaN(), math.NaN()
	}
	return r.lo, r.hi
}

type extent struct{ lo, hi float64 }

func (r *extent) add(mins, maxs []float64) {
	for _, x := range mins {
		if x < r.lo {
			r.lo = x
		}
	}
	for _, x := range maxs {
		if x > r.hi {
			r.hi = x
		}
	}
}

// collect adds entries first..end-1 of a level (-1: the values themselves):
// whole blocks from the level above, the ragged ends from this one.
func (p *Pyramid) collect(r *extent, lev, first, end int) {
	mins, maxs, block := p.values, p.values, firstBlock
	if lev >= 0 {
		mins, maxs, block = p.levels[lev].min, p.levels[lev].max, fanOut
	}
	up, down := (first+block-1)/block, end/block
	if lev+1 >= len(p.levels) || up >= down {
		r.add(mins[first:end], maxs[first:end])
		return
	}
	r.add(mins[first:up*block], maxs[first:up*block])
	r.add(mins[down*block:end], maxs[down*block:end])
	p.collect(r, lev+1, up, down)
}
