package report

import (
	"bytes"
	_ "embed"
	"errors"
	"strconv"
)

// Paper is a size of paper.
type Paper string

// Papers.
const (
	A4     Paper = "A4"
	Letter Paper = "Letter"
)

// The letters of the page: an open font (licence in fonts/LICENSE) that has the
// signs ≈ × ÷ ≤ ° and the Latin, Greek and Cyrillic letters.
var (
	//go:embed fonts/Go-Regular.ttf
	regular []byte
	//go:embed fonts/Go-Bold.ttf
	bold []byte
	//go:embed fonts/Go-Italic.ttf
	italic []byte
)

// PDF sets the sheet on one page. The same sheet gives the same bytes.
func PDF(s Sheet, paper Paper) ([]byte, error) {
	if paper != A4 && paper != Letter {
		return nil, errors.New("paper " + strconv.Quote(string(paper)) + " is not known; write A4 or Letter")
	}
	s, err := fit(s, paper, 1)
	if err != nil {
		return nil, err
	}
	p := set(s, paper)
	var b bytes.Buffer
	err = p.doc.Output(&b)
	return b.Bytes(), err
}

// fits reports whether the sheet takes no more than a share of one page.
func fits(s Sheet, paper Paper, share float64) (bool, error) {
	p := set(s, paper)
	return p.end <= topMargin+share*(p.bottom-topMargin)+1e-6, p.doc.Error()
}

// set lays the sheet out on one page; what runs past the foot is not drawn, and the
// foot says so.
func set(s Sheet, paper Paper) *page {
	p := newPage(paper, s)
	p.head(s)
	for _, part := range s.Parts {
		p.part(part)
	}
	p.signatures(s.Sign, s.Key)
	foot := s.Foot
	if s.shortened() {
		foot += " " + s.Short
	}
	p.paragraph(p.left, p.width, note, run{text: foot})
	p.end = p.y
	if p.cut {
		p.y = p.bottom - 0.3
		p.cut = false
		p.doc.Text(p.left, p.bottom-0.5, s.Cut)
		p.end = p.bottom + 1 // so that fits says no
	}
	return p
}

func itoa(n int) string { return strconv.Itoa(n) }
