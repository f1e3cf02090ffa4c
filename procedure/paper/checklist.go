package paper

import (
	"fmt"
	"io"
	"strings"

	"proveout/procedure"
)

// width of a line of the checklist.
const width = 78

// printer writes lines and remembers the first error.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, a ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", a...)
	}
}

// wrap writes text with a first prefix and an indent for the lines after it.
func (p *printer) wrap(first, indent, text string) {
	line := first
	empty := true
	for _, word := range strings.Fields(text) {
		if !empty && len([]rune(line))+1+len([]rune(word)) > width {
			p.line("%s", line)
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	p.line("%s", line)
}

// Checklist writes the whole procedure as a checklist. It is complete: whoever has
// only the paper has the cautions, waits, limits and ways back too.
func Checklist(w io.Writer, m *procedure.Machine) error {
	p := &printer{w: w}
	f := m.File
	p.wrap("", "", f.Title)
	p.line("%s", strings.Repeat("=", min(width, len([]rune(f.Title)))))
	p.wrap("", "", f.Summary)
	p.line("")
	p.wrap("", "", f.Override)
	p.line("%s version %d", f.ID, f.Version)
	p.line("Job: ____________  Vehicle: ______________________  Begun: ____________")
	p.line("")
	p.wrap("Stop means: ", "            ", "send no further command and let it come to rest. Nothing on this page can stop a motor that turns. Never take the key or the supply away during a movement.")
	watches(p, m)
	kind := ""
	n := 0
	for i := range m.Steps {
		st := &m.Steps[i]
		if st.Origin() == "recovery" {
			continue
		}
		if st.Origin() != kind {
			kind = st.Origin()
			p.line("")
			p.line("%s", map[string]string{"question": "FIRST, WHICH VEHICLE", "precondition": "BEFORE YOU BEGIN", "step": "THE STEPS, IN ORDER"}[kind])
		}
		n++
		step(p, m, i, n)
	}
	p.line("")
	p.line("IF IT MUST BE LEFT")
	p.wrap("  ", "  ", "It may be handed over when: "+m.SayRest()+".")
	for i := range m.Steps {
		if st := &m.Steps[i]; st.Origin() == "recovery" {
			p.wrap("  [ ] ", "      ", st.Do)
		}
	}
	interruptions(p, m)
	p.line("")
	p.line("NEVER")
	for _, r := range m.Rules {
		p.wrap("  - ", "    ", capital(r.Text)+".")
	}
	if len(f.After) > 0 {
		p.line("")
		p.line("AFTER")
		for _, a := range f.After {
			p.wrap("  - ", "    ", a)
		}
	}
	p.line("")
	p.line("SOURCES")
	for _, s := range f.Sources {
		p.wrap("  "+s.ID+": ", "    ", s.Text)
	}
	return p.err
}

func watches(p *printer, m *procedure.Machine) {
	for i := range m.Watches {
		w := &m.Watches[i]
		p.line("")
		p.line("WATCH: %s, at the %s", w.Quantity, w.Point)
		row := func(name, v string) {
			if v != "" {
				p.line("  %-22s %s", name, v)
			}
		}
		row("begin at or above", w.Start)
		row("warn below", w.Warn)
		row("hold below", w.Hold)
		row("stop below", w.Stop)
		row("warn above", w.WarnHigh)
		row("hold above", w.HoldHigh)
		row("stop above", w.StopHigh)
		p.wrap("  ", "  ", "Without a feed: "+w.Blind)
	}
}

func step(p *printer, m *procedure.Machine, i, n int) {
	st := &m.Steps[i]
	p.line("")
	p.wrap(fmt.Sprintf("%3d [ ] ", n), "        ", st.Do)
	in := func(head, text string) {
		if text != "" {
			// A signal word hangs in front of its text; a condition is a sentence and is
			// set as one, or the text would be squeezed against the margin.
			hang := len([]rune(head))
			if hang > 12 {
				head, text, hang = "", head+text, 2
			}
			p.wrap("        "+head, "        "+strings.Repeat(" ", hang), text)
		}
	}
	for k, w := range st.Wording {
		in("If "+m.SayWhen(i, k)+": ", w.Do)
		for _, h := range w.Hazards {
			in("  "+h.Word+": ", h.Text+" "+h.Do)
		}
	}
	for _, h := range st.Hazards {
		in(h.Word+": ", h.Text+" "+h.Do)
	}
	in("Only if: ", m.SayOnlyIf(i))
	in("Not before: ", m.SayInterlock(i))
	for _, w := range st.WatchedBy() {
		in("Watched: ", m.Watches[w].Quantity)
	}
	in("No way back: ", st.NoReturn)
	if st.AtMostSeconds > 0 {
		in("", fmt.Sprintf("It must end within %s; longer: send nothing more, look.", duration(st.AtMostSeconds)))
	}
	if st.RestSeconds > 0 {
		in("Then wait ", duration(st.RestSeconds)+" from the end of it. "+st.Wait.Why)
	}
	for _, o := range st.Outcomes {
		text := o.Text
		if o.Stop != "" {
			text += " -> STOP: " + o.Stop
		}
		in("( ) ", text)
	}
	if len(st.Outcomes) == 0 || len(st.Confirm.By) > 1 {
		if st.Need > 1 {
			in("", fmt.Sprintf("Shown in %d ways out of:", st.Need))
		}
		for _, c := range st.Confirm.By {
			text := strings.ReplaceAll(c.How, "_", " ") + ": " + c.Text
			switch {
			case c.AtLeast != "" && c.AtMost != "":
				text += fmt.Sprintf(" (%s to %s)", c.AtLeast, c.AtMost)
			case c.AtLeast != "":
				text += fmt.Sprintf(" (at least %s)", c.AtLeast)
			case c.AtMost != "":
				text += fmt.Sprintf(" (at most %s)", c.AtMost)
			}
			if c.Reading != "" {
				text += " ________"
			}
			in("[ ] ", text)
			for _, id := range c.Figures {
				if f, ok := m.FigureByID(id); ok {
					in("    ", fmt.Sprintf("%s: ________ %s; %s: ________ %s", f.Ask, f.Unit, f.LimitAsk, f.Unit))
				}
			}
		}
	}
	for _, k := range procedure.Kinds {
		if r, own := st.Interrupt[k]; own && st.Origin() == "step" {
			in("If "+procedure.KindText[k]+": ", r.Text)
		}
	}
}

func interruptions(p *printer, m *procedure.Machine) {
	p.line("")
	p.line("IF IT IS INTERRUPTED (where a step says nothing else)")
	for _, k := range procedure.Kinds {
		if r, ok := m.File.Interrupt[k]; ok {
			p.wrap("  - ", "    ", "If "+procedure.KindText[k]+": "+r.Text)
		}
	}
}

func duration(sec float64) string {
	switch {
	case sec >= 7200:
		return fmt.Sprintf("%g h", sec/3600)
	case sec >= 120:
		return fmt.Sprintf("%g min", sec/60)
	}
	return fmt.Sprintf("%g s", sec)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
