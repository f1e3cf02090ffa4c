package reason

import (
	"math"
	"slices"

	"proveout/book"
	"proveout/evidence"
)

// covered is how much of fault f a test sees under the condition in which it
// was done: 1 when the fault would have shown as the book's row says, 0 when it
// could not have shown at all. The likelihood is then
//
//	covered * L_fault + (1 - covered) * L_healthy.
//
// A static test looks at the part itself and sees everything. Otherwise the
// operating state, speed and load within it, the warm-up state and wetness each take
// their share; several
// conditions that were not written down are weakened once.
func (m *model) covered(f *book.Fault, t *book.Test, at evidence.Condition, unsure, off bool, c *Case) float64 {
	if t.Static {
		return 1
	}
	l := &m.limits
	cover, unknown := 1.0, unsure
	inState := func(ok bool) {
		if ok {
			return
		}
		if n, named := f.Shows[string(at.State)]; named {
			cover *= n.Value
			return
		}
		cover *= m.setting(func(s *book.Settings) book.Num { return s.CoverageState }, l.CoverageState)
	}
	switch {
	case at.State == evidence.StateUnknown:
		unknown = unknown || len(t.At) > 0
	case len(t.At) > 0:
		inState(slices.Contains(t.At, string(at.State)))
	case len(c.States) > 0:
		inState(slices.Contains(c.States, at.State))
	}
	if off && (at.State == evidence.StateUnknown || slices.Contains(c.States, at.State)) {
		inState(false) // another state is weakened once: its speed and load go with it
	}
	warm := c.Complaint.Warm
	if f.Only == "hot" || f.Only == "cold" {
		warm = f.Only
	}
	if warm != "" {
		switch at.Warm {
		case warm:
		case "":
			unknown = unknown || warm != "warm" // most tests are done on a warm engine (our choice)
		case "hot":
			if warm == "warm" { // heat-soaked is warm too
				break
			}
			fallthrough
		default:
			if f.Only == warm {
				return 0
			}
			cover *= m.setting(func(s *book.Settings) book.Num { return s.CoverageWarm }, l.CoverageWarm)
		}
	}
	if f.Only == "wet" || isWet(c.Complaint.Wet) {
		switch {
		case isWet(at.Wet):
		case at.Wet == "":
			unknown = true
		case f.Only == "wet":
			return 0
		default:
			cover *= m.setting(func(s *book.Settings) book.Num { return s.CoverageWet }, l.CoverageWet)
		}
	}
	if unknown {
		cover *= m.setting(func(s *book.Settings) book.Num { return s.CoverageUnknown }, l.CoverageUnknown)
	}
	return min(max(cover, 0), 1)
}

func isWet(s string) bool { return s == "wet" || s == "damp" }

// Window is the engine speeds (rpm) and loads (percent) in which the complaint shows, as
// far as they were said; 0 = not said.
type Window struct {
	RPMLow, RPMHigh, LoadLow, LoadHigh float64
}

// Similar conditions are within 375 rpm and 20 points of load: 40 CFR 86.010-2.
const (
	similarRPM  = 375.0
	similarLoad = 20.0
)

// misses reports whether a condition is known to lie outside the window.
func (w Window) misses(at evidence.Condition) bool {
	out := func(v, low, high, within float64) bool {
		return v > 0 && high > 0 && (v < low-within || v > math.Max(high, low)+within)
	}
	return out(at.SpeedRPM, w.RPMLow, w.RPMHigh, similarRPM) || out(at.LoadPct, w.LoadLow, w.LoadHigh, similarLoad)
}
