package watch

import "math"

// Summary is what is kept of a watch for one step.
type Summary struct {
	Samples int `json:"samples"`
	Refused int `json:"refused,omitempty"` // out of order or no number
	// Low and High are the lowest and highest value seen, in SI.
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	// LowSeenOnly: sampling was slower than the watch asks; a shorter dip may have
	// been missed.
	LowSeenOnly bool `json:"low_seen_only,omitempty"`
	// Seconds beyond each limit, not watched, and watched at all. A stretch between
	// two samples counts with the worse of both.
	BeyondWarn float64 `json:"beyond_warn_s"`
	BeyondHold float64 `json:"beyond_hold_s"`
	BeyondStop float64 `json:"beyond_stop_s"`
	NotWatched float64 `json:"not_watched_s"`
	Watched    float64 `json:"watched_s"`
	// Dips are excursions beyond a limit that were shorter than the debounce time.
	Dips int `json:"dips"`
	// Plot is at most PlotPoints pairs of lowest and highest value, in order.
	Plot []Pair `json:"plot,omitempty"`
	each int    // samples in each pair
	mod  int    // samples in the last pair
	from int64
	last int64
}

// Pair is the lowest and highest value of a stretch of the plot.
type Pair struct{ Low, High float64 }

// PlotPoints is the greatest number of pairs of a plot.
const PlotPoints = 120

func (s *Summary) dip(l Level) {
	if l == Warn {
		s.Dips++ // a deeper dip passes the warn line too: counted once
	}
}

// Begin starts a new summary at a time: a step begins.
func (m *Monitor) Begin(now int64) {
	m.sum = Summary{Low: math.Inf(1), High: math.Inf(-1), each: 1, from: now, last: now}
	m.open = true
}

// End closes the summary at a time and gives it. Without Begin it is empty.
func (m *Monitor) End(now int64) Summary {
	if !m.open {
		return Summary{}
	}
	m.tail(now)
	m.open = false
	s := m.sum
	if s.Samples == 0 {
		s.Low, s.High = 0, 0
	}
	if s.Watched > 0 {
		s.LowSeenOnly = float64(s.Samples) < 0.8*m.lim.RateHz*s.Watched
	}
	return s
}

// tail accounts for the time after the last sample.
func (m *Monitor) tail(now int64) {
	age := now - m.sum.last
	if age <= 0 {
		return
	}
	if m.any && now-m.last.At <= m.maxAge() {
		m.span(float64(age)*1e-9, m.raw(m.last.Value))
		return
	}
	m.sum.NotWatched += float64(age) * 1e-9
}

func (m *Monitor) span(sec float64, r Level) {
	m.sum.Watched += sec
	if r >= Warn {
		m.sum.BeyondWarn += sec
	}
	if r >= Hold {
		m.sum.BeyondHold += sec
	}
	if r >= StopNow {
		m.sum.BeyondStop += sec
	}
}

func (m *Monitor) count(s Sample, gap bool) {
	if !m.open {
		return
	}
	if dt := float64(s.At-m.sum.last) * 1e-9; dt > 0 {
		if gap || !m.any {
			m.sum.NotWatched += dt
		} else {
			m.span(dt, max(m.raw(s.Value), m.raw(m.last.Value)))
		}
		m.sum.last = s.At
	}
	m.sum.Samples++
	m.sum.Low, m.sum.High = math.Min(m.sum.Low, s.Value), math.Max(m.sum.High, s.Value)
	m.sum.plot(s.Value)
}

// plot keeps pairs of lowest and highest; when they are too many, two become one.
func (s *Summary) plot(v float64) {
	if s.mod == 0 {
		if len(s.Plot) == PlotPoints {
			half := make([]Pair, 0, PlotPoints)
			for i := 0; i+1 < len(s.Plot); i += 2 {
				half = append(half, Pair{math.Min(s.Plot[i].Low, s.Plot[i+1].Low), math.Max(s.Plot[i].High, s.Plot[i+1].High)})
			}
			s.Plot, s.each = half, s.each*2
		}
		s.Plot = append(s.Plot, Pair{v, v})
	} else {
		p := &s.Plot[len(s.Plot)-1]
		p.Low, p.High = math.Min(p.Low, v), math.Max(p.High, v)
	}
	s.mod = (s.mod + 1) % s.each
}
