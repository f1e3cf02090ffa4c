package measure

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"proveout/evidence"
	"proveout/stats"
)

// cranking reads the swing of speed that compression makes on the starter.
//
// Each compression slows the crank, so a four-stroke engine of n cylinders swings
// n/2 times a turn. With plugs out, or without compression, that swing is gone;
// a loss that is the same on all cylinders makes it smaller, but how large it
// should be on a given engine is not known, so it is not judged.
func (c *crank) cranking() {
	if !c.starts {
		return
	}
	ch := c.s.ch.Name
	const feature = "crank.compression_ripple"
	whole := evidence.WholeEngine
	need := teethPerPulse * max(c.n, 2) / 2
	if c.run.TeethPerTurn < need {
		c.refuse(feature, ch, whole, evidence.TooSlow, fmt.Sprintf("%d teeth a turn do not show the swing of one compression", c.run.TeethPerTurn), "use the starter current, or a sensor with more teeth")
		return
	}
	if c.noisy {
		c.refuse(feature, ch, whole, evidence.Noisy, "the crank signal is too noisy to show the swing of compression", "put the signal right first: gap, dirt, lead and shield of the sensor")
		return
	}
	// Begin on a tooth, so that whole cycles end on one.
	begin := min(len(c.tr.deg)-1, sort.SearchFloat64s(c.tr.deg, c.tr.deg[0]+360-1e-6))
	orders, mean, cycles := c.tr.ripple(c.tr.deg[begin], c.starterTo)
	if len(cycles) < fewestCycles {
		c.refuse(feature, ch, whole, evidence.TooFewEvents, fmt.Sprintf("%d whole cycles of cranking lie in the recording", len(cycles)), fmt.Sprintf("crank for at least %d turns, with the engine kept from starting", 2*fewestCycles+2))
		return
	}
	c.run.Orders = orders
	best, over := dominant(orders)
	first := c.tr.at[sort.SearchFloat64s(c.tr.deg, cycles[0]-1e-6)]
	last := c.tr.at[min(len(c.tr.at)-1, sort.SearchFloat64s(c.tr.deg, cycles[len(cycles)-1]+720-1e-6))]
	swings := best.RPM >= rippleShare*mean && over >= rippleOver
	if c.n > 0 && swings && best.PerTurn != float64(c.n)/2 {
		c.refuse(feature, ch, whole, evidence.ScaleUnsure, fmt.Sprintf("the speed swings %g times a turn, as %g cylinders would; the job says %d", best.PerTurn, 2*best.PerTurn, c.n), "check the number of cylinders, and that this is the crank and not the cam")
		return
	}
	q := best.PerTurn
	if c.n > 0 {
		q = float64(c.n) / 2
	}
	o := orderOf(orders, q)
	share := o.RPM / mean
	if !swings {
		if best.RPM < rippleShare*mean || o.RPM < rippleShare*mean {
			c.refuse(feature, ch, whole, evidence.TooFewEvents, fmt.Sprintf("no compression ripple: the speed swings by %.1f %% with the compressions, a cranking engine by %.0f %% or more: no compression, or plugs out, so the cylinders cannot be judged", 100*share, 100*rippleShare), "crank with all plugs in, throttle as for a compression test; if they are in, test compression directly")
			c.note(ch, "", true, "%s: no compression ripple at %.0f rpm; plugs out, or no compression: cannot judge", ch, mean)
			return
		}
		c.refuse(feature, ch, whole, evidence.Noisy, fmt.Sprintf("the swing of compression (%.1f %%) does not stand out from the others", 100*share), "record more turns; look at the sensor and the wheel")
		return
	}
	if c.n == 0 {
		c.note(ch, "", false, "%s: the speed swings %g times a turn while cranking, as %g cylinders would; the job does not say how many there are", ch, q, 2*q)
		c.refuse("crank.compression_spread", ch, whole, evidence.Unplaced, "the number of cylinders is not given", "write cylinders: in the job")
	}
	n := int(2 * q)
	c.run.Pulses = c.tr.pulses(cycles, o, n)
	var dips, ss []float64
	sum := 0.0
	for _, p := range c.run.Pulses {
		if math.IsNaN(p.DipRPM) {
			c.refuse("crank.compression_spread", ch, whole, evidence.TooFewEvents, "not each compression of the cycle could be measured", "record more turns")
			return
		}
		dips, ss = append(dips, p.DipRPM), append(ss, p.Sigma)
		sum += p.DipRPM
	}
	m := sum / float64(n)
	scatter := stats.Median(ss)
	c.emit(feature, ch, whole, 100*share, 100*math.Max(scatter/mean/math.Sqrt(float64(n)), 0.002), len(cycles)*n, first, last)
	if c.n == 0 {
		return
	}
	lo, hi := 0, 0
	for i := range dips {
		if dips[i] < dips[lo] {
			lo = i
		}
		if dips[i] > dips[hi] {
			hi = i
		}
	}
	spread, sigma := (dips[hi]-dips[lo])/m, math.Hypot(ss[hi], ss[lo])/m
	c.cylinders()
	c.emit("crank.compression_spread", ch, whole, 100*spread, 100*sigma, len(cycles)*n, first, last)
	weak := (m*float64(n) - dips[lo]) / float64(n-1)
	who := "which cylinder it is cannot be told without a sync of cylinder 1"
	if cy := c.run.Pulses[lo].Cylinder; cy > 0 {
		who = fmt.Sprintf("it is cylinder %d", cy)
	}
	switch low := 1 - dips[lo]/weak; {
	case low > evenDifference && low > 3*sigma:
		c.note(ch, evidence.Unplaced, true, "%s: one of the %d compressions slows the crank %.0f %% less than the others; %s", ch, n, 100*low, who)
	default:
		c.note(ch, "", false, "%s: %d even compressions a cycle within %.0f %%; a loss that is alike on all cylinders would not show", ch, n, 100*spread)
	}
}

// firingSlots gives the angle within the cycle, from the first tooth, at which
// the sync's cylinder fires; ok is false when there is no usable sync.
func (c *crank) firingSlots() (float64, bool) {
	if c.sync == nil || len(c.sync.at) < 4 || len(c.syncOrder()) != c.n || c.n == 0 {
		return 0, false
	}
	// Rising edges once a cycle, always at the same angle.
	sx, sy, n := 0.0, 0.0, 0
	for i, e := range c.sync.edges {
		if e.level == 1 {
			a := c.sync.at[i] / float64(c.w.repeats) * 360 * math.Pi / 360
			sn, cs := math.Sincos(a)
			sx, sy, n = sx+cs, sy+sn, n+1
		}
	}
	if n < 2 || math.Hypot(sx, sy) < 0.98*float64(n) {
		return 0, false
	}
	return math.Mod(math.Atan2(sy, sx)*360/math.Pi+720, 720), true
}

// syncOrder is the firing order, begun at the sync's cylinder; nil without one.
func (c *crank) syncOrder() []int {
	return orderFrom(c.meta.Engine.FiringOrder, c.meta.syncCylinder(c.sync.s.ch))
}

// sayWhoseSync tells once what the cylinders' names rest on.
func (c *crank) sayWhoseSync(ch string) {
	c.note(ch, "", false, "%s: cylinders go by %s alone; that it is the sync of cylinder %d, the trace cannot show", ch, c.sync.s.ch.Name, c.meta.syncCylinder(c.sync.s.ch))
}

// cylinders names the compressions where there is a sync: the speed is lowest at
// the top of a compression, at which the cylinder is to fire.
func (c *crank) cylinders() {
	at, ok := c.firingSlots()
	if !ok {
		return
	}
	f := 720 / float64(c.n)
	for i := range c.run.Pulses {
		middle := c.run.Pulses[i].Start + f/2
		slot := int(math.Round(math.Mod(middle-at+1440, 720)/f)) % c.n
		c.run.Pulses[i].Cylinder = c.syncOrder()[slot]
	}
}

// syncFix is what names the cylinders.
const syncFix = "record a sync beside it: the coil or injector of cylinder 1 (as: sync), and give the firing order"

// misfire looks for firings that do not drive the crank.
func (c *crank) misfire() {
	if !c.fires {
		return
	}
	const feature = "crank.misfire_rate"
	ch, whole := c.s.ch.Name, evidence.WholeEngine
	switch {
	case c.n == 0:
		c.refuse(feature, ch, whole, evidence.Unplaced, "the number of cylinders is not given", "write cylinders: in the job")
		return
	case c.noisy:
		c.refuse(feature, ch, whole, evidence.Noisy, "the crank signal is too noisy to show single firings", "put the signal right first: gap, dirt, lead and shield of the sensor")
		return
	case c.n == 1:
		c.refuse(feature, ch, whole, evidence.NoExposure, "with one cylinder there is no other to compare with", "use a counter of the module, or in-cylinder pressure")
		return
	case c.run.TeethPerTurn*2 < 4*c.n:
		c.refuse(feature, ch, whole, evidence.TooSlow, fmt.Sprintf("%d teeth a turn are too few to see one firing", c.run.TeethPerTurn), "use ignition or pressure of each cylinder instead")
		return
	}
	end := c.tr.deg[len(c.tr.deg)-1]
	from := c.tr.deg[0] + 360
	if c.starts {
		from = math.Max(from, c.starterTo+720)
	}
	orders, mean, cycles := c.tr.ripple(c.tr.deg[min(len(c.tr.deg)-1, sort.SearchFloat64s(c.tr.deg, from))], end)
	if len(c.run.Orders) == 0 {
		c.run.Orders = orders
	}
	if best, over := dominant(orders); len(cycles) >= fewestCycles && !c.starts && best.RPM > 0.005*mean && over > 2*rippleOver && best.PerTurn != float64(c.n)/2 && best.PerTurn > 1 && orderOf(orders, float64(c.n)/2).RPM < 0.2*best.RPM {
		c.refuse(feature, ch, whole, evidence.ScaleUnsure, fmt.Sprintf("the speed swings %g times a turn, as %g cylinders would; the job says %d", best.PerTurn, 2*best.PerTurn, c.n), "check the number of cylinders")
		return
	}
	if len(cycles) >= fewestCycles && !c.starts {
		if q := otherCount(orders, c.n); q > 0 {
			c.refuse(feature, ch, whole, evidence.ScaleUnsure, fmt.Sprintf("the speed swings %g times a turn and hardly %g times: as %g cylinders make it swing; the job says %d", q, float64(c.n)/2, 2*q, c.n), "check the number of cylinders")
			return
		}
	}
	cond := c.meta.Condition
	if c.res.Condition.State != "" {
		cond.State = c.res.Condition.State
	}
	look := c.tr.misfires(c.n, from, end, firingRPM, func(rpm float64) float64 { return leastLoss(cond, c.n, rpm) })
	c.run.Firings, c.run.Misfires = look.firings, look.events
	if look.firings < fewestFired {
		c.refuse(feature, ch, whole, evidence.TooFewEvents, fmt.Sprintf("%d firings at an even speed lie in the recording", look.firings), "record at least ten seconds at idle or a steady speed")
		return
	}
	if sh := c.tr.findShudder(c.n, from, end); sh.there() && !look.oneCylinder(c.n) && (look.rough || len(look.events) > 0 || look.unseen(c.n) != "") {
		c.run.Misfires = nil
		c.refuse(feature, ch, whole, evidence.Noisy, fmt.Sprintf("the speed swings %.1f times a second by %.1f %%, and not in step with the engine's cycle: a shuddering driveline (converter clutch, clutch, mounts) does that, and single misfires cannot be told from it", sh.hz, 100*sh.swing), converterTest)
		c.note(ch, "", true, "%s: a swing of %.1f Hz explains %.0f %% of the uneven speed, the place in the engine's cycle %.0f %%: this is how a converter clutch shudders, not how one cylinder misses", ch, sh.hz, 100*sh.line, 100*sh.cycle)
		return
	}
	at, synced := c.firingSlots()
	if synced {
		c.sayWhoseSync(ch)
	}
	c.contributions(look, at, synced)
	if look.rough {
		why, fix := fmt.Sprintf("the speed varies by %.1f %% from firing to firing throughout; single misfires do not stand out", look.sigmaPct), "steady the speed; if it is the engine that is this uneven, look at each cylinder"
		c.refuse(feature, ch, whole, evidence.Noisy, why, fix)
		c.refuse("misfire.rate", ch, whole, evidence.Noisy, why, fix)
		return
	}
	k, n := len(look.events), look.firings
	if why := look.unseen(c.n); why != "" {
		const fix = "record it slower or pulling, where one firing weighs more, and write the state or the load in the job; else record ignition or pressure of each cylinder; a cylinder that never fires shows in the mean change of speed over its firing"
		c.refuse(feature, ch, whole, evidence.Noisy, why, fix)
		c.refuse("misfire.rate", ch, whole, evidence.Noisy, why, fix)
		if k > 0 {
			c.note(ch, evidence.Noisy, true, "%s: at least %d of %d firings left the crank slower by %.1f %% or more; others may hide in the usual variation of %.1f %%", ch, k, n, look.seenFrom, look.sigmaPct)
		}
		return
	}
	lo, hi := stats.ClopperPearson(min(k, n), n, 0.95)
	rate := float64(k) / float64(n)
	c.emit(feature, ch, whole, 100*rate, 100*(hi-lo)/(2*1.96), n, look.first, look.last)
	f := 720 / float64(c.n)
	weakest := math.Inf(1)
	per := map[int]int{}
	for i := range c.run.Misfires {
		m := &c.run.Misfires[i]
		if synced {
			// The stretch is slowest half a firing after the top centre at which nothing burned.
			slot := int(math.Round(math.Mod(m.Degrees-f/2-at+7200, 720)/f)) % c.n
			m.Cylinder = c.syncOrder()[slot]
			per[m.Cylinder]++
		}
		weakest = math.Min(weakest, m.Sigmas)
		c.mark(feature, ch, i, m.First, m.Last, "slowed by %.1f %%, %.0f times the usual variation", m.DipPct, m.Sigmas)
	}
	if k == 0 {
		c.note(ch, "", false, "%s: no misfire in %d firings; one that slows the crank by %.1f %% or more would have been seen", ch, n, look.seenFrom)
	} else {
		c.note(ch, "", true, "%s: %d of %d firings left the crank slower by %.1f %% or more (%.1f to %.1f %% at 95 %%); the least clear stands out %.0f times the usual variation", ch, k, n, look.seenFrom, 100*lo, 100*hi, weakest)
	}
	if !synced {
		if k > 0 {
			c.refuse("misfire.rate", ch, whole, evidence.Unplaced, "which cylinder misfires cannot be told from the crank alone", syncFix)
		}
		return
	}
	each := n / c.n
	for cyl := 1; cyl <= c.n; cyl++ {
		x := min(per[cyl], each)
		lo, hi := stats.ClopperPearson(x, each, 0.95)
		c.emit("misfire.rate", ch, evidence.Cyl(cyl), 100*float64(x)/float64(each), 100*(hi-lo)/(2*1.96), each, look.first, look.last)
		c.res.Readings[len(c.res.Readings)-1].Opportunities = float64(each)
	}
}

// camRelation says where the cam's edges stand on the crank, and reads how much
// they scatter.
func (c *crank) camRelation() {
	for i, t := range c.cams {
		c.cam(t, i == 0)
	}
}

func (c *crank) cam(t camTrack, first bool) {
	cycle := 2 * float64(c.w.repeats)
	q, n := t.repeatsAfter(cycle, math.Max(0.3*stats.Median(c.w.share), 0.012*cycle))
	ch := t.s.ch.Name
	if n < 3 {
		return
	}
	if q < camMatch {
		c.note(ch, evidence.Noisy, first, "%s: %.0f %% of its edges come back with each second turn; as a cam it does not follow the crank, or it is another signal", ch, 100*q)
		return
	}
	// Group the edges of one cycle by angle.
	type group struct {
		deg   []float64
		level int8
	}
	var groups []group
	firstSample, lastSample := t.edges[0].at, t.edges[len(t.edges)-1].at
	for i, x := range t.at {
		if x < float64(c.w.repeats) {
			continue // the first turn spins up
		}
		a := math.Mod(x, cycle) / float64(c.w.repeats) * 360
		found := false
		for g := range groups {
			d := math.Mod(a-groups[g].deg[0]+1080, 720) - 360
			if groups[g].level == t.edges[i].level && math.Abs(d) < 9 {
				groups[g].deg = append(groups[g].deg, groups[g].deg[0]+d)
				found = true
				break
			}
		}
		if !found {
			groups = append(groups, group{deg: []float64{a}, level: t.edges[i].level})
		}
	}
	var sds []float64
	var where []string
	events := 0
	sort.Slice(groups, func(i, j int) bool { return groups[i].deg[0] < groups[j].deg[0] })
	for _, g := range groups {
		if len(g.deg) < 3 {
			continue
		}
		sds = append(sds, spreadOf(g.deg))
		events += len(g.deg)
		dir := "up"
		if g.level == 0 {
			dir = "down"
		}
		where = append(where, fmt.Sprintf("%s at %.0f", dir, math.Mod(stats.Median(g.deg)+720, 720)))
	}
	if len(sds) == 0 {
		return
	}
	sd := stats.Median(sds)
	if first {
		c.emit("cam.scatter", ch, evidence.WholeEngine, sd, sd*scatterSE(events), events, firstSample, lastSample)
	}
	c.note(ch, "", false, "%s: turns once for two turns of the crank; edges %s deg after the first crank tooth, scattering by %.1f deg", ch, strings.Join(where, ", "), sd)
}
