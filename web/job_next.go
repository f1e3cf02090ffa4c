package web

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"proveout/evidence"
	"proveout/job"
	"proveout/shop"
)

// tests sets out the tests on offer: the one that was chosen, or the first of the
// list, whole; the others as rows.
func (b *pageBuilder) tests(a *shop.Answer) {
	chosen := b.chosen()
	var views []testView
	for i := range a.Next {
		v := b.test(&a.Next[i])
		if chosen != nil && chosen.Test == v.Test && chosen.Subject == v.Subject {
			v.Chosen, v.Started = true, b.started(v)
		}
		views = append(views, v)
	}
	slices.SortStableFunc(views, func(x, y testView) int {
		return cmp.Compare(btoi(y.Chosen), btoi(x.Chosen))
	})
	if len(views) > 0 {
		b.page.First, b.page.Others = &views[0], views[1:]
	}
}

func btoi(v bool) int {
	if v {
		return 1
	}
	return 0
}

// chosen is the last choice that was neither declined nor ended.
func (b *pageBuilder) chosen() *job.TestChosen {
	for i := len(b.v.Choices) - 1; i >= 0; i-- {
		c := &b.v.Choices[i]
		if c.Declined {
			continue
		}
		for _, t := range b.v.Tests {
			if t.Test == c.What.Test && t.Subject == c.What.Subject && t.Ended != "" && t.Ended >= c.Wall {
				return nil
			}
		}
		return &c.What
	}
	return nil
}

func (b *pageBuilder) started(v testView) bool {
	return slices.ContainsFunc(b.v.Tests, func(t job.TestDone) bool {
		return t.Test == v.Test && t.Subject == v.Subject && t.Ended == ""
	})
}

func (b *pageBuilder) test(n *shop.NextAnswer) testView {
	p := b.p
	v := testView{
		Test: n.Test, Subject: subjectKey(n.Subject), Name: n.Name, Ends: chance(n.EndsIt, p), Minutes: p.Number(n.Minutes, 0),
		RawMinutes: strconv.FormatFloat(n.Minutes, 'f', -1, 64), Equipment: n.Equipment, Hazards: n.Hazards, Do: n.Do, Says: n.Says, Why: n.Why,
		Feature: n.Feature, ByWord: n.Feature == "",
	}
	if w := n.Subject; w.Kind != string(evidence.Engine) && w.Kind != "" {
		v.Name += ", " + evidence.Subject{Kind: evidence.Kind(w.Kind), Number: w.Number, Second: w.Second}.String()
	}
	v.Words = signalWords(n.Hazards)
	q := url.Values{"test": {n.Test}}
	if v.Subject != "" {
		q.Set("subject", v.Subject)
	}
	v.Href = "/jobs/" + url.PathEscape(b.v.Job) + "/reading?" + q.Encode()
	for _, o := range n.Outcomes {
		v.Outcomes = append(v.Outcomes, outcomeView{ID: o.ID, Text: o.Text, Chance: times(o.Chance, p), LeadsTo: o.LeadsTo})
	}
	return v
}

// subjectKey is a subject as the record has it; the engine is "".
func subjectKey(s shop.SubjectAnswer) string {
	if s.Kind == "" || s.Kind == string(evidence.Engine) {
		return ""
	}
	return evidence.Subject{Kind: evidence.Kind(s.Kind), Number: s.Number, Second: s.Second}.Key()
}

// signalWords are the words of a test's hazards, each once, the gravest first.
func signalWords(hs []shop.HazardAnswer) []string {
	var out []string
	for _, word := range []string{"DANGER", "WARNING", "CAUTION", "NOTICE"} {
		if slices.ContainsFunc(hs, func(h shop.HazardAnswer) bool { return h.Word == word }) {
			out = append(out, word)
		}
	}
	return out
}

// hazardGroup is what one signal word stands for.
type hazardGroup struct {
	Word  string
	Texts []string
}

// byWord puts hazards under their words, the gravest first: one panel a word keeps the
// controls near.
func byWord(hs []shop.HazardAnswer) []hazardGroup {
	var out []hazardGroup
	for _, word := range signalWords(hs) {
		g := hazardGroup{Word: word}
		for _, h := range hs {
			if h.Word == word {
				g.Texts = append(g.Texts, h.Text)
			}
		}
		out = append(out, g)
	}
	return out
}

// do is the one button that matters now.
func (b *pageBuilder) do() *doView {
	v, p := b.v, b.p
	here := "/jobs/" + url.PathEscape(v.Job)
	if v.Interrupted != nil {
		return &doView{Label: saidIn(p, "do.resume", ""), Post: true, Fields: []field{{"type", "resumed"}}}
	}
	if t := b.page.First; t != nil && v.Next.ID == "test" && v.Closed == nil {
		name := t.Name
		switch {
		case !t.Chosen:
			return &doView{Label: saidIn(p, "do.choose", name), Post: true, Fields: b.testFields(t, "test_chosen")}
		case !t.Started:
			return &doView{Label: saidIn(p, "do.start", name), Post: true, Fields: b.testFields(t, "test_started")}
		}
		return &doView{Label: saidIn(p, "do.record", name), Href: t.Href}
	}
	href := v.Next.Href
	switch v.Next.ID {
	case "make_safe":
		if href == "" {
			return nil // the form that says what made it safe stands right above
		}
	case "correct":
		href = "#correction"
	case "add_evidence":
		if b.page.Stage.Complaint != "done" {
			return &doView{Label: saidIn(p, "do.ask", ""), Href: here + "/complaint"}
		}
	}
	label := said(p, v.Next.Label)
	if key := "do." + v.Next.ID; p.Has(key) {
		label = saidIn(p, key, "")
	}
	if label == "" {
		return nil
	}
	return &doView{Label: label, Href: actionHref(here, href)}
}

// actionHref resolves an action's address, which is relative to the job's page.
func actionHref(job, href string) string {
	switch {
	case href == "" || strings.HasPrefix(href, "#"):
		return job + href
	case strings.HasPrefix(href, "/"):
		return href
	}
	return job + "/" + href
}

func (b *pageBuilder) testFields(t *testView, kind string) []field {
	return []field{{"type", kind}, {"test", t.Test}, {"subject", t.Subject}, {"minutes", t.RawMinutes}}
}
