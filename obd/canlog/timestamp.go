package canlog

import (
	"math"
	"time"
)

// parseSeconds reads "1700000000.012345": seconds with up to nine decimals, as
// nanoseconds. A short fraction is read as written (.1 is 100 ms).
func parseSeconds(s []byte) (int64, bool) {
	var sec int64
	i := 0
	for ; i < len(s) && s[i] >= '0' && s[i] <= '9'; i++ {
		if i >= 11 {
			return 0, false
		}
		sec = sec*10 + int64(s[i]-'0')
	}
	if i == 0 || sec > math.MaxInt64/1_000_000_000-1 {
		return 0, false
	}
	if i == len(s) {
		return sec * 1_000_000_000, true
	}
	if s[i] != '.' {
		return 0, false
	}
	frac := s[i+1:]
	if len(frac) == 0 || len(frac) > 9 {
		return 0, false
	}
	var ns int64
	for _, c := range frac {
		if c < '0' || c > '9' {
			return 0, false
		}
		ns = ns*10 + int64(c-'0')
	}
	for n := len(frac); n < 9; n++ {
		ns *= 10
	}
	return sec*1_000_000_000 + ns, true
}

var clockLayouts = []string{
	"2006-01-02 15:04:05.999999999", "2006-01-02T15:04:05.999999999", time.RFC3339Nano,
	"2006/01/02 15:04:05.999999999", "15:04:05.999999999",
}

// parseClock reads a time of day ("12:34:56.789", nanoseconds since midnight)
// or a date with time (since 1970; without a zone it is taken as UTC, so only
// differences mean something).
func parseClock(s []byte) (int64, bool) {
	for _, l := range clockLayouts {
		t, err := time.Parse(l, string(s))
		if err != nil {
			continue
		}
		if t.Year() == 0 {
			return int64(t.Hour())*3_600_000_000_000 + int64(t.Minute())*60_000_000_000 + int64(t.Second())*1_000_000_000 + int64(t.Nanosecond()), true
		}
		if t.Year() < 1970 || t.Year() > 2200 {
			return 0, false
		}
		return t.UnixNano(), true
	}
	return 0, false
}

// parseTime reads either form. It reports false for a bare whole number, which
// in a hex line is a byte, not a time.
func parseTime(s []byte) (int64, bool) {
	dot, colon := false, false
	for _, c := range s {
		dot = dot || c == '.'
		colon = colon || c == ':'
		if nibble[c] > 9 && c != '.' && c != ':' && c != '-' && c != '/' && c != 'T' && c != 'Z' && c != ' ' && c != '+' {
			return 0, false
		}
	}
	if colon {
		return parseClock(s)
	}
	if dot {
		return parseSeconds(s)
	}
	return 0, false
}
