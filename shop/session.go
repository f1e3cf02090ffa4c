package shop

import (
	"fmt"
	"strings"

	"proveout/obd"
)

// sessionSummary says in a few sentences what a session of diagnostic messages
// holds: the things a technician asks first.
func sessionSummary(s *obd.Session) []string {
	var out []string
	for _, m := range s.Modules {
		who := "Module " + m.Address
		if m.Address == "" {
			who = "The module"
		}
		var said []string
		for _, k := range []obd.CodeKind{obd.Confirmed, obd.Pending, obd.Permanent, obd.ByStatus} {
			if l := m.Latest(k); l != nil {
				said = append(said, codesWords(l))
			}
		}
		if len(said) == 0 && (len(m.Parameters) > 0 || len(m.Monitors) > 0) {
			said = append(said, "codes were not read")
		}
		if r := m.LatestReadiness(0x01); r != nil {
			said = append(said, lampWords(&r.Readiness))
		}
		for _, f := range m.FreezeFrames {
			switch {
			case !f.CodeRead && len(f.Values)+len(f.Unknown) > 0:
				said = append(said, "a freeze frame was saved, of a code that was not read")
			case f.CodeRead && !f.Empty():
				said = append(said, fmt.Sprintf("a freeze frame of %s was saved", f.Code))
			}
		}
		for _, c := range []struct {
			n    int
			what string
		}{{len(m.Parameters), "parameter"}, {len(m.Monitors), "monitor result"}, {len(m.Negative), "refusal"}, {len(m.Raw), "answer shown raw"}} {
			if c.n > 0 {
				said = append(said, fmt.Sprintf("%d %s%s", c.n, c.what, plural(c.n)))
			}
		}
		if len(said) > 0 {
			out = append(out, who+": "+strings.Join(said, "; ")+".")
		}
	}
	return out
}

func codesWords(l *obd.CodeList) string {
	kind := string(l.Kind) + " codes"
	if l.Kind == obd.ByStatus {
		kind = "codes with status"
	}
	if len(l.Codes) == 0 {
		return "no " + kind
	}
	var parts []string
	for _, c := range l.Codes {
		t := c.String()
		if m, ok := c.Meaning(); ok {
			t += " (" + m.Text + ")"
		}
		parts = append(parts, t)
	}
	return kind + " " + strings.Join(parts, ", ")
}

func lampWords(r *obd.Readiness) string {
	lamp := "warning lamp off"
	if r.MIL {
		lamp = "warning lamp on"
	}
	open := 0
	for _, m := range r.Monitors {
		if m.Supported && !m.Complete {
			open++
		}
	}
	s := fmt.Sprintf("%s, %d code%s", lamp, r.CodeCount, plural(r.CodeCount))
	if open > 0 {
		return s + fmt.Sprintf(", %d monitor%s not complete", open, plural(open))
	}
	return s + ", all monitors complete"
}
