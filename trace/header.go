package trace

import (
	"fmt"
	"slices"
	"strings"

	"proveout/unit"
)

// heading is what stands above one column.
type heading struct {
	name  string // the whole cell
	label string // without the unit
	unit  unit.Unit
	// odd is the text that stood where a unit stands but is none.
	odd string
}

// splitHeading finds the unit in a header cell: "Voltage (kV)", "rpm [1/min]",
// "p {kPa}", "U / V", "t/us", "t_ms".
func splitHeading(name string) heading {
	h := heading{name: name, label: name, unit: noUnit}
	for _, br := range []string{"()", "[]", "{}", "<>"} {
		if !strings.HasSuffix(name, br[1:]) {
			continue
		}
		open := strings.LastIndexByte(name, br[0])
		if open < 0 {
			continue
		}
		inner := strings.TrimSpace(name[open+1 : len(name)-1])
		h.label = strings.TrimSpace(name[:open])
		if h.label == "" {
			h.label = name
		}
		if inner == "" {
			return h
		}
		u, err := unit.Parse(inner)
		if err != nil {
			h.odd, h.label = inner, name
			return h
		}
		h.unit = u
		return h
	}
	if label, inner, ok := cutLast(name, " / "); ok {
		if u, err := unit.Parse(inner); err == nil {
			h.label, h.unit = label, u
			return h
		}
	}
	if label, inner, ok := cutLast(name, "/"); ok && overUnit(name, label, inner) {
		h.label, h.unit = label, unit.Must(inner)
		return h
	}
	if label, inner, ok := cutLast(name, "_"); ok && suffixUnits[inner] {
		if u, err := unit.Parse(inner); err == nil {
			h.label, h.unit = label, u
		}
	}
	return h
}

// overUnit reports whether "label/inner" is a quantity over its unit, as the SI brochure
// (9th edition, 5.4.1) writes the head of a column, and not a rate or a scale: "km/h"
// is a unit itself, "counts/s" counts per second, "clamp mV/A" ends in a unit before it.
func overUnit(name, label, inner string) bool {
	if !suffixUnits[inner] {
		return false
	}
	if _, err := unit.Parse(name); err == nil {
		return false
	}
	words := strings.Fields(label)
	if len(words) == 0 {
		return false
	}
	if _, err := unit.Parse(words[len(words)-1]); err == nil {
		return len(words) == 1 && label == "t"
	}
	return unit.Must(inner).Dim != unit.Time || timeNames[foldName(label)]
}

// suffixUnits are the units believed after an underscore: those that cannot be
// the last word of a name ("pedal_d", "rpm_min", "bank_1").
var suffixUnits = map[string]bool{
	"s": true, "ms": true, "us": true, "ns": true, "V": true, "mV": true, "kV": true, "A": true, "mA": true, "Hz": true, "kHz": true, "MHz": true, "rpm": true,
	"kPa": true, "hPa": true, "MPa": true, "Pa": true, "bar": true, "mbar": true, "psi": true, "degC": true, "degF": true, "Nm": true, "ohm": true, "pct": true, "percent": true,
	"mm": true, "kmh": true, "kph": true, "mph": true,
}

func cutLast(s, sep string) (before, after string, ok bool) {
	i := strings.LastIndex(s, sep)
	if i <= 0 {
		return s, "", false
	}
	return strings.TrimSpace(s[:i]), strings.TrimSpace(s[i+len(sep):]), true
}

// unitInName gives the unit that the last word of a name is, where that word means
// nothing else: "ENGINE_RPM", "Drain mA", "Coil current A" (but "Channel A" is a name).
func unitInName(h heading) (unit.Unit, bool) {
	if !h.unit.IsZero() || h.odd != "" {
		return h.unit, false
	}
	words := strings.FieldsFunc(h.label, func(r rune) bool { return r == ' ' || r == '_' || r == '.' || r == '-' })
	if len(words) == 0 {
		return h.unit, false
	}
	last := words[len(words)-1]
	if strings.EqualFold(last, "rpm") {
		return unit.Must("rpm"), true
	}
	if len(words) == 1 || !suffixUnits[last] || !strings.HasSuffix(h.label, " "+last) {
		return h.unit, false
	}
	before := foldName(strings.TrimSuffix(h.label, last))
	says := func(any ...string) bool {
		return slices.ContainsFunc(any, func(w string) bool { return strings.Contains(before, w) })
	}
	switch last {
	case "A": // also the name of a channel
		if !says("current", "amp", "strom") {
			return h.unit, false
		}
	case "V":
		if !says("volt", "spannung") {
			return h.unit, false
		}
	case "s": // also a plural, or what is left of a name
		if !says("time", "zeit", "duration", "dauer") {
			return h.unit, false
		}
	}
	return unit.Must(last), true
}

// bareUnit gives the unit of a cell of a units row: "kV", "(kV)", "[s]".
func bareUnit(cell string) (unit.Unit, bool) {
	s := strings.Trim(cell, "()[]{}<> \t")
	if s == "" {
		return noUnit, false
	}
	u, err := unit.Parse(s)
	return u, err == nil
}

// foldName makes a column name comparable: lower case, only letters and digits.
func foldName(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r > 0x7f {
			b.WriteRune(r)
		}
	}
	return b.String()
}

var timeNames = map[string]bool{
	"t": true, "time": true, "timestamp": true, "timestamps": true, "timestep": true, "datetime": true, "timedate": true, "dateandtime": true, "clock": true, "clocktime": true, "timeofday": true,
	"sec": true, "secs": true, "seconds": true, "msec": true, "milliseconds": true, "microseconds": true, "elapsed": true, "elapsedtime": true, "relativetime": true, "reltime": true, "abstime": true, "localtime": true, "systemtime": true,
	"zeit": true, "zeitstempel": true, "uhrzeit": true, "zeitpunkt": true, "temps": true, "heure": true, "tiempo": true, "hora": true, "tempo": true, "xaxis": true, "x": true,
}

var counterNames = map[string]bool{
	"index": true, "idx": true, "sample": true, "samples": true, "sampleno": true, "samplenumber": true, "samplenr": true, "no": true, "nr": true, "n": true, "row": true, "rowno": true, "record": true, "point": true, "points": true, "id": true, "i": true, "": true,
}

// saysTime reports whether a heading names a time column.
func (h heading) saysTime() bool {
	f := foldName(h.label)
	if h.unit.Dim == unit.Time {
		return timeNames[f] || f == "" || strings.HasPrefix(f, "time") || foldName(h.unit.Symbol) == f
	}
	return timeNames[f] || strings.HasPrefix(f, "timestamp") || f == "timesincestart" || f == "timesincetrigger" || f == "timefromstart"
}

// pairLine reads a preamble line of the form "key: value", "key = value" or
// "key<delimiter>value".
func pairLine(s string, delim byte) (key, value string, ok bool) {
	s = strings.TrimLeft(s, "#%!;/ \t\"")
	for _, sep := range []string{": ", ":\t", " = ", "=", string(rune(delim))} {
		if sep == "\x00" || sep == " " {
			continue
		}
		if k, v, found := strings.Cut(s, sep); found && strings.TrimSpace(k) != "" {
			return strings.Trim(k, " \t\""), strings.Trim(v, " \t\";,"), true
		}
	}
	return "", "", false
}

// preambleRate finds a sample rate in a "key: value" pair, 0 if it holds none.
func preambleRate(key, value string) float64 {
	h := splitHeading(key)
	v := value
	// "Sample interval,1.0E-05,s": the unit has a cell of its own.
	if number, u, ok := cutLast(value, ","); ok && !strings.ContainsAny(u, "0123456789") {
		v = number + " " + u
	}
	if !h.unit.IsZero() {
		v = v + " " + h.unit.Symbol
	}
	f := foldName(h.label)
	switch {
	case strings.Contains(f, "samplerate"), strings.Contains(f, "samplingrate"), strings.Contains(f, "samplefrequency"), strings.Contains(f, "samplingfrequency"), f == "abtastrate", f == "fs":
	case strings.Contains(f, "sampleinterval"), strings.Contains(f, "samplinginterval"), strings.Contains(f, "sampleperiod"), strings.Contains(f, "timeincrement"), strings.Contains(f, "abtastintervall"):
		if h.unit.IsZero() && strings.TrimRight(v, "0123456789.,eE+-") == "" {
			v += " s"
		}
	default:
		return 0
	}
	hz, err := ParseRate(v)
	if err != nil {
		return 0
	}
	return hz
}

// findColumn finds the column a mapping entry names, by number or by name; the
// error lists what there is.
func findColumn(c Column, heads []heading) (int, error) {
	name := strings.TrimSpace(c.Column)
	if name == "" {
		return 0, fmt.Errorf("a mapping entry names no column; give its name in the header or its number from 1")
	}
	match := func(eq func(h heading) bool) []int {
		var at []int
		for i, h := range heads {
			if eq(h) {
				at = append(at, i)
			}
		}
		return at
	}
	want, _ := readableText([]byte(name))
	f := foldName(want)
	for _, eq := range []func(heading) bool{
		func(h heading) bool { return h.name == name || h.name == want },
		func(h heading) bool { return h.label == want },
		func(h heading) bool { return f != "" && (foldName(h.name) == f || foldName(h.label) == f) },
	} {
		switch at := match(eq); {
		case len(at) == 1:
			return at[0], nil
		case len(at) > 1:
			return 0, fmt.Errorf("column %q: the header has it %d times (columns %s); give the number instead", name, len(at), numbers(at))
		}
	}
	n, digits := 0, len(name) < 6
	for _, r := range name {
		digits = digits && r >= '0' && r <= '9'
		n = n*10 + int(r-'0')
	}
	if digits && n >= 1 && n <= len(heads) {
		return n - 1, nil
	}
	if digits {
		return 0, fmt.Errorf("column %q: the file has %d columns, numbered from 1", name, len(heads))
	}
	var have []string
	for _, h := range heads {
		have = append(have, fmt.Sprintf("%q", h.name))
	}
	if len(have) > 12 {
		have = append(have[:12], "…")
	}
	return 0, fmt.Errorf("column %q is not in the file; it has %s", name, strings.Join(have, ", "))
}

func numbers(at []int) string {
	s := make([]string, len(at))
	for i, n := range at {
		s[i] = fmt.Sprint(n + 1)
	}
	return strings.Join(s, " and ")
}
