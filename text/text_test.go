package text

import (
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"proveout/unit"
)

var place = regexp.MustCompile(`\{\d+\}`)

// TestLanguagesSayTheSameThings: same keys, same arguments, nothing empty, and no
// text left in English by oversight.
func TestLanguagesSayTheSameThings(t *testing.T) {
	source := catalogues[Source]
	for _, l := range languages {
		c := catalogues[l.Code]
		for _, key := range slices.Sorted(maps.Keys(source)) {
			text, ok := c[key]
			switch {
			case !ok:
				t.Errorf("%s: %s is not translated", l.Code, key)
				continue
			case strings.TrimSpace(text) == "":
				t.Errorf("%s: %s is empty", l.Code, key)
			}
			want, got := place.FindAllString(source[key], -1), place.FindAllString(text, -1)
			slices.Sort(want)
			slices.Sort(got)
			if !slices.Equal(slices.Compact(want), slices.Compact(got)) {
				t.Errorf("%s: %s has the arguments %v, the source has %v", l.Code, key, got, want)
			}
			if l.Code != Source && text == source[key] && len(strings.Fields(text)) > 3 && !strings.HasPrefix(key, "settings.units.") {
				t.Errorf("%s: %s is still English: %s", l.Code, key, text)
			}
		}
		for key := range c {
			if _, ok := source[key]; !ok {
				t.Errorf("%s: %s is not in the source", l.Code, key)
			}
		}
	}
}

// TestEveryKeyIsUsed looks for each key, or for a literal that ends in a dot and
// begins it ("weekday." + day), in what speaks to people.
func TestEveryKeyIsUsed(t *testing.T) {
	literal := regexp.MustCompile("[\"`]([a-z][a-z0-9_]*(?:\\.[a-z0-9_]+)*\\.?)[\"`]")
	whole, begins := map[string]bool{}, map[string]bool{}
	for _, dir := range []string{"../web", "../text", "../cli", "../demo", "../report"} {
		if _, err := os.Stat(dir); err != nil {
			continue
		}
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			ext := filepath.Ext(path)
			if err != nil || d.IsDir() || strings.HasSuffix(path, "_test.go") || ext != ".go" && ext != ".html" && ext != ".js" {
				return err
			}
			src, err := os.ReadFile(path)
			for _, m := range literal.FindAllSubmatch(src, -1) {
				if s := string(m[1]); strings.HasSuffix(s, ".") {
					begins[s] = true
				} else {
					whole[s] = true
				}
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(catalogues[Source])) {
		base := strings.TrimSuffix(strings.TrimSuffix(key, ".one"), ".other")
		if whole[key] || whole[base] {
			continue
		}
		// The options of a question: "engine.fuel" is asked for, and with it "engine.fuel.petrol".
		parent := key[:max(0, strings.LastIndexByte(key, '.'))]
		used := whole[parent] && catalogues[Source][parent] != ""
		for i := range key {
			used = used || key[i] == '.' && begins[key[:i+1]]
		}
		if !used {
			t.Errorf("nothing says %s", key)
		}
	}
}

// TestCountsHaveBothForms: a key with .one has .other and the other way round.
func TestCountsHaveBothForms(t *testing.T) {
	for lang, c := range catalogues {
		for key := range c {
			base, one := strings.CutSuffix(key, ".one")
			if one && c[base+".other"] == "" {
				t.Errorf("%s: %s has no .other", lang, key)
			}
			if base, other := strings.CutSuffix(key, ".other"); other && c[base+".one"] == "" {
				t.Errorf("%s: %s has no .one", lang, key)
			}
		}
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		v        float64
		decimals int
		en, de   string
	}{
		{0, 0, "0", "0"},
		{1234.5, 1, "1,234.5", "1.234,5"},
		{-1234567, 0, "−1,234,567", "−1.234.567"},
		{999, 0, "999", "999"},
		{12.2, 2, "12.20", "12,20"},
		{math.NaN(), 1, "?", "?"},
		{math.Inf(1), 1, "?", "?"},
	} {
		if got := For("en", SI).Number(c.v, c.decimals); got != c.en {
			t.Errorf("en: %v is written %s, want %s", c.v, got, c.en)
		}
		if got := For("de", SI).Number(c.v, c.decimals); got != c.de {
			t.Errorf("de: %v is written %s, want %s", c.v, got, c.de)
		}
	}
	for v, want := range map[float64]string{0.54: "0.54", 1.5: "1.5", 12.34: "12.3", 250: "250", 1: "1", 100: "100", 0.1234: "0.123"} {
		if got := For("en", SI).Significant(v); got != want {
			t.Errorf("%v is written %s, want %s", v, got, want)
		}
	}
}

// TestUnitsOfBothSystems: values from NIST SP 811: 350 kPa are 50.8 psi, 91 degC
// 195.8 degF, 25.4 mm one inch, 100 N m 73.8 lbf ft.
func TestUnitsOfBothSystems(t *testing.T) {
	for _, c := range []struct {
		value  float64
		unit   string
		si, us string
	}{
		{350, "kPa", "350", "50.8"},
		{91, "degC", "91", "195.8"},
		{25.4, "mm", "25.4", "1"},
		{100, "Nm", "100", "73.8"},
		{12.2, "V", "12.2", "12.2"},
		{100, "km", "100", "62.1"},
	} {
		u := unit.Must(c.unit)
		for system, want := range map[System]string{SI: c.si, US: c.us} {
			p := For("en", system)
			shown := p.Unit(u)
			if got := p.Significant(math.Round(shown.FromSI(u.SI(c.value))*10) / 10); got != p.Significant(mustFloat(t, want)) {
				t.Errorf("%g %s in %s is %s %s, want %s", c.value, c.unit, system, got, shown.Symbol, want)
			}
			if q := p.Quantity(u.SI(c.value), u); !strings.HasSuffix(q, "\u00a0"+UnitWord(shown)) {
				t.Errorf("%q does not end with its unit", q)
			}
		}
	}
}

func mustFloat(t *testing.T, s string) float64 {
	t.Helper()
	q, err := unit.ParseQuantity(s + " V")
	if err != nil {
		t.Fatal(err)
	}
	return q.SI
}

func TestMatch(t *testing.T) {
	for header, want := range map[string]string{
		"": "en", "de-AT,de;q=0.9,en;q=0.8": "de", "fr,de": "de", "en-GB": "en", "xx": "en", " DE ": "de",
	} {
		if got := Match(header); got != want {
			t.Errorf("%q matches %s, want %s", header, got, want)
		}
	}
}

func TestTextsTakeArguments(t *testing.T) {
	p := For("en", SI)
	if got := p.T("problem.too_big.happened", 1048576); !strings.Contains(got, "1,048,576") {
		t.Errorf("the count is not in %q", got)
	}
	if got := p.T("no.such.key"); got != "⟨no.such.key⟩" {
		t.Errorf("an unknown key gives %q", got)
	}
	if got := fill("{1} {2} {3}", []string{"{2}", "b"}); got != "{2} b {3}" {
		t.Errorf("arguments are read again or lost: %q", got)
	}
	if got := For("de", SI).Date(time.Date(2026, 11, 5, 0, 0, 0, 0, time.UTC)); got != "05.11.2026" {
		t.Errorf("a German date is %q", got)
	}
	if For("xx", SI).Lang() != Source {
		t.Error("an unknown language is not English")
	}
}

func TestKeyInTwoFiles(t *testing.T) {
	fsys := fstest.MapFS{"c/a.yaml": {Data: []byte("k: 1")}, "c/b.yaml": {Data: []byte("k: 2")}}
	if _, err := load(fsys, "c"); err == nil || !strings.Contains(err.Error(), "c/a.yaml") {
		t.Errorf("a key in two files: %v", err)
	}
	if _, err := load(fstest.MapFS{"c/a.yaml": {Data: []byte("- no map")}}, "c"); err == nil {
		t.Error("a file that is no map was taken")
	}
}
