package trace

import (
	"math"
	"strconv"

	"proveout/unit"
)

// exact10 are the powers of ten a float64 holds exactly.
var exact10 = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// decimal is a number as written: (-1)^neg * mant * 10^-frac.
type decimal struct {
	mant uint64
	frac int
	neg  bool
}

// scanDecimal reads a plain decimal number at b[i:], dec being its decimal
// mark, and gives where it ends. ok is false when there is none or when it has
// more than 19 digits; the caller then takes the slow path. b must end with a
// byte that cannot belong to a number (the scanner's final newline).
func scanDecimal(b []byte, i int, dec byte) (d decimal, end int, ok bool) {
	switch b[i] {
	case '-':
		d.neg = true
		i++
	case '+':
		i++
	}
	start := i
	m := uint64(0)
	for {
		c := b[i] - '0'
		if c > 9 {
			break
		}
		m = m*10 + uint64(c)
		i++
	}
	digits := i - start
	if b[i] == dec {
		i++
		f := i
		for {
			c := b[i] - '0'
			if c > 9 {
				break
			}
			m = m*10 + uint64(c)
			i++
		}
		d.frac = i - f
		digits += d.frac
	}
	if digits == 0 || digits > 19 {
		return d, i, false
	}
	if b[i]|0x20 == 'e' {
		e, j, eok := scanExponent(b, i+1)
		if !eok {
			return d, i, false
		}
		d.frac -= e
		i = j
	}
	d.mant = m
	return d, i, true
}

func scanExponent(b []byte, i int) (e, end int, ok bool) {
	neg := b[i] == '-'
	if neg || b[i] == '+' {
		i++
	}
	start := i
	for b[i]-'0' <= 9 {
		if e < 10000 {
			e = e*10 + int(b[i]-'0')
		}
		i++
	}
	if neg {
		e = -e
	}
	return e, i, i > start
}

// float gives the value when it can be had exactly as strconv.ParseFloat would:
// a mantissa below 2^53 and a power of ten up to 10^22 are both exact, so that
// one multiplication or division rounds once and correctly (W. D. Clinger, How
// to read floating point numbers accurately, 1990).
func (d decimal) float() (float64, bool) {
	if d.mant >= 1<<53 || d.frac > 22 || d.frac < -22 {
		return 0, false
	}
	v := float64(d.mant)
	if d.frac > 0 {
		v /= exact10[d.frac]
	} else if d.frac < 0 {
		v *= exact10[-d.frac]
	}
	if d.neg {
		v = -v
	}
	return v, true
}

// cellState is what became of a cell.
type cellState uint8

const (
	cellValue   cellState = iota
	cellMissing           // empty or a word for "no value"
	cellInf               // an infinity or an overload: a number nobody measured
	cellText              // anything else
)

// missing are words for "no value", folded to lower case.
var missing = map[string]bool{
	"": true, "-": true, "--": true, "---": true, "nan": true, "-nan": true, "nan(ind)": true, "-nan(ind)": true, "n/a": true, "na": true, "#n/a": true,
	"null": true, "nil": true, "none": true, "nodata": true, "no data": true, "?": true, "*": true, "void": true, "invalid": true,
}

// overload are words for a value out of the instrument's range.
var overload = map[string]bool{
	"inf": true, "+inf": true, "-inf": true, "infinity": true, "-infinity": true, "+infinity": true, "∞": true, "-∞": true, "+∞": true, "1.#inf": true, "-1.#inf": true,
	"ol": true, "o.l": true, "o.l.": true, "-ol": true, "ovl": true, "overload": true, "overrange": true, "ovrflw": true, "err": true,
}

// slowCell reads a cell the careful way, with strconv: quotes and spaces
// around it, a decimal comma, thousands marks, words for missing and overload.
func slowCell(cell []byte, d dialect) (float64, cellState) {
	cell = trimCell(cell)
	var small [48]byte
	s, plain := small[:0], true
	for i := 0; i < len(cell); i++ {
		c := cell[i]
		switch {
		case c >= '0' && c <= '9', c == '-', c == '+':
		case c == 'e' || c == 'E':
		case c == d.dec:
			c = '.'
		case d.thousands != 0 && c == d.thousands:
			if !groupsAt(cell, i, d) {
				plain = false
			}
			continue
		default:
			plain = false
		}
		if !plain {
			break
		}
		s = append(s, c)
	}
	if plain && len(s) > 0 {
		v, err := strconv.ParseFloat(string(s), 64)
		if err == nil {
			return v, cellValue
		}
		if math.IsInf(v, 0) {
			return math.NaN(), cellInf // 1e999
		}
	}
	if len(cell) > 12 {
		return math.NaN(), cellText
	}
	switch w := lower(string(cell)); {
	case missing[w]:
		return math.NaN(), cellMissing
	case overload[w]:
		return math.NaN(), cellInf
	}
	return math.NaN(), cellText
}

// unitCell reads a cell that carries its own unit, "12.3 V" or "998mV", as
// hand meters with changing ranges write them. The value is in SI.
func unitCell(cell []byte, d dialect) (float64, unit.Unit, bool) {
	cell = trimCell(cell)
	i := 0
	for i < len(cell) && (cell[i]-'0' <= 9 || cell[i] == '-' || cell[i] == '+' || cell[i] == d.dec || d.thousands != 0 && cell[i] == d.thousands) {
		i++
	}
	suffix := trimSpace(cell[i:])
	if i == 0 || len(suffix) == 0 || len(suffix) > 8 || suffix[0] == 'e' || suffix[0] == 'E' {
		return 0, noUnit, false
	}
	v, st := slowCell(cell[:i], d)
	if st != cellValue {
		return 0, noUnit, false
	}
	text, _ := readableText(suffix)
	u, err := unit.Parse(text)
	if err != nil || u.Symbol == "1" {
		return 0, noUnit, false
	}
	v = u.SI(v)
	return v, u, !math.IsInf(v, 0)
}

// groupsAt reports whether the thousands mark at cell[i] stands between digits
// with exactly three digits up to the next mark, the decimal mark or the end.
func groupsAt(cell []byte, i int, d dialect) bool {
	if i == 0 || cell[i-1]-'0' > 9 {
		return false
	}
	n := 0
	for j := i + 1; j < len(cell) && cell[j]-'0' <= 9; j++ {
		n++
	}
	j := i + 1 + n
	return n == 3 && (j == len(cell) || cell[j] == d.thousands || cell[j] == d.dec)
}

// trimCell takes spaces, no-break spaces (as UTF-8) and one pair of quotes off.
func trimCell(c []byte) []byte {
	c = trimSpace(c)
	if len(c) >= 2 && (c[0] == '"' || c[0] == '\'') && c[len(c)-1] == c[0] {
		c = trimSpace(c[1 : len(c)-1])
	}
	return c
}

func trimSpace(c []byte) []byte {
	for len(c) > 0 {
		switch {
		case c[0] == ' ' || c[0] == '\t' || c[0] == '\r':
			c = c[1:]
		case len(c) > 1 && c[0] == 0xc2 && c[1] == 0xa0:
			c = c[2:]
		default:
			goto tail
		}
	}
tail:
	for n := len(c); n > 0; n = len(c) {
		switch {
		case c[n-1] == ' ' || c[n-1] == '\t' || c[n-1] == '\r':
			c = c[:n-1]
		case n > 1 && c[n-2] == 0xc2 && c[n-1] == 0xa0:
			c = c[:n-2]
		default:
			return c
		}
	}
	return c
}

func lower(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c >= 'A' && c <= 'Z' {
			b[i] = c + 0x20
		}
	}
	return string(b)
}
