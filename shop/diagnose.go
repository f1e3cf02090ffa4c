package shop

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"proveout/book"
	"proveout/evidence"
	"proveout/intake"
	"proveout/job"
	"proveout/measure"
	"proveout/reason"
	"proveout/strict"
	"proveout/unit"
	"proveout/vehicle"
)

// Options are what the person may choose about a diagnosis.
type Options struct {
	Books    []*book.Book // nil: the built-in ones
	Reason   reason.Options
	StopAt   float64 // chance at which the search ends; 0: as the job says
	Limits   intake.Limits
	Progress func(file string, done, total int64)
	Program  string // name and version of the program, pinned in the answer
}

// ErrNothingRead is when a folder gave nothing that could be answered.
var ErrNothingRead = errors.New("nothing in the job could be read")

// Diagnose answers the job in a folder: what each item says, what is ruled out
// and by what, what is left, and what to do next. Nothing in the folder is
// changed. What could not be used is listed in the answer; the error is for a
// folder from which nothing could be read at all.
func Diagnose(dir string, o Options) (*Answer, error) {
	folder, err := intake.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	f, err := readJob(folder)
	if err != nil {
		return nil, err
	}
	return diagnose(inFolder{folder}, f, o, nil)
}

// readJob finds and reads the job file of a folder.
func readJob(folder *intake.Folder) (*job.File, error) {
	name, data, err := jobText(folder)
	if err != nil {
		return nil, err
	}
	f, problems := job.Parse(name, data)
	if f == nil {
		return nil, problemError(problems)
	}
	return f, nil
}

// problemError joins the errors among problems, one line each.
func problemError(ps []strict.Problem) error {
	var lines []string
	for _, p := range strict.Errors(ps) {
		lines = append(lines, p.String())
	}
	return errors.New(strings.Join(lines, "\n"))
}

// work is one diagnosis under way.
type work struct {
	o        Options
	source   source
	file     *job.File
	engine   vehicle.Engine
	instance *book.Instance
	resolved *job.Resolved
	answer   *Answer

	readings    []evidence.Reading // counted
	setAside    []evidence.Reading
	disputes    []dispute      // pairs of readings that cannot both be right
	asideReason map[int]string // by item
	notMeasured []measure.NotMeasured
	findings    []evidence.Finding
	triedParts  []reason.Tried
	read        int     // items that gave anything at all
	parts       []*part // recordings to be laid on one line of time, where a capture has marks

	// For the proof: kept only when keep is set.
	keep     bool
	logs     []drivenLog
	sessions []readSession
	counted  []countedCodes // what modules say they store
	listed   []string       // modules whose codes were read
	result   *reason.Answer
}

// diagnose answers a job. Once something was put right the answer carries what the
// proof says of it; told are drives that were told, not logged.
func diagnose(s source, f *job.File, o Options, told []job.DriveAdded) (*Answer, error) {
	if len(f.Corrections) > 0 {
		p, err := prove(s, f, o, told)
		if p == nil {
			return nil, err
		}
		p.settle()
		return p.diagnosis, err
	}
	w := &work{o: o, source: s, file: f, asideReason: map[int]string{}, answer: newAnswer(f, o)}
	return w.diagnose()
}

// diagnose does the work; what it found out stays in w.
func (w *work) diagnose() (*Answer, error) {
	f, o := w.file, w.o
	engine, problems := f.VehicleEngine()
	if errs := strict.Errors(problems); len(errs) > 0 {
		return nil, problemError(problems)
	}
	w.engine = engine
	w.problems(problems)
	books := o.Books
	if books == nil {
		var err error
		if books, err = book.Builtin(); err != nil {
			return nil, err
		}
	}
	chosen, problems := f.ChooseBooks(books, engine)
	w.problems(problems)
	in, err := book.Instantiate(engine, chosen...)
	if err != nil {
		return nil, err
	}
	w.instance = in
	w.resolved = f.ResolveWith(in, job.Vocabulary{Roles: measure.RoleIDs(), Role: measure.FindRole})
	w.problems(w.resolved.Problems)
	w.captures()
	w.feltMarks()
	w.typed()
	w.tried()
	w.judge()
	if len(w.findings) == 0 && w.read == 0 && len(w.resolved.Complaint.Symptoms) == 0 && len(w.answer.LeftOut) > 0 {
		return w.answer, ErrNothingRead
	}
	w.uniqueIDs()
	result, err := reason.Judge(w.reasonCase(), w.reasonOptions())
	if err != nil {
		return nil, fmt.Errorf("the odds could not be worked out: %w", err)
	}
	w.result = result
	w.fill(result)
	return w.answer, nil
}

// problems sorts problems into what is left out and what is only noted.
func (w *work) problems(ps []strict.Problem) {
	for _, p := range ps {
		if p.Severity == strict.Error {
			w.answer.LeftOut = append(w.answer.LeftOut, LeftOut{File: p.File, Line: p.Line, Path: p.Path, Item: w.file.ItemAt(p.Path), Why: p.Text})
			continue
		}
		w.answer.Notes = append(w.answer.Notes, NoteAnswer{File: p.File, Line: p.Line, Path: p.Path, Text: p.Text})
	}
}

// asks turns the numeric tests of the books into questions to the readings.
func (w *work) asks() []measure.Ask {
	var out []measure.Ask
	seen := map[string]bool{}
	for _, t := range w.instance.Tests {
		r := t.Test.Reads
		if r == nil || seen[t.Test.ID] {
			continue
		}
		seen[t.Test.ID] = true
		a := measure.Ask{Test: t.Test.ID, Feature: r.Feature, Versus: versus[r.Versus]}
		scale := func(v float64) float64 { return v }
		if u, err := unit.Parse(r.Unit); err == nil && r.Unit != "" {
			switch r.Versus {
			case "absolute":
				scale = u.SI
			case "difference":
				scale = u.StepSI
			}
		}
		for _, out := range t.Test.Outcomes {
			if out.Normal {
				a.Normal = &measure.Band{From: scale(out.From), To: scale(out.To)}
			}
		}
		if r.Nominal != nil {
			v := r.Nominal.Value
			if u, err := unit.Parse(r.Unit); err == nil && r.Unit != "" {
				v = u.SI(v)
			}
			a.Nominal = &v
		}
		out = append(out, a)
	}
	return out
}

// versus translates the words of a book into those of measuring.
var versus = map[string]measure.Versus{
	"others": measure.Others, "difference": measure.Difference, "limit": measure.VsLimit,
	"absolute": measure.Absolute, "count": measure.Count,
}

// features are those the books and the job declare beside the catalogue.
func (w *work) features() []evidence.Feature {
	var out []evidence.Feature
	for _, b := range w.instance.Books {
		for _, id := range slices.Sorted(maps.Keys(b.Features)) {
			if f, ok := w.instance.Feature(id); ok {
				out = append(out, f)
			}
		}
	}
	return out
}

// judge turns readings into findings. Readings set aside are judged in a second
// pass beside the counted ones, so that they never pollute a comparison.
func (w *work) judge() {
	task := measure.Task{Engine: w.engine, Readings: w.readings, NotMeasured: w.notMeasured, Asks: w.asks(), Limits: w.limits(), Features: w.features()}
	w.findings = append(w.route(measure.Judge(task)), w.findings...)
	if len(w.setAside) == 0 {
		return
	}
	aside := map[int]bool{}
	for _, r := range w.setAside {
		aside[r.Item] = true
	}
	task.Readings, task.NotMeasured = append(append([]evidence.Reading(nil), w.readings...), w.setAside...), nil
	for _, f := range w.route(measure.Judge(task)) {
		if aside[f.Item] {
			f.SetAside = true
			f.ID += "/set-aside"
			w.findings = append(w.findings, f)
		}
	}
}

// uniqueIDs numbers findings that would have the same id: two readings of one
// test on one subject.
func (w *work) uniqueIDs() {
	seen := map[string]int{}
	for i := range w.findings {
		f := &w.findings[i]
		seen[f.ID]++
		if n := seen[f.ID]; n > 1 {
			f.ID = fmt.Sprintf("%s#%d", f.ID, n)
		}
	}
}

func (w *work) limits() []measure.Limit {
	var out []measure.Limit
	si := func(q *unit.Quantity) *float64 {
		if q == nil {
			return nil
		}
		v := q.SI
		return &v
	}
	for _, l := range w.resolved.Limits {
		out = append(out, measure.Limit{Feature: l.Feature, Subject: l.Subject, Min: si(l.Min), Max: si(l.Max), Nominal: si(l.Nominal), Source: l.Source})
	}
	return out
}

// withoutLimit lists the tests against a limit that neither the job nor the book
// gives: measuring for them would end in "not judged".
func (w *work) withoutLimit() []string {
	var out []string
	for i := range w.instance.Tests {
		t := w.instance.Tests[i].Test
		if t.Reads == nil || t.Reads.Versus != "limit" || t.Reads.Nominal != nil || slices.Contains(out, t.ID) {
			continue
		}
		given := slices.ContainsFunc(w.resolved.Limits, func(l job.LimitValue) bool { return l.Feature == t.Reads.Feature })
		if !given {
			out = append(out, t.ID)
		}
	}
	return out
}

func (w *work) reasonCase() reason.Case {
	c := w.resolved.Complaint
	rc := reason.Case{
		Instance: w.instance, Symptoms: c.Symptoms, Complaint: c.Condition, States: c.States, Facts: c.Facts,
		Findings: w.findings, Equipment: w.resolved.Equipment, LampFlashing: c.Lamp == "flashing", EngineHot: c.Condition.Warm == "hot",
	}
	rc.Window = reason.Window{RPMLow: c.RpmLow, RPMHigh: c.RpmHigh, LoadLow: c.LoadLow, LoadHigh: c.LoadHigh}
	rc.Skip = w.withoutLimit()
	rc.Tried = w.triedParts
	rc.Disputes = w.disputeList()
	for _, l := range w.limits() {
		rc.Limits = append(rc.Limits, reason.Limit{Feature: l.Feature, Subject: l.Subject, Min: l.Min, Max: l.Max, Source: l.Source})
	}
	rc.Kept = w.kept()
	for _, d := range w.resolved.Overrules {
		rc.Overrules = append(rc.Overrules, reason.Overrule{Suspect: d.Suspect, Reason: d.Reason, Who: d.Who, State: reason.State(d.State)})
	}
	return rc
}

// reasonOptions are those of the person, then those of the job, then the
// program's own.
func (w *work) reasonOptions() reason.Options {
	o, s := w.o.Reason, w.resolved.Search
	if o.Rank == "" {
		o.Rank = reason.Rank(s.Order)
	}
	o.Open = append(slices.Clone(o.Open), s.Open...)
	stop := s.StopAt
	if w.o.StopAt > 0 {
		stop = w.o.StopAt
	}
	if o.Limits == nil && (stop > 0 || s.ShownAt > 0) {
		l := reason.DefaultLimits()
		if stop > 0 {
			l.StopAt = stop
		}
		if s.ShownAt > 0 {
			l.ShownAt = s.ShownAt
		}
		o.Limits = &l
	}
	return o
}
