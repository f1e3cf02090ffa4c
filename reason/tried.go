package reason

import (
	"fmt"
	"math"
	"slices"

	"proveout/book"
	"proveout/evidence"
)

// Tried is a part that was replaced, repaired or changed for another in the
// course of the search, and what became of the complaint. A wrong part that was
// fitted stays on the record in this way: as a reading.
type Tried struct {
	ID        string
	Item      int // number of the item, which gives the order of what was done
	Component string
	Subject   evidence.Subject
	Fitted    Fitted
	Result    TriedResult
	// WouldShow is the chance that the complaint would have shown in the check if
	// its cause was still there; 0 = the figures of the table. An intermittent fault
	// may hide.
	WouldShow float64
	Condition evidence.Condition // in which it was checked
	SetAside  bool
}

// Fitted is what the part was replaced by.
type Fitted string

// What a part may be replaced by. "" counts as New.
const (
	New       Fitted = "new"
	Used      Fitted = "used"
	KnownGood Fitted = "known_good" // from a place where it works
	Mended    Fitted = "mended"     // the same part, cleaned or repaired
)

// TriedResult is what became of the complaint.
type TriedResult string

// What may become of the complaint.
const (
	Stays     TriedResult = "stays"      // it is still there
	Gone      TriedResult = "gone"       // it has not shown since
	Returned  TriedResult = "returned"   // gone with the other part, back with the old one: A-B-A
	StaysGone TriedResult = "stays_gone" // gone with the other part, and with the old one too
)

var triedResults = []TriedResult{Stays, Gone, Returned, StaysGone}

// triedPart is what a factor needs to know of a part tried.
//
// With S the faults that were there and P those of the part, R = S \ P is what
// remains. The complaint was there before; each fault brings it about by itself
// with the book's chance, so that what remains still does with chance
//
//	r(S) = P(complaint | R) / P(complaint | S)
//
// (persistence, Breese & Heckerman 1996). The likelihood of the result is then
// r L_else + (1-r) L_part: as if the cause lay elsewhere, or in this part alone.
type triedPart struct {
	faults   []int // of the part, ascending
	at       []int // by fault: 1 + its place in faults, 0 for faults elsewhere
	symptoms []triedSymptom
	offered  bool // not tried: a test of the book that changes the part there and back
	d, bad   float64
	cures    float64
	pair     []float64 // scratch of put: likelihood of each fault of the part with every other
}

// triedSymptom is one symptom of the complaint: P(symptom | S) = 1 - p0 prod keep,
// raised to exponent.
type triedSymptom struct {
	p0, exponent float64
	keep         []float64 // by fault
}

// remains is r(S).
func (p *triedPart) remains(s []int) float64 {
	in, out := 0, 0
	for _, i := range s {
		if p.at[i] > 0 {
			in++
		} else {
			out++
		}
	}
	switch {
	case in == 0:
		return 1
	case len(p.symptoms) == 0 && out == 0:
		return 0
	}
	r := 1.0
	for x := range p.symptoms {
		y := &p.symptoms[x]
		all, rest := y.p0, y.p0
		for _, i := range s {
			all *= y.keep[i]
			if p.at[i] == 0 {
				rest *= y.keep[i]
			}
		}
		r *= math.Pow((1-rest)/(1-all), y.exponent)
	}
	return math.Min(r, 1)
}

// chances gives the chance of each result when the cause lies in the part alone
// and when it lies elsewhere. d is the chance that a cause shows in the check, bad
// that the work leaves the complaint there (a bad new part, a connector not seated),
// cures that moving things hides a cause elsewhere. Whether the old part is put back
// does not depend on the fault: half of them, which cancels.
func triedChances(d, bad, cures float64) (part, elsewhere []float64) {
	gone := 1 - d*bad
	part = []float64{d * bad, gone / 2, gone * d / 2, gone * (1 - d) / 2}
	gone = 1 - d*(1-cures)
	back := (1-cures)*(1-d)*d + cures*cures*d // it hid and showed again, or moving things cured it and broke it again
	return part, []float64{d * (1 - cures), gone / 2, back / 2, (gone - back) / 2}
}

// Try counts a part tried. A part that the books do not have on this engine is an
// error.
func (e *Engine) Try(t Tried) error {
	if err := e.enterTried(t); err != nil {
		return err
	}
	return e.update()
}

func (e *Engine) enterTried(t Tried) error {
	p, name := e.newPart(t.Component, t.Subject)
	if len(p.faults) == 0 {
		return fmt.Errorf("the books have no part %q on %s of this engine", t.Component, t.Subject)
	}
	o := slices.Index(triedResults, t.Result)
	if o < 0 {
		return fmt.Errorf("%q is no result of trying a part", t.Result)
	}
	if !(t.WouldShow >= 0 && t.WouldShow <= 1) {
		return fmt.Errorf("a chance of %g that the complaint would have shown cannot be", t.WouldShow)
	}
	e.m.addTried(t, p, name, e.triedShows(t), e.triedCover(t.Condition))
	id := e.m.tests[len(e.m.tests)-1].at.Test.ID
	e.enter(evidence.Finding{ID: t.ID, Item: t.Item, Test: id, Subject: t.Subject, Outcome: string(t.Result), State: evidence.Abnormal, Condition: t.Condition, SetAside: t.SetAside})
	return nil
}

// newPart gathers the faults of a part and what its complaint is worth.
func (e *Engine) newPart(component string, subject evidence.Subject) (p *triedPart, name string) {
	p = &triedPart{at: make([]int, len(e.chance))}
	for i := range e.m.in.Suspects {
		s := &e.m.in.Suspects[i]
		if s.Component.ID == component && s.Subject == subject {
			p.faults = append(p.faults, i)
			p.at[i] = len(p.faults)
			name = partWords(s)
		}
	}
	p.pair = make([]float64, len(p.faults)*len(e.chance))
	for _, f := range e.prior.facto {
		y := triedSymptom{p0: f.p0, exponent: f.exponent, keep: make([]float64, len(e.chance))}
		for i := range y.keep {
			y.keep[i] = 1
		}
		for _, q := range f.parents {
			y.keep[q.fault] = q.keep
		}
		p.symptoms = append(p.symptoms, y)
	}
	return p, name
}

// exchanges fills in the tests that change a part there and back: the same figures as
// for a part tried, without the result that leaves the old part out.
func (e *Engine) exchanges() {
	l := &e.m.limits
	for i := range e.m.tests {
		t := &e.m.tests[i]
		if t.at.Test.Exchanges == "" {
			continue
		}
		p, _ := e.newPart(t.at.Test.Exchanges, t.at.Subject)
		if len(p.faults) == 0 {
			continue
		}
		p.offered, p.d, p.bad, p.cures = true, e.triedShows(Tried{}), 1-(1-l.TriedBadGood)*(1-l.TriedDisturbs), l.TriedCures
		t.tried, t.rows, t.cluster = p, nil, -p.faults[0]-1
		t.inPart, t.healthy = p.thereAndBack(1)
		e.m.triedRows(t)
	}
}

// thereAndBack gives the chances of the three outcomes of a change there and back, when
// the cause lies in the part and when it lies elsewhere.
func (p *triedPart) thereAndBack(cover float64) (part, elsewhere []float64) {
	part, elsewhere = triedCovered(cover, p.d, p.bad, p.cures)
	return []float64{part[0], 2 * part[2], 2 * part[3]}, []float64{elsewhere[0], 2 * elsewhere[2], 2 * elsewhere[3]}
}

// triedShows is the chance that a cause shows in a check under the conditions of
// the complaint.
func (e *Engine) triedShows(t Tried) float64 {
	d := t.WouldShow
	if l := &e.m.limits; d == 0 {
		d = 1 - math.Pow(1-l.TriedShows, l.TriedRuns/(1+(l.TriedRuns-1)*l.RhoRepeat))
	}
	return math.Min(math.Max(d, 0.01), 0.99)
}

// triedCover is how far the check was made under the conditions of the complaint.
func (e *Engine) triedCover(at evidence.Condition) float64 {
	return math.Max(e.m.covered(&book.Fault{}, &book.Test{}, at, false, e.c.Window.misses(at), &e.c), 0.01)
}

// triedCovered is triedChances for a check that the conditions cover to a share
// cover: as with every test, the rest of the weight goes to a check in which no
// cause shows. The share is not multiplied into d: a complaint that came back with
// the old part has told that the conditions were right, and d (1 - d) of a smaller
// d would say that it merely hid.
func triedCovered(cover, d, bad, cures float64) (part, elsewhere []float64) {
	part, elsewhere = triedChances(d, bad, cures)
	blind, _ := triedChances(0, bad, cures)
	for o := range part {
		part[o] = cover*part[o] + (1-cover)*blind[o]
		elsewhere[o] = cover*elsewhere[o] + (1-cover)*blind[o]
	}
	return part, elsewhere
}

// addTried lays a part tried down as a test of its own: its outcomes are the
// results, its rows the faults of the part.
func (m *model) addTried(t Tried, p *triedPart, name string, shows, cover float64) {
	l := &m.limits
	bad := map[Fitted]float64{Used: l.TriedBadUsed, KnownGood: l.TriedBadGood, Mended: l.TriedBadMended}[t.Fitted]
	if bad == 0 {
		bad = l.TriedBadNew
	}
	part, elsewhere := triedCovered(cover, shows, 1-(1-bad)*(1-l.TriedDisturbs), l.TriedCures)
	b := &book.Test{ID: fmt.Sprintf("tried %d", len(m.tests)), Name: name + " tried", Static: true, Outcomes: []book.Outcome{
		{ID: string(Stays), Text: "the complaint stays", Normal: true},
		{ID: string(Gone), Text: "the complaint is gone"},
		{ID: string(Returned), Text: "gone with another, back with the old one", Proves: true, Returns: true},
		{ID: string(StaysGone), Text: "gone, and with the old one back it stays gone"},
	}}
	tm := testModel{at: &book.TestAt{Test: b, Subject: t.Subject, ID: b.ID}, healthy: elsewhere, rho: l.RhoRepeat, tried: p, inPart: part, same: -len(m.tests) - 1, cluster: -p.faults[0] - 1}
	m.triedRows(&tm)
	for _, i := range p.faults {
		if id := m.in.Suspects[i].Fault.ID; !slices.Contains(b.Direct, id) {
			b.Direct = append(b.Direct, id)
		}
	}
	m.byTest[testKey{b.ID, t.Subject}] = len(m.tests)
	m.tests = append(m.tests, tm)
}

// triedRows gives the rows of a test of a part: each of its faults alone.
func (m *model) triedRows(t *testModel) {
	for _, i := range t.tried.faults {
		r := t.tried.remains([]int{i})
		row := row{fault: i, p: make([]float64, len(t.inPart)), own: true}
		for o := range t.inPart {
			row.p[o] = r*t.healthy[o] + (1-r)*t.inPart[o]
		}
		t.rows = append(t.rows, row)
	}
}

// asTried turns a factor into one of a part tried, for given likelihoods of the
// results; whole is the share with which it counts beside other trials of the part,
// cover how far the conditions of the check cover those of the complaint.
func (f *factor) asTried(t *testModel, lambda []float64, whole, cover float64, l *Limits) {
	part := t.inPart
	if t.tried.offered {
		var elsewhere []float64
		part, elsewhere = t.tried.thereAndBack(cover)
		f.none = 0
		for o, v := range lambda {
			f.none += elsewhere[o] * v
		}
		f.none = math.Max(f.none, floorL)
		f.other = math.Max(floorL, l.NotListedHealthy*f.none+(1-l.NotListedHealthy)*f.wrong)
	}
	in := 0.0
	for o, v := range lambda {
		in += part[o] * v
	}
	f.tried, f.inPart, f.exponent = t.tried, f.none*math.Pow(math.Max(in, floorL)/f.none, whole), 1
	f.other = f.none * math.Pow(f.other/f.none, whole)
	f.least, f.most = math.Min(f.none, f.inPart), math.Max(f.none, f.inPart)
	for x := range f.parents {
		q := &f.parents[x]
		q.alone = f.triedLike(q.fault)
	}
}

// triedLike is the likelihood under a set of faults.
func (f *factor) triedLike(s ...int) float64 {
	r := f.tried.remains(s)
	return r*f.none + (1-r)*f.inPart
}

// putTried is put for a part tried: it changes every set that holds a fault of
// the part, since what else is in the set decides whether the complaint stays.
func (f *factor) putTried(w *field, e float64) {
	p, n := f.tried, w.n
	single := func(i int) float64 {
		if p.at[i] == 0 {
			return f.none
		}
		return f.triedLike(i)
	}
	for _, i := range p.faults {
		w.a[i] += e * math.Log(single(i)/f.none)
	}
	if w.bound < 2 {
		return
	}
	for x, i := range p.faults {
		for j := range n {
			if j == i {
				continue
			}
			like := f.triedLike(i, j)
			p.pair[x*n+j] = like
			if p.at[j] > 0 && j < i {
				continue // met from the other side
			}
			v := e * math.Log(like*f.none/(single(i)*single(j)))
			w.b[i*n+j] += v
			w.b[j*n+i] += v
		}
	}
	if w.c == nil {
		return
	}
	pair := func(i, j int) float64 {
		switch {
		case p.at[i] > 0:
			return p.pair[(p.at[i]-1)*n+j]
		case p.at[j] > 0:
			return p.pair[(p.at[j]-1)*n+i]
		}
		return f.none
	}
	for _, i := range p.faults {
		for j := range n {
			if j == i || p.at[j] > 0 && j < i {
				continue
			}
			for k := j + 1; k < n; k++ {
				if k == i || p.at[k] > 0 && k < i {
					continue
				}
				s := [3]int{i, j, k}
				slices.Sort(s[:])
				like := f.triedLike(s[:]...)
				r := like * single(i) * single(j) * single(k) / (pair(i, j) * pair(i, k) * pair(j, k) * f.none)
				w.scale(s, math.Pow(r, e))
			}
		}
	}
}

// scale multiplies the factor of one triple, in ascending order.
func (w *field) scale(s [3]int, by float64) {
	at := &w.row(s[0], s[1])[s[2]-s[1]-1]
	*at *= by
	if *at > cLimit || *at < 1/cLimit {
		*at = math.Min(math.Max(*at, 1/cLimit), cLimit)
		w.saturated.Store(true)
	}
}

// repaired tells what became of parts that were tried. A part that was shown and
// after whose repair the complaint is gone is repaired; one that was only
// suspected stays suspected, since a repair that helps is no proof of the cause.
func (e *Engine) repaired(a *Answer) {
	for x := range a.Suspects {
		s := &a.Suspects[x]
		f, result := e.lastTried(partOf(s.Suspect))
		switch {
		case f == nil:
		case s.State == Shown && result == Gone:
			s.State = Repaired
			s.Reason += fmt.Sprintf(" Put right (%s), and the complaint is gone: not proven until it was driven in its conditions long enough.", f.ID)
		case s.State == Suspected && result == Gone:
			s.Reason = fmt.Sprintf("Tried (%s) and the complaint is gone: no proof of the cause, an intermittent fault may be hiding. %s", f.ID, s.Reason)
		case s.State == Shown && result == Stays && e.after(f, s.By):
			s.Stays = f.ID
			for i := range e.spent {
				e.spent[i] = e.spent[i] || partOf(&e.m.in.Suspects[i]) == partOf(s.Suspect)
			}
			s.Reason += fmt.Sprintf(" Put right since (%s), and the complaint stays: something else is wrong as well, or what was fitted is bad too.", f.ID)
		case result == Stays && s.Chance >= e.m.limits.SuspectedAt:
			s.Reason = fmt.Sprintf("Tried (%s) and the complaint stays: what is left is the chance that what was fitted is bad too or a connector was disturbed. %s", f.ID, s.Reason)
		}
	}
}

// after reports whether a trial came after the finding that showed the part: a part that
// is shown after it was changed is the new one.
func (e *Engine) after(trial *evidence.Finding, shownBy string) bool {
	for i := range e.findings {
		if e.findings[i].ID == shownBy {
			return e.findings[i].Item <= trial.Item
		}
	}
	return false
}

// lastTried is the last counted trial of a part.
func (e *Engine) lastTried(p part) (*evidence.Finding, TriedResult) {
	var last *evidence.Finding
	for i := range e.findings {
		f := &e.findings[i]
		t, why := e.counts(f)
		if why == "" && e.m.tests[t].tried != nil && partOf(&e.m.in.Suspects[e.m.tests[t].tried.faults[0]]) == p {
			last = f
		}
	}
	if last == nil {
		return nil, ""
	}
	return last, TriedResult(last.Outcome)
}
