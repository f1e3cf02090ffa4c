package measure

import (
	"fmt"
	"strings"

	"proveout/trace"
)

// looksLikeCrank recognises a crank sensor safely: a channel named crank whose
// edges fit a wheel, or any logic channel with the mark of one (missing or extra
// teeth, or a width code). Even pulses could be anything and are not taken.
func looksLikeCrank(rec *trace.Recording, meta Meta) (bool, string) {
	if rec.Time.N < 2 || rec.Time.Uniform() && rec.Time.Num == 0 {
		return false, ""
	}
	if len(rec.Channels) > 16 {
		return false, "" // a log, not an oscilloscope
	}
	possible := false
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		possible = possible || ch.Edges || crankName(ch.Name) || twoLevels(ch.Values)
	}
	if !possible {
		return false, ""
	}
	c := &crank{readout: readout{meta: meta}}
	if c.choose(rec) != "" || c.d.fit < 0.95 {
		return false, ""
	}
	named := crankName(c.s.ch.Name)
	if !named && c.s.analog {
		return false, ""
	}
	marked := c.w.extra > 0 || len(c.w.gaps) > 0 && c.w.listed || c.w.coded && c.w.events >= 12
	last := c.d.teeth[len(c.d.teeth)-1].turned / float64(c.w.repeats)
	if !named && (!marked || last < 3) || last < 2 {
		return false, ""
	}
	return true, fmt.Sprintf("channel %s has the edges of a crank wheel: %s", c.s.ch.Name, c.w.name())
}

// crankName reports whether a channel is named like a crank sensor.
func crankName(name string) bool {
	n := " " + foldName(name) + " "
	return strings.Contains(n, " crank ") || strings.Contains(n, " ckp ") || strings.Contains(n, " crankshaft ")
}
