package web

import (
	"compress/gzip"
	"io"
	"net/http"
	"strings"
	"sync"
)

// gzipFrom is the size below which packing costs more than it saves.
const gzipFrom = 1024

var packers = sync.Pool{New: func() any { return gzip.NewWriter(io.Discard) }}

// compress packs answers of text. What is already packed, partial or empty goes
// through as it is.
func compress(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Add("Vary", "Accept-Encoding")
		if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") || r.Method == http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		p := &packed{ResponseWriter: w}
		// Also after a panic: the guard above then writes its own answer.
		defer p.close()
		next.ServeHTTP(p, r)
	})
}

// packed decides at the first write whether to pack.
type packed struct {
	http.ResponseWriter
	gz      *gzip.Writer
	status  int
	decided bool
}

func (p *packed) WriteHeader(status int) {
	if p.status == 0 {
		p.status = status
	}
}

func (p *packed) decide(first int) {
	p.decided = true
	h := p.Header()
	if h.Get("Content-Encoding") == "" && h.Get("Content-Range") == "" && first >= gzipFrom && packable(h.Get("Content-Type")) {
		h.Set("Content-Encoding", "gzip")
		h.Del("Content-Length")
		if tag := h.Get("Etag"); tag != "" && !strings.HasPrefix(tag, "W/") {
			h.Set("Etag", "W/"+tag) // same meaning, other bytes
		}
		p.gz = packers.Get().(*gzip.Writer)
		p.gz.Reset(p.ResponseWriter)
	}
	if p.status != 0 {
		p.ResponseWriter.WriteHeader(p.status)
	}
}

func (p *packed) Write(b []byte) (int, error) {
	if !p.decided {
		if p.Header().Get("Content-Type") == "" {
			p.Header().Set("Content-Type", http.DetectContentType(b))
		}
		p.decide(len(b))
	}
	if p.gz != nil {
		return p.gz.Write(b)
	}
	return p.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach the connection.
func (p *packed) Unwrap() http.ResponseWriter { return p.ResponseWriter }

func (p *packed) close() {
	if !p.decided && p.status != 0 {
		p.decide(0)
	}
	if p.gz != nil {
		// The client is gone if this fails; there is nobody to tell.
		_ = p.gz.Close()
		packers.Put(p.gz)
		p.gz = nil
	}
}

func packable(contentType string) bool {
	kind, _, _ := strings.Cut(contentType, ";")
	switch {
	case strings.HasPrefix(kind, "text/") && kind != "text/event-stream":
		return true
	case strings.HasSuffix(kind, "json"), strings.HasSuffix(kind, "xml"), kind == "application/javascript", kind == "application/yaml":
		return true
	}
	return false
}
