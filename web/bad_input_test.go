package web

import (
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const script = `"><script>alert(1)</script><img src=x onerror=alert(1)>`

// TestScriptInEveryTextField: what is typed comes back as text on every page that
// shows it, wherever it was typed.
func TestScriptInEveryTextField(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	code, _, res := b.post("/jobs", "key", "x", "title", script, "said", script, "work", script, "part", script, "fitted", "90000 km", "history", script, "make", script, "model", script, "bay", script, "plate", script, "vin", "x", "sure", "yes", "name", script, "phone", script,
		"cylinders", "4", "fuel", "petrol", "ignition", "coil_on_plug", "injection", "port", "arrangement", "inline", "access", "easy", "boosted", "no", "lamp", "off")
	if code != 200 {
		t.Fatalf("reception: %d", code)
	}
	id := strings.TrimPrefix(res.Request.URL.Path, "/jobs/")
	b.post("/jobs/"+id+"/readings", "test", "plug_gap_others", "value.cyl1", "1.05", "value.cyl2", "1.05", "value.cyl3", "1.59", "value.cyl4", "1.08", "unit", "mm", "note", script)
	for _, f := range [][]string{{"note", "text", script}, {"set_aside", "item", "1", "reason", script}, {"correction", "text", script, "reused", script, "why", script}, {"part_ordered", "name", script, "number", script, "where", script},
		{"hand_over", "card", script}, {"approval_asked", "minutes", "5", "for", script, "how", "phone"}, {"closed", "result", "not_proven", "because", script}} {
		fields := append([]string{"type", f[0], "rev", w.rev(id)}, f[1:]...)
		if code, page, _ := b.post("/jobs/"+id+"/entries", fields...); code != 200 {
			t.Errorf("%s: %d %s", f[0], code, plainText(page))
		}
	}
	b.post("/library/own", "job", id, "part", script, "fault", script, "per", "engine", "rate", "often", "scope", "shop", "look", script, "good", script, "bad", script, "rev", w.rev(id))
	b.post("/settings", "units", "si", "shop_name", script)
	b.post("/settings/people", "name", script, "pin", "4711")
	if _, err := w.bench.Answer(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	live := regexp.MustCompile(`<script>alert|<img src=x`)
	for _, path := range []string{"/", "/jobs/" + id, "/jobs/" + id + "/complaint", "/jobs/" + id + "/reading", "/jobs/" + id + "/proof", "/jobs/" + id + "/report", "/library", "/library/own?job=" + id, "/settings", "/who?back=" + script,
		"/jobs/" + id + "/reading?test=" + script, "/jobs/" + id + "/reading?again=" + script} {
		_, page, _ := b.get(strings.ReplaceAll(strings.ReplaceAll(path, " ", "%20"), `"`, "%22"))
		body := page[max(0, strings.Index(page, "<body")):]
		if m := live.FindString(body); m != "" {
			t.Errorf("%s: %s is live", path, m)
		}
	}
}

// TestPathTricks: no name leaves its place: not of a job, a capture, an upload, an
// asset or a page to go back to.
func TestPathTricks(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	for _, trick := range []string{"..%2f..%2fetc%2fpasswd", "%2e%2e", "....//", `..\..\x`, "%00", "_shop%2f..", "con", strings.Repeat("a", 4000)} {
		for _, path := range []string{"/jobs/" + trick, "/jobs/" + trick + "/report", "/jobs/" + trick + "/reading", apiPrefix + "/jobs/" + trick, apiPrefix + "/captures/" + trick, apiPrefix + "/uploads/" + trick, "/assets/" + trick, "/problems/" + trick} {
			r, err := http.NewRequestWithContext(t.Context(), "GET", w.url, nil)
			if err != nil {
				t.Fatal(err)
			}
			r.URL.Opaque = path
			code, body, _ := b.send(r)
			if code >= 500 || code == 200 && !strings.HasPrefix(path, "/problems") || strings.Contains(body, "root:") {
				t.Errorf("%s: %d", path, code)
			}
		}
	}
	for name, want := range map[string]string{`..\..\x.csv`: "x.csv", "../../etc/passwd": "passwd", "..": "file", "": "file", "/": "file", "a/b/c.wav": "c.wav", `C:\`: "C:"} {
		if got := baseName(name); got != want {
			t.Errorf("a file called %q is %q, want %q", name, got, want)
		}
	}
}

// TestWrongAndEnormousForms: each is refused with what to do, and the job stands as it
// stood.
func TestWrongAndEnormousForms(t *testing.T) {
	w := openShop(t)
	b := w.unlocked()
	id := b.receive("2417")
	before := w.entries(id)
	at := "/jobs/" + id + "/entries"
	for name, f := range map[string][]string{
		"no type":              {},
		"unknown type":         {"type", "made_up"},
		"no item":              {"type", "set_aside", "reason", "x"},
		"an item not there":    {"type", "set_aside", "item", "99", "reason", "x"},
		"no reason":            {"type", "overruled", "suspect", "coil_weak@cyl1", "state", "ruled_out"},
		"minutes of no sense":  {"type", "approval_given", "minutes", "NaN"},
		"a million minutes":    {"type", "approval_given", "minutes", "1e6"},
		"an empty note":        {"type", "note", "text", "   "},
		"an outcome not there": {"type", "found", "test", "plug_swap", "subject", "wheel", "result", "x"},
		"a closing of no kind": {"type", "closed", "result", "wonderful", "because", "x"},
		"an undo of nothing":   {"type", "undo", "entry", "made-up"},
	} {
		code, page, _ := b.post(at, append(f, "rev", w.rev(id))...)
		if code < 400 || code >= 500 {
			t.Errorf("%s: %d", name, code)
		} else if !strings.Contains(page, "What is safe") || !strings.Contains(page, "What to do") {
			t.Errorf("%s: the page does not say what is safe and what to do", name)
		}
	}
	if code, page, _ := b.post(at, "type", "note", "text", strings.Repeat("x", 2<<20)); code != http.StatusRequestEntityTooLarge || !strings.Contains(page, "What is safe") {
		t.Errorf("two megabytes of note: %d", code)
	}
	if got := w.entries(id); !slices.Equal(got, before) {
		t.Errorf("entries %v", got)
	}
	for i := range 3 {
		if code, _, _ := b.post("/jobs/"+id+"/readings", "test", "plug_gap_others", "value.cyl1", []string{"1.0.5", "1e999", "mm"}[i], "unit", "mm"); code != 422 {
			t.Errorf("a value that is none (%d): %d", i, code)
		}
	}
}
