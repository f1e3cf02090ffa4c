package report

import (
	"fmt"
	"math"
	"strings"

	"proveout/shop"
	"proveout/text"
	"proveout/unit"
)

// cause says what was found, how it was shown, and what is out and why.
func (m maker) cause() Part {
	p := Part{Name: m.t("cause")}
	var shown, word, other []string
	for _, c := range m.p.Causes {
		if c.ByWord && c.State == "shown" {
			word = append(word, fmt.Sprintf("%s (%s)", upperFirst(m.say(c.Text)), m.chance(c.Chance)))
			m.note(&p, "by_word", m.say(c.Reason))
			continue
		}
		if c.State == "shown" {
			shown = append(shown, upperFirst(m.say(c.Text))+m.values(c)+".")
			how := m.say(strings.TrimSuffix(strings.TrimPrefix(c.Reason, "Shown by "), "."))
			if c.Item > 0 {
				how += " (" + m.t("item", c.Item) + ")"
			}
			m.note(&p, "shown", how+". "+m.say(c.Sentence))
			continue
		}
		other = append(other, fmt.Sprintf("%s (%s, %s)", upperFirst(m.say(c.Text)), m.say(c.State), m.chance(c.Chance)))
	}
	switch {
	case len(shown) > 0:
		p.Key = strings.Join(shown, " ")
	case len(word) > 0:
		p.Key = m.t("shown_by_word", strings.Join(word, "; "))
	case len(other) > 0:
		p.Key = m.t("suspected", strings.Join(other, "; "))
		other = nil
	default:
		p.Key = m.t("no_cause")
		m.note(&p, "", m.say(m.d.Headline))
	}
	if len(other) > 0 {
		m.note(&p, "also", strings.Join(other, "; ")+".")
	}
	if t := m.odds(); t != "" {
		m.note(&p, "odds", t)
	}
	var direct, elimination, byWord []string
	for _, r := range m.d.RuledOut {
		said := m.say(r.Text)
		switch {
		case r.By == "elimination":
			elimination = append(elimination, said)
			continue
		case r.ByWord():
			byWord = append(byWord, said)
			continue
		}
		for _, f := range m.d.Findings {
			if f.ID == r.By {
				said += fmt.Sprintf(" (%d)", f.Item)
			}
		}
		direct = append(direct, said)
	}
	if len(direct) > 0 {
		m.note(&p, "ruled_out", m.some(direct, 6)+".")
	}
	if len(elimination) > 0 {
		m.note(&p, "elimination", m.some(elimination, 6)+".")
	}
	if len(byWord) > 0 {
		m.note(&p, "out_by_word", m.some(byWord, 6)+".")
	}
	for _, c := range m.d.Conflicts {
		m.note(&p, "disagree", m.t("items_disagree", m.ints(c.Items), m.say(c.Reason)))
	}
	return p
}

// values gives the reading that showed a cause, with that of its neighbours.
func (m maker) values(c shop.CauseAnswer) string {
	for _, q := range m.p.Measured {
		if !q.Decides {
			continue
		}
		in := m.quantity(q.Unit)
		own := math.NaN()
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range q.Before {
			switch {
			case v.Text != "":
			case v.Subject == c.Subject:
				own = v.Value
			default:
				lo, hi = math.Min(lo, v.Value), math.Max(hi, v.Value)
			}
		}
		if math.IsNaN(own) {
			continue
		}
		if lo > hi {
			return ": " + in.with(own)
		}
		return ": " + m.t("others", in.with(own), in.bare(lo), in.with(hi))
	}
	return ""
}

// odds lists the leading suspects as they stand.
func (m maker) odds() string {
	var parts []string
	for _, s := range m.d.Suspects {
		if s.Chance >= 0.02 && s.State != "ruled_out" && len(parts) < 3 {
			parts = append(parts, m.chance(s.Chance)+" "+m.say(s.Text))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(append(parts, m.t("not_listed", m.chance(m.d.NotListed))), "; ") + "."
}

// chance writes a reckoned chance, never as a bare 0 or 100.
func (m maker) chance(x float64) string {
	switch {
	case x > 0.99:
		return m.t("chance_over")
	case x < 0.01:
		return m.t("chance_under")
	}
	return "≈ " + m.w.Number(100*x, 0) + " %"
}

// some lists up to n and says how many more there are.
func (m maker) some(list []string, n int) string {
	if len(list) <= n {
		return strings.Join(list, "; ")
	}
	return m.t("more", strings.Join(list[:n], "; "), len(list)-n)
}

func (m maker) ints(v []int) string {
	s := make([]string, len(v))
	for i, x := range v {
		s[i] = fmt.Sprint(x)
	}
	return strings.Join(s, " "+m.t("and")+" ")
}

// measure writes the values of one quantity in the unit that the shop reads.
type measure struct {
	m    maker
	word string
	to   func(float64) float64
}

func (m maker) quantity(symbol string) measure {
	out := measure{m, symbol, func(v float64) float64 { return v }}
	if u, err := unit.Parse(symbol); err == nil && symbol != "" {
		to := m.w.Unit(u)
		out.word = text.UnitWord(to)
		if to != u {
			out.to = func(v float64) float64 { return to.FromSI(u.SI(v)) }
		}
	}
	return out
}

// bare writes a reading with three or four figures.
func (q measure) bare(v float64) string {
	v = q.to(v)
	decimals := 2
	switch a := math.Abs(v); {
	case math.Abs(a-math.Round(a)) < 1e-9 && a < 1e6 && (a >= 1 || a < 1e-9), a >= 100:
		decimals = 0
	case a >= 10:
		decimals = 1
	case a < 0.2:
		decimals = 3 // a gap in inches
	}
	return q.m.w.Number(v, decimals)
}

func (q measure) with(v float64) string { return strings.TrimSpace(q.bare(v) + " " + q.word) }

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
