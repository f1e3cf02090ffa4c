package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// FuelPressureKind is a capture of fuel pressure over time, of pump current, or both.
const FuelPressureKind = "fuel_pressure"

// Thresholds of fuel pressure. Our choice unless a source stands beside them.
const (
	noisyPressure = 0.10  // of the level: more noise from sample to sample is no gauge
	steadyShare   = 0.05  // of the level: what an idle pressure may move between its 5 and 95 % points
	highestPort   = 1.2e6 // Pa: a port rail runs at 300-425 kPa (trade.md 2.5)
	restSettle    = 5.0   // s after the pump stops: the check valve closes
	kneeFall      = 0.003 // of the pressure: what it may have lost when the pump's stop is seen
	restMinute    = 60.0  // s: loss in one minute, 34 kPa at most (trade.md 2.5 [S31])
	restFive      = 300.0 // s: loss in five minutes, 55 kPa at most (trade.md 2.5 [S32])
	leastDrop     = 6e3   // Pa: smallest drop of a timed pulse that is one
	dropWithin    = 1.5   // s: a timed pulse is over by then
	dropLevel     = 0.25  // s of steady pressure on each side
	rises         = 5e3   // Pa: a rise of rest pressure that means the pump ran again
	risesInOne    = 1e3   // Pa: what a rail at rest may be higher by after a minute (our choice)
	slowestRest   = 0.2   // samples a second
	leastRunning  = 30e3  // Pa: with less no injector feeds a running engine
)

// fuelCapture measures pressure and pump current.
//
// Features (trade.md 2.5; injector balance 2.4):
//
//	fuel.pressure_idle      Pa   median, state idle
//	fuel.pressure_load      Pa   median, state load or cruise
//	fuel.rest_loss_minute   Pa   lost in the minute that begins 5 s after the pump stops
//	fuel.rest_loss          Pa   the same in five minutes
//	injector.balance_drop   Pa   one timed pulse, for each cylinder in the order given
//	fuel.pump_current       A    median
//	fuel.pump_speed         rpm  from the commutator humps
//	fuel.pump_hump          x    smallest hump of a turn over the others: low is a worn segment
func fuelCapture(rec *trace.Recording, meta Meta) (Result, error) {
	g := &fuel{battery: &battery{sheet: newSheet(rec, meta)}}
	used := 0
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		g.channel, g.flags = ch.Name, nil
		switch meta.roleOf(ch, FuelPressureKind) {
		case RolePressure:
			used++
			if g.ready(ch, g.main()) {
				g.pressure(ch)
			}
		case RoleCurrent:
			used++
			was := g.subject
			g.subject = evidence.WholeEngine
			if g.ready(ch, "fuel.pump_current") {
				g.pump(ch)
			}
			g.subject = was
		}
	}
	if used == 0 {
		return g.res, fmt.Errorf("no channel is a pressure or a current; map one column with as: %s or as: %s, or give units", RolePressure, RoleCurrent)
	}
	g.res.Condition = g.cond
	return g.res, nil
}

// fuel is the work on one capture; it shares cleaning and block means with battery.
type fuel struct{ *battery }

// main is the feature the capture is about, for refusals.
func (g *fuel) main() string {
	switch g.cond.State {
	case evidence.Load, evidence.Cruise, evidence.Raised, evidence.Snap:
		return "fuel.pressure_load"
	case evidence.Off, evidence.KeyOn:
		return "fuel.rest_loss"
	}
	return "fuel.pressure_idle"
}

func (g *fuel) pressure(ch *trace.Channel) {
	v := ch.Values
	feature := g.main()
	level := stats.Median(thinned(v, g.clean))
	fix := "check the channel, its unit and the transducer's scale; gauge zeroed, on the rail"
	top := highestRail(g.meta.Engine.Injection)
	switch {
	case !(level > 1e3) || level > top:
		g.refuse(feature, evidence.ScaleUnsure, fmt.Sprintf("a level of %.4g kPa is that of no such rail", level/1e3), fix)
		return
	case g.sigma > noisyPressure*level:
		g.refuse(feature, evidence.WrongChannel, fmt.Sprintf("it jumps by %.3g kPa from sample to sample, as no pressure does", g.sigma/1e3), fix)
		return
	case allSame(v, g.clean) && g.rate*float64(len(v)) > 0 && len(v) > 20:
		g.refuse(feature, evidence.WrongChannel, "the trace is flat to the last digit", fix)
		return
	}
	if s := g.cond.State; level < leastRunning && (s == evidence.Idle || feature == "fuel.pressure_load") {
		g.refuse(feature, evidence.ScaleUnsure, fmt.Sprintf("no engine runs on %.3g kPa at the rail", level/1e3), "check the channel, its unit and the transducer's scale; if the engine does not run, write condition: key_on or cranking")
		return
	}
	if ch.FullScale > 0 && level > 0.99*ch.FullScale {
		g.flag(evidence.Clipped)
		g.note(evidence.Clipped, true, "%s: the pressure is cut off at %.4g kPa", ch.Name, level/1e3)
	}
	if s := g.cond.State; s == evidence.Idle || feature == "fuel.pressure_load" {
		if g.subject.Kind == "" {
			g.subject = evidence.WholeEngine
		}
		g.level(v, feature)
		return
	}
	if drops := g.drops(v); len(drops) > 0 && (len(drops) > 1 || g.subject.Kind == evidence.Cylinder) {
		g.balance(drops)
		return
	}
	if g.subject.Kind == "" {
		g.subject = evidence.WholeEngine
	}
	if g.cond.State == "" && float64(len(v))/g.rate < restMinute {
		g.refuse(feature, evidence.ConditionUnsure, "the capture does not say whether it was taken at idle, under load or at rest", "write condition: idle, load, key_on or off")
		return
	}
	g.rest(v)
}

// highestRail is the highest pressure a rail of the kind can have.
func highestRail(i vehicle.Injection) float64 {
	if i == vehicle.Port {
		return highestPort
	}
	return 50e6
}

// level emits the median of a running engine's pressure.
func (g *fuel) level(v []float64, feature string) {
	m, at, size := g.means(signal{v: v}, 0.1)
	if len(m) < 5 {
		g.refuse(feature, evidence.TooFewEvents, "the recording is too short", "record five seconds or more")
		return
	}
	mid := stats.Median(m)
	span := stats.Quantile(m, 0.95) - stats.Quantile(m, 0.05)
	var flags []evidence.Flag
	if feature == "fuel.pressure_idle" && span > steadyShare*mid {
		flags = append(flags, evidence.ConditionUnsure)
		g.note(evidence.ConditionUnsure, true, "%s: the pressure moves by %.0f kPa; an idle is steady", g.channel, span/1e3)
	}
	n := math.Max(1, math.Min(float64(len(m)), float64(len(m)*size)/g.rate))
	g.emit(feature, "Pa", mid, math.Sqrt(math.Pow(spreadOf(m), 2)/n+g.step*g.step/12), len(m), at[0], at[len(m)-1]+size-1, flags...)
	if low := stats.Quantile(m, 0.02); mid-low > 0.1*mid {
		g.note("", true, "%s: it falls to %.0f kPa, %s below its median", g.channel, low/1e3, percent(1-low/mid))
	}
}

// rest emits what the rail loses after the pump stops.
func (g *fuel) rest(v []float64) {
	const feature = "fuel.rest_loss_minute"
	if g.rate < slowestRest {
		g.refuse(feature, evidence.TooSlow, fmt.Sprintf("one sample every %.0f s does not show a minute", 1/g.rate), "log once a second or more often, and check the unit of the time column")
		return
	}
	m, at, size := g.means(signal{v: v}, 0.5)
	if len(m) < 5 {
		g.refuse(feature, evidence.TooFewEvents, "the recording is too short", "record six minutes after the pump stops")
		return
	}
	top := stats.Quantile(m, 0.995)
	k := 0
	for i, x := range m {
		if x > top-math.Max(kneeFall*top, 4*g.sigma/math.Sqrt(float64(size))) {
			k = i
		}
	}
	// A plateau at the end is the pump running, not a rail at rest.
	start := g.seconds(at[k]) + restSettle
	find := func(t float64) (float64, int, bool) {
		for i := range m {
			if g.seconds(at[i]) >= t {
				a, b := max(0, i-1), min(len(m), i+2)
				return stats.Median(m[a:b]), i, true
			}
		}
		return 0, 0, false
	}
	// A rail that holds shows no end of the pump: where everything is said to be off, it
	// rests from the start of the recording.
	if span := g.seconds(at[len(at)-1]) - g.seconds(at[0]); g.cond.State == evidence.Off && g.seconds(at[k])+restSettle+restMinute > g.seconds(at[len(at)-1]) &&
		span > restMinute+restSettle && stats.Quantile(m, 0.005) > (1-kneeFall)*top-4*g.sigma {
		start = g.seconds(at[0]) + restSettle
		g.note("", false, "%s: the pressure does not fall; that it rests is taken from the condition: with the pump still running this would say nothing", g.channel)
	}
	p0, i0, ok := find(start)
	p1, i1, ok1 := find(start + restMinute)
	if !ok || !ok1 {
		g.refuse(feature, evidence.TooFewEvents, fmt.Sprintf("less than a minute lies after the pressure began to fall (%.0f s into the recording)", g.seconds(at[k])), "record six minutes after the pump stops")
		return
	}
	up := 0.0
	low := p0
	end := i1
	if _, i5, ok := find(start + restFive); ok {
		end = i5
	}
	for _, x := range m[i0 : end+1] {
		low = math.Min(low, x)
		up = math.Max(up, x-low)
	}
	if up > math.Max(rises, 0.03*p0) {
		g.refuse(feature, evidence.ConditionUnsure, fmt.Sprintf("the pressure rises again by %.0f kPa: the pump ran, or heat soaks in", up/1e3), "key off, do not open the door, record again")
		return
	}
	noise := math.Hypot(g.sigma/math.Sqrt(float64(3*size))*1.5, g.step/math.Sqrt(12))
	if fell, at := strokeIn(m[i0:end+1], math.Hypot(noise, g.sigma/math.Sqrt(float64(size)))); fell > 0 {
		g.refuse(feature, evidence.ConditionUnsure, fmt.Sprintf("%.0f s after the pump stopped the pressure falls by %.1f kPa at one stroke, as no leak does: an injector opened, or a stretch of the recording is missing", float64(at*size)/g.rate+restSettle, fell/1e3), "key off, touch nothing, record in one go")
		return
	}
	slope := math.Abs(p1-p0) / restMinute
	u := math.Hypot(math.Sqrt2*noise, slope*1.0)
	if p1-p0 > math.Max(3*u, risesInOne) {
		g.refuse(feature, evidence.ConditionUnsure, fmt.Sprintf("a minute later the pressure is higher by %.1f kPa: heat soaks in and hides what is lost, or this is no rail pressure", (p1-p0)/1e3), "let it cool until the pressure no longer rises, key off, and check the column")
		return
	}
	g.emit(feature, "Pa", p0-p1, u, i1-i0, at[i0], at[i1])
	if p5, i5, ok := find(start + restFive); ok {
		g.emit("fuel.rest_loss", "Pa", p0-p5, math.Hypot(u, kneeFall*(p0-p5)), i5-i0, at[i0], at[i5])
	} else {
		g.refuse("fuel.rest_loss", evidence.TooFewEvents, "less than five minutes were recorded after the pump stopped", "record six minutes after the pump stops")
	}
}

// strokeIn looks for a fall between one mean and the next that its neighbours do not
// have: of four means on four, against those eight before and after. sd is the noise of
// one mean. 0 without one.
func strokeIn(m []float64, sd float64) (fell float64, at int) {
	const w = 4
	d := make([]float64, max(0, len(m)-2*w+1))
	for i := range d {
		d[i] = stat.Mean(m[i:i+w], nil) - stat.Mean(m[i+w:i+2*w], nil)
	}
	least := math.Max(1.5e3, 8*math.Sqrt(3.0/w)*sd) // a difference of means, less two halves of such
	for i := 2 * w; i+2*w < len(d); i++ {
		if x := d[i] - (d[i-2*w]+d[i+2*w])/2; x > least && x > fell {
			fell, at = x, i+w
		}
	}
	return fell, at
}

// fall is one drop of rail pressure by a timed pulse.
type fall struct {
	first, last int
	size, sd    float64
}

// drops finds falls between two steady levels.
func (g *fuel) drops(v []float64) []fall {
	m, at, size := g.means(signal{v: v}, 0.025)
	if g.rate < 40 || len(m) < 20 {
		return nil
	}
	dt := float64(size) / g.rate
	w := max(3, int(dropLevel/dt))
	reach := max(1, int(dropWithin/dt))
	noise := math.Max(g.sigma/math.Sqrt(float64(size)), g.step/math.Sqrt(12))
	steady := func(a int) (float64, float64, bool) {
		if a < 0 || a+w > len(m) {
			return 0, 0, false
		}
		x := m[a : a+w]
		sd := spreadOf(x)
		return stats.Median(x), sd, sd < math.Max(1.2e3, 3*noise) && math.Abs(x[len(x)-1]-x[0]) < math.Max(2.5e3, 5*noise)
	}
	var out []fall
	for i := 0; i+w < len(m); i++ {
		before, sb, ok := steady(i)
		// A fall that begins within a mean leaves one that lies between: it is part of no
		// level, and two means further on the fall must show.
		if !ok || slices.Min(m[i+w:min(len(m), i+w+3)])-before > -math.Max(0.2*leastDrop, 4*noise) {
			continue
		}
		// The level holds up to i+w and falls from there: look for where it holds again.
		for j := i + w + 1; j < min(len(m), i+w+reach); j++ {
			after, sa, ok := steady(j)
			if !ok {
				continue
			}
			if d := before - after; d > leastDrop {
				out = append(out, fall{at[i], at[min(len(at)-1, j+w-1)], d, math.Hypot(math.Max(sa, noise), math.Max(sb, noise)) / math.Sqrt(float64(w)) * 1.3})
				i = j - 1
			}
			break
		}
	}
	return out
}

// balance emits the drops, for each cylinder where the order is known.
func (g *fuel) balance(drops []fall) {
	const feature = "injector.balance_drop"
	for i, d := range drops {
		g.mark(feature, i, d.first, d.last, "%.1f kPa", d.size/1e3)
	}
	first, last := drops[0].first, drops[len(drops)-1].last
	if g.subject.Kind == evidence.Cylinder {
		if g.unplaced(feature) {
			return
		}
		x := make([]float64, len(drops))
		for i, d := range drops {
			x[i] = d.size
		}
		m, se := spreadMiddle(x, drops[0].sd)
		g.emit(feature, "Pa", m, se, len(x), first, last)
		return
	}
	order := g.meta.Known.Order
	if len(order) == 0 || len(drops)%len(order) != 0 {
		var list []string
		for _, d := range drops {
			list = append(list, fmt.Sprintf("%.1f", d.size/1e3))
		}
		why := fmt.Sprintf("%d drops were found (%s kPa), but which injector made which is not known", len(drops), strings.Join(list, ", "))
		if len(order) > 0 {
			why = fmt.Sprintf("%d drops were found (%s kPa) for %d cylinders", len(drops), strings.Join(list, ", "), len(order))
		}
		g.refuse(feature, evidence.Unplaced, why, "write the order in which they were pulsed (known: pulsed_order), or make one capture for each injector")
		return
	}
	was := g.subject
	defer func() { g.subject = was }()
	for k, cyl := range order {
		g.subject = evidence.Cyl(cyl)
		if g.unplaced(feature) {
			continue
		}
		var x []float64
		sd := 0.0
		a, b := math.MaxInt, 0
		for i := k; i < len(drops); i += len(order) {
			x, sd = append(x, drops[i].size), drops[i].sd
			a, b = min(a, drops[i].first), max(b, drops[i].last)
		}
		m, se := spreadMiddle(x, sd)
		g.emit(feature, "Pa", m, se, len(x), a, b)
	}
}

// thinned takes at most some thousands of the samples of the runs.
func thinned(v []float64, runs []trace.Segment) []float64 {
	n := 0
	for _, r := range runs {
		n += r.End - r.First
	}
	stride := max(1, n/20000)
	var out []float64
	for _, r := range runs {
		for i := r.First; i < r.End; i += stride {
			out = append(out, v[i])
		}
	}
	return out
}

// looksLikeFuel tries a recording as fuel pressure: by the name of a pressure
// channel, since a manifold or a cylinder has a pressure too.
func looksLikeFuel(rec *trace.Recording, meta Meta) (bool, string) {
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		name := " " + foldName(ch.Name) + " "
		if ch.Unit.Dim == unit.Pressure && (strings.Contains(name, " fuel ") || strings.Contains(name, " rail ")) && meta.roleOf(ch, FuelPressureKind) == RolePressure {
			return true, "channel " + ch.Name + " is named as fuel pressure"
		}
	}
	return false, ""
}
