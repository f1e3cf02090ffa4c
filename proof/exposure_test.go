package proof

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// steady is a log that holds one engine speed and load for stretches of seconds.
type stretch struct{ seconds, rpm, load float64 }

func drive(every float64, parts ...stretch) Log {
	var l Log
	t := 0.0
	put := func(p stretch) {
		l.Speed.T, l.Speed.V = append(l.Speed.T, t), append(l.Speed.V, p.rpm)
		l.Load.T, l.Load.V = append(l.Load.T, t), append(l.Load.V, p.load)
		l.Coolant.T, l.Coolant.V = append(l.Coolant.T, t), append(l.Coolant.V, 90)
	}
	for _, p := range parts {
		for end := t + p.seconds; t < end-1e-9; t += every {
			put(p)
		}
	}
	put(parts[len(parts)-1])
	l.Watched = true
	return l
}

func conditions() Conditions {
	c := Around(2400, 80, Points)
	c.Warm = Warm
	return c
}

// 40 s of climb between two cruises: the climb counts, each of its two edges is in
// doubt for one row, counted before the repair and not after.
func TestDoubtGoesAgainstTheProof(t *testing.T) {
	l := drive(0.5, stretch{30, 2100, 40}, stretch{40, 2400, 80}, stretch{20, 2100, 40})
	before, after := Expose(l, conditions(), Before, 0), Expose(l, conditions(), After, 0)
	if before.Seconds != 40.5 || after.Seconds != 39.5 || before.Doubt != 1 || after.Doubt != 1 {
		t.Errorf("before %v, after %v, doubt %v", before.Seconds, after.Seconds, after.Doubt)
	}
	if len(after.Climbs) != 1 || after.Climbs[0] != (Span{30, 69.5}) {
		t.Errorf("climbs %v", after.Climbs)
	}
	if m := after.Missed; len(m) != 2 || m[0] != (Missed{TooLowLoad, 49.5}) || m[1] != (Missed{AtTheEdge, 1}) {
		t.Errorf("%v", m)
	}
	if after.Cells[1][1] != 39.5 {
		t.Errorf("the middle of the conditions is the middle cell: %v", after.Cells)
	}
}

// A hole in the log is no exposure, however good its ends look.
func TestNothingLoggedIsNotDriven(t *testing.T) {
	l := drive(0.5, stretch{30, 2400, 80})
	for i := range l.Speed.T {
		if i >= 30 {
			l.Speed.T[i] += 60
			l.Load.T[i] += 60
			l.Coolant.T[i] += 60
		}
	}
	e := Expose(l, conditions(), Before, 0)
	if e.Seconds != 29.5 || e.Logged != 90 || e.Missed[0] != (Missed{NotLogged, 60.5}) {
		t.Errorf("%+v", e)
	}
	// A channel that stops is not held for ever.
	l = drive(0.5, stretch{30, 2400, 80})
	l.Load.T, l.Load.V = l.Load.T[:10], l.Load.V[:10]
	if e := Expose(l, conditions(), After, 0); e.Seconds > 7 {
		t.Errorf("load was last seen at 4.5 s, counted %v s", e.Seconds)
	}
}

func TestRefusals(t *testing.T) {
	good := func() Log { return drive(0.5, stretch{30, 2400, 80}) }
	for name, x := range map[string]struct {
		spoil func(*Log)
		says  string
	}{
		"no load":          {func(l *Log) { l.Load = Series{} }, "calculated load is not logged"},
		"no speed":         {func(l *Log) { l.Speed = Series{} }, "engine speed is not logged"},
		"too slow":         {func(l *Log) { l.Load.Every = 5 }, "new only every 5.0 s"},
		"nobody watched":   {func(l *Log) { l.Watched = false }, "nobody can tell"},
		"lengths":          {func(l *Log) { l.Load.V = l.Load.V[1:] }, "times and"},
		"backwards":        {func(l *Log) { l.Speed.T[3] = 0 }, "runs backwards"},
		"no time":          {func(l *Log) { l.Load.T[0] = nan }, "has no time"},
		"counter backward": {func(l *Log) { l.Counters = []Counter{{"cylinder 1", Series{T: []float64{2, 1}, V: []float64{0, 0}}}} }, "runs backwards"},
	} {
		l := good()
		x.spoil(&l)
		err := l.Check()
		if err == nil || !contains(err.Error(), x.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	l := good()
	if err := l.Check(); err != nil {
		t.Errorf("a good log is refused: %v", err)
	}
	l.Speed.Every = 1 // one value a second is slow, and usable
	if err := l.Check(); err != nil {
		t.Errorf("one value a second: %v", err)
	}
}

// Whatever the log: what counts and what does not add up to what was logged, after
// never counts more than before, and seconds stay in the cells.
func TestSecondsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 40).Draw(t, "parts")
		var parts []stretch
		for range n {
			parts = append(parts, stretch{rapid.Float64Range(0.5, 30).Draw(t, "s"), rapid.Float64Range(700, 4000).Draw(t, "rpm"), rapid.Float64Range(10, 100).Draw(t, "load")})
		}
		l := drive(rapid.Float64Range(0.1, 1.5).Draw(t, "every"), parts...)
		from := rapid.Float64Range(0, 20).Draw(t, "from")
		c := conditions()
		before, after := Expose(l, c, Before, from), Expose(l, c, After, from)
		for _, e := range []Exposure{before, after} {
			missed := 0.0
			for _, m := range e.Missed {
				missed += m.Seconds
			}
			if math.Abs(missed+e.Seconds-e.Logged) > 1e-6 {
				t.Fatalf("%v + %v is not %v", missed, e.Seconds, e.Logged)
			}
		}
		if after.Seconds > before.Seconds+1e-9 {
			t.Fatalf("after %v, before %v", after.Seconds, before.Seconds)
		}
		if math.Abs(before.Seconds-after.Seconds-before.Doubt) > 1e-6 {
			t.Fatalf("the difference is the doubt: %v %v %v", before.Seconds, after.Seconds, before.Doubt)
		}
	})
}

func TestGearByRoadSpeed(t *testing.T) {
	l := drive(0.5, stretch{20, 2400, 80})
	c := conditions()
	c.KmhPer1000 = 25
	l.RoadV = Series{T: l.Speed.T, V: make([]float64, len(l.Speed.T))}
	for i := range l.RoadV.V {
		l.RoadV.V[i] = 60 // third: 25 km/h at 1000 rpm
		if i >= 20 {
			l.RoadV.V[i] = 82 // fourth
		}
	}
	e := Expose(l, c, After, 0)
	if e.Seconds != 9.5 || !e.GearChecked || e.Missed[0].Reason != OtherGear {
		t.Errorf("%+v", e)
	}
	l.RoadV = Series{}
	if e := Expose(l, c, After, 0); e.GearChecked || e.Seconds != 20 {
		t.Errorf("without road speed the gear is not checked, and that is said: %+v", e)
	}
}

// Whatever a log holds, judging it ends, and chances and seconds are numbers.
func TestAnyLog(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		odd := rapid.SampledFrom([]float64{0, 1, -1, 2400, 80, 90, nan, math.Inf(1), math.Inf(-1), 1e300, 5})
		series := func(name string) Series {
			s := Series{T: rapid.SliceOfN(odd, 0, 6).Draw(t, name+" times"), V: rapid.SliceOfN(odd, 0, 6).Draw(t, name)}
			if rapid.Bool().Draw(t, name+" good") {
				s.T = nil
				for i := range s.V {
					s.T = append(s.T, float64(i))
				}
			}
			return s
		}
		log := func() Log {
			return Log{Speed: series("speed"), Load: series("load"), Coolant: series("coolant"), RoadV: series("road"), Counters: []Counter{{"cylinder 1", series("counter")}},
				Marks: rapid.SliceOfN(odd, 0, 3).Draw(t, "marks"), Watched: rapid.Bool().Draw(t, "watched"), RoadMinutes: odd.Draw(t, "minutes")}
		}
		c := Case{Conditions: Around(odd.Draw(t, "rpm"), odd.Draw(t, "pct"), Points), Before: []BeforeDrive{{Log: log(), Role: rapid.SampledFrom([]Role{AsBefore, AsFound, AsCause, "x"}).Draw(t, "role")}}, After: []Log{log()}}
		v := Judge(c)
		c.Plan(v)
		if math.IsNaN(v.Chance) || v.Chance < 0 || v.Chance > 1 || math.IsNaN(v.Before.Seconds) || math.IsNaN(v.After.Seconds) || v.After.Seconds < 0 {
			t.Fatalf("%+v", v)
		}
		if v.State == "" || len(v.Lines) == 0 {
			t.Fatalf("nothing is said: %+v", v)
		}
	})
}
