package job

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"proveout/book"
	"proveout/strict"
	"proveout/vehicle"
)

// ChooseBooks gives the fault books for the job out of all that are at hand:
// those named under "books", else those that apply to the engine and speak of the
// complaint (all that apply, where none does), and the job's own suspects and tests last. What is wrong in "own" is left out, entry by
// entry, and reported; a job without any fitting book works from its own alone.
func (f *File) ChooseBooks(all []*book.Book, e vehicle.Engine) ([]*book.Book, []Problem) {
	var out []*book.Book
	var ps []Problem
	for i, id := range f.Books {
		j := slices.IndexFunc(all, func(b *book.Book) bool { return book.SameID(b.ID, strings.TrimSpace(id)) })
		switch {
		case j < 0:
			var ids []string
			for _, b := range all {
				ids = append(ids, b.ID)
			}
			ps = append(ps, f.at(strict.Error, fmt.Sprintf("no fault book has the id %s; there are: %s", strict.Quote(id), strings.Join(ids, ", ")), "books", i))
		case slices.Contains(out, all[j]):
			ps = append(ps, f.at(strict.Warning, fmt.Sprintf("book %q is named twice", id), "books", i))
		default:
			out = append(out, all[j])
			if !all[j].Applies.Matches(e) {
				ps = append(ps, f.at(strict.Warning, fmt.Sprintf("book %q was not written for this engine", id), "books", i))
			}
		}
	}
	if len(f.Books) == 0 {
		fits := slices.DeleteFunc(slices.Clone(all), func(b *book.Book) bool { return !b.Applies.Matches(e) })
		out = slices.DeleteFunc(slices.Clone(fits), func(b *book.Book) bool { return !f.speaksOf(b) })
		if len(out) == 0 {
			out = fits
		}
		for _, b := range fits {
			if !slices.Contains(out, b) {
				ps = append(ps, f.at(strict.Note, fmt.Sprintf("the fault book %s knows none of these symptoms and is not used; name it under \"books\" to use it too", b.ID), "complaint", "symptoms"))
			}
		}
	}
	if len(out) == 0 && f.Own == nil {
		ps = append(ps, f.at(strict.Warning, "no fault book fits this vehicle; write suspects and tests of your own under \"own\" (docs/job-folder.md)", "vehicle", "engine"))
	}
	if f.Own != nil {
		own, more := f.ownBook(out, e)
		ps = append(ps, more...)
		if own != nil {
			out = append(out, own)
		}
	}
	return out, ps
}

// speaksOf reports whether a book knows a symptom of the complaint or has a test that a
// reading names: the suspects of a book that does not can only stand in the way.
func (f *File) speaksOf(b *book.Book) bool {
	return slices.ContainsFunc(f.Complaint.Symptoms, func(s string) bool { _, ok := b.Symptoms[ident(s)]; return ok }) ||
		slices.ContainsFunc(f.Readings, func(r Reading) bool {
			return r.Test != "" && slices.ContainsFunc(b.Tests, func(t book.Test) bool { return t.ID == ident(r.Test) })
		})
}

// ownBook checks the job's own section and takes what is sound in it.
func (f *File) ownBook(base []*book.Book, e vehicle.Engine) (*book.Book, []Problem) {
	ps := book.CheckOn(e, f.Own, base...)
	bad := map[string]bool{} // "faults[2]"
	whole := false
	for _, p := range append(slices.Clone(f.problems), ps...) {
		rest, ok := strings.CutPrefix(p.Path, "own.")
		if !ok || p.Severity != strict.Error {
			continue
		}
		list, _, ok := strings.Cut(rest, "]")
		if !ok || !strings.Contains(list, "[") {
			whole = true // something outside the lists
			continue
		}
		bad[list+"]"] = true
	}
	if len(bad) == 0 && !whole {
		return f.Own, ps
	}
	own := trimmed(f.Own, bad)
	left := strict.Errors(book.CheckOn(e, own, base...))
	if len(own.Faults)+len(own.Tests) == 0 || len(left) > 0 || whole && len(bad) == 0 {
		return nil, append(ps, f.at(strict.Error, "all of \"own\" is left out because of the errors in it", "own"))
	}
	var gone []string
	for _, k := range slices.Sorted(maps.Keys(bad)) {
		gone = append(gone, "own."+k)
	}
	return own, append(ps, f.at(strict.Warning, "left out because of the errors in it: "+strings.Join(gone, ", "), "own"))
}

// trimmed is the book without some entries of its lists, and without what refers
// to them.
func trimmed(b *book.Book, bad map[string]bool) *book.Book {
	t := b.WithoutPlaces()
	gone := map[string]bool{}
	t.Components, t.Faults, t.Tests = nil, nil, nil
	for i, c := range b.Components {
		if bad[strict.PathOf("components", i)] {
			gone["component "+c.ID] = true
			continue
		}
		t.Components = append(t.Components, c)
	}
	for i, x := range b.Faults {
		if bad[strict.PathOf("faults", i)] || gone["component "+x.Component] {
			gone["fault "+x.ID] = true
			continue
		}
		t.Faults = append(t.Faults, x)
	}
	for i, x := range b.Tests {
		if bad[strict.PathOf("tests", i)] {
			continue
		}
		x.Given = maps.Clone(x.Given)
		maps.DeleteFunc(x.Given, func(id string, _ book.Row) bool { return gone["fault "+id] })
		x.Direct = slices.DeleteFunc(slices.Clone(x.Direct), func(id string) bool { return gone["fault "+id] })
		t.Tests = append(t.Tests, x)
	}
	return t
}
