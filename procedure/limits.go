package procedure

import (
	"fmt"
	"math"

	"proveout/unit"
)

func errDim(s string, got, want unit.Dimension) error {
	return fmt.Errorf("%q is a %s, not a %s", s, got, want)
}

// watchLimits parses and orders the limits of a watch.
func watchLimits(w Watch) (Limits, error) {
	var l Limits
	dim := unit.Dimension("")
	for _, x := range []struct {
		name string
		s    string
		to   *float64
	}{
		{"start", w.Start, &l.Start}, {"warn", w.Warn, &l.Warn}, {"hold", w.Hold, &l.Hold}, {"stop", w.Stop, &l.Stop},
		{"warn_high", w.WarnHigh, &l.WarnHigh}, {"hold_high", w.HoldHigh, &l.HoldHigh}, {"stop_high", w.StopHigh, &l.StopHigh},
	} {
		v, err := orNaN(x.s, dim, &l.Unit)
		if err != nil {
			return l, fmt.Errorf("%s: %w", x.name, err)
		}
		if l.Unit.Symbol != "" {
			dim = l.Unit.Dim
		}
		*x.to = v
	}
	if math.IsNaN(l.Stop) && math.IsNaN(l.StopHigh) {
		return l, fmt.Errorf("neither stop nor stop_high is given")
	}
	low := []float64{l.Stop, l.Hold, l.Warn, l.Start}
	high := []float64{l.Start, l.WarnHigh, l.HoldHigh, l.StopHigh}
	if !ascending(low) || !ascending(high) {
		return l, fmt.Errorf("limits must stand in the order stop, hold, warn, start, then warn_high, hold_high, stop_high")
	}
	if !math.IsNaN(l.Stop) && (math.IsNaN(l.Hold) || math.IsNaN(l.Warn)) || !math.IsNaN(l.StopHigh) && math.IsNaN(l.HoldHigh) {
		return l, fmt.Errorf("a stop limit needs its hold and warn limits before it")
	}
	for _, x := range []struct {
		name string
		s    string
		to   *float64
		need bool
	}{{"debounce", w.Debounce, &l.Debounce, true}, {"max_age", w.MaxAge, &l.MaxAge, true}, {"typed_max_age", w.TypedMaxAge, &l.TypedMaxAge, w.TypedGate}} {
		if x.s == "" {
			if x.need {
				return l, fmt.Errorf("%s is not given", x.name)
			}
			continue
		}
		v, err := seconds(x.s)
		if err != nil {
			return l, fmt.Errorf("%s: %w", x.name, err)
		}
		*x.to = v
	}
	r, err := orNaN(w.Rate, unit.Frequency, nil)
	if err != nil {
		return l, fmt.Errorf("rate: %w", err)
	}
	if math.IsNaN(r) || r <= 0 {
		return l, fmt.Errorf("rate is not given: write the least sample rate, for example \"5 Hz\"")
	}
	l.RateHz = r
	if l.MaxAge <= 0 || l.MaxAge*r < 1 {
		return l, fmt.Errorf("max_age %s is shorter than one sample at %s", w.MaxAge, w.Rate)
	}
	return l, nil
}

func ascending(xs []float64) bool {
	last := math.Inf(-1)
	for _, x := range xs {
		if math.IsNaN(x) {
			continue
		}
		if x < last {
			return false
		}
		last = x
	}
	return true
}

// LimitsOf gives the limits of a means of confirmation in SI, nil where there is
// none. The file was checked at load, so a limit that does not parse has none.
func LimitsOf(mean Mean) (atLeast, atMost *float64) {
	read := func(s string) *float64 {
		q, err := unit.ParseQuantity(s)
		if s == "" || err != nil {
			return nil
		}
		return &q.SI
	}
	return read(mean.AtLeast), read(mean.AtMost)
}
