package figure

import (
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// Printable keeps what the PDF writer can set: control signs become blanks, broken
// bytes and signs beyond the basic plane, on which it would fail, a hollow square.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r < ' ' || r >= 0x7f && r < 0xa0:
			return ' '
		case r > 0xffff:
			return '□'
		}
		return r
	}, strings.ToValidUTF8(s, "□"))
}

// PDF draws onto the current page with the top left corner at x, y in mm, in
// black, with the letters of a font the document knows. The document must count in
// mm. Font, line and fill are left changed.
func (d Drawing) PDF(doc *fpdf.Fpdf, x, y float64, font string) {
	doc.SetDrawColor(0, 0, 0)
	doc.SetTextColor(0, 0, 0)
	for _, i := range d.Items {
		switch {
		case i.Path != nil:
			pdfPath(doc, *i.Path, x, y)
		case i.Mark != nil:
			pdfPath(doc, i.Mark.path(), x, y)
		case i.Text != nil:
			t, style, text := i.Text, "", Printable(i.Text.S)
			if t.Bold {
				style = "B"
			}
			doc.SetFont(font, style, t.Size*72/25.4)
			left := x + t.At.X
			switch w := doc.GetStringWidth(text); t.Anchor {
			case Middle:
				left -= w / 2
			case End:
				left -= w
			}
			doc.Text(left, y+t.At.Y, text)
		}
	}
	doc.SetDashPattern(nil, 0)
}

func pdfPath(doc *fpdf.Fpdf, p Path, x, y float64) {
	if p.Fill == Hatch {
		doc.SetLineWidth(0.15)
		doc.SetDashPattern(nil, 0)
		for _, l := range hatching(p, hatchGap) {
			doc.Line(x+l[0].X, y+l[0].Y, x+l[1].X, y+l[1].Y)
		}
	}
	if len(p.Points) < 2 || p.Width == 0 && (p.Fill == NoFill || p.Fill == Hatch) {
		return
	}
	doc.SetDashPattern(nil, 0)
	if p.Dash > 0 {
		doc.SetDashPattern([]float64{p.Dash}, 0)
	}
	if p.Width > 0 {
		doc.SetLineWidth(p.Width)
	}
	for k, q := range p.Points {
		if k == 0 {
			doc.MoveTo(x+q.X, y+q.Y)
		} else {
			doc.LineTo(x+q.X, y+q.Y)
		}
	}
	if p.Closed {
		doc.ClosePath()
	}
	how := ""
	switch p.Fill {
	case Ink:
		doc.SetFillColor(0, 0, 0)
		how = "F"
	case Tint:
		doc.SetFillColor(225, 225, 225)
		how = "F"
	}
	if p.Width > 0 {
		how += "D"
	}
	doc.DrawPath(how)
}
