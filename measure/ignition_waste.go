package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/vehicle"
)

// How small sparks between larger ones are told apart (our choice). In the
// exhaust stroke of a waste-spark coil the gap needs 1-2 kV against some 8 kV
// (trade.md 4.1, 1 bar of hot gas), a neighbour heard through the air is smaller
// than the coil under the pickup; cycles scatter by 10-20 % (trade.md 3.4).
const (
	smallBeside = 0.55 // of the larger spark on either side
	longestRun  = 7    // small ones between two large: the other cylinders of an eight
	isPattern   = 0.20 // share of all sparks from which it is a pattern
)

// dropSmall leaves out sparks that are not this cylinder's power stroke: the
// exhaust-stroke sparks of a waste-spark coil, and the neighbours' sparks. They
// lie between larger ones, a few at a time, and without them the firings are as
// even in time as before; a cylinder that fires high and low at random does not
// pass that, and is left as it is.
//
// A tall pulse without a spark line is a coil whose spark did not jump: at full coil
// voltage it stands far over this cylinder's own sound firings. Whether the smaller
// ones, with a spark line, are those or a neighbour's beside an open lead, only the
// speed can tell. The texts say why it is refused, empty when it is not.
func (g *ignition) dropSmall() (why, fix string) {
	g.revs = 2
	small := make([]bool, len(g.sparks))
	n, besideOpen := 0, 0 // besideOpen: with a spark line, and small beside open circuits alone
	for i := range g.sparks {
		if g.smallAt(i, func(spark) bool { return true }) {
			small[i] = true
			n++
			if !g.sparks[i].missing && !g.smallAt(i, func(s spark) bool { return !s.missing }) {
				besideOpen++
			}
		}
	}
	waste := g.meta.Engine.Ignition == vehicle.WasteSpark
	if n > 0 && float64(n) >= isPattern*float64(len(g.sparks)) {
		var out, exhaust []spark
		for i, s := range g.sparks {
			if small[i] {
				exhaust = append(exhaust, s)
			} else {
				out = append(out, s)
			}
		}
		if besideOpen > 0 {
			every, between := medianGap(g.sparks), medianGap(out)
			all, tall := g.fitsSpeed(120/every), len(out) >= 3 && g.fitsSpeed(120/between)
			switch {
			case between < 1.25*every, all && !tall, len(out) < 3:
				return "", "" // every pulse is this cylinder's
			case all == tall:
				return fmt.Sprintf("%d pulses have a spark line and stand beside taller ones that have none: sparks of this cylinder that jumped beside others that did not, or an open lead with the neighbours' sparks heard beside it", besideOpen), "write the engine speed (condition: rpm): the time between firings tells which it is"
			}
		}
		if len(out) >= 3 && unevenness(out) <= 1.2*unevenness(g.sparks)+0.05 {
			what := "smaller pulses between the firings (the neighbours' sparks)"
			if waste {
				g.exhaust = exhaust
				what = "sparks on the exhaust stroke, told apart by their height,"
			}
			g.note("", false, "%s: %d %s were left out", g.ch.Name, n, what)
			g.sparks = out
			return "", ""
		}
	}
	if waste && n == 0 {
		g.wasteBySpeed()
	}
	return "", ""
}

// medianGap is the usual time from one spark to the next, s; NaN for less than two.
func medianGap(s []spark) float64 {
	var gaps []float64
	for i := 1; i < len(s); i++ {
		if d := s[i].t - s[i-1].t; d > 0 {
			gaps = append(gaps, d)
		}
	}
	if len(gaps) == 0 {
		return math.NaN()
	}
	return stats.Median(gaps)
}

// fitsSpeed reports whether the engine could turn at rpm by what was declared.
func (g *ignition) fitsSpeed(rpm float64) bool {
	if d := g.meta.Condition.SpeedRPM; d > 0 {
		return math.Abs(rpm/d-1) < 0.25
	}
	switch g.meta.Condition.State {
	case evidence.Idle, "":
		return rpm > 500 && rpm < idleBelow
	case evidence.Cranking:
		return rpm < crankingBelow
	}
	return rpm > idleBelow
}

// steadyFirings reports whether firings come at one speed: the exhaust stroke does
// not follow a snap as the compression stroke does, so a mixture would mean nothing.
func steadyFirings(s []spark) bool {
	var gaps []float64
	for i := 1; i < len(s); i++ {
		gaps = append(gaps, s[i].t-s[i-1].t)
	}
	return len(gaps) > 0 && stats.Quantile(gaps, 0.9) < 1.4*stats.Quantile(gaps, 0.1)
}

// smallAt reports whether a spark is small beside a larger one on both sides, few
// sparks away; only those that count may be the larger ones.
func (g *ignition) smallAt(i int, counts func(spark) bool) bool {
	h := g.sparks[i].height / smallBeside
	left, right := -1, -1
	for j := i - 1; j >= 0 && j >= i-longestRun; j-- {
		if g.sparks[j].height >= h && counts(g.sparks[j]) {
			left = j
			break
		}
	}
	for j := i + 1; j < len(g.sparks) && j <= i+longestRun; j++ {
		if g.sparks[j].height >= h && counts(g.sparks[j]) {
			right = j
			break
		}
	}
	switch {
	case left >= 0 && right >= 0:
		return right-left-1 <= longestRun
	case left == i-1 && i == len(g.sparks)-1, right == i+1 && i == 0:
		return true // at the ends there is one side only
	}
	return false
}

// unevenness is the typical step between neighbouring intervals, as a fraction.
func unevenness(s []spark) float64 {
	var d []float64
	for i := 2; i < len(s); i++ {
		a, b := s[i].t-s[i-1].t, s[i-1].t-s[i-2].t
		if a > 0 && b > 0 {
			d = append(d, math.Abs(math.Log(a/b)))
		}
	}
	if len(d) == 0 {
		return 0
	}
	return stats.Quantile(d, 0.75)
}

// wasteBySpeed settles whether a waste-spark coil whose sparks are all alike
// shows both strokes or only the compression stroke: by which speed fits.
func (g *ignition) wasteBySpeed() {
	gap := medianGap(g.sparks)
	if len(g.sparks) < 3 || math.IsNaN(gap) {
		return
	}
	once, twice := 60/gap, 120/gap
	if g.fitsSpeed(once) && !g.fitsSpeed(twice) {
		g.revs = 1
		g.note(evidence.ConditionUnsure, true, "%s: sparks come once in a revolution and are all alike; those on the exhaust stroke could not be told apart", g.ch.Name)
		g.flag(evidence.ConditionUnsure)
	}
}
