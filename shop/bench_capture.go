package shop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"

	"proveout/intake"
	"proveout/job"
	"proveout/measure"
	"proveout/store"
	"proveout/strict"
)

// Uploaded is a capture that lies whole in the store.
type Uploaded struct {
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
	Known  bool   `json:"known"` // the same bytes were there before
}

// Upload begins an upload; size is -1 when it is not known.
func (b *Bench) Upload(ctx context.Context, name string, size int64) (string, error) {
	id, err := b.store.Begin(ctx, store.Upload{Name: name, Size: size})
	if err == nil {
		b.ahead.begin(b, id, name, size)
	}
	return id, err
}

// UploadState says where an upload stands, so that it can go on there.
func (b *Bench) UploadState(ctx context.Context, id string) (store.Upload, error) {
	return b.store.Resume(ctx, id)
}

// Append adds bytes at an offset, and gives the new one when they are on disk.
func (b *Bench) Append(ctx context.Context, id string, offset int64, r io.Reader) (int64, error) {
	at, err := b.store.AppendUpload(ctx, id, offset, b.ahead.tap(id, offset, r))
	if err != nil {
		b.ahead.drop(id) // what was decoded may not be what is kept
	}
	return at, err
}

// Finish makes the upload a capture.
func (b *Bench) Finish(ctx context.Context, id string) (Uploaded, error) {
	sha, size, known, err := b.store.Finish(ctx, id)
	if err == nil {
		b.finishAhead(id, sha, size)
	}
	return Uploaded{sha, size, known}, err
}

// Raw opens a capture as it was sealed.
func (b *Bench) Raw(sha string) (store.Capture, error) { return b.store.OpenCapture(sha) }

// mapping is how a capture is read: its description in the job, and its name.
type mapping struct {
	name string
	c    job.CaptureFile
}

// readMapping reads a description of a capture in the job file's form.
func readMapping(name string, form json.RawMessage) (mapping, []job.Problem) {
	c, ps := job.ReadCapture(name, form, job.Vocabulary{Roles: measure.RoleIDs(), Role: measure.FindRole})
	return mapping{name, c}, ps
}

func (m mapping) options(l intake.Limits) intake.Options {
	w := work{o: Options{Limits: l}}
	return w.intakeOptions(m.c)
}

// digest is over what changes the decoded samples.
func (m mapping) digest() string {
	c := m.c
	cols := slices.Clone(c.Columns)
	for i := range cols {
		cols[i].Line = 0
	}
	return job.Digest(fmt.Appendf(nil, "%v %v %v %v %+v", c.Kind == measure.Diagnostic, c.RateHz, c.Delimiter, c.Decimal, cols))
}

// MappingView is a file as it would be read with a mapping: shown before it is
// added to a job.
type MappingView struct {
	SHA256   string       `json:"sha256"`
	Kind     string       `json:"kind"` // text, wav, messages
	Rows     int          `json:"rows"`
	Seconds  float64      `json:"seconds"`
	RateHz   float64      `json:"rate_hz,omitempty"` // 0: not known or not even
	HasTime  bool         `json:"has_time"`
	Columns  []ColumnView `json:"columns"`
	Kinds    []string     `json:"kinds"` // kinds of capture this program knows
	Roles    []RoleView   `json:"roles"`
	Notes    []NoteAnswer `json:"notes"`
	Problems []string     `json:"problems"` // of the mapping
	Messages []string     `json:"messages,omitempty"`
}

// ColumnView is one column.
type ColumnView struct {
	Column  int        `json:"column"`
	Name    string     `json:"name"`
	Label   string     `json:"label"`
	Unit    string     `json:"unit"` // as read
	As      string     `json:"as,omitempty"`
	Guess   string     `json:"guess,omitempty"` // a role its name suggests
	First   []*float64 `json:"first"`           // first values, in Unit; null: missing
	Min     float64    `json:"min"`             // in Unit
	Max     float64    `json:"max"`
	Missing int        `json:"missing"`
	Sense   []string   `json:"sense,omitempty"` // what looks wrong about it
}

// RoleView is a word a column can be mapped as.
type RoleView struct {
	ID   string `json:"id"`
	Unit string `json:"unit,omitempty"`
	Says string `json:"says"`
}

// firstValues is how many values of each column are shown.
const firstValues = 8

// Preview shows a capture as it would be read with a mapping (an entry of
// "captures" of a job file).
func (b *Bench) Preview(ctx context.Context, sha, name string, form json.RawMessage) (*MappingView, error) {
	m, ps := readMapping(name, form)
	v := &MappingView{SHA256: sha, Kinds: measure.Kinds(), Columns: []ColumnView{}, Notes: []NoteAnswer{}, Problems: []string{}}
	for _, r := range measure.Roles() {
		v.Roles = append(v.Roles, RoleView{r.ID, r.Unit, r.Says})
	}
	for _, p := range ps {
		if p.Severity == strict.Error {
			v.Problems = append(v.Problems, p.Text)
		}
	}
	t, release, err := b.traces.use(sha, m)
	switch {
	case errors.Is(err, errMessages):
		v.Kind = "messages"
		return v, b.messagesPreview(v, sha, m)
	case err != nil:
		return nil, err
	}
	defer release()
	b.fillPreview(v, t)
	return v, ctx.Err()
}

func (b *Bench) fillPreview(v *MappingView, t *traceFile) {
	v.Kind, v.Rows, v.HasTime = t.head.Kind, t.head.Time.N, t.head.Time.Stamps || t.head.Time.Num > 0
	v.Seconds, v.RateHz = t.seconds(), t.rateHz()
	for _, n := range t.head.Notes {
		v.Notes = append(v.Notes, NoteAnswer{Line: n.Line, Text: n.Text})
	}
	for i := range t.head.Channels {
		c := &t.head.Channels[i]
		cv := ColumnView{Column: c.Column, Name: c.Name, Label: c.Label, Unit: c.Unit, As: c.As, Missing: c.Missing, Min: c.inUnit(c.Min), Max: c.inUnit(c.Max)}
		if id, ok := measure.FindRole(c.Label); ok && c.As == "" {
			cv.Guess = id
		}
		first, err := t.view(i, 0, firstValues, firstValues)
		if err == nil {
			for j := 0; j+1 < len(first); j += 2 {
				cv.First = append(cv.First, jsonNumber(c.inUnit(float64(first[j]))))
			}
		}
		cv.Sense = sense(c, t.head.Time.N)
		v.Columns = append(v.Columns, cv)
	}
}

// sense says what looks wrong about a column before anything relies on it.
func sense(c *traceChannel, rows int) []string {
	var out []string
	switch {
	case rows > 0 && c.Missing == rows:
		out = append(out, "no value in it")
	case c.Missing > 0 && c.Missing*10 > rows:
		out = append(out, fmt.Sprintf("%d of %d values are missing", c.Missing, rows))
	case c.Min == c.Max:
		out = append(out, "one value throughout: is the probe connected?")
	}
	if c.FullScale > 0 && (c.Max >= c.FullScale || c.Min <= -c.FullScale) {
		out = append(out, "reaches the end of the recorder's range: the true value may lie beyond it")
	}
	return out
}

func (b *Bench) messagesPreview(v *MappingView, sha string, m mapping) error {
	f := b.readCapture(m.name, sha, m.options(b.o.Limits))
	if f.Err != nil {
		return f.Err
	}
	w := &work{o: Options{Limits: b.o.Limits}, file: &job.File{}}
	got := w.measure(m.c, f)
	v.Messages = append([]string{got.what}, got.itemNotes...)
	v.Notes = append(v.Notes, got.notes...)
	return nil
}
