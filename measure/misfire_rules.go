package measure

import (
	"fmt"
	"math"
)

// FiringEvents is the number of firings of the whole engine in some revolutions
// of a four-stroke: revolutions x cylinders / 2 (standards.md 7.1).
func FiringEvents(cylinders, revolutions int) float64 {
	return float64(revolutions) * float64(cylinders) / 2
}

// MisfirePercent is misfires per firing of the whole engine, as the regulation
// counts it over 200 or 1000 revolutions (40 CFR 86.010-18 (h)(2)(ii)). NaN
// without revolutions or cylinders.
func MisfirePercent(misfires, cylinders, revolutions int) float64 {
	n := FiringEvents(cylinders, revolutions)
	if n <= 0 {
		return math.NaN()
	}
	return 100 * float64(misfires) / n
}

// RegisterAfterClean is what is left of a weighted misfire register (monitor test
// 0B: 0.1 x counts of this cycle + 0.9 x register) after n cycles without a
// count: register x 0.9^n. After ten clean cycles 35 % are still there.
func RegisterAfterClean(register float64, n int) float64 {
	return register * math.Pow(0.9, float64(max(n, 0)))
}

// CountsBehindRegister is the least number of counts a register can stand for:
// ten for each, all in the last cycle; more if they are older.
func CountsBehindRegister(register float64) float64 { return 10 * register }

// CylinderRule is what the regulation lets the controller store.
type CylinderRule string

// Single: more than 90 % of the misfires in one cylinder. Multiple: two or more
// cylinders with more than 10 % each. Undecided: neither clause decides, the
// multiple code is the default. Limits are strict.
// Source: 40 CFR 86.010-18 (h)(2)(i)(C).
const (
	SingleCylinder   CylinderRule = "single"
	MultipleCylinder CylinderRule = "multiple"
	Undecided        CylinderRule = "undecided"
)

// JudgeCylinders applies the cylinder rule to counts; cylinder is 1-based and set
// for SingleCylinder. Undecided when there is no count at all.
func JudgeCylinders(counts []float64) (rule CylinderRule, cylinder int) {
	total := 0.0
	for _, c := range counts {
		total += c
	}
	if total <= 0 {
		return Undecided, 0
	}
	above := 0
	for i, c := range counts {
		if c > 0.9*total {
			return SingleCylinder, i + 1
		}
		if c > 0.1*total {
			above++
		}
	}
	if above >= 2 {
		return MultipleCylinder, 0
	}
	return Undecided, 0
}

// LoadWithin says how "load within 20 percent" is read: the regulation does not
// say whether of the stored value or in points.
type LoadWithin string

// The two readings.
const (
	Relative LoadWithin = "20 % of the stored load"
	Points   LoadWithin = "20 points of load"
)

// FaultConditions are what was stored with a misfire code.
type FaultConditions struct {
	RPM, LoadPct float64
	Warm         bool
}

// Similar reports whether conditions count as similar: engine speed within 375
// rpm, load within 20 percent, same warm-up state, limits included (40 CFR
// 86.010-2; that the limits are included is assumed).
func (c FaultConditions) Similar(now FaultConditions, how LoadWithin) bool {
	const tiny = 1e-9
	band := 20.0
	if how == Relative {
		band = 0.20 * c.LoadPct
	}
	return math.Abs(now.RPM-c.RPM) <= 375+tiny && math.Abs(now.LoadPct-c.LoadPct) <= band+tiny && now.Warm == c.Warm
}

// Drive is what the permanent-code drive is judged by.
type Drive struct {
	SinceStart    float64 // s
	FastEnough    float64 // s at or above 40 km/h
	LongestIdling float64 // s of continuous idle
}

// Met reports whether the drive counts (at least 600 s since start, 300 s at 40
// km/h or more, 30 s of continuous idle; 40 CFR 86.010-18 (d)(4)(ii)) and, if
// not, what is missing.
func (d Drive) Met() (bool, string) {
	switch {
	case d.SinceStart < 600:
		return false, fmt.Sprintf("time: %.0f s of 600 s", d.SinceStart)
	case d.FastEnough < 300:
		return false, fmt.Sprintf("25 mph time: %.0f s of 300 s at 40 km/h or more", d.FastEnough)
	case d.LongestIdling < 30:
		return false, fmt.Sprintf("idle: no continuous 30 s idle (longest %.0f s)", d.LongestIdling)
	}
	return true, ""
}

// Episodes joins events (times in s, not decreasing) that follow one another
// within gap seconds, and returns the time of the first event of each episode.
func Episodes(times []float64, gap float64) []float64 {
	var out []float64
	last := math.Inf(-1)
	for _, t := range times {
		if t-last > gap {
			out = append(out, t)
		}
		last = t
	}
	return out
}
