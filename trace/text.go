package trace

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"sort"
)

// headSize is how much of a file is looked at to find out how it is written,
// and headLines how many lines of it.
const (
	headSize  = 256 << 10
	headLines = 200
)

// ErrEmpty is returned for a file without any content.
var ErrEmpty = errors.New("the file is empty; export the capture again")

// ReadText reads delimited text: one row per sample (or per change of level),
// one column per signal. Everything it finds out about the file is in the notes
// of the recording; a row or cell that cannot be used is a note with its line
// and Lost set. The error says what was wrong and where; with an error there is
// no recording.
//
// Values are in SI. A number is read exactly as strconv.ParseFloat reads it.
// Memory: 8 bytes for each value, and for each time stamp while reading; of a
// recording beyond opts.Beyond only a few chunks.
func ReadText(r io.Reader, opts TextOptions) (*Recording, error) {
	src := &lastError{r: r}
	br := bufio.NewReaderSize(src, headSize)
	head, headErr := br.Peek(headSize)
	if len(head) == 0 {
		if headErr != nil && headErr != io.EOF {
			return nil, headErr
		}
		return nil, ErrEmpty
	}
	var notes []Note
	enc := findEncoding(head)
	if enc.name != "" {
		notes = append(notes, Note{Text: "encoding: " + enc.name})
	}
	if _, err := br.Discard(enc.bom); err != nil {
		return nil, err
	}
	var text io.Reader = br
	var wide *utf16Reader
	bytesKnown := true
	if enc.utf16 {
		wide = &utf16Reader{r: br, bigEnd: enc.bigEnd}
		br = bufio.NewReaderSize(wide, headSize)
		text, bytesKnown = br, false
	}
	head, headErr = br.Peek(headSize)
	if len(bytes.TrimSpace(head)) == 0 {
		return nil, ErrEmpty
	}
	if bytes.IndexByte(head, 0) >= 0 {
		return nil, fmt.Errorf("byte %d: the file holds zero bytes: it is not text", enc.bom+bytes.IndexByte(head, 0))
	}
	whole := headErr != nil
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		notes = append(notes, Note{Text: "lines end with a carriage return alone"})
		head = bytes.ReplaceAll(head, []byte{'\r'}, []byte{'\n'})
		text = crReader{text}
	}
	lines := sampleLines(head, whole, headLines)
	if len(lines) == 1 && !whole && len(head) >= headSize {
		return nil, errLongLine
	}
	p, err := makePlan(lines, opts)
	if err != nil && len(lines) == headLines { // a long preamble: look further down
		if all := sampleLines(head, whole, len(head)); len(all) > headLines {
			p, err = makePlan(all, opts)
		}
	}
	if err != nil {
		return nil, err
	}
	if _, err := io.CopyN(io.Discard, text, int64(p.bodyOff)); err != nil {
		return nil, err
	}
	workers, size := max(1, opts.Workers), chunkSize
	if whole { // a small file is one chunk
		workers, size = 1, len(head)+1
	}
	if opts.chunk > 0 {
		workers, size = opts.Workers, opts.chunk
	}
	f := &feeder{size: size, r: &lastError{r: text}, off: int64(p.bodyOff + enc.bom), tell: opts.Progress, taken: int64(p.bodyOff + enc.bom)}
	a := newAssembly(p, opts)
	if err := a.refuseTooMany(a.limit()); err != nil {
		return nil, err
	}
	if err := pump(f, p, workers, a.add); err != nil {
		return nil, err
	}
	if f.early != nil {
		if a.rows == 0 {
			return nil, f.early
		}
		notes = append(notes, Note{Line: a.lineOf(a.rows - 1), Byte: f.taken, Text: fmt.Sprintf("the file ends early: %v; what came before is used", f.early), Lost: true})
	}
	if wide != nil && wide.odd > 0 {
		notes = append(notes, Note{Text: fmt.Sprintf("%d broken UTF-16 characters", wide.odd), Lost: true})
	}
	rec, err := a.finish(bytesKnown)
	if err != nil {
		return nil, err
	}
	rec.Notes = append(notes, rec.Notes...)
	return rec, nil
}

// assembly joins the chunks to one recording.
type assembly struct {
	*plan
	opts    TextOptions
	rows    int
	lines   int // lines of the body so far
	vals    []held[float64]
	clock   held[int64]
	stamps  []int64 // of clock, once all rows are read
	beyond  bool    // the values are in the scratch
	maxFrac int
	missing []int
	skips   []skip
	breaks  []int // rows before which a line could not be used
	unsure  bool  // too many skips to know the line of each row
	book    noteBook
	edges   bool
}

// skip says that from row on, line numbers are off by lines in total.
type skip struct{ row, lines int }

// maxSkips bounds the memory for line numbers (our choice).
const maxSkips = 1 << 16

func newAssembly(p *plan, opts TextOptions) *assembly {
	return &assembly{plan: p, opts: opts, vals: make([]held[float64], p.slots), missing: make([]int, p.slots)}
}

func (a *assembly) limit() int64 {
	if a.opts.MaxValues > 0 {
		return a.opts.MaxValues
	}
	return DefaultMaxValues
}

func (a *assembly) add(c *chunk) error {
	limit := a.limit()
	if perRow := int64(a.perRow()); (int64(a.rows)+int64(c.rows))*perRow > limit {
		return fmt.Errorf("line %d: %w", a.bodyNo+a.lines, tooMany(0, limit, len(a.cols), false))
	}
	if err := a.keep(c, limit); err != nil {
		return err
	}
	for _, row := range c.skipped {
		if len(a.skips) > 0 && a.skips[len(a.skips)-1].row == a.rows+row {
			a.skips[len(a.skips)-1].lines++
			continue
		}
		if len(a.skips) >= maxSkips {
			a.unsure = true
			break
		}
		n := 1
		if len(a.skips) > 0 {
			n += a.skips[len(a.skips)-1].lines
		}
		a.skips = append(a.skips, skip{a.rows + row, n})
	}
	for _, row := range c.breaks {
		if len(a.breaks) < maxSkips {
			a.breaks = append(a.breaks, a.rows+row)
		}
	}
	a.book.merge(&c.notes, a.bodyNo+a.lines, 0)
	a.maxFrac = max(a.maxFrac, c.maxFrac)
	a.rows += c.rows
	a.lines += c.lines
	return nil
}

// perRow is how many values of 8 bytes a row takes.
func (a *assembly) perRow() int {
	if a.time >= 0 {
		return a.slots + 1
	}
	return a.slots
}

// keep takes the values of a chunk, in memory as long as there is room.
func (a *assembly) keep(c *chunk, limit int64) error {
	room := a.opts.Beyond.room(limit)
	if a.rows == 0 && c.rows > 0 {
		a.reserve(c, room)
	}
	if rows := int64(a.rows) + int64(c.rows); !a.beyond && rows*int64(a.perRow()) > room {
		if err := a.spill(); err != nil {
			return err
		}
	}
	for s := range a.vals {
		if err := a.vals[s].append(c.vals[s*c.stride : s*c.stride+c.rows]); err != nil {
			return err
		}
		a.missing[s] += c.missing[s]
	}
	if a.time >= 0 {
		return a.clock.append(c.stamps[:c.rows])
	}
	return nil
}

// spill moves what was read to the scratch, where the rest follows.
func (a *assembly) spill() error {
	a.beyond = true
	for s := range a.vals {
		if err := a.vals[s].spill(a.opts.Beyond.Scratch); err != nil {
			return err
		}
	}
	if a.time >= 0 {
		return a.clock.spill(a.opts.Beyond.Scratch)
	}
	return nil
}

// reserve makes room for the whole file, judged by the first chunk, so that
// the values are not copied again and again as they grow.
func (a *assembly) reserve(c *chunk, room int64) {
	if a.opts.Size <= 0 || len(c.buf) == 0 {
		return
	}
	rows := int64(float64(a.opts.Size)/float64(len(c.buf))*float64(c.rows)*1.02) + 1024
	if most := room / int64(a.perRow()); rows > most {
		if a.opts.Beyond.Scratch != nil {
			return // it will not stay in memory
		}
		rows = most
	}
	for s := range a.vals {
		a.vals[s].mem = make([]float64, 0, rows)
	}
	if a.time >= 0 {
		a.clock.mem = make([]int64, 0, rows)
	}
}

// lineOf gives the line of a row, 0 when it is not known.
func (a *assembly) lineOf(row int) int {
	if a.unsure {
		return 0
	}
	i := sort.Search(len(a.skips), func(i int) bool { return a.skips[i].row > row })
	n := 0
	if i > 0 {
		n = a.skips[i-1].lines
	}
	return a.bodyNo + row + n
}

// finish turns what was read into a recording.
func (a *assembly) finish(bytesKnown bool) (*Recording, error) {
	if a.rows == 0 {
		return nil, fmt.Errorf("line %d: no row of numbers could be used", a.bodyNo)
	}
	rec := &Recording{}
	var err error
	if a.stamps, err = a.clock.all(); err != nil {
		return nil, err
	}
	for i, col := range a.cols {
		if col.kind != colValue {
			continue
		}
		values, err := a.vals[col.slot].all()
		if err != nil {
			return nil, err
		}
		rec.Channels = append(rec.Channels, Channel{Name: col.name, Label: col.label, Unit: col.unit, Values: values, Column: i + 1, As: col.as, Mapped: col.mapped})
		if n := a.missing[col.slot]; n == a.rows {
			a.note(0, "column %q is empty", col.name)
		} else if n > 0 {
			a.note(0, "column %q: %d of %d cells are empty", col.name, n, a.rows)
		}
	}
	a.edges = a.isEdgeList(rec.Channels)
	a.timeBase(rec)
	if a.edges {
		for i := range rec.Channels {
			rec.Channels[i].Edges = true
		}
		a.note(0, "edge list: each row is a change of level, which holds until the next row")
	} else {
		a.holdLast(rec)
	}
	rec.Notes = append(a.notes, a.book.notes(bytesKnown)...)
	return rec, nil
}
