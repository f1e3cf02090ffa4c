package procedure

// recoveries compiles what interruptions put in doubt and the way out of every step.
func (c *compiler) recoveries() {
	for _, cl := range c.m.Classes {
		c.disturbances(cl.Disturbs, nil)
	}
	c.disturbances(c.file.Disturbs, []any{"disturbs"})
	for k := range c.file.Interrupt {
		if indexOf(Kinds, k) < 0 {
			c.fail([]any{"interrupt"}, "interruption %q is not known; write one of: %v", k, Kinds)
		}
	}
	for i := range c.m.Steps {
		s := &c.m.Steps[i]
		for _, id := range s.Again {
			for _, id := range c.groupOf(id) {
				j, ok := c.stepIndex[id]
				if !ok || s.origin != fromRecovery || c.m.Steps[j].origin == fromRecovery {
					c.fail(s.path, "%q begins again from %q: that is for recovery steps, and names a main step", s.ID, id)
					continue
				}
				s.again = append(s.again, c.m.Steps[j].after...)
			}
		}
		for k := range s.Interrupt {
			if indexOf(Kinds, k) < 0 {
				c.fail(s.path, "%q: interruption %q is not known; write one of: %v", s.ID, k, Kinds)
			}
		}
		for k, kind := range Kinds {
			r, ok := s.Interrupt[kind]
			if !ok {
				r, ok = c.file.Interrupt[kind]
			}
			if !ok {
				c.fail(s.path, "%q does not say what to do when %s, and neither does the procedure (interrupt: %s)", s.ID, KindText[kind], kind)
				continue
			}
			s.Recovers[k] = c.recovery(i, kind, r)
		}
	}
}

// disturbances compiles what interruptions put in doubt: first that of the hazard
// classes, which a file cannot drop, then that of the file.
func (c *compiler) disturbances(by map[string][]Disturb, path []any) {
	for _, k := range sortedKeys(by) {
		kind := indexOf(Kinds[:5], k)
		if kind < 0 {
			c.fail(path, "interruption %q is not known or concerns one step only; write one of: %v", k, Kinds[:5])
			continue
		}
		for n, d := range by[k] {
			at := append(append([]any{}, path...), k, n)
			var out disturb
			if !d.Unless.IsEmpty() {
				g, err := c.guard(d.Unless)
				if err != nil {
					c.fail(at, "%v", err)
				}
				out.unless = &g
			}
			for _, id := range d.Facts {
				found := false
				for _, x := range []string{id, id + ".left", id + ".right"} {
					if i, ok := c.factIndex[x]; ok {
						out.facts = append(out.facts, i)
						found = true
					}
				}
				if !found {
					c.fail(at, "%q is no fact of this procedure", id)
				}
			}
			if d.From != "" {
				j, ok := c.stepIndex[d.From]
				if !ok || c.m.Steps[j].origin == fromRecovery {
					c.fail(at, "from %q: there is no such step", d.From)
					continue
				}
				out.reset = c.m.Steps[j].after
			}
			if len(d.Facts) == 0 && d.From == "" {
				c.fail(at, "name facts, or the step to begin again from")
			}
			c.m.disturbs[kind] = append(c.m.disturbs[kind], out)
		}
	}
}

func (c *compiler) recovery(i int, kind string, r RecoveryRule) MRecovery {
	s := &c.m.Steps[i]
	out := MRecovery{Rule: r}
	class := indexOf([]string{"R0", "R1", "R2", "R3", "R4", "R5"}, r.Class)
	if class < 0 {
		c.fail(s.path, "%q: recovery class %q for %s is not known; write R0 to R5", s.ID, r.Class, kind)
		return out
	}
	out.class = uint8(class)
	if r.Text == "" {
		c.fail(s.path, "%q: the recovery for %s has no text for the technician", s.ID, kind)
	}
	if class == 2 && r.From == "" {
		c.fail(s.path, "%q: recovery R2 for %s needs from: the step to run again from", s.ID, kind)
	}
	if class == 3 && len(r.First) == 0 {
		c.fail(s.path, "%q: recovery R3 for %s needs first: the recovery steps that make it safe", s.ID, kind)
	}
	for _, id := range r.First {
		for _, id := range c.groupOf(id) {
			j, ok := c.stepIndex[id]
			if !ok || c.m.Steps[j].origin != fromRecovery {
				c.fail(s.path, "%q: %q is no step under recovery", s.ID, id)
				continue
			}
			out.first = append(out.first, j)
			c.m.Steps[j].owable = true
		}
	}
	if r.From != "" {
		ids := c.groupOf(r.From)
		for _, id := range ids {
			j, ok := c.stepIndex[id]
			if !ok || c.m.Steps[j].origin == fromRecovery {
				c.fail(s.path, "%q: recovery from %q: there is no such step", s.ID, id)
				continue
			}
			seen := map[int]bool{}
			for _, k := range out.reset {
				seen[k] = true
			}
			for _, k := range c.m.Steps[j].after {
				if !seen[k] {
					out.reset = append(out.reset, k)
				}
			}
		}
	}
	return out
}
