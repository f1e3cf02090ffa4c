package measure

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"proveout/stats"
)

// Limits of the search for one revolution, our choice.
const (
	camMatch   = 0.85 // share of cam edges that must come back after one cycle
	mostTeeth  = 130  // in one revolution
	slowestRPM = 10.0
	fastestRPM = 20000.0
	starterRPM = 400.0 // slower than any engine idles; a starter turns at 80-300 (trade.md 2.6)
	firingRPM  = 500.0
)

// camTrack is a second channel, placed on the turning of the crank.
type camTrack struct {
	s     sensor
	at    []float64 // turned, in repeats of the crank pattern, for each edge placed
	edges []edge
}

// place puts the edges of another channel on the crank, by interpolating between
// its teeth.
func (d *decoded) place(s sensor) camTrack {
	c := camTrack{s: s}
	for _, e := range s.edges {
		i := sort.Search(len(d.teeth), func(i int) bool { return d.teeth[i].t > e.t })
		if i == 0 || i == len(d.teeth) || d.teeth[i].fresh {
			continue
		}
		a, b := d.teeth[i-1], d.teeth[i]
		c.at = append(c.at, a.turned+(b.turned-a.turned)*(e.t-a.t)/(b.t-a.t))
		c.edges = append(c.edges, e)
	}
	return c
}

// repeatsAfter is the share of edges that come back, at the same level, one cycle
// of so many repeats later; n says how many could.
func (c camTrack) repeatsAfter(cycle, tolerance float64) (share float64, n int) {
	if len(c.at) == 0 {
		return 0, 0
	}
	match := 0
	last := c.at[len(c.at)-1]
	for i, x := range c.at {
		if x+cycle > last+tolerance {
			break
		}
		n++
		j := sort.SearchFloat64s(c.at, x+cycle-tolerance)
		for ; j < len(c.at) && c.at[j] <= x+cycle+tolerance; j++ {
			if c.edges[j].level == c.edges[i].level {
				match++
				break
			}
		}
	}
	if n == 0 {
		return 0, 0
	}
	return float64(match) / float64(n), n
}

// revolution finds how many repeats of the pattern make one revolution: the
// pattern of the cam comes back after two; else the name of a wheel in common
// use; a wheel without a mark and without a cam cannot be placed. A cam may look
// alike sooner than it turns round: a listed multiple counts then. teeth is the
// number of teeth in one turn where it is known, missing ones counted, else 0: it
// places the wheel that nothing else does.
func (w *wheel) revolution(cams []camTrack, teeth int) (ok bool) {
	byCam := w.byCam(cams)
	byList := 0
	if !w.coded && (len(w.gaps) > 0 || w.extra > 0) {
		for k := 1; k <= 4 && byList == 0; k++ {
			name := w.nameOf(k)
			if w.extra > 0 {
				name = fmt.Sprintf("%d+%d", k*w.positions, k*w.extra)
			}
			if slices.Contains(commonWheels, name) {
				byList = k
			}
		}
	}
	switch {
	case byCam > 0 && byList > 0 && byList%byCam == 0:
		w.repeats, w.listed, w.went = byList, true, "the cam's pattern comes back every second turn, and the wheel is one in common use"
	case byCam > 0:
		w.repeats, w.went = byCam, "the cam's pattern comes back every second turn"
	case byList > 0:
		w.repeats, w.listed, w.went = byList, true, "it is a wheel in common use"
	case w.coded:
		w.repeats, w.went = 1, "the order of wide and narrow pulses comes back once a turn"
	case len(w.gaps) > 0 || w.extra > 0:
		w.repeats, w.guessed, w.went = 1, true, "its mark is taken to pass once a turn; it is no wheel in common use, so hold the speed against another instrument"
	case teeth >= w.events && teeth%w.events == 0:
		w.repeats, w.went = teeth/w.events, "the number of teeth is given"
	default:
		return false
	}
	return true
}

// teeth is how many the wheel has in one turn, missing ones counted.
func (w wheel) teeth() int {
	if w.positions > 0 {
		return w.repeats * w.positions
	}
	return w.repeats * w.events
}

// byCam is the number of repeats in one turn by the cam channels, 0 when they do
// not tell. For a wheel with a mark the cam must come back after two turns. A
// wheel without one is counted by the cam alone: then the cam's shortest repeat is
// taken for its turn, and must be a whole number of crank turns times two.
func (w *wheel) byCam(cams []camTrack) int {
	pitch := stats.Median(w.share)
	marked := len(w.gaps) > 0 || w.extra > 0 || w.coded
	returns := func(c camTrack, cycle float64) bool {
		q, n := c.repeatsAfter(cycle, math.Max(0.3*pitch, 0.012*cycle))
		return q >= camMatch && n >= 3
	}
	found := 0
	for _, c := range cams {
		k := 0
		for s := 1; s <= 2*mostTeeth/w.events && k == 0; s++ {
			switch {
			case !returns(c, float64(s)):
			case s%2 == 0:
				k = s / 2
			case !marked:
				k = -1 // comes back too soon to count by
			}
		}
		if k < 0 || k == 0 || !marked && c.dense(w.events) {
			continue
		}
		if k > found {
			found = k
		}
	}
	return found
}

// dense reports whether the channel has about as many edges as the crank has:
// such a signal comes back after anything.
func (c camTrack) dense(events int) bool {
	return len(c.at) > 1 && float64(len(c.at)) > 1.6*float64(events)*(c.at[len(c.at)-1]-c.at[0])
}

// turn is the crank's motion: time and angle of each tooth.
type turn struct {
	t     []float64 // s
	deg   []float64 // crank degrees, rising; corrected for tooth spacing where learned
	k     []int     // which tooth of the revolution
	at    []int     // sample
	fresh []bool    // a new stretch begins here
	per   int       // teeth per revolution
}

func newTurn(w wheel, d decoded) turn {
	// An extra tooth stands between two others at a place nobody knows better than
	// by the engine's own motion: the angle goes by the even teeth alone.
	rank, even := make([]int, w.events), 0
	for k := range rank {
		rank[k] = -1
		before := w.share[(k+w.events-1)%w.events]
		if w.extra > 0 && before < 0.95/float64(w.positions) && w.share[k] < 0.95/float64(w.positions) {
			continue
		}
		rank[k] = even
		even++
	}
	tr := turn{per: even * w.repeats}
	fresh := false
	for _, x := range d.teeth {
		fresh = fresh || x.fresh
		if rank[x.k] < 0 {
			continue
		}
		// Which repeat of the turn, counted from the first tooth.
		rep := int(math.Round(x.turned-shareUpTo(w, x.k)+shareUpTo(w, d.teeth[0].k))) % w.repeats
		tr.t, tr.at, tr.fresh = append(tr.t, x.t), append(tr.at, x.at), append(tr.fresh, fresh)
		tr.deg = append(tr.deg, x.turned/float64(w.repeats)*360)
		tr.k = append(tr.k, ((rep+w.repeats)%w.repeats)*even+rank[x.k])
		fresh = false
	}
	return tr
}

// shareUpTo is the part of the pattern before tooth k.
func shareUpTo(w wheel, k int) float64 {
	s := 0.0
	for j := range k {
		s += w.share[j]
	}
	return s
}

// timeAt interpolates the time at which the crank passed an angle; ok is false
// outside, and where the place was lost in between.
func (tr *turn) timeAt(deg float64) (float64, bool) {
	i := sort.SearchFloat64s(tr.deg, deg)
	if i == 0 || i >= len(tr.deg) || tr.fresh[i] {
		if i < len(tr.deg) && tr.deg[i] == deg {
			return tr.t[i], true
		}
		return 0, false
	}
	f := (deg - tr.deg[i-1]) / (tr.deg[i] - tr.deg[i-1])
	return tr.t[i-1] + f*(tr.t[i]-tr.t[i-1]), true
}

// Speed is the engine speed over one revolution.
type Speed struct {
	Seconds float64 // middle of the revolution, from the start of the recording
	RPM     float64 // mean over the revolution
	Sample  int     // at its end
}

// speeds lists the mean speed of each revolution that ends on a tooth a
// revolution after another: one value for each quarter turn.
func (tr *turn) speeds() []Speed {
	var out []Speed
	j, next := 0, math.Inf(-1)
	for i := range tr.deg {
		for j < i && tr.deg[i]-tr.deg[j] > 360+1e-6 {
			j++
		}
		if tr.deg[i]-tr.deg[j] < 360-1e-6 || tr.deg[i] < next || !tr.whole(j, i) {
			continue
		}
		dt := tr.t[i] - tr.t[j]
		if dt <= 0 {
			continue
		}
		out = append(out, Speed{Seconds: (tr.t[i] + tr.t[j]) / 2, RPM: 60 * (tr.deg[i] - tr.deg[j]) / 360 / dt, Sample: tr.at[i]})
		next = tr.deg[i] + 90 - 1e-6
	}
	return out
}

// whole reports whether no new stretch begins in (a, b].
func (tr *turn) whole(a, b int) bool {
	for i := a + 1; i <= b; i++ {
		if tr.fresh[i] {
			return false
		}
	}
	return true
}
