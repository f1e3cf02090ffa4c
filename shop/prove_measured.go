package shop

import (
	"fmt"
	"slices"
	"strings"

	"proveout/book"
	"proveout/evidence"
	"proveout/job"
	"proveout/proof"
	"proveout/reason"
)

// measured lists what was measured both before and after the repair, and judges
// the measured proof: the direct test that showed each cause, repeated, with the
// part now like its healthy neighbours or inside its limit.
func (p *proving) measured() {
	p.out.Measured = []MeasuredAnswer{}
	seen := map[string]int{}
	for i := range p.findings {
		f := &p.findings[i]
		if f.When != "after" || f.SetAside || f.State == evidence.NotMeasured {
			continue
		}
		key := f.Feature
		if key == "" {
			key = f.Test
		}
		if t := findTest(p.instance, f.Test); t != nil && t.Codes != nil {
			continue // told with the codes
		}
		if _, ok := seen[key]; ok {
			continue
		}
		if m := p.sideBySide(f, key); len(m.Before) > 0 || len(m.After) > 0 {
			seen[key] = len(p.out.Measured)
			p.out.Measured = append(p.out.Measured, m)
		}
	}
	p.decideMeasured()
	p.out.Measured = slices.DeleteFunc(p.out.Measured, func(m MeasuredAnswer) bool { return !worthTelling(m) })
	slices.SortStableFunc(p.out.Measured, func(a, b MeasuredAnswer) int {
		switch {
		case a.Decides == b.Decides:
			return 0
		case a.Decides:
			return -1
		}
		return 1
	})
}

// worthTelling reports whether a quantity belongs on the proof: the one that
// decides, one compared over several places, one that was off before or is now.
func worthTelling(m MeasuredAnswer) bool {
	off := func(vs []PlacedAnswer) bool {
		return slices.ContainsFunc(vs, func(v PlacedAnswer) bool {
			return v.State == string(evidence.High) || v.State == string(evidence.Low) || v.State == string(evidence.Abnormal)
		})
	}
	return m.Decides || len(m.Before) > 1 && len(m.After) > 1 && m.Feature != "" || off(m.Before) && len(m.After) > 0 || off(m.After)
}

// sideBySide gathers the values of one feature, or the results of one test, at
// every place before and after.
func (p *proving) sideBySide(like *evidence.Finding, key string) MeasuredAnswer {
	m := MeasuredAnswer{Feature: like.Feature, Name: p.findingName(like), Unit: like.Unit, Before: []PlacedAnswer{}, After: []PlacedAnswer{}, At: []SubjectAnswer{}}
	for i := range p.findings {
		f := &p.findings[i]
		same := like.Feature != "" && f.Feature == like.Feature && (f.Outcome == "") == (like.Outcome == "") || like.Feature == "" && f.Test == key
		if !same || f.SetAside || f.State == evidence.NotMeasured {
			continue
		}
		side := &m.Before
		if f.When == "after" {
			side = &m.After
		}
		v := PlacedAnswer{Subject: subjectAnswer(f.Subject), Item: f.Item, Value: round(f.Value), State: string(f.State)}
		if f.Outcome != "" {
			v.Value, v.Text = 0, p.outcomeText(f)
		}
		k := slices.IndexFunc(*side, func(o PlacedAnswer) bool { return o.Subject == v.Subject })
		switch {
		case k < 0:
			*side = append(*side, v)
		case f.State != evidence.Normal && (*side)[k].State == string(evidence.Normal):
			(*side)[k] = v // two tests ask the same reading: the one that minds is shown
		}
	}
	for _, side := range [][]PlacedAnswer{m.Before, m.After} {
		slices.SortStableFunc(side, func(a, b PlacedAnswer) int { return a.Subject.Number - b.Subject.Number })
	}
	return m
}

// decideMeasured judges the repeated direct tests.
func (p *proving) decideMeasured() {
	var shown []*reason.SuspectAnswer
	for _, s := range p.causes {
		if s.WasShown() && p.finding(s.By) != nil {
			shown = append(shown, s)
		}
	}
	p.c.CanMeasure = len(shown) > 0
	if len(shown) == 0 {
		return
	}
	passed, done := 0, 0
	var said []string
	for _, s := range shown {
		by := p.finding(s.By)
		after := p.repeated(by)
		if len(after) == 0 {
			said = append(said, fmt.Sprintf("The test that showed %s was not repeated after the repair.", suspectWords(s)))
			continue
		}
		done++
		ok, why := p.healthyNow(by, after)
		if ok {
			passed++
		}
		said = append(said, why)
		for i := range p.out.Measured {
			m := &p.out.Measured[i]
			if m.Feature != "" && m.Feature == by.Feature || m.Feature == "" && after[0].Test == by.Test && m.Name == p.findingName(by) {
				m.Decides, m.Passed, m.Text = true, ok, why
				m.At = append(m.At, subjectAnswer(by.Subject))
			}
		}
	}
	if done > 0 {
		p.c.Measured = proof.Test{Done: true, Passed: passed == len(shown), Text: strings.Join(said, " ")}
	}
}

// repeated lists the findings after the repair of the test that showed a cause,
// on the same place. Tests of one feature answer together.
func (p *proving) repeated(by *evidence.Finding) []*evidence.Finding {
	var out []*evidence.Finding
	for i := range p.findings {
		f := &p.findings[i]
		if f.When == "after" && !f.SetAside && f.State != evidence.NotMeasured && f.Subject == by.Subject &&
			(f.Test == by.Test || by.Feature != "" && f.Feature == by.Feature && f.Outcome == "" && by.Outcome == "") {
			out = append(out, f)
		}
	}
	return out
}

// healthyNow says whether the repeated test finds the part like its healthy
// neighbours, or inside a limit.
func (p *proving) healthyNow(by *evidence.Finding, after []*evidence.Finding) (bool, string) {
	held := false
	for _, f := range after {
		switch f.State {
		case evidence.High, evidence.Low, evidence.Abnormal:
			return false, "Measured again after the repair, and still off: " + f.Sentence
		case evidence.Normal:
			if t := findTest(p.instance, f.Test); f.AllCompared || f.Outcome != "" || t != nil && t.Reads != nil && (t.Reads.Versus == "limit" || t.Reads.Versus == "absolute") {
				held = true
			}
		}
	}
	if !held {
		return false, "Measured again after the repair, but " + by.Subject.String() + " alone, or without an established result: its neighbours must be measured too. " + after[0].Sentence
	}
	return true, "Measured again after the repair: " + after[0].Sentence
}

func (p *proving) findingName(f *evidence.Finding) string {
	if g, ok := p.instance.Feature(f.Feature); ok {
		return g.Name
	}
	if t := findTest(p.instance, f.Test); t != nil {
		return t.Name
	}
	return f.Feature
}

func (p *proving) outcomeText(f *evidence.Finding) string {
	if t := findTest(p.instance, f.Test); t != nil {
		if i := slices.IndexFunc(t.Outcomes, func(o book.Outcome) bool { return o.ID == f.Outcome }); i >= 0 && t.Outcomes[i].Text != "" {
			return t.Outcomes[i].Text
		}
	}
	return strings.ReplaceAll(f.Outcome, "_", " ")
}

// oldPart judges the proof by putting the old part back. That the fault came back
// with it may stand among the parts tried in the search.
func (p *proving) oldPart() {
	var o job.OldPartTried
	if w := p.resolved.Proof.OldPart; w != nil {
		o = *w
	}
	for _, t := range p.resolved.Tried {
		ofCause := slices.ContainsFunc(p.causes, func(c *reason.SuspectAnswer) bool {
			return c.Suspect.Component.ID == t.Component && c.Suspect.Subject == t.Subject
		})
		if ofCause && t.Result == "returned" && t.SetAside == "" && o.CameBack == "" {
			o.CameBack = "yes"
		}
	}
	if o.CameBack == "" && o.Gone == "" {
		return
	}
	t := proof.Test{Done: true, Passed: o.CameBack == "yes" && o.Gone == "yes"}
	switch {
	case t.Passed:
		t.Text = "The old part was put back and the fault came back with it; with the new part it went again."
	case o.CameBack == "no":
		t.Text = "The old part was put back and the fault did not come back: the part was not the cause, or the fault did not show."
	case o.Gone == "no":
		t.Text = "The old part was put back and the fault came back, but it did not go again with the new part."
	default:
		t.Text = "The old part was put back; one of the two answers is missing (proof.old_part_back: came_back, gone)."
	}
	if o.Note != "" {
		t.Text += " " + upperFirst(strings.TrimSuffix(strings.TrimSpace(o.Note), ".")) + "."
	}
	p.c.OldPartBack = t
}
