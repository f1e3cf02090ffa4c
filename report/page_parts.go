package report

import "math"

// head sets shop, state and the facts of the job and the vehicle.
func (p *page) head(s Sheet) {
	half := p.width * 0.45
	top := p.y
	p.paragraph(p.left, half, shopSize, run{s.Shop, "B"})
	p.square(p.left, p.y+0.9, 3.2, s.State.Square)
	p.text(p.left+5, p.y+3.9, half-5, key, "B", s.Word+" · "+s.State.Word)
	p.y += 5.2
	if s.Practice {
		p.paragraph(p.left, half, key, run{s.Mark, "B"})
	}
	left := p.y
	p.y = top
	x, w := p.left+half+gutter, p.width-half-gutter
	for _, f := range s.Head {
		p.paragraph(x, w, note, run{f.Name, ""}, run{f.Value, "B"})
	}
	p.y = math.Max(p.y, left) + 0.8
	p.rule(0.7)
	p.y += 0.8
	p.facts(s.ID)
	p.y += 0.6
	p.rule(0.25)
}

// facts sets names over values in three columns.
func (p *page) facts(fs []Fact) {
	const columns = 3
	w := (p.width - (columns-1)*gutter) / columns
	for i := 0; i < len(fs); i += columns {
		top, low := p.y, p.y
		for k := i; k < min(i+columns, len(fs)); k++ {
			p.y = top
			p.paragraph(p.left+float64(k-i)*(w+gutter), w, note, run{fs[k].Name + ":", ""}, run{fs[k].Value, "B"})
			low = math.Max(low, p.y)
		}
		p.y = low
	}
}

// square draws the proof square with its border: printers drop backgrounds.
func (p *page) square(x, y, size float64, q Square) {
	p.doc.SetLineWidth(0.5)
	p.doc.SetFillColor(0, 0, 0)
	switch q {
	case Solid:
		p.doc.Rect(x, y, size, size, "FD")
	case Half:
		p.doc.Rect(x, y, size/2, size, "F")
		p.doc.Rect(x, y, size, size, "D")
	default:
		p.doc.Rect(x, y, size, size, "D")
	}
}

// part sets one line of the ledger: its name, a double rule, its words.
func (p *page) part(part Part) {
	top := p.y + 0.9
	x := p.left + nameWidth + gutter
	w := p.width - nameWidth - gutter
	if p.room(mm(name)) {
		p.text(p.left, top+mm(name), nameWidth-1, name, "B", part.Name)
	}
	p.y = top
	if part.Said != "" {
		p.paragraph(x, w, saidSize, run{"“" + clipped(part.Said, p.clip) + "”", "I"})
	}
	if part.Key != "" {
		p.paragraph(x, w, key, run{part.Key, "B"})
	}
	for _, n := range part.Notes {
		if !n.Unprinted {
			p.paragraph(x, w, note, run{n.Lead, "B"}, run{n.Text, ""})
		}
	}
	if part.Table != nil {
		p.table(*part.Table, x, w)
	}
	if len(part.Figures) > 0 && !part.FiguresUnprinted {
		p.y += 1
		high, at := 0.0, x
		for _, d := range part.Figures {
			if p.room(d.H) {
				d.PDF(p.doc, at, p.y, family)
			}
			at += d.W + 2
			high = math.Max(high, d.H)
		}
		p.y += high
	}
	p.entries(part.Items, x, w)
	p.y = math.Max(p.y, top+mm(name)*1.2) + 0.9
	low := math.Min(p.y, p.bottom)
	p.doc.SetLineWidth(0.2)
	for _, dx := range []float64{0, 0.7} {
		p.doc.Line(x-gutter/2-0.7+dx, top-0.9, x-gutter/2-0.7+dx, low)
	}
	p.rule(0.25)
}

// table sets a table with its numbers to the right.
func (p *page) table(t Table, x, w float64) {
	columns := len(t.Head) - 1
	if columns < 1 {
		return
	}
	first := w * 0.36
	each := (w - first) / float64(columns)
	line := mm(note) * p.pitch
	row := func(name string, cells []Cell) {
		if p.room(line) {
			p.doc.SetLineWidth(0.1)
			p.doc.Line(x, p.y, x+w, p.y)
			p.text(x, p.y+mm(note)*p.ascent, first-1, note, "", name)
			for i, c := range cells {
				style := ""
				if c.Odd {
					style = "B"
				}
				p.doc.SetFont(family, style, note)
				s := p.fitted(c.Text, each-0.6)
				p.doc.Text(x+first+float64(i+1)*each-p.doc.GetStringWidth(s), p.y+mm(note)*p.ascent, s)
			}
		}
		p.y += line
	}
	p.y += 0.5
	var head []Cell
	for _, h := range t.Head[1:] {
		head = append(head, Cell{Text: h})
	}
	row(t.Head[0], head)
	for _, r := range t.Rows {
		if !r.Unprinted {
			row(r.Name, r.Cells)
		}
	}
	p.y += 0.3
}

// entries sets the items in two columns, one line each.
func (p *page) entries(es []Entry, x, w float64) {
	var shown []Entry
	for _, e := range es {
		if !e.Unprinted {
			shown = append(shown, e)
		}
	}
	line, col := mm(note)*p.pitch, (w-gutter)/2
	rows := (len(shown) + 1) / 2
	for i, e := range shown {
		y := p.y + float64(i%max(1, rows))*line
		if y+line > p.bottom {
			p.cut = true
			continue
		}
		at := x + float64(i/max(1, rows))*(col+gutter)
		p.text(at, y+mm(note)*p.ascent, 6, note, "B", itoa(e.Number))
		p.text(at+6.5, y+mm(note)*p.ascent, col-6.5, note, "", e.Text)
	}
	p.y += float64(rows) * line
}

// signatures sets lines to sign on, and under them the short form of the key by which
// the record is signed.
func (p *page) signatures(names []string, shopKey string) {
	if len(names) == 0 {
		return
	}
	p.y += 9
	w := (p.width - float64(len(names)-1)*8) / float64(len(names))
	if p.room(mm(note) * p.pitch) {
		for i, n := range names {
			x := p.left + float64(i)*(w+8)
			p.doc.SetLineWidth(0.4)
			p.doc.Line(x, p.y, x+w, p.y)
			p.text(x, p.y+mm(note)*p.pitch, w, note, "", n)
		}
	}
	p.y += mm(note)*p.pitch + 1.2
	p.paragraph(p.left, p.width, note, run{text: shopKey})
}
