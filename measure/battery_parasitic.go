package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// parasitic emits the current asleep and the time until then, from current over
// time with everything off. It is not looked for in a capture of another state.
func (g *battery) parasitic(ch *trace.Channel) {
	if g.cond.State != evidence.Off {
		if g.hasVoltage() || g.cond.State != "" {
			return // the current only goes with a voltage here
		}
		g.refuse("battery.parasitic", evidence.ConditionUnsure, "the capture does not say that everything was off", "write condition: off if it was")
		return
	}
	if ch.Unit.Dim != unit.Current {
		g.refuse("battery.parasitic", evidence.NotCalibrated, fmt.Sprintf("%s is in %s, not in ampere", ch.Name, orNothing(ch.Unit.Symbol)), "give the clamp's scale")
		return
	}
	if allSame(ch.Values, g.clean) {
		g.refuse("battery.parasitic", evidence.WrongChannel, "the trace is flat to the last digit", "check the clamp and its channel")
		return
	}
	m, at, size := g.means(signal{v: ch.Values}, math.Max(1, 1/g.rate))
	span := float64(len(m)*size) / g.rate
	if span < 2*sleepSteady {
		g.refuse("battery.parasitic", evidence.TooFewEvents, fmt.Sprintf("the recording of %.0f s is too short: modules take 5 to 75 minutes to sleep", span), "record an hour, doors latched, key away")
		return
	}
	for i := range m {
		m[i] = math.Abs(m[i])
	}
	steady := max(3, int(sleepSteady*g.rate)/size)
	tail := m[len(m)-steady:]
	asleep := stats.Median(tail)
	limit := asleep + math.Max(parasiticLeap, 0.5*asleep)
	awake, wakes, longest := lastAwake(m, limit, max(5, int(shortWake*g.rate)/size))
	// A median of normal noise errs by sqrt(pi/2) of what a mean does.
	u := math.Hypot(math.Sqrt(math.Pi/2)*spreadOf(tail)/math.Sqrt(float64(len(tail))), g.step/math.Sqrt(12))
	switch {
	case asleep > 1.5 || stats.Quantile(tail, 0.9)-stats.Quantile(tail, 0.1) > math.Max(parasiticLeap, 0.5*asleep) || len(m)-lastOver(m, limit) < steady:
		g.refuse("battery.parasitic", evidence.ConditionUnsure, fmt.Sprintf("the current is not steady for the last %.0f s (%.3g A): modules are still awake", sleepSteady, asleep), "wait longer: 5 to 75 minutes by model; doors latched, key away")
		return
	case u > 0.5*asleep && u > 5e-3:
		g.refuse("battery.parasitic", evidence.Noisy, fmt.Sprintf("the clamp's noise of %.0f mA hides the current", 1e3*u), "use a meter or a milliampere clamp, zeroed")
		return
	}
	if !g.emit("battery.parasitic", "A", asleep, u, len(tail), at[len(m)-steady], at[len(m)-1]+size-1) {
		return
	}
	if awake >= 0 {
		g.emit("battery.sleep_time", "s", g.seconds(at[awake])+float64(size)/g.rate-g.seconds(at[0]), float64(size)/g.rate/math.Sqrt(12), 1, at[0], at[awake])
	} else if wakes == 0 {
		g.refuse("battery.sleep_time", "", "it was asleep from the start", "start the recording before locking")
	}
	if wakes > 0 {
		g.note("", false, "%s: once asleep it woke up %s, for %.0f s at most: the reading is the current between", ch.Name, plural(wakes, "once", "%d times"), float64(longest*size)/g.rate)
	}
}

// lastAwake is the last value of the last long stretch over the limit, -1 without one,
// and how many short ones follow it, once asleep, with the longest of them: modules wake
// up now and then for a moment. Stretches that begin within a short one's length of each
// other are one.
func lastAwake(m []float64, limit float64, short int) (last, wakes, longest int) {
	last = -1
	first, end := -1, -1
	flush := func() {
		switch n := end - first + 1; {
		case first < 0:
		case n > short || last < 0 && first <= short: // awake from the start
			last, wakes, longest = end, 0, 0
		default:
			wakes, longest = wakes+1, max(longest, n)
		}
	}
	for i, x := range m {
		if x <= limit {
			continue
		}
		if first < 0 || i-end > short {
			flush()
			first = i
		}
		end = i
	}
	flush()
	return last, wakes, longest
}

// lastOver is the last value over the limit, -1 without one.
func lastOver(m []float64, limit float64) int {
	for i := len(m) - 1; i >= 0; i-- {
		if m[i] > limit {
			return i
		}
	}
	return -1
}

func (g *battery) hasVoltage() bool {
	return hasRole(g.rec, g.meta, BatteryKind, RoleBattery, RoleVoltage, Supply, RoleDrop, RoleGround)
}

// looksLikeBattery tries a recording as battery voltage: only when a channel is
// named or declared so, since many things rest near twelve volts.
func looksLikeBattery(rec *trace.Recording, meta Meta) (bool, string) {
	if !hasRole(rec, meta, BatteryKind, RoleBattery) {
		return false, ""
	}
	res, err := batteryCapture(rec, meta)
	if err != nil || len(res.Readings) == 0 {
		return false, ""
	}
	return true, "channel " + res.Readings[0].From.Channel + " is named as battery voltage"
}
