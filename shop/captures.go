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

// captures takes in every capture of the job. One that cannot be read is left out
// with the reason; the others stand.
func (w *work) captures() {
	var all []taken
	for _, c := range w.resolved.Captures {
		for _, m := range w.source.measured(w, c) {
			all = append(all, taken{c: c, m: m})
		}
	}
	sameBytes(all)
	for i := range all {
		t := &all[i]
		w.add(t.c, t.m)
		if t.silent {
			w.logs = slices.DeleteFunc(w.logs, func(l drivenLog) bool { return l.capture.Item == t.c.Item && l.file == t.m.file })
			w.sessions = slices.DeleteFunc(w.sessions, func(s readSession) bool { return s.capture.Item == t.c.Item })
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
		col := trace.Column{Column: m.Column, As: m.As, Unit: m.Unit.Symbol, Scale: m.Probe}
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

// measured is what one capture says, before it is known whether it counts. It
// depends on the file, its description and the vehicle only, so the workbench may
// keep it while other evidence comes in.
type measured struct {
	file, sha256 string
	what         string
	itemNotes    []string
	notes        []NoteAnswer
	leftOut      []LeftOut
	counted      []countedCodes
	listed       []string // modules whose codes were read
	readings     []evidence.Reading
	notMeasured  []measure.NotMeasured
	codes        *storedCodes // nil: codes were not read
	read         bool
}

// add takes in what a capture says.
func (w *work) add(c job.CaptureFile, m measured) {
	if c.SetAside != "" {
		w.asideReason[c.Item] = c.SetAside
	}
	w.answer.Items = append(w.answer.Items, ItemAnswer{
		Item: c.Item, Kind: "capture", File: m.file, SHA256: m.sha256, Line: c.Line, SetAside: c.SetAside,
		What: m.what, Notes: m.itemNotes,
	})
	w.answer.Notes = append(w.answer.Notes, m.notes...)
	w.answer.LeftOut = append(w.answer.LeftOut, m.leftOut...)
	if m.read {
		w.read++
	}
	if m.codes != nil {
		w.codeFindings(c, m.codes)
	}
	w.listed = append(w.listed, m.listed...)
	if c.SetAside != "" {
		w.setAside = append(w.setAside, m.readings...)
		return
	}
	if c.When != "after" {
		w.counted = append(w.counted, m.counted...)
	}
	w.readings = append(w.readings, m.readings...)
	w.notMeasured = append(w.notMeasured, m.notMeasured...)
}

// measure reads one file of one entry and measures it.
func (w *work) measure(c job.CaptureFile, f intake.File) measured {
	m := measured{file: f.Name, sha256: f.SHA256, what: captureWords(c, f)}
	if f.Err != nil {
		m.leaveOut(0, f.Err.Error())
		m.itemNotes = append(m.itemNotes, "not read")
		return m
	}
	m.read = true
	kept := false
	defer func() {
		if !kept { // nothing of what was measured looks at the samples
			_ = f.Close()
		}
	}()
	if f.Messages != nil {
		w.messages(c, f, &m)
		return m
	}
	for _, n := range f.Recording.Notes {
		if n.Lost {
			m.leaveOut(n.Line, n.Text)
		} else {
			m.note(n.Line, n.Text)
		}
	}
	if w.marked() && c.SetAside == "" {
		w.parts = append(w.parts, &part{file: f.Name, tracks: timeline.Tracks(f.Recording), marks: c.Marks})
	}
	res, err := measure.Capture(c.Kind, f.Recording, w.meta(c, f))
	if err != nil {
		// The file is read and shown for what it holds; only measuring it failed.
		m.leaveOut(0, "read, but not measured: "+err.Error())
		m.what = recordingWords(f) + ", not measured"
		return m
	}
	if res.Kind != "" {
		m.what = strings.ReplaceAll(res.Kind, "_", " ") + where(c) + ", " + recordingWords(f)
	}
	if kept = w.keep && res.Kind == measure.ParameterLog; kept {
		w.logs = append(w.logs, drivenLog{c, f.Name, measure.LogSeries(f.Recording, w.meta(c, f)), startOf(f.Recording)})
	}
	m.take(res)
	return m
}

// startOf is the file's own time of its first row, in s.
func startOf(r *trace.Recording) float64 {
	if r.Time.N == 0 {
		return 0
	}
	return float64(r.Time.At(0)) * 1e-9
}

// take keeps what measuring a capture gave.
func (m *measured) take(res measure.Result) {
	for _, n := range res.Notes {
		if n.Trouble {
			m.itemNotes = append(m.itemNotes, n.Text)
		}
		m.note(n.From.Line, n.Text)
	}
	m.readings = append(m.readings, res.Readings...)
	m.notMeasured = append(m.notMeasured, res.NotMeasured...)
}

func (m *measured) note(line int, text string) {
	m.notes = append(m.notes, NoteAnswer{File: m.file, Line: line, Text: text})
}

func (m *measured) leaveOut(line int, why string) {
	why = strings.TrimPrefix(strings.TrimPrefix(why, m.file+": "), m.file+" ")
	m.leftOut = append(m.leftOut, LeftOut{File: m.file, Line: line, Why: why})
}

func (w *work) leftOut(file string, line int, why string) {
	m := measured{file: file}
	m.leaveOut(line, why)
	w.answer.LeftOut = append(w.answer.LeftOut, m.leftOut...)
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
func (w *work) messages(c job.CaptureFile, f intake.File, m *measured) {
	log, err := canlog.ReadAll(bytes.NewReader(f.Messages), canlog.Options{})
	if err != nil {
		m.leaveOut(0, err.Error())
		if log == nil {
			return
		}
	}
	s := obd.Read(log)
	if s.Records == 0 {
		m.leaveOut(0, "no diagnostic message was found in it")
	}
	m.what = fmt.Sprintf("diagnostic messages%s, %d messages of %d module%s", where(c), s.Messages, len(s.Modules), plural(len(s.Modules)))
	for _, n := range s.Notes {
		m.note(n.Line, n.Text)
	}
	if w.keep {
		w.sessions = append(w.sessions, readSession{c, s})
	}
	m.itemNotes = append(m.itemNotes, sessionSummary(s)...)
	w.sessionNotes(m, s)
	m.counted, m.listed = countCodes(s)
	m.codes = readCodes(m.file, s)
	res, err := measure.Diagnostics(s, w.meta(c, f))
	if err != nil {
		m.leaveOut(0, "decoded, but not measured: "+err.Error())
		return
	}
	m.take(res)
}

// sessionNotes says what a session holds beside readings: what a clear
// destroyed, other vehicles, readiness.
func (w *work) sessionNotes(m *measured, s *obd.Session) {
	if s.MixedVehicles {
		m.leaveOut(0, "more than one VIN was read: "+vins(s)+". The log mixes vehicles; make one job for each")
	}
	want := strings.ToUpper(strings.TrimSpace(w.file.Vehicle.VIN))
	for _, v := range s.VINs {
		if want != "" && string(v) != want {
			m.leaveOut(0, fmt.Sprintf("the module says VIN %s, the job says %s: a capture of another vehicle? Check before relying on it", v, want))
		}
	}
	for _, cl := range s.Clears {
		m.itemNotes = append(m.itemNotes, cl.Sentence())
		m.note(cl.Source.Line, cl.Sentence())
	}
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
	switch {
	case span >= 100: // three figures would be written as 1e+03
		s += fmt.Sprintf(", %.0f s", span)
	case span > 0:
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
