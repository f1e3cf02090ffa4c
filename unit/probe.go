package unit

import (
	"regexp"
	"strings"
)

// Probe is the scale of a clamp or transducer, "100 mV/A".
type Probe struct {
	PerVolt float64 // in Unit for one volt
	Unit    Unit
}

// probeText finds a probe's scale in a name: "Clamp 100mV/A (V)", "10 A/V".
var probeText = regexp.MustCompile(`(?i)\d+(?:[.,]\d+)?\s*(?:mV|V|A|kPa|MPa|bar|psi)\s*/\s*(?:mV|V|mA|A|kPa|MPa|bar|psi)\b`)

// ParseProbe reads a probe's scale: volts for an ampere or a pressure, or the other way
// round. ok is false for anything else, "10 A" or "3 V/s".
func ParseProbe(s string) (p Probe, ok bool) {
	over, under, cut := strings.Cut(s, "/")
	if !cut {
		return p, false
	}
	q, err := ParseQuantity(strings.TrimSpace(over))
	if err != nil || q.Typed <= 0 {
		return p, false
	}
	u, err := Parse(strings.TrimSpace(under))
	if err != nil {
		return p, false
	}
	senses := func(u Unit) bool { return u.Dim == Current || u.Dim == Pressure }
	switch {
	case q.Unit.Dim == Voltage && senses(u):
		p.PerVolt, p.Unit = 1/(q.Typed*q.Unit.Factor), u
	case senses(q.Unit) && u.Dim == Voltage:
		p.PerVolt, p.Unit = q.Typed/u.Factor, q.Unit
	default:
		return p, false
	}
	return p, true
}

// ProbeIn finds a probe's scale in the name of a column.
func ProbeIn(name string) (Probe, bool) {
	return ParseProbe(probeText.FindString(name))
}

// Factor is how many of the probe's unit one unit of the file stands for; volts is the
// file's own unit, none for volts.
func (p Probe) Factor(volts Unit) float64 {
	if volts.Dim == Voltage {
		return p.PerVolt * volts.Factor
	}
	return p.PerVolt
}
