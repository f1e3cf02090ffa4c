package trace

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestParseClock(t *testing.T) {
	for _, c := range []struct {
		s    string
		ns   int64
		frac int
		ok   bool
	}{
		{"07:00:41.381", 25241381000000, 3, true},
		{"7:00:41,381", 25241381000000, 3, true},
		{"07:00:41:381", 25241381000000, 3, true},
		{"00:00:00", 0, 0, true},
		{"23:59:60", 86400 * second, 0, true}, // leap second
		{"12:34.5", 754500000000, 1, true},
		{"100:00:00.5", 360000500000000, 1, true}, // a stopwatch
		{"12:34", 0, 0, false},                    // hours or minutes? cannot be told
		{"07:60:00", 0, 0, false},
		{"07:00:61", 0, 0, false},
		{"07:000:00", 0, 0, false},
		{"07:00:41.", 25241000000000, 0, true},
		{":00:41", 0, 0, false},
		{"07:00:", 0, 0, false},
		{"07:00:41x", 0, 0, false},
		{"", 0, 0, false},
	} {
		ns, frac, ok := parseClock([]byte(c.s))
		if ok != c.ok || (ok && (ns != c.ns || frac != c.frac)) {
			t.Errorf("%q: %d %d %v, want %d %d %v", c.s, ns, frac, ok, c.ns, c.frac, c.ok)
		}
	}
}

// TestParseStampAgreesWithTime: package time is the oracle, in the layouts of
// RFC 3339 and ISO 8601 that loggers write.
func TestParseStampAgreesWithTime(t *testing.T) {
	layouts := []string{time.RFC3339Nano, "2006-01-02T15:04:05.000Z07:00", "2006-01-02 15:04:05.999999", "2006/01/02 15:04:05", "02.01.2006 15:04:05.000", "2006-01-02T15:04:05-0700"}
	rapid.Check(t, func(t *rapid.T) {
		layout := rapid.SampledFrom(layouts).Draw(t, "layout")
		zone := time.FixedZone("", 60*rapid.IntRange(-14*60, 14*60).Draw(t, "zone"))
		at := time.Unix(rapid.Int64Range(-8e9, 7e9).Draw(t, "s"), rapid.Int64Range(0, 999999999).Draw(t, "ns")).In(zone)
		text := at.Format(layout)
		want, err := time.Parse(layout, text)
		if err != nil {
			t.Fatal(err)
		}
		got, _, ok := parseStamp([]byte(text))
		if !ok || got != want.UnixNano() {
			t.Fatalf("%s: got %d %v, package time says %d", text, got, ok, want.UnixNano())
		}
	})
}

func TestStampsThatAreNone(t *testing.T) {
	for _, s := range []string{"2026-02-30 10:00:00", "2026-13-01 10:00:00", "2026-01-01", "10:00:00", "2026-01-01T25:00:00", "2026-01-01T10:00:00+9", "2026-01-01T10:00:00+99:00", "1.5", "", "2026-01-01T", "2026-01-01Tabc", "9999-01-01 00:00:00"} {
		if ns, _, ok := parseStamp([]byte(s)); ok {
			t.Errorf("%q was read as %d", s, ns)
		}
	}
}

func TestDayFirstDates(t *testing.T) {
	for s, want := range map[string][3]int{"25/03/2026": {2026, 3, 25}, "03/25/2026": {2026, 3, 25}, "04/03/2026": {2026, 3, 4}, "29.02.2024": {2024, 2, 29}} {
		y, m, d, ok := parseDate([]byte(s))
		if !ok || [3]int{y, m, d} != want {
			t.Errorf("%s: %d-%d-%d %v, want %v", s, y, m, d, ok, want)
		}
	}
}
