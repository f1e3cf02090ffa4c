package sim

import "math"

// Voltage is the secondary voltage of the spark, t seconds after turn-off
// (negative before), as magnitude: the firing line points up, the turn-on ring
// down. Volt.
func (s *Spark) Voltage(t float64) float64 {
	switch {
	case t < -s.Dwell:
		return 0
	case t < 0:
		// Turn-on: the battery step times the turns ratio, ringing with the winding
		// and sinking as the current builds up.
		u := t + s.Dwell
		level := 0.55 * s.turnOn * math.Exp(-u/1.6e-3)
		return -level - 0.6*s.turnOn*math.Exp(-u/110e-6)*math.Cos(2*math.Pi*14e3*u)
	case t < s.riseSeconds:
		// Corona and the time the gap takes to break down round the top off.
		return s.Peak * math.Sin(math.Pi/2*t/s.riseSeconds)
	}
	t -= s.riseSeconds
	if s.Arced {
		if i := int(t / lineStep); i < len(s.line) {
			// The step from peak to arc is over in nanoseconds; what a trace shows is a
			// short ring of the leads.
			return s.line[i] + 0.15*s.Peak*math.Exp(-t/1.5e-6)
		}
		t -= float64(len(s.line)) * lineStep
	}
	return s.ringAmp * math.Exp(-s.ringDecay*t) * math.Sin(2*math.Pi*s.ringHz*t+s.ringPhase)
}

// Tail is how long after turn-off the trace is still moving, s.
func (s *Spark) Tail() float64 { return s.riseSeconds + s.Burn + 3/max(s.ringDecay, 1) }
