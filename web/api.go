package web

import (
	"context"
	"encoding/json"
	"net/http"
	"reflect"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"proveout/text"
)

// The API under /api/v1 says in JSON what the pages say to people. Its OpenAPI
// document is generated from the types that are sent, at /api/v1/openapi.json.

const apiPrefix = "/api/v1"

func init() {
	routes = append(routes, route{pattern: apiPrefix + "/", serve: func(s *Server, w http.ResponseWriter, r *http.Request) error {
		if err := oneOfEach(r); err != nil {
			return err
		}
		s.api.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), callKey{}, &apiCall{s, w, r})))
		return nil
	}})
	// What the library itself refuses (a field of the wrong type, a body that is no
	// JSON) is told in the form that everything else is.
	huma.NewError = func(status int, msg string, errs ...error) huma.StatusError {
		p := &apiProblem{Document: Document{Type: "/problems/bad_request", Title: msg, Status: status, Safe: text.For(text.Source, text.SI).T("problem.bad_request.safe"), Do: text.For(text.Source, text.SI).T("problem.bad_request.do")}}
		for _, err := range errs {
			if d, ok := err.(huma.ErrorDetailer); ok {
				e := *d.ErrorDetail()
				e.Value = nil // not echoed: it may be anything
				p.Errors = append(p.Errors, &e)
			} else if err != nil {
				p.Errors = append(p.Errors, &huma.ErrorDetail{Message: err.Error()})
			}
		}
		return p
	}
}

// apiCall is the request behind an operation.
type apiCall struct {
	*Server
	w http.ResponseWriter
	r *http.Request
}

type callKey struct{}

// apiProblem is a problem document with the places of what was wrong.
type apiProblem struct {
	Document
	Errors []*huma.ErrorDetail `json:"errors,omitempty"`
}

func (p *apiProblem) Error() string             { return p.Title }
func (p *apiProblem) GetStatus() int            { return p.Status }
func (p *apiProblem) ContentType(string) string { return "application/problem+json" }

// anyJSON stands for a value of any form in the document: the parts of a job file
// and the payloads, whose own schemas say more.
type anyJSON struct{}

// Schema is what the document says of it.
func (anyJSON) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Description: "any JSON value"}
}

// Ways to say who writes. A browser has badge and device as cookies; a program sends
// headers.
const (
	badgeScheme, deviceScheme, personScheme, pinScheme, xDeviceScheme = "badge", "device", "person", "pin", "programDevice"
	meterScheme                                                       = "meter"
)

var securitySchemes = map[string]*huma.SecurityScheme{
	badgeScheme:   {Type: "apiKey", In: "cookie", Name: badgeCookie, Description: "given by POST /who for a PIN, good for a quarter of an hour after each write"},
	deviceScheme:  {Type: "apiKey", In: "cookie", Name: deviceCookie, Description: "the browser's opaque id, which a badge is bound to"},
	personScheme:  {Type: "apiKey", In: "header", Name: "X-Person", Description: "id of the person who writes"},
	pinScheme:     {Type: "apiKey", In: "header", Name: "X-Pin", Description: "that person's PIN"},
	xDeviceScheme: {Type: "apiKey", In: "header", Name: "X-Device", Description: "the program's own id, 8 to 64 letters and figures: its commands stay in its order"},
	meterScheme:   {Type: "http", Scheme: "bearer", Description: "token of one meter for one watch of one run: the run's screen shows it"},
}

// writeSecurity is what an operation that writes asks for: badge and device, or person,
// PIN and device. Reading asks for nothing: who is on the shop's network may look.
func writeSecurity(method string, own []map[string][]string) []map[string][]string {
	if own != nil || method == http.MethodGet || method == http.MethodHead {
		return own
	}
	return []map[string][]string{{badgeScheme: {}, deviceScheme: {}}, {personScheme: {}, pinScheme: {}, xDeviceScheme: {}}}
}

// newAPI sets up the operations on a mux of their own.
func (s *Server) newAPI() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.fail(w, r, unrouted(s, w, r)) })
	s.apiMux = mux
	config := huma.DefaultConfig("Proveout workbench", "1")
	config.Info.Description = "The workbench of a repair shop. Every write is a command with a key: the same key again gives the same receipt. " +
		"A write needs a person: the badge cookie that POST /who gives, or the headers X-Person and X-Pin. Errors are problem documents (RFC 9457)."
	config.DocsPath, config.SchemasPath, config.CreateHooks = "", "", nil
	config.Formats = map[string]huma.Format{"application/json": huma.DefaultJSONFormat, "json": huma.DefaultJSONFormat}
	config.Components.SecuritySchemes = securitySchemes
	config.Components.Schemas.RegisterTypeAlias(reflect.TypeFor[json.RawMessage](), reflect.TypeFor[anyJSON]())
	api := humago.NewWithPrefix(mux, apiPrefix, config)
	s.jobOperations(api)
	s.captureOperations(api)
	s.shopOperations(api)
	s.procedureOperations(api)
	for _, op := range append(runOperations(config.Components.Schemas), streamed...) {
		op.Security = writeSecurity(op.Method, op.Security)
		api.OpenAPI().AddOperation(&op)
	}
	return mux
}

// operation registers one operation. What goes wrong becomes a problem document;
// what is inside stays inside.
func operation[I, O any](api huma.API, op huma.Operation, f func(c *apiCall, in *I) (*O, error)) {
	op.Errors = append(op.Errors, http.StatusBadRequest, http.StatusForbidden, http.StatusNotFound, http.StatusGone, http.StatusMisdirectedRequest, http.StatusUnprocessableEntity, http.StatusServiceUnavailable)
	op.Security = writeSecurity(op.Method, op.Security)
	if op.Method != http.MethodGet {
		op.Errors = append(op.Errors, http.StatusConflict, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType, http.StatusInsufficientStorage)
	}
	huma.Register(api, op, func(ctx context.Context, in *I) (*O, error) {
		c, ok := ctx.Value(callKey{}).(*apiCall)
		if !ok {
			return nil, huma.Error500InternalServerError("the operation was called from outside the server")
		}
		out, err := f(c, in)
		if err == nil {
			return out, nil
		}
		p := asProblem(err)
		if p.Status >= 500 {
			c.log.Error("request failed", "method", c.r.Method, "path", c.r.URL.Path, "err", p)
		}
		return nil, &apiProblem{Document: c.document(c.r, p)}
	})
}
