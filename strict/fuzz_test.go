package strict

import (
	"encoding/json"
	"strings"
	"testing"
)

// write gives a tree back as JSON text, all scalars quoted.
func write(b *strings.Builder, n *Node) {
	quoted := func(s string) {
		q, _ := json.Marshal(s) // a string always has JSON
		b.Write(q)
	}
	switch n.Kind {
	case Null:
		b.WriteString("null")
	case Scalar:
		quoted(n.Text)
	case List:
		b.WriteByte('[')
		for i, it := range n.Items {
			if i > 0 {
				b.WriteString(", ")
			}
			write(b, it)
		}
		b.WriteByte(']')
	case Map:
		b.WriteByte('{')
		for i, p := range n.Pairs {
			if i > 0 {
				b.WriteString(", ")
			}
			quoted(p.Key)
			b.WriteString(": ")
			write(b, p.Value)
		}
		b.WriteByte('}')
	}
}

// Whatever is read can be written as JSON and reads back as the same tree;
// places lie inside the file; nothing panics.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"a: 1\n", "a: [1, 2, {b: c}]\n", "{\n\t\"a\": \"x\\u00e9\\/\"\n}", "a: &x [1]\nb: *x\n", "a: >\n  x\n  y\nb: |\n  l\n",
		"- a\n- b: c\n  d:\n", "a: 'it''s'\n", "a: \"\\n\\t\\\\\"\n", "? a\n: b\n", "a: !!str 3\n", "<<: {a: 1}\n", "---\na: 1\n---\nb: 2\n",
		"\ufeffa: \u00e9\r\nb:\r\n  - 1\r\n", "[[[[[[[[", "a: {b: 1, b: 2}", "%YAML 1.2\n---\na: 1\n", "a: b: c\n", "*a", "&a", "a: -\n", "{a, b: 1}", "a: #c\n  b\n", "null: ~\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<14 {
			return
		}
		d, ps := Parse("f", data)
		if d == nil {
			if len(Errors(ps)) == 0 {
				t.Fatal("no document and no error")
			}
			return
		}
		lines := strings.Count(string(data), "\n") + strings.Count(string(data), "\r") + 1
		var walk func(*Node)
		walk = func(n *Node) {
			if n.Line < 0 || n.Line > lines {
				t.Fatalf("line %d of %d", n.Line, lines)
			}
			for _, it := range n.Items {
				walk(it)
			}
			for _, p := range n.Pairs {
				walk(p.Value)
			}
		}
		walk(d.Root)
		var b strings.Builder
		write(&b, d.Root)
		again, ps := Parse("f", []byte(b.String()))
		if again == nil {
			if b.Len() > MaxBytes || strings.Contains(ps[0].Text, "is no text") {
				return // an escape may name a character that a file may not hold
			}
			t.Fatalf("%q was read, %q is not: %v", data, b.String(), ps)
		}
		var c strings.Builder
		write(&c, again.Root)
		if b.String() != c.String() {
			t.Fatalf("%q came back as %q", b.String(), c.String())
		}
	})
}
