package web

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"proveout/shop"
	"proveout/text"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /closed", serve: closedJobs},
		route{pattern: "GET /jobs/{id}/earlier", serve: earlierJobs},
	)
}

// closedShown is how many closed jobs a page lists (our choice: a screen or three).
const closedShown = 40

// closedPage is the list of closed jobs, searched.
type closedPage struct {
	Asked   string
	Words   string // how many there are
	Rows    []pastRow
	More    string // address of the next ones
	Working bool
}

// pastRow is one job of the past.
type pastRow struct {
	Job, No, Plate, Vehicle, Customer, Said, Result, Ended string
	Erased, Practice, Open                                 bool
}

func pastRowOf(j *shop.PastJob, p *text.Printer, now time.Time) pastRow {
	r := pastRow{Job: j.Job, No: cmp.Or(j.Title, j.Job), Plate: j.Plate, Vehicle: j.Vehicle, Customer: j.Customer, Said: j.Complaint, Erased: j.Erased, Practice: j.Practice, Open: j.Open}
	if t, err := time.Parse(time.RFC3339Nano, j.Ended); err == nil {
		r.Ended = p.Date(t.In(now.Location()))
	}
	switch {
	case j.Open:
		r.Result = p.T("closed.still_open")
	case j.Result != "":
		r.Result = p.T("closed." + j.Result)
	}
	return r
}

func closedJobs(s *Server, w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	asked := clip(q.Get("q"), 200)
	before, _ := strconv.ParseInt(q.Get("before"), 10, 64) // none: from the newest on
	v, err := s.bench.Closed(r.Context(), asked, before, closedShown)
	if err != nil {
		return err
	}
	p, now := s.printer(r), s.now()
	g := &closedPage{Asked: asked, Words: p.N("closed.count", v.Of), Working: v.Working}
	for i := range v.Rows {
		g.Rows = append(g.Rows, pastRowOf(&v.Rows[i], p, now))
	}
	if v.Next > 0 {
		g.More = "/closed?" + url.Values{"q": {asked}, "before": {strconv.FormatInt(v.Next, 10)}}.Encode()
	}
	return s.page(w, r, sheet{Name: "closed", Title: p.T("closed.title"), View: g, Styles: []string{"board.css", "job.css"}, Cells: []cell{{Name: s.o.Shop, Value: p.T("closed.title"), Grow: true}}})
}

// earlierPage sets what was read of one vehicle side by side, job by job.
type earlierPage struct {
	ID      string
	Rows    []pastRow
	Heads   []string // the jobs compared: this one first
	Values  []earlierRow
	Working bool
	Late    bool // the odds of one of them are still being worked out
}

type earlierRow struct {
	Name, Subject, Unit string
	Cells               []string // by head; empty: not read then
	Changed             string   // a key under earlier.changed.; empty: this job has no value
}

// earlierShown is how many earlier jobs are compared; earlierWait how long their values
// may take to be worked out anew (our choices).
const (
	earlierShown = 3
	earlierWait  = 15 * time.Second
)

func earlierJobs(s *Server, w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	v, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	past, working, err := s.bench.Earlier(r.Context(), id)
	if err != nil {
		return err
	}
	p, now := s.printer(r), s.now()
	g := &earlierPage{ID: id, Working: working, Heads: []string{p.T("earlier.this")}}
	ids := []string{id}
	for i := range past {
		row := pastRowOf(&past[i], p, now)
		g.Rows = append(g.Rows, row)
		if i < earlierShown {
			ids, g.Heads = append(ids, past[i].Job), append(g.Heads, row.No+", "+row.Ended)
		}
	}
	if len(past) > 0 {
		ctx, cancel := context.WithTimeout(r.Context(), earlierWait)
		defer cancel()
		values, err := s.bench.EarlierValues(ctx, ids)
		switch {
		case errors.Is(err, context.DeadlineExceeded) && r.Context().Err() == nil:
			g.Late = true
		case err != nil:
			return err
		}
		for _, value := range values {
			row := earlierRow{Name: value.Name, Subject: value.Subject, Changed: value.Changed}
			_, row.Unit = inShopUnit(0, value.Unit, p)
			for _, job := range ids {
				cell := ""
				if x, ok := value.By[job]; ok {
					cell, _ = inShopUnit(x, value.Unit, p)
					if u := value.Uncertainty[job]; u > 0 {
						cell += " ±\u00a0" + widthInShopUnit(x, 1.96*u, value.Unit, p)
					}
				}
				row.Cells = append(row.Cells, cell)
			}
			g.Values = append(g.Values, row)
		}
	}
	return s.page(w, r, sheet{Name: "earlier", Title: p.T("earlier.title"), View: g, Styles: []string{"board.css", "job.css"}, Cells: s.jobCells(v, p, p.T("earlier.title")), Saved: savedAt(v, s, p)})
}
