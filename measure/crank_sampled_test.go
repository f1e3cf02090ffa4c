package measure

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"proveout/trace"
	"proveout/unit"
)

// sampledCrank draws a 60-2 wheel at a speed that rises evenly from 700 to 900 rpm, as
// a sampled logic signal with noise, or as the wave of a variable-reluctance sensor:
// the derivative of the flux, so that its height goes with the speed, zero crossing
// downward at the middle of each tooth, and a rest where teeth are missing.
func sampledCrank(rate, seconds float64, reluctance bool, noise float64) *trace.Recording {
	rng := rand.New(rand.NewPCG(6, 6))
	n := int(rate * seconds)
	v := make([]float64, n)
	for i := range v {
		t := float64(i) / rate
		rpm := 700 + 200*t/seconds
		deg := 6 * (700*t + 100*t*t/seconds) // integral of the speed
		tooth := math.Mod(deg/6, 60)
		here := tooth < 58
		switch {
		case reluctance && here:
			v[i] = 2.5 + 2*rpm/800*math.Sin(2*math.Pi*math.Mod(tooth, 1))
		case reluctance:
			v[i] = 2.5
		case here && math.Mod(tooth, 1) < 0.5:
			v[i] = 5
		}
		v[i] += noise * rng.NormFloat64()
	}
	return &trace.Recording{
		Time:     trace.TimeBase{Num: int64(1e9 / rate), Den: 1, N: n},
		Segments: []trace.Segment{{First: 0, End: n}},
		Channels: []trace.Channel{{Name: "crank", Unit: unit.Must("V"), Values: v}},
	}
}

// TestSampledCrank: wheel, speed over time and a clean signal from sampled traces.
func TestSampledCrank(t *testing.T) {
	for _, c := range []struct {
		name       string
		reluctance bool
		noise      float64
	}{
		{"logic", false, 0}, {"logic, noisy", false, 0.2}, {"variable reluctance", true, 0}, {"variable reluctance, noisy", true, 0.05},
	} {
		run, res, err := Crank(sampledCrank(50e3, 4, c.reluctance, c.noise), Meta{Engine: engineOf(4)})
		if err != nil || run.Wheel != "60-2" || run.TeethPerTurn != 58 {
			t.Errorf("%s: wheel %q, %d teeth, %v %v", c.name, run.Wheel, run.TeethPerTurn, err, res.NotMeasured)
			continue
		}
		said := slices.ContainsFunc(res.Notes, func(n Note) bool { return strings.Contains(n.Text, "no two clear levels") })
		if said != c.reluctance {
			t.Errorf("%s: said to have no two clear levels: %v", c.name, said)
		}
		for _, s := range run.Speeds {
			if want := 700 + 200*s.Seconds/4; math.Abs(s.RPM/want-1) > 0.004 {
				t.Errorf("%s: %.1f rpm at %.2f s, drawn %.1f", c.name, s.RPM, s.Seconds, want)
				break
			}
		}
		if len(run.Doubled)+len(run.Stray)+run.Missing+run.Lost != 0 || len(run.Misfires) != 0 {
			t.Errorf("%s: doubled %d, stray %d, missing %d, lost %d, misfires %d; none were drawn", c.name, len(run.Doubled), len(run.Stray), run.Missing, run.Lost, len(run.Misfires))
		}
	}
}

func BenchmarkFindEdges(b *testing.B) {
	rec := sampledCrank(1e6, 4, true, 0.02)
	b.SetBytes(int64(8 * rec.Time.N))
	for b.Loop() {
		if s := findEdges(rec, &rec.Channels[0]); len(s.edges) < 1000 {
			b.Fatal(len(s.edges))
		}
	}
	b.ReportMetric(float64(rec.Time.N)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

// TestLongCrankRecording: edges are decoded in chunks; nothing is lost or added where
// one ends and the next begins.
func TestLongCrankRecording(t *testing.T) {
	s := plainCrank()
	s.pitches, s.missing, s.turns, s.cam, s.sync = 60, []int{58, 59}, 800, false, false
	run, res, err := Crank(s.draw(), s.meta())
	if err != nil {
		t.Fatal(err)
	}
	if 58*800 < 2*chunkEdges {
		t.Fatal("too short to need chunks")
	}
	if math.Abs(run.Turns-800) > 1 || len(run.Doubled)+len(run.Stray)+run.Missing+run.Lost != 0 || len(run.Misfires) != 0 {
		t.Errorf("%.1f turns of 800; doubled %d, stray %d, missing %d, lost %d, misfires %d (%v)", run.Turns, len(run.Doubled), len(run.Stray), run.Missing, run.Lost, len(run.Misfires), res.NotMeasured)
	}
}

// TestSpikesOnASampledSquareSignal: spikes on a square signal are counted one by one as
// edges too many, and nothing else is made of them.
func TestSpikesOnASampledSquareSignal(t *testing.T) {
	rec := sampledCrank(250e3, 2, false, 0.02)
	v, drawn := rec.Channels[0].Values, 0
	for i := 2001; i+3 < len(v); i += 40011 { // three samples, 12 us, the other way
		for j := i; j < i+3; j++ {
			v[j] = 5 - v[j]
		}
		drawn++
	}
	run, res, err := Crank(rec, Meta{Engine: engineOf(4)})
	if err != nil || run.Wheel != "60-2" || len(run.Doubled) != drawn || len(run.Stray)+run.Missing+run.Lost != 0 {
		t.Errorf("wheel %q, doubled %d of %d, stray %d, missing %d, lost %d (%v %v)", run.Wheel, len(run.Doubled), drawn, len(run.Stray), run.Missing, run.Lost, err, res.NotMeasured)
	}
}
