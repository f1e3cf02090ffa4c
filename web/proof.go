package web

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"proveout/job"
	"proveout/report"
	"proveout/shop"
	"proveout/text"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /jobs/{id}/proof", serve: showProof},
		route{pattern: "POST /jobs/{id}/proof", serve: authored(planProof)},
		route{pattern: "GET /jobs/{id}/report", serve: showReport},
		route{pattern: "GET /jobs/{id}/report.pdf", serve: reportPDF},
		route{pattern: "GET /jobs/{id}/report.txt", serve: reportText},
		route{pattern: "GET /report.css", serve: reportCSS},
	)
}

// proofPage says whether the repair is proven, and what is left to drive.
type proofPage struct {
	ID         string
	Rev        int64
	Headline   string
	Square     string // open, now, done
	Why        []string
	Waiting    string // why there is no proof yet; empty: there is one
	Figures    []factView
	Conditions string
	From       string
	Columns    []string
	Before     []cellRow
	After      []cellRow
	Left       []lineView // cells still to drive
	Plan       shop.PlanAnswer
	Improve    string
	Prove      string
	Measured   []measuredView
	Codes      []string
	NotTested  []string
	Cautions   []shop.CautionAnswer
	LeftOut    []leftRow
	Way        question
	Proven     bool
}

type cellRow struct {
	Load  string
	Cells []coverCell
}

type coverCell struct {
	Main, Note string
	Episodes   []struct{}
	Need, OK   bool
	Empty      bool
}

type measuredView struct {
	Name, Unit    string
	Before, After []valueView
	Decides       bool
	Text          string
}

func showProof(s *Server, w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.Job(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	p := s.printer(r)
	a, err := s.bench.Proof(r.Context(), v.Job)
	if err != nil && !errors.Is(err, shop.ErrNoProof) {
		return err
	}
	g := proofPageOf(v, a, p)
	if err != nil {
		g.Waiting = p.T("proof.waiting")
	}
	return s.page(w, r, sheet{Name: "proof", Title: p.T("proof.title"), View: g, Styles: []string{"job.css", "reception.css", "proof.css"}, Cells: s.jobCells(v, p, p.T("proof.title")), Saved: savedAt(v, s, p)})
}

func proofPageOf(v *shop.JobView, a *shop.ProofAnswer, p *text.Printer) *proofPage {
	g := &proofPage{ID: v.Job, Rev: v.Rev, Square: "open"}
	g.Way = ask(p, "by", "proof.way", false, nil, "road", "measured", "old_part_back")
	if a == nil {
		return g
	}
	g.Headline, g.Why, g.Plan, g.NotTested, g.Cautions, g.LeftOut = a.Headline, a.Why, a.Plan, a.NotTested, a.Cautions, leftRows(a.LeftOut, p)
	g.Proven = a.State == "proven"
	switch {
	case g.Proven:
		g.Square = "done"
	case len(a.Corrections) > 0:
		g.Square = "now"
	}
	for i := range g.Way.Options {
		g.Way.Options[i].On = a.NamedByPerson && g.Way.Options[i].Value == a.Named
	}
	g.Conditions, g.From = a.Conditions.Text, a.Conditions.From
	add := func(key, value string) { g.Figures = append(g.Figures, factView{p.T(key), value}) }
	if a.Before.Seconds > 0 || a.Before.Episodes > 0 {
		add("proof.before", p.N("proof.episodes", a.Before.Episodes, p.Number(a.Before.Seconds, 0)))
	}
	if len(a.After.Drives) > 0 {
		add("proof.after", p.N("proof.episodes", a.After.Episodes, p.Number(a.After.Seconds, 0)))
	}
	if c := a.CouldBeChance; c != nil && !math.IsNaN(*c) {
		add("proof.could_be_chance", times(*c, p))
	}
	g.cover(a, p)
	g.Improve, g.Prove = target(a.Plan.Improve, p), target(a.Plan.Prove, p)
	for _, m := range a.Measured {
		_, word := inShopUnit(0, m.Unit, p)
		g.Measured = append(g.Measured, measuredView{Name: m.Name, Unit: word, Decides: m.Decides, Text: m.Text, Before: placed(m.Before, m.Unit, p), After: placed(m.After, m.Unit, p)})
	}
	g.codes(&a.Codes, p)
	return g
}

// target is what is left to drive for an aim, or that the road is out of reach.
func target(t shop.TargetAnswer, p *text.Printer) string {
	switch {
	case t.Seconds <= 0:
		return p.T("proof.nothing_left")
	case !t.Practicable:
		return p.T("proof.not_practicable", p.Number(t.Seconds/60, 0), t.Climbs)
	}
	return p.T("proof.left", p.Number(t.Seconds, 0), t.Climbs, p.Number(t.RoadMinutes, 0))
}

// cover sets out the coverage map: rows by load from the highest down, engine speed
// across, before and after.
func (g *proofPage) cover(a *shop.ProofAnswer, p *text.Printer) {
	span := func(low, high float64) string { return p.T("proof.span", p.Number(low, 0), p.Number(high, 0)) }
	row := -1
	load := math.NaN()
	for _, c := range a.Cells {
		if c.LoadLow != load {
			row, load = row+1, c.LoadLow
			name := span(c.LoadLow, c.LoadHigh) + " %"
			g.Before, g.After = append(g.Before, cellRow{Load: name}), append(g.After, cellRow{Load: name})
		}
		if row == 0 {
			g.Columns = append(g.Columns, span(c.RPMLow, c.RPMHigh))
		}
		before := coverCell{Main: p.Number(c.Before, 0) + " s", Empty: c.Before <= 0, Episodes: make([]struct{}, min(max(c.Episodes, 0), 9))}
		if c.Episodes > 0 {
			before.Note = p.N("proof.cell_episodes", c.Episodes)
		}
		g.Before[row].Cells = append(g.Before[row].Cells, before)
		after := coverCell{Main: p.T("proof.of_needed", p.Number(c.Counted, 0), p.Number(c.Need, 0)), Empty: c.Need <= 0 && c.Driven <= 0, Need: c.Left > 0, OK: c.Need > 0 && c.Left <= 0}
		switch {
		case after.Need:
			after.Note = "+" + p.Number(c.Left, 0) + " s"
			g.Left = append(g.Left, lineView{Text: p.T("proof.cell", span(c.LoadLow, c.LoadHigh), span(c.RPMLow, c.RPMHigh)), State: p.Number(c.Left, 0) + " s"})
		case c.Driven > c.Counted:
			after.Note = p.T("proof.driven", p.Number(c.Driven, 0))
		}
		if after.Empty {
			before.Main, after.Main = "", ""
		}
		g.After[row].Cells = append(g.After[row].Cells, after)
	}
}

func placed(vs []shop.PlacedAnswer, symbol string, p *text.Printer) []valueView {
	var out []valueView
	for _, v := range vs {
		word, lang := outcomeWord(v.Text, p)
		if word == "" {
			word, _ = inShopUnit(v.Value, symbol, p)
		}
		out = append(out, valueView{Of: subjectWord(v.Subject, p), Text: word, Lang: lang, Odd: v.State == "high" || v.State == "low" || v.State == "abnormal"})
	}
	return out
}

func (g *proofPage) codes(c *shop.CodesAnswer, p *text.Printer) {
	list := func(r *shop.CodesRead) string {
		if r == nil {
			return p.T("proof.codes_not_read")
		}
		var codes []string // each once: stored and pending often hold the same
		for _, c := range slices.Concat(r.Confirmed.Codes, r.Pending.Codes) {
			if !slices.Contains(codes, c) {
				codes = append(codes, c)
			}
		}
		if len(codes) == 0 {
			return p.T("proof.codes_none")
		}
		return strings.Join(codes, ", ")
	}
	g.Codes = append(g.Codes, p.T("proof.codes_before", list(c.Before)), p.T("proof.codes_after", list(c.After)))
	g.Codes = append(g.Codes, c.Notes...)
}

// planProof names the one way that decides, before driving.
func planProof(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	f := r.PostForm
	form := map[string]any{}
	if by := f.Get("by"); by != "" {
		form["by"] = by
	}
	conditions := map[string]any{}
	for _, name := range []string{"rpm", "load_pct", "gear"} {
		if v := words(f, name); v != "" {
			conditions[name] = clip(v, 40)
		}
	}
	if len(conditions) > 0 {
		form["conditions"] = conditions
	}
	if len(form) == 0 {
		return &Problem{Status: http.StatusUnprocessableEntity, Kind: "nothing_typed"}
	}
	body, err := json.Marshal(form)
	if err != nil {
		return err
	}
	id := r.PathValue("id")
	receipt, err := s.write(r, id, job.ProofPlannedType, job.ProofPlanned{Form: body}, a)
	if err != nil {
		return err
	}
	return s.written(w, r, receipt, "/jobs/"+url.PathEscape(id)+"/proof")
}

// reportPage is the page for the customer and the reviewer, as it would be printed.
type reportPage struct {
	ID        string
	Sheet     template.HTML // of package report: it escapes its own texts
	Waiting   string
	In        string          // language of the sheet
	Languages []text.Language // it may be had in
}

// paperLanguage is the language of a report: as asked for, else the shop's, else that
// of the device.
func (s *Server) paperLanguage(r *http.Request) (string, job.Settings, error) {
	set, err := s.shopSettings(r)
	for _, l := range []string{r.URL.Query().Get("lang"), set.Language} {
		if text.Known(l) {
			return l, set, err
		}
	}
	return s.printer(r).Lang(), set, err
}

func (s *Server) sheet(r *http.Request) (report.Sheet, error) {
	a, err := s.bench.Report(r.Context(), r.PathValue("id"))
	if err != nil {
		return report.Sheet{}, err
	}
	lang, set, err := s.paperLanguage(r)
	if err != nil {
		return report.Sheet{}, err
	}
	in := report.Input{Report: *a, Printed: s.now(), Text: text.For(lang, s.system(r))}
	// The record knows its shop by an id; people know it by its name.
	in.Report.Shop = cmp.Or(set.ShopName, s.o.Shop, a.Shop)
	return report.Make(in), nil
}

func showReport(s *Server, w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.Job(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	p := s.printer(r)
	g := &reportPage{ID: v.Job, Languages: text.Languages()}
	sh, err := s.sheet(r)
	switch {
	case errors.Is(err, shop.ErrNoProof):
		g.Waiting = p.T("report.waiting")
	case err != nil:
		return err
	default:
		g.In = sh.Lang
		if g.Sheet, err = report.Fragment(sh); err != nil {
			return err
		}
	}
	return s.page(w, r, sheet{Name: "report", Title: p.T("report.title"), View: g, Styles: []string{"report-page.css"}, Cells: s.jobCells(v, p, p.T("report.title"))})
}

// printable is the sheet of a job, or the problem that there is none.
func (s *Server) printable(r *http.Request) (report.Sheet, error) {
	sh, err := s.sheet(r)
	if errors.Is(err, shop.ErrNoProof) {
		return sh, &Problem{Status: http.StatusConflict, Kind: "no_report", Cause: err}
	}
	return sh, err
}

func reportText(s *Server, w http.ResponseWriter, r *http.Request) error {
	sh, err := s.printable(r)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "text/plain; charset=utf-8")
	h.Set("Cache-Control", "private, no-store")
	_, err = w.Write(report.Text(sh))
	return err
}

func reportPDF(s *Server, w http.ResponseWriter, r *http.Request) error {
	sh, err := s.printable(r)
	if err != nil {
		return err
	}
	paper := report.A4
	if r.URL.Query().Get("paper") == "letter" {
		paper = report.Letter
	}
	data, err := report.PDF(sh, paper)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "application/pdf")
	h.Set("Content-Disposition", `inline; filename="report-`+strconv.Itoa(len(data))+`.pdf"`)
	h.Set("Cache-Control", "private, no-store")
	_, err = w.Write(data)
	return err
}

func reportCSS(s *Server, w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Content-Type", "text/css; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, "", s.started, bytes.NewReader([]byte(report.CSS)))
	return nil
}
