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
	awake := -1
	peaks := 0
	for i, x := range m {
		if x > limit {
			if awake >= 0 && i-awake > 5 {
				peaks++
			}
			awake = i
		}
	}
	u := math.Hypot(spreadOf(tail)/math.Sqrt(float64(len(tail))), g.step/math.Sqrt(12))
	switch {
	case asleep > 1.5 || stats.Quantile(tail, 0.9)-stats.Quantile(tail, 0.1) > math.Max(parasiticLeap, 0.5*asleep) || len(m)-awake < steady:
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
		if peaks > 0 {
			g.note("", false, "%s: woke up again %d times before it slept for good", ch.Name, peaks)
		}
	} else {
		g.refuse("battery.sleep_time", "", "it was asleep from the start", "start the recording before locking")
	}
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
