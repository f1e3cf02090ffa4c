package strict

import (
	"strconv"
	"strings"
	"testing"
	"time"
)

type sample struct {
	Name   string            `yaml:"name"`
	N      int               `yaml:"n" also:"number"`
	Yes    bool              `yaml:"yes"`
	F      float64           `yaml:"f"`
	List   []string          `yaml:"list"`
	Map    map[string]string `yaml:"map"`
	Sub    *sample           `yaml:"sub"`
	Subs   []sample          `yaml:"subs"`
	Inline `yaml:",inline"`
}

// Inline is exported because reflection cannot set fields of an unexported one.
type Inline struct {
	Cylinder int `yaml:"cylinder" also:"cyl"`
}

func decode(t *testing.T, text string) (sample, []string) {
	t.Helper()
	var s sample
	d, ps := Parse("x.yaml", []byte(text))
	if d != nil {
		ps = append(ps, Decode(d, d.Root, &s)...)
	}
	var out []string
	for _, p := range ps {
		out = append(out, p.String())
	}
	return s, out
}

func TestTextStaysAsWritten(t *testing.T) {
	for text, want := range map[string]string{
		"name: yes": "yes", "name: 1.0": "1.0", "name: 2026-11-25": "2026-11-25", "name: 007": "007",
		"name: 20 %": "20 %", "name: '1.42 mm'": "1.42 mm", `{"name": "a\u00e9\/"}`: "aé/", "name: it's 5\" wide # why": `it's 5" wide`,
		"name: >\n  two\n  lines\n": "two lines\n", "name: 0x1F": "0x1F", "name: .nan": ".nan", "\ufeffname: x\r\n": "x",
	} {
		s, ps := decode(t, text)
		if len(ps) != 0 || s.Name != want {
			t.Errorf("%q: name %q, problems %q; want %q", text, s.Name, ps, want)
		}
	}
}

func TestJSONIsReadTheSame(t *testing.T) {
	s, ps := decode(t, "{\n\t\"n\": 3,\n\t\"list\": [\"a\", \"b\"],\n\t\"sub\": {\"yes\": true, \"sub\": null}\n}\n")
	if len(ps) != 0 || s.N != 3 || len(s.List) != 2 || s.Sub == nil || !s.Sub.Yes {
		t.Fatalf("%+v %q", s, ps)
	}
	_, ps = decode(t, "{\n\t\"n\": 3,\n\t\"lst\": [\"a\"]\n}\n")
	if len(ps) != 1 || ps[0] != `x.yaml:3:2: lst: there is no such field; did you mean "list"?` {
		t.Errorf("problems %q", ps)
	}
}

func TestAliasesCountExpanded(t *testing.T) {
	var b strings.Builder
	b.WriteString("a0: &a0 [x,x,x,x,x,x,x,x,x,x]\n")
	for i := 1; i < 9; i++ {
		b.WriteString("a" + string(rune('0'+i)) + ": &a" + string(rune('0'+i)) + " [")
		for j := range 10 {
			if j > 0 {
				b.WriteString(",")
			}
			b.WriteString("*a" + string(rune('0'+i-1)))
		}
		b.WriteString("]\n")
	}
	start := time.Now()
	_, ps := Parse("bomb.yaml", []byte(b.String()))
	if len(ps) != 1 || !strings.Contains(ps[0].Text, "once aliases are expanded") {
		t.Fatalf("problems %v", ps)
	}
	if d := time.Since(start); d > time.Second {
		t.Errorf("took %v", d)
	}
	s, list := decode(t, "list: &l [a, b]\nsub:\n  list: *l\n")
	if len(list) != 0 || len(s.Sub.List) != 2 {
		t.Errorf("a harmless alias: %+v %q", s, list)
	}
}

// What would make the parser slow, deep or wrong is refused before it sees it.
func TestBounds(t *testing.T) {
	many := func(s string, n int) string { return strings.Repeat(s, n) }
	numbered := func(form string, n int) string {
		var b strings.Builder
		for i := range n {
			b.WriteString(strings.ReplaceAll(form, "#", strconv.Itoa(i)))
		}
		return b.String()
	}
	for _, tc := range []struct{ name, text, want string }{
		{"brackets", many("[", 1<<16), "nested more than 32 deep"},
		{"braces", many("{a: ", 1<<14), "nested more than 32 deep"},
		{"dashes on a line", many("- ", 1<<15), "nested more than 32 deep"},
		{"question marks", many("? ", 1<<15), "nested more than 32 deep"},
		{"tags", many("!a ", 1<<14), "nested more than 32 deep"},
		{"indents", indents(200), "nested more than 32 deep"},
		{"fields", numbered("f#: 1\n", 3000), "more than 2000 entries"},
		{"entries", "a:\n" + many("- x\n", 3000), "more than 2000 entries"},
		{"flow entries", "a: [" + many("x, ", 3000) + "x]", "more than 2000 entries"},
		{"documents", many("a\n---\n", 1000), "second document"},
		{"empty entry", "list:\n-\nname: x\n", "the entry is empty"},
		{"too large", many("#", MaxBytes+1), "the most that is read"},
	} {
		start := time.Now()
		d, ps := Parse("x.yaml", []byte(tc.text))
		if d != nil || len(ps) != 1 || !strings.Contains(ps[0].Text, tc.want) {
			t.Errorf("%s: document %v, problems %v; want %q", tc.name, d != nil, ps, tc.want)
		}
		if took := time.Since(start); took > 2*time.Second {
			t.Errorf("%s: took %v", tc.name, took)
		}
	}
	d, ps := Parse("x.yaml", []byte(numbered("f#: 1\n", 1500)))
	var s sample
	if ps = append(ps, Decode(d, d.Root, &s)...); len(ps) != MaxProblems || !strings.Contains(ps[len(ps)-1].Text, "and more") {
		t.Errorf("%d problems, the last %v", len(ps), ps[len(ps)-1])
	}
}

// indents is n fields, each inside the one above.
func indents(n int) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(strings.Repeat(" ", i) + "a:\n")
	}
	return b.String()
}
