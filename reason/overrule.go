package reason

import (
	"fmt"
	"strings"
)

// overrule sets the states that a person has set, each with its reason. The
// numbers stay as they are.
func (e *Engine) overrule(a *Answer) {
	for x := range a.Suspects {
		for i := range e.c.Overrules {
			o := &e.c.Overrules[i]
			if o.Suspect == a.Suspects[x].Suspect.ID {
				s := &a.Suspects[x]
				s.Overruled = o
				s.Reason = fmt.Sprintf("Set to %q by %s: %s. The numbers say: %s", o.State, whoOr(o.Who), o.Reason, s.Reason)
				s.State = o.State
				if s.State == RuledOut {
					s.By = "overruled"
				}
			}
		}
	}
}

// inPlay is the likeliest suspect that is not ruled out; where all are, the
// likeliest.
func inPlay(a *Answer) *SuspectAnswer {
	for x := range a.Suspects {
		if a.Suspects[x].State != RuledOut {
			return &a.Suspects[x]
		}
	}
	return &a.Suspects[0]
}

// overruledFirst says that the readings put a suspect first that a person has
// ruled out; empty where they do not.
func overruledFirst(a *Answer) string {
	s := &a.Suspects[0]
	if s.State != RuledOut || s.Overruled == nil {
		return ""
	}
	return fmt.Sprintf(" The readings themselves put %s first (%s), which %s has ruled out: %s.", phrase(s), percent(s.Chance), whoOr(s.Overruled.Who), strings.TrimRight(s.Overruled.Reason, ". "))
}

func whoOr(w string) string {
	if w == "" {
		return "the technician"
	}
	return w
}
