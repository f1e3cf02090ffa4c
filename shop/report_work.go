package shop

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"proveout/job"
)

// workOf is what a job's record says was done, beside the proof: what of a report is
// read anew each time, since no odds depend on it.
type workOf struct {
	minutes           job.Minutes
	left              float64
	runs              []RunAnswer
	dangers           []string
	putDown, handedOn string
	fitted            []FittedAnswer
	closedAt          string
	changed           []ChangeAnswer
}

// workDone tells it. The lock of the job is held.
func (k *openCase) workDone() workOf {
	s := k.state
	w := workOf{minutes: s.Minutes, left: s.MinutesLeft(), runs: []RunAnswer{}, dangers: []string{}, fitted: fittedOf(s)}
	if d := s.Dangerous; d != nil {
		w.dangers = append(w.dangers, d.What.Text)
	}
	for i := range s.Runs {
		w.runs = append(w.runs, k.runTold(&s.Runs[i]))
	}
	for i := range w.runs {
		shownLater := slices.ContainsFunc(w.runs[i+1:], func(r RunAnswer) bool { return r.Procedure == w.runs[i].Procedure && r.State == "finished" })
		for _, d := range w.runs[i].Dangers {
			if !shownLater && !slices.Contains(w.dangers, d) {
				w.dangers = append(w.dangers, d)
			}
		}
	}
	if s.Interrupted != nil {
		w.putDown = joinWords(s.Interrupted.What.State, s.Interrupted.What.Card)
	}
	if n := len(s.HandOvers); n > 0 && s.Closed == nil {
		w.handedOn = s.HandOvers[n-1].What.Card
	}
	w.closedAt, w.changed = changedAfterClosing(k.lines)
	return w
}

func joinWords(a, b string) string {
	a, b = strings.TrimSpace(a), strings.TrimSpace(b)
	if a == "" || strings.HasPrefix(b, a) {
		return b // the card of a run begins with where it stands
	}
	return strings.TrimSpace(strings.TrimRight(a, ".") + ". " + b)
}

// runTold tells a run of the record. One that cannot be followed with the procedure at
// hand says so: nothing is guessed of it.
func (k *openCase) runTold(rec *job.Run) RunAnswer {
	zone := time.UTC
	if at, err := time.Parse(time.RFC3339Nano, rec.Started); err == nil {
		zone = at.Location()
	}
	l, err := k.b.held(k, rec.ID)
	if err != nil {
		return unreadableRun(rec, err)
	}
	a, err := tellRun(l.run.Machine(), l.entries, zone)
	if err != nil {
		return unreadableRun(rec, err)
	}
	a.Version, a.Started = rec.Version, rec.Started
	if len(a.Who) == 0 {
		a.Who = []string{rec.Author}
	}
	return a
}

func unreadableRun(rec *job.Run, err error) RunAnswer {
	return RunAnswer{
		Procedure: rec.Procedure, Title: strings.ReplaceAll(rec.Procedure, "_", " "), Version: rec.Version, Who: []string{rec.Author}, Started: rec.Started,
		State: "unreadable", Why: err.Error(), Dangers: []string{}, Supply: []SupplyAnswer{}, Rests: []float64{}, Stops: []StopAnswer{},
		Results: []ResultAnswer{}, Figures: []FigureAnswer{}, NotDone: []string{}, Unwatched: []string{},
	}
}

// fittedOf lists the parts that were fitted and that no correction names: each part of
// a correction stands for one of its name and number.
func fittedOf(s *job.State) []FittedAnswer {
	named := map[string]int{}
	key := func(p *job.PartUsed) string { return strings.ToLower(strings.TrimSpace(p.Name)) + "\x00" + p.Number }
	for i := range s.Corrections {
		for j := range s.Corrections[i].What.Parts {
			named[key(&s.Corrections[i].What.Parts[j])]++
		}
	}
	out := []FittedAnswer{}
	for i := range s.Parts {
		p := &s.Parts[i]
		switch n := named[key(&p.What)]; {
		case !p.Fitted:
		case n > 0:
			named[key(&p.What)]--
		default:
			out = append(out, FittedAnswer{PartAnswer: PartAnswer{p.What.Name, p.What.Number, p.What.Lot, max(1, p.What.Count)}, Where: p.What.Where, Who: p.Author, At: p.Wall})
		}
	}
	return out
}

// saysNothing are entries that change nothing about what a closed job says.
var saysNothing = map[string]bool{job.ConclusionType: true, job.TimePunchType: true}

// changedAfterClosing lists what was written into a job after it was first closed.
// Closings that were taken back count: somebody may hold their report.
func changedAfterClosing(lines []job.Line) (closedAt string, changed []ChangeAnswer) {
	changed = []ChangeAnswer{}
	types := map[string]string{}
	for i := range lines {
		e := &lines[i].Entry
		types[e.ID] = e.Type
		if closedAt == "" {
			if e.Type == job.ClosedType {
				closedAt = e.Wall
			}
			continue
		}
		c := ChangeAnswer{What: "entered", Entry: entryName(e.Type), At: e.Wall, Who: e.Author}
		switch {
		case saysNothing[e.Type]:
			continue
		case e.Type == job.ReopenedType:
			var p job.Reopened
			_ = json.Unmarshal(e.Payload, &p) // it was folded; without a reason it is reopened all the same
			c.What, c.Entry, c.Reason = "reopened", "", p.Because
		case e.Type == job.UndoType:
			var p job.Undo
			_ = json.Unmarshal(e.Payload, &p)
			c.What, c.Entry, c.Reason = "taken_back", entryName(types[p.Entry]), p.Reason
		case e.Type == job.ClosedType:
			c.What, c.Entry = "closed", ""
		}
		if n := len(changed); n > 0 && c.What == "entered" && changed[n-1].What == "entered" && changed[n-1].Entry == c.Entry && changed[n-1].Who == c.Who {
			continue // ten readings in a row are one change
		}
		changed = append(changed, c)
	}
	return closedAt, changed
}

// entryName is a type of entry without its version.
func entryName(t string) string {
	name, _, _ := strings.Cut(t, "@")
	return name
}

// addWork puts it into a report, with names where the record has opaque ids. Nothing
// that the report shares with others is changed.
func (b *Bench) addWork(ctx context.Context, r *ReportAnswer, w workOf) error {
	r.Minutes = &MinutesAnswer{w.minutes.Agreed, w.minutes.Approved, w.minutes.Worked, w.left}
	r.Runs, r.Dangers, r.PutDown, r.HandedOn, r.Fitted, r.ClosedAt, r.Changed = w.runs, w.dangers, w.putDown, w.handedOn, w.fitted, w.closedAt, w.changed
	var who []*string
	for i := range r.Runs {
		run := &r.Runs[i]
		who = append(who, &run.Holder)
		for j := range run.Who {
			who = append(who, &run.Who[j])
		}
		for j := range run.Stops {
			who = append(who, &run.Stops[j].HandedTo)
		}
	}
	for i := range r.Fitted {
		who = append(who, &r.Fitted[i].Who)
	}
	for i := range r.Changed {
		who = append(who, &r.Changed[i].Who)
	}
	return b.nameAll(ctx, who)
}

// nameAll puts names where opaque ids of people stand.
func (b *Bench) nameAll(ctx context.Context, who []*string) error {
	for _, p := range who {
		name, err := b.personName(ctx, *p)
		if err != nil {
			return err
		}
		if name != "" {
			*p = name
		}
	}
	return nil
}
