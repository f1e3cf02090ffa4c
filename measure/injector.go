package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// InjectorKind is a capture of one injector: current from a low-amp clamp, voltage
// on the driver side, or both.
const InjectorKind = "injector"

// Driver types of injectors, as found from the trace.
const (
	Saturated   = "saturated"     // full supply until switch-off; the winding limits the current
	PeakAndHold = "peak and hold" // opened with much current, held with little
	Boosted     = "boosted"       // opened from a boost capacitor: direct injection
)

// Thresholds of the injector. Our choice unless a source stands beside them.
const (
	minInjectorHz    = 20e3
	boostSlope       = 15e3   // A/s: 65 V over 1-2 mH gives 30-60 A/ms, 14 V over 2 mH 7 A/ms (trade.md 2.4)
	holdShare        = 0.78   // held current below this share of the peak
	saturatedMost    = 3.2    // A: 14 V over the 4.4 ohm between the two kinds
	flatEnd          = 0.85   // a saturated current ends this near its highest
	slowestFall      = 0.8e-3 // s: slower, and switch-off cannot be told from the current
	slopeWindow      = 80e-6  // s over which slopes are fitted for kink and bump
	standOutSlope    = 5.0    // slope errors that kink and bump must stand out by
	kinkShare        = 0.03   // of the initial slope
	bumpShare        = 0.01   // of the supply: what the bump moves the voltage within one window
	mostInjectorKick = 120    // V; trade.md 2.4: 50-100 V
	kickSettle       = 150e-6
	longestClosing   = 5e-3
	restsAtSupply    = 0.4e-3 // s at the supply level mean that the driver is open
	shortestOn       = 0.1e-3 // as in traits.go
	longestOn        = 50e-3
	quickestPeak     = 60e-6 // s: boosted injectors take 0.2 to 0.5 ms to their peak (from memory)
)

// injectorCapture measures each current channel, and each voltage channel for
// which there is no current of the same subject.
//
// Features (trade.md 2.4):
//
//	injector.on_time        s    switch-on to switch-off, from voltage where there is one
//	injector.resistance     ohm  saturated drivers: supply over the current the ramp tends to; the clamp's scale error (1-3 %) is not in its uncertainty
//	injector.peak_current   A    highest current
//	injector.hold_current   A    peak and hold, boosted: median over the second half
//	injector.peak_time      s    switch-on to the highest current, same drivers
//	injector.opening_time   s    switch-on to the kink: the needle reaches its stop
//	injector.boost_voltage  V    boosted: what opens it, see injector_boost.go
//	injector.kick           V    highest voltage at switch-off
//	injector.closing_time   s    switch-off to the end of the bump: the needle lands
func injectorCapture(rec *trace.Recording, meta Meta) (Result, error) {
	var res Result
	n := eachCircuit(rec, meta, InjectorKind, func(s *sheet, ch *trace.Channel, role string) {
		g := &injector{sheet: s}
		g.run(ch, role)
		res.join(g.res)
	})
	if n == 0 {
		return res, fmt.Errorf("no channel is a current or a voltage; map one column with as: %s or as: %s, or give units", RoleCurrent, RoleVoltage)
	}
	return res, nil
}

// injector is the work on one injector.
type injector struct {
	*sheet
	p      pulseTrain
	pulses []shot
	w      switching
	opens  []closing // from the voltage; nil without one
	driver string
	timed  bool // the on-time was read from the voltage of a boosted driver
}

// shot is one injection seen in the current.
type shot struct {
	currentPulse
	on, stop  float64 // seconds
	peakAt    float64 // seconds after on
	hold      float64 // median over 60-95 % of the on-time
	slope     float64 // A/s at the start
	rampFits  bool
	fallTime  float64
	riseCount int // samples from 10 to 63 % of the peak
}

func (g *injector) run(ch *trace.Channel, role string) {
	if g.unplaced("injector.on_time") {
		return
	}
	if g.rate < minInjectorHz {
		g.refuse("injector.on_time", evidence.TooSlow, perSecond(g.rate)+" cannot show an injection of two milliseconds", "take it again at 100 kS/s or more")
		return
	}
	var current, voltage *trace.Channel
	if role == RoleCurrent {
		current = ch
		voltage = g.companion(InjectorKind, RoleVoltage, g.subject)
	} else {
		voltage = ch
	}
	if current != nil && !g.current(current) {
		return
	}
	if voltage != nil {
		g.channel = voltage.Name
		g.voltage(voltage, current == nil)
	}
	if current != nil {
		g.channel = current.Name
		g.readCurrent(current, voltage)
	}
}

// current finds the injections of a current channel and the driver type.
func (g *injector) current(ch *trace.Channel) bool {
	runs, lost := finite(ch.Values, g.runs)
	if lost > 0 {
		g.flag(evidence.Gap)
		g.note(evidence.Gap, true, "%s: %d samples have no value; injections that touch them were left out", ch.Name, lost)
	}
	p, why := g.findPulses(ch, runs)
	fix := "check the clamp: switched on, zeroed, around one wire of the injector, on this channel"
	if why != "" {
		g.refuse("injector.on_time", evidence.WrongChannel, why, fix)
		return false
	}
	g.p = p
	for _, c := range p.usable() {
		g.pulses = append(g.pulses, g.measureShot(c))
	}
	g.driver, why = g.driverOf(ch.Unit.Dim == unit.Current)
	if why != "" {
		g.pulses = nil
		g.refuse("injector.on_time", evidence.WrongChannel, why, fix)
		return false
	}
	if p.inverted != g.meta.Inverted {
		g.note(evidence.Inverted, false, "%s: the current runs the other way through the clamp; the trace was turned over for measuring", ch.Name)
		g.flag(evidence.Inverted)
	}
	g.note("", false, "%s: driver type %s, %d injections", ch.Name, g.driver, len(g.pulses))
	return true
}

// measureShot finds switch-on, switch-off and shape of one injection.
func (g *injector) measureShot(c currentPulse) shot {
	v := g.p.v
	s := shot{currentPulse: c}
	g.findStop(&s)
	// Switch-on: the first part of the rise, back to the rest level.
	up := c.first
	for up < c.last && v.at(up)-c.before < 0.4*c.peak {
		up++
	}
	s.on = c.foot
	for i := c.first; i < up; i++ {
		if v.at(i)-c.before > 0.1*c.peak {
			s.riseCount++
		}
	}
	if r, ok := g.startFit(c, up); ok {
		s.rampFits, s.slope = true, r.s
		if at, ok := r.start(c.before); ok && math.Abs(at) < 0.3*(s.stop-c.foot) {
			s.on = c.foot + at
		}
	} else if up > c.first {
		s.slope = 0.4 * c.peak / math.Max(g.seconds(up)-g.seconds(c.first), 0.5/g.rate)
	}
	n := c.last - c.first
	top, at := math.Inf(-1), c.first
	size := max(1, int(10e-6*g.rate))
	for i := c.first; i+size <= c.last+1; i++ {
		m := 0.0
		for k := range size {
			m += v.at(i+k) / float64(size)
		}
		if m > top {
			top, at = m, i+size/2
		}
	}
	s.peak = top - c.before
	s.peakAt = g.seconds(at) - s.on
	if a, b := c.first+n*60/100, c.first+n*95/100; b-a >= 2 {
		s.hold = stats.Median(v.part(a, b)) - c.before
	}
	return s
}

// startFit fits the rise up to a sample by a ramp, or a line when it is short.
func (g *injector) startFit(c currentPulse, up int) (ramp, bool) {
	if up-c.first < 4 {
		return ramp{}, false
	}
	t, y := g.thin(g.p.v, c.first+1, up+1, c.foot, 100)
	if len(t) >= 12 {
		if r, ok := fitRamp(t, y); ok && r.s > 0 {
			return r, true
		}
	}
	n, st, sy, stt, sty := float64(len(t)), 0.0, 0.0, 0.0, 0.0
	for i := range t {
		st, sy, stt, sty = st+t[i], sy+y[i], stt+t[i]*t[i], sty+t[i]*y[i]
	}
	d := n*stt - st*st
	if !(d > 0) {
		return ramp{}, false
	}
	b := (n*sty - st*sy) / d
	return ramp{i0: (sy - b*st) / n, s: b, n: len(t)}, b > 0
}

// findStop finds the start of the last fall: blocks of 20 us, walked back from the
// end as long as they lie below what was 60 us before, then the line through 90 and 70 % of the level there.
func (g *injector) findStop(s *shot) {
	v, c := g.p.v, &s.currentPulse
	size := max(1, int(20e-6*g.rate))
	mean := func(i int) float64 {
		m := 0.0
		for k := range size {
			m += v.at(i+k) / float64(size)
		}
		return m
	}
	lag := max(2*size, int(60e-6*g.rate))
	least := math.Max(5*g.p.sigma/math.Sqrt(float64(size)), 0.036*g.p.top)
	j := min(c.last, len(v.v)-size)
	for j-lag > c.first && mean(j-lag)-mean(j) > least {
		j -= max(1, size/2)
	}
	// The level just before: where the fall has not begun.
	k := max(c.first, j-lag)
	level := stats.Median(v.part(max(c.first, k-size), max(k, c.first+1)))
	c.end = level - c.before
	end := max(1, j-lag)
	for end < len(v.v)-1 && v.at(end) > c.before+0.1*c.end {
		end++
	}
	cross := func(share float64) float64 {
		x := c.before + share*c.end
		at := func(i int) float64 {
			return g.seconds(i-1) + (v.at(i-1)-x)/(v.at(i-1)-v.at(i))*(g.seconds(i)-g.seconds(i-1))
		}
		for i := max(1, j-lag); i < len(v.v); i++ {
			if v.at(i) <= x && v.at(i-1) > x {
				// A held current is chopped: what comes back up is no switch-off.
				for k := end; k > i; k-- {
					if v.at(k) <= x && v.at(k-1) > x && float64(k-i) > 20e-6*g.rate {
						return at(k)
					}
				}
				return at(i)
			}
		}
		return g.seconds(min(len(v.v)-1, c.last))
	}
	t9, t7, t1 := cross(0.9), cross(0.7), cross(0.1)
	s.stop = t9 - (t7-t9)/2
	s.fallTime = t1 - s.stop
	c.last = j
	c.off = s.stop
}

// driverOf names the driver type from the shape of most injections.
func (g *injector) driverOf(amperes bool) (driver, why string) {
	var boost, hold, sat, sharp, long, spark, n int
	for i := range g.pulses {
		s := &g.pulses[i]
		n++
		width := s.stop - s.on
		if s.fallTime < math.Max(0.4*width, slowestFall) && s.fallTime < 0.7*width+3/g.rate {
			sharp++
		}
		if width < shortestOn || width > longestOn {
			long++
		}
		early := s.peakAt < 0.7*width && s.hold < 1.4*s.end && s.end < 1.4*s.hold && s.hold < holdShare*s.peak && s.hold > 0.05*s.peak && width-s.peakAt > 0.2*width
		rises := s.riseCount >= 3
		quick := s.fallTime < 0.25*width+3/g.rate
		if amperes && s.peakAt < quickestPeak {
			spark++
		}
		switch {
		case rises && quick && amperes && s.slope > boostSlope && (early || s.peakAt < 0.6e-3) && s.peak > 2:
			boost++
		case rises && quick && early && s.rampFits:
			hold++
		case rises && s.end > flatEnd*s.peak && s.peakAt > 0.3*width && s.rampFits && g.bends(s):
			sat++
		}
	}
	switch {
	case n == 0:
		return "", "no injection lies whole in the recording"
	case 2*long > n:
		return "", fmt.Sprintf("the pulses last %s ms; an injector is open for some milliseconds", round3(1e3*stats.Median(g.take(func(s shot) float64 { return s.stop - s.on }))))
	case 2*sharp < n:
		return "", "the pulses do not end sharply, as an injector current does at switch-off"
	case 2*spark > n:
		return "", fmt.Sprintf("it is at its highest after %s us: no injector's winding lets the current rise that fast; a spark's trace?", round3(1e6*stats.Median(g.take(func(s shot) float64 { return s.peakAt }))))
	case 2*boost > n:
		return Boosted, ""
	case 2*hold > n:
		return PeakAndHold, ""
	case 2*sat > n:
		if p := stats.Median(g.take(func(s shot) float64 { return s.peak })); amperes && p > saturatedMost {
			return "", fmt.Sprintf("it rises to %.1f A without being held: more than a saturated injector draws; a coil?", p)
		}
		return Saturated, ""
	}
	return "", "the pulses have the shape of no injector current: neither a bent rise to a level nor a peak that is then held"
}

// bends fits the rise of a saturated current and reports whether it is one: the
// curve of R and L, bent, save for the kink.
func (g *injector) bends(s *shot) bool {
	t, y := g.thin(g.p.v, s.first+1, s.last, s.foot, fitPoints)
	r, ok := fitRamp(t, y)
	return ok && r.s > 0 && r.residual < 0.06*s.peak+2*g.p.sigma && r.k*(s.stop-s.on) > 0.5
}

func (g *injector) take(get func(shot) float64) []float64 {
	var out []float64
	for _, s := range g.pulses {
		if v := get(s); !math.IsNaN(v) && !math.IsInf(v, 0) {
			out = append(out, v)
		}
	}
	return out
}
