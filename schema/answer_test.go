package schema

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"proveout/shop"
)

// The schema of an answer is what the Go types say; run with -update after a
// change of the types.
func TestAnswerSchemaFollowsTheTypes(t *testing.T) {
	doc := jsonType(reflect.TypeFor[shop.Answer]())
	doc["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	doc["$id"] = "urn:proveout:schema:answer:1"
	doc["title"] = "Proveout answer"
	doc["description"] = "What proveout diagnose --json prints. Field names are stable; new fields may be added."
	doc["properties"].(map[string]any)["schema"] = map[string]any{"const": shop.AnswerSchema}
	var buf bytes.Buffer
	e := json.NewEncoder(&buf)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(doc); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("answer.json", buf.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if have, _ := Get("answer"); !bytes.Equal(have, buf.Bytes()) {
		t.Error("answer.json differs from the Go types; run go test ./schema -update and look at the difference")
	}
}

// jsonType writes a Go type as a schema by its json tags.
func jsonType(t reflect.Type) map[string]any {
	switch t.Kind() {
	case reflect.Pointer:
		s := jsonType(t.Elem())
		if k, ok := s["type"].(string); ok {
			s["type"] = []string{k, "null"}
		}
		return s
	case reflect.Struct:
		props, required := map[string]any{}, []string{}
		for i := range t.NumField() {
			f := t.Field(i)
			name, rest, _ := strings.Cut(f.Tag.Get("json"), ",")
			props[name] = jsonType(f.Type)
			if !strings.Contains(rest, "omitempty") {
				required = append(required, name)
			}
		}
		s := map[string]any{"type": "object", "properties": props}
		if len(required) > 0 {
			s["required"] = required
		}
		return s
	case reflect.Slice:
		return map[string]any{"type": "array", "items": jsonType(t.Elem())}
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": jsonType(t.Elem())}
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Int:
		return map[string]any{"type": "integer"}
	case reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	}
	panic("schema: no form for " + t.String())
}

// What diagnose prints for the examples fits the published schema, and carries
// the fields ARCHITECTURE.md promises.
func TestAnswersOfTheExamplesFit(t *testing.T) {
	text, ok := Get("answer")
	if !ok {
		t.Fatal("there is no answer schema")
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("answer", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("answer")
	if err != nil {
		t.Fatal(err)
	}
	dirs, err := filepath.Glob("../examples/*/job.yaml")
	if err != nil || len(dirs) < 5 {
		t.Fatalf("examples: %v, %v", dirs, err)
	}
	for _, d := range dirs {
		a, err := shop.Diagnose(filepath.Dir(d), shop.Options{Program: "test"})
		if err != nil {
			t.Errorf("%s: %v", d, err)
			continue
		}
		out, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(out))
		if err != nil {
			t.Fatal(err)
		}
		if err := s.Validate(v); err != nil {
			t.Errorf("%s: %v", d, err)
		}
		m := v.(map[string]any)
		for _, k := range []string{"job", "vehicle", "findings", "suspects", "ruled_out", "conflicts", "next", "left_out", "doubt_bits"} {
			if _, ok := m[k]; !ok {
				t.Errorf("%s: the answer lacks %q", d, k)
			}
		}
	}
}
