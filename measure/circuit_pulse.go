package measure

import (
	"math"
	"slices"

	"proveout/stats"
	"proveout/trace"
)

// Thresholds of the search for current pulses. Our choice, checked by the tests
// on traces of known truth.
const (
	pulseLevel   = 0.12 // of the typical peak: above is switched on
	pulseStand   = 20.0 // the pulses must be this many noise deviations high
	pulseTypical = 0.35 // smaller pulses than this share of the typical one are left out
)

// currentPulse is one time the driver was closed. Times are seconds from the
// start of the recording; currents are from the level at rest.
type currentPulse struct {
	first, last   int     // samples: foot of the rise, last before the fall
	off           float64 // switch-off, half way down the fall
	offSD         float64
	foot          float64 // time of the foot: a first guess at switch-on
	peak, end     float64 // highest current, and the one just before switch-off
	jump          float64 // step within the first samples, 0 if it rises from rest
	fall          float64 // seconds from 90 to 10 % of end
	before, after float64 // rest level in the file's own zero, around the pulse
	cut           bool    // touches the end of a stretch
	flat          int     // samples at exactly the highest value
}

// pulseTrain is what was found on one channel.
type pulseTrain struct {
	v        signal // turned so that pulses point up; rest level still in
	rest     float64
	sigma    float64
	step     float64
	top      float64 // typical height over rest
	inverted bool
	all      []currentPulse
}

// findPulses looks for pulses on a current channel; why says what spoke against.
func (s *sheet) findPulses(ch *trace.Channel, runs []trace.Segment) (p pulseTrain, why string) {
	p.sigma, p.step = stepNoise(ch.Values, runs)
	lo, hi, ok := extremes(ch.Values, runs, s.rate)
	if !ok || !(hi > lo) {
		return p, "the trace is flat"
	}
	if hi-lo < pulseStand*p.sigma {
		return p, "nothing stands out of the noise"
	}
	low, high := densest(ch.Values, runs, lo, hi)
	p.v, p.rest = signal{v: ch.Values}, low
	if math.Abs(high) < math.Abs(low) {
		p.inverted, p.v.down = true, true
		p.rest, hi, lo = -high, -lo, -hi
	}
	p.top = hi - p.rest
	if p.rest-lo > 0.5*p.top {
		return p, "it swings to both sides of its rest level; a switched current goes one way"
	}
	if p.top < pulseStand*p.sigma {
		return p, "nothing stands out of the noise"
	}
	for _, r := range runs {
		p.inRun(s, r)
	}
	if len(p.all) == 0 {
		return p, "no pulse lies in the recording"
	}
	return p, ""
}

// inRun finds the pulses of one uninterrupted stretch.
func (p *pulseTrain) inRun(s *sheet, r trace.Segment) {
	level := p.rest + pulseLevel*p.top
	least := max(3, int(50e-6*s.rate))
	quiet := max(1, int(20e-6*s.rate))
	prev := r.First
	for i := r.First; i < r.End; {
		if p.v.at(i) < level {
			i++
			continue
		}
		j, below := i, 0
		for j < r.End && below <= quiet {
			if p.v.at(j) < level {
				below++
			} else {
				below = 0
			}
			j++
		}
		last := j - below - 1
		if last-i+1 >= least {
			c := p.measure(s, r, i, last, prev)
			if c.peak >= pulseTypical*p.top {
				p.all = append(p.all, c)
				prev = last + 1
			}
		}
		i = j
	}
}

// measure fills one pulse whose samples above the level are up..last.
func (p *pulseTrain) measure(s *sheet, r trace.Segment, up, last, prev int) currentPulse {
	c := currentPulse{first: up, last: last}
	near := math.Max(3*p.sigma, 0.01*p.top)
	gap := up - prev
	for c.first > max(r.First, prev) && p.v.at(c.first-1) > p.rest+near {
		c.first--
	}
	w := min(gap/2, int(1e-3*s.rate))
	c.before, c.after = p.rest, p.rest
	if w >= 3 {
		k := max(r.First, c.first-w)
		if k < c.first-1 {
			c.before = stats.Median(p.v.part(k, c.first-1))
		}
	}
	c.cut = c.first <= r.First+1 || last >= r.End-2
	// Against the rest level before it the clamp's slow drift does not matter.
	hi := math.Inf(-1)
	for _, x := range p.v.part(c.first, last+1) {
		switch {
		case x > hi:
			hi, c.flat = x, 1
		case x == hi:
			c.flat++
		}
	}
	c.peak = hi - c.before
	p.findEnd(s, r, &c)
	if from, to := c.last+max(2, int(300e-6*s.rate)), c.last+max(5, int(1e-3*s.rate)); to < r.End {
		c.after = stats.Median(p.v.part(from, to))
	}
	c.foot = s.seconds(c.first)
	// A step at the start: the current is there within three samples or 30 us.
	k := min(c.first+max(3, int(30e-6*s.rate)), last)
	if d := p.v.at(k) - c.before; d > math.Max(6*p.sigma, 0.04*p.top) {
		c.jump = d
	}
	return c
}

// findEnd finds the switch-off: the steepest long fall at the end of the pulse.
func (p *pulseTrain) findEnd(s *sheet, r trace.Segment, c *currentPulse) {
	back := max(4, int(60e-6*s.rate))
	// The level before the fall: where the fall of the last stretch begins.
	j := c.last
	for j > c.first+1 && p.v.at(j-1)-p.v.at(j) > math.Max(2*p.sigma, 0.01*p.top) {
		j--
	}
	from := max(c.first, j-back)
	c.end = stats.Median(p.v.part(from, j+1)) - c.before
	// A ramp still rises over that stretch: take its last part for the level.
	if k := max(c.first, j-2); j > k {
		c.end = math.Max(c.end, stats.Median(p.v.part(k, j+1))-c.before)
	}
	half, tenth, most := c.before+0.5*c.end, c.before+0.1*c.end, c.before+0.9*c.end
	h, t := j, j
	for h < r.End-1 && p.v.at(h) > half {
		h++
	}
	for t = h; t < r.End-1 && p.v.at(t) > tenth; {
		t++
	}
	m := h
	for m > c.first && p.v.at(m) < most {
		m--
	}
	c.fall = s.seconds(t) - s.seconds(m)
	c.last = j
	if h == 0 {
		return
	}
	a, b := p.v.at(h-1), p.v.at(h)
	ta, tb := s.seconds(h-1), s.seconds(h)
	f := 0.5
	if a > b {
		f = math.Min(1, math.Max(0, (a-half)/(a-b)))
	}
	c.off, c.offSD = ta+f*(tb-ta), (tb-ta)/math.Sqrt(12)
}

// extremes are the third lowest and third highest of the extremes of windows of
// 5 ms, each value averaged over 10 us, so that a few glitches set nothing.
func extremes(v []float64, runs []trace.Segment, rate float64) (lo, hi float64, ok bool) {
	size, win := max(1, int(10e-6*rate)), max(8, int(5e-3*rate))
	var los, his []float64
	for _, r := range runs {
		for i := r.First; i < r.End; i += win {
			l, h := math.Inf(1), math.Inf(-1)
			for part := v[i:min(i+win, r.End)]; len(part) >= size; part = part[size:] {
				m := 0.0
				for _, x := range part[:size] {
					m += x
				}
				l, h = min(l, m), max(h, m)
			}
			l, h = l/float64(size), h/float64(size)
			if l <= h {
				los, his = append(los, l), append(his, h)
			}
		}
	}
	if len(los) == 0 {
		return 0, 0, false
	}
	slices.Sort(los)
	slices.Sort(his)
	k := min(2, (len(los)-1)/4)
	return los[k], his[len(his)-1-k], true
}

// levelSamples is how many samples, spread over the trace, the levels are taken from:
// they place a level to a small part of the noise. Our choice.
const levelSamples = 5000

// densest gives the most crowded level of the lower and of the upper half of the
// range: the shortest interval that holds a third of the samples there.
func densest(v []float64, runs []trace.Segment, lo, hi float64) (low, high float64) {
	n := 0
	for _, r := range runs {
		n += r.End - r.First
	}
	stride := max(1, n/levelSamples)
	mid := lo + (hi-lo)/2
	var a, b []float64
	for _, r := range runs {
		for i := r.First; i < r.End; i += stride {
			if v[i] <= mid {
				a = append(a, v[i])
			} else {
				b = append(b, v[i])
			}
		}
	}
	return shorth(a, lo), shorth(b, hi)
}

func shorth(x []float64, otherwise float64) float64 {
	if len(x) < 9 {
		return otherwise
	}
	slices.Sort(x)
	m := len(x) / 3
	at, best := 0, math.Inf(1)
	for i := 0; i+m < len(x); i++ {
		if d := x[i+m] - x[i]; d < best {
			at, best = i, d
		}
	}
	return stats.Median(x[at : at+m+1])
}

// usable are the pulses that lie whole in the recording.
func (p *pulseTrain) usable() []currentPulse {
	var out []currentPulse
	for _, c := range p.all {
		if !c.cut && c.off > c.foot {
			out = append(out, c)
		}
	}
	return out
}

// clippedAt reports whether most pulses end in a top of exactly one value while
// the trace moves elsewhere: the recorder's end, not the circuit's. On a coarse
// recorder a current limit looks the same when each pulse ends in the same step;
// that is taken for clipping too, since a wider range settles it; not with level
// true, for a current that settles to one level by itself.
func (p *pulseTrain) clippedAt(fullScale float64, level bool) bool {
	n, whole := 0, 0
	same, first := true, math.NaN()
	for _, c := range p.all {
		if c.cut {
			continue
		}
		whole++
		top := c.peak + c.before
		if math.IsNaN(first) {
			first = top
		}
		same = same && math.Abs(top-first) < 1e-9*math.Max(1, math.Abs(first))
		if c.flat >= 4 && (fullScale > 0 && top >= 0.999*fullScale || p.sigma > 1e-4*p.top && p.step < 3*p.sigma) {
			n++
		} else if c.flat >= 4 && p.step > 0 && same && whole > 1 && !level {
			n++
		}
	}
	return whole > 0 && 2*n > whole
}
