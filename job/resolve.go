package job

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"proveout/book"
	"proveout/evidence"
	"proveout/strict"
	"proveout/vehicle"
)

// Resolved is the job with every word checked and every quantity read once. It
// holds all that can be used; Problems say what cannot, and why.
type Resolved struct {
	Complaint Complained
	Known     Facts // of the whole job; each capture has them with its own in front
	Readings  []TypedReading
	Captures  []CaptureFile
	Limits    []LimitValue
	Overrules []Decision
	Kept      []Kept
	Tried     []TriedPart
	Search    SearchPlan
	Proof     ProofPlan
	// Equipment on hand by id; nil when the file does not say.
	Equipment []string
	// Problems of the whole file, those of notation too, by line. Errors name what
	// is left out; see LeftOut.
	Problems []Problem
}

// LeftOut is one thing of the job file that could not be used.
type LeftOut struct {
	File string
	Line int
	Path string // "readings[2].value"
	Why  string
}

// LeftOut lists what could not be used, in order of the file.
func (r *Resolved) LeftOut() []LeftOut {
	var out []LeftOut
	for _, p := range strict.Errors(r.Problems) {
		out = append(out, LeftOut{File: p.File, Line: p.Line, Path: p.Path, Why: p.Text})
	}
	return out
}

// resolver is the work of Resolve.
type resolver struct {
	f     *File
	words Vocabulary
	in    *book.Instance
	out   *Resolved
	items map[int]string // item number to the path that has it
	next  int
}

// Resolve checks the job against the books and the engine they were applied to,
// and reads every quantity. It never fails as a whole: one wrong reading is
// left out and the rest stands.
func (f *File) Resolve(in *book.Instance) *Resolved { return f.ResolveWith(in, Vocabulary{}) }

// Vocabulary is what others know the words of: this package does not measure.
type Vocabulary struct {
	// Roles lists what a column may be mapped as; empty: anything goes.
	Roles []string
	// Role gives the listed role for a word as written.
	Role func(word string) (role string, ok bool)
}

// ResolveWith is Resolve that also checks the words of v.
func (f *File) ResolveWith(in *book.Instance, v Vocabulary) *Resolved {
	r := &resolver{f: f, words: v, in: in, out: &Resolved{}, items: map[int]string{}, next: 1}
	r.out.Problems = append(r.out.Problems, f.problems...)
	r.head()
	r.complaint()
	r.equipment()
	r.itemNumbers()
	r.out.Known = r.known(f.Known)
	for i := range f.Captures {
		r.capture(i)
	}
	for i := range f.Readings {
		r.reading(i)
	}
	for i := range f.Limits {
		r.limit(i)
	}
	for i := range f.Overrules {
		r.overrule(i)
	}
	for i := range f.Kept {
		r.kept(i)
	}
	for i := range f.Tried {
		r.tried(i)
	}
	r.search()
	r.repair()
	strict.Sort(r.out.Problems)
	return r.out
}

// Check is Resolve for those who want to know only what is wrong.
func (f *File) Check(in *book.Instance) []Problem { return f.Resolve(in).Problems }

func (r *resolver) say(sev strict.Severity, text string, steps ...any) {
	r.out.Problems = append(r.out.Problems, r.f.at(sev, text, steps...))
}

func (r *resolver) err(text string, steps ...any)  { r.say(strict.Error, text, steps...) }
func (r *resolver) warn(text string, steps ...any) { r.say(strict.Warning, text, steps...) }
func (r *resolver) note(text string, steps ...any) { r.say(strict.Note, text, steps...) }

// word picks a word; an unknown one is reported and gives ok false.
func (r *resolver) word(s string, words []string, steps ...any) (string, bool) {
	if strings.TrimSpace(s) == "" {
		return "", true
	}
	w, err := pick(s, words)
	if err != nil {
		r.err(err.Error(), steps...)
		return "", false
	}
	return w, true
}

// stamp checks a date or time. Nothing is computed from it, so a wrong one is a
// warning and stays as written.
func (r *resolver) stamp(s string, steps ...any) {
	if s == "" {
		return
	}
	for _, form := range []string{time.RFC3339, "2006-01-02T15:04:05", "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02"} {
		if _, err := time.Parse(form, s); err == nil {
			return
		}
	}
	r.warn(fmt.Sprintf("%s is no date; write for example 2026-11-25 or 2026-11-25T14:05:00+01:00", strict.Quote(s)), steps...)
}

// head checks what stands at the top: names, dates, vehicle.
func (r *resolver) head() {
	f := r.f
	r.stamp(f.Opened, "opened")
	v := f.Vehicle
	if f.has("vehicle", "year") && (v.Year < 1900 || v.Year > 2100) {
		r.warn(fmt.Sprintf("%d is no year of manufacture", v.Year), "vehicle", "year")
	}
	if v.Odometer != "" {
		if _, err := Odometer(v.Odometer); err != nil {
			r.warn(err.Error()+"; write for example 128000 km", "vehicle", "odometer")
		}
	}
	if v.VIN != "" {
		// What is odd about a VIN never stops the job: old and imported vehicles have
		// other ones.
		if vin, err := vehicle.ParseVIN(v.VIN); err != nil {
			r.note(err.Error(), "vehicle", "vin")
		} else if hint := vin.CheckHint(); hint != "" {
			r.note(hint, "vehicle", "vin")
		}
	}
	for i, e := range f.Equipment {
		if strings.TrimSpace(e) == "" {
			r.err("is empty", "equipment", i)
		}
	}
}

// equipment keeps the ids that a book knows.
func (r *resolver) equipment() {
	if len(r.f.Equipment) == 0 {
		return
	}
	known := map[string]bool{}
	var ids []string
	for _, b := range r.in.Books {
		for id := range b.Equipment {
			if !known[id] {
				ids = append(ids, id)
			}
			known[id] = true
		}
	}
	r.out.Equipment = []string{}
	for i, e := range r.f.Equipment {
		if id := ident(e); known[id] {
			r.out.Equipment = append(r.out.Equipment, id)
		} else if e != "" {
			r.warn(fmt.Sprintf("no test uses equipment %s%s", strict.Quote(e), listed(id, ids)), "equipment", i)
		}
	}
}

// itemNumbers checks the numbers given and hands out the others in order:
// captures first, then readings, then parts tried.
func (r *resolver) itemNumbers() {
	claim := func(list string, i, item int) {
		switch {
		case item < 0:
			r.err("item numbers count from 1", list, i, "item")
		case item > 0 && r.items[item] != "":
			r.err(fmt.Sprintf("item %d is already %s; give each its own number, or none", item, r.items[item]), list, i, "item")
		case item > 0:
			r.items[item] = strict.PathOf(list, i)
		}
	}
	for i := range r.f.Captures {
		claim("captures", i, r.f.Captures[i].Item)
	}
	for i := range r.f.Readings {
		claim("readings", i, r.f.Readings[i].Item)
	}
	for i := range r.f.Tried {
		claim("tried", i, r.f.Tried[i].Item)
	}
}

// item gives the number of an entry.
func (r *resolver) item(list string, i, given int) int {
	path := strict.PathOf(list, i)
	if given > 0 && r.items[given] == path {
		return given
	}
	for r.items[r.next] != "" {
		r.next++
	}
	r.items[r.next] = path
	return r.next
}

// condition reads the conditions of a capture or reading; a word that is not
// known leaves that condition unknown and is reported.
func (r *resolver) condition(c Condition, steps ...any) evidence.Condition {
	at := func(name string) []any { return append(append([]any(nil), steps...), "condition", name) }
	out := evidence.Condition{SpeedRPM: c.Rpm, LoadPct: c.LoadPct, Gear: c.Gear}
	if w, ok := r.word(c.State, book.StateWords, at("state")...); ok {
		out.State = evidence.State(w)
	}
	unknown := []string{"unknown"}
	if w, ok := r.word(c.Warm, append(unknown, warmWords...), at("warm")...); ok && w != "unknown" {
		out.Warm = w
	}
	if w, ok := r.word(c.Wet, append(unknown, wetWords...), at("wet")...); ok && w != "unknown" {
		out.Wet = w
	}
	if c.Rpm < 0 || c.Rpm > 20000 {
		r.err(fmt.Sprintf("%g rpm is no engine speed", c.Rpm), at("rpm")...)
		out.SpeedRPM = 0
	}
	if c.LoadPct < 0 || c.LoadPct > 200 {
		r.err(fmt.Sprintf("%g %% is no load", c.LoadPct), at("load_pct")...)
		out.LoadPct = 0
	}
	return out
}

// subject reads where something was measured. ok is false when more than one
// place is given or the engine does not have it; a zero subject means none was
// given.
func (r *resolver) subject(w Where, steps ...any) (s evidence.Subject, ok bool) {
	at := func(name string) []any { return append(append([]any(nil), steps...), name) }
	given := 0
	for _, name := range []string{"cylinder", "cyl", "cylinders", "bank", "corner"} {
		if r.f.has(at(name)...) {
			given++
		}
	}
	if given > 1 {
		r.err("more than one place is given; write cylinder, cylinders, bank or corner", steps...)
		return s, false
	}
	e := r.in.Engine
	cyl := func(c int, name string) bool {
		if c < 1 || c > e.Cylinders {
			r.err(fmt.Sprintf("cylinder %d: the engine has %d cylinders", c, e.Cylinders), at(name)...)
			return false
		}
		return true
	}
	switch {
	case w.Cylinder != 0 || r.f.has(at("cylinder")...) || r.f.has(at("cyl")...):
		return evidence.Cyl(w.Cylinder), cyl(w.Cylinder, "cylinder")
	case len(w.Cylinders) == 1:
		return evidence.Cyl(w.Cylinders[0]), cyl(w.Cylinders[0], "cylinders")
	case len(w.Cylinders) == 2:
		if w.Cylinders[0] == w.Cylinders[1] {
			r.err("a pair is two different cylinders", at("cylinders")...)
			return s, false
		}
		return evidence.PairOf(w.Cylinders[0], w.Cylinders[1]), cyl(w.Cylinders[0], "cylinders") && cyl(w.Cylinders[1], "cylinders")
	case len(w.Cylinders) > 2:
		r.err("a pair is two cylinders; for one value each write values: {1: ..., 2: ...}", at("cylinders")...)
		return s, false
	case w.Bank != 0 || r.f.has(at("bank")...):
		return evidence.BankNo(w.Bank), r.bank(w.Bank, e, at("bank")...)
	case w.Corner != "":
		c, found := r.word(w.Corner, cornerWords, at("corner")...)
		for i, name := range cornerWords {
			if name == c {
				s = evidence.Subject{Kind: evidence.Corner, Number: i + 1}
			}
		}
		return s, found
	}
	return s, true
}

func (r *resolver) bank(b int, e vehicle.Engine, steps ...any) bool {
	if b < 1 || b > e.Banks() {
		banks := "1 bank"
		if e.Banks() > 1 {
			banks = strconv.Itoa(e.Banks()) + " banks"
		}
		r.err(fmt.Sprintf("bank %d: the engine has %s", b, banks), steps...)
		return false
	}
	return true
}

// listed helps with an unknown id.
func listed(id string, ids []string) string {
	if n := strict.Nearest(id, ids); n != "" {
		return fmt.Sprintf("; did you mean %q?", n)
	}
	if len(ids) == 0 {
		return "; none is known"
	}
	return "; \"proveout book show\" lists them"
}
