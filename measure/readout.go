package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/unit"
)

// exact is the uncertainty of a count that is what it is: zero would mean that none
// is stated.
const exact = 1e-9

// readout collects what one capture gives: readings, refusals, notes and marks,
// each with the item, file and condition they belong to. What works on one channel
// and subject at a time (sheet, ignition) is a readout bound to those.
type readout struct {
	res   Result
	meta  Meta
	flags []evidence.Flag // hold for every reading
}

func (s *readout) note(channel string, flag evidence.Flag, trouble bool, format string, args ...any) {
	n := Note{Text: fmt.Sprintf(format, args...), Flag: flag, Trouble: trouble, From: evidence.Source{File: s.meta.File, Channel: channel}}
	if !slices.Contains(s.res.Notes, n) {
		s.res.Notes = append(s.res.Notes, n)
	}
}

// refuse says that a feature could not be measured, why, and what would do it.
func (s *readout) refuse(feature, channel string, subject evidence.Subject, flag evidence.Flag, why, fix string) {
	s.res.NotMeasured = append(s.res.NotMeasured, NotMeasured{
		Feature: feature, Subject: subject, Why: why, Fix: fix, Flag: flag, Item: s.meta.Item, When: s.meta.When,
		From: evidence.Source{File: s.meta.File, Channel: channel},
	})
}

// emit adds a reading of the feature in its catalogue unit; si and sigma are SI.
// A value that is no number is refused, not written.
func (s *readout) emit(feature, channel string, subject evidence.Subject, si, sigma float64, n, first, last int, flags ...evidence.Flag) {
	f, ok := evidence.Lookup(feature)
	u, err := unit.Parse(f.Unit)
	if !ok || err != nil || math.IsNaN(si) || math.IsInf(si, 0) || math.IsNaN(sigma) || math.IsInf(sigma, 0) {
		s.refuse(feature, channel, subject, evidence.Noisy, "the result is no number", "look at the trace; take it again")
		return
	}
	q, err := unit.New(u.FromSI(si), u)
	if err != nil {
		s.refuse(feature, channel, subject, evidence.Noisy, err.Error(), "look at the trace; take it again")
		return
	}
	c := s.meta.Condition
	if s.res.Condition.State != "" {
		c.State = s.res.Condition.State
	}
	if s.res.Condition.SpeedRPM > 0 {
		c.SpeedRPM = s.res.Condition.SpeedRPM
	}
	s.add(feature, channel, subject, q, sigma, c, n, first, last, flags)
}

// add appends a reading; sigma is SI.
func (s *readout) add(feature, channel string, subject evidence.Subject, q unit.Quantity, sigma float64, c evidence.Condition, n, first, last int, flags []evidence.Flag) {
	s.res.Readings = append(s.res.Readings, evidence.Reading{
		Item: s.meta.Item, Feature: feature, Subject: subject, Value: q, Uncertainty: sigma, N: n,
		Placement: s.meta.Placement, Instrument: s.meta.Probe, Condition: c, When: s.meta.When,
		Flags: uniqueFlags(append(append([]evidence.Flag{}, s.flags...), flags...)),
		From:  evidence.Source{File: s.meta.File, Channel: channel, First: first, Last: last},
	})
}

func (s *readout) mark(feature, channel string, event, first, last int, format string, args ...any) {
	s.res.Marks = append(s.res.Marks, Mark{Feature: feature, Channel: channel, Event: event, First: first, Last: last, Text: fmt.Sprintf(format, args...)})
}
