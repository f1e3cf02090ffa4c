package report

import (
	"fmt"
	"slices"
	"strings"

	"proveout/shop"
)

// serviceState is the word for where a service stands. What a procedure asked for and
// was confirmed step by step is finished; nothing else is.
func (m maker) serviceState() State {
	if len(m.r.Dangers) > 0 {
		return State{m.t("state.dangerous"), Hollow}
	}
	latest := map[string]string{}
	for _, r := range m.r.Runs {
		latest[r.Procedure] = r.State
	}
	finished := 0
	for _, s := range latest {
		if s == "finished" {
			finished++
		}
	}
	switch {
	case len(latest) > 0 && finished == len(latest):
		return State{m.t("state.finished"), Solid}
	case len(latest) > 0 || m.repaired():
		return State{m.t("state.unfinished"), Half}
	}
	return State{m.t("state.not_begun"), Hollow}
}

// work says what was done by a procedure, and in what state it was left.
func (m maker) work() Part {
	if len(m.r.Runs) == 0 && len(m.r.Dangers) == 0 && !m.r.Service {
		return Part{}
	}
	p := Part{Name: m.t("work"), Keep: true}
	var keys []string
	for _, d := range m.r.Dangers {
		keys = append(keys, m.t("danger", ended(m.say(d))))
	}
	for i := range m.r.Runs {
		keys = append(keys, m.runKey(&m.r.Runs[i]))
	}
	if len(m.r.Runs) == 0 && m.r.Service {
		keys = append(keys, m.t("no_run"))
	}
	p.Key = strings.Join(keys, " ")
	if m.r.PutDown != "" {
		m.note(&p, "put_down", ended(m.say(m.r.PutDown)))
	}
	if m.r.HandedOn != "" {
		m.note(&p, "handed_on", ended(m.say(m.r.HandedOn)))
	}
	for i := range m.r.Runs {
		m.run(&p, &m.r.Runs[i])
	}
	return p
}

// runKey is the line of a run for the customer.
func (m maker) runKey(r *shop.RunAnswer) string {
	switch r.State {
	case "unreadable":
		return m.t("run_unreadable", r.Title)
	case "handed_over":
		return m.t("run_handed_over", r.Title, r.Done, r.Of, r.Holder)
	}
	return m.t("run_"+r.State, r.Title, r.Done, r.Of)
}

// run adds what a reviewer asks of a run.
func (m maker) run(p *Part, r *shop.RunAnswer) {
	when := m.date(r.Started)
	switch {
	case r.Ended != "":
		when = m.t("from_to", when, m.until(r.Started, r.Ended))
	case r.Last != "":
		when = m.t("from_last", when, m.until(r.Started, r.Last))
	}
	m.note(p, "run", m.t("run_by", r.Title, r.Version, strings.Join(r.Who, ", "), when))
	if r.State == "unreadable" {
		m.note(p, "", m.t("run_why", r.Why))
		return
	}
	for _, s := range r.Supply {
		m.note(p, "supply", m.supply(s))
	}
	if n := len(r.Rests); n > 0 {
		m.note(p, "rests", m.w.N("paper.rests", n, m.w.Number(slices.Min(r.Rests), 0), m.w.Number(slices.Max(r.Rests), 0), m.w.Number(r.RestAsked, 0)))
		if n > 1 {
			var each []string
			for _, s := range r.Rests {
				each = append(each, m.w.Number(s, 0))
			}
			m.note(p, "rests_each", strings.Join(each, ", ")+" s.")
		}
	}
	if len(r.Stops) == 0 {
		m.note(p, "stops", m.t("no_stops"))
	}
	for _, s := range r.Stops {
		m.note(p, "stops", m.stop(s))
	}
	for _, x := range r.Results {
		lead := "read"
		if x.Test {
			lead = "tested"
		}
		said := brief(x.Step) + "."
		for _, t := range append([]string{x.Outcome}, x.By...) {
			if t != "" {
				said += " " + ended(t)
			}
		}
		m.note(p, lead, said)
	}
	var figures []string
	for _, f := range r.Figures {
		figures = append(figures, m.figure(f))
	}
	if len(figures) > 0 {
		m.note(p, "figures", strings.Join(figures, "; ")+".")
	}
	if len(r.Unwatched) > 0 {
		m.list(p, "not_watched", r.Unwatched)
	}
}

// until is the time of day where it is the same day as from, else the date with it.
func (m maker) until(from, to string) string {
	b := m.date(to)
	if len(from) >= 10 && len(to) >= 10 && from[:10] == to[:10] {
		return b[strings.LastIndex(b, " ")+1:]
	}
	return b
}

func (m maker) supply(s shop.SupplyAnswer) string {
	name := m.t("at_point", upperFirst(m.say(s.Quantity)), m.say(s.Point))
	if !s.Known {
		return m.t("supply_not_seen", name)
	}
	q := m.quantity(s.Unit)
	said := m.t("supply_lowest", name, m.w.Number(q.to(s.Lowest), 2)+" "+q.word, m.t("supply_by."+s.By))
	if s.Step != "" {
		said += ", " + m.t("in_step", brief(s.Step))
	}
	if s.Stop != "" {
		said += "; " + m.t("supply_stop", m.w.Say(s.Stop))
	}
	return ended(said)
}

func (m maker) stop(s shop.StopAnswer) string {
	said := m.date(s.At) + ": " + m.say(s.Why)
	if s.Step != "" {
		said += ", " + m.t("in_step", brief(s.Step))
	}
	said = ended(said)
	for _, t := range s.MadeSafe {
		said += " " + m.t("made_safe", brief(t))
	}
	if s.HandedTo != "" {
		said += " " + m.t("stop_handed", s.HandedTo)
	}
	if s.WentOn != "" {
		return said + " " + m.t("went_on", m.until(s.At, s.WentOn))
	}
	return said + " " + m.t("not_gone_on")
}

// figure writes a number with its limit, both as they were typed.
func (m maker) figure(f shop.FigureAnswer) string {
	q := m.quantity(f.Unit)
	said := strings.TrimRight(f.Ask, ".") + " " + q.with(f.Value)
	if f.Limit > 0 {
		said += " (" + f.LimitAsk + ": " + q.with(f.Limit) + ")"
	}
	return said
}

// printedSteps is how many texts of a list are printed (our choice: what one page has
// room for); the HTML has all of them.
const printedSteps = 3

// list adds texts to a part: the first on paper, all of them on the screen.
func (m maker) list(p *Part, kind string, texts []string) {
	bare := make([]string, len(texts))
	for i, t := range texts {
		bare[i] = brief(t)
	}
	m.note(p, kind, fmt.Sprintf("%s.", m.some(bare, printedSteps)))
	if len(texts) > printedSteps {
		m.note(p, kind+"_all", strings.Join(bare, "; ")+".")
		p.Notes[len(p.Notes)-1].Unprinted = true
	}
}

// notDone says what a service leaves open.
func (m maker) notDone() Part {
	p := Part{Name: m.t("not_done"), Keep: true}
	m.changed(&p)
	for i := range m.r.Runs {
		r := &m.r.Runs[i]
		if len(r.NotDone) > 0 {
			m.list(&p, "not_done", r.NotDone)
		}
	}
	if h := m.p.HandedOver; h != nil {
		if h.Because != "" {
			m.note(&p, "closed_because", ended(h.Because))
		}
		if h.Left != "" {
			m.note(&p, "left", ended(h.Left))
		}
		if h.AskAgain != "" {
			m.note(&p, "ask_again", ended(h.AskAgain))
		}
	}
	if len(p.Notes) == 0 {
		m.note(&p, "", m.t(map[bool]string{true: "nothing_begun", false: "all_steps_done"}[len(m.r.Runs) == 0]))
	}
	return p
}

// changed says what was done to a job after it was closed: a page from before it may
// be in somebody's hands.
func (m maker) changed(p *Part) {
	if len(m.r.Changed) == 0 {
		return
	}
	said := []string{m.t("closed_first", m.date(m.r.ClosedAt))}
	for _, c := range m.r.Changed {
		by := strings.TrimSpace(c.Who + " " + m.date(c.At))
		t := m.t("change."+c.What, m.entryWord(c.Entry), by)
		if c.Reason != "" {
			t = strings.TrimRight(t, ".") + ": " + ended(c.Reason)
		}
		said = append(said, t)
	}
	m.note(p, "changed", strings.Join(said, " "))
}

func (m maker) entryWord(name string) string {
	if key := "entry." + name; m.w.Has(key) {
		return m.w.T(key)
	}
	return strings.ReplaceAll(name, "_", " ")
}

// brief is the first sentence of a step's text, without its full stop.
func brief(s string) string {
	first, _, _ := strings.Cut(strings.TrimSpace(s), ". ")
	return strings.TrimRight(first, ".")
}

// ended gives a text with a full stop.
func ended(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.ContainsRune(".!?", rune(s[len(s)-1])) {
		return s
	}
	return s + "."
}
