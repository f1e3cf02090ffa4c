package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"proveout/demo"
	"proveout/examples"
	"proveout/shop"
	"proveout/store/sqlite"
)

// The browser tests drive the demo shop in a real headless Chromium. They skip, and
// say so, unless PROVEOUT_BROWSER is set; .ci/browser sets it, installs Debian's
// Chromium where there is none, and runs them.

// widths are a phone, a tablet and a desk.
var widths = []int64{390, 834, 1280}

// demoShop is the invented shop, filled once for all browser tests.
type demoShop struct {
	url    string
	bench  *shop.Bench
	server *Server
	jobs   map[string]string // the shop's number to the job's id
}

var demoOnce struct {
	sync.Once
	shop *demoShop
	err  error
	end  func()
}

func TestMain(m *testing.M) {
	code := m.Run()
	if demoOnce.end != nil {
		demoOnce.end()
	}
	os.Exit(code)
}

func openDemo(t *testing.T) *demoShop {
	t.Helper()
	demoOnce.Do(func() {
		dir, err := os.MkdirTemp("", "proveout-test-")
		if err != nil {
			demoOnce.err = err
			return
		}
		st, err := sqlite.Open(dir, sqlite.Options{Create: true})
		if err != nil {
			demoOnce.err = err
			return
		}
		var n atomic.Int64
		b, err := shop.NewBench(st, shop.BenchOptions{Clock: time.Now, NewID: func() string { return fmt.Sprintf("job%06d", n.Add(1)) }, Program: "test"})
		if err != nil {
			demoOnce.err = err
			return
		}
		if demoOnce.err = demo.Fill(context.Background(), b, examples.Folders, time.Now()); demoOnce.err != nil {
			return
		}
		s, err := New(b, Options{Shop: demo.ShopName, Log: slog.New(slog.DiscardHandler), DemoPIN: demo.PIN})
		if err != nil {
			demoOnce.err = err
			return
		}
		h := httptest.NewServer(s)
		demoOnce.end = func() {
			h.CloseClientConnections()
			h.Close()
			b.Close()
			_ = st.Close() // the folder goes with it
			_ = os.RemoveAll(dir)
		}
		d := &demoShop{url: h.URL, bench: b, server: s, jobs: map[string]string{}}
		all, err := b.All(context.Background(), 0, 100)
		if err != nil {
			demoOnce.err = err
			return
		}
		for _, r := range all.Rows {
			d.jobs[r.Title] = r.Job
			if r.Kind == "service" {
				continue // has no suspects
			}
			ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
			_, _ = b.Answer(ctx, r.Job) // some have nothing to answer yet
			cancel()
		}
		demoOnce.shop = d
	})
	if demoOnce.err != nil {
		t.Fatal(demoOnce.err)
	}
	return demoOnce.shop
}

// chromium finds the browser or skips the test.
func chromium(t *testing.T) string {
	t.Helper()
	if os.Getenv("PROVEOUT_BROWSER") == "" {
		t.Skip("NOT RUN: the browser tests are run by .ci/browser (PROVEOUT_BROWSER=1); they take minutes")
	}
	for _, name := range []string{"chromium", "chromium-browser"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	t.Skip("NOT RUN: there is no chromium here; .ci/browser installs Debian's and runs the browser tests")
	return ""
}

// window is one browser window: a device of its own, with its own cookies.
type window struct {
	*testing.T
	ctx  context.Context
	base string
}

// openWindow starts a browser with an empty profile.
func openWindow(t *testing.T, base string, width int64) *window {
	t.Helper()
	return openWindowText(t, base, width, 16)
}

// openWindowText starts one whose owner has set the size of text, in px: 16 is usual,
// 32 is 200 %.
func openWindowText(t *testing.T, base string, width int64, text int) *window {
	t.Helper()
	profile, err := os.MkdirTemp("", "proveout-browser-")
	if err != nil {
		t.Fatal(err)
	}
	prefs := fmt.Sprintf(`{"webkit": {"webprefs": {"default_font_size": %d, "default_fixed_font_size": %d}}}`, text, text*13/16)
	if err := errors.Join(os.Mkdir(filepath.Join(profile, "Default"), 0o700), os.WriteFile(filepath.Join(profile, "Default", "Preferences"), []byte(prefs), 0o600)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(profile) }) // the browser may still be writing to it
	opts := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(profile),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true))
	actx, stop := chromedp.NewExecAllocator(t.Context(), opts...)
	t.Cleanup(stop)
	quiet := func(string, ...any) {} // events newer than the library's table
	ctx, cancel := chromedp.NewContext(actx, chromedp.WithErrorf(quiet), chromedp.WithLogf(quiet))
	t.Cleanup(cancel)
	ctx, timeout := context.WithTimeout(ctx, 4*time.Minute)
	t.Cleanup(timeout)
	w := &window{t, ctx, base}
	w.do("opening a window", w.size(width),
		chromedp.ActionFunc(func(ctx context.Context) error {
			_, err := page.AddScriptToEvaluateOnNewDocument(`window.broken = []; addEventListener("securitypolicyviolation", (e) => broken.push(e.violatedDirective + " " + e.blockedURI + " " + e.sourceFile)); addEventListener("error", (e) => broken.push(String(e.message)));`).Do(ctx)
			return err
		}))
	return w
}

// in is the same window for a part of the test.
func (w *window) in(t *testing.T) *window { return &window{t, w.ctx, w.base} }

func (w *window) size(width int64) chromedp.Action {
	touch := width < 1100
	return chromedp.Tasks{
		emulation.SetDeviceMetricsOverride(width, 900, 1, touch),
		emulation.SetTouchEmulationEnabled(touch),
	}
}

// do runs actions, again where the page was still being built: the library then looks
// for a node by a number that the browser has just given anew. Nothing was done by then.
func (w *window) do(what string, actions ...chromedp.Action) {
	w.Helper()
	err := chromedp.Run(w.ctx, actions...)
	for tries := 0; tries < 10 && err != nil && strings.Contains(err.Error(), "Could not find node"); tries++ {
		time.Sleep(50 * time.Millisecond)
		err = chromedp.Run(w.ctx, actions...)
	}
	if err != nil {
		w.shot("failed-" + strings.ReplaceAll(w.Name(), "/", "-"))
		w.Fatalf("%s: %v", what, err)
	}
}

// open goes to a page and waits until its scripts have run.
func (w *window) open(path string) {
	w.Helper()
	w.do("opening "+path, chromedp.Navigate(w.base+path), chromedp.WaitReady("main", chromedp.ByQuery))
}

// eval runs a script and reads what it gives.
func (w *window) eval(script string, out any) {
	w.Helper()
	w.do("running "+script[:min(len(script), 60)], chromedp.Evaluate(script, out))
}

// press taps the first thing that a CSS selector finds.
func (w *window) press(selector string) {
	w.Helper()
	w.do("pressing "+selector, chromedp.ScrollIntoView(selector, chromedp.ByQuery), chromedp.Click(selector, chromedp.ByQuery))
}

func (w *window) fill(selector, text string) {
	w.Helper()
	w.do("typing into "+selector, chromedp.ScrollIntoView(selector, chromedp.ByQuery), chromedp.Evaluate(fmt.Sprintf(`document.querySelector(%q).value = ""`, selector), nil), chromedp.SendKeys(selector, text, chromedp.ByQuery))
}

// waitFor polls a script until it gives true.
func (w *window) waitFor(what, script string, limit time.Duration) {
	w.Helper()
	end := time.Now().Add(limit)
	for {
		var ok bool
		if err := chromedp.Run(w.ctx, chromedp.Evaluate(script, &ok)); err == nil && ok {
			return
		}
		if time.Now().After(end) {
			w.shot("failed-" + strings.ReplaceAll(w.Name(), "/", "-"))
			var text string
			_ = chromedp.Run(w.ctx, chromedp.Evaluate(`document.body.innerText.slice(0, 1500)`, &text)) // the failure is told either way
			w.Fatalf("%s: not within %s\n%s", what, limit, text)
		}
		time.Sleep(30 * time.Millisecond)
	}
}

// unlock shows the PIN of a person of the demo.
func (w *window) unlock(person string) {
	w.Helper()
	w.open("/who")
	w.do("choosing who", chromedp.Evaluate(fmt.Sprintf(`document.querySelector('input[value=%q]').click()`, person), nil))
	w.fill("input[name=pin]", demo.PIN)
	w.do("unlocking", chromedp.Click("#who button.act", chromedp.ByQuery), chromedp.WaitReady("#board", chromedp.ByQuery))
}

// shot keeps a picture of the page when PROVEOUT_SHOTS names a folder.
func (w *window) shot(name string) {
	dir := os.Getenv("PROVEOUT_SHOTS")
	if dir == "" {
		return
	}
	var png []byte
	if err := chromedp.Run(w.ctx, chromedp.FullScreenshot(&png, 100)); err != nil {
		w.Logf("no picture %s: %v", name, err)
		return
	}
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		w.Error(err)
	}
}
