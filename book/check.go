package book

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"proveout/strict"
	"proveout/vehicle"
)

// Check looks for everything that makes a set of books wrong or weak: unknown
// references, impossible chances, faults no test can find, and more; see
// docs/fault-book.md for the list. The books are taken together, as Instantiate
// takes them: a later book may use what an earlier one defines.
//
// Problems come by file and line. Notes are figures of the self-test.
func Check(books ...*Book) []Problem { return check(books, books, nil) }

// CheckOverlay checks only b, which stands on the books of base.
func CheckOverlay(b *Book, base ...*Book) []Problem {
	return check(append(slices.Clone(base), b), []*Book{b}, nil)
}

// CheckOn is CheckOverlay for one engine only, that of a job.
func CheckOn(e vehicle.Engine, b *Book, base ...*Book) []Problem {
	return check(append(slices.Clone(base), b), []*Book{b}, &e)
}

// mostOfAKind bounds faults and tests of one book (our choice): some checks look
// at every pair.
const mostOfAKind = 500

func check(books, focus []*Book, only *vehicle.Engine) []Problem {
	c := newChecker(books)
	c.only = only
	for _, b := range focus {
		c.book = b
		if len(b.Faults) > mostOfAKind {
			c.err(fmt.Sprintf("%d faults; a book has at most %d, nothing else is checked", len(b.Faults), mostOfAKind), "faults")
		}
		if len(b.Tests) > mostOfAKind {
			c.err(fmt.Sprintf("%d tests; a book has at most %d, nothing else is checked", len(b.Tests), mostOfAKind), "tests")
		}
	}
	if len(c.found) > 0 {
		return c.found
	}
	for _, b := range focus {
		c.book = b
		c.head()
		c.tables()
		c.components()
		c.faults()
		c.tests()
	}
	c.layouts(focus)
	c.pairs(focus)
	c.severalFaults(focus)
	strict.Sort(c.found)
	return c.found
}

// checker holds what all the books define.
type checker struct {
	books []*Book
	book  *Book // the one being checked
	found []Problem

	comps  map[string]*Component
	fault  map[string]*Fault
	owner  map[string]*Book // "fault gap_wide" to the first book that defines it
	direct map[string]bool  // faults that a direct test looks at
	only   *vehicle.Engine  // the one engine to check with; nil = the matrix
}

func newChecker(books []*Book) *checker {
	c := &checker{books: books, comps: map[string]*Component{}, fault: map[string]*Fault{}, owner: map[string]*Book{}, direct: map[string]bool{}}
	own := func(kind, id string, b *Book) bool {
		k := kind + " " + id
		if c.owner[k] != nil {
			return false
		}
		c.owner[k] = b
		return true
	}
	for _, b := range books {
		for i := range b.Components {
			if own("component", b.Components[i].ID, b) {
				c.comps[b.Components[i].ID] = &b.Components[i]
			}
		}
		for i := range b.Faults {
			if own("fault", b.Faults[i].ID, b) {
				c.fault[b.Faults[i].ID] = &b.Faults[i]
			}
		}
		for i := range b.Tests {
			own("test", b.Tests[i].ID, b)
			for _, f := range b.Tests[i].Direct {
				c.direct[f] = true
			}
		}
		for _, k := range []struct {
			kind string
			ids  []string
		}{
			{"equipment", sorted(b.Equipment)}, {"hazard", sorted(b.Hazards)}, {"access", sorted(b.Access)},
			{"symptom", sorted(b.Symptoms)}, {"context fact", sorted(b.Context)}, {"feature", sorted(b.Features)},
		} {
			for _, id := range k.ids {
				own(k.kind, id, b)
			}
		}
	}
	return c
}

func sorted[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func (c *checker) err(text string, steps ...any) {
	c.found = append(c.found, c.book.at(strict.Error, text, steps...))
}

func (c *checker) warn(text string, steps ...any) {
	c.found = append(c.found, c.book.at(strict.Warning, text, steps...))
}

// own says whether the book is a job's own section, which needs no head and may
// leave out sources.
func (b *Book) own() bool { return len(b.steps) > 0 }

var idForm = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)

// id checks the form of an id and that no earlier book or entry has it.
func (c *checker) id(kind, id string, seen map[string]bool, steps ...any) {
	switch {
	case id == "":
		c.err("is missing; write a short word of a to z, 0 to 9 and _", append(steps, "id")...)
	case !idForm.MatchString(id):
		c.err(fmt.Sprintf("%q is no id; write a to z, 0 to 9 and _, beginning with a letter", id), append(steps, "id")...)
	case seen[id]:
		c.err(fmt.Sprintf("%s %q is defined twice in this book; give it another id", kind, id), append(steps, "id")...)
	case c.owner[kind+" "+id] != c.book && c.owner[kind+" "+id] != nil:
		c.err(fmt.Sprintf("%s %q is already in book %q; a book may add to another but never change it: give it another id", kind, id, c.owner[kind+" "+id].ID), append(steps, "id")...)
	}
	seen[id] = true
}

// ref checks that something of a kind is defined in one of the books.
func (c *checker) ref(kind, id string, steps ...any) {
	if c.owner[kind+" "+id] != nil {
		return
	}
	var ids []string
	for k := range c.owner {
		if rest, ok := strings.CutPrefix(k, kind+" "); ok {
			ids = append(ids, rest)
		}
	}
	slices.Sort(ids)
	c.err(fmt.Sprintf("%s %q is in no book%s", kind, id, meant(id, ids)), steps...)
}

// word checks that a word is one of a list.
func (c *checker) word(w string, words []string, steps ...any) {
	if !slices.Contains(words, w) {
		if w == "" {
			c.err("is missing; write one of: "+strings.Join(words, ", "), steps...)
			return
		}
		c.err(fmt.Sprintf("%q is not one of: %s", w, strings.Join(words, ", ")), steps...)
	}
}

func meant(id string, ids []string) string {
	if n := strict.Nearest(id, ids); n != "" {
		return fmt.Sprintf("; did you mean %q?", n)
	}
	if len(ids) == 0 {
		return "; none is defined"
	}
	if len(ids) > 12 {
		return fmt.Sprintf("; there are %d, such as %s", len(ids), strings.Join(ids[:8], ", "))
	}
	return "; there are: " + strings.Join(ids, ", ")
}

// src checks that a source tag names a source of the book.
func (c *checker) src(tag string, steps ...any) {
	if _, ok := c.book.Sources[tag]; ok || tag == OwnTag && c.book.own() {
		return
	}
	if tag == OwnTag || tag == "" {
		c.err("has no source; write the tag of one of the book's sources with it, for example [0.25, EST] or src: EST", steps...)
		return
	}
	if c.book.own() {
		// In a job the tag is explained by another book, or stands for itself.
		if !slices.ContainsFunc(c.books, func(b *Book) bool { return b.Sources[tag] != "" }) {
			c.warn(fmt.Sprintf("source %q is not explained; write sources: {%s: where it is from}", tag, tag), steps...)
		}
		return
	}
	c.err(fmt.Sprintf("source %q is not in the book's sources%s", tag, meant(tag, sorted(c.book.Sources))), steps...)
}

// num checks a number that must be there, its source, and its range.
func (c *checker) num(n Num, low, high float64, what string, steps ...any) {
	if n.Source == "" {
		if !c.book.has(steps...) { // what is there but unreadable was reported when read
			c.err("is missing; write for example "+what, steps...)
		}
		return
	}
	c.optional(n, low, high, what, steps...)
}

// optional is num for a number that may be left out.
func (c *checker) optional(n Num, low, high float64, what string, steps ...any) {
	if n.Source == "" {
		return
	}
	c.src(n.Source, steps...)
	if n.Value < low || n.Value > high {
		c.err(fmt.Sprintf("%g is outside %g to %g; write for example %s", n.Value, low, high, what), steps...)
	}
}

// likely checks a likelihood: 0 and 1 are refused, since no observation may make
// certainty.
func (c *checker) likely(n Num, steps ...any) {
	c.num(n, 0, 1, "[0.25, EST]", steps...)
	if n.Source != "" && (n.Value == 0 || n.Value == 1) {
		c.err(fmt.Sprintf("a chance of exactly %g makes certainty of one observation; write at least 0.001 and at most 0.999", n.Value), steps...)
	}
}
