package report

import "strings"

// textWidth is how many letters a line of the text form has (our choice: what a terminal
// and a mail show whole).
const textWidth = 90

// Text sets the sheet as plain text: all of it, without the figures.
func Text(s Sheet) []byte {
	var b strings.Builder
	line := func(indent int, text string) {
		pad := strings.Repeat(" ", indent)
		used := 0
		for _, w := range strings.Fields(text) {
			n := len([]rune(w))
			switch {
			case used == 0:
				b.WriteString(pad)
				used = indent
			case used+1+n > textWidth:
				b.WriteString("\n" + pad)
				used = indent
			default:
				b.WriteString(" ")
				used++
			}
			b.WriteString(w)
			used += n
		}
		b.WriteString("\n")
	}
	line(0, s.Shop)
	line(0, s.Word+" · "+s.State.Word)
	if s.Practice {
		line(0, s.Mark)
	}
	for _, f := range append(append([]Fact{}, s.Head...), s.ID...) {
		line(0, f.Name+": "+f.Value)
	}
	for _, p := range s.Parts {
		b.WriteString("\n")
		line(0, strings.ToUpper(p.Name))
		for _, t := range []string{quotedWords(p.Said), p.Key} {
			if t != "" {
				line(2, t)
			}
		}
		for _, n := range p.Notes {
			line(2, n.Lead+" "+n.Text)
		}
		if t := p.Table; t != nil {
			line(2, strings.Join(t.Head, " | "))
			for _, r := range t.Rows {
				row := r.Name
				for _, c := range r.Cells {
					row += " | " + c.Text
				}
				line(2, row)
			}
		}
		for _, e := range p.Items {
			line(2, itoa(e.Number)+" "+e.Text)
		}
	}
	b.WriteString("\n")
	for _, n := range s.Sign {
		line(0, n+": ____________________")
	}
	line(0, s.Key)
	line(0, s.Foot)
	return []byte(b.String())
}

func quotedWords(s string) string {
	if s == "" {
		return ""
	}
	return "“" + s + "”"
}
