package job

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
)

// tree is a value of a form: string, json.Number, bool, nil, []any or *fields.
// The order of fields is kept, so that the same entries give the same job file.
type fields struct {
	names  []string
	values map[string]any
}

func newFields() *fields { return &fields{values: map[string]any{}} }

// set puts a field at the end, or replaces it where it stands.
func (f *fields) set(name string, v any) {
	if _, ok := f.values[name]; !ok {
		f.names = append(f.names, name)
	}
	f.values[name] = v
}

func (f *fields) drop(name string) {
	delete(f.values, name)
	f.names = slices.DeleteFunc(f.names, func(n string) bool { return n == name })
}

// merge sets every field of other.
func (f *fields) merge(other *fields) {
	for _, n := range other.names {
		f.set(n, other.values[n])
	}
}

func (f *fields) clone() *fields {
	c := newFields()
	c.merge(f)
	return c
}

// text gives a field that is a string, or "".
func (f *fields) text(name string) string {
	s, _ := f.values[name].(string)
	return s
}

// formDepth bounds how deep a form may be nested; a fault book is seven deep.
const formDepth = 24

// parseForm reads a form that must be an object; an empty form has no fields.
func parseForm(form Form) (*fields, error) {
	if len(bytes.TrimSpace(form)) == 0 || string(bytes.TrimSpace(form)) == "null" {
		return newFields(), nil
	}
	v, err := parseTree(form)
	if err != nil {
		return nil, err
	}
	f, ok := v.(*fields)
	if !ok {
		return nil, fmt.Errorf("an object with named fields is expected")
	}
	return f, nil
}

// OneOfEach refuses JSON in which a field stands twice: which of the two is meant, nobody
// knows.
func OneOfEach(body []byte) error {
	_, err := parseTree(body)
	return err
}

func parseTree(form Form) (any, error) {
	d := json.NewDecoder(bytes.NewReader(form))
	d.UseNumber()
	v, err := treeOf(d, 0)
	if err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, fmt.Errorf("more follows after the end of the value")
	}
	return v, nil
}

func treeOf(d *json.Decoder, depth int) (any, error) {
	if depth > formDepth {
		return nil, fmt.Errorf("nested more than %d deep", formDepth)
	}
	tok, err := d.Token()
	if err != nil {
		return nil, fmt.Errorf("not JSON: %w", err)
	}
	switch tok {
	case json.Delim('{'):
		f := newFields()
		for d.More() {
			name, err := d.Token()
			if err != nil {
				return nil, fmt.Errorf("not JSON: %w", err)
			}
			key, _ := name.(string)
			if _, twice := f.values[key]; twice {
				return nil, fmt.Errorf("field %q stands twice", key)
			}
			v, err := treeOf(d, depth+1)
			if err != nil {
				return nil, err
			}
			f.set(key, v)
		}
		_, err := d.Token()
		return f, err
	case json.Delim('['):
		list := []any{}
		for d.More() {
			v, err := treeOf(d, depth+1)
			if err != nil {
				return nil, err
			}
			list = append(list, v)
		}
		_, err := d.Token()
		return list, err
	}
	return tok, nil
}

// plainWord is a text that YAML reads as text without quotes, whatever schema it
// follows; everything else is quoted.
var plainWord = regexp.MustCompile(`^[a-zA-Z][a-zA-Z_]*(?: [a-zA-Z_]+)*$`)

// notPlain are words that YAML reads as something else than text.
var notPlain = map[string]bool{"true": true, "false": true, "null": true, "yes": true, "no": true, "on": true, "off": true, "y": true, "n": true, "nan": true, "inf": true}

func scalarText(v any) string {
	switch v := v.(type) {
	case nil:
		return "null"
	case bool:
		return fmt.Sprint(v)
	case json.Number:
		return v.String()
	case string:
		if plainWord.MatchString(v) && !notPlain[strings.ToLower(v)] {
			return v
		}
		return quoted(v)
	}
	return fmt.Sprint(v)
}

// quoted is a JSON string, which is a YAML string too.
func quoted(s string) string {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	_ = e.Encode(s) // a string always encodes
	return strings.TrimSuffix(b.String(), "\n")
}

// writeYAML writes fields as a block.
func writeYAML(b *strings.Builder, f *fields, indent string) {
	for i, n := range f.names {
		if i > 0 {
			b.WriteString(indent)
		}
		b.WriteString(scalarText(n))
		b.WriteString(":")
		writeValue(b, f.values[n], indent+"  ")
	}
}

func writeValue(b *strings.Builder, v any, indent string) {
	switch v := v.(type) {
	case *fields:
		if len(v.names) == 0 {
			b.WriteString(" {}\n")
			return
		}
		b.WriteString("\n" + indent)
		writeYAML(b, v, indent)
	case []any:
		if !slices.ContainsFunc(v, func(e any) bool { return !isScalar(e) }) {
			b.WriteString(" [")
			for i, e := range v {
				if i > 0 {
					b.WriteString(", ")
				}
				b.WriteString(scalarText(e))
			}
			b.WriteString("]\n")
			return
		}
		b.WriteString("\n")
		for _, e := range v {
			b.WriteString(indent + "-")
			if f, ok := e.(*fields); ok && len(f.names) > 0 {
				b.WriteString(" ")
				writeYAML(b, f, indent+"  ")
				continue
			}
			writeValue(b, e, indent+"  ")
		}
	default:
		b.WriteString(" " + scalarText(v) + "\n")
	}
}

func isScalar(v any) bool {
	switch v.(type) {
	case *fields, []any:
		return false
	}
	return true
}

// MarshalJSON writes the fields in their order.
func (f *fields) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, n := range f.names {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(quoted(n) + ":")
		v, err := json.Marshal(f.values[n])
		if err != nil {
			return nil, err
		}
		b.Write(v)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}
