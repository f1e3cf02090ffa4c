package web

import (
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"

	"github.com/danielgtaylor/huma/v2"

	"proveout/shop"
	"proveout/store"
)

func init() {
	routes = append(routes,
		route{pattern: "PATCH " + apiPrefix + "/uploads/{id}", serve: appendUpload, body: store.MaxCapture, stream: true},
		route{pattern: "HEAD " + apiPrefix + "/uploads/{id}", serve: uploadState},
		route{pattern: "GET " + apiPrefix + "/captures/{sha}", serve: rawCapture, stream: true},
		route{pattern: "GET " + apiPrefix + "/jobs/{id}/items/{n}/samples", serve: samplesOf},
	)
}

func (s *Server) captureOperations(api huma.API) {
	operation(api, huma.Operation{OperationID: "begin-upload", Method: "POST", Path: "/uploads", Summary: "Begin an upload; its bytes follow with PATCH", DefaultStatus: 201, Tags: []string{"captures"}},
		func(c *apiCall, in *struct {
			Key  string `header:"Idempotency-Key" maxLength:"100" doc:"the same key again from the same device gets the same upload"`
			Body struct {
				Name string `json:"name" minLength:"1" maxLength:"255" doc:"as the person's file is called"`
				Size int64  `json:"size" minimum:"-1" doc:"bytes, at most 4 GiB; -1: not known"`
			}
		}) (*struct {
			Location string `header:"Location"`
			Body     struct {
				ID string `json:"id"`
			}
		}, error) {
			a, err := c.author(c.w, c.r)
			if err != nil {
				return nil, err
			}
			id, err := c.begun.once(a.Device, in.Key, func() (string, error) { return c.bench.Upload(c.r.Context(), baseName(in.Body.Name), in.Body.Size) })
			out := &struct {
				Location string `header:"Location"`
				Body     struct {
					ID string `json:"id"`
				}
			}{Location: apiPrefix + "/uploads/" + id}
			out.Body.ID = id
			return out, err
		})
	operation(api, huma.Operation{OperationID: "finish-upload", Method: "POST", Path: "/uploads/{id}/finish", Summary: "Seal an upload: its SHA-256, and whether the same bytes were there", Tags: []string{"captures"}},
		func(c *apiCall, in *struct {
			ID string `path:"id" maxLength:"100"`
		}) (*struct{ Body shop.Uploaded }, error) {
			if _, err := c.author(c.w, c.r); err != nil {
				return nil, err
			}
			v, err := c.bench.Finish(c.r.Context(), in.ID)
			return &struct{ Body shop.Uploaded }{v}, err
		})
	operation(api, huma.Operation{OperationID: "preview", Method: "POST", Path: "/captures/{sha}/preview", Summary: "How a file would be read with a mapping", Tags: []string{"captures"}},
		func(c *apiCall, in *struct {
			SHA  string `path:"sha" pattern:"^[0-9a-f]{64}$"`
			Body struct {
				Name string          `json:"name" minLength:"1" maxLength:"255"`
				Form json.RawMessage `json:"form,omitempty" doc:"entry of captures of a job file, without file and item"`
			}
		}) (*struct{ Body *shop.MappingView }, error) {
			v, err := c.bench.Preview(c.r.Context(), in.SHA, baseName(in.Body.Name), in.Body.Form)
			return &struct{ Body *shop.MappingView }{v}, err
		})
	operation(api, huma.Operation{OperationID: "item", Method: "GET", Path: "/jobs/{id}/items/{n}", Summary: "One capture of a job: channels, features with the samples they were read from", Tags: []string{"captures"}},
		func(c *apiCall, in *struct {
			JobPath
			N int `path:"n" minimum:"1" maximum:"100000"`
		}) (*struct{ Body *shop.CaptureView }, error) {
			v, err := c.bench.Capture(c.r.Context(), in.ID, in.N)
			return &struct{ Body *shop.CaptureView }{v}, err
		})
}

// begunUploads remember which upload a device's key began, while the program runs: a
// retry goes on with it. After a restart a retry begins anew, which costs bytes and
// nothing else.
type begunUploads struct {
	mu  sync.Mutex
	ids map[string]string
}

// mostBegun bounds the memory; past it, it starts anew (our choice).
const mostBegun = 1000

func (b *begunUploads) once(device, key string, begin func() (string, error)) (string, error) {
	if key == "" {
		return begin()
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if id, ok := b.ids[device+"/"+key]; ok {
		return id, nil
	}
	id, err := begin()
	if err != nil {
		return "", err
	}
	if b.ids == nil || len(b.ids) >= mostBegun {
		b.ids = map[string]string{}
	}
	b.ids[device+"/"+key] = id
	return id, nil
}

// baseName is the last part of a file's name, whatever system it comes from: a name
// never says where a file goes.
func baseName(name string) string {
	name = path.Base(strings.ReplaceAll(name, `\`, "/"))
	if name == "." || name == "/" || name == ".." {
		return "file"
	}
	return name
}

// appendUpload streams bytes to an upload at Upload-Offset. After a broken
// connection HEAD says where to go on.
func appendUpload(s *Server, w http.ResponseWriter, r *http.Request) error {
	if _, err := s.author(w, r); err != nil {
		return err
	}
	offset, err := strconv.ParseInt(r.Header.Get("Upload-Offset"), 10, 64)
	if err != nil || offset < 0 {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_request", Detail: "Upload-Offset is missing or no number"}
	}
	at, err := s.bench.Append(r.Context(), r.PathValue("id"), offset, r.Body)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		return &Problem{Status: 499, Kind: "gone_away", Cause: err} // the body broke off: no failure of ours
	}
	if err != nil {
		return err
	}
	w.Header().Set("Upload-Offset", strconv.FormatInt(at, 10))
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func uploadState(s *Server, w http.ResponseWriter, r *http.Request) error {
	u, err := s.bench.UploadState(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Upload-Offset", strconv.FormatInt(u.Offset, 10))
	if u.Size >= 0 {
		h.Set("Upload-Length", strconv.FormatInt(u.Size, 10))
	}
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(http.StatusOK)
	return nil
}

// rawCapture gives a file as it was sealed. A browser saves it and never shows it:
// it may be anything.
func rawCapture(s *Server, w http.ResponseWriter, r *http.Request) error {
	sha := r.PathValue("sha")
	if !isSHA(sha) {
		return notFound(s, w, r)
	}
	f, err := s.bench.Raw(sha)
	if err != nil {
		return err
	}
	defer f.Close()
	h := w.Header()
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Content-Disposition", `attachment; filename="`+sha[:12]+`"`)
	h.Set("Content-Security-Policy", "default-src 'none'; sandbox")
	h.Set("Etag", `"`+sha+`"`)
	h.Set("Cache-Control", "private, max-age=31536000, immutable")
	r.Header.Del("Range") // whole or not at all: nothing of ours asks for parts
	http.ServeContent(w, r, "", s.started, f)
	return nil
}

func isSHA(s string) bool {
	return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == ""
}

// samplesOf gives a part of a channel as pairs of least and greatest value,
// little-endian float32.
func samplesOf(s *Server, w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil {
		return notFound(s, w, r)
	}
	channel, err1 := strconv.Atoi(q.Get("channel"))
	from, err2 := strconv.ParseInt(q.Get("from"), 10, 64)
	to, err3 := strconv.ParseInt(q.Get("to"), 10, 64)
	px, err4 := strconv.Atoi(q.Get("px"))
	if err1 != nil || err2 != nil || err3 != nil || err4 != nil || from < 0 || to < from || px < 1 {
		return &Problem{Status: http.StatusBadRequest, Kind: "bad_request", Detail: "channel, from, to and px must be whole numbers, from not past to, px at least 1"}
	}
	b, err := s.bench.ItemSamples(r.Context(), r.PathValue("id"), n, channel, from, to, px)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Cache-Control", "private, max-age=3600")
	_, err = w.Write(b)
	return err
}
