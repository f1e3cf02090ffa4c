package player

import (
	"fmt"
	"sort"
	"strings"

	"proveout/procedure"
	"proveout/procedure/checker"
)

// Reason says why a mutation that the checker lets pass is no danger: what it took
// away, and the step, condition, rule or hazard class that gives the same or that
// holds without it. It is made from the two procedures and from what was explored of
// both; whole and now are the reports of the shipped one and of the mutant.
//
// A mutation that takes a condition away only ever lets more through: when as many
// states and transitions are reached as before, it was never what held a step back.
func Reason(shipped, mutant *procedure.Machine, mu Mutant, whole, now checker.Report) string {
	r := reasoner{shipped, mutant, mu}
	what := r.what()
	if whole.States == now.States && whole.Transitions == now.Transitions {
		return fmt.Sprintf("%s; as many states (%d) and transitions (%d) are reached as before", what, now.States, now.Transitions)
	}
	return fmt.Sprintf("%s; %+d states, %+d transitions, and in all %d states every never rule holds, rest and finish stay reachable and no start passes a wait or a watch", what, now.States-whole.States, now.Transitions-whole.Transitions, now.States)
}

type reasoner struct {
	was, is *procedure.Machine
	mu      Mutant
}

// what says what was taken away and what is left to hold it.
func (r reasoner) what() string {
	id, rest, _ := strings.Cut(r.mu.Where, " ")
	st := r.step(r.was, id)
	switch r.mu.Kind {
	case "guard_removed":
		return "without its interlock " + r.heldBy(st, leaves(st.Guard))
	case "fact_dropped":
		if rest == "not" {
			return "without \"not\" in its interlock " + r.heldBy(st, nil)
		}
		return "without " + rest + " in its interlock " + r.heldBy(st, map[string]string{rest: st.Guard.Facts[rest]})
	case "need_dropped":
		return r.needDropped(st, rest)
	case "confirmation_dropped", "confirmation_weakened":
		left := r.step(r.is, id)
		var hows []string
		for _, mean := range left.Confirm.By {
			hows = append(hows, mean.How)
		}
		return fmt.Sprintf("%d independent means of %s are still asked; act %s asks for %d", max(left.Need, 1), strings.Join(hows, ", "), st.Act, max(r.act(st.Act).Means, 1))
	case "wait_zeroed":
		return fmt.Sprintf("the %s were the file's own; act %s asks for no rest and moves nothing", st.Wait.Rest, st.Act)
	case "hazard_dropped":
		return fmt.Sprintf("words only: act %s asks for %s", st.Act, orNone(r.act(st.Act).Hazard, "no signal word"))
	case "recovery_removed":
		own, all := st.Interrupt[rest], r.is.File.Interrupt[rest]
		return fmt.Sprintf("instead of %s the procedure's own %s holds (%q), and the interlock of %q is asked again", own.Class, all.Class, all.Text, st.ID)
	case "recovery_made_harmless":
		return fmt.Sprintf("going on keeps %q under way unconfirmed; its interlock is asked again, what the interruption puts in doubt (%s) is confirmed again first", st.ID, orNone(r.doubts(rest), "nothing"))
	case "sets_dropped":
		return fmt.Sprintf("%s as %q would make it is asked for by %s, and %s", rest, st.ID, orNone(r.readers(rest), "nothing"), r.otherSetters(st, rest))
	case "act_renamed":
		return fmt.Sprintf("as \"look\" it makes nothing so; rules about act %s: %s; what it spoiled (%s) is asked for by %s", st.Act, orNone(r.rulesOn(st), "none"), orNone(strings.Join(r.act(st.Act).Spoils, ", "), "nothing"), orNone(r.readers(r.act(st.Act).Spoils...), "nothing"))
	case "order_swapped":
		return fmt.Sprintf("either order: %s", r.bothRules())
	case "step_removed":
		var facts []string
		for f := range st.Sets {
			facts = append(facts, f)
		}
		return fmt.Sprintf("what %q makes so (%s) is asked for by %s, and %s", st.ID, orNone(strings.Join(sorted(facts), ", "), "nothing"), orNone(r.readers(facts...), "nothing"), r.otherSetters(st, facts...))
	case "disturb_dropped":
		kind, n := id, 0
		fmt.Sscan(rest, &n)
		d := r.was.File.Disturbs[kind][n]
		return fmt.Sprintf("the hazard classes put in doubt by themselves: %s; the file's own %s", orNone(r.classDoubts(kind), "nothing"), disturbText(d))
	case "figures_dropped":
		return fmt.Sprintf("act %s asks for no figures: the number was the file's own", st.Act)
	case "only_if_dropped":
		return fmt.Sprintf("%q is then done in every variant; never rules about %s: %s", st.ID, st.Act, orNone(r.rulesOn(st), "none"))
	case "applies_dropped":
		return fmt.Sprintf("%q may then be asked for where it is not needed: it is done, or looked at, all the same, and makes so only %s", r.mu.Where, strings.Join(r.recoverySets(r.mu.Where), ", "))
	case "recovery_guard_removed":
		return fmt.Sprintf("%q commands nothing and begins only while held or stopping, at rest; the never rules about hands and what it makes so (%s) hold in every state explored", r.mu.Where, strings.Join(r.recoverySets(r.mu.Where), ", "))
	case "recovery_forgets":
		return fmt.Sprintf("what %q undoes is known by its facts (%s), which later interlocks ask for", r.mu.Where, strings.Join(r.recoverySets(r.mu.Where), ", "))
	case "recovery_step_removed":
		return fmt.Sprintf("the resting state can be reached without %q: %s", r.mu.Where, r.is.SayRest())
	case "rest_weakened":
		return "the never rules about handing over hold the resting state by themselves"
	}
	return ""
}

func orNone(s, none string) string {
	if s == "" {
		return none
	}
	return s
}

func sorted(list []string) []string {
	sort.Strings(list)
	return list
}

// step finds a step by its id in the file: for a two-sided one its left half, for one
// of a cycle its first round.
func (r reasoner) step(m *procedure.Machine, id string) *procedure.MStep {
	for i := range m.Steps {
		if st := &m.Steps[i]; st.Base() == id && st.Origin() == "step" {
			return st
		}
	}
	return &procedure.MStep{}
}

func (r reasoner) act(id string) procedure.Act {
	var out procedure.Act
	for _, c := range r.was.Classes {
		for _, a := range c.Acts {
			if a.ID == id {
				out.Means = max(out.Means, a.Means)
				out.Spoils = append(out.Spoils, a.Spoils...)
				if a.Hazard != "" {
					out.Hazard = a.Hazard
				}
			}
		}
	}
	return out
}

// before lists the indices of all steps before step i, near and far, nearest last.
func before(m *procedure.Machine, i int) []int {
	seen := map[int]bool{}
	var walk func(i int)
	walk = func(i int) {
		for _, n := range m.Steps[i].NeedsDone() {
			if !seen[n] {
				seen[n] = true
				walk(n)
			}
		}
	}
	walk(i)
	var out []int
	for n := range seen {
		out = append(out, n)
	}
	sort.Ints(out)
	return out
}

// heldBy says what gives the facts of a condition that was taken away: the last step
// before that makes each so, its beginning, or a never rule about the act.
func (r reasoner) heldBy(st *procedure.MStep, facts map[string]string) string {
	i, _ := r.is.StepIndex(st.ID)
	var parts []string
	for _, fact := range keys(facts) {
		by := ""
		for _, n := range before(r.is, i) {
			if b := &r.is.Steps[n]; setsAny(b, fact, facts[fact]) {
				by = b.ID
			}
		}
		if by != "" {
			parts = append(parts, fmt.Sprintf("%s is %s by step %q, which comes before in every order", fact, facts[fact], by))
			continue
		}
		f, _ := r.is.FactIndex(fact)
		parts = append(parts, fmt.Sprintf("%s begins as %s", fact, r.is.Facts[f].Values[r.is.Facts[f].Initial]))
	}
	parts = append(parts, "never rules about "+st.Act+": "+orNone(r.rulesOn(st), "none"))
	return strings.Join(parts, "; ")
}

func setsAny(st *procedure.MStep, fact, values string) bool {
	for _, v := range strings.Split(values, "|") {
		v = strings.TrimSpace(v)
		if st.Sets[fact] == v {
			return true
		}
		for _, o := range st.Outcomes {
			if o.Sets[fact] == v {
				return true
			}
		}
	}
	return false
}

// leaves lists the facts a condition asks for outright.
func leaves(g procedure.Guard) map[string]string {
	out := map[string]string{}
	for f, v := range g.Facts {
		out[f] = v
	}
	for _, k := range g.All {
		for f, v := range leaves(k) {
			out[f] = v
		}
	}
	return out
}

func (r reasoner) needDropped(st *procedure.MStep, need string) string {
	need = strings.ReplaceAll(need, "{side}", st.Side())
	i, _ := r.is.StepIndex(st.ID)
	for _, n := range r.is.Steps[i].NeedsDone() {
		via := &r.is.Steps[n]
		if via.ID == need || via.Base() == need {
			return fmt.Sprintf("%q comes before all the same", need)
		}
		for _, far := range before(r.is, n) {
			if f := &r.is.Steps[far]; f.ID == need || f.Base() == need {
				return fmt.Sprintf("%q comes before all the same, by way of %q", need, via.ID)
			}
		}
	}
	return fmt.Sprintf("%q may come later; %q is held by its interlock (%s) and by never rules: %s", need, st.ID, orNone(r.is.SayInterlock(i), "none"), orNone(r.rulesOn(st), "none"))
}

// rulesOn lists the never rules that speak of a step.
func (r reasoner) rulesOn(st *procedure.MStep) string {
	seen := map[string]bool{}
	var out []string
	add := func(rule procedure.Rule) {
		for _, a := range rule.Acts {
			if (a == st.Act || a == "hands" && st.Hands || a == "command" && st.Command) && !seen[rule.ID] {
				seen[rule.ID] = true
				out = append(out, rule.ID)
			}
		}
	}
	for _, c := range r.was.Classes {
		for _, rule := range c.Rules {
			add(rule)
		}
	}
	for _, rule := range r.was.File.Never {
		add(rule)
	}
	return strings.Join(out, ", ")
}

func (r reasoner) bothRules() string {
	a, b, _ := strings.Cut(r.mu.Where, " and ")
	return fmt.Sprintf("never rules about %q: %s; about %q: %s", a, orNone(r.rulesOn(r.step(r.was, a)), "none"), b, orNone(r.rulesOn(r.step(r.was, b)), "none"))
}

// readers lists who asks for any of the facts: interlocks, never rules, rest, finish.
func (r reasoner) readers(facts ...string) string {
	asks := func(g procedure.Guard) bool {
		for _, f := range facts {
			if mentions(g, f) {
				return true
			}
		}
		return false
	}
	var out []string
	for _, s := range r.is.File.Steps {
		if asks(s.Guard) {
			out = append(out, "the interlock of "+s.ID)
		}
		for _, in := range s.Cycle {
			if asks(in.Guard) {
				out = append(out, "the interlock of "+s.ID+"."+in.ID)
			}
		}
	}
	for _, c := range r.is.Classes {
		for _, rule := range c.Rules {
			if asks(rule.Unless) || asks(rule.State) {
				out = append(out, rule.ID)
			}
		}
	}
	if asks(r.is.File.Rest) {
		out = append(out, "the resting state")
	}
	return strings.Join(out, ", ")
}

func mentions(g procedure.Guard, fact string) bool {
	for f := range g.Facts {
		// A rule names sides with {side}; "left" and "right" both count.
		base, _, _ := strings.Cut(f, ".")
		want, _, _ := strings.Cut(fact, ".")
		if base == want {
			return true
		}
	}
	for _, k := range append(append([]procedure.Guard{}, g.All...), g.Any...) {
		if mentions(k, fact) {
			return true
		}
	}
	return g.Not != nil && mentions(*g.Not, fact)
}

// otherSetters says which other steps make a fact so.
func (r reasoner) otherSetters(st *procedure.MStep, facts ...string) string {
	var out []string
	for i := range r.is.Steps {
		for _, f := range facts {
			f = strings.ReplaceAll(f, "{side}", "left")
			v := st.Sets[f]
			if o := &r.is.Steps[i]; o.Base() != st.Base() && v != "" && setsAny(o, f, v) {
				out = append(out, fmt.Sprintf("%s is %s by %q too", f, v, o.ID))
			}
		}
	}
	if len(out) == 0 {
		return "no other step makes it so: those that ask find it met otherwise or do not ask for that value"
	}
	return strings.Join(out, ", ")
}

func (r reasoner) doubts(kind string) string {
	var out []string
	for _, d := range r.is.File.Disturbs[kind] {
		out = append(out, d.Facts...)
	}
	if c := r.classDoubts(kind); c != "" {
		out = append(out, c)
	}
	return strings.Join(out, ", ")
}

func (r reasoner) classDoubts(kind string) string {
	var out []string
	for _, c := range r.was.Classes {
		for _, d := range c.Disturbs[kind] {
			out = append(out, d.Facts...)
		}
	}
	return strings.Join(out, ", ")
}

func disturbText(d procedure.Disturb) string {
	if d.From != "" {
		return fmt.Sprintf("would begin again from %q", d.From)
	}
	return "would add " + strings.Join(d.Facts, ", ")
}

func (r reasoner) recoverySets(id string) []string {
	var out []string
	for _, s := range r.was.File.Recovery {
		if s.ID == id {
			for f := range s.Sets {
				out = append(out, f)
			}
		}
	}
	return sorted(out)
}
