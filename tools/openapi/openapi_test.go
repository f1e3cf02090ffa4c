package openapi

import (
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
	"proveout/demo"
	"proveout/examples"
	"proveout/shop"
	"proveout/store/sqlite"
	"proveout/web"
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
