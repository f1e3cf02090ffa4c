package reason

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
)

// virtual is the factor of an outcome not yet had.
func (e *Engine) virtual(test, outcome int) *factor {
	t := &e.m.tests[test]
	k := len(t.healthy)
	lambda, cover, tilt := make([]float64, k), make([]float64, len(t.rows)), make([]float64, len(t.rows))
	pickedLikelihood(lambda, outcome, e.u)
	for r := range t.rows {
		cover[r], tilt[r] = 1, e.tiltFor(test, r, lambda)
	}
	f := &factor{}
	fillFactor(f, t, lambda, cover, tilt, e.m.limits.NotListedHealthy, e.scratch)
	f.exponent = e.shareOf(test)
	f.share = f.exponent
	if t.tried != nil {
		f.asTried(t, lambda, f.exponent, 1, &e.m.limits)
	}
	return f
}

// change is an outcome of a test that would put another suspect first.
type change struct {
	chance float64
	text   string
}

// describe puts a candidate into words: its outcomes, their chances and where
// each would lead, worked out exactly.
func (e *Engine) describe(c candidate) (NextTest, []change, error) {
	t := &e.m.tests[c.test]
	b := t.at.Test
	nt := NextTest{Test: t.at, Minutes: c.minutes, EndsIt: c.ends, Bits: c.bits, Score: c.score, Cost: c.cost, Missing: c.missing, Repeat: c.repeat}
	before := e.leader()
	var changes []change
	var old *slot
	if c.slot >= 0 {
		old = &e.slots[c.slot]
		old.factor.put(e.w, -1)
	}
	for o := range t.healthy {
		f := e.virtual(c.test, o)
		if old != nil {
			f.exponent = old.whole
		}
		f.put(e.w, 1)
		if err := e.refresh(false); err != nil {
			return nt, nil, err
		}
		leads, top := e.leadsTo(c.endsBy[o])
		if top != before && c.chance[o] >= 0.005 {
			text := fmt.Sprintf("%s%s giving %q (chance %s): %s", b.Name, onSubject(t.at.Subject), b.Outcomes[o].Text, percent(c.chance[o]), leads)
			changes = append(changes, change{c.chance[o], text})
		}
		nt.Outcomes = append(nt.Outcomes, OutcomeAhead{Outcome: &b.Outcomes[o], Chance: c.chance[o], LeadsTo: leads})
		f.put(e.w, -1)
	}
	if old != nil {
		old.factor.put(e.w, 1)
	}
	if err := e.refresh(false); err != nil {
		return nt, nil, err
	}
	nt.Why = e.why(c, t)
	return nt, changes, nil
}

func onSubject(s evidence.Subject) string {
	if s.Kind == evidence.Engine || s.Kind == evidence.Vehicle {
		return ""
	}
	return " on " + s.String()
}

// leader is the number of the leading suspect, or one of the two outside.
func (e *Engine) leader() int { return e.decision(e.chance, e.none, e.other).leader }

// leadsTo says in a sentence where the present odds stand.
func (e *Engine) leadsTo(ends bool) (string, int) {
	d := e.leader()
	switch d {
	case leaderNothing:
		return "then nothing wrong is likeliest, at " + percent(e.none), d
	case leaderOther:
		return "then something not listed is likeliest, at " + percent(e.other), d
	}
	s := SuspectAnswer{Suspect: &e.m.in.Suspects[d]}
	text := "then " + phrase(&s) + " leads at " + percent(e.chance[d])
	if ends {
		return text + ", shown: it ends the search", d
	}
	if e.nearly[d] && e.partChance(partOf(s.Suspect)) >= e.m.limits.ShownAt {
		return text + ", shown, but not sure enough to stop", d
	}
	second, at := 0.0, -1
	for i, p := range e.chance {
		if i != d && p > second && !e.away[i] {
			second, at = p, i
		}
	}
	if at >= 0 && second >= e.chance[d]*e.m.limits.GroupRatio {
		r := SuspectAnswer{Suspect: &e.m.in.Suspects[at]}
		return text + ", before " + phrase(&r) + " at " + percent(second), d
	}
	return text + ", not yet shown", d
}

func (e *Engine) why(c candidate, t *testModel) string {
	var text string
	switch {
	case c.retake:
		text = "Readings disagree: take this one again before anything else"
	case c.repeat > 0:
		text = fmt.Sprintf("The difference is not established: place it %d more time%s on %s", c.repeat, plural(c.repeat), t.at.Subject)
	case c.ends > 1e-9:
		text = "Chance " + percent(c.ends) + " that it ends the search"
	default:
		text = "It cannot end the search by itself"
	}
	if e.doubtNow > 0 {
		text += fmt.Sprintf("; removes %s of the doubt in %s", percent(c.bits/e.doubtNow), minutes(c.minutes))
	}
	if c.repeat == 0 && compared(t) {
		text += ", all " + string(t.at.Subject.Kind) + "s in one go"
	}
	if n := e.doneElsewhere(c.test); n > 0 && !c.retake && c.repeat == 0 {
		text += fmt.Sprintf("; done %s outside the conditions of the complaint: do it under them, repeating it as before adds nothing", count(n))
	}
	var haz []string
	for _, id := range t.at.Test.Hazards {
		if h, ok := e.m.hazard(id); ok && (h.Word == "DANGER" || h.Word == "WARNING") {
			haz = append(haz, h.Word)
		}
	}
	if len(haz) > 0 {
		text += "; mind its " + list(slices.Compact(haz), "and")
	}
	if len(c.missing) > 0 {
		text += "; not on hand: " + list(c.missing, "and")
	}
	return text + "."
}

// count says how often: once, twice, 5 times.
func count(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

// sayReplace says when replacing the leading part at once is cheaper than
// testing first.
func (e *Engine) sayReplace(a *Answer, cands []candidate, now float64, first int) {
	if first < 0 || a.Suspects[0].State == Shown {
		return
	}
	best, at := math.Inf(1), -1
	for x := range cands {
		if cands[x].slot < 0 && cands[x].cost < best {
			best, at = cands[x].cost, x
		}
	}
	s := SuspectAnswer{Suspect: &e.m.in.Suspects[first]}
	switch {
	case at < 0:
		a.Replace = fmt.Sprintf("No test left on hand would change what to do. Repairing in order of chance over cost, %s first (chance %s, %s with parts), takes %s on average to a finished repair. It stays suspected until a test shows it.",
			phrase(&s), percent(e.chance[first]), minutes(e.repairCost(first)), minutes(now))
	case now <= best:
		t := e.m.tests[cands[at].test].at
		a.Replace = fmt.Sprintf("Replacing is cheaper than testing: putting right %s at once (chance %s, %s with parts) takes %s on average to a finished repair, against %s with %s first. A repair that helps is no proof of the cause.",
			phrase(&s), percent(e.chance[first]), minutes(e.repairCost(first)), minutes(now), minutes(best), t.Test.Name)
	}
}
