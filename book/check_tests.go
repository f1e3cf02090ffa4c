package book

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/unit"
)

// floor is the least chance of a false alarm a book may claim: no reading may
// make certainty (our choice, DECISIONS.md: floor 1 %).
const floor = 0.01

func (c *checker) tests() {
	seen := map[string]bool{}
	for i := range c.book.Tests {
		t := &c.book.Tests[i]
		c.id("test", t.ID, seen, "tests", i)
		if strings.TrimSpace(t.Name) == "" {
			c.err("is missing; say what is done", "tests", i, "name")
		}
		c.word(t.Per, perWords, "tests", i, "per")
		c.layout(t.When, "tests", i, "when")
		c.reads(t, i)
		c.codes(t, i)
		c.outcomes(t, i)
		c.rows(t, i)
		c.directness(t, i)
		for j, s := range t.At {
			c.word(s, StateWords, "tests", i, "at", j)
		}
		c.num(t.Minutes.Easy, 0, minutesMax, "[10, EST]", "tests", i, "minutes", "easy")
		c.num(t.Minutes.Buried, 0, minutesMax, "[40, EST]", "tests", i, "minutes", "buried")
		c.optional(t.Minutes.More, 0, minutesMax, "[2, EST]", "tests", i, "minutes", "more")
		if t.Access != "" {
			c.ref("access", t.Access, "tests", i, "access")
		}
		for j, e := range t.Equipment {
			c.ref("equipment", e, "tests", i, "equipment", j)
		}
		for j, h := range t.Hazards {
			c.ref("hazard", h, "tests", i, "hazards", j)
		}
		if t.Source != "" {
			c.src(t.Source, "tests", i, "src")
		}
		if t.Group != "" || t.Rho.Source != "" {
			c.num(t.Rho, 0, 1, "[0.8, EST]", "tests", i, "rho")
			if t.Group == "" {
				c.err("is missing; rho is the correlation within a group of tests: name the group", "tests", i, "group")
			}
		}
	}
}

// codes checks that the codes of a test have the form of codes and lead to
// outcomes it has.
func (c *checker) codes(t *Test, i int) {
	if t.Codes == nil {
		return
	}
	if len(t.Codes.Match) == 0 {
		c.err("is empty; write for example [P03nn]", "tests", i, "codes", "match")
	}
	for j, m := range t.Codes.Match {
		if !codePattern.MatchString(m) {
			c.err(fmt.Sprintf("%q has not the form of a code; write for example P0335, or P03nn for one code for each cylinder", m), "tests", i, "codes", "match", j)
		}
	}
	for _, o := range []struct{ id, field string }{{t.Codes.Found, "found"}, {t.Codes.None, "none"}} {
		if !slices.ContainsFunc(t.Outcomes, func(x Outcome) bool { return x.ID == o.id }) {
			c.err(fmt.Sprintf("%q is no outcome of this test", o.id), "tests", i, "codes", o.field)
		}
	}
}

// codePattern is the form of a two-byte code (SAE J2012), with nn or n for a number.
var codePattern = regexp.MustCompile(`^[PCBU][0-3]([0-9A-F]{3}|[0-9A-F]nn|[0-9A-F]{2}n)$`)

func (c *checker) reads(t *Test, i int) {
	r := t.Reads
	if r == nil {
		return
	}
	f, ok := FindFeature(r.Feature, c.books...)
	if !ok {
		c.err(fmt.Sprintf("feature %q is neither in the catalogue nor in a book%s", r.Feature, meant(r.Feature, c.features())), "tests", i, "reads", "feature")
		return
	}
	c.word(r.Versus, versusWords, "tests", i, "reads", "versus")
	if r.Versus == "absolute" || r.Versus == "difference" || r.Unit != "" {
		if u, err := unit.Parse(r.Unit); err != nil || r.Unit == "" {
			c.err(fmt.Sprintf("unit %q of the outcome bounds is not known; %q is in %s", r.Unit, f.ID, f.Unit), "tests", i, "reads", "unit")
		} else if u.Dim != f.Dim && (r.Versus == "absolute" || r.Versus == "difference") {
			c.err(fmt.Sprintf("%s is a %s, %q is a %s; write for example %s", r.Unit, u.Dim, f.ID, f.Dim, f.Unit), "tests", i, "reads", "unit")
		}
	}
	if r.Nominal != nil {
		c.num(*r.Nominal, -math.MaxFloat64, math.MaxFloat64, "[0.9, EST]", "tests", i, "reads", "nominal")
		if r.Versus != "limit" {
			c.err("belongs to versus: limit only", "tests", i, "reads", "nominal")
		}
		if r.Unit == "" {
			c.err(fmt.Sprintf("is missing; the nominal value needs one, for example %s", f.Unit), "tests", i, "reads", "unit")
		}
	}
	if want := kindOf(t.Per); want != f.Per && t.Per != "" {
		c.warn(fmt.Sprintf("the test is per %s, feature %q is measured per %s", t.Per, f.ID, f.Per), "tests", i, "reads", "feature")
	}
}

func kindOf(per string) evidence.Kind {
	switch per {
	case "coil_pair", "neighbours":
		return evidence.Pair
	}
	return evidence.Kind(per)
}

func (c *checker) features() []string {
	var ids []string
	for _, f := range evidence.Catalogue() {
		ids = append(ids, f.ID)
	}
	for _, b := range c.books {
		ids = append(ids, sorted(b.Features)...)
	}
	return ids
}

func (c *checker) outcomes(t *Test, i int) {
	if len(t.Outcomes) < 2 {
		c.err("a test needs at least two outcomes, one of them normal", "tests", i, "outcomes")
		return
	}
	seen := map[string]bool{}
	normal := 0
	for j, o := range t.Outcomes {
		switch {
		case !idForm.MatchString(o.ID):
			c.err(fmt.Sprintf("%q is no id; write a to z, 0 to 9 and _, beginning with a letter", o.ID), "tests", i, "outcomes", j, "id")
		case o.ID == "src" || o.ID == "where":
			c.err(fmt.Sprintf("%q is a word of the rows; give the outcome another id", o.ID), "tests", i, "outcomes", j, "id")
		case seen[o.ID]:
			c.err(fmt.Sprintf("outcome %q is there twice; give it another id", o.ID), "tests", i, "outcomes", j, "id")
		}
		seen[o.ID] = true
		if o.Normal {
			normal++
		}
		if o.Normal && o.Proves {
			c.err("the normal outcome cannot prove a fault", "tests", i, "outcomes", j, "proves")
		}
		if o.Normal && o.Returns {
			c.err("the normal outcome is not a change that came and went with the part", "tests", i, "outcomes", j, "returns")
		}
		if o.Source != "" {
			c.src(o.Source, "tests", i, "outcomes", j, "src")
		} else if t.Reads != nil && t.Source == "" && !c.book.own() {
			c.err("has no source for its bounds; write src here or on the test", "tests", i, "outcomes", j)
		}
		if t.Reads == nil && (o.From != 0 || o.To != 0) {
			c.err("has bounds, but the test reads no feature; leave from and to out, or say what it reads", "tests", i, "outcomes", j)
		}
		if t.Reads != nil && o.From >= o.To {
			c.err(fmt.Sprintf("from %g to %g is empty; from must be below to", o.From, o.To), "tests", i, "outcomes", j)
		}
	}
	if normal != 1 {
		c.err(fmt.Sprintf("%d outcomes are normal; exactly one must be", normal), "tests", i, "outcomes")
	}
	if t.Reads == nil {
		return
	}
	order := make([]int, len(t.Outcomes))
	for j := range order {
		order[j] = j
	}
	slices.SortStableFunc(order, func(a, b int) int {
		if t.Outcomes[a].From < t.Outcomes[b].From {
			return -1
		} else if t.Outcomes[a].From > t.Outcomes[b].From {
			return 1
		}
		return 0
	})
	for k := 1; k < len(order); k++ {
		a, b := t.Outcomes[order[k-1]], t.Outcomes[order[k]]
		switch gap := b.From - a.To; {
		case gap > 1e-9*math.Max(1, math.Abs(a.To)):
			c.err(fmt.Sprintf("between %g and %g no outcome holds; let %q begin where %q ends", a.To, b.From, b.ID, a.ID), "tests", i, "outcomes", order[k])
		case gap < -1e-9*math.Max(1, math.Abs(a.To)):
			c.err(fmt.Sprintf("%q and %q overlap from %g to %g; let one begin where the other ends", a.ID, b.ID, b.From, a.To), "tests", i, "outcomes", order[k])
		}
	}
}

// rows checks the chances of the outcomes, healthy and under each fault.
func (c *checker) rows(t *Test, i int) {
	if len(t.Healthy.P) == 0 {
		c.err("is missing; write the chance of each outcome with no fault, for example {normal: 0.95, high: 0.05, src: EST}", "tests", i, "healthy")
	} else {
		c.row(t, t.Healthy, "tests", i, "healthy")
		sum := 0.0
		for _, o := range t.Outcomes {
			p, named := t.Healthy.P[o.ID]
			sum += p
			if !named {
				c.err(fmt.Sprintf("outcome %q has no chance; name every outcome, they sum to 1", o.ID), "tests", i, "healthy")
			} else if !o.Normal && p < floor {
				c.err(fmt.Sprintf("a false alarm of %g for %q is less than %g; no reading may make certainty: write at least %g", p, o.ID, floor, floor), "tests", i, "healthy", o.ID)
			} else if p >= 1 {
				c.err(fmt.Sprintf("a chance of exactly 1 for %q makes certainty of one reading; leave room for the others", o.ID), "tests", i, "healthy", o.ID)
			}
		}
		if math.Abs(sum-1) > 1e-6 {
			c.err(fmt.Sprintf("the chances sum to %g; they must sum to 1", round(sum)), "tests", i, "healthy")
		}
		if t.Healthy.Where != "" {
			c.err("where belongs to the rows of given", "tests", i, "healthy", "where")
		}
	}
	if len(t.Given) == 0 {
		c.err("no fault affects this test; give it a row under given, or leave it out", "tests", i, "given")
	}
	for _, f := range sorted(t.Given) {
		row := t.Given[f]
		c.ref("fault", f, "tests", i, "given", f)
		c.row(t, row, "tests", i, "given", f)
		if row.Where != "" {
			c.word(row.Where, whereWords, "tests", i, "given", f, "where")
		}
		if len(row.P) == 0 {
			c.err("names no outcome; write for example {high: 0.85, src: EST}", "tests", i, "given", f)
			continue
		}
		full, moved := t.complete(row), false
		for j, o := range t.Outcomes {
			if full[j] <= 0 || full[j] >= 1 {
				c.err(fmt.Sprintf("leaves a chance of %g for outcome %q; no reading may make certainty: leave at least 0.01", round(full[j]), o.ID), "tests", i, "given", f)
			} else if o.Normal && full[j] < floor {
				c.warn(fmt.Sprintf("the test misses this fault in only %g of cases; a normal reading then rules it out by itself: is that so?", round(full[j])), "tests", i, "given", f)
			}
			moved = moved || math.Abs(full[j]-t.Healthy.P[o.ID]) > 1e-9
		}
		if !moved {
			c.warn("is the same as healthy: the test says nothing about this fault; leave the row out", "tests", i, "given", f)
		}
	}
}

// row checks what any row must hold.
func (c *checker) row(t *Test, r Row, steps ...any) {
	at := func(s ...any) []any { return append(append([]any(nil), steps...), s...) }
	c.src(r.Source, steps...)
	sum := 0.0
	for _, o := range sorted(r.P) {
		p := r.P[o]
		sum += p
		if !slices.ContainsFunc(t.Outcomes, func(x Outcome) bool { return x.ID == o }) {
			var ids []string
			for _, x := range t.Outcomes {
				ids = append(ids, x.ID)
			}
			c.err(fmt.Sprintf("the test has no outcome %q%s", o, meant(o, ids)), at(o)...)
		}
		if p < 0 || p > 1 {
			c.err(fmt.Sprintf("%g is no chance; write a number from 0 to 1", p), at(o)...)
		}
	}
	if sum > 1+1e-6 {
		c.err(fmt.Sprintf("the chances sum to %g, more than 1", round(sum)), steps...)
	}
}

// directness checks that a direct test can show what it claims to look at.
func (c *checker) directness(t *Test, i int) {
	proves := false
	for _, o := range t.Outcomes {
		proves = proves || o.Proves
	}
	if len(t.Direct) > 0 && !proves {
		c.err("a direct test needs an outcome with proves: true", "tests", i, "direct")
	}
	if len(t.Direct) == 0 && proves {
		c.err("an outcome proves something, but direct names no fault", "tests", i, "outcomes")
	}
	for j, f := range t.Direct {
		c.ref("fault", f, "tests", i, "direct", j)
		row, ok := t.Given[f]
		if !ok {
			c.err(fmt.Sprintf("the test looks directly at %q but has no row for it under given", f), "tests", i, "direct", j)
			continue
		}
		if row.Where == "other" {
			c.err(fmt.Sprintf("the row of %q holds for other instances only; a direct test looks at the part itself", f), "tests", i, "direct", j)
		}
		full, raised := t.complete(row), false
		for k, o := range t.Outcomes {
			raised = raised || o.Proves && full[k] > t.Healthy.P[o.ID]
		}
		if proves && !raised {
			c.err(fmt.Sprintf("no outcome that proves is made likelier by %q: the test cannot show it", f), "tests", i, "direct", j)
		}
	}
}

// complete gives the chance of each outcome under a row: what the row does not
// name shares the rest in proportion to Healthy.
func (t *Test) complete(r Row) []float64 {
	out := make([]float64, len(t.Outcomes))
	rest, share := 1.0, 0.0
	for i, o := range t.Outcomes {
		if p, ok := r.P[o.ID]; ok {
			out[i] = p
			rest -= p
		} else {
			share += t.Healthy.P[o.ID]
		}
	}
	for i, o := range t.Outcomes {
		if _, ok := r.P[o.ID]; !ok && share > 0 && rest > 1e-12 {
			out[i] = rest * t.Healthy.P[o.ID] / share
		}
	}
	return out
}

func round(v float64) float64 { return math.Round(v*1e6) / 1e6 }
