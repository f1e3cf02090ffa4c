package shop

import (
	"slices"

	"proveout/book"
	"proveout/evidence"
)

// route gives each reading to the one test that was done. Several tests may read
// one feature in the same way and differ only in the operating states they are
// valid for (a misfire counter at idle, and under load): a reading taken at idle
// answers the first and says nothing to the second. Without this one count would
// be two pieces of evidence.
//
// A reading whose state is known goes to the tests valid in that state. One
// whose state is not known goes to those valid in a state the complaint shows
// in, or, failing that, to the first. Where no test of the set is valid in the
// state, the finding is kept and the odds weaken it by its coverage.
func (w *work) route(fs []evidence.Finding) []evidence.Finding {
	out := make([]evidence.Finding, 0, len(fs))
	for i := range fs {
		if w.answers(&fs[i]) {
			out = append(out, fs[i])
		}
	}
	return out
}

func (w *work) answers(f *evidence.Finding) bool {
	t := findTest(w.instance, f.Test)
	if t == nil || t.Reads == nil || len(t.At) == 0 {
		return true
	}
	var set []*book.Test // tests that read the same in the same way
	seen := map[string]bool{}
	for i := range w.instance.Tests {
		u := w.instance.Tests[i].Test
		if u.Reads != nil && !seen[u.ID] && u.Reads.Feature == t.Reads.Feature && u.Reads.Versus == t.Reads.Versus && u.Per == t.Per {
			seen[u.ID] = true
			set = append(set, u)
		}
	}
	if len(set) < 2 {
		return true
	}
	valid := func(u *book.Test) bool {
		if len(u.At) == 0 {
			return true
		}
		if f.Condition.State != evidence.StateUnknown {
			return slices.Contains(u.At, string(f.Condition.State))
		}
		for _, s := range w.resolved.Complaint.States {
			if slices.Contains(u.At, string(s)) {
				return true
			}
		}
		return false
	}
	if valid(t) {
		return true
	}
	if slices.ContainsFunc(set, valid) {
		return false
	}
	return set[0] == t
}
