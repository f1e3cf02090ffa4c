package watch

import (
	"math"

	"proveout/procedure"
)

// Level is how a watched thing stands.
type Level uint8

// Levels, best to worst after NotWatched. The words on the screen are: not watched,
// holding, sagging (warn), below the line (hold), stop.
const (
	NotWatched Level = iota
	Holding
	Warn
	Hold
	StopNow
)

// String is the word for the screen.
func (l Level) String() string {
	return [...]string{"not watched", "holding", "sagging", "below the line", "stop"}[l]
}

// Sample is one value in SI at a time in nanoseconds. The zero of time is that of
// whoever feeds the monitor; it must be the clock Now is asked in.
type Sample struct {
	At    int64
	Value float64
}

// Monitor watches one quantity. Make it with New.
type Monitor struct {
	lim  procedure.Limits
	last Sample
	any  bool
	from int64    // begin of the feed, or of the feed after a gap
	on   [5]bool  // beyond the limit of this level, after debounce
	turn [5]int64 // since when the samples say otherwise than on
	odd  [5]bool  // the samples say otherwise than on
	sum  Summary
	open bool
}

// New makes a monitor for the limits of a watch.
func New(lim procedure.Limits) *Monitor { return &Monitor{lim: lim} }

// raw is the level of one value without debounce.
func (m *Monitor) raw(v float64) Level {
	below := func(x float64) bool { return !math.IsNaN(x) && v < x }
	above := func(x float64) bool { return !math.IsNaN(x) && v > x }
	switch {
	case below(m.lim.Stop) || above(m.lim.StopHigh):
		return StopNow
	case below(m.lim.Hold) || above(m.lim.HoldHigh):
		return Hold
	case below(m.lim.Warn) || above(m.lim.WarnHigh):
		return Warn
	}
	return Holding
}

// Add takes a sample. Samples must come in order of time; one that is older than
// the last, or no number, is refused with false and counted.
func (m *Monitor) Add(s Sample) bool {
	if math.IsNaN(s.Value) || math.IsInf(s.Value, 0) || m.any && s.At < m.last.At {
		m.sum.Refused++
		return false
	}
	gap := m.any && s.At-m.last.At > m.maxAge()
	if !m.any || gap {
		m.from = s.At
		m.on, m.odd = [5]bool{}, [5]bool{}
	}
	r := m.raw(s.Value)
	for l := Warn; l <= StopNow; l++ {
		beyond := r >= l
		switch {
		case beyond == m.on[l]:
			if m.odd[l] && !beyond {
				m.sum.dip(l)
			}
			m.odd[l] = false
		case !m.odd[l]:
			m.odd[l], m.turn[l] = true, s.At
		}
		if m.odd[l] && s.At-m.turn[l] >= m.debounce() {
			m.on[l], m.odd[l] = beyond, false
		}
	}
	m.count(s, gap)
	m.last, m.any = s, true
	return true
}

func (m *Monitor) maxAge() int64   { return int64(m.lim.MaxAge * 1e9) }
func (m *Monitor) debounce() int64 { return int64(m.lim.Debounce * 1e9) }

// Level is the level at a time. Too old is not watched, and so is a feed that has
// not yet run for the debounce time: it must hold before it counts as good.
func (m *Monitor) Level(now int64) Level {
	if !m.any || now-m.last.At > m.maxAge() {
		return NotWatched
	}
	for l := StopNow; l >= Warn; l-- {
		// A value that stands beyond a limit and was not followed by another stands
		// there still.
		if m.on[l] || m.odd[l] && m.raw(m.last.Value) >= l && now-m.turn[l] >= m.debounce() {
			return l
		}
	}
	if m.last.At-m.from < m.debounce() {
		return NotWatched
	}
	return Holding
}

// Last is the last sample, and whether there is one.
func (m *Monitor) Last() (Sample, bool) { return m.last, m.any }

// Limits are those the monitor was made with.
func (m *Monitor) Limits() procedure.Limits { return m.lim }
