package book

import (
	"crypto/sha256"
	"embed"
	"fmt"
	"io/fs"
	"sort"
	"strings"
	"sync"

	"proveout/strict"
)

// Problem is one thing wrong with a book, at its place.
type Problem = strict.Problem

// OwnTag is the source of a number written bare, without a tag: the author's
// own estimate. A job's own suspects and tests may use it; a fault book that is
// to be shared must name real sources.
const OwnTag = "OWN"

//go:embed data
var data embed.FS

// Load reads a fault book. The book is nil when the text is no YAML at all;
// otherwise it holds what could be read and the problems say what could not.
// Problems are those of notation only: see Check for the rest.
func Load(name string, data []byte) (*Book, []Problem) {
	doc, ps := strict.Parse(name, data)
	if doc == nil {
		return nil, ps
	}
	b, more := Decode(doc, doc.Root)
	b.sum = fmt.Sprintf("%x", sha256.Sum256(data))
	if b.Schema != SchemaID {
		p := doc.At(strict.Error, fmt.Sprintf("is %q; this program reads %q", b.Schema, SchemaID), "schema")
		if b.Schema == "" {
			p.Text = fmt.Sprintf("is missing; begin the file with \"schema: %s\"", SchemaID)
		}
		more = append([]Problem{p}, more...)
	}
	return b, append(ps, more...)
}

// Decode reads a book that stands at node n of a document, such as the own
// suspects and tests of a job file; steps are the path to n.
func Decode(doc *strict.Document, n *strict.Node, steps ...any) (*Book, []Problem) {
	b := &Book{doc: doc, steps: steps}
	return b, strict.Decode(doc, n, b, steps...)
}

// builtin is read once, when first asked for.
var builtin = sync.OnceValues(func() ([]*Book, error) {
	names, err := fs.Glob(data, "data/*.yaml")
	if err != nil {
		return nil, err
	}
	sort.Strings(names)
	var out []*Book
	for _, n := range names {
		text, err := data.ReadFile(n)
		if err != nil {
			return nil, err
		}
		b, ps := Load("book/"+n, text)
		if errs := strict.Errors(ps); len(errs) > 0 {
			return nil, fmt.Errorf("built-in book: %s (%d problems in all)", errs[0], len(errs))
		}
		out = append(out, b)
	}
	return out, nil
})

// Builtin gives the books inside the program, in order of file name. They are
// shared: do not change them.
func Builtin() ([]*Book, error) { return builtin() }

// BuiltinText gives the text of a built-in book by its id, for reading and for
// taking as a pattern. "petrol-misfire" finds petrol_misfire.
func BuiltinText(id string) ([]byte, bool) {
	books, err := Builtin()
	if err != nil {
		return nil, false
	}
	for _, b := range books {
		if SameID(b.ID, id) {
			text, err := data.ReadFile(strings.TrimPrefix(b.doc.Name, "book/"))
			return text, err == nil
		}
	}
	return nil, false
}

// SHA256 is the hexadecimal hash of the file the book was read from, by which a
// conclusion pins it; empty for a job's own suspects and tests, which stand in the job.
func (b *Book) SHA256() string { return b.sum }

// SameID reports whether two book ids are the same, a hyphen standing for _.
func SameID(a, b string) bool {
	return strings.ReplaceAll(a, "-", "_") == strings.ReplaceAll(b, "-", "_")
}

// ReadNode reads [0.25, EST], or a bare 0.25 whose source is OwnTag.
func (v *Num) ReadNode(n *strict.Node, fail func(*strict.Node, string, ...any)) {
	src, num := OwnTag, n
	if n.Kind == strict.List {
		if len(n.Items) != 2 || n.Items[0].Kind != strict.Scalar || n.Items[1].Kind != strict.Scalar {
			fail(n, "a number and its source are expected; write for example [0.25, EST]")
			return
		}
		num, src = n.Items[0], n.Items[1].Text
		if src == "" {
			fail(n.Items[1], "the source tag is empty; write for example [0.25, EST]")
			return
		}
	}
	f, err := strict.Number(num)
	if err != nil {
		fail(num, "%s", strings.Replace(err.Error(), "write for example 0.25", "write for example [0.25, EST]", 1))
		return
	}
	v.Value, v.Source = f, src
}

// ReadNode reads {high: 0.85, low: 0.02, src: T15, where: own}.
func (r *Row) ReadNode(n *strict.Node, fail func(*strict.Node, string, ...any)) {
	if n.Kind != strict.Map {
		fail(n, "chances by outcome are expected; write for example {high: 0.85, low: 0.02, src: EST}")
		return
	}
	r.P, r.Source, r.Where = make(map[string]float64, len(n.Pairs)), OwnTag, ""
	seen := make(map[string]bool, len(n.Pairs))
	for _, p := range n.Pairs {
		at := &strict.Node{Line: p.Line, Column: p.Column}
		if seen[p.Key] {
			fail(at, "%q is given twice; keep one", p.Key)
			continue
		}
		seen[p.Key] = true
		if p.Value.Kind != strict.Scalar {
			fail(at, "%q needs a single value; write for example {high: 0.85, src: EST}", p.Key)
			continue
		}
		switch p.Key {
		case "src":
			r.Source = p.Value.Text
		case "where":
			r.Where = p.Value.Text
		default:
			f, err := strict.Number(p.Value)
			if err != nil {
				fail(p.Value, "%q: %s", p.Key, err)
				continue
			}
			r.P[p.Key] = f
		}
	}
}

// at makes a problem of the book at a field.
func (b *Book) at(sev strict.Severity, text string, steps ...any) Problem {
	if b.doc == nil {
		return Problem{File: "book " + b.ID, Path: strict.PathOf(steps...), Text: text, Severity: sev}
	}
	return b.doc.At(sev, text, append(append([]any(nil), b.steps...), steps...)...)
}

// WithoutPlaces is a copy that no longer knows where it was read from. Its lists
// may be changed without changing b's.
func (b *Book) WithoutPlaces() *Book {
	c := *b
	c.doc = nil
	return &c
}

// has reports whether the field is written in the book's file.
func (b *Book) has(steps ...any) bool {
	return b.doc != nil && b.doc.Root.Has(append(append([]any(nil), b.steps...), steps...)...)
}

// Line gives the line of a field of the book in its file, 0 if it was not read
// from one: Line("tests", 3, "given").
func (b *Book) Line(steps ...any) int { return b.at(strict.Note, "", steps...).Line }
