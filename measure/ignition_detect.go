package measure

import (
	"math"
	"slices"

	"proveout/stats"
	"proveout/trace"
)

// Thresholds of the search for firings. All "our choice" unless a source stands
// beside them; checked by the tests on traces of known truth.
const (
	blockSeconds   = 20e-6  // a firing line rises in 20-60 us (trade.md 4.2: 80 pF, 20 H)
	minIgnitionHz  = 20e3   // below, not even burn time can be had to a tenth
	standOut       = 4.5    // a firing must move this many noise ranges within a block (some 17 sigma)
	joinSeconds    = 3e-3   // turn-on, firing line and ring-down of one spark belong together
	longestCluster = 16e-3  // and last no longer than this
	shareOfTypical = 0.20   // smaller clusters are turn-on rings and neighbours' sparks
	turnOnSeconds  = 12e-3  // a cluster this soon before one twice as large is its dwell
	nearSeconds    = 60e-6  // crest is searched this far around its block
	stretchStep    = 250e-9 // resolution below which block length is not shortened
)

// wave is one channel, ready to be searched: values, rate, stretches without a
// break, and per-block extremes.
type wave struct {
	v        []float64
	rate     float64 // samples per second
	time     trace.TimeBase
	runs     []trace.Segment // uninterrupted and free of missing values
	full     float64         // full scale, 0 = unknown
	lost     int             // samples without a finite value
	size     int             // samples in a block
	lo, hi   []float64       // per block; lo > hi marks a block with nothing usable
	sigma    float64         // noise, standard deviation
	quiet    float64         // block range of noise alone
	step     float64         // recorder step (quantisation), 0 = not seen
	base     float64         // level at rest
	hum      hum
	humFound bool
	// pace is the shortest time from one firing to the next where several cylinders
	// fire in turn, s; 0 for one cylinder, whose firings lie far apart.
	pace float64
}

// within is a time of one cylinder's spark, cut to the share of the pace that is
// left for it where several cylinders fire in turn.
func (w *wave) within(seconds, share float64) float64 {
	if w.pace > 0 {
		return math.Min(seconds, share*w.pace)
	}
	return seconds
}

// newWave prepares a channel; ok is false when the time base gives no rate.
func newWave(rec *trace.Recording, ch *trace.Channel) (*wave, bool) {
	w := &wave{v: ch.Values, time: rec.Time, full: ch.FullScale, runs: rec.Segments}
	if len(w.runs) == 0 {
		w.runs = []trace.Segment{{First: 0, End: len(w.v)}}
	}
	w.rate = rateWithin(rec.Time, w.runs)
	if !(w.rate > 0) || math.IsInf(w.rate, 0) {
		return w, false
	}
	w.blocks()
	w.rest()
	return w, true
}

// rateWithin is the sample rate inside segments: dead time does not count.
func rateWithin(t trace.TimeBase, runs []trace.Segment) float64 {
	if t.Uniform() {
		return t.RateHz()
	}
	n, ns := 0, int64(0)
	for _, s := range runs {
		if s.End-s.First >= 2 && s.End <= len(t.Stamps) {
			n += s.End - s.First - 1
			ns += t.At(s.End-1) - t.At(s.First)
		}
	}
	if n == 0 || ns <= 0 {
		return 0
	}
	return float64(n) / (float64(ns) * 1e-9)
}

// blocks finds the extremes of each block in one pass. A block that holds a
// value that is not finite is left out and cuts the run.
func (w *wave) blocks() {
	w.size = min(max(int(math.Round(w.rate*blockSeconds)), 3), 512)
	n := (len(w.v) + w.size - 1) / w.size
	w.lo, w.hi = make([]float64, n), make([]float64, n)
	for b := range n {
		part := w.v[b*w.size : min((b+1)*w.size, len(w.v))]
		lo, hi := trace.Extremes(part)
		if math.IsNaN(lo) || math.IsInf(lo, 0) || math.IsInf(hi, 0) {
			for _, x := range part {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					w.lost++
				}
			}
			lo, hi = 1, 0
		}
		w.lo[b], w.hi[b] = lo, hi
	}
	if w.lost > 0 {
		w.cutRuns()
	}
}

// cutRuns splits the runs at missing values.
func (w *wave) cutRuns() {
	var out []trace.Segment
	for _, r := range w.runs {
		from := -1
		for i := r.First; i < r.End; i++ {
			bad := math.IsNaN(w.v[i]) || math.IsInf(w.v[i], 0)
			if bad && from >= 0 {
				out = append(out, trace.Segment{First: from, End: i})
				from = -1
			} else if !bad && from < 0 {
				from = i
			}
		}
		if from >= 0 {
			out = append(out, trace.Segment{First: from, End: r.End})
		}
	}
	w.runs = out
}

// rest estimates noise, recorder step and rest level from the quieter blocks.
func (w *wave) rest() {
	stride := max(1, len(w.lo)/20000)
	var ranges, mids []float64
	step := math.Inf(1)
	for b := 0; b < len(w.lo); b += stride {
		if w.lo[b] > w.hi[b] {
			continue
		}
		d := w.hi[b] - w.lo[b]
		ranges = append(ranges, d)
		mids = append(mids, (w.hi[b]+w.lo[b])/2)
		if d > 0 && d < step {
			step = d
		}
	}
	if len(ranges) == 0 {
		return
	}
	// The 30th percentile: a triggered recording may be busy half the time.
	q := stats.Quantile(ranges, 0.30)
	// A recorder with steps shows ranges that are whole multiples of one step.
	whole := 0
	for _, d := range ranges {
		if k := math.Round(d / step); math.Abs(d-k*step) < 1e-6*step*math.Max(1, k) {
			whole++
		}
	}
	if !math.IsInf(step, 1) && whole == len(ranges) {
		w.step = step
	}
	w.quiet = math.Max(q, w.step)
	w.sigma = math.Max(q/rangeOfNormal(w.size), w.step/math.Sqrt(12))
	w.base = stats.MedianInPlace(mids)
}

// rangeOfNormal is the mean range of n standard normal values: the control-chart
// constant d2 for n = 2..10, then Blom's approximation. Source: ASTM manual on
// presentation of data, table of d2 (from memory); test checks it by simulation.
func rangeOfNormal(n int) float64 {
	d2 := [...]float64{0, 0.5, 1.128, 1.693, 2.059, 2.326, 2.534, 2.704, 2.847, 2.970, 3.078}
	if n < len(d2) {
		return d2[max(n, 0)]
	}
	return 2 * stats.TQuantile((float64(n)-0.375)/(float64(n)+0.25), math.Inf(1))
}

// cluster is a stretch in which the trace moves fast: one spark with its dwell.
type cluster struct {
	first, last int     // blocks
	top         int     // block of the largest range
	size        float64 // that range
}

// clusters finds the stretches that stand out of the noise and are large enough
// to be this coil's firings. It works on ranges within a block, which do not care
// about offset, slow drift, hum and polarity.
func (w *wave) clusters() []cluster {
	span := func(b int) float64 {
		if b < 0 || b >= len(w.lo) || w.lo[b] > w.hi[b] {
			return 0
		}
		d := w.hi[b] - w.lo[b]
		// The step from one block to the next belongs to the movement too.
		if b > 0 && w.lo[b-1] <= w.hi[b-1] {
			d = max(w.hi[b], w.hi[b-1]) - min(w.lo[b], w.lo[b-1])
		}
		return d
	}
	floor := standOut * math.Max(w.quiet, 3*w.sigma)
	per := max(1, int(2e-3*w.rate)/w.size)
	tops := make([]float64, 0, len(w.lo)/per+1) // the largest of each 2 ms
	for b := 0; b < len(w.lo); b += per {
		m := 0.0
		for k := b; k < min(b+per, len(w.lo)); k++ {
			m = max(m, span(k))
		}
		tops = append(tops, m)
	}
	if len(tops) == 0 {
		return nil
	}
	fifth := slices.Sorted(slices.Values(tops))[max(0, len(tops)-5)] // one glitch must not set the scale
	threshold := math.Max(floor, 0.05*fifth)
	join := max(1, int(w.within(joinSeconds, 0.3)*w.rate)/w.size)
	var all []cluster
	for b := 0; b < len(w.lo); b++ {
		if b%per == 0 && tops[b/per] < threshold {
			b += per - 1
			continue
		}
		d := span(b)
		if d < threshold {
			continue
		}
		if n := len(all); n > 0 && b-all[n-1].last <= join && w.together(all[n-1].last, b) {
			c := &all[n-1]
			c.last = b
			if d > c.size {
				c.top, c.size = b, d
			}
			continue
		}
		all = append(all, cluster{b, b, b, d})
	}
	return w.large(all)
}

// together reports whether two blocks lie in one run.
func (w *wave) together(a, b int) bool {
	if len(w.runs) == 1 {
		return true
	}
	i, j := a*w.size, b*w.size
	k, _ := slices.BinarySearchFunc(w.runs, i, func(s trace.Segment, x int) int {
		if s.End <= x {
			return -1
		}
		return 1
	})
	return k < len(w.runs) && j < w.runs[k].End
}

// large drops what is too small beside the typical firing: turn-on rings that
// stand alone, and the neighbours' sparks.
func (w *wave) large(all []cluster) []cluster {
	if len(all) == 0 {
		return nil
	}
	sizes := make([]float64, len(all))
	for i, c := range all {
		sizes[i] = c.size
	}
	slices.Sort(sizes)
	kth := sizes[max(0, len(sizes)-max(2, len(sizes)/10))]
	typical := stats.Median(sizes[sort0(sizes, 0.5*kth):])
	var out []cluster
	gap := int(w.within(turnOnSeconds, 0.4)*w.rate) / w.size
	for i, c := range all {
		if c.size < shareOfTypical*typical {
			continue
		}
		if i+1 < len(all) && all[i+1].top-c.top < gap && c.size < 0.5*all[i+1].size {
			continue // the turn-on ring of a long dwell
		}
		if i > 0 && c.top-all[i-1].top < gap && c.size < 0.5*all[i-1].size {
			continue // what rings after a spark
		}
		out = append(out, c)
	}
	return out
}

// sort0 is the first index of sorted s that is at least x.
func sort0(s []float64, x float64) int {
	i, _ := slices.BinarySearch(s, x)
	return min(i, len(s)-1)
}

// run finds the run that holds sample i.
func (w *wave) run(i int) (trace.Segment, bool) {
	for _, s := range w.runs {
		if i >= s.First && i < s.End {
			return s, true
		}
	}
	return trace.Segment{}, false
}

// seconds is the time of sample i.
func (w *wave) seconds(i int) float64 { return float64(w.time.At(i)-w.time.At(0)) * 1e-9 }
