package shop

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"sync"

	"proveout/evidence"
	"proveout/job"
	"proveout/measure"
	"proveout/strict"
	"proveout/unit"
	"proveout/vehicle"
)

// CaptureReading is what measuring says of one capture, for the screen that shows it:
// before it is added, so that a wrong column is seen at once, and after, with the
// stretches of samples the numbers come from.
type CaptureReading struct {
	Kind       string        `json:"kind"`
	Recognised bool          `json:"recognised"` // the kind was found out, not said
	Readings   []ReadingLine `json:"readings"`
	// NotMeasured is what could not be had from it, and what would make it measurable.
	NotMeasured []NotMeasuredLine `json:"not_measured"`
	Notes       []string          `json:"notes"`
	Trouble     []string          `json:"trouble"` // notes that speak against the data
	Marks       []MarkView        `json:"marks"`
	MarksOf     int               `json:"marks_of"` // how many there are in all
	Error       string            `json:"error,omitempty"`
}

// ReadingLine is one reading in words and numbers.
type ReadingLine struct {
	Feature     string   `json:"feature"`
	Name        string   `json:"name"`
	Subject     string   `json:"subject"`
	Value       float64  `json:"value"` // in Unit
	Unit        string   `json:"unit"`
	Uncertainty float64  `json:"uncertainty"`
	N           int      `json:"n"`
	Flags       []string `json:"flags,omitempty"`
}

// NotMeasuredLine is what could not be measured.
type NotMeasuredLine struct {
	Name string `json:"name"`
	Why  string `json:"why"`
	Fix  string `json:"fix"`
}

// MarkView is a stretch of samples behind a reading.
type MarkView struct {
	Feature string `json:"feature"`
	Name    string `json:"name"`
	Channel string `json:"channel"`
	Event   int    `json:"event"` // from 0
	First   int    `json:"first"`
	Last    int    `json:"last"`
	Text    string `json:"text"`
}

// mostMarks is how many marks a screen gets (our choice: no one walks through more).
const mostMarks = 400

// readShelf keeps the last readings: measuring a long capture takes a second.
type readShelf struct {
	mu   sync.Mutex
	keys []string
	by   map[string]*CaptureReading
}

const readShelfMost = 64

func (s *readShelf) get(key string) *CaptureReading {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.by[key]
}

func (s *readShelf) put(key string, r *CaptureReading) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.by == nil {
		s.by = map[string]*CaptureReading{}
	}
	if s.by[key] == nil {
		s.keys = append(s.keys, key)
	}
	s.by[key] = r
	if len(s.keys) > readShelfMost {
		delete(s.by, s.keys[0])
		s.keys = slices.Delete(s.keys, 0, 1)
	}
}

// ReadCapture measures a capture the way it would be measured in a job, with a
// description in the job file's form.
func (b *Bench) ReadCapture(ctx context.Context, jobID, sha, name string, form json.RawMessage) (*CaptureReading, error) {
	state, err := b.State(ctx, jobID)
	if err != nil {
		return nil, err
	}
	engine, err := b.engineOf(ctx, state)
	if err != nil {
		return nil, err
	}
	key := job.Digest(fmt.Appendf(nil, "%s %s %s %+v %s", DecoderVersion, sha, name, engine, form))
	if r := b.reads.get(key); r != nil {
		return r, nil
	}
	r, err := b.readNow(sha, name, form, engine)
	if err != nil {
		return nil, err
	}
	b.reads.put(key, r)
	return r, ctx.Err()
}

// engineOf is the engine of a job's vehicle; one that is not said has no cylinders.
func (b *Bench) engineOf(ctx context.Context, state *job.State) (vehicle.Engine, error) {
	in, err := b.basis(ctx, state)
	if err != nil {
		return vehicle.Engine{}, err
	}
	f, problems := job.Parse("job.yaml", in.text)
	if f == nil {
		return vehicle.Engine{}, problemError(problems)
	}
	engine, _ := f.VehicleEngine()
	return engine, nil
}

func (b *Bench) readNow(sha, name string, form json.RawMessage, engine vehicle.Engine) (*CaptureReading, error) {
	m, ps := readMapping(name, form)
	out := &CaptureReading{Readings: []ReadingLine{}, NotMeasured: []NotMeasuredLine{}, Notes: []string{}, Trouble: []string{}, Marks: []MarkView{}}
	for _, p := range ps {
		if p.Severity == strict.Error {
			out.Error = p.Text
			return out, nil
		}
	}
	f := b.readCapture(name, sha, m.options(b.o.Limits))
	switch {
	case f.Err != nil:
		out.Error = strings.TrimPrefix(f.Err.Error(), name+": ")
		return out, nil
	case f.Recording == nil:
		return out, nil // messages: there is nothing to draw
	}
	defer f.Close()
	w := &work{o: Options{Limits: b.o.Limits}, file: &job.File{}, engine: engine}
	res, err := measure.Capture(m.c.Kind, f.Recording, w.meta(m.c, f))
	if err != nil {
		out.Error = err.Error()
		return out, nil
	}
	out.fill(res)
	return out, nil
}

func (r *CaptureReading) fill(res measure.Result) {
	r.Kind, r.Recognised = res.Kind, res.Recognised
	for _, x := range res.Readings {
		u, name := x.Value.Unit, x.Feature
		if f, ok := evidence.Lookup(x.Feature); ok {
			name = f.Name
			if known, err := unit.Parse(f.Unit); err == nil {
				u = known
			}
		}
		line := ReadingLine{Feature: x.Feature, Name: name, Subject: x.Subject.String(), Value: u.FromSI(x.Value.SI), Unit: u.Symbol, N: x.N}
		if x.Subject.Kind == "" {
			line.Subject = "" // no cylinder was given
		}
		if u.Factor != 0 {
			line.Uncertainty = x.Uncertainty / u.Factor
		}
		for _, fl := range x.Flags {
			line.Flags = append(line.Flags, string(fl))
		}
		r.Readings = append(r.Readings, line)
	}
	for _, n := range res.NotMeasured {
		name := n.Feature
		if f, ok := evidence.Lookup(n.Feature); ok {
			name = f.Name
		}
		r.NotMeasured = append(r.NotMeasured, NotMeasuredLine{Name: name, Why: n.Why, Fix: n.Fix})
	}
	for _, n := range res.Notes {
		if n.Trouble {
			r.Trouble = append(r.Trouble, n.Text)
		} else {
			r.Notes = append(r.Notes, n.Text)
		}
	}
	r.MarksOf = len(res.Marks)
	for _, m := range res.Marks[:min(len(res.Marks), mostMarks)] {
		_, name, _ := strings.Cut(m.Feature, ".") // a mark may be of what several features are made of
		name = strings.ReplaceAll(name, "_", " ")
		if f, ok := evidence.Lookup(m.Feature); ok {
			name = f.Name
		}
		r.Marks = append(r.Marks, MarkView{Feature: m.Feature, Name: name, Channel: m.Channel, Event: m.Event, First: m.First, Last: m.Last, Text: m.Text})
	}
}
