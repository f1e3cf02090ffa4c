package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// current reads the mean current after the inrush.
func (c *cranked) current() {
	a, b := c.bounds()
	v := c.steady()
	_, _, se := middle(wholeHumps(v, int(c.period*c.hz)))
	c.emit("cranking.current", c.amp.Name, evidence.WholeEngine, c.run.MeanAmp, math.Hypot(se, 0.02*c.run.MeanAmp), max(1, int(c.run.Seconds/c.period)), c.sampleOf(float64(a)), c.sampleOf(float64(b)))
}

// wholeHumps is the mean of each stretch of so many blocks.
func wholeHumps(v []float64, size int) []float64 {
	var out []float64
	for i := 0; size > 0 && i+size <= len(v); i += size {
		sum, n := 0.0, 0
		for _, x := range v[i : i+size] {
			if !math.IsNaN(x) {
				sum += x
				n++
			}
		}
		if n > 0 {
			out = append(out, sum/float64(n))
		}
	}
	return out
}

// humps finds the crest of each compression.
func (c *cranked) humps() {
	a, b := c.bounds()
	t := c.period * c.hz // blocks
	z := smoothed(c.y[a:b], t/6)
	tops, guessed := c.walk(z, t)
	half := max(2, int(t/8))
	// The foot of a hump is the turned-over crest about the lowest point.
	valley := func(from, to int) float64 {
		at := -1
		for i := max(half, from); i < min(len(z)-half, to); i++ {
			if at < 0 || z[i] < z[at] {
				at = i
			}
		}
		if at < 0 {
			return math.NaN()
		}
		foot := scaledBy(c.y[a+at-half:a+at+half+1], -1)
		if _, low, ok := crest(foot); ok {
			return -low
		}
		return math.NaN()
	}
	last, after := -1, math.NaN() // the hump whose right foot is known
	for k, p := range tops {
		if p-half < 0 || p+half >= len(z) {
			continue
		}
		x, amp, ok := crest(c.y[a+p-half : a+p+half+1])
		if !ok {
			continue
		}
		from, to := p-int(0.7*t), p+int(0.7*t)
		if k > 0 {
			from = tops[k-1]
		}
		if k+1 < len(tops) {
			to = tops[k+1]
		}
		l := after
		if last != k-1 || k == 0 {
			l = valley(from, p)
		}
		r := valley(p, to)
		last, after = k, r
		if math.IsNaN(l) || math.IsNaN(r) {
			continue
		}
		pos := float64(a+p-half) + x
		c.run.Peaks = append(c.run.Peaks, CurrentPeak{Seconds: pos / c.hz, Amp: amp, Hump: amp - (l+r)/2, Sample: c.sampleOf(pos), guessed: guessed[k]})
	}
}

// walk lists the tops of a smoothed current, humps t blocks apart: from the highest
// of the first ones back to the start and on to the end. Where nothing rises to a
// top within a quarter of a hump of where it is due, a cylinder has no hump: its
// place is guessed, and marked so.
func (c *cranked) walk(z []float64, t float64) (tops []int, guessed []bool) {
	start := -1
	for i := 1; i < min(len(z)-1, int(2.2*t)); i++ {
		if z[i] >= z[i-1] && z[i] > z[i+1] && (start < 0 || z[i] > z[start]) {
			start = i
		}
	}
	if start < 0 {
		return nil, nil
	}
	near := func(due float64) (int, bool) {
		from, to := int(due-0.25*t), int(due+0.25*t)+1
		best := from
		for i := from; i <= to; i++ {
			if z[i] > z[best] {
				best = i
			}
		}
		if best == from || best == to {
			return int(due), true
		}
		return best, false
	}
	for at := start; float64(at)-1.25*t > 1; {
		i, g := near(float64(at) - t)
		tops, guessed, at = append(tops, i), append(guessed, g), i
	}
	slices.Reverse(tops)
	slices.Reverse(guessed)
	tops, guessed = append(tops, start), append(guessed, false)
	for at := start; float64(at)+1.25*t+2 < float64(len(z)); {
		i, g := near(float64(at) + t)
		tops, guessed, at = append(tops, i), append(guessed, g), i
	}
	return tops, guessed
}

// outOfStep is the first hump whose top is missing where other cycles have one at
// the same place: not a cylinder without compression, but lost samples or a starter
// that let go. -1: there is none.
func (c *cranked) outOfStep() int {
	var heights []float64
	for _, x := range c.run.Peaks {
		heights = append(heights, x.Hump)
	}
	least := 0.15 * stats.Median(heights) // our choice: less is noise on a cylinder without a hump
	n, none := make([]int, c.n), make([]int, c.n)
	for i, x := range c.run.Peaks {
		n[i%c.n]++
		if x.guessed || x.Hump < least {
			none[i%c.n]++
		}
	}
	dead := 0
	for k := range n {
		if 2*none[k] >= n[k] {
			dead++
		}
	}
	for i, x := range c.run.Peaks {
		if k := i % c.n; x.guessed && (2*none[k] < n[k] || 2*dead > c.n) {
			return i
		}
	}
	return -1
}

// crest fits a parabola by least squares and gives its top: place within v and
// height. ok is false where a value is missing or it opens upward; then the
// highest point has no crest.
func crest(v []float64) (x, height float64, ok bool) {
	n := float64(len(v))
	m := (n - 1) / 2
	var s2, s4, y0, y1, y2 float64
	for i, y := range v {
		if math.IsNaN(y) {
			return 0, 0, false
		}
		d := float64(i) - m
		s2 += d * d
		s4 += d * d * d * d
		y0 += y
		y1 += y * d
		y2 += y * d * d
	}
	det := n*s4 - s2*s2
	c2 := (n*y2 - s2*y0) / det
	c0 := (s4*y0 - s2*y2) / det
	c1 := y1 / s2
	if c2 >= 0 {
		return m, y0 / n, true
	}
	top := -c1 / (2 * c2)
	if math.Abs(top) > m {
		return m, c0, true
	}
	return m + top, c0 + c1*top + c2*top*top, true
}

// speed reads the cranking speed from the time between humps.
func (c *cranked) speed() {
	ch := c.amp.Name
	if len(c.run.Peaks) < 4 {
		c.refuse("cranking.speed", ch, evidence.WholeEngine, evidence.TooFewEvents, "fewer than four compressions are recorded", "crank for about five seconds")
		return
	}
	if c.n == 0 {
		c.refuse("cranking.speed", ch, evidence.WholeEngine, evidence.Unplaced, "the number of cylinders is not given", "write cylinders: in the job")
		return
	}
	if c.refuted {
		c.refuse("cranking.speed", ch, evidence.WholeEngine, evidence.ScaleUnsure, "the number of cylinders does not fit the trace", "check cylinders: in the job, and the sync")
		return
	}
	var d []float64
	for i := 1; i < len(c.run.Peaks); i++ {
		d = append(d, c.run.Peaks[i].Seconds-c.run.Peaks[i-1].Seconds)
	}
	m, _, se := middle(d)
	rpm := 120 / (float64(c.n) * m)
	if rpm < 20 || rpm > 600 {
		c.refuse("cranking.speed", ch, evidence.WholeEngine, evidence.ScaleUnsure, fmt.Sprintf("%d cylinders would crank at %.3g rpm: the number of cylinders, or the time scale, is wrong", c.n, rpm), "check cylinders: in the job, and the unit of the time column")
		return
	}
	c.run.RPM = rpm
	c.res.Condition.SpeedRPM = math.Round(rpm)
	for i := range c.res.Readings {
		c.res.Readings[i].Condition.SpeedRPM = c.res.Condition.SpeedRPM
	}
	if !c.run.Synced {
		c.note(ch, "", false, "%s: cranking at %.0f rpm, if the engine has %d cylinders as the job says", ch, rpm, c.n)
	}
	c.emit("cranking.speed", ch, evidence.WholeEngine, rpm, rpm*math.Hypot(se/m, 1e-3), len(d), c.run.Peaks[0].Sample, c.run.Peaks[len(c.run.Peaks)-1].Sample)
}

// halves counts how often a second the current rises through its own middle in the
// first and the second half of the cranking. It does not follow the humps one by
// one, so a change of speed does not lead it astray.
func (c *cranked) halves() (early, late float64) {
	a, b := c.bounds()
	v := smoothed(c.y[a:b], c.period*c.hz/12)
	mid := smoothed(c.y[a:b], 2*c.period*c.hz)
	count := func(from, to int) float64 {
		high, n := false, 0.0
		some := make([]float64, 0, (to-from)/4+1) // neighbours are nearly alike
		for i := from; i < to; i += 4 {
			some = append(some, v[i])
		}
		swing := stats.MADSigma(some) / 3
		for i := from; i < to; i++ {
			switch d := v[i] - mid[i]; {
			case !high && d > swing:
				high = true
				n++
			case high && d < -swing:
				high = false
			}
		}
		return n / float64(to-from) * c.hz
	}
	half := len(v) / 2
	return count(0, half), count(half, len(v))
}

// syncs lists the times of the sync pulses, the middle of each, in seconds of the
// measured stretch.
func (c *cranked) syncs(rec *trace.Recording) []float64 {
	if c.sync == nil {
		return nil
	}
	out := pulseMiddles(c.sync.Values[c.seg.First:min(c.seg.End, len(c.sync.Values))], 0.3*c.period*c.rate)
	for i := range out {
		out[i] /= c.rate
	}
	return out
}

// cylinders puts each hump to its place of the cycle and, by the sync, to its
// cylinder, and reads the crests.
func (c *cranked) cylinders(rec *trace.Recording) {
	feature := c.ripple()
	ch, whole := c.amp.Name, evidence.WholeEngine
	p := c.run.Peaks
	if c.n == 0 {
		c.refuse(feature, ch, whole, evidence.Unplaced, "the number of cylinders is not given", "write cylinders: in the job")
		return
	}
	if len(p) < fewestPeaks*c.n {
		c.refuse(feature, ch, whole, evidence.TooFewEvents, fmt.Sprintf("%d compressions are recorded; each of %d cylinders must come at least %d times", len(p), c.n, fewestPeaks), "crank for about five seconds")
		return
	}
	step := c.outOfStep()
	for i := 1; i < len(p) && step < 0; i++ {
		if d := (p[i].Seconds - p[i-1].Seconds) / c.period; d < 0.7 || d > 1.4 {
			step = i
		}
	}
	if step >= 0 {
		c.flags = append(c.flags, evidence.Gap)
		c.refuse(feature, ch, whole, evidence.Gap, fmt.Sprintf("the humps break step %.2f s after the start (lost samples, or the starter let go)", p[step].Seconds-c.run.Start), "record once more, without a break")
		return
	}
	if why := c.repeatsElsewhere(); why != "" {
		c.refuted = true
		c.refuse(feature, ch, whole, evidence.ScaleUnsure, why, "check cylinders: in the job")
		return
	}
	first, ok := c.first(rec, feature)
	if !ok {
		return
	}
	tops := c.places(func(x CurrentPeak) float64 { return x.Amp })
	humps := c.places(func(x CurrentPeak) float64 { return x.Hump })
	for k := range tops.value {
		// The zero before, and a top that is no parabola, are in all of them alike.
		tops.sigma[k] = math.Hypot(tops.sigma[k], math.Hypot(c.zeroSD, 0.0015*tops.value[k]))
		// A hump stands on two feet that smoothing lifts: some 0.6 % of it (docs/coverage.md).
		humps.sigma[k] = math.Hypot(humps.sigma[k], 0.01*humps.mean)
	}
	if half := c.n / 2; c.n%2 == 0 && c.n >= 6 && tops.twice(half) {
		c.refuted = true
		c.refuse(feature, ch, whole, evidence.ScaleUnsure, fmt.Sprintf("the humps differ, and repeat after %d compressions; the job says %d cylinders", half, c.n), "check cylinders: in the job")
		return
	}
	c.tops, c.feet = tops, humps
	c.run.Positions, c.run.Humps = tops.value, humps.value
	a, b := p[0].Sample, p[len(p)-1].Sample
	if first < 0 {
		if !c.sag {
			c.emit("cranking.peak_spread", ch, whole, 100*tops.spread(), 100*tops.spreadSigma(), len(p), a, b, evidence.Unplaced)
		}
		c.emit("cranking.hump_spread", ch, whole, 100*humps.spread(), 100*humps.spreadSigma(), len(p), a, b, evidence.Unplaced)
		return
	}
	of := c.meta.syncCylinder(c.sync)
	order := orderFrom(c.meta.Engine.FiringOrder, of)
	if order == nil {
		c.refuse(feature, c.sync.Name, whole, evidence.Unplaced, fmt.Sprintf("the sync is said to be of cylinder %d, which the engine does not have", of), "check the name of the sync's column, or map it with its cylinder")
		return
	}
	for i := range p {
		p[i].Cylinder = order[((i-first)%c.n+c.n)%c.n]
	}
	c.run.Synced = true
	c.note(ch, "", false, "%s: cylinders go by %s alone; that it is the sync of cylinder %d, the trace cannot show", ch, c.sync.Name, of)
	byCylinder := make([]int, c.n+1)
	for k := range c.n {
		byCylinder[order[((k-first)%c.n+c.n)%c.n]] = k
	}
	for cyl := 1; cyl <= c.n; cyl++ {
		k := byCylinder[cyl]
		if c.sag {
			c.emit(feature, ch, evidence.Cyl(cyl), humps.value[k], humps.sigma[k], humps.n[k], a, b)
			continue
		}
		c.emit(feature, ch, evidence.Cyl(cyl), tops.value[k], tops.sigma[k], tops.n[k], a, b)
		c.emit("cranking.hump", ch, evidence.Cyl(cyl), humps.value[k], humps.sigma[k], humps.n[k], a, b)
	}
	for i, x := range p {
		if c.sag {
			c.mark(feature, ch, i, x.Sample, x.Sample, "cylinder %d: %.2f V", x.Cylinder, x.Hump)
			continue
		}
		c.mark(feature, ch, i, x.Sample, x.Sample, "cylinder %d: %.0f A", x.Cylinder, x.Amp)
	}
}

// repeatsElsewhere says so when the pattern of crests comes back after another
// number of humps than there are cylinders.
func (c *cranked) repeatsElsewhere() string {
	p := c.run.Peaks
	scatter := func(n int) float64 {
		var d []float64
		for i := n; i < len(p); i++ {
			d = append(d, p[i].Amp-p[i-n].Amp)
		}
		return stats.MADSigma(d)
	}
	here := scatter(c.n)
	for _, n := range []int{3, 4, 5, 6, 8, 10, 12} {
		if n == c.n || c.n%n == 0 || n%c.n == 0 || len(p) < 3*n || len(p)-n < 6 {
			continue
		}
		if s := scatter(n); s < 0.25*here && here > 0.03*c.run.MeanAmp {
			return fmt.Sprintf("the humps repeat after %d compressions, the job says %d cylinders", n, c.n)
		}
	}
	return ""
}

// first is the hump, counted from the first, that belongs to the cylinder of the sync; -1 when
// the order stays unknown. ok is false when nothing may be compared.
func (c *cranked) first(rec *trace.Recording, feature string) (int, bool) {
	ch, whole := c.amp.Name, evidence.WholeEngine
	order := c.meta.Engine.FiringOrder
	if c.sync == nil {
		c.refuse(feature, ch, whole, evidence.Unplaced, "there is no sync of cylinder 1: the order of the humps is unknown, so none can be put to a cylinder", "record coil or injector of cylinder 1 beside it (as: sync)")
		return -1, true
	}
	ss := c.syncs(rec)
	p := c.run.Peaks
	var offsets, between []float64
	votes := make([]int, c.n)
	counts := 0
	for k, s := range ss {
		if k > 0 {
			between = append(between, (s-ss[k-1])/c.period)
		}
		if s < p[0].Seconds-c.period/2 || s > p[len(p)-1].Seconds+c.period/2 {
			continue
		}
		best := 0
		for i := range p {
			if math.Abs(p[i].Seconds-s) < math.Abs(p[best].Seconds-s) {
				best = i
			}
		}
		votes[best%c.n]++
		counts++
		offsets = append(offsets, (s-p[best].Seconds)/c.period)
	}
	if counts < 2 {
		c.refuse(feature, c.sync.Name, whole, evidence.TooFewEvents, "fewer than two sync pulses fall into the cranking", "check the sync pickup; without it the order of the humps is unknown")
		return -1, true
	}
	apart := stats.Median(between)
	if math.Abs(apart-float64(c.n)) > 0.25*float64(c.n) || math.Abs(apart-math.Round(apart)) > 0.3 || int(math.Round(apart)) != c.n {
		switch {
		case int(math.Round(apart*2)) == c.n:
			c.refuse(feature, c.sync.Name, whole, evidence.Unplaced, "the sync comes twice a cycle (waste spark, or once a turn): cylinder 1 cannot be told from its companion", "take the sync from the injector of cylinder 1")
			return -1, true
		default:
			c.refuted = true
			c.refuse(feature, c.sync.Name, whole, evidence.ScaleUnsure, fmt.Sprintf("%.1f humps lie between two syncs, the job says %d cylinders", apart, c.n), "check cylinders: in the job, and that the sync is that of one cylinder")
			return -1, false
		}
	}
	best := 0
	for k := range votes {
		if votes[k] > votes[best] {
			best = k
		}
	}
	if votes[best] < (counts*4+4)/5 || math.Abs(stats.Median(offsets)) > 0.38 {
		c.refuse(feature, c.sync.Name, whole, evidence.Unplaced, "the sync falls between two humps, now by one, now by the other", "take the sync from the coil of cylinder 1, which fires near its compression")
		return -1, true
	}
	if len(order) != c.n {
		c.refuse(feature, ch, whole, evidence.Unplaced, "the firing order is not given: only cylinder 1 could be placed", "write firing_order: in the job")
		return -1, true
	}
	return best, true
}
