package reason

import (
	"math"
	"strconv"
	"strings"
)

// number writes a figure with three significant digits.
func number(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }

// percent writes a chance for a person: never a bare 0 % or 100 %.
func percent(p float64) string {
	switch {
	case p < 0.001:
		return "below 0.1 %"
	case p > 0.999:
		return "above 99.9 %"
	case p < 0.1 || p > 0.99:
		return strconv.FormatFloat(p*100, 'f', 1, 64) + " %"
	}
	return strconv.FormatFloat(p*100, 'f', 0, 64) + " %"
}

// times writes a factor as "times 4.2" or "to one 12th".
func times(f float64) string {
	if f >= 1 || f <= 0 {
		return "times " + number(f)
	}
	if k := 1 / f; k >= 1.95 {
		return "divided by " + number(k)
	}
	return "times " + strconv.FormatFloat(f, 'f', 2, 64)
}

// list joins words: "a", "a or b", "a, b or c".
func list(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " " + last + " " + words[len(words)-1]
}

func minutes(m float64) string { return strconv.FormatFloat(math.Round(m), 'f', 0, 64) + " min" }

// capital writes the first letter large.
func capital(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}
