package reason

import (
	"math"
	"sort"
)

// line is a set of slots that are told as one: those of one cluster.
type line struct {
	slots []int
	ids   []string
}

// lines groups the counted slots into lines, in order of their first finding.
func (e *Engine) lines() []line {
	var out []line
	at := map[int]int{}
	for i := range e.slots {
		s := &e.slots[i]
		if !s.on {
			continue
		}
		k := e.m.tests[s.test].cluster
		x, ok := at[k]
		if !ok {
			x = len(out)
			at[k] = x
			out = append(out, line{})
		}
		out[x].slots = append(out[x].slots, i)
	}
	first := make([]int, len(out))
	for x := range out {
		var idx []int
		for _, i := range out[x].slots {
			idx = append(idx, e.slots[i].findings...)
		}
		sort.Ints(idx)
		first[x] = idx[0]
		for _, i := range idx {
			out[x].ids = append(out[x].ids, e.findings[i].ID)
		}
	}
	sort.Slice(out, func(a, b int) bool { return e.firstOf(out[a]) < e.firstOf(out[b]) })
	return out
}

func (e *Engine) firstOf(l line) int {
	best := math.MaxInt
	for _, i := range l.slots {
		for _, f := range e.slots[i].findings {
			best = min(best, f)
		}
	}
	return best
}

// without gives the chances with the slots left out. The engine is as before
// when it returns.
func (e *Engine) without(slots []int, do func()) error {
	for _, i := range slots {
		e.slots[i].factor.put(e.w, -1)
	}
	err := e.refresh(false)
	if err == nil {
		do()
	}
	for _, i := range slots {
		e.slots[i].factor.put(e.w, 1)
	}
	return err
}

// leftOut is how things stand without one line of findings.
type leftOut struct {
	chance []float64
	ln     float64 // of the evidence, the line taken as wrong
}

func odds(p float64) float64 { return p / (1 - p) }

// movedBy gives for every suspect the prior, the complaint, each context fact
// and each line of findings as factors on its odds. Prior, facts and complaint
// multiply to the odds before any finding. The factor of a finding is the odds
// with everything over the odds with that line left out.
func (e *Engine) movedBy() ([][]Moved, error) {
	n := len(e.chance)
	out := make([][]Moved, n)
	for i := range n {
		out[i] = append(out[i], Moved{Finding: "prior", Factor: e.prior.base[i], Source: e.m.in.Suspects[i].Fault.Rate.Source})
		out[i] = append(out[i], e.prior.facts[i]...)
		out[i] = append(out[i], Moved{Finding: "complaint", Factor: odds(e.before[i]) / math.Exp(e.prior.lnOdds[i])})
	}
	with := append([]float64(nil), e.chance...)
	e.out = e.out[:0]
	for _, l := range e.lines() {
		err := e.without(l.slots, func() {
			e.out = append(e.out, leftOut{append([]float64(nil), e.chance...), e.lnEvidence(l.slots)})
			for i := range n {
				out[i] = append(out[i], Moved{Finding: l.ids[0], Also: l.ids[1:], Factor: odds(with[i]) / odds(e.chance[i])})
			}
		})
		if err != nil {
			return nil, err
		}
	}
	return out, e.refresh(false)
}

// compare says why hypothesis a (one fault alone) stands to b as it does. The
// logarithms of the items add up to LnRatio.
func (e *Engine) compare(a, b int) Comparison {
	s := e.m.in.Suspects
	out := Comparison{A: s[a].ID, B: s[b].ID}
	add := func(m Moved) {
		out.Items = append(out.Items, m)
		out.LnRatio += math.Log(m.Factor)
	}
	add(Moved{Finding: "prior", Factor: e.prior.base[a] / e.prior.base[b]})
	facts := map[string]float64{}
	var names []string
	for _, f := range e.prior.facts[a] {
		facts[f.Finding] = f.Factor
		names = append(names, f.Finding)
	}
	for _, f := range e.prior.facts[b] {
		if _, ok := facts[f.Finding]; !ok {
			facts[f.Finding] = 1
			names = append(names, f.Finding)
		}
		facts[f.Finding] /= f.Factor
	}
	sort.Strings(names)
	for _, f := range names {
		add(Moved{Finding: f, Factor: facts[f]})
	}
	ratio := 1.0
	for _, f := range e.prior.facto {
		ratio *= f.set([]int{a}) / f.set([]int{b})
	}
	add(Moved{Finding: "complaint", Factor: ratio})
	for _, l := range e.lines() {
		r := 1.0
		for _, i := range l.slots {
			f := e.slots[i].factor
			r *= f.set([]int{a}) / f.set([]int{b})
		}
		add(Moved{Finding: l.ids[0], Also: l.ids[1:], Factor: r})
	}
	return out
}

// Compare explains the odds of suspect a against suspect b, each alone. The
// logarithms of the items sum exactly to LnRatio. ok is false when an id is not
// known.
func (e *Engine) Compare(a, b string) (c Comparison, ok bool) {
	x, y := -1, -1
	for i := range e.m.in.Suspects {
		switch e.m.in.Suspects[i].ID {
		case a:
			x = i
		case b:
			y = i
		}
	}
	if x < 0 || y < 0 {
		return c, false
	}
	return e.compare(x, y), true
}

// uncounted lists what does not move the odds.
func (e *Engine) uncounted() []Uncounted {
	var out []Uncounted
	for i := range e.findings {
		if _, why := e.counts(&e.findings[i]); why != "" {
			out = append(out, Uncounted{e.findings[i].ID, why})
		}
	}
	for i := range e.slots {
		s := &e.slots[i]
		if s.carried < 0 {
			continue
		}
		by := e.findings[e.slots[s.carried].findings[0]]
		for _, f := range s.findings {
			out = append(out, Uncounted{e.findings[f].ID, "a share of one whole: " + by.Subject.String() + " (" + by.ID + ") carries the fact"})
		}
	}
	return out
}
