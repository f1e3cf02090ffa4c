package schema

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"proveout/procedure"
)

// TestShippedProceduresFitTheirSchema, and a file with a wrong word does not.
func TestShippedProceduresFitTheirSchema(t *testing.T) {
	text, ok := Get("procedure")
	if !ok {
		t.Fatal("there is no procedure.json")
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("procedure.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("procedure.json")
	if err != nil {
		t.Fatal(err)
	}
	check := func(y []byte) error {
		j, err := yaml.YAMLToJSON(y)
		if err != nil {
			t.Fatal(err)
		}
		var v any
		if v, err = jsonschema.UnmarshalJSON(bytes.NewReader(j)); err != nil {
			t.Fatal(err)
		}
		return s.Validate(v)
	}
	for _, id := range procedure.Shipped() {
		y, err := procedure.ShippedText(id)
		if err != nil {
			t.Fatal(err)
		}
		if err := check(y); err != nil {
			t.Errorf("%s: %v", id, err)
		}
		if err := check(bytes.Replace(y, []byte("word: WARNING"), []byte("word: BEWARE"), 1)); err == nil {
			t.Errorf("%s: a wrong signal word fits the schema", id)
		}
	}
	if !json.Valid(text) {
		t.Error("procedure.json is no JSON")
	}
}
