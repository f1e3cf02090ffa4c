package web

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"html"
	"io"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"proveout/text"
)

// shown is a stretch of text of a page with the language it is marked as.
type shown struct{ lang, text string }

// shownBy collects what a page says: its text and what it tells by attributes.
func shownBy(t *testing.T, page string) []shown {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	langs, silent := []string{""}, 0
	var out []shown
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatalf("the page does not read: %v", err)
		}
		switch x := token.(type) {
		case xml.StartElement:
			lang := langs[len(langs)-1]
			for _, a := range x.Attr {
				if a.Name.Local == "lang" {
					lang = a.Value
				}
			}
			for _, a := range x.Attr {
				if slices.Contains([]string{"aria-label", "placeholder", "title", "alt"}, a.Name.Local) {
					out = append(out, shown{lang, a.Value})
				}
			}
			langs = append(langs, lang)
			if x.Name.Local == "script" || x.Name.Local == "style" {
				silent++
			}
		case xml.EndElement:
			langs = langs[:len(langs)-1]
			if x.Name.Local == "script" || x.Name.Local == "style" {
				silent--
			}
		case xml.CharData:
			if s := strings.Join(strings.Fields(string(x)), " "); s != "" && silent == 0 {
				out = append(out, shown{langs[len(langs)-1], s})
			}
		}
	}
}

// englishWords are words that English sentences are made of and German ones are not.
var englishWords = regexp.MustCompile(`(?i)(?:^|[^\p{L}\p{N}])(the|and|of|is|not|with|this|that|from|are|for|what|when|which|by|at|to|be|has|have|or|than|your|you|does|it|its|no|one|too|each|only|first)(?:$|[^\p{L}\p{N}])`)

// englishOf tells the English in a text that is to be German: a stretch of what is
// known to be English, or words that only English has.
func englishOf(s string, known []string) string {
	for _, k := range known {
		if strings.Contains(s, k) {
			return k
		}
	}
	if m := englishWords.FindStringSubmatch(s); m != nil {
		return m[1]
	}
	return ""
}

// knownEnglish are the stretches that must not stand on a German page by themselves:
// texts of the English catalogue that the German one has otherwise, and of the books.
func knownEnglish(d *demoShop) []string {
	var out []string
	en, de := text.For("en", text.SI), text.For("de", text.SI)
	places := regexp.MustCompile(`\{\d+\}`)
	for _, key := range en.Keys() {
		for _, s := range places.Split(en.T(key), -1) {
			if s = strings.Trim(s, " .,:;"); len(strings.Fields(s)) >= 3 && !strings.Contains(de.T(key), s) {
				out = append(out, s)
			}
		}
	}
	for _, b := range d.bench.Books() {
		for i := range b.Tests {
			out = append(out, b.Tests[i].Name)
			for _, o := range b.Tests[i].Outcomes {
				out = append(out, o.Text)
			}
		}
		for i := range b.Faults {
			out = append(out, b.Faults[i].Name)
		}
		for _, h := range b.Hazards {
			out = append(out, h.Text)
		}
		out = append(out, slices.Collect(maps.Values(b.Equipment))...)
	}
	return slices.DeleteFunc(out, func(s string) bool { return len(strings.Fields(s)) < 3 })
}

// typedIn are the words that people of the shop have typed: they stay as they were
// typed. longest first.
func typedIn(t *testing.T, d *demoShop) []string {
	t.Helper()
	have := map[string]bool{}
	var take func(v any)
	take = func(v any) {
		switch v := v.(type) {
		case string:
			if s := strings.Join(strings.Fields(v), " "); len(s) > 3 {
				have[s] = true
			}
		case []any:
			for _, x := range v {
				take(x)
			}
		case map[string]any:
			for _, x := range v {
				take(x)
			}
		}
	}
	all, err := d.bench.All(t.Context(), 0, 1000) // other tests may have opened some
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range all.Rows {
		list, err := d.bench.Entries(t.Context(), r.Job)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			if e.Author == "" || strings.HasPrefix(e.Type, "conclusion") {
				continue
			}
			var v any
			if err := json.Unmarshal(e.Payload, &v); err != nil {
				t.Fatal(err)
			}
			take(v)
		}
	}
	return sortedKeys(have)
}

// TestGermanPagesAreGerman goes through every page of the demo in German: what is
// English on it is marked as English, or somebody typed it.
func TestGermanPagesAreGerman(t *testing.T) {
	d := openDemo(t)
	b := (&workshop{T: t, bench: d.bench, server: d.server, url: d.url}).browser()
	at, _ := url.Parse(d.url)
	b.client.Jar.SetCookies(at, []*http.Cookie{{Name: langCookie, Value: "de"}})
	known, typed := knownEnglish(d), typedIn(t, d)
	slices.SortFunc(typed, func(a, b string) int { return len(b) - len(a) })
	if len(known) < 500 || len(typed) < 100 {
		t.Fatalf("%d English stretches, %d typed ones", len(known), len(typed))
	}
	told := map[string]bool{}
	// check looks at one page and gives what it links to.
	check := func(t *testing.T, at, page string) []string {
		german := 0
		for _, x := range shownBy(t, page) {
			if x.lang != "de" {
				continue
			}
			german++
			s := x.text
			for _, w := range typed {
				if w == s || strings.Contains(w, " ") {
					s = strings.ReplaceAll(s, w, "…")
				}
			}
			if e := englishOf(s, known); e != "" && !told[s] {
				told[s] = true
				t.Errorf("%s: %q in %q", at, e, s)
			}
		}
		if german < 10 {
			t.Errorf("%s: only %d stretches of German", at, german)
		}
		var links []string
		for _, m := range internal.FindAllStringSubmatch(page, -1) {
			links = append(links, html.UnescapeString(m[1]))
		}
		return links
	}
	var queue []string
	for _, p := range pagesOf(d) {
		queue = append(queue, p[1])
	}
	for _, id := range d.jobs {
		queue = append(queue, "/jobs/"+id)
	}
	// From every page of the list to what it links to.
	seen, checked := map[string]bool{}, map[string]bool{}
	for depth := range 2 {
		var next []string
		for _, at := range queue {
			// The report sets a book's names into its sentences, where nothing marks them.
			if seen[at] || strings.Contains(at, "lang=en") || strings.Contains(at, "/report") {
				continue
			}
			seen[at] = true
			_, page, res := b.get(at)
			if !strings.HasPrefix(res.Header.Get("Content-Type"), "text/html") {
				continue
			}
			links := check(t, at, page)
			checked[kindOf.ReplaceAllString(strings.SplitN(at, "?", 2)[0], "/…")] = true
			if depth == 0 {
				next = append(next, links...)
			}
		}
		queue = next
	}
	t.Logf("%d kinds of page: %v", len(checked), sortedKeys(checked))
	if len(checked) < 18 {
		t.Errorf("only %d kinds of page were found", len(checked))
	}
	// What is said no to, and what is asked twice.
	locked := openShop(t).browser() // the demo's people stay as they are
	if at, err := url.Parse(locked.url); err == nil {
		locked.client.Jar.SetCookies(at, []*http.Cookie{{Name: langCookie, Value: "de"}})
	}
	var page string
	for range 12 {
		_, page, _ = locked.post("/who", "person", "p-ines", "pin", "0000")
	}
	if !strings.Contains(page, "zu viele falsche") {
		t.Errorf("twelve wrong PINs: %s", plainText(page))
	}
	check(t, "many wrong PINs", page)
	// The procedures, in a shop of their own.
	w := openShop(t)
	run := w.unlocked()
	if at, err := url.Parse(w.url); err == nil {
		run.client.Jar.SetCookies(at, []*http.Cookie{{Name: langCookie, Value: "de"}})
	}
	service := run.receive("7001")
	for _, procedure := range []string{"epb_caliper_pads", "window_initialisation"} {
		code, page, res := run.post("/jobs/"+service+"/procedures", "procedure", procedure, "key", procedure)
		if code != 200 || !strings.Contains(res.Request.URL.Path, "/procedures/") {
			t.Fatalf("%s: %d", procedure, code)
		}
		check(t, procedure, page)
		_, page, _ = run.get(res.Request.URL.Path + "/card")
		check(t, procedure+", the card", page)
	}
	in := (&workshop{T: t, bench: d.bench, server: d.server, url: d.url}).unlocked()
	in.client.Jar.SetCookies(at, []*http.Cookie{{Name: langCookie, Value: "de"}})
	job := "/jobs/" + d.jobs["2417"]
	for _, c := range [][]string{
		{job + "/readings", "test", "plug_gap_others", "value.cyl1", "99999", "unit", "mm"},
		{job + "/readings", "test", "plug_gap_others", "value.cyl1", "mm", "unit", "mm"},
		{job + "/readings", "test", "plug_gap_others"},
		{job + "/entries", "type", "set_aside", "item", "999", "reason", "r"},
		{job + "/entries", "type", "nothing_of_ours"},
		{job + "/entries"},
		{job + "/vehicle", "vin", "X"},
		{"/jobs", "key", "k", "title", "2417", "odometer", "a lot"},
		{job + "/add"},
	} {
		_, page, _ := in.post(c[0], c[1:]...)
		check(t, strings.Join(c, " "), page)
	}
}

var (
	internal = regexp.MustCompile(`<a [^>]*href="(/[^"#]*)`)
	kindOf   = regexp.MustCompile(`/(?:[a-z]*\d[\w-]*)`)
)
