package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// Limits of a boosted driver's voltage. Boost is 50-65 V, then 10-16 V chopping
// (trade.md 2.4); the room around it is our choice.
const (
	leastBoost      = 40.0   // V
	mostBoost       = 90.0   // V; a piezo driver goes to 150 V and more
	shortestBoost   = 60e-6  // s: boosted injectors take 0.2 to 0.5 ms to their peak
	longestBoost    = 1.5e-3 // s
	leastBoostRise  = 20.0   // V over the level at rest
	recoilShare     = 0.3    // of the boost, below zero: current is driven back into the supply
	boostedInterval = 6e-3   // s after the boost in which the injection ends
	unheldSeconds   = 10e-6  // s between boost and recoil: shorter, and the hold was not reached
	restBefore      = 0.1e-3 // s at rest before the boost: what comes sooner belongs to the same injection
)

// boosted reads the voltage of a boosted driver, against ground on the high side or
// between both pins. Each injection begins with the boost voltage. It ends where the
// line goes below zero for the last time, as the current is driven back; against
// ground that cannot be seen, since the low side lets go. It reports whether the line
// is that of a boosted driver.
//
//	injector.boost_voltage  V  median over the first half of the boost
//	injector.on_time        s  start of the boost to the start of the last recoil; where
//	                           that follows the boost at once, the driver may have let go
//	                           anywhere in it, and the interval says so
func (g *injector) boosted(ch *trace.Channel, runs []trace.Segment) bool {
	lo, hi, ok := extremes(ch.Values, runs, g.rate)
	if !ok {
		return false
	}
	v := signal{v: ch.Values}
	lowest, _ := densest(ch.Values, runs, lo, hi)
	if first := g.firstBeyond(v, runs, lowest, 0.5*math.Max(hi-lowest, lowest-lo)); first < 0 {
		v.down = true
		hi = -lo // the lowest is needed no more
	}
	rest := quietLevel(v, runs)
	if hi < leastBoost || hi > mostBoost || hi-rest < leastBoostRise {
		return false
	}
	var starts, ons, volts, falls []float64
	var firsts, lasts []int
	whole := 0
	mid, near := rest+0.5*(hi-rest), leastBoostRise/4
	for _, r := range runs {
		begun := len(firsts)
		for i := r.First + 1; i < r.End; i++ {
			if !(v.at(i-1) < mid && v.at(i) >= mid) || !quietBefore(v, max(r.First, i-int(restBefore*g.rate)), i-1, rest, near) {
				continue
			}
			end := i
			for end < r.End && v.at(end) >= mid {
				end++
			}
			if long := float64(end-i) / g.rate; long < shortestBoost || long > longestBoost {
				return false
			}
			firsts, lasts = append(firsts, i), append(lasts, end)
			starts = append(starts, g.seconds(i-1)+(mid-v.at(i-1))/(v.at(i)-v.at(i-1))/g.rate)
			volts = append(volts, stats.Median(slices.Clone(v.part(i+(end-i)/8, i+max(1, (end-i)/2)))))
			i = end
		}
		for k := begun; k < len(firsts); k++ {
			to := firsts[k] + int(boostedInterval*g.rate)
			if k+1 < len(firsts) {
				to = min(to, firsts[k+1]-1)
			}
			if to > r.End {
				continue
			}
			whole++
			if off := recoil(v, lasts[k], to, recoilShare*hi); off > 0 {
				ons = append(ons, g.seconds(off)-starts[k]-0.5/g.rate)
				if off-lasts[k] <= max(2, int(unheldSeconds*g.rate)) {
					falls = append(falls, float64(recoilEnd(v, off, to, recoilShare*hi)-off)/g.rate)
				}
			}
		}
	}
	n := len(starts)
	if n == 0 {
		return false
	}
	g.driver = Boosted
	few := eventFlags(n)
	if v.down {
		g.note(evidence.Inverted, false, "%s: the probe is turned over; the trace was turned back for measuring", ch.Name)
	}
	g.note("", false, "%s: driver type %s, %d injections", ch.Name, g.driver, n)
	m, se := spreadMiddle(volts, 0)
	if cutOff(v, math.Max(0.01, se)) || ch.FullScale > 0 && hi > 0.995*ch.FullScale {
		few = append(slices.Clone(few), evidence.Clipped)
	}
	g.emit("injector.boost_voltage", "V", m, math.Hypot(se, 0.005*m), n, firsts[0], lasts[n-1], few...)
	if whole == 0 || 3*len(ons) < 2*whole {
		g.refuse("injector.on_time", "", "this side of the driver does not show when the other lets go", "record the current, or the voltage between both pins of the injector")
		return true
	}
	if g.changed(starts, ons) {
		return true
	}
	m, se = spreadMiddle(ons, 0.4/g.rate)
	if 2*len(falls) > len(ons) {
		// Driven back on purpose after the peak, or switched off there: the line is the
		// same. Even over the fall, the middle of it.
		fall := stats.Median(falls)
		m, se = m+fall/2, math.Hypot(se, fall/math.Sqrt(12))
		g.note("", true, "%s: no hold follows the boost: the driver may have let go anywhere in the %s ms in which the current is driven back", ch.Name, round3(1e3*fall))
	}
	few = eventFlags(len(ons))
	if 1/g.rate > 0.02*m {
		few = append(few, evidence.TooSlow)
	}
	for i, from := range firsts {
		g.mark("injector.on_time", i, from, min(len(ch.Values)-1, from+int(m*g.rate)), "on %.2f ms", 1e3*m)
	}
	g.timed = g.emit("injector.on_time", "s", m, math.Hypot(se, 0.3/g.rate), len(ons), firsts[0], lasts[n-1], few...)
	return true
}

// firstBeyond is the sign of the first departure from a level by more than far.
func (g *injector) firstBeyond(v signal, runs []trace.Segment, level, far float64) int {
	for _, r := range runs {
		for i := r.First; i < r.End; i++ {
			if d := v.at(i) - level; math.Abs(d) > far {
				return int(math.Copysign(1, d))
			}
		}
	}
	return 0
}

// quietLevel is the level the line is at most of the time.
func quietLevel(v signal, runs []trace.Segment) float64 {
	n := 0
	for _, r := range runs {
		n += r.End - r.First
	}
	stride := max(1, n/levelSamples)
	var x []float64
	for _, r := range runs {
		for i := r.First; i < r.End; i += stride {
			x = append(x, v.at(i))
		}
	}
	return shorth(x, stats.Median(x))
}

// quietBefore reports whether nearly all samples lie near the rest.
func quietBefore(v signal, from, to int, rest, near float64) bool {
	off := 0
	for i := from; i < to; i++ {
		if math.Abs(v.at(i)-rest) > near {
			off++
		}
	}
	return 10*off <= to-from
}

// recoil is the first sample of the last stretch below zero by more than deep, 0 where
// there is none or the driver was on again after it.
func recoil(v signal, from, to int, deep float64) int {
	at := 0
	for i := from; i < to; i++ {
		switch x := v.at(i); {
		case x < -deep && v.at(i-1) >= -deep:
			at = i
		case x > max(4, 0.25*deep) && at > 0:
			at = 0 // driven again
		}
	}
	return at
}

// recoilEnd is the sample in which a stretch below zero by more than deep ends.
func recoilEnd(v signal, from, to int, deep float64) int {
	for from < to && v.at(from) < -deep {
		from++
	}
	return from
}

// boostedOrNot says why a line without a low-side driver's switching is not read.
func (g *injector) boostedOrNot(ch *trace.Channel, runs []trace.Segment, feature, why string) {
	if g.boosted(ch, runs) {
		return
	}
	if g.driver == Boosted {
		g.refuse("injector.boost_voltage", evidence.WrongChannel, fmt.Sprintf("%s shows no boost of %.0f V and more", ch.Name, leastBoost), "measure on the high side of the injector, with a probe and range that reach 100 V")
		return
	}
	g.refuse(feature, evidence.WrongChannel, why, "back-probe the driver side of the injector, and check the probe's attenuation")
}
