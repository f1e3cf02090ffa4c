package web

import (
	"crypto/rand"
	"errors"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"proveout/job"
	"proveout/shop"
)

func init() {
	routes = append(routes,
		route{pattern: "GET /library/procedure", serve: ownProcedureForm},
		route{pattern: "POST /library/procedure", serve: authored(addProcedure)},
		route{pattern: "POST /library/procedure/remove", serve: authored(removeProcedure)},
	)
}

// ownProcedurePage takes in a procedure of the shop's own, or says why not.
type ownProcedurePage struct {
	Text     string
	Key      string        // of this form: the same text may be taken in again after it was taken off
	Problems []string      // of the text, each with its place
	Broken   []brokenStory // what the checker found
	States   string        // that it went through
}

// brokenStory is a way to what must never happen, step by step.
type brokenStory struct {
	Text  string
	Story []string
}

func ownProcedureForm(s *Server, w http.ResponseWriter, r *http.Request) error {
	return s.ownProcedure(w, r, &ownProcedurePage{}, 0)
}

func (s *Server) ownProcedure(w http.ResponseWriter, r *http.Request, g *ownProcedurePage, status int) error {
	p := s.printer(r)
	g.Key = rand.Text()[:16]
	return s.page(w, r, sheet{Name: "own-procedure", Title: p.T("ownproc.title"), View: g, Status: status, Styles: []string{"job.css", "reception.css"}, Scripts: []string{"own-procedure.js"}, Cells: []cell{{Name: s.o.Shop, Value: p.T("ownproc.title"), Grow: true}}})
}

func addProcedure(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	// A form sends its lines with carriage returns; the file has none.
	text := strings.ReplaceAll(r.PostForm.Get("text"), "\r\n", "\n")
	if strings.TrimSpace(text) == "" {
		return badField("text")
	}
	c, err := s.command(r, shop.ShopJob, job.ProcedureAddedType, map[string]string{"text": text}, a)
	if err != nil {
		return err
	}
	_, _, err = s.bench.AddProcedure(r.Context(), []byte(text), c)
	var no *shop.RefusedProcedure
	if errors.As(err, &no) {
		g := &ownProcedurePage{Text: text, Problems: no.Problems}
		if no.Report != nil {
			g.States = s.printer(r).Int(int64(no.Report.States))
			for _, x := range no.Report.Problems {
				g.Broken = append(g.Broken, brokenStory{x.Text, x.Story})
			}
		}
		return s.ownProcedure(w, r, g, http.StatusUnprocessableEntity)
	}
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/library#proc-h", http.StatusSeeOther)
	return nil
}

// removeProcedure takes a procedure of the shop's own off the list: its entry is undone.
// A run begun with it goes on, since it carries the text.
func removeProcedure(s *Server, w http.ResponseWriter, r *http.Request, a author) error {
	if err := readForm(r); err != nil {
		return err
	}
	if _, err := s.write(r, shop.ShopJob, job.UndoType, job.Undo{Entry: clip(r.PostForm.Get("entry"), 100)}, a); err != nil {
		return err
	}
	http.Redirect(w, r, "/library#proc-h", http.StatusSeeOther)
	return nil
}

// procedureBody is a procedure of the shop's own as a program sends it.
type procedureBody struct {
	Key  string `json:"key" minLength:"1" maxLength:"200"`
	Text string `json:"text" minLength:"1" maxLength:"131072" doc:"the procedure's file, as docs/procedures.md describes it"`
}

func (s *Server) procedureOperations(api huma.API) {
	operation(api, huma.Operation{OperationID: "procedures", Method: "GET", Path: "/procedures", Summary: "Procedures that can be started: the shop's own and those of the program", Tags: []string{"procedures"}},
		func(c *apiCall, _ *struct{}) (*struct{ Body []shop.ProcedureOffer }, error) {
			v, err := c.bench.Procedures(c.r.Context())
			return &struct{ Body []shop.ProcedureOffer }{v}, err
		})
	operation(api, huma.Operation{OperationID: "add-procedure", Method: "POST", Path: "/procedures", Summary: "Take in a procedure of the shop's own, once it is checked in every state", DefaultStatus: 201, Tags: []string{"procedures"}},
		func(c *apiCall, in *struct{ Body procedureBody }) (*struct{ Body *shop.ProcedureOffer }, error) {
			a, err := c.author(c.w, c.r)
			if err != nil {
				return nil, err
			}
			cmd := (&commandBody{Key: in.Body.Key}).command(a, c.now())
			o, _, err := c.bench.AddProcedure(c.r.Context(), []byte(in.Body.Text), cmd)
			return &struct{ Body *shop.ProcedureOffer }{o}, err
		})
}
