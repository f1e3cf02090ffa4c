package measure

import (
	"fmt"

	"proveout/evidence"
)

// name gives each finding a stable id: test (or feature) @ subject, with the side
// of the repair, and the operating condition or a counter where two would share one.
func name(fs []evidence.Finding) {
	seen := map[string]int{}
	for i := range fs {
		f := &fs[i]
		id := f.Test
		if id == "" {
			id = f.Feature
		}
		id += "@" + f.Subject.Key()
		if f.When == "after" {
			id += "/after"
		}
		seen[id]++
		if seen[id] > 1 && f.Condition.State != "" {
			id += "/" + string(f.Condition.State)
			seen[id]++
		}
		if n := seen[id]; n > 1 {
			id = fmt.Sprintf("%s#%d", id, n)
		}
		f.ID = id
	}
}

// group is the readings that may be compared: one feature, one side of the
// repair, one operating condition.
type group struct {
	feature  string
	when     string
	cond     evidence.Condition
	readings []evidence.Reading
}

// comparable is the part of a condition that must agree. The state is left out
// where the feature's id holds it already.
func comparable(feature string, c evidence.Condition) evidence.Condition {
	k := evidence.Condition{Warm: c.Warm, Wet: c.Wet}
	if !stateInID(feature) {
		k.State = c.State
	}
	return k
}

func stateInID(feature string) bool {
	for _, s := range []string{"_idle", "_snap", "_load", "_cruise", ".idle", ".raised", ".cruise", ".load", ".snap", ".running", ".snap_ratio", "_dry", ".dry", ".wet"} {
		if len(feature) > len(s) && feature[len(feature)-len(s):] == s {
			return true
		}
	}
	return false
}

func groupReadings(rs []evidence.Reading) []group {
	type key struct {
		feature, when string
		cond          evidence.Condition
	}
	idx := map[key]int{}
	var out []group
	for _, r := range rs {
		when := r.When
		if when == "before" {
			when = ""
		}
		k := key{r.Feature, when, comparable(r.Feature, r.Condition)}
		i, ok := idx[k]
		if !ok {
			i = len(out)
			idx[k] = i
			out = append(out, group{feature: r.Feature, when: when, cond: k.cond})
		}
		out[i].readings = append(out[i].readings, r)
	}
	return out
}

// familyOf is the kind of measurement a feature belongs to: the part of its id
// before the dot. Comparisons of one family are corrected together; an unrelated
// measurement does not weaken them (our choice).
func familyOf(feature string) string {
	for i := range feature {
		if feature[i] == '.' {
			return feature[:i]
		}
	}
	return feature
}
