package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
)

// What one firing does to the speed. From memory, rounded to the careful side: what
// turns with the crank of a car engine holds up to 0.15 kg m2 per litre of
// displacement (flywheel or converter with it; the driveline behind its springs does
// not follow a single firing). What one firing must give, as mean effective pressure,
// is at least 1.5 bar where the engine only turns itself (rubbing and accessories 1 bar,
// pumping past the closed throttle 0.5), 2 bar at a steady cruise, 5 bar pulling.
const (
	turningPerM3 = 150.0 // kg m2 per m3 of displacement
	idlePa       = 1.5e5
	cruisePa     = 2e5
	loadPa       = 5e5
	fullLoadPct  = 60.0 // our choice: calculated load from which the engine pulls
	lossShown    = 0.6  // of a loss spread over one firing and made up after it shows between two means; drawn ones show 0.6 to 0.75
)

// wheelTrue is one sigma of what a wheel that is not quite round or centred puts on
// the change of speed over a firing, percent (0.1 mm on 75 mm radius makes 0.17 at
// most; our choice).
const wheelTrue = 0.1

// leastLoss is the least fraction of its speed that an engine of n cylinders loses
// over one firing that fails, in the condition and at rpm. The work of a firing,
// W = p Vd/n, is missing from the energy J w^2/2: the speed falls by W/(J w^2). With
// J in proportion to the displacement Vd that is p/(n j w^2), whatever its size.
func leastLoss(c evidence.Condition, n int, rpm float64) float64 {
	p := idlePa
	switch {
	case c.State == evidence.Load, c.LoadPct >= fullLoadPct:
		p = loadPa
	case c.State == evidence.Cruise:
		p = cruisePa
	}
	w := rpm * math.Pi / 30
	return lossShown * p / (float64(n) * turningPerM3 * w * w)
}

// unseen says why a share of misfires cannot be stated from what was seen; empty
// when it can. One firing that fails must stand out of the usual variation: either
// those that were seen lie well clear of the limit, so that none hides below it, or
// by its speed and load the engine must slow enough. And no cylinder may give less
// in the mean than its misfires seen account for.
func (l misfireLook) unseen(n int) string {
	clear := l.seenFrom + 2*l.sigmaPct
	var dips []float64
	for _, m := range l.events {
		dips = append(dips, m.DipPct)
	}
	dip := l.expected
	if len(dips) >= 3 {
		dip = stats.Median(dips)
	}
	if dip < clear {
		switch {
		case len(dips) >= 3:
			return fmt.Sprintf("%d of %d firings left the crank slower, but by %.1f %% in the middle, hardly more than what can be seen (%.1f %%): as many may lie below it", len(dips), l.firings, dip, l.seenFrom)
		default:
			return fmt.Sprintf("one missed firing may slow the crank by as little as %.2g %% at this speed and load, and only from %.1f %% on it would be seen", l.expected, l.seenFrom)
		}
	}
	// Each place, less what the misfires about it account for.
	seen := make([]float64, len(l.place))
	f := 720 / float64(n)
	cycles := float64(l.firings) / float64(n)
	for _, m := range l.events {
		at := int(math.Round((m.Degrees - l.start) / f * gridPerFiring))
		for k := -gridPerFiring; k <= gridPerFiring; k++ { // the change spreads over a firing to either side
			seen[((at+k)%len(seen)+len(seen))%len(seen)] += m.DipPct / cycles
		}
	}
	for i, mean := range l.place {
		left := -mean - seen[i]
		if left > math.Max(0.3, math.Max(0.35*l.expected, 5*l.placeSE[i])) {
			return fmt.Sprintf("at one place of the cycle the crank slows by %.1f %% in the mean, and the misfires that stand out do not account for it: a cylinder gives less without single misfires to be seen", -mean)
		}
	}
	return ""
}

// contribution is what the firing whose top centre passes at an angle gives to the
// speed beside the others: the mean change over the cycle's grid, half a firing after
// top centre, a sixth of a firing to either side, percent.
func (l misfireLook) contribution(n int, top float64) (mean, sigma float64) {
	f := 720 / float64(n)
	at := int(math.Round((top + f/2 - l.start) / f * gridPerFiring))
	for k := -1; k <= 1; k++ {
		i := ((at+k)%len(l.place) + len(l.place)) % len(l.place)
		mean += l.place[i] / 3
		sigma = math.Max(sigma, l.placeSE[i])
	}
	return mean, math.Hypot(sigma, wheelTrue)
}

// contributions reads what each cylinder gives. Where no sync names them, or too few
// cycles were seen, it is refused.
func (c *crank) contributions(look misfireLook, at float64, synced bool) {
	const feature = "crank.contribution"
	ch, whole := c.s.ch.Name, evidence.WholeEngine
	if !synced {
		c.refuse(feature, ch, whole, evidence.Unplaced, "which cylinder gives less cannot be told from the crank alone", syncFix)
		return
	}
	each := look.firings / c.n
	for slot, cyl := range c.syncOrder() {
		mean, sigma := look.contribution(c.n, at+float64(slot)*720/float64(c.n))
		c.emit(feature, ch, evidence.Cyl(cyl), mean, sigma, each, look.first, look.last)
	}
}
