package reason

import (
	"fmt"
	"math"
	"slices"

	"proveout/book"
	"proveout/evidence"
)

// decide gives each suspect its state and reason, forms the group of suspects
// not yet separated, and says whether the search may stop.
func (e *Engine) decide(a *Answer, order []int) {
	l := &e.m.limits
	for x, i := range order {
		s := &a.Suspects[x]
		if s.Chance >= l.SuspectedAt {
			s.State = Suspected
		}
		s.Reason = e.reasonOpen(i, s)
	}
	e.show(a, order)
	e.repaired(a)
	e.ruleOut(a, order)
	e.overrule(a)
	e.group(a)
	e.stop(a)
}

func (e *Engine) reasonOpen(i int, s *SuspectAnswer) string {
	return fmt.Sprintf("Chance %s; %s.", percent(s.Chance), e.wouldShow(i))
}

// direct is a finding of a test that looks at a suspect directly.
type direct struct {
	finding *evidence.Finding
	slot    int
	class   int
	sure    float64
	cover   float64
}

// directs lists the counted findings of direct tests of suspect i, in order.
func (e *Engine) directs(i int) []direct {
	s := &e.m.in.Suspects[i]
	var out []direct
	for k := range e.slots {
		sl := &e.slots[k]
		if !sl.on {
			continue
		}
		t := &e.m.tests[sl.test]
		if !slices.Contains(t.at.Test.Direct, s.Fault.ID) || !e.looksAt(t.at.Subject, s.Subject) {
			continue
		}
		cover := 0.0
		for r := range t.rows {
			if t.rows[r].fault == i {
				cover = sl.cover[r]
			}
		}
		for _, x := range sl.findings {
			f := &e.findings[x]
			c, sure := t.class(f)
			out = append(out, direct{f, k, c, sure, cover})
		}
	}
	return out
}

// show marks the suspects that a direct test has proven.
func (e *Engine) show(a *Answer, order []int) {
	l := &e.m.limits
	clear(e.nearly)
	clear(e.spent)
	shown := map[part]string{} // which way of failing is shown of a part already
	for x, i := range order {
		s := &a.Suspects[x]
		of := partOf(s.Suspect)
		chance := e.partChance(of)
		if chance < l.SuspectedAt {
			continue
		}
		for _, d := range e.directs(i) {
			t := &e.m.tests[e.slots[d.slot].test]
			if !t.at.Test.Outcomes[d.class].Proves || !e.tells(t, d.class, i) {
				continue
			}
			why := e.whyNotShown(i, chance, d, t)
			if f := e.sameThing(i, d.slot); why == "" && f < l.ProofRatio {
				why = fmt.Sprintf("with the other readings of the same thing it is only %s times likelier than on a sound part", number(f))
			}
			if first := shown[of]; why == "" && first != "" {
				// The part is shown by its likeliest failure; the others stay open.
				s.Reason = fmt.Sprintf("The part is shown (%s); whether it failed this way is not separated.", first)
				break
			}
			if why == "" {
				shown[of] = s.Suspect.Fault.Name
				s.State, s.By = Shown, d.finding.ID
				s.Reason = fmt.Sprintf("Shown by %s: %s.", t.at.Test.Name, t.at.Test.Outcomes[d.class].Text)
				if rest := chance - s.Chance; rest > l.SuspectedAt {
					s.Reason = fmt.Sprintf("The part is shown by %s: %s. That it failed this way has chance %s, another way of the same part %s.", t.at.Test.Name, t.at.Test.Outcomes[d.class].Text, percent(s.Chance), percent(rest))
				}
				break
			}
			s.Reason = fmt.Sprintf("Suspected, not shown: %s says %s, but %s.", t.at.Test.Name, t.at.Test.Outcomes[d.class].Text, why)
		}
	}
}

// whyNotShown is empty when a direct finding shows the suspect.
func (e *Engine) whyNotShown(i int, chance float64, d direct, t *testModel) string {
	l, b := &e.m.limits, t.at.Test
	switch {
	case d.finding.State == evidence.NotEstablished:
		return "the difference is not established yet"
	case d.sure < l.ClassSure:
		return "the reading is not sure enough of its side of the limit"
	case d.cover < l.CoverageNeeded:
		return "it was done outside the conditions of the complaint"
	}
	alike, compared := e.neighbours(d, t)
	returns, cited := b.Outcomes[d.class].Returns, hasLimit(t, d.class)
	switch {
	case b.Neighbours && !compared:
		return "the other " + string(t.at.Subject.Kind) + "s have not been tested the same way"
	case alike && !returns && !(cited && b.Reads != nil):
		return "the others are the same: it does not tell this one apart; " + e.wouldShow(i)
	case !compared && !returns && !cited:
		return "nothing sound was held beside it and no cited limit stands behind it; " + e.wouldShow(i)
	}
	for _, c := range e.conflictsOf {
		if !c.Settled() && slices.Contains(c.Findings, d.finding.ID) {
			return "it disagrees with other readings; settle that first"
		}
	}
	e.nearly[i] = true
	if chance < l.ShownAt {
		return fmt.Sprintf("all in all the part has chance %s, below %s: this and the other readings do not carry it", percent(chance), percent(l.ShownAt))
	}
	return ""
}

// part is a component on its subject, however it may have failed.
type part struct {
	component string
	subject   evidence.Subject
}

func partOf(s *book.Suspect) part { return part{s.Component.ID, s.Subject} }

// partChance is the chance that a part is bad: its ways of failing added up.
func (e *Engine) partChance(p part) float64 {
	sum := 0.0
	for i := range e.m.in.Suspects {
		if partOf(&e.m.in.Suspects[i]) == p {
			sum += e.chance[i]
		}
	}
	return math.Min(sum, 1)
}

// tells reports whether an outcome is so much likelier under fault i than on a
// sound part that it may prove that fault and not only its neighbours in the
// list of the test.
func (e *Engine) tells(t *testModel, class, i int) bool {
	return e.ratio(t, class, i) >= e.m.limits.ProofRatio
}

// ratio is how many times likelier an outcome is under fault i than on a sound
// part; 0 where the test does not look at the part of the fault.
func (e *Engine) ratio(t *testModel, class, i int) float64 {
	if r, ok := t.rowOf(i); ok && t.rows[r].own {
		return t.rows[r].p[class] / t.healthy[class]
	}
	return 0
}

// sameThing is how many times likelier the readings of one group (a gap against
// the others and against its limit) are together under fault i alone than on a
// sound part.
// It is not asked of a fault of the whole engine, of which every cylinder tells.
func (e *Engine) sameThing(i, slot int) float64 {
	if k := e.m.in.Suspects[i].Subject.Kind; k == evidence.Engine || k == evidence.Vehicle {
		return math.Inf(1)
	}
	cluster, ln := e.m.tests[e.slots[slot].test].cluster, 0.0
	for k := range e.slots {
		s := &e.slots[k]
		if !s.on || e.m.tests[s.test].cluster != cluster {
			continue
		}
		for p := range s.factor.parents {
			if q := &s.factor.parents[p]; q.fault == i {
				ln += s.factor.exponent * (math.Log(q.alone) - math.Log(s.factor.none))
			}
		}
	}
	return math.Exp(ln)
}

// shownChance is the chance that at least one of the shown parts is bad, as if
// they were independent. One that was put right while the complaint stayed is no end
// of the search.
func (e *Engine) shownChance(a *Answer) float64 {
	none := 1.0
	for x := range a.Suspects {
		if s := &a.Suspects[x]; s.WasShown() && s.Stays == "" {
			none *= 1 - e.partChance(partOf(a.Suspects[x].Suspect))
		}
	}
	return 1 - none
}

// shownWords says which parts are shown and with what chance. The chance is that
// of the part: the single way of failing that the list shows may have less.
func (e *Engine) shownWords(a *Answer) string {
	var parts []string
	for x := range a.Suspects {
		if s := &a.Suspects[x]; s.WasShown() && s.Stays == "" {
			parts = append(parts, partWords(s.Suspect))
		}
	}
	chance := percent(e.shownChance(a))
	if len(parts) == 1 {
		return fmt.Sprintf("%s is shown; the part, its ways of failing taken together, is bad with chance %s", parts[0], chance)
	}
	return fmt.Sprintf("%s are shown; one of these parts or more, their ways of failing taken together, is bad with chance %s", list(parts, "and"), chance)
}

// spentWords names the parts that were shown and put right while the complaint stayed.
func spentWords(a *Answer) []string {
	var parts []string
	for x := range a.Suspects {
		if s := &a.Suspects[x]; s.Stays != "" {
			parts = append(parts, partWords(s.Suspect))
		}
	}
	return parts
}

func partWords(s *book.Suspect) string {
	name := s.Component.Name
	if name == "" {
		name = s.Component.ID
	}
	if s.Subject.Kind == evidence.Engine || s.Subject.Kind == evidence.Vehicle {
		return name
	}
	return name + " of " + s.Subject.String()
}

// neighbours reports whether all other subjects of the test have the same
// outcome, and whether all of them were tested.
func (e *Engine) neighbours(d direct, t *testModel) (alike, compared bool) {
	tested, same, all := 0, 0, 0
	for i := range e.m.tests {
		u := &e.m.tests[i]
		if u.same != t.same || u.at.Subject == t.at.Subject {
			continue
		}
		all++
		got, proves := false, false
		for j := range e.findings {
			f := &e.findings[j]
			if f.Test != u.at.Test.ID || f.Subject != u.at.Subject || f.SetAside || f.When == "after" || f.State == evidence.NotMeasured {
				continue
			}
			if f.Outcome != "" && u.outcome(f.Outcome) < 0 || f.Outcome == "" && u.from == nil {
				continue
			}
			got = true
			c, _ := u.class(f)
			proves = proves || u.at.Test.Outcomes[c].Proves
		}
		if got {
			tested++
		}
		if proves {
			same++
		}
	}
	return all > 0 && same == all, all > 0 && (d.finding.AllCompared || tested == all)
}

// ruleOut marks suspects as ruled out, the least likely first, as long as the
// chances of everything ruled out stay within the limit: first by a direct
// normal reading, then by elimination.
func (e *Engine) ruleOut(a *Answer, order []int) {
	l := &e.m.limits
	sum := 0.0
	for x := len(order) - 1; x >= 0; x-- {
		s := &a.Suspects[x]
		if s.State != Open || s.Chance >= l.RuledOutChance || sum+s.Chance > l.RuledOutSum {
			continue
		}
		for _, d := range e.directs(order[x]) {
			t := &e.m.tests[e.slots[d.slot].test]
			if d.class != t.normal || d.sure < l.ClassSure || d.cover < l.CoverageNeeded || d.finding.State == evidence.NotEstablished {
				continue
			}
			f := factorOf(s, d.finding.ID)
			if f > l.RuledOutFactor {
				continue
			}
			s.State, s.By = RuledOut, d.finding.ID
			s.Reason = fmt.Sprintf("%s: %s; its odds were %s.", capital(t.at.Test.Name), t.at.Test.Outcomes[d.class].Text, times(f))
			sum += s.Chance
			break
		}
	}
	for x := len(order) - 1; x >= 0; x-- {
		s := &a.Suspects[x]
		if s.State != Open || s.Chance >= l.EliminationChance || sum+s.Chance > l.RuledOutSum || s.Chance >= s.Before {
			continue
		}
		s.State, s.By = RuledOut, "elimination"
		s.Reason = fmt.Sprintf("By elimination only: no direct test of it was done; the other findings leave it a chance %s.", percent(s.Chance))
		sum += s.Chance
	}
}

// factorOf is the factor of the line that a finding belongs to.
func factorOf(s *SuspectAnswer, id string) float64 {
	for _, m := range s.MovedBy {
		if m.Finding == id || slices.Contains(m.Also, id) {
			return m.Factor
		}
	}
	return 1
}

// group forms the suspects that the evidence has not separated from the leader.
func (e *Engine) group(a *Answer) {
	l := &e.m.limits
	if len(a.Suspects) == 0 {
		return
	}
	top := *inPlay(a)
	if top.Chance < l.SuspectedAt {
		return
	}
	if top.WasShown() {
		a.Group = []string{top.Suspect.ID}
		a.GroupText = phrase(&top)
		return
	}
	var in []*SuspectAnswer
	for x := range a.Suspects {
		s := &a.Suspects[x]
		if s.Chance < top.Chance*l.GroupRatio || s.State == RuledOut {
			continue
		}
		in = append(in, s)
		a.Group = append(a.Group, s.Suspect.ID)
	}
	if len(in) > mostNamed {
		var first []string
		for _, s := range in[:3] {
			first = append(first, phrase(s))
		}
		a.GroupText = fmt.Sprintf("%d suspects not yet separated; first %s", len(in), list(first, "and"))
		return
	}
	a.GroupText = groupText(in)
}

// mostNamed is how many suspects not yet separated are named one by one.
const mostNamed = 6

func (e *Engine) stop(a *Answer) {
	l := &e.m.limits
	top := inPlay(a)
	switch {
	case slices.ContainsFunc(a.Conflicts, func(c Conflict) bool { return !c.Settled() }):
		a.Stop = "Not yet: readings disagree; settle that first."
	case e.shownChance(a) >= l.StopAt:
		a.Stopped = true
		a.Stop = fmt.Sprintf("Stop: %s.", e.shownWords(a))
	case e.shownChance(a) > 0:
		a.Stop = fmt.Sprintf("Not yet: %s; %s is asked before the search stops, since something else may be wrong as well.", e.shownWords(a), percent(l.StopAt))
	case len(spentWords(a)) > 0:
		a.Stop = fmt.Sprintf("Not yet: %s was shown and put right, and the complaint stays. Something else is wrong as well, or what was fitted is bad too.", list(spentWords(a), "and"))
	case top.Chance >= l.StopAt:
		a.Stop = fmt.Sprintf("Not yet: %s has chance %s, but no direct test has shown it. %s.", phrase(top), percent(top.Chance), capital(e.wouldShow(e.number(top.Suspect))))
	case a.NothingWrong > top.Chance && a.NothingWrong > a.NotListed:
		a.Stop = fmt.Sprintf("Not yet: no suspect stands out; nothing wrong has chance %s.", percent(a.NothingWrong))
	case a.NotListed > top.Chance:
		a.Stop = fmt.Sprintf("Not yet: something not listed (%s) is likelier than any suspect.", percent(a.NotListed))
	default:
		a.Stop = fmt.Sprintf("Not yet: the leading suspect has chance %s; %s is asked, and a direct test.", percent(top.Chance), percent(l.StopAt))
	}
	a.Stop += overruledFirst(a) + byWord(a)
}

// number is the place of a suspect in the instance.
func (e *Engine) number(s *book.Suspect) int {
	for i := range e.m.in.Suspects {
		if &e.m.in.Suspects[i] == s {
			return i
		}
	}
	return -1
}

// phrase names a suspect: "worn gap, cylinder 3".
func phrase(s *SuspectAnswer) string { return s.Suspect.Words() }

// groupText says which parts are not yet separated, subject by subject.
func groupText(in []*SuspectAnswer) string {
	if len(in) == 1 {
		return phrase(in[0]) + ", not yet shown"
	}
	var subjects []evidence.Subject
	parts := map[evidence.Subject][]string{}
	for _, s := range in {
		sub := s.Suspect.Subject
		name := s.Suspect.Component.Name
		if name == "" {
			name = s.Suspect.Component.ID
		}
		if _, ok := parts[sub]; !ok {
			subjects = append(subjects, sub)
		}
		if !slices.Contains(parts[sub], name) {
			parts[sub] = append(parts[sub], name)
		}
	}
	var words []string
	for _, sub := range subjects {
		words = append(words, list(parts[sub], "or")+" of "+ofSubject(sub))
	}
	return list(words, "or") + ", not yet separated"
}

func ofSubject(s evidence.Subject) string {
	if s.Kind == evidence.Engine || s.Kind == evidence.Vehicle {
		return "the " + s.String()
	}
	return s.String()
}
