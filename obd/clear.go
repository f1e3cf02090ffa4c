package obd

import (
	"fmt"
	"strings"
)

// ClearOutcome is what became of a request to erase.
type ClearOutcome string

// The outcomes. Unanswered: whether anything was erased is not known.
const (
	Accepted   ClearOutcome = "accepted"
	Refused    ClearOutcome = "refused"
	Unanswered ClearOutcome = "no answer"
)

// AllGroups is the group of service 14 that erases every code.
const AllGroups = 0xFFFFFF

// Clear is one request to erase codes (service 04, or 14 of ISO 14229-1) and
// what it did to one module.
type Clear struct {
	Module  string       `json:"module"` // address; empty with Unanswered when all modules were asked
	Service byte         `json:"service"`
	Group   int          `json:"group"` // service 14: group of codes, AllGroups for all; -1 not known
	Outcome ClearOutcome `json:"outcome"`
	Reason  string       `json:"reason,omitempty"` // of a refusal
	HasTime bool         `json:"has_time"`
	Time    int64        `json:"t_ns"`
	Source  Source       `json:"from"`
	// Items say for each kind of stored evidence whether it was saved first.
	// Empty unless Accepted.
	Items []Destroyed `json:"items"`
}

// Fate is what became of one kind of stored evidence.
type Fate string

// The fates.
const (
	Saved   Fate = "saved first"
	Partly  Fate = "partly saved"
	Lost    Fate = "lost"           // never read before the clear
	Nothing Fate = "nothing stored" // the module had said so
	Kept    Fate = "kept"           // a clear does not erase it
)

// Destroyed is one kind of evidence that a clear erases.
type Destroyed struct {
	What string  `json:"what"`
	Fate Fate    `json:"fate"`
	Text string  `json:"text"`
	From *Source `json:"from,omitempty"` // where it was saved
}

// SavedFirst reports whether nothing was lost.
func (c *Clear) SavedFirst() bool {
	for _, d := range c.Items {
		if d.Fate == Lost || d.Fate == Partly {
			return false
		}
	}
	return c.Outcome == Accepted
}

// Sentence says what the clear did, saved things first.
func (c *Clear) Sentence() string {
	who := c.Module
	if who == "" {
		who = "the module"
	}
	what := "codes"
	if c.Service == 0x14 && c.Group >= 0 && c.Group != AllGroups {
		what = fmt.Sprintf("code group %06X", c.Group)
	}
	switch c.Outcome {
	case Refused:
		return fmt.Sprintf("%s: %s refused to erase %s: %s. Nothing was erased.", place(c.Source), who, what, c.Reason)
	case Unanswered:
		return fmt.Sprintf("%s: %s was asked to erase %s and no answer is in the capture: whether anything was erased is not known.", place(c.Source), who, what)
	}
	var saved, lost []string
	for _, d := range c.Items {
		switch d.Fate {
		case Lost, Partly:
			lost = append(lost, d.Text)
		default:
			saved = append(saved, d.Text)
		}
	}
	s := fmt.Sprintf("%s: %s erased %s.", place(c.Source), who, what)
	if len(lost) > 0 {
		s += " Lost: " + strings.Join(lost, "; ") + "."
	}
	if len(saved) > 0 {
		s += " Not lost: " + strings.Join(saved, "; ") + "."
	}
	return s
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func place(s Source) string {
	if s.Line > 0 {
		return fmt.Sprintf("line %d", s.Line)
	}
	return fmt.Sprintf("record %d", s.Record)
}

// destroyed works out what a clear that module m accepted now erased. Only what
// was read since the clear before counts as saved.
func (m *Module) destroyed(all bool) []Destroyed {
	out := []Destroyed{m.codesFate(Confirmed, ConfirmedBit), m.codesFate(Pending, PendingBit), m.permanentFate(), m.frameFate()}
	if !all {
		return out
	}
	return append(out, m.monitorFate(), m.readinessFate(), m.counterFate())
}

// current gives the list of a kind last read since the clear before.
func (m *Module) current(k CodeKind) *CodeList {
	if l := m.Latest(k); l != nil && l.Clears == m.Clears {
		return l
	}
	return nil
}

func (m *Module) currentReadiness() *ReadinessReading {
	if r := m.LatestReadiness(0x01); r != nil && r.Clears == m.Clears {
		return r
	}
	return nil
}

func (m *Module) codesFate(k CodeKind, bit Status) Destroyed {
	d := Destroyed{What: string(k) + " codes"}
	list := m.current(k)
	var names []string
	if list == nil {
		if list = m.current(ByStatus); list != nil && list.Mask&bit == 0 {
			list = nil
		}
	}
	if list != nil {
		for _, c := range list.Codes {
			if list.Kind != ByStatus || c.Status&bit != 0 {
				names = append(names, c.String())
			}
		}
		d.From = &list.Source
		if len(names) == 0 {
			d.Fate, d.Text = Nothing, fmt.Sprintf("no %s codes were stored", k)
		} else {
			d.Fate, d.Text = Saved, fmt.Sprintf("%s codes %s (%s)", k, strings.Join(names, ", "), place(list.Source))
		}
		return d
	}
	r := m.currentReadiness()
	switch {
	case k == Confirmed && r != nil && r.CodeCount == 0:
		d.Fate, d.Text, d.From = Nothing, "no confirmed codes were stored", &r.Source
	case k == Confirmed && r != nil:
		d.Fate, d.Text = Lost, count(r.CodeCount, "confirmed code", "confirmed codes")+", whose numbers were never read"
	default:
		d.Fate, d.Text = Lost, fmt.Sprintf("%s codes, if any: they were never read before", k)
	}
	return d
}

func (m *Module) permanentFate() Destroyed {
	d := Destroyed{What: "permanent codes", Fate: Kept, Text: "permanent codes, which a clear does not erase"}
	if l := m.current(Permanent); l != nil {
		d.From = &l.Source
	}
	return d
}

func (m *Module) frameFate() Destroyed {
	d := Destroyed{What: "freeze frame"}
	values, stored, empty := 0, "", false
	for i := len(m.FreezeFrames) - 1; i >= 0 && m.FreezeFrames[i].Clears == m.Clears; i-- {
		f := m.FreezeFrames[i]
		empty = empty || f.Empty()
		if f.CodeRead && f.Code.Raw != 0 {
			stored = " of " + f.Code.String()
		}
		if n := len(f.Values) + len(f.Unknown); n > 0 {
			values += n
			if len(f.Values) > 0 {
				d.From = &f.Values[0].Source
			}
		}
	}
	c, p := m.current(Confirmed), m.current(Pending)
	switch {
	case values > 0:
		d.Fate, d.Text = Saved, fmt.Sprintf("freeze frame%s with %s", stored, count(values, "value", "values"))
	case empty:
		d.Fate, d.Text = Nothing, "no freeze frame was stored"
	case stored != "":
		d.Fate, d.Text = Lost, "the freeze frame"+stored+", of which no value was read"
	case c != nil && p != nil && len(c.Codes) == 0 && len(p.Codes) == 0:
		d.Fate, d.Text = Nothing, "no freeze frame, because no codes were stored"
	default:
		d.Fate, d.Text = Lost, "the freeze frame, if any: it was never read before"
	}
	return d
}

func (m *Module) monitorFate() Destroyed {
	d := Destroyed{What: "monitor results"}
	seen := map[byte]bool{}
	n := 0
	for i := len(m.Monitors) - 1; i >= 0 && m.Monitors[i].Clears == m.Clears; i-- {
		r := &m.Monitors[i]
		n++
		seen[r.MID] = true
		d.From = &r.Source
	}
	missing := 0
	for _, id := range m.SupportedMonitors {
		if id%0x20 != 0 && !seen[id] {
			missing++
		}
	}
	switch {
	case n == 0:
		d.Fate, d.Text = Lost, "monitor results: they were never read before"
	case missing > 0:
		d.Fate, d.Text = Partly, fmt.Sprintf("results of %s (%s saved)", count(missing, "monitor", "monitors"), count(len(seen), "other monitor was", "other monitors were"))
	default:
		d.Fate, d.Text = Saved, count(n, "monitor result", "monitor results")
	}
	return d
}

func (m *Module) readinessFate() Destroyed {
	r := m.currentReadiness()
	if r == nil {
		return Destroyed{What: "readiness", Fate: Lost, Text: "readiness: it was never read before"}
	}
	text := "readiness (all complete)"
	if open := r.Open(); len(open) > 0 {
		text = "readiness (not complete: " + strings.Join(open, ", ") + ")"
	}
	return Destroyed{What: "readiness", Fate: Saved, Text: text, From: &r.Source}
}

// counterFate looks at the counters that a clear sets back: distance and time
// with the lamp on (21, 4D), warm-ups, distance and time since the last clear
// (30, 31, 4E).
func (m *Module) counterFate() Destroyed {
	d := Destroyed{What: "counters since the last clear"}
	n := 0
	for _, id := range []string{"distance_mil_on", "warm_ups_since_clear", "distance_since_clear", "run_time_mil_on", "run_time_since_clear"} {
		s := m.Series(id)
		if s == nil {
			continue
		}
		if last := &s.Samples[len(s.Samples)-1]; last.Source.Record > m.lastClear {
			n++
			if d.From == nil {
				d.From = &last.Source
			}
		}
	}
	if n == 0 {
		d.Fate, d.Text = Lost, "distance, time and warm-ups since the last clear: they were never read before"
		return d
	}
	d.Fate, d.Text = Saved, count(n, "counter", "counters")+" since the last clear"
	return d
}
