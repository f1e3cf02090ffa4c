package trace

import (
	"math"
	"math/bits"
	"strconv"
)

// timeForm is how a column writes time.
type timeForm uint8

const (
	timeNone   timeForm = iota
	timeNumber          // a number in a unit of time
	timeClock           // hh:mm:ss.fff, or mm:ss.fff
	timeStamp           // date and time of day, RFC 3339 and its relatives
	timeCount           // a row counter
)

const (
	second = int64(1e9)
	day    = 86400 * second
)

// nanos gives the time of a decimal in a unit of unitNs nanoseconds, rounded
// to the nearest nanosecond. ok is false when it does not fit an int64.
func (d decimal) nanos(unitNs uint64) (int64, bool) {
	if d.mant == 0 {
		return 0, true
	}
	hi, lo := bits.Mul64(d.mant, unitNs)
	switch {
	case d.frac == 0:
		if hi != 0 || lo > math.MaxInt64 {
			return 0, false
		}
	case d.frac < 0:
		if hi != 0 || d.frac < -18 {
			return 0, false
		}
		if hi, lo = bits.Mul64(lo, pow10u[-d.frac]); hi != 0 || lo > math.MaxInt64 {
			return 0, false
		}
	case d.frac > 19:
		f := float64(d.mant) * float64(unitNs) / math.Pow(10, float64(d.frac))
		if !(f < 1e18) {
			return 0, false
		}
		lo = uint64(math.Round(f))
	default:
		p := pow10u[d.frac]
		if hi >= p {
			return 0, false
		}
		q, r := bits.Div64(hi, lo, p)
		if r >= p-p/2 {
			q++
		}
		if q > math.MaxInt64 {
			return 0, false
		}
		lo = q
	}
	if d.neg {
		return -int64(lo), true
	}
	return int64(lo), true
}

var pow10u = [...]uint64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19}

// parseClock reads a time of day or a stopwatch time: "07:00:41.381",
// "7:00:41,381", "12:34.5" (minutes and seconds need a fraction),
// "07:00:41:381". It gives nanoseconds from 0:00 and the digits of the fraction.
func parseClock(b []byte) (ns int64, frac int, ok bool) {
	var part [3]int64
	n, i := 0, 0
	for {
		start := i
		v := int64(0)
		for i < len(b) && b[i]-'0' <= 9 && i-start < 6 {
			v = v*10 + int64(b[i]-'0')
			i++
		}
		if i == start || (n > 0 && i-start > 2) {
			return 0, 0, false
		}
		part[n] = v
		n++
		if i == len(b) || b[i] != ':' || n == 3 {
			break
		}
		i++
	}
	sec := part[0]*3600 + part[1]*60 + part[2]
	low := part[2]
	if n == 2 {
		sec, low = part[0]*60+part[1], part[1]
	}
	if n < 2 || low > 60 || (n == 3 && part[1] > 59) { // 60 for a leap second
		return 0, 0, false
	}
	ns = sec * second
	if i < len(b) && (b[i] == '.' || b[i] == ',' || (b[i] == ':' && n == 3)) {
		i++
		p := int64(1e8)
		for i < len(b) && b[i]-'0' <= 9 {
			ns += int64(b[i]-'0') * p
			p /= 10
			frac++
			i++
		}
	}
	if i != len(b) || (n == 2 && frac == 0) {
		return 0, 0, false
	}
	return ns, frac, true
}

// parseStamp reads date and time of day as RFC 3339 has it, also with a space
// for the T, with slashes or dots in the date, day first where that is the only
// reading or the date has dots, and with or without zone (then taken as UTC:
// only differences are used). It gives nanoseconds from 1970-01-01 UTC.
func parseStamp(b []byte) (ns int64, frac int, ok bool) {
	split := -1
	for i := 8; i < len(b) && i < 11; i++ {
		if b[i] == 'T' || b[i] == ' ' || b[i] == 't' {
			split = i
			break
		}
	}
	if split < 0 {
		return 0, 0, false
	}
	y, m, dd, ok := parseDate(b[:split])
	if !ok {
		return 0, 0, false
	}
	rest := b[split+1:]
	zone := int64(0)
	for i := 5; i < len(rest); i++ {
		if c := rest[i]; c == 'Z' || c == 'z' || c == '+' || c == '-' {
			if zone, ok = parseZone(rest[i:]); !ok {
				return 0, 0, false
			}
			rest = rest[:i]
			break
		}
	}
	clock, frac, ok := parseClock(rest)
	if !ok || clock >= day+second {
		return 0, 0, false
	}
	return daysFromCivil(y, m, dd)*day + clock - zone, frac, true
}

func parseZone(b []byte) (int64, bool) {
	if len(b) == 1 && b[0]|0x20 == 'z' {
		return 0, true
	}
	d := make([]byte, 0, 4)
	for i, c := range b[1:] {
		switch {
		case c-'0' <= 9:
			d = append(d, c)
		case c == ':' && i == 2:
		default:
			return 0, false
		}
	}
	if len(d) == 2 {
		d = append(d, '0', '0')
	}
	if len(d) != 4 {
		return 0, false
	}
	v, _ := strconv.Atoi(string(d))
	ns := int64(v/100*3600+v%100*60) * second
	if b[0] == '-' {
		ns = -ns
	}
	return ns, v/100 < 24 && v%100 < 60
}

// parseDate reads 2026-03-01, 2026/03/01, 01.03.2026, 01/03/2026 and 03/25/2026.
// With slashes and both numbers up to 12 the first is taken as the day.
func parseDate(b []byte) (y, m, d int, ok bool) {
	if len(b) > 10 {
		return 0, 0, 0, false
	}
	var p [3]int
	var width [3]int
	n := 0
	var sep byte
	for i, c := range b {
		switch {
		case c-'0' <= 9:
			p[n] = p[n]*10 + int(c-'0')
			width[n]++
		case (c == '-' || c == '/' || c == '.') && n < 2 && (sep == 0 || sep == c) && i > 0:
			sep = c
			n++
		default:
			return 0, 0, 0, false
		}
	}
	switch {
	case n != 2 || width[1] == 0 || width[2] == 0 || width[1] > 2:
		return 0, 0, 0, false
	case width[0] == 4 && width[2] <= 2:
		y, m, d = p[0], p[1], p[2]
	case width[2] == 4 && width[0] <= 2:
		y, m, d = p[2], p[1], p[0]
		if m > 12 {
			m, d = d, m
		}
	default:
		return 0, 0, 0, false
	}
	if y < 1700 || y > 2200 || m < 1 || m > 12 || d < 1 || d > monthDays(y, m) {
		return 0, 0, 0, false
	}
	return y, m, d, true
}

func monthDays(y, m int) int {
	switch m {
	case 2:
		if y%4 == 0 && (y%100 != 0 || y%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

// daysFromCivil counts days from 1970-01-01 in the Gregorian calendar (H.
// Hinnant, chrono-compatible low-level date algorithms).
func daysFromCivil(y, m, d int) int64 {
	if m <= 2 {
		y--
	}
	era := y / 400
	yoe := y - era*400
	mp := (m + 9) % 12
	doy := (153*mp+2)/5 + d - 1
	doe := yoe*365 + yoe/4 - yoe/100 + doy
	return int64(era*146097 + doe - 719468)
}
