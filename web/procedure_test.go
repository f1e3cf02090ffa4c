package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/shop"
	"proveout/text"
)

func init() {
	samples["procedure"] = sample{empty: runPageView{}, filled: filledRun()}
	samples["procedures"] = sample{empty: startView{}, filled: startView{Job: "j", Key: "k", Rows: []startRow{{ID: "p", Title: "P <b>", Summary: "S", Steps: 1, Wanted: true}, {ID: "q", Title: "Q", Steps: 2}}}}
	samples["card"] = sample{empty: handOverView{}, filled: handOverView{Job: "j", Run: "r", Title: "T", Vehicle: "V", Plate: "QL 1", At: "10:42:07", By: "Ines", Last: []toldView{{At: "10:42", Text: "t"}},
		Card: shop.Card{Where: "W", Mode: "m", KeepPower: true, Dangers: []string{"d"}, Again: "a", Way: []string{"w"}}}}
}

// filledRun has something of everything that a run can show.
func filledRun() runPageView {
	s := shop.Screen{
		Run: "r", Title: "T", Mode: "held_keep_power", ModeText: "m", Done: 3, Of: 12, Motor: "moving", Dangers: []string{"d <b>"}, Tag: "hung", Rest: "r", Holder: "h", WhyNot: []string{"w"},
		Now: []int{0, 1}, NotYet: []shop.NotYet{{ID: "n", Do: "D", Why: []string{"y"}}}, WayOut: []string{"w"}, Boxes: []shop.RunBox{{From: 2, To: 12}},
		Sides:   []shop.RunSide{{Side: "left", Rows: []shop.SideRow{{Text: "t", Known: true, By: []string{"seen"}}, {Text: "u"}}}},
		Timer:   &shop.RunTimer{Step: "a", Left: 18.2, Total: 30},
		KeepOff: []shop.RunKeep{{Key: "hands"}, {Text: "x"}},
		Told:    []shop.RunLine{{Seq: 1, At: 1764067200000, Who: "Ines", Text: "t"}},
		Supply: []shop.RunWatch{{ID: "supply", Word: "below", Quantity: "q", Point: "battery", Unit: "V", Value: 11.9, Known: true, Start: 13, Warn: 12.2, Hold: 12, Stop: 11.5, Typed: true, Blind: "b", Ask: "a",
			Feed: &shop.FeedView{AgeSeconds: 0.2, RateHz: 5, Lowest: 11.8, Pairs: []float64{10, 13, 5, 11.8, 0, 11.9}}}},
	}
	for i := range 12 {
		s.Steps = append(s.Steps, shop.RunStep{ID: fmt.Sprint("s", i), Number: i + 1, Kind: "step", Phase: procedure.Idle.Text(), Look: "open", Do: "Do it"})
	}
	s.Steps[0] = shop.RunStep{ID: "a", Number: 1, Kind: "step", Phase: procedure.Waiting.Text(), Look: "now", Active: true, Attempt: 2, Side: "left", Do: "D <i>", Why: "w", NoReturn: "n", Rest: 30, Need: 2, Missing: 1,
		Hazards:  []procedure.Hazard{{Word: "WARNING", Text: "T", Do: "D"}},
		Means:    []shop.RunMean{{How: "measured", Text: "m", Ask: "A", Unit: "V", Least: "13 V", Most: "14 V"}, {How: "seen", Given: true}, {How: "photo", Text: "p", Figures: []shop.RunFigure{{ID: "pad.left", Ask: "Pad", Unit: "mm", Limit: "at_least", LimitAsk: "wear limit"}}}},
		Outcomes: []shop.RunOutcome{{ID: "o", Text: "O"}}}
	s.Steps[1] = shop.RunStep{ID: "b", Number: 2, Kind: "step", Phase: procedure.Idle.Text(), Look: "open", Begins: true, Danger: true, Command: true, Do: "Kill", Hazards: []procedure.Hazard{{Word: "DANGER", Text: "T", Do: "D"}}}
	v := viewOfRun(text.For("en", text.SI), "j", "r", s, sampleNow)
	v.Practice, v.Refused, v.Words, v.Meter = true, []string{"no"}, `{"left":"x"}`, &meterView{"/p", "t"}
	return v
}

// postValues sends a form.
func (b *browser) postValues(path string, f url.Values) (int, string, *http.Response) {
	b.Helper()
	var pairs []string
	for name, values := range f {
		for _, v := range values {
			pairs = append(pairs, name, v)
		}
	}
	return b.post(path, pairs...)
}

// json sends a document the way a page's outbox does.
func (b *browser) json(method, path string, v any) (int, string, *http.Response) {
	b.Helper()
	body, err := json.Marshal(v)
	if err != nil {
		b.Fatal(err)
	}
	r, err := http.NewRequestWithContext(b.Context(), method, b.url+path, bytes.NewReader(body))
	if err != nil {
		b.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Accept", "application/json")
	return b.send(r)
}

// brakes starts the brake service on a new job and gives the address of its run.
func (b *browser) brakes() string {
	b.Helper()
	id := b.receive("PB-1")
	code, body, res := b.post("/jobs/"+id+"/procedures", "procedure", "epb_caliper_pads", "key", "k1")
	if code != 200 || !strings.Contains(res.Request.URL.Path, "/procedures/run-") {
		b.Fatalf("starting: %d at %s\n%s", code, res.Request.URL, body)
	}
	return res.Request.URL.Path
}

var formRE = regexp.MustCompile(`(?s)<form method="post"[^>]*data-event="([^"]*)"[^>]*>(.*?)</form>`)
var fieldRE = regexp.MustCompile(`<input ([^>]*)>`)
var attrRE = regexp.MustCompile(`([a-z-]+)="([^"]*)"`)

// offers are the forms of a page by what they say, with what is filled in.
func offers(page string) []url.Values {
	var out []url.Values
	for _, m := range formRE.FindAllStringSubmatch(page, -1) {
		if strings.Contains(m[2], "aria-disabled") {
			continue
		}
		f := url.Values{}
		for _, in := range fieldRE.FindAllStringSubmatch(m[2], -1) {
			a := map[string]string{}
			for _, x := range attrRE.FindAllStringSubmatch(in[1], -1) {
				a[x[1]] = x[2]
			}
			switch {
			case a["name"] == "value" && a["inputmode"] != "":
				a["value"] = "13.4"
			case strings.HasPrefix(a["name"], "value ") || strings.HasPrefix(a["name"], "limit "):
				a["value"] = "10,5" // as a German hand types it
			case a["name"] == "to":
				a["value"] = "the next shift"
			case a["name"] == "danger":
				a["value"] = "DANGER"
			}
			f.Add(a["name"], a["value"])
		}
		out = append(out, f)
	}
	return out
}

// TestBrakeServiceWithoutScripts walks the first part of the brake service by forms
// alone, to where the wait would begin, and interrupts it there: every page is the
// server's own, every tap comes back to a true page.
func TestBrakeServiceWithoutScripts(t *testing.T) {
	b := openShop(t).unlocked()
	at := b.brakes()
	for range 40 {
		code, page, _ := b.get(at)
		if code != 200 {
			t.Fatalf("%d\n%s", code, page)
		}
		if strings.Contains(page, "Read the meter and type") {
			break // the first command is next, and nothing watches the supply
		}
		var next url.Values
		for _, f := range offers(page) {
			if k := f.Get("kind"); k == "look" || k == "begin" || k == "confirm" || k == "choose" {
				next = f
				break
			}
		}
		if next == nil {
			t.Fatalf("the page offers nothing\n%s", page)
		}
		if code, body, _ := b.postValues(at, next); code != 200 {
			t.Fatalf("%v: %d\n%s", next, code, body)
		}
	}
	_, page, _ := b.get(at)
	if !strings.Contains(page, "Apply the parking brake once") {
		t.Fatalf("the first command is not reached\n%s", page)
	}
	if !strings.Contains(page, "Not watched") || !strings.Contains(page, "Stop now") {
		t.Error("the page does not say that nothing is watched, or has no way to stop")
	}
	// Without a meter the step does not begin, and the page says why.
	code, refused, _ := b.postValues(at, url.Values{"kind": {"begin"}, "step": {"baseline_apply"}, "key": {"b1"}})
	if code != http.StatusConflict || !strings.Contains(refused, "Not taken") {
		t.Errorf("begun without a meter: %d", code)
	}
	// A typed value opens it for a minute.
	for _, far := range []string{"134", "-3", "134 V"} {
		if code, body, _ := b.postValues(at, url.Values{"kind": {"typed"}, "watch": {"supply"}, "value": {far}, "key": {"far" + far}}); code != 409 || !strings.Contains(body, "is far from what the supply voltage can be") {
			t.Errorf("%s typed: %d", far, code)
		}
	}
	if code, body, _ := b.postValues(at, url.Values{"kind": {"typed"}, "watch": {"supply"}, "value": {"13.4"}, "key": {"b2"}}); code != 200 {
		t.Fatalf("typed: %d\n%s", code, body)
	}
	if code, body, _ := b.postValues(at, url.Values{"kind": {"begin"}, "step": {"baseline_apply"}, "key": {"b3"}}); code != 200 || !strings.Contains(body, "It has come to its end") {
		t.Fatalf("begin: %d\n%s", code, body)
	}
	// One tap: interrupted, and the card is there.
	code, card, res := b.postValues(at, url.Values{"kind": {"interrupted"}, "key": {"b4"}})
	if code != 200 || !strings.HasSuffix(res.Request.URL.Path, "/card") || !strings.Contains(card, "Hand-over card") {
		t.Fatalf("interrupted: %d at %s", code, res.Request.URL)
	}
}

// TestTwoDevicesOnOneStep: the second confirmation of the same step is refused with
// its reason, as JSON and as a page.
func TestTwoDevicesOnOneStep(t *testing.T) {
	w := openShop(t)
	one, two := w.unlocked(), w.unlocked()
	at := one.brakes()
	_, page, _ := one.get(at)
	first := offers(page)[0]
	if code, _, _ := one.postValues(at, first); code != 200 {
		t.Fatalf("the first device: %d", code)
	}
	code, body, _ := two.postValues(at, first)
	if code != http.StatusConflict || !strings.Contains(body, "Not taken") {
		t.Errorf("the second device: %d", code)
	}
	// The first device's own second tap is the same event.
	if code, _, _ := one.postValues(at, first); code != 200 {
		t.Errorf("a double tap: %d", code)
	}
}

func TestProcedureEventsOverTheAPI(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	at := b.brakes()
	api := "/api/v1" + at
	_, page, _ := b.get(at)
	f := offers(page)[0]
	ev := func(key, kind string) (int, string) {
		code, body, _ := b.json("POST", api+"/events", map[string]any{"key": key, "n": 1, "type": "procedure_event@1", "payload": map[string]any{"kind": kind, "step": f.Get("step"), "how": f.Get("how"), "outcome": f.Get("outcome")}})
		return code, body
	}
	code, body := ev("k1", "look")
	var r struct{ Entry string }
	if json.Unmarshal([]byte(body), &r); code != 200 || r.Entry == "" {
		t.Fatalf("%d %s", code, body)
	}
	if code, again := ev("k1", "look"); code != 200 || !strings.Contains(again, r.Entry) || !strings.Contains(again, `"again":true`) {
		t.Errorf("the same key again: %d %s", code, again)
	}
	code, body = ev("k2", "look")
	if code != http.StatusConflict || !strings.Contains(body, "/problems/not_taken") {
		t.Errorf("a step that is done: %d %s", code, body)
	}
	if code, body, _ := w.browser().json("POST", api+"/events", map[string]any{"key": "x", "payload": map[string]any{"kind": "note"}}); code != http.StatusForbidden || !strings.Contains(body, "/problems/locked") {
		t.Errorf("nobody unlocked: %d %s", code, body)
	}
	if code, _, _ := b.json("POST", api+"/events", map[string]any{"kez": 1}); code != http.StatusBadRequest {
		t.Errorf("a misspelt field: %d", code)
	}
}

// TestMeterNeedsItsToken: the token of one run is no good for another.
func TestMeterNeedsItsToken(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	at := b.brakes()
	_, page, _ := b.get(at)
	m := regexp.MustCompile(`Bearer ([0-9a-f]{64})`).FindStringSubmatch(page)
	if m == nil {
		t.Fatal("the page shows no token")
	}
	send := func(path, token string) int {
		r, _ := http.NewRequest("POST", w.url+path, strings.NewReader(`{"values":[13.4]}`))
		r.Header.Set("Authorization", "Bearer "+token)
		r.Header.Set("Accept", "application/json")
		code, _, _ := w.browser().send(r)
		return code
	}
	if code := send("/api/v1"+at+"/supply/supply", m[1]); code != http.StatusNoContent {
		t.Errorf("with its token: %d", code)
	}
	if code := send("/api/v1"+at+"/supply/supply", strings.Repeat("0", 64)); code != http.StatusUnauthorized {
		t.Errorf("with another: %d", code)
	}
	if code := send("/api/v1"+at+"x/supply/supply", m[1]); code != http.StatusUnauthorized {
		t.Errorf("for another run: %d", code)
	}
}

func TestMinutesAndSeconds(t *testing.T) {
	for s, want := range map[float64]string{0: "0:00", 0.2: "0:01", 18: "0:18", 59.5: "1:00", 725: "12:05", 5400: "1:30:00"} {
		if got := minsec(s); got != want {
			t.Errorf("%g s is written %s, want %s", s, got, want)
		}
	}
}

// The word that lets a DANGER step begin is taken in each language, and no other word.
func TestDangerWordInEachLanguage(t *testing.T) {
	for typed, want := range map[string]string{"DANGER": "DANGER", " gefahr": "DANGER", "GEFAHR": "DANGER", "yes": "yes", "": ""} {
		if got := dangerWord(typed); got != want {
			t.Errorf("%q is taken as %q, want %q", typed, got, want)
		}
	}
}
