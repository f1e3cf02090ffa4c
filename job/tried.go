package job

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/strict"
	"proveout/unit"
)

// Tried is a part that was replaced, repaired or changed for another in the
// search, and what became of the complaint. It stays on the record as a reading.
type Tried struct {
	Item      int    `yaml:"item"`
	Part      string `yaml:"part"` // component id of the book, or a fault of it: plug, plug_gap_wide
	Where     `yaml:",inline"`
	Fitted    string    `yaml:"fitted"`     // new (default), used, known_good, mended
	Result    string    `yaml:"result"`     // stays, gone, returned, stays_gone, unknown
	WouldShow string    `yaml:"would_show"` // chance that the complaint would have shown, "90 %"
	Condition Condition `yaml:"condition"`  // in which it was checked
	Operator  string    `yaml:"operator"`
	Taken     string    `yaml:"taken"`
	SetAside  string    `yaml:"set_aside"`
	Note      string    `yaml:"note"`
}

// Search is how the next test is chosen and when the search ends.
type Search struct {
	Order   string `yaml:"order" alone:"yes"` // ends (default), bits, cost
	StopAt  string `yaml:"stop_at"`           // "95 %"; the program's own where empty
	ShownAt string `yaml:"shown_at"`
	// Open is access of the book that is open already: it is not paid again.
	Open []string `yaml:"open"`
}

// TriedPart is one entry of tried, checked.
type TriedPart struct {
	Item      int
	Component string
	Name      string // of the part, for people
	Subject   evidence.Subject
	Fitted    string  // new, used, known_good, mended
	Result    string  // stays, gone, returned, stays_gone
	WouldShow float64 // 0 = not said
	Condition evidence.Condition
	SetAside  string
	Note      string
	From      evidence.Source
}

// SearchPlan is the search entry, checked. Zero values mean the program's own.
type SearchPlan struct {
	Order           string
	StopAt, ShownAt float64
	Open            []string
}

var (
	fittedWords = []string{"new", "used", "known_good", "mended"}
	resultWords = []string{"stays", "gone", "returned", "stays_gone", "unknown"}
	orderWords  = []string{"ends", "bits", "cost"}
)

func (r *resolver) tried(i int) {
	w := &r.f.Tried[i]
	out := TriedPart{Item: r.item("tried", i, w.Item), Note: w.Note, SetAside: strings.TrimSpace(w.SetAside), From: evidence.Source{File: r.f.at(strict.Note, "").File, Line: r.f.line("tried", i)}}
	if len(r.f.broken("tried", i)) > 0 {
		return
	}
	r.stamp(w.Taken, "tried", i, "taken")
	out.Condition = r.condition(w.Condition, "tried", i)
	var ok bool
	if out.Component, out.Name, out.Subject, ok = r.partOf(w, i); !ok {
		return
	}
	out.Fitted, ok = r.word(w.Fitted, fittedWords, "tried", i, "fitted")
	out.Result, ok = must(r, w.Result, resultWords, ok, "tried", i, "result")
	if out.WouldShow, ok = r.share(w.WouldShow, ok, "tried", i, "would_show"); !ok || !r.reasonFor(w.SetAside, "tried", i, "set_aside") {
		return
	}
	switch out.Result {
	case "":
		r.err("is missing; write what became of the complaint: "+strings.Join(resultWords, ", "), "tried", i, "result")
	case "unknown":
		r.note("the result is not known: it moves nothing", "tried", i, "result")
	default:
		if out.Fitted == "" {
			out.Fitted = "new"
			r.note("not said: taken as new", "tried", i, "fitted")
		}
		r.out.Tried = append(r.out.Tried, out)
	}
}

// partOf finds the part of an entry of tried on this engine.
func (r *resolver) partOf(w *Tried, i int) (id, name string, s evidence.Subject, ok bool) {
	id = ident(w.Part)
	if id == "" {
		r.err("is missing; write the id of the part (\"proveout book show\" lists them)", "tried", i, "part")
		return
	}
	var ids []string
	var places []evidence.Subject
	for x := range r.in.Suspects {
		if u := &r.in.Suspects[x]; u.Fault.ID == id {
			id = u.Component.ID
			break
		}
	}
	for x := range r.in.Suspects {
		u := &r.in.Suspects[x]
		if !slices.Contains(ids, u.Component.ID) {
			ids = append(ids, u.Component.ID)
		}
		if u.Component.ID == id {
			name = u.Component.Name
			places = append(places, u.Subject)
		}
	}
	if len(places) == 0 {
		r.err(fmt.Sprintf("this engine has no part %s in the fault books%s", strict.Quote(w.Part), listed(id, ids)), "tried", i, "part")
		return
	}
	if s, ok = r.subject(w.Where, "tried", i); !ok {
		return
	}
	if s == (evidence.Subject{}) {
		s = evidence.WholeEngine
	}
	if !slices.Contains(places, s) {
		r.err(fmt.Sprintf("there is one %s for each %s; write which, for example %s", name, places[0].Kind, placeExample(places[0])), "tried", i)
		return id, name, s, false
	}
	return id, name, s, true
}

func placeExample(s evidence.Subject) string {
	switch s.Kind {
	case evidence.Engine, evidence.Vehicle:
		return "none: leave the place out"
	case evidence.Pair:
		return fmt.Sprintf("cylinders: [%d, %d]", s.Number, s.Second)
	}
	return fmt.Sprintf("%s: %d", s.Kind, s.Number)
}

// share reads a chance or share, "90 %" or 0.9; 0 when none is written.
func (r *resolver) share(s string, ok bool, steps ...any) (float64, bool) {
	if strings.TrimSpace(s) == "" {
		return 0, ok
	}
	q, err := quantity(s, "")
	v := q.SI
	if q.Unit.Dim == unit.Percent {
		v /= 100
	}
	if err != nil || q.Unit.Dim != unit.Percent && !bare(s) || !(v > 0 && v < 1) {
		r.err(fmt.Sprintf("%s is no chance between 0 and 100 %%; write for example 90 %%", strict.Quote(s)), steps...)
		return 0, false
	}
	return v, ok
}

// search reads how the search is to go.
func (r *resolver) search() {
	w := r.f.Search
	if w == nil {
		return
	}
	out := &r.out.Search
	out.Order, _ = r.word(w.Order, orderWords, "search", "order")
	out.StopAt, _ = r.share(w.StopAt, true, "search", "stop_at")
	out.ShownAt, _ = r.share(w.ShownAt, true, "search", "shown_at")
	var ids []string
	for _, b := range r.in.Books {
		ids = slices.AppendSeq(ids, maps.Keys(b.Access))
	}
	for i, o := range w.Open {
		if id := ident(o); slices.Contains(ids, id) {
			out.Open = append(out.Open, id)
		} else {
			slices.Sort(ids)
			r.err(fmt.Sprintf("the fault books know no access %s; there are: %s", strict.Quote(o), strings.Join(ids, ", ")), "search", "open", i)
		}
	}
	for name, v := range map[string]*float64{"stop_at": &out.StopAt, "shown_at": &out.ShownAt} {
		if *v > 0 && *v < 0.5 {
			r.err("is below 50 %: what is likelier not so can end no search; the program's own is used", "search", name)
			*v = 0
		}
	}
}
