package reason

import (
	"slices"

	"proveout/book"
	"proveout/evidence"
)

// covered is how much of fault f a test sees under the condition in which it
// was done: 1 when the fault would have shown as the book's row says, 0 when it
// could not have shown at all. The likelihood is then
//
//	covered * L_fault + (1 - covered) * L_healthy.
//
// A static test looks at the part itself and sees everything. Otherwise the
// operating state, the warm-up state and wetness each take their share; several
// conditions that were not written down are weakened once.
func (m *model) covered(f *book.Fault, t *book.Test, at evidence.Condition, unsure bool, c *Case) float64 {
	if t.Static {
		return 1
	}
	l := &m.limits
	cover, unknown := 1.0, unsure
	inState := func(ok bool) {
		if ok {
			return
		}
		if n, named := f.Shows[string(at.State)]; named {
			cover *= n.Value
			return
		}
		cover *= m.setting(func(s *book.Settings) book.Num { return s.CoverageState }, l.CoverageState)
	}
	switch {
	case at.State == evidence.StateUnknown:
		unknown = unknown || len(t.At) > 0
	case len(t.At) > 0:
		inState(slices.Contains(t.At, string(at.State)))
	case len(c.States) > 0:
		inState(slices.Contains(c.States, at.State))
	}
	warm := c.Complaint.Warm
	if f.Only == "hot" || f.Only == "cold" {
		warm = f.Only
	}
	if warm == "hot" || warm == "cold" {
		switch at.Warm {
		case warm:
		case "":
			unknown = true
		default:
			if f.Only == warm {
				return 0
			}
			cover *= m.setting(func(s *book.Settings) book.Num { return s.CoverageWarm }, l.CoverageWarm)
		}
	}
	if f.Only == "wet" || isWet(c.Complaint.Wet) {
		switch {
		case isWet(at.Wet):
		case at.Wet == "":
			unknown = true
		case f.Only == "wet":
			return 0
		default:
			cover *= m.setting(func(s *book.Settings) book.Num { return s.CoverageWet }, l.CoverageWet)
		}
	}
	if unknown {
		cover *= m.setting(func(s *book.Settings) book.Num { return s.CoverageUnknown }, l.CoverageUnknown)
	}
	return min(max(cover, 0), 1)
}

func isWet(s string) bool { return s == "wet" || s == "damp" }
