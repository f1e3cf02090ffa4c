package evaluate

import (
	"fmt"
	"math"
	"math/rand/v2"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason"
)

// Policy is how the next test is chosen.
type Policy string

// Policies. All are judged by the same engine and stop by the same rule.
const (
	Advice Policy = "the tool's advice"
	Fixed  Policy = "fixed check order"
	Random Policy = "random order"
)

// MostTests ends a job that does not end by itself.
const MostTests = 30

// Job is the score of one job.
type Job struct {
	Truth        *Truth
	Stopped      bool // a suspect was shown and the stop rule held
	RightFirst   bool // the leader at the end is a true cause
	RightShown   bool // a true cause was shown at the end
	WronglyShown bool
	TrueRuledOut bool // at any time
	RuledOutBy   string
	ByElim       bool
	RuledOut     int
	Conflict     bool
	Minutes      float64
	Tests        int
	TrueChance   float64   // chance of the true cause at the end; of "not listed" or "nothing wrong" where that is the truth
	Chances      []float64 // of all suspects at the end
	Shown        []ShownPart
	findings     []evidence.Finding
}

// Play plays one job to the end. The rng decides the outcomes; the engine sees
// only findings.
func (w *World) Play(t *Truth, by Policy, o reason.Options, rng *rand.Rand) (*Job, error) {
	c := reason.Case{Instance: w.In, Symptoms: []string{w.Symptom}}
	if by != Advice {
		o.Tests = -1
	} else {
		o.Tests = 1
	}
	e, err := reason.NewEngine(c, o)
	if err != nil {
		return nil, err
	}
	j := &Job{Truth: t}
	left := w.order(by, rng)
	for {
		a, err := e.Answer()
		if err != nil {
			return nil, err
		}
		w.score(j, t, a)
		if j.Stopped || j.Tests >= MostTests {
			return j, nil
		}
		var at *book.TestAt
		minutes := 0.0
		if by == Advice {
			if len(a.Next) == 0 {
				return j, nil
			}
			at, minutes = a.Next[0].Test, a.Next[0].Minutes
		} else {
			if len(left) == 0 {
				return j, nil
			}
			at, left = &w.In.Tests[left[0]], left[1:]
			minutes = e.MinutesFor(at.ID)
		}
		j.Minutes += minutes * math.Exp(rng.NormFloat64()*math.Log(1.3))
		j.Tests++
		for _, x := range w.together(at) {
			if x != at && t.has(x) {
				continue
			}
			f := w.Do(t, rng, x, fmt.Sprintf("f%d", len(j.findings)+1), w.condition(x.Test))
			f.AllCompared = comparesAll(x.Test)
			j.findings = append(j.findings, f)
			if err := e.Add(f); err != nil {
				return nil, err
			}
		}
	}
}

func (t *Truth) has(at *book.TestAt) bool { _, ok := t.done[at.ID]; return ok }

// condition is one in which the test is valid.
func (w *World) condition(t *book.Test) evidence.Condition {
	c := evidence.Condition{Warm: "warm", Wet: "dry"}
	if len(t.At) > 0 {
		c.State = evidence.State(t.At[0])
	}
	return c
}

func comparesAll(t *book.Test) bool {
	return t.Neighbours || t.Reads != nil && (t.Reads.Versus == "others" || t.Reads.Versus == "difference" || t.Reads.Versus == "count")
}

// together lists the tests done in one go: all subjects when they are compared.
func (w *World) together(at *book.TestAt) []*book.TestAt {
	if !comparesAll(at.Test) {
		return []*book.TestAt{at}
	}
	var out []*book.TestAt
	for i := range w.In.Tests {
		if w.In.Tests[i].Test == at.Test {
			out = append(out, &w.In.Tests[i])
		}
	}
	return out
}

// order lists tests for the policies that do not listen to the tool.
func (w *World) order(by Policy, rng *rand.Rand) []int {
	if by == Advice {
		return nil
	}
	out := make([]int, len(w.In.Tests))
	for i := range out {
		out[i] = i
	}
	if by == Random {
		rng.Shuffle(len(out), func(a, b int) { out[a], out[b] = out[b], out[a] })
	}
	return out
}

func (t *Truth) is(suspect int) bool {
	for _, i := range t.Causes {
		if i == suspect {
			return true
		}
	}
	return false
}

// part reports whether suspect i is a way of failing of a part that is bad.
func (w *World) part(t *Truth, i int) bool {
	s := &w.In.Suspects[i]
	for _, c := range t.Causes {
		if o := &w.In.Suspects[c]; o.Component == s.Component && o.Subject == s.Subject {
			return true
		}
	}
	return false
}

// partChance is the chance of the part of a suspect, its ways of failing added up.
func partChance(a *reason.Answer, of *reason.SuspectAnswer) float64 {
	sum := 0.0
	for x := range a.Suspects {
		if s := a.Suspects[x].Suspect; s.Component == of.Suspect.Component && s.Subject == of.Suspect.Subject {
			sum += a.Suspects[x].Chance
		}
	}
	return sum
}

// score reads an answer against the truth.
func (w *World) score(j *Job, t *Truth, a *reason.Answer) {
	index := map[*book.Suspect]int{}
	for i := range w.In.Suspects {
		index[&w.In.Suspects[i]] = i
	}
	j.Chances = make([]float64, len(w.In.Suspects))
	j.Shown = nil
	j.RightFirst, j.RightShown, j.WronglyShown, j.Stopped, j.RuledOut = false, false, false, false, 0
	open := false
	for _, c := range a.Conflicts {
		open = open || !c.Settled()
	}
	j.Conflict = j.Conflict || open
	j.Stopped = a.Stopped
	for x := range a.Suspects {
		s := &a.Suspects[x]
		i := index[s.Suspect]
		j.Chances[i] = s.Chance
		switch s.State {
		case reason.Shown:
			// A direct test shows a part, not one way of failing.
			j.Shown = append(j.Shown, ShownPart{partChance(a, s), w.part(t, i)})
			if w.part(t, i) {
				j.RightShown = true
			} else {
				j.WronglyShown = true
			}
		case reason.RuledOut:
			j.RuledOut++
			if t.is(i) {
				j.TrueRuledOut = true
				j.RuledOutBy = s.By
				j.ByElim = s.By == "elimination"
			}
		}
	}
	top := a.Suspects[0]
	switch {
	case t.Nothing:
		j.TrueChance = a.NothingWrong
		j.RightFirst = a.NothingWrong > top.Chance && a.NothingWrong > a.NotListed
	case t.Unlisted:
		j.TrueChance = a.NotListed
		j.RightFirst = a.NotListed > top.Chance && a.NotListed > a.NothingWrong
	default:
		j.TrueChance = j.Chances[t.Causes[0]]
		j.RightFirst = t.is(index[top.Suspect])
	}
}
