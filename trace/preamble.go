package trace

import (
	"fmt"
	"math"
	"strings"
)

// readHeader reads what stands above the rows: names, units, preamble.
func (p *plan) readHeader(lines []sampleLine, t trial) ([]heading, error) {
	above := lines[:t.first]
	for len(above) > 0 && len(trimSpace(above[len(above)-1].text)) == 0 {
		above = above[:len(above)-1]
	}
	var names, units []string
	nameLine := 0
	if n := len(above); n > 0 {
		row, how := headerCells(above[n-1], p.d.delim, t.cells)
		if p.fits(row, t) {
			names, nameLine = row, n-1
			if n > 1 && allUnits(row) {
				if upper, how2 := headerCells(above[n-2], p.d.delim, t.cells); p.fits(upper, t) && !allUnits(upper) {
					names, units, nameLine = upper, row, n-2
					how = max(how, how2)
					p.note(above[n-1].no, "line %d holds the units", above[n-1].no)
				}
			}
			p.note(above[nameLine].no, "line %d holds the names of the columns", above[nameLine].no)
			p.noteRepair(above[nameLine].no, how)
			p.head = foldName(string(above[nameLine].text))
		} else if len(row) > 0 && !isComment(trimSpace(above[n-1].text)) && p.d.delim == ',' && 2*len(row) == t.cells {
			return nil, fmt.Errorf("line %d names %d columns but rows have %d values: decimal comma and comma as delimiter cannot be told apart; export with semicolons", above[n-1].no, len(row), t.cells)
		} else if t.cells > 1 && len(row) > 1 && t.cells-len(row) <= 1 && len(row)-t.cells <= 2 {
			p.notes = append(p.notes, Note{Line: above[n-1].no, Text: fmt.Sprintf("line %d names %d columns but rows have %d values: which name belongs to which column cannot be told; columns are numbered", above[n-1].no, len(row), t.cells), Lost: true})
		}
	}
	if names == nil {
		nameLine = len(above)
		p.note(0, "no header; columns are numbered from 1")
	}
	p.readPreamble(above[:nameLine])
	return p.headings(names, units, t), nil
}

func (p *plan) noteRepair(line int, how repair) {
	switch how {
	case asLatin1:
		p.note(line, "the header is not UTF-8; read as Latin-1 (Windows-1252)")
	case undoneTwice:
		p.note(line, "letters of the header were encoded twice (as in \"Â°C\"); undone")
	}
}

func (p *plan) headings(names, units []string, t trial) []heading {
	heads := make([]heading, t.cells)
	for i := range heads {
		if i < len(names) && names[i] != "" {
			heads[i] = splitHeading(names[i])
		} else {
			heads[i] = heading{unit: noUnit}
		}
		if i < len(units) {
			if u, ok := bareUnit(units[i]); ok {
				heads[i].unit, heads[i].odd = u, ""
			}
		}
		if u, ok := unitInName(heads[i]); ok {
			heads[i].unit = u
			p.note(0, "column %q has no unit; its name says %s", heads[i].name, u.Symbol)
		}
	}
	last := t.cells - 1
	if last > 0 && heads[last].name == "" && alwaysMissing(t, last) {
		p.note(p.bodyNo, "rows end with a delimiter; the empty last column is left out")
		heads = heads[:last]
	}
	for i := range heads {
		if heads[i].name == "" {
			heads[i].name = fmt.Sprintf("column %d", i+1)
			heads[i].label = heads[i].name
		}
	}
	return heads
}

func alwaysMissing(t trial, col int) bool {
	for _, row := range t.classes[t.first:] {
		if col < len(row) && row[col] != classMissing {
			return false
		}
	}
	return true
}

// headerCells cuts a possible header line into names.
func headerCells(l sampleLine, delim byte, cells int) ([]string, repair) {
	text, how := readableText(l.text)
	text = strings.TrimSpace(text)
	if isComment([]byte(text)) {
		text = strings.TrimSpace(strings.TrimLeft(text, "#%!/; "))
	}
	raw := splitCells([]byte(text), delim, nil)
	out := make([]string, len(raw))
	for i, c := range raw {
		out[i] = strings.TrimSpace(strings.Trim(strings.TrimSpace(string(c)), "\""))
	}
	if delim == ' ' && len(out) > cells {
		out = joinWords(text, cells)
	}
	return out, how
}

// joinWords cuts a header of a space-delimited file: at runs of two or more
// spaces when that gives the right number, else keeping "(kV)" with the word before.
func joinWords(text string, cells int) []string {
	var wide []string
	for _, f := range strings.Split(strings.ReplaceAll(text, "\t", "  "), "  ") {
		if f = strings.TrimSpace(f); f != "" {
			wide = append(wide, f)
		}
	}
	if len(wide) == cells {
		return wide
	}
	var out []string
	for _, w := range strings.Fields(text) {
		if len(out) > 0 && strings.IndexByte("([{<", w[0]) >= 0 {
			out[len(out)-1] += " " + w
		} else {
			out = append(out, w)
		}
	}
	return out
}

// fits reports whether a line can be the header: it names as many columns as
// rows have cells, or all but an empty last one (rows that end with a delimiter).
func (p *plan) fits(row []string, t trial) bool {
	if n := len(row); n != t.cells && (n != t.cells-1 || !alwaysMissing(t, n)) {
		return false
	}
	named := false
	for _, c := range row {
		if v, st := slowCell([]byte(c), t.d); st == cellValue && v != math.Trunc(v) {
			return false // a measured value, not a name
		}
		named = named || c != ""
	}
	return named
}

func allUnits(row []string) bool {
	n := 0
	for _, c := range row {
		if strings.Trim(c, "()[]{}<>- ") == "" {
			continue
		}
		if _, ok := bareUnit(c); !ok {
			return false
		}
		n++
	}
	return n > 0
}

// listPreamble is how many lines above the header are quoted in the notes.
const listPreamble = 20

func (p *plan) readPreamble(above []sampleLine) {
	listed := 0
	for _, l := range above {
		text, _ := readableText(trimSpace(l.text))
		if text == "" {
			continue
		}
		key, value, ok := pairLine(text, p.d.delim)
		if ok {
			if hz := preambleRate(key, value); hz > 0 {
				p.rateHz = hz
			}
		}
		if listed++; listed > listPreamble {
			continue
		}
		if len(text) > 120 {
			text = strings.ToValidUTF8(text[:120], "") + "…"
		}
		if ok && value != "" {
			p.note(l.no, "the file says: %s: %s", key, strings.ToValidUTF8(value[:min(len(value), 100)], ""))
		} else {
			p.note(l.no, "text above the rows: %s", text)
		}
	}
	if listed > listPreamble {
		p.note(0, "%d more lines of text above the rows", listed-listPreamble)
	}
}
