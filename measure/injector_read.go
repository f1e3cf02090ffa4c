package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// readCurrent emits what the current gives.
func (g *injector) readCurrent(ch, voltage *trace.Channel) {
	n := len(g.pulses)
	first, last := g.pulses[0].first, g.pulses[n-1].last
	few := eventFlags(n)
	clipped := g.p.clippedAt(ch.FullScale, g.driver == Saturated)
	if g.opens == nil && !g.timed {
		g.onTimeFromCurrent(first, last, clipped, few)
	}
	if clipped {
		g.note(evidence.Clipped, true, "%s: the current is cut off at %.3g; set the recorder to a wider range", ch.Name, g.p.top)
		few = append(append([]evidence.Flag{}, few...), evidence.Clipped)
	}
	amperes := ch.Unit.Dim == unit.Current
	if !amperes {
		for _, f := range []string{"injector.peak_current", "injector.resistance"} {
			g.refuse(f, evidence.NotCalibrated, fmt.Sprintf("%s is in %s, not in ampere", ch.Name, orNothing(ch.Unit.Symbol)), "give the clamp's scale, for example scale: 100 mV/A")
		}
	} else {
		size := math.Sqrt(math.Max(1, 10e-6*g.rate))
		m, se := spreadMiddle(g.take(func(s shot) float64 { return s.peak }), g.p.sigma/size)
		g.emit("injector.peak_current", "A", m, math.Hypot(se, math.Max(g.p.sigma/size, g.p.step/math.Sqrt(12))), n, first, last, few...)
	}
	if g.driver == Saturated {
		if clipped {
			g.refuse("injector.resistance", evidence.Clipped, "the current is cut off by the recorder", "set the recorder to a wider range")
		} else if amperes {
			g.resistance(ch, voltage, first, last, few)
		}
	} else {
		m, se := spreadMiddle(g.take(func(s shot) float64 { return s.peakAt }), 10e-6)
		g.emit("injector.peak_time", "s", m, math.Hypot(se, 5e-6), n, first, last, few...)
		if held := g.take(func(s shot) float64 { return s.hold }); amperes && stats.Median(held) < holdShare*g.p.top {
			m, se = spreadMiddle(held, g.p.sigma)
			g.emit("injector.hold_current", "A", m, se, n, first, last, few...)
		}
		g.refuse("injector.resistance", "", "a "+g.driver+" driver never lets the winding alone set the current", "measure it with a meter, key off and connector off")
	}
	g.opening(ch, first, last, few)
}

// onTimeFromCurrent emits the on-time where no voltage shows the driver itself.
func (g *injector) onTimeFromCurrent(first, last int, clipped bool, few []evidence.Flag) {
	if f := stats.Median(g.take(func(s shot) float64 { return s.fallTime })); f > slowestFall {
		g.refuse("injector.on_time", "", fmt.Sprintf("the current takes %.1f ms to die away: when the driver opened cannot be told from it", 1e3*f), "record the voltage on the driver side too")
		return
	}
	times := g.take(func(s shot) float64 { return s.stop - s.on })
	for i, s := range g.pulses {
		g.mark("injector.on_time", i, s.first, s.last, "on %.2f ms", 1e3*(s.stop-s.on))
	}
	slope := stats.Median(g.take(func(s shot) float64 { return s.slope }))
	each := math.Hypot(0.4/g.rate, 0.5*g.p.sigma/math.Max(slope, 1))
	fall := stats.Median(g.take(func(s shot) float64 { return s.fallTime }))
	m, se := spreadMiddle(times, each)
	if 1/g.rate > 0.02*m {
		few = append(append([]evidence.Flag{}, few...), evidence.TooSlow)
	}
	if clipped && fall > 0.01*m {
		few = append(append([]evidence.Flag{}, few...), evidence.Clipped) // the fall begins above the cut
	}
	// The fall is taken for a straight line; one that bends puts its start off by
	// up to a hundredth of its length (an exponential), any share of that alike. Where
	// the current is chopped, the level it falls from lies anywhere in the chop.
	bend := 0.006
	if g.driver != Saturated {
		bend = 0.1
	}
	var on []float64
	for _, s := range g.pulses {
		on = append(on, s.on)
	}
	if g.changed(on, times) {
		return
	}
	g.emit("injector.on_time", "s", m, math.Hypot(se, math.Hypot(bend*fall, 0.1/g.rate)), len(times), first, last, few...)
}

// changed refuses the on-time of a recording over which engine speed and on-time went
// to another level: it is no single number. on are the times of switch-on. A quarter
// is our choice.
func (g *injector) changed(on, times []float64) bool {
	k := len(on) / 3
	if k < 3 {
		return false
	}
	level := func(a, b int) (period, width float64) {
		var gaps []float64
		for i := a + 1; i < b; i++ {
			gaps = append(gaps, on[i]-on[i-1])
		}
		return stats.Median(gaps), stats.Median(times[a:b])
	}
	far := func(a, b float64) bool { return math.Max(a, b) > 1.25*math.Min(a, b) }
	p0, w0 := level(0, k)
	p1, w1 := level(len(on)-k, len(on))
	if !far(p0, p1) || !far(w0, w1) {
		return false
	}
	g.refuse("injector.on_time", evidence.ConditionUnsure, fmt.Sprintf("it goes from %.2f ms, every %.0f ms, to %.2f ms, every %.0f ms: engine speed or load changed, and one number does not tell it", 1e3*w0, 1e3*p0, 1e3*w1, 1e3*p1), "record at one speed")
	return true
}

// resistance emits supply over the current that the last part of the rise tends
// to: after the kink, since the needle's movement bends the rise before it.
func (g *injector) resistance(ch, voltage *trace.Channel, first, last int, few []evidence.Flag) {
	across, sd, text := g.across(voltage)
	if across == 0 {
		g.refuse("injector.resistance", "", "the supply voltage at the injector is not known", "record the driver side or the feed on a second channel, or write the supply voltage (known: supply)")
		return
	}
	from := 0.35
	if at, ok := g.kink(); ok {
		width := stats.Median(g.take(func(s shot) float64 { return s.stop - s.on }))
		from = math.Min(0.8, (at.time+0.12e-3)/width)
	}
	var rs, gains []float64
	for _, s := range g.pulses {
		a := s.first + int(from*float64(s.last-s.first))
		t, y := g.thin(g.p.v, a, s.last-1, g.seconds(a), fitPoints)
		r, ok := fitRamp(t, y)
		if !ok || !(r.k > 0) || !(r.s > 0) {
			continue
		}
		final := r.i0 + r.s/r.k - s.before
		if final < 0.97*s.end || final > 1.6*s.end { // the end level carries noise
			continue
		}
		rs, gains = append(rs, across/final), append(gains, math.Max(0, final/s.end-1))
	}
	if 3*len(rs) < 2*len(g.pulses) {
		// A flat end is the level itself.
		flat := stats.Median(g.take(func(s shot) float64 {
			k := s.first + (s.last-s.first)*3/4
			return (stats.Median(g.p.v.part(max(k, s.last-(s.last-k)/4), s.last+1)) - stats.Median(g.p.v.part(k, k+max(1, (s.last-k)/4)))) / s.end
		}))
		if math.Abs(flat) > 0.01 {
			g.refuse("injector.resistance", evidence.Noisy, "the current is cut off before it settles, and the noise hides where it tends to", "take it with a longer on-time (cold, raised load), at lower noise, or use a meter")
			return
		}
		rs, gains = g.take(func(s shot) float64 { return across / s.end }), []float64{0.005}
	}
	m, se := spreadMiddle(rs, 0)
	// What is extrapolated may be off by a tenth of itself: eddy currents. The rise from
	// the start gives another figure for it, without the kink; the truth lies anywhere
	// between (uniform).
	gain := stats.Median(gains)
	begun := math.Exp(-stats.Median(g.take(func(s shot) float64 { return s.slope * (s.stop - s.on) / s.end })))
	u := m * math.Sqrt(sd*sd/(across*across)+math.Pow(0.1*gain, 2)+math.Pow(math.Max(0, begun-gain), 2)/3)
	if g.emit("injector.resistance", "ohm", m, math.Hypot(se, u), len(rs), first, last, few...) {
		g.note("", false, "%s: resistance with %.2f V across the injector (%s)", ch.Name, across, text)
	}
}

// across is the voltage over the injector at the end of the on-time.
func (g *injector) across(voltage *trace.Channel) (v, sd float64, text string) {
	drive, driveSD := 0.4, 0.3 // of a closed transistor, from memory: 0.1 to 1 V
	if g.opens != nil {
		var low []float64
		for _, c := range g.opens {
			low = append(low, c.low)
		}
		drive, driveSD = stats.Median(low), 0.02
	} else if g.meta.Known.DriverVolts > 0 {
		drive, driveSD = g.meta.Known.DriverVolts, 0.1
	}
	for _, role := range []string{Supply, RoleBattery} {
		if ch := g.companion(InjectorKind, role, g.subject); ch != nil {
			var x []float64
			for _, s := range g.pulses {
				a := s.first + (s.last-s.first)*3/4
				x = append(x, stats.Median(ch.Values[a:max(a+1, s.last)]))
			}
			if m, _, se := middle(x); m > 0 {
				return m - drive, math.Hypot(se, driveSD), "channel " + ch.Name
			}
		}
	}
	switch {
	case g.opens != nil && voltage != nil:
		return g.w.supply - drive, math.Hypot(0.05, driveSD), "rest level of channel " + voltage.Name
	case g.meta.Known.SupplyVolts > 0:
		return g.meta.Known.SupplyVolts - drive, math.Hypot(givenVoltsSD, driveSD), "the supply voltage given"
	}
	return 0, 0, ""
}

// voltage finds the driver's switching, kick and closing bump.
func (g *injector) voltage(ch *trace.Channel, alone bool) {
	runs, _ := finite(ch.Values, g.runs)
	w, why := g.findSwitching(ch, runs)
	if why != "" {
		f := "injector.on_time"
		if !alone {
			f = "injector.kick"
		}
		g.boostedOrNot(ch, runs, f, why)
		return
	}
	g.w = w
	merged := g.merge(w.usable())
	var times, kicks []float64
	edge, held := 0.0, 0
	for i, c := range merged {
		times, kicks, edge = append(times, c.off-c.on), append(kicks, c.kick), c.edge
		if c.wide < 0 {
			held++
		}
		g.mark("injector.on_time", i, c.first, c.last, "on %.2f ms", 1e3*(c.off-c.on))
		g.mark("injector.kick", i, c.last, c.kickAt, "%.0f V", c.kick)
	}
	n := len(merged)
	if m := stats.Median(times); m < shortestOn || m > longestOn {
		g.refuse("injector.on_time", evidence.ScaleUnsure, fmt.Sprintf("the line is low for %s ms; an injector is open for some milliseconds", round3(1e3*m)), "check the time column or sample rate, and that this is the injector")
		return
	}
	if m := stats.Median(kicks); alone && m > 1.25*mostInjectorKick {
		g.refuse("injector.on_time", evidence.WrongChannel, fmt.Sprintf("it kicks to %.0f V, as a coil does; an injector stays below %d V", m, mostInjectorKick), "check the channel; map it with as: "+IgnitionPrimary+" if it is a coil")
		return
	}
	g.opens = merged
	first, last := merged[0].first, merged[n-1].kickAt
	few := eventFlags(n)
	if alone {
		g.driver = Saturated
		if 2*held > n {
			g.driver = PeakAndHold
		}
		g.note("", false, "%s: driver type %s, %d injections", ch.Name, g.driver, n)
	}
	if w.inverted {
		g.note(evidence.Inverted, false, "%s: the probe is turned over; the trace was turned back for measuring", ch.Name)
	}
	m, se := spreadMiddle(times, math.Sqrt2*edge)
	flags := few
	if 1/g.rate > 0.02*m {
		flags = append(append([]evidence.Flag{}, few...), evidence.TooSlow)
	}
	var on []float64
	for _, c := range merged {
		on = append(on, c.on)
	}
	if !g.changed(on, times) {
		g.emit("injector.on_time", "s", m, math.Hypot(se, 0.1/g.rate), n, first, last, flags...)
	}
	clipped, slow := w.kickQuality(ch.FullScale)
	m, se = spreadMiddle(kicks, w.sigma)
	flags = few
	switch {
	case clipped:
		g.note(evidence.Clipped, true, "%s: the kick is cut off at %.0f V; use a probe and range that reach 150 V", ch.Name, m)
		flags = append(append([]evidence.Flag{}, few...), evidence.Clipped)
	case slow:
		g.note(evidence.TooSlow, true, "%s: at %sS/s fewer than three samples fall on the top of the kick; take it at 1 MS/s or more to read its height", ch.Name, round3(g.rate))
		flags = append(append([]evidence.Flag{}, few...), evidence.TooSlow)
	}
	g.emit("injector.kick", "V", m-w.sigma, math.Hypot(se, math.Max(w.sigma/2, w.step/math.Sqrt(12))), n, first, last, flags...)
	g.closing(first, last, few)
}

// merge joins what belongs to one injection: after the peak of a peak-and-hold
// driver the line kicks once, then hangs below the supply or chops, and kicks again
// when it is let go. wide is set to -1 where it did.
func (g *injector) merge(in []closing) []closing {
	w := &g.w
	near := math.Max(0.03*w.supply, 4*w.sigma)
	rests := max(4, int(restsAtSupply*g.rate))
	var out []closing
	for i := 0; i < len(in); i++ {
		c := in[i]
		stop := len(w.v.v)
		atRest := 0
		end := c.last + 1
		for k := c.last + 1; k < stop && k-end < int(longestOn*g.rate); k++ {
			x := w.v.at(k)
			switch {
			case math.Abs(x-w.supply) < near:
				if atRest++; atRest > rests {
					k = stop
				}
			case x < w.supply-near:
				atRest = 0
				// Held below the supply: the driver is still on, until the line rises again.
				if m := k + 1; m < stop && w.v.at(m) > kickOver*w.supply || m+1 < stop && w.v.at(min(m+1, stop-1)) > kickOver*w.supply {
					if g.heldBefore(k, near) {
						end = m
					}
				}
			default:
				atRest = 0
			}
		}
		if end > c.last+1+int(200e-6*g.rate) {
			c.last, c.wide = end-1, -1
			c.off = w.crossing(g.sheet, end, w.supply, false)
			for i+1 < len(in) && in[i+1].first < end {
				i++
			}
		}
		out = append(out, c)
	}
	return out
}

// heldBefore reports whether the line hung below the supply for 100 us before k.
func (g *injector) heldBefore(k int, near float64) bool {
	n := max(3, int(100e-6*g.rate))
	if k < n {
		return false
	}
	low := 0
	for _, x := range g.w.v.part(k-n, k) {
		if x < g.w.supply-near {
			low++
		}
	}
	return 4*low > 3*n
}
