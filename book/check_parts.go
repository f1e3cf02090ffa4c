package book

import (
	"fmt"
	"reflect"
	"strings"

	"proveout/unit"
)

// minutesMax bounds minutes of one step (our choice: two working days).
const minutesMax = 960

// head checks the fields at the top of a book; Load has looked at the schema.
func (c *checker) head() {
	b := c.book
	if !b.own() {
		for _, f := range []struct{ name, value string }{{"id", b.ID}, {"version", b.Version}, {"title", b.Title}} {
			if strings.TrimSpace(f.value) == "" {
				c.err("is missing; write it, conclusions name the book by it", f.name)
			}
		}
		if len(b.Sources) == 0 {
			c.err("is missing; name the source of each number, for example {EST: our estimate, to be tuned from closed cases}", "sources")
		}
	}
	for _, o := range c.books {
		if o == b {
			break
		}
		if o.ID == b.ID {
			c.err(fmt.Sprintf("book id %q is taken by another book; give it another", b.ID), "id")
			break
		}
	}
	c.layout(b.Applies, "applies")
	s := b.Settings
	for _, f := range []struct {
		name string
		n    Num
	}{
		{"nothing_wrong", s.NothingWrong}, {"not_listed", s.NotListed}, {"coverage_warm", s.CoverageWarm}, {"coverage_wet", s.CoverageWet},
		{"coverage_state", s.CoverageState}, {"coverage_unknown", s.CoverageUnknown}, {"unreliable", s.Unreliable},
	} {
		c.optional(f.n, 0, 1, "[0.3, EST]", "settings", f.name)
	}
	for _, f := range []struct {
		name string
		n    Num
	}{{"nothing_wrong", s.NothingWrong}, {"not_listed", s.NotListed}} {
		if f.n.Source != "" && (f.n.Value <= 0 || f.n.Value > 0.5) {
			c.err("must be above 0 and at most 0.5: both stay possible, neither may lead by itself", "settings", f.name)
		}
	}
}

// tables checks what tests and faults refer to.
func (c *checker) tables() {
	b := c.book
	for _, tag := range sorted(b.Sources) {
		if strings.TrimSpace(b.Sources[tag]) == "" {
			c.err("has no citation; write what and where it is, or \"our estimate\"", "sources", tag)
		}
	}
	for _, id := range sorted(b.Equipment) {
		c.entry("equipment", id, b.Equipment[id], func(o *Book) any { v, ok := o.Equipment[id]; return same(v, ok) })
	}
	for _, id := range sorted(b.Symptoms) {
		c.entry("symptoms", id, b.Symptoms[id], func(o *Book) any { v, ok := o.Symptoms[id]; return same(v, ok) })
	}
	for _, id := range sorted(b.Context) {
		f := b.Context[id]
		c.entry("context", id, f, func(o *Book) any { v, ok := o.Context[id]; return same(v, ok) })
		if strings.TrimSpace(f.Ask) == "" {
			c.err("is empty; write the question as one would ask it", "context", id)
		}
		c.optional(f.Share, 0.001, 0.8, "{ask: \"Is it worse when wet?\", share: [0.1, EST]}", "context", id, "share")
	}
	for _, id := range sorted(b.Hazards) {
		h := b.Hazards[id]
		c.entry("hazards", id, h, func(o *Book) any { v, ok := o.Hazards[id]; return same(v, ok) })
		c.word(h.Word, signalWords, "hazards", id, "word")
		if strings.TrimSpace(h.Text) == "" {
			c.err("is missing; say what happens and the one thing to do", "hazards", id, "text")
		}
		if h.Source != "" {
			c.src(h.Source, "hazards", id, "src")
		}
	}
	for _, id := range sorted(b.Access) {
		a := b.Access[id]
		c.entry("access", id, a, func(o *Book) any { v, ok := o.Access[id]; return same(v, ok) })
		c.num(a.Easy, 0, minutesMax, "[10, EST]", "access", id, "easy")
		c.num(a.Buried, 0, minutesMax, "[60, EST]", "access", id, "buried")
		c.optional(a.Cool, 0, minutesMax, "[45, EST]", "access", id, "cool")
	}
	for _, id := range sorted(b.Features) {
		f := b.Features[id]
		c.entry("features", id, f, func(o *Book) any { v, ok := o.Features[id]; return same(v, ok) })
		if g, ok := FindFeature(id); ok {
			c.err(fmt.Sprintf("feature %q is already in the catalogue (%s); use it as it is or choose another id", id, g.Name), "features", id)
		}
		c.word(f.Per, featurePer, "features", id, "per")
		if _, err := unit.Parse(f.Unit); err != nil {
			c.err(err.Error(), "features", id, "unit")
		}
	}
}

// same wraps a table entry so that "not there" differs from every entry.
func same(v any, ok bool) any {
	if !ok {
		return nil
	}
	return v
}

// entry checks the id of a table entry, and that an earlier book which has the
// same id says the same.
func (c *checker) entry(table, id string, v any, in func(*Book) any) {
	if table != "features" && !idForm.MatchString(id) {
		c.err(fmt.Sprintf("%q is no id; write a to z, 0 to 9 and _, beginning with a letter", id), table, id)
	}
	if s, ok := v.(string); ok && strings.TrimSpace(s) == "" {
		c.err("is empty; write its name in words", table, id)
	}
	for _, o := range c.books {
		if o == c.book {
			return
		}
		if w := in(o); w != nil && !reflect.DeepEqual(v, w) {
			c.err(fmt.Sprintf("%q is already in book %q and says something else; give it another id", id, o.ID), table, id)
			return
		}
	}
}

func (c *checker) layout(l Layout, steps ...any) {
	at := func(s ...any) []any { return append(append([]any(nil), steps...), s...) }
	for i, f := range l.Fuel {
		c.word(f, fuelWords, at("fuel", i)...)
	}
	for i, f := range l.Ignition {
		c.word(string(f), sparkWords, at("ignition", i)...)
	}
	for i, f := range l.Injection {
		c.word(string(f), injectWords, at("injection", i)...)
	}
	if l.MinCylinders < 0 || l.MinCylinders > 16 {
		c.err(fmt.Sprintf("%d is outside 1 to 16", l.MinCylinders), at("min_cylinders")...)
	}
	if l.MinBanks < 0 || l.MinBanks > 4 {
		c.err(fmt.Sprintf("%d is outside 1 to 4", l.MinBanks), at("min_banks")...)
	}
}

func (c *checker) components() {
	seen := map[string]bool{}
	for i := range c.book.Components {
		m := &c.book.Components[i]
		c.id("component", m.ID, seen, "components", i)
		c.word(m.Per, perWords, "components", i, "per")
		c.layout(m.When, "components", i, "when")
		if strings.TrimSpace(m.Name) == "" {
			c.err("is missing; write the part's name", "components", i, "name")
		}
		used := false
		for _, f := range c.fault {
			used = used || f.Component == m.ID
		}
		if !used {
			c.warn(fmt.Sprintf("component %q has no fault", m.ID), "components", i)
		}
	}
}

func (c *checker) faults() {
	seen := map[string]bool{}
	for i := range c.book.Faults {
		f := &c.book.Faults[i]
		c.id("fault", f.ID, seen, "faults", i)
		c.ref("component", f.Component, "faults", i, "component")
		c.layout(f.When, "faults", i, "when")
		if strings.TrimSpace(f.Name) == "" {
			c.err("is missing; say how the part fails", "faults", i, "name")
		}
		c.num(f.Rate, 0, 0.5, "[0.01, EST]", "faults", i, "rate")
		if f.Rate.Source != "" && f.Rate.Value <= 0 {
			c.err("must be above 0; leave the fault out if it never happens", "faults", i, "rate")
		}
		for _, s := range sorted(f.Complaint) {
			c.ref("symptom", s, "faults", i, "complaint", s)
			c.likely(f.Complaint[s], "faults", i, "complaint", s)
		}
		for j, x := range f.Context {
			c.ref("context fact", x.Fact, "faults", i, "context", j, "fact")
			c.num(x.Times, 0.01, 100, "[3, EST]", "faults", i, "context", j, "times")
			if s := findFact(x.Fact, c.books...).Share.Value; s*x.Times.Value > MostShare {
				c.err(fmt.Sprintf("%g times at a share of %g of all vehicles would make %.0f %% of this fault's rate come from them, more than %.0f %%: the answer no would nearly rule it out; lower one of the two",
					x.Times.Value, s, 100*s*x.Times.Value, 100*MostShare), "faults", i, "context", j, "times")
			}
		}
		for _, s := range sorted(f.Shows) {
			c.word(s, StateWords, "faults", i, "shows", s)
			c.num(f.Shows[s], 0, 1, "[0.3, EST]", "faults", i, "shows", s)
		}
		if f.Only != "" {
			c.word(f.Only, onlyWords, "faults", i, "only")
		}
		c.optional(f.Repair.Minutes, 0, 10*minutesMax, "[30, EST]", "faults", i, "repair", "minutes")
		c.optional(f.Repair.Parts, 0, 10*minutesMax, "[20, EST]", "faults", i, "repair", "parts")
		if m := c.comps[f.Component]; !c.direct[f.ID] && !(m != nil && m.Exchange) {
			c.warn(fmt.Sprintf("no direct test looks at fault %q: it can be suspected, never shown", f.ID), "faults", i)
		}
	}
}
