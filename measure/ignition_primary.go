package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// IgnitionPrimary is a capture of the primary side of one coil: current from a
// low-amp clamp, voltage on the switched side, or both; with the voltages of feed,
// battery and ground pin where they were recorded.
const IgnitionPrimary = "ignition_primary"

// Thresholds of ignition primary. Our choice unless a source stands beside them.
const (
	minPrimaryHz    = 20e3   // 2 ms of dwell then has 40 samples
	restrikeSeconds = 4e-3   // a dwell this soon after another starts with current left over
	sharpFall       = 0.25   // the fall may last this share of the dwell
	shelfShare      = 0.08   // a current limit shorter than this share of the dwell is not told from a ramp
	clampSettle     = 30e-6  // clamp and winding need this long after switch-on
	givenVoltsSD    = 0.10   // of a supply voltage that was typed
	driverVoltsMid  = 0.8    // a closed driver whose voltage is not known: 0 to 1.6 V
	driverVoltsSD   = 0.46   // (MOSFET 0.1-0.3 V, bipolar and IGBT 1-1.6 V, from memory)
	kneeShare       = 0.93   // of a current limit: the driver begins to limit there
	ringSeconds     = 250e-6 // the turn-on ring may leave the rest level this long before the ramp does
	ringShare       = 0.006  // of the peak: what the ring may leave in the fit
	cornerShare     = 0.02   // of the peak: a step at the start below this is not called one
	shortestDwell   = 0.2e-3 // as in traits.go
	leastCoil       = 2.5    // A: a saturated injector draws 1.3 A (14 V over 11 ohm)
	leastKick       = 150.0  // V: an injector stays below 120 V (trade.md 2.4)
)

// ignitionPrimary measures each current channel as one coil, and each voltage
// channel for which there is no current channel of the same subject.
//
// Features (trade.md 2.3, standards.md 8.7):
//
//	coil.dwell               s     switch-on to switch-off; from current, else from voltage
//	coil.primary_current     A     highest current over the level before
//	coil.ramp_slope          A/s   at switch-on, V/L
//	coil.time_constant       s     L/R of the whole loop
//	coil.inductance          H     V/slope, needs the supply voltage
//	coil.primary_resistance  ohm   of coil and clamp wire; of the whole loop when only a supply is given
//	coil.initial_step        A     current that is there at once: shorted turns
//	coil.limit_shelf         s     time on the driver's current limit, 0 without one
//	coil.clamp_voltage       V     highest voltage at switch-off
//	coil.supply_sag          V     fall of the feed from rest to the end of dwell
//	coil.feed_drop           V     battery minus feed at the end of dwell
//	coil.ground_drop         V     ground pin against the negative post at the end of dwell
//
// Uncertainties hold noise, sampling and scatter of the events; the scale error
// of clamp and probe is in traits.go, since it cancels between cylinders.
func ignitionPrimary(rec *trace.Recording, meta Meta) (Result, error) {
	var res Result
	n := eachCircuit(rec, meta, IgnitionPrimary, func(s *sheet, ch *trace.Channel, role string) {
		g := &primary{sheet: s}
		g.run(ch, role)
		res.join(g.res)
	})
	if n == 0 {
		return res, fmt.Errorf("no channel is a current or a switched voltage; map one column with as: %s or as: %s, or give units", RoleCurrent, RoleVoltage)
	}
	return res, nil
}

// join adds what another channel gave.
func (r *Result) join(o Result) {
	r.Readings = append(r.Readings, o.Readings...)
	r.NotMeasured = append(r.NotMeasured, o.NotMeasured...)
	r.Notes = append(r.Notes, o.Notes...)
	r.Marks = append(r.Marks, o.Marks...)
	if r.Condition.State == "" {
		r.Condition = o.Condition
	}
}

// primary is the work on one coil.
type primary struct {
	*sheet
	dwells  []dwell
	clipped bool // the recorder cut the top off: times and the ramp below it stand
}

// dwell is one closing of the driver.
type dwell struct {
	currentPulse
	on    float64 // switch-on, seconds
	r     ramp
	fits  bool
	early ramp // fitted to the first part alone, for the lack of fit
	from  int  // sample where the fitted part begins, past the ringing
	ends  int  // sample where the ramp ends: the shelf or the switch-off
	shelf float64
	step  float64
	sharp bool    // the current left the rest level at once
	droop float64 // rate at which the recorder loses the level, 1/s
}

func (g *primary) run(ch *trace.Channel, role string) {
	if g.unplaced("coil.dwell") {
		return
	}
	if g.rate < minPrimaryHz {
		g.refuse("coil.dwell", evidence.TooSlow, perSecond(g.rate)+" cannot show a dwell of two milliseconds", "take it again at 100 kS/s or more")
		return
	}
	runs, lost := finite(ch.Values, g.runs)
	if lost > 0 {
		g.flag(evidence.Gap)
		g.note(evidence.Gap, true, "%s: %d samples have no value; pulses that touch them were left out", ch.Name, lost)
	}
	if role == RoleVoltage {
		g.voltage(ch, runs, nil)
		return
	}
	if !g.current(ch, runs) {
		return
	}
	if v := g.companion(IgnitionPrimary, RoleVoltage, g.subject); v != nil {
		g.channel = v.Name
		vr, _ := finite(v.Values, g.runs)
		g.voltage(v, vr, g.dwells)
	}
}

// current finds and reads the dwells of a current channel.
func (g *primary) current(ch *trace.Channel, runs []trace.Segment) bool {
	p, why := g.findPulses(ch, runs)
	fix := "check the clamp: switched on, zeroed, around one wire of the coil's feed, on this channel"
	if why != "" {
		g.refuse("coil.dwell", evidence.WrongChannel, why, fix)
		return false
	}
	for _, c := range p.usable() {
		if n := len(g.dwells); n > 0 && c.foot-g.dwells[n-1].off < restrikeSeconds {
			continue // sparks of one burst: the coil still holds current
		}
		g.dwells = append(g.dwells, g.fit(&p, c))
	}
	why = g.shape(&p)
	if why == "" && ch.Unit.Dim == unit.Current {
		why = g.injectorLike()
	}
	if why != "" {
		g.dwells = nil
		g.refuse("coil.dwell", evidence.WrongChannel, why, fix)
		return false
	}
	if p.inverted != g.meta.Inverted {
		g.note(evidence.Inverted, false, "%s: the current runs the other way through the clamp; the trace was turned over for measuring", ch.Name)
		g.flag(evidence.Inverted)
	}
	if g.clipped = p.clippedAt(ch.FullScale, false); g.clipped {
		g.note(evidence.Clipped, true, "%s: the current is cut off at %.3g; set the recorder to a wider range", ch.Name, p.top)
	}
	g.read(&p, ch)
	return true
}

// fit fits the ramp of one pulse and finds switch-on, step and shelf.
func (g *primary) fit(p *pulseTrain, c currentPulse) dwell {
	d := dwell{currentPulse: c, on: c.foot, ends: g.shelfStart(p, c)}
	g.fitTo(p, &d, d.ends)
	if d.ends < c.last {
		// A shelf is one only if the ramp would have gone on rising.
		rest := g.seconds(c.last) - g.seconds(d.ends)
		grown := d.r.at(g.seconds(c.last)-c.foot) - d.r.at(g.seconds(d.ends)-c.foot)
		real := c.end + c.before - p.v.at(d.ends)
		if d.fits && grown > math.Max(4*p.sigma, 0.04*c.peak) && real < 0.35*grown && rest > shelfShare*(c.off-c.foot) {
			// The driver's knee is soft: fit below it, and let the ramp meet the limit.
			for d.ends > c.first && p.v.at(d.ends)-c.before > kneeShare*c.end {
				d.ends--
			}
			g.fitTo(p, &d, d.ends)
			if at, ok := d.r.start(c.before + c.end); ok && d.fits {
				d.shelf = math.Max(0, c.off-c.foot-at)
			}
		} else {
			d.ends = c.last
			g.fitTo(p, &d, d.ends)
		}
	}
	if !d.fits {
		return d
	}
	at, ok := d.r.start(c.before)
	if !ok {
		return d
	}
	d.on = c.foot + at
	// The winding's own capacitance, or a shorted turn, moves the current at once:
	// then that is the moment of switching, and the ramp's level there is the step.
	if i, ok := g.departure(p, c, d.r.s); ok {
		d.on = (g.seconds(max(0, i-1)) + g.seconds(i)) / 2
		d.step = d.r.at(d.on-c.foot) - c.before
		d.sharp = true
	}
	if area := d.r.s * (c.off - d.on) * (c.off - d.on) / 2; area > 0 {
		d.droop = (c.before - c.after) / area
	}
	return d
}

// fitTo fits the ramp up to a sample. The first part rings against the winding's
// capacitance: the fit begins past it, then is taken back to where the samples
// leave it.
func (g *primary) fitTo(p *pulseTrain, d *dwell, end int) {
	c := d.currentPulse
	from := c.first + max(2, int(clampSettle*g.rate), (end-c.first)*35/100)
	t, y := g.thin(p.v, from, end, c.foot, fitPoints)
	d.r, d.fits = fitRamp(t, y)
	if !d.fits {
		return
	}
	near := math.Max(1.5*p.sigma, ringShare*c.peak)
	size := max(1, int(20e-6*g.rate))
	for from-size > c.first+max(2, int(clampSettle*g.rate)) {
		m := 0.0
		for i := from - size; i < from; i++ {
			m += (p.v.at(i) - d.r.at(g.seconds(i)-c.foot)) / float64(size)
		}
		if math.Abs(m) > near {
			break
		}
		from -= size
	}
	d.from = from
	t, y = g.thin(p.v, from, end, c.foot, fitPoints)
	if r, ok := fitRampFrom(d.r, t, y); ok {
		d.r = r
	}
	d.early = ramp{}
	if k := from + (end-from)*6/10; k-from > 30 {
		t, y = g.thin(p.v, from, k, c.foot, fitPoints)
		d.early, _ = fitRampFrom(d.r, t, y)
	}
}

// departure is the first sample shortly before or at the foot that has left the
// rest level, if it did so faster than a ramp of the given slope can.
func (g *primary) departure(p *pulseTrain, c currentPulse, slope float64) (int, bool) {
	far := math.Max(5*p.sigma, cornerShare*c.peak)
	for i := max(2, c.first-int(ringSeconds*g.rate)); i <= c.first+3 && i < c.last; i++ {
		if math.Abs(p.v.at(i)-c.before) > far {
			return i, math.Abs(p.v.at(i)-p.v.at(i-2)) > far+3*slope*(g.seconds(i)-g.seconds(i-2))
		}
	}
	return 0, false
}

// shelfStart is the first sample at 97 % of the final level, where a limit may
// begin; the last sample when there is no flat end.
func (g *primary) shelfStart(p *pulseTrain, c currentPulse) int {
	near := math.Max(0.03*c.end, 2.5*p.sigma)
	for i := c.first; i < c.last; i++ {
		if p.v.at(i)-c.before >= c.end-near && (i+1 > c.last || p.v.at(i+1)-c.before >= c.end-near) {
			return i
		}
	}
	return c.last
}

// shape holds the pulses against what a dwell looks like.
func (g *primary) shape(p *pulseTrain) string {
	n, falls, ramps := 0, 0, 0
	var long, rough []float64
	for _, d := range g.dwells {
		n++
		long = append(long, d.off-d.on)
		if d.fall < sharpFall*(d.off-d.foot)+3/g.rate {
			falls++
		}
		if d.fits && d.r.s > 0 && d.r.at(g.seconds(d.ends)-d.foot)-d.before > 0.5*d.peak {
			ramps++
			rough = append(rough, (d.r.residual-p.sigma)/d.peak)
		}
	}
	switch {
	case n == 0:
		return "no pulse lies whole in the recording"
	case 2*falls < n:
		return "the pulses do not end sharply, as a coil current does at switch-off"
	case 2*ramps < n:
		return "the pulses do not rise along a ramp, as a coil current does"
	case stats.Median(rough) > 0.06:
		return "the rise does not follow the curve of a coil (off by " + percent(stats.Median(rough)) + " of the peak)"
	case stats.Median(long) < shortestDwell || stats.Median(long) > 30e-3:
		return fmt.Sprintf("the pulses last %s ms; a coil is switched on for some milliseconds", round3(1e3*stats.Median(long)))
	}
	return ""
}

// injectorLike tells a small current that bends to its level, which is an injector's.
func (g *primary) injectorLike() string {
	peak := stats.Median(g.take(func(d dwell) (float64, bool) { return d.peak, true }))
	bend := stats.Median(g.take(func(d dwell) (float64, bool) { return d.r.k * (d.off - d.on), d.fits && d.shelf == 0 }))
	if peak < leastCoil && bend > 1.2 {
		return fmt.Sprintf("the current bends to a level of %.2g A, as an injector's does", peak)
	}
	return ""
}

// amperes reports whether the channel is in amperes; a clamp recorded in volts
// still gives times.
func (g *primary) amperes(ch *trace.Channel) bool {
	if ch.Unit.Dim == unit.Current {
		return true
	}
	for _, f := range []string{"coil.primary_current", "coil.ramp_slope", "coil.inductance", "coil.primary_resistance"} {
		g.refuse(f, evidence.NotCalibrated, fmt.Sprintf("%s is in %s, not in ampere", ch.Name, orNothing(ch.Unit.Symbol)), "give the clamp's scale, for example scale: 100 mV/A")
	}
	return false
}

func orNothing(s string) string {
	if s == "" || s == "1" {
		return "no unit"
	}
	return s
}
