package report

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"proveout/shop"
	"proveout/text"
)

var day = time.Date(2026, 11, 25, 15, 20, 0, 0, time.UTC)

var read = sync.OnceValues(func() ([]byte, error) {
	r, err := shop.Report("../examples/06-proven-on-the-hill", shop.Options{Program: "proveout test"})
	if err != nil {
		return nil, err
	}
	return json.Marshal(r)
})

// example is the report of the example job, a copy for each test.
func example(t *testing.T) Input {
	t.Helper()
	text, err := read()
	if err != nil {
		t.Fatal(err)
	}
	in := Input{Printed: day}
	if err := json.Unmarshal(text, &in.Report); err != nil {
		t.Fatal(err)
	}
	return in
}

// pageCount counts the page objects of a PDF: fpdf writes them uncompressed.
func pageCount(pdf []byte) int { return len(regexp.MustCompile(`/Type /Page\b`).FindAll(pdf, -1)) }

// words is the text of an HTML page.
func words(page []byte) string {
	text := regexp.MustCompile(`(?s)<style>.*?</style>|<[^>]*>`).ReplaceAll(page, []byte(" "))
	return strings.Join(strings.Fields(html.UnescapeString(string(text))), " ")
}

// What a warranty argument asks for stands on the page.
func TestWhatStandsOnThePage(t *testing.T) {
	in := example(t)
	page, err := HTML(Make(in))
	if err != nil {
		t.Fatal(err)
	}
	text := words(page)
	for _, want := range []string{
		"Quarry Lane Garage", "QL-0431", "Wednesday 25 November 2026", in.Report.Proof.Vehicle.VIN, "QL 431 T", "Tam Ostrey, 0555 0177",
		"phone 25 November 2026 10:40", "out 91,557 km", "part TB-7714, lot 2609", "coils and boots, each in its own place",
		"P0304", "Erased 25 November 2026 12:50", "monitors not run yet: catalyst", "1.78 mm, the others 1.02 to 1.05 mm",
		"1.03 1.02 1.05 1.78 1.02 1.02 1.02 1.08", "less than 1 time in 20", "The catalyst monitor has not run", "Several parts were changed", "Ask again: at 500 km",
		"≈", "Customer, read and explained", "item 2", spaced(in.Report.Fingerprint),
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if !strings.Contains(string(page), `<td class="odd">1.78</td>`) {
		t.Error("the odd one is not marked")
	}
}

// The fingerprint is what sha256sum over the files gives, hashed once more.
func TestFingerprintCanBeCheckedByHand(t *testing.T) {
	in := example(t)
	dir := "../examples/06-proven-on-the-hill"
	var lines []string
	for _, pattern := range []string{"job.yaml", "captures/*"} {
		files, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range files {
			data, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			rel, _ := filepath.Rel(dir, f)
			lines = append(lines, fmt.Sprintf("%x  %s\n", sha256.Sum256(data), filepath.ToSlash(rel)))
		}
	}
	slices.SortFunc(lines, func(a, b string) int { return strings.Compare(a[64:], b[64:]) })
	if want := fmt.Sprintf("%x", sha256.Sum256([]byte(strings.Join(lines, "")))); in.Report.Fingerprint != want || len(lines) != 5 {
		t.Errorf("%s, want %s over %d files", in.Report.Fingerprint, want, len(lines))
	}
}

func TestOnePageAndTheSameBytes(t *testing.T) {
	s := Make(example(t))
	for _, paper := range []Paper{A4, Letter} {
		first, err := PDF(s, paper)
		if err != nil {
			t.Fatal(err)
		}
		second, err := PDF(s, paper)
		if err != nil {
			t.Fatal(err)
		}
		if pageCount(first) != 1 || !bytes.HasPrefix(first, []byte("%PDF-")) {
			t.Errorf("%s: %d pages", paper, pageCount(first))
		}
		if !bytes.Equal(first, second) {
			t.Errorf("%s: two runs differ", paper)
		}
	}
	if _, err := PDF(s, "A5"); err == nil {
		t.Error("a paper that is not known is taken")
	}
	if got, err := fit(s, A4, 1); err != nil || got.shortened() {
		t.Errorf("the example fits on A4 whole: %v", err)
	}
	a, _ := HTML(s)
	if b, _ := HTML(s); !bytes.Equal(a, b) {
		t.Error("two HTML pages differ")
	}
}

// Ever more on the page: it stays one page, the items go first, and the words of
// the proof and of what is not proven stay until nothing else is left to take.
func TestItemsShrinkFirst(t *testing.T) {
	base := Make(example(t))
	part := func(s *Sheet, name string) *Part {
		return &s.Parts[slices.IndexFunc(s.Parts, func(p Part) bool { return p.Name == name })]
	}
	left := func(p *Part) (n int) {
		for _, e := range p.Items {
			if !e.Unprinted {
				n++
			}
		}
		return n
	}
	gone := 0
	for _, items := range []int{10, 40, 80, 400, 5000} {
		s := base.clone()
		p := part(&s, "Items")
		for i := len(p.Items); i < items; i++ {
			p.Items = append(p.Items, Entry{Number: i + 1, Text: "typed: something or other that was read"})
		}
		got, err := fit(s, A4, 1)
		if err != nil {
			t.Fatal(err)
		}
		pdf, err := PDF(s, A4)
		if err != nil || pageCount(pdf) != 1 {
			t.Fatalf("%d items: %d pages, %v", items, pageCount(pdf), err)
		}
		if n := len(p.Items) - left(part(&got, "Items")); n < gone {
			t.Errorf("%d items: fewer are left off than before", items)
		} else {
			gone = n
		}
		for _, name := range []string{"Proof", "Not proven", "Cause", "Complaint"} {
			for _, n := range part(&got, name).Notes {
				if n.Unprinted {
					t.Errorf("%d items: %q of %s goes before the items", items, n.Text, name)
				}
			}
		}
		if got.shortened() != (gone > 0) {
			t.Errorf("%d items: shortened is %v with %d left off", items, got.shortened(), gone)
		}
	}
	if gone == 0 {
		t.Error("5000 items fit on a page")
	}
	s := base.clone()
	for range 25 {
		p := part(&s, "Not proven")
		p.Notes = append(p.Notes, Note{Text: "One more thing that was looked for and is not settled by what was driven and measured here."})
	}
	got, err := fit(s, A4, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"Proof", "Not proven"} {
		for _, n := range part(&got, name).Notes {
			if n.Unprinted {
				t.Errorf("%s: %q is left off", name, n.Text)
			}
		}
	}
	if !got.shortened() || got.clip > 0 || pagesOf(t, s) != 1 {
		t.Errorf("25 more lines: shortened %v, clip %d", got.shortened(), got.clip)
	}
}

func pagesOf(t *testing.T, s Sheet) int {
	t.Helper()
	pdf, err := PDF(s, Letter)
	if err != nil {
		t.Fatal(err)
	}
	return pageCount(pdf)
}

// Texts without measure or sense still give one page.
func TestMonstrousTexts(t *testing.T) {
	for name, text := range map[string]string{
		"long": strings.Repeat("it shudders and shakes ", 40_000), "one word": strings.Repeat("W", 50_000), "broken": "a\xff\x00b\x01" + strings.Repeat("\n", 99),
		"beyond the font": "😀 漢字 \U0001F600", "empty": "",
	} {
		s := Make(example(t))
		fill(reflect.ValueOf(&s).Elem(), text, 0)
		if n := pagesOf(t, s); n != 1 {
			t.Errorf("%s: %d pages", name, n)
		}
	}
}

// fill puts a text into every string of a sheet but those that choose how it is set.
func fill(v reflect.Value, text string, depth int) {
	switch v.Kind() {
	case reflect.String:
		if v.Type() == reflect.TypeFor[string]() && v.CanSet() {
			v.SetString(text)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() && v.Field(i).Type() != reflect.TypeFor[time.Time]() {
				fill(v.Field(i), text, depth+1)
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			fill(v.Index(i), text, depth+1)
		}
	case reflect.Pointer:
		if !v.IsNil() {
			fill(v.Elem(), text, depth+1)
		}
	}
}

// A script in any text of a sheet stays a text.
func TestScriptStaysText(t *testing.T) {
	s := Make(example(t))
	fill(reflect.ValueOf(&s).Elem(), `"><script>alert(1)</script><img src=x onerror=alert(1)>`, 0)
	page, err := HTML(s)
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(page, []byte("&lt;script&gt;")); n < 60 {
		t.Errorf("only %d texts were tried", n)
	}
	for _, bad := range []string{"<script", "<img"} {
		if bytes.Contains(page, []byte(bad)) {
			t.Errorf("%s stands in the page", bad)
		}
	}
	if part, err := Fragment(s); err != nil || strings.Contains(string(part), "<script") || strings.Contains(string(part), "<html") {
		t.Errorf("the fragment: %v", err)
	}
}

// Each way a job can end prints as what it is.
func TestEndings(t *testing.T) {
	chance := 0.04
	for name, x := range map[string]struct {
		change func(*shop.ProofAnswer)
		state  string
		square Square
		says   string
	}{
		"proven by road": {func(p *shop.ProofAnswer) { p.By = "road" }, "Proven", Solid, "Proven by road, 95 %."},
		"old part back":  {func(p *shop.ProofAnswer) { p.By = "old_part_back" }, "Proven", Solid, "with the old part back"},
		"improved":       {func(p *shop.ProofAnswer) { p.State, p.CouldBeChance = "improved", &chance }, "Improved, not proven", Half, "less than 1 time in 20"},
		"came back":      {func(p *shop.ProofAnswer) { p.State = "came_back" }, "Came back, not fixed", Hollow, "Not fixed"},
		"not yet":        {func(p *shop.ProofAnswer) { p.State = "not_yet"; p.HandedOver.Because = "" }, "Not proven", Hollow, "Not proven yet."},
		"handed over": {func(p *shop.ProofAnswer) {
			p.State = "not_yet"
			p.HandedOver.Because, p.HandedOver.Left = "the customer needs the car today.", "the hill"
		}, "Not proven", Hollow, "Not proven, handed over because the customer needs the car today. Left to do: the hill."},
		"nothing done":    {func(p *shop.ProofAnswer) { p.State, p.Corrections = "not_known", nil }, "Not repaired yet", Hollow, "Nothing has been put right yet."},
		"no cause":        {func(p *shop.ProofAnswer) { p.Causes = nil }, "Proven", Solid, "No cause is shown."},
		"cause suspected": {func(p *shop.ProofAnswer) { p.Causes[0].State, p.Causes[0].Chance = "suspected", 0.6 }, "Proven", Solid, "Suspected, not shown by a direct test"},
		"shown by word": {func(p *shop.ProofAnswer) {
			p.Causes[0].ByWord, p.Causes[0].Reason = true, "Shown by word of R. Haas, not by a test: heard it."
		}, "Proven", Solid, "Shown by word, by no direct test"},
		"codes not read":    {func(p *shop.ProofAnswer) { p.Codes.After = nil }, "Proven", Solid, "After: not read."},
		"nothing was named": {func(p *shop.ProofAnswer) { p.Vehicle.VIN, p.Vehicle.Plate = "", "" }, "Proven", Solid, "VIN not noted"},
	} {
		in := example(t)
		x.change(in.Report.Proof)
		s := Make(in)
		page, err := HTML(s)
		if err != nil {
			t.Fatal(err)
		}
		if s.State.Word != x.state || s.State.Square != x.square || !strings.Contains(words(page), x.says) {
			t.Errorf("%s: %s %s\n%s", name, s.State.Word, s.State.Square, words(page))
		}
		if pagesOf(t, s) != 1 {
			t.Errorf("%s: more than one page", name)
		}
	}
}

func TestPracticeIsMarked(t *testing.T) {
	in := example(t)
	in.Report.Practice = true
	page, err := HTML(Make(in))
	if err != nil || !strings.Contains(words(page), "Practice vehicle: not a real job") {
		t.Errorf("%v", err)
	}
}

func TestOneIn(t *testing.T) {
	for p, want := range map[float64]string{0.05: "20", 0.049: "20", 0.02: "50", 0.0009: "1000", 0.3: "3"} {
		if got := oneIn(p); got != want {
			t.Errorf("%v: 1 in %s, want %s", p, got, want)
		}
	}
}

// The font has every sign the report uses.
func TestFontHasTheSigns(t *testing.T) {
	p := newPage(A4, Sheet{Printed: day})
	p.doc.SetFont(family, "", note)
	none := p.doc.GetStringWidth("\U0000FFFE")
	for _, r := range "≈×÷≤≥°±“”·…éßąŁČđЖΩ" {
		if w := p.doc.GetStringWidth(string(r)); w == 0 || w == none {
			t.Errorf("%q is as wide as a sign the font does not have", r)
		}
	}
}

// TestBothLanguages compares the words of the page with golden files, one for each
// language and system of units; UPDATE=1 writes them anew.
func TestBothLanguages(t *testing.T) {
	for _, l := range text.Languages() {
		for _, system := range []text.System{text.SI, text.US} {
			in := example(t)
			in.Text = text.For(l.Code, system)
			in.Report.ShopKey = "1a2b-3c4d-5e6f-7081"
			s := Make(in)
			page, err := HTML(s)
			if err != nil {
				t.Fatal(err)
			}
			if n := pagesOf(t, s); n != 1 {
				t.Errorf("%s %s: %d pages", l.Code, system, n)
			}
			if !bytes.Contains(page, []byte(`<html lang="`+l.Code+`">`)) || strings.Contains(string(page), "⟨") {
				t.Errorf("%s: the page is not marked with its language, or a text is missing", l.Code)
			}
			got := lines(page)
			name := "testdata/" + l.Code + "-" + string(system) + ".txt"
			if os.Getenv("UPDATE") != "" {
				if err := os.WriteFile(name, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("%s differs; UPDATE=1 writes it anew. Now:\n%s", name, got)
			}
		}
	}
}

// lines are the words of a page, a line for each paragraph, row or item.
func lines(page []byte) string {
	page = regexp.MustCompile(`(?s)<(style|svg)[^>]*>.*?</(style|svg)>`).ReplaceAll(page, nil)
	page = regexp.MustCompile(`</(p|tr|li|h1|h2|div)>`).ReplaceAll(page, []byte("\x00"))
	var out []string
	for _, l := range strings.Split(words(page), "\x00") {
		if l = strings.TrimSpace(l); l != "" {
			out = append(out, l)
		}
	}
	return strings.Join(out, "\n") + "\n"
}
