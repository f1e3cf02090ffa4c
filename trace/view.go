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
// any value is. It goes by whole numbers that are ordered like the floats: comparing
// those takes no branch, since a guess at every value of noise costs five times as
// much, and in two lanes.
func Extremes(v []float64) (lo, hi float64) {
	a, b := orderOf(v[0]), orderOf(v[0])
	c, d := a, b
	i := 1
	for ; i+1 < len(v); i += 2 {
		x, y := orderOf(v[i]), orderOf(v[i+1])
		a, b = min(a, x), max(b, x)
		c, d = min(c, y), max(d, y)
	}
	if i < len(v) {
		x := orderOf(v[i])
		a, b = min(a, x), max(b, x)
	}
	a, b = min(a, c), max(b, d)
	if a < leastOrder || b > greatestOrder {
		return math.NaN(), math.NaN()
	}
	return ofOrder(a), ofOrder(b)
}

// orderOf is a whole number that grows with x: the bits of a float, those of a negative
// one but for its sign turned over. NaN lies beyond the infinities.
func orderOf(x float64) int64 {
	b := int64(math.Float64bits(x))
	return b ^ int64(uint64(b>>63)>>1)
}

func ofOrder(b int64) float64 { return math.Float64frombits(uint64(b ^ int64(uint64(b>>63)>>1))) }

// Those of the infinities.
const (
	greatestOrder = 0x7FF0000000000000
	leastOrder    = ^greatestOrder
)

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
