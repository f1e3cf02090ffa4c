package web

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// phoneHeight is a screen of a usual phone, 390 px wide, in px.
const phoneHeight = 844

// phoneScreens is how tall the page of a job in full swing may be on a phone: it was 18
// screens with everything unfolded (our choice, somewhat above what it takes).
const phoneScreens = 11

// On a phone the next action, what it may hurt and how likely it settles the search stand
// within the first two screens; the ledger and the other tests are folded, danger never.
func TestBrowserPhoneHasTheNextActionFirst(t *testing.T) {
	d := openDemo(t)
	w := openWindow(t, d.url, 390)
	w.do("a phone", emulation.SetDeviceMetricsOverride(390, phoneHeight, 1, true))
	job := "/jobs/" + d.jobs["2417"]
	w.open(job)
	var at struct {
		Button, Name, Hazard, Page float64
		Hazards, Folded            int
	}
	w.eval(`(() => {
		const bottom = (s) => Math.max(...[...document.querySelectorAll(s)].map((e) => e.getBoundingClientRect().bottom + scrollY));
		return {Button: document.querySelector(".foot .act").getBoundingClientRect().bottom, Name: bottom(".at-hand a"), Hazard: bottom(".at-hand .haz"), Page: document.documentElement.scrollHeight,
			Hazards: document.querySelectorAll(".at-hand .haz").length,
			Folded: document.querySelectorAll("details:not([open]) :is(.haz, .danger1, .clash, .cut)").length};
	})()`, &at)
	t.Logf("%+v", at)
	if at.Button > phoneHeight {
		t.Errorf("the next action's button ends at %.0f of %d px", at.Button, phoneHeight)
	}
	if at.Hazards == 0 || !(at.Name <= 2*phoneHeight) || !(at.Hazard <= 2*phoneHeight) {
		t.Errorf("the next action's name ends at %.0f px and its %d hazards at %.0f px; two screens are %d px", at.Name, at.Hazards, at.Hazard, 2*phoneHeight)
	}
	if at.Page > phoneScreens*phoneHeight {
		t.Errorf("the page is %.0f px tall, %.1f screens", at.Page, at.Page/phoneHeight)
	}
	if at.Folded > 0 {
		t.Errorf("%d hazards, dangers or conflicts are folded away", at.Folded)
	}
	w.shot("phone-first")
	// Keyboard: the summary takes the focus, and Enter unfolds the ledger.
	shown := `document.querySelector("#ledger table").checkVisibility({contentVisibilityAuto: true}) && document.querySelector("#ledger table").getBoundingClientRect().height > 0`
	var visible bool
	if w.eval(shown, &visible); visible {
		t.Error("the ledger is unfolded from the start")
	}
	w.eval(`document.querySelector("#ledger > summary").focus()`, nil)
	w.do("Enter", chromedp.KeyEvent(kb.Enter))
	if w.eval(shown, &visible); !visible {
		t.Error("Enter on its summary does not unfold the ledger")
	}
	// An anchor leads to the test's own place.
	w.do("the link to the test", chromedp.Click(".at-hand a", chromedp.ByQuery))
	var top float64
	if w.eval(`document.querySelector("#first").getBoundingClientRect().top`, &top); top < -1 || top > phoneHeight/2 {
		t.Errorf("the link leads to %.0f px beside the test", top)
	}
	// Where there is room, all of it is open, without a script.
	for _, width := range widths[1:] {
		w.do("size", w.size(width))
		w.open(job)
		var state string
		w.eval(`JSON.stringify([...document.querySelectorAll("details.wide-open")].map((e) => [e.open, e.querySelector("summary").getBoundingClientRect().height > 0, e.querySelector("ol, table").getBoundingClientRect().height > 0]))`, &state)
		if want := "[[false,false,true],[false,false,true],[false,false,true]]"; state != want {
			t.Errorf("%d px: open, summary shown, content shown are %s, want %s", width, state, want)
		}
		if w.eval(`document.querySelector(".at-hand").checkVisibility()`, &visible); visible {
			t.Errorf("%d px: the next action is shown twice", width)
		}
	}
}

// The reading on offer is typed from the job's page with at most four taps, the two figures
// of its value among them: its link, the figures, and the unit, which saves. Any other
// reading takes one tap more, by which it is chosen. While
// the field has the focus, all keys stand on the screen beside it, without scrolling.
func TestBrowserPhoneTypesAReadingInFourTaps(t *testing.T) {
	d := openDemo(t)
	w := openWindow(t, d.url, 390)
	w.unlock("p-ines")
	w.do("a phone", emulation.SetDeviceMetricsOverride(390, phoneHeight, 1, true))
	job := "/jobs/" + d.jobs["2417"]
	taps := 0
	// tap touches the middle of what a script finds, where it stands on the screen.
	tap := func(what, find string) {
		t.Helper()
		var p struct{ X, Y, Bottom float64 }
		w.eval(`(() => { const e = `+find+`; if (!e) return {X: -1}; const r = e.getBoundingClientRect(); const x = r.left + r.width / 2, y = r.top + r.height / 2; const hit = document.elementFromPoint(x, y); return {X: hit && (e.contains(hit) || hit.contains(e)) ? x : -2, Y: y, Bottom: r.bottom}; })()`, &p)
		if p.X < 0 || p.Bottom > phoneHeight {
			w.shot("failed-tap")
			t.Fatalf("%s cannot be tapped where it stands: %+v", what, p)
		}
		taps++
		w.do("tapping "+what, chromedp.MouseClickXY(p.X, p.Y))
	}
	for _, test := range []struct{ id, value string }{{"", "12"}, {"leak_down", "11"}, {"fuel_pressure_load", "34"}} {
		taps = 1 // the test beyond the one on offer: a link to its keys
		if test.id == "" {
			w.open(job)
			w.eval(`document.querySelector('#first a[href*="reading?"]').scrollIntoView({block: "center"})`, nil)
			taps = 0
			tap("type the reading on offer", `document.querySelector('#first a[href*="reading?"]')`)
			w.waitFor("the page with the keys", `location.pathname.endsWith("/reading")`, 5*time.Second)
		} else {
			w.open(job + "/reading?test=" + test.id)
		}
		w.waitFor("number keys", `!document.getElementById("pad").hidden`, 5*time.Second)
		time.Sleep(700 * time.Millisecond)
		var at struct {
			Focus              bool
			Field, First, Last float64
			Words              int
		}
		w.eval(`(() => { const f = document.activeElement, k = [...document.querySelectorAll("#pad button, .units button")].map((b) => b.getBoundingClientRect());
			return {Focus: f.matches("input.value"), Field: f.getBoundingClientRect().top, First: Math.min(...k.map((r) => r.top)), Last: Math.max(...k.map((r) => r.bottom)), Words: [...document.querySelectorAll(".words .w, .words svg")].filter((e) => e.getBoundingClientRect().top >= 0).length}; })()`, &at)
		t.Logf("%s: %+v", test.id, at)
		w.screen("phone-keys-" + test.id)
		if !at.Focus || at.Field < 0 || at.First < at.Field || at.Last > phoneHeight {
			t.Errorf("%s: field and keys do not stand on one screen: %+v", test.id, at)
		}
		if at.Words == 0 {
			t.Errorf("%s: no word of its hazards is in view", test.id)
		}
		for _, figure := range test.value {
			tap("key "+string(figure), fmt.Sprintf(`[...document.querySelectorAll("#pad button")].find((b) => b.textContent === %q)`, string(figure)))
		}
		before := len(entriesOf(t, d, d.jobs["2417"]))
		tap("the unit", `document.querySelector(".units button.act:not(.plain)")`)
		w.waitFor("the reading is kept", `location.pathname === "`+job+`"`, 10*time.Second)
		if n := len(entriesOf(t, d, d.jobs["2417"])); n <= before {
			t.Errorf("%s: nothing was written", test.id)
		}
		t.Logf("%s: %d taps", test.id, taps)
		if taps > 4 {
			t.Errorf("%s: %d taps for one reading of two figures", test.id, taps)
		}
	}
}

func entriesOf(t *testing.T, d *demoShop, id string) []string {
	t.Helper()
	w := workshop{T: t, bench: d.bench}
	return w.entries(id)
}

// screen keeps a picture of what stands on the screen; shot would move the page.
func (w *window) screen(name string) {
	dir := os.Getenv("PROVEOUT_SHOTS")
	if dir == "" {
		return
	}
	var png []byte
	w.do("a picture of the screen", chromedp.CaptureScreenshot(&png))
	if err := os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644); err != nil {
		w.Error(err)
	}
}
