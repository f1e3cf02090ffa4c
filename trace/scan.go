package trace

import (
	"bytes"
	"fmt"
	"math"
	"strings"
)

// chunk is a run of whole lines and what the scanner made of them.
type chunk struct {
	buf     []byte // ends with a newline
	off     int64  // of buf[0] in the text
	cut     bool   // the file's last line had no newline; one was added
	early   bool   // the stream broke off in this chunk: a cut line is known to be half a line
	lines   int
	rows    int
	stride  int
	vals    []float64 // slot s of row r at s*stride+r
	stamps  []int64
	skipped []int // for each line that made no row: the row it stood before
	breaks  []int // the same, only for lines that may have been samples
	maxFrac int   // digits after the decimal mark of time, the most seen
	missing []int // empty cells for each slot
	notes   noteBook
	done    chan struct{}
}

// scanner reads the rows of chunks as a plan says. It holds nothing that
// changes except its scratch space: each worker has its own.
type scanner struct {
	*plan
	mul   [20]uint64 // timeNumber: nanoseconds = mantissa*mul[frac], 0 where that is not exact
	limit uint64     // mantissas below it cannot overflow with any mul
	frac  int        // digits after the decimal mark of the time just read
	cells [][]byte
}

func newScanner(p *plan) *scanner {
	s := &scanner{plan: p}
	for f := range s.mul {
		if p.form == timeNumber && p.scaleNs == 0 && p.unitNs%pow10u[f] == 0 {
			s.mul[f] = p.unitNs / pow10u[f]
		}
	}
	if p.unitNs > 0 {
		s.limit = math.MaxInt64 / p.unitNs
	}
	return s
}

// scan reads all lines of a chunk.
func (s *scanner) scan(c *chunk) {
	b := c.buf
	c.stride = bytes.Count(b, []byte{'\n'})
	if n := c.stride * s.slots; cap(c.vals) < n {
		c.vals = make([]float64, n)
	} else {
		c.vals = c.vals[:n]
	}
	if cap(c.stamps) < c.stride {
		c.stamps = make([]int64, c.stride)
	}
	c.stamps = c.stamps[:c.stride]
	if len(c.missing) != s.slots {
		c.missing = make([]int, s.slots)
	}
	clear(c.missing)
	c.lines, c.rows, c.maxFrac, c.skipped, c.breaks = 0, 0, 0, c.skipped[:0], c.breaks[:0]
	c.notes = noteBook{}
	fastTo := len(b) // lines that start before it may be plain rows
	if s.d.dec == s.d.delim || s.careful {
		fastTo = 0
	} else if c.cut && c.early {
		fastTo = bytes.LastIndexByte(b[:len(b)-1], '\n') + 1
	}
	for i := 0; i < len(b); {
		if i < fastTo {
			if next, ok := s.fastRow(c, b, i); ok {
				i = next
				c.rows++
				c.lines++
				continue
			}
		}
		end := i + bytes.IndexByte(b[i:], '\n')
		if s.slowRow(c, b[i:end], c.off+int64(i), c.cut && end == len(b)-1) {
			c.rows++
		} else {
			c.skipped = append(c.skipped, c.rows)
		}
		c.lines++
		i = end + 1
	}
}

// fastRow reads one row whose cells are all plain numbers, readable times or
// empty, with as many cells as columns. Anything else is left to slowRow: ok is
// false and nothing of the row counts.
func (s *scanner) fastRow(c *chunk, b []byte, i int) (next int, ok bool) {
	delim, dec := s.d.delim, s.d.dec
	blank := byte('\t') // skipped beside spaces
	if delim == '\t' {
		blank = ' '
	}
	cols := s.cols
	row := c.rows
	empty := 0
	for k := range cols {
		for b[i] == ' ' || b[i] == blank {
			i++
		}
		if k == 0 && (b[i] == '#' || b[i] == '%' || b[i] == '!' || b[i] == '/' || b[i] == 0xc2) {
			return 0, false // a comment, or one behind a no-break space
		}
		col := &cols[k]
		j := i
		switch {
		case col.kind == colSkip:
			for b[j] != delim && b[j] != '\n' && (delim != ' ' || (b[j] != ' ' && b[j] != '\t')) {
				if b[j] == '"' {
					return 0, false
				}
				j++
			}
			if b[j] == '\n' && j > i && b[j-1] == '\r' {
				j--
			}
		case col.kind == colTime && (s.form == timeClock || s.form == timeStamp):
			for b[j] != delim && b[j] != '\n' && b[j] != '"' && (delim != ' ' || (b[j] != ' ' && b[j] != '\t')) {
				j++
			}
			cell := trimSpace(b[i:j])
			parse := parseClock
			if s.form == timeStamp {
				parse = parseStamp
			}
			ns, frac, ok := parse(cell)
			if !ok {
				return 0, false
			}
			c.stamps[row] = ns
			s.frac = frac
			if b[j] == '\n' && j > i && b[j-1] == '\r' {
				j--
			}
		default:
			quoted := b[i] == '"'
			if quoted {
				j++
			}
			d, end, good := scanDecimal(b, j, dec)
			if col.kind == colTime {
				if !good || !s.fastTime(c, d) {
					return 0, false
				}
			} else if good {
				v, exact := d.float()
				if !exact {
					v, _ = slowCell(b[j:end], s.d)
					if v != v {
						return 0, false
					}
				}
				if col.conv {
					v = v*col.factor + col.offset
					if v-v != 0 {
						return 0, false // too large for a float
					}
				}
				c.vals[col.slot*c.stride+row] = v
			} else {
				if end != j || quoted || delim == ' ' || (b[j] != delim && b[j] != '\n' && b[j] != '\r') {
					return 0, false
				}
				empty++
				c.vals[col.slot*c.stride+row] = math.NaN()
			}
			j = end
			if quoted {
				if b[j] != '"' {
					return 0, false
				}
				j++
			}
		}
		i = j
		for b[i] == ' ' || b[i] == blank {
			i++
		}
		last := k == len(cols)-1
		switch e := b[i]; {
		case e == delim && delim != 0 && delim != ' ' && delim != '\n':
			i++
			if last { // a delimiter at the end of the row
				for b[i] == ' ' || b[i] == blank {
					i++
				}
				if b[i] == '\r' {
					i++
				}
				if b[i] != '\n' {
					return 0, false
				}
				return s.finishRow(c, empty, i+1)
			}
		case e == '\n' || (e == '\r' && b[i+1] == '\n'):
			if !last {
				return 0, false
			}
			if e == '\r' {
				i++
			}
			return s.finishRow(c, empty, i+1)
		case delim == ' ' && i > j && !last:
		default:
			return 0, false
		}
	}
	return 0, false
}

// finishRow books a row that was read. A row with nothing in it is left to
// slowRow, which knows blank lines.
func (s *scanner) finishRow(c *chunk, empty, next int) (int, bool) {
	if empty > 0 {
		if empty == s.slots && s.time < 0 {
			return 0, false
		}
		for k := range c.missing {
			if v := c.vals[k*c.stride+c.rows]; v != v {
				c.missing[k]++
			}
		}
	}
	c.maxFrac = max(c.maxFrac, s.frac)
	return next, true
}

// fastTime stores a time given as a number.
func (s *scanner) fastTime(c *chunk, d decimal) bool {
	var ns int64
	switch {
	case s.form == timeCount:
		if d.frac != 0 || d.mant > 1<<52 {
			return false
		}
		ns = int64(d.mant)
		if d.neg {
			ns = -ns
		}
	case s.scaleNs != 0:
		return false
	case d.frac >= 0 && d.frac < len(s.mul) && s.mul[d.frac] != 0 && d.mant < s.limit:
		ns = int64(d.mant * s.mul[d.frac])
		if d.neg {
			ns = -ns
		}
	default:
		var ok bool
		if ns, ok = d.nanos(s.unitNs); !ok {
			return false
		}
	}
	c.stamps[c.rows] = ns
	s.frac = d.frac
	return true
}

// slowTime reads a time cell of any form.
func (s *scanner) slowTime(cell []byte) (ns int64, frac int, ok bool) {
	cell = trimCell(cell)
	switch s.form {
	case timeClock:
		return parseClock(cell)
	case timeStamp:
		return parseStamp(cell)
	}
	if s.form == timeNumber && s.scaleNs == 0 {
		padded := append(append(make([]byte, 0, 32), cell...), '\n')
		if d, end, good := scanDecimal(padded, 0, s.d.dec); good && end == len(cell) {
			ns, ok = d.nanos(s.unitNs)
			return ns, d.frac, ok
		}
	}
	v, st := slowCell(cell, s.d)
	if st != cellValue {
		return 0, 0, false
	}
	switch {
	case s.form == timeCount:
		if v != math.Trunc(v) || math.Abs(v) > 1<<52 {
			return 0, 0, false
		}
		return int64(v), 0, true
	case s.scaleNs != 0:
		v *= s.scaleNs
	default:
		v *= float64(s.unitNs)
	}
	if !(math.Abs(v) < math.MaxInt64/2) {
		return 0, 0, false
	}
	return int64(math.Round(v)), decimals(cell, s.d.dec), true
}

func decimals(cell []byte, dec byte) int {
	i := bytes.IndexByte(cell, dec)
	if i < 0 {
		return 0
	}
	n := 0
	for i++; i < len(cell) && cell[i]-'0' <= 9; i++ {
		n++
	}
	return n
}

// slowRow reads a line that is not a plain row, notes what is odd about it, and
// reports whether it made a row.
func (s *scanner) slowRow(c *chunk, line []byte, off int64, cut bool) bool {
	no := c.lines
	line = bytes.TrimSuffix(line, []byte("\r"))
	text := trimSpace(line)
	if len(text) == 0 {
		c.notes.add(oddBlank, no, off, func() string { return "" })
		return false
	}
	if isComment(text) {
		c.notes.add(oddComment, no, off, func() string { return "" })
		return false
	}
	s.cells = splitCells(line, s.d.delim, s.cells)
	cells := s.cells
	for len(cells) > len(s.cols) && len(trimSpace(cells[len(cells)-1])) == 0 {
		cells = cells[:len(cells)-1]
	}
	if s.wordsOnly(cells) {
		c.breaks = append(c.breaks, c.rows)
		if s.head != "" && foldName(string(line)) == s.head {
			c.notes.add(oddHeader, no, off, func() string { return "the header stands here again: the log was started anew" })
		} else {
			c.notes.add(oddText, no, off, func() string { return fmt.Sprintf("not a row of numbers, not used: %s", quote(text)) })
		}
		return false
	}
	have := min(len(cells), len(s.cols))
	if cut && (have < len(s.cols) || c.early) {
		have-- // the last cell may be half a number
		if c.early && !s.anyValue(have) {
			return false // nothing of the line can be used, and that the file ends early is said for the whole file
		}
		c.notes.add(oddCut, no, off, func() string {
			return fmt.Sprintf("the last line is cut off after %d of %d values; the value that was being written is not used", have, len(s.cols))
		})
	}
	if s.time >= 0 {
		if s.time >= have && cut {
			return false // said just now
		}
		if s.time >= have {
			c.notes.add(oddTime, no, off, func() string { return "row without a time, not used" })
			return false
		}
		ns, frac, ok := s.slowTime(cells[s.time])
		if !ok {
			c.notes.add(oddTime, no, off, func() string {
				return fmt.Sprintf("time %s cannot be read, row not used", quote(cells[s.time]))
			})
			return false
		}
		c.stamps[c.rows] = ns
		c.maxFrac = max(c.maxFrac, frac)
	}
	for k := range s.cols {
		col := &s.cols[k]
		if col.kind != colValue {
			continue
		}
		v := math.NaN()
		if k < have {
			var st cellState
			v, st = slowCell(cells[k], s.d)
			if st == cellText && col.inCell {
				if x, u, ok := unitCell(cells[k], s.d); ok && u.Dim == col.unit.Dim {
					v, st = x*col.scale, cellValue
				}
			} else if col.conv {
				v = v*col.factor + col.offset
			}
			if math.IsInf(v, 0) {
				v, st = math.NaN(), cellInf
			}
			switch st {
			case cellText:
				c.notes.add(oddCell, no, off, func() string {
					if col.inCell {
						return fmt.Sprintf("column %q: %s is no value of %s", col.name, quote(cells[k]), col.unit.Dim)
					}
					return fmt.Sprintf("column %q: %s is not a number", col.name, quote(cells[k]))
				})
			case cellInf:
				c.notes.add(oddInf, no, off, func() string {
					return fmt.Sprintf("column %q reads %s: not a value that can be measured, left empty", col.name, quote(cells[k]))
				})
			case cellMissing:
				c.missing[col.slot]++
			}
		}
		c.vals[col.slot*c.stride+c.rows] = v
	}
	if len(cells) < len(s.cols) && !cut {
		c.notes.add(oddShort, no, off, func() string {
			return fmt.Sprintf("row has %d of %d values; the rest is left empty", len(cells), len(s.cols))
		})
	}
	if len(cells) > len(s.cols) {
		c.notes.add(oddLong, no, off, func() string {
			return fmt.Sprintf("row has %d values for %d columns; the surplus is not used", len(cells), len(s.cols))
		})
	}
	return true
}

// anyValue reports whether the first n cells of a row hold a channel's value and,
// where there is a column of times, the time.
func (s *scanner) anyValue(n int) bool {
	if s.time >= n {
		return false
	}
	for _, col := range s.cols[:n] {
		if col.kind == colValue {
			return true
		}
	}
	return false
}

// wordsOnly reports whether a line holds words and not one number or time.
func (s *scanner) wordsOnly(cells [][]byte) bool {
	words := 0
	for k, cell := range cells {
		if k < len(s.cols) && s.cols[k].kind == colTime {
			if _, _, ok := s.slowTime(cell); ok {
				return false
			}
			words++
			continue
		}
		if k < len(s.cols) && s.cols[k].kind == colSkip {
			continue
		}
		switch _, st := slowCell(cell, s.d); st {
		case cellValue, cellInf:
			return false
		case cellText:
			if k < len(s.cols) && s.cols[k].inCell {
				if _, _, ok := unitCell(cell, s.d); ok {
					return false
				}
			}
			words++
		}
	}
	return words > 0
}

// quote shows a piece of the file in a note, kept short and printable.
func quote(b []byte) string {
	s, _ := readableText(trimSpace(b))
	if r := []rune(s); len(r) > 40 {
		s = string(r[:40]) + "…"
	}
	return strings.ToValidUTF8(fmt.Sprintf("%q", s), "?")
}
