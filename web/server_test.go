package web

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

func server(t *testing.T) *Server {
	t.Helper()
	s, err := New(nil, Options{Shop: "Quarry Lane Garage", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// do sends one request as a browser would, with headers in pairs.
func do(t *testing.T, h http.Handler, method, target, body string, headers ...string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(method, target, strings.NewReader(body))
	r.Host = "127.0.0.1:7000"
	r.Header.Set("Accept", "text/html")
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
			continue
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestEveryAnswerCarriesThePolicy(t *testing.T) {
	s := server(t)
	for _, target := range []string{"/nowhere", "/assets/tokens.css", "/problems/internal"} {
		h := do(t, s, "GET", target, "").Header()
		if csp := h.Get("Content-Security-Policy"); !strings.Contains(csp, "default-src 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: policy is %q", target, csp)
		}
		if h.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("%s: a browser may guess the type", target)
		}
	}
}

// TestOtherNamesAreRefused: a page elsewhere that points its own name at this
// machine (DNS rebinding) gets nothing.
func TestOtherNamesAreRefused(t *testing.T) {
	s := server(t)
	s.o.Names = append(s.o.Names, "bench.shop.test")
	for host, want := range map[string]int{
		"127.0.0.1:7000": 200, "192.168.4.20": 200, "[::1]:7000": 200, "localhost": 200, "LOCALHOST.:80": 200, "bench.shop.test:7000": 200,
		"evil.example": 421, "127.0.0.1.evil.example": 421, "": 421,
	} {
		if got := do(t, s, "GET", "/assets/tokens.css", "", "Host", host).Code; got != want {
			t.Errorf("host %q: %d, want %d", host, got, want)
		}
	}
}

// TestOtherOriginsCannotWrite: a form on another site is stopped, whether the
// browser tells with Sec-Fetch-Site or, on plain http, with Origin alone.
func TestOtherOriginsCannotWrite(t *testing.T) {
	s := server(t)
	for _, c := range []struct {
		name, header, value string
		want                int
	}{
		{"own page", "Origin", "http://127.0.0.1:7000", 303},
		{"no browser", "X-Any", "1", 303},
		{"other site", "Origin", "http://evil.example", 403},
		{"other port", "Origin", "http://127.0.0.1:7001", 403},
		{"sandboxed page", "Origin", "null", 403},
		{"other site, told", "Sec-Fetch-Site", "cross-site", 403},
		{"own page, told", "Sec-Fetch-Site", "same-origin", 303},
	} {
		if got := do(t, s, "POST", "/look", "theme=dark", c.header, c.value).Code; got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}

func TestProblemsSpeakToPeopleAndPrograms(t *testing.T) {
	s := server(t)
	w := do(t, s, "GET", "/nowhere/<script>alert(1)</script>", "")
	if w.Code != 404 || !strings.Contains(w.Body.String(), "What is safe") || strings.Contains(w.Body.String(), "<script>alert") {
		t.Errorf("a person gets %d\n%s", w.Code, w.Body)
	}
	w = do(t, s, "GET", "/nowhere", "", "Accept", "application/json", "Accept-Language", "de")
	var d Document
	if err := json.Unmarshal(w.Body.Bytes(), &d); err != nil {
		t.Fatal(err)
	}
	if w.Header().Get("Content-Type") != "application/problem+json" || d.Status != 404 || d.Type != "/problems/not_found" || !strings.Contains(d.Do, "Werkstatttafel") {
		t.Errorf("a program gets %s %+v", w.Header().Get("Content-Type"), d)
	}
	if got := do(t, s, "GET", d.Type, "").Code; got != 200 {
		t.Errorf("the type URI %s answers %d", d.Type, got)
	}
	if got := do(t, s, "GET", "/problems/made_up", "").Code; got != 404 {
		t.Errorf("an unknown type URI answers %d", got)
	}
}

// TestNoStackReachesAScreen: neither a panic nor an error inside shows its words.
func TestNoStackReachesAScreen(t *testing.T) {
	s := server(t)
	var log bytes.Buffer
	s.log = slog.New(slog.NewTextHandler(&log, nil))
	for name, h := range map[string]handler{
		"panic": func(*Server, http.ResponseWriter, *http.Request) error { panic("the secret word") },
		"error": func(*Server, http.ResponseWriter, *http.Request) error { return errors.New("the secret word") },
		"panic after the head": func(_ *Server, w http.ResponseWriter, _ *http.Request) error {
			w.Header().Set("Content-Type", "text/html")
			panic("the secret word")
		},
	} {
		for _, accept := range []string{"text/html", "application/json"} {
			w := do(t, s.guard(s.bound(route{serve: h})), "GET", "/", "", "Accept", accept, "Accept-Encoding", "gzip")
			body := w.Body.Bytes()
			if w.Header().Get("Content-Encoding") == "gzip" {
				body = unpack(t, body)
			}
			if w.Code != 500 || bytes.Contains(body, []byte("secret")) || bytes.Contains(body, []byte("goroutine")) || len(body) == 0 {
				t.Errorf("%s, %s: %d\n%s", name, accept, w.Code, body)
			}
		}
	}
	if !strings.Contains(log.String(), "the secret word") {
		t.Error("what went wrong was not written down")
	}
}

func TestBodiesHaveALimit(t *testing.T) {
	w := do(t, server(t), "POST", "/look", "theme=dark&x="+strings.Repeat("y", ordinaryBody))
	if w.Code != http.StatusRequestEntityTooLarge || !strings.Contains(w.Body.String(), "1,048,576") {
		t.Errorf("a body over the limit: %d\n%s", w.Code, w.Body)
	}
	if w := do(t, server(t), "POST", "/look", "theme=%zz"); w.Code != http.StatusBadRequest {
		t.Errorf("a form that cannot be read: %d", w.Code)
	}
}

func TestPagesAreAskedAboutNotSentAgain(t *testing.T) {
	s := server(t)
	first := do(t, s, "GET", "/problems/internal", "", "Accept-Encoding", "gzip")
	tag := first.Header().Get("Etag")
	if tag == "" || first.Header().Get("Content-Encoding") != "gzip" {
		t.Fatalf("no tag or not packed: %v", first.Header())
	}
	if !bytes.Contains(unpack(t, first.Body.Bytes()), []byte("</html>")) {
		t.Error("the packed page is cut short")
	}
	again := do(t, s, "GET", "/problems/internal", "", "Accept-Encoding", "gzip", "If-None-Match", tag)
	if again.Code != 304 || again.Body.Len() != 0 {
		t.Errorf("asked with the tag: %d and %d bytes", again.Code, again.Body.Len())
	}
	if got := do(t, s, "GET", "/problems/internal", "", "If-None-Match", tag, "Cookie", "lang=de").Code; got != 200 {
		t.Errorf("another language with the same tag: %d", got)
	}
}

func TestAssetsAreKeptByVersion(t *testing.T) {
	s := server(t)
	a := s.assets["sheet.css"]
	w := do(t, s, "GET", "/assets/sheet.css?v="+a.version, "", "Accept-Encoding", "gzip")
	if !strings.Contains(w.Header().Get("Cache-Control"), "immutable") || !bytes.Equal(unpack(t, w.Body.Bytes()), a.plain) {
		t.Errorf("versioned asset: %v", w.Header())
	}
	if cc := do(t, s, "GET", "/assets/sheet.css?v=old", "").Header().Get("Cache-Control"); cc != "no-cache" {
		t.Errorf("an old version is kept: %s", cc)
	}
	for _, path := range []string{"/assets/../server.go", "/assets/..%2fserver.go", "/assets/", "/assets/%2e%2e/%2e%2e/go.mod", `/assets/..\server.go`} {
		if got := do(t, s, "GET", path, "").Code; got != 404 && got != 307 && got != 301 {
			t.Errorf("%s: %d", path, got)
		}
	}
}

func TestLookGoesBackToOurOwnPagesOnly(t *testing.T) {
	s := server(t)
	for back, want := range map[string]string{
		"/jobs/7?x=1": "/jobs/7?x=1", "//evil.example": "/", "https://evil.example/": "/", `/\evil.example`: "/", "": "/", "jobs": "/", "%zz": "/",
	} {
		w := do(t, s, "POST", "/look", "theme=dark&lang=de&back="+strings.ReplaceAll(back, "%", "%25"))
		if got := w.Header().Get("Location"); got != want {
			t.Errorf("back=%q goes to %q, want %q", back, got, want)
		}
		if cookies := w.Result().Cookies(); len(cookies) != 2 {
			t.Errorf("cookies: %v", cookies)
		}
	}
	if got := len(do(t, s, "POST", "/look", "theme=red&lang=xx").Result().Cookies()); got != 0 {
		t.Error("an unknown theme or language was kept")
	}
}

func unpack(t *testing.T, b []byte) []byte {
	t.Helper()
	r, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	out, err := io.ReadAll(r)
	if err != nil {
		t.Fatal(err)
	}
	return out
}
