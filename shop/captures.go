package shop

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/intake"
	"proveout/job"
	"proveout/measure"
	"proveout/obd"
	"proveout/obd/canlog"
	"proveout/timeline"
	"proveout/trace"
)

// captures reads and measures every capture of the job. One that cannot be read
// is left out with the reason; the others stand.
func (w *work) captures() {
	for _, c := range w.resolved.Captures {
		for _, f := range w.folder.ReadAll(c.File, w.intakeOptions(c)) {
			w.capture(c, f)
		}
	}
}

func (w *work) intakeOptions(c job.CaptureFile) intake.Options {
	o := intake.Options{Limits: w.o.Limits, Progress: w.o.Progress}
	o.Text = trace.TextOptions{SampleRateHz: c.RateHz}
	switch c.Delimiter {
	case 0:
	case '\t':
		o.Text.Delimiter = "tab"
	case ' ':
		o.Text.Delimiter = "space"
	default:
		o.Text.Delimiter = string(c.Delimiter)
	}
	if c.Decimal != 0 {
		o.Text.Decimal = string(c.Decimal)
	}
	for _, m := range c.Columns {
		col := trace.Column{Column: m.Column, As: m.As, Unit: m.Unit.Symbol}
		if m.Scale != 0 {
			col.Scale = fmt.Sprint(m.Scale)
			if !m.Unit.IsZero() {
				col.Scale += " " + m.Unit.Symbol
			}
		}
		o.Text.Columns = append(o.Text.Columns, col)
	}
	o.WAV.Columns = o.Text.Columns
	if c.Kind == measure.Diagnostic {
		o.Want = trace.KindMessages
	} else if c.Kind != "" {
		o.Want = trace.KindText
	}
	return o
}

// capture takes in one file of one entry.
func (w *work) capture(c job.CaptureFile, f intake.File) {
	item := ItemAnswer{Item: c.Item, Kind: "capture", File: f.Name, SHA256: f.SHA256, Line: c.Line, SetAside: c.SetAside}
	item.What = captureWords(c, f)
	if c.SetAside != "" {
		w.asideReason[c.Item] = c.SetAside
	}
	defer func() { w.answer.Items = append(w.answer.Items, item) }()
	if f.Err != nil {
		w.leftOut(f.Name, 0, f.Err.Error())
		item.Notes = append(item.Notes, "not read")
		return
	}
	w.read++
	if f.Messages != nil {
		w.messages(c, f, &item)
		return
	}
	for _, n := range f.Recording.Notes {
		if n.Lost {
			w.leftOut(f.Name, n.Line, n.Text)
		} else {
			w.note(f.Name, n.Line, n.Text)
		}
	}
	if w.marked() && c.SetAside == "" {
		w.parts = append(w.parts, &part{file: f.Name, tracks: timeline.Tracks(f.Recording), marks: c.Marks})
	}
	res, err := measure.Capture(c.Kind, f.Recording, w.meta(c, f))
	if err != nil {
		// The file is read and shown for what it holds; only measuring it failed.
		w.leftOut(f.Name, 0, "read, but not measured: "+err.Error())
		item.What = recordingWords(f) + ", not measured"
		return
	}
	if res.Kind != "" {
		item.What = strings.ReplaceAll(res.Kind, "_", " ") + where(c) + ", " + recordingWords(f)
	}
	if w.keep && res.Kind == measure.ParameterLog {
		w.logs = append(w.logs, drivenLog{c, f.Name, measure.LogSeries(f.Recording, w.meta(c, f))})
	}
	w.take(c, f, res, &item)
}

// take keeps what measuring a capture gave.
func (w *work) take(c job.CaptureFile, f intake.File, res measure.Result, item *ItemAnswer) {
	for _, n := range res.Notes {
		if n.Trouble {
			item.Notes = append(item.Notes, n.Text)
		}
		w.note(f.Name, n.From.Line, n.Text)
	}
	if c.SetAside != "" {
		w.setAside = append(w.setAside, res.Readings...)
		return
	}
	w.readings = append(w.readings, res.Readings...)
	w.notMeasured = append(w.notMeasured, res.NotMeasured...)
}

func (w *work) meta(c job.CaptureFile, f intake.File) measure.Meta {
	m := measure.Meta{
		Item: c.Item, File: f.Name, Subject: c.Subject, Condition: c.Condition, Probe: c.Probe.Name, Calibrated: c.Probe.Calibrated,
		Placement: c.Probe.Placement, Inverted: c.Probe.Inverted, When: c.When, Engine: w.engine, Known: known(c.Known),
	}
	if f.Recording == nil {
		return m
	}
	for _, ch := range f.Recording.Channels {
		if ch.Mapped < 1 || ch.Mapped > len(c.Columns) {
			continue
		}
		if col := c.Columns[ch.Mapped-1]; col.As != "" || col.Subject.Kind != "" {
			m.Columns = append(m.Columns, measure.Column{Channel: ch.Name, As: col.As, Subject: col.Subject})
		}
	}
	return m
}

// known hands what the job knows of the circuit to measuring.
func known(f job.Facts) measure.Known {
	k := measure.Known{
		SupplyVolts: f.SupplyVolts, DriverVolts: f.DriverVolts, AmbientPressure: f.AmbientPa, PulleyRatio: f.PulleyRatio,
		PolePairs: f.PolePairs, PumpBars: f.PumpBars, CrankTeeth: f.CrankTeeth, Order: f.PulsedOrder,
	}
	if f.BatteryCelsius != nil {
		k.Temperature, k.HasTemperature = *f.BatteryCelsius, true
	}
	return k
}

// messages decodes a log of diagnostic messages.
func (w *work) messages(c job.CaptureFile, f intake.File, item *ItemAnswer) {
	log, err := canlog.ReadAll(bytes.NewReader(f.Messages), canlog.Options{})
	if err != nil {
		w.leftOut(f.Name, 0, err.Error())
		if log == nil {
			return
		}
	}
	s := obd.Read(log)
	if s.Records == 0 {
		w.leftOut(f.Name, 0, "no diagnostic message was found in it")
	}
	item.What = fmt.Sprintf("diagnostic messages%s, %d messages of %d module%s", where(c), s.Messages, len(s.Modules), plural(len(s.Modules)))
	for _, n := range s.Notes {
		w.note(f.Name, n.Line, n.Text)
	}
	if w.keep {
		w.sessions = append(w.sessions, readSession{c, s})
	}
	item.Notes = append(item.Notes, sessionSummary(s)...)
	item.Notes = append(item.Notes, w.sessionNotes(f.Name, s)...)
	w.unreadCodes(c, s)
	w.codeFindings(c, f.Name, s)
	res, err := measure.Diagnostics(s, w.meta(c, f))
	if err != nil {
		w.leftOut(f.Name, 0, "decoded, but not measured: "+err.Error())
		return
	}
	w.take(c, f, res, item)
}

// sessionNotes says what a session holds beside readings: what a clear
// destroyed, other vehicles, readiness.
func (w *work) sessionNotes(file string, s *obd.Session) []string {
	var out []string
	if s.MixedVehicles {
		w.leftOut(file, 0, "more than one VIN was read: "+vins(s)+". The log mixes vehicles; make one job for each")
	}
	want := strings.ToUpper(strings.TrimSpace(w.file.Vehicle.VIN))
	for _, v := range s.VINs {
		if want != "" && string(v) != want {
			w.leftOut(file, 0, fmt.Sprintf("the module says VIN %s, the job says %s: a capture of another vehicle? Check before relying on it", v, want))
		}
	}
	for _, cl := range s.Clears {
		out = append(out, cl.Sentence())
		w.note(file, cl.Source.Line, cl.Sentence())
	}
	return out
}

func vins(s *obd.Session) string {
	var out []string
	for _, v := range s.VINs {
		out = append(out, string(v))
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

func (w *work) note(file string, line int, text string) {
	w.answer.Notes = append(w.answer.Notes, NoteAnswer{File: file, Line: line, Text: text})
}

func (w *work) leftOut(file string, line int, why string) {
	why = strings.TrimPrefix(strings.TrimPrefix(why, file+": "), file+" ")
	w.answer.LeftOut = append(w.answer.LeftOut, LeftOut{File: file, Line: line, Why: why})
}

func where(c job.CaptureFile) string {
	s := ""
	if c.Subject.Kind != "" {
		s += ", " + c.Subject.String()
	}
	if c.Condition.State != evidence.StateUnknown {
		s += ", " + strings.ReplaceAll(string(c.Condition.State), "_", " ")
	}
	if c.Probe.Placement != "" {
		s += ", placement " + c.Probe.Placement
	}
	if c.When == "after" {
		s += ", after the repair"
	}
	return s
}

func captureWords(c job.CaptureFile, f intake.File) string {
	kind := c.Kind
	if kind == "" {
		kind = "capture"
	}
	return strings.ReplaceAll(kind, "_", " ") + where(c) + ": " + f.Name
}

func recordingWords(f intake.File) string {
	r := f.Recording
	n := r.Time.N
	var span float64
	if n > 1 {
		span = float64(r.Time.At(n-1)-r.Time.At(0)) * 1e-9
	}
	s := fmt.Sprintf("%s (%d channel%s, %d rows", f.Name, len(r.Channels), plural(len(r.Channels)), n)
	if span > 0 {
		s += fmt.Sprintf(", %.3g s", span)
	}
	return s + ")"
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}
