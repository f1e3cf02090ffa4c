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

// The schemas of the answers are what the Go types say; run with -update after a
// change of the types.
func TestAnswerSchemaFollowsTheTypes(t *testing.T) {
	for _, x := range []struct {
		name, title, says, id string
		of                    reflect.Type
	}{
		{"answer", "Proveout answer", "What proveout diagnose --json prints. Field names are stable; new fields may be added.", shop.AnswerSchema, reflect.TypeFor[shop.Answer]()},
		{"proof", "Proveout proof", "What proveout prove --json prints. Field names are stable; new fields may be added.", shop.ProofSchema, reflect.TypeFor[shop.ProofAnswer]()},
	} {
		doc := jsonType(x.of)
		doc["$schema"] = "https://json-schema.org/draft/2020-12/schema"
		doc["$id"] = "urn:proveout:schema:" + x.name + ":1"
		doc["title"] = x.title
		doc["description"] = x.says
		doc["properties"].(map[string]any)["schema"] = map[string]any{"const": x.id}
		var buf bytes.Buffer
		e := json.NewEncoder(&buf)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		if err := e.Encode(doc); err != nil {
			t.Fatal(err)
		}
		if *update {
			if err := os.WriteFile(x.name+".json", buf.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if have, _ := Get(x.name); !bytes.Equal(have, buf.Bytes()) {
			t.Errorf("%s.json differs from the Go types; run go test ./schema -update and look at the difference", x.name)
		}
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

// What diagnose and prove print for the examples fits the published schemas, and
// carries the fields ARCHITECTURE.md promises.
func TestAnswersOfTheExamplesFit(t *testing.T) {
	answer, proof := compiled(t, "answer"), compiled(t, "proof")
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
		m := fits(t, d, answer, a)
		for _, k := range []string{"job", "vehicle", "findings", "suspects", "ruled_out", "conflicts", "next", "left_out", "doubt_bits"} {
			if _, ok := m[k]; !ok {
				t.Errorf("%s: the answer lacks %q", d, k)
			}
		}
		p, err := shop.Prove(filepath.Dir(d), shop.Options{Program: "test"})
		if err != nil {
			t.Errorf("%s: %v", d, err)
			continue
		}
		fits(t, d, proof, p)
	}
}

func compiled(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	text, ok := Get(name)
	if !ok {
		t.Fatalf("there is no %s schema", name)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func fits(t *testing.T, at string, s *jsonschema.Schema, answer any) map[string]any {
	t.Helper()
	out, err := json.Marshal(answer)
	if err != nil {
		t.Fatal(err)
	}
	v, err := jsonschema.UnmarshalJSON(bytes.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Validate(v); err != nil {
		t.Errorf("%s: %v", at, err)
	}
	m, _ := v.(map[string]any)
	return m
}
