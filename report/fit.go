package report

import (
	"slices"
	"strings"
)

// screenShare is how much of the page a sheet may take by the measure of the PDF
// when a browser prints it: its letters are wider and its lines further apart.
const screenShare = 0.80

// shrinks leave something off the page, in this order: first the items, then what a
// reviewer finds in the HTML, then the pictures. The proof and what is not proven
// keep their words.
var shrinks = []func(*Sheet){
	func(s *Sheet) { s.items(func(e Entry) bool { return s.cites(e.Number) }) },
	func(s *Sheet) { s.items(func(Entry) bool { return false }) },
	func(s *Sheet) { s.notes("ruled_out", "elimination", "also") },
	func(s *Sheet) { s.rows(3) },
	func(s *Sheet) { s.notes("odds", "disagree") },
	func(s *Sheet) {
		for i := range s.Parts {
			s.Parts[i].FiguresUnprinted = true
		}
	},
	func(s *Sheet) { s.rows(1) },
	func(s *Sheet) { s.notes() },
}

// clips are how many letters a text may have, step by step once leaving things off is
// not enough. The first is more than a page of the smallest letters holds.
var clips = []int{9000, 600, 300, 150, 80}

// fit marks what does not print until the sheet takes one page of a paper, or a
// share of it. The caller's sheet is left alone.
func fit(s Sheet, paper Paper, share float64) (Sheet, error) {
	s = s.clone()
	for step := 0; ; step++ {
		ok, err := fits(s, paper, share)
		if err != nil || ok {
			return s, err
		}
		switch {
		case step < len(shrinks):
			shrinks[step](&s)
		case s.clip+1 < len(clips):
			s.clip++
		default:
			return s, nil // the last resort is cutting the page: set writes that it did
		}
	}
}

func (s Sheet) clone() Sheet {
	parts := make([]Part, len(s.Parts))
	for i, p := range s.Parts {
		p.Notes = append([]Note(nil), p.Notes...)
		p.Items = append([]Entry(nil), p.Items...)
		if p.Table != nil {
			t := *p.Table
			t.Rows = append([]Row(nil), t.Rows...)
			p.Table = &t
		}
		parts[i] = p
	}
	s.Parts = parts
	return s
}

// items leaves off the items that keep does not want.
func (s *Sheet) items(keep func(Entry) bool) {
	for i := range s.Parts {
		for j := range s.Parts[i].Items {
			if e := &s.Parts[i].Items[j]; !keep(*e) {
				e.Unprinted = true
			}
		}
	}
}

// cites reports whether a note names an item.
func (s *Sheet) cites(n int) bool {
	for _, p := range s.Parts {
		for _, x := range p.Notes {
			for _, w := range strings.FieldsFunc(x.Text, func(r rune) bool { return r < '0' || r > '9' }) {
				if w == itoa(n) && (strings.Contains(strings.ToLower(x.Text), strings.ToLower(s.Item)+" "+w) || strings.Contains(x.Text, "("+w+")")) {
					return true
				}
			}
		}
	}
	return false
}

// notes leaves off the notes of these kinds; with none: every note of a part that
// need not keep its words, but the first.
func (s *Sheet) notes(kinds ...string) {
	for i := range s.Parts {
		p := &s.Parts[i]
		for j := range p.Notes {
			n := &p.Notes[j]
			if len(kinds) == 0 && !p.Keep && j > 0 && n.Kind != "fingerprint" && n.Kind != "after" || slices.Contains(kinds, n.Kind) {
				n.Unprinted = true
			}
		}
	}
}

// rows keeps the first n rows of each table: the one that decides comes first.
func (s *Sheet) rows(n int) {
	for i := range s.Parts {
		if t := s.Parts[i].Table; t != nil {
			for j := n; j < len(t.Rows); j++ {
				t.Rows[j].Unprinted = true
			}
		}
	}
}

// shortened reports whether anything is left off the page.
func (s Sheet) shortened() bool {
	if s.clip > 0 {
		return true
	}
	for _, p := range s.Parts {
		if p.FiguresUnprinted && len(p.Figures) > 0 {
			return true
		}
		for _, n := range p.Notes {
			if n.Unprinted {
				return true
			}
		}
		for _, e := range p.Items {
			if e.Unprinted {
				return true
			}
		}
		if p.Table != nil {
			for _, r := range p.Table.Rows {
				if r.Unprinted {
					return true
				}
			}
		}
	}
	return false
}

// clipped shortens a text at a blank.
func clipped(s string, n int) string {
	r := []rune(s)
	if n <= 0 || len(r) <= n {
		return s
	}
	cut := n - 1
	for k := cut; k > n*2/3; k-- {
		if r[k] == ' ' {
			cut = k
			break
		}
	}
	return string(r[:cut]) + " …"
}
