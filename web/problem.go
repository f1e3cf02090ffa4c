package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"proveout/shop"
	"proveout/store"
)

// Problem is an answer that says no. A person is told what happened, what is
// safe and what to do: the texts problem.KIND.happened, .safe and .do. A program
// gets the same as a problem document (RFC 9457).
type Problem struct {
	Status int
	Kind   string // last part of the type URI, and of the text keys
	Args   []any  // of problem.KIND.happened
	Sure   bool   // the form may be sent again with "sure": it asks, it does not refuse
	Detail string // what exactly, in the engine's words; shown as it is
	Cause  error  // logged, never shown
}

func (p *Problem) Error() string {
	s := fmt.Sprintf("%d %s", p.Status, p.Kind)
	if p.Detail != "" {
		s += ": " + p.Detail
	}
	if p.Cause != nil {
		s += ": " + p.Cause.Error()
	}
	return s
}

func (p *Problem) Unwrap() error { return p.Cause }

// Document is the problem as RFC 9457 has it. Safe and Do are extension members. It has
// a name of its own in the OpenAPI document, which leaves out what is not exported.
type Document struct {
	Type     string `json:"type"`
	Title    string `json:"title"`
	Status   int    `json:"status"`
	Detail   string `json:"detail,omitempty"`
	Instance string `json:"instance,omitempty"`
	Safe     string `json:"safe,omitempty"`
	Do       string `json:"do,omitempty"`
}

// asProblem says what kind of no an error is. What is not known is internal: its
// detail is logged and not shown.
func asProblem(err error) *Problem {
	var p *Problem
	var tooBig *http.MaxBytesError
	var unchecked *shop.RefusedProcedure
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &unchecked):
		return &Problem{Status: http.StatusUnprocessableEntity, Kind: "procedure_refused", Detail: unchecked.Error(), Cause: err}
	case errors.As(err, &tooBig):
		return &Problem{Status: http.StatusRequestEntityTooLarge, Kind: "too_big", Args: []any{tooBig.Limit}, Cause: err}
	case errors.Is(err, errNobody):
		return &Problem{Status: http.StatusForbidden, Kind: "locked", Cause: err}
	case errors.Is(err, shop.ErrPIN):
		return &Problem{Status: http.StatusForbidden, Kind: "wrong_pin", Cause: err}
	case errors.Is(err, store.ErrNotFound):
		return &Problem{Status: http.StatusNotFound, Kind: "not_found", Cause: err}
	case errors.Is(err, store.ErrKeyUsed):
		return &Problem{Status: http.StatusConflict, Kind: "key_used", Cause: err}
	case errors.Is(err, store.ErrErased):
		return &Problem{Status: http.StatusGone, Kind: "gone_for_good", Cause: err}
	case errors.Is(err, store.ErrTooBig):
		return &Problem{Status: http.StatusRequestEntityTooLarge, Kind: "capture_too_big", Detail: err.Error(), Cause: err}
	case errors.Is(err, store.ErrOffset):
		return &Problem{Status: http.StatusConflict, Kind: "upload_elsewhere", Detail: err.Error(), Cause: err}
	case errors.Is(err, store.ErrFull):
		return &Problem{Status: http.StatusInsufficientStorage, Kind: "disk_full", Cause: err}
	case errors.Is(err, shop.ErrBadCommand), errors.Is(err, store.ErrNoCapture):
		return &Problem{Status: http.StatusUnprocessableEntity, Kind: "bad_command", Detail: err.Error(), Cause: err}
	case errors.Is(err, context.DeadlineExceeded):
		return &Problem{Status: http.StatusServiceUnavailable, Kind: "too_long", Cause: err}
	case errors.Is(err, context.Canceled):
		return &Problem{Status: 499, Kind: "gone_away", Cause: err} // nobody reads it
	}
	return &Problem{Status: http.StatusInternalServerError, Kind: "internal", Cause: err}
}

// fail answers with a problem: a document for programs, a page for people.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	p := asProblem(err)
	if p.Status >= 500 {
		s.log.Error("request failed", "method", r.Method, "path", r.URL.Path, "err", p)
	} else {
		s.log.Debug("request refused", "method", r.Method, "path", r.URL.Path, "err", p)
	}
	h := w.Header()
	for _, k := range []string{"Etag", "Last-Modified", "Content-Length", "Content-Encoding"} {
		h.Del(k)
	}
	h.Set("Cache-Control", "no-store")
	if !wantsPage(r) {
		h.Set("Content-Type", "application/problem+json")
		w.WriteHeader(p.Status)
		// The client is gone if this fails; there is nobody to tell.
		_ = json.NewEncoder(w).Encode(s.document(r, p))
		return
	}
	err = s.page(w, r, sheet{Name: "problem", Title: s.printer(r).T("problem.title"), Status: p.Status, View: problemView{
		Kind: p.Kind, Args: p.Args, Detail: p.Detail, Back: backTo(r), Again: againOf(p, r),
	}})
	if err != nil {
		s.log.Error("no error page", "err", err)
		http.Error(w, http.StatusText(p.Status), p.Status)
	}
}

func (s *Server) document(r *http.Request, p *Problem) Document {
	t := s.printer(r)
	return Document{
		Type: "/problems/" + p.Kind, Title: t.T("problem."+p.Kind+".happened", p.Args...), Status: p.Status, Detail: p.Detail,
		Instance: r.URL.Path, Safe: t.T("problem." + p.Kind + ".safe"), Do: t.T("problem."+p.Kind+".do", p.Args...),
	}
}

// wantsPage reports whether a person looks at the answer.
func wantsPage(r *http.Request) bool {
	return !strings.HasPrefix(r.URL.Path, "/api/") && strings.Contains(r.Header.Get("Accept"), "text/html")
}

// problemView is what the error page shows.
type problemView struct {
	Kind   string
	Args   []any
	Detail string
	Back   string // a page of ours to go back to
	Again  *againView
}

// againView is a form to be sent as it was, by somebody who was asked and is sure.
type againView struct {
	Action string
	Fields []field
}

func againOf(p *Problem, r *http.Request) *againView {
	if !p.Sure {
		return nil
	}
	v := &againView{Action: r.URL.RequestURI(), Fields: []field{{"sure", "yes"}}}
	for _, name := range sortedKeys(r.PostForm) {
		for _, value := range r.PostForm[name] {
			v.Fields = append(v.Fields, field{name, value})
		}
	}
	return v
}

func init() {
	routes = append(routes, route{pattern: "GET /problems/{kind}", serve: problemPage})
}

// problemPage explains a type URI of a problem document.
func problemPage(s *Server, w http.ResponseWriter, r *http.Request) error {
	kind := r.PathValue("kind")
	if !s.printer(r).Has("problem." + kind + ".do") {
		return notFound(s, w, r)
	}
	return s.page(w, r, sheet{Name: "problem", Title: s.printer(r).T("problem.title"), View: problemView{Kind: kind}})
}

func notFound(*Server, http.ResponseWriter, *http.Request) error {
	return &Problem{Status: http.StatusNotFound, Kind: "not_found"}
}

// unrouted answers where no route is: 405 with what is allowed where the address takes
// another method, else 404.
func unrouted(s *Server, w http.ResponseWriter, r *http.Request) error {
	if allowed := s.methods(r); len(allowed) > 0 {
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		return &Problem{Status: http.StatusMethodNotAllowed, Kind: "wrong_method", Args: []any{r.Method}}
	}
	return notFound(s, w, r)
}

// methods are those that a request's address takes.
func (s *Server) methods(r *http.Request) []string {
	var out []string
	for _, m := range []string{http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete} {
		asked := r.Clone(r.Context())
		asked.Method = m
		_, pattern := s.mux.Handler(asked)
		if pattern == apiPrefix+"/" {
			_, pattern = s.apiMux.Handler(asked)
		}
		if pattern != "/" && pattern != "" {
			out = append(out, m)
		}
	}
	return out
}

// readForm parses a posted form and says what is wrong with it.
func readForm(r *http.Request) error {
	err := r.ParseForm()
	var tooBig *http.MaxBytesError
	if err == nil || errors.As(err, &tooBig) {
		return err
	}
	return &Problem{Status: http.StatusBadRequest, Kind: "bad_form", Cause: err}
}
