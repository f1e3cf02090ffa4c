package web

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"proveout/shop"
	"proveout/text"
)

// ledgerView is the account of the odds: suspects down, what moved them across.
type ledgerView struct {
	Columns []columnView
	Rows    []ledgerRow
	// Together: some row has a factor that no item has alone, shown as a column.
	Together bool
	// Rest is how many further suspects are below the line, Share their chance together.
	Rest  int
	Share string
}

type columnView struct {
	Tag   string // items
	First int    // item to open
	Name  string
	Aside bool
}

type ledgerRow struct {
	ID     string
	Text   string
	State  string // a key under suspect.
	Reason string
	Cells  []cellView
	Others cellView // every other line: further items, and what belongs to no item
	// Together is what the items say only jointly: the factor of an item is the odds
	// with everything over the odds without it, so two that say the same have less of
	// it, and two that only together leave one suspect have more. Was times all cells
	// is the chance as it stands.
	Together cellView
	Chance   string
	Was      string
	// Of the chance bar, 0 to 100.
	Now, Before float64
	Lead        bool
	Overruled   string
	WithAside   string // its chance with the set-aside items counted; empty: the same
}

// cellView is one factor: "×5.9" with a bar to the right, "÷2" to the left.
type cellView struct {
	Text  string
	F     float64 // the factor itself
	For   bool
	Even  bool
	Aside bool
	X, W  float64 // of the bar, in a box 100 wide with the middle at 50
}

const (
	maxColumns = 5    // what a tablet shows side by side, with the others and what all say together
	maxRows    = 8    // beyond it nobody reads on
	rowFrom    = 0.01 // suspects below 1 in 100 are summed up
	evenBand   = 1.05 // a factor within 5 % of 1 is "even" (design: weights)
	fullBar    = 10.0 // a factor of ten fills half the cell
)

// movements are the factors on each suspect by test.
type movements struct {
	byTest map[string]string // finding id to test
	of     map[string]map[string]float64
	text   map[string]string
	force  map[string]float64 // finding id to the largest |ln factor| on any suspect
}

func movedBy(a *shop.Answer) movements {
	m := movements{byTest: map[string]string{}, of: map[string]map[string]float64{}, text: map[string]string{}, force: map[string]float64{}}
	for _, g := range groups(a.Findings) {
		for _, f := range g.findings {
			m.byTest[f.ID] = g.test
		}
	}
	for i := range a.Suspects {
		s := &a.Suspects[i]
		by := map[string]float64{}
		for _, mv := range s.MovedBy {
			if mv.Factor <= 0 || mv.Finding == "prior" || mv.Finding == "complaint" || strings.HasPrefix(mv.Finding, "fact:") {
				continue // they stand in "was"
			}
			test, ok := m.byTest[mv.Finding]
			if !ok {
				test = mv.Finding // a line that belongs to no finding counts all the same
			}
			if _, seen := by[test]; !seen {
				by[test] = 1
			}
			by[test] *= mv.Factor
			m.force[mv.Finding] = math.Max(m.force[mv.Finding], math.Abs(math.Log(mv.Factor)))
		}
		m.of[s.ID], m.text[s.ID] = by, s.Text
	}
	return m
}

// most says what a group moved most: one suspect up and one down, where it moved
// any by more than 5 %, and how strongly.
func (m movements) most(g group, p *text.Printer) (string, float64) {
	var up, down string
	most, least := evenBand, 1/evenBand
	for _, id := range sortedKeys(m.of) {
		switch f, ok := m.of[id][g.test]; {
		case !ok:
		case f > most:
			up, most = id, f
		case f < least:
			down, least = id, f
		}
	}
	var parts []string
	force := 1.0
	if up != "" {
		parts, force = append(parts, m.text[up]+" "+weight(most, p)), most
	}
	if down != "" {
		parts, force = append(parts, m.text[down]+" "+weight(least, p)), math.Max(force, 1/least)
	}
	return strings.Join(parts, "; "), force
}

// weight writes a factor as a bay would: × for, ÷ against.
func weight(f float64, p *text.Printer) string {
	switch {
	case math.IsNaN(f) || f <= 0:
		return "?"
	case f < evenBand && f > 1/evenBand:
		return p.T("ledger.even")
	case f >= 1:
		return "×" + factor(f, p)
	}
	return "÷" + factor(1/f, p)
}

func factor(f float64, p *text.Printer) string {
	if f >= 9.95 {
		return p.Number(f, 0)
	}
	return p.Number(f, 1)
}

func cellOf(f float64, p *text.Printer) cellView {
	c := cellView{Text: weight(f, p), F: f, For: f >= 1, Even: f < evenBand && f > 1/evenBand}
	if !c.Even {
		c.W = math.Min(50, 50*math.Abs(math.Log(f))/math.Log(fullBar))
		c.X = 50
		if !c.For {
			c.X = 50 - c.W
		}
	}
	return c
}

// chance writes a reckoned chance: never a bare 0 or 100.
func chance(x float64, p *text.Printer) string {
	switch {
	case math.IsNaN(x):
		return "?"
	case x < 0.001:
		return p.T("chance.under", p.Number(0.1, 1))
	case x < 0.01:
		return p.T("chance.percent", p.Number(100*x, 1))
	case x > 0.99:
		return p.T("chance.over", p.Number(99, 0))
	}
	return p.T("chance.percent", p.Number(100*x, 0))
}

// times writes a chance as times in 100: what is expected of a test.
func times(x float64, p *text.Printer) string {
	if x > 0 && x < 0.01 {
		return p.T("chance.times", "<1")
	}
	return p.T("chance.times", p.Number(100*x, 0))
}

// ledger sets up the account of an answer. Columns are the tests that moved the
// shown suspects most, in order of their items; the others are one column.
func ledger(a *shop.Answer, p *text.Printer) ledgerView {
	m := movedBy(a)
	suspects := slices.Clone(a.Suspects)
	slices.SortStableFunc(suspects, func(x, y shop.SuspectAnswer) int { return cmp.Compare(y.Chance, x.Chance) })
	var out ledgerView
	var shown []shop.SuspectAnswer
	rest := 0.0
	for _, s := range suspects {
		if len(shown) < maxRows && (s.Chance >= rowFrom || s.Overruled != "") {
			shown = append(shown, s)
			continue
		}
		out.Rest++
		rest += s.Chance
	}
	out.Share = chance(math.Min(rest, 1), p)
	columns := m.columns(a, shown)
	for _, g := range columns {
		items := g.items()
		c := columnView{Tag: spans(items, p), First: items[0], Name: g.findings[0].Name, Aside: true}
		for _, f := range g.findings {
			c.Aside = c.Aside && f.SetAside
		}
		out.Columns = append(out.Columns, c)
	}
	for i, s := range shown {
		row := ledgerRow{ID: s.ID, Text: s.Text, State: s.State, Reason: s.Reason, Lead: i == 0, Overruled: s.Overruled,
			Chance: chance(s.Chance, p), Was: chance(s.Before, p), Now: 100 * s.Chance, Before: 100 * s.Before}
		if s.ByWord() {
			row.State = "shown_by_word"
		}
		others, all := 1.0, 1.0
		for _, f := range m.of[s.ID] {
			all *= f
		}
		for test, f := range m.of[s.ID] {
			if !slices.ContainsFunc(columns, func(g group) bool { return g.test == test }) {
				others *= f
			}
		}
		for i, g := range columns {
			f, ok := m.of[s.ID][g.test]
			if !ok {
				f = 1
			}
			c := cellOf(f, p)
			c.Aside = out.Columns[i].Aside
			row.Cells = append(row.Cells, c)
		}
		row.Others, row.Together = cellOf(others, p), cellOf(odds(s.Chance)/odds(s.Before)/all, p)
		out.Together = out.Together || !row.Together.Even
		if w := s.WithSetAside; w != nil && math.Abs(*w-s.Chance) >= 0.005 {
			row.WithAside = chance(*w, p)
		}
		out.Rows = append(out.Rows, row)
	}
	if !out.Together { // not worth a column: it goes with the others
		for i := range out.Rows {
			r := &out.Rows[i]
			r.Others = cellOf(r.Others.F*r.Together.F, p)
		}
	}
	return out
}

// odds of a chance as an answer has it, with six figures: it says no more than that it
// is within them of 0 or 1.
func odds(p float64) float64 {
	p = math.Min(math.Max(p, 1e-12), 1-5e-7)
	return p / (1 - p)
}

// columns chooses the groups that moved the shown suspects most.
func (m movements) columns(a *shop.Answer, shown []shop.SuspectAnswer) []group {
	type weighed struct {
		group
		force float64
		place int
	}
	var all []weighed
	for i, g := range groups(a.Findings) {
		w := weighed{group: g, place: i}
		aside := true
		for _, f := range g.findings {
			aside = aside && f.SetAside
		}
		for _, s := range shown {
			if f, ok := m.of[s.ID][g.test]; ok {
				w.force = math.Max(w.force, math.Abs(math.Log(f)))
			}
		}
		if aside {
			w.force = math.Inf(1) // a set-aside item is always shown: it counts for nothing until settled
		}
		if w.force > math.Log(evenBand) {
			all = append(all, w)
		}
	}
	slices.SortStableFunc(all, func(x, y weighed) int { return cmp.Compare(y.force, x.force) })
	all = all[:min(len(all), maxColumns)]
	slices.SortFunc(all, func(x, y weighed) int { return x.place - y.place })
	var out []group
	for _, w := range all {
		out = append(out, w.group)
	}
	return out
}
