package openapi

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp/syntax"
	"slices"
	"strings"

	"github.com/pb33f/libopenapi/datamodel/high/base"
)

// drawer draws values that fit a schema. What answers held under a name (ids, digests,
// entries) is drawn again under that name, so that requests find things that are there.
type drawer struct {
	*rand.Rand
	seen    map[string][]any // by name of the property
	entries []map[string]any // with type and payload
	items   [][2]any         // a job and one of its items
	runs    []run
}

// run is a run of a procedure, with what a meter needs to send to it.
type run struct{ job, id, watch, token string }

// sameAs are names under which an answer gives what a request calls otherwise.
var sameAs = map[string]string{"step": "id", "outcome": "id", "kind": "kind of event", "watch": "id"}

const mostKept = 400

// learn keeps what an answer holds.
func (d *drawer) learn(name string, v any) {
	switch v := v.(type) {
	case map[string]any:
		if _, ok := v["payload"].(map[string]any); ok && v["type"] != nil && len(d.entries) < mostKept {
			d.entries = append(d.entries, v)
		}
		if list, ok := v["items"].([]any); ok && len(d.items) < mostKept {
			for _, it := range list {
				if m, ok := it.(map[string]any); ok && v["job"] != nil && m["item"] != nil {
					d.items = append(d.items, [2]any{v["job"], m["item"]})
				}
			}
		}
		for _, k := range names(v) {
			d.learn(k, v[k])
		}
	case []any:
		for _, e := range v {
			d.learn(name, e)
		}
	case string, float64:
		if len(d.seen[name]) < mostKept && !slices.Contains(d.seen[name], v) {
			d.seen[name] = append(d.seen[name], v)
		}
	}
}

func (d *drawer) one(of ...any) any { return of[d.IntN(len(of))] }

// value draws one that fits the schema.
func (d *drawer) value(p *base.SchemaProxy, name string, depth int) any {
	if p == nil {
		return d.anything(depth)
	}
	s := p.Schema()
	if s == nil {
		return d.anything(depth)
	}
	if either := slices.Concat(s.OneOf, s.AnyOf); len(either) > 0 {
		return d.value(either[d.IntN(len(either))], name, depth+1)
	}
	if len(s.Enum) > 0 {
		var v any
		if s.Enum[d.IntN(len(s.Enum))].Decode(&v) == nil {
			return v
		}
	}
	kind := ""
	if len(s.Type) > 0 {
		kind = s.Type[d.IntN(len(s.Type))]
	}
	switch kind {
	case "object":
		return d.object(s, depth)
	case "array":
		return d.array(s, name, depth)
	case "string":
		return d.text(s, name)
	case "integer":
		return d.integer(s, name)
	case "number":
		return d.NormFloat64() * 100
	case "boolean":
		return d.IntN(2) == 0
	case "null":
		return nil
	}
	return d.anything(depth)
}

func (d *drawer) object(s *base.Schema, depth int) any {
	m := map[string]any{}
	for name, p := range s.Properties.FromOldest() {
		if sc := p.Schema(); sc != nil && sc.ReadOnly != nil && *sc.ReadOnly {
			continue
		}
		if slices.Contains(s.Required, name) || depth < 6 && d.IntN(3) == 0 {
			m[name] = d.value(p, name, depth+1)
		}
	}
	// An entry that stands in a record already, sent as a new one: the payloads have forms
	// that this document leaves to others.
	if _, ok := m["type"]; ok && len(d.entries) > 0 && s.Properties.GetOrZero("payload") != nil && d.IntN(5) > 0 {
		e := d.entries[d.IntN(len(d.entries))]
		m["type"], m["payload"] = e["type"], copied(e["payload"])
	}
	return m
}

func (d *drawer) array(s *base.Schema, name string, depth int) any {
	least, most := int64(0), int64(4)
	if s.MinItems != nil {
		least = *s.MinItems
	}
	if s.MaxItems != nil {
		most = min(most, *s.MaxItems)
	}
	list := []any{}
	for range least + d.Int64N(max(1, most-least+1)) {
		var of *base.SchemaProxy
		if s.Items != nil && s.Items.IsA() {
			of = s.Items.A
		}
		list = append(list, d.value(of, name, depth+1))
	}
	return list
}

func (d *drawer) text(s *base.Schema, name string) string {
	name = cmp.Or(sameAs[name], name)
	if known := d.seen[name]; len(known) > 0 && d.IntN(5) > 0 {
		if v, ok := known[d.IntN(len(known))].(string); ok {
			return v
		}
	}
	v := ""
	switch {
	case s.Pattern != "":
		if re, err := syntax.Parse(s.Pattern, syntax.Perl); err == nil {
			v = d.matching(re)
		}
	case s.Format == "date-time":
		v = fmt.Sprintf("20%02d-%02d-%02dT%02d:%02d:%02dZ", d.IntN(99), 1+d.IntN(12), 1+d.IntN(28), d.IntN(24), d.IntN(60), d.IntN(60))
	case s.Format != "":
		v = "/x"
	default:
		words := []string{"plug", "cyl3", "Ünïcode ✓", "stumbles on the hill", "1.05 mm", "2417", "a", "x"}
		for range 1 + d.IntN(3) {
			v += words[d.IntN(len(words))]
		}
		v += fmt.Sprint(d.IntN(1000))
	}
	r := []rune(v)
	for s.MinLength != nil && int64(len(r)) < *s.MinLength {
		r = append(r, 'x')
	}
	if s.MaxLength != nil && int64(len(r)) > *s.MaxLength {
		r = r[:*s.MaxLength]
	}
	return string(r)
}

// matching draws a text that a pattern takes; the forms that an API's patterns use.
func (d *drawer) matching(re *syntax.Regexp) string {
	switch re.Op {
	case syntax.OpLiteral:
		return string(re.Rune)
	case syntax.OpCharClass:
		i := 2 * d.IntN(len(re.Rune)/2)
		return string(re.Rune[i] + rune(d.IntN(int(min(re.Rune[i+1], 126)-re.Rune[i])+1)))
	case syntax.OpConcat, syntax.OpCapture:
		var b strings.Builder
		for _, s := range re.Sub {
			b.WriteString(d.matching(s))
		}
		return b.String()
	case syntax.OpAlternate:
		return d.matching(re.Sub[d.IntN(len(re.Sub))])
	case syntax.OpRepeat, syntax.OpStar, syntax.OpPlus, syntax.OpQuest:
		least, most := re.Min, re.Max
		switch re.Op {
		case syntax.OpStar:
			least, most = 0, 5
		case syntax.OpPlus:
			least, most = 1, 6
		case syntax.OpQuest:
			least, most = 0, 1
		}
		if most < 0 {
			most = least + 5
		}
		var b strings.Builder
		for range least + d.IntN(most-least+1) {
			b.WriteString(d.matching(re.Sub[0]))
		}
		return b.String()
	}
	return ""
}

func (d *drawer) integer(s *base.Schema, name string) any {
	if known := d.seen[name]; len(known) > 0 && d.IntN(2) == 0 {
		if v, ok := known[d.IntN(len(known))].(float64); ok && (s.Minimum == nil || v >= *s.Minimum) && (s.Maximum == nil || v <= *s.Maximum) && v == math.Trunc(v) {
			return int64(v)
		}
	}
	least, most := -3.0, 1000.0
	if s.Minimum != nil {
		least, most = *s.Minimum, *s.Minimum+1000
	}
	if s.Maximum != nil {
		most = min(most, *s.Maximum)
		if d.IntN(20) == 0 {
			return int64(*s.Maximum)
		}
	}
	return int64(least) + d.Int64N(max(1, int64(most-least)+1))
}

// anything is what fits a schema that says nothing.
func (d *drawer) anything(depth int) any {
	if depth > 6 {
		return nil
	}
	if len(d.entries) > 0 && d.IntN(2) == 0 {
		return copied(d.entries[d.IntN(len(d.entries))]["payload"])
	}
	switch d.IntN(6) {
	case 0:
		return map[string]any{"text": d.anything(depth + 1), "item": d.IntN(9)}
	case 1:
		return []any{d.anything(depth + 1)}
	}
	return d.odd()
}

// odd are values that people and programs break things with.
func (d *drawer) odd() any {
	return d.one(nil, "", "\x00", "../../etc/passwd", "<script>alert(1)</script>", "'; drop table entries; --", strings.Repeat("x", 3000), -1, 0, 1e308, 9007199254740993, int64(math.MaxInt64-1023), 1.5, true,
		[]any{}, map[string]any{}, []any{[]any{[]any{}}}, "2026-13-45T99:99:99Z", "NaN", "\u202e", "𝔘", "cyl99", "=1+1", `a"b\c`)
}

// broken changes one place of a value: another value, another type, a field less, a field more.
func (d *drawer) broken(v any) any {
	switch v := v.(type) {
	case map[string]any:
		keys := names(v)
		if len(keys) == 0 || d.IntN(6) == 0 {
			v["unheard_of"] = d.odd()
			return v
		}
		k := keys[d.IntN(len(keys))]
		switch d.IntN(4) {
		case 0:
			delete(v, k)
		case 1:
			v[k] = d.odd()
		default:
			v[k] = d.broken(v[k])
		}
		return v
	case []any:
		if len(v) == 0 || d.IntN(3) == 0 {
			for range d.IntN(300) {
				v = append(v, d.odd())
			}
			return v
		}
		i := d.IntN(len(v))
		v[i] = d.broken(v[i])
		return v
	}
	return d.odd()
}

// copied is the same value with nothing shared.
func copied(v any) any {
	var out any
	if data, err := json.Marshal(v); err == nil {
		_ = json.Unmarshal(data, &out) // what was just written reads
	}
	return out
}

func names(m map[string]any) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
