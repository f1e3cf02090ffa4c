package web

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strconv"
	"strings"
	"testing"
)

// apiDocument is what the generator needs of the OpenAPI document.
type apiDocument struct {
	Paths      map[string]map[string]apiOperation `json:"paths"`
	Components struct {
		Schemas map[string]*apiSchema `json:"schemas"`
	} `json:"components"`
}

type apiOperation struct {
	ID         string `json:"operationId"`
	Parameters []struct {
		Name   string     `json:"name"`
		In     string     `json:"in"`
		Schema *apiSchema `json:"schema"`
	} `json:"parameters"`
	Body struct {
		Content map[string]struct {
			Schema *apiSchema `json:"schema"`
		} `json:"content"`
	} `json:"requestBody"`
}

type apiSchema struct {
	Ref        string                `json:"$ref"`
	Type       any                   `json:"type"`
	Properties map[string]*apiSchema `json:"properties"`
	Items      *apiSchema            `json:"items"`
	Required   []string              `json:"required"`
}

// TestAPITakesAnything sends generated requests to every operation of the document:
// what fits the schemas, and what breaks them in ways people and programs do. Nothing
// may end in a 500, and every refusal is a problem document without a stack trace.
// PROVEOUT_FUZZ says how many requests; the event streams, which never end, are left
// out.
func TestAPITakesAnything(t *testing.T) {
	n := 600
	if s := os.Getenv("PROVEOUT_FUZZ"); s != "" {
		var err error
		if n, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	w := openShop(t)
	b := w.unlocked()
	jobs := []string{b.receive("1"), b.receive("2"), "nothing"}
	var d apiDocument
	if code, _ := b.call("GET", "/openapi.json", nil, &d); code != 200 {
		t.Fatalf("the document: %d", code)
	}
	g := &generator{Rand: rand.New(rand.NewPCG(2026, 1)), d: &d, jobs: jobs}
	type target struct {
		method, path string
		op           apiOperation
	}
	var ops []target
	for _, path := range sortedKeys(d.Paths) {
		for _, method := range sortedKeys(d.Paths[path]) {
			if !strings.HasSuffix(path, "events") {
				ops = append(ops, target{strings.ToUpper(method), path, d.Paths[path][method]})
			}
		}
	}
	at, err := url.Parse(w.url)
	if err != nil {
		t.Fatal(err)
	}
	codes := map[int]int{}
	for i := range n {
		op := ops[i%len(ops)]
		r := g.request(op.method, op.path, op.op)
		for _, c := range b.client.Jar.Cookies(at) {
			r.AddCookie(c)
		}
		rec := httptest.NewRecorder()
		w.server.ServeHTTP(rec, r)
		codes[rec.Code]++
		body := rec.Body.String()
		if rec.Code >= 500 {
			t.Errorf("%s %s: %d\n%s", op.method, r.URL, rec.Code, body)
		}
		if rec.Code >= 400 && op.method != "HEAD" && !strings.HasPrefix(rec.Header().Get("Content-Type"), "application/problem+json") {
			t.Errorf("%s %s: %d is told as %s", op.method, r.URL, rec.Code, rec.Header().Get("Content-Type"))
		}
		if strings.Contains(body, "goroutine ") || strings.Contains(body, ".go:") {
			t.Errorf("%s %s: a stack trace\n%s", op.method, r.URL, body)
		}
	}
	t.Logf("%d requests to %d operations: %v", n, len(ops), codes)
	for _, id := range jobs[:2] {
		if code, _, _ := b.get("/jobs/" + id); code != 200 {
			t.Errorf("afterwards the page of job %s: %d", id, code)
		}
	}
}

type generator struct {
	*rand.Rand
	d    *apiDocument
	jobs []string
	n    int
}

// odd are values that break things.
var oddValues = []any{nil, "", "\x00", "../../etc/passwd", "<script>alert(1)</script>", "'; drop table entries; --", strings.Repeat("x", 3000), -1, 0, 1e308, 9007199254740993, 1.5, true, []any{}, map[string]any{}, []any{[]any{[]any{}}}, "2026-13-45T99:99:99Z", "NaN", "\u202e", "𝔘"}

func (g *generator) request(method, path string, op apiOperation) *http.Request {
	q := url.Values{}
	header := http.Header{}
	for _, p := range op.Parameters {
		v := fmt.Sprint(g.value(p.Schema, p.Name, 0))
		switch p.In {
		case "path":
			path = strings.ReplaceAll(path, "{"+p.Name+"}", url.PathEscape(v))
		case "query":
			if g.IntN(6) > 0 {
				q.Set(p.Name, v)
			}
		case "header":
			if g.IntN(4) > 0 {
				header.Set(p.Name, strings.Map(printable, v))
			}
		}
	}
	target := apiPrefix + path
	if len(q) > 0 {
		target += "?" + q.Encode()
	}
	body := ""
	for kind, c := range op.Body.Content {
		if kind != "application/json" {
			body = strings.Repeat("a,b\n", g.IntN(50))
			continue
		}
		data, err := json.Marshal(g.value(c.Schema, "", 0))
		if err == nil {
			body = string(data)
		}
		switch g.IntN(25) {
		case 0:
			body = body[:g.IntN(len(body)+1)]
		case 1:
			body += body
		case 2:
			body = strings.Repeat("[", 20000)
		}
		header.Set("Content-Type", "application/json")
	}
	r := httptest.NewRequest(method, "/", strings.NewReader(body))
	if u, err := url.Parse(target); err == nil {
		r.URL = u
	}
	r.Host = "127.0.0.1"
	r.Header = header
	r.Header.Set("Accept", "application/json")
	return r
}

func printable(c rune) rune {
	if c < 32 || c > 126 {
		return -1
	}
	return c
}

// value makes a value that fits a schema, and now and then one that does not.
func (g *generator) value(s *apiSchema, name string, depth int) any {
	g.n++
	if depth > 6 {
		return nil
	}
	if g.IntN(8) == 0 {
		return oddValues[g.IntN(len(oddValues))]
	}
	switch name {
	case "id":
		return g.jobs[g.IntN(len(g.jobs))]
	case "type":
		return []string{"note@1", "set_aside@1", "reading_typed@1", "closed@1", "undo@1", "made_up@7", "settings_changed@1", "received@1", "capture_added@1", "test_added@1", "suspect_added@1", "procedure_event@1", "time_punch@1", "overruled@1"}[g.IntN(14)]
	case "payload":
		return g.payload()
	case "key":
		return fmt.Sprint("k", g.IntN(200))
	case "n":
		return 0 // the order of a device's counter is tested by itself: holding costs time
	case "sha":
		return strings.Repeat("ab", 32)
	}
	if s == nil {
		return g.payload()
	}
	if s.Ref != "" {
		return g.value(g.d.Components.Schemas[s.Ref[strings.LastIndexByte(s.Ref, '/')+1:]], name, depth+1)
	}
	switch kind := fmt.Sprint(s.Type); {
	case strings.Contains(kind, "object"):
		m := map[string]any{}
		for _, p := range sortedKeys(s.Properties) {
			if strings.HasPrefix(p, "$") || g.IntN(4) == 0 {
				continue
			}
			m[p] = g.value(s.Properties[p], p, depth+1)
		}
		return m
	case strings.Contains(kind, "array"):
		list := []any{}
		for range g.IntN(4) {
			list = append(list, g.value(s.Items, "", depth+1))
		}
		return list
	case strings.Contains(kind, "integer"):
		if g.IntN(6) == 0 { // sizes and counts that no file and no job has
			return []int64{1 << 31, 1<<32 + 1, 1 << 40, 1<<62 + 1}[g.IntN(4)]
		}
		return g.IntN(200) - 3
	case strings.Contains(kind, "number"):
		return g.NormFloat64() * 100
	case strings.Contains(kind, "boolean"):
		return g.IntN(2) == 0
	case strings.Contains(kind, "string"):
		return []string{"a", "plug", "2026-11-25T10:00:00Z", "cyl3", "Ünïcode"}[g.IntN(5)]
	}
	return g.payload()
}

// payload is a form as the types of entries take it, with fields of several types.
func (g *generator) payload() any {
	m := map[string]any{}
	for _, name := range []string{"text", "item", "reason", "form", "result", "because", "entry", "suspect", "state", "what", "test", "scope", "fault", "run", "line", "minutes", "equipment", "units", "sha256", "name"} {
		switch g.IntN(9) {
		case 0:
			m[name] = oddValues[g.IntN(len(oddValues))]
		case 1:
			m[name] = "plug_gap_others"
		case 2:
			m[name] = g.IntN(5)
		case 3:
			m[name] = map[string]any{"test": "plug_gap_others", "values": map[string]any{"1": "1.05 mm", "2": oddValues[g.IntN(len(oddValues))]}}
		}
	}
	if g.IntN(3) == 0 {
		return []any{map[string]any{"text": "a"}, map[string]any{"item": 1, "reason": "r"}, map[string]any{"form": map[string]any{"test": "plug_gap_others", "values": map[string]any{"1": "1.05 mm"}}}, map[string]any{"entry": "id000003"}}[g.IntN(4)]
	}
	return m
}
