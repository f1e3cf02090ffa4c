package measure

import (
	"math"
	"slices"

	"proveout/stats"
	"proveout/trace"
)

// Thresholds of the search for sensor edges, our choice unless said.
const (
	bounceSeconds = 25e-6 // 120 teeth at 10,000 rpm are 50 us apart; nearer edges are contact bounce
	bounceShare   = 0.02  // a pulse this short beside its neighbours is a spike on the lead
	swingPeriod   = 0.1   // s: stretch over which the level of an analog sensor is taken
	schmittShare  = 0.2   // of the swing: an analog edge must cross this far on both sides
	fewestEdges   = 12
	levelWidth    = 0.15 // of the swing: samples so near to either end lie on a level
	levelShare    = 0.75 // of the samples on the two levels: a sine has about half there
)

// edge is one change of a sensor's level.
type edge struct {
	t     float64 // s from the start of the recording, interpolated on sampled traces
	at    int     // sample
	level int8    // after the edge: 1 high, 0 low
}

// sensor is one channel as edges.
type sensor struct {
	ch      *trace.Channel
	edges   []edge
	bounced []edge    // the first of each pair of edges that were taken out as noise
	analog  bool      // variable reluctance or other signal without two clear levels
	grain   float64   // s: uncertainty of the time of one edge
	breaks  []float64 // times at which nothing was measured
	why     string    // what spoke against it, when there are no edges
}

// findEdges turns a channel into edges. A logic channel of an edge list gives
// one at each change. A sampled channel is cut by a two-level (Schmitt) trigger
// about the middle between its 10 % and 90 % points of each tenth of a second,
// and the crossing of the middle is interpolated: for a variable-reluctance
// sensor that is the passing of a tooth's middle or edge. A square signal is told from
// it by how many samples lie on its two levels.
func findEdges(rec *trace.Recording, ch *trace.Channel) sensor {
	s := sensor{ch: ch, grain: float64(max(rec.Time.Resolution, 1)) * 1e-9}
	for _, seg := range rec.Segments[min(1, len(rec.Segments)):] {
		s.breaks = append(s.breaks, float64(rec.Time.At(seg.First))*1e-9)
	}
	if ch.Edges || twoLevels(ch.Values) {
		s.logic(rec)
	} else {
		s.sampled(rec)
	}
	if s.why == "" {
		s.dropBounce()
	}
	if s.why == "" && len(s.edges) < fewestEdges {
		s.why = "it changes only a few times"
		if len(s.edges) == 0 {
			s.why = "it never changes"
		}
	}
	return s
}

// twoLevels reports whether a channel takes no more than two values.
func twoLevels(v []float64) bool {
	a, b, have := math.NaN(), math.NaN(), 0
	for _, x := range v {
		if math.IsNaN(x) || x == a || x == b {
			continue
		}
		switch have {
		case 0:
			a = x
		case 1:
			b = x
		default:
			return false
		}
		have++
	}
	return true
}

func (s *sensor) logic(rec *trace.Recording) {
	v := s.ch.Values
	lo, hi := leastGreatest(v)
	mid := (lo + hi) / 2
	if !s.ch.Edges && rec.Time.Uniform() && rec.Time.RateHz() > 0 {
		s.grain = math.Max(s.grain, 1/rec.Time.RateHz()/math.Sqrt(12))
	}
	last := int8(-1)
	for i, x := range v {
		if math.IsNaN(x) {
			continue
		}
		level := int8(0)
		if x > mid {
			level = 1
		}
		if last >= 0 && level != last && hi > lo {
			s.edges = append(s.edges, edge{t: float64(rec.Time.At(i)) * 1e-9, at: i, level: level})
		}
		last = level
	}
}

// leastGreatest are the least and greatest finite value; lo > hi when there is none.
func leastGreatest(v []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		if x < lo {
			lo = x
		}
		if x > hi {
			hi = x
		}
	}
	return lo, hi
}

func (s *sensor) sampled(rec *trace.Recording) {
	onLevel, looked := 0, 0
	runs := rec.Segments
	if len(runs) == 0 {
		runs = []trace.Segment{{First: 0, End: len(s.ch.Values)}}
	}
	rate := rateWithin(rec.Time, runs)
	if !(rate > 0) {
		s.why = "the sample rate is not known"
		return
	}
	v := s.ch.Values
	s.grain = 0.3 / rate // interpolated crossing of a noisy slope
	size := max(8, int(rate*swingPeriod))
	var scratch []float64
	for _, r := range runs {
		// Middle and half swing of each block; between their centres a straight line.
		var mids, bands []float64
		for from := r.First; from < r.End; from += size {
			end := min(from+size, r.End)
			scratch = scratch[:0]
			stride := max(1, (end-from)/512)
			for i := from; i < end; i += stride {
				if !math.IsNaN(v[i]) {
					scratch = append(scratch, v[i])
				}
			}
			if len(scratch) < 8 {
				if n := len(mids); n > 0 {
					mids, bands = append(mids, mids[n-1]), append(bands, bands[n-1])
				} else {
					mids, bands = append(mids, 0), append(bands, math.Inf(1))
				}
				continue
			}
			slices.Sort(scratch)
			lo, hi := scratch[len(scratch)/10], scratch[len(scratch)-1-len(scratch)/10]
			mids, bands = append(mids, (lo+hi)/2), append(bands, schmittShare*(hi-lo))
			near := levelWidth * (hi - lo)
			for _, x := range scratch {
				if math.Abs(x-lo) <= near || math.Abs(x-hi) <= near {
					onLevel++
				}
			}
			looked += len(scratch)
		}
		if len(mids) == 0 {
			continue
		}
		state := int8(-1)
		crossing, crossed := 0.0, 0
		mid, band, before := mids[0], bands[0], v[r.First]-mids[0]
		for i := r.First + 1; i < r.End; i++ {
			// The line is walked in steps of a 32nd of a block.
			if (i-r.First)%max(1, size/32) == 0 {
				at := math.Max(0, float64(i-r.First)/float64(size)-0.5)
				b := min(int(at), len(mids)-1)
				n := min(b+1, len(mids)-1)
				f := at - float64(b)
				if n == b {
					f = 0
				}
				mid, band = mids[b]+f*(mids[n]-mids[b]), bands[b]+f*(bands[n]-bands[b])
			}
			x := v[i] - mid
			if (before < 0) != (x < 0) && !math.IsNaN(before+x) {
				ta, tb := float64(rec.Time.At(i-1)), float64(rec.Time.At(i))
				crossing, crossed = (ta+(tb-ta)*before/(before-x))*1e-9, i
			}
			level := state
			switch {
			case !(band > 0):
			case x > band:
				level = 1
			case x < -band:
				level = 0
			}
			if level != state {
				if state >= 0 {
					s.edges = append(s.edges, edge{t: crossing, at: crossed, level: level})
				}
				state = level
			}
			before = x
		}
	}
	s.analog = float64(onLevel) < levelShare*float64(looked)
}

// dropBounce takes out pulses that are no teeth: two edges nearer than
// bounceSeconds, or a pulse much shorter than those about it. Where such pulses
// are the rule they are the signal, and stay.
func (s *sensor) dropBounce() {
	if len(s.edges) < 3 {
		return
	}
	widths := make([]float64, len(s.edges)-1)
	for i := range widths {
		widths[i] = s.edges[i+1].t - s.edges[i].t
	}
	short := make([]bool, len(widths))
	n := 0
	for i, w := range widths {
		near := slices.Clone(widths[max(0, i-6):min(len(widths), i+7)])
		short[i] = !s.analog && (w < bounceSeconds || w < bounceShare*stats.MedianInPlace(near))
		if short[i] && w >= bounceSeconds {
			n++
		}
	}
	if n > len(widths)/4 {
		return
	}
	out := s.edges[:0:0]
	for i := 0; i < len(s.edges); i++ {
		if i < len(short) && short[i] {
			s.bounced = append(s.bounced, s.edges[i])
			i++ // and its return
			continue
		}
		out = append(out, s.edges[i])
	}
	s.edges = out
}

// of lists the edges to one level.
func (s *sensor) of(level int8) []edge {
	var out []edge
	for _, e := range s.edges {
		if e.level == level {
			out = append(out, e)
		}
	}
	return out
}
