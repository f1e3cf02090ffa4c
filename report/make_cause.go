package report

import (
	"fmt"
	"math"
	"strings"

	"proveout/shop"
)

// cause says what was found, how it was shown, and what is out and why.
func (m maker) cause() Part {
	p := Part{Name: "Cause"}
	var shown, word, other []string
	for _, c := range m.p.Causes {
		if c.ByWord && c.State == "shown" {
			word = append(word, fmt.Sprintf("%s (%s)", upperFirst(c.Text), chance(c.Chance)))
			p.say("By word:", c.Reason)
			continue
		}
		if c.State == "shown" {
			shown = append(shown, upperFirst(c.Text)+m.values(c)+".")
			how := strings.TrimSuffix(strings.TrimPrefix(c.Reason, "Shown by "), ".")
			if c.Item > 0 {
				how += fmt.Sprintf(" (item %d)", c.Item)
			}
			p.say("Shown by direct test:", how+". "+c.Sentence)
			continue
		}
		other = append(other, fmt.Sprintf("%s (%s, %s)", upperFirst(c.Text), c.State, chance(c.Chance)))
	}
	switch {
	case len(shown) > 0:
		p.Key = strings.Join(shown, " ")
	case len(word) > 0:
		p.Key = "Shown by word, by no direct test: " + strings.Join(word, "; ") + "."
	case len(other) > 0:
		p.Key = "Suspected, not shown by a direct test: " + strings.Join(other, "; ") + "."
		other = nil
	default:
		p.Key = "No cause is shown."
		p.say("", m.d.Headline)
	}
	if len(other) > 0 {
		p.say("Also:", strings.Join(other, "; ")+".")
	}
	if t := m.odds(); t != "" {
		p.say("Odds:", t)
	}
	var direct, elimination, said []string
	for _, r := range m.d.RuledOut {
		switch {
		case r.By == "elimination":
			elimination = append(elimination, r.Text)
			continue
		case r.ByWord():
			said = append(said, r.Text)
			continue
		}
		t := r.Text
		for _, f := range m.d.Findings {
			if f.ID == r.By {
				t += fmt.Sprintf(" (%d)", f.Item)
			}
		}
		direct = append(direct, t)
	}
	if len(direct) > 0 {
		p.say("Ruled out by reading:", some(direct, 6)+".")
	}
	if len(elimination) > 0 {
		p.say("By elimination only:", some(elimination, 6)+".")
	}
	if len(said) > 0 {
		p.say("Ruled out by word only:", some(said, 6)+".")
	}
	for _, c := range m.d.Conflicts {
		p.say("Readings that disagree:", fmt.Sprintf("items %s. %s", ints(c.Items), c.Reason))
	}
	return p
}

// values gives the reading that showed a cause, with that of its neighbours.
func (m maker) values(c shop.CauseAnswer) string {
	for _, q := range m.p.Measured {
		if !q.Decides {
			continue
		}
		var own string
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range q.Before {
			switch {
			case v.Text != "":
			case v.Subject == c.Subject:
				own = value(v.Value) + " " + q.Unit
			default:
				lo, hi = math.Min(lo, v.Value), math.Max(hi, v.Value)
			}
		}
		if own == "" {
			continue
		}
		if lo > hi {
			return ": " + own
		}
		return fmt.Sprintf(": %s, the others %s to %s %s", own, value(lo), value(hi), q.Unit)
	}
	return ""
}

// odds lists the leading suspects as they stand.
func (m maker) odds() string {
	var parts []string
	for _, s := range m.d.Suspects {
		if s.Chance >= 0.02 && s.State != "ruled_out" && len(parts) < 3 {
			parts = append(parts, chance(s.Chance)+" "+s.Text)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(append(parts, chance(m.d.NotListed)+" something not listed"), "; ") + "."
}

// chance writes a reckoned chance, never as a bare 0 or 100.
func chance(x float64) string {
	switch {
	case x > 0.99:
		return "≈ over 99 %"
	case x < 0.01:
		return "≈ under 1 %"
	}
	return fmt.Sprintf("≈ %.0f %%", 100*x)
}

// some lists up to n and says how many more there are.
func some(list []string, n int) string {
	if len(list) <= n {
		return strings.Join(list, "; ")
	}
	return fmt.Sprintf("%s; and %d more", strings.Join(list[:n], "; "), len(list)-n)
}

func ints(v []int) string {
	s := make([]string, len(v))
	for i, x := range v {
		s[i] = fmt.Sprint(x)
	}
	return strings.Join(s, " and ")
}

// value writes a reading with three or four figures.
func value(v float64) string {
	a := math.Abs(v)
	switch {
	case a == math.Trunc(a) && a < 1e6:
		return fmt.Sprintf("%.0f", v)
	case a >= 100:
		return fmt.Sprintf("%.0f", v)
	case a >= 10:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.2f", v)
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
