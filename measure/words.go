package measure

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"proveout/evidence"
	"proveout/unit"
)

// show writes an SI value of a feature in its own unit, for people.
func show(si float64, f evidence.Feature) string {
	u, err := unit.Parse(f.Unit)
	if err != nil || u.Dim != f.Dim {
		return strconv.FormatFloat(si, 'g', 3, 64)
	}
	switch u.Symbol {
	case "1", "ratio", "x", "lambda", "count":
		return plain(u.FromSI(si))
	}
	return unit.Format(si, u)
}

// showStep writes a difference.
func showStep(si float64, f evidence.Feature) string {
	u, err := unit.Parse(f.Unit)
	if err != nil || u.Dim != f.Dim {
		return strconv.FormatFloat(si, 'g', 2, 64)
	}
	v := u.Step(si)
	switch u.Symbol {
	case "1", "ratio", "x", "lambda", "count":
		return plain(v)
	case "%":
		return strconv.FormatFloat(v, 'f', 1, 64) + " points"
	}
	return strconv.FormatFloat(v, 'f', unit.Decimals(u), 64) + " " + u.Symbol
}

// plusMinus writes a value with its 95 % width, with as many decimals as the width
// needs to be seen: 1.4 s that is known to 0.02 s is neither "1 s" nor "± 0 s", and
// 50.934 mV ± 3.606 mV says no more than 50.9 mV ± 3.6 mV. A count has no width.
func plusMinus(si, width float64, f evidence.Feature) string {
	u, err := unit.Parse(f.Unit)
	if err != nil || u.Dim != f.Dim {
		return show(si, f) + " ± " + showStep(width, f)
	}
	w := math.Abs(u.Step(width))
	usual := unit.Decimals(u)
	switch u.Symbol {
	case "count":
		if w < 0.5 { // counted, not estimated
			return show(si, f)
		}
		return show(si, f) + " ± " + showStep(width, f)
	case "1", "ratio", "x", "lambda", "%":
		return show(si, f) + " ± " + showStep(width, f)
	}
	if !(w > 0) {
		return show(si, f) + " ± " + showStep(width, f)
	}
	d := min(6, int(math.Ceil(-math.Log10(w))))
	if w >= math.Pow(10, -float64(usual)) { // two figures of the width are enough
		d = min(usual, max(0, 1-int(math.Floor(math.Log10(w)))))
	}
	write := func(v float64) string { return strconv.FormatFloat(v, 'f', d, 64) + " " + u.Symbol }
	return write(u.FromSI(si)) + " ± " + write(w)
}

// plain writes a bare number with three figures, whole where it is.
func plain(v float64) string {
	if v == math.Trunc(v) && math.Abs(v) < 1e6 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	d := 2
	if a := math.Abs(v); a >= 100 {
		d = 0
	} else if a >= 10 {
		d = 1
	}
	return strconv.FormatFloat(v, 'f', d, 64)
}

func fromSI(si float64, f evidence.Feature) float64 {
	if u, err := unit.Parse(f.Unit); err == nil && u.Dim == f.Dim {
		return u.FromSI(si)
	}
	return si
}

func step(si float64, f evidence.Feature) float64 {
	if u, err := unit.Parse(f.Unit); err == nil && u.Dim == f.Dim {
		return u.Step(si)
	}
	return si
}

// spokenSubject starts a sentence: "Cylinder 3", "Engine".
func spokenSubject(s evidence.Subject) string {
	if s.Kind == "" {
		return "No cylinder given"
	}
	return sentence(s.String())
}

// sentence makes the first letter a capital.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// percent writes a fraction as a whole percentage, or with one decimal below 3 %.
func percent(x float64) string {
	p := 100 * x
	if math.Abs(p) < 3 {
		return strconv.FormatFloat(p, 'f', 1, 64) + " %"
	}
	return strconv.FormatFloat(p, 'f', 0, 64) + " %"
}

// times writes "once", "twice", "3 times", "1 more time".
func moreTimes(n int) string {
	if n == 1 {
		return "once more"
	}
	return fmt.Sprintf("%d more times", n)
}

// without units a number of placements or readings in words.
func howOften(n int, amplitude bool) string {
	what := "read"
	if amplitude {
		what = "placed"
	}
	switch n {
	case 1:
		return what + " once"
	case 2:
		return what + " twice"
	}
	return fmt.Sprintf("%s %d times", what, n)
}
