package measure

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/sim"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// starterSynth draws a starter's current in closed form. It shares nothing with
// the measuring code.
type starterSynth struct {
	cylinders int
	order     []int
	rpm       float64
	base      float64         // A
	hump      float64         // A
	weak      map[int]float64 // place in the order: share of its hump
	inrush    float64
	before    float64 // s at rest before
	seconds   float64
	rate      float64
	noise     float64
	zero      float64 // of the clamp
	gain      float64
	ramp      float64 // relative fall of the whole current over the recording
	volt0     float64 // rested; 0: no voltage channel
	ohm       float64 // of battery and cable
	sync      bool
	syncLate  float64 // in compressions
	flat      bool
	seed      uint64
}

func plainStarter() starterSynth {
	return starterSynth{cylinders: 4, order: []int{1, 3, 4, 2}, rpm: 220, base: 110, hump: 60, inrush: 400, before: 0.3, seconds: 4, rate: 2000, noise: 2, gain: 1, volt0: 12.6, ohm: 0.012, sync: true, seed: 1}
}

func (s starterSynth) draw() *trace.Recording {
	rng := rand.New(rand.NewPCG(s.seed, 3))
	n := int((s.before + s.seconds) * s.rate)
	amp, volt, sync := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		t := float64(i)/s.rate - s.before
		a := 0.0
		if t >= 0 && !s.flat {
			cyc := t * s.rpm / 120 * float64(s.cylinders)
			k := int(math.Floor(cyc+0.5)) % s.cylinders // the compression whose top is nearest
			share := 1.0
			if w, ok := s.weak[k]; ok {
				share = w
			}
			x := cyc - math.Floor(cyc+0.5)
			h := s.hump * share * math.Pow(math.Cos(math.Pi*x), 2)
			a = (s.base+h)*(1-s.ramp*t/s.seconds) + s.inrush*math.Exp(-t/0.05)
			if d := math.Mod(cyc-s.syncLate+float64(s.cylinders), float64(s.cylinders)); math.Min(d, float64(s.cylinders)-d) < 0.04 {
				sync[i] = 5
			}
		}
		volt[i] = s.volt0 - a*s.ohm + 0.01*rng.NormFloat64()
		amp[i] = s.gain*(a+s.noise*rng.NormFloat64()) + s.zero
	}
	rec := &trace.Recording{Time: trace.TimeBase{Num: int64(1e9 / s.rate), Den: 1, N: n}, Segments: []trace.Segment{{First: 0, End: n}}}
	rec.Channels = append(rec.Channels, trace.Channel{Name: "Clamp (A)", Unit: unit.Must("A"), Values: amp})
	if s.volt0 > 0 {
		rec.Channels = append(rec.Channels, trace.Channel{Name: "Battery (V)", Unit: unit.Must("V"), Values: volt})
	}
	if s.sync {
		rec.Channels = append(rec.Channels, trace.Channel{Name: "Sync (V)", Unit: unit.Must("V"), Values: sync})
	}
	return rec
}

func (s starterSynth) meta() Meta {
	return Meta{Item: 1, Engine: vehicle.Engine{Cylinders: s.cylinders, FiringOrder: s.order}, Probe: "clamp on the battery cable"}
}

func said(res Result, words string) bool {
	return slices.ContainsFunc(res.Notes, func(n Note) bool { return strings.Contains(n.Text, words) })
}

// TestCrankingPeaks: crests, speed, current and voltage of drawn traces come back,
// for several engines; the crest is base plus hump.
func TestCrankingPeaks(t *testing.T) {
	for _, e := range []struct {
		n     int
		order []int
		rpm   float64
		weak  map[int]float64
	}{
		{4, []int{1, 3, 4, 2}, 220, nil},
		{4, []int{1, 3, 4, 2}, 180, map[int]float64{2: 0.4}},
		{6, []int{1, 5, 3, 6, 2, 4}, 200, map[int]float64{1: 0.5}},
		{3, []int{1, 3, 2}, 260, map[int]float64{0: 0.3}},
		{8, []int{1, 8, 4, 3, 6, 5, 7, 2}, 190, map[int]float64{5: 0.5, 6: 0.5}},
	} {
		for _, zero := range []float64{0, 12} {
			s := plainStarter()
			s.cylinders, s.order, s.rpm, s.weak, s.zero, s.seconds = e.n, e.order, e.rpm, e.weak, zero, 5
			run, res, err := Cranking(s.draw(), s.meta())
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(run.RPM/e.rpm-1) > 0.01 {
				t.Errorf("%d cylinders: %.1f rpm, drawn %.0f", e.n, run.RPM, e.rpm)
			}
			seen := 0
			for _, r := range res.Readings {
				switch r.Feature {
				case "cranking.ripple":
					seen++
					share := 1.0
					if w, ok := e.weak[slices.Index(e.order, r.Subject.Number)]; ok {
						share = w
					}
					want := 110 + 60*share
					if math.Abs(r.Value.SI-want) > math.Max(4*r.Uncertainty, 3.5) {
						t.Errorf("%d cylinders: cylinder %d has %.1f +- %.2f A, drawn %.1f", e.n, r.Subject.Number, r.Value.SI, r.Uncertainty, want)
					}
				case "cranking.voltage_min":
					if want := 12.6 - 170*0.012; math.Abs(r.Value.SI-want) > 0.08 {
						t.Errorf("lowest voltage %.2f, drawn %.2f", r.Value.SI, want)
					}
				}
			}
			if seen != e.n {
				t.Errorf("%d cylinders: %d crests (%v)", e.n, seen, res.NotMeasured)
			}
			if want := map[bool]string{true: "even", false: "uneven"}[e.weak == nil]; run.Verdict != want {
				t.Errorf("%d cylinders, weak %v: verdict %q", e.n, e.weak, run.Verdict)
			}
			if e.weak == nil && !said(res, "alike on all cylinders does not show") {
				t.Error("even crests without the word that an even loss does not show")
			}
		}
	}
}

// TestCrankingOfTheSimulator: the physics model's cranking, healthy and with a
// leaking valve, through its own text file.
func TestCrankingOfTheSimulator(t *testing.T) {
	for _, e := range sim.Layouts() {
		for _, bad := range []int{0, e.Cylinders} {
			rng := rand.New(rand.NewPCG(11, uint64(bad)))
			var faults []sim.Fault
			if bad > 0 {
				faults = append(faults, sim.Fault{Name: "leaking valve", Cylinder: bad, Severity: 0.9})
			}
			v, err := sim.New(rng, e, faults...)
			if err != nil {
				t.Fatal(err)
			}
			rec, err := trace.ReadText(bytes.NewReader(sim.CrankingCSV(v.CrankingCurrent(rng, 5, 2000))), trace.TextOptions{})
			if err != nil {
				t.Fatal(err)
			}
			res, err := Capture("", rec, Meta{Engine: e})
			if err != nil || res.Kind != CrankingCurrent {
				t.Fatalf("%d cylinders: recognised as %q, %v", e.Cylinders, res.Kind, err)
			}
			var lowest evidence.Reading
			n := 0
			for _, r := range res.Readings {
				if r.Feature == "cranking.ripple" {
					n++
					if lowest.Feature == "" || r.Value.SI < lowest.Value.SI {
						lowest = r
					}
				}
			}
			if len(e.FiringOrder) == e.Cylinders {
				if n != e.Cylinders {
					t.Errorf("%d cylinders: %d crests, %v", e.Cylinders, n, res.NotMeasured)
				}
				if bad > 0 && lowest.Subject.Number != bad {
					t.Errorf("%d cylinders: cylinder %d is lowest, the valve leaks on %d", e.Cylinders, lowest.Subject.Number, bad)
				}
			}
			if r, ok := reading(res, "cranking.speed"); !ok || r.Value.SI < 100 || r.Value.SI > 350 {
				t.Errorf("%d cylinders: speed %v", e.Cylinders, r.Value)
			}
		}
	}
}

// TestCrankingJudgesTheHump: the hump is the compression; the crest adds the current
// that turns the engine, and with it a quarter of a hump lost is 9 % of the crest, 4 %
// where the engine drags. The verdict must not depend on that current, on a sync, or
// on a battery that runs down.
func TestCrankingJudgesTheHump(t *testing.T) {
	plain := func(*starterSynth) {}
	for _, c := range []struct {
		name    string
		set     func(*starterSynth)
		invalid bool // a battery or a speed with which "even" counts for nothing
	}{
		{"plain", plain, false},
		{"no sync", func(s *starterSynth) { s.sync = false }, false},
		{"drag", func(s *starterSynth) { s.base, s.rpm = 260, 130 }, true},
		{"weak battery", func(s *starterSynth) { s.base, s.rpm, s.volt0, s.ramp = 60, 120, 10.4, 0.3 }, true},
		{"battery runs down", func(s *starterSynth) { s.ramp = 0.3 }, false},
		{"no voltage", func(s *starterSynth) { s.volt0 = 0 }, false},
		{"six cylinders", func(s *starterSynth) { s.cylinders, s.order, s.seconds = 6, []int{1, 5, 3, 6, 2, 4}, 5 }, false},
	} {
		for _, lost := range []float64{0, 0.05, 0.15, 0.25, 0.5, 1} {
			s := plainStarter()
			c.set(&s)
			s.weak = map[int]float64{2: 1 - lost}
			run, res, err := Cranking(s.draw(), s.meta())
			if err != nil {
				t.Fatal(err)
			}
			want := "even"
			switch {
			case lost > 0.2:
				want = "uneven"
			case lost > 0.1 || c.invalid:
				want = ""
			}
			if run.Verdict != want {
				t.Errorf("%s, %.0f %% of a hump lost: verdict %q, want %q: %+v", c.name, 100*lost, run.Verdict, want, res.Notes)
				continue
			}
			if lost < 0.2 && !said(res, "alike on all cylinders does not show") {
				t.Errorf("%s, %.0f %%: not said that a uniform loss is invisible: %+v", c.name, 100*lost, res.Notes)
			}
			if lost == 0.15 && !said(res, "to be confirmed") {
				t.Errorf("%s: 15 %% is not to be confirmed: %+v", c.name, res.Notes)
			}
			if lost < 0.2 {
				continue
			}
			if !s.sync {
				r, ok := reading(res, "cranking.hump_spread")
				if n := float64(s.cylinders); !ok || math.Abs(r.Value.SI-100*lost/(1-lost/n)) > 4 || !said(res, "stays unknown without a sync") {
					t.Errorf("%s, %.0f %%: spread %v", c.name, 100*lost, r.Value)
				}
				continue
			}
			who := s.order[2]
			if !said(res, fmt.Sprintf("hump of cylinder %d is", who)) {
				t.Errorf("%s, %.0f %%: the cylinder is not named: %+v", c.name, 100*lost, res.Notes)
			}
			for _, r := range res.Readings {
				want := s.hump * (1 - s.ramp/2)
				if r.Feature == "cranking.hump" && r.Subject == evidence.Cyl(who) && math.Abs(r.Value.SI-(1-lost)*want) > 0.03*want+4*r.Uncertainty {
					t.Errorf("%s, %.0f %%: hump %v, drawn %.1f A", c.name, 100*lost, r.Value, (1-lost)*want)
				}
			}
		}
	}
}

// TestCrankingWithoutSync: the spread stands, no crest is put to a cylinder.
func TestCrankingWithoutSync(t *testing.T) {
	s := plainStarter()
	s.sync, s.weak = false, map[int]float64{1: 0.5}
	run, res, err := Cranking(s.draw(), s.meta())
	if err != nil {
		t.Fatal(err)
	}
	r, ok := reading(res, "cranking.peak_spread")
	// Crests 170, 140, 170, 170: 30 over a mean of 162.5.
	if !ok || math.Abs(r.Value.SI-18.5) > 2 || !r.Has(evidence.Unplaced) {
		t.Errorf("spread %v %v", r.Value, r.Flags)
	}
	if _, ok := reading(res, "cranking.ripple"); ok || run.Synced {
		t.Error("a crest is put to a cylinder without a sync")
	}
	if !strings.Contains(refusal(res, "cranking.ripple"), "order of the humps is unknown") {
		t.Errorf("refused with %q", refusal(res, "cranking.ripple"))
	}
}

// TestSlowCranking parts drag, weak battery and bad connection, and says when it
// cannot.
func TestSlowCranking(t *testing.T) {
	for _, c := range []struct {
		name             string
		rpm, base, volt0 float64
		ohm              float64
		verdict, words   string
	}{
		{"drag", 110, 250, 12.6, 0.008, "drag", "drags"},
		{"weak battery", 110, 50, 10.0, 0.015, "weak battery", "battery weak"},
		{"cable", 110, 50, 12.6, 0.008, "connection or starter", "drop of each cable"},
		{"between", 120, 120, 12.6, 0.008, "", "cannot be told apart"},
		{"no voltage", 110, 50, 0, 0, "", "voltage would tell"},
		{"good", 220, 110, 12.6, 0.008, "", ""},
	} {
		s := plainStarter()
		s.rpm, s.base, s.volt0, s.ohm, s.hump = c.rpm, c.base, c.volt0, c.ohm, 40
		run, res, err := Cranking(s.draw(), s.meta())
		if err != nil {
			t.Fatal(err)
		}
		if run.Slow != c.verdict || !said(res, c.words) || (run.Verdict == "even") != (c.name == "good") {
			t.Errorf("%s: %q, cylinders %q at %.0f rpm, %.0f A, %.1f V: %v", c.name, run.Slow, run.Verdict, run.RPM, run.MeanAmp, run.LowVolt, res.Notes)
		}
	}
}

// TestCrankingDriftIsNoCylinder: a battery that runs down over the recording does
// not make the later places of the cycle look weak.
func TestCrankingDriftIsNoCylinder(t *testing.T) {
	s := plainStarter()
	s.ramp, s.noise = 0.25, 1
	_, res, err := Cranking(s.draw(), s.meta())
	if err != nil {
		t.Fatal(err)
	}
	lo, hi := math.Inf(1), 0.0
	for _, r := range res.Readings {
		if r.Feature == "cranking.ripple" {
			lo, hi = math.Min(lo, r.Value.SI), math.Max(hi, r.Value.SI)
		}
	}
	if hi/lo > 1.03 {
		t.Errorf("crests from %.1f to %.1f A, drawn alike with a falling battery", lo, hi)
	}
}

// TestCrankingSlowSampling: at 100 Hz the humps are there, the inrush is not; it
// says so.
func TestCrankingSlowSampling(t *testing.T) {
	s := plainStarter()
	s.rate = 125
	_, res, err := Cranking(s.draw(), s.meta())
	if err != nil {
		t.Fatal(err)
	}
	if !said(res, "lowest seen") || !said(res, "too slow for the dip of the inrush") {
		t.Errorf("slow sampling is not said: %v", res.Notes)
	}
	if r, ok := reading(res, "cranking.speed"); !ok || math.Abs(r.Value.SI/220-1) > 0.02 {
		t.Errorf("speed %v", r.Value)
	}
}

// TestCrankingRefuses: never a confident wrong number.
func TestCrankingRefuses(t *testing.T) {
	type change func(*starterSynth)
	rng := rand.New(rand.NewPCG(1, 1))
	with := func(f change) starterSynth { s := plainStarter(); f(&s); return s }
	for _, c := range []struct {
		name  string
		s     starterSynth
		n     int
		alter func(*trace.Recording)
		why   string
	}{
		{"flat", with(func(s *starterSynth) { s.flat, s.noise = true, 0 }), 4, nil, "flat"},
		{"noise", with(func(s *starterSynth) { s.flat, s.noise = true, 100 }), 4, nil, ""},
		{"scale 1/1000", with(func(s *starterSynth) { s.gain = 1e-3 }), 4, nil, "cannot turn an engine"},
		{"scale 1000", with(func(s *starterSynth) { s.gain = 1e3 }), 4, nil, "more than any starter"},
		{"no humps", with(func(s *starterSynth) { s.hump = 0 }), 4, nil, "no regular humps"},
		{"wrong count with sync", plainStarter(), 6, nil, "humps lie between two syncs"},
		{"too slow", with(func(s *starterSynth) { s.rate = 40 }), 4, nil, "cannot show the humps"},
		{"too short", with(func(s *starterSynth) { s.seconds = 0.5 }), 4, nil, ""},
		{"voltage chosen as current", plainStarter(), 4, func(r *trace.Recording) { r.Channels[0].Values = r.Channels[1].Values }, ""},
		{"sync twice a cycle", with(func(s *starterSynth) {}), 4, func(r *trace.Recording) {
			v := r.Channels[2].Values
			d := 545 // one turn at 220 rpm
			for i := len(v) - 1; i >= d; i-- {
				v[i] = math.Max(v[i], v[i-d])
			}
		}, "companion"},
		{"sync between two humps", with(func(s *starterSynth) { s.syncLate = 0.5 }), 4, nil, "between two humps"},
		{"a block dropped", plainStarter(), 4, func(r *trace.Recording) {
			for c := range r.Channels {
				v := r.Channels[c].Values
				r.Channels[c].Values = append(slices.Clone(v[:4000]), v[4120:]...)
			}
			r.Time.N -= 120
			r.Segments[0].End -= 120
		}, ""},
		{"random walk", plainStarter(), 4, func(r *trace.Recording) {
			x := 0.0
			for i := range r.Channels[0].Values {
				x += 2 * rng.NormFloat64()
				r.Channels[0].Values[i] = x
			}
		}, ""},
	} {
		rec := c.s.draw()
		if c.alter != nil {
			c.alter(rec)
		}
		m := c.s.meta()
		if c.n != c.s.cylinders {
			m.Engine = vehicle.Engine{Cylinders: 6, FiringOrder: []int{1, 5, 3, 6, 2, 4}}
		}
		_, res, err := Cranking(rec, m)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if r, ok := reading(res, "cranking.ripple"); ok {
			t.Errorf("%s: gave %v for %v", c.name, r.Value, r.Subject)
		}
		if r, ok := reading(res, "cranking.speed"); ok && c.n != c.s.cylinders {
			t.Errorf("%s: cranking speed %v", c.name, r.Value)
		}
		if why := refusal(res, "cranking.ripple"); why == "" || !strings.Contains(why, c.why) {
			t.Errorf("%s: refused with %q", c.name, why)
		}
	}
}

// TestCrankingTurnedClamp measures the same with the clamp the other way round,
// and says so.
func TestCrankingTurnedClamp(t *testing.T) {
	s := plainStarter()
	s.gain = -1
	_, res, err := Cranking(s.draw(), s.meta())
	if err != nil {
		t.Fatal(err)
	}
	r, ok := reading(res, "cranking.ripple")
	if !ok || math.Abs(r.Value.SI-170) > 3 || !r.Has(evidence.Inverted) || !said(res, "other way round") {
		t.Errorf("%v %v %v", r.Value, r.Flags, res.NotMeasured)
	}
}

// TestCrankingCoverage: the stated uncertainty of a crest covers the truth, over
// many draws with noise.
func TestCrankingCoverage(t *testing.T) {
	in, of := 0, 0
	for seed := range uint64(120) {
		s := plainStarter()
		s.seed, s.noise, s.rate, s.seconds, s.volt0 = seed, 6, 1000, 4.5, 0
		s.rpm = 170 + float64(seed%7)*15
		s.weak = map[int]float64{1: 0.7}
		_, res, err := Cranking(s.draw(), s.meta())
		if err != nil {
			t.Fatal(err)
		}
		var got [5]evidence.Reading
		for _, r := range res.Readings {
			if r.Feature == "cranking.ripple" {
				got[r.Subject.Number] = r
			}
		}
		if got[3].Feature == "" || got[1].Feature == "" {
			t.Fatalf("seed %d: %v", seed, res.NotMeasured)
		}
		// What the comparison uses: the ratio of two cylinders. Drawn 152 and 170 A.
		ratio := got[3].Value.SI / got[1].Value.SI
		sigma := ratio * math.Hypot(got[3].Uncertainty/got[3].Value.SI, got[1].Uncertainty/got[1].Value.SI)
		of++
		if math.Abs(ratio-152.0/170) < 1.96*sigma {
			in++
		}
	}
	if share := float64(in) / float64(of); share < 0.90 || share > 1 {
		t.Errorf("a 95 %% interval covers %.0f %% of %d draws", 100*share, of)
	}
}

func BenchmarkCranking(b *testing.B) {
	s := plainStarter()
	s.rate, s.seconds = 100e3, 10
	rec, meta := s.draw(), s.meta()
	b.SetBytes(int64(8 * rec.Time.N))
	for b.Loop() {
		if _, _, err := Cranking(rec, meta); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(rec.Time.N)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}
