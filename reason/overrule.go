package reason

import (
	"fmt"
	"strings"
)

// overrule sets the states that a person has set, each with its reason. The
// numbers stay as they are. A part may be shown by word, which no rule counts as a
// direct test: the search does not stop by it and nothing is proven by it. What a
// direct test has shown stays shown by that test.
func (e *Engine) overrule(a *Answer) {
	for x := range a.Suspects {
		for i := range e.c.Overrules {
			o := &e.c.Overrules[i]
			s := &a.Suspects[x]
			if o.Suspect != s.Suspect.ID {
				continue
			}
			s.Overruled = o
			if o.State != Shown {
				s.Reason = fmt.Sprintf("Set to %q by %s: %s. The numbers say: %s", o.State, whoOr(o.Who), strings.TrimRight(o.Reason, ". "), s.Reason)
				if s.State, s.By = o.State, ""; s.State == RuledOut {
					s.By = ByWord
				}
				continue
			}
			if s.WasShown() {
				s.Reason += fmt.Sprintf(" %s says so too: %s.", capital(whoOr(o.Who)), strings.TrimRight(o.Reason, ". "))
				continue
			}
			s.State, s.By = Shown, ByWord
			s.Reason = fmt.Sprintf("Shown by word of %s, not by a test: %s. The readings say: %s", whoOr(o.Who), strings.TrimRight(o.Reason, ". "), s.Reason)
		}
	}
}

// byWord says which parts are shown only by a person's word; empty where none is.
func byWord(a *Answer) string {
	var parts []string
	who := ""
	for x := range a.Suspects {
		if s := &a.Suspects[x]; s.State == Shown && s.By == ByWord {
			parts = append(parts, fmt.Sprintf("%s (the readings give it %s)", phrase(s), percent(s.Chance)))
			who = whoOr(s.Overruled.Who)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return fmt.Sprintf(" Shown by word of %s, which is no direct test: %s.", who, list(parts, "and"))
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
