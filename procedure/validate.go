package procedure

import "strings"

// validate checks what the hazard classes ask of every file. It is the part of
// safety that does not depend on order; the checker proves the rest.
func (c *compiler) validate() {
	owned := c.ownership()
	c.validateSetters()
	for i := range c.m.Steps {
		s := &c.m.Steps[i]
		c.validateConfirm(s)
		c.validateHazards(s)
		c.validateSets(s, owned)
		if s.origin != fromRecovery {
			c.validateRecoveries(s)
		}
		if s.Who == "" || indexOf([]string{"technician", "second_person", "module"}, s.Who) < 0 {
			c.fail(s.path, "%q: who is %q; write technician, second_person or module", s.ID, s.Who)
		}
		if s.Do == "" {
			c.fail(s.path, "%q has no text", s.ID)
		}
		if s.origin == fromRecovery && s.Command {
			c.fail(s.path, "%q: a recovery step sends no command: stop means no further command", s.ID)
		}
		if s.Wait.Broken != "" && s.Wait.Broken != "wait" && s.Wait.Broken != "step" {
			c.fail(s.path, "%q: broken is %q; write wait or step", s.ID, s.Wait.Broken)
		}
		if s.Command && len(s.Outcomes) > 0 {
			c.fail(s.path, "%q: a commanded movement has one outcome; what is not as expected is an interruption", s.ID)
		}
		c.sourceTags(s.path, s.From)
	}
	for i, w := range c.file.Watches {
		c.sourceTags([]any{"watches", i}, w.From)
	}
	c.validateWatches()
	c.validateFigures()
	c.validateOnlyIf()
	for _, cl := range c.m.Classes {
		for _, id := range cl.Ask {
			if j, ok := c.stepIndex[id]; !ok || c.m.Steps[j].origin != fromQuestion {
				c.fail([]any{"identify"}, "%s must ask the question %q before anything is touched", cl.Title, id)
			}
		}
	}
	for i, q := range c.file.Identify {
		if len(q.Answers) < 2 || len(q.Answers) > 8 {
			c.fail([]any{"identify", i}, "question %q has %d answers; write 2 to 8", q.ID, len(q.Answers))
		}
	}
}

// validateRecoveries: some interruptions are never harmless.
func (c *compiler) validateRecoveries(s *MStep) {
	act := c.acts[s.Act]
	for k, kind := range Kinds {
		r := s.Recovers[k]
		switch {
		case kind == "injury_or_fire" && r.class != 5:
			c.fail(s.path, "%q: when someone is hurt there is one way, R5: stop", s.ID)
		case kind == "not_as_expected" && r.class == 0:
			c.fail(s.path, "%q: what is not as expected is never harmless (R0)", s.ID)
		case act.FailStops && kind == "not_as_expected" && r.class != 5:
			c.fail(s.path, "%q: when %q is not as expected there is one way, R5: stop", s.ID, act.ID)
		case act.KeepsPower && kind != "injury_or_fire" && r.class != 4:
			c.fail(s.path, "%q: when %s, keep power and session (R4)", s.ID, KindText[kind])
		case s.Command && kind != "device_dies" && r.class == 0, s.Hands && kind == "operator_leaves" && r.class == 0:
			c.fail(s.path, "%q: when %s, it must be looked at and done again; R0 is not enough", s.ID, KindText[kind])
		}
	}
	if r := s.Recovers[5]; len(act.Doubts) > 0 && r.class != 5 {
		for _, id := range act.Doubts {
			fi, ok := c.factIndex[id]
			if !ok {
				continue
			}
			last := -1
			for _, j := range c.m.Facts[fi].setters {
				if contains(c.m.Steps[j].after, c.stepIndex[s.ID]) {
					last = j
				}
			}
			if last >= 0 && !contains(r.reset, last) {
				c.fail(s.path, "%q: when it is not as expected, %s is in doubt: its recovery must go back to %q or before, or stop", s.ID, id, c.m.Steps[last].ID)
			}
		}
	}
}

func (c *compiler) sourceTags(path []any, tags []string) {
	for _, tag := range tags {
		found := false
		for _, s := range c.file.Sources {
			found = found || s.ID == tag
		}
		if !found {
			c.fail(path, "source %q is not listed under sources", tag)
		}
	}
}

// ownership maps "fact=value" of the classes to the acts that may set it.
func (c *compiler) ownership() map[string][]string {
	owned := map[string][]string{}
	for _, id := range sortedKeys(c.acts) {
		for _, fv := range c.acts[id].Sets {
			for _, side := range []string{"left", "right"} {
				key := replaceSide(fv, side)
				if indexOf(owned[key], id) < 0 {
					owned[key] = append(owned[key], id)
				}
			}
		}
	}
	return owned
}

func (c *compiler) validateConfirm(s *MStep) {
	hows := map[string]bool{}
	for _, m := range s.Confirm.By {
		if indexOf(Hows, m.How) < 0 {
			c.fail(s.path, "%q: confirmation %q is not known; write one of: %v", s.ID, m.How, Hows)
		}
		if hows[m.How] {
			c.fail(s.path, "%q: %q is given twice; two means of one kind are not independent", s.ID, m.How)
		}
		hows[m.How] = true
		if m.Text == "" {
			c.fail(s.path, "%q: a confirmation has no text", s.ID)
		}
	}
	if len(hows) == 0 {
		c.fail(s.path, "%q has no confirmation: no fact is set without one", s.ID)
	}
	if s.Need > len(hows) {
		c.fail(s.path, "%q needs %d independent means and lists %d", s.ID, s.Need, len(hows))
	}
	if n := c.acts[s.Act].Means; s.Need < n && s.origin != fromRecovery {
		c.fail(s.path, "%q must be confirmed by %d independent means, it asks %d", s.ID, n, s.Need)
	}
}

func (c *compiler) validateHazards(s *MStep) {
	worst := 9
	for _, h := range s.Hazards {
		if severity(h.Word) == 9 {
			c.fail(s.path, "%q: signal word %q; ANSI Z535 knows DANGER, WARNING, CAUTION and NOTICE", s.ID, h.Word)
		}
		if h.Text == "" || h.Do == "" {
			c.fail(s.path, "%q: a hazard says what can happen (text) and the one thing to do (do)", s.ID)
		}
		worst = min(worst, severity(h.Word))
	}
	for _, w := range s.Wording {
		for _, h := range w.Hazards {
			if severity(h.Word) == 9 || h.Text == "" || h.Do == "" {
				c.fail(s.path, "%q: a hazard of a wording has a signal word, text and do", s.ID)
			}
		}
	}
	if want := c.acts[s.Act].Hazard; want != "" && worst > severity(want) && s.origin != fromRecovery {
		c.fail(s.path, "%q: act %q must carry a hazard of at least %s", s.ID, s.Act, want)
	}
}

func (c *compiler) validateSets(s *MStep, owned map[string][]string) {
	all := append([]assign{}, s.sets...)
	for _, o := range s.outcomes {
		all = append(all, o.sets...)
	}
	for _, a := range all {
		f := &c.m.Facts[a.fact]
		key := f.ID + "=" + f.Values[a.value]
		by, isOwned := owned[key]
		if !isOwned && c.classFact(f.ID) {
			c.fail(s.path, "%q sets %s; no act of its hazard class makes that so", s.ID, key)
			continue
		}
		if isOwned && indexOf(by, s.Act) < 0 {
			c.fail(s.path, "%q sets %s with act %q; that comes about only by: %s", s.ID, key, s.Act, strings.Join(by, ", "))
		}
		if f.Reading != "" {
			c.fail(s.path, "%q sets a reading; readings come with a confirmation", s.ID)
		}
		need := 0
		for _, id := range by {
			if id != "secure" { // secure borrows the facts of other acts
				need = max(need, c.acts[id].Means)
			}
		}
		if s.Need < need {
			c.fail(s.path, "%q sets %s, which takes %d independent means; it asks %d", s.ID, key, need, s.Need)
		}
	}
}

func (c *compiler) classFact(id string) bool {
	base, _, _ := strings.Cut(id, ".")
	for _, cl := range c.m.Classes {
		for _, f := range cl.Facts {
			if f.ID == base {
				return true
			}
		}
	}
	return false
}

func (c *compiler) validateWatches() {
	for _, cl := range c.m.Classes {
		for _, floor := range cl.WatchFor {
			k := c.watchIndex(floor.ID)
			if k >= 0 {
				c.m.Watches[k].Floor = true
				l, err := c.m.Watches[k].Limits()
				if err == nil {
					si := func(v float64) float64 { return l.Unit.SI(v) }
					if floor.Hold > 0 && !(l.Hold >= si(floor.Hold)) || floor.Stop > 0 && !(l.Stop >= si(floor.Stop)) {
						c.fail([]any{"watches", k}, "watch %q is looser than %s allows: hold at or above %g %s, stop at or above %g %s", floor.ID, cl.Title, floor.Hold, floor.Unit, floor.Stop, floor.Unit)
					}
					if floor.High > 0 && !(l.StopHigh <= si(floor.High)) {
						c.fail([]any{"watches", k}, "watch %q must have stop_high at or below %g %s", floor.ID, floor.High, floor.Unit)
					}
				}
			}
			for i := range c.m.Steps {
				s := &c.m.Steps[i]
				must := s.Command && len(floor.Acts) == 0 || indexOf(floor.Acts, s.Act) >= 0
				if must && c.classAct(cl, s.Act) && indexOf(s.Watch, floor.ID) < 0 {
					c.fail(s.path, "%q must be watched by %q: %s", s.ID, floor.ID, cl.Title)
				}
			}
		}
	}
}

func (c *compiler) classAct(cl Class, act string) bool {
	for _, a := range cl.Acts {
		if a.ID == act {
			return true
		}
	}
	return false
}

// validateSetters asks that the steps which set one fact stand in one order, so
// that "the last step that set it" has a meaning when it must be confirmed again.
func (c *compiler) validateSetters() {
	for i := range c.m.Steps {
		s := &c.m.Steps[i]
		if s.origin == fromRecovery {
			continue
		}
		seen := map[int]bool{}
		add := func(as []assign) {
			for _, a := range as {
				if !seen[a.fact] {
					seen[a.fact] = true
					c.m.Facts[a.fact].setters = append(c.m.Facts[a.fact].setters, i)
				}
			}
		}
		add(s.sets)
		for _, o := range s.outcomes {
			add(o.sets)
		}
	}
	for fi := range c.m.Facts {
		set := c.m.Facts[fi].setters
		for x := 0; x+1 < len(set); x++ {
			a, b := &c.m.Steps[set[x]], &c.m.Steps[set[x+1]]
			if !contains(a.after, set[x+1]) && (a.OnlyIf.IsEmpty() || b.OnlyIf.IsEmpty()) {
				c.fail(b.path, "%q and %q both set %s and may be done in either order; let one need the other", a.ID, b.ID, c.m.Facts[fi].ID)
			}
		}
	}
}

// validateOnlyIf: a step may be left out only for what was asked at the start.
func (c *compiler) validateOnlyIf() {
	asked := map[int]bool{}
	for _, i := range c.m.mainSteps {
		if s := &c.m.Steps[i]; s.origin == fromQuestion {
			for _, o := range s.outcomes {
				for _, a := range o.sets {
					asked[a.fact] = true
				}
			}
		}
	}
	for _, ds := range c.m.disturbs {
		for _, d := range ds {
			for _, fi := range d.facts {
				delete(asked, fi)
			}
		}
	}
	for i := range c.m.Steps {
		s := &c.m.Steps[i]
		c.askedOnly(s, "only_if", &s.onlyIf, asked)
		for k := range s.wordings {
			c.askedOnly(s, "wording", &s.wordings[k], asked)
		}
	}
}

func (c *compiler) askedOnly(s *MStep, field string, n *node, asked map[int]bool) {
	for k := range n.kids {
		c.askedOnly(s, field, &n.kids[k], asked)
	}
	if n.op == opFact && !asked[n.idx] || n.op > opFact {
		c.fail(s.path, "%q: %s may ask only what a question of identify settled", s.ID, field)
	}
}

func contains(list []int, x int) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}
