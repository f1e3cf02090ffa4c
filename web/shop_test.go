package web

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"proveout/job"
	"proveout/shop"
	"proveout/store"
	"proveout/store/sqlite"
)

// workshop is a real shop over a real store, served over real HTTP.
type workshop struct {
	*testing.T
	bench  *shop.Bench
	server *Server
	url    string
}

const testPIN = "2468"

func openShop(t *testing.T) *workshop {
	t.Helper()
	return openShopOn(t, openStore(t, sqlite.Options{}))
}

func openStore(t *testing.T, o sqlite.Options) *sqlite.Store {
	t.Helper()
	o.Create = true
	st, err := sqlite.Open(t.TempDir(), o)
	if err != nil {
		t.Fatal(err)
	}
	return st
}

func openShopOn(t *testing.T, st store.Store) *workshop {
	t.Helper()
	var n atomic.Int64
	b, err := shop.NewBench(st, shop.BenchOptions{Clock: time.Now, NewID: func() string { return fmt.Sprintf("id%06d", n.Add(1)) }, Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		b.Close()
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	if err := b.PutPerson(t.Context(), shop.Person{ID: "p-ines", Name: "Ines Varga"}, testPIN); err != nil {
		t.Fatal(err)
	}
	s, err := New(b, Options{Shop: "Quarry Lane Garage", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	h := httptest.NewServer(s)
	t.Cleanup(h.Close)
	return &workshop{t, b, s, h.URL}
}

// browser is one device with its cookies; it follows redirects as a browser does.
type browser struct {
	*workshop
	client *http.Client
}

func (w *workshop) browser() *browser {
	jar, err := cookiejar.New(nil)
	if err != nil {
		w.Fatal(err)
	}
	return &browser{w, &http.Client{Jar: jar}}
}

// unlocked is a browser at which Ines has shown her PIN. It gets the badge straight
// away: hashing a PIN is slow on purpose.
func (w *workshop) unlocked() *browser {
	b := w.browser()
	at, err := url.Parse(w.url)
	if err != nil {
		w.Fatal(err)
	}
	device := fmt.Sprintf("dev-%08d", devices.Add(1))
	rec := httptest.NewRecorder()
	w.server.giveBadge(rec, author{Person: "p-ines", Device: device, Attested: "pin"})
	b.client.Jar.SetCookies(at, append(rec.Result().Cookies(), &http.Cookie{Name: deviceCookie, Value: device}))
	return b
}

var devices atomic.Int64

func (b *browser) send(r *http.Request) (int, string, *http.Response) {
	b.Helper()
	if r.Header.Get("Accept") == "" {
		r.Header.Set("Accept", "text/html")
	}
	res, err := b.client.Do(r)
	if err != nil {
		b.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		b.Fatal(err)
	}
	return res.StatusCode, string(body), res
}

func (b *browser) get(path string) (int, string, *http.Response) {
	b.Helper()
	r, err := http.NewRequestWithContext(b.Context(), "GET", b.url+path, nil)
	if err != nil {
		b.Fatal(err)
	}
	return b.send(r)
}

// post sends a form: names and values in pairs.
func (b *browser) post(path string, fields ...string) (int, string, *http.Response) {
	b.Helper()
	f := url.Values{}
	for i := 0; i < len(fields); i += 2 {
		f.Add(fields[i], fields[i+1])
	}
	r, err := http.NewRequestWithContext(b.Context(), "POST", b.url+path, strings.NewReader(f.Encode()))
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return b.send(r)
}

// receive opens a job of a four-cylinder at reception and gives its id.
func (b *browser) receive(title string) string {
	b.Helper()
	code, body, res := b.post("/jobs", "key", title, "title", title, "said", "It stumbles when it pulls.", "symptoms", "misfire_load", "state", "load", "lamp", "off",
		"make", "Torvane", "model", "Brisk 1.6", "year", "2016", "cylinders", "4", "fuel", "petrol", "ignition", "coil_on_plug", "injection", "port", "boosted", "no", "access", "easy", "arrangement", "inline",
		"plate", "ql 204 t", "name", "Tam Ostrey", "minutes", "90")
	if code != 200 {
		b.Fatalf("reception: %d\n%s", code, plainText(body))
	}
	return strings.TrimPrefix(res.Request.URL.Path, "/jobs/")
}

var tags = regexp.MustCompile(`(?s)<[^>]*>|\s+`)

func plainText(html string) string { return tags.ReplaceAllString(html, " ") }

// entries are the types of the job's entries, the program's own left out.
func (w *workshop) entries(id string) []string {
	w.Helper()
	list, err := w.bench.Entries(context.Background(), id)
	if err != nil {
		w.Fatal(err)
	}
	var out []string
	for _, e := range list {
		if e.Type != job.ConclusionType {
			out = append(out, strings.TrimSuffix(e.Type, "@1"))
		}
	}
	return out
}

// rev is the rev a page of the job would carry now.
func (w *workshop) rev(id string) string {
	w.Helper()
	v, err := w.bench.Job(context.Background(), id)
	if err != nil {
		w.Fatal(err)
	}
	return fmt.Sprint(v.Rev)
}
