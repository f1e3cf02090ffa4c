package measure

import (
	"fmt"
	"math"
	"sync"

	"proveout/evidence"
	"proveout/stats"
	"proveout/unit"
)

// read turns the sparks of each phase into readings.
func (g *ignition) read() {
	phases, why := g.phases()
	if why != "" {
		g.refuse("", evidence.ScaleUnsure, why, "check the unit of the time column or the sample rate")
		return
	}
	for _, p := range phases {
		c := evidence.Condition{State: p.state, SpeedRPM: math.Round(p.rpm)}
		if g.res.Condition.State == "" && p.state != "" {
			g.res.Condition = c
		}
		if p.rpm > 0 {
			g.note("", false, "%s: %d firings at %.0f rpm, %s", g.ch.Name, len(p.at), p.rpm, spoken(p.state))
		}
		g.readPhase(p)
	}
	g.snapRatio(phases)
	if len(g.exhaust) > 0 && steadyFirings(g.sparks) {
		g.wasteRatio(g.sparks, g.exhaust)
	}
	g.missingShare(phases)
	g.marks()
}

// pick takes one property of the usable sparks of a phase.
func (g *ignition) pick(p phase, get func(spark) (float64, bool)) []float64 {
	var out []float64
	for _, i := range p.at {
		if v, ok := get(g.sparks[i]); ok && !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	return out
}

// middle is the median with its standard uncertainty from scatter:
// 1.2533 sigma/sqrt(n), the large-sample error of a median of normal values.
// Below ten values sigma is the ordinary one: the median deviation of a few
// values is too often far too small.
func middle(x []float64) (median, sd, se float64) {
	median = stats.Median(x)
	sd = spreadOf(x)
	n := float64(len(x))
	if n == 1 {
		sd = 0.15 * math.Abs(median) // trade.md 3.4: cycles scatter by 10-20 %
	}
	return median, sd, math.Sqrt(stats.MedianVariance(len(x))) * sd * smallN(n)
}

// smallN widens a standard error of n values so that 1.96 of them hold 95 % as
// Student's t would have it.
func smallN(n float64) float64 {
	if n < 2 {
		return 1
	}
	if k := int(n); float64(k) == n && k < len(smallFactors()) {
		return smallFactors()[k]
	}
	return stats.TQuantile(0.975, n-1) / 1.959964
}

// smallFactors are those of up to 99 values, worked out once.
var smallFactors = sync.OnceValue(func() *[100]float64 {
	var f [100]float64
	for k := 2; k < len(f); k++ {
		f[k] = stats.TQuantile(0.975, float64(k-1)) / 1.959964
	}
	return &f
})

// spreadOf is the standard deviation after values further than three median
// deviations from the median were pulled in to there (winsorised): nearly as
// efficient as the ordinary one, and one freak does not set it. Fewer than six
// values are taken as they are. 0 for one.
func spreadOf(x []float64) float64 {
	if len(x) < 2 {
		return 0
	}
	lo, hi := math.Inf(-1), math.Inf(1)
	if len(x) >= 6 {
		if s, m := stats.MADSigma(x), stats.Median(x); s > 0 {
			lo, hi = m-3*s, m+3*s
		}
	}
	m, ss := 0.0, 0.0
	for _, v := range x {
		m += math.Max(lo, math.Min(hi, v)) / float64(len(x))
	}
	for _, v := range x {
		d := math.Max(lo, math.Min(hi, v)) - m
		ss += d * d
	}
	return math.Sqrt(ss / float64(len(x)-1))
}

func (g *ignition) readPhase(p phase) {
	w := g.w
	need := fewestFirings
	if p.state == evidence.Snap {
		need = fewestSnaps
	}
	var flags []evidence.Flag
	if p.unsure {
		flags = append(flags, evidence.ConditionUnsure)
	}
	whole := func(s spark) bool { return !s.cut && !s.missing }
	burns := g.pick(p, func(s spark) (float64, bool) { return s.burn, whole(s) })
	if len(burns) < need {
		flags = append(flags, evidence.TooFewEvents)
	}
	if p.suffix == "" {
		g.refuse("", evidence.ConditionUnsure, fmt.Sprintf("the trace was taken at %s; burn time and firing line are read at idle, snap, steady speed or load", spoken(p.state)), "say under which condition it was taken, or take it at idle and with the throttle snapped open")
		return
	}
	heights := g.pick(p, func(s spark) (float64, bool) { return s.height, !s.cut })
	g.height(p, heights, flags)
	if len(burns) == 0 {
		g.refuse("ignition.burn_time"+p.suffix, evidence.TooFewEvents, "no firing is followed by a spark line", "see the share of firings without a spark line; check the plug and its connection first")
		return
	}
	m, _, se := middle(burns)
	sys := stats.Median(g.pick(p, func(s spark) (float64, bool) { return s.burnSys, whole(s) }))
	one := stats.Median(g.pick(p, func(s spark) (float64, bool) { return s.burnSD, whole(s) }))
	burnFlags := flags
	if 1/w.rate > 0.05*m {
		burnFlags = append(burnFlags, evidence.TooSlow)
	}
	g.emit("ignition.burn_time"+p.suffix, unit.Must("s"), m, math.Sqrt(se*se+sys*sys+one*one/float64(len(burns))), len(burns), p, burnFlags)
	g.sparkLine(p, flags, m)
	if p.state == evidence.Snap && len(heights) >= 2 || p.state == evidence.Idle && len(heights) >= enoughForScatter {
		mid := stats.Median(heights)
		sd := spreadOf(heights)
		g.emit("ignition.firing_scatter"+p.suffix, unit.Must("%"), 100*sd/mid, 100*sd/mid*scatterSE(len(heights)), len(heights), p, append(flags, g.heightFlags(p)...))
	}
}

// enoughForScatter is the number of firings at idle from which their scatter is worth
// a reading: it is then known to a sixth. Our choice.
const enoughForScatter = 20

// scatterSE is the relative standard error of a standard deviation of n values.
func scatterSE(n int) float64 {
	if n < 2 {
		return 1
	}
	return math.Min(1, 1.1/math.Sqrt(2*float64(n-1)))
}

// heightFlags are the warnings about the crest alone.
func (g *ignition) heightFlags(p phase) []evidence.Flag {
	var out []evidence.Flag
	clipped := 0
	for _, i := range p.at {
		if g.sparks[i].clipped {
			clipped++
		}
	}
	if clipped*10 > len(p.at) {
		out = append(out, evidence.Clipped)
	}
	rise := stats.Median(g.pick(p, func(s spark) (float64, bool) { return s.rise, !s.cut }))
	switch {
	case rise < riseUseless || g.w.missesCrest():
		out = append(out, evidence.TooSlow)
	case rise < riseSampled:
		out = append(out, evidence.Undersampled)
	}
	return out
}

// height emits the firing line. Its crest must have been sampled: the flags say
// when it was not.
func (g *ignition) height(p phase, heights []float64, flags []evidence.Flag) {
	if len(heights) == 0 {
		return
	}
	need := fewestFirings
	if p.state == evidence.Snap {
		need = fewestSnaps
	}
	m, _, se := middle(heights)
	one := stats.Median(g.pick(p, func(s spark) (float64, bool) { return s.heightSD, !s.cut }))
	n := float64(len(heights))
	// Half a sample of rise was added for the crest between two samples. That is right
	// on average for a straight rise and a sharp crest; a round one needs none of it, a
	// late one all. So much is the same in every firing, and does not average out.
	miss := stats.Median(g.pick(p, func(s spark) (float64, bool) { return s.miss, !s.cut })) / math.Sqrt(12)
	// 1 % for what noise adds to a highest sample, bandwidth and rest level (our choice).
	u := math.Sqrt(se*se + one*one/n + miss*miss + g.w.step*g.w.step/12 + 1e-4*m*m)
	f := append([]evidence.Flag{}, g.heightFlags(p)...)
	for _, x := range flags {
		if x != evidence.TooFewEvents || len(heights) < need {
			f = append(f, x)
		}
	}
	feature := "ignition.firing_height" + p.suffix
	for _, x := range f {
		switch x {
		case evidence.Clipped:
			cut := stats.Median(g.pick(p, func(s spark) (float64, bool) { return math.Abs(g.w.v[s.crest]), s.clipped }))
			g.note(x, true, "%s: firing lines are cut off at %.3g %s; set the recorder to a wider range", g.ch.Name, g.ch.Unit.FromSI(cut), g.ch.Unit.Symbol)
		case evidence.TooSlow, evidence.Undersampled:
			g.note(x, true, "%s: at %sS/s only %.0f samples fall on the rise of the firing line; take it at 1 MS/s or more to read its height", g.ch.Name, round3(g.w.rate), stats.Median(g.pick(p, func(s spark) (float64, bool) { return s.rise, !s.cut })))
		}
	}
	volts := g.meta.Calibrated && g.ch.Unit.Dim == unit.Voltage
	if t := traitTable["ignition.firing_voltage_idle"]; volts && (m < t.low || m > t.high) {
		g.note(evidence.ScaleUnsure, true, "%s: firing lines of %.3g V from a calibrated probe cannot be; the scale is wrong", g.ch.Name, m)
		f = append(f, evidence.ScaleUnsure)
	}
	g.emit(feature, unit.Must("x"), m, u, len(heights), p, f)
	if volts && (p.state == evidence.Idle || p.state == evidence.Snap) {
		g.emit("ignition.firing_voltage"+p.suffix, unit.Must("V"), m, math.Hypot(u, 0.03*m), len(heights), p, f)
	}
}

// sparkLine emits level, slope, turbulence, end spike and ring count.
func (g *ignition) sparkLine(p phase, flags []evidence.Flag, burn float64) {
	whole := func(s spark) bool { return !s.cut && !s.missing && s.level > 0 }
	levels := g.pick(p, func(s spark) (float64, bool) { return s.level, whole(s) })
	if len(levels) == 0 {
		return
	}
	level := stats.Median(levels)
	own := stats.Median(g.pick(p, func(s spark) (float64, bool) { return s.levelSD, whole(s) }))
	if level < 4*g.w.sigma || level < 3*g.w.step {
		why := fmt.Sprintf("the spark line is only %.1f times the noise and recorder step", level/math.Max(g.w.sigma, g.w.step))
		for _, f := range []string{"ignition.spark_line_level", "ignition.spark_line_ratio", "ignition.spark_line_slope", "ignition.spark_line_noise"} {
			g.refuse(f, evidence.Noisy, why, "take a second trace with the range set to the spark line and let the firing line run off the top")
		}
	} else {
		g.sparkLevel(p, levels, own, flags)
		ratio := func(s spark) (float64, bool) { return s.level / s.height, whole(s) }
		m, _, se := middle(g.pick(p, ratio))
		g.emit("ignition.spark_line_ratio", unit.Must("x"), m, math.Hypot(se, m*own/level), len(levels), p, append(g.heightFlags(p), flags...))
		lineFlags := flags
		if burn*g.w.rate < 40 {
			lineFlags = append(append([]evidence.Flag{}, flags...), evidence.TooSlow)
		}
		slopes := g.pick(p, func(s spark) (float64, bool) { return s.slope, whole(s) })
		m, _, se = middle(slopes)
		g.emit("ignition.spark_line_slope", unit.Must("x"), m, math.Hypot(se, own/level/math.Sqrt(float64(len(slopes)))), len(slopes), p, lineFlags)
		noises := g.pick(p, func(s spark) (float64, bool) { return s.noise, whole(s) })
		m, _, se = middle(noises)
		g.emit("ignition.spark_line_noise", unit.Must("x"), m, math.Hypot(se, 0.3*g.w.sigma/level), len(noises), p, lineFlags)
		spikes := g.pick(p, func(s spark) (float64, bool) { return s.spike, whole(s) })
		m, _, se = middle(spikes)
		g.emit("ignition.end_spike", unit.Must("x"), m, math.Hypot(se, g.w.sigma/level), len(spikes), p, lineFlags)
	}
	rings := g.pick(p, func(s spark) (float64, bool) { return s.rings, whole(s) })
	if 2*len(rings) < len(levels) {
		g.refuse("ignition.ring_count", evidence.Noisy, "the swings after the burn do not stand out of the noise and recorder step, or lie outside the recording", "take it at 500 kS/s or more with the range set lower, 3 ms past the spark")
		return
	}
	mean := 0.0
	for _, v := range rings {
		mean += v / float64(len(rings))
	}
	g.emit("ignition.ring_count", unit.Must("count"), mean, math.Hypot(spreadOf(rings)/math.Sqrt(float64(len(rings))), 0.25), len(rings), p, flags)
	decays := g.pick(p, func(s spark) (float64, bool) { return 100 * s.decay, whole(s) })
	if 2*len(decays) < len(levels) {
		g.refuse("ignition.ring_decay", evidence.Noisy, "fewer than three half swings after the burn stand out", "take it at 1 MS/s or more with the range set to the spark line; if the others ring on, that is the finding")
	} else {
		m, _, se := middle(decays)
		g.emit("ignition.ring_decay", unit.Must("%"), m, math.Hypot(se, 2), len(decays), p, flags)
	}
	g.turnOn(p, flags)
}

// sparkLevel emits how high the spark line stands, which is read where the firing line
// ran off the top as well: in volts where the probe's scale can be trusted.
func (g *ignition) sparkLevel(p phase, levels []float64, own float64, flags []evidence.Flag) {
	m, _, se := middle(levels)
	// 0.04 % for the level of rest, which is the same in every firing (docs/coverage.md).
	u := math.Sqrt(se*se + own*own/float64(len(levels)) + g.w.step*g.w.step/12 + 1.6e-7*m*m)
	volts := g.meta.Calibrated && g.ch.Unit.Dim == unit.Voltage
	if t := traitTable["ignition.spark_voltage"]; volts && (m < t.low || m > t.high) {
		g.note(evidence.ScaleUnsure, true, "%s: a spark line of %.3g V from a calibrated probe cannot be; the scale is wrong", g.ch.Name, m)
		flags = append(append([]evidence.Flag{}, flags...), evidence.ScaleUnsure)
	}
	g.emit("ignition.spark_line_level", unit.Must("x"), m, u, len(levels), p, flags)
	if volts {
		g.emit("ignition.spark_voltage", unit.Must("V"), m, math.Hypot(u, 0.03*m), len(levels), p, flags)
	}
}

// turnOn emits the swing at which the coil is switched on, over the firing line.
func (g *ignition) turnOn(p phase, flags []evidence.Flag) {
	const feature = "ignition.turn_on"
	x := g.pick(p, func(s spark) (float64, bool) { return s.turnOn, !s.cut })
	if 2*len(x) < len(p.at) || g.w.rate < 200e3 {
		g.refuse(feature, evidence.Noisy, "the swing at switch-on is too small for the noise, too quick for the sample rate, or lies outside the recording", "take it at 500 kS/s or more, 5 ms ahead of the spark, with the range set to the spark line")
		return
	}
	m, _, se := middle(x)
	g.emit(feature, unit.Must("x"), m, math.Hypot(se, g.w.quiet/math.Max(stats.Median(heightsOf(g.sparks)), 1e-12)/2), len(x), p, append(g.heightFlags(p), flags...))
}

// snapRatio emits the firing line at snap over that at idle, when one capture
// holds both: the pickup has not moved, so its gain cancels.
func (g *ignition) snapRatio(phases []phase) {
	var idle, snap *phase
	for i := range phases {
		switch phases[i].suffix {
		case "_idle":
			idle = &phases[i]
		case "_snap":
			snap = &phases[i]
		}
	}
	if idle == nil || snap == nil {
		return
	}
	get := func(s spark) (float64, bool) { return s.height, !s.cut }
	hi, hs := g.pick(*idle, get), g.pick(*snap, get)
	if len(hi) < fewestFirings || len(hs) < fewestSnaps {
		g.refuse("ignition.snap_ratio", evidence.TooFewEvents, fmt.Sprintf("%d firings at idle and %d at snap are too few", len(hi), len(hs)), "record five seconds of idle and three snaps in one go, without touching the pickup")
		return
	}
	a, _, sa := middle(hi)
	b, _, sb := middle(hs)
	r := b / a
	// Half a sample of rise was added to both; what is left of it partly cancels.
	flags := append(g.heightFlags(*idle), g.heightFlags(*snap)...)
	if idle.unsure || snap.unsure {
		flags = append(flags, evidence.ConditionUnsure)
	}
	both := phase{state: evidence.Snap, rpm: snap.rpm, at: append(append([]int{}, idle.at...), snap.at...)}
	g.emit("ignition.snap_ratio", unit.Must("x"), r, r*math.Sqrt(sa*sa/(a*a)+sb*sb/(b*b)+g.w.step*g.w.step/12*(1/(a*a)+1/(b*b))), len(hs), both, flags)
}

// enoughForShare is the number of firings from which "none is missing" is worth a
// reading: none of 20 still leaves room for 14 % (rule of three).
const enoughForShare = 20

// missingShare emits the share of firings without a spark line.
func (g *ignition) missingShare(phases []phase) {
	n, k := g.absent, g.absent
	all := phase{state: g.meta.Condition.State}
	for i, s := range g.sparks {
		if s.cut {
			continue
		}
		n++
		all.at = append(all.at, i)
		if s.missing {
			k++
		}
	}
	if len(phases) == 1 {
		all.state, all.rpm = phases[0].state, phases[0].rpm
	}
	if n == 0 {
		return
	}
	if g.w.missesCrest() {
		g.refuse("ignition.missing_share", evidence.TooSlow, fmt.Sprintf("at %sS/s a firing line can fall between two samples, and what is left of the spark then looks like one that did not jump", round3(g.w.rate)), "take it again at 100 kS/s or more")
		return
	}
	if n < enoughForShare && k == 0 {
		g.note("", false, "%s: none of %d firings lacks a spark line; %d or more would say how often at most", g.ch.Name, n, enoughForShare)
		return
	}
	var flags []evidence.Flag
	if n < fewestFirings {
		flags = append(flags, evidence.TooFewEvents)
	}
	p := (float64(k) + 0.5) / (float64(n) + 1)
	g.emit("ignition.missing_share", unit.Must("%"), 100*float64(k)/float64(n), 100*math.Sqrt(p*(1-p)/float64(n)), n, all, flags)
}

// emit appends one reading.
func (g *ignition) emit(feature string, u unit.Unit, value, sd float64, n int, p phase, flags []evidence.Flag) {
	q, err := unit.New(value, u)
	if err != nil || math.IsNaN(sd) || math.IsInf(sd, 0) {
		return
	}
	c := g.meta.Condition
	c.State = p.state
	if p.rpm > 0 {
		c.SpeedRPM = math.Round(p.rpm)
	}
	first, last := g.span(p)
	g.add(feature, g.ch.Name, g.subject, q, u.StepSI(sd), c, n, first, last, flags)
}

func (g *ignition) span(p phase) (first, last int) {
	if len(p.at) == 0 {
		return 0, 0
	}
	a, b := g.sparks[p.at[0]], g.sparks[p.at[len(p.at)-1]]
	return min(a.crest, b.crest), max(a.end, b.end, a.crest, b.crest)
}

// marks lists each firing for a screen.
func (g *ignition) marks() {
	for i, s := range g.sparks {
		if s.cut {
			continue
		}
		text := fmt.Sprintf("burn %.2f ms", s.burn*1e3)
		last := s.end
		if s.missing {
			text, last = "no spark line", s.crest
		}
		g.res.Marks = append(g.res.Marks, Mark{Feature: "ignition.burn_time", Channel: g.ch.Name, Event: i, First: s.crest, Last: last, Text: text})
	}
}

func uniqueFlags(in []evidence.Flag) []evidence.Flag {
	var out []evidence.Flag
	seen := map[evidence.Flag]bool{}
	for _, f := range in {
		if f != "" && !seen[f] {
			seen[f] = true
			out = append(out, f)
		}
	}
	return out
}
