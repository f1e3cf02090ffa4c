package proof

import (
	"errors"
	"fmt"
	"math"
)

// Around a stored moment, conditions count as similar within these bands: engine
// speed 375 rpm, load 20 percent, same warm-up state (40 CFR 86.010-2; that the
// limits are included is assumed).
const (
	SpeedBand = 375.0 // rpm
	LoadBand  = 20.0  // points or percent, see LoadWithin
)

// WarmFrom is the coolant temperature from which an engine counts as warm: 343 K
// in UN R83 annex 11, 160 F in 13 CCR 1968.2(c) (both from memory).
const WarmFrom = 70.0 // degC

// gearBand is how far road speed over engine speed may be off in one gear:
// neighbouring gears differ by some 25 % and more (from memory), a worn tyre and a
// speed in whole km/h by a few. Our choice.
const gearBand = 0.08

// LoadWithin says how "load within 20 percent" is read: the regulation does not
// say whether of the stored value or in points.
type LoadWithin string

// The two readings. Points is the wider one for every load below 100 %.
const (
	Relative LoadWithin = "20 % of the stored load"
	Points   LoadWithin = "20 points of load"
)

// Warmth is the warm-up state the regulation knows.
type Warmth string

// Warm-up states; empty: the fault does not ask for one, or it is not known.
const (
	Cold Warmth = "cold"
	Warm Warmth = "warm"
)

// Conditions are the fault conditions: in which the fault showed. Limits are
// included.
type Conditions struct {
	RPMLow, RPMHigh   float64
	LoadLow, LoadHigh float64 // percent
	Warm              Warmth
	// KmhPer1000 is the road speed at 1000 rpm in the gear of the fault; 0: the gear
	// is not checked.
	KmhPer1000 float64
}

// Around gives the conditions similar to a stored moment.
func Around(rpm, loadPct float64, how LoadWithin) Conditions {
	band := LoadBand
	if how == Relative {
		band = LoadBand / 100 * loadPct
	}
	return Conditions{
		RPMLow: max(0, rpm-SpeedBand), RPMHigh: rpm + SpeedBand,
		LoadLow: max(0, loadPct-band), LoadHigh: max(loadPct, min(100, loadPct+band)),
	}
}

// Check says what is wrong with conditions, nil when they can be used.
func (c Conditions) Check() error {
	for _, v := range []float64{c.RPMLow, c.RPMHigh, c.LoadLow, c.LoadHigh, c.KmhPer1000} {
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			return errors.New("the fault conditions hold a value that is no number from 0 up")
		}
	}
	switch {
	case c.RPMHigh == 0 || c.LoadHigh == 0:
		return errors.New("nobody has said in which engine speed and load it showed, and there is no freeze frame")
	case !(c.RPMHigh > c.RPMLow):
		return fmt.Errorf("engine speed from %.0f to %.0f rpm is no range", c.RPMLow, c.RPMHigh)
	case !(c.LoadHigh > c.LoadLow):
		return fmt.Errorf("load from %.0f to %.0f %% is no range", c.LoadLow, c.LoadHigh)
	}
	return nil
}

// String writes the conditions as a person would.
func (c Conditions) String() string {
	s := fmt.Sprintf("%.0f to %.0f rpm, load %.0f to %.0f %%", c.RPMLow, c.RPMHigh, c.LoadLow, c.LoadHigh)
	if c.KmhPer1000 > 0 {
		s += fmt.Sprintf(", %.1f km/h at 1000 rpm", c.KmhPer1000)
	}
	if c.Warm != "" {
		s += ", " + string(c.Warm)
	}
	return s
}

// Reason is why a moment lies outside the fault conditions.
type Reason string

// Reasons, in the order in which they are looked for. Inside: none.
const (
	Inside      Reason = ""
	NotLogged   Reason = "nothing was logged, or not engine speed and load together"
	WarmUnknown Reason = "the warm-up state is not known"
	OtherWarmth Reason = "other warm-up state"
	TooLowRPM   Reason = "engine speed below"
	TooHighRPM  Reason = "engine speed above"
	TooLowLoad  Reason = "load below"
	TooHighLoad Reason = "load above"
	OtherGear   Reason = "other gear"
	AtTheEdge   Reason = "between a moment inside and one outside" // see Exposure
)

// Moment is one moment of a log; NaN where a value is not known.
type Moment struct {
	RPM, LoadPct, CoolantC, Kmh float64
	// Warm is the state said for the whole log, used where no temperature is logged.
	Warm Warmth
}

// Misses says why a moment is outside the conditions, Inside when it is not. A
// gear cannot be checked without road speed: the moment then counts.
func (c Conditions) Misses(m Moment) Reason {
	const tiny = 1e-9
	warm := m.Warm
	if !math.IsNaN(m.CoolantC) {
		if warm = Cold; m.CoolantC >= WarmFrom {
			warm = Warm
		}
	}
	switch {
	case math.IsNaN(m.RPM) || math.IsNaN(m.LoadPct):
		return NotLogged
	case m.RPM < c.RPMLow-tiny:
		return TooLowRPM
	case m.RPM > c.RPMHigh+tiny:
		return TooHighRPM
	case m.LoadPct < c.LoadLow-tiny:
		return TooLowLoad
	case m.LoadPct > c.LoadHigh+tiny:
		return TooHighLoad
	case c.Warm != "" && warm == "":
		return WarmUnknown
	case c.Warm != "" && warm != c.Warm:
		return OtherWarmth
	case c.KmhPer1000 > 0 && !math.IsNaN(m.Kmh) && math.Abs(1000*m.Kmh/m.RPM-c.KmhPer1000) > gearBand*c.KmhPer1000:
		return OtherGear
	}
	return Inside
}
