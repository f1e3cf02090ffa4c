package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"proveout/book"
	"proveout/evidence"
	"proveout/job"
	"proveout/shop"
	"proveout/strict"
	"proveout/text"
	"proveout/unit"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /jobs/{id}/reading", serve: readingPageOf},
		route{pattern: "POST /jobs/{id}/readings", serve: authored(postReading)},
	)
}

// readingPage types one reading: what (one tap, or none from the next test), the
// figures, and the unit key, which also saves.
type readingPage struct {
	ID      string
	Rev     int64
	Again   int // item that is read anew
	Offered []choiceView
	Groups  []choiceGroup
	Test    *readingTest
}

type choiceGroup struct {
	Name    string
	Choices []choiceView
}

type choiceView struct{ Href, Name, Note string }

type readingTest struct {
	ID, Subject, Name, Do string
	Hazards               []shop.HazardAnswer
	Cells                 []readingCell
	Outcomes              []option // of a result in a word
	Units                 []unitKey
	States                []option
	Limit                 *limitForm // of a test that reads a figure
	When                  *question  // before or after the repair; nil: there is none yet
}

// readingCell is one place for a value: a cylinder, a bank, the engine.
type readingCell struct {
	Key, Label string
	Focus      bool
}

type unitKey struct {
	Symbol, Word string
	First        bool // the shop's own: the solid button
}

// instance is the job's books applied to its engine: which tests there are, on
// what.
func (s *Server) instance(ctx context.Context, id string) (*book.Instance, error) {
	st, err := s.bench.State(ctx, id)
	if err != nil {
		return nil, err
	}
	file, problems := st.File(job.Private{})
	if file == nil {
		return nil, fmt.Errorf("the job cannot be read: %v", problems)
	}
	engine, problems := file.VehicleEngine()
	if errs := strict.Errors(problems); len(errs) > 0 {
		return nil, &Problem{Status: http.StatusConflict, Kind: "no_engine", Detail: errs[0].Text}
	}
	chosen, _ := file.ChooseBooks(s.bench.Books(), engine) // what was wrong with a choice stands in the answer
	return book.Instantiate(engine, chosen...)
}

func readingPageOf(s *Server, w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.Job(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	in, err := s.instance(r.Context(), v.Job)
	if err != nil {
		return err
	}
	p := s.printer(r)
	q := r.URL.Query()
	g := &readingPage{ID: v.Job, Rev: v.Rev}
	g.Again, _ = strconv.Atoi(q.Get("again")) // none: a new item
	test, subject := q.Get("test"), q.Get("subject")
	if g.Again > 0 && test == "" {
		test, subject = againTest(v, g.Again)
	}
	if test != "" {
		if g.Test, err = readingTestOf(in, v, test, subject, p); err != nil {
			return err
		}
		if err := s.limitsGiven(r, v.Job, g.Test.Limit, p); err != nil {
			return err
		}
	} else {
		g.choices(in, v, p)
	}
	return s.page(w, r, sheet{Name: "reading", Title: p.T("reading.title"), View: g, Styles: []string{"job.css", "reading.css"}, Scripts: []string{"reading.js"}, Cells: s.jobCells(v, p, p.T("reading.title")), Saved: savedAt(v, s, p)})
}

// againTest finds what an item was a reading of.
func againTest(v *shop.JobView, item int) (test, subject string) {
	if v.Answer == nil {
		return "", ""
	}
	for i := range v.Answer.Findings {
		if f := &v.Answer.Findings[i]; f.Item == item {
			return f.Test, ""
		}
	}
	return "", ""
}

// choices lists what can be read: first what is on offer next, then every test of
// the books by the system it belongs to.
func (g *readingPage) choices(in *book.Instance, v *shop.JobView, p *text.Printer) {
	href := func(test, subject string) string {
		q := url.Values{"test": {test}}
		if subject != "" {
			q.Set("subject", subject)
		}
		if g.Again > 0 {
			q.Set("again", strconv.Itoa(g.Again))
		}
		return "/jobs/" + url.PathEscape(v.Job) + "/reading?" + q.Encode()
	}
	if v.Answer != nil {
		for i := range v.Answer.Next {
			n := &v.Answer.Next[i]
			name := firstUpper(n.Name)
			if k := subjectKey(n.Subject); k != "" {
				name += ", " + evidence.Subject{Kind: evidence.Kind(n.Subject.Kind), Number: n.Subject.Number, Second: n.Subject.Second}.String()
			}
			g.Offered = append(g.Offered, choiceView{href(n.Test, subjectKey(n.Subject)), name, p.T("board.minutes", p.Number(n.Minutes, 0))})
		}
	}
	seen := map[string]bool{}
	byGroup := map[string][]choiceView{}
	for _, t := range in.Tests {
		if seen[t.Test.ID] {
			continue
		}
		seen[t.Test.ID] = true
		name := "reading.numbers"
		switch {
		case t.Test.Reads == nil && t.Test.Static:
			name = "reading.looks"
		case t.Test.Reads == nil:
			name = "reading.results"
		}
		byGroup[name] = append(byGroup[name], choiceView{Href: href(t.Test.ID, ""), Name: firstUpper(t.Test.Name)})
	}
	for _, name := range []string{"reading.numbers", "reading.looks", "reading.results"} {
		if c := byGroup[name]; len(c) > 0 {
			slices.SortFunc(c, func(x, y choiceView) int { return cmp.Compare(x.Name, y.Name) })
			g.Groups = append(g.Groups, choiceGroup{p.T(name), c})
		}
	}
}

func readingTestOf(in *book.Instance, v *shop.JobView, id, subject string, p *text.Printer) (*readingTest, error) {
	out := &readingTest{ID: id, Subject: subject}
	var test *book.Test
	for _, t := range in.Tests {
		if t.Test.ID != id {
			continue
		}
		test = t.Test
		key := t.Subject.Key()
		out.Cells = append(out.Cells, readingCell{Key: key, Label: subjectLabel(t.Subject, p), Focus: key == subject})
	}
	if test == nil {
		return nil, &Problem{Status: http.StatusNotFound, Kind: "no_test", Args: []any{id}}
	}
	out.Name, out.Do = firstUpper(test.Name), test.Do
	out.When = whenAsked(v, "", p)
	out.Hazards = hazardsOf(in, test)
	if !slices.ContainsFunc(out.Cells, func(c readingCell) bool { return c.Focus }) {
		out.Cells[0].Focus = true
	}
	if test.Reads == nil {
		for _, o := range test.Outcomes {
			out.Outcomes = append(out.Outcomes, option{Value: o.ID, Label: firstUpper(o.Text)})
		}
	} else {
		out.Units = unitKeys(in, test, p)
		out.Limit = &limitForm{Job: v.Job, Rev: v.Rev, Feature: test.Reads.Feature, Test: id, Subject: subject, Units: out.Units}
	}
	for _, st := range []string{"idle", "cruise", "load", "cranking"} {
		if len(test.At) == 0 && !test.Static || slices.Contains(test.At, st) {
			out.States = append(out.States, option{Value: st, Label: p.T("condition.state." + st), On: len(test.At) == 1})
		}
	}
	return out, nil
}

func hazardsOf(in *book.Instance, t *book.Test) []shop.HazardAnswer {
	var out []shop.HazardAnswer
	for _, id := range t.Hazards {
		for _, b := range in.Books {
			if h, ok := b.Hazards[id]; ok {
				out = append(out, shop.HazardAnswer{Word: h.Word, Text: h.Text})
				break
			}
		}
	}
	return out
}

func subjectLabel(s evidence.Subject, p *text.Printer) string {
	switch s.Kind {
	case evidence.Cylinder:
		return p.T("reading.cylinder", s.Number)
	case evidence.Pair:
		return p.T("reading.pair", s.Number, s.Second)
	case evidence.Bank:
		return firstUpper(p.T("job.bank", s.Number))
	case evidence.Corner:
		return firstUpper(p.T("corner." + strconv.Itoa(s.Number)))
	}
	return p.T("reading.engine")
}

// keys are the units a dimension is read in at the car, the SI one first.
var keys = map[unit.Dimension][]string{
	unit.Pressure: {"kPa", "bar", "psi"}, unit.Length: {"mm", "in"}, unit.Voltage: {"V", "mV", "kV"}, unit.Current: {"A", "mA"},
	unit.Time: {"ms", "s", "us"}, unit.Resistance: {"ohm", "kohm", "mohm"}, unit.Temperature: {"degC", "degF"}, unit.Percent: {"%"},
	unit.EngineSpeed: {"rpm"}, unit.Torque: {"Nm", "lbf.ft"}, unit.MassFlow: {"g/s", "kg/h"}, unit.VolumeFlow: {"L/h", "L/min"}, unit.Volume: {"mL", "L"},
	unit.Speed: {"km/h", "mph"}, unit.Angle: {"deg"}, unit.Frequency: {"Hz", "kHz"}, unit.Count: {"count"}, unit.Concentrate: {"ppm"}, unit.Mass: {"g", "kg"},
	unit.VoltageSlope: {"V/s", "mV/ms"}, unit.CurrentSlope: {"A/ms"}, unit.Power: {"W", "kW"}, unit.Energy: {"mJ", "J"}, unit.Capacitance: {"uF", "nF"}, unit.Inductance: {"mH", "uH"},
}

// unitKeys are the keys below the figures: the feature's own unit first, or the one
// the shop reads in.
func unitKeys(in *book.Instance, t *book.Test, p *text.Printer) []unitKey {
	f, ok := in.Feature(t.Reads.Feature)
	if !ok {
		return []unitKey{{Symbol: "", Word: p.T("reading.no_unit"), First: true}}
	}
	u, err := unit.Parse(f.Unit)
	if err != nil || u.Dim == unit.None {
		return []unitKey{{Symbol: "", Word: cmp.Or(text.UnitWord(u), p.T("reading.no_unit")), First: true}}
	}
	symbols := []string{p.Unit(u).Symbol, u.Symbol}
	var out []unitKey
	for _, s := range append(symbols, keys[u.Dim]...) {
		if slices.ContainsFunc(out, func(k unitKey) bool { return k.Symbol == s }) || len(out) >= 4 {
			continue
		}
		word := text.UnitWord(unit.Must(s))
		out = append(out, unitKey{Symbol: s, Word: cmp.Or(word, p.T("reading.no_unit")), First: len(out) == 0})
	}
	return out
}

// postReading writes what was typed: one entry for a test on all its cylinders, one
// for each other subject.
func postReading(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	id := r.PathValue("id")
	v, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	forms, err := readingForms(r.PostForm)
	if err != nil {
		return err
	}
	if r.PostForm.Get("sure") != "yes" {
		for _, form := range forms {
			if err := s.askTwice(form); err != nil {
				return err
			}
		}
	}
	var last shop.Receipt
	for _, form := range forms {
		payload, err := typed(form)
		if err != nil {
			return err
		}
		if last, err = s.write(r, id, job.ReadingTypedType, payload, a); err != nil {
			return err
		}
	}
	if again, err := strconv.Atoi(r.PostForm.Get("again")); err == nil && again > 0 && last.Item > 0 {
		if _, err := s.write(r, id, job.RetakenType, job.Retaken{Item: again, By: last.Item}, a); err != nil {
			return err
		}
	}
	if err := s.endTest(r, v, a); err != nil {
		return err
	}
	return s.written(w, r, last, "/jobs/"+url.PathEscape(id)+"#suspects")
}

// readingForms turns the fields of the page into entries of "readings" of a job
// file.
func readingForms(f url.Values) ([]map[string]any, error) {
	test, symbol := f.Get("test"), f.Get("unit")
	if test == "" {
		return nil, badField("test")
	}
	if symbol != "" {
		if _, err := unit.Parse(symbol); err != nil {
			return nil, badField("unit")
		}
	}
	values, results := map[string]any{}, map[string]any{}
	var others []map[string]any
	for _, name := range sortedKeys(f) {
		field, key, ok := strings.Cut(name, ".")
		typed := strings.TrimSpace(f.Get(name))
		if !ok || typed == "" || field != "value" && field != "result" {
			continue
		}
		if field == "value" {
			if _, err := number(typed); err != nil {
				return nil, err
			}
			typed = strings.TrimSpace(strings.ReplaceAll(typed, ",", ".") + " " + symbol)
		}
		subject, err := evidence.ParseSubject(key)
		switch {
		case err != nil:
			return nil, badField(name)
		case subject.Kind == evidence.Cylinder && field == "value":
			values[strconv.Itoa(subject.Number)] = typed
		case subject.Kind == evidence.Cylinder:
			results[strconv.Itoa(subject.Number)] = typed
		default:
			form := map[string]any{field: typed}
			if err := where(form, key); err != nil {
				return nil, err
			}
			others = append(others, form)
		}
	}
	if len(values) > 0 {
		others = append(others, map[string]any{"values": values})
	}
	if len(results) > 0 {
		others = append(others, map[string]any{"results": results})
	}
	if len(others) == 0 {
		return nil, &Problem{Status: http.StatusUnprocessableEntity, Kind: "nothing_typed"}
	}
	for _, form := range others {
		form["test"] = test
		if st := f.Get("state"); st != "" {
			form["condition"] = map[string]any{"state": st}
		}
		if when := f.Get("when"); when != "" {
			form["when"] = when
		}
		if note := words(f, "note"); note != "" {
			form["note"] = note
		}
	}
	return others, nil
}
