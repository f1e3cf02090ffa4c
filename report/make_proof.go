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
	p := Part{Name: "Proof", Keep: true, Key: m.verdict()}
	a := m.p
	for _, w := range a.Why {
		p.say("", w)
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
		p.say("Driven after:", fmt.Sprintf("%.0f s inside the fault conditions, %d climb%s, %.0f road minutes (item %s). Each cell of engine speed and load counts up to its own need, so easy seconds do not pay for hard ones.",
			a.After.Seconds, climbs, plural(climbs), math.Ceil(road), strings.Join(after, ", ")))
	}
	if a.RatioUpper != nil && a.After.Seconds > 0 {
		p.say("Reckoned:", fmt.Sprintf("rate after over rate before ≈ %s, at most ≈ %s (95 %%); proven by road asks for %s.", value(*a.Ratio), value(*a.RatioUpper), value(a.RatioLimit)))
	}
	p.Table = m.table()
	p.Figures = m.figures()
	return p
}

// verdict is the bold line.
func (m maker) verdict() string {
	a := m.p
	clean := a.CouldBeChance != nil && *a.CouldBeChance <= 0.05+1e-9 && a.Plan.Possible && a.Plan.Improve.Seconds == 0 && a.After.Episodes+a.After.Outside == 0
	drive := ""
	if clean {
		drive = " Driven clean where it failed before: if the fault were still there, a drive this clean is expected less than 1 time in " + oneIn(*a.CouldBeChance) + "."
	}
	because := ""
	if h := a.HandedOver; h != nil && h.Because != "" {
		because = "Not proven, handed over because " + strings.TrimSuffix(strings.TrimSpace(h.Because), ".") + "."
		if h.Left != "" {
			because += " Left to do: " + strings.TrimSuffix(h.Left, ".") + "."
		}
	}
	switch a.State {
	case "proven":
		switch a.By {
		case "measured":
			return "Proven by measuring: the part that was off is now like its neighbours." + drive
		case "old_part_back":
			return "Proven: with the old part back the fault came back, with the new one it went again." + drive
		}
		return "Proven by road, 95 %." + drive
	case "came_back":
		return strings.TrimSpace("It came back after the repair. Not fixed. " + because)
	}
	if because == "" {
		because = "Not proven yet."
		if len(a.Corrections) == 0 {
			because = "Not repaired yet, so nothing is proven."
		}
	}
	if a.State == "improved" {
		return strings.TrimSpace("Improved, not proven." + drive + " " + strings.TrimPrefix(because, "Not proven yet."))
	}
	return because
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
	p := Part{Name: "Not proven", Keep: true}
	for _, s := range m.p.NotTested {
		p.say("", s)
	}
	for _, it := range m.d.Items {
		said := slices.ContainsFunc(m.p.NotTested, func(s string) bool { return strings.HasPrefix(s, fmt.Sprintf("Item %d ", it.Item)) })
		if it.SetAside != "" && !said {
			p.say("", fmt.Sprintf("Item %d is set aside: %s.", it.Item, strings.TrimSuffix(it.SetAside, ".")))
		}
	}
	for _, l := range m.p.LeftOut {
		p.say("Could not be used:", strings.TrimSpace(l.File+" "+l.Why))
	}
	if h := m.p.HandedOver; h != nil && h.AskAgain != "" {
		p.say("Ask again:", strings.TrimSuffix(h.AskAgain, ".")+".")
	}
	if len(p.Notes) == 0 {
		p.say("", "Nothing that was looked for is left open.")
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
	t := &Table{Head: []string{"Cylinder"}}
	for _, when := range []string{"was", "now"} {
		for c := 1; c <= places; c++ {
			t.Head = append(t.Head, fmt.Sprintf("%s %d", when, c))
		}
	}
	for _, q := range m.p.Measured {
		row := Row{Name: upperFirst(q.Name)}
		if q.Unit != "" && q.Unit != "1" {
			row.Name += ", " + q.Unit
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
					row.Cells[k*places+v.Subject.Number-1] = Cell{value(v.Value), v.State == "high" || v.State == "low" || v.State == "abnormal"}
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
		when := "Before"
		if c.As == "after" {
			when = "After"
		}
		p := figure.Plot{
			Title: fmt.Sprintf("%s (item %d)", when, c.Item),
			Text:  fmt.Sprintf("%d episodes, %d stretches inside the fault conditions", len(c.Episodes), len(c.Inside)),
			X:     figure.Axis{Label: "minutes", Max: longest / 60}, Y: figure.Axis{Label: "load, %", Max: 105, Step: 20},
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
