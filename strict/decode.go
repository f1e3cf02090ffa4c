package strict

import (
	"fmt"
	"math"
	"reflect"
	"sort"
	"strconv"
	"strings"
)

// Reader is a type that reads itself from a node, such as a number with its
// source. It reports what is wrong with fail; n may be of any kind but Null.
type Reader interface {
	ReadNode(n *Node, fail func(at *Node, format string, args ...any))
}

var readerType = reflect.TypeFor[Reader]()

// Decode fills the value v points to from a node of a document and reports all
// that does not fit. Steps are the path from the root to n, for messages.
//
// Field names are those of the "yaml" struct tag; "also" gives a second
// spelling, "suffix" a unit that may follow a number ("2500 rpm"), and "alone"
// marks the field that a single value stands for where fields are expected.
// Unknown fields and fields given twice are errors. A single value
// where a list is expected is a list of one. An empty value leaves the field as
// it is. Strings take a single value as written, numbers must be finite,
// booleans are yes/no or true/false.
func Decode(d *Document, n *Node, v any, steps ...any) []Problem {
	dec := &decoder{name: d.Name, shapes: map[reflect.Type]*shape{}}
	dec.value(n, reflect.ValueOf(v).Elem(), &trail{steps: steps})
	return dec.problems
}

type decoder struct {
	name     string
	problems []Problem
	shapes   map[reflect.Type]*shape
}

// trail is the path to the value being read; it is written out only for messages.
type trail struct {
	up    *trail
	step  any
	steps []any // of the first one
}

func (t *trail) path() string {
	var s []any
	for ; t.up != nil; t = t.up {
		s = append([]any{t.step}, s...)
	}
	return PathOf(append(append([]any(nil), t.steps...), s...)...)
}

// full reports whether enough problems were found to stop looking for more.
func (d *decoder) full() bool { return len(d.problems) >= MaxProblems }

func (d *decoder) fail(n *Node, t *trail, format string, args ...any) {
	if d.full() {
		return
	}
	if len(d.problems) == MaxProblems-1 {
		format, args = "and more; what follows is not listed, put these right first", nil
	}
	d.problems = append(d.problems, Problem{File: d.name, Line: n.Line, Column: n.Column, Path: t.path(), Text: fmt.Sprintf(format, args...), Severity: Error})
}

func (d *decoder) value(n *Node, v reflect.Value, t *trail) {
	if n == nil || n.Kind == Null || d.full() {
		return
	}
	if v.CanAddr() && v.Addr().Type().Implements(readerType) {
		v.Addr().Interface().(Reader).ReadNode(n, func(at *Node, format string, args ...any) { d.fail(at, t, format, args...) })
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		p := reflect.New(v.Type().Elem())
		d.value(n, p.Elem(), t)
		v.Set(p)
	case reflect.Struct:
		d.fields(n, v, t)
	case reflect.Slice:
		items := n.Items
		switch n.Kind {
		case Scalar:
			if k := v.Type().Elem().Kind(); k != reflect.String && k != reflect.Int {
				d.fail(n, t, "%s is given where a list is expected; begin each entry with \"- \"", quote(n))
				return
			}
			items = []*Node{n}
		case Map:
			d.fail(n, t, "fields are given where a list is expected; begin each entry with \"- \"")
			return
		}
		s := reflect.MakeSlice(v.Type(), len(items), len(items))
		for i, it := range items {
			if it.Kind == Null {
				d.fail(it, &trail{up: t, step: i}, "the entry is empty; fill it in or delete the \"-\"")
				continue
			}
			d.value(it, s.Index(i), &trail{up: t, step: i})
		}
		v.Set(s)
	case reflect.Map:
		d.entries(n, v, t)
	default:
		d.scalar(n, v, t)
	}
}

func (d *decoder) scalar(n *Node, v reflect.Value, t *trail) {
	if n.Kind != Scalar {
		d.fail(n, t, "%s given where a single value is expected%s", given(n), example(v.Kind()))
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(n.Text)
	case reflect.Bool:
		b, ok := Bool(n.Text)
		if !ok {
			d.fail(n, t, "%s is neither yes nor no; write yes or no", quote(n))
			return
		}
		v.SetBool(b)
	case reflect.Int:
		i, err := strconv.Atoi(n.Text)
		if err != nil || v.OverflowInt(int64(i)) {
			d.fail(n, t, "%s is not a whole number; write for example 3", quote(n))
			return
		}
		v.SetInt(int64(i))
	case reflect.Float64:
		f, err := Number(n)
		if err != nil {
			d.fail(n, t, "%s", err)
			return
		}
		v.SetFloat(f)
	default:
		// A Go type this package does not read is the programmer's error.
		panic("strict: cannot read into " + v.Type().String())
	}
}

func (d *decoder) entries(n *Node, v reflect.Value, t *trail) {
	if n.Kind != Map {
		d.fail(n, t, "%s given where named entries are expected; write name: value", given(n))
		return
	}
	m := reflect.MakeMapWithSize(v.Type(), len(n.Pairs))
	seen := make(map[string]Pair, len(n.Pairs))
	for _, p := range n.Pairs {
		at := &trail{up: t, step: p.Key}
		if first, twice := seen[p.Key]; twice {
			d.fail(&Node{Line: p.Line, Column: p.Column}, at, "given twice, first in line %d; keep one", first.Line)
			continue
		}
		seen[p.Key] = p
		e := reflect.New(v.Type().Elem()).Elem()
		d.value(p.Value, e, at)
		m.SetMapIndex(reflect.ValueOf(p.Key).Convert(v.Type().Key()), e)
	}
	v.Set(m)
}

// shape is the fields of a struct type by every name they may have.
type shape struct {
	byName map[string]field
	alone  string   // the field that a single value stands for
	names  []string // the main names, in order
}

type field struct {
	name   string
	index  []int
	suffix string
}

func (d *decoder) shapeOf(rt reflect.Type) *shape {
	if s := d.shapes[rt]; s != nil {
		return s
	}
	s := &shape{byName: map[string]field{}}
	s.add(rt, nil)
	d.shapes[rt] = s
	return s
}

func (s *shape) add(rt reflect.Type, index []int) {
	for i := range rt.NumField() {
		f := rt.Field(i)
		at := append(append([]int(nil), index...), i)
		name, opts, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		if opts == "inline" {
			s.add(f.Type, at)
			continue
		}
		if name == "" || name == "-" || !f.IsExported() {
			continue
		}
		fd := field{name, at, f.Tag.Get("suffix")}
		s.byName[name] = fd
		s.names = append(s.names, name)
		if f.Tag.Get("alone") != "" {
			s.alone = name
		}
		for also := range strings.FieldsSeq(f.Tag.Get("also")) {
			s.byName[also] = fd
		}
	}
}

func (d *decoder) fields(n *Node, v reflect.Value, t *trail) {
	s := d.shapeOf(v.Type())
	if n.Kind != Map && (n.Kind != Scalar || s.alone == "") {
		d.fail(n, t, "%s given where fields are expected; write name: value", given(n))
		return
	}
	if n.Kind == Scalar {
		n = &Node{Kind: Map, Line: n.Line, Column: n.Column, Pairs: []Pair{{s.alone, n.Line, n.Column, n}}}
	}
	seen := make(map[string]Pair, len(n.Pairs))
	for _, p := range n.Pairs {
		at := &trail{up: t, step: p.Key}
		f, ok := s.byName[p.Key]
		if !ok && d.full() {
			return
		}
		if !ok {
			d.fail(&Node{Line: p.Line, Column: p.Column}, at, "there is no such field; %s", nearest(p.Key, s.names))
			continue
		}
		if first, twice := seen[f.name]; twice {
			if first.Key != p.Key {
				d.fail(&Node{Line: p.Line, Column: p.Column}, at, "is another spelling of %q, already given in line %d; keep one", first.Key, first.Line)
			} else {
				d.fail(&Node{Line: p.Line, Column: p.Column}, at, "given twice, first in line %d; keep one", first.Line)
			}
			continue
		}
		seen[f.name] = p
		val := p.Value
		if f.suffix != "" && val.Kind == Scalar {
			bare := *val
			bare.Text = strings.TrimSpace(strings.TrimSuffix(val.Text, f.suffix))
			val = &bare
		}
		d.value(val, v.FieldByIndex(f.index), at)
	}
}

// Number reads a finite number. A decimal comma is not accepted here: in a list
// it would be two numbers.
func Number(n *Node) (float64, error) {
	if n.Kind != Scalar {
		return 0, fmt.Errorf("%s given where a number is expected; write for example 0.25", given(n))
	}
	f, err := strconv.ParseFloat(n.Text, 64)
	switch strings.ToLower(strings.TrimLeft(n.Text, "+-")) {
	case ".inf", ".nan":
		f, err = math.NaN(), nil
	}
	if err != nil && math.IsInf(f, 0) {
		return 0, fmt.Errorf("%s is too large for a number", quote(n))
	}
	if err != nil || strings.ContainsAny(n.Text, "_xXpP") {
		return 0, fmt.Errorf("%s is not a number; write for example 0.25", quote(n))
	}
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return 0, fmt.Errorf("%s is not a number that can be measured; write a finite number or leave the field out", quote(n))
	}
	return f, nil
}

// Bool reads yes/no, true/false, on/off without regard to case.
func Bool(s string) (value, ok bool) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "yes", "true", "on", "y":
		return true, true
	case "no", "false", "off", "n":
		return false, true
	}
	return false, false
}

func given(n *Node) string {
	switch n.Kind {
	case List:
		return "a list is"
	case Map:
		return "fields are"
	}
	return quote(n) + " is"
}

func quote(n *Node) string { return Quote(n.Text) }

// Quote puts text into double quotes for a message, cut to 60 characters.
func Quote(s string) string {
	if r := []rune(s); len(r) > 60 {
		s = string(r[:57]) + "..."
	}
	return strconv.Quote(s)
}

func example(k reflect.Kind) string {
	switch k {
	case reflect.Bool:
		return "; write yes or no"
	case reflect.Int:
		return "; write for example 3"
	case reflect.Float64:
		return "; write for example 0.25"
	}
	return ""
}

// nearest says which name was probably meant, or lists all.
func nearest(key string, names []string) string {
	if s := Nearest(key, names); s != "" {
		return fmt.Sprintf("did you mean %q?", s)
	}
	all := append([]string(nil), names...)
	sort.Strings(all)
	return "fields here are: " + strings.Join(all, ", ")
}

// Nearest gives the name closest to key when it is at most two letters (or a
// third of its length) away; "" otherwise. Ties go to the first name.
func Nearest(key string, names []string) string {
	best, bestD := "", 3
	k := strings.ToLower(key)
	if len(k) > 40 {
		return ""
	}
	for _, n := range names {
		if d := distance(k, strings.ToLower(n)); d < bestD && d*3 <= max(len(k), len(n)) {
			best, bestD = n, d
		}
	}
	return best
}

// distance is the number of letters to change, add or leave out (Levenshtein).
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		diag := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := diag
			if a[i-1] != b[j-1] {
				cost = 1 + min(diag, row[j], row[j-1])
			}
			diag, row[j] = row[j], cost
		}
	}
	return row[len(b)]
}
