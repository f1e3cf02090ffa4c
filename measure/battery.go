package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// BatteryKind is a capture of battery voltage over time, of current, or of the
// voltage lost between two points of a wire.
const BatteryKind = "battery"

// Thresholds of the battery. Our choice unless a source stands beside them.
const (
	crankFall     = 1.0    // V: the starter pulls the voltage down by more than this
	crankShortest = 0.15   // s
	crankLongest  = 20.0   // s
	crankHz       = 50.0   // the sag of each compression (5-10 Hz) is then seen
	inrushHz      = 1000.0 // the inrush dip lasts 15-50 ms (standards.md 8.4, trade.md 7)
	inrushSeconds = 0.1    // debounce: a dip in inrush is not the same as sag (trade.md 7)
	mostVolts     = 36.0   // a 24 V system charges at 28-29 V (from memory); the rest is room
	deadVolts     = 7.0    // three dead cells of six leave 6.3 V (from memory)
	chargingVolts = 13.2   // above, something charges (trade.md 7: 13.7-14.7 V; smart charging may go lower)
	restRange     = 0.10   // V: a rested battery moves by less within the capture
	noisyVolts    = 0.25   // V: more noise than this is no battery
	shortWake     = 10.0   // s: awake for less, a module only looked round. Our choice
	sleepSteady   = 60.0   // s: asleep when the current is steady for this long
	parasiticLeap = 0.02   // A above the level asleep counts as awake
	dropSamples   = 50000  // of the recording that are looked at, spread over it
	dropCurrent   = 0.5    // share of the highest current under which a drop is read
	restVoltsSD   = 0.02   // V: rest is never complete (traits.go, battery.rested)
	unknownKelvin = 12.0   // sd of a battery temperature that nobody noted, around 20 degC
)

// batteryCapture measures the voltage, current and drop channels of a capture.
//
// Features (trade.md 7, standards.md 8.1-8.5):
//
//	battery.rested            V    median before any load, state off
//	battery.state_of_charge   %    BCI table with temperature compensation
//	battery.loaded_min        V    lowest one-second mean under a declared load
//	cranking.voltage_min      V    lowest 10 ms mean after the first 0.1 s of cranking
//	cranking.inrush_min       V    lowest 2 ms mean of the whole dip
//	battery.lowest_seen       V    lowest sample where the sampling is too slow for those
//	charging.voltage          V    median with the engine running
//	charging.ripple           V    peak to peak, noise taken off
//	charging.ripple_frequency Hz   of the six-pulse ripple
//	charging.diode_line       x    line at a sixth of that over the ripple line
//	battery.parasitic         A    current asleep
//	battery.sleep_time        s    from the start of the recording until asleep
//	circuit.voltage_drop      V    between two points while current flows
func batteryCapture(rec *trace.Recording, meta Meta) (Result, error) {
	g := &battery{sheet: newSheet(rec, meta)}
	if g.subject.Kind == "" {
		g.subject = evidence.WholeEngine
	}
	used := 0
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		g.channel, g.flags = ch.Name, nil
		switch meta.roleOf(ch, BatteryKind) {
		case RoleBattery, RoleVoltage, Supply:
			used++
			if g.ready(ch, "battery.rested") {
				g.voltage(rec, ch)
			}
		case RoleDrop, RoleGround:
			used++
			if g.ready(ch, "circuit.voltage_drop") {
				g.drop(ch)
			}
		case RoleCurrent:
			used++
			if g.ready(ch, "battery.parasitic") {
				g.parasitic(ch)
			}
		}
	}
	if used == 0 {
		return g.res, fmt.Errorf("no channel is a voltage or a current; map one column with as: %s, as: %s or as: %s, or give units", RoleBattery, RoleCurrent, RoleDrop)
	}
	g.res.Condition = g.cond
	return g.res, nil
}

// battery is the work on one capture.
type battery struct {
	*sheet
	clean []trace.Segment // of the channel that is being read, without missing samples
	sigma float64
	step  float64
}

// ready prepares a channel and refuses what cannot be read at all.
func (g *battery) ready(ch *trace.Channel, feature string) bool {
	if !(g.rate > 0) {
		g.refuse(feature, evidence.TooSlow, "the sample rate is not known", "give sample_rate or a time column")
		return false
	}
	var lost int
	g.clean, lost = finite(ch.Values, g.runs)
	if lost > 0 || len(g.runs) > 1 {
		g.flag(evidence.Gap)
		g.note(evidence.Gap, true, "%s: the recording has holes; what happened in them was not seen", ch.Name)
	}
	if len(g.clean) == 0 {
		g.refuse(feature, evidence.Gap, "the channel holds no values", "check the column mapping")
		return false
	}
	g.sigma, g.step = stepNoise(ch.Values, g.clean)
	return true
}

// means are block means of about the given length, with the sample each starts at.
func (g *battery) means(v signal, seconds float64) (m []float64, at []int, size int) {
	size = max(1, int(seconds*g.rate))
	for _, r := range g.clean {
		for i := r.First; i+size <= r.End; i += size {
			m, at = append(m, v.sum(i, i+size)/float64(size)), append(at, i)
		}
	}
	return m, at, size
}

// voltage reads one channel of battery voltage.
func (g *battery) voltage(rec *trace.Recording, ch *trace.Channel) {
	v := signal{v: ch.Values}
	m, at, size := g.means(v, 0.02)
	if len(m) < 3 {
		g.refuse("battery.rested", evidence.TooFewEvents, "the recording is too short", "record some seconds")
		return
	}
	level := stats.Median(m)
	if level < 0 {
		g.note(evidence.Inverted, false, "%s: the leads are swapped; the trace was turned over for measuring", ch.Name)
		g.flag(evidence.Inverted)
		v.down, m, level = true, scaledBy(m, -1), -level
	}
	fix := "check the channel, its unit and the probe's attenuation: battery plus against battery minus"
	switch {
	case level < 4 || level > 32 || level > 16.5 && level < 17.5:
		g.refuse("battery.rested", evidence.ScaleUnsure, fmt.Sprintf("a level of %.3g V is that of no vehicle battery", level), fix)
		return
	case slices.Max(m) > mostVolts:
		g.refuse("battery.rested", evidence.ScaleUnsure, fmt.Sprintf("it goes up to %.3g V, as no vehicle battery does", slices.Max(m)), fix)
		return
	case g.rate >= 1000 && g.sigma == 0 && allSame(v.v, g.clean):
		g.refuse("battery.rested", evidence.WrongChannel, "the trace is flat to the last digit", fix)
		return
	case g.sigma > noisyVolts*math.Max(1, level/12.6):
		g.refuse("battery.rested", evidence.WrongChannel, fmt.Sprintf("it jumps by %.2g V from sample to sample, as no battery does", g.sigma), fix)
		return
	}
	if level < deadVolts {
		g.flag(evidence.ScaleUnsure)
		g.note(evidence.ScaleUnsure, true, "%s: %.3g V is less than a 12 V battery with three dead cells: is this the battery, and is the probe's scale right? Check with a meter", ch.Name, level)
	}
	if ch.FullScale > 0 && level > 0.99*ch.FullScale {
		g.note(evidence.Clipped, true, "%s: the voltage is cut off at %.3g V", ch.Name, level)
		g.flag(evidence.Clipped)
	}
	// Half the blocks may be below: a dip of the starter is looked for against the
	// level before it.
	first, last, cranked := g.cranking(m, at, size)
	switch {
	case cranked:
		g.rested(m[:first], at, size, true)
		g.crank(v, at[first], at[last]+size)
		g.compressions(rec, ch)
		if after := m[min(len(m), last+1):]; len(after)*size > int(2*g.rate) && stats.Median(after[len(after)/2:]) > chargingVolts*scale24(level) {
			k := last + 1 + len(after)/2
			g.charging(v, m[k:], at[k:], size)
		}
	case g.rate < crankHz && slices.Max(m)-slices.Min(m) > crankFall*scale24(level):
		g.lowestSeen(v)
	case g.running(level):
		g.charging(v, m, at, size)
	case g.cond.State == evidence.Load || g.cond.State == evidence.KeyOn:
		g.loaded(v)
	default:
		g.rested(m, at, size, false)
	}
}

// scale24 is 2 for a 24 V system.
func scale24(level float64) float64 {
	if level > 17 {
		return 2
	}
	return 1
}

// running reports whether the engine runs, as declared or by the level.
func (g *battery) running(level float64) bool {
	switch g.cond.State {
	case evidence.Idle, evidence.Raised, evidence.Cruise, evidence.Load, evidence.Overrun, evidence.Snap:
		return level > chargingVolts*scale24(level) || g.cond.State != evidence.Load
	case evidence.Off, evidence.KeyOn, evidence.Cranking:
		return false
	}
	if level > chargingVolts*scale24(level) {
		g.note("", false, "%s: above %.1f V something charges: taken as engine running", g.channel, chargingVolts*scale24(level))
		return true
	}
	return false
}

// cranking finds the dip of the starter: blocks first..last.
func (g *battery) cranking(m []float64, at []int, size int) (first, last int, ok bool) {
	if g.rate < crankHz || len(m) < 8 {
		return 0, 0, false
	}
	lead := max(2, int(0.2*g.rate)/size)
	for i := lead; i < len(m); i++ {
		before := stats.Median(m[max(0, i-lead-5) : i-1])
		fall := crankFall * scale24(before)
		if before-m[i] < fall {
			continue
		}
		first = i
		for first > 1 && m[first-1] < before-0.3*fall {
			first--
		}
		last = i
		for j := i; j < len(m) && g.seconds(at[j])-g.seconds(at[i]) < crankLongest; j++ {
			if m[j] < before-0.5*fall {
				last = j
			} else if j-last > max(3, int(0.3*g.rate)/size) {
				break
			}
		}
		d := g.seconds(at[last]) + float64(size)/g.rate - g.seconds(at[first])
		if d >= crankShortest {
			return first, last, true
		}
		i = last + lead
	}
	return 0, 0, false
}

// rested emits rested voltage and state of charge of the blocks m.
func (g *battery) rested(m []float64, at []int, size int, beforeCrank bool) {
	if len(m) < 3 {
		if !beforeCrank {
			g.refuse("battery.rested", evidence.TooFewEvents, "the recording is too short", "record some seconds")
		}
		return
	}
	level := stats.Median(m)
	span := stats.Quantile(m, 0.95) - stats.Quantile(m, 0.05)
	fix := "everything off, doors closed, at least ten minutes after the last charge; record some seconds"
	switch {
	case span > restRange*scale24(level):
		g.refuse("battery.rested", evidence.ConditionUnsure, fmt.Sprintf("the voltage moves by %.2f V: loads switch, or it is not at rest", span), fix)
		return
	case level > 13.0*scale24(level):
		g.refuse("battery.rested", evidence.ConditionUnsure, fmt.Sprintf("%.2f V is above a full battery at rest: surface charge, or something charges", level), fix)
		return
	}
	var flags []evidence.Flag
	if g.cond.State != evidence.Off {
		flags = append(flags, evidence.ConditionUnsure)
		g.note(evidence.ConditionUnsure, false, "%s: rested voltage holds only with everything off for ten minutes or more; the capture does not say so", g.channel)
	}
	u := math.Hypot(spreadOf(m)/math.Sqrt(float64(len(m))), math.Max(g.step/math.Sqrt(12), 0.1*g.sigma))
	first, last := at[0], at[len(m)-1]+size-1
	if !g.emit("battery.rested", "V", level, u, len(m), first, last, flags...) {
		return
	}
	celsius, kelvin := 20.0, unknownKelvin
	text := "temperature not known, taken as 20 degC give or take 12"
	if t := g.companion(BatteryKind, RoleAmbient, g.subject); t != nil {
		if c := stats.Median(t.Values); !math.IsNaN(c) {
			celsius, kelvin, text = c, 2, fmt.Sprintf("at %.0f degC from channel %s", c, t.Name)
		}
	} else if g.meta.Known.HasTemperature {
		celsius, kelvin, text = g.meta.Known.Temperature, 2, fmt.Sprintf("at %.0f degC as given", g.meta.Known.Temperature)
	}
	each := level / scale24(level)
	soc := StateOfCharge(each, celsius)
	du := math.Sqrt(u*u+restVoltsSD*restVoltsSD+math.Pow(perDegree*kelvin, 2)) / scale24(level)
	// At the ends of the table the slope of its last row holds.
	slope := 25 / 0.20
	if lo, hi := StateOfCharge(each-0.05, celsius), StateOfCharge(each+0.05, celsius); hi > lo {
		slope = math.Max((hi-lo)/0.1, 60)
	}
	g.emit("battery.state_of_charge", "%", soc, slope*du, len(m), first, last, flags...)
	g.note("", false, "%s: state of charge by the table for flooded batteries (BCI), %s; AGM and EFB rest 0.1 to 0.2 V higher", g.channel, text)
}

// crank emits the lowest voltages of the dip, samples first..end-1.
func (g *battery) crank(v signal, first, end int) {
	if g.cond.State == "" {
		g.cond.State = evidence.Cranking
	}
	lowest := func(from int, seconds float64) (float64, int) {
		size := max(1, int(seconds*g.rate))
		low, at := math.Inf(1), from
		s, missing := 0.0, 0
		for i := from; i < end; i++ {
			if x := v.at(i); math.IsNaN(x) {
				missing++
			} else {
				s += x
			}
			if i >= from+size {
				if x := v.at(i - size); math.IsNaN(x) {
					missing--
				} else {
					s -= x
				}
			}
			if m := s / float64(size); i-from+1 >= size && missing == 0 && m < low {
				low, at = m, i-size+1
			}
		}
		return low, at
	}
	u := func(seconds float64) float64 {
		return math.Hypot(g.sigma/math.Sqrt(math.Max(1, seconds*g.rate)), math.Max(g.step/math.Sqrt(12), 0.3*g.sigma))
	}
	after := first + int(inrushSeconds*g.rate)
	if low, at := lowest(after, 0.01); !math.IsInf(low, 0) {
		g.emit("cranking.voltage_min", "V", low, u(0.01), 1, first, end-1)
		g.mark("cranking.voltage_min", 0, at, at, "%.2f V", low)
	}
	if g.rate >= inrushHz {
		if low, at := lowest(first, 0.002); !math.IsInf(low, 0) {
			g.emit("cranking.inrush_min", "V", low, u(0.002), 1, first, end-1)
			g.mark("cranking.inrush_min", 0, at, at, "%.2f V", low)
		}
		return
	}
	g.refuse("cranking.inrush_min", evidence.TooSlow, fmt.Sprintf("at %sS/s the dip of the inrush falls between samples", round3(g.rate)), "record at 1 kS/s or more")
	g.lowestSeen(v)
}

// lowestSeen emits the lowest sample where the sampling may have missed a lower one.
func (g *battery) lowestSeen(v signal) {
	low, at := math.Inf(1), 0
	for _, r := range g.clean {
		for i := r.First; i < r.End; i++ {
			if x := v.at(i); x < low {
				low, at = x, i
			}
		}
	}
	g.emit("battery.lowest_seen", "V", low, math.Max(g.sigma, g.step/math.Sqrt(12)), 1, at, at)
	g.note(evidence.TooSlow, false, "%s: lowest seen %.2f V, in samples %.3g s apart: it may have been lower between them", g.channel, low, 1/g.rate)
	if g.rate < crankHz {
		g.refuse("cranking.voltage_min", evidence.TooSlow, fmt.Sprintf("at %sS/s the sag of cranking falls between samples; %.2f V is only the lowest seen", round3(g.rate), low), "record at 1 kS/s or more")
	}
}

// loaded emits the lowest one-second mean under load.
func (g *battery) loaded(v signal) {
	m, at, size := g.means(v, 1)
	if len(m) == 0 {
		m, at, size = g.means(v, 1/g.rate)
	}
	k := 0
	for i, x := range m {
		if x < m[k] {
			k = i
		}
	}
	g.emit("battery.loaded_min", "V", m[k], math.Max(g.sigma/math.Sqrt(float64(size)), g.step/math.Sqrt(12)), len(m), at[k], at[k]+size-1)
	if g.rate < crankHz {
		g.lowestSeen(v)
	}
}

// drop emits what is lost between two points while current flows.
func (g *battery) drop(ch *trace.Channel) {
	cur := g.companion(BatteryKind, RoleCurrent, g.subject)
	v := ch.Values
	var x []float64
	first, last := -1, 0
	top := 0.0
	if cur != nil {
		for _, r := range g.clean {
			for i := r.First; i < r.End; i++ {
				if a := math.Abs(cur.Values[i]); a > top && !math.IsInf(a, 0) {
					top = a
				}
			}
		}
	}
	if cur == nil || !(top > 0) {
		g.refuse("circuit.voltage_drop", evidence.ConditionUnsure, "without the current nobody knows whether the wire was loaded: a bad wire without current loses nothing", "clamp the wire and record its current beside the drop")
		return
	}
	ci := make([]float64, 0, 1024)
	samples := 0
	for _, r := range g.clean {
		samples += r.End - r.First
	}
	stride := max(1, samples/dropSamples)
	for _, r := range g.clean {
		for i := r.First; i < r.End; i += stride {
			if a := math.Abs(cur.Values[i]); a >= dropCurrent*top {
				x, ci = append(x, v[i]), append(ci, a)
				if first < 0 {
					first = i
				}
				last = i
			}
		}
	}
	if len(x) < 3 {
		g.refuse("circuit.voltage_drop", evidence.TooFewEvents, "current flows in too few samples", "keep the load on for some seconds")
		return
	}
	mid, sd, se := middle(x)
	i := stats.Median(ci)
	u := math.Hypot(math.Max(se, sd/math.Sqrt(math.Min(float64(len(x)), 100))), g.step/math.Sqrt(12))
	if why, fix, flag := g.noDrop(v, cur, mid, u, i, top); why != "" {
		g.refuse("circuit.voltage_drop", flag, why, fix)
		return
	}
	if mid < -3*u {
		g.note(evidence.Inverted, false, "%s: the leads are swapped; the drop is given as it is lost along the current", ch.Name)
		g.flag(evidence.Inverted)
		mid = -mid
	}
	g.emit("circuit.voltage_drop", "V", mid, u, len(x), first, last)
	if cur.Unit.Dim == unit.Current && i > 0 {
		g.note("", false, "%s: %.0f mV at %.0f A, that is %.2f mohm", ch.Name, 1e3*mid, i, 1e3*mid/i)
	}
}

// Thresholds of a voltage drop, our choice.
const (
	dropNoise = 0.1   // V from sample to sample: half the smallest limit in use (trade.md 7: 0.2 V)
	leastOhm  = 10e-6 // no cable with its two ends has less
)

// noDrop says why what was recorded is no voltage lost along a wire; empty when it may
// be: mid is the drop under a current of i, with its standard uncertainty u.
func (g *battery) noDrop(v []float64, cur *trace.Channel, mid, u, i, top float64) (why, fix string, flag evidence.Flag) {
	const leads = "check the meter's leads, range and unit: one on each end of the wire"
	if allSame(v, g.clean) && len(v) > 20 {
		return "the trace is flat to the last digit", leads, evidence.WrongChannel
	}
	if g.sigma > dropNoise {
		return fmt.Sprintf("it jumps by %.2g V from sample to sample", g.sigma), leads, evidence.Noisy
	}
	var idle []float64
	for _, r := range g.clean {
		for k := r.First; k < r.End; k++ {
			if math.Abs(cur.Values[k]) < 0.1*top {
				idle = append(idle, v[k])
			}
		}
	}
	if off := stats.Median(idle); len(idle) > 20 && math.Abs(off) > math.Max(0.3*math.Abs(mid), 0.05+5*u) {
		return fmt.Sprintf("%.2f V are lost without current, %.2f V with it: this is not the drop of a wire", off, mid), leads, evidence.WrongChannel
	}
	if cur.Unit.Dim == unit.Current && math.Abs(mid)+2*u < leastOhm*i {
		return fmt.Sprintf("%.3g V at %.0f A would be less than any cable loses", mid, i), leads, evidence.ScaleUnsure
	}
	return "", "", ""
}

func allSame(v []float64, runs []trace.Segment) bool {
	for _, r := range runs {
		for i := r.First; i < r.End; i++ {
			if v[i] != v[runs[0].First] {
				return false
			}
		}
	}
	return true
}

func scaledBy(v []float64, by float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = by * x
	}
	return out
}
