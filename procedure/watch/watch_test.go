package watch

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proveout/procedure"
)

func limits(t *testing.T) procedure.Limits {
	t.Helper()
	l, err := procedure.Watch{Start: "13.0 V", Warn: "12.2 V", Hold: "12.0 V", Stop: "11.5 V", StopHigh: "16 V", HoldHigh: "15.5 V", Debounce: "200 ms", Rate: "5 Hz", MaxAge: "2 s"}.Limits()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

const ms = int64(1e6)

// feed plays a list of (milliseconds, volts) and gives the level after each.
func feed(m *Monitor, pairs ...float64) []Level {
	var out []Level
	for i := 0; i < len(pairs); i += 2 {
		at := int64(pairs[i]) * ms
		m.Add(Sample{at, pairs[i+1]})
		out = append(out, m.Level(at))
	}
	return out
}

// TestInrushIsNotSag: trade.md 5.5 gives an inrush of 20 to 60 ms; 5.3 the lines.
func TestInrushIsNotSag(t *testing.T) {
	m := New(limits(t))
	m.Begin(0)
	got := feed(m, 0, 13.4, 100, 13.4, 200, 13.4, 300, 10.9, 350, 11.2, 400, 13.2, 500, 13.3)
	want := []Level{NotWatched, NotWatched, Holding, Holding, Holding, Holding, Holding}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("inrush: levels %v, want %v", got, want)
	}
	s := m.End(500 * ms)
	if s.Dips != 1 || s.Low != 10.9 || s.Samples != 7 {
		t.Errorf("inrush: %d dips, lowest %g, %d samples; want 1, 10.9, 7", s.Dips, s.Low, s.Samples)
	}
	if math.Abs(s.BeyondStop-0.2) > 1e-9 {
		t.Errorf("time below stop %g s, want 0.2 (200 to 400 ms, worse of both ends)", s.BeyondStop)
	}
}

func TestSagIsTold(t *testing.T) {
	m := New(limits(t))
	feed(m, 0, 13.4, 300, 13.4)
	got := feed(m, 400, 12.1, 500, 12.1, 600, 12.1, 700, 11.9, 800, 11.9, 900, 11.9, 1000, 11.4, 1200, 11.4)
	want := []Level{Holding, Holding, Warn, Warn, Warn, Hold, Hold, StopNow}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("sag: %v, want %v", got, want)
	}
	if got := feed(m, 1300, 13.4, 1400, 13.4, 1500, 13.4); !reflect.DeepEqual(got, []Level{StopNow, StopNow, Holding}) {
		t.Errorf("recovery must hold for the debounce time: %v", got)
	}
}

func TestTooHighIsTold(t *testing.T) {
	m := New(limits(t))
	got := feed(m, 0, 13.4, 300, 13.4, 400, 16.4, 700, 16.4)
	if got[3] != StopNow {
		t.Errorf("16.4 V for 300 ms is %v, want stop (ISO 16750-2: 16 V)", got[3])
	}
}

// TestStaleNeverPasses: an old feed is not watched, and after a gap it must hold
// for the debounce time again.
func TestStaleNeverPasses(t *testing.T) {
	m := New(limits(t))
	feed(m, 0, 13.4, 300, 13.4)
	if l := m.Level(2300 * ms); l != Holding {
		t.Errorf("2.0 s old: %v, want holding", l)
	}
	if l := m.Level(2301 * ms); l != NotWatched {
		t.Errorf("just over 2 s old: %v, want not watched", l)
	}
	if got := feed(m, 5000, 13.4, 5100, 13.4, 5200, 13.4); !reflect.DeepEqual(got, []Level{NotWatched, NotWatched, Holding}) {
		t.Errorf("after a gap: %v", got)
	}
}

// TestSlowFeed: at 1 Hz one sample can fall on the inrush of a motor (20 to 60 ms,
// trade.md 5.5). It asks; only a second one in a row says stop.
func TestSlowFeed(t *testing.T) {
	m := New(limits(t))
	feed(m, 0, 13.4, 1000, 13.4, 2000, 11.0)
	for _, tc := range []struct {
		at   int64
		want Level
	}{{2100, Holding}, {2250, LowestSeen}, {3900, LowestSeen}, {4001, NotWatched}} {
		if l := m.Level(tc.at * ms); l != tc.want {
			t.Errorf("%d ms after one low sample and silence: %v, want %v", tc.at-2000, l, tc.want)
		}
	}
	inrush, sag := *m, *m
	if got := feed(&inrush, 3000, 13.2, 3500, 13.2); !reflect.DeepEqual(got, []Level{Holding, Holding}) {
		t.Errorf("high again with the next sample: %v, want holding", got)
	}
	if got := feed(&sag, 3000, 11.0); got[0] != StopNow {
		t.Errorf("two low samples a second apart: %v, want stop", got[0])
	}
	// Between warn and hold a slow feed asks nothing: a motor that runs pulls it there.
	n := New(limits(t))
	feed(n, 0, 13.4, 1000, 13.4, 2000, 12.1)
	if l := n.Level(2900 * ms); l != Holding {
		t.Errorf("one sample at 12.1 V: %v, want holding", l)
	}
}

// TestOneSampleNeverStops: at any rate, whatever the values, a level of hold or stop
// needs two samples in a row beyond it, at least the debounce time apart.
func TestOneSampleNeverStops(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := New(procedure.Limits{Stop: 11.5, Hold: 12, Warn: 12.2, StopHigh: math.NaN(), HoldHigh: math.NaN(), WarnHigh: math.NaN(), Debounce: .2, MaxAge: 2, RateHz: 5})
		now, run, since, shown := int64(0), 0, int64(0), false // shown: two in a row were seen once; leaving is debounced too
		for i := 0; i < 60; i++ {
			now += rapid.Int64Range(1, 1999).Draw(t, "gap") * ms
			v := rapid.SampledFrom([]float64{10.9, 11.6, 12.1, 13.4}).Draw(t, "v")
			m.Add(Sample{now, v})
			if v >= 11.5 {
				run = 0
			} else if run++; run == 1 {
				since = now
			}
			shown = shown || run >= 2 && now-since >= 200*ms
			ask := now + rapid.Int64Range(0, 1999).Draw(t, "later")*ms
			if l := m.Level(ask); l == StopNow && !shown {
				t.Fatalf("stop at sample %d with %d low samples in a row", i, run)
			} else if run >= 2 && now-since >= 200*ms && l != StopNow {
				t.Fatalf("sample %d: %d low samples over %d ms, and it is %v", i, run, (now-since)/ms, l)
			}
		}
	})
}

func TestSummaryCountsTime(t *testing.T) {
	m := New(limits(t))
	m.Begin(0)
	feed(m, 0, 13, 1000, 13, 2000, 12.1, 3000, 12.1, 4000, 13) // beyond warn 1000..4000
	s := m.End(10_000 * ms)
	if s.BeyondWarn != 3 || s.BeyondHold != 0 || s.Watched != 4 || s.NotWatched != 6 {
		t.Errorf("beyond warn %g, hold %g, watched %g, not watched %g; want 3, 0, 4, 6", s.BeyondWarn, s.BeyondHold, s.Watched, s.NotWatched)
	}
	if !s.LowSeenOnly {
		t.Error("1 Hz where 5 Hz is asked must be \"lowest seen\"")
	}
}

func TestPlotStaysSmallAndWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := New(procedure.Limits{Stop: 1, Hold: 2, Warn: 3, StopHigh: math.NaN(), HoldHigh: math.NaN(), WarnHigh: math.NaN(), Debounce: .1, MaxAge: 2, RateHz: 5})
		m.Begin(0)
		vs := rapid.SliceOfN(rapid.Float64Range(0, 20), 1, 2000).Draw(t, "v")
		lo, hi := math.Inf(1), math.Inf(-1)
		for i, v := range vs {
			m.Add(Sample{int64(i) * 100 * ms, v})
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
		s := m.End(int64(len(vs)) * 100 * ms)
		pl, ph := math.Inf(1), math.Inf(-1)
		for _, p := range s.Plot {
			pl, ph = math.Min(pl, p.Low), math.Max(ph, p.High)
		}
		if len(s.Plot) > PlotPoints || pl != lo || ph != hi || s.Low != lo || s.High != hi {
			t.Fatalf("plot of %d pairs spans %g..%g, values %g..%g", len(s.Plot), pl, ph, lo, hi)
		}
	})
}

func TestLines(t *testing.T) {
	for _, tc := range []struct {
		name, in string
		want     []Row
		bad      int
	}{
		{"value only", "13.4\n13.3\n", []Row{{Value: 13.4}, {Value: 13.3}}, 0},
		{"time and value", "0.0,13.4\n0.2,13.3\n", []Row{{0, true, 13.4}, {.2, true, 13.3}}, 0},
		{"header out of order", "voltage;time\n13,4;0,0\n13,3;0,2\n", []Row{{0, true, 13.4}, {.2, true, 13.3}}, 0},
		{"json", "{\"t\":1,\"v\":13.4}\n{\"time\":2,\"voltage\":12}\n", []Row{{1, true, 13.4}, {2, true, 12}}, 0},
		{"torn line waits", "13.4\n13.", []Row{{Value: 13.4}}, 0},
		{"garbage is told", "13.4\nabc\n{}\n13.3\n", []Row{{Value: 13.4}, {Value: 13.3}}, 2},
		{"not a number", "NaN\n13\n", []Row{{Value: 13}}, 0},
		{"too long", strings.Repeat("9", MaxLine+1) + "\n13\n", []Row{{Value: 13}}, 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			// In one piece and byte by byte: the same rows.
			for _, size := range []int{len(tc.in), 1, 3} {
				var l Lines
				var got []Row
				for i := 0; i < len(tc.in); i += size {
					got = append(got, l.Write([]byte(tc.in[i:min(i+size, len(tc.in))]))...)
				}
				if !reflect.DeepEqual(got, tc.want) || l.Bad != tc.bad {
					t.Errorf("pieces of %d: rows %v, %d bad (%v); want %v, %d", size, got, l.Bad, l.Notes, tc.want, tc.bad)
				}
			}
		})
	}
}

func FuzzLines(f *testing.F) {
	f.Add([]byte("time,voltage\n0,13.4\n"), 3)
	f.Add([]byte("{\"t\":1,\"v\":2}\n"), 1)
	f.Fuzz(func(t *testing.T, in []byte, cut int) {
		if len(in) > 1<<16 {
			return
		}
		var whole, parts Lines
		a := append(whole.Write(in), whole.Close()...)
		k := 0
		if len(in) > 0 {
			k = (cut%len(in) + len(in)) % len(in)
		}
		b := append(parts.Write(in[:k]), parts.Write(in[k:])...)
		b = append(b, parts.Close()...)
		if !reflect.DeepEqual(a, b) {
			t.Fatalf("cut at %d: %v, in one piece %v", k, b, a)
		}
		for _, r := range a {
			if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
				t.Fatalf("row %v is no number", r)
			}
		}
	})
}
