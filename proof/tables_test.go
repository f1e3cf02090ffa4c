package proof

import (
	"proveout/published"
	"strings"
	"testing"
)

// Similar conditions worked from 40 CFR 86.010-2, stored 2100 rpm, 40 % load, hot;
// both ways to read "20 percent", limits included.
func TestSimilarConditionsTable(t *testing.T) {
	for _, r := range published.Rows(t, "similar_conditions_examples.csv", 12) {
		m := Moment{RPM: published.Number(t, r[0]), LoadPct: published.Number(t, r[1]), CoolantC: 90}
		if r[2] == "cold" {
			m.CoolantC = 20
		}
		for how, want := range map[LoadWithin]string{Relative: r[3], Points: r[4]} {
			c := Around(2100, 40, how)
			c.Warm = Warm
			if got := c.Misses(m); (got == Inside) != (want == "yes") {
				t.Errorf("%v, %s: %q", r, how, got)
			}
		}
	}
}

// The drive for permanent codes worked from 40 CFR 86.010-18 (d)(4)(ii).
func TestPermanentCodeDriveTable(t *testing.T) {
	for _, r := range published.Rows(t, "denominator_examples.csv", 6) {
		ok, why := Drive{published.Number(t, r[0]), published.Number(t, r[1]), published.Number(t, r[2])}.Met()
		if ok != (r[3] == "met") {
			t.Errorf("%v: %v %s", r, ok, why)
		}
		if part, _ := strings.CutPrefix(r[3], "not met: "); !ok && !strings.Contains(why, part) {
			t.Errorf("%v: says %q", r, why)
		}
	}
}

func TestReasonsName(t *testing.T) {
	c := Around(2400, 80, Points)
	c.Warm, c.KmhPer1000 = Warm, 20
	base := Moment{RPM: 2400, LoadPct: 80, CoolantC: 90, Kmh: 48}
	for _, x := range []struct {
		change func(*Moment)
		want   Reason
	}{
		{func(m *Moment) {}, Inside},
		{func(m *Moment) { m.RPM = 2000 }, TooLowRPM},
		{func(m *Moment) { m.RPM = 2800 }, TooHighRPM},
		{func(m *Moment) { m.LoadPct = 55 }, TooLowLoad},
		{func(m *Moment) { m.CoolantC = 40 }, OtherWarmth},
		{func(m *Moment) { m.CoolantC = nan }, WarmUnknown},
		{func(m *Moment) { m.CoolantC, m.Warm = nan, Warm }, Inside},
		{func(m *Moment) { m.Kmh = 65 }, OtherGear},
		{func(m *Moment) { m.Kmh = nan }, Inside},
		{func(m *Moment) { m.LoadPct = nan }, NotLogged},
	} {
		m := base
		x.change(&m)
		if got := c.Misses(m); got != x.want {
			t.Errorf("%+v: %q, want %q", m, got, x.want)
		}
	}
	if c := Around(2400, 90, Points); c.LoadHigh != 100 {
		t.Errorf("load ends at 100 %%, got %v", c.LoadHigh)
	}
}
