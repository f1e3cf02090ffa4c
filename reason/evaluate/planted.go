package evaluate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason"
	"proveout/stats"
)

// Planted is the score of finding wrong readings planted in simulated jobs.
type Planted struct {
	Jobs      int
	Clean     int // jobs without a planted reading: all of them are judged once clean
	Alarms    int // of these, jobs in which a conflict was raised
	Natural   int // of the alarms, those in which a reading of the conflict did mislead by chance
	Planted   int // readings planted, PerJob for each job, one at a time
	Moving    int // planted readings that move the odds of the true cause or of the leader ten times or more
	Away      int // of these, pointing away from the true cause
	AwayFound int // of these, in a reported conflict
	Contested int // of those that point away, with two independent readings that contradict them
	Found     int // of the contested, in a reported conflict
	Doubted   int // of the contested, named as the doubtful one
	Kinds     []PlantedKind
}

// PlantedKind is the score of one kind of error; Found and Doubted of the contested.
type PlantedKind struct {
	Kind                                             string
	Planted, Moving, Away, Contested, Found, Doubted int
}

// contradicts is how many times a reading must favour the true cause over its
// strongest rival, by itself, to count as one that contradicts a planted error.
const contradicts = 3

var plantedKinds = []string{"wrong cylinder", "unit slip", "swapped channels", "stale value"}

// Plant plays jobs for a number of tests, then spoils one reading of each, perJob
// times anew, and looks whether the conflict is found.
func Plant(c Config, tests, perJob int) (Planted, error) {
	var out Planted
	for _, k := range plantedKinds {
		out.Kinds = append(out.Kinds, PlantedKind{Kind: k})
	}
	o := c.Options
	jobs := make([]Planted, c.Jobs)
	err := c.each(func(n int) error {
		rng := rand.New(rand.NewPCG(c.Seed, uint64(n)))
		w := c.World(rng)
		w.Unlisted, w.Nothing = 0, 0
		t := w.Draw(rng)
		jobs[n].Kinds = make([]PlantedKind, len(plantedKinds))
		fs, err := w.gather(t, tests, o, rng)
		if err == nil {
			err = jobs[n].job(w, t, fs, perJob, o, rng)
		}
		if err != nil {
			return fmt.Errorf("job %d of seed %d: %w", n, c.Seed, err)
		}
		return nil
	})
	for n := range jobs {
		out.add(&jobs[n])
	}
	return out, err
}

// add adds the score of one job.
func (p *Planted) add(q *Planted) {
	p.Jobs += q.Jobs
	p.Clean += q.Clean
	p.Alarms += q.Alarms
	p.Natural += q.Natural
	p.Planted += q.Planted
	p.Moving += q.Moving
	p.Away += q.Away
	p.AwayFound += q.AwayFound
	p.Contested += q.Contested
	p.Found += q.Found
	p.Doubted += q.Doubted
	for k := range q.Kinds {
		p.Kinds[k].Planted += q.Kinds[k].Planted
		p.Kinds[k].Moving += q.Kinds[k].Moving
		p.Kinds[k].Away += q.Kinds[k].Away
		p.Kinds[k].Contested += q.Kinds[k].Contested
		p.Kinds[k].Found += q.Kinds[k].Found
		p.Kinds[k].Doubted += q.Kinds[k].Doubted
	}
}

// gather follows the advice for a number of tests, whether the rule says stop or not.
func (w *World) gather(t *Truth, tests int, o reason.Options, rng *rand.Rand) ([]evidence.Finding, error) {
	o.Tests, o.NoLookAhead = 1, true
	e, err := reason.NewEngine(reason.Case{Instance: w.In, Symptoms: []string{w.Symptom}}, o)
	if err != nil {
		return nil, err
	}
	var fs []evidence.Finding
	for range tests {
		a, err := e.Answer()
		if err != nil {
			return nil, err
		}
		if len(a.Next) == 0 {
			break
		}
		for _, x := range w.together(a.Next[0].Test) {
			if t.has(x) {
				continue
			}
			f := w.Do(t, rng, x, fmt.Sprintf("f%d", len(fs)+1), w.condition(x.Test))
			f.AllCompared = comparesAll(x.Test)
			fs = append(fs, f)
			if err := e.Add(f); err != nil {
				return nil, err
			}
		}
	}
	return fs, nil
}

func (p *Planted) job(w *World, t *Truth, fs []evidence.Finding, perJob int, o reason.Options, rng *rand.Rand) error {
	p.Jobs++
	o.Tests = -1
	c := reason.Case{Instance: w.In, Symptoms: []string{w.Symptom}, Findings: fs}
	a, err := reason.Judge(c, o)
	if err != nil {
		return err
	}
	p.Clean++
	if len(a.Conflicts) > 0 {
		p.Alarms++
		natural := true
		for _, x := range a.Conflicts {
			misled := false
			for _, id := range x.Findings {
				misled = misled || w.unlikely(t, fs, id, rng)
			}
			natural = natural && misled
		}
		if natural {
			p.Natural++
		}
	}
	for range perJob {
		if err := p.plant(w, t, fs, o, rng); err != nil {
			return err
		}
	}
	return nil
}

// plant spoils one reading of a job and looks whether that is found.
func (p *Planted) plant(w *World, t *Truth, fs []evidence.Finding, o reason.Options, rng *rand.Rand) error {
	c := reason.Case{Instance: w.In, Symptoms: []string{w.Symptom}}
	truth := w.In.Suspects[t.Causes[0]].ID
	bad, at, also, kind := w.spoil(t, fs, rng)
	if kind < 0 {
		return nil
	}
	p.Planted++
	k := &p.Kinds[kind]
	k.Planted++
	c.Findings = bad
	e, err := reason.NewEngine(c, o)
	if err != nil {
		return err
	}
	for _, f := range bad {
		if err := e.Add(f); err != nil {
			return err
		}
	}
	a, err := e.Answer()
	if err != nil {
		return err
	}
	id := bad[at].ID
	found, doubted := false, false
	for _, x := range a.Conflicts {
		found = found || slices.Contains(x.Findings, id)
		doubted = doubted || x.Doubtful == id
		if also >= 0 { // both channels are wrong
			found = found || slices.Contains(x.Findings, bad[also].ID)
			doubted = doubted || x.Doubtful == bad[also].ID
		}
	}
	leader := a.Suspects[0].Suspect.ID
	if math.Max(lnFactor(a, truth, id), lnFactor(a, leader, id)) < math.Log(10) {
		return nil
	}
	p.Moving++
	k.Moving++
	// The rival is the likeliest suspect that is no true cause.
	rival := ""
	for x := range a.Suspects {
		if id := a.Suspects[x].Suspect.ID; !t.is(index(w.In, id)) {
			rival = id
			break
		}
	}
	against := 0
	if v, ok := e.Compare(truth, rival); ok {
		planted := 1.0
		for _, m := range v.Items {
			if m.Finding == id || slices.Contains(m.Also, id) {
				planted = m.Factor
			}
		}
		if planted >= 1 {
			return nil // it does not point away from the truth
		}
		p.Away++
		k.Away++
		if found {
			p.AwayFound++
		}
		for _, m := range v.Items {
			if m.Finding[0] != 'f' || m.Finding == id || slices.Contains(m.Also, id) || len(m.Finding) > 5 {
				continue
			}
			if m.Factor >= contradicts {
				against++
			}
		}
	}
	if against < 2 {
		return nil
	}
	p.Contested++
	k.Contested++
	if found {
		p.Found++
		k.Found++
	}
	if doubted {
		p.Doubted++
		k.Doubted++
	}
	return nil
}

// unlikely reports whether the true vehicle gives the outcome of a finding in
// less than half of all cases: then the reading did mislead, planted or not.
func (w *World) unlikely(t *Truth, fs []evidence.Finding, id string, rng *rand.Rand) bool {
	for _, f := range fs {
		if f.ID != id {
			continue
		}
		for i := range w.In.Tests {
			at := &w.In.Tests[i]
			if at.Test.ID != f.Test || at.Subject != f.Subject {
				continue
			}
			row, got := w.row(t, rng, at.Test, ""), f.Outcome
			for _, k := range t.Causes {
				s := &w.In.Suspects[k]
				if _, ok := at.Test.Given[s.Fault.ID]; ok && w.In.Bears(s.Subject, at.Subject) == "own" {
					row = w.row(t, rng, at.Test, s.Fault.ID)
				}
			}
			for c, o := range at.Test.Outcomes {
				if got == o.ID || got == "" && f.Effect >= o.From && f.Effect < o.To {
					return row[c] < 0.5
				}
			}
		}
	}
	return false
}

func index(in *book.Instance, id string) int {
	return slices.IndexFunc(in.Suspects, func(s book.Suspect) bool { return s.ID == id })
}

func moved(a *reason.Answer, id string) []reason.Moved {
	for x := range a.Suspects {
		if a.Suspects[x].Suspect.ID == id {
			return a.Suspects[x].MovedBy
		}
	}
	return nil
}

func lnFactor(a *reason.Answer, suspect, finding string) float64 {
	for _, m := range moved(a, suspect) {
		if m.Finding == finding || slices.Contains(m.Also, finding) {
			return math.Abs(math.Log(m.Factor))
		}
	}
	return 0
}

// spoil copies the findings with one of them made wrong, or two swapped; kind is
// -1 when none can be.
func (w *World) spoil(t *Truth, fs []evidence.Finding, rng *rand.Rand) (bad []evidence.Finding, at, also, kind int) {
	bad, also = slices.Clone(fs), -1
	for range 50 {
		at, kind = rng.IntN(len(bad)), rng.IntN(len(plantedKinds))
		f := &bad[at]
		var test *book.Test
		for i := range w.In.Tests {
			if w.In.Tests[i].Test.ID == f.Test && w.In.Tests[i].Subject == f.Subject {
				test = w.In.Tests[i].Test
			}
		}
		switch plantedKinds[kind] {
		case "wrong cylinder":
			// What was written down for this cylinder was read on another one.
			if f.Subject.Kind != evidence.Cylinder {
				continue
			}
			other := evidence.Cyl(1 + (f.Subject.Number-1+1+rng.IntN(w.In.Engine.Cylinders-1))%w.In.Engine.Cylinders)
			i := slices.IndexFunc(w.In.Tests, func(x book.TestAt) bool { return x.Test == test && x.Subject == other })
			if i < 0 {
				continue
			}
			g := w.reads(t, &w.In.Tests[i], fs, f, rng)
			if g.Outcome == f.Outcome && math.Abs(g.Effect-f.Effect) <= 3*f.EffectSigma {
				continue // the two cylinders read alike: nothing is wrong with what was written
			}
			f.Outcome, f.Effect, f.EffectSigma, f.Events, f.Of, f.State = g.Outcome, g.Effect, g.EffectSigma, g.Events, g.Of, g.State
		case "unit slip":
			if f.Outcome != "" {
				continue
			}
			f.Effect *= []float64{0.001, 0.1, 10, 1000}[rng.IntN(4)]
		case "swapped channels":
			done := false
			for i := range bad {
				if i != at && bad[i].Test == f.Test && bad[i].Subject != f.Subject && (bad[i].Outcome != f.Outcome || math.Abs(bad[i].Effect-f.Effect) > 3*f.EffectSigma) {
					bad[i].Subject, f.Subject = f.Subject, bad[i].Subject
					done, also = true, i
					break
				}
			}
			if !done {
				continue
			}
		case "stale value":
			// What was read is what it was at another time: another outcome.
			var others []int
			for c := range test.Outcomes {
				if test.Outcomes[c].ID != f.Outcome {
					others = append(others, c)
				}
			}
			if f.Outcome == "" || len(others) == 0 {
				continue
			}
			f.Outcome = test.Outcomes[others[rng.IntN(len(others))]].ID
		}
		return bad, at, also, kind
	}
	return bad, 0, -1, -1
}

// reads is what a test on one subject gives: what was read there, or what would be.
func (w *World) reads(t *Truth, at *book.TestAt, fs []evidence.Finding, like *evidence.Finding, rng *rand.Rand) evidence.Finding {
	for _, f := range fs {
		if f.Test == at.Test.ID && f.Subject == at.Subject {
			return f
		}
	}
	return finding(at, w.outcome(t, rng, at), like.ID, like.Condition, rng)
}

// Text prints the score.
func (p *Planted) Text() string {
	pc := func(k, n int) float64 { return 100 * float64(k) / math.Max(1, float64(n)) }
	within := func(k, n int) string {
		lo, hi := stats.ClopperPearson(k, n, 0.95)
		return fmt.Sprintf("%d (%.1f %%, 95 %% from %.1f to %.1f)", k, pc(k, n), 100*lo, 100*hi)
	}
	s := fmt.Sprintf("planted readings: %d; moving the odds ten times or more: %d; of these away from the true cause: %d; with two independent readings against them: %d\n", p.Planted, p.Moving, p.Away, p.Contested)
	s += fmt.Sprintf("of those with two against them found in a conflict: %s, named as the doubtful one: %s\n", within(p.Found, p.Contested), within(p.Doubted, p.Contested))
	s += fmt.Sprintf("of all that move the odds away found in a conflict: %s\n", within(p.AwayFound, p.Away))
	for _, k := range p.Kinds {
		s += fmt.Sprintf("  %-18s planted %d, moving %d, away %d; found %d of %d, doubted %d\n", k.Kind, k.Planted, k.Moving, k.Away, k.Found, k.Contested, k.Doubted)
	}
	s += fmt.Sprintf("clean jobs with a conflict: %d of %d (%.1f %%); in %d of them a reading of the conflict had misled by chance, so that false alarms are %s\n", p.Alarms, p.Clean, pc(p.Alarms, p.Clean), p.Natural, within(p.Alarms-p.Natural, p.Clean))
	return s
}
