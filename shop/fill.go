package shop

import (
	"math"
	"slices"
	"sort"
	"strings"

	"proveout/evidence"
	"proveout/job"
	"proveout/reason"
	"proveout/vehicle"
)

// newAnswer begins an answer with what the job file says.
func newAnswer(f *job.File, o Options) *Answer {
	a := &Answer{
		Schema: AnswerSchema, Program: o.Program, Job: f.Job,
		Vehicle: VehicleAnswer{
			Make: f.Vehicle.Make, Model: f.Vehicle.Model, Year: f.Vehicle.Year, VIN: f.Vehicle.VIN, Plate: f.Vehicle.Plate,
			OdometerKm: odometerKm(f.Vehicle.Odometer),
		},
		Complaint: ComplaintAnswer{Said: strings.TrimSpace(f.Complaint.Said), Symptoms: []string{}, States: []string{}, Facts: map[string]string{}},
		Books:     []BookAnswer{}, Items: []ItemAnswer{}, Findings: []FindingAnswer{}, Suspects: []SuspectAnswer{}, RuledOut: []RuledOutAnswer{},
		Conflicts: []ConflictAnswer{}, First: []string{}, Next: []NextAnswer{}, ChangeMind: []string{}, Limits: []LimitAnswer{}, LeftOut: []LeftOut{}, Notes: []NoteAnswer{}, Cautions: []CautionAnswer{},
	}
	if v, err := vehicle.ParseVIN(f.Vehicle.VIN); err == nil {
		if hint := v.CheckHint(); hint != "" {
			a.Vehicle.VINNotes = append(a.Vehicle.VINNotes, hint)
		}
	}
	return a
}

// fill puts what reasoning found into the answer.
func (w *work) fill(r *reason.Answer) {
	a := w.answer
	a.Vehicle.Engine, a.Vehicle.Cylinders = engineWords(w.engine), w.engine.Cylinders
	c := w.resolved.Complaint
	a.Complaint.Symptoms = append(a.Complaint.Symptoms, c.Symptoms...)
	for _, s := range c.States {
		a.Complaint.States = append(a.Complaint.States, string(s))
	}
	for k, v := range c.Facts {
		a.Complaint.Facts[k] = v
	}
	if c.Lamp == "flashing" {
		a.Cautions = append(a.Cautions, CautionAnswer{Word: "NOTICE", Text: "The warning lamp flashes: raw fuel is burning in the catalyst. Short tests only, ease off at the first flash."})
	}
	for _, b := range w.instance.Books {
		a.Books = append(a.Books, BookAnswer{ID: b.ID, Version: b.Version, SHA256: b.SHA256()})
	}
	for i := range w.findings {
		fa := findingAnswer(&w.findings[i])
		if t := findTest(w.instance, fa.Test); t != nil {
			fa.Name = t.Name
		} else if g, ok := w.instance.Feature(fa.Feature); ok {
			fa.Name = g.Name
		}
		a.Findings = append(a.Findings, fa)
	}
	sort.SliceStable(a.Findings, func(i, j int) bool { return a.Findings[i].Item < a.Findings[j].Item })
	sort.SliceStable(a.Items, func(i, j int) bool { return a.Items[i].Item < a.Items[j].Item })
	for i := range r.Suspects {
		w.suspect(&r.Suspects[i], r.WithSetAside)
	}
	w.fillConflicts(r)
	a.Stopped = r.Stopped
	w.unreadCodes()
	asked := !w.noComplaint(r)
	if !asked && !a.Stopped {
		a.First = append(a.First, "State what the customer notices, as symptoms: without them no test is worth its minutes.")
	}
	for i := range r.Next {
		if a.Stopped || !asked {
			break // the search is over, and the repair comes next; or it has not begun
		}
		a.Next = append(a.Next, w.next(&r.Next[i]))
	}
	a.DoubtBits, a.NothingWrong, a.NotListed = round(r.DoubtBits), round(r.NothingWrong), round(r.NotListed)
	a.TwoOrMore, a.Outside = round(r.TwoOrMore), round(r.Outside)
	a.Stop = r.Stop
	w.reckoning(r)
	for _, n := range r.Notes {
		w.note("", 0, n)
	}
	for _, u := range r.Uncounted {
		w.note("", 0, "finding "+u.Finding+" is not counted: "+u.Why)
	}
	if len(r.Group) > 1 {
		g := &GroupAnswer{Suspects: r.Group, Text: r.GroupText}
		for _, id := range r.Group {
			for _, s := range r.Suspects {
				if s.Suspect.ID == id {
					g.Chance += s.Chance
				}
			}
		}
		g.Chance = round(math.Min(g.Chance, 1))
		a.Group = g
	}
	a.Headline, a.Hint, _ = strings.Cut(headline(w, r), forFiles)
}

// reckoning tells what the order of the tests, the stop and the lead rest on.
func (w *work) reckoning(r *reason.Answer) {
	a := w.answer
	a.Order = string(w.reasonOptions().Rank)
	if a.Order == "" {
		a.Order = string(reason.ByEnding)
	}
	a.CostNow = round(r.CostNow)
	if !a.Stopped {
		a.Replace = r.Replace
		a.ChangeMind = append(a.ChangeMind, r.ChangeMind...)
	}
	if r.RunnerUp >= 0 {
		a.Versus = &VersusAnswer{First: r.Versus.A, Second: r.Versus.B, Ratio: round(math.Exp(r.Versus.LnRatio)), Items: []MovedAnswer{}}
		for _, m := range r.Versus.Items {
			a.Versus.Items = append(a.Versus.Items, MovedAnswer{Finding: m.Finding, Factor: round(m.Factor)})
		}
	}
	for _, l := range r.Limits {
		a.Limits = append(a.Limits, LimitAnswer{Name: l.Name, Value: l.Value, Says: l.Says, Source: l.Source})
	}
}

// itemsOf gives the items some findings belong to, each once.
func (w *work) itemsOf(ids []string) []int {
	out := []int{}
	for _, id := range ids {
		for i := range w.findings {
			if w.findings[i].ID == id && !slices.Contains(out, w.findings[i].Item) {
				out = append(out, w.findings[i].Item)
			}
		}
		for i := range w.triedParts {
			if w.triedParts[i].ID == id && !slices.Contains(out, w.triedParts[i].Item) {
				out = append(out, w.triedParts[i].Item)
			}
		}
	}
	return out
}

func (w *work) suspect(s *reason.SuspectAnswer, withAside map[string]float64) {
	text := suspectWords(s)
	moved := make([]MovedAnswer, 0, len(s.MovedBy))
	for _, m := range s.MovedBy {
		moved = append(moved, MovedAnswer{Finding: m.Finding, Factor: round(m.Factor)})
	}
	sa := SuspectAnswer{
		ID: s.Suspect.ID, Component: s.Suspect.Component.ID, Fault: s.Suspect.Fault.ID, Text: text, Subject: subjectAnswer(s.Suspect.Subject),
		Chance: round(s.Chance), Before: round(s.Before), State: string(s.State), By: s.By, Reason: s.Reason, MovedBy: moved, Stays: s.Stays,
	}
	if s.Overruled != nil {
		sa.Overruled = s.Overruled.Reason + " (" + s.Overruled.Who + ")"
	}
	if c, ok := withAside[s.Suspect.ID]; ok {
		c = round(c)
		sa.WithSetAside = &c
	}
	w.answer.Suspects = append(w.answer.Suspects, sa)
	if s.State == reason.RuledOut {
		w.answer.RuledOut = append(w.answer.RuledOut, RuledOutAnswer{ID: sa.ID, Text: text, By: s.By, Chance: sa.Chance, Reason: s.Reason})
	}
}

func suspectWords(s *reason.SuspectAnswer) string { return s.Suspect.Words() }

func (w *work) next(n *reason.NextTest) NextAnswer {
	t := n.Test.Test
	out := NextAnswer{
		Test: t.ID, Name: t.Name, Subject: subjectAnswer(n.Test.Subject), Minutes: round(n.Minutes), EndsIt: round(n.EndsIt), SettlesBits: round(n.Bits),
		Cost: round(n.Cost), Do: t.Do, Says: t.Says, Why: n.Why, Repeat: n.Repeat, Equipment: []string{}, Hazards: []HazardAnswer{}, Outcomes: []OutcomeAnswer{},
	}
	if t.Reads != nil {
		out.Feature = t.Reads.Feature
	}
	for _, e := range t.Equipment {
		out.Equipment = append(out.Equipment, w.equipmentName(e))
	}
	for _, h := range t.Hazards {
		for _, b := range w.instance.Books {
			if hz, ok := b.Hazards[h]; ok {
				out.Hazards = append(out.Hazards, HazardAnswer{Word: hz.Word, Text: hz.Text})
				break
			}
		}
	}
	for _, o := range n.Outcomes {
		out.Outcomes = append(out.Outcomes, OutcomeAnswer{ID: o.Outcome.ID, Text: o.Outcome.Text, Chance: round(o.Chance), LeadsTo: o.LeadsTo})
	}
	return out
}

func (w *work) equipmentName(id string) string {
	for _, b := range w.instance.Books {
		if n, ok := b.Equipment[id]; ok {
			return n
		}
	}
	return id
}

func findingAnswer(f *evidence.Finding) FindingAnswer {
	out := FindingAnswer{
		ID: f.ID, Item: f.Item, Test: f.Test, Feature: f.Feature, Subject: subjectAnswer(f.Subject), Unit: f.Unit, State: string(f.State),
		Outcome: f.Outcome, Sentence: f.Sentence, Why: f.Why, More: f.More, SetAside: f.SetAside, When: f.When,
	}
	if out.When == "" {
		out.When = "before"
	}
	if known, ok := evidence.Lookup(f.Feature); ok {
		out.Matters = known.Matters()
	}
	if f.Outcome == "" && f.State != evidence.NotMeasured {
		v, s := round(f.Value), round(f.Sigma)
		out.Value = &v
		if s > 0 {
			out.Uncertainty = &s
		}
	}
	for _, fl := range f.Flags {
		out.Flags = append(out.Flags, string(fl))
	}
	if len(f.From) > 0 {
		s := f.From[0]
		out.From = FromAnswer{File: s.File, Channel: s.Channel, First: s.First, Last: s.Last, Line: s.Line}
	}
	return out
}

func subjectAnswer(s evidence.Subject) SubjectAnswer {
	return SubjectAnswer{Kind: string(s.Kind), Number: s.Number, Second: s.Second}
}

// round keeps six significant figures: more would only make answers differ in
// their last digit between machines.
func round(v float64) float64 {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	p := math.Pow(10, 5-math.Floor(math.Log10(math.Abs(v))))
	if math.IsInf(p, 0) || p == 0 {
		return v
	}
	return math.Round(v*p) / p
}
