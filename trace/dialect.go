package trace

import (
	"bytes"
	"fmt"
)

// dialect is how a delimited file separates its cells and writes its numbers.
type dialect struct {
	delim     byte // 0: one column; ' ': any run of spaces and tabs
	dec       byte // '.' or ','
	thousands byte // 0: none
}

func (d dialect) String() string {
	s := map[byte]string{0: "one column", ',': "comma", ';': "semicolon", '\t': "tab", '|': "vertical bar", ' ': "spaces"}[d.delim]
	if d.dec == ',' {
		s += ", decimal comma"
	}
	if d.thousands != 0 {
		s += fmt.Sprintf(", thousands mark %q", string(d.thousands))
	}
	return s
}

// sampleLine is one line of the beginning of the file.
type sampleLine struct {
	text []byte // without line end
	no   int    // 1-based
	off  int    // bytes from the start of the decoded text
}

// sampleLines cuts the beginning of a file into at most max lines; a last line
// without an end counts only when it is the end of the file.
func sampleLines(head []byte, whole bool, max int) []sampleLine {
	var out []sampleLine
	off := 0
	for no := 1; len(out) < max && off < len(head); no++ {
		end := bytes.IndexByte(head[off:], '\n')
		next := off + end + 1
		if end < 0 {
			if !whole && len(out) > 0 {
				break
			}
			end, next = len(head)-off, len(head)
		}
		out = append(out, sampleLine{bytes.TrimSuffix(head[off:off+end], []byte("\r")), no, off})
		off = next
	}
	return out
}

// splitCells cuts a line into cells. A cell that begins with a double quote
// runs to the closing one.
func splitCells(line []byte, delim byte, into [][]byte) [][]byte {
	into = into[:0]
	switch delim {
	case 0:
		return append(into, line)
	case ' ':
		for i := 0; i < len(line); {
			if line[i] == ' ' || line[i] == '\t' {
				i++
				continue
			}
			end := cellEnd(line, i, ' ')
			into = append(into, line[i:end])
			i = end
		}
		return into
	}
	for i := 0; ; {
		end := cellEnd(line, i, delim)
		into = append(into, line[i:end])
		if end >= len(line) {
			return into
		}
		i = end + 1
	}
}

// cellEnd finds where the cell that starts at line[i] ends.
func cellEnd(line []byte, i int, delim byte) int {
	for i < len(line) && line[i] == ' ' && delim != ' ' {
		i++
	}
	if i < len(line) && line[i] == '"' {
		if q := bytes.IndexByte(line[i+1:], '"'); q >= 0 {
			i += q + 2
		}
	}
	for ; i < len(line); i++ {
		if line[i] == delim || (delim == ' ' && line[i] == '\t') {
			break
		}
	}
	return i
}

// cellClass is what a cell of the sample looks like.
type cellClass uint8

const (
	classText cellClass = iota
	classNumber
	classGrouped // a number only with thousands marks
	classUnit    // a number with its unit behind it
	classClock
	classStamp
	classDate
	classMissing
)

func classify(cell []byte, d dialect) (cellClass, byte) {
	cell = trimCell(cell)
	switch _, st := slowCell(cell, dialect{delim: d.delim, dec: d.dec}); st {
	case cellValue, cellInf:
		return classNumber, 0
	case cellMissing:
		return classMissing, 0
	}
	if _, _, ok := parseClock(cell); ok {
		return classClock, 0
	}
	if _, _, ok := parseStamp(cell); ok {
		return classStamp, 0
	}
	if _, _, _, ok := parseDate(cell); ok {
		return classDate, 0
	}
	for _, mark := range []byte{',', '.', '\'', ' '} {
		if mark == d.dec || bytes.IndexByte(cell, mark) < 0 {
			continue
		}
		if _, st := slowCell(cell, dialect{delim: d.delim, dec: d.dec, thousands: mark}); st == cellValue {
			return classGrouped, mark
		}
	}
	if d.delim != ' ' {
		if _, _, ok := unitCell(cell, d); ok {
			return classUnit, 0
		}
	}
	return classText, 0
}

// trial is how well one dialect explains the sample.
type trial struct {
	d       dialect
	cells   int // usual number of cells in a row
	first   int // index of the first line of the body
	good    int // lines of the body that fit
	lines   int // lines of the body that are not blank
	grouped int // cells that are numbers only with thousands marks
	head    bool
	classes [][]cellClass // one row for each sample line
}

func (t trial) share() float64 {
	if t.lines == 0 {
		return 0
	}
	return float64(t.good) / float64(t.lines)
}

// findDialect tries every delimiter with both decimal marks and keeps the one
// under which most lines are rows of numbers of one length. Ties go to the one
// whose header has as many names as rows have cells, then to more than one
// column, then to fewer thousands marks, then to the order tab, semicolon,
// vertical bar, comma, spaces, one column, and to the decimal point.
func findDialect(lines []sampleLine, opts TextOptions) (trial, error) {
	delims, err := delimsFor(opts.Delimiter)
	if err != nil {
		return trial{}, err
	}
	decs := []byte{'.', ','}
	switch opts.Decimal {
	case "":
	case ".", ",":
		decs = []byte{opts.Decimal[0]}
	default:
		return trial{}, fmt.Errorf("decimal %q: write \".\" or \",\"", opts.Decimal)
	}
	for _, textAllowed := range []bool{false, true} {
		var best trial
		for _, delim := range delims {
			for _, dec := range decs {
				t := try(lines, dialect{delim: delim, dec: dec}, textAllowed)
				if t.better(best) {
					best = t
				}
			}
		}
		if best.good > 0 && best.share() >= 0.5 {
			return best, nil
		}
	}
	return trial{}, fmt.Errorf("no rows of numbers found in the first %d lines; a capture needs rows of numbers separated by comma, semicolon, tab, spaces or |; if the delimiter is another one, export again", len(lines))
}

func delimsFor(name string) ([]byte, error) {
	switch name {
	case "":
		return []byte{'\t', ';', '|', ',', ' ', 0}, nil
	case ",", ";", "|":
		return []byte{name[0]}, nil
	case "tab", "\t":
		return []byte{'\t'}, nil
	case "space", "spaces", " ":
		return []byte{' '}, nil
	}
	return nil, fmt.Errorf("delimiter %q: write \",\", \";\", \"|\", \"tab\" or \"space\"", name)
}

func (t trial) better(o trial) bool {
	if t.good == 0 || o.good == 0 {
		return t.good > o.good
	}
	if t.good*100 < o.good*95 || o.good*100 < t.good*95 {
		return t.good > o.good
	}
	if t.head != o.head {
		return t.head
	}
	if (t.cells > 1) != (o.cells > 1) {
		return t.cells > 1
	}
	return t.grouped < o.grouped
}

// try reads the sample under one dialect.
func try(lines []sampleLine, d dialect, textAllowed bool) trial {
	t := trial{d: d, classes: make([][]cellClass, len(lines))}
	var cells [][]byte
	marks := map[byte]int{}
	counts := map[int]int{}
	fits := make([]bool, len(lines))
	for i, l := range lines {
		cells = splitCells(l.text, d.delim, cells)
		row := make([]cellClass, len(cells))
		numbers, texts := 0, 0
		for j, c := range cells {
			cl, mark := classify(c, d)
			row[j] = cl
			switch cl {
			case classText:
				texts++
			case classMissing, classDate:
			case classGrouped:
				marks[mark]++
				numbers++
			default:
				numbers++
			}
		}
		t.classes[i] = row
		fits[i] = numbers > 0 && !isComment(trimSpace(l.text)) && (texts == 0 || textAllowed && len(cells) > 1)
		if fits[i] {
			counts[len(cells)]++
		}
	}
	for n, c := range counts {
		if c > counts[t.cells] || (c == counts[t.cells] && n > t.cells) {
			t.cells = n
		}
	}
	if t.cells == 0 {
		return t
	}
	t.first = firstRow(lines, t, fits)
	for i := t.first; i < len(lines); i++ {
		if len(trimSpace(lines[i].text)) == 0 {
			continue
		}
		t.lines++
		if fits[i] && len(t.classes[i]) == t.cells {
			t.good++
		}
	}
	for m, n := range marks {
		if n > t.grouped || (n == t.grouped && m < t.d.thousands) {
			t.d.thousands, t.grouped = m, n
		}
	}
	t.head = headerFits(lines, t)
	return t
}

// firstRow is the first line that fits and is followed by lines that mostly fit.
func firstRow(lines []sampleLine, t trial, fits []bool) int {
	for i := range lines {
		if !fits[i] || len(t.classes[i]) != t.cells {
			continue
		}
		good, all := 0, 0
		for j := i + 1; j < len(lines) && all < 5; j++ {
			if len(trimSpace(lines[j].text)) == 0 {
				continue
			}
			all++
			if fits[j] {
				good++
			}
		}
		if 2*good >= all {
			return i
		}
	}
	return len(lines)
}

// headerFits reports whether the line above the body, when it can be a header,
// has as many cells as the rows.
func headerFits(lines []sampleLine, t trial) bool {
	for i := t.first - 1; i >= 0; i-- {
		text := trimSpace(lines[i].text)
		if len(text) == 0 {
			continue
		}
		if isComment(text) || t.d.delim == ' ' {
			return true
		}
		n := len(t.classes[i])
		return n == t.cells || n == t.cells-1 && alwaysMissing(t, n)
	}
	return true
}

// isComment reports whether a line is marked as not being data.
func isComment(text []byte) bool {
	return len(text) > 0 && (text[0] == '#' || text[0] == '%' || text[0] == '!' || bytes.HasPrefix(text, []byte("//")))
}
