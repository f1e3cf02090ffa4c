package web

import (
	"bytes"
	"io/fs"
	"maps"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"proveout/text"
)

// samples are the views each page's template is executed with. A page without
// one fails. Parts of the workbench add theirs in an init function of their own
// test file.
var samples = map[string]sample{
	"problem": {empty: problemView{Kind: "not_found"}, filled: problemView{Kind: "too_big", Args: []any{5}, Detail: "a <b> & c", Back: "/"}},
}

// sample is an empty and a filled view. A filled one that is dear to make is a
// func(*testing.T) any.
type sample struct{ empty, filled any }

func (s sample) full(t *testing.T) any {
	if f, ok := s.filled.(func(*testing.T) any); ok {
		return f(t)
	}
	return s.filled
}

// TestEveryTemplateTakesEmptyAndFilledViews executes every page in every language
// and system of units. html/template finds a misspelt field only then.
func TestEveryTemplateTakesEmptyAndFilledViews(t *testing.T) {
	s := server(t)
	names, err := fs.Glob(pageFiles, "pages/*.html")
	if err != nil {
		t.Fatal(err)
	}
	inline := regexp.MustCompile(`(?i)<[a-z][^>]*\s(style|on[a-z]+)=|<style|<script(?:>|\s+(?:[^s>]|s[^r>])[^>]*>)|javascript:`)
	missing := regexp.MustCompile(`⟨[^⟩]*⟩|&lt;no value&gt;|<no value>|%!`)
	for _, name := range names {
		name := strings.TrimSuffix(path.Base(name), ".html")
		sm, ok := samples[name]
		if !ok {
			t.Errorf("page %s has no sample views: add them to samples", name)
			continue
		}
		full := sm.full(t)
		for c, set := range s.pages {
			for which, view := range map[string]any{"empty": sm.empty, "filled": full} {
				f := frame{sheet: sheet{Name: name, Title: "T", Cells: []cell{{Name: "N", Value: "<V>"}}, Saved: "10:42:07", View: view}, Lang: c.lang, Here: "/"}
				var b bytes.Buffer
				if err := set[name].ExecuteTemplate(&b, "layout", f); err != nil {
					t.Errorf("%s, %s, %s, %s: %v", name, which, c.lang, c.system, err)
					continue
				}
				if m := missing.Find(b.Bytes()); m != nil {
					t.Errorf("%s, %s, %s: a text or value is missing: %s", name, which, c.lang, m)
				}
				if m := inline.Find(b.Bytes()); m != nil {
					t.Errorf("%s, %s: script or style in the page, which the policy forbids: %s", name, which, m)
				}
				if n := bytes.Count(b.Bytes(), []byte("<h1")); n != 1 {
					t.Errorf("%s, %s: %d h1, want the one sentence that sums up the page", name, which, n)
				}
			}
		}
	}
	for _, name := range slices.Sorted(maps.Keys(samples)) {
		if _, err := fs.Stat(pageFiles, "pages/"+name+".html"); err != nil {
			t.Errorf("samples name a page that is not there: %s", name)
		}
	}
}

// TestAtMostOneSolidButton: each screen has one button that matters now; the
// others are plain. The look buttons of the strip are plain.
func TestAtMostOneSolidButton(t *testing.T) {
	s := server(t)
	solid := regexp.MustCompile(`class="act"|class="act (?:[^"]*)"`)
	for name, sm := range samples {
		var b bytes.Buffer
		f := frame{sheet: sheet{Name: name, View: sm.full(t)}, Lang: "en", Here: "/"}
		set := s.pages[choice{"en", text.SI}]
		if set[name] == nil {
			continue // said by the test above
		}
		if err := set[name].ExecuteTemplate(&b, "layout", f); err != nil {
			continue // likewise
		}
		n := 0
		for _, m := range solid.FindAllString(b.String(), -1) {
			if !strings.Contains(m, "plain") && !strings.Contains(m, "foot-act") {
				n++
			}
		}
		if n > 1 {
			t.Errorf("page %s has %d solid buttons", name, n)
		}
	}
}
