package trace

import (
	"fmt"
	"math"
	"slices"

	"proveout/unit"
)

// column is what the scanner does with one cell of a row.
type column struct {
	heading
	kind   colKind
	slot   int // index among the values kept
	conv   bool
	inCell bool    // cells carry their own unit
	scale  float64 // of the mapping, for such cells
	factor float64 // SI = value*factor + offset
	offset float64
	as     string
	mapped int
}

type colKind uint8

const (
	colValue colKind = iota
	colTime
	colSkip
)

// plan is everything found out from the beginning of the file.
type plan struct {
	d       dialect
	cells   int // columns of a row
	cols    []column
	slots   int
	time    int // index of the time column, -1 without
	form    timeForm
	unitNs  uint64  // for timeNumber: nanoseconds of one unit
	scaleNs float64 // for timeNumber with a scale: used instead of unitNs when not 0
	rateHz  float64 // for a file without time, 0 = unknown
	bodyOff int     // where the body starts in the decoded text
	bodyNo  int     // line number of the first row
	head    string  // folded header line, to know it again in the body
	notes   []Note
	careful bool // every line goes the slow way (tests compare the two)
}

func (p *plan) note(line int, format string, args ...any) {
	p.notes = append(p.notes, Note{Line: line, Text: fmt.Sprintf(format, args...)})
}

// makePlan finds out dialect, header, units, roles and the kind of time from
// the first lines.
func makePlan(lines []sampleLine, opts TextOptions) (*plan, error) {
	t, err := findDialect(lines, opts)
	if err != nil {
		return nil, err
	}
	t.first = overShortRows(lines, t)
	p := &plan{d: t.d, cells: t.cells, time: -1, bodyOff: lines[t.first].off, bodyNo: lines[t.first].no, careful: opts.careful}
	p.note(0, "delimiter: %s", p.d)
	if t.cells == 2 && t.d.delim == ',' && opts.Delimiter == "" && wholeNumbersOnly(t) && p.bodyNo == 1 {
		p.note(p.bodyNo, "two columns of whole numbers, or one column with a decimal comma: taken as two columns; give decimal \",\" if it is one")
	}
	heads, err := p.readHeader(lines, t)
	if err != nil {
		return nil, err
	}
	if len(heads) > MaxColumns {
		return nil, fmt.Errorf("rows have %d columns, at most %d can be read; export fewer signals", len(heads), MaxColumns)
	}
	p.cells = len(heads)
	p.cols = make([]column, len(heads))
	for i, h := range heads {
		p.cols[i] = column{heading: h, factor: 1}
	}
	p.noteDuplicates()
	if err := p.applyMapping(opts.Columns, heads); err != nil {
		return nil, err
	}
	if err := p.findTime(lines, t, opts); err != nil {
		return nil, err
	}
	p.skipTextColumns(lines, t)
	for i := range p.cols {
		c := &p.cols[i]
		if c.kind != colValue {
			continue
		}
		c.slot = p.slots
		p.slots++
		c.conv = c.factor != 1 || c.offset != 0
	}
	slices.SortStableFunc(p.notes, func(a, b Note) int { return a.Line - b.Line })
	if p.slots == 0 {
		return nil, fmt.Errorf("the file has a time column but no column with values")
	}
	return p, nil
}

// overShortRows moves the beginning of the body up over rows of numbers that are
// cut short, when a header of full width stands right above them: the first rows
// of a log often lack what was not yet read.
func overShortRows(lines []sampleLine, t trial) int {
	i := t.first
	for i > 0 {
		row := t.classes[i-1]
		short := len(row) >= 2 && len(row) < t.cells && len(trimSpace(lines[i-1].text)) > 0
		for _, c := range row {
			short = short && (c == classNumber || c == classMissing || c == classClock || c == classStamp)
		}
		if !short {
			break
		}
		i--
	}
	if i == t.first || i == 0 || len(t.classes[i-1]) != t.cells {
		return t.first
	}
	for _, c := range t.classes[i-1] {
		if c != classText {
			return t.first
		}
	}
	return i
}

func wholeNumbersOnly(t trial) bool {
	for _, row := range t.classes[t.first:] {
		for _, c := range row {
			if c != classNumber {
				return false
			}
		}
	}
	return true
}

// applyMapping gives columns the roles, units and scales the person named.
func (p *plan) applyMapping(mapping []Column, heads []heading) error {
	heading := p.headingProbes()
	taken := map[int]string{}
	for m, c := range mapping {
		i, err := findColumn(c, heads)
		if err != nil {
			return err
		}
		if other, dup := taken[i]; dup {
			return fmt.Errorf("column %q is mapped twice (as %q and as %q); keep one", c.Column, other, c.As)
		}
		taken[i] = c.As
		col := &p.cols[i]
		col.as, col.mapped = c.As, m+1
		switch c.As {
		case AsIgnore:
			col.kind = colSkip
			p.note(0, "column %q is left out, as the mapping says", heads[i].name)
			continue
		case AsTime, AsCounter:
			if p.time >= 0 {
				return fmt.Errorf("column %q: a time column is already given (%q); a file has one", c.Column, heads[p.time].name)
			}
			p.time, col.kind = i, colTime
			if c.As == AsTime {
				c.Dim = unit.Time
			}
		}
		if h, has := heading[i]; has && (c.Unit != "" || c.Scale != "") { // the person's word wins
			col.unit, col.factor = h, 1
			delete(heading, i)
		}
		if _, has := heading[i]; has && c.As != AsTime {
			continue
		}
		factor, u, err := c.scaleOf(col.unit)
		if err != nil {
			return err
		}
		if !col.unit.IsZero() && col.unit.Symbol != u.Symbol {
			p.note(0, "column %q: the header says %s, the mapping says %s; the mapping is used", heads[i].name, col.unit.Symbol, u.Symbol)
		}
		col.unit, col.factor = u, factor
	}
	for i := range p.cols {
		c := &p.cols[i]
		if h, has := heading[i]; has && c.kind == colValue {
			p.note(0, "column %q: its name gives the scale of a probe and its unit is %s; taken as %s, %.4g for one %s. Map it with unit: %s if it is a voltage", c.name, h.Symbol, c.unit.Symbol, c.factor, h.Symbol, h.Symbol)
		}
		if pr, ok := unit.ParseProbe(c.odd); ok && c.kind == colValue && c.unit.IsZero() {
			p.notes = append(p.notes, Note{Text: fmt.Sprintf("column %q: %s is the scale of a probe, and whether the file is in volts or in %s is not said; values are kept as they stand. Write scale: %s if it is in volts, unit: %s if not", c.name, c.odd, pr.Unit.Symbol, c.odd, pr.Unit.Symbol), Lost: true})
			c.odd = ""
		}
		if c.odd != "" && c.kind == colValue && (c.mapped == 0 || c.unit.IsZero()) {
			p.notes = append(p.notes, Note{Text: fmt.Sprintf("column %q: %q is not a unit known here; values are kept as they stand", c.name, c.odd), Lost: true})
		}
		if c.kind == colValue {
			c.scale = c.factor
			c.factor, c.offset = c.factor*c.unit.Factor, c.unit.Offset
		}
	}
	return nil
}

// headingProbes takes columns in volts whose name gives the scale of a probe, "Clamp
// 100mV/A (V)", for what the probe senses. It gives the unit that stood in the heading.
func (p *plan) headingProbes() map[int]unit.Unit {
	out := map[int]unit.Unit{}
	for i := range p.cols {
		c := &p.cols[i]
		if pr, ok := unit.ProbeIn(c.label); ok && c.unit.Dim == unit.Voltage {
			out[i] = c.unit
			c.factor, c.unit = pr.Factor(c.unit), pr.Unit
		}
	}
	return out
}

// noteDuplicates gives columns of one name a name each, so that whoever asks for a
// channel by name gets one and no other.
func (p *plan) noteDuplicates() {
	at := map[string][]int{}
	for i, c := range p.cols {
		at[c.name] = append(at[c.name], i)
	}
	for i, c := range p.cols {
		same := at[c.name]
		if len(same) < 2 || c.name == "" {
			continue
		}
		if i == same[0] {
			p.note(p.bodyNo-1, "columns %s are all called %q; refer to them by number", numbers(same), c.name)
		}
		p.cols[i].name = fmt.Sprintf("%s (column %d)", c.name, i+1)
	}
}

// skipTextColumns leaves out columns whose cells are mostly words, and notes it.
func (p *plan) skipTextColumns(lines []sampleLine, t trial) {
	for i := range p.cols {
		if p.cols[i].kind != colValue {
			continue
		}
		words, values, dates, units := 0, 0, 0, 0
		for _, row := range t.classes[t.first:] {
			if i >= len(row) {
				continue
			}
			switch row[i] {
			case classText:
				words++
			case classDate, classClock, classStamp:
				dates++
			case classMissing:
			case classUnit:
				units++
			default:
				values++
			}
		}
		switch {
		case units > 0 && units >= values && units > words:
			p.unitsInCells(i, lines, t)
		case words > 0 && words >= values:
			p.cols[i].kind = colSkip
			p.notes = append(p.notes, Note{Text: fmt.Sprintf("column %q holds words, not numbers; it is not used", p.cols[i].name), Lost: true})
		case dates > values:
			p.cols[i].kind = colSkip
			p.note(0, "column %q holds dates or times; it is not used as a signal", p.cols[i].name)
		}
	}
}

// unitsInCells takes the unit of a column from its cells. A unit from header or
// mapping must be of the same dimension; each cell is converted by its own.
func (p *plan) unitsInCells(i int, lines []sampleLine, t trial) {
	c := &p.cols[i]
	var cells [][]byte
	for _, l := range lines[t.first:] {
		cells = splitCells(l.text, p.d.delim, cells)
		if i >= len(cells) {
			continue
		}
		if _, u, ok := unitCell(cells[i], p.d); ok && (c.unit.IsZero() || c.unit.Dim == u.Dim) {
			c.inCell = true
			if c.unit.IsZero() {
				c.unit = u
				c.factor, c.offset = c.factor*u.Factor, u.Offset
			}
			p.note(0, "column %q: the cells carry their unit (%s); each is converted by its own", c.name, u.Symbol)
			return
		}
	}
	c.kind = colSkip
	p.notes = append(p.notes, Note{Text: fmt.Sprintf("column %q: the cells carry another kind of unit than header or mapping (%s) say; it is not used", c.name, c.unit.Symbol), Lost: true})
}

// findTime settles which column is time, how it is written, and in which unit.
func (p *plan) findTime(lines []sampleLine, t trial, opts TextOptions) error {
	mapped := p.time >= 0
	if !mapped {
		p.time = p.guessTime(lines, t)
	}
	if opts.SampleRateHz != 0 {
		if err := checkRate(opts.SampleRateHz); err != nil {
			return err
		}
		p.rateHz = opts.SampleRateHz
	}
	if p.time < 0 {
		if p.rateHz > 0 {
			p.note(0, "no time column; time from the sample rate, %g Hz", p.rateHz)
		} else {
			p.note(0, "no time column and no sample rate: nothing can be said about durations; give a sample rate, or name the column that is time")
		}
		return nil
	}
	c := &p.cols[p.time]
	c.kind = colTime
	p.form = formOf(t, p.time)
	switch {
	case p.form == timeNone:
		return fmt.Errorf("column %q cannot be time: its cells are neither numbers nor hh:mm:ss nor dates", c.name)
	case c.as == AsCounter || (!mapped && p.isCounter(lines, t)):
		p.form = timeCount
		if p.rateHz == 0 {
			p.note(0, "column %q counts rows; without a sample rate nothing can be said about durations", c.name)
		} else {
			p.note(0, "column %q counts rows; time from it and the sample rate, %g Hz", c.name, p.rateHz)
		}
		return nil
	case p.form != timeNumber:
		p.note(0, "time: column %q, written as %s", c.name, map[timeForm]string{timeClock: "hours, minutes and seconds", timeStamp: "date and time of day"}[p.form])
	case c.unit.IsZero() || c.unit.Dim == unit.None:
		c.unit = unit.Must("s")
		p.note(0, "time: column %q; no unit is given, taken as seconds", c.name)
	case c.unit.Dim != unit.Time:
		return fmt.Errorf("column %q: %s is a %s, time needs a unit of time; correct the unit or the role", c.name, c.unit.Symbol, c.unit.Dim)
	default:
		p.note(0, "time: column %q in %s", c.name, c.unit.Symbol)
	}
	if p.form == timeNumber {
		p.unitNs = uint64(math.Round(c.unit.Factor * 1e9))
		if c.mapped > 0 && c.factor < 0 {
			return fmt.Errorf("column %q: a scale below 0 would make time run backwards; give the time of one step", c.name)
		}
		if c.mapped > 0 && c.factor != 1 {
			p.scaleNs = c.factor * float64(p.unitNs)
		}
	}
	if p.rateHz > 0 {
		p.note(0, "the file has a time column; the sample rate given (%g Hz) is not used", p.rateHz)
		p.rateHz = 0
	}
	return nil
}

// formOf tells how the cells of a column write time.
func formOf(t trial, col int) timeForm {
	var n [classMissing + 1]int
	for _, row := range t.classes[t.first:] {
		if col < len(row) {
			n[row[col]]++
		}
	}
	number := n[classNumber] + n[classGrouped]
	switch {
	case n[classStamp] > 0 && n[classStamp] >= max(number, n[classClock], n[classText]):
		return timeStamp
	case n[classClock] > 0 && n[classClock] >= max(number, n[classText]):
		return timeClock
	case number > 0 && number >= n[classText]:
		return timeNumber
	}
	return timeNone
}

// guessTime: a column named as time; else one with clock times or dates in it;
// else, in a file without header names, a first column that only rises.
func (p *plan) guessTime(lines []sampleLine, t trial) int {
	named := -1
	for i, c := range p.cols {
		if c.kind != colValue || c.mapped > 0 || !c.saysTime() || formOf(t, i) == timeNone {
			continue
		}
		f := foldName(c.label)
		if (f == "x" || f == "t" || f == "tempo") && !p.rises(lines, t, i) {
			continue // "x" may be a position, "t" a temperature
		}
		if named >= 0 && !p.rises(lines, t, i) {
			continue
		}
		if named >= 0 {
			p.note(0, "column %q may be time as well; %q is used", c.name, p.cols[named].name)
			continue
		}
		named = i
	}
	if named >= 0 {
		return named
	}
	for i, c := range p.cols {
		if f := formOf(t, i); c.kind == colValue && c.mapped == 0 && (f == timeClock || f == timeStamp) {
			return i
		}
	}
	first := p.cols[0]
	if first.kind != colValue || first.mapped > 0 || len(p.cols) < 2 {
		return -1
	}
	unnamed := p.head == ""
	if (unnamed || first.unit.Dim == unit.Time || counterNames[foldName(first.label)]) && p.rises(lines, t, 0) {
		return 0
	}
	return -1
}

// rises reports whether the column never falls in the sample and rises in most rows.
func (p *plan) rises(lines []sampleLine, t trial, col int) bool {
	v := p.sampleValues(lines, t, col)
	up := 0
	for i := 1; i < len(v); i++ {
		if v[i] < v[i-1] {
			return false
		}
		if v[i] > v[i-1] {
			up++
		}
	}
	return len(v) >= 3 && 10*up >= 9*(len(v)-1)
}

// isCounter reports whether the time column is a plain row number: under a
// name that says so whole numbers, mostly in steps of one; without a name whole
// numbers in steps of one throughout.
func (p *plan) isCounter(lines []sampleLine, t trial) bool {
	c := p.cols[p.time]
	named := p.head != ""
	if named && (!counterNames[foldName(c.label)] || !c.unit.IsZero()) {
		return false
	}
	v := p.sampleValues(lines, t, p.time)
	ones := 0
	for i, x := range v {
		if x != math.Trunc(x) {
			return false
		}
		if i > 0 && x == v[i-1]+1 {
			ones++
		}
	}
	return len(v) >= 3 && (ones == len(v)-1 || named && 2*ones > len(v)-1)
}

func (p *plan) sampleValues(lines []sampleLine, t trial, col int) []float64 {
	var out []float64
	var cells [][]byte
	for _, l := range lines[t.first:] {
		cells = splitCells(l.text, p.d.delim, cells)
		if col < len(cells) {
			if v, st := slowCell(cells[col], p.d); st == cellValue {
				out = append(out, v)
			}
		}
	}
	return out
}
