package measure

import (
	"math"

	"proveout/stats"
	"proveout/trace"
)

// Spark shape thresholds (our choice unless noted).
const (
	settleSeconds = 25e-6  // lead ringing after breakdown
	fallSeconds   = 20e-6  // a breakdown is over in this time
	firstLook     = 150e-6 // spark line is first judged up to here
	stepSeconds   = 8e-6   // spark line is followed in means of this length
	longestBurn   = 6e-3   // trade.md 2.2: more than 2.2 ms is long
	shortestBurn  = 60e-6
	ringSpan      = 2.5e-3
	spikeRise     = 150e-6 // an arc that is stretched until it breaks rises in less than this
	spikeFrom     = 450e-6 // the line before the spike is judged from here to there
	failedSwing   = 0.25   // opposite swing of a spark that did not jump, of its peak
)

// Samples from 25 % of a firing line to its crest, by what they leave open. On a
// straight rise one sample is 0.75/rise of the height, the crest lies anywhere
// within one sample above the highest, and half of that is added (see crest): what
// is left is at most 0.375/rise either way. From 4 samples that is under 10 %, half
// of the 20 % by which a firing line must stand out (trade.md 2.2); below 2 it
// reaches 19 %, as much as that, and the height is no height. Our choice.
const (
	riseSampled = 4
	riseUseless = 2
)

// crestSeconds is how short a firing line can be, rise and fall together: 95 mA of coil
// current into the 80 pF of trade.md 4.2 rise by 1.2 kV/us (testdata/spice/spark.cir).
const crestSeconds = 10e-6

// missesCrest reports whether a firing line can stand between two samples: whatever is
// then the highest sample says nothing of it, however slowly that rises. It may be the
// kick at the end of the burn.
func (w *wave) missesCrest() bool { return 1/w.rate > 1.001*crestSeconds }

// spark is one firing as measured, in the unit of the trace, sign removed.
type spark struct {
	crest    int     // sample of the crest
	end      int     // sample of the end of burn
	t        float64 // s from the start of the recording
	height   float64 // crest over rest level, corrected for half a sample of rise
	heightSD float64 // from sampling and noise
	miss     float64 // what may lie between the highest sample and the next
	rise     float64 // samples from a quarter of the height to the crest
	clipped  bool
	missing  bool // no spark line: the voltage swings back at once
	swung    bool // it did swing to the other side after the crest
	fallen   bool // it fell off the crest at once, as a breakdown does
	burn     float64
	burnSD   float64 // of this one firing
	burnSys  float64 // part of it that is the same in every firing
	level    float64 // median of the spark line
	levelSD  float64
	slope    float64 // change over the whole burn, over level
	noise    float64 // turbulence over level
	spike    float64 // top at the end over the line there
	rings    float64 // full swings after the end; NaN where noise hides them
	decay    float64 // share of a swing that the next one lacks; NaN where too few stand out
	turnOn   float64 // largest quick swing before the firing line, over its height
	strikes  int
	cut      bool // the run ended before the burn did
}

// measureSpark measures the firing of one cluster. sign is +1 or -1. ok is false
// when the crest cannot be placed inside one run.
func (w *wave) measureSpark(c cluster, sign float64, limit int) (spark, bool) {
	near := max(2, int(nearSeconds*w.rate), w.size)
	from, to := c.top*w.size-w.size-near, (c.top+1)*w.size+near
	seg, ok := w.run(min(max(c.top*w.size, 0), len(w.v)-1))
	if !ok {
		return spark{}, false
	}
	from, to = max(from, seg.First), min(to, seg.End)
	// The first crest of the cluster that comes near its largest: coils that strike
	// again and again are measured on the first strike.
	at := func(i int) float64 { return sign * (w.v[i] - w.hum.at(w.seconds(i))) }
	peak, top := -1, math.Inf(-1)
	for i := from; i < to; i++ {
		if x := at(i); x > top {
			top, peak = x, i
		}
	}
	if peak < 0 {
		return spark{}, false
	}
	end := min(seg.End, peak+int((longestBurn+ringSpan)*w.rate), limit)
	pre := max(seg.First, peak-int(400e-6*w.rate)-4)
	y := make([]float64, end-pre)
	drift := w.localRest(c, seg, sign)
	for i := range y {
		y[i] = at(pre+i) - drift
	}
	k := peak - pre
	s := spark{crest: peak, t: w.seconds(peak), strikes: 1}
	w.crest(&s, y, k)
	s.turnOn = w.turnOnBefore(peak, s, seg)
	s.decay = math.NaN()
	w.follow(&s, y, k)
	s.end += pre
	return s, true
}

// crest measures the firing line. Its true top lies between the highest sample
// and the next: on a rise of d per sample it is d/2 higher on average, uniform
// over d.
func (w *wave) crest(s *spark, y []float64, k int) {
	h := y[k]
	d := 0.0
	if k > 0 {
		d = math.Max(0, math.Min(h, h-y[k-1]))
	}
	s.height = h + d/2
	s.heightSD = math.Hypot(d/math.Sqrt(12), w.sigma)
	s.miss = d
	i := k
	for i > 0 && y[i] > h/4 {
		i--
	}
	s.rise = float64(k - i)
	flat := 0
	for j := k; j < len(y) && y[j] >= h-1e-9*math.Abs(h); j++ {
		flat++
	}
	raw := math.Abs(w.v[s.crest])
	s.clipped = flat >= 3 && w.rate >= 200e3 || w.full > 0 && raw >= 0.995*w.full
}

// cutOff marks firings as clipped whose crests end on one and the same highest value: a
// short crest leaves only a sample or two at the end of the range, but scatter never
// gives several the same. A recorder with steps so coarse that it could is left alone.
func (g *ignition) cutOff() {
	top, n := 0.0, 0
	for _, s := range g.sparks {
		switch raw := math.Abs(g.w.v[s.crest]); {
		case raw > top:
			top, n = raw, 1
		case raw == top:
			n++
		}
	}
	// Firings scatter by 10 % and more (trade.md 3.4). Where that is five steps, some one
	// in thirty falls on the highest: three, and a tenth of all, are no chance (our choice).
	if n < 3 || 10*n < len(g.sparks) || g.w.step > 0.02*top {
		return
	}
	for i := range g.sparks {
		if math.Abs(g.w.v[g.sparks[i].crest]) == top {
			g.sparks[i].clipped = true
		}
	}
}

// follow walks along the spark line to its end and measures it.
//
// Burn time runs from the crest to where the arc goes out. The walk finds where
// the voltage falls through half of the line's level for good; endOfBurn goes back
// from there.
func (w *wave) follow(s *spark, y []float64, k int) {
	dt := 1 / w.rate
	n := max(1, int(math.Round(stepSeconds*w.rate)))
	first := k + max(1, int(math.Ceil(settleSeconds*w.rate)))
	look := min(len(y), k+max(int(firstLook*w.rate), first-k+3))
	if first >= look {
		s.cut = true
		return
	}
	level := stats.Median(y[first:look])
	floor := 3 * w.sigma / math.Sqrt(float64(n))
	low := 0.0
	for i := k; i < min(len(y), k+int(350e-6*w.rate)); i++ {
		low = math.Min(low, y[i])
	}
	s.swung = low < -0.1*s.height
	quick := y[min(len(y)-1, k+max(1, int(math.Round(4e-6*w.rate))))]
	s.fallen = s.height-quick > 0.10*s.height || y[min(len(y)-1, k+max(1, int(math.Ceil(fallSeconds*w.rate))))] < 0.8*s.height
	if low < -failedSwing*s.height || level < math.Max(floor, 0.004*s.height) {
		s.missing = true
		s.rings = math.NaN()
		return
	}
	var means []float64
	for i := first; i+n <= len(y); i += n {
		m := 0.0
		for _, v := range y[i : i+n] {
			m += v
		}
		means = append(means, m/float64(n))
	}
	back := max(3, int(120e-6*w.rate)/n)
	over, ref := -1, level
	skip := max(1, (look-first)/n/2)
	for j := skip; j < len(means); j++ {
		lo := max(0, j-1-back)
		if j-1 > lo {
			ref = math.Max(stats.Median(means[lo:j-1]), floor)
		}
		if means[j] > 0.5*ref {
			continue
		}
		// For good: the next two stay down too, or it swings through zero.
		stays := true
		for q := j + 1; q < min(j+3, len(means)); q++ {
			stays = stays && means[q] < 0.7*ref
		}
		if stays || means[j] < -0.2*ref {
			over = j
			break
		}
	}
	if over < 0 {
		s.cut = true
		return
	}
	w.endOfBurn(s, y, k, first+over*n, n, ref, dt)
	if math.IsNaN(s.burn) {
		s.cut = true
		return
	}
	if s.burn < shortestBurn {
		s.missing, s.burn = true, 0
		s.rings = math.NaN()
		return
	}
	w.line(s, means, first, n, k)
	w.ring(s, y, ref)
}

// endOfBurn places the end around sample j where the mean fell under half of ref.
//
// When the arc goes out, what energy is left rings in the coil: v = V sin(wt+f),
// continuing from the line. Its half period is the time between its first two
// zero crossings, its top lies half of that before the first, and the arc went out
// where the sine leaves the line: acos(line/top) before the top. A top far above
// the line is an arc stretched until it broke, and the end is the top itself.
// Without a clear ring the end is carried back from the 90 % and 50 % crossings
// of the fall as along a cosine: t90 - 0.757 (t50 - t90).
func (w *wave) endOfBurn(s *spark, y []float64, k, j, n int, ref, dt float64) {
	from := max(k+1, j-max(3*n, int(100e-6*w.rate)))
	to := min(len(y)-1, j+2*n+int(600e-6*w.rate))
	width := max(1, int(math.Round(4e-6*w.rate)))
	smooth := smoother(y, from, to, width)
	near := min(len(y)-1, j+2*n)
	half := crossing(smooth, max(from, j-n), near, 0.5*ref)
	top := ref
	for i := from; i <= int(half); i++ {
		top = math.Max(top, smooth(i))
	}
	// The spike is held against the line before it, which its own rise must not lift.
	line := ref
	if a, b := max(k+int(settleSeconds*w.rate)+1, int(half)-int(spikeFrom*w.rate)), int(half)-int(spikeRise*w.rate); b-a >= 3*n {
		line = math.Max(stats.Median(y[a:b]), 3*w.sigma/math.Sqrt(float64(b-a)))
	}
	s.spike = top / line
	end, sys := w.ringEnd(smooth, half, to, ref, top, w.sigma/math.Sqrt(float64(width)))
	if math.IsNaN(end) {
		ninety := half
		for i := int(half); i > from; i-- {
			if smooth(i) >= 0.9*ref {
				ninety = math.Min(half, float64(i)+frac(smooth(i), smooth(i+1), 0.9*ref))
				break
			}
		}
		fix := math.Min(0.757*math.Max(0, half-ninety), 60e-6*w.rate)
		end, sys = ninety-fix, fix/math.Sqrt(12)
	}
	s.end = int(math.Round(end))
	s.burn = (end - float64(k) - 0.5) * dt
	slope := 0.5 * ref / math.Max(half-end, 1)
	s.burnSys = dt * sys
	// Half a sample at the crest, the noise over the slope at the end, and sys.
	s.burnSD = dt * math.Sqrt(2.0/12+math.Pow(math.Min(w.sigma/math.Max(slope, 1e-300), 5), 2)+sys*sys)
}

// stretched is the top over the line from which the end is taken for an arc that
// was stretched until it broke (our choice; a calm arc leaves 1.1 to 1.3).
const stretched = 1.5

// ringEnd places the end by the ring that follows; NaN where there is none to go
// by. sys is the part of its uncertainty that is the same in every firing, in
// samples.
func (w *wave) ringEnd(smooth func(int) float64, half float64, to int, ref, top, noise float64) (end, sys float64) {
	first := crossing(smooth, int(half), to, 0)
	if first >= float64(to) {
		return math.NaN(), 0
	}
	low, second := 0.0, -1.0
	for i := int(first) + 1; i < to; i++ {
		low = math.Min(low, smooth(i))
		if smooth(i) < 0 && smooth(i+1) >= 0 {
			second = float64(i) + frac(-smooth(i), -smooth(i+1), 0)
			break
		}
	}
	period := second - first // of half a swing
	if second < 0 || period < 4 || period/w.rate > 400e-6 || -low < math.Max(5*noise, 0.15*ref) {
		return math.NaN(), 0
	}
	peak := first - period/2
	if top >= stretched*ref {
		return peak, 0.1 * period
	}
	before := period / math.Pi * math.Acos(math.Max(-1, math.Min(1, ref/top)))
	return peak - before, 0.05*period + 0.15*before
}

// smoother gives a centred moving mean of y over width samples.
func smoother(y []float64, from, to, width int) func(int) float64 {
	half := width / 2
	lo, hi := max(0, from-half-2), min(len(y), to+half+3)
	sums := make([]float64, hi-lo+1)
	for i := lo; i < hi; i++ {
		sums[i-lo+1] = sums[i-lo] + y[i]
	}
	return func(i int) float64 {
		a, b := max(lo, i-half), min(hi, i+half+1)
		return (sums[b-lo] - sums[a-lo]) / float64(b-a)
	}
}

// crossing is the first place at or after start where f falls through x, as a
// fraction of samples; to when it never does.
func crossing(f func(int) float64, start, to int, x float64) float64 {
	for i := start; i < to; i++ {
		if f(i) >= x && f(i+1) < x {
			return float64(i) + frac(f(i), f(i+1), x)
		}
	}
	return float64(to)
}

func frac(a, b, x float64) float64 {
	if a == b {
		return 0
	}
	return math.Min(1, math.Max(0, (a-x)/(a-b)))
}

// line measures level, slope and turbulence between 10 % and 92 % of the burn.
func (w *wave) line(s *spark, means []float64, first, n, k int) {
	burn := s.burn * w.rate
	a := max(0, int(0.10*burn-float64(first-k))/n)
	b := min(len(means), int(0.92*burn-float64(first-k))/n)
	if b-a < 4 {
		a, b = 0, max(1, min(len(means), int(burn-float64(first-k))/n))
	}
	part := means[a:b]
	s.level = stats.Median(part)
	// The recorder's step does not average out on a steady line.
	s.levelSD = math.Hypot(w.sigma/math.Sqrt(float64(len(part)*n)), w.step/math.Sqrt(12))
	if len(part) < 4 || !(s.level > 0) {
		return
	}
	mx, my := float64(len(part)-1)/2, 0.0
	for _, v := range part {
		my += v / float64(len(part))
	}
	sxy, sxx := 0.0, 0.0
	for i, v := range part {
		sxy += (float64(i) - mx) * (v - my)
		sxx += (float64(i) - mx) * (float64(i) - mx)
	}
	slope := sxy / sxx
	s.slope = slope * burn / float64(n) / s.level
	rest := make([]float64, len(part))
	for i, v := range part {
		rest[i] = v - my - slope*(float64(i)-mx)
	}
	r := stats.MADSigma(rest)
	own := w.sigma / math.Sqrt(float64(n))
	s.noise = math.Sqrt(math.Max(0, r*r-own*own)) / s.level
}

// ring counts full swings after the end of burn: alternating extremes beyond a
// tenth of the spark line and four times the noise.
func (w *wave) ring(s *spark, y []float64, ref float64) {
	width := max(1, int(math.Round(6e-6*w.rate)))
	from, to := s.end, min(len(y)-1, s.end+int(ringSpan*w.rate))
	if w.rate < 100e3 || to-from < int(300e-6*w.rate) {
		s.rings = math.NaN() // a ring of 4-20 kHz needs samples to be seen
		return
	}
	smooth := smoother(y, from, to, width)
	bar := math.Max(0.10*ref, math.Max(4*w.sigma/math.Sqrt(float64(width)), 0.75*w.step))
	if bar > 0.35*ref {
		s.rings = math.NaN()
		return
	}
	halves, side, top := 0, 1, 0.0
	var tops []float64 // of each half swing after the first crossing
	for i := from; i < to; i++ {
		v := smooth(i)
		if side > 0 && v < -bar || side < 0 && v > bar {
			if halves > 0 {
				tops = append(tops, top)
			}
			halves++
			side, top = -side, 0
		}
		top = math.Max(top, math.Abs(v))
	}
	s.rings = float64(halves) / 2
	s.decay = decayOf(append(tops, top), 2*bar)
}

// decayOf is the share by which one full swing is smaller than the last, from the
// straight line through the logarithms of the half swings above floor: a ring
// exp(-t/tau) cos(w t) loses 1-exp(-2 pi/(w tau)). NaN with fewer than three.
func decayOf(tops []float64, floor float64) float64 {
	n := 0
	for n < len(tops) && tops[n] > floor {
		n++
	}
	if n < 3 {
		return math.NaN()
	}
	mx, my, sxy, sxx := float64(n-1)/2, 0.0, 0.0, 0.0
	for _, v := range tops[:n] {
		my += math.Log(v) / float64(n)
	}
	for i, v := range tops[:n] {
		sxy += (float64(i) - mx) * (math.Log(v) - my)
		sxx += (float64(i) - mx) * (float64(i) - mx)
	}
	return 1 - math.Exp(2*sxy/sxx)
}

// Turn-on is looked for this long before the firing line: dwell is 1.5-4 ms
// (trade.md 2.3), and a neighbour fires no sooner than 5 ms at 6000 rpm.
const turnOnWithin = 5e-3

// turnOnBefore is the largest movement within a block ahead of the firing line, where
// the coil was switched on, over the height of the firing line. NaN where noise of that
// size would hide it.
func (w *wave) turnOnBefore(peak int, s spark, seg trace.Segment) float64 {
	from := max(seg.First, peak-int(w.within(turnOnWithin, 0.6)*w.rate))
	to := peak - max(int(250e-6*w.rate), int(3*s.rise))
	most := 0.0
	for b := from/w.size + 1; b < to/w.size; b++ {
		if w.lo[b] <= w.hi[b] {
			most = math.Max(most, w.hi[b]-w.lo[b])
		}
	}
	if to-from < 2*w.size || !(s.height > 0) || 3*w.quiet > most && 3*w.quiet > turnOnSeen*s.height {
		return math.NaN()
	}
	return most / s.height
}

// turnOnSeen is the share of a firing line that noise must stay under for the absence
// of a turn-on swing to be seen. Our choice.
const turnOnSeen = 0.03

// localRest is what the rest level is off by at a cluster after hum was taken
// away: droop of the coupling and slow drift. It is the straight line between
// quiet blocks 5-9 ms before the crest and 2-6 ms after the last movement, or one
// of the two, or nothing when neither is there.
func (w *wave) localRest(c cluster, seg trace.Segment, sign float64) float64 {
	block := float64(w.size) / w.rate
	mean := func(from, to int) (float64, float64, bool) {
		var mids []float64
		for b := max(from, 0); b < min(to, len(w.lo)); b++ {
			if b*w.size < seg.First || (b+1)*w.size > seg.End || w.lo[b] > w.hi[b] || w.hi[b]-w.lo[b] > 2.5*w.quiet {
				continue
			}
			mids = append(mids, sign*((w.lo[b]+w.hi[b])/2-w.hum.at(w.seconds(b*w.size+w.size/2))))
		}
		if len(mids) < 5 {
			return 0, 0, false
		}
		return stats.MedianInPlace(mids), float64(from+to) / 2, true
	}
	unit := w.within(10e-3, 1) / block
	before, tb, okB := mean(c.top-int(0.9*unit), c.top-int(0.5*unit))
	after, ta, okA := mean(c.last+int(0.2*unit), c.last+int(0.6*unit))
	switch {
	case okB && okA && ta > tb:
		return before + (after-before)*(float64(c.top)-tb)/(ta-tb)
	case okB:
		return before
	case okA:
		return after
	}
	// A short triggered stretch: what lies still before the first movement (rest, or
	// the end of dwell), else after the last one.
	first, last := seg.First/w.size, seg.End/w.size
	if v, _, ok := mean(first, c.first-int(0.1e-3/block)); ok {
		return v
	}
	if v, _, ok := mean(c.last+int(0.5e-3/block), last); ok {
		return v
	}
	return 0
}
