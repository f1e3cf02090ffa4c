package proof

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// climbs is a log of n climbs of 40 s in the middle of the conditions.
func climbs(n int, marks ...float64) Log {
	var parts []stretch
	for range n {
		parts = append(parts, stretch{60, 2100, 40}, stretch{40, 2400, 80})
	}
	l := drive(0.5, append(parts, stretch{10, 2100, 40})...)
	l.Marks = marks
	return l
}

func before(x int) BeforeDrive {
	var marks []float64
	for i := range x {
		marks = append(marks, 80+100*float64(i))
	}
	return BeforeDrive{Log: climbs(5, marks...), Role: AsBefore}
}

func base(x, after int) Case {
	c := Case{Conditions: conditions(), Before: []BeforeDrive{before(x)}, Named: Road}
	if after > 0 {
		c.After = []Log{climbs(after)}
	}
	return c
}

func TestStates(t *testing.T) {
	with := func(c Case, f func(*Case)) Case { f(&c); return c }
	for name, x := range map[string]struct {
		c    Case
		want State
		by   Way
		says string
	}{
		"nothing driven yet":    {base(5, 0), NotYet, "", "could be chance almost always"},
		"too short":             {base(5, 3), NotYet, "", "s that count of 167 s"},
		"clean in every cell":   {base(5, 5), Improved, "", "less than 1 time in 20"},
		"five times that":       {base(5, 23), Proven, Road, "at most a fifth"},
		"one episode needs 19":  {base(1, 30), NotYet, "", ""},
		"none before":           {base(0, 30), NotKnown, "", "No episode is on record"},
		"came back":             {with(base(5, 5), func(c *Case) { c.After[0].Marks = []float64{85} }), CameBack, "", "does not undo"},
		"came back elsewhere":   {with(base(5, 5), func(c *Case) { c.After[0].Marks = []float64{20} }), CameBack, "", "0 of them inside"},
		"came back, much rarer": {with(base(5, 60), func(c *Case) { c.After[0].Marks = []float64{85} }), CameBack, "", "less often"},
		"told of":               {with(base(5, 30), func(c *Case) { c.Told = 1 }), CameBack, "", "0 of them inside"},
		"code back":             {with(base(5, 30), func(c *Case) { c.CodeBack = "P0304" }), CameBack, "", "P0304"},
		"measured, named":       {with(base(0, 0), func(c *Case) { c.Named, c.Measured = Measured, Test{true, true, "Gap like the others."} }), Proven, Measured, "Gap like"},
		"measured, still off":   {with(base(5, 5), func(c *Case) { c.Named, c.Measured = Measured, Test{true, false, "Gap still wide."} }), Improved, "", "Gap still wide"},
		"measured, not named":   {with(base(5, 5), func(c *Case) { c.Measured = Test{true, true, "Gap like the others."} }), Improved, "", "not the one named"},
		"old part back":         {with(base(0, 0), func(c *Case) { c.Named, c.OldPartBack = OldPartBack, Test{true, true, "It came back with it."} }), Proven, OldPartBack, ""},
		"the plan names it":     {with(base(0, 0), func(c *Case) { c.Named, c.CanMeasure, c.Measured = "", true, Test{true, true, "x"} }), Proven, Measured, ""},
		"conditions unknown":    {with(base(5, 30), func(c *Case) { c.Conditions = Conditions{} }), NotKnown, "", "cannot be used"},
		"read for the cause":    {with(base(5, 30), func(c *Case) { c.Before[0].Role = AsCause }), NotKnown, "", "No episode"},
	} {
		v := Judge(x.c)
		text := ""
		for _, l := range v.Lines {
			text += l + "\n"
		}
		if v.State != x.want || v.By != x.by || !contains(text, x.says) {
			t.Errorf("%s: %s by %q, want %s by %q\n%s", name, v.State, v.By, x.want, x.by, text)
		}
	}
}

// The worked map of the proof screen: five episodes in 192 s; 122 s that count of 160.
func TestWorkedChance(t *testing.T) {
	if p := CouldBeChance(5, 192, 122); math.Abs(p-0.0855) > 5e-4 {
		t.Errorf("%v, want 9 times in 100", p)
	}
	if In100(0.0855) != "9 times in 100" || In100(0.05) != "5 times in 100" || In100(0.0004) != "less than 1 time in 1000" || In100(0.010) != "1 time in 100" {
		t.Error("chances in words")
	}
}

// A log that led to the diagnosis starts its clock at the first episode and loses it.
func TestClockStartsAtTheFirstEpisode(t *testing.T) {
	c := base(5, 0)
	c.Before[0].Role = AsFound
	v := Judge(c)
	d := v.Before.Drives[0]
	if v.Before.Total != 4 || d.ClockFrom != 80 || d.Counted != 4 || !contains(d.Why, "first episode") {
		t.Errorf("%d episodes from %v s: %s", v.Before.Total, d.ClockFrom, d.Why)
	}
	if full := Judge(base(5, 0)); v.Before.Seconds >= full.Before.Seconds-19 {
		t.Errorf("%v s, the whole is %v s", v.Before.Seconds, full.Before.Seconds)
	}
}

// Easy seconds cannot pay for hard ones.
func TestCapPerCell(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		hard := stretch{40, 2650, 95}
		easy := stretch{40, 2200, 65}
		l := drive(0.5, stretch{10, 2100, 40}, easy, stretch{20, 2100, 40}, hard, stretch{20, 2100, 40})
		l.Marks = []float64{20, 80, 90.5, 101}
		after := drive(0.5, stretch{10, 2100, 40}, stretch{rapid.Float64Range(200, 5000).Draw(t, "easy"), 2200, 65}, stretch{rapid.Float64Range(1, 30).Draw(t, "hard"), 2650, 95}, stretch{5, 2100, 40})
		v := Judge(Case{Conditions: conditions(), Before: []BeforeDrive{{Log: l, Role: AsBefore}}, After: []Log{after}, Named: Road})
		if v.State != NotYet {
			t.Fatalf("%s: %v of %v", v.State, v.Counted, v.Need)
		}
	})
}

// More clean road never makes it worse, an episode after never better.
func TestMonotone(t *testing.T) {
	rank := map[State]int{CameBack: 0, NotKnown: 1, NotYet: 1, Improved: 2, Proven: 3}
	rapid.Check(t, func(t *rapid.T) {
		x, n := rapid.IntRange(0, 5).Draw(t, "x"), rapid.IntRange(1, 30).Draw(t, "climbs")
		less, more := Judge(base(x, n)), Judge(base(x, n+rapid.IntRange(1, 9).Draw(t, "more")))
		if rank[more.State] < rank[less.State] || more.Chance > less.Chance+1e-12 {
			t.Fatalf("%s then %s", less.State, more.State)
		}
		c := base(x, n)
		c.After[0].Marks = []float64{rapid.Float64Range(0, 90).Draw(t, "at")}
		if s := Judge(c).State; s != CameBack {
			t.Fatalf("an episode after the repair: %s", s)
		}
	})
}

// Monte Carlo: on a vehicle on which nothing changed, how often does the drive say
// that something did? Drives fixed beforehand, drives ended at the x-th episode, and
// drives kept because the fault showed. At most 5 in 100 each. Starting the clock at
// the first episode and still counting it would be wrong more often, and so would
// taking a drive that was kept for its episode as a planned one: the test shows both.
func TestFalseProofByMonteCarlo(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const n = 40_000
	events := func(mean float64) (at []float64) { // times in units of the drive
		for u := rng.ExpFloat64() / mean; u < 1; u += rng.ExpFloat64() / mean {
			at = append(at, u)
		}
		return at
	}
	clean := func(mean, t2 float64) bool { return rng.Float64() < math.Exp(-mean*t2) }
	for _, mean := range []float64{0.1, 0.5, 1, 3, 10, 30} {
		var planned, kept, found, wrongClock, keptAs float64
		for range n {
			at := events(mean)
			x := len(at)
			if x >= 1 && clean(mean, Factor(x, Level)) {
				planned++
			}
			if x == 0 {
				continue
			}
			kept++
			if x >= 2 && clean(mean, (1-at[0])*Factor(x-1, Level)) {
				found++
			}
			if clean(mean, (1-at[0])*Factor(x, Level)) {
				wrongClock++
			}
			if clean(mean, Factor(x, Level)) {
				keptAs++
			}
		}
		limit := 0.05 + 3*math.Sqrt(0.05*0.95/n)
		if planned/n > limit {
			t.Errorf("mean %v: planned drives prove falsely %.4f", mean, planned/n)
		}
		if found/kept > 0.05+3*math.Sqrt(0.05*0.95/kept) {
			t.Errorf("mean %v: kept drives, clock from the first episode: %.4f", mean, found/kept)
		}
		if mean <= 1 && wrongClock/kept < 0.06 {
			t.Errorf("mean %v: counting the episode that started the clock should prove falsely too often, is %.4f", mean, wrongClock/kept)
		}
		if mean == 0.1 && keptAs/kept < 0.06 {
			t.Errorf("mean %v: a kept drive taken as planned should prove falsely too often, is %.4f", mean, keptAs/kept)
		}
	}
	for _, x := range []int{1, 2, 5, 12} { // driven until it has shown x times: exactly 5 in 100
		falsely := 0.0
		for range n {
			t1 := 0.0
			for range x {
				t1 += rng.ExpFloat64()
			}
			if clean(1, t1*Factor(x, Level)) {
				falsely++
			}
		}
		if p := falsely / n; math.Abs(p-0.05) > 4*math.Sqrt(0.05*0.95/n) {
			t.Errorf("until %d episodes: %.4f, want 0.05", x, p)
		}
	}
}

// Monte Carlo: the upper bound of the rate ratio covers the true one at least 95
// times in 100, also where the rate differs from cell to cell, as long as each cell is
// driven in proportion.
func TestRatioBoundCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	poisson := func(m float64) (k int) {
		for p := rng.Float64(); p > math.Exp(-m); p *= rng.Float64() {
			k++
		}
		return k
	}
	const n = 20_000
	for _, truth := range []float64{0.05, 0.2, 1} {
		for _, cells := range [][]float64{{6}, {0.2, 1, 5}} {
			missed, tried := 0.0, 0.0
			for range n {
				x1, x2 := 0, 0
				for _, m := range cells {
					x1 += poisson(m)
					x2 += poisson(truth * 3 * m)
				}
				if x1+x2 == 0 {
					continue
				}
				tried++
				if upper(x1, 1, x2, 3) < truth {
					missed++
				}
			}
			if p := missed / tried; p > 0.05+3*math.Sqrt(0.05*0.95/tried) {
				t.Errorf("ratio %v, cells %v: the bound is below the truth %.4f of the time", truth, cells, p)
			}
		}
	}
}

func TestPlan(t *testing.T) {
	c := base(5, 3)
	v := Judge(c)
	p := c.Plan(v)
	if !p.Possible || p.Way != Road || p.ClimbSeconds < 39 || p.ClimbSeconds > 42 {
		t.Fatalf("%+v", p)
	}
	if want := int(math.Ceil(p.Improve.Seconds / p.ClimbSeconds)); p.Improve.Climbs != want || p.Improve.Seconds != p.Left.Sum() {
		t.Errorf("%+v", p.Improve)
	}
	if p.RoadPerClimb < 1.6 || p.RoadPerClimb > 1.8 { // 510 s of log for five climbs
		t.Errorf("%v min a climb", p.RoadPerClimb)
	}
	if !p.Improve.Practicable || !p.Prove.Practicable {
		t.Error("minutes away, and said not to be practicable")
	}
	// One episode and an hour of road for each climb: 19 times the before is days.
	c = base(1, 0)
	c.Before[0].RoadMinutes, c.Named = 5*60, ""
	p = c.Plan(Judge(c))
	if p.Improve.Practicable || p.Way != OldPartBack {
		t.Errorf("%+v", p)
	}
	c.CanMeasure = true
	if p = c.Plan(Judge(c)); p.Way != Measured {
		t.Errorf("what can be measured is measured: %s", p.Way)
	}
	// A flashing lamp shortens the pulls and adds the rest between.
	c = base(5, 0)
	c.Before[0].Log = drive(0.5, stretch{10, 2100, 40}, stretch{200, 2400, 80}, stretch{10, 2100, 40})
	c.Before[0].Marks = []float64{20, 50, 90, 130, 170}
	c.LampFlashing = true
	if p = c.Plan(Judge(c)); p.ClimbSeconds != LampSeconds || p.RoadPerClimb < 3 {
		t.Errorf("%+v", p)
	}
	for _, bad := range []Case{{}, base(0, 0)} {
		if p := bad.Plan(Judge(bad)); p.Possible || p.Why == "" {
			t.Errorf("nothing to plan from: %+v", p)
		}
	}
}

// The drive for permanent codes out of a log: 11 min, 6 of them fast, 40 s of idle.
func TestGeneralDrive(t *testing.T) {
	l := drive(0.5, stretch{40, 780, 20}, stretch{360, 2100, 40}, stretch{260, 1500, 30})
	if _, ok := GeneralDrive(l); ok {
		t.Error("without road speed nothing can be said")
	}
	l.RoadV = Series{T: l.Speed.T, V: make([]float64, len(l.Speed.T))}
	for i, t := range l.Speed.T {
		if t >= 40 && t < 400 {
			l.RoadV.V[i] = 80
		} else if t >= 400 {
			l.RoadV.V[i] = 30
		}
	}
	d, ok := GeneralDrive(l)
	if met, why := d.Met(); !ok || !met || d.SinceStart != 660 || d.FastEnough != 360 || d.LongestIdling != 40 {
		t.Errorf("%+v %v %s", d, ok, why)
	}
}
