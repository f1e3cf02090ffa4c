package watch

import (
	"math"

	"proveout/procedure"
)

// Level is how a watched thing stands.
type Level uint8

// Levels, best to worst after NotWatched. The words on the screen are: not watched,
// holding, sagging (warn), lowest seen, below the line (hold), stop.
//
// LowestSeen is a question, not a verdict: one sample stood beyond the hold or stop
// limit for longer than the debounce time, because the next one has not come yet. From
// a feed that slow the inrush of a motor cannot be told from a sag. No step begins on
// it, a movement under way is not stopped by it, and the person is asked to look at the
// meter.
const (
	NotWatched Level = iota
	Holding
	Warn
	LowestSeen
	Hold
	StopNow
)

const levels = int(StopNow) + 1

// judged are the levels that samples are beyond of, one after the other.
var judged = [...]Level{Warn, Hold, StopNow}

// String is the word for the screen.
func (l Level) String() string {
	return [...]string{"not watched", "holding", "sagging", "lowest seen", "below the line", "stop"}[l]
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
	from int64         // begin of the feed, or of the feed after a gap
	on   [levels]bool  // beyond the limit of this level, after debounce
	turn [levels]int64 // since when the samples say otherwise than on
	odd  [levels]bool  // the samples say otherwise than on
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
		m.on, m.odd = [levels]bool{}, [levels]bool{}
	}
	r := m.raw(s.Value)
	for _, l := range judged {
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
	for i := len(judged) - 1; i >= 0; i-- {
		l := judged[i]
		if m.on[l] {
			return l
		}
		// Beyond for the debounce time, but nothing came after to show that it stands
		// there still.
		if l >= Hold && m.odd[l] && m.raw(m.last.Value) >= l && now-m.turn[l] >= m.debounce() {
			return LowestSeen
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
