package web

import (
	"fmt"
	"testing"

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
		if want := fmt.Sprint("[[false,false,true],[false,false,true],[false,false,true]]"); state != want {
			t.Errorf("%d px: open, summary shown, content shown are %s, want %s", width, state, want)
		}
		if w.eval(`document.querySelector(".at-hand").checkVisibility()`, &visible); visible {
			t.Errorf("%d px: the next action is shown twice", width)
		}
	}
}
