package cli

import (
	"fmt"
	"strconv"
	"strings"

	"proveout/procedure"
	"proveout/procedure/runner"
	"proveout/unit"
)

// choice is one thing that may be said now.
type choice struct {
	text   string
	entry  runner.Entry
	ask    string // a value is asked for
	unit   string
	danger string // a DANGER step: the word must be typed
	// before are entries said with it, in one go: to look at a precondition is to
	// begin it and to confirm it.
	before []runner.Entry
}

// large writes a word that can be read from two metres: double height where the
// terminal can (DEC lines ESC # 3 and ESC # 4), capitals elsewhere.
func (p *page) large(s string, terminal bool) {
	s = strings.ToUpper(s)
	if !terminal {
		p.line("*** " + s)
		return
	}
	p.line("\x1b#3" + s)
	p.line("\x1b#4" + s)
}

// show writes the present view and the choices.
func (t *terminal) show() []choice {
	v := t.s.Run.At(t.o.clock())
	p := t.out
	p.line("")
	p.line(strings.Repeat("=", lineWidth))
	switch v.Mode {
	case "running":
		p.large(fmt.Sprintf("%d of %d done", v.Done, v.Of), t.o.large)
	default:
		p.large(strings.ReplaceAll(v.Mode, "_", " "), t.o.large)
		p.para("", capitalFirst(v.ModeText)+".", 0)
	}
	for i, w := range v.Watches {
		mw := &t.m.Watches[i]
		value := ""
		if lim, err := mw.Limits(); err == nil && w.Value != 0 && w.Word != "not watched" {
			value = " " + unit.Format(w.Value, lim.Unit)
		}
		p.large(w.Word+value, t.o.large)
		p.para("", capitalFirst(mw.Quantity)+" at the "+mw.Point+".", 0)
		if w.Ask != "" {
			p.para("", w.Ask, 0)
		}
		if w.Blind != "" && len(v.Active) > 0 {
			p.para("", w.Blind, 0)
		}
	}
	for _, w := range v.WaysOut {
		p.para("", capitalFirst(w.What)+". What to do:", 0)
		p.para("  "+w.Class+"  ", w.Text, 6)
	}
	for _, d := range v.Dangers {
		p.para("DANGEROUS TO LEAVE: ", d, 4)
	}
	if v.Motor == "resting" && v.MotorLeft > 0 {
		p.large(fmt.Sprintf("at rest, %0.f s left", v.MotorLeft), t.o.large)
	}
	shown := map[string]bool{}
	for _, list := range [][]string{v.Active, v.Open, v.MakeSafe} {
		for _, id := range list {
			if !shown[id] && len(shown) < 4 {
				shown[id] = true
				t.showStep(v, id)
			}
		}
	}
	if v.Mode == "running" && len(v.Active) == 0 && len(v.Open) == 0 {
		for _, c := range v.NotYet[:min(1, len(v.NotYet))] {
			p.para("NOT YET "+c.Step+": ", strings.Join(c.Why, " "), 4)
		}
	}
	for _, why := range append(v.WhyNotOn, v.WhyNotRest...) {
		p.para("  before that: ", why, 4)
	}
	choices := choicesOf(t.m, v)
	p.line("")
	for i, c := range choices {
		text := c.text
		if c.ask != "" {
			text += fmt.Sprintf(" (type: %d and the value in %s)", i+1, c.unit)
		}
		p.para(fmt.Sprintf("%3d  ", i+1), text, 5)
	}
	p.line("  s  Stop: send no further command, make safe, hand over     q  close this program")
	p.line("  i  Interrupted     n  a note     v 13.4  a reading you typed     m 12.7  the meter's lowest")
	if v.Mode == "handed_over" && len(v.Failures) > 0 {
		p.line("  r  what failed was put right elsewhere: r and what was done and what showed it")
	}
	p.line("  w  the maker's rest for a step: w STEP 45 and where it stands")
	t.prompt()
	return choices
}

func (t *terminal) showStep(v runner.View, id string) {
	i, _ := t.m.StepIndex(id)
	st := &t.m.Steps[i]
	sv := v.Steps[i]
	p := t.out
	p.line("")
	do, hazards := t.m.SayStep(t.s.Run.State(), i)
	for _, h := range hazards {
		p.large(h.Word, t.o.large)
		p.para("  ", h.Text+" "+h.Do, 2)
	}
	p.line(st.ID + "  [" + sv.Phase + "]")
	if sv.Attempt > 0 && sv.Phase == "not begun" {
		p.para("  ", "Asked again: something was interrupted since. Look whether it is still so, or do it again.", 2)
	}
	p.para("  ", do, 2)
	if st.NoReturn != "" {
		p.para("  No way back: ", st.NoReturn, 4)
	}
	if sv.Left > 0 {
		p.large(fmt.Sprintf("wait %.0f s", sv.Left), t.o.large)
		p.para("  ", st.Wait.Why, 2)
	}
	if st.Need > 1 && sv.Missing > 0 && (sv.Phase == "under way" || len(sv.Given) > 0) {
		p.para("  ", fmt.Sprintf("Must be shown in %d independent ways; still missing: %d.", st.Need, sv.Missing), 2)
	}
}

// choicesOf lists what may be said in a view, in a fixed order.
func choicesOf(m *procedure.Machine, v runner.View) []choice {
	var out []choice
	add := func(c choice) { out = append(out, c) }
	for _, id := range v.Active {
		// While it is held or stopped only what makes safe goes on.
		if i, _ := m.StepIndex(id); (v.Mode == "running") != (m.Steps[i].Origin() == "recovery") {
			out = append(out, activeChoices(m, v.Steps[i], id)...)
		}
	}
	for _, list := range [][]string{v.Open, v.MakeSafe} {
		for _, id := range list {
			i, _ := m.StepIndex(id)
			if kind := m.Steps[i].Origin(); kind == "question" || kind == "precondition" {
				out = append(out, lookChoices(m, i)...)
				continue
			}
			c := choice{text: "Begin " + id, entry: runner.Entry{Kind: runner.Begin, Step: id}}
			for _, h := range m.Steps[i].Hazards {
				if h.Word == "DANGER" {
					c.danger = "DANGER"
				}
			}
			add(c)
		}
	}
	switch v.Mode {
	case "running":
		if v.Done == v.Of {
			add(choice{text: "Everything is done: finish", entry: runner.Entry{Kind: runner.Finished}})
		}
	case "held", "held_keep_power":
		if v.Motor == "moving" {
			add(choice{text: "I looked: everything is at rest", entry: runner.Entry{Kind: runner.AtRest}})
		}
		add(choice{text: "I looked, all is as it should be: go on", entry: runner.Entry{Kind: runner.GoOn}})
	case "stopping":
		if v.Motor == "moving" {
			add(choice{text: "I looked: everything is at rest", entry: runner.Entry{Kind: runner.AtRest}})
		}
		add(choice{text: "It is safe to leave: hand over (type the number and to whom, or where it stays)", entry: runner.Entry{Kind: runner.HandOver}})
	case "handed_over":
		add(choice{text: "Take it up again", entry: runner.Entry{Kind: runner.TakeUp}})
	}
	return out
}

// lookChoices are for questions and preconditions: one tap, since nothing is touched.
func lookChoices(m *procedure.Machine, i int) []choice {
	st := &m.Steps[i]
	begin := runner.Entry{Kind: runner.Begin, Step: st.ID}
	mean := st.Confirm.By[0]
	confirm := runner.Entry{Kind: runner.Confirm, Step: st.ID, How: mean.How}
	var out []choice
	for _, o := range st.Outcomes {
		out = append(out, choice{text: o.Text, before: []runner.Entry{begin, confirm}, entry: runner.Entry{Kind: runner.Choose, Step: st.ID, Outcome: o.ID}})
	}
	if len(st.Outcomes) == 0 {
		c := choice{text: "Yes: " + mean.Text, before: []runner.Entry{begin}, entry: confirm}
		c.readFrom(m, mean)
		out = append(out, c, choice{text: "No: it is not so", before: []runner.Entry{begin}, entry: runner.Entry{Kind: runner.Fails, Step: st.ID, What: "not_as_expected"}})
	}
	return out
}

func (c *choice) readFrom(m *procedure.Machine, mean procedure.Mean) {
	for _, r := range m.File.Readings {
		if r.ID == mean.Reading {
			c.ask, c.unit = r.Ask, r.Unit
		}
	}
}

func activeChoices(m *procedure.Machine, sv runner.StepView, id string) []choice {
	var out []choice
	st := &m.Steps[sv.Index]
	if sv.Phase == "under way" && st.RestSeconds > 0 {
		out = append(out, choice{text: id + ": it has come to its end", entry: runner.Entry{Kind: runner.End, Step: id, Seen: sv.Attempt}})
	} else {
		for _, mean := range st.Confirm.By {
			if contains(sv.Given, mean.How) {
				continue
			}
			c := choice{text: id + ": " + strings.ReplaceAll(mean.How, "_", " ") + ": " + mean.Text, entry: runner.Entry{Kind: runner.Confirm, Step: id, How: mean.How, Seen: sv.Attempt}}
			c.readFrom(m, mean)
			out = append(out, c)
		}
		if len(st.Outcomes) > 0 && len(sv.Given) >= st.Need {
			for _, o := range st.Outcomes {
				out = append(out, choice{text: id + ": " + o.Text, entry: runner.Entry{Kind: runner.Choose, Step: id, Outcome: o.ID, Seen: sv.Attempt}})
			}
		}
	}
	if sv.Phase == "waiting" {
		out = append(out, choice{text: id + ": it moved again, the wait was broken", entry: runner.Entry{Kind: runner.Broken, Step: id, Seen: sv.Attempt}})
	}
	if st.Origin() != "recovery" {
		out = append(out, choice{text: id + ": it is not as expected", entry: runner.Entry{Kind: runner.Fails, Step: id, What: "not_as_expected", Seen: sv.Attempt}})
	}
	return out
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}

// hear takes a line: the figure that is asked for, or an answer.
func (t *terminal) hear(choices []choice, line string) error {
	if t.asking != nil {
		if heard, err := t.figure(line); heard || err != nil {
			return err
		}
	}
	return t.answer(choices, line)
}

// answer does what a line says.
func (t *terminal) answer(choices []choice, line string) error {
	word, rest, _ := strings.Cut(line, " ")
	rest = strings.TrimSpace(rest)
	switch word {
	case "", "?":
		return nil
	case "s":
		return t.put(runner.Entry{Kind: runner.StopNow})
	case "n":
		return t.put(runner.Entry{Kind: runner.Note, Text: rest})
	case "i":
		return t.interrupted(rest)
	case "v", "m":
		return t.typed(word, rest)
	case "w":
		return t.makerRest(rest)
	case "r":
		return t.put(runner.Entry{Kind: runner.Resolved, Text: rest})
	}
	n, err := strconv.Atoi(word)
	if err != nil || n < 1 || n > len(choices) {
		t.out.line("Type one of the numbers above.")
		return nil
	}
	c := choices[n-1]
	if c.danger != "" && rest != c.danger {
		t.out.para("", fmt.Sprintf("This step can kill. Read the panel, then type: %d %s", n, c.danger), 0)
		return nil
	}
	e := c.entry
	switch {
	case e.Kind == runner.HandOver:
		e.To = rest
	case c.ask != "":
		u, err := unit.Parse(c.unit)
		if err != nil {
			return err
		}
		v, err := typedNumber(rest, u)
		if err != nil {
			t.out.para("", fmt.Sprintf("%s: type the number after the choice, for example: %d 13.4 %s", c.ask, n, c.unit), 0)
			return nil
		}
		e.Value = &v
	case e.Kind == runner.Begin:
		e.Supply = map[string]float64{}
		for i, m := range t.monitors {
			if s, ok := m.Last(); ok {
				e.Supply[t.m.Watches[i].ID] = s.Value
			}
		}
	}
	if t.ask(e) {
		return nil
	}
	for _, b := range c.before {
		if err := t.put(b); err != nil {
			return err
		}
	}
	return t.put(e)
}

// makerRest takes the maker's figure for the rest of a step: "retract.left 45 s" and,
// when it is shorter than what is asked, where it stands.
func (t *terminal) makerRest(line string) error {
	step, rest, _ := strings.Cut(line, " ")
	number, text, _ := strings.Cut(strings.TrimSpace(rest), " ")
	seconds, err := unit.Parse("s")
	if err != nil {
		return err
	}
	v, err := typedNumber(number, seconds)
	if err != nil {
		t.out.para("", "Type w, the step, the maker's rest in seconds, and where it stands, for example: w retract.left 45 maker's text, page 12", 0)
		return nil
	}
	return t.put(runner.Entry{Kind: runner.MakerRest, Step: step, Value: &v, Text: strings.TrimSpace(strings.TrimPrefix(text, "s "))})
}

func (t *terminal) interrupted(kind string) error {
	for k, name := range procedure.Kinds[:5] {
		if kind == name || kind == strconv.Itoa(k+1) {
			return t.put(runner.Entry{Kind: runner.Happens, What: name})
		}
	}
	t.out.line("What happened? Type i and the number:")
	for k, name := range procedure.Kinds[:5] {
		t.out.line(fmt.Sprintf("  i %d  %s", k+1, procedure.KindText[name]))
	}
	return nil
}

// typed takes a reading from a meter for the first watch.
func (t *terminal) typed(word, rest string) error {
	if len(t.m.Watches) == 0 {
		t.out.line("Nothing is watched in this procedure.")
		return nil
	}
	v, err := typedNumber(rest, t.monitors[0].Limits().Unit)
	if err != nil {
		t.out.para("", err.Error(), 0)
		return nil
	}
	kind := runner.Typed
	if word == "m" {
		kind = runner.MinHold
	}
	return t.put(runner.Entry{Kind: kind, Watch: t.m.Watches[0].ID, Value: &v})
}
