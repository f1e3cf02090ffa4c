package job

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"proveout/book"
	"proveout/strict"
)

// Problem is one thing wrong with a job file, at its place.
type Problem = strict.Problem

// MaxBytes is the most a job file may have (our choice; a long job has 50 kB).
const MaxBytes = 1 << 20

// Parse reads a job file, YAML or JSON. The file is nil when the text cannot be
// read at all or has another schema; otherwise it holds what could be read, and the problems say what
// could not. They are those of notation only: Resolve finds the rest.
func Parse(name string, data []byte) (*File, []Problem) {
	if len(data) > MaxBytes {
		return nil, []Problem{{File: name, Severity: strict.Error, Text: fmt.Sprintf("the file has %d bytes; the most a job file may have is %d: measurements belong into capture files beside it", len(data), MaxBytes)}}
	}
	doc, ps := strict.Parse(name, data)
	if doc == nil {
		return nil, ps
	}
	f := &File{doc: doc}
	ps = append(ps, strict.Decode(doc, doc.Root, f)...)
	switch {
	case f.Schema == "":
		ps = append(ps, doc.At(strict.Warning, "is missing: taken as "+SchemaID+"; write it as the first line", "schema"))
	case f.Schema != SchemaID:
		return nil, []Problem{doc.At(strict.Error, fmt.Sprintf("is %q; this program reads %q: nothing else of the file is read, it may mean something else there", f.Schema, SchemaID), "schema")}
	}
	if n := doc.Root.Get("own"); n != nil && f.Own != nil {
		f.Own, _ = book.Decode(doc, n, "own") // once more, to know its lines; the problems are reported above
		if f.Own.ID == "" {
			f.Own.ID = "own"
		}
		if f.Own.Title == "" {
			f.Own.Title = "own suspects and tests of this job"
		}
		if f.Own.Sources == nil {
			f.Own.Sources = map[string]string{}
		}
		if f.Own.Sources[book.OwnTag] == "" {
			f.Own.Sources[book.OwnTag] = "the author's own estimate"
		}
	}
	strict.Sort(ps)
	f.problems = ps
	return f, ps
}

// Pick finds the job file among the names in a folder.
func Pick(names []string) (string, error) {
	var found []string
	for _, n := range Names {
		if slices.Contains(names, n) {
			found = append(found, n)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", fmt.Errorf("no job file here; write %s (docs/job-folder.md shows one of ten lines)", strings.Join(Names, ", "))
	}
	return "", fmt.Errorf("several job files here: %s; keep one, a folder is one job", strings.Join(found, ", "))
}

// Load finds and reads the job file at the top of a folder. The error says that
// there is none, or that it cannot be opened.
func Load(folder fs.FS) (*File, []Problem, error) {
	entries, err := fs.ReadDir(folder, ".")
	if err != nil {
		return nil, nil, err
	}
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	name, err := Pick(names)
	if err != nil {
		return nil, nil, err
	}
	in, err := folder.Open(name)
	if err != nil {
		return nil, nil, fmt.Errorf("%s cannot be opened: %w", name, err)
	}
	data, err := io.ReadAll(io.LimitReader(in, MaxBytes+1))
	if err = errors.Join(err, in.Close()); err != nil {
		return nil, nil, fmt.Errorf("%s cannot be read: %w", name, err)
	}
	f, ps := Parse(name, data)
	return f, ps, nil
}

// ReadNode reads {1: 1.42 mm, 2: 1.45 mm} or [1.42 mm, 1.45 mm].
func (m *Numbered) ReadNode(n *strict.Node, fail func(*strict.Node, string, ...any)) {
	out := Numbered{}
	add := func(key string, at, v *strict.Node) {
		switch {
		case v.Kind == strict.Null:
			// An empty place in a row of numbers: this one was not measured.
		case v.Kind != strict.Scalar:
			fail(at, "entry %s needs a single value; write for example {1: 1.42 mm, 2: 1.45 mm}", key)
		case out[key] != "":
			fail(at, "entry %s is given twice; keep one", key)
		default:
			out[key] = v.Text
		}
	}
	switch n.Kind {
	case strict.List:
		for i, v := range n.Items {
			if i > 0 && commaInNumber(n.Items[i-1], v) {
				fail(v, "%s,%s may be one number with a decimal comma or two; write a point, or a space after each comma", n.Items[i-1].Text, v.Text)
				return
			}
			add(strconv.Itoa(i+1), v, v)
		}
	case strict.Map:
		for _, p := range n.Pairs {
			at := &strict.Node{Line: p.Line, Column: p.Column}
			if p.Value.Kind == strict.Null {
				fail(at, "entry %s has no value; write for example {1: 1.42 mm, 2: 1.45 mm}, with a point in the number", p.Key)
				continue
			}
			add(p.Key, at, p.Value)
		}
	default:
		fail(n, "one value for each cylinder is expected; write for example {1: 1.42 mm, 2: 1.45 mm}")
		return
	}
	*m = out
}

// commaInNumber reports whether two entries of [1,42, 1,45] stand so close that
// the comma between them may belong to a number.
func commaInNumber(a, b *strict.Node) bool {
	digits := func(n *strict.Node, i int) bool { return n.Text != "" && n.Text[i] >= '0' && n.Text[i] <= '9' }
	return a.Kind == strict.Scalar && b.Kind == strict.Scalar && !a.Quoted && !b.Quoted && a.Line == b.Line &&
		b.Column == a.Column+len(a.Text)+1 && digits(a, len(a.Text)-1) && digits(b, 0)
}

// at makes a problem at a field of the job file.
func (f *File) at(sev strict.Severity, text string, steps ...any) Problem {
	if f.doc == nil {
		return Problem{File: "job", Path: strict.PathOf(steps...), Text: text, Severity: sev}
	}
	return f.doc.At(sev, text, steps...)
}

// has reports whether a field is written in the file.
func (f *File) has(steps ...any) bool { return f.doc != nil && f.doc.Root.Has(steps...) }

// line gives the line of a field, 0 when the job was not read from a file.
func (f *File) line(steps ...any) int { return f.at(strict.Note, "", steps...).Line }

// broken gives the errors of notation inside one entry of a list.
func (f *File) broken(list string, i int) []Problem {
	prefix := strict.PathOf(list, i)
	var out []Problem
	for _, p := range f.problems {
		if rest, ok := strings.CutPrefix(p.Path, prefix); ok && (rest == "" || rest[0] == '.' || rest[0] == '[') && p.Severity == strict.Error {
			out = append(out, p)
		}
	}
	return out
}
