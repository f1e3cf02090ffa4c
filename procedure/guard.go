package procedure

import (
	"sort"
	"strings"
)

// Guard is a condition as data, so that it can be checked at load, put into
// words and explored to the end. Fields given together must all hold; an empty
// guard always holds. An unsure fact meets no condition but "not".
type Guard struct {
	All []Guard `yaml:"all"`
	Any []Guard `yaml:"any"`
	Not *Guard  `yaml:"not"`
	// Facts: each fact has one of the values, alternatives written "floor|supported".
	Facts map[string]string `yaml:"facts"`
	// Reading compares a reading with a limit.
	Reading string `yaml:"reading"`
	// Elapsed: at least AtLeast has passed since this step was done.
	Elapsed string `yaml:"elapsed"`
	AtLeast string `yaml:"at_least"`
	AtMost  string `yaml:"at_most"`
	// Done: the step is done.
	Done string `yaml:"done"`
	// Confirmed: the step is done and was confirmed by at least By means.
	Confirmed string `yaml:"confirmed"`
	By        int    `yaml:"by"`
	// Busy: a step of this kind ("hands" or "command") is under way.
	Busy string `yaml:"busy"`
}

// IsEmpty reports whether the guard says nothing.
func (g Guard) IsEmpty() bool {
	return len(g.All) == 0 && len(g.Any) == 0 && g.Not == nil && len(g.Facts) == 0 && g.Reading == "" &&
		g.Elapsed == "" && g.Done == "" && g.Confirmed == "" && g.Busy == ""
}

// replaceSide writes left or right for {side}, and the opposite for {other}.
func replaceSide(s, side string) string {
	if side == "" || !strings.Contains(s, "{") {
		return s
	}
	other := "right"
	if side == "right" {
		other = "left"
	}
	return strings.NewReplacer("{side}", side, "{other}", other).Replace(s)
}

func (g Guard) forSide(side string) Guard {
	if side == "" {
		return g
	}
	out := g
	out.All = guardsForSide(g.All, side)
	out.Any = guardsForSide(g.Any, side)
	if g.Not != nil {
		n := g.Not.forSide(side)
		out.Not = &n
	}
	out.Facts = mapForSide(g.Facts, side)
	out.Reading = replaceSide(g.Reading, side)
	out.Elapsed = replaceSide(g.Elapsed, side)
	out.Done = replaceSide(g.Done, side)
	out.Confirmed = replaceSide(g.Confirmed, side)
	return out
}

func guardsForSide(gs []Guard, side string) []Guard {
	var out []Guard
	for _, g := range gs {
		out = append(out, g.forSide(side))
	}
	return out
}

func mapForSide(m map[string]string, side string) map[string]string {
	if m == nil {
		return nil
	}
	out := make(map[string]string, len(m))
	for k, v := range m {
		out[replaceSide(k, side)] = replaceSide(v, side)
	}
	return out
}

// sortedKeys gives the keys of a map in order: results never depend on map order.
func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
