package web

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"proveout/job"
	"proveout/procedure"
	"proveout/shop"
	"proveout/text"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /jobs/{id}/procedures", serve: procedureList},
		route{pattern: "GET /jobs/{id}/procedures/new", serve: procedureList}, // where the board sends a service job
		route{pattern: "POST /jobs/{id}/procedures", serve: authored(procedureStart)},
		route{pattern: "GET /jobs/{id}/procedures/{run}", serve: procedurePage},
		route{pattern: "POST /jobs/{id}/procedures/{run}", serve: authored(procedurePost)},
		route{pattern: "GET /jobs/{id}/procedures/{run}/card", serve: procedureCard},
	)
}

// startView lists what can be started.
type startView struct {
	Job, Key string
	Rows     []startRow
}

type startRow struct {
	ID, Title, Summary string
	Steps              int
	Own                bool // the shop's, not the program's
	Wanted             bool // what the job came in for
}

func procedureList(s *Server, w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	v, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	state, err := s.bench.State(r.Context(), id)
	if err != nil {
		return err
	}
	view := startView{Job: id, Key: r.URL.Query().Get("key")}
	if view.Key == "" {
		view.Key = rand.Text()[:16]
	}
	offers, err := s.bench.Procedures(r.Context())
	if err != nil {
		return err
	}
	for _, o := range offers {
		row := startRow{ID: o.ID, Title: o.Title, Summary: o.Summary, Steps: o.Steps, Own: o.Own, Wanted: o.ID == state.Procedure}
		if row.Wanted {
			view.Rows = append([]startRow{row}, view.Rows...)
		} else {
			view.Rows = append(view.Rows, row)
		}
	}
	return s.page(w, r, sheet{Name: "procedures", Title: s.printer(r).T("procedure.start.title"), Cells: s.jobCells(v, s.printer(r), s.printer(r).T("procedure.start.title")), Styles: []string{"procedure.css"}, View: view})
}

func procedureStart(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	id := r.PathValue("id")
	c, err := s.command(r, id, job.ProcedureStartedType, map[string]string{"procedure": r.PostForm.Get("procedure")}, a)
	if err != nil {
		return err
	}
	run, _, err := s.bench.StartProcedure(r.Context(), id, r.PostForm.Get("procedure"), c)
	if err != nil {
		return err
	}
	http.Redirect(w, r, runPath(id, run), http.StatusSeeOther)
	return nil
}

func runPath(id, run string) string {
	return "/jobs/" + url.PathEscape(id) + "/procedures/" + url.PathEscape(run)
}

func procedurePage(s *Server, w http.ResponseWriter, r *http.Request) error {
	return s.showRun(w, r, nil)
}

// showRun writes the page of a run; refused is why the last event was not taken.
func (s *Server) showRun(w http.ResponseWriter, r *http.Request, refused []string) error {
	id, run := r.PathValue("id"), r.PathValue("run")
	page, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	screen, err := s.bench.Procedure(r.Context(), id, run, s.device(w, r))
	if err != nil {
		return err
	}
	t := s.printer(r)
	for i := range screen.Told {
		if name := page.People[screen.Told[i].Who]; name != "" {
			screen.Told[i].Who = name
		}
	}
	v := viewOfRun(t, id, run, *screen, s.now())
	v.Practice, v.Refused = page.Practice, refused
	words, err := json.Marshal(runWords(t))
	if err != nil {
		return err
	}
	v.Words = string(words)
	if _, err := s.author(w, r); err == nil && len(screen.Supply) > 0 {
		watch := screen.Supply[0].ID
		v.Meter = &meterView{Path: "/api/v1/jobs/" + url.PathEscape(id) + "/procedures/" + url.PathEscape(run) + "/supply/" + url.PathEscape(watch), Token: s.tokenForMeter(id, run, watch)}
	}
	sh := sheet{
		Name: "procedure", Title: t.T("procedure.title", t.Say(screen.Title), screen.Done, screen.Of), Cells: s.jobCells(page, t, t.Say(screen.Title)), Saved: savedAt(page, s, t),
		Styles: []string{"procedure.css"}, Scripts: []string{"procedure.js"}, View: v,
	}
	if refused != nil {
		sh.Status = http.StatusConflict
	}
	return s.page(w, r, sh)
}

// runWords are the texts a page needs to go on by itself.
func runWords(t *text.Printer) map[string]string {
	out := map[string]string{}
	for _, k := range []string{
		"left", "refused", "locked", "away", "progress", "begin", "begin_command", "ended", "broken", "fails", "look_fails", "danger_type", "danger_word", "value", "under_way", "at_rest", "go_on", "hand_to", "hand_over", "take_up", "finish",
		"kind.question", "kind.precondition", "kind.step", "kind.recovery", "side.left", "side.right", "mode.held", "mode.held_keep_power", "mode.stopping", "mode.handed_over", "mode.finished",
		"head.held", "head.held_keep_power", "head.stopping", "head.handed_over", "head.finished", "head.moving", "head.resting", "head.away", "head.overdue", "supply.holding", "supply.typed", "supply.below", "supply.unwatched", "line.at", "line.box", "line.box_at", "boxed", "unknown", "do_not_drive", "tag_until",
	} {
		out[k] = t.T("procedure." + k)
	}
	for _, word := range []string{"DANGER", "WARNING", "CAUTION", "NOTICE"} {
		out["word."+word] = t.T("word." + word)
	}
	for _, how := range procedure.Hows {
		out["how."+how] = t.T("procedure.how." + how)
	}
	return out
}

// seenAttempt is the attempt of a step that the screen showed; 0: none.
func seenAttempt(f url.Values) int {
	n, err := strconv.Atoi(f.Get("seen"))
	if err != nil || n < 0 {
		return 0
	}
	return n
}

// figuresOf are the values a step has written down, each with its limit.
func figuresOf(f url.Values) map[string][2]string {
	out := map[string][2]string{}
	for _, id := range f["figure"] {
		out[id] = [2]string{clip(f.Get("value "+id), 40), clip(f.Get("limit "+id), 40)}
	}
	return out
}

// procedurePost takes an event from a form: the way without scripts.
func procedurePost(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	f := r.PostForm
	ev := shop.RunEvent{
		Kind: f.Get("kind"), Step: f.Get("step"), How: f.Get("how"), Outcome: f.Get("outcome"), What: f.Get("what"), Watch: f.Get("watch"), To: clip(f.Get("to"), 100),
		Text: words(f, "text"), Typed: clip(f.Get("value"), 40), Danger: dangerWord(f.Get("danger")), Seen: seenAttempt(f), Figures: figuresOf(f),
	}
	id, run := r.PathValue("id"), r.PathValue("run")
	if far, err := s.farSupply(r, id, run, &ev); err != nil {
		return err
	} else if far != nil {
		return s.showRun(w, r, far)
	}
	c, err := s.command(r, id, job.ProcedureEventType, ev, a)
	if err != nil {
		return err
	}
	if key := f.Get("key"); key != "" && len(key) < 150 {
		c.Key = a.Device + "/" + key // one button of one state of one device: a double tap is one event
	}
	_, err = s.bench.ProcedureEvent(r.Context(), id, run, ev, shop.When{}, c)
	var no *shop.RefusedEvent
	if errors.As(err, &no) {
		return s.showRun(w, r, no.Reasons)
	}
	if err != nil {
		return err
	}
	next := runPath(id, run)
	if ev.Kind == shop.Interrupted {
		next += "/card"
	}
	http.Redirect(w, r, next, http.StatusSeeOther)
	return nil
}

// cardView is the hand-over card.
type handOverView struct {
	Job, Run, Title string
	Vehicle, Plate  string
	At, By          string
	Card            shop.Card
	Last            []toldView
}

func procedureCard(s *Server, w http.ResponseWriter, r *http.Request) error {
	id, run := r.PathValue("id"), r.PathValue("run")
	page, err := s.bench.Job(r.Context(), id)
	if err != nil {
		return err
	}
	screen, err := s.bench.Procedure(r.Context(), id, run, s.device(w, r))
	if err != nil {
		return err
	}
	t := s.printer(r)
	v := handOverView{Job: id, Run: run, Title: screen.Title, Vehicle: page.Vehicle.Words, Plate: page.Vehicle.Plate, Card: shop.CardOf(screen), At: t.ClockSeconds(s.now())}
	if i := page.Interrupted; i != nil {
		if at, err := time.Parse(time.RFC3339Nano, i.Wall); err == nil {
			v.At = t.ClockSeconds(at.In(s.now().Location()))
		}
		v.By = i.Author
		if name := page.People[i.Author]; name != "" {
			v.By = name
		}
	}
	for i, l := range screen.Told {
		if i == 4 {
			break
		}
		v.Last = append(v.Last, toldView{At: t.ClockSeconds(time.UnixMilli(l.At).In(s.now().Location())), Text: l.Text})
	}
	return s.page(w, r, sheet{Name: "card", Title: t.T("procedure.card"), Cells: s.jobCells(page, t, t.Say(screen.Title)), Saved: savedAt(page, s, t), Styles: []string{"procedure.css"}, Scripts: []string{"card.js"}, View: v})
}

// dangerWord takes the word that a DANGER step asks for in any language of the
// workbench: a page may be shown in one and its form sent when another was chosen.
func dangerWord(typed string) string {
	for _, l := range text.Languages() {
		if strings.EqualFold(strings.TrimSpace(typed), text.For(l.Code, text.SI).T("procedure.danger_word")) {
			return "DANGER"
		}
	}
	return typed
}
