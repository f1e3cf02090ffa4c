package shop

import (
	"fmt"

	"proveout/evidence"
	"proveout/job"
	"proveout/reason"
)

// tried takes in the parts that were replaced or changed in the search: each is
// an item and a finding, and goes to the odds as what it is.
func (w *work) tried() {
	for i := range w.resolved.Tried {
		t := &w.resolved.Tried[i]
		id := fmt.Sprintf("tried%d:%s@%s", i+1, t.Component, t.Subject.Key())
		what := triedName(t)
		w.answer.Items = append(w.answer.Items, ItemAnswer{Item: t.Item, Kind: "tried", File: t.From.File, Line: t.From.Line, SetAside: t.SetAside, What: what + ": " + triedWords[t.Result]})
		w.answer.Findings = append(w.answer.Findings, FindingAnswer{
			ID: id, Item: t.Item, Name: what, Subject: subjectAnswer(t.Subject), State: string(evidence.Abnormal), Outcome: t.Result, When: "before",
			Sentence: upperFirst(what) + ": " + triedWords[t.Result] + ".", Why: triedWhy[t.Result], SetAside: t.SetAside != "", From: FromAnswer{File: t.From.File, Line: t.From.Line},
		})
		w.read++
		w.triedParts = append(w.triedParts, reason.Tried{
			ID: id, Item: t.Item, Component: t.Component, Subject: t.Subject, Fitted: reason.Fitted(t.Fitted), Result: reason.TriedResult(t.Result),
			WouldShow: t.WouldShow, Condition: t.Condition, SetAside: t.SetAside != "",
		})
	}
}

var triedWords = map[string]string{
	"stays":      "the complaint stays",
	"gone":       "the complaint has not shown since",
	"returned":   "the complaint was gone, and came back with the old part put back",
	"stays_gone": "the complaint was gone, and stayed gone with the old part put back",
}

var triedWhy = map[string]string{
	"stays":      "It speaks against the part that was there, as far as what was fitted is good and no connector was disturbed.",
	"gone":       "A repair that helps is no proof of the cause: an intermittent fault may be hiding, or a connector was seated anew.",
	"returned":   "The fault went and came with the part.",
	"stays_gone": "The part was not it: something was moved, or the fault is hiding.",
}

var fittedWords = map[string]string{"new": "replaced by a new one", "used": "replaced by a used one", "known_good": "changed for a known good one", "mended": "cleaned or repaired"}

func triedName(t *job.TriedPart) string {
	name := t.Name
	if t.Subject.Kind != evidence.Engine {
		name += " of " + t.Subject.String()
	}
	return name + " " + fittedWords[t.Fitted]
}
