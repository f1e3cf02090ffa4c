package shop

import (
	"fmt"
	"math"
	"strings"

	"proveout/proof"
)

// newProofAnswer begins a proof answer with what the diagnosis says about the job.
func newProofAnswer(a *Answer) *ProofAnswer {
	return &ProofAnswer{
		Schema: ProofSchema, Program: a.Program, Job: a.Job, Vehicle: a.Vehicle, Said: a.Complaint.Said, Causes: []CauseAnswer{}, Why: []string{},
		Cells: []CellAnswer{}, Measured: []MeasuredAnswer{}, Corrections: []CorrectionAnswer{}, NotTested: []string{}, Cautions: []CautionAnswer{}, LeftOut: []LeftOut{},
		Plan: PlanAnswer{Instead: []string{}, Rules: []string{}}, Codes: CodesAnswer{Back: []string{}, New: []string{}, Notes: []string{}}, RatioLimit: proof.RatioLimit,
	}
}

// number gives a figure for JSON, nil when it cannot be said.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	v = round(v)
	return &v
}

// fill puts the verdict into the answer.
func (p *proving) fill() {
	a, v := p.out, p.v
	a.State, a.By, a.Named, a.NamedByPerson = string(v.State), string(v.By), string(v.Named), v.NamedByPerson
	a.Why = append(a.Why, v.Lines...)
	if v.Before.Total > 0 {
		a.CouldBeChance, a.Ratio, a.RatioLow, a.RatioHigh, a.RatioUpper = number(v.Chance), number(v.Ratio), number(v.Low), number(v.High), number(v.Upper)
	}
	a.Before, a.After = p.drivesAnswer(v.Before, false), p.drivesAnswer(v.After, true)
	p.fillCells()
	p.fillPlan()
	p.fillRepair()
	a.Codes.Drive = p.permanentDrive()
	p.notTested()
	p.cautions()
	a.LeftOut = append(a.LeftOut, p.diagnosis.LeftOut...)
	a.Headline = p.headline()
}

func (p *proving) drivesAnswer(n proof.Count, after bool) DrivesAnswer {
	out := DrivesAnswer{Seconds: round(n.Seconds), Episodes: n.Total, Outside: n.Outside, Drives: []DriveAnswer{}}
	for _, t := range n.Drives {
		d := DriveAnswer{
			Item: p.items[t.Name], File: t.Name, As: string(t.Role), Used: t.Used, Why: t.Why, SecondsInside: round(t.Seconds), SecondsInDoubt: round(t.Doubt),
			SecondsLogged: round(t.Logged), EverySeconds: round(t.Every), Climbs: len(t.Climbs), RoadMinutes: round(t.RoadMinutes), GearChecked: t.GearChecked,
			ClockFrom: round(t.ClockFrom), Episodes: []EpisodeAnswer{}, Missed: []MissedAnswer{},
		}
		if after {
			d.As = "after"
		}
		for _, e := range t.Episodes {
			d.Episodes = append(d.Episodes, EpisodeAnswer{At: round(e.At), To: round(e.To), Events: e.Events, Of: e.Of, Inside: e.Inside, Counted: e.Inside && (t.ClockFrom == 0 || e.At > t.ClockFrom)})
		}
		for _, m := range t.Missed {
			d.Missed = append(d.Missed, MissedAnswer{string(m.Reason), round(m.Seconds)})
		}
		out.Drives = append(out.Drives, d)
	}
	return out
}

func (p *proving) fillCells() {
	if !p.out.Conditions.Known {
		return
	}
	v, n := p.v, len(p.v.Need)
	for i := n - 1; i >= 0; i-- {
		for j := range n {
			c := p.c.Conditions.CellAt(i, j)
			p.out.Cells = append(p.out.Cells, CellAnswer{
				RPMLow: round(c.RPMLow), RPMHigh: round(c.RPMHigh), LoadLow: round(c.LoadLow), LoadHigh: round(c.LoadHigh),
				Before: round(v.Before.Cells[i][j]), Episodes: int(v.Before.Episodes[i][j]), Need: v.Need[i][j], NeedFar: v.Far[i][j],
				Driven: round(v.After.Cells[i][j]), Counted: round(v.Counted[i][j]),
				Left: round(v.Need[i][j] - v.Counted[i][j]), LeftFar: round(v.Far[i][j] - v.CountedFar[i][j]),
			})
		}
	}
}

func (p *proving) fillPlan() {
	plan := p.c.Plan(p.v)
	target := func(t proof.Target) TargetAnswer {
		return TargetAnswer{Seconds: round(t.Seconds), Climbs: t.Climbs, RoadMinutes: round(t.RoadMinutes), Practicable: t.Practicable}
	}
	out := &p.out.Plan
	out.Possible, out.Why, out.Name, out.NameWhy = plan.Possible, plan.Why, string(plan.Way), plan.WayWhy
	out.ClimbSeconds, out.RoadPerClimb = round(plan.ClimbSeconds), round(plan.RoadPerClimb)
	if plan.Possible {
		out.Improve, out.Prove = target(plan.Improve), target(plan.Prove)
	}
	if !plan.Possible || !plan.Prove.Practicable {
		if p.c.CanMeasure {
			out.Instead = append(out.Instead, "Measure the part again, beside the others.")
		}
		out.Instead = append(out.Instead, "Old part back in, fault back, new part in again, fault gone.", "Hand over as not proven, with a date to ask again.")
	}
	out.Rules = append(out.Rules, "If it shows again, end the climb and mark the time: that is an episode, and the proof has failed. No second try.")
	if p.c.LampFlashing {
		out.Rules = append(out.Rules, fmt.Sprintf("Pulls of at most %.0f s, %.0f min between. Ease off at the first flash of the lamp.", proof.LampSeconds, proof.LampRest/60))
	}
	out.Rules = append(out.Rules, "Before it rolls: brakes proven in the yard, wheel nuts done, no procedure open on this vehicle.")
}

func (p *proving) fillRepair() {
	for _, c := range p.file.Corrections {
		if strings.TrimSpace(c.Done) == "" {
			continue
		}
		a := CorrectionAnswer{Done: strings.TrimSpace(c.Done), Cause: c.Cause, At: c.At, Who: c.Who, Reused: c.Reused, Parts: []PartAnswer{}}
		for _, x := range c.Parts {
			a.Parts = append(a.Parts, PartAnswer{x.Name, x.Number, x.Lot, max(1, x.Count)})
		}
		p.out.Corrections = append(p.out.Corrections, a)
	}
	if h := p.file.HandedOver; h != nil {
		p.out.HandedOver = &HandoverAnswer{At: h.At, OdometerKm: odometerKm(h.Odometer), Because: strings.TrimSpace(h.Because), Left: h.Left, AskAgain: h.AskAgain}
	}
}

// notTested says what the proof does not say.
func (p *proving) notTested() {
	say := func(format string, args ...any) {
		p.out.NotTested = append(p.out.NotTested, fmt.Sprintf(format, args...))
	}
	a := p.out
	switch {
	case len(p.v.After.Drives) == 0:
		say("The fault conditions were not driven after the repair.")
	case a.Plan.Possible && a.Plan.Improve.Seconds > 0:
		say("%.0f s of the fault conditions were not driven clean yet.", a.Plan.Improve.Seconds)
	}
	for _, d := range append(append([]DriveAnswer{}, a.Before.Drives...), a.After.Drives...) {
		if d.Used && p.c.Conditions.KmhPer1000 == 0 && a.Conditions.Gear != "" && d.As == "after" {
			say("That gear %s was held is said, not checked: the road speed in it is not known.", a.Conditions.Gear)
			break
		}
		if d.Used && p.c.Conditions.KmhPer1000 > 0 && !d.GearChecked {
			say("The gear was not checked on %s: it has no road speed.", d.File)
		}
	}
	switch c := a.Codes; {
	case c.After == nil:
		say("Codes and monitors were not read after the repair.")
	default:
		if !c.After.Pending.Read || !c.After.Confirmed.Read {
			say("Not every list of codes was read after the repair.")
		}
		for _, m := range c.After.MonitorsOpen {
			say("The %s monitor has not run since the codes were erased.", m)
		}
		for _, x := range c.New {
			say("%s is stored after the repair and was not before: look at it.", x)
		}
	}
	if p.c.LampFlashing {
		say("Whether the catalyst took harm while the lamp flashed is not proven by this drive.")
	}
	if w := p.resolved.Complaint.Condition.Wet; w == "wet" || w == "damp" {
		say("The complaint shows when %s; whether the drives were %s is not logged.", w, w)
	}
	changed := 0
	for _, c := range a.Corrections {
		changed++
		for _, x := range c.Parts {
			changed += x.Count - 1
		}
	}
	if changed > 1 {
		say("Several parts were changed at once: the drive proves the repair as a whole, not each part.")
	}
	for _, l := range p.logs {
		if l.capture.SetAside != "" {
			say("Item %d (%s) is set aside: %s.", l.capture.Item, l.file, strings.TrimSuffix(l.capture.SetAside, "."))
		}
	}
	a.NotTested = append(a.NotTested, p.others...)
}

func (p *proving) cautions() {
	add := func(word, text string) { p.out.Cautions = append(p.out.Cautions, CautionAnswer{word, text}) }
	if p.c.LampFlashing {
		add("NOTICE", fmt.Sprintf("The warning lamp flashed: raw fuel burns in the catalyst. Short pulls only, at most %.0f s with %.0f min between; ease off at the first flash.", proof.LampSeconds, proof.LampRest/60))
	}
	if s := p.out.State; s != "proven" {
		add("WARNING", "A driver who reads a screen can kill. Two people, or a logger only and read it afterwards.")
	}
}

// headline sums the proof up in one or two sentences.
func (p *proving) headline() string {
	plan := p.out.Plan
	rest := func(t TargetAnswer) string {
		s := fmt.Sprintf("%.0f s inside the fault conditions", t.Seconds)
		if t.Climbs > 0 {
			s += fmt.Sprintf(", about %d climb%s and %s on the road", t.Climbs, plural(t.Climbs), RoadTime(t.RoadMinutes))
		}
		return s
	}
	repaired := len(p.out.Corrections) > 0 || len(p.v.After.Drives) > 0
	switch p.v.State {
	case proof.Proven:
		return "Proven " + p.v.By.Words() + "."
	case proof.Improved:
		s := "Improved, not proven: driven clean where it failed before, expected less than 1 time in 20 if nothing had changed."
		if p.v.Named == proof.Measured && !p.c.Measured.Done {
			return s + " Repeat the direct test on the part and its neighbours: that is the proof named."
		}
		if plan.Prove.Practicable && plan.Prove.Seconds > 0 {
			return s + " Proven by road would take " + rest(plan.Prove) + " more."
		}
		return s + " Proven by road is not practicable."
	case proof.CameBack:
		return "It came back after the repair. Not fixed: go on with the diagnosis."
	case proof.NotKnown:
		if !p.out.Conditions.Known {
			return "Nothing can be proven by road yet: the fault conditions are not known."
		}
		return "Nothing can be proven by road yet: no episode before the repair is on record."
	}
	switch {
	case !repaired && !plan.Prove.Practicable && !plan.Improve.Practicable:
		return fmt.Sprintf("A proof by road is not practicable: %s.", rest(plan.Improve))
	case !repaired:
		return fmt.Sprintf("Before the repair: %d episode%s in %.0f s inside the fault conditions. The drive after it: %s, without an episode.", p.v.Before.Total, plural(p.v.Before.Total), p.v.Before.Seconds, rest(plan.Improve))
	case !plan.Improve.Practicable:
		return "Not proven. By road it is not practicable: " + rest(plan.Improve) + " are left."
	case p.v.After.Seconds > 0:
		return fmt.Sprintf("Not proven yet. Clean so far, but it could still be chance, %s. Left: %s.", proof.In100(p.v.Chance), rest(plan.Improve))
	}
	return "Not proven yet. Left: " + rest(plan.Improve) + "."
}

// RoadTime writes minutes on the road: "22 min", "3 h 10 min".
func RoadTime(minutes float64) string {
	n := int(math.Ceil(minutes - 1e-9))
	if n < 120 {
		return fmt.Sprintf("%d min", n)
	}
	return fmt.Sprintf("%d h %d min", n/60, n%60)
}
