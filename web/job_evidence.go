package web

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"proveout/evidence"
	"proveout/shop"
	"proveout/text"
	"proveout/unit"
)

// evidenceRow is one thing that was measured, on all its subjects side by side:
// cylinder 3 means nothing without cylinders 1, 2 and 4.
type evidenceRow struct {
	Tag      string // items it comes from: "3", "3 to 26"
	Items    []int
	Name     string
	Values   []valueView
	Unit     string
	Bars     *barsView
	Odd      bool
	Aside    bool
	Judged   string // one word for the state: a key under state.
	Sentence string
	Matters  string // for the apprentice
	Why      string // how it was judged
	More     int    // further placements that would settle it
	Limit    string // test whose figure is not judged, since the maker's limit is not given
	Moved    string // what it moved most, as "plug gap ×5.9, coil ÷2"
	force    float64
}

type valueView struct {
	Of    string // "1", "bank 2": who it is for
	Text  string
	Lang  string // of the text, where it is not the page's
	Odd   bool
	Aside bool
}

// barsView is a small figure of the values: bars of one scale, the odd one solid.
type barsView struct {
	Bars  []barView
	Width float64
}

type barView struct {
	X, Y, Width, Height float64
	Odd                 bool
}

// group is the findings of one test.
type group struct {
	test     string
	findings []*shop.FindingAnswer
}

// groups puts findings of one test together, in order of their first item.
func groups(fs []shop.FindingAnswer) []group {
	var out []group
	at := map[string]int{}
	for i := range fs {
		f := &fs[i]
		key := cmp.Or(f.Test, f.Feature, f.Name)
		n, ok := at[key]
		if !ok {
			n = len(out)
			at[key] = n
			out = append(out, group{test: key})
		}
		out[n].findings = append(out[n].findings, f)
	}
	slices.SortStableFunc(out, func(a, b group) int { return a.items()[0] - b.items()[0] })
	return out
}

// items are the numbers of the items the findings come from, in order.
func (g group) items() []int {
	var out []int
	for _, f := range g.findings {
		out = append(out, f.Item)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// spans writes item numbers shortly: 3, 5 to 9.
func spans(items []int, p *text.Printer) string {
	var parts []string
	for i := 0; i < len(items); {
		j := i
		for j+1 < len(items) && items[j+1] == items[j]+1 {
			j++
		}
		switch {
		case j == i:
			parts = append(parts, strconv.Itoa(items[i]))
		case j == i+1:
			parts = append(parts, strconv.Itoa(items[i]), strconv.Itoa(items[j]))
		default:
			parts = append(parts, p.T("job.span", strconv.Itoa(items[i]), strconv.Itoa(items[j])))
		}
		i = j + 1
	}
	return strings.Join(parts, ", ")
}

// odd reports whether a finding stands out.
func odd(f *shop.FindingAnswer) bool {
	switch evidence.FindingState(f.State) {
	case evidence.High, evidence.Low, evidence.Abnormal:
		return true
	}
	return false
}

// rank orders the states by how much they say.
func rank(state string) int {
	order := []evidence.FindingState{evidence.NotMeasured, evidence.NotJudged, evidence.Normal, evidence.NotEstablished, evidence.Low, evidence.High, evidence.Abnormal}
	return slices.Index(order, evidence.FindingState(state))
}

// evidenceRows are the rows that say something, and those that are as they should
// be, which a page folds away.
func evidenceRows(a *shop.Answer, p *text.Printer) (speaking, quiet []evidenceRow) {
	moved := movedBy(a)
	for _, g := range groups(a.Findings) {
		row := g.row(moved, p)
		row.Moved, row.force = moved.most(g, p)
		for _, f := range g.findings {
			if f.Test != "" && evidence.FindingState(f.State) == evidence.NotJudged && strings.Contains(f.Sentence, "no limit is given") {
				row.Limit = f.Test
			}
		}
		if row.Odd || row.Aside || row.force > 2 {
			speaking = append(speaking, row)
		} else {
			quiet = append(quiet, row)
		}
	}
	return speaking, quiet
}

// speaker is the finding whose sentence stands for the row. One that stands out goes
// before one that does not, then the one that moved the odds most, then the worst
// state; a reading set aside speaks only where all are.
func (g group) speaker(m movements) *shop.FindingAnswer {
	return slices.MaxFunc(g.findings, func(a, b *shop.FindingAnswer) int {
		return cmp.Or(
			yes(!a.SetAside)-yes(!b.SetAside),
			yes(odd(a))-yes(odd(b)),
			cmp.Compare(m.force[a.ID], m.force[b.ID]),
			rank(a.State)-rank(b.State))
	})
}

func yes(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (g group) row(m movements, p *text.Printer) evidenceRow {
	row := evidenceRow{Items: g.items(), Name: g.findings[0].Name}
	row.Tag = spans(row.Items, p)
	aside := 0
	for _, f := range g.findings {
		if f.SetAside {
			aside++
		}
		row.Odd = row.Odd || odd(f) && !f.SetAside
		row.More = max(row.More, f.More)
	}
	row.Aside = aside == len(g.findings)
	speaks := g.speaker(m)
	row.Judged, row.Sentence, row.Matters, row.Why = speaks.State, speaks.Sentence, speaks.Matters, speaks.Why
	row.Values, row.Unit = g.values(p)
	row.Bars = g.bars()
	return row
}

// outcomeWord is an outcome in the page's language as far as it is known there, and its
// language where it is another.
func outcomeWord(s string, p *text.Printer) (word, lang string) {
	for _, x := range p.Pieces(s) {
		word += x.Text
		if x.Lang != "" && x.Lang != p.Lang() {
			lang = x.Lang
		}
	}
	return word, lang
}

// values writes what was measured on each subject, in the shop's units.
func (g group) values(p *text.Printer) (out []valueView, word string) {
	for _, f := range g.findings {
		v := valueView{Of: subjectWord(f.Subject, p), Odd: odd(f), Aside: f.SetAside}
		switch {
		case f.Value != nil:
			v.Text, word = inShopUnit(*f.Value, f.Unit, p)
		case f.Outcome != "":
			v.Text, v.Lang = outcomeWord(strings.ReplaceAll(f.Outcome, "_", " "), p)
		default:
			continue
		}
		out = append(out, v)
	}
	return alike(out), word
}

// inShopUnit writes a value in the unit that the shop reads, and says that unit.
func inShopUnit(v float64, symbol string, p *text.Printer) (value, word string) {
	u, err := unit.Parse(symbol)
	if err != nil || symbol == "" {
		return p.Significant(v), symbol
	}
	to := p.Unit(u)
	if to != u {
		v = to.FromSI(u.SI(v))
	}
	return p.Significant(v), text.UnitWord(to)
}

// widthInShopUnit writes a width about a value in the shop's unit, with two figures.
func widthInShopUnit(v, width float64, symbol string, p *text.Printer) string {
	u, err := unit.Parse(symbol)
	if err == nil && symbol != "" {
		to := p.Unit(u)
		width = math.Abs(to.FromSI(u.SI(v+width)) - to.FromSI(u.SI(v)))
	}
	if width == 0 {
		return p.Number(0, 0)
	}
	return p.Number(width, max(0, 1-int(math.Floor(math.Log10(width)))))
}

// alike says a word once that is the same on every subject.
func alike(vs []valueView) []valueView {
	for i := range vs {
		if vs[i] != (valueView{Of: vs[i].Of, Text: vs[0].Text, Lang: vs[0].Lang, Odd: vs[0].Odd, Aside: vs[0].Aside}) || strings.ContainsAny(vs[i].Text, "0123456789") {
			return vs
		}
	}
	if len(vs) < 2 {
		return vs
	}
	return []valueView{{Of: vs[0].Of + "–" + vs[len(vs)-1].Of, Text: vs[0].Text, Lang: vs[0].Lang, Odd: vs[0].Odd, Aside: vs[0].Aside}}
}

// subjectWord is the shortest name of a subject: a cylinder is its number.
func subjectWord(s shop.SubjectAnswer, p *text.Printer) string {
	switch evidence.Kind(s.Kind) {
	case evidence.Cylinder:
		return strconv.Itoa(s.Number)
	case evidence.Pair:
		return strconv.Itoa(s.Number) + "+" + strconv.Itoa(s.Second)
	case evidence.Bank:
		return p.T("job.bank", s.Number)
	case evidence.Corner:
		if s.Number >= 1 && s.Number <= 4 {
			return p.T("corner." + strconv.Itoa(s.Number))
		}
	}
	return ""
}

// Size of the small figure, in its own units.
const (
	barsHeight = 40
	barWidth   = 18
	barPitch   = 26
)

// bars draws two or more values of one scale that starts at zero; values on both
// sides of zero are not compared by height.
func (g group) bars() *barsView {
	var vs []float64
	var odds []bool
	for _, f := range g.findings {
		if f.Value != nil {
			vs, odds = append(vs, *f.Value), append(odds, odd(f))
		}
	}
	if len(vs) < 2 || slices.Min(vs) < 0 || slices.Max(vs) <= 0 {
		return nil
	}
	top := slices.Max(vs)
	out := &barsView{Width: float64(len(vs)*barPitch - (barPitch - barWidth))}
	for i, v := range vs {
		h := math.Max(1, v/top*(barsHeight-2))
		out.Bars = append(out.Bars, barView{X: float64(i * barPitch), Y: barsHeight - h, Width: barWidth, Height: h, Odd: odds[i]})
	}
	return out
}
