package web

import (
	"fmt"
	"net/url"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"

	"proveout/procedure"
	"proveout/shop"
)

// visit is a page that the demo does not stand at by itself: a run brought to a state, a
// file that was sent, a PIN typed wrong too often. What comes first is done over HTTP,
// what only an answer to a form shows is done in the window.
type visit struct {
	name string
	path func() string
	act  func(w *window)
}

// desk is a technician's browser without a window, at the demo's server.
func (d *demoShop) desk(t *testing.T) *browser {
	return (&workshop{t, d.bench, d.server, d.url}).unlocked()
}

// badge gives a window the badge and the device of a desk.
func (w *window) badge(b *browser) {
	w.Helper()
	at, err := url.Parse(b.url)
	if err != nil {
		w.Fatal(err)
	}
	for _, c := range b.client.Jar.Cookies(at) {
		w.do("a badge", network.SetCookie(c.Name, c.Value).WithURL(b.url).WithHTTPOnly(true))
	}
}

// walk goes on with a run, one tap after another, until its page holds what is asked
// for; where a meter is asked for it reads 13.4 V.
func (b *browser) walk(at, until string) string {
	b.Helper()
	for n := range 300 {
		_, page, _ := b.get(at)
		if strings.Contains(page, until) {
			return at
		}
		var next url.Values
		for _, kind := range []string{"ended", "confirm", "look", "choose", "begin", "at_rest", "hand_over", "finish"} {
			if i := slices.IndexFunc(offers(page), func(f url.Values) bool { return f.Get("kind") == kind }); i >= 0 {
				next = offers(page)[i]
				break
			}
		}
		if (next == nil || next.Get("kind") == "hand_over") && strings.Contains(page, `role="timer"`) {
			time.Sleep(200 * time.Millisecond)
			continue
		}
		if code, said, _ := b.postValues(at, next); code == 409 {
			b.tap(at, "typed", "watch", "supply", "value", "13.4", "key", fmt.Sprint("typed", n))
		} else if code != 200 {
			b.Fatalf("%v: %d\n%s", next, code, plainText(said))
		}
	}
	b.Fatalf("the run does not come to %s", until)
	return ""
}

// tap sends one event of a run.
func (b *browser) tap(at, kind string, more ...string) string {
	b.Helper()
	f := url.Values{"kind": {kind}, "key": {"tap-" + kind}}
	for i := 0; i < len(more); i += 2 {
		f.Set(more[i], more[i+1])
	}
	if code, body, _ := b.postValues(at, f); code != 200 {
		b.Fatalf("%s: %d\n%s", kind, code, plainText(body))
	}
	return at
}

func (b *browser) begin(title, procedure string) string {
	b.Helper()
	code, body, res := b.post("/jobs/"+b.receive(title)+"/procedures", "procedure", procedure, "key", title)
	if code != 200 {
		b.Fatalf("%s: %d\n%s", procedure, code, plainText(body))
	}
	return res.Request.URL.Path
}

// sent is the page that shows a file which was sent and waits to be kept.
func (b *browser) sent(job, name string, data []byte, shows string) string {
	b.Helper()
	_, page, res := b.postFileOf("/jobs/"+job+"/add", "file", name, data)
	if !strings.Contains(page, shows) {
		b.Fatalf("%s: no %s\n%s", name, shows, plainText(page))
	}
	return res.Request.URL.RequestURI()
}

func visits(t *testing.T, d *demoShop) []visit {
	b := d.desk(t)
	at := func(path string) func() string { return func() string { return path } }
	j := func(n string) string { return "/jobs/" + d.jobs[n] }
	// Each state lies further on in the same run than the one before it: a part that runs
	// alone walks the rest.
	brakes := sync.OnceValue(func() string { return b.begin("PB-1", "epb_caliper_pads") })
	stopped := sync.OnceValue(func() string { return b.tap(b.walk(b.begin("PB-2", "window_initialisation"), `value="ended"`), "stop") })
	handed := func() string { return b.walk(stopped(), `data-mode="handed_over"`) }
	submit := func(form, done string, fill ...string) func(w *window) {
		return func(w *window) {
			for i := 0; i < len(fill); i += 2 {
				w.eval(fmt.Sprintf(`(() => { const e = document.querySelector(%q); e.type === "radio" ? e.click() : e.value = %q; })()`, fill[i], fill[i+1]), nil)
			}
			w.eval(fmt.Sprintf(`document.querySelector(%q).requestSubmit()`, form), nil)
			w.waitFor("the answer to "+form, fmt.Sprintf(`document.readyState === "complete" && !!document.querySelector(%q)`, done), 10*time.Second)
		}
	}
	data, err := os.ReadFile(snapFile)
	if err != nil {
		t.Fatal(err)
	}
	text, err := procedure.ShippedText("window_initialisation")
	if err != nil {
		t.Fatal(err)
	}
	unsafe := strings.NewReplacer("id: window_initialisation\n", "id: our_window\n", "needs: [save_codes]", "needs: [key_on]", `interlock: {facts: {saved: "yes", ignition: "on"}}`, `interlock: {facts: {ignition: "on"}}`).Replace(string(text))
	if err := d.bench.PutPerson(t.Context(), shop.Person{ID: "p-visitor", Name: "Visitor", Role: "technician"}, testPIN+"1"); err != nil {
		t.Fatal(err)
	}
	return []visit{
		{"own-procedure", at("/library/procedure"), nil},
		{"own-procedure-refused", at("/library/procedure"), submit(`form[action="/library/procedure"]`, `ol.story`, `textarea[name=text]`, unsafe)},
		{"own-test", at("/library/own?of=test"), nil},
		{"who-wrong", at("/who"), submit(`#who`, `p.found`, `input[value="p-visitor"]`, "", `input[name=pin]`, "0000")},
		{"problem-kind", at("/problems/stale_page"), nil},
		{"report-service", at(j("2409") + "/report"), nil},
		{"proof-not-yet", at(j("2412") + "/proof"), nil},
		{"item-messages", at(j("2417") + "/items/1"), nil},
		{"item-log", at(j("2417") + "/items/2"), nil},
		{"item-trace", at(j("2417") + "/items/10"), nil},
		{"item-typed", at(j("2417") + "/items/11"), nil},
		{"item-swap", at(j("2411") + "/items/32"), nil},
		{"add", at(j("2417") + "/add"), nil},
		{"add-columns", func() string {
			return b.sent(d.jobs["2418"], "snap.csv.gz", data, `name="column"`) + "&measure=1&kind=ignition_secondary&cylinder=3&state=snap"
		}, nil},
		{"add-unreadable", func() string { return b.sent(d.jobs["2418"], "zeros.bin", make([]byte, 5000), `class="refusal"`) }, nil},
		{"add-again", at(j("2417") + "/add?map=10"), nil},
		{"procedures", at(j("2409") + "/procedures"), nil},
		{"run-begun", brakes, nil},
		{"run-meter", func() string { return b.walk(brakes(), "Read the meter and type") }, nil},
		{"run-moving", func() string { return b.walk(brakes(), `value="ended"`) }, nil},
		{"run-resting", func() string { return b.walk(brakes(), `role="timer"`) }, nil},
		{"run-stopping", stopped, nil},
		{"run-handed-over", handed, nil},
		{"run-card", func() string { return handed() + "/card" }, nil},
		{"run-finished", func() string { return b.walk(b.begin("PB-3", "window_initialisation"), `data-mode="finished"`) }, nil},
	}
}

// TestBrowserEveryKindOfPage looks at those pages that have to be brought about: the
// same checks, at three widths in one theme each, so that it stays within a minute.
func TestBrowserEveryKindOfPage(t *testing.T) {
	chromium(t)
	if os.Getenv("PROVEOUT_BROWSER") != "all" {
		t.Skip("NOT RUN: set PROVEOUT_BROWSER=all; it takes a minute")
	}
	axe, err := os.ReadFile("testdata/axe-core/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	d := openDemo(t)
	w, large := openWindow(t, d.url, 1280), openWindowText(t, d.url, 834, 32)
	for _, own := range []*window{w, large} {
		own.badge(d.desk(t))
	}
	for _, v := range visits(t, d) {
		t.Run(v.name, func(t *testing.T) {
			w, large, path := w.in(t), large.in(t), v.path()
			open := func(w *window) {
				w.open(path)
				if v.act != nil {
					v.act(w)
				}
			}
			for i, width := range widths {
				w.do("size", w.size(width))
				open(w)
				w.lookedThrough([]string{"bay", "dark"}[i%2], string(axe))
				w.shot(fmt.Sprintf("%s-%d", v.name, width))
			}
			w.do("size", w.size(320))
			w.sideways("320 px")
			w.shot(v.name + "-320")
			open(large)
			large.sideways("200 % text")
			large.shot(v.name + "-text")
		})
	}
}
