package web

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"net/http"
	"strings"
	"time"

	"proveout/shop"
	"proveout/store"
	"proveout/text"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /{$}", serve: board},
		route{pattern: "GET /jobs/{id}", serve: showJob},
	)
}

func board(s *Server, w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.Board(r.Context())
	if err != nil {
		return err
	}
	p, now := s.printer(r), s.now()
	return s.page(w, r, sheet{
		Name: "board", Title: p.T("board.title"), View: boardPageOf(v, p, now), Styles: []string{"board.css"}, Scripts: []string{"live.js"},
		Cells: []cell{{Name: s.o.Shop, Value: p.T("board.title"), Grow: true}, {Name: p.Weekday(now), Value: p.Clock(now), Wide: true}}, Saved: p.Clock(now),
	})
}

func showJob(s *Server, w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.Job(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	p := s.printer(r)
	person := ""
	if a, err := s.author(w, r); err == nil {
		person = a.Person
	}
	g := jobPageOf(v, p, s.now(), person)
	past, _, err := s.bench.Earlier(r.Context(), v.Job)
	if err != nil {
		return err
	}
	g.Earlier = len(past)
	if g.People, err = s.colleagues(r, person); err != nil {
		return err
	}
	return s.page(w, r, sheet{
		Name: "job", Title: p.T("job.title", cmp.Or(v.Title, v.Job)), View: g, Styles: []string{"job.css"}, Scripts: []string{"live.js"},
		Cells: s.jobCells(v, p, ""), Saved: savedAt(v, s, p),
	})
}

// colleagues are those a job can be handed to: who works here, but who hands it over.
func (s *Server) colleagues(r *http.Request, author string) ([]personView, error) {
	people, err := s.bench.People(r.Context())
	if err != nil {
		return nil, err
	}
	var out []personView
	for _, p := range people {
		if !p.Gone && p.ID != author {
			out = append(out, personView{p.ID, p.Name})
		}
	}
	return out, nil
}

// jobCells are the strip of a page of one job.
func (s *Server) jobCells(v *shop.JobView, p *text.Printer, part string) []cell {
	car := v.Vehicle.Words
	switch {
	case v.Customer.Erased:
		car = strings.TrimSpace(car + " · " + p.T("board.erased"))
	case v.Vehicle.Plate != "":
		car = strings.TrimSpace(car + " · " + strings.ReplaceAll(v.Vehicle.Plate, " ", "\u00a0")) // a plate is read as one
	}
	out := []cell{{Name: p.T("strip.job"), Value: cmp.Or(v.Title, v.Job)}}
	if part == "" {
		out = append(out, cell{Name: cmp.Or(car, p.T("strip.vehicle")), Value: cmp.Or(v.Board.Bay, p.T("strip.no_bay")), Grow: true})
	} else {
		out = append(out, cell{Name: cmp.Or(car, p.T("strip.vehicle")), Value: part, Grow: true})
	}
	return append(out, cell{Name: p.T("strip.who"), Value: cmp.Or(v.Board.Who, p.T("board.nobody")), Wide: true, Roomy: true})
}

// savedAt is when the job's newest entry was written to this machine's disk.
func savedAt(v *shop.JobView, s *Server, p *text.Printer) string {
	if len(v.Entries) == 0 {
		return ""
	}
	t, err := time.Parse(time.RFC3339Nano, v.Entries[len(v.Entries)-1].Wall)
	if err != nil {
		return ""
	}
	return p.ClockSeconds(t.In(s.now().Location()))
}

// written answers a form that was carried out: a person goes on to the next page, a
// script hears the receipt and where the next page is.
func (s *Server) written(w http.ResponseWriter, r *http.Request, receipt shop.Receipt, next string) error {
	if !strings.Contains(r.Header.Get("Accept"), "application/json") {
		http.Redirect(w, r, next, http.StatusSeeOther)
		return nil
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "no-store")
	return json.NewEncoder(w).Encode(struct {
		shop.Receipt
		Next string `json:"next"`
	}{receipt, next})
}

// opaque makes an id that says nothing of what it was made from.
func opaque(kind string, seeds ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(seeds, "\x00")))
	return kind + "-" + hex.EncodeToString(sum[:10])
}

func isNotThere(err error) bool { return errors.Is(err, store.ErrNotFound) }

// minutesSince is the time since a moment of the record, to a tenth of a minute;
// never below zero, whatever the clocks say.
func minutesSince(wall string, now time.Time) float64 {
	t, err := time.Parse(time.RFC3339Nano, wall)
	if err != nil {
		return 0
	}
	return max(0, float64(now.Sub(t).Round(6*time.Second))/float64(time.Minute))
}
