package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// voltage reads the switched side of the coil: dwell where no current gave it,
// and the clamp voltage at switch-off.
func (g *primary) voltage(ch *trace.Channel, runs []trace.Segment, known []dwell) {
	feature := "coil.dwell"
	if known != nil {
		feature = "coil.clamp_voltage"
	}
	w, why := g.findSwitching(ch, runs)
	if why != "" {
		g.refuse(feature, evidence.WrongChannel, why, "back-probe the driver side of the coil, probe rated 400 V or more, and check its attenuation")
		return
	}
	if w.inverted {
		g.note(evidence.Inverted, false, "%s: the probe is turned over; the trace was turned back for measuring", ch.Name)
	}
	use := w.usable()
	var times, kicks []float64
	var edge, last float64
	for i, c := range use {
		if i > 0 && c.on-last < restrikeSeconds {
			last = c.off
			continue
		}
		last, edge = c.off, c.edge
		times, kicks = append(times, c.off-c.on), append(kicks, c.kick)
		if known == nil {
			g.mark("coil.dwell", i, c.first, c.last, "dwell %.2f ms", 1e3*(c.off-c.on))
		}
		g.mark("coil.clamp_voltage", i, c.last, c.kickAt, "%.0f V", c.kick)
	}
	if m := stats.Median(kicks); known == nil && m < mostInjectorKick {
		g.flag(evidence.WrongChannel)
		g.note(evidence.WrongChannel, true, "%s: it kicks to %.0f V only, as an injector does; a coil's clamp is 250 to 450 V. If it is a coil, its driver or winding breaks down: clamp its current beside it to tell", ch.Name, m)
	}
	a, b := use[0].first, use[len(use)-1].kickAt
	few := eventFlags(len(times))
	if m := stats.Median(times); m < shortestDwell || m > 30e-3 {
		g.refuse(feature, evidence.ScaleUnsure, fmt.Sprintf("the line is low for %s ms; a coil is switched on for some milliseconds", round3(1e3*m)), "check the time column or sample rate, and that this is the coil")
		return
	}
	if known == nil {
		m, se := spreadMiddle(times, math.Sqrt2*edge)
		flags := few
		if 1/g.rate > 0.02*m {
			flags = append(append([]evidence.Flag{}, few...), evidence.TooSlow)
		}
		g.emit("coil.dwell", "s", m, math.Hypot(se, 0.1/g.rate), len(times), a, b, flags...)
		for _, f := range []string{"coil.primary_current", "coil.inductance", "coil.primary_resistance"} {
			g.refuse(f, "", "only the voltage was recorded", "clamp the coil's feed wire with a low-amp clamp")
		}
	}
	clipped, slow := w.kickQuality(ch.FullScale)
	flags := few
	m, se := spreadMiddle(kicks, w.sigma)
	switch {
	case clipped:
		g.note(evidence.Clipped, true, "%s: the kick is cut off at %.0f V; use a probe and range that reach 500 V", ch.Name, m)
		flags = append(append([]evidence.Flag{}, few...), evidence.Clipped)
	case slow:
		g.note(evidence.TooSlow, true, "%s: at %sS/s fewer than three samples fall on the top of the kick; take it at 1 MS/s or more to read its height", ch.Name, round3(g.rate))
		flags = append(append([]evidence.Flag{}, few...), evidence.TooSlow)
	}
	// The highest of some samples is high by about one noise deviation.
	g.emit("coil.clamp_voltage", "V", m-w.sigma, math.Hypot(se, w.sigma/2), len(kicks), a, b, flags...)
}
