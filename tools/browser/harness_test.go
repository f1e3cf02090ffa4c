package browser

import (
	"context"
	"fmt"
	"io"
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

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"proveout/job"
	"proveout/shop"
	"proveout/store/sqlite"
	"proveout/web"
)

const pin = "2468"

// workshop is a real shop over a real store behind a real server, with a clock that a
// test may move on.
type workshop struct {
	t      *testing.T
	bench  *shop.Bench
	server http.Handler
	ahead  atomic.Int64 // how far the shop's clock was moved on, in ns
}

func (w *workshop) now() time.Time { return time.Now().Add(time.Duration(w.ahead.Load())) }

func openShop(t *testing.T) *workshop {
	t.Helper()
	return openShopOn(t, web.Network{})
}

func openShopOn(t *testing.T, network web.Network) *workshop {
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
	server, err := web.New(w.bench, web.Options{Network: network, Shop: "Quarry Lane Garage", Log: slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn})), Now: w.now})
	if err != nil {
		t.Fatal(err)
	}
	w.server = server
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

// cable is a device's own way to the server: it may be pulled, or break while a body
// is on its way.
type cable struct {
	server http.Handler
	cut    atomic.Bool
	breaks atomic.Int64 // bytes of one body that still come through; 0: all
}

func (c *cable) ServeHTTP(rw http.ResponseWriter, r *http.Request) {
	if n := c.breaks.Load(); n > 0 && r.Method == http.MethodPatch && c.breaks.CompareAndSwap(n, 0) {
		r.Body = io.NopCloser(io.MultiReader(io.LimitReader(r.Body, n), broken{c, rw}))
	}
	if c.cut.Load() {
		hangUp(rw)
		return
	}
	c.server.ServeHTTP(rw, r)
	if c.cut.Load() {
		hangUp(rw)
	}
}

// broken is where a body breaks off, and the cable with it.
type broken struct {
	*cable
	to http.ResponseWriter
}

func (b broken) Read([]byte) (int, error) {
	b.cut.Store(true)
	hangUp(b.to)
	return 0, io.ErrUnexpectedEOF
}

func hangUp(rw http.ResponseWriter) {
	if c, _, err := http.NewResponseController(rw).Hijack(); err == nil {
		c.Close()
	}
}

// tablet is one browser of its own on its own cable.
type tablet struct {
	*workshop
	*cable
	url string
	ctx context.Context
}

func (w *workshop) tablet() *tablet { w.t.Helper(); return w.device(834) }

// device is a browser as wide as a phone (390), a tablet (834) or a desk (1280); the
// first two are touched.
func (w *workshop) device(width int64) *tablet {
	w.t.Helper()
	c := &cable{server: w.server}
	h := httptest.NewServer(c)
	w.t.Cleanup(func() { h.CloseClientConnections(); h.Close() })
	b := w.browser(width)
	b.cable, b.url = c, h.URL
	b.unlock()
	return b
}

// browser starts Chromium with an empty profile.
func (w *workshop) browser(width int64, more ...chromedp.ExecAllocatorOption) *tablet {
	w.t.Helper()
	exe, err := exec.LookPath("chromium")
	if err != nil {
		w.t.Skip("no chromium on this machine")
	}
	profile, err := os.MkdirTemp("", "proveout-browser-")
	if err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() { _ = os.RemoveAll(profile) }) // the browser may still be writing to it
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(exe), chromedp.Flag("no-sandbox", true), chromedp.Flag("disable-gpu", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.Flag("user-data-dir", profile))
	alloc, stop := chromedp.NewExecAllocator(context.Background(), append(opts, more...)...)
	w.t.Cleanup(stop)
	ctx, done := chromedp.NewContext(alloc)
	w.t.Cleanup(done)
	b := &tablet{workshop: w, ctx: ctx}
	touched := []chromedp.EmulateViewportOption{}
	if width < 1100 {
		touched = append(touched, chromedp.EmulateTouch)
	}
	act(b, chromedp.EmulateViewport(width, 1112, touched...))
	if _, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true}); err != nil { // a page without focus hears of none
		w.t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: clockShim}); err != nil {
		w.t.Fatal(err)
	}
	return b
}

// unlock shows the PIN.
func (b *tablet) unlock() {
	b.t.Helper()
	b.open("/who")
	js[bool](b, `fetch('/who', {method: 'POST', body: new URLSearchParams({person: 'p-ines', pin: '`+pin+`'})}).then((r) => r.ok)`)
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
	for end := time.Now().Add(30 * time.Second); time.Now().Before(end); time.Sleep(15 * time.Millisecond) {
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

// choose taps a radio or a box by name and value.
func (b *tablet) choose(pairs ...string) {
	b.t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		if !js[bool](b, fmt.Sprintf(`(() => { const e = document.querySelector('[name="%s"][value="%s"]'); if (e) e.click(); return !!e; })()`, pairs[i], pairs[i+1])) {
			b.t.Fatalf("there is no %s %s to tap on %s", pairs[i], pairs[i+1], b.text("h1"))
		}
	}
}

// fill types into a field.
func (b *tablet) fill(selector, text string) {
	b.t.Helper()
	if !js[bool](b, fmt.Sprintf(`(() => { const e = document.querySelector(%q); if (!e) return false; e.closest('details') && (e.closest('details').open = true); e.focus(); e.value = %q; e.dispatchEvent(new Event('input', {bubbles: true})); return true; })()`, selector, text)) {
		b.t.Fatalf("there is no %s to type into on %s", selector, b.text("h1"))
	}
}

// tap presses a button. By script, since a bar at the foot may lie over what a pointer
// would aim at.
func (b *tablet) tap(selector string) {
	b.t.Helper()
	b.until(selector, fmt.Sprintf(`document.querySelector(%q)`, selector))
	js[bool](b, fmt.Sprintf(`(document.querySelector(%q).click(), true)`, selector))
}

// waits counts what is kept on the device.
const waits = `new Promise((ok) => { const q = indexedDB.open('proveout'); q.onsuccess = () => { const r = q.result.transaction('outbox').objectStore('outbox').count(); r.onsuccess = () => ok(r.result); }; })`

// back gives the network back and waits until all that was kept is sent.
func (b *tablet) back() {
	b.t.Helper()
	b.plug()
	js[bool](b, `(dispatchEvent(new Event('online')), true)`)
	b.until("everything to be sent", `document.getElementById('waiting').hidden && !document.getElementById('tier').classList.contains('away')`)
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
