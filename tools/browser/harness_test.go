package browser

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"proveout/job"
	"proveout/shop"
	"proveout/store/sqlite"
	"proveout/web"
)

const pin = "2468"

// workshop is a real shop over a real store behind a real server, with a clock that a
// test may move on and a cable that it may pull.
type workshop struct {
	t     *testing.T
	bench *shop.Bench
	url   string
	ahead atomic.Int64 // how far the shop's clock was moved on, in ns
	cut   atomic.Bool  // the cable is pulled
}

func (w *workshop) now() time.Time { return time.Now().Add(time.Duration(w.ahead.Load())) }

func openShop(t *testing.T) *workshop {
	t.Helper()
	w := &workshop{t: t}
	st, err := sqlite.Open(t.TempDir(), sqlite.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	var n atomic.Int64
	if w.bench, err = shop.NewBench(st, shop.BenchOptions{Clock: w.now, NewID: func() string { return fmt.Sprintf("id%06d", n.Add(1)) }, Program: "test"}); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.bench.Close(); st.Close() })
	if err := w.bench.PutPerson(t.Context(), shop.Person{ID: "p-ines", Name: "Ines Varga"}, pin); err != nil {
		t.Fatal(err)
	}
	server, err := web.New(w.bench, web.Options{Shop: "Quarry Lane Garage", Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn})), Now: w.now})
	if err != nil {
		t.Fatal(err)
	}
	h := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, r *http.Request) {
		if w.cut.Load() {
			if c, _, err := http.NewResponseController(rw).Hijack(); err == nil {
				c.Close()
			}
			return
		}
		server.ServeHTTP(rw, r)
	}))
	w.url = h.URL
	t.Cleanup(func() { h.CloseClientConnections(); h.Close() })
	return w
}

// received opens a job of a four-cylinder.
func (w *workshop) received() string {
	w.t.Helper()
	id, _, err := w.bench.Open(w.t.Context(), shop.Command{Key: "open", Device: "counter", Author: "p-ines", Type: job.ReceivedType, Payload: []byte(`{"title":"2409","vehicle":{"make":"Torvane","model":"Brisk 1.6","year":2016,"engine":{"cylinders":4,"arrangement":"inline","firing_order":[1,3,4,2],"ignition":"coil_on_plug","injection":"port","boosted":false,"fuel":"petrol"}},"complaint":{"said":"It stumbles.","symptoms":["misfire_load"]},"agreed_minutes":90}`)})
	if err != nil {
		w.t.Fatal(err)
	}
	return id
}

// clockShim lets a test move the page's clocks on (skip), or let the page's own clock
// stand still while the wall goes on, as a sleeping tablet does (sleep).
const clockShim = `(() => {
  let mono = 0, wall = 0;
  const p = performance.now.bind(performance), d = Date.now, D = Date;
  performance.now = () => p() + mono;
  Date.now = () => d() + wall;
  window.Date = class extends D { constructor(...a) { a.length ? super(...a) : super(d() + wall); } static now() { return d() + wall; } };
  window.__skip = (ms) => { mono += ms; wall += ms; };
  window.__sleep = (ms) => { wall += ms; };
  window.__errors = [];
  addEventListener('error', (e) => window.__errors.push(e.message));
  addEventListener('unhandledrejection', (e) => window.__errors.push(String(e.reason)));
})()`

// tablet is one browser of its own.
type tablet struct {
	*workshop
	ctx context.Context
}

func (w *workshop) tablet() *tablet {
	w.t.Helper()
	exe, err := exec.LookPath("chromium")
	if err != nil {
		w.t.Skip("no chromium on this machine")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.Flag("no-sandbox", true), chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("user-data-dir", w.t.TempDir()))
	alloc, stop := chromedp.NewExecAllocator(context.Background(), opts...)
	w.t.Cleanup(stop)
	ctx, done := chromedp.NewContext(alloc)
	w.t.Cleanup(done)
	b := &tablet{w, ctx}
	act(b, chromedp.EmulateViewport(834, 1112))
	if _, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: clockShim}); err != nil {
		w.t.Fatal(err)
	}
	b.open("/who")
	js[bool](b, `fetch('/who', {method: 'POST', body: new URLSearchParams({person: 'p-ines', pin: '`+pin+`'})}).then((r) => r.ok)`)
	return b
}

func act[T any](b *tablet, a chromedp.Action[T]) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, 60*time.Second)
	defer cancel()
	// The first action starts the browser, and must not carry its end with it.
	if chromedp.FromContext(b.ctx).Browser == nil {
		ctx = b.ctx
	}
	v, err := chromedp.Run(ctx, a)
	if err != nil {
		b.t.Fatal(err)
	}
	return v
}

func (b *tablet) open(path string) { b.t.Helper(); act(b, chromedp.Navigate(b.url+path)) }

// js gives the value of an expression in the page; a promise is waited for.
func js[T any](b *tablet, expression string) T {
	b.t.Helper()
	return act(b, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
}

// until waits for an expression to be true.
func (b *tablet) until(what, expression string) {
	b.t.Helper()
	for end := time.Now().Add(60 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if js[bool](b, `(() => { try { return !!(`+expression+`); } catch (e) { return false; } })()`) {
			return
		}
	}
	b.shot("failed")
	b.t.Fatalf("waited for %s; the page says %q, errors %v", what, b.text("h1"), js[[]string](b, "window.__errors"))
}

func (b *tablet) text(selector string) string {
	b.t.Helper()
	return strings.TrimSpace(js[string](b, `(document.querySelector(`+fmt.Sprintf("%q", selector)+`) || {textContent: ''}).textContent.replace(/\s+/g, ' ')`))
}

// skip moves every clock on.
func (b *tablet) skip(d time.Duration) {
	b.t.Helper()
	b.ahead.Add(int64(d))
	js[bool](b, fmt.Sprintf("(window.__skip(%d), true)", d.Milliseconds()))
}

// pull takes the network away; plug gives it back.
func (b *tablet) pull() { b.cut.Store(true) }
func (b *tablet) plug() { b.cut.Store(false) }

// shot keeps a picture where SHOTS names a folder: for people to look at.
func (b *tablet) shot(name string) {
	b.t.Helper()
	dir := os.Getenv("SHOTS")
	if dir == "" {
		return
	}
	if err := os.WriteFile(filepath.Join(dir, strings.ReplaceAll(b.t.Name(), "/", "-")+"-"+name+".png"), act(b, chromedp.CaptureScreenshot()), 0o644); err != nil {
		b.t.Error(err)
	}
}

// noErrors: nothing went wrong in any script of the page.
func (b *tablet) noErrors() {
	b.t.Helper()
	if errs := js[[]string](b, "window.__errors"); len(errs) > 0 {
		b.t.Errorf("errors in the page: %v", errs)
	}
}
