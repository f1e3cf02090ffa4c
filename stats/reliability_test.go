package stats

import (
	"math"
	"strings"
	"testing"
)

// The calibration example of reference reasoning.md section 4, and the ends: each
// chance lies in one bin, 1 in the last, and what is no chance in none.
func TestReliability(t *testing.T) {
	p := []float64{.9, .8, .7, .6, .4, .3, .2, .1, .95, .55}
	y := []bool{true, true, false, true, false, true, false, false, true, false}
	r := NewReliability()
	for i := range p {
		r.Add(p[i], y[i])
	}
	n, told, came := 0, 0.0, 0.0
	for _, k := range r {
		n += k.N
		told += float64(k.N) * k.Told
		came += float64(k.N) * k.True
	}
	if n != 10 || math.Abs(told-5.5) > 1e-12 || math.Abs(came-5) > 1e-12 {
		t.Errorf("%d chances, told %g, came true %g", n, told, came)
	}
	if k := r[6]; k.From != 0.6 || k.N != 2 || math.Abs(k.Told-0.65) > 1e-12 || k.True != 0.5 {
		t.Errorf("from 0.6 to 0.8: %+v", k)
	}
	for _, v := range []float64{math.NaN(), -0.1, 1.1} {
		r.Add(v, true)
	}
	r.Add(0, false)
	r.Add(1, true)
	if r[0].N != 1 || r[len(r)-1].N != 2 {
		t.Errorf("the ends: %+v, %+v", r[0], r[len(r)-1])
	}
	if got := strings.Count(r.String(), "\n"); got != 8 {
		t.Errorf("%d lines in\n%s", got, r)
	}
}
