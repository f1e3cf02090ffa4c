package measure

import "math"

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
