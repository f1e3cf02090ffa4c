package job

import (
	"fmt"
	"strings"
)

// textOfRepair writes what was agreed, put right, proven and handed over.
func (s *State) textOfRepair(doc *fields) {
	approvals := append([]any(nil), s.approved...)
	for i := range s.Approvals {
		if a := &s.Approvals[i]; a.Given {
			f := newFields()
			f.set("what", agreedWords(&a.What))
			f.set("at", a.Wall)
			setText(f, "how", a.What.How)
			setText(f, "who", a.Author)
			approvals = append(approvals, f)
		}
	}
	corrections := append([]any(nil), s.before...)
	for i := range s.Corrections {
		corrections = append(corrections, correctionEntry(&s.Corrections[i]))
	}
	for _, l := range []struct {
		name string
		list []any
	}{{"approvals", approvals}, {"corrections", corrections}} {
		if len(l.list) > 0 {
			doc.set(l.name, l.list)
		}
	}
	if p, ok := s.head.values["proof"]; ok {
		doc.set("proof", p)
	}
	if c := s.Closed; c != nil {
		f := newFields()
		f.set("at", c.Wall)
		setText(f, "odometer", c.What.Odometer)
		setText(f, "because", c.What.Because)
		setText(f, "left", c.What.Left)
		setText(f, "ask_again", c.What.AskAgain)
		doc.set("handed_over", f)
	} else if h, ok := s.head.values["handed_over"]; ok {
		doc.set("handed_over", h)
	}
}

func setText(f *fields, name, v string) {
	if v != "" {
		f.set(name, v)
	}
}

func agreedWords(a *Agreed) string {
	var parts []string
	if a.Minutes > 0 {
		parts = append(parts, fmt.Sprintf("%g min", a.Minutes))
	}
	for _, t := range []string{a.For, a.Amount} {
		if t != "" {
			parts = append(parts, t)
		}
	}
	return strings.Join(parts, ", ")
}

// correctionEntry is a correction as the job file has it.
func correctionEntry(c *Said[Corrected]) *fields {
	f := newFields()
	f.set("done", c.What.Done)
	setText(f, "cause", c.What.Cause)
	f.set("at", c.Wall)
	setText(f, "who", c.Author)
	var parts []any
	for _, p := range c.What.Parts {
		g := newFields()
		g.set("name", p.Name)
		setText(g, "number", p.Number)
		setText(g, "lot", p.Lot)
		if p.Count > 0 {
			g.set("count", p.Count)
		}
		parts = append(parts, g)
	}
	if len(parts) > 0 {
		f.set("parts", parts)
	}
	setText(f, "reused", c.What.Reused)
	return f
}
