package reason

import (
	"fmt"
	"math"

	"proveout/evidence"
)

// Engine keeps the odds of one case up to date as readings come and go. It is
// not safe for use by several goroutines at once.
type Engine struct {
	c           Case
	o           Options
	m           *model
	w           *field
	prior       *prior
	before      []float64 // marginal chances before any finding
	findings    []evidence.Finding
	slots       []slot
	u           float64
	scratch     []float64
	none        float64 // chances
	other       float64
	chance      []float64
	undone      int
	doubtNow    float64 // bits, at the last Answer
	nearly      []bool  // suspects a direct finding proves but for their chance
	away        []bool  // suspects that a person has ruled out: the numbers stay, the advice passes them by
	spent       []bool  // suspects shown and put right, and the complaint stays
	pred        *predictor
	out         []leftOut // by line, from the last Answer
	sames       []int     // scratch of settle
	choir       []int     // scratch of share
	twoBefore   float64
	conflictsOf []Conflict // found by the last Answer, before states are decided
}

// NewEngine prepares the odds before any finding: base rates, context and
// complaint. The findings of the case are not added; see Add.
func NewEngine(c Case, o Options) (*Engine, error) {
	o = o.withDefaults()
	m, err := newModel(c.Instance, *o.Limits, c.Limits)
	if err != nil {
		return nil, err
	}
	n := len(c.Instance.Suspects)
	bound := min(max(o.MaxFaults, 1), 3, n)
	if bound == 3 && n > MaxFaults {
		bound = 2
		m.notes = append(m.notes, fmt.Sprintf("%d suspects: only up to two faults at once are considered", n))
	}
	e := &Engine{c: c, o: o, m: m, w: newField(n, bound), u: m.unreliable(), chance: make([]float64, n), before: make([]float64, n), nearly: make([]bool, n), spent: make([]bool, n), away: make([]bool, n)}
	for i := range c.Overrules {
		for x := range c.Instance.Suspects {
			e.away[x] = e.away[x] || c.Overrules[i].Suspect == c.Instance.Suspects[x].ID && c.Overrules[i].State == RuledOut
		}
	}
	widest := len(triedResults)
	for i := range m.tests {
		widest = max(widest, len(m.tests[i].healthy))
	}
	e.scratch = make([]float64, widest)
	e.prior = m.newPrior(e.w, &e.c)
	e.exchanges()
	if err := e.refresh(false); err != nil {
		return nil, err
	}
	copy(e.before, e.chance)
	e.twoBefore = (e.w.zSize[2] + e.w.zSize[3]) / e.w.z
	return e, nil
}

// Add counts one more finding and brings the chances up to date. A finding that
// does not count (set aside, blocked, no such test) is kept and listed.
func (e *Engine) Add(f evidence.Finding) error {
	e.enter(f)
	return e.update()
}

// update brings field and chances in line with the findings.
func (e *Engine) update() error {
	e.settle()
	err := e.refresh(false)
	if e.w.saturated.Load() { // met by what was put in during the pass
		e.rebuild()
		err = e.refresh(false)
	}
	return err
}

// enter files a finding under its slot.
func (e *Engine) enter(f evidence.Finding) {
	e.findings = append(e.findings, f)
	i := len(e.findings) - 1
	t, why := e.counts(&e.findings[i])
	if why != "" {
		return
	}
	s := e.slotFor(t, f.Condition, unsure(&f))
	s.findings = append(s.findings, i)
	s.fresh = true
}

func unsure(f *evidence.Finding) bool {
	for _, fl := range f.Flags {
		if fl == evidence.ConditionUnsure {
			return true
		}
	}
	return false
}

// slotFor finds or makes the slot of a test under a condition.
func (e *Engine) slotFor(t int, at evidence.Condition, unsure bool) *slot {
	off := e.c.Window.misses(at)
	at.SpeedRPM, at.LoadPct, at.Gear = 0, 0, ""
	for i := range e.slots {
		s := &e.slots[i]
		if s.test == t && s.cond == at && s.unsure == unsure && s.off == off {
			return s
		}
	}
	tm := &e.m.tests[t]
	s := slot{factor: &factor{}, test: t, cond: at, unsure: unsure, off: off, carried: -1, lambda: make([]float64, len(tm.healthy)), cover: make([]float64, len(tm.rows)), tilt: make([]float64, len(tm.rows)), ln: make([]float64, len(tm.rows)), whole: 1}
	s.factor.parents = make([]parent, 0, len(tm.rows))
	for r := range tm.rows {
		s.cover[r] = e.m.covered(e.m.in.Suspects[tm.rows[r].fault].Fault, tm.at.Test, at, unsure, off, &e.c)
		s.tilt[r] = 1
	}
	e.slots = append(e.slots, s)
	return &e.slots[len(e.slots)-1]
}

// Undo takes the last finding back. It reports whether there was one.
func (e *Engine) Undo() (bool, error) {
	if len(e.findings) == 0 {
		return false, nil
	}
	i := len(e.findings) - 1
	e.drop(i)
	e.findings = e.findings[:i]
	return true, e.update()
}

// SetAside takes every finding with the id out of the count, or back in.
func (e *Engine) SetAside(id string, aside bool) error {
	found := false
	for i := range e.findings {
		f := &e.findings[i]
		if f.ID != id {
			continue
		}
		found = true
		if f.SetAside == aside {
			continue
		}
		if aside {
			e.drop(i)
			f.SetAside = true
			continue
		}
		f.SetAside = false
		if t, why := e.counts(f); why == "" {
			s := e.slotFor(t, f.Condition, unsure(f))
			s.findings = append(s.findings, i)
			s.fresh = true
		}
	}
	if !found {
		return fmt.Errorf("no finding has the id %q", id)
	}
	return e.update()
}

func (e *Engine) drop(i int) {
	for k := range e.slots {
		s := &e.slots[k]
		for x, j := range s.findings {
			if j == i {
				s.findings = append(s.findings[:x], s.findings[x+1:]...)
				s.fresh = true
				return
			}
		}
	}
}

// settle brings exponents, tilts and factors of all slots in line with what is
// counted, and the field in line with the factors.
func (e *Engine) settle() {
	e.shareOut()
	for i := range e.slots {
		s := &e.slots[i]
		counted := len(s.findings) > 0 && s.carried < 0
		changed := s.fresh || s.changed || counted != s.on
		if counted {
			t := &e.m.tests[s.test]
			e.sames = e.sames[:0]
			for j := range e.slots {
				o := &e.slots[j]
				// The same subject under another condition is counted by the group.
				if j != i && o.test != s.test && e.m.tests[o.test].same == t.same && len(o.findings) > 0 && o.carried < 0 {
					e.sames = append(e.sames, j)
				}
			}
			for r := range t.rows {
				v := 1.0
				if t.rows[r].wide {
					v = 1 / (1 + float64(e.like(t, r))*e.m.limits.RhoWide)
				}
				changed = changed || v != s.tilt[r]
				s.tilt[r] = v
			}
		}
		if !changed {
			continue
		}
		if s.on {
			s.factor.put(e.w, -1)
			s.on = false
			e.undone++
		}
		s.fresh, s.changed = false, false
		if !counted {
			continue
		}
		e.w.flush() // what is pending may be this very factor
		e.lambdaOf(s, s.lambda)
		e.build(s)
		s.factor.put(e.w, 1)
		s.on = true
	}
	if e.w.saturated.Load() || e.undone > 1000 {
		e.rebuild()
	}
}

// rebuild lays the field down anew, so that rounding never piles up.
func (e *Engine) rebuild() {
	e.w.clear()
	e.w.hasNone = false
	notes := e.m.notes
	e.prior = e.m.newPrior(e.w, &e.c)
	e.m.notes = notes
	for i := range e.slots {
		if e.slots[i].on {
			e.slots[i].factor.put(e.w, 1)
		}
	}
	e.undone = 0
}

// carrier is the slot that carries a share-of-whole test: the one with the
// highest value, if it is above the normal outcome; else -1.
func (e *Engine) carrier(i int) int {
	t := &e.m.tests[e.slots[i].test]
	best, at := math.Inf(-1), -1
	for j := range e.slots {
		o := &e.slots[j]
		u := &e.m.tests[o.test]
		if u.same != t.same || o.cond != e.slots[i].cond || len(o.findings) == 0 {
			continue
		}
		for _, k := range o.findings {
			f := &e.findings[k]
			c, _ := u.class(f)
			if c == u.normal || u.from != nil && f.Outcome == "" && u.from[c] < u.from[u.normal] {
				continue
			}
			v := f.Effect
			if f.Outcome != "" {
				v = 0
			}
			if v > best {
				best, at = v, j
			}
		}
	}
	return at
}

// like counts the slots e.sames, of the same test on other subjects, that bear in
// the same way on the fault of row r.
func (e *Engine) like(t *testModel, r int) int {
	m := 0
	for _, j := range e.sames {
		u := &e.m.tests[e.slots[j].test]
		for q := range u.rows {
			if u.rows[q].fault == t.rows[r].fault && u.rows[q].own == t.rows[r].own {
				m++
				break
			}
		}
	}
	return m
}

// refresh turns weights into chances.
func (e *Engine) refresh(pairs bool) error {
	e.w.pass(pairs)
	w := e.w
	if !(w.z > 0) || math.IsInf(w.z, 0) {
		return fmt.Errorf("the odds cannot be told: the weights of all hypotheses add up to %g; set the last reading aside", w.z)
	}
	other, z := e.masses()
	e.none, e.other = atLeast(w.zNone/z), atLeast(other/z)
	for i, v := range w.m1 {
		e.chance[i] = atLeast(v / z)
	}
	return nil
}

// masses are the weight of "something not listed", which keeps a floor of the
// total, and the total. They are summed up, not taken from each other: where
// every listed cause is all but impossible, nothing would be left of it.
func (e *Engine) masses() (other, z float64) {
	w := e.w
	listed := w.zNone + w.zSize[1] + w.zSize[2] + w.zSize[3]
	other = math.Max(w.zOther, listed*e.m.limits.NotListedFloor/(1-e.m.limits.NotListedFloor))
	return other, listed + other
}

// atLeast keeps a chance off a silent zero or one.
func atLeast(p float64) float64 { return math.Min(math.Max(p, 1e-12), 1-1e-9) }

// Chances are the marginal chances of the suspects, in the order of the
// instance, and those of the two hypotheses outside the list. The slice belongs
// to the engine and changes with the next call.
func (e *Engine) Chances() (suspects []float64, nothingWrong, notListed float64) {
	return e.chance, e.none, e.other
}
