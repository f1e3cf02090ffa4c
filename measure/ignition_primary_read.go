package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// eventFlags warns of too few events for a feature that may decide something.
func eventFlags(n int) []evidence.Flag {
	if n < fewestFirings {
		return []evidence.Flag{evidence.TooFewEvents}
	}
	return nil
}

// take collects one property of the dwells.
func (g *primary) take(get func(dwell) (float64, bool)) []float64 {
	var out []float64
	for _, d := range g.dwells {
		if v, ok := get(d); ok && !math.IsNaN(v) && !math.IsInf(v, 0) {
			out = append(out, v)
		}
	}
	return out
}

// read emits what the current alone gives, and with a supply voltage L and R.
func (g *primary) read(p *pulseTrain, ch *trace.Channel) {
	first, last := g.dwells[0].first, g.dwells[len(g.dwells)-1].last
	n := len(g.dwells)
	few := eventFlags(n)
	for i, d := range g.dwells {
		g.mark("coil.dwell", i, d.first, d.last, "dwell %.2f ms", 1e3*(d.off-d.on))
	}
	// Dwell: the error of one switch-off instant and of the extrapolated switch-on.
	times := g.take(func(d dwell) (float64, bool) { return d.off - d.on, d.fits })
	each := stats.Median(g.take(func(d dwell) (float64, bool) {
		on := 0.0
		if d.r.s > 0 {
			on = p.sigma / d.r.s / math.Sqrt(float64(max(1, d.r.n)))
		}
		return math.Hypot(d.offSD, math.Max(on, 0.3/g.rate)), d.fits
	}))
	w, se := spreadMiddle(times, each)
	dwellFlags := few
	if 1/g.rate > 0.02*w {
		dwellFlags = append(append([]evidence.Flag{}, few...), evidence.TooSlow)
	}
	g.emit("coil.dwell", "s", w, math.Hypot(se, 0.1/g.rate), len(times), first, last, dwellFlags...)
	g.steps(p, first, last, few)
	shelves := g.take(func(d dwell) (float64, bool) { return d.shelf, d.fits })
	sh, se := spreadMiddle(shelves, 1/g.rate)
	if !g.clipped {
		g.emit("coil.limit_shelf", "s", sh, se, len(shelves), first, last, few...)
	}
	k, sdK, ok := g.rateOf()
	if ok {
		tau := 1 / k
		g.emit("coil.time_constant", "s", tau, tau*tau*sdK, n, first, last, few...)
	} else {
		g.refuse("coil.time_constant", evidence.Noisy, "the ramp is too straight for its bend to be read", "take it with a longer dwell (cranking, or a lower supply voltage), at lower noise, over more firings")
	}
	if !g.amperes(ch) {
		return
	}
	peaks := g.take(func(d dwell) (float64, bool) { return d.top(p.sigma), true })
	i, se := spreadMiddle(peaks, p.sigma)
	peakFlags := few
	if g.clipped {
		peakFlags = append(append([]evidence.Flag{}, few...), evidence.Clipped)
	}
	good := g.emit("coil.primary_current", "A", i, math.Hypot(se, p.step/math.Sqrt(12)), len(peaks), first, last, peakFlags...)
	if !good {
		return
	}
	slopes := g.take(func(d dwell) (float64, bool) { return d.slopeAtOn(), d.fits })
	s, sdS := spreadMiddle(slopes, stats.Median(g.take(func(d dwell) (float64, bool) { return d.r.sdS, d.fits })))
	g.emit("coil.ramp_slope", "A/s", s, sdS, len(slopes), first, last, few...)
	g.loop(s, sdS, k, sdK, ok, i, first, last, few)
}

// top is the highest current: with noise, the end of the fitted ramp or the level
// of the shelf, since the highest sample is high by the noise.
func (d dwell) top(sigma float64) float64 {
	if d.fits && d.shelf == 0 && d.r.residual < 2*sigma+0.01*d.peak {
		return d.r.at(d.off-d.foot) - d.before
	}
	if d.shelf > 0 {
		return d.end
	}
	return d.peak - sigma
}

// slopeAtOn is the slope of the fitted ramp where the driver closed.
func (d dwell) slopeAtOn() float64 { return d.r.s * math.Exp(-d.r.k*(d.on-d.foot)) }

// rateOf is R/L of the loop. The error holds the scatter, the lack of fit (a
// first part that bends otherwise than the whole: saturation, a dirty clamp) and
// the droop of an AC-coupled clamp, which bends the ramp by its own rate.
func (g *primary) rateOf() (k, sd float64, ok bool) {
	ks := g.take(func(d dwell) (float64, bool) { return d.r.k, d.fits })
	if len(ks) == 0 {
		return 0, 0, false
	}
	k, sd = spreadMiddle(ks, stats.Median(g.take(func(d dwell) (float64, bool) { return d.r.sdK, d.fits })))
	diff := g.take(func(d dwell) (float64, bool) { return d.early.k - d.r.k, d.fits && d.early.n > 0 })
	if len(diff) > 2 {
		m, _, se := middle(diff)
		if over := math.Abs(m) - 2*se; over > 0 {
			sd = math.Hypot(sd, over/2)
		}
	}
	droops := g.take(func(d dwell) (float64, bool) { return d.droop, d.fits })
	if len(droops) > 0 {
		m, _, se := middle(droops)
		sd = math.Hypot(sd, math.Max(0, math.Abs(m)-2*se))
	}
	return k, sd, k > 0 && sd < 0.25*k
}

// steps emits the step at the start.
func (g *primary) steps(p *pulseTrain, first, last int, few []evidence.Flag) {
	all := g.take(func(d dwell) (float64, bool) { return d.step, d.fits })
	if len(all) == 0 {
		return
	}
	_, se := spreadMiddle(all, p.sigma)
	m := g.step()
	i := stats.Median(g.take(func(d dwell) (float64, bool) { return d.peak, true }))
	g.emit("coil.initial_step", "A", m, math.Max(se, 0.25*cornerShare*i), len(all), first, last, few...)
}

// step is the current that is there at once, 0 where it is too small to be told from
// the corner of the ramp.
func (g *primary) step() float64 {
	m, _ := spreadMiddle(g.take(func(d dwell) (float64, bool) { return d.step, d.fits }), 0)
	if m < cornerShare*stats.Median(g.take(func(d dwell) (float64, bool) { return d.peak, true })) {
		return 0
	}
	return m
}

// volts are the voltages around the coil during dwell, fitted to V = at0 + r*i
// over the dwells: at0 is the level as the current starts, r the resistance that
// makes it move with the current.
type volts struct {
	at0, r float64
	sd     float64
	known  bool
}

// along fits a companion channel to the current over the dwells.
func (g *primary) along(ch *trace.Channel, i *trace.Channel, from float64) volts {
	var v0, r []float64
	for _, d := range g.dwells {
		a := d.first + max(2, int(from*g.rate))
		var n, si, sv, sii, siv float64
		for j := a; j < d.ends; j++ {
			x, y := math.Abs(i.Values[j]), ch.Values[j]
			if math.IsNaN(x) || math.IsNaN(y) {
				continue
			}
			n, si, sv, sii, siv = n+1, si+x, sv+y, sii+x*x, siv+x*y
		}
		det := n*sii - si*si
		if n < 8 || !(det > 0) {
			continue
		}
		slope := (n*siv - si*sv) / det
		v0, r = append(v0, (sv-slope*si)/n), append(r, slope)
	}
	if len(v0) == 0 {
		return volts{}
	}
	a, sa := spreadMiddle(v0, 0)
	b, _ := spreadMiddle(r, 0)
	return volts{at0: a, r: b, sd: sa, known: true}
}

// loop works out L and R. With V the supply at the coil as the current starts and
// Vd what the driver keeps: L = (V-Vd)/slope and R of the loop = L*k. What the
// supply sags and the driver rises with the current belongs to wires and driver,
// and is taken off. Where both voltages were recorded at the coil, balance does
// without the curve; its uncertainty is never stated below the curve's.
func (g *primary) loop(slope, sdSlope, k, sdK float64, bent bool, peak float64, first, last int, few []evidence.Flag) {
	cur, _ := g.rec.Channel(g.channel)
	feed, feedText := volts{}, "the supply voltage given"
	var feedCh, driveCh *trace.Channel // where they were recorded at the coil itself
	if ch := g.companion(IgnitionPrimary, Supply, g.subject); ch != nil {
		feed, feedText, feedCh = g.along(ch, cur, clampSettle), "channel "+ch.Name, ch
		g.feedDrops(ch, cur, first, last, few)
	} else if ch := g.companion(IgnitionPrimary, RoleBattery, g.subject); ch != nil {
		feed, feedText = g.along(ch, cur, clampSettle), "channel "+ch.Name
	} else if g.meta.Known.SupplyVolts > 0 {
		feed = volts{at0: g.meta.Known.SupplyVolts, sd: givenVoltsSD, known: true}
	}
	g.groundDrop(first, last, few)
	drive, driveText := volts{at0: driverVoltsMid, sd: driverVoltsSD}, "driver voltage not known, taken as 0 to 1.6 V"
	if ch := g.companion(IgnitionPrimary, RoleVoltage, g.subject); ch != nil {
		drive, driveText, driveCh = g.along(ch, cur, clampSettle), "driver voltage from channel "+ch.Name, ch
	} else if g.meta.Known.DriverVolts > 0 {
		drive, driveText = volts{at0: g.meta.Known.DriverVolts, sd: 0.1, known: true}, "driver voltage given"
	}
	if !feed.known {
		for _, f := range []string{"coil.inductance", "coil.primary_resistance"} {
			g.refuse(f, "", "the supply voltage at the coil is not known", "record the coil's feed on a second channel, or write the supply voltage (known: supply); slope and time constant are given without it")
		}
		return
	}
	across := feed.at0 - drive.at0
	if across < 3 || across > 60 || slope <= 0 {
		g.refuse("coil.inductance", evidence.ScaleUnsure, fmt.Sprintf("%.3g V across the coil cannot be (%s)", across, feedText), "check the voltage channels and their scale")
		return
	}
	vRel := math.Hypot(feed.sd, drive.sd) / across
	// Shorted turns take a step of current at once. Of what is left of the supply after
	// the step's drop the ramp is made, so that V = L*slope + R*step with R = L*k.
	step := g.step()
	l := across / (slope + k*step)
	sdL := l * math.Hypot(vRel, math.Hypot(sdSlope, sdK*step)/(slope+k*step))
	loop := l * k
	r, sdR := loop+feed.r-drive.r, math.Hypot(loop*vRel, l*sdK)
	if b, ok := g.balance(feedCh, driveCh, cur); ok && bent {
		l, r = b.l, b.r
		sdL, sdR = math.Max(sdL, b.sdL), math.Max(sdR, b.sdR)
		loop = r - feed.r + drive.r
	}
	if step > 0 {
		// The current in the short dies away with the flux's growth, in step with what is
		// left across the coil: the ramp is slower by x than the winding's own. First
		// order; what that leaves out is of the size of its square.
		x := step * loop / across
		l /= 1 + x
		sdL, sdR = math.Hypot(sdL, l*x*x), math.Hypot(sdR, r*x*x)
	}
	g.emit("coil.inductance", "H", l, sdL, len(g.dwells), first, last, few...)
	g.note("", false, "%s: inductance and resistance with %.2f V across the coil (%s; %s)", g.channel, across, feedText, driveText)
	switch {
	case k < 0 && -k > 2*sdK:
		g.refuse("coil.primary_resistance", evidence.Noisy, "the ramp bends upward: the core saturates, and the resistance cannot be read from the bend", "measure it with a meter, or at a lower current")
	case !bent:
		g.refuse("coil.primary_resistance", evidence.Noisy, "the ramp is too straight: its bend, which holds the resistance, is lost in noise", "take it with a longer dwell (cranking), lower noise or more firings, or use a meter")
	default:
		g.emit("coil.primary_resistance", "ohm", r, sdR, len(g.dwells), first, last, few...)
	}
}

// balanced is L and R of the winding between two voltages that were both recorded.
type balanced struct{ l, r, sdL, sdR float64 }

// balance finds L and R from v = R*i + L*di/dt without assuming how the voltage
// across the winding moves, which a driver near its current limit bends: summed up
// over time, i - i0 = (1/L) * sum of v dt - (R/L) * sum of i dt is linear in 1/L and
// R/L, and noise stands on one side only.
func (g *primary) balance(feed, drive, cur *trace.Channel) (balanced, bool) {
	if feed == nil || drive == nil {
		return balanced{}, false
	}
	// The voltages' own noise goes into R through their sums, as it would into the fit of v
	// on i, and the recorder's step as a whole: coarse steps move in time with the current.
	noiseF, stepF := stepNoise(feed.Values, g.runs)
	noiseD, stepD := stepNoise(drive.Values, g.runs)
	noise, step := math.Hypot(noiseF, noiseD), math.Hypot(stepF, stepD)/math.Sqrt(12)
	var ls, rs, sdLs, sdRs []float64
	for _, d := range g.dwells {
		if !d.fits || d.ends-d.from < 16 {
			continue
		}
		sign := 1.0
		if cur.Values[d.ends-1] < cur.Values[d.from] {
			sign = -1
		}
		at := func(j int) (v, i float64) {
			return feed.Values[j] - drive.Values[j], sign*cur.Values[j] - d.before
		}
		var a [3][3]float64
		var b [3]float64
		var yy, flux, charge float64
		v0, i0 := at(d.from)
		first := i0
		for j := d.from; j < d.ends; j++ {
			v, i := at(j)
			if j > d.from {
				dt := g.seconds(j) - g.seconds(j-1)
				flux, charge = flux+(v+v0)/2*dt, charge+(i+i0)/2*dt
			}
			v0, i0 = v, i
			x := [3]float64{1, flux, charge}
			for p := range x {
				for q := range x {
					a[p][q] += x[p] * x[q]
				}
				b[p] += x[p] * i
			}
			yy += i * i
		}
		inv, ok := inverse3(a)
		if !ok || math.IsNaN(yy) {
			continue
		}
		perL, rate := dot3(inv[1], b), -dot3(inv[2], b) // 1/L and R/L
		if !(perL > 0) {
			continue
		}
		n := float64(d.ends - d.from)
		s2 := math.Max(0, yy-dot3([3]float64{dot3(inv[0], b), perL, -rate}, b)) / (n - 3)
		l, r := 1/perL, rate/perL
		ls, sdLs = append(ls, l), append(sdLs, l*l*math.Sqrt(s2*inv[1][1]))
		swing := math.Abs(i0 - first)
		byVolts := math.Hypot(noise/(0.29*swing*math.Sqrt(n)), step/swing) // an even rise has an SD of 0.29 of its swing
		rs, sdRs = append(rs, r), append(sdRs, math.Hypot(byVolts, l*math.Sqrt(s2*math.Max(0, inv[2][2]+2*r*inv[1][2]+r*r*inv[1][1]))))
	}
	if 2*len(ls) < len(g.dwells) || len(ls) == 0 {
		return balanced{}, false
	}
	var out balanced
	out.l, out.sdL = spreadMiddle(ls, stats.Median(sdLs))
	out.r, out.sdR = spreadMiddle(rs, stats.Median(sdRs))
	return out, true
}

// atEnd is the level of a companion over the last tenth of each dwell, and before.
func (g *primary) atEnd(ch *trace.Channel) (before, end []float64) {
	for _, d := range g.dwells {
		n := max(3, (d.last-d.first)/10)
		b := max(0, d.first-n-2)
		x, y := stats.Median(ch.Values[b:max(b+1, d.first-2)]), stats.Median(ch.Values[max(d.first, d.last-n):d.last])
		if !math.IsNaN(x) && !math.IsNaN(y) {
			before, end = append(before, x), append(end, y)
		}
	}
	return before, end
}

// feedDrops emits the sag of the feed, and with a battery channel what is lost between.
func (g *primary) feedDrops(ch, _ *trace.Channel, first, last int, few []evidence.Flag) {
	before, end := g.atEnd(ch)
	if len(end) == 0 {
		return
	}
	sigma, step := stepNoise(ch.Values, g.runs)
	each := math.Hypot(sigma/2, step/math.Sqrt(12))
	sag := make([]float64, len(end))
	for i := range end {
		sag[i] = before[i] - end[i]
	}
	m, se := spreadMiddle(sag, each)
	was := g.channel
	defer func() { g.channel = was }()
	g.channel = ch.Name
	g.emit("coil.supply_sag", "V", m, se, len(sag), first, last, few...)
	bat := g.companion(IgnitionPrimary, RoleBattery, g.subject)
	if bat == nil {
		g.refuse("coil.feed_drop", "", "only the feed was recorded: its sag holds the battery's own", "record the battery posts on another channel, or measure from battery plus to the feed pin (as: voltage_drop)")
		return
	}
	_, top := g.atEnd(bat)
	if len(top) != len(end) {
		return
	}
	for i := range end {
		top[i] -= end[i]
	}
	m, se = spreadMiddle(top, each)
	g.emit("coil.feed_drop", "V", m, se, len(top), first, last, few...)
}

// groundDrop emits the ground pin's rise, and a drop measured across the feed.
func (g *primary) groundDrop(first, last int, few []evidence.Flag) {
	was := g.channel
	defer func() { g.channel = was }()
	for _, x := range []struct{ role, feature string }{{RoleGround, "coil.ground_drop"}, {RoleDrop, "coil.feed_drop"}} {
		ch := g.companion(IgnitionPrimary, x.role, g.subject)
		if ch == nil {
			continue
		}
		_, end := g.atEnd(ch)
		if len(end) == 0 {
			continue
		}
		sigma, step := stepNoise(ch.Values, g.runs)
		m, se := spreadMiddle(end, math.Hypot(sigma/2, step/math.Sqrt(12)))
		g.channel = ch.Name
		g.emit(x.feature, "V", m, se, len(end), first, last, few...)
	}
}
