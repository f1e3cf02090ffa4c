package measure

import (
	"math"

	"proveout/stats"
	"proveout/trace"
)

// switching is the low side of a coil or injector: at supply level when the
// driver is open, near ground while it is closed, and far above for a moment when
// it opens.
type switching struct {
	v        signal  // turned so that the supply is positive
	supply   float64 // level at rest
	sigma    float64
	step     float64
	inverted bool
	all      []closing
}

// closing is one time the driver pulled the line low.
type closing struct {
	first, last int     // samples below half the supply
	on, off     float64 // half-way crossings, seconds
	edge        float64 // standard error of one of the two instants
	low         float64 // level over the second half
	kick        float64 // highest voltage within 300 us of switch-off
	kickAt      int
	wide        int // samples above 0.9 of the kick
	same        int // samples at exactly the kick
	cut         bool
}

const (
	kickWithin   = 300e-6 // of switch-off
	limitWithin  = 8e-3   // longest time on a current limit
	kickOver     = 1.5    // times the supply: less is no inductive kick
	lowShare     = 0.5    // of the supply: below is closed
	leastClosed  = 100e-6
	lowestSupply = 3.0 // V, below this the rest level is no vehicle supply
	highestRest  = 60.0
)

// findSwitching looks for closings; why says what spoke against.
func (s *sheet) findSwitching(ch *trace.Channel, runs []trace.Segment) (w switching, why string) {
	w.v = signal{v: ch.Values}
	w.sigma, w.step = stepNoise(ch.Values, runs)
	lo, hi, ok := extremes(ch.Values, runs, s.rate)
	if !ok || !(hi > lo) {
		return w, "the trace is flat"
	}
	rest := w.restLevel(s, runs)
	if rest < 0 {
		w.inverted, w.v.down = true, true
		rest = -rest
	}
	w.supply = rest
	if rest < lowestSupply || rest > highestRest {
		return w, "its rest level of " + plain(rest) + " V is no supply voltage"
	}
	if rest < pulseStand*w.sigma/4 {
		return w, "nothing stands out of the noise"
	}
	for _, r := range runs {
		w.inRun(s, r)
	}
	kicked, whole := 0, 0
	for _, c := range w.all {
		if c.cut {
			continue
		}
		whole++
		if c.kick > kickOver*w.supply {
			kicked++
		}
	}
	switch {
	case whole == 0:
		return w, "the line is never pulled low inside the recording"
	case 2*kicked < whole:
		return w, "there is no kick when the driver opens, as a coil gives"
	}
	return w, ""
}

// restLevel is the most crowded level that is not near ground: the supply.
func (w *switching) restLevel(s *sheet, runs []trace.Segment) float64 {
	var x []float64
	n := 0
	for _, r := range runs {
		n += r.End - r.First
	}
	stride := max(1, n/20000)
	for _, r := range runs {
		for i := r.First; i < r.End; i += stride {
			x = append(x, w.v.at(i))
		}
	}
	m := stats.Median(x)
	far := x[:0]
	for _, v := range x {
		if math.Abs(v) > 0.5*lowestSupply {
			far = append(far, v)
		}
	}
	if len(far) < len(x)/50 {
		return m
	}
	return shorth(far, m)
}

func (w *switching) inRun(s *sheet, r trace.Segment) {
	limit := lowShare * w.supply
	least := max(3, int(leastClosed*s.rate))
	for i := r.First; i < r.End; i++ {
		if w.v.at(i) >= limit {
			continue
		}
		j := i
		for j < r.End && w.v.at(j) < limit {
			j++
		}
		if j-i >= least {
			c := closing{first: i, last: j - 1, cut: i <= r.First+1 || j >= r.End-2}
			c.low = stats.Median(w.v.part(i+(j-i)/2, j))
			c.on = w.crossing(s, i, limit, c.cut)
			j = w.limited(s, r, j)
			c.off = w.crossing(s, j, limit, c.cut)
			if i > r.First {
				c.edge = (s.seconds(i) - s.seconds(i-1)) / math.Sqrt(12)
			}
			end := min(r.End, j+max(2, int(kickWithin*s.rate)))
			for k := j; k < end; k++ {
				switch {
				case w.v.at(k) > c.kick:
					c.kick, c.kickAt, c.same = w.v.at(k), k, 1
				case w.v.at(k) == c.kick:
					c.same++
				}
			}
			for k := j; k < end; k++ {
				if w.v.at(k) > 0.9*c.kick {
					c.wide++
				}
			}
			w.all = append(w.all, c)
		}
		i = j
	}
}

// limited gives the sample at which the driver truly opens, when the line leaves
// ground before: a driver that limits the current lets the line rise part of the
// way, and the kick comes later.
func (w *switching) limited(s *sheet, r trace.Segment, j int) int {
	for k := j; k < min(r.End, j+int(limitWithin*s.rate)); k++ {
		if w.v.at(k) > kickOver*w.supply {
			if s.seconds(k)-s.seconds(j) < 60e-6 {
				return j
			}
			return k
		}
		if w.v.at(k) < 0.5*lowShare*w.supply && k > j+1 {
			return j // closed again
		}
	}
	return j
}

// crossing is the time at which the line passes level between samples i-1 and i.
// A fall that takes longer than a sample is interpolated; for one that does not,
// the middle is as good.
func (w *switching) crossing(s *sheet, i int, level float64, cut bool) float64 {
	if cut || i < 1 || i >= len(w.v.v) {
		return s.seconds(min(i, len(w.v.v)-1))
	}
	a, b := w.v.at(i-1), w.v.at(i)
	f := 0.5
	if hi, lo := math.Max(a, b), math.Min(a, b); hi-lo > 0 && hi-lo < 0.9*w.supply {
		f = (level - a) / (b - a)
	}
	return s.seconds(i-1) + f*(s.seconds(i)-s.seconds(i-1))
}

// usable are the closings that lie whole in the recording and end in a kick.
func (w *switching) usable() []closing {
	var out []closing
	for _, c := range w.all {
		if !c.cut && c.kick > kickOver*w.supply {
			out = append(out, c)
		}
	}
	return out
}

// kickQuality says whether the tops of the kicks were cut off by the recorder, or
// missed between samples.
func (w *switching) kickQuality(fullScale float64) (clipped, slow bool) {
	n, cut, missed := 0, 0, 0
	for _, c := range w.usable() {
		n++
		if fullScale > 0 && c.kick >= 0.999*fullScale || c.same >= 3 && w.sigma > 0 {
			cut++
		}
		if c.wide < 3 {
			missed++
		}
	}
	return 2*cut > n, 2*missed > n
}
