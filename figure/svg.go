package figure

import (
	"fmt"
	"html"
	"strconv"
	"strings"
)

// SVG writes a drawing as an SVG element for a page: scaled by its viewBox, ink
// in currentColor, one class for each kind of path. All texts are escaped. The
// same drawing gives the same bytes.
func (d Drawing) SVG() string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="figure" viewBox="0 0 %s %s" role="img"`, num(d.W), num(d.H))
	if s := strings.TrimSpace(d.Title + ". " + d.Text); s != "." {
		fmt.Fprintf(&b, ` aria-label="%s"`, html.EscapeString(strings.TrimPrefix(s, ". ")))
	}
	b.WriteString(` fill="none" stroke="currentColor" stroke-linejoin="round">`)
	for _, i := range d.Items {
		switch {
		case i.Path != nil:
			svgPath(&b, *i.Path)
		case i.Mark != nil:
			svgPath(&b, i.Mark.path())
		case i.Text != nil:
			t := i.Text
			fmt.Fprintf(&b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s" fill="currentColor" stroke="none"`, num(t.At.X), num(t.At.Y), num(t.Size), t.Anchor)
			if t.Bold {
				b.WriteString(` font-weight="700"`)
			}
			b.WriteString(">" + html.EscapeString(t.S) + "</text>")
		}
	}
	b.WriteString("</svg>")
	return b.String()
}

func svgPath(b *strings.Builder, p Path) {
	if p.Fill == Hatch {
		b.WriteString(`<path class="hatch" stroke-width="0.15" d="`)
		for _, l := range hatching(p, hatchGap) {
			fmt.Fprintf(b, "M%s %sL%s %s", num(l[0].X), num(l[0].Y), num(l[1].X), num(l[1].Y))
		}
		b.WriteString(`"/>`)
		if p.Width == 0 {
			return
		}
	}
	fmt.Fprintf(b, `<path class="%s" d="`, html.EscapeString(p.Class))
	for k, q := range p.Points {
		c := "L"
		if k == 0 {
			c = "M"
		}
		b.WriteString(c + num(q.X) + " " + num(q.Y))
	}
	if p.Closed {
		b.WriteString("Z")
	}
	b.WriteString(`"`)
	if p.Width > 0 {
		fmt.Fprintf(b, ` stroke-width="%s"`, num(p.Width))
	} else {
		b.WriteString(` stroke="none"`)
	}
	if p.Dash > 0 {
		fmt.Fprintf(b, ` stroke-dasharray="%s"`, num(p.Dash))
	}
	switch p.Fill {
	case Ink:
		b.WriteString(` fill="currentColor"`)
	case Tint:
		b.WriteString(` fill="currentColor" fill-opacity="0.12"`)
	}
	b.WriteString("/>")
}

// hatchGap is the distance between the lines of a hatch, mm.
const hatchGap = 1.4

// num writes a length with two decimals at most: a hundredth of a millimetre.
func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 2, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}
