package cli

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"unicode/utf8"
)

// lineWidth is the terminal the text is made for.
const lineWidth = 80

// page writes text wrapped to lineWidth. The first write error ends it; a
// broken pipe is not a fault of the job.
type page struct {
	w   io.Writer
	err error
}

func (p *page) line(s string) {
	if p.err == nil {
		_, p.err = io.WriteString(p.w, strings.TrimRight(s, " ")+"\n")
	}
}

// head starts a part.
func (p *page) head(s string) {
	p.line("")
	p.line(s)
	p.line(strings.Repeat("-", min(lineWidth, utf8.RuneCountInString(s))))
}

// hint prints what helps whoever writes the job file; nothing where there is none.
func (p *page) hint(s string) {
	if s != "" {
		p.para("Hint: ", s+".", 6)
	}
}

// para wraps s; the first line begins with first, the others with as many
// spaces as rest says.
func (p *page) para(first, s string, rest int) {
	words := strings.Fields(s)
	line := first
	room := utf8.RuneCountInString(line)
	empty := true
	for _, w := range words {
		n := utf8.RuneCountInString(w)
		if !empty && room+1+n > lineWidth {
			p.line(line)
			line, room, empty = strings.Repeat(" ", rest), rest, true
		}
		if !empty {
			line += " "
			room++
		}
		line += w
		room += n
		empty = false
	}
	p.line(line)
}

// chance writes a reckoned chance: up to a third as times in 100, above as a
// percentage, never a bare 0 or 100.
func chance(x float64) string {
	switch {
	case math.IsNaN(x):
		return "≈ ?"
	case x < 0.001:
		return "≈ under 1 in 1,000"
	case x < 0.01:
		return "≈ under 1 in 100"
	case x <= 1.0/3:
		return fmt.Sprintf("≈ %.0f in 100", 100*x)
	case x > 0.99:
		return "≈ over 99 %"
	}
	return fmt.Sprintf("≈ %.0f %%", 100*x)
}

// weight writes a factor as a bay would: × for, ÷ against, "even" under 5 %.
func weight(f float64) string {
	switch {
	case math.IsNaN(f) || f <= 0:
		return "?"
	case f > 1/1.05 && f < 1.05:
		return "even"
	case f >= 1:
		return "×" + figure(f)
	}
	return "÷" + figure(1/f)
}

func figure(f float64) string {
	switch {
	case f >= 9.95:
		return fmt.Sprintf("%.0f", f)
	}
	return fmt.Sprintf("%.1f", f)
}

// figures writes a value with at most three significant decimals, without
// trailing zeros.
func figures(v float64) string {
	a := math.Abs(v)
	digits := 3
	switch {
	case a >= 100:
		digits = 0
	case a >= 10:
		digits = 1
	case a >= 1:
		digits = 2
	case a < 0.1 && a > 0: // three that say something: 0.00005 is not 0
		digits = 2 - int(math.Floor(math.Log10(a)))
	}
	s := fmt.Sprintf("%.*f", digits, v)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }
