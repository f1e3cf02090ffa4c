package cli

import (
	"fmt"
	"math"
	"strings"

	"proveout/shop"
)

// writeProof prints a proof: the sentence first, then what it rests on.
func writeProof(p *page, a *shop.ProofAnswer, all bool) {
	proofHead(p, a)
	p.para("", a.Headline, 0)
	for _, w := range a.Why {
		p.para("  ", w, 2)
	}
	writeCauses(p, a)
	writeConditions(p, a)
	writeDrives(p, "Before the repair", a.Before, all)
	writeDrives(p, "After the repair", a.After, all)
	writeCoverage(p, a)
	writeRates(p, a)
	writeMeasuredAgain(p, a)
	writeCodesProof(p, a)
	if a.State != "proven" {
		writePlan(p, a)
	}
	if len(a.NotTested) > 0 {
		p.head("What this does not say")
		for _, s := range a.NotTested {
			p.para("  · ", s, 4)
		}
	}
	writeHandover(p, a)
	writeLeftOut(p, &shop.Answer{LeftOut: a.LeftOut})
	p.line("")
	p.para("", a.Program+". All of it: --all. The drive only: --plan. For programs: --json.", 0)
}

// writeDrivePlan prints only the drive to plan.
func writeDrivePlan(p *page, a *shop.ProofAnswer) {
	proofHead(p, a)
	writeConditions(p, a)
	writePlan(p, a)
	if a.Plan.Possible {
		writeCoverage(p, a)
	}
}

func proofHead(p *page, a *shop.ProofAnswer) {
	p.para("", strings.TrimSpace(fmt.Sprintf("Job %s  %s", a.Job, vehicleLine(a.Vehicle))), 0)
	if a.Said != "" {
		p.para("", "“"+a.Said+"”", 0)
	}
	for _, c := range a.Cautions {
		p.line("")
		p.para(c.Word+": ", c.Text, len(c.Word)+2)
	}
	p.line("")
}

func writeCauses(p *page, a *shop.ProofAnswer) {
	if len(a.Causes) == 0 && len(a.Corrections) == 0 {
		return
	}
	p.head("Cause and correction")
	for _, c := range a.Causes {
		p.para("  ", fmt.Sprintf("%s (%s). %s", upper(c.Text), stateWords(c.State, c.ByWord), c.Sentence), 4)
	}
	for _, c := range a.Corrections {
		s := c.Done + "."
		for _, x := range c.Parts {
			s += fmt.Sprintf(" %d × %s", x.Count, x.Name)
			if x.Number != "" {
				s += ", part " + x.Number
			}
			if x.Lot != "" {
				s += ", lot " + x.Lot
			}
			s += "."
		}
		if c.Reused != "" {
			s += " Reused: " + c.Reused + "."
		}
		p.para("  ", s, 4)
	}
}

func writeConditions(p *page, a *shop.ProofAnswer) {
	p.head("Fault conditions")
	s := upper(a.Conditions.Text) + "."
	if a.Conditions.Known {
		s += fmt.Sprintf(" %s. Similar means 375 rpm and %s either way.", upper(a.Conditions.From), a.Conditions.LoadWithin)
	}
	p.para("  ", s, 2)
	if a.Conditions.Hint != "" {
		p.para("  ", "Hint: "+a.Conditions.Hint, 2)
	}
}

func writeDrives(p *page, title string, d shop.DrivesAnswer, all bool) {
	if len(d.Drives) == 0 {
		return
	}
	p.head(title)
	p.para("  ", fmt.Sprintf("%d episode%s in %.0f s inside the fault conditions.", d.Episodes, plural(d.Episodes), d.Seconds), 2)
	if d.Outside > 0 {
		p.para("  ", fmt.Sprintf("%d more outside them: the conditions may be wider than they are taken.", d.Outside), 2)
	}
	for _, x := range d.Drives {
		where := fmt.Sprintf("  Item %d  ", x.Item)
		if !x.Used {
			p.para(where, x.File+" is not used: "+x.Why+".", 4)
			continue
		}
		s := fmt.Sprintf("%s: %.0f s inside of %.0f s logged, %d climb%s, %.0f road minutes.", x.File, x.SecondsInside, x.SecondsLogged, x.Climbs, plural(x.Climbs), math.Ceil(x.RoadMinutes))
		if x.SecondsInDoubt >= 1 {
			how := "counted"
			if x.As == "after" {
				how = "not counted"
			}
			s += fmt.Sprintf(" %.0f s are in doubt (one value in %.1f s) and %s.", x.SecondsInDoubt, x.EverySeconds, how)
		}
		if x.Why != "" {
			s += " " + upper(x.Why) + "."
		}
		p.para(where, s, 4)
		if !all {
			continue
		}
		for _, e := range x.Episodes {
			note := ""
			switch {
			case !e.Inside:
				note = ", outside the fault conditions"
			case !e.Counted:
				note = ", starts the clock"
			}
			what := "noticed"
			if e.Events > 0 {
				what = fmt.Sprintf("%.0f events of %s", e.Events, e.Of)
			}
			p.para("    · ", fmt.Sprintf("episode at %.0f s: %s%s", e.At, what, note), 6)
		}
		for _, m := range x.Missed {
			p.para("    · ", fmt.Sprintf("%.0f s did not count: %s", m.Seconds, m.Why), 6)
		}
	}
}

// writeCoverage prints the coverage map: load down, engine speed across.
func writeCoverage(p *page, a *shop.ProofAnswer) {
	if len(a.Cells) == 0 || a.Before.Seconds == 0 && a.After.Seconds == 0 {
		return
	}
	p.head("Coverage, seconds")
	n := 1
	for n < len(a.Cells) && a.Cells[n].LoadLow == a.Cells[0].LoadLow {
		n++
	}
	row := fmt.Sprintf("  %-14s", "load, rpm")
	for _, c := range a.Cells[:n] {
		row += fmt.Sprintf("%20s", fmt.Sprintf("%.0f to %.0f", c.RPMLow, c.RPMHigh))
	}
	p.line(row)
	for i := 0; i < len(a.Cells); i += n {
		c := a.Cells[i]
		before := fmt.Sprintf("  %-14s", fmt.Sprintf("%.0f to %.0f %%", c.LoadLow, c.LoadHigh))
		after := strings.Repeat(" ", 16)
		for _, c := range a.Cells[i : i+n] {
			b := fmt.Sprintf("before %.0f", c.Before)
			if c.Episodes > 0 {
				b += fmt.Sprintf(", %d ep.", c.Episodes)
			}
			n := fmt.Sprintf("%.0f of %.0f", c.Counted, c.Need)
			switch {
			case c.Need == 0 && c.Before == 0 && c.Driven == 0:
				b, n = "not driven", ""
			case c.Need == 0:
				n = "not needed"
			}
			before += fmt.Sprintf("%20s", b)
			after += fmt.Sprintf("%20s", n)
		}
		p.line(before)
		p.line(after)
	}
	p.para("  ", "Second line: seconds after the repair that count, of those needed. A cell counts up to its own need and no further.", 2)
}

func writeRates(p *page, a *shop.ProofAnswer) {
	if a.CouldBeChance == nil {
		return
	}
	p.head("Reckoned")
	p.para("  ", fmt.Sprintf("Could be chance: %s.", chance(*a.CouldBeChance)), 2)
	if a.RatioUpper != nil && a.Ratio != nil {
		s := fmt.Sprintf("Rate after over rate before: ≈ %s; at most ≈ %s (95 %%). Proven by road asks for at most %s.", figures(*a.Ratio), figures(*a.RatioUpper), figures(a.RatioLimit))
		if a.RatioLow != nil && a.RatioHigh != nil {
			s += fmt.Sprintf(" Two-sided 95 %%: ≈ %s to %s.", figures(*a.RatioLow), figures(*a.RatioHigh))
		}
		p.para("  ", s, 2)
	}
}

func writeMeasuredAgain(p *page, a *shop.ProofAnswer) {
	if len(a.Measured) == 0 {
		return
	}
	p.head("Measured again")
	for _, m := range a.Measured {
		s := fmt.Sprintf("%s: before %s; after %s.", upper(m.Name), placedWords(m.Before, m.Unit), placedWords(m.After, m.Unit))
		if m.Decides {
			s += " This is the test that showed the cause."
		}
		p.para("  ", s, 4)
	}
}

// placedWords lists values by place: "1: 1.05, 2: 1.05 mm".
func placedWords(vs []shop.PlacedAnswer, unit string) string {
	if len(vs) == 0 {
		return "not measured"
	}
	var parts []string
	word := false
	for _, v := range vs {
		s := figures(v.Value)
		if v.Text != "" {
			s, word = v.Text, true
		}
		if v.Subject.Number > 0 {
			s = fmt.Sprintf("%d: %s", v.Subject.Number, s)
		}
		parts = append(parts, s)
	}
	s := strings.Join(parts, ", ")
	if !word && unit != "" && unit != "1" {
		s += " " + unit
	}
	return s
}

func writeCodesProof(p *page, a *shop.ProofAnswer) {
	c := a.Codes
	if c.Before == nil && c.After == nil {
		return
	}
	p.head("Codes and monitors")
	for _, x := range []struct {
		when string
		r    *shop.CodesRead
	}{{"Before", c.Before}, {"After", c.After}} {
		if x.r == nil {
			p.para("  ", x.when+": not read.", 2)
			continue
		}
		p.para("  ", fmt.Sprintf("%s (item %d): %s.", x.when, x.r.Item, shop.CodesSentence(x.r)), 4)
	}
	if c.Erased != "" && c.Erased != "yes" {
		p.para("  ", "Erased: "+c.Erased+".", 4)
	}
	for _, n := range append(append([]string{}, c.Notes...), c.Drive) {
		if n != "" {
			p.para("  ", n, 4)
		}
	}
}

func writePlan(p *page, a *shop.ProofAnswer) {
	p.head("The drive")
	pl := a.Plan
	if !pl.Possible {
		p.para("  ", pl.Why, 2)
	} else {
		aim := func(what string, t shop.TargetAnswer) {
			if t.Seconds <= 0 {
				p.para("  ", what+": driven.", 4)
				return
			}
			s := fmt.Sprintf("%s: %.0f s inside the fault conditions", what, t.Seconds)
			if t.Climbs > 0 {
				s += fmt.Sprintf(", about %d climb%s of %.0f s, %s on the road", t.Climbs, plural(t.Climbs), pl.ClimbSeconds, shop.RoadTime(t.RoadMinutes))
			}
			if !t.Practicable {
				s += ": not practicable by road"
			}
			p.para("  ", s+".", 4)
		}
		aim("Until a clean drive is expected less than 1 time in 20 by chance", pl.Improve)
		aim("Until proven by road alone", pl.Prove)
	}
	p.para("  ", fmt.Sprintf("Name one proof before driving: %s. %s", strings.ReplaceAll(pl.Name, "_", " "), pl.NameWhy), 4)
	for _, s := range pl.Instead {
		p.para("  Instead: ", s, 4)
	}
	for _, s := range pl.Rules {
		p.para("  · ", s, 4)
	}
}

func writeHandover(p *page, a *shop.ProofAnswer) {
	h := a.HandedOver
	if h == nil {
		return
	}
	p.head("Handed over")
	s := strings.TrimSpace(h.At) + "."
	if h.Because != "" && a.State != "proven" {
		s = "Not proven, handed over because " + strings.TrimSuffix(h.Because, ".") + "."
	}
	if h.Left != "" {
		s += " Left: " + strings.TrimSuffix(h.Left, ".") + "."
	}
	if h.AskAgain != "" {
		s += " Ask again " + strings.TrimSuffix(h.AskAgain, ".") + "."
	}
	p.para("  ", s, 2)
}
