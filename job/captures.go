package job

import (
	"fmt"
	"path"
	"strings"

	"proveout/evidence"
	"proveout/strict"
	"proveout/unit"
)

// CaptureFile is one entry of captures, checked. Files that its pattern matches
// are found by who opens the folder.
type CaptureFile struct {
	Item      int
	File      string // clean, "/" separated, inside the folder; may be a pattern
	Pattern   bool   // File holds * ? or [
	Kind      string // as written, folded; empty = to be found out
	Subject   evidence.Subject
	Condition evidence.Condition
	Probe     Probe
	When      string // "", before, after
	Drive     *DriveNote
	Taken     string
	Operator  string
	Columns   []ColumnMap
	Marks     []float64 // seconds on the file's own time at which it was felt
	RateHz    float64   // 0 = not given
	Delimiter byte      // 0 = to be found out
	Known     Facts
	Decimal   byte
	SetAside  string
	Note      string
	Line      int
}

// ColumnMap is one column mapping, checked.
type ColumnMap struct {
	Column  string
	As      string
	Unit    unit.Unit // zero when not given
	Scale   float64   // unit value for each file unit; 0 = not given
	Probe   string    // the scale of a probe instead, "100 mV/A"; empty = not given
	Subject evidence.Subject
	Line    int
}

func (r *resolver) capture(i int) {
	w := &r.f.Captures[i]
	item := r.item("captures", i, w.Item)
	if len(r.f.broken("captures", i)) > 0 {
		return
	}
	ok := true
	keep := func(good bool) { ok = ok && good }
	c := CaptureFile{
		Item: item, Kind: fold(w.Kind), Probe: w.Probe, Taken: w.Taken, Operator: w.Operator,
		SetAside: strings.TrimSpace(w.SetAside), Note: w.Note, Line: r.f.line("captures", i),
	}
	file, err := insideFolder(w.File)
	if err != nil {
		r.err(err.Error(), "captures", i, "file")
		return
	}
	c.File, c.Pattern = file, strings.ContainsAny(file, "*?[")
	var good bool
	c.Subject, good = r.subject(w.Where, "captures", i)
	keep(good)
	c.Condition = r.condition(w.Condition, "captures", i)
	c.When, good = r.word(w.When, whenWords, "captures", i, "when")
	keep(good)
	c.Drive = r.drive(w.Drive, i)
	r.stamp(w.Taken, "captures", i, "taken")
	keep(r.reasonFor(w.SetAside, "captures", i, "set_aside"))
	c.Known = r.out.Known.With(r.known(w.Known, "captures", i))
	if w.SampleRate != "" {
		q, err := quantity(w.SampleRate, "")
		if err != nil || q.Unit.Dim != unit.Frequency || q.SI <= 0 || q.SI > 1e12 {
			r.err(fmt.Sprintf("%s is no sample rate; write for example 1 MHz", strict.Quote(w.SampleRate)), "captures", i, "sample_rate")
			ok = false
		}
		c.RateHz = q.SI
	}
	for j, text := range w.Marks {
		q, err := quantity(text, "s")
		if err != nil || q.Unit.Dim != unit.Time {
			r.err(fmt.Sprintf("%s is no time; write for example 95 s", strict.Quote(text)), "captures", i, "marks", j)
			ok = false
			continue
		}
		c.Marks = append(c.Marks, q.SI)
	}
	if w.Delimiter != "" {
		d, good := r.word(w.Delimiter, delimWords, "captures", i, "delimiter")
		keep(good)
		switch d {
		case "tab":
			c.Delimiter = '\t'
		case "space":
			c.Delimiter = ' '
		case "":
		default:
			c.Delimiter = d[0]
		}
	}
	if w.Decimal != "" {
		d, good := r.word(w.Decimal, decimalWords, "captures", i, "decimal")
		if keep(good); good {
			c.Decimal = d[0]
		}
	}
	for j := range w.Columns {
		m, good := r.column(&w.Columns[j], i, j)
		keep(good)
		c.Columns = append(c.Columns, m)
	}
	if ok {
		r.out.Captures = append(r.out.Captures, c)
	}
}

func (r *resolver) column(w *Column, i, j int) (ColumnMap, bool) {
	m := ColumnMap{Column: strings.TrimSpace(w.Column), As: fold(w.As), Line: r.f.line("captures", i, "columns", j)}
	ok := true
	if m.Column == "" {
		r.err("is missing; write the header name or the number of the column, counting from 1", "captures", i, "columns", j, "column")
		ok = false
	}
	if m.As == "" {
		r.err("is missing; say what the column holds, for example time, ignition_secondary or ignore", "captures", i, "columns", j, "as")
		ok = false
	}
	if as := r.words.Role; as != nil && m.As != "" {
		role, known := as(m.As)
		if !known {
			text := strict.Quote(w.As) + " is no role"
			if n := strict.Nearest(m.As, r.words.Roles); n != "" {
				text += fmt.Sprintf("; did you mean %q?", n)
			} else {
				text += "."
			}
			r.err(text+" Write one of "+strings.Join(r.words.Roles, ", "), "captures", i, "columns", j, "as")
			ok = false
		}
		m.As = role
	}
	if w.Unit != "" {
		u, err := unit.Parse(w.Unit)
		if err != nil {
			r.err(err.Error(), "captures", i, "columns", j, "unit")
			ok = false
		}
		m.Unit = u
	}
	if _, ok := unit.ParseProbe(w.Scale); ok {
		m.Probe = w.Scale
	} else if w.Scale != "" {
		q, err := quantity(w.Scale, "")
		switch {
		case err != nil || q.Typed == 0:
			r.err(fmt.Sprintf("%s is no scale; write how much one unit of the file is, for example 10 or 10 A", strict.Quote(w.Scale)), "captures", i, "columns", j, "scale")
			ok = false
		case bare(w.Scale):
			m.Scale = q.Typed
		case !m.Unit.IsZero() && m.Unit.Dim != q.Unit.Dim:
			r.err(fmt.Sprintf("the scale is in %s, the unit is %s; write one of them", q.Unit.Symbol, m.Unit.Symbol), "captures", i, "columns", j, "scale")
			ok = false
		default:
			if m.Unit.IsZero() {
				m.Unit = q.Unit
			}
			m.Scale = m.Unit.FromSI(q.SI)
		}
	}
	s, good := r.subject(w.Where, "captures", i, "columns", j)
	m.Subject = s
	return m, ok && good
}

// insideFolder makes a path clean and refuses those that lead out of the job
// folder, or could on another system.
func insideFolder(file string) (string, error) {
	s := strings.TrimSpace(file)
	switch {
	case s == "":
		return "", fmt.Errorf("is missing; write the file's name inside the job folder")
	case strings.ContainsRune(s, 0):
		return "", fmt.Errorf("%s holds a zero byte", strict.Quote(s))
	case strings.Contains(s, `\`):
		return "", fmt.Errorf("%s has a backslash; write / between folders", strict.Quote(s))
	case strings.HasPrefix(s, "/") || len(s) > 1 && s[1] == ':':
		return "", fmt.Errorf("%s is a path from the root; captures lie inside the job folder: write the path from there", strict.Quote(s))
	}
	for part := range strings.SplitSeq(s, "/") {
		if part == ".." {
			return "", fmt.Errorf("%s leads out of the job folder; copy the file into it", strict.Quote(s))
		}
	}
	if _, err := path.Match(s, ""); err != nil {
		return "", fmt.Errorf("%s is no file name or pattern: a [ is not closed", strict.Quote(s))
	}
	if s = path.Clean(s); s == "." {
		return "", fmt.Errorf("%s is the folder itself; write a file's name", strict.Quote(file))
	}
	return s, nil
}
