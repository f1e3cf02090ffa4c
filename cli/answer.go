package cli

import (
	"fmt"
	"sort"
	"strings"

	"proveout/shop"
)

// writeAnswer prints a whole answer: the sentence first, then what is left and
// what to do next, and only then the evidence. A person in a hurry reads the
// first screen. All lists everything, however unlikely.
func writeAnswer(p *page, a *shop.Answer, all bool) {
	v := a.Vehicle
	p.para("", strings.TrimSpace(fmt.Sprintf("Job %s  %s", a.Job, vehicleLine(v))), 0)
	if a.Complaint.Said != "" {
		p.para("", "“"+a.Complaint.Said+"”", 0)
	}
	for _, c := range a.Cautions {
		p.line("")
		p.para(c.Word+": ", c.Text, len(c.Word)+2)
	}
	p.line("")
	p.para("", a.Headline, 0)
	p.hint(a.Hint)
	switch n := len(a.LeftOut); {
	case n == 1:
		p.para("", "Not used: 1 file or entry; see Left out.", 0)
	case n > 1:
		p.para("", fmt.Sprintf("Not used: %d files or entries; see Left out.", n), 0)
	}
	if a.Stop != "" {
		p.para("", a.Stop, 0)
	}

	names := findingNames(a)
	writeLeft(p, a, names, all)
	writeNext(p, a, all)
	writeChangeMind(p, a, all)
	if all {
		writeVersus(p, a, names)
	}
	writeConflicts(p, a)
	writeRuledOut(p, a, all)
	writeItems(p, a, all)
	writeLeftOut(p, a)
	if all {
		p.head("Figures in force")
		for _, l := range a.Limits {
			p.para(fmt.Sprintf("  %-20s %-7s ", l.Name, figures(l.Value)), l.Says+" ("+l.Source+")", 31)
		}
	}
	if len(a.Notes) > 0 && all {
		p.head("Notes from reading the files")
		for _, n := range a.Notes {
			p.para("  ", place(n.File, n.Line)+at(n.Path)+n.Text, 4)
		}
	}
	p.line("")
	p.para("", booksLine(a), 0)
	if !all {
		p.para("", "All of it: --all. For programs: --json.", 0)
	}
}

func vehicleLine(v shop.VehicleAnswer) string {
	var parts []string
	if s := strings.TrimSpace(v.Make + " " + v.Model); s != "" {
		if v.Year > 0 {
			s += fmt.Sprintf(" %d", v.Year)
		}
		parts = append(parts, s)
	}
	if v.Plate != "" {
		parts = append(parts, v.Plate)
	}
	if v.OdometerKm > 0 {
		parts = append(parts, thousands(int(v.OdometerKm))+" km")
	}
	if v.Engine != "" {
		parts = append(parts, v.Engine)
	}
	return strings.Join(parts, "  ")
}

func thousands(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// findingNames gives each finding the short name used where it moved a suspect:
// "plug gap against the others (item 3)".
func findingNames(a *shop.Answer) map[string]string {
	names := map[string]string{}
	for _, f := range a.Findings {
		if f.Name == "" {
			names[f.ID] = fmt.Sprintf("item %d", f.Item)
			continue
		}
		names[f.ID] = fmt.Sprintf("%s (item %d)", f.Name, f.Item)
	}
	for id, v := range a.Complaint.Facts {
		if v == "no" {
			names["fact:"+id] = strings.ReplaceAll(id, "_", " ") + ": no"
		}
	}
	return names
}

func name(names map[string]string, id string) string {
	if n, ok := names[id]; ok {
		return n
	}
	return strings.ReplaceAll(strings.TrimPrefix(id, "fact:"), "_", " ")
}

// col is the width of the column of chances.
const col = 14

func writeLeft(p *page, a *shop.Answer, names map[string]string, all bool) {
	p.head("What is left")
	shown := 0
	var rest float64
	for _, s := range a.Suspects {
		if s.State == "ruled_out" {
			continue
		}
		if !all && shown >= 3 && (s.Chance < 0.02 || shown >= 8) {
			rest += s.Chance
			continue
		}
		shown++
		p.para(fmt.Sprintf("  %-*s ", col, chance(s.Chance)), fmt.Sprintf("%s (%s)", s.Text, stateWords(s.State, s.ByWord())), col+3)
		if m := movedLine(s, names); m != "" {
			p.para(strings.Repeat(" ", col+3), m, col+5)
		}
		if s.Reason != "" && (shown <= 3 || all) {
			p.para(strings.Repeat(" ", col+3), s.Reason, col+3)
		}
		if s.Overruled != "" {
			p.para(strings.Repeat(" ", col+3), "Overruled: "+s.Overruled, col+5)
		}
	}
	p.para(fmt.Sprintf("  %-*s ", col, chance(a.NotListed)), "something not listed", col+3)
	p.para(fmt.Sprintf("  %-*s ", col, chance(a.NothingWrong)), "nothing wrong", col+3)
	if !all && rest > 0 {
		p.para("  ", fmt.Sprintf("The other suspects come to %s together.", strings.TrimPrefix(chance(rest), "≈ ")), 2)
	}
	if chanceSum(a) >= 1.01 {
		p.para("  ", "Two faults may be there at once, and each chance counts them: the chances add up to more than 100 %.", 2)
	}
}

// chanceSum adds up everything that may be the matter. Chances of suspects are
// marginal, so that sets of two and three faults count more than once.
func chanceSum(a *shop.Answer) float64 {
	sum := a.NotListed + a.NothingWrong
	for _, s := range a.Suspects {
		sum += s.Chance
	}
	return sum
}

func stateWords(state string, byWord bool) string {
	switch state {
	case "shown":
		if byWord {
			return "shown by word, no direct test"
		}
		return "shown by direct test"
	case "repaired":
		return "shown by direct test, put right"
	case "proven":
		return "shown by direct test, put right, proven"
	case "ruled_out":
		return "ruled out"
	}
	return strings.ReplaceAll(state, "_", " ")
}

// mostMoved is how many factors are told of one suspect.
const mostMoved = 5

// movedLine lists the strongest factors of a suspect, strongest first. Factors
// that read the same (one test on several cylinders, typed as one item) are told
// as their product.
func movedLine(s shop.SuspectAnswer, names map[string]string) string {
	var moved []movedWords
	at := map[string]int{}
	for _, m := range s.MovedBy {
		if m.Finding == "prior" || m.Finding == "complaint" {
			continue
		}
		n := name(names, m.Finding)
		x, ok := at[n]
		if !ok {
			x = len(moved)
			at[n] = x
			moved = append(moved, movedWords{name: n, factor: 1})
		}
		moved[x].factor *= m.Factor
		moved[x].readings++
	}
	sort.SliceStable(moved, func(i, j int) bool { return spread(moved[i].factor) > spread(moved[j].factor) })
	var parts []string
	for _, m := range moved {
		w := weight(m.factor)
		if w == "even" || len(parts) == mostMoved {
			continue
		}
		parts = append(parts, w+" "+m.String())
	}
	return strings.Join(parts, "; ")
}

// movedWords is one factor as it is told, with how many readings it is the
// product of.
type movedWords struct {
	name     string
	factor   float64
	readings int
}

func (m movedWords) String() string {
	if m.readings == 1 {
		return m.name
	}
	if in, ok := strings.CutSuffix(m.name, ")"); ok {
		return fmt.Sprintf("%s, %d readings)", in, m.readings)
	}
	return fmt.Sprintf("%s (%d readings)", m.name, m.readings)
}

func spread(f float64) float64 {
	if f <= 0 {
		return 0
	}
	if f < 1 {
		return 1 / f
	}
	return f
}

// writeChangeMind tells which results of the next tests would put another
// suspect first.
func writeChangeMind(p *page, a *shop.Answer, all bool) {
	if a.Stopped || len(a.ChangeMind) == 0 {
		return
	}
	p.head("What would change this")
	for i, c := range a.ChangeMind {
		if i == 3 && !all {
			p.para("  ", fmt.Sprintf("%d more (--all lists them).", len(a.ChangeMind)-i), 2)
			break
		}
		p.para("  · ", c+".", 4)
	}
}

// writeVersus tells item by item why the first suspect stands before the second.
func writeVersus(p *page, a *shop.Answer, names map[string]string) {
	v := a.Versus
	if v == nil {
		return
	}
	text := map[string]string{}
	for _, s := range a.Suspects {
		text[s.ID] = s.Text
	}
	p.head("Why the first before the second")
	p.para("  ", fmt.Sprintf("%s is %s times as likely as %s, each taken alone:", upper(text[v.First]), figure(v.Ratio), text[v.Second]), 2)
	for _, m := range v.Items {
		if w := weight(m.Factor); w != "even" {
			p.para(fmt.Sprintf("  %-8s ", w), name(names, m.Finding), 11)
		}
	}
}

func writeNext(p *page, a *shop.Answer, all bool) {
	p.head("What to do next")
	if a.Replace != "" {
		defer p.para("  ", a.Replace, 2)
	}
	switch {
	case proven(a):
		p.para("  ", "The repair is proven: nothing more to test or to drive.", 2)
		return
	case a.Stopped && repaired(a):
		p.para("  ", "The cause is shown and put right: no further test. Measure the same thing on the other cylinders again, re-read the codes, and drive the fault conditions before you call it fixed.", 2)
		return
	case a.Stopped:
		p.para("  ", "The cause is shown: no further test. Put it right, measure the same thing on the other cylinders again, re-read the codes, and drive the fault conditions before you call it fixed.", 2)
		return
	case len(a.Next) == 0 && len(a.First) == 0:
		p.para("  ", "No test that is open would change the decision.", 2)
		return
	}
	lead := "  First: "
	for _, f := range a.First {
		p.para(lead, f, 9)
		lead = "  Then:  "
	}
	for i, n := range a.Next {
		if i == 3 && !all {
			break
		}
		p.para(fmt.Sprintf("  %d. ", i+1), fmt.Sprintf("%s (%s)", n.Name, subjectWords(n.Subject)), 5)
		line := fmt.Sprintf("%.0f min. Chance this ends it: %s.", n.Minutes, chance(n.EndsIt))
		if n.EndsIt < 1e-9 {
			line = fmt.Sprintf("%.0f min. Cannot end it by itself.", n.Minutes)
		}
		if a.Order == "cost" || all {
			line += fmt.Sprintf(" Expected to a finished repair: %.0f min, parts included.", n.Cost)
		}
		p.para("     ", line, 5)
		if i > 0 && !all {
			continue
		}
		for _, h := range n.Hazards {
			p.para("     "+h.Word+": ", h.Text, 7+len(h.Word))
		}
		if n.Do != "" {
			p.para("     ", n.Do, 5)
		}
		if n.Why != "" {
			p.para("     ", n.Why, 5)
		}
		for _, o := range n.Outcomes {
			p.para(fmt.Sprintf("     %-*s ", col, chance(o.Chance)), o.Text+": "+o.LeadsTo, col+6)
		}
		if len(n.Equipment) > 0 {
			p.para("     ", "Needs: "+strings.Join(n.Equipment, ", ")+".", 5)
		}
	}
}

// proven reports whether all that was shown is put right and proven.
func proven(a *shop.Answer) bool {
	any := false
	for _, s := range a.Suspects {
		if s.State == "shown" || s.State == "repaired" {
			return false
		}
		any = any || s.State == "proven"
	}
	return any
}

// repaired reports whether all that is shown has been put right.
func repaired(a *shop.Answer) bool {
	any := false
	for _, s := range a.Suspects {
		if s.State == "shown" {
			return false
		}
		any = any || s.State == "repaired"
	}
	return any
}

func subjectWords(s shop.SubjectAnswer) string {
	switch s.Kind {
	case "pair":
		return fmt.Sprintf("cylinders %d and %d", s.Number, s.Second)
	case "engine", "vehicle":
		return s.Kind
	}
	return fmt.Sprintf("%s %d", s.Kind, s.Number)
}

func writeConflicts(p *page, a *shop.Answer) {
	if len(a.Conflicts) == 0 {
		return
	}
	p.head("Readings that disagree")
	for _, c := range a.Conflicts {
		var who []string
		for _, i := range c.Items {
			who = append(who, fmt.Sprintf("item %d", i))
		}
		p.para("  ", upper(strings.Join(who, " and "))+": "+c.Reason, 2)
		if c.Kept != "" {
			p.para("  ", upper(c.Kept)+".", 2)
			continue
		}
		p.para("  ", "To settle it: "+c.Settle, 2)
	}
}

func writeRuledOut(p *page, a *shop.Answer, all bool) {
	if len(a.RuledOut) == 0 {
		return
	}
	p.head("Ruled out")
	byElimination := 0
	for _, r := range a.RuledOut {
		if r.By == "elimination" && !all {
			byElimination++
			continue
		}
		item := ""
		for _, f := range a.Findings {
			if f.ID == r.By {
				item = fmt.Sprintf(" (item %d)", f.Item)
			}
		}
		p.para("  ", r.Text+". "+strings.TrimSuffix(r.Reason, ".")+item+".", 4)
	}
	if byElimination > 0 {
		p.para("  ", fmt.Sprintf("%d more by elimination only: no direct reading of the part (--all lists them).", byElimination), 2)
	}
}
