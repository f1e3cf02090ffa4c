package watch

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Row is one line of a feed: a value, and a time when the line gave one.
type Row struct {
	Seconds float64 // time in the feed's own clock
	HasTime bool
	Value   float64 // as written; the reader of the feed knows the unit
}

// MaxLine is the longest line a feed may have, in bytes.
const MaxLine = 4096

// Lines reads a feed of text lines that arrive in pieces: a file another program
// is still writing, standard input, a posted body. Each line is JSON
// ({"t": 1.2, "v": 13.4}; also "time" and "value" or "voltage"), or CSV with one
// column (value) or two and more (time first, unless a header says otherwise).
// A line that has not ended yet waits for its end.
type Lines struct {
	buf     []byte
	line    int
	timeCol int
	valCol  int
	header  bool
	tooLong bool
	// Notes say which lines could not be used, and why. At most 100 are kept.
	Notes []string
	Bad   int
}

// Write takes a piece and gives the rows of the lines it completes.
func (l *Lines) Write(piece []byte) []Row {
	var out []Row
	for len(piece) > 0 {
		i := bytes.IndexByte(piece, '\n')
		part := piece
		if i >= 0 {
			part, piece = piece[:i], piece[i+1:]
		} else {
			piece = nil
		}
		if l.tooLong || len(l.buf)+len(part) > MaxLine {
			l.tooLong, l.buf = true, l.buf[:0]
		} else {
			l.buf = append(l.buf, part...)
		}
		if i >= 0 {
			if r, ok := l.take(); ok {
				out = append(out, r)
			}
		}
	}
	return out
}

// Close gives the last line when it ended without a newline.
func (l *Lines) Close() []Row {
	if len(l.buf) == 0 && !l.tooLong {
		return nil
	}
	if r, ok := l.take(); ok {
		return []Row{r}
	}
	return nil
}

func (l *Lines) note(format string, a ...any) {
	l.Bad++
	if len(l.Notes) < 100 {
		l.Notes = append(l.Notes, fmt.Sprintf("line %d: ", l.line)+fmt.Sprintf(format, a...))
	}
}

func (l *Lines) take() (Row, bool) {
	l.line++
	long := l.tooLong
	text := strings.TrimSpace(strings.TrimPrefix(string(l.buf), "\ufeff"))
	l.buf, l.tooLong = l.buf[:0], false
	switch {
	case long:
		l.note("longer than %d bytes; left out", MaxLine)
		return Row{}, false
	case text == "" || strings.HasPrefix(text, "#"):
		return Row{}, false
	case strings.HasPrefix(text, "{"):
		return l.fromJSON(text)
	}
	return l.fromCSV(text)
}

func (l *Lines) fromJSON(text string) (Row, bool) {
	var in struct {
		T, Time           *float64
		V, Value, Voltage *float64
	}
	if err := json.Unmarshal([]byte(text), &in); err != nil {
		l.note("no JSON object of numbers: %v", err)
		return Row{}, false
	}
	pick := func(xs ...*float64) *float64 {
		for _, x := range xs {
			if x != nil {
				return x
			}
		}
		return nil
	}
	v := pick(in.V, in.Value, in.Voltage)
	if v == nil {
		l.note("there is no \"v\"; write {\"t\": seconds, \"v\": value}")
		return Row{}, false
	}
	r := Row{Value: *v}
	if t := pick(in.T, in.Time); t != nil {
		r.Seconds, r.HasTime = *t, true
	}
	return r, true
}

func (l *Lines) fromCSV(text string) (Row, bool) {
	sep := ","
	switch {
	case strings.Contains(text, ";"):
		sep = ";"
	case strings.Contains(text, "\t"):
		sep = "\t"
	}
	cells := strings.Split(text, sep)
	number := func(i int) (float64, bool) {
		if i < 0 || i >= len(cells) {
			return 0, false
		}
		s := strings.TrimSpace(cells[i])
		if sep != "," {
			s = strings.Replace(s, ",", ".", 1)
		}
		v, err := strconv.ParseFloat(s, 64)
		return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
	}
	if !l.header {
		l.header = true
		l.timeCol, l.valCol = -1, 0
		if len(cells) > 1 {
			l.timeCol, l.valCol = 0, 1
		}
		if _, ok := number(l.valCol); !ok {
			if l.readHeader(cells) {
				return Row{}, false
			}
		}
	}
	v, ok := number(l.valCol)
	if !ok {
		l.note("column %d is no number: %q", l.valCol+1, text)
		return Row{}, false
	}
	r := Row{Value: v}
	if l.timeCol >= 0 {
		if r.Seconds, r.HasTime = number(l.timeCol); !r.HasTime {
			l.note("column %d is no time in seconds: %q", l.timeCol+1, text)
			return Row{}, false
		}
	}
	return r, true
}

// readHeader finds the time and value columns by name.
func (l *Lines) readHeader(cells []string) bool {
	t, v := -1, -1
	for i, c := range cells {
		c = strings.ToLower(strings.TrimSpace(c))
		switch {
		case t < 0 && (strings.HasPrefix(c, "time") || c == "t" || c == "s" || strings.HasPrefix(c, "seconds")):
			t = i
		case v < 0 && (strings.HasPrefix(c, "volt") || strings.HasPrefix(c, "v") || strings.HasPrefix(c, "supply")):
			v = i
		}
	}
	if v < 0 {
		if len(cells) == 1 {
			v = 0
		} else {
			return false
		}
	}
	l.timeCol, l.valCol = t, v
	return true
}
