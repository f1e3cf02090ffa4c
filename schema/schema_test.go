package schema

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"proveout/strict"
)

// value turns a document into the values a JSON Schema speaks of, by the rules
// of the YAML 1.2 core schema for plain scalars.
func value(n *strict.Node) any {
	switch n.Kind {
	case strict.Map:
		m := map[string]any{}
		for _, p := range n.Pairs {
			m[p.Key] = value(p.Value)
		}
		return m
	case strict.List:
		l := []any{}
		for _, it := range n.Items {
			l = append(l, value(it))
		}
		return l
	case strict.Null:
		return nil
	}
	if !n.Quoted {
		switch n.Text {
		case "true", "false":
			return n.Text == "true"
		}
		if _, err := strconv.ParseFloat(n.Text, 64); err == nil && strings.Trim(n.Text, "0123456789+-.eE") == "" {
			return json.Number(strings.TrimPrefix(n.Text, "+"))
		}
	}
	return n.Text
}

func compile(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	text, ok := Get(name)
	if !ok {
		t.Fatalf("no schema %q", name)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	if err := c.AddResource(name+".json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name + ".json")
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return s
}

func check(t *testing.T, s *jsonschema.Schema, file string) error {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	doc, ps := strict.Parse(file, text)
	if doc == nil {
		t.Fatal(ps)
	}
	return s.Validate(value(doc.Root))
}

func TestEverySchemaCompiles(t *testing.T) {
	names := Names()
	if !slices.Contains(names, "job") || !slices.Contains(names, "book") {
		t.Errorf("names = %v", names)
	}
	for _, n := range names {
		compile(t, n)
	}
	if _, ok := Get("../go"); ok {
		t.Error("a name that is no schema was found")
	}
}

func TestGoodFilesFitTheirSchemas(t *testing.T) {
	files := map[string][]string{"job": {"../job/testdata/good/small.yaml", "../job/testdata/good/full.yaml"}, "book": {"../job/testdata/book.yaml"}}
	builtin, err := filepath.Glob("../book/data/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	files["book"] = append(files["book"], builtin...)
	for name, list := range files {
		s := compile(t, name)
		for _, f := range list {
			if err := check(t, s, f); err != nil {
				t.Errorf("%s: %v", f, err)
			}
		}
	}
}

func TestBadFilesDoNotFit(t *testing.T) {
	job := compile(t, "job")
	for _, f := range []string{"banks.yaml", "captures.yaml", "complaint.yaml", "empty.yaml", "head.yaml", "json_errors.json", "limits.yaml", "list.yaml", "other_schema.yaml", "own.yaml", "readings.yaml"} {
		err := check(t, job, "../job/testdata/bad/"+f)
		if f == "banks.yaml" { // wrong only in what a schema cannot say
			if err != nil {
				t.Errorf("%s: %v", f, err)
			}
			continue
		}
		if err == nil {
			t.Errorf("%s fits the schema", f)
		}
	}
	book := compile(t, "book")
	for _, bad := range []string{
		"schema: proveout/book/1\nid: x\nversion: 1\ntitle: x\n",
		"schema: proveout/book/1\nid: x\nversion: 1\ntitle: x\nsources: {}\ntest: []\n",
		"schema: proveout/book/1\nid: x\nversion: 1\ntitle: x\nsources: {}\nsettings: {unreliable: [0.1, EST, 3]}\n",
		"schema: proveout/book/1\nid: x\nversion: 1\ntitle: x\nsources: {}\nhazards: {hot: {word: HOT, text: hot}}\n",
	} {
		doc, ps := strict.Parse("bad.yaml", []byte(bad))
		if doc == nil {
			t.Fatal(ps)
		}
		if book.Validate(value(doc.Root)) == nil {
			t.Errorf("fits the schema:\n%s", bad)
		}
	}
}
