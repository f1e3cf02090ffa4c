package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/figure"
	"proveout/shop"
)

// proof says where the repair stands, in the customer's words first.
func (m maker) proof() Part {
	p := Part{Name: m.t("proof"), Keep: true, Key: m.verdict()}
	a := m.p
	for _, w := range a.Why {
		m.note(&p, "", m.say(w))
	}
	var after []string
	climbs, road := 0, 0.0
	for _, d := range a.After.Drives {
		if d.Used {
			after = append(after, fmt.Sprint(d.Item))
			climbs += d.Climbs
			road += d.RoadMinutes
		}
	}
	if len(after) > 0 {
		m.note(&p, "driven", m.w.N("paper.driven", climbs, m.w.Number(a.After.Seconds, 0), m.w.Number(math.Ceil(road), 0), strings.Join(after, ", ")))
	}
	if a.RatioUpper != nil && a.After.Seconds > 0 {
		in := m.quantity("")
		m.note(&p, "reckoned", m.t("ratio", in.bare(*a.Ratio), in.bare(*a.RatioUpper), in.bare(a.RatioLimit)))
	}
	p.Table = m.table()
	p.Figures = m.figures()
	return p
}

// verdict is the bold line.
func (m maker) verdict() string {
	a := m.p
	clean := a.CouldBeChance != nil && *a.CouldBeChance <= 0.05+1e-9 && a.Plan.Possible && a.Plan.Improve.Seconds == 0 && a.After.Episodes+a.After.Outside == 0
	said := func(parts ...string) string {
		return strings.Join(slices.DeleteFunc(parts, func(s string) bool { return s == "" }), " ")
	}
	drive := ""
	if clean {
		drive = m.t("clean", oneIn(*a.CouldBeChance))
	}
	because := ""
	if h := a.HandedOver; h != nil && h.Because != "" {
		because = m.t("because", strings.TrimSuffix(strings.TrimSpace(h.Because), "."))
		if h.Left != "" {
			because += " " + m.t("left", strings.TrimSuffix(h.Left, "."))
		}
	}
	switch {
	case a.State == "proven" && a.By == "measured":
		return said(m.t("proven_measured"), drive)
	case a.State == "proven" && a.By == "old_part_back":
		return m.t("proven_old_part")
	case a.State == "proven":
		return said(m.t("proven_road"), drive)
	case a.State == "came_back":
		return said(m.t("came_back"), because)
	case a.State == "improved":
		return said(m.t("improved"), drive, because)
	case because != "":
		return because
	case !m.repaired():
		return m.t("not_repaired_yet")
	}
	return m.t("not_proven_yet")
}

// oneIn writes a chance as the customer reads it: 0.048 is 1 in 20.
func oneIn(p float64) string {
	for _, n := range []int{1000, 500, 200, 100, 50, 20} {
		if p <= 1/float64(n)+1e-12 {
			return fmt.Sprint(n)
		}
	}
	return fmt.Sprint(max(1, int(1/p)))
}

// notProven lists what the proof does not say, what was set aside, and when to ask
// again.
func (m maker) notProven() Part {
	p := Part{Name: m.t("not_proven"), Keep: true}
	m.changed(&p)
	for _, s := range m.p.NotTested {
		m.note(&p, "", m.say(s))
	}
	for _, it := range m.d.Items {
		said := slices.ContainsFunc(m.p.NotTested, func(s string) bool { return strings.HasPrefix(s, fmt.Sprintf("Item %d ", it.Item)) })
		if it.SetAside != "" && !said {
			m.note(&p, "", m.t("item_aside", it.Item, strings.TrimSuffix(it.SetAside, ".")))
		}
	}
	for _, l := range m.p.LeftOut {
		place := l.File
		if l.Item > 0 {
			place = m.t("item", l.Item)
		} else if l.Path != "" {
			place = "" // a place in the job file says nothing to a reader
		}
		m.note(&p, "left_out", strings.TrimPrefix(place+": "+ended(m.say(l.Why)), ": "))
	}
	if h := m.p.HandedOver; h != nil && h.AskAgain != "" {
		m.note(&p, "ask_again", strings.TrimSuffix(h.AskAgain, ".")+".")
	}
	if len(p.Notes) == 0 {
		m.note(&p, "", m.t("nothing_open"))
	}
	return p
}

// table sets the values of all cylinders before and after side by side.
func (m maker) table() *Table {
	places := 0
	for _, q := range m.p.Measured {
		for _, v := range append(slices.Clone(q.Before), q.After...) {
			if v.Text == "" && v.Subject.Kind == "cylinder" {
				places = max(places, v.Subject.Number)
			}
		}
	}
	if places < 2 || places > 12 {
		return nil
	}
	t := &Table{Head: []string{m.t("cylinder")}}
	for _, when := range []string{"was", "now"} {
		for c := 1; c <= places; c++ {
			t.Head = append(t.Head, m.t(when, c))
		}
	}
	for _, q := range m.p.Measured {
		in := m.quantity(q.Unit)
		row := Row{Name: upperFirst(m.say(q.Name))}
		if in.word != "" && in.word != "1" {
			row.Name += ", " + in.word
		}
		row.Cells = make([]Cell, 2*places)
		for i := range row.Cells {
			row.Cells[i].Text = "·" // not measured there
		}
		found := false
		for k, side := range [][]shop.PlacedAnswer{q.Before, q.After} {
			for _, v := range side {
				if v.Text == "" && v.Subject.Kind == "cylinder" {
					found = true
					row.Cells[k*places+v.Subject.Number-1] = Cell{in.bare(v.Value), v.State == "high" || v.State == "low" || v.State == "abnormal"}
				}
			}
		}
		if found {
			t.Rows = append(t.Rows, row)
		}
	}
	if len(t.Rows) == 0 {
		return nil
	}
	return t
}

// figures draws the drives on one time scale: load over time, the fault conditions
// hatched, a bar where they held, a diamond at each episode.
func (m maker) figures() []figure.Drawing {
	longest := 0.0
	for _, c := range m.r.Courses {
		longest = math.Max(longest, c.Seconds)
	}
	if longest <= 0 || !m.p.Conditions.Known {
		return nil
	}
	var out []figure.Drawing
	for _, c := range m.r.Courses {
		if len(out) == 2 || c.As == "after" && len(out) == 0 && len(m.r.Courses) > 1 && m.r.Courses[0].As != "after" {
			continue
		}
		if len(out) == 1 && c.As != "after" {
			continue // one before, one after
		}
		when := "before"
		if c.As == "after" {
			when = "after"
		}
		p := figure.Plot{
			Title: m.t("figure_"+when, c.Item),
			Text:  m.t("figure_text", len(c.Episodes), len(c.Inside)),
			X:     figure.Axis{Label: m.t("minutes"), Max: longest / 60}, Y: figure.Axis{Label: m.t("load_pct"), Max: 105, Step: 20},
			Bands: []figure.Band{{Y0: m.p.Conditions.LoadLow, Y1: m.p.Conditions.LoadHigh, Fill: figure.Hatch}},
			Lines: []figure.Line{{X: minutes(c.T), Y: c.LoadLow, Hi: c.LoadHigh}},
		}
		for _, s := range c.Inside {
			p.Bands = append(p.Bands, figure.Band{X0: s[0] / 60, X1: s[1] / 60, Y0: 0, Y1: 5, Fill: figure.Ink})
		}
		for _, t := range c.Episodes {
			p.Spots = append(p.Spots, figure.Spot{X: t / 60, Y: 50, Shape: figure.Diamond})
		}
		if d, err := p.Draw(78, 30); err == nil {
			out = append(out, d)
		}
	}
	return out
}

func minutes(s []float64) []float64 {
	out := make([]float64, len(s))
	for i, v := range s {
		out[i] = v / 60
	}
	return out
}
