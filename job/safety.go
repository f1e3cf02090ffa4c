package job

import "fmt"

// SafetyLimit is a limit of safety a shop may make stricter. Usual is the
// program's own; a setting lies from From to To, so that none can be loosened.
type SafetyLimit struct {
	ID, Unit        string
	Usual, From, To float64
}

// SafetyLimits lists them, each above the one after it. The usual figures are those of the shipped procedures'
// own watches, with their sources there; the upper bounds are our choice: beyond
// them a healthy battery on a charger would never pass.
var SafetyLimits = []SafetyLimit{
	{"supply_warn_v", "V", 12.2, 12.2, 13.0},
	{"supply_hold_v", "V", 12.0, 12.0, 12.6},
	{"supply_stop_v", "V", 11.5, 11.5, 12.2},
}

// MaxAccessMinutes is the most a way in may be set to take (our choice: two days).
const MaxAccessMinutes = 1000

// Check holds settings to their bounds.
func (s *Settings) Check() error {
	if s.Units != "" && s.Units != "si" && s.Units != "us" {
		return fmt.Errorf("units: write si or us")
	}
	for id, m := range s.AccessMinutes {
		if !(m >= 0 && m <= MaxAccessMinutes) {
			return fmt.Errorf("access_minutes.%s: %g min; write 0 to %d", id, m, MaxAccessMinutes)
		}
	}
	for id, v := range s.Thresholds {
		known := false
		for _, l := range SafetyLimits {
			if l.ID != id {
				continue
			}
			known = true
			if !(v >= l.From && v <= l.To) {
				return fmt.Errorf("thresholds.%s: %g %s; write %g to %g %s: a limit of safety may be made stricter, never looser", id, v, l.Unit, l.From, l.To, l.Unit)
			}
		}
		if !known {
			return fmt.Errorf("thresholds.%s is no limit a shop sets", id)
		}
	}
	return s.checkOrder()
}

// checkOrder keeps stop from lying above hold and hold above the warning, each as the shop
// set it or as it usually is: the other way round a watch would stop before it ever held.
func (s *Settings) checkOrder() error {
	for i := 1; i < len(SafetyLimits); i++ {
		higher, lower := SafetyLimits[i-1], SafetyLimits[i]
		if high, low := s.limit(higher), s.limit(lower); low > high {
			return fmt.Errorf("thresholds.%s: %g %s is above %s, %g %s; set it lower, or the other one higher", lower.ID, low, lower.Unit, higher.ID, high, higher.Unit)
		}
	}
	return nil
}

// limit is a limit as the shop set it, else as it usually is.
func (s *Settings) limit(l SafetyLimit) float64 {
	if v, ok := s.Thresholds[l.ID]; ok {
		return v
	}
	return l.Usual
}
