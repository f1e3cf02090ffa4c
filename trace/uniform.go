package trace

import "math"

// uniform finds start and step (num/den ns) of equally spaced samples such
// that every stamp lies within half a band width of its place. ok is false
// when there are none: the stamps must then be kept.
//
// Rounded stamps of a uniform recording lie in a band as wide as the printed
// step around a straight line. The slope is tried in this order: the roundest
// rate or step the ends allow, the line through the ends, and the slope with the
// narrowest band (the width is a convex function of the slope, so a ternary
// search finds it).
func uniform(s []int64, band int64) (start, num, den int64, ok bool) {
	n := len(s)
	if n == 1 {
		return s[0], 0, 1, true
	}
	delta := s[n-1] - s[0]
	if delta <= 0 || delta > math.MaxInt64/2 {
		return 0, 0, 0, false
	}
	if n == 2 {
		return s[0], delta, 1, true
	}
	// A band of nearly a step would swallow a missing sample: then only stamps
	// that are exactly equally spaced will do.
	if float64(band) > widest*float64(delta)/float64(n-1) {
		band = 1
	}
	// The line through the ends leaves at most twice the band if any line fits.
	end := slope{delta, int64(n - 1)}
	lo, hi, good := end.spread(s, 2*band)
	if !good {
		return 0, 0, 0, false
	}
	steps := float64(n - 1)
	for _, c := range roundSlopes((float64(delta)-float64(band))/steps, (float64(delta)+float64(band))/steps) {
		if l, h, good := c.spread(s, band); good {
			return s[0] + mid(l, h), c.num, c.den, true
		}
	}
	if hi-lo <= band {
		return s[0] + mid(lo, hi), end.num, end.den, true
	}
	best, l, h := narrowest(s, band, delta)
	if h-l <= band {
		return s[0] + mid(l, h), best.num, best.den, true
	}
	return 0, 0, 0, false
}

// widest is the greatest band, in steps, in which a missing sample cannot
// hide: the narrowest band around three samples with one left out between them
// is half a step wide, and wider around more.
const widest = 0.45

// mid rounds the middle of a band down.
func mid(lo, hi int64) int64 { return lo + (hi-lo)/2 }

// slope is a step of num/den nanoseconds.
type slope struct{ num, den int64 }

// spread gives the least and greatest distance of the stamps from the line
// through the first one; it gives up as soon as they lie more than limit apart.
func (c slope) spread(s []int64, limit int64) (lo, hi int64, ok bool) {
	q, r := c.num/c.den, c.num%c.den
	at, rest := s[0], int64(0)
	for _, v := range s {
		d := v - at
		if d < lo {
			lo = d
		} else if d > hi {
			hi = d
		}
		if hi-lo > limit {
			return lo, hi, false
		}
		at += q
		if rest += r; rest >= c.den {
			rest -= c.den
			at++
		}
	}
	return lo, hi, true
}

// roundSlopes gives the roundest rate and the roundest step within [lo, hi]
// ns, the one with fewer digits first.
func roundSlopes(lo, hi float64) []slope {
	if lo <= 0 {
		return nil
	}
	step, stepPower := roundest(lo, hi)
	rate, ratePower := roundest(1e9/hi, 1e9/lo)
	var a, b []slope
	if step > 0 && step < 1e18 {
		a = []slope{{int64(step), 1}}
	}
	if rate > 0 && rate <= 1e12 {
		b = []slope{{second, int64(rate)}}
	}
	if math.Log10(rate)-float64(ratePower) < math.Log10(step)-float64(stepPower) {
		return append(b, a...)
	}
	return append(a, b...)
}

// roundest finds the whole number within [lo, hi] that ends with most zeros,
// and how many; the one nearest the middle if there are several. 0 if none.
func roundest(lo, hi float64) (v float64, power int) {
	for p := 18; p >= 0; p-- {
		unit := math.Pow10(p)
		v := math.Round((lo+hi)/2/unit) * unit
		if v >= lo && v <= hi && v >= 1 {
			return v, p
		}
	}
	return 0, 0
}

// narrowest searches the slope whose band is narrowest, as a fraction with a
// denominator large enough that its own rounding stays below a nanosecond over
// the recording.
func narrowest(s []int64, band, delta int64) (best slope, lo, hi int64) {
	n := int64(len(s))
	den := 4 * n
	if delta > math.MaxInt64/8/den*n {
		den = n
	}
	num := func(d int64) int64 { // delta/(n-1) + d/den, in units of 1/den
		q, r := delta/(n-1), delta%(n-1)
		return q*den + r*den/(n-1) + d
	}
	reach := (band + 1) * den / (n - 1)
	a, b := -reach, reach
	width := func(d int64) (int64, int64, int64) {
		l, h, _ := slope{num(d), den}.spread(s, math.MaxInt64)
		return h - l, l, h
	}
	for b-a > 2 {
		m1, m2 := a+(b-a)/3, b-(b-a)/3
		w1, _, _ := width(m1)
		w2, _, _ := width(m2)
		if w1 <= w2 {
			b = m2
		} else {
			a = m1
		}
	}
	w := int64(math.MaxInt64)
	for d := a; d <= b; d++ {
		if x, l, h := width(d); x < w {
			w, best, lo, hi = x, slope{num(d), den}, l, h
		}
	}
	return best, lo, hi
}
