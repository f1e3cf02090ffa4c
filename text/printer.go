package text

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"proveout/unit"
)

// System is the system of units a shop reads in.
type System string

// The systems. SI is the default; US changes how values are shown, never how
// they are kept.
const (
	SI System = "si"
	US System = "us"
)

// Printer writes for one language and one system of units. It is safe for use by
// several goroutines.
type Printer struct {
	lang   string
	system System
	texts  map[string]string
}

// For gives the printer of a language; an unknown language is English.
func For(lang string, system System) *Printer {
	if !Known(lang) {
		lang = Source
	}
	return &Printer{lang: lang, system: system, texts: catalogues[lang]}
}

// Lang is the code of the printer's language.
func (p *Printer) Lang() string { return p.lang }

// System is the system of units.
func (p *Printer) System() System { return p.system }

// Has reports whether there is a text under key.
func (p *Printer) Has(key string) bool { _, ok := p.texts[key]; return ok }

// T is the text under key with its arguments in place. An unknown key gives the
// key in angle brackets: it shows on the page and a test finds it.
func (p *Printer) T(key string, args ...any) string {
	s, ok := p.texts[key]
	if !ok {
		return "⟨" + key + "⟩"
	}
	words := make([]string, len(args))
	for i, a := range args {
		words[i] = p.word(a)
	}
	return fill(s, words)
}

// N is the text for a count: KEY.one for exactly one, KEY.other for the rest;
// {1} is the count. English and German have these two forms.
func (p *Printer) N(key string, n int, args ...any) string {
	form := ".other"
	if n == 1 {
		form = ".one"
	}
	return p.T(key+form, append([]any{n}, args...)...)
}

// word writes an argument: numbers the way the language does, the rest as it is.
func (p *Printer) word(a any) string {
	switch v := a.(type) {
	case string:
		return v
	case int:
		return p.Int(int64(v))
	case int64:
		return p.Int(v)
	case float64:
		return p.Number(v, 0)
	}
	return fmt.Sprint(a)
}

// marks are the decimal mark and the one between thousands.
func (p *Printer) marks() (decimal, thousands string) {
	if p.lang == "de" {
		return ",", "."
	}
	return ".", ","
}

// Int writes a whole number with marks between thousands.
func (p *Printer) Int(n int64) string { return p.Number(float64(n), 0) }

// Number writes v with a fixed number of decimals: figures in a column keep
// their places. A value that is no number is a question mark.
func (p *Printer) Number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "?"
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	sign := ""
	if strings.HasPrefix(s, "-") {
		sign, s = "−", s[1:]
	}
	decimal, thousands := p.marks()
	whole, frac, has := strings.Cut(s, ".")
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + thousands + whole[i:]
	}
	if has {
		whole += decimal + frac
	}
	return sign + whole
}

// Significant writes v with about three significant figures and no trailing
// zeros.
func (p *Printer) Significant(v float64) string {
	a := math.Abs(v)
	decimals := 3
	switch {
	case a >= 100:
		decimals = 0
	case a >= 10:
		decimals = 1
	case a >= 1:
		decimals = 2
	}
	s := p.Number(v, decimals)
	if decimal, _ := p.marks(); strings.Contains(s, decimal) && decimals > 0 {
		s = strings.TrimRight(strings.TrimRight(s, "0"), decimal)
	}
	return s
}

// Clock writes a time of day.
func (p *Printer) Clock(t time.Time) string { return t.Format("15:04") }

// ClockSeconds writes a time of day to the second.
func (p *Printer) ClockSeconds(t time.Time) string { return t.Format("15:04:05") }

// Date writes a day: 25 Nov 2026 in English, 25.11.2026 in German.
func (p *Printer) Date(t time.Time) string {
	if p.lang == "de" {
		return t.Format("02.01.2006")
	}
	return t.Format("2 Jan 2006")
}

// Day writes a day in full: 25 November 2026 in English, 25. November 2026 in German.
func (p *Printer) Day(t time.Time) string {
	point := ""
	if p.lang == "de" {
		point = "."
	}
	return strconv.Itoa(t.Day()) + point + " " + p.T("month."+strconv.Itoa(int(t.Month()))) + " " + strconv.Itoa(t.Year())
}

// LongDay is Day with the day of the week before it.
func (p *Printer) LongDay(t time.Time) string {
	comma := ""
	if p.lang == "de" {
		comma = ","
	}
	return p.Weekday(t) + comma + " " + p.Day(t)
}

// Weekday is the name of a day of the week.
func (p *Printer) Weekday(t time.Time) string {
	return p.T("weekday." + strconv.Itoa(int(t.Weekday())))
}

// Quantity writes an SI value for people, in the unit of the printer's system
// where that system has one for the dimension.
func (p *Printer) Quantity(si float64, u unit.Unit) string {
	u = p.Unit(u)
	s := p.Number(u.FromSI(si), unit.Decimals(u))
	if w := UnitWord(u); w != "" {
		s += "\u00a0" + w
	}
	return s
}

// us says which unit a workshop in the United States reads instead. The factors
// are those of package unit (NIST SP 811).
var us = map[unit.Dimension]string{
	unit.Pressure: "psi", unit.Torque: "lbf.ft", unit.Temperature: "degF", unit.Speed: "mph",
}

// Unit is the unit in which a value given in u is shown.
func (p *Printer) Unit(u unit.Unit) unit.Unit {
	if p.system != US {
		return u
	}
	if s, ok := us[u.Dim]; ok {
		return unit.Must(s)
	}
	if u.Dim == unit.Length {
		switch u.Symbol {
		case "km":
			return unit.Must("mi")
		case "mm", "cm", "m":
			return unit.Must("in")
		}
	}
	return u
}

// unitWords are symbols that are written differently for people than in files.
var unitWords = map[string]string{
	"1": "", "ratio": "", "x": "×", "lambda": "λ", "ohm": "Ω", "kohm": "kΩ", "Mohm": "MΩ", "mohm": "mΩ", "us": "µs", "uA": "µA", "uF": "µF", "uH": "µH",
	"uV": "µV", "um": "µm", "degC": "°C", "degF": "°F", "deg": "°", "lbf.ft": "lbf·ft", "m3": "m³", "m3/s": "m³/s", "Nm": "N·m", "count": "",
}

// UnitWord is a unit's symbol as people write it.
func UnitWord(u unit.Unit) string {
	if w, ok := unitWords[u.Symbol]; ok {
		return w
	}
	return u.Symbol
}

// Keys are those of all texts.
func (p *Printer) Keys() []string { return slices.Sorted(maps.Keys(p.texts)) }
