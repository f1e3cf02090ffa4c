package web

import (
	"cmp"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"proveout/shop"
	"proveout/text"
	"proveout/unit"
)

func init() {
	routes = append(routes, route{pattern: "GET /jobs/{id}/items/{n}", serve: capturePage})
}

// Long reports whether the one sentence needs a smaller letter.
func (v *captureView) Long() bool { return len(v.Head) > 90 }

// captureView is one capture on its page.
type captureView struct {
	Job       string
	Item      int
	Head      string
	Engine    bool // the head is the engine's sentence
	What      string
	Reading   bool // a typed reading: there is nothing to draw
	Aside     string
	Features  []featureRow
	Picture   *pictureView
	Quality   []string
	Trouble   []string
	Missing   []shop.NotMeasuredLine
	LeftOut   []shop.LeftOut
	Notes     []shop.NoteAnswer
	Messages  []string
	Facts     []captureFact
	Rev       int64
	Working   bool
	MarksOf   int
	MarkShown int
}

// featureRow is one thing that was measured, on all its subjects, on one scale.
type featureRow struct {
	Key, Name, Unit string
	Odd             bool
	State           string // key under state.
	Sentence        string
	Matters, Why    string // for the apprentice
	Dots            []dotView
	Label           string // the values in words, for those who cannot see the dots
	Mark            string // the mark on the trace it is keyed to; empty: it is not marked
	feature         string
}

// dotView is one subject on the scale of its feature.
type dotView struct {
	N, Of, Value string
	X            string // percent
	Odd, This    bool
}

type captureFact struct{ Name, Value string }

// pictureView is the first view, drawn here so that the page works before scripts, and
// what the script goes on from.
type pictureView struct {
	Label   string
	Paths   []pathView
	From    string
	To      string
	Trace   string // JSON for the element
	Head    []string
	Rows    []pictureRow
	TopText string
	LowText string
}

type pathView struct {
	D, Class string
	N        int
}

type pictureRow struct {
	Span  string
	Cells []string
}

func capturePage(s *Server, w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil {
		return notFound(s, w, r)
	}
	page, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	t := s.printer(r)
	v := &captureView{Job: id, Item: n, Rev: page.Rev, Working: page.Working}
	var item *shop.ItemView
	for i := range page.Items {
		if page.Items[i].Item == n {
			item = &page.Items[i]
		}
	}
	if item == nil {
		return notFound(s, w, r)
	}
	v.What, v.Aside, v.Reading = item.What, item.SetAside, item.Kind != "capture"
	v.features(t, page, n)
	if !v.Reading {
		if err := s.fillCapture(r, v, page, item, t); err != nil {
			return err
		}
	}
	v.head(t)
	return s.page(w, r, sheet{
		Name: "capture", Title: t.T("capture.title", n), View: v, Styles: []string{"job.css", "capture.css", "trace.css"}, Scripts: []string{"trace-view.js", "live.js"},
		Cells: s.jobCells(page, t, t.T("capture.title", n)), Saved: savedAt(page, s, t),
	})
}

func (s *Server) fillCapture(r *http.Request, v *captureView, page *shop.JobView, item *shop.ItemView, t *text.Printer) error {
	c, err := s.bench.Capture(r.Context(), v.Job, item.Item)
	if err != nil {
		return err
	}
	v.Quality, v.LeftOut, v.Notes, v.Messages = c.Quality, c.LeftOut, c.Notes, c.Messages
	var read *shop.CaptureReading
	if len(c.Channels) > 0 {
		if read, err = s.bench.ReadCapture(r.Context(), v.Job, item.SHA256, item.File, item.Form); err != nil {
			return err
		}
		v.Trouble, v.Missing, v.MarksOf, v.MarkShown = read.Trouble, read.NotMeasured, read.MarksOf, len(read.Marks)
		if v.Picture, err = s.picture(r, v, page, item, c, read, t); err != nil {
			return err
		}
	}
	v.facts(t, item, c, page.People)
	return nil
}

// head is the one sentence: what is odd here, or that nothing is.
func (v *captureView) head(t *text.Printer) {
	for _, f := range v.Features {
		if f.Odd {
			v.Head, v.Engine = f.Sentence, true
			return
		}
	}
	normal := false
	for _, f := range v.Features {
		normal = normal || f.State == "normal"
	}
	switch {
	case len(v.LeftOut) > 0 && len(v.Features) == 0:
		v.Head = t.T("capture.head.left_out", v.Item)
	case v.Working && len(v.Features) == 0:
		v.Head = t.T("capture.head.working", v.Item)
	case normal:
		v.Head = t.T("capture.head.normal", v.Item)
	default:
		v.Head = t.T("capture.head.nothing", v.Item)
	}
}

func (v *captureView) facts(t *text.Printer, item *shop.ItemView, c *shop.CaptureView, people map[string]string) {
	add := func(key, value string) {
		if value != "" {
			v.Facts = append(v.Facts, captureFact{t.T("capture.fact." + key), value})
		}
	}
	add("file", item.Name)
	add("finger", finger(item.SHA256))
	add("size", sizeWords(t, item.Size))
	if c.RateHz > 0 {
		add("rate", t.T("capture.rate", t.Significant(c.RateHz)))
	}
	if c.Seconds > 0 {
		add("span", t.T("capture.rows", t.Int(int64(c.Rows)))+", "+t.T("capture.lasts", t.Significant(c.Seconds)))
	}
	if at, err := time.Parse(time.RFC3339Nano, item.Wall); err == nil {
		add("taken", t.Clock(at)+" · "+cmp.Or(people[item.Author], item.Author))
	}
	if len(c.Segments) > 1 {
		add("pauses", t.Int(int64(len(c.Segments)-1)))
	}
}

// features gathers what this item says, beside the other subjects of the same test.
func (v *captureView) features(t *text.Printer, page *shop.JobView, n int) {
	if page.Answer == nil {
		return
	}
	seen := map[string]bool{}
	for _, f := range page.Answer.Findings {
		if f.Item != n || f.Value == nil || seen[f.Test+f.Feature] {
			continue
		}
		seen[f.Test+f.Feature] = true
		row := featureRow{feature: f.Feature, Name: f.Name, State: f.State, Sentence: f.Sentence, Matters: f.Matters, Why: f.Why, Odd: f.State == "high" || f.State == "low" || f.State == "abnormal"}
		u, err := unit.Parse(f.Unit)
		if err == nil {
			row.Unit = text.UnitWord(t.Unit(u))
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		var same []shop.FindingAnswer
		for _, g := range page.Answer.Findings {
			if g.Test == f.Test && g.Feature == f.Feature && g.Value != nil && g.When == f.When && !g.SetAside {
				same = append(same, g)
				lo, hi = min(lo, *g.Value), max(hi, *g.Value)
			}
		}
		pad := max((hi-lo)*0.15, math.Abs(hi)*0.02, 1e-9)
		had := map[string]bool{}
		var words []string
		for _, g := range same {
			of := t.Say(subjectWords(g.Subject))
			if had[of] {
				continue
			}
			had[of] = true
			value, _ := inShopUnit(*g.Value, f.Unit, t)
			d := dotView{N: strconv.Itoa(max(g.Subject.Number, 1)), Of: of, Value: value, X: strconv.FormatFloat(100*(*g.Value-lo+pad)/(hi-lo+2*pad), 'f', 1, 64) + "%", Odd: g.State == "high" || g.State == "low" || g.State == "abnormal", This: g.Item == n}
			row.Dots = append(row.Dots, d)
			words = append(words, of+" "+value+" "+row.Unit)
		}
		row.Label = strings.Join(words, ", ") // its name, in its own language, stands before it
		v.Features = append(v.Features, row)
	}
}

func subjectWords(s shop.SubjectAnswer) string {
	if s.Number == 0 {
		return strings.ReplaceAll(s.Kind, "_", " ")
	}
	return strings.ReplaceAll(s.Kind, "_", " ") + " " + strconv.Itoa(s.Number)
}
