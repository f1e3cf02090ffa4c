package report

import (
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"proveout/figure"
)

// The page in mm and points.
const (
	sideMargin = 12.0
	topMargin  = 11.0
	nameWidth  = 23.0 // of the column with the names of the parts
	gutter     = 4.0
	note       = 8.8 // pt: nothing is smaller
	key        = 10.0
	saidSize   = 10.5
	name       = 10.5
	shopSize   = 15.0
	family     = "go"
)

// page is one sheet of paper being filled from the top.
type page struct {
	doc           *fpdf.Fpdf
	left, width   float64
	bottom        float64
	y             float64 // where the next thing goes
	end           float64 // where the last one ended
	clip          int     // letters a text may have
	cut           bool    // something did not fit
	ascent, pitch float64 // of a line, in sizes of its letters
}

func newPage(paper Paper, s Sheet) *page {
	doc := fpdf.New("P", "mm", string(paper), "")
	doc.SetCreationDate(s.Printed.UTC().Truncate(time.Second))
	doc.SetModificationDate(s.Printed.UTC().Truncate(time.Second))
	doc.SetCatalogSort(true)
	doc.SetCompression(true)
	doc.SetAutoPageBreak(false, 0)
	doc.SetTitle(figure.Printable(s.Title), true)
	doc.SetLang(s.Lang)
	doc.AddUTF8FontFromBytes(family, "", regular)
	doc.AddUTF8FontFromBytes(family, "B", bold)
	doc.AddUTF8FontFromBytes(family, "I", italic)
	doc.AddPage()
	w, h := doc.GetPageSize()
	return &page{doc: doc, left: sideMargin, width: w - 2*sideMargin, bottom: h - topMargin, y: topMargin, clip: clips[s.clip], ascent: 0.95, pitch: 1.2}
}

// mm is a size of letters in mm.
func mm(pt float64) float64 { return pt * 25.4 / 72 }

// run is a stretch of text in one style: "", "B" or "I".
type run struct{ text, style string }

// paragraph sets runs one after the other in lines of a width, from the present
// place down.
func (p *page) paragraph(x, width, size float64, runs ...run) {
	type word struct {
		text, style string
		w           float64
	}
	if p.cut {
		return // the page is full: what comes now cannot be seen
	}
	var line []word
	used := 0.0
	space := func(style string) float64 {
		p.doc.SetFont(family, style, size)
		return p.doc.GetStringWidth(" ")
	}
	flush := func() {
		if len(line) == 0 {
			return
		}
		if p.room(mm(size) * p.pitch) {
			at := x
			for i, w := range line {
				if i > 0 {
					at += space(w.style)
				}
				p.doc.SetFont(family, w.style, size)
				p.doc.Text(at, p.y+mm(size)*p.ascent, w.text)
				at += w.w
			}
		}
		p.y += mm(size) * p.pitch
		line, used = nil, 0
	}
	for _, r := range runs {
		for _, t := range strings.Fields(figure.Printable(clipped(r.text, p.clip))) {
			p.doc.SetFont(family, r.style, size)
			if p.cut {
				return
			}
			for _, piece := range p.pieces(t, width) {
				w := word{piece, r.style, p.doc.GetStringWidth(piece)}
				gap := 0.0
				if len(line) > 0 {
					gap = space(r.style)
					p.doc.SetFont(family, r.style, size)
				}
				if used+gap+w.w > width+1e-9 {
					flush()
					gap = 0
				}
				line = append(line, w)
				used += gap + w.w
			}
		}
	}
	flush()
}

// pieces cuts a word that is wider than the line.
func (p *page) pieces(word string, width float64) []string {
	if p.doc.GetStringWidth(word) <= width {
		return []string{word}
	}
	var out []string
	first, used := 0, 0.0
	for i, r := range word {
		w := p.doc.GetStringWidth(string(r))
		if used+w > width && i > first {
			out = append(out, word[first:i])
			first, used = i, 0
		}
		used += w
	}
	return append(out, word[first:])
}

// room reports whether something of a height still fits, and remembers when not.
func (p *page) room(h float64) bool {
	if p.y+h > p.bottom+1e-6 {
		p.cut = true
		return false
	}
	return true
}

// fitted shortens a text to a width, in the present font.
func (p *page) fitted(s string, width float64) string {
	s = figure.Printable(s)
	if len(s) < 2000 && p.doc.GetStringWidth(s) <= width {
		return s
	}
	r := []rune(s)
	lo, hi := 0, min(len(r), 400) // no line of the page holds more letters
	for lo < hi {
		if m := (lo + hi + 1) / 2; p.doc.GetStringWidth(string(r[:m])+"…") <= width {
			lo = m
		} else {
			hi = m - 1
		}
	}
	return string(r[:lo]) + "…"
}

// text sets one line at a place, shortened to a width; style as in run.
func (p *page) text(x, y, width, size float64, style, s string) {
	p.doc.SetFont(family, style, size)
	p.doc.Text(x, y, p.fitted(s, width))
}

// rule draws a level line at the present place.
func (p *page) rule(width float64) {
	if p.y <= p.bottom {
		p.doc.SetLineWidth(width)
		p.doc.Line(p.left, p.y, p.left+p.width, p.y)
	}
}
