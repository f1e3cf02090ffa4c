package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
)

// Engine speeds that part the operating conditions, rpm (our choice; cranking
// 180-300 and idle from trade.md 2.6 and appendix A).
const (
	crankingBelow = 420.0
	idleBelow     = 1150.0
	slowestEngine = 40.0
	fastestEngine = 12000.0
)

// phase is a set of firings under one operating condition.
type phase struct {
	state  evidence.State
	suffix string // of the feature ids
	at     []int  // indices of sparks
	rpm    float64
	unsure bool
}

// speeds gives the engine speed after each spark from the time to the next, NaN
// for the last one.
func (g *ignition) speeds() []float64 {
	revs := g.revs
	out := make([]float64, len(g.sparks))
	for i := range out {
		out[i] = math.NaN()
		if i+1 < len(g.sparks) {
			if dt := g.sparks[i+1].t - g.sparks[i].t; dt > 0 {
				out[i] = revs * 60 / dt
			}
		}
	}
	// A firing that was missed doubles the time and halves the speed: undo that when
	// both neighbours agree on the whole multiple.
	for i := 1; i+1 < len(out); i++ {
		a, b := out[i-1], out[i+1]
		if math.Abs(a-b) > 0.15*a || math.IsNaN(out[i]) {
			continue
		}
		if k := math.Round((a + b) / 2 / out[i]); k >= 2 && k <= 4 && math.Abs(out[i]*k-a) < 0.1*a {
			out[i] *= k
		}
	}
	return out
}

// phases recognises the operating conditions in the trace and holds them against
// the declared one. why is set when the speeds make no sense for an engine.
func (g *ignition) phases() (out []phase, why string) {
	n := g.speeds()
	var known []float64
	for _, v := range n {
		if !math.IsNaN(v) {
			known = append(known, v)
		}
	}
	declared := g.meta.Condition.State
	all := phase{state: declared, at: make([]int, len(g.sparks)), unsure: true}
	for i := range all.at {
		all.at[i] = i
	}
	if len(known) < 2 {
		all.suffix = suffixOf(declared)
		return []phase{all}, ""
	}
	mid := stats.Median(known)
	if mid < slowestEngine || mid > fastestEngine {
		return nil, fmt.Sprintf("the time between firings makes %.3g rpm: the time scale looks wrong by a factor of about %.0f", mid, scaleSlip(mid))
	}
	all.rpm, all.unsure = mid, false
	if d := g.meta.Condition.SpeedRPM; d > 0 {
		g.checkSpeed(mid, d)
	}
	low, high := idleOf(known), maxOf(known)
	if high < 1.4*low || low > 2500 {
		all.state, all.suffix, all.unsure = g.steady(mid, declared)
		return []phase{all}, ""
	}
	if low > idleBelow {
		return g.snapsOnly(n, low, high, all), ""
	}
	idle := phase{state: evidence.Idle, suffix: "_idle"}
	snap := phase{state: evidence.Snap, suffix: "_snap"}
	var idleN, snapN []float64
	leaps := 0
	for i := 0; i < len(n); {
		if math.IsNaN(n[i]) || n[i] <= 1.06*low {
			if k := math.Round(low / n[i]); !math.IsNaN(n[i]) && k <= 4 && math.Abs(k*n[i]-low) < 0.12*low {
				idle.at = append(idle.at, i)
				idleN = append(idleN, n[i]*k)
			}
			i++
			continue
		}
		// A rise: follow it to its top.
		top := i
		for j := i + 1; j < len(n) && !math.IsNaN(n[j]) && n[j] > 1.06*low; j++ {
			if n[j] > n[top] {
				top = j
			}
		}
		end := top
		for end+1 < len(n) && !math.IsNaN(n[end+1]) && n[end+1] > 1.06*low {
			end++
		}
		took := g.sparks[top].t - g.sparks[i].t
		if n[top] >= 1.4*low && took < 2.5 && g.leaps(n, i, top, end) {
			leaps++
		} else if n[top] >= 1.4*low && took < 2.5 {
			// The spark before the first short interval may still be an idle one: the
			// throttle opened somewhere after it.
			for j := min(i+1, top); j <= top; j++ {
				snap.at = append(snap.at, j)
				snapN = append(snapN, n[j])
			}
		}
		i = end + 1
	}
	if leaps > 0 {
		g.leapt = true
		g.refuse("ignition.firing_height_snap", evidence.ConditionUnsure, fmt.Sprintf("the speed leaps from %.0f to %.0f rpm between two firings, quicker than an engine can: recordings were joined, or a stretch is missing", low, high), "take it again in one go, or measure each stretch by itself")
		if len(snap.at) == 0 && len(idle.at) >= fewestFirings {
			idle.rpm = stats.Median(idleN)
			return []phase{idle}, ""
		}
	}
	if len(snap.at) == 0 {
		all.state, all.suffix, all.unsure = declared, suffixOf(declared), true
		g.note(evidence.ConditionUnsure, true, "%s: engine speed runs from %.0f to %.0f rpm without a snap or a steady stretch", g.ch.Name, low, high)
		return []phase{all}, ""
	}
	idle.rpm, snap.rpm = stats.Median(idleN), stats.Median(snapN)
	if declared != "" && declared != evidence.Snap && declared != evidence.Idle {
		g.note(evidence.ConditionUnsure, true, "%s: declared %s, but the trace holds idle and snaps", g.ch.Name, declared)
		idle.unsure, snap.unsure = true, true
	}
	if len(idle.at) > 0 {
		out = append(out, idle)
	}
	return append(out, snap), ""
}

// fastestRevving is the rise of speed that no engine of a car makes without load, in
// rpm/s. Our choice: 800 to 4000 rpm takes 0.3 s or more.
const fastestRevving = 12e3

// standsAt is how many firings a speed must stand within 4 % right after a rise of at
// most two intervals to be taken for another recording. Our choice: a snap comes down
// again.
const standsAt = 4

// leaps reports whether a rise of speed, from interval i to the top and back at end,
// is none that an engine makes: over within one interval, quicker than any engine
// revs, or up in one or two intervals and then standing.
func (g *ignition) leaps(n []float64, i, top, end int) bool {
	if i < 1 || math.IsNaN(n[i-1]) {
		return false
	}
	if top == end && top == i && end+1 < len(n) {
		return true // a single short interval
	}
	rise := n[top] - n[i-1]
	for k := i; k <= top; k++ {
		step := n[k] - n[k-1]
		between := (g.sparks[k+1].t - g.sparks[k-1].t) / 2
		if step > 0.8*rise && step > fastestRevving*between {
			return true
		}
	}
	up := i // the first interval at the new speed
	for up < end && n[up] < n[i-1]+0.9*rise {
		up++
	}
	if up > i+1 || up+standsAt > end+1 {
		return false
	}
	lo, hi := leastGreatest(n[up : up+standsAt])
	return hi < 1.04*lo
}

// snapsOnly handles a trace without a stretch of idle: the firings on a rise of
// speed are the snap, if that was declared or nothing was.
func (g *ignition) snapsOnly(n []float64, low, high float64, all phase) []phase {
	declared := g.meta.Condition.State
	snap := phase{state: evidence.Snap, suffix: "_snap"}
	var speeds []float64
	for j := 1; j < len(n); j++ {
		if math.IsNaN(n[j-1]) || n[j] < 0.97*n[j-1] {
			continue
		}
		// n[j] is not known after the last spark: it rises with the others.
		snap.at = append(snap.at, j)
		speeds = append(speeds, n[j-1])
	}
	if len(snap.at) >= fewestSnaps && (declared == evidence.Snap || declared == "") {
		snap.rpm = stats.Median(speeds)
		return []phase{snap}
	}
	all.state, all.suffix, all.unsure = declared, suffixOf(declared), true
	g.note(evidence.ConditionUnsure, true, "%s: engine speed runs from %.0f to %.0f rpm; that is neither one speed nor a snap", g.ch.Name, low, high)
	return []phase{all}
}

// idleOf is the lowest speed at which the engine stays: the lowest group of at
// least three speeds (and a seventh of all) within 12 %. Single low values come
// from firings that were not recorded.
func idleOf(known []float64) float64 {
	x := slices.Clone(known)
	slices.Sort(x)
	need := max(3, len(x)/7)
	for i := range x {
		j := i
		for j < len(x) && x[j] <= 1.12*x[i] {
			j++
		}
		if j-i >= need {
			return stats.Median(x[i:j])
		}
	}
	return stats.Quantile(x, 0.3)
}

// steady names the condition of a trace at one speed.
func (g *ignition) steady(rpm float64, declared evidence.State) (evidence.State, string, bool) {
	found := evidence.Raised
	switch {
	case rpm < crankingBelow:
		found = evidence.Cranking
	case rpm < idleBelow:
		found = evidence.Idle
	}
	switch {
	case declared == "" && found == evidence.Raised:
		g.note(evidence.ConditionUnsure, true, "%s: steady at %.0f rpm; whether loaded or not is not said", g.ch.Name, rpm)
		return found, "_cruise", true
	case declared == "" || declared == found:
		return found, suffixOf(found), false
	case found == evidence.Raised && (declared == evidence.Cruise || declared == evidence.Load || declared == evidence.Raised):
		return declared, suffixOf(declared), false
	case found == evidence.Idle && declared == evidence.Load:
		return declared, suffixOf(declared), false // loaded in gear at idle speed
	}
	if c := float64(g.meta.Engine.Cylinders); declared == evidence.Idle && c >= 2 && rpm/c > 500 && rpm/c < idleBelow {
		g.flag(evidence.WrongChannel)
		g.note(evidence.WrongChannel, true, "%s: declared idle, but it fires as often as all %.0f cylinders together would at %.0f rpm: this is every cylinder, not one", g.ch.Name, c, rpm/c)
		return declared, "_idle", true
	}
	if declared == evidence.Snap && found == evidence.Raised {
		g.note(evidence.ConditionUnsure, true, "%s: declared a snap, but the speed stays at %.0f rpm", g.ch.Name, rpm)
		return declared, "_snap", true
	}
	g.note(evidence.ConditionUnsure, true, "%s: declared %s, but the speed of %.0f rpm is %s; measured as %s", g.ch.Name, declared, rpm, spoken(found), spoken(found))
	return found, suffixOf(found), true
}

// checkSpeed holds the speed from the firing interval against the declared one.
func (g *ignition) checkSpeed(rpm, declared float64) {
	r := rpm / declared
	c := float64(g.meta.Engine.Cylinders)
	switch {
	case math.Abs(r-1) < 0.25:
	case c >= 2 && math.Abs(r/c-1) < 0.15:
		g.flag(evidence.WrongChannel)
		g.note(evidence.WrongChannel, true, "%s: it fires %.0f times as often as one cylinder at %.0f rpm does: this is every cylinder, not one", g.ch.Name, r, declared)
	case math.Abs(r-2) < 0.3:
		g.note(evidence.ConditionUnsure, true, "%s: it fires twice as often as one cylinder at %.0f rpm does: a waste-spark coil, or the speed is half of what was written", g.ch.Name, declared)
		g.flag(evidence.ConditionUnsure)
	default:
		g.note(evidence.ConditionUnsure, true, "%s: firings come at %.0f rpm, %.0f rpm was written", g.ch.Name, rpm, declared)
		g.flag(evidence.ConditionUnsure)
	}
}

func suffixOf(s evidence.State) string {
	switch s {
	case evidence.Idle:
		return "_idle"
	case evidence.Snap:
		return "_snap"
	case evidence.Load:
		return "_load"
	case evidence.Raised, evidence.Cruise:
		return "_cruise"
	}
	return ""
}

func spoken(s evidence.State) string {
	switch s {
	case evidence.Idle:
		return "idle"
	case evidence.Raised:
		return "a raised steady speed"
	case evidence.Cranking:
		return "cranking"
	case "":
		return "unknown"
	}
	return string(s)
}

func scaleSlip(rpm float64) float64 {
	f := rpm / 1000
	if f < 1 {
		f = 1 / f
	}
	return math.Pow(10, math.Round(math.Log10(f)))
}

func maxOf(x []float64) float64 {
	m := math.Inf(-1)
	for _, v := range x {
		m = math.Max(m, v)
	}
	return m
}
