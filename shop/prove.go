package shop

import (
	"fmt"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/intake"
	"proveout/job"
	"proveout/measure"
	"proveout/obd"
	"proveout/proof"
	"proveout/reason"
)

// drivenLog is a parameter log kept for the proof.
type drivenLog struct {
	capture job.CaptureFile
	file    string
	series  []measure.Logged
	start   float64 // s: the file's own time of its first row
}

// readSession is a capture of diagnostic messages kept for the proof.
type readSession struct {
	capture job.CaptureFile
	session *obd.Session
}

// Prove says whether the repair of the job in a folder is proven: what was driven
// inside the fault conditions before and after it, what was measured again, what
// the modules stored, and what is left to drive. Before the repair its plan says
// how long to drive. Nothing in the folder is changed.
func Prove(dir string, o Options) (*ProofAnswer, error) {
	folder, err := intake.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	f, err := readJob(folder)
	if err != nil {
		return nil, err
	}
	p, err := prove(inFolder{folder}, f, o, nil)
	if err != nil {
		return nil, err
	}
	return p.out, nil
}

// proving is a proof under way.
type proving struct {
	*work
	diagnosis *Answer
	causes    []*reason.SuspectAnswer
	c         proof.Case
	v         proof.Verdict
	items     map[string]int // name of a drive to its item
	others    []string       // what counters of other cylinders say
	spoken    []job.DriveAdded
	out       *ProofAnswer
}

// prove works a proof out. spoken are drives that were told, not logged.
func prove(s source, f *job.File, o Options, spoken []job.DriveAdded) (*proving, error) {
	w := &work{o: o, source: s, file: f, asideReason: map[int]string{}, answer: newAnswer(f, o), keep: true}
	a, err := w.diagnose()
	if err != nil {
		if a == nil {
			return nil, err
		}
		return &proving{work: w, diagnosis: a}, err
	}
	p := &proving{work: w, diagnosis: a, items: map[string]int{}, spoken: spoken, out: newProofAnswer(a)}
	p.findCauses()
	p.codes()
	p.measured()
	p.oldPart()
	p.conditions()
	p.drives()
	p.v = proof.Judge(p.c)
	p.fill()
	return p, nil
}

// settle writes into the diagnosis which suspect is proven to have been the cause: it
// was shown by a direct test, put right, and the proof holds. Nothing else is proven:
// not a suspect that only led, nor one that the corrections do not answer.
func (p *proving) settle() {
	if p.out == nil || p.out.State != "proven" {
		return
	}
	var proven []string
	for _, c := range p.causes {
		for i := range p.diagnosis.Suspects {
			s := &p.diagnosis.Suspects[i]
			if s.ID != c.Suspect.ID || !c.WasShown() {
				continue
			}
			s.State = string(reason.Proven)
			s.Reason = strings.TrimSpace(s.Reason + " Put right, and proven: " + p.out.Headline)
			proven = append(proven, suspectWords(c))
		}
	}
	if len(proven) == 0 {
		return
	}
	p.diagnosis.Headline = "Shown by direct test, put right and proven: " + strings.Join(proven, "; ") + "."
	for i := range p.diagnosis.Suspects {
		s := &p.diagnosis.Suspects[i]
		switch st := s.State; {
		case s.ByWord():
			p.diagnosis.Headline += " Shown besides by word: " + s.Text + "."
		case st == string(reason.Shown) || st == string(reason.Repaired):
			p.diagnosis.Headline += " Shown besides: " + s.Text + "."
		}
	}
}

// findCauses settles which suspects the repair answers: those the corrections
// name, else those that are shown.
func (p *proving) findCauses() {
	named := map[string]bool{}
	for _, c := range p.file.Corrections {
		if id := strings.TrimSpace(c.Cause); id != "" {
			named[id] = true
		}
	}
	for i := range p.result.Suspects {
		s := &p.result.Suspects[i]
		if named[s.Suspect.ID] || len(named) == 0 && s.WasShown() {
			p.causes = append(p.causes, s)
		}
	}
	for _, s := range p.causes {
		c := CauseAnswer{Suspect: s.Suspect.ID, Text: suspectWords(s), Subject: subjectAnswer(s.Suspect.Subject), State: string(s.State), ByWord: s.By == reason.ByWord, Chance: round(s.Chance), Reason: s.Reason}
		if f := p.finding(s.By); f != nil && s.WasShown() {
			c.Item, c.Sentence = f.Item, f.Sentence
		}
		p.out.Causes = append(p.out.Causes, c)
	}
}

func (p *proving) finding(id string) *evidence.Finding {
	for i := range p.findings {
		if p.findings[i].ID == id {
			return &p.findings[i]
		}
	}
	return nil
}

// drives turns the parameter logs into drives before and after.
func (p *proving) drives() {
	for _, l := range p.logs {
		p.items[l.file] = l.capture.Item
		if l.capture.SetAside != "" {
			continue
		}
		log := p.log(l)
		if l.capture.When == "after" {
			p.c.After = append(p.c.After, log)
			continue
		}
		b := proof.BeforeDrive{Log: log, Role: proof.AsFound}
		if d := l.capture.Drive; d != nil {
			b.Role = proof.Role(d.As)
		}
		if b.Role != proof.AsCause && p.ledToCause(l.capture.Item) {
			b.Role = proof.AsCause
			b.CauseWhy = "without it the cause is not shown, so it led to the cause: it is never the before"
		}
		p.c.Before = append(p.c.Before, b)
	}
	p.told()
}

// told takes in drives that somebody told of. Without a log nobody knows how long
// they were inside the fault conditions, so they count as no time; that the fault
// showed after the repair counts. Told of a log, "none" says that somebody watched.
func (p *proving) told() {
	for _, d := range p.spoken {
		found := false
		for i := range p.c.After {
			if l := &p.c.After[i]; d.When == "after" && d.Item > 0 && p.items[l.Name] == d.Item {
				l.Watched, found = true, d.Episodes == 0 || len(l.Counters) > 0 || len(l.Marks) > 0
				if l.RoadMinutes == 0 {
					l.RoadMinutes = d.Minutes
				}
			}
		}
		for i := range p.c.Before {
			if l := &p.c.Before[i]; d.When != "after" && d.Item > 0 && p.items[l.Name] == d.Item {
				found = true
				if l.RoadMinutes == 0 {
					l.RoadMinutes = d.Minutes
				}
			}
		}
		if found {
			continue
		}
		if d.When == "after" {
			p.c.Told += d.Episodes
		}
		p.others = append(p.others, fmt.Sprintf("A drive %s the repair of %.0f min with %d episode%s has no log: how long it was inside the fault conditions is not known, so it counts as no time.", whenWords(d.When), d.Minutes, d.Episodes, plural(d.Episodes)))
	}
}

func whenWords(when string) string {
	if when == "after" {
		return "after"
	}
	return "before"
}

// ledToCause reports whether a cause that is shown would not be without the
// findings of an item.
func (p *proving) ledToCause(item int) bool {
	shown := func(r *reason.Answer) (ids []string) {
		for i := range r.Suspects {
			if s := &r.Suspects[i]; s.WasShown() {
				ids = append(ids, s.Suspect.ID)
			}
		}
		return ids
	}
	with := shown(p.result)
	if len(with) == 0 || !slices.ContainsFunc(p.findings, func(f evidence.Finding) bool { return f.Item == item && f.When != "after" }) {
		return false
	}
	rc := p.reasonCase()
	rc.Findings = nil
	for _, f := range p.findings {
		if f.Item != item {
			rc.Findings = append(rc.Findings, f)
		}
	}
	without, err := reason.Judge(rc, p.reasonOptions())
	if err != nil {
		return true // in doubt it does not help the proof
	}
	left := shown(without)
	return slices.ContainsFunc(with, func(id string) bool { return !slices.Contains(left, id) })
}

// provingRoles are the parameters a proof rests on.
var provingRoles = []string{measure.EngineSpeed, measure.EngineLoad, measure.Coolant, measure.VehicleSpeed, measure.Misfires}

// log picks what a proof needs from a parameter log.
func (p *proving) log(l drivenLog) proof.Log {
	out := proof.Log{Name: l.file}
	if w := l.capture.Condition.Warm; w != "" {
		out.Warm = warmth(w)
	}
	if d := l.capture.Drive; d != nil {
		out.Marks, out.Watched, out.RoadMinutes = slices.Clone(d.MarksS), d.Watched, d.RoadMinutes
	}
	for _, t := range l.capture.Marks { // felt, on the file's own time
		out.Marks, out.Watched = append(out.Marks, max(0, t-l.start)), true
	}
	slices.Sort(out.Marks)
	for _, s := range l.series {
		if s.Blocked && slices.Contains(provingRoles, s.Role) {
			p.out.LeftOut = append(p.out.LeftOut, LeftOut{File: l.file, Why: fmt.Sprintf("%s: not used for the proof, it holds values or jumps that cannot be", strings.TrimSpace(s.Name))})
			continue
		}
		x := proof.Series{T: s.T, V: s.V, Every: s.Every}
		switch s.Role {
		case measure.EngineSpeed:
			out.Speed = x
		case measure.EngineLoad:
			out.Load = x
		case measure.Coolant:
			out.Coolant = x
		case measure.VehicleSpeed:
			x.V = make([]float64, len(s.V))
			for i, v := range s.V {
				x.V[i] = 3.6 * v
			}
			out.RoadV = x
		case measure.Misfires:
			if k := (proof.Counter{Of: s.Subject.String(), Series: x}); p.aboutCause(s.Subject) {
				out.Counters = append(out.Counters, k)
			} else if n := rises(s.V); n > 0 && l.capture.When == "after" {
				p.others = append(p.others, fmt.Sprintf("%s counted %.0f misfire%s on the drive after the repair (%s). That is not the cylinder that was put right, and it is not counted as an episode; look at it.", upperFirst(k.Of), n, plural(int(n)), l.file))
			}
		}
	}
	return out
}

// aboutCause reports whether a counter of a place counts the fault: that of a
// cause's cylinder; every one where no cause sits on a cylinder.
func (p *proving) aboutCause(s evidence.Subject) bool {
	onCylinder := false
	for _, c := range p.causes {
		switch x := c.Suspect.Subject; x.Kind {
		case evidence.Cylinder, evidence.Pair:
			onCylinder = true
			if x == s || x.Covers(s.Number, p.engine.Bank) {
				return true
			}
		default:
			return true
		}
	}
	return !onCylinder
}

// rises is how much a counter counted.
func rises(v []float64) float64 {
	n := 0.0
	for i := 1; i < len(v); i++ {
		if d := v[i] - v[i-1]; d > 0 {
			n += d
		} else if d < 0 {
			n += v[i]
		}
	}
	return n
}

// warmth reads the words of a job file: a heat-soaked engine is a warm one.
func warmth(s string) proof.Warmth {
	switch s {
	case "cold":
		return proof.Cold
	case "warm", "hot":
		return proof.Warm
	}
	return ""
}
