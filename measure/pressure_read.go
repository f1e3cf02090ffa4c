package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
)

// read emits the crests of each condition, then the shape of the steady strokes.
func (g *pressure) read(perCycle float64) {
	var rpms []float64
	for _, t := range g.towers {
		rpms = append(rpms, t.rpm())
	}
	low := idleOf(rpms)
	var base, high []tower
	for _, t := range g.towers {
		if t.rpm() <= 1.2*low {
			base = append(base, t)
		}
	}
	usual := stats.Median(crests(base))
	base = base[:0]
	for _, t := range g.towers {
		switch over := t.crest-g.ambient > snapOver*(usual-g.ambient); {
		case over && low > crankingBelow:
			high = append(high, t)
		case t.rpm() <= 1.2*low:
			base = append(base, t)
		}
	}
	found := evidence.Raised
	switch {
	case low < crankingBelow:
		found = evidence.Cranking
	case low < idleBelow:
		found = evidence.Idle
	}
	declared := g.cond.State
	unsure := declared != "" && declared != found && !(found == evidence.Idle && declared == evidence.Snap) && !(found == evidence.Raised && (declared == evidence.Cruise || declared == evidence.Load || declared == evidence.Snap))
	if unsure {
		g.flag(evidence.ConditionUnsure)
		g.note(evidence.ConditionUnsure, true, "%s: declared %s, but the strokes come at %.0f rpm, which is %s; measured as %s", g.ch.Name, spoken(declared), low, spoken(found), spoken(found))
	}
	g.cond.State, g.cond.SpeedRPM = found, math.Round(low)
	for i, t := range g.towers {
		g.mark("compression", i, t.peak, t.peak, "%.0f kPa over ambient", (t.crest-g.ambient)/1e3)
	}
	switch found {
	case evidence.Cranking:
		if len(base) > firstPuffs+fewestTowers {
			base = base[firstPuffs:]
		}
		g.crest("compression.dry", base)
	case evidence.Idle:
		g.crest("compression.running", base)
	default:
		g.refuse("compression.running", evidence.ConditionUnsure, fmt.Sprintf("the strokes come at %.0f rpm; running compression is read at idle", low), "let it idle")
	}
	g.snaps(high, declared)
	if perCycle < cycleShape {
		for _, f := range []string{"cylinder.tower_loss", "cylinder.exhaust_opening", "cylinder.intake_closing"} {
			g.refuse(f, evidence.TooSlow, fmt.Sprintf("%.0f samples fall on a cycle; the shape of the stroke needs %.0f", perCycle, cycleShape), fmt.Sprintf("take it at %s or more", perSecond(g.rate*720/perCycle)))
		}
		return
	}
	g.shape(base)
}

func crests(ts []tower) []float64 {
	out := make([]float64, len(ts))
	for i, t := range ts {
		out[i] = t.crest
	}
	return out
}

// crest emits the median crest of strokes under one condition.
func (g *pressure) crest(feature string, ts []tower) {
	if len(ts) == 0 {
		g.refuse(feature, evidence.TooFewEvents, "no stroke at a steady speed lies in the recording", "record ten strokes or more")
		return
	}
	var flags []evidence.Flag
	if len(ts) < fewestTowers {
		flags = append(flags, evidence.TooFewEvents)
	}
	m, _, se := middle(crests(ts))
	// 0.3 % for what the parabola leaves of a round crest.
	g.emit(feature, "Pa", m-g.ambient, math.Sqrt(se*se+zeroSD*zeroSD+9e-6*m*m), len(ts), ts[0].peak, ts[len(ts)-1].peak, flags...)
}

// snaps emits the highest crest of each snap. Crests follow one another in a snap;
// between two snaps the engine comes back to idle.
func (g *pressure) snaps(high []tower, declared evidence.State) {
	const feature = "compression.snap"
	was := g.cond
	defer func() { g.cond = was }()
	g.cond.State = evidence.Snap
	var tops []tower
	for i, t := range high {
		if i > 0 && t.at-high[i-1].at < 2.5*high[i-1].period {
			if t.crest > tops[len(tops)-1].crest {
				tops[len(tops)-1] = t
			}
			continue
		}
		tops = append(tops, t)
	}
	switch {
	case len(tops) > 0:
		g.crest(feature, tops)
	case declared == evidence.Snap:
		g.refuse(feature, evidence.ConditionUnsure, "no stroke stands over those at idle as a snap's does", "snap the throttle wide open and let it fall back, three times")
	}
}

// shape reads what one mean cycle shows.
func (g *pressure) shape(ts []tower) {
	if len(ts) > mostTowers {
		ts = ts[:mostTowers]
	}
	var whole []turned
	for _, t := range ts {
		if c, ok := g.turn(t); ok {
			whole = append(whole, c)
		}
	}
	if len(whole) < fewestTowers {
		g.refuse("cylinder.tower_loss", evidence.TooFewEvents, fmt.Sprintf("%d whole cycles at one speed lie in the recording", len(whole)), "record ten strokes or more")
		return
	}
	m := meanCycle(whole)
	first, last := ts[0].peak, ts[len(ts)-1].peak
	shift, loss, ok := g.towerLoss(m, whole, first, last)
	if !ok || loss < firesBelow {
		return
	}
	if x := m[360] / m.at(intakeTo); x < leastSqueeze && math.Abs(loss) < tightBelow {
		g.doubtScale(x)
		return
	}
	g.plateau("cylinder.exhaust_plateau", m, len(whole), exhaustFrom, exhaustTo, g.ambient, first, last)
	g.plateau("cylinder.intake_pressure", m, len(whole), intakeFrom, intakeTo, 0, first, last)
	g.doubtZero(m)
	g.exhaustOpening(m, len(whole), shift, first, last)
	g.intakeClosing(m, len(whole), shift, first, last)
}

// A cylinder that gives back all it took in is tight, and a tight cylinder squeezes
// by r^n: 12 times and more at a ratio of 7 with n = 1.3, 6 times when the intake
// valve closes so late that half of the stroke is left. Bounds: our choice.
const (
	leastSqueeze = 4.0
	tightBelow   = 0.10 // a leak that eats the squeeze shows on the right flank
)

// doubtScale blocks what this channel gave: psi written as kPa, for example, keeps
// the form of the tower and loses its height.
func (g *pressure) doubtScale(squeeze float64) {
	for i := range g.res.Readings {
		if r := &g.res.Readings[i]; r.From.Channel == g.ch.Name {
			r.Flags = append(r.Flags, evidence.ScaleUnsure)
		}
	}
	why := fmt.Sprintf("the tower is even on both sides, so the cylinder is tight, yet it squeezes only %.1f times", squeeze)
	for _, f := range []string{"cylinder.exhaust_plateau", "cylinder.intake_pressure", "cylinder.exhaust_opening", "cylinder.intake_closing"} {
		g.refuse(f, evidence.ScaleUnsure, why, "check the unit (psi or kPa?), the transducer's scale and its zero in open air")
	}
}

// zeroOff is how far over ambient a cylinder that is cranked cannot stand on both its
// open strokes, and below ambient on the exhaust stroke of any engine. Our choice: five
// times what the zero of a transducer is off.
const zeroOff = 5 * zeroSD

// doubtZero blocks the pressures of the open strokes where the transducer's own zero
// shows in them: in cranking intake and exhaust both lie near ambient, throttle open or
// not, and no exhaust sucks.
func (g *pressure) doubtZero(m *turned) {
	over := func(from, to int) float64 {
		var x []float64
		for d := from; d <= to; d++ {
			x = append(x, m.at(float64(d)))
		}
		return stats.Median(x) - g.ambient
	}
	in, out := over(intakeFrom, intakeTo), over(exhaustFrom, exhaustTo)
	var off float64
	switch {
	case g.cond.State == evidence.Cranking && math.Min(in, out) > zeroOff:
		off = math.Min(in, out)
	case out < -zeroOff:
		off = out
	default:
		return
	}
	for i := range g.res.Readings {
		if r := &g.res.Readings[i]; r.From.Channel == g.ch.Name && (r.Feature == "cylinder.exhaust_plateau" || r.Feature == "cylinder.intake_pressure") {
			r.Flags = append(r.Flags, evidence.ScaleUnsure)
		}
	}
	g.note(evidence.ScaleUnsure, true, "%s: the open strokes lie %.0f kPa off ambient, which no cylinder does: the transducer's zero is off, and crests are wrong by as much; zero it in open air", g.ch.Name, off/1e3)
}

// plateau emits the median of a stretch of the cycle. The zero of the transducer and
// the ambient pressure are in its uncertainty.
func (g *pressure) plateau(feature string, m *turned, n, from, to int, over float64, first, last int) {
	var x []float64
	for d := from; d <= to; d++ {
		x = append(x, m.at(float64(d)))
	}
	sd := math.Hypot(zeroSD, spreadOf(x)/math.Sqrt(math.Max(1, float64(len(x))/20)))
	if over == 0 {
		sd = math.Hypot(sd, g.ambientSD())
	}
	g.emit(feature, "Pa", stats.Median(x)-over, sd, n, first, last)
}

func (g *pressure) ambientSD() float64 {
	if g.meta.Known.AmbientPressure > 0 {
		return 0
	}
	return ambientSD
}
