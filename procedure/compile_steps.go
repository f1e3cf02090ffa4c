package procedure

import (
	"math"

	"proveout/unit"
)

// header checks what the file says about itself.
func (c *compiler) header() {
	f := c.file
	if f.Schema != SchemaID {
		c.fail([]any{"schema"}, "schema is %q; this program reads %q", f.Schema, SchemaID)
	}
	if f.ID == "" || f.Title == "" || f.Summary == "" || f.Version < 1 {
		c.fail(nil, "id, title, summary and version (from 1) must be filled in")
	}
	if f.Override != Overrides {
		c.fail([]any{"override"}, "write exactly: override: %s", Overrides)
	}
	if len(f.Systems) == 0 {
		c.fail(nil, "systems is empty: without a hazard class no rule of safety would hold, so the file is refused; write one of: %v", classIDs()[1:])
	} else if len(f.Systems) == 1 && f.Systems[0] == "vehicle" {
		c.fail([]any{"systems"}, "name the system that is worked on, not only the vehicle; one of: %v", classIDs()[1:])
	}
	if len(f.Sources) == 0 {
		c.fail(nil, "sources is empty: say where the order and the figures come from, or write \"common practice, no source\"")
	}
	if len(f.Steps) == 0 {
		c.fail(nil, "there are no steps")
	}
	if f.Rest.IsEmpty() {
		c.fail(nil, "rest is empty: say in which state the vehicle may be left and handed over")
	}
}

func (c *compiler) watches() {
	for i, w := range c.file.Watches {
		path := []any{"watches", i}
		if w.ID == "" || w.Quantity == "" || w.Point == "" {
			c.fail(path, "a watch needs id, quantity and the point where it is measured")
			continue
		}
		if w.Blind == "" {
			c.fail(path, "watch %q does not say what is safe when it is not watched; fill in blind", w.ID)
		}
		if _, err := w.Limits(); err != nil {
			c.fail(path, "watch %q: %v", w.ID, err)
		}
		c.m.Watches = append(c.m.Watches, MWatch{Watch: w, f: c.l.take(4)})
	}
}

// Limits are the limits of a watch in SI. NaN means there is none.
type Limits struct {
	Unit                                                  unit.Unit
	Start, Warn, Hold, Stop, WarnHigh, HoldHigh, StopHigh float64
	Debounce, MaxAge, TypedMaxAge                         float64 // seconds
	RateHz                                                float64
}

// Limits reads the limits of a watch and checks their order: stop below hold
// below warn, and the other way round above. Errors are sentences.
func (w Watch) Limits() (Limits, error) { return watchLimits(w) }

func (c *compiler) watchIndex(id string) int {
	for i := range c.m.Watches {
		if c.m.Watches[i].ID == id {
			return i
		}
	}
	return -1
}

func (c *compiler) steps() {
	c.m.Steps = make([]MStep, len(c.plain))
	for i, p := range c.plain {
		s := &c.m.Steps[i]
		s.plain = p
		s.phase = c.l.take(6)
		if k := len(p.Confirm.By); k > 1 || len(p.Outcomes) > 0 || p.Wait.Rest != "" || c.acts[p.Act].Command {
			s.given = c.l.take(1 << max(k, 1))
		} // else the one confirmation ends the step: nothing to remember
		if len(p.Confirm.By) > 6 {
			c.fail(p.path, "%q has %d means of confirmation; at most 6", p.ID, len(p.Confirm.By))
		}
	}
	for i := range c.m.Steps {
		c.step(i)
	}
	for i := range c.m.Steps {
		reach := map[int]bool{i: true}
		c.m.Steps[i].after = []int{i}
		for j := i + 1; j < len(c.m.Steps); j++ {
			for _, n := range c.m.Steps[j].needs {
				if reach[n] {
					reach[j] = true
					c.m.Steps[i].after = append(c.m.Steps[i].after, j)
					break
				}
			}
		}
	}
	for i := range c.m.Steps {
		for _, j := range c.m.Steps[i].after[1:] {
			s := &c.m.Steps[j]
			if c.m.Steps[i].onlyIf.op != opTrue {
				s.needMaybe = append(s.needMaybe, i)
				continue
			}
			c.m.Steps[i].phase.set(&s.needMask, c.m.Steps[i].phase.mask)
			c.m.Steps[i].phase.set(&s.needWant, uint64(Done))
		}
	}
	for i, t := range c.m.Timers {
		c.m.Steps[t.Step].timers = append(c.m.Steps[t.Step].timers, i)
	}
}

func (c *compiler) step(i int) {
	s := &c.m.Steps[i]
	p := s.plain
	act, known := c.acts[p.Act]
	if !known {
		c.fail(p.path, "%q: act %q is not known to the systems of this procedure; write one of: %v", p.ID, p.Act, sortedKeys(c.acts))
		return
	}
	s.Command, s.Hands, s.Powers, s.Critical = act.Command, act.Hands, act.Powers, act.Critical
	for _, n := range p.Needs {
		s.needs = append(s.needs, c.stepIndex[n])
	}
	var err error
	if s.onlyIf, err = c.guard(p.OnlyIf); err != nil {
		c.fail(p.path, "%q: only_if: %v", p.ID, err)
	}
	if s.guard, err = c.guard(p.Guard); err != nil {
		c.fail(p.path, "%q: interlock: %v", p.ID, err)
	}
	if s.applies, err = c.guard(p.Applies); err != nil {
		c.fail(p.path, "%q: applies: %v", p.ID, err)
	}
	if s.applies.op != opTrue && p.origin != fromRecovery {
		c.fail(p.path, "%q: applies is for steps under recovery; a step of the order has only_if", p.ID)
	}
	for _, w := range p.Wording {
		n, err := c.guard(w.When)
		if err != nil || n.op == opTrue || w.Do == "" {
			c.fail(p.path, "%q: a wording needs do, and when: a condition (%v)", p.ID, err)
		}
		s.wordings = append(s.wordings, n)
	}
	for _, w := range p.Watch {
		k := c.watchIndex(w)
		if k < 0 {
			c.fail(p.path, "%q: watch %q is not listed under watches", p.ID, w)
			continue
		}
		s.watch = append(s.watch, k)
	}
	s.sets = c.assigns(p, p.Sets)
	for _, fct := range append(append([]string{}, p.Spoils...), act.Spoils...) {
		fct = replaceSide(fct, p.side)
		k, ok := c.factIndex[fct]
		if !ok {
			c.fail(p.path, "%q spoils %q, which is no fact of this procedure", p.ID, fct)
			continue
		}
		s.spoils = append(s.spoils, k)
	}
	for _, o := range p.Outcomes {
		s.outcomes = append(s.outcomes, moutcome{sets: c.assigns(p, o.Sets), stop: o.Stop != ""})
	}
	if len(s.outcomes) == 0 {
		s.outcomes = []moutcome{{}}
	}
	s.Need = max(p.Confirm.Need, 1)
	for _, mean := range p.Confirm.By {
		mm := mmean{reading: -1, how: indexOf(Hows, mean.How)}
		if mean.Reading != "" {
			k, ok := c.factIndex["reading:"+mean.Reading]
			if !ok {
				c.fail(p.path, "%q: reading %q is not listed under readings", p.ID, mean.Reading)
				continue
			}
			mm.reading = k
			if mm.pass, err = c.bandSet(mean.Reading, mean.AtLeast, mean.AtMost); err != nil {
				c.fail(p.path, "%q: %v", p.ID, err)
			}
		} else if mean.AtLeast != "" || mean.AtMost != "" {
			c.fail(p.path, "%q: a limit without a reading; name the reading it is for", p.ID)
		}
		s.means = append(s.means, mm)
	}
	s.RestSeconds, s.RestFloor = c.rest(p, act), act.Rest
	if p.Wait.AtMost != "" {
		if s.AtMostSeconds, err = seconds(p.Wait.AtMost); err != nil {
			c.fail(p.path, "%q: at_most: %v", p.ID, err)
		}
	}
	switch {
	case p.origin == fromRecovery:
		c.m.recoverySteps = append(c.m.recoverySteps, i)
	default:
		c.m.mainSteps = append(c.m.mainSteps, i)
	}
	if s.Hands {
		c.m.handSteps = append(c.m.handSteps, i)
	}
	if s.Command {
		c.m.commandSteps = append(c.m.commandSteps, i)
	}
}

// rest gives the wait of a step in seconds and checks it against its floor.
func (c *compiler) rest(p plain, act Act) float64 {
	rest := 0.0
	if act.Command {
		rest = RestDefault
	}
	if p.Wait.Rest != "" {
		r, err := seconds(p.Wait.Rest)
		if err != nil {
			c.fail(p.path, "%q: rest: %v", p.ID, err)
			return rest
		}
		rest = r
	}
	if act.Command && rest < RestDefault && p.Wait.Maker == "" {
		c.fail(p.path, "%q rests %g s; %g s from the end of a movement is the default: a shorter rest needs the maker's figure, named under maker", p.ID, rest, RestDefault)
	}
	if rest < act.Rest {
		c.fail(p.path, "%q waits %g s; for %q it is at least %g s", p.ID, rest, act.ID, act.Rest)
	}
	return rest
}

func (c *compiler) assigns(p plain, sets map[string]string) []assign {
	var out []assign
	for _, id := range sortedKeys(sets) {
		k, ok := c.factIndex[id]
		if !ok {
			c.fail(p.path, "%q sets %q, which is no fact of this procedure", p.ID, id)
			continue
		}
		v := indexOf(c.m.Facts[k].Values, sets[id])
		if v < 1 {
			c.fail(p.path, "%q sets %s to %q; it has the values %v", p.ID, id, sets[id], c.m.Facts[k].Values[1:])
			continue
		}
		out = append(out, assign{k, v})
	}
	return out
}

// rules compiles the never rules of classes and file, and rest and finish.
func (c *compiler) rules() {
	var err error
	if c.m.rest, err = c.guard(c.file.Rest); err != nil {
		c.fail([]any{"rest"}, "%v", err)
	}
	if c.m.finish, err = c.guard(c.file.Finish); err != nil {
		c.fail([]any{"finish"}, "%v", err)
	}
	for i, d := range c.file.Dangers {
		n, err := c.guard(d.While)
		if err != nil || d.Text == "" || n.op == opTrue {
			c.fail([]any{"dangers", i}, "a danger needs text, and while: a condition (%v)", err)
		}
		c.m.dangers = append(c.m.dangers, n)
	}
	for _, cl := range c.m.Classes {
		for _, r := range cl.Rules {
			if cl.ID == "vehicle" && c.replaced(r.ID) {
				continue
			}
			c.rule(r, cl.Title, nil)
		}
	}
	for i, r := range c.file.Never {
		c.rule(r, "this procedure", []any{"never", i})
	}
}

func (c *compiler) replaced(rule string) bool {
	for _, cl := range c.m.Classes {
		if indexOf(cl.Instead, rule) >= 0 {
			return true
		}
	}
	return false
}

func (c *compiler) rule(r Rule, owner string, path []any) {
	if r.ID == "" || r.Text == "" {
		c.fail(path, "a never rule needs id and text")
		return
	}
	idx := len(c.m.Rules)
	c.m.Rules = append(c.m.Rules, MRule{r.ID, r.Text, owner})
	if !r.State.IsEmpty() {
		n, err := c.guard(r.State)
		if err != nil {
			c.fail(path, "never %q: %v", r.ID, err)
		}
		c.m.stateRules = append(c.m.stateRules, stepRule{idx, n})
	}
	if len(r.Acts) == 0 {
		if r.State.IsEmpty() {
			c.fail(path, "never %q says neither acts nor state", r.ID)
		}
		return
	}
	for _, a := range r.Acts {
		if _, ok := c.acts[a]; !ok && a != "finish" && a != "hand_over" && a != "hands" && a != "command" {
			if path != nil {
				c.fail(path, "never %q: act %q is not known", r.ID, a)
			}
		}
	}
	if indexOf(r.Acts, "finish") >= 0 {
		n, err := c.guard(r.Unless)
		if err != nil {
			c.fail(path, "never %q: %v", r.ID, err)
		}
		c.m.finishRules = append(c.m.finishRules, stepRule{idx, n})
	}
	if indexOf(r.Acts, "hand_over") >= 0 {
		n, err := c.guard(r.Unless)
		if err != nil {
			c.fail(path, "never %q: %v", r.ID, err)
		}
		c.m.handRules = append(c.m.handRules, stepRule{idx, n})
	}
	for i := range c.m.Steps {
		s := &c.m.Steps[i]
		if indexOf(r.Acts, s.Act) < 0 && !(s.Hands && indexOf(r.Acts, "hands") >= 0) && !(s.Command && indexOf(r.Acts, "command") >= 0) {
			continue
		}
		n, err := c.guard(r.Unless.forSide(s.side))
		if err != nil {
			c.fail(s.path, "%q: never rule %q cannot be put to it: %v", s.ID, r.ID, err)
			continue
		}
		s.rules = append(s.rules, stepRule{idx, n})
	}
}

func (c *compiler) groupOf(id string) []string {
	if ids, ok := c.groups[id]; ok {
		return ids
	}
	return []string{id}
}

func orNaN(s string, dim unit.Dimension, u *unit.Unit) (float64, error) {
	if s == "" {
		return math.NaN(), nil
	}
	q, err := unit.ParseQuantity(s)
	if err != nil {
		return 0, err
	}
	if dim != "" && q.Unit.Dim != dim {
		return 0, errDim(s, q.Unit.Dim, dim)
	}
	if u != nil && u.Symbol == "" {
		*u = q.Unit
	}
	return q.SI, nil
}
