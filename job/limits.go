package job

import (
	"fmt"
	"slices"
	"strings"

	"proveout/book"
	"proveout/evidence"
	"proveout/strict"
	"proveout/unit"
)

// LimitValue is one limit of this vehicle. Min, Max and Nominal are nil where
// not given.
type LimitValue struct {
	Feature           string
	Subject           evidence.Subject // zero: all
	Min, Max, Nominal *unit.Quantity
	Source            string
	Line              int
}

// Decision is one overrule, checked.
type Decision struct {
	Suspect string
	State   string // open, suspected, ruled_out
	Reason  string
	Who     string
	Line    int
}

func (r *resolver) limit(i int) {
	if len(r.f.broken("limits", i)) > 0 {
		return
	}
	w := &r.f.Limits[i]
	f, ok := r.in.Feature(strings.ToLower(strings.TrimSpace(w.Feature)))
	if !ok {
		r.err(fmt.Sprintf("there is no feature %s%s", strict.Quote(w.Feature), listed(w.Feature, r.featureIDs())), "limits", i, "feature")
		return
	}
	l := LimitValue{Feature: f.ID, Source: strings.TrimSpace(w.Source), Line: r.f.line("limits", i)}
	if l.Subject, ok = r.subject(w.Where, "limits", i); !ok {
		return
	}
	for _, part := range []struct {
		name, text string
		to         **unit.Quantity
	}{{"min", w.Min, &l.Min}, {"max", w.Max, &l.Max}, {"nominal", w.Nominal, &l.Nominal}} {
		if part.text == "" {
			continue
		}
		q, err := of(part.text, "", f)
		if err != nil {
			r.err(err.Error(), "limits", i, part.name)
			ok = false
			continue
		}
		*part.to = &q
	}
	switch {
	case !ok:
		return
	case l.Min == nil && l.Max == nil && l.Nominal == nil:
		r.err("gives no figure; write min, max or nominal", "limits", i)
		return
	case l.Min != nil && l.Max != nil && l.Min.SI > l.Max.SI:
		r.err(fmt.Sprintf("min %s is above max %s", l.Min, l.Max), "limits", i)
		return
	case l.Nominal != nil && (l.Min != nil && l.Nominal.SI < l.Min.SI || l.Max != nil && l.Nominal.SI > l.Max.SI):
		r.err(fmt.Sprintf("nominal %s lies outside min and max", l.Nominal), "limits", i)
		return
	}
	if l.Source == "" {
		r.warn("names no source; write where the figure is from, for example source: service information, plug chapter", "limits", i, "source")
	}
	r.out.Limits = append(r.out.Limits, l)
}

func (r *resolver) kept(i int) {
	if len(r.f.broken("kept", i)) > 0 {
		return
	}
	k := r.f.Kept[i]
	k.Reason, k.Who = strings.TrimSpace(k.Reason), strings.TrimSpace(k.Who)
	ok := true
	for _, c := range []struct {
		good        bool
		name, wrong string
	}{
		{len(k.Items) >= 2, "items", "names fewer than two items; write those that disagree, for example [2, 5]"},
		{k.Reason != "", "reason", "is missing; say in words why all are kept"},
		{k.Who != "", "who", "is missing; write who decided"},
	} {
		if !c.good {
			r.err(c.wrong, "kept", i, c.name)
			ok = false
		}
	}
	if ok {
		r.out.Kept = append(r.out.Kept, k)
	}
}

func (r *resolver) overrule(i int) {
	if len(r.f.broken("overrules", i)) > 0 {
		return
	}
	w := &r.f.Overrules[i]
	d := Decision{Suspect: strings.TrimSpace(w.Suspect), Reason: strings.TrimSpace(w.Reason), Who: strings.TrimSpace(w.Who), Line: r.f.line("overrules", i)}
	ok := true
	if !slices.ContainsFunc(r.in.Suspects, func(s book.Suspect) bool { return s.ID == d.Suspect }) {
		var ids []string
		for _, s := range r.in.Suspects {
			ids = append(ids, s.ID)
		}
		r.err(fmt.Sprintf("there is no suspect %s on this engine%s", strict.Quote(w.Suspect), listed(d.Suspect, ids)), "overrules", i, "suspect")
		ok = false
	}
	if d.State, ok = must(r, w.State, stateWords, ok, "overrules", i, "state"); d.State == "" && ok {
		r.err("is missing; write one of: "+strings.Join(stateWords, ", "), "overrules", i, "state")
		ok = false
	}
	if d.Reason == "" {
		r.err("is missing; an overrule needs its reason in words", "overrules", i, "reason")
		ok = false
	}
	if d.Who == "" {
		r.err("is missing; write who decided", "overrules", i, "who")
		ok = false
	}
	if ok {
		r.out.Overrules = append(r.out.Overrules, d)
	}
}

func must(r *resolver, s string, words []string, ok bool, steps ...any) (string, bool) {
	w, good := r.word(s, words, steps...)
	return w, ok && good
}
