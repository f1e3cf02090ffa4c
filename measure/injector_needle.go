package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// stack is the mean of many events on one time axis, which starts at their switching.
type stack struct {
	dt, from float64 // seconds
	y        []float64
	sd       float64 // of each point
	n        int
}

// place is where a moment near sample i lies, in samples: a recording with dead
// time has no other way from time to sample.
func (g *injector) place(i int, t float64) float64 {
	return float64(i) + (t-g.seconds(i))*g.rate
}

// stacked averages v over events that start at the given places. Points are taken
// by linear interpolation, no denser than 5 us. Events that the recording does not
// hold whole are left out.
func (g *injector) stacked(v signal, sigma float64, at []float64, from, to float64) stack {
	s := stack{dt: math.Max(5e-6, 1/g.rate), from: from}
	m := int((to - from) / s.dt)
	if m < 20 || len(at) == 0 {
		return s
	}
	s.y = make([]float64, m)
	for _, a := range at {
		x := a + from*g.rate
		if x < 0 || int(x+float64(m)*s.dt*g.rate)+2 >= len(v.v) {
			continue
		}
		ok := slices.ContainsFunc(g.runs, func(r trace.Segment) bool {
			return int(math.Min(a, x)) >= r.First && int(x+float64(m)*s.dt*g.rate)+2 < r.End
		})
		for _, q := range v.part(int(x), int(x+float64(m)*s.dt*g.rate)+2) {
			if math.IsNaN(q) || math.IsInf(q, 0) {
				ok = false
			}
		}
		if !ok {
			continue
		}
		s.n++
		for j := range s.y {
			z := x + float64(j)*s.dt*g.rate
			k := int(z)
			f := z - float64(k)
			s.y[j] += v.at(k) + f*(v.at(k+1)-v.at(k))
		}
	}
	for j := range s.y {
		s.y[j] /= math.Max(1, float64(s.n))
	}
	s.sd = sigma / math.Sqrt(math.Max(1, float64(s.n)))
	return s
}

// slopes are fitted over a window around each point; sd is their error from noise.
func (s stack) slopes() (d []float64, half int, sd float64) {
	half = max(2, int(slopeWindow/2/s.dt))
	d = make([]float64, len(s.y))
	norm := 0.0
	for k := -half; k <= half; k++ {
		norm += float64(k * k)
	}
	for j := half; j+half < len(s.y); j++ {
		for k := -half; k <= half; k++ {
			d[j] += float64(k) * s.y[j+k]
		}
		d[j] /= norm * s.dt
	}
	return d, half, s.sd / math.Sqrt(norm) / s.dt
}

// needle is a moment at which the needle struck, seconds after switching.
type needle struct{ time, sd float64 }

// kink finds the opening: the slope of the current falls until the needle strikes
// its stop, then rises again. A plain coil's slope only ever falls.
func (g *injector) kink() (needle, bool) {
	width := stats.Median(g.take(func(s shot) float64 { return s.stop - s.on }))
	peak := stats.Median(g.take(func(s shot) float64 { return s.peak }))
	var on []float64
	for _, s := range g.pulses {
		// One that is shorter or lower than the others may have lost samples.
		if math.Abs(s.stop-s.on-width) < 0.05*width && math.Abs(s.peak-peak) < 0.1*peak {
			on = append(on, g.place(s.first, s.on))
		}
	}
	s := g.stacked(g.p.v, g.p.sigma, on, 0.1*width, width-40e-6)
	if s.n == 0 {
		return needle{}, false
	}
	d, half, sd := s.slopes()
	top := 0.0
	for j := half; j+half < len(d); j++ {
		top = math.Max(top, d[j])
	}
	low, at := math.Inf(1), 0
	var best float64
	var a, b int
	for j := half; j+half < len(d); j++ {
		if d[j] < low {
			low, at = d[j], j
		}
		if float64(j-at)*s.dt < 0.5e-3 && d[j]-low > best {
			best, a, b = d[j]-low, at, j
		}
	}
	if best < standOutSlope*sd || best < kinkShare*top {
		return needle{}, false
	}
	mid := (d[a] + d[b]) / 2
	for j := a; j < b; j++ {
		if d[j+1] >= mid {
			return needle{s.from + float64(j)*s.dt + s.dt*(mid-d[j])/math.Max(d[j+1]-d[j], 1e-12), math.Max(10e-6, float64(b-a)*s.dt/6)}, true
		}
	}
	return needle{}, false
}

// opening emits the opening time.
func (g *injector) opening(ch *trace.Channel, first, last int, few []evidence.Flag) {
	at, ok := g.kink()
	if g.driver != Saturated {
		g.refuse("injector.opening_time", "", "with a "+g.driver+" driver the current is driven past the kink", "compare the time to the peak with the other injectors")
		return
	}
	if !ok {
		g.refuse("injector.opening_time", evidence.Noisy, "no kink stands out of the rise: the needle does not move, moves slowly, or the noise hides it", "take more injections at lower noise; if the others show it, this injector sticks or has no pressure on it")
		return
	}
	g.emit("injector.opening_time", "s", at.time, at.sd, len(g.pulses), first, last, few...)
	if p := g.pulses[0]; ch != nil {
		k := p.first + int((at.time+p.on-p.foot)*g.rate)
		g.mark("injector.opening_time", 0, k, k, "opens after %.2f ms", 1e3*at.time)
	}
}

// closing emits when the needle lands: the end of the bump on the way of the
// voltage back to the supply. There the slope dips and comes back; a plain decay's
// slope only ever rises.
func (g *injector) closing(first, last int, few []evidence.Flag) {
	var off []float64
	free := longestClosing
	for i, c := range g.opens {
		off = append(off, g.place(c.last, c.off))
		if i > 0 {
			free = math.Min(free, c.on-g.opens[i-1].off-0.1e-3)
		}
	}
	s := g.stacked(g.w.v, g.w.sigma, off, 0, free)
	if s.n == 0 {
		g.refuse("injector.closing_time", evidence.Gap, "the time after switch-off is not in the recording", "record some milliseconds past the injection")
		return
	}
	d, half, sd := s.slopes()
	// Past the kick: where the mean has come down to half of it over the supply.
	kick := 0.0
	for _, y := range s.y {
		kick = math.Max(kick, y)
	}
	begin := 0
	for j, y := range s.y {
		if y > g.w.supply+0.25*(kick-g.w.supply) {
			begin = j
		}
	}
	begin += max(2*half, int(kickSettle/2/s.dt))
	var best float64
	at := -1
	dip := make([]float64, len(d))
	for j := begin + 2*half; j+3*half < len(d); j++ {
		dip[j] = d[j-2*half] + d[j+2*half] - 2*d[j]
		if dip[j] > best {
			best, at = dip[j], j
		}
	}
	if at < 0 || best < 1.2*standOutSlope*sd*math.Sqrt(6) || best*slopeWindow < bumpShare*g.w.supply {
		g.refuse("injector.closing_time", evidence.Noisy, "no bump stands out after switch-off: many drivers hide it, or the noise does", "take more injections at lower noise with the range set to 20 V; the kick may then run off the top")
		return
	}
	t := float64(at) * s.dt
	if g.emit("injector.closing_time", "s", t, math.Max(15e-6, s.dt), s.n, first, last, few...) {
		k := g.opens[0].last + int(t*g.rate)
		g.mark("injector.closing_time", 0, k, k, "lands after %.2f ms", 1e3*t)
	}
	for j := begin + 2*half; j+3*half < len(d); j++ {
		if dip[j] > 0.5*best && math.Abs(float64(j-at))*s.dt > 0.25e-3 {
			g.note("", true, "%s: a second bump %.2f ms after switch-off: the needle bounces or sticks", g.channel, 1e3*float64(j)*s.dt)
			break
		}
	}
}

// looksLikeInjector tries a recording as an injector.
func looksLikeInjector(rec *trace.Recording, meta Meta) (bool, string) {
	if !hasRole(rec, meta, InjectorKind, RoleCurrent, RoleVoltage) {
		return false, ""
	}
	res, err := injectorCapture(rec, meta)
	if err != nil {
		return false, ""
	}
	for _, r := range res.Readings {
		if (r.Feature == "injector.on_time" || r.Feature == "injector.boost_voltage") && !r.Blocked() {
			return true, fmt.Sprintf("channel %s is switched as an injector is", r.From.Channel)
		}
	}
	return false, whyNot(res)
}
