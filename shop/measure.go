package shop

import (
	"bytes"
	"io"
	"strings"

	"proveout/evidence"
	"proveout/intake"
	"proveout/job"
	"proveout/measure"
	"proveout/obd"
	"proveout/obd/canlog"
	"proveout/trace"
	"proveout/vehicle"
)

// MeasureOptions say what is known about loose files that no job describes.
type MeasureOptions struct {
	Options
	Kind       string
	Subject    evidence.Subject
	Condition  evidence.Condition
	RateHz     float64
	Columns    []trace.Column
	Placement  string
	Calibrated bool
	Engine     vehicle.Engine
	Known      job.Facts // of the vehicle or the circuit, as in a job file
}

// MeasuredFile is what one loose file gave.
type MeasuredFile struct {
	File     string          `json:"file"`
	SHA256   string          `json:"sha256"`
	Kind     string          `json:"kind,omitempty"`
	What     string          `json:"what,omitempty"`
	Findings []FindingAnswer `json:"findings"`
	Notes    []NoteAnswer    `json:"notes"`
	LeftOut  []LeftOut       `json:"left_out"`
	Error    string          `json:"error,omitempty"`
}

// Measure reads and measures loose files without a job: what each says, and
// nothing about causes.
func Measure(names []string, stdin io.Reader, o MeasureOptions) []MeasuredFile {
	in := intake.Options{Limits: o.Limits, Progress: o.Progress, Text: trace.TextOptions{SampleRateHz: o.RateHz, Columns: o.Columns}, WAV: trace.WAVOptions{Columns: o.Columns}}
	var out []MeasuredFile
	for f := range intake.Each(names, stdin, in) {
		out = append(out, measureFile(len(out)+1, f, o))
		_ = f.Close() // its samples are gone from here on
	}
	return out
}

func measureFile(item int, f intake.File, o MeasureOptions) MeasuredFile {
	m := MeasuredFile{File: f.Name, SHA256: f.SHA256, Findings: []FindingAnswer{}, Notes: []NoteAnswer{}, LeftOut: []LeftOut{}}
	if f.Err != nil {
		m.Error = strings.TrimPrefix(f.Err.Error(), f.Name+": ")
		return m
	}
	meta := measure.Meta{Item: item, File: f.Name, Subject: o.Subject, Condition: o.Condition, Placement: o.Placement, Calibrated: o.Calibrated, Engine: o.Engine, Known: known(o.Known)}
	var res measure.Result
	if f.Messages != nil {
		log, err := canlog.ReadAll(bytes.NewReader(f.Messages), canlog.Options{})
		if log == nil {
			m.Error = err.Error()
			return m
		}
		m.What = "diagnostic messages"
		if res, err = measure.Diagnostics(obd.Read(log), meta); err != nil {
			m.Error = "decoded, but not measured: " + err.Error()
			return m
		}
	} else {
		for _, n := range f.Recording.Notes {
			if n.Lost {
				m.LeftOut = append(m.LeftOut, LeftOut{File: f.Name, Line: n.Line, Why: n.Text})
			} else {
				m.Notes = append(m.Notes, NoteAnswer{File: f.Name, Line: n.Line, Text: n.Text})
			}
		}
		m.What = recordingWords(f)
		for _, ch := range f.Recording.Channels {
			if ch.Mapped > 0 && ch.As != "" {
				meta.Columns = append(meta.Columns, measure.Column{Channel: ch.Name, As: ch.As})
			}
		}
		var err error
		if res, err = measure.Capture(o.Kind, f.Recording, meta); err != nil {
			m.Error = "read, but not measured: " + err.Error()
			return m
		}
	}
	m.Kind = res.Kind
	for _, n := range res.Notes {
		m.Notes = append(m.Notes, NoteAnswer{File: f.Name, Line: n.From.Line, Text: n.Text})
	}
	findings := measure.Judge(measure.Task{Engine: o.Engine, Readings: res.Readings, NotMeasured: res.NotMeasured})
	for i := range findings {
		m.Findings = append(m.Findings, findingAnswer(&findings[i]))
	}
	return m
}
