package reason

import (
	"math"
	"sort"
)

// Judge gives the odds over all suspects, why, what disagrees, and what to do
// next. It is the whole of the package in one call; an Engine does the same
// step by step.
func Judge(c Case, o Options) (*Answer, error) {
	e, err := NewEngine(c, o)
	if err != nil {
		return nil, err
	}
	for _, f := range c.Findings {
		e.enter(f)
	}
	for _, t := range c.Tried {
		if err := e.enterTried(t); err != nil {
			return nil, err
		}
	}
	e.settle()
	return e.Answer()
}

// Answer judges the present state of the engine.
func (e *Engine) Answer() (*Answer, error) {
	if err := e.refresh(false); err != nil {
		return nil, err
	}
	a := &Answer{Limits: e.m.limits.Table(), Notes: append([]string(nil), e.m.notes...), Uncounted: e.uncounted()}
	a.NothingWrong, a.NotListed = e.none, e.other
	a.Outside = e.prior.tail
	_, z := e.masses()
	a.TwoOrMore = (e.w.zSize[2] + e.w.zSize[3]) / z
	a.TwoOrMoreBefore = e.twoBefore
	a.DoubtBits = e.doubt()
	e.doubtNow = a.DoubtBits
	a.Extended = e.extend()
	chance := append([]float64(nil), e.chance...)
	moved, err := e.movedBy()
	if err != nil {
		return nil, err
	}
	order := make([]int, len(chance))
	for i := range order {
		order[i] = i
	}
	s := e.m.in.Suspects
	sort.SliceStable(order, func(x, y int) bool {
		if chance[order[x]] != chance[order[y]] {
			return chance[order[x]] > chance[order[y]]
		}
		return s[order[x]].ID < s[order[y]].ID
	})
	for _, i := range order {
		a.Suspects = append(a.Suspects, SuspectAnswer{Suspect: &s[i], Chance: chance[i], Before: e.before[i], MovedBy: moved[i], State: Open})
	}
	a.Leader, a.RunnerUp = 0, -1
	if len(order) > 1 {
		a.RunnerUp = 1
		a.Versus = e.compare(order[0], order[1])
	}
	if a.WithSetAside, err = e.withSetAside(); err != nil {
		return nil, err
	}
	if a.Conflicts, err = e.conflicts(); err != nil {
		return nil, err
	}
	e.keep(a.Conflicts)
	e.conflictsOf = a.Conflicts
	e.decide(a, order)
	if err := e.next(a); err != nil {
		return nil, err
	}
	return a, nil
}

// doubt is the entropy over all hypotheses in bits.
func (e *Engine) doubt() float64 {
	w := e.w
	other, z := e.masses()
	h := 0.0
	add := func(mass float64) {
		if p := mass / z; p > 0 {
			h -= p * math.Log2(p)
		}
	}
	add(w.zNone)
	add(other)
	n := w.n
	for i := range n {
		add(math.Exp(w.a[i] - w.lnRef))
	}
	if w.bound >= 2 {
		for i := range n {
			for j := i + 1; j < n; j++ {
				if v := w.a[i] + w.a[j] + w.b[i*n+j] - w.lnRef; v > -50 {
					add(math.Exp(v))
				}
			}
		}
	}
	if w.c != nil {
		for i := range n {
			for j := i + 1; j < n; j++ {
				mij := w.m[i*n+j] * w.scale3
				if mij < 1e-20 {
					continue
				}
				for x, c := range w.row(i, j) {
					k := j + 1 + x
					if v := c * mij * w.m[i*n+k] * w.m[j*n+k]; v > 1e-18 {
						add(v)
					}
				}
			}
		}
	}
	return h
}

// extend sums the sets of four and five of the twelve leading faults, as a share
// of the total with them.
func (e *Engine) extend() float64 {
	const lead, most = 12, 5
	if e.w.bound < 3 {
		return 0
	}
	idx := make([]int, len(e.chance))
	for i := range idx {
		idx[i] = i
	}
	sort.SliceStable(idx, func(a, b int) bool { return e.chance[idx[a]] > e.chance[idx[b]] })
	idx = idx[:min(lead, len(idx))]
	sort.Ints(idx)
	factors := e.factors()
	sum := 0.0
	var walk func(from int, s []int)
	walk = func(from int, s []int) {
		if len(s) >= 4 {
			sum += math.Exp(math.Min(600, e.lnSet(s, factors)-e.w.lnRef))
		}
		if len(s) == most {
			return
		}
		for i := from; i < len(idx); i++ {
			walk(i+1, append(s, idx[i]))
		}
	}
	walk(0, make([]int, 0, most))
	return sum / (sum + e.w.z)
}

// factors lists everything that weighs sets: symptoms, then readings.
func (e *Engine) factors() []*factor {
	out := append([]*factor(nil), e.prior.facto...)
	for i := range e.slots {
		if e.slots[i].on {
			out = append(out, e.slots[i].factor)
		}
	}
	return out
}

// lnSet is the weight of a set of any size, relative to the empty set, from the
// factors themselves.
func (e *Engine) lnSet(s []int, factors []*factor) float64 {
	w := 0.0
	for _, i := range s {
		w += e.prior.lnOdds[i]
	}
	product := 1.0
	for x, f := range factors {
		product *= f.set(s) / math.Pow(f.none, f.exponent)
		if x%16 == 15 { // before it can leave the range of a float
			w, product = w+math.Log(product), 1
		}
	}
	return w + math.Log(product)
}

// withSetAside gives the chances with the set-aside findings counted after all.
func (e *Engine) withSetAside() (map[string]float64, error) {
	any := false
	for i := range e.findings {
		any = any || e.findings[i].SetAside
	}
	if !any {
		return nil, nil
	}
	var back []int
	for i := range e.findings {
		f := &e.findings[i]
		if !f.SetAside {
			continue
		}
		f.SetAside = false
		back = append(back, i)
		if t, why := e.counts(f); why == "" {
			s := e.slotFor(t, f.Condition, unsure(f))
			s.findings, s.fresh = append(s.findings, i), true
		}
	}
	e.settle()
	if err := e.refresh(false); err != nil {
		return nil, err
	}
	out := make(map[string]float64, len(e.chance))
	for i, p := range e.chance {
		out[e.m.in.Suspects[i].ID] = p
	}
	for _, i := range back {
		e.drop(i)
		e.findings[i].SetAside = true
	}
	e.settle()
	return out, e.refresh(false)
}
