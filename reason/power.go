package reason

import "math"

// exp is math.Exp for the loop over all triples, three to four times as quick
// where the argument is of moderate size: a table of 2^(k/32) and a polynomial
// of degree six on what is left, which is at most ln2/64. It agrees with math.Exp
// to two units in the last place.
func exp(x float64) float64 {
	if !(x < 600 && x > -600) {
		return math.Exp(x)
	}
	const (
		perLn2 = 32 / math.Ln2
		// ln2/32 in two parts, so that n times the first is exact.
		hi = 0x1.62e42fee00000p-6
		lo = 0x1.a39ef35793c76p-38
	)
	n := int64(x*perLn2 + (1<<20 + 0.5)) // rounded down: the sum is positive
	n -= 1 << 20
	r := x - float64(n)*hi - float64(n)*lo
	// In two branches, so that few operations wait for one another.
	r2 := r * r
	p := r + r2*((1.0/2+r*(1.0/6))+r2*((1.0/24+r*(1.0/120))+r2*(1.0/720)))
	t := twoTo[n&31]
	return (t + t*p) * math.Float64frombits(uint64(1023+(n>>5))<<52)
}

// twoTo holds 2^(k/32).
var twoTo = func() (t [32]float64) {
	for k := range t {
		t[k] = math.Exp2(float64(k) / 32)
	}
	return t
}()
