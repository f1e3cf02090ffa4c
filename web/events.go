package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"proveout/shop"
)

func init() {
	routes = append(routes,
		route{pattern: "GET " + apiPrefix + "/events", serve: boardEvents, stream: true},
		route{pattern: "GET " + apiPrefix + "/jobs/{id}/events", serve: jobEvents, stream: true},
	)
}

// beat keeps a quiet stream open through routers that cut idle connections, and
// finds out that the other end is gone (our choice).
const beat = 15 * time.Second

// boardEvents tells of changes to any job.
func boardEvents(s *Server, w http.ResponseWriter, r *http.Request) error { return s.events(w, r, "") }

// jobEvents tells of changes to one job.
func jobEvents(s *Server, w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if _, err := s.bench.State(r.Context(), id); err != nil {
		return err
	}
	return s.events(w, r, id)
}

// events streams changes as server-sent events until the other end goes. A change
// says that something is new, not what: the page asks for that, so that a stream
// that was cut loses nothing.
func (s *Server) events(w http.ResponseWriter, r *http.Request, id string) error {
	changes, stop := s.bench.Changes(id)
	defer stop()
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Accel-Buffering", "no")
	out := http.NewResponseController(w)
	if _, err := fmt.Fprint(w, "retry: 1000\n\n"); err != nil {
		return nil // gone
	}
	if err := out.Flush(); err != nil {
		return err
	}
	tick := time.NewTicker(beat)
	defer tick.Stop()
	for {
		select {
		case <-r.Context().Done():
			return nil
		case <-tick.C:
			if _, err := fmt.Fprint(w, ": still here\n\n"); err != nil {
				return nil
			}
		case c, ok := <-changes:
			if !ok {
				return nil
			}
			body, err := json.Marshal(c)
			if err != nil {
				return err
			}
			name := "change"
			if c.What == "supply" {
				name = c.What // nothing new in the record: pages without a supply need not look
			}
			if _, err := fmt.Fprintf(w, "event: %s\nid: %d\ndata: %s\n\n", name, c.Rev, body); err != nil {
				return nil
			}
		}
		if err := out.Flush(); err != nil {
			return nil
		}
	}
}

// streamed are the operations that do not fit the library: bytes and events. They
// stand in the document all the same.
var streamed = []huma.Operation{
	{OperationID: "board-events", Method: "GET", Path: "/events", Summary: "Changes to any job, as server-sent events", Tags: []string{"events"}, Responses: refused(answers("text/event-stream"))},
	{OperationID: "job-events", Method: "GET", Path: "/jobs/{id}/events", Summary: "Changes to one job, as server-sent events", Tags: []string{"events"}, Parameters: params("path:id"), Responses: refused(answers("text/event-stream"), 404)},
	{OperationID: "append-upload", Method: "PATCH", Path: "/uploads/{id}", Summary: "Bytes of an upload from Upload-Offset on", Tags: []string{"captures"}, Parameters: params("path:id", "header:Upload-Offset"),
		RequestBody: &huma.RequestBody{Content: map[string]*huma.MediaType{"application/octet-stream": {}}}, Responses: refused(map[string]*huma.Response{"204": {Description: "the new Upload-Offset is in the header"}}, 400, 403, 404, 409, 413, 507)},
	{OperationID: "upload-state", Method: "HEAD", Path: "/uploads/{id}", Summary: "Where an upload stands: Upload-Offset, Upload-Length", Tags: []string{"captures"}, Parameters: params("path:id"), Responses: refused(map[string]*huma.Response{"200": {Description: "in the headers"}}, 404)},
	{OperationID: "capture", Method: "GET", Path: "/captures/{sha}", Summary: "A capture as it was sealed", Tags: []string{"captures"}, Parameters: params("path:sha"), Responses: refused(answers("application/octet-stream"), 404)},
	{OperationID: "samples", Method: "GET", Path: "/jobs/{id}/items/{n}/samples", Summary: "A part of a channel to be drawn px wide: pairs of least and greatest value, little-endian float32", Tags: []string{"captures"},
		Parameters: params("path:id", "path:n", "query:channel", "query:from", "query:to", "query:px"), Responses: refused(answers("application/octet-stream"), 400, 404, 422)},
}

// runOperations are those of a procedure run. Their bodies are read and refused by the
// run, and described from the types that are sent.
func runOperations(r huma.Registry) []huma.Operation {
	of := func(v any) map[string]*huma.MediaType {
		return map[string]*huma.MediaType{"application/json": {Schema: r.Schema(reflect.TypeOf(v), true, "")}}
	}
	body := func(v any) *huma.RequestBody { return &huma.RequestBody{Required: true, Content: of(v)} }
	out := func(code, says string, v any) map[string]*huma.Response {
		return map[string]*huma.Response{code: {Description: says, Content: of(v)}}
	}
	tags := []string{"procedures"}
	run := func() []*huma.Param { return params("path:id", "path:run") }
	after := &huma.Param{Name: "after", In: "query", Description: "entries the page has already; the table is left out then", Schema: &huma.Schema{Type: "integer"}}
	return []huma.Operation{
		{OperationID: "run", Method: "GET", Path: "/jobs/{id}/procedures/{run}", Summary: "A procedure run as it is now", Tags: tags, Parameters: run(), Responses: refused(out("200", "as a screen shows it", shop.Screen{}), 404)},
		{OperationID: "run-table", Method: "GET", Path: "/jobs/{id}/procedures/{run}/table", Summary: "The run's state table and record, for a page that goes on without the server", Tags: tags,
			Parameters: append(run(), after), Responses: refused(out("200", "table and entries", runTable{}), 400, 404)},
		{OperationID: "run-event", Method: "POST", Path: "/jobs/{id}/procedures/{run}/events", Summary: "One event of a run; answered when it is safe on disk", Tags: tags,
			Parameters: run(), RequestBody: body(eventCommand{}), Responses: refused(out("200", "taken, now or before", eventReceipt{}), 400, 403, 404, 409, 413, 422, 503, 507)},
		{OperationID: "run-supply", Method: "POST", Path: "/jobs/{id}/procedures/{run}/supply/{watch}", Summary: "Samples of a meter for what is watched", Tags: tags, Security: []map[string][]string{{meterScheme: {}}},
			Parameters: params("path:id", "path:run", "path:watch"), RequestBody: body(meterSamples{}), Responses: refused(map[string]*huma.Response{"204": {Description: "taken"}}, 400, 401, 403, 404, 409, 413, 422)},
	}
}

func answers(kind string) map[string]*huma.Response {
	return map[string]*huma.Response{"200": {Description: "as it comes", Content: map[string]*huma.MediaType{kind: {}}}}
}

// refused adds the refusals an operation gives, each a problem document.
func refused(r map[string]*huma.Response, codes ...int) map[string]*huma.Response {
	for _, c := range append(codes, http.StatusMisdirectedRequest) { // that, every operation gives
		r[strconv.Itoa(c)] = &huma.Response{Description: http.StatusText(c), Content: map[string]*huma.MediaType{"application/problem+json": {Schema: &huma.Schema{Ref: "#/components/schemas/ApiProblem"}}}}
	}
	return r
}

// params describes parameters as "path:id"; those named n, channel, from, to, px and
// Upload-Offset are whole numbers.
func params(names ...string) []*huma.Param {
	var out []*huma.Param
	for _, name := range names {
		in, id, _ := strings.Cut(name, ":")
		kind := "string"
		switch id {
		case "n", "channel", "from", "to", "px", "Upload-Offset":
			kind = "integer"
		}
		out = append(out, &huma.Param{Name: id, In: in, Required: true, Schema: &huma.Schema{Type: kind}})
	}
	return out
}
