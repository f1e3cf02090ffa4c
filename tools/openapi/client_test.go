package openapi

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"

	validator "github.com/pb33f/libopenapi-validator"
	"github.com/pb33f/libopenapi-validator/errors"
	v3 "github.com/pb33f/libopenapi/datamodel/high/v3"
)

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
		there = map[string]any{"id": r.job, "run": r.id, "watch": r.watch}
		if strings.Contains(at, "/supply/") && c.IntN(6) > 0 {
			h.Set("Authorization", "Bearer "+r.token)
		}
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
	for _, cookie := range c.http.Jar.Cookies(r.URL) {
		again.AddCookie(cookie)
	}
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
		h.Set("X-Person", "p-noor") // not the one who works: wrong PINs make her wait
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
	if _, errs := c.fits(r, op, body); !fits && res.StatusCode < 300 && !onlyNull(errs) {
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

// onlyNull: a field that may be left out was sent as null. JSON libraries, ours among them,
// take that as left out.
func onlyNull(errs []*errors.ValidationError) bool {
	if len(errs) != 1 || len(errs[0].SchemaValidationErrors) == 0 {
		return false
	}
	for _, s := range errs[0].SchemaValidationErrors {
		if !strings.HasPrefix(s.Reason, "got null, want ") || s.FieldPath == "" {
			return false
		}
	}
	return true
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
