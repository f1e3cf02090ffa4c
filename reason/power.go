package reason

import "math"

// power raises likelihoods to one exponent in the loop over all triples. The logarithm
// and the exponential of every triple of 300 faults took three quarters of the time of
// a correlated road test; since a likelihood lies between two bounds that the factor
// knows, a table does: for each 128th of an octave the power of its middle m, and
//
//	x^e = m^e (1 + d)^e,  d = x/m - 1,  |d| <= 1/256,
//
// by the binomial series up to d^5. What is left out is below 3e-14 of the power for
// exponents from -2 to 2.
type power struct {
	e              float64
	c2, c3, c4, c5 float64 // (e-1)/2, (e-2)/3, (e-3)/4, (e-4)/5
	base           uint64
	inverse, value []float64
}

// bucketBits of the mantissa choose the entry.
const (
	bucketBits = 7
	bucketLow  = 52 - bucketBits
)

// tabled is how many powers must be asked before a table is worth its making (our
// choice, measured).
const tabled = 50000

// set prepares for numbers from least to most, both above zero, of which many are
// asked; few are worked out one by one. Space is taken only once.
func (p *power) set(e, least, most float64, many bool) {
	p.e, p.c2, p.c3, p.c4, p.c5 = e, (e-1)/2, (e-2)/3, (e-3)/4, (e-4)/5
	p.inverse, p.value = p.inverse[:0], p.value[:0]
	if !many || !(least > 0) || !(most < math.Inf(1)) {
		return
	}
	p.base = math.Float64bits(least) >> bucketLow
	last := math.Float64bits(most) >> bucketLow
	if last-p.base > 1<<13 { // more than sixty octaves: no likelihood has them
		return
	}
	for i := p.base; i <= last; i++ {
		m := math.Float64frombits(i<<bucketLow | 1<<(bucketLow-1))
		p.inverse, p.value = append(p.inverse, 1/m), append(p.value, math.Pow(m, e))
	}
}

// of is x^e.
func (p *power) of(x float64) float64 {
	i := math.Float64bits(x)>>bucketLow - p.base
	if i >= uint64(len(p.value)) {
		return math.Exp(p.e * math.Log(x))
	}
	d := x*p.inverse[i] - 1
	return p.value[i] * (1 + p.e*d*(1+p.c2*d*(1+p.c3*d*(1+p.c4*d*(1+p.c5*d)))))
}
