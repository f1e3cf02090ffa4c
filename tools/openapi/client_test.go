package openapi

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"os"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/config"
	"github.com/pb33f/libopenapi-validator/errors"
	v3 "github.com/pb33f/libopenapi/datamodel/high/v3"

	"proveout/demo"
	"proveout/examples"
	"proveout/shop"
	"proveout/store/sqlite"
	"proveout/web"
)

// number reads a whole number of the environment.
func number(t *testing.T, name string, usual int) int {
	t.Helper()
	n, err := strconv.Atoi(cmp.Or(os.Getenv(name), strconv.Itoa(usual)))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return n
}

// openDemo serves what the demo command serves, and gives a client that has shown a PIN.
func openDemo(t *testing.T) (string, *http.Client) {
	t.Helper()
	st, err := sqlite.Open(t.TempDir(), sqlite.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	var n atomic.Int64
	b, err := shop.NewBench(st, shop.BenchOptions{Clock: time.Now, HoldFor: 50 * time.Millisecond, NewID: func() string { return fmt.Sprintf("id%06d", n.Add(1)) }, Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close(); st.Close() })
	if err := demo.Fill(t.Context(), b, examples.Folders, time.Now()); err != nil {
		t.Fatal(err)
	}
	s, err := web.New(b, web.Options{Shop: demo.ShopName, Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))})
	if err != nil {
		t.Fatal(err)
	}
	h := httptest.NewServer(s)
	t.Cleanup(func() { h.CloseClientConnections(); h.Close() })
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &http.Client{Jar: jar, Timeout: time.Minute, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	return h.URL, c
}

// client sends what it draws from the document.
type client struct {
	*testing.T
	*drawer
	url   string
	http  *http.Client
	check validator.Validator
	ops   []operation
	kinds map[string]bool // problem types met
	told  map[string]int  // how often something was wrong
	wrong []string        // what was, each kind three times at most
	codes map[string]map[int]int
	// events are those that the screen seen last offers.
	events []map[string]any
}

// offered are the events that a run's screen offers.
func offered(screen map[string]any) (events []map[string]any) {
	steps, _ := screen["steps"].([]any)
	now, _ := screen["now"].([]any)
	for _, i := range now {
		at, _ := i.(float64)
		step, ok := steps[int(at)].(map[string]any)
		if !ok {
			continue
		}
		for _, kind := range []string{"begin", "ended"} {
			events = append(events, map[string]any{"kind": kind, "step": step["id"]})
		}
		means, _ := step["means"].([]any)
		for _, m := range means {
			how, _ := m.(map[string]any)
			events = append(events, map[string]any{"kind": "confirm", "step": step["id"], "how": how["how"], "typed": "13.4"}, map[string]any{"kind": "look", "step": step["id"], "how": how["how"], "typed": "13.4"})
			outcomes, _ := step["outcomes"].([]any)
			for _, o := range outcomes {
				out, _ := o.(map[string]any)
				events = append(events, map[string]any{"kind": "look", "step": step["id"], "how": how["how"], "outcome": out["id"]})
			}
		}
	}
	return events
}

type operation struct {
	method, path string
	item         *v3.PathItem
	*v3.Operation
}

func newClient(t *testing.T, seed uint64) *client {
	t.Helper()
	c := &client{T: t, drawer: &drawer{Rand: rand.New(rand.NewPCG(seed, 1)), seen: map[string][]any{}}, kinds: map[string]bool{}, told: map[string]int{}, codes: map[string]map[int]int{}}
	c.url, c.http = openDemo(t)
	res, err := c.http.Get(c.url + "/api/v1/openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := libopenapi.NewDocument(body)
	if err != nil {
		t.Fatal(err)
	}
	model, err := doc.BuildV3Model()
	if err != nil {
		t.Fatal(err)
	}
	var errs []error
	if c.check, errs = validator.NewValidator(doc, config.WithFormatAssertions()); len(errs) > 0 {
		t.Fatal(errs)
	}
	for path, item := range model.Model.Paths.PathItems.FromOldest() {
		for method, op := range item.GetOperations().FromOldest() {
			c.ops = append(c.ops, operation{strings.ToUpper(method), path, item, op})
		}
	}
	slices.SortFunc(c.ops, func(a, b operation) int { return cmp.Or(cmp.Compare(a.path, b.path), cmp.Compare(a.method, b.method)) })
	return c
}

// TestDocument: the document is what OpenAPI 3.1 asks of one.
func TestDocument(t *testing.T) {
	c := newClient(t, 1)
	if ok, errs := c.check.ValidateDocument(); !ok {
		for _, e := range errs {
			t.Errorf("%s: %s %v", e.Message, e.Reason, e.SchemaValidationErrors)
		}
	}
	if len(c.ops) < 15 {
		t.Errorf("the document has %d operations", len(c.ops))
	}
}

// TestAnswersFitTheDocument sends requests drawn from the document, a third of them as it
// asks, a third with one thing wrong, a third hostile. PROVEOUT_REQUESTS says how many,
// PROVEOUT_SEED which.
func TestAnswersFitTheDocument(t *testing.T) {
	n, seed := number(t, "PROVEOUT_REQUESTS", 300), number(t, "PROVEOUT_SEED", 1)
	c := newClient(t, uint64(seed))
	c.unlock()
	c.begin()
	for i := range n {
		if i%500 == 499 {
			c.unlock()
		}
		c.send(c.ops[i%len(c.ops)], i/len(c.ops)%3)
	}
	for _, what := range c.wrong {
		t.Error(what)
	}
	for kind := range c.kinds {
		if res, err := c.http.Get(c.url + kind); err != nil || res.StatusCode != 200 {
			t.Errorf("the problem type %s has no page", kind)
		} else {
			res.Body.Close()
		}
	}
	t.Logf("%d requests, seed %d, %d operations, %d kinds of problem", n, seed, len(c.ops), len(c.kinds))
	taken := 0
	for _, op := range c.ops {
		name := op.method + " " + op.path
		t.Logf("%-55s %v", name, c.codes[name])
		for code, k := range c.codes[name] {
			if code < 300 {
				taken += k
			}
		}
	}
	if taken*6 < n {
		t.Errorf("only %d of %d requests were taken: what lies behind the first check was hardly asked", taken, n)
	}
}

// altered is a server between that spoils answers.
type altered struct{ spoil func(*http.Response) }

func (a altered) RoundTrip(r *http.Request) (*http.Response, error) {
	res, err := http.DefaultTransport.RoundTrip(r)
	if err == nil {
		a.spoil(res)
	}
	return res, err
}

// TestChecksCanFail spoils answers one way each, and looks for the complaint.
func TestChecksCanFail(t *testing.T) {
	with := func(from, to string) func(*http.Response) {
		return func(res *http.Response) {
			body, err := io.ReadAll(res.Body)
			if err != nil {
				t.Fatal(err)
			}
			res.Body = io.NopCloser(strings.NewReader(strings.Replace(string(body), from, to, 1)))
		}
	}
	c := newClient(t, 1)
	for want, spoil := range map[string]func(*http.Response){
		"answers otherwise than the document":       with(`"rows":[`, `"rows":[7,`),
		"failed":                                    func(r *http.Response) { r.StatusCode = 500 },
		"code '299' does not exist":                 func(r *http.Response) { r.StatusCode = 299 },
		"shows a stack trace":                       with(`"rows"`, `"goroutine 1 [running]"`),
		"without a problem document":                func(r *http.Response) { r.StatusCode = 404 },
		"a problem document with something missing": func(r *http.Response) { r.StatusCode = 404; r.Header.Set("Content-Type", "application/problem+json") },
		"content type":                              func(r *http.Response) { r.Header.Set("Content-Type", "text/csv") },
	} {
		c.wrong, c.told = nil, map[string]int{}
		c.http.Transport = altered{spoil}
		for _, op := range c.ops {
			if op.path == "/board" {
				c.seen["If-None-Match"] = nil // or there may be no body to spoil
				c.send(op, asAsked)
			}
		}
		if !strings.Contains(strings.Join(c.wrong, "\n"), want) {
			t.Errorf("%q was not said, but %q", want, c.wrong)
		}
	}
	// A server that takes what its document does not allow.
	c.wrong, c.told = nil, map[string]int{}
	c.http.Transport = altered{func(r *http.Response) { r.StatusCode, r.Header["Content-Type"] = 201, []string{"application/json"} }}
	for _, op := range c.ops {
		for range 20 {
			if op.path == "/uploads" {
				c.send(op, oneWrong)
			}
		}
	}
	if !strings.Contains(strings.Join(c.wrong, "\n"), "took what the document does not") {
		t.Errorf("a request that does not fit was taken, and that was not said, but %q", c.wrong)
	}
}

func (c *client) unlock() {
	c.Helper()
	res, err := c.http.PostForm(c.url+"/who", url.Values{"person": {"p-ines"}, "pin": {demo.PIN}})
	if err != nil || res.StatusCode >= 400 {
		c.Fatalf("no badge: %v", err)
	}
	res.Body.Close()
}

// begin starts a run of the brake service for each of three jobs, and reads from its
// screen what a meter needs.
func (c *client) begin() {
	c.Helper()
	meter := regexp.MustCompile(`supply/([a-z0-9_.]+)</p><p class="raw">Authorization: Bearer ([^<]+)<`)
	var board struct{ Rows []struct{ Job string } }
	c.get("/api/v1/board", &board)
	for _, row := range board.Rows {
		c.learn("job", row.Job)
		var view any
		c.get("/api/v1/jobs/"+row.Job, &view)
		c.learn("", view)
		if len(c.runs) == 3 {
			continue
		}
		res, err := c.http.PostForm(c.url+"/jobs/"+row.Job+"/procedures", url.Values{"procedure": {"epb_caliper_pads"}, "key": {"run-" + row.Job}})
		if err != nil || res.StatusCode >= 400 {
			c.Fatalf("no run begun: %v", err)
		}
		res.Body.Close()
		at := res.Header.Get("Location")
		page := c.get(at, nil)
		m := meter.FindStringSubmatch(page)
		if m == nil {
			c.Fatalf("the run's screen at %q says nothing of a meter", at)
		}
		c.runs = append(c.runs, run{row.Job, path.Base(at), m[1], html.UnescapeString(m[2])})
	}
	for _, kind := range []string{"look", "begin", "ended", "confirm", "choose", "finish", "at_rest", "resume", "hold", "broken", "fails", "interrupted", "type"} {
		c.learn("kind of event", kind)
	}
	c.learn("Upload-Offset", 0.0)
	c.learn("size", -1.0)
}

func (c *client) get(path string, out any) string {
	c.Helper()
	res, err := c.http.Get(c.url + path)
	if err != nil {
		c.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != 200 {
		c.Fatalf("%s: %d %v", path, res.StatusCode, err)
	}
	if out != nil {
		if err := json.Unmarshal(body, out); err != nil {
			c.Fatal(err)
		}
	}
	return string(body)
}

const (
	asAsked = iota
	oneWrong
	hostile
)

// learnedAs is under which name of an answer a part of a path was seen.
var learnedAs = map[string]string{"/jobs/{id}": "job", "/uploads/{id}": "id of /uploads", "/captures/{sha}": "sha256", "{n}": "item", "{run}": "run"}

// send draws a request of an operation, sends it and judges the answer.
func (c *client) send(op operation, how int) {
	c.Helper()
	at, q, h := op.path, url.Values{}, http.Header{"Accept": {"application/json"}}
	spoilt := c.IntN(1 + len(op.Parameters))
	off := false              // the path leads elsewhere
	there := map[string]any{} // parts of the path that belong together
	switch {
	case strings.Contains(at, "/items/{n}") && len(c.items) > 0 && c.IntN(4) > 0:
		pair := c.items[c.IntN(len(c.items))]
		there = map[string]any{"id": pair[0], "n": pair[1]}
	case strings.Contains(at, "/procedures/{run}") && c.IntN(6) > 0:
		r := c.runs[c.IntN(len(c.runs))]
		there = map[string]any{"id": r.job, "run": r.id, "watch": r.watch, "Authorization": "Bearer " + r.token}
	}
	for i, p := range op.Parameters {
		name := p.Name
		for part, as := range learnedAs {
			if strings.Contains(part, "{"+p.Name+"}") && strings.Contains(op.path, part) {
				name = as
			}
		}
		v := fmt.Sprint(c.value(p.Schema, name, 0))
		if known, ok := there[p.Name]; ok {
			v = fmt.Sprint(known)
		}
		if how != asAsked && i == spoilt {
			v = fmt.Sprint(c.odd())
		}
		required := p.Required != nil && *p.Required
		switch p.In {
		case "path":
			off = off || v == "" || v == "." || v == ".."
			at = strings.ReplaceAll(at, "{"+p.Name+"}", url.PathEscape(v))
		case "query":
			// One that is empty counts as one left out.
			if v != "" && (required && (how == asAsked || c.IntN(8) > 0) || c.IntN(2) == 0) {
				q.Set(p.Name, v)
			}
		case "header":
			if required && (how == asAsked || c.IntN(8) > 0) || c.IntN(2) == 0 {
				h.Set(p.Name, strings.Map(sendable, v))
			}
		}
	}
	body, kind := c.body(op, how)
	if kind != "" {
		h.Set("Content-Type", kind)
	}
	method := op.method
	if how == hostile {
		method, off = c.twist(op, h, method, off)
	}
	target := c.url + "/api/v1" + at
	if len(q) > 0 {
		target += "?" + q.Encode()
	}
	r, err := http.NewRequest(method, target, bytes.NewReader(body))
	if err != nil {
		c.Errorf("%s %s: %v", method, target, err)
		return
	}
	r.Header = h
	fits, _ := c.fits(r, op, body)
	if host := h.Get("Host"); host != "" {
		r.Host, off = host, true
		h.Del("Host")
	}
	c.judge(op, r, body, fits, off)
}

func sendable(r rune) rune {
	if r < 32 || r > 126 {
		return -1
	}
	return r
}

// fits asks the validator about a request before it is sent.
func (c *client) fits(r *http.Request, op operation, body []byte) (bool, []*errors.ValidationError) {
	again := r.Clone(r.Context())
	again.Body = io.NopCloser(bytes.NewReader(body))
	return c.check.ValidateHttpRequestSyncWithPathItem(again, op.item, op.path)
}

// body draws what an operation is sent.
func (c *client) body(op operation, how int) ([]byte, string) {
	if op.RequestBody == nil {
		return nil, ""
	}
	kind, media := "", op.RequestBody.Content.First()
	if media != nil {
		kind = media.Key()
	}
	if kind != "application/json" {
		return bytes.Repeat([]byte("0.001,4.5\n"), c.IntN(60)), kind
	}
	v := c.value(media.Value().Schema, "", 0)
	if op.path == "/jobs/{id}/procedures/{run}/events" && c.IntN(4) > 0 {
		if m, ok := v.(map[string]any); ok && len(c.events) > 0 {
			m["payload"] = copied(c.events[c.IntN(len(c.events))])
		}
	}
	if how == oneWrong {
		v = c.broken(v)
	}
	data, err := json.Marshal(v)
	if err != nil {
		c.Fatal(err)
	}
	if how != hostile || len(data) < 2 {
		return data, kind
	}
	switch c.IntN(12) {
	case 0:
		return data[:c.IntN(len(data))], kind
	case 1:
		return append(data, data...), kind
	case 2:
		return bytes.Repeat([]byte("["), 20000), kind
	case 3:
		return bytes.Repeat([]byte(`{"a":`), 20000), kind
	case 4:
		data[c.IntN(len(data))] = 0xff
	case 5:
		data[c.IntN(len(data))] = byte(c.IntN(256))
	case 6:
		return nil, kind
	case 7:
		return data, "text/plain"
	case 8:
		return []byte(`{"key":"a","key":"b","type":"note@1","type":"closed@1"}`), kind
	case 9:
		return append([]byte("\xef\xbb\xbf"), data...), kind
	case 10:
		return []byte("null"), kind
	case 11:
		return append([]byte(`{"text":"`), append(bytes.Repeat([]byte("y"), 2<<20), `"}`...)...), kind
	}
	return data, kind
}

// twist does to a request what proxies, other pages and tools do. True: what is asked is
// not the operation any more.
func (c *client) twist(op operation, h http.Header, method string, off bool) (string, bool) {
	switch c.IntN(10) {
	case 0:
		for _, m := range []string{"DELETE", "PUT", "PATCH", "OPTIONS"} {
			if m != op.method {
				return m, true
			}
		}
	case 1:
		h.Set("Host", "elsewhere.example")
	case 2:
		h.Set("Origin", "https://elsewhere.example")
		h.Set("Sec-Fetch-Site", "cross-site")
	case 3:
		h.Set("Content-Encoding", "gzip")
	case 4:
		h.Set("X-Person", "p-ines")
		h.Set("X-Pin", "0000")
	case 5:
		h.Set("Accept", "text/html")
	case 6:
		h.Set("Range", "bytes=9999999-1")
	case 7:
		h.Set("X-Device", strings.Repeat("d", 5000))
	}
	return method, off
}

// complain says one kind of thing at most three times.
func (c *client) complain(what, format string, args ...any) {
	c.Helper()
	c.told[what]++
	if c.told[what] <= 3 {
		c.wrong = append(c.wrong, what+": "+clip(fmt.Sprintf(format, args...), 1500))
	}
}

func clip(s string, n int) string { return s[:min(n, len(s))] }

func (c *client) judge(op operation, r *http.Request, body []byte, fits, off bool) {
	c.Helper()
	name := op.method + " " + op.path
	stream := strings.HasSuffix(op.path, "/events") && op.method == "GET"
	res, err := c.http.Do(r)
	if err != nil {
		// A body that is refused by its size before it was read whole ends the connection.
		if len(body) < 1<<20 {
			c.complain(name+" no answer", "%v", err)
		}
		return
	}
	defer res.Body.Close()
	if c.codes[name] == nil {
		c.codes[name] = map[int]int{}
	}
	c.codes[name][res.StatusCode]++
	var answer []byte
	if !stream || res.StatusCode != 200 { // an open stream never ends
		if answer, err = io.ReadAll(res.Body); err != nil {
			c.complain(name+" broken off", "%v", err)
			return
		}
	}
	about := fmt.Sprintf("%s %s %s\n-> %d %s %s", r.Method, r.URL, clip(string(body), 400), res.StatusCode, res.Header.Get("Content-Type"), clip(string(answer), 400))
	if res.StatusCode >= 500 {
		c.complain(name+" failed", "%s", about)
	}
	if s := string(answer); strings.Contains(s, "goroutine ") || strings.Contains(s, ".go:") {
		c.complain(name+" shows a stack trace", "%s", about)
	}
	if res.StatusCode >= 400 && r.Method != "HEAD" {
		c.problem(name, about, res, answer)
	}
	if off {
		return
	}
	if !fits && res.StatusCode < 300 {
		_, errs := c.fits(r, op, body)
		c.complain(name+" took what the document does not", "%s\n%s", said(errs), about)
	}
	shown := *res
	shown.Body = io.NopCloser(bytes.NewReader(answer))
	if ok, errs := c.check.GetResponseBodyValidator().ValidateResponseBodyWithPathItem(r, &shown, op.item, op.path); !ok && !stream {
		c.complain(name+" answers otherwise than the document", "%s\n%s", said(errs), about)
	} else if !listed(op, res.StatusCode) {
		c.complain(name+" answers with a status that is not in the document", "%s", about)
	}
	var v any
	if res.StatusCode < 300 && strings.HasPrefix(res.Header.Get("Content-Type"), "application/json") && json.Unmarshal(answer, &v) == nil {
		c.learn("", v)
		if m, ok := v.(map[string]any); ok {
			c.learn("id of "+op.path, m["id"])
			if events := offered(m); len(events) > 0 {
				c.events = events
			}
		}
	}
	if tag := res.Header.Get("ETag"); tag != "" {
		c.learn("If-None-Match", tag)
	}
	// What was written is sent once more, as an outbox does that did not hear the answer.
	if r.Method == "POST" && res.StatusCode < 300 && r.Header.Get("X-Again") == "" && c.IntN(3) == 0 {
		again := r.Clone(r.Context())
		again.Body = io.NopCloser(bytes.NewReader(body))
		again.Header.Set("X-Again", "1")
		c.judge(op, again, body, fits, off)
	}
}

func listed(op operation, code int) bool {
	return op.Responses.Codes.GetOrZero(strconv.Itoa(code)) != nil
}

// problem holds an answer against RFC 9457 and our own: what is safe is said.
func (c *client) problem(name, about string, res *http.Response, answer []byte) {
	c.Helper()
	var p struct {
		Type, Title, Safe, Instance string
		Status                      int
	}
	kind, _, _ := strings.Cut(res.Header.Get("Content-Type"), ";")
	if kind != "application/problem+json" || json.Unmarshal(answer, &p) != nil {
		c.complain(name+" refuses without a problem document", "%s", about)
		return
	}
	if u, err := url.Parse(p.Type); err != nil || u.Path == "" || p.Title == "" || p.Safe == "" || p.Status != res.StatusCode {
		c.complain(name+" gives a problem document with something missing", "%s", about)
		return
	}
	c.kinds[p.Type] = true
}

func said(errs []*errors.ValidationError) string {
	var b strings.Builder
	for _, e := range errs {
		fmt.Fprintf(&b, "%s: %s", e.Message, e.Reason)
		for _, s := range e.SchemaValidationErrors {
			fmt.Fprintf(&b, "; %s at %s", s.Reason, s.FieldPath)
		}
		b.WriteByte('\n')
	}
	return b.String()
}
