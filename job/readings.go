package job

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"proveout/book"
	"proveout/evidence"
	"proveout/strict"
)

// TypedReading is one reading on one subject: a value of a feature, a word for
// the outcome of a test, or both. Its From holds file and line.
type TypedReading struct {
	evidence.Reading        // Feature is empty and Value zero for an outcome in a word
	Test             string // test id; empty when only a feature was named
	Outcome          string // outcome id; empty for a value
	SetAside         string // reason; the reading is shown and not counted
	Operator         string
	Taken            string
	Note             string
}

// reading checks one entry of readings and expands it to one reading for each
// subject.
func (r *resolver) reading(i int) {
	w := &r.f.Readings[i]
	item := r.item("readings", i, w.Item) // one that is left out keeps its number
	if len(r.f.broken("readings", i)) > 0 {
		return // reported when it was read; half of a reading is none
	}
	test, feature, ok := r.whatRead(w, i)
	if !ok {
		return
	}
	proto := TypedReading{Test: w.Test, SetAside: strings.TrimSpace(w.SetAside), Operator: w.Operator, Taken: w.Taken, Note: w.Note}
	if test != nil {
		proto.Test = test.ID
	}
	proto.Item, proto.Feature, proto.N, proto.Typed = item, feature.ID, 1, true
	proto.Placement, proto.Instrument = w.Placement, w.Instrument
	proto.Condition = r.condition(w.Condition, "readings", i)
	when, ok := r.word(w.When, whenWords, "readings", i, "when")
	if !ok {
		return
	}
	proto.When = when
	r.stamp(w.Taken, "readings", i, "taken")
	if !r.reasonFor(w.SetAside, "readings", i, "set_aside") {
		return
	}
	ways := 0
	for _, name := range []string{"value", "values", "result", "results"} {
		if r.f.has("readings", i, name) {
			ways++
		}
	}
	if r.f.doc == nil {
		ways = 1
	}
	switch {
	case ways == 0:
		r.err("has no value; write value: (or values:, result:, results:)", "readings", i)
	case ways > 1 && !(ways == 2 && w.Value != "" && w.Result != ""):
		r.err("says its value in more than one way; write one of value, values, result, results", "readings", i)
	case w.Values != nil || w.Results != nil:
		r.several(w, i, proto, test, feature)
	default:
		s, ok := r.subject(w.Where, "readings", i)
		if !ok {
			return
		}
		if s, ok = r.fit(s, test, feature, "readings", i); !ok {
			return
		}
		field := "value"
		if w.Value == "" {
			field = "result"
		}
		r.one(proto, s, w, w.Value, w.Result, test, feature, "readings", i, field)
	}
}

// whatRead finds the test and the feature of a reading.
func (r *resolver) whatRead(w *Reading, i int) (*book.Test, evidence.Feature, bool) {
	var test *book.Test
	var feature evidence.Feature
	if w.Test == "" && w.Feature == "" {
		r.err("names neither a test nor a feature; write test: or feature: (\"proveout book show\" lists them)", "readings", i)
		return nil, feature, false
	}
	if w.Test != "" {
		id := ident(w.Test)
		var ids []string
		for _, b := range r.in.Books {
			for j := range b.Tests {
				ids = append(ids, b.Tests[j].ID)
				if b.Tests[j].ID == id {
					test = &b.Tests[j]
				}
			}
		}
		if f, ok := r.alikeFeature(id); test == nil && ok && w.Feature == "" && w.Result == "" && w.Results == nil {
			r.note(fmt.Sprintf("no test has this id; taken as feature: %s", f.ID), "readings", i, "test")
			return nil, f, true
		}
		if test == nil {
			hint := listed(id, ids)
			if f, ok := r.alikeFeature(id); ok {
				hint = "; there is a feature of that name: write feature: " + f.ID + " and a value"
			}
			r.err(fmt.Sprintf("no fault book of this job has a test %s%s", strict.Quote(w.Test), hint), "readings", i, "test")
			return nil, feature, false
		}
		if !test.When.Matches(r.in.Engine) {
			r.err(fmt.Sprintf("test %q does not exist on this engine (its layout differs)", test.ID), "readings", i, "test")
			return nil, feature, false
		}
		if test.Reads != nil {
			feature, _ = r.in.Feature(test.Reads.Feature)
		}
	}
	if w.Feature != "" {
		id := strings.ToLower(strings.TrimSpace(w.Feature))
		g, ok := r.in.Feature(id)
		if !ok {
			if like, found := r.alikeFeature(ident(id)); found {
				g, ok = like, true
				r.note("taken as feature: "+g.ID, "readings", i, "feature")
			}
		}
		if !ok {
			r.err(fmt.Sprintf("there is no feature %s%s", strict.Quote(w.Feature), listed(id, r.featureIDs())), "readings", i, "feature")
			return nil, feature, false
		}
		if test != nil && feature.ID != g.ID {
			r.err(fmt.Sprintf("test %q does not read feature %q; leave one of them out", test.ID, g.ID), "readings", i, "feature")
			return nil, feature, false
		}
		feature = g
	}
	return test, feature, true
}

// alikeFeature finds the one feature whose id differs only in its point:
// plug_gap for plug.gap.
func (r *resolver) alikeFeature(id string) (evidence.Feature, bool) {
	var found []string
	for _, f := range r.featureIDs() {
		if strings.ReplaceAll(f, ".", "_") == strings.ReplaceAll(id, ".", "_") {
			found = append(found, f)
		}
	}
	if len(found) != 1 {
		return evidence.Feature{}, false
	}
	return r.in.Feature(found[0])
}

func (r *resolver) featureIDs() []string {
	var ids []string
	for _, f := range evidence.Catalogue() {
		ids = append(ids, f.ID)
	}
	for _, b := range r.in.Books {
		ids = append(ids, slices.Sorted(maps.Keys(b.Features))...)
	}
	return ids
}

// several expands values or results.
func (r *resolver) several(w *Reading, i int, proto TypedReading, test *book.Test, feature evidence.Feature) {
	list, field := w.Values, "values"
	if w.Results != nil {
		list, field = w.Results, "results"
	}
	if len(list) == 0 {
		r.err("is empty; write for example {1: 1.42 mm, 2: 1.45 mm}", "readings", i, field)
		return
	}
	for _, name := range []string{"cylinder", "cyl", "cylinders", "bank", "corner"} {
		if r.f.has("readings", i, name) {
			r.err("the numbers before the values already say which cylinder or bank; leave this out", "readings", i, name)
			return
		}
	}
	if node := r.f.doc.Get("readings", i, field); node != nil && node.Kind == strict.List {
		want := r.in.Engine.Cylinders
		if perOf(test, feature) == "bank" {
			want = r.in.Engine.Banks()
		}
		if len(node.Items) != want {
			r.err(fmt.Sprintf("a list of %d, but there are %d; write one for each in order (~ for one that was not measured), or {1: ..., 3: ...}", len(node.Items), want), "readings", i, field)
			return
		}
	}
	keys := slices.SortedFunc(maps.Keys(list), func(a, b string) int {
		x, _ := strconv.Atoi(a)
		y, _ := strconv.Atoi(b)
		if x != y {
			return x - y
		}
		return strings.Compare(a, b)
	})
	taken := map[evidence.Subject]string{}
	for _, k := range keys {
		step := any(k)
		if n, err := strconv.Atoi(k); err == nil && r.f.has("readings", i, field, n-1) {
			step = n - 1 // written as a list
		}
		s, err := numbered(k, perOf(test, feature))
		if err != nil {
			r.err(err.Error(), "readings", i, field, step)
			continue
		}
		s, ok := r.fit(s, test, feature, "readings", i, field, step)
		if !ok {
			continue
		}
		if other, twice := taken[s]; twice {
			r.err(fmt.Sprintf("%s is given twice, as %s and %s", s, other, k), "readings", i, field, step)
			continue
		}
		taken[s] = k
		value, result := list[k], ""
		if field == "results" {
			value, result = "", list[k]
		}
		r.one(proto, s, w, value, result, test, feature, "readings", i, field, step)
	}
}

// one reads value and result and keeps the reading.
func (r *resolver) one(t TypedReading, s evidence.Subject, w *Reading, value, result string, test *book.Test, f evidence.Feature, steps ...any) {
	t.Subject = s
	t.ID = fmt.Sprintf("r%d", t.Item)
	if w.Values != nil || w.Results != nil {
		t.ID += "." + s.Key()
	}
	t.From = evidence.Source{File: r.f.at(strict.Note, "").File, Line: r.f.line(steps...)}
	if value != "" {
		if f.ID == "" {
			r.err(fmt.Sprintf("test %q has no number; write result: one of %s", test.ID, outcomes(test)), steps...)
			return
		}
		q, err := of(value, w.Unit, f)
		if err != nil {
			r.err(err.Error(), steps...)
			return
		}
		if t.Uncertainty, err = spread(w.Uncertainty, q); err != nil {
			r.err(err.Error(), "readings", steps[1], "uncertainty")
			return
		}
		t.Value = q
	}
	if result != "" {
		if test == nil {
			r.err(fmt.Sprintf("a feature is measured: write value: with a number, for example \"%s\"; a result belongs to a test", sample(f)), steps...)
			return
		}
		known := func(id string) bool {
			return slices.ContainsFunc(test.Outcomes, func(o book.Outcome) bool { return o.ID == id })
		}
		id := ident(result)
		if !known(id) {
			said := slices.DeleteFunc(slices.Clone(test.Outcomes), func(o book.Outcome) bool { return ident(o.Text) != id })
			if len(said) == 1 { // as the screen and the answer say it
				id = said[0].ID
			}
		}
		if yn, err := yesNo(result); !known(id) && err == nil && known(yn) {
			id = yn // "true" for an outcome "yes"
		}
		if !known(id) && (id == "unknown" || id == "not_done" || id == "not_measured") {
			r.note("not done: nothing follows from it", steps...)
			return
		}
		if !known(id) {
			r.err(fmt.Sprintf("test %q has no outcome %s; write one of %s", test.ID, strict.Quote(result), outcomes(test)), steps...)
			return
		}
		t.Outcome = id
		if value == "" {
			t.Feature = ""
		}
	}
	if value == "" && result == "" {
		r.err("is empty; write the value, or leave the reading out", steps...)
		return
	}
	r.out.Readings = append(r.out.Readings, t)
}

func outcomes(t *book.Test) string {
	var ids []string
	for _, o := range t.Outcomes {
		ids = append(ids, o.ID)
	}
	return strings.Join(ids, ", ")
}

// reasonFor checks a set_aside: it is a reason in words, not a switch.
func (r *resolver) reasonFor(s string, steps ...any) bool {
	if !r.f.has(steps...) && s == "" {
		return true
	}
	if _, bool := strict.Bool(s); bool || strings.TrimSpace(s) == "" {
		r.err("needs the reason in words, for example set_aside: clamp was on the wrong wire", steps...)
		return false
	}
	return true
}
