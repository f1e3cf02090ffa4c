package job

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"proveout/evidence"
	"proveout/strict"
	"proveout/unit"
)

// quantity reads "1.42 mm", or a bare number in the unit given apart.
func quantity(s, unitApart string) (unit.Quantity, error) {
	s = strings.TrimSpace(s)
	if bare(s) && unitApart != "" {
		return unit.ParseQuantity(s + " " + unitApart)
	}
	return unit.ParseQuantity(s)
}

// bare reports whether s is a number without a unit.
func bare(s string) bool {
	f, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(s), ",", ".", 1), 64)
	return err == nil && !math.IsNaN(f) && !math.IsInf(f, 0)
}

// of reads a quantity for a feature and checks that the unit fits it. Counts and
// ratios may be bare numbers; the height of a trace, which is compared with the
// others only, may be in volts.
func of(s, unitApart string, f evidence.Feature) (unit.Quantity, error) {
	q, err := quantity(s, unitApart)
	if err != nil {
		if strings.Contains(err.Error(), "does not start with a number") {
			return q, fmt.Errorf("%s is no number with a unit; write for example \"%s\"", strict.Quote(s), sample(f))
		}
		if strings.HasPrefix(err.Error(), "unit ") {
			var fit []string
			for _, u := range unit.Of(f.Dim) {
				fit = append(fit, u.Symbol)
			}
			return q, fmt.Errorf("the unit of %s is not known; for %s write one of: %s", strict.Quote(strings.TrimSpace(s+" "+unitApart)), f.Name, strings.Join(fit, " "))
		}
		return q, err
	}
	if q.Unit.Dim == f.Dim || f.Amplitude && f.Dim == unit.None && q.Unit.Dim == unit.Voltage {
		return q, nil
	}
	if bare(s) && unitApart == "" {
		if f.Dim == unit.Count {
			return unit.New(q.Typed, unit.Must("count"))
		}
		return q, fmt.Errorf("%s has no unit; write for example \"%s %s\"", strict.Quote(s), strings.TrimSpace(s), f.Unit)
	}
	return q, fmt.Errorf("%s is a %s, but %s is a %s; write for example \"%s\"", q.Unit.Symbol, q.Unit.Dim, f.Name, f.Dim, sample(f))
}

func sample(f evidence.Feature) string {
	if f.Dim == unit.None || f.Dim == unit.Count {
		return "3"
	}
	return "1.42 " + f.Unit
}

// spread reads a standard uncertainty in SI: a quantity of the same kind, a bare
// number in the unit of the value, or a share of the value in percent.
func spread(s string, v unit.Quantity) (float64, error) {
	if strings.TrimSpace(s) == "" {
		return 0, nil
	}
	q, err := quantity(s, v.Unit.Symbol)
	if err != nil {
		return 0, err
	}
	sigma := q.Unit.StepSI(q.Typed)
	switch {
	case q.Unit.Dim == v.Unit.Dim:
	case q.Unit.Dim == unit.Percent:
		sigma = math.Abs(v.SI) * q.Typed / 100
	default:
		return 0, fmt.Errorf("%s is a %s, the value is a %s; write for example \"0.05 %s\" or \"5 %%\"", q.Unit.Symbol, q.Unit.Dim, v.Unit.Dim, v.Unit.Symbol)
	}
	if sigma < 0 {
		return 0, fmt.Errorf("%s is below zero; an uncertainty is a size", strict.Quote(s))
	}
	return sigma, nil
}
