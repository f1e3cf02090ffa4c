package schema

import (
	"bytes"
	"encoding/json"
	"flag"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"reflect"
	"strings"
	"testing"

	"proveout/book"
	"proveout/job"
	"proveout/procedure"
)

var update = flag.Bool("update", false, "write job.json and book.json anew")

// The published schemas are what the Go types say; run with -update after a
// change of the types.
func TestSchemasFollowTheTypes(t *testing.T) {
	for name, text := range map[string][]byte{"job": jobSchema(t), "book": bookSchema(t), "procedure": procedureSchema(t)} {
		if *update {
			if err := os.WriteFile(name+".json", text, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		if have, _ := Get(name); !bytes.Equal(have, text) {
			t.Errorf("%s.json differs from the Go types; run go test ./schema -update and look at the difference", name)
		}
	}
}

func jobSchema(t *testing.T) []byte {
	g := newGenerator(t)
	return g.document("urn:proveout:schema:job:1", "Proveout job file", "One YAML or JSON file at the top of a job folder; see docs/job-folder.md.",
		reflect.TypeFor[job.File](), job.SchemaID, []string{"vehicle"})
}

func bookSchema(t *testing.T) []byte {
	g := newGenerator(t)
	return g.document("urn:proveout:schema:book:1", "Proveout fault book", "Components, faults, tests and likelihoods as data; see docs/fault-book.md.",
		reflect.TypeFor[book.Book](), book.SchemaID, []string{"schema", "id", "version", "title", "sources"})
}

func procedureSchema(t *testing.T) []byte {
	g := newGenerator(t)
	return g.document("urn:proveout:schema:procedure:1", "Proveout procedure", "A service with a set order as data; see docs/procedures.md.",
		reflect.TypeFor[procedure.File](), procedure.SchemaID, []string{"schema", "id", "version", "title", "summary", "override", "systems", "sources", "steps", "interrupt", "rest"})
}

// words are the values a field may hold, in the spelling to write.
var words = map[string][]string{
	"job.Engine.Arrangement": {"inline", "vee", "flat"}, "job.Engine.Ignition": {"coil_on_plug", "waste_spark", "distributor", "none"},
	"job.Engine.Injection": {"port", "direct"}, "job.Engine.Fuel": {"petrol", "diesel", "lpg", "cng", "ethanol"}, "job.Engine.Access": {"easy", "buried"},
	"job.Conditions.State": append([]string{"any", "unknown"}, book.StateWords...), "job.Conditions.Hill": {"yes", "no", "unknown"},
	"job.Conditions.Warm": {"cold", "warm", "hot", "any", "unknown"}, "job.Conditions.Wet": {"dry", "damp", "wet", "any", "unknown"}, "job.Conditions.Lamp": {"off", "steady", "flashing", "unknown"},
	"job.History.Facts": {"yes", "no", "unknown"}, "job.Where.Corner": {"front_left", "front_right", "rear_left", "rear_right"},
	"job.Condition.State": book.StateWords, "job.Condition.Warm": {"cold", "warm", "hot", "unknown"}, "job.Condition.Wet": {"dry", "damp", "wet", "unknown"},
	"job.Capture.When": {"before", "after"}, "job.Reading.When": {"before", "after"}, "job.Capture.Delimiter": {",", ";", "tab", "space", "|"}, "job.Capture.Decimal": {".", ","},
	"job.Approval.How": {"signed", "phone", "message", "in_person"}, "job.Drive.As": {"before", "found", "cause"}, "job.Proof.By": {"road", "measured", "old_part_back"},
	"job.Proof.LoadWithin": {"points", "relative"}, "job.FaultWindow.Warm": {"cold", "warm", "hot", "any", "unknown"},
	"job.OldPartTried.CameBack": {"yes", "no", "unknown"}, "job.OldPartTried.Gone": {"yes", "no", "unknown"},
	"job.Overrule.State":    {"open", "suspected", "ruled_out", "shown"},
	"job.Tried.Fitted":      {"new", "used", "known_good", "mended"},
	"job.Tried.Result":      {"stays", "gone", "returned", "stays_gone", "unknown"},
	"job.Search.Order":      {"ends", "bits", "cost"},
	"procedure.Hazard.Word": procedure.SignalWords, "procedure.Figure.Limit": procedure.FigureLimits, "procedure.Mean.How": procedure.Hows, "procedure.Gate.How": procedure.Hows, "procedure.Step.For": {"left", "right"},
	"procedure.Step.Who": {"technician", "second_person", "module"}, "procedure.Wait.Broken": {"wait", "step"}, "procedure.Guard.Busy": {"hands", "command"},
	"procedure.RecoveryRule.Class": {"R0", "R1", "R2", "R3", "R4", "R5"},
	"book.Layout.Fuel":             {"petrol", "diesel", "lpg", "cng", "ethanol"}, "book.Layout.Ignition": {"coil_on_plug", "waste_spark", "distributor", "none"}, "book.Layout.Injection": {"port", "direct"},
	"book.Hazard.Word": {"DANGER", "WARNING", "CAUTION", "NOTICE"}, "book.Feature.Per": {"cylinder", "bank", "engine", "pair"},
	"book.Component.Per": {"cylinder", "coil_pair", "neighbours", "bank", "engine"}, "book.Test.Per": {"cylinder", "coil_pair", "neighbours", "bank", "engine"},
	"book.Fault.Only": {"hot", "cold", "wet"}, "book.Test.At": book.StateWords, "book.Reads.Versus": {"others", "difference", "limit", "absolute", "count"},
}

// required are the fields a type must have.
var required = map[string][]string{
	"procedure.Hazard": {"word", "text", "do"}, "procedure.Wording": {"when", "do"}, "procedure.Figure": {"id", "ask", "unit", "limit", "limit_ask"}, "procedure.Mean": {"how", "text"}, "procedure.Gate": {"id", "text", "how"}, "procedure.Question": {"id", "ask", "answers"},
	"procedure.Answer": {"id", "text"}, "procedure.Watch": {"id", "quantity", "point", "debounce", "rate", "max_age", "blind"}, "procedure.RecoveryRule": {"class", "text"},
	"procedure.Rule": {"id", "text"}, "procedure.SourceNote": {"id", "text"}, "procedure.Step": {"id"}, "procedure.Fact": {"id", "values"}, "procedure.Danger": {"text", "while"},
	"job.Vehicle": {"engine"}, "job.Engine": {"cylinders"}, "job.Capture": {"file"}, "job.Column": {"column", "as"}, "job.Limit": {"feature"},
	"job.Overrule": {"suspect", "state", "reason", "who"}, "job.Correction": {"done"}, "job.Tried": {"part", "result"},
	"book.Hazard": {"word", "text"}, "book.Access": {"easy", "buried"}, "book.Feature": {"name", "unit", "per"}, "book.Component": {"id", "name", "per"},
	"book.Fault": {"id", "component", "name", "rate"}, "book.Factor": {"fact", "times"}, "book.Test": {"id", "name", "per", "outcomes", "healthy", "given", "minutes"},
	"book.Reads": {"feature", "versus"}, "book.Outcome": {"id", "text"}, "book.Minutes": {"easy", "buried"},
}

// object keeps the order of its members.
type object []member

type member struct {
	key string
	val any
}

func (o object) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, m := range o {
		if i > 0 {
			b.WriteByte(',')
		}
		k, _ := json.Marshal(m.key)
		v, err := plain(m.val)
		if err != nil {
			return nil, err
		}
		b.Write(append(append(k, ':'), v...))
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// plain is json.Marshal without turning < > & into escapes.
func plain(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(v)
	return bytes.TrimSpace(b.Bytes()), err
}

type generator struct {
	t        *testing.T
	comments map[string]string // "job.Vehicle.VIN" and "job.Vehicle" to their comment
	defs     object
	done     map[string]bool
}

func newGenerator(t *testing.T) *generator {
	g := &generator{t: t, comments: map[string]string{}, done: map[string]bool{}}
	for _, src := range [][2]string{{"job", "../job/file.go"}, {"job", "../job/known.go"}, {"job", "../job/repair.go"}, {"book", "../book/types.go"}, {"procedure", "../procedure/file.go"}, {"procedure", "../procedure/guard.go"}} {
		pkg, file := src[0], src[1]
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range parsed.Decls {
			gd, ok := d.(*ast.GenDecl)
			if !ok {
				continue
			}
			for _, s := range gd.Specs {
				ts, ok := s.(*ast.TypeSpec)
				if !ok {
					continue
				}
				g.comments[pkg+"."+ts.Name.Name] = line(gd.Doc.Text())
				if st, ok := ts.Type.(*ast.StructType); ok {
					for _, f := range st.Fields.List {
						for _, n := range f.Names {
							g.comments[pkg+"."+ts.Name.Name+"."+n.Name] = line(f.Doc.Text() + " " + f.Comment.Text())
						}
					}
				}
			}
		}
	}
	return g
}

func line(s string) string { return strings.Join(strings.Fields(s), " ") }

func (g *generator) document(id, title, text string, root reflect.Type, schemaID string, need []string) []byte {
	body := g.structure(root)
	for i, m := range body {
		if m.key == "properties" {
			props := m.val.(object)
			for j := range props {
				if props[j].key == "schema" {
					props[j].val = object{{"const", schemaID}}
				}
			}
			body[i].val = props
		}
	}
	doc := object{{"$schema", "https://json-schema.org/draft/2020-12/schema"}, {"$id", id}, {"title", title}, {"description", text}}
	doc = append(doc, body...)
	doc = append(doc, member{"required", need}, member{"$defs", append(g.defs, shared...)})
	raw, err := plain(doc)
	if err != nil {
		g.t.Fatal(err)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, raw, "", "  "); err != nil {
		g.t.Fatal(err)
	}
	out.WriteByte('\n')
	return out.Bytes()
}

// shared are the scalars as the decoder reads them: text stays as written, so a
// bare 3 or true is text too.
var shared = object{
	{"text", object{{"type", []string{"string", "number", "boolean"}}}},
	{"yes_or_no", object{{"enum", []any{true, false, "yes", "no", "true", "false", "on", "off"}}}},
	{"number_with_source", object{
		{"description", "[0.25, EST]: a number and the tag of its source. A bare number is the author's own estimate."},
		{"oneOf", []any{object{{"type", "number"}}, object{{"type", "array"}, {"prefixItems", []any{object{{"type", "number"}}, object{{"type", "string"}}}}, {"minItems", 2}, {"items", false}}}},
	}},
	{"row", object{
		{"description", "{high: 0.85, low: 0.02, src: EST, where: own}: chances by outcome id. An outcome not named takes what is left, in proportion to healthy."},
		{"type", "object"}, {"properties", object{{"src", object{{"type", "string"}}}, {"where", object{{"enum", []string{"own", "other", "any"}}}}}},
		{"additionalProperties", object{{"type", "number"}, {"minimum", 0}, {"maximum", 1}}},
	}},
	{"numbered", object{
		{"description", "One for each cylinder (bank, pair): {1: 1.42 mm, 2: 1.45 mm}, or a list in order with ~ for one that was not measured."},
		{"oneOf", []any{
			object{{"type", "object"}, {"additionalProperties", object{{"$ref", "#/$defs/text"}}}},
			object{{"type", "array"}, {"items", object{{"type", []string{"string", "number", "boolean", "null"}}}}},
		}},
	}},
}

var (
	numType      = reflect.TypeFor[book.Num]()
	rowType      = reflect.TypeFor[book.Row]()
	numberedType = reflect.TypeFor[job.Numbered]()
)

func ref(name string) object { return object{{"$ref", "#/$defs/" + name}} }

// of gives the schema of a type; name is "job.Vehicle.VIN" for its words.
func (g *generator) of(t reflect.Type, name, suffix string) object {
	switch t {
	case numType:
		return ref("number_with_source")
	case rowType:
		return ref("row")
	case numberedType:
		return ref("numbered")
	}
	switch t.Kind() {
	case reflect.Pointer:
		return g.of(t.Elem(), name, suffix)
	case reflect.String:
		if w := words[name]; w != nil {
			if w[0] == "yes" {
				return object{{"enum", []any{"yes", "no", "unknown", true, false}}}
			}
			return object{{"enum", w}}
		}
		return ref("text")
	case reflect.Bool:
		return ref("yes_or_no")
	case reflect.Int:
		return object{{"type", "integer"}}
	case reflect.Float64:
		if suffix != "" {
			return object{{"anyOf", []any{object{{"type", "number"}}, object{{"type", "string"}, {"pattern", "^[0-9.]+ *" + suffix + "$"}}}}}
		}
		return object{{"type", "number"}}
	case reflect.Slice:
		item := g.of(t.Elem(), name, suffix)
		list := object{{"type", "array"}, {"items", item}}
		if k := t.Elem().Kind(); k == reflect.String || k == reflect.Int {
			return object{{"anyOf", []any{list, item}}} // one alone is a list of one
		}
		return list
	case reflect.Map:
		return object{{"type", "object"}, {"additionalProperties", g.of(t.Elem(), name, suffix)}}
	case reflect.Struct:
		def := strings.ToLower(t.String())
		if !g.done[def] {
			g.done[def] = true
			i := len(g.defs)
			g.defs = append(g.defs, member{def, nil})
			g.defs[i].val = g.definition(t)
		}
		return ref(def)
	}
	g.t.Fatalf("%s: no schema for %v", name, t)
	return nil
}

func (g *generator) definition(t reflect.Type) object {
	s := g.structure(t)
	if need := required[t.String()]; need != nil {
		s = append(s, member{"required", need})
	}
	if t == reflect.TypeFor[job.Reading]() {
		s = append(s, member{"anyOf", []any{object{{"required", []string{"test"}}}, object{{"required", []string{"feature"}}}}})
	}
	out := object{}
	if c := g.comments[t.String()]; c != "" {
		out = object{{"description", c}}
	}
	for i := range t.NumField() {
		if f := t.Field(i); f.Tag.Get("alone") != "" {
			return append(out, member{"anyOf", []any{g.of(f.Type, t.String()+"."+f.Name, ""), s}})
		}
	}
	return append(out, s...)
}

// structure is the schema of a struct without what it must have.
func (g *generator) structure(t reflect.Type) object {
	var props object
	var add func(t reflect.Type)
	add = func(t reflect.Type) {
		for i := range t.NumField() {
			f := t.Field(i)
			name, opts, _ := strings.Cut(f.Tag.Get("yaml"), ",")
			if opts == "inline" {
				add(f.Type)
				continue
			}
			if name == "" {
				continue
			}
			full := t.String() + "." + f.Name
			s := g.of(f.Type, full, f.Tag.Get("suffix"))
			if c := g.comments[full]; c != "" {
				s = append(object{{"description", c}}, s...)
			}
			props = append(props, member{name, s})
			for also := range strings.FieldsSeq(f.Tag.Get("also")) {
				props = append(props, member{also, append(object{{"description", "The same as " + name + "."}}, g.of(f.Type, full, f.Tag.Get("suffix"))...)})
			}
		}
	}
	add(t)
	return object{{"type", "object"}, {"properties", props}, {"additionalProperties", false}}
}
