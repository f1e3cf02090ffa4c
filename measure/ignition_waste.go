package measure

import (
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
	"proveout/vehicle"
)

// wasteHeight is how high a spark must be beside its larger neighbours to be one
// on the compression stroke. In the exhaust stroke the gap needs 1-2 kV against
// some 8 kV (trade.md 4.1, 1 bar of hot gas); cycles scatter by 10-20 %.
const wasteHeight = 0.55

// dropWaste parts the sparks of a waste-spark coil: it fires in each revolution, every
// second time into exhaust gas. Those are left out, so that one spark in two
// revolutions remains, as everywhere else.
func (g *ignition) dropWaste() {
	g.revs = 2
	if g.meta.Engine.Ignition != vehicle.WasteSpark {
		return
	}
	keep := make([]bool, len(g.sparks))
	dropped := 0
	for i, s := range g.sparks {
		lo, hi := max(0, i-4), min(len(g.sparks), i+5)
		var h []float64
		for _, q := range g.sparks[lo:hi] {
			h = append(h, q.height)
		}
		slices.Sort(h)
		keep[i] = s.height >= wasteHeight*stats.Median(h[len(h)/2:])
		if !keep[i] {
			dropped++
		}
	}
	share := float64(dropped) / float64(max(1, len(g.sparks)))
	if share > 0.2 {
		var out []spark
		for i, s := range g.sparks {
			if keep[i] {
				out = append(out, s)
			}
		}
		g.sparks = out
		g.note("", false, "%s: %d sparks on the exhaust stroke were told apart by their height and left out", g.ch.Name, dropped)
		return
	}
	if share > 0.05 {
		return // single low sparks are not a pattern
	}
	// All alike: either the small ones were too small to be seen, or both strokes
	// fire alike. The speed decides.
	var gaps []float64
	for i := 1; i < len(g.sparks); i++ {
		if d := g.sparks[i].t - g.sparks[i-1].t; d > 0 {
			gaps = append(gaps, d)
		}
	}
	if len(gaps) < 2 {
		return
	}
	once, twice := 60/stats.Median(gaps), 120/stats.Median(gaps)
	fits := func(rpm float64) bool {
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
	if fits(once) && !fits(twice) {
		g.revs = 1
		g.note(evidence.ConditionUnsure, true, "%s: sparks come once in a revolution and are all alike; those on the exhaust stroke could not be told apart", g.ch.Name)
		g.flag(evidence.ConditionUnsure)
	}
}
