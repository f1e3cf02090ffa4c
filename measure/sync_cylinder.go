package measure

import (
	"slices"
	"strconv"
	"strings"

	"proveout/evidence"
	"proveout/trace"
)

// syncCylinder is the cylinder whose firing a sync marks: what the job says of the
// column, else what its name says ("sync cyl 3"), else cylinder 1.
func (m Meta) syncCylinder(ch *trace.Channel) int {
	if c, ok := m.column(ch.Name); ok && c.Subject.Kind == evidence.Cylinder {
		return c.Subject.Number
	}
	return max(1, cylinderNamed(strings.Fields(foldName(ch.Name))))
}

// cylinderNamed is the cylinder that a folded name says: "sync cyl 3", "trigger zyl 3";
// 0: none.
func cylinderNamed(words []string) int {
	for i, w := range words[:max(0, len(words)-1)] {
		if !slices.Contains([]string{"cyl", "cylinder", "zyl", "zylinder"}, w) {
			continue
		}
		if n, err := strconv.Atoi(words[i+1]); err == nil && n > 0 {
			return n
		}
	}
	return 0
}

// orderFrom is a firing order begun at a cylinder; nil where the engine has none such.
func orderFrom(order []int, cylinder int) []int {
	at := slices.Index(order, cylinder)
	if at < 0 {
		return nil
	}
	return append(slices.Clone(order[at:]), order[:at]...)
}
