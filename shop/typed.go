package shop

import (
	"fmt"
	"strings"

	"proveout/book"
	"proveout/evidence"
	"proveout/job"
)

// typed takes in the typed readings: values go the way of measured ones, a word
// picked from a test's outcomes is a finding at once.
func (w *work) typed() {
	byItem := map[int]int{} // item to index in answer.Items
	for i := range w.resolved.Readings {
		r := &w.resolved.Readings[i]
		if r.SetAside != "" {
			w.asideReason[r.Item] = r.SetAside
		}
		if j, ok := byItem[r.Item]; ok {
			w.answer.Items[j].What += "; " + typedWords(w.instance, r)
		} else {
			byItem[r.Item] = len(w.answer.Items)
			w.answer.Items = append(w.answer.Items, ItemAnswer{
				Item: r.Item, Kind: "reading", File: r.From.File, Line: r.From.Line, SetAside: r.SetAside,
				What: "typed: " + typedName(w.instance, r) + ": " + typedWords(w.instance, r),
			})
		}
		w.read++
		if r.Outcome != "" {
			w.findings = append(w.findings, outcomeFinding(w.instance, r, len(w.findings)))
			continue
		}
		if r.SetAside != "" {
			w.setAside = append(w.setAside, r.Reading)
			continue
		}
		w.readings = append(w.readings, r.Reading)
	}
}

// outcomeFinding is the finding of a test whose result is a word.
func outcomeFinding(in *book.Instance, r *job.TypedReading, n int) evidence.Finding {
	f := evidence.Finding{
		ID: fmt.Sprintf("%s@%s", r.Test, r.Subject.Key()), Item: r.Item, Test: r.Test, Feature: r.Feature, Subject: r.Subject,
		Outcome: r.Outcome, State: evidence.Abnormal, Condition: r.Condition, When: r.When, Flags: r.Flags,
		From: []evidence.Source{r.From}, SetAside: r.SetAside != "", Operator: r.Operator,
	}
	if f.When == "after" {
		f.ID += "/after"
	}
	if f.SetAside {
		f.ID += "/set-aside"
	}
	t := findTest(in, r.Test)
	if t == nil {
		return f
	}
	for _, o := range t.Outcomes {
		if o.ID == r.Outcome {
			if o.Normal {
				f.State = evidence.Normal
			}
			f.Sentence = upperFirst(fmt.Sprintf("%s, %s: %s.", r.Subject, t.Name, strings.TrimSuffix(o.Text, ".")))
		}
	}
	f.Why = t.Says
	return f
}

func findTest(in *book.Instance, id string) *book.Test {
	for i := range in.Tests {
		if in.Tests[i].Test.ID == id {
			return in.Tests[i].Test
		}
	}
	return nil
}

func typedName(in *book.Instance, r *job.TypedReading) string {
	if t := findTest(in, r.Test); t != nil {
		return t.Name
	}
	if f, ok := in.Feature(r.Feature); ok {
		return f.Name
	}
	return r.Feature
}

func typedWords(in *book.Instance, r *job.TypedReading) string {
	what := r.Value.String()
	if r.Outcome != "" {
		what = r.Outcome
		if t := findTest(in, r.Test); t != nil {
			for _, o := range t.Outcomes {
				if o.ID == r.Outcome && o.Text != "" {
					what = o.Text
				}
			}
		}
	}
	if r.Subject.Kind == evidence.Engine {
		return what
	}
	return r.Subject.String() + " " + what
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// odometerKm reads the odometer; 0 when it was not given or cannot be read.
func odometerKm(s string) float64 {
	metres, err := job.Odometer(s)
	if err != nil {
		return 0
	}
	return metres / 1000
}
