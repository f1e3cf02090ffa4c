package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// crankSynth draws a crank wheel in closed form: the speed is given as a function
// of crank angle, time is its integral, and edges fall where the teeth stand. It
// shares nothing with the measuring code.
type crankSynth struct {
	cylinders int
	order     []int
	pitches   int
	missing   []int // teeth left out
	turns     int
	rpm       float64
	ripple    float64         // relative swing of order cylinders/2
	weak      int             // position in the order whose compression is weak, -1 none
	misfire   map[int]float64 // firing number: relative loss of speed at its end
	jitter    float64         // s
	toothOff  map[int]float64 // tooth: deg
	drop      []int           // edges (by running number) left out
	double    []int           // edges doubled
	cam, sync bool
	scale     float64 // of time
	seed      uint64
}

func plainCrank() crankSynth {
	return crankSynth{cylinders: 4, order: []int{1, 3, 4, 2}, pitches: 36, missing: []int{35}, turns: 60, rpm: 800, ripple: 0.01, weak: -1, cam: true, sync: true, scale: 1, seed: 1}
}

func (s crankSynth) draw() *trace.Recording {
	rng := rand.New(rand.NewPCG(s.seed, 9))
	f := 720 / float64(s.cylinders)
	const step = 0.5
	// Loss after each misfire: straight down over one firing, then made up over three.
	loss := func(deg float64) float64 {
		sum := 0.0
		now := int(math.Floor(deg / f))
		for k := now - 30; k <= now; k++ { // after thirty firings it is made up
			d := s.misfire[k]
			switch x := (deg - float64(k)*f) / f; {
			case x < 1:
				sum += d * x
			default:
				sum += d * math.Exp(-(x-1)/3)
			}
		}
		return sum
	}
	speed := func(deg float64) float64 {
		swing := -s.ripple * math.Cos(2*math.Pi*deg/f) // lowest at each top centre
		// The compression that ends at top centre k spans half a firing on either side.
		near := int(math.Round(deg/f)) % s.cylinders
		if near == s.weak {
			swing = s.ripple + (swing-s.ripple)*0.5
		}
		return s.rpm * (1 + swing - loss(deg))
	}
	type ev struct {
		t     float64
		ch    int
		level float64
	}
	var evs []ev
	pitch := 360 / float64(s.pitches)
	gone := map[int]bool{}
	for _, m := range s.missing {
		gone[m] = true
	}
	t, n := 0.0, 0
	type due struct {
		deg   float64
		ch    int
		level float64
	}
	var list []due
	for turn := range s.turns {
		for k := range s.pitches {
			if gone[k] {
				continue
			}
			at := float64(turn)*360 + float64(k)*pitch + 3
			off := s.toothOff[k]
			n++
			if slices.Contains(s.drop, n) {
				continue
			}
			list = append(list, due{at + off, 0, 1}, due{at + off + pitch/2, 0, 0})
			if slices.Contains(s.double, n) {
				list = append(list, due{at + off + 0.06*pitch, 0, 0}, due{at + off + 0.12*pitch, 0, 1})
			}
		}
		if s.cam && turn%2 == 0 {
			list = append(list, due{float64(turn)*360 + 100, 1, 1}, due{float64(turn)*360 + 160, 1, 0}, due{float64(turn)*360 + 430, 1, 1}, due{float64(turn)*360 + 455, 1, 0})
		}
		if s.sync && turn%2 == 0 {
			list = append(list, due{float64(turn) * 360, 2, 1}, due{float64(turn)*360 + 5, 2, 0})
		}
	}
	slices.SortStableFunc(list, func(a, b due) int {
		switch {
		case a.deg < b.deg:
			return -1
		case a.deg > b.deg:
			return 1
		}
		return 0
	})
	deg := 0.0
	for _, d := range list {
		for deg < d.deg {
			h := math.Min(step, d.deg-deg)
			t += h / (6 * speed(deg+h/2))
			deg += h
		}
		evs = append(evs, ev{t + s.jitter*rng.NormFloat64(), d.ch, d.level})
	}
	slices.SortStableFunc(evs, func(a, b ev) int {
		if a.t < b.t {
			return -1
		}
		return 1
	})
	rec := &trace.Recording{Time: trace.TimeBase{Resolution: 125}}
	level := [3]float64{}
	names := []string{"crank", "cam", "coil 1"}
	for c := range names {
		rec.Channels = append(rec.Channels, trace.Channel{Name: names[c], Edges: true, Unit: unit.Unit{}})
	}
	for _, e := range evs {
		level[e.ch] = e.level
		rec.Time.Stamps = append(rec.Time.Stamps, int64(math.Round(e.t*s.scale*1e9)))
		for c := range names {
			rec.Channels[c].Values = append(rec.Channels[c].Values, level[c])
		}
	}
	rec.Time.N = len(rec.Time.Stamps)
	rec.Segments = []trace.Segment{{First: 0, End: rec.Time.N}}
	return rec
}

func (s crankSynth) meta() Meta {
	return Meta{
		Engine:  vehicle.Engine{Cylinders: s.cylinders, FiringOrder: s.order},
		Columns: []Column{{Channel: "crank", As: CrankEdges}, {Channel: "cam", As: camEdgesRole}, {Channel: "coil 1", As: syncRole}},
	}
}

// TestWheelsAreFound on wheels drawn with known teeth, in both senses of noise.
func TestWheelsAreFound(t *testing.T) {
	for _, c := range []struct {
		pitches int
		missing []int
		want    string
	}{
		{36, []int{35}, "36-1"},
		{36, []int{34, 35}, "36-2"},
		{60, []int{58, 59}, "60-2"},
		{36, []int{10, 11, 22, 23, 34, 35}, "36-2-2-2"},
		{36, []int{16, 34, 35}, "36-2-1"},
		{12, []int{11}, "12-1"},
		{24, nil, "24 even teeth"},
		{4, nil, "4 even teeth"},
	} {
		for _, jitter := range []float64{0, 20e-6} {
			s := plainCrank()
			s.pitches, s.missing, s.jitter, s.turns = c.pitches, c.missing, jitter, 30
			run, res, err := Crank(s.draw(), s.meta())
			if err != nil || run.Wheel != c.want {
				t.Errorf("%s, jitter %g: found %q (%v) %v", c.want, jitter, run.Wheel, err, res.NotMeasured)
				continue
			}
			r, ok := reading(res, "crank.speed")
			if !ok || math.Abs(r.Value.SI/800-1) > 0.003 {
				t.Errorf("%s: speed %v, drawn at 800 rpm", c.want, r.Value)
			}
		}
	}
}

// TestCrankSignalFaultsAreCounted: edges left out and doubled at known places.
func TestCrankSignalFaultsAreCounted(t *testing.T) {
	s := plainCrank()
	s.drop, s.double, s.jitter = []int{200, 700, 1203}, []int{400, 1001}, 5e-6
	run, res, err := Crank(s.draw(), s.meta())
	if err != nil {
		t.Fatal(err)
	}
	if run.Missing != 3 || len(run.Doubled) != 2 || len(run.Stray) != 0 || run.Lost != 0 {
		t.Errorf("missing %d of 3, doubled %d of 2, stray %d, lost %d", run.Missing, len(run.Doubled), len(run.Stray), run.Lost)
	}
	if r, ok := reading(res, "crank.signal_faults"); !ok || r.Value.SI != 5 {
		t.Errorf("faults %v", r.Value)
	}
}

// TestToothErrorIsLearned: one tooth 1 deg late every turn is found, and taken off
// before misfires are looked for.
func TestToothErrorIsLearned(t *testing.T) {
	s := plainCrank()
	s.toothOff, s.jitter, s.pitches, s.missing = map[int]float64{12: 1.0}, 2e-6, 60, []int{58, 59}
	run, res, err := Crank(s.draw(), s.meta())
	if err != nil {
		t.Fatal(err)
	}
	r, ok := reading(res, "crank.tooth_error")
	if !ok || math.Abs(r.Value.SI-1) > 0.25 {
		t.Errorf("tooth error %v deg, drawn 1", r.Value.SI)
	}
	if r, ok := reading(res, "crank.misfire_rate"); !ok || r.Value.SI != 0 {
		t.Errorf("misfire %v with a tooth in the wrong place", r.Value)
	}
	_ = run
}

// TestWheelThatIsOffAllRound: where every tooth stands off a little none stands out,
// and the reading may not say that the wheel is true to a hundredth.
func TestWheelThatIsOffAllRound(t *testing.T) {
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 3))
		s := plainCrank()
		s.jitter, s.toothOff = 2e-6, map[int]float64{}
		most := 0.0
		for k := range 35 {
			s.toothOff[k] = 0.1 * rng.NormFloat64()
			most = math.Max(most, math.Abs(s.toothOff[k]))
		}
		_, res, err := Crank(s.draw(), s.meta())
		if err != nil {
			t.Fatal(err)
		}
		covers(t, res, "crank.tooth_error", most)
		if r, _ := reading(res, "crank.tooth_error"); r.Uncertainty > 0.4 {
			t.Errorf("known to %.2g deg only", r.Uncertainty)
		}
	}
}

// TestMisfiresAreFoundByCylinder: firings drawn without drive are found one by one
// and put to the right cylinder by the sync.
func TestMisfiresAreFoundByCylinder(t *testing.T) {
	for _, n := range []int{4, 6} {
		s := plainCrank()
		s.cylinders, s.turns, s.jitter = n, 120, 3e-6
		s.order = map[int][]int{4: {1, 3, 4, 2}, 6: {1, 5, 3, 6, 2, 4}}[n]
		// Position 2 of the order misfires in 9 cycles of 60.
		s.misfire = map[int]float64{}
		for _, cycle := range []int{8, 9, 15, 22, 30, 31, 40, 47, 52} {
			s.misfire[cycle*n+2] = 0.05
		}
		run, res, err := Crank(s.draw(), s.meta())
		if err != nil {
			t.Fatal(err)
		}
		bad := s.order[2]
		hit := 0
		for _, m := range run.Misfires {
			if m.Cylinder == bad {
				hit++
			}
			if m.Sigmas < misfireSigmas {
				t.Errorf("a misfire of %.1f sigmas is called one", m.Sigmas)
			}
		}
		if len(run.Misfires) != 9 || hit != 9 {
			t.Errorf("%d cylinders: %d misfires, %d on cylinder %d; 9 were drawn: %+v", n, len(run.Misfires), hit, bad, run.Misfires)
		}
		for _, r := range res.Readings {
			if r.Feature != "misfire.rate" {
				continue
			}
			want := 0.0
			if r.Subject == evidence.Cyl(bad) {
				want = 100 * 9 / r.Opportunities
			}
			if math.Abs(r.Value.SI-want) > 1e-9 || r.Opportunities < 50 {
				t.Errorf("cylinder %d: %.1f %% of %.0f", r.Subject.Number, r.Value.SI, r.Opportunities)
			}
		}
		// Without the sync the count stands, the cylinder does not.
		m := s.meta()
		m.Columns = m.Columns[:2]
		m.Columns = append(m.Columns, Column{Channel: "coil 1", As: "ignore"})
		run, res, _ = Crank(s.draw(), m)
		if len(run.Misfires) != 9 || run.Misfires[0].Cylinder != 0 || !strings.Contains(refusal(res, "misfire.rate"), "cannot be told") {
			t.Errorf("without a sync: %d misfires, cylinder %d, %q", len(run.Misfires), run.Misfires[0].Cylinder, refusal(res, "misfire.rate"))
		}
	}
}

// TestHealthyEngineHasNoMisfire over many draws with cyclic variation left to the
// jitter of the edges.
func TestHealthyEngineHasNoMisfire(t *testing.T) {
	for seed := range uint64(8) {
		s := plainCrank()
		s.seed, s.jitter, s.rpm = seed, 20e-6, 650+75*float64(seed%5)
		run, res, err := Crank(s.draw(), s.meta())
		if err != nil || len(run.Misfires) != 0 {
			t.Errorf("seed %d: %d misfires (%v)", seed, len(run.Misfires), err)
		}
		if r, ok := reading(res, "crank.misfire_rate"); !ok || r.Value.SI != 0 || r.Uncertainty <= 0 {
			t.Errorf("seed %d: %v +- %v", seed, r.Value, r.Uncertainty)
		}
	}
}

// TestWeakCompressionShowsInCrankingSpeed and is named by the sync alone.
func TestWeakCompressionShowsInCrankingSpeed(t *testing.T) {
	s := plainCrank()
	s.rpm, s.ripple, s.weak, s.turns, s.pitches, s.missing = 220, 0.12, 2, 30, 60, []int{58, 59}
	run, res, err := Crank(s.draw(), s.meta())
	if err != nil {
		t.Fatal(err)
	}
	r, ok := reading(res, "crank.compression_spread")
	if !ok || math.Abs(r.Value.SI-57) > 12 { // dips 1,1,1,0.5: (1-0.5)/0.875 = 57 %
		t.Errorf("spread %v, drawn 57 %%", r.Value)
	}
	low := slices.MinFunc(run.Pulses, func(a, b Pulse) int { return int(math.Copysign(1, a.DipRPM-b.DipRPM)) })
	if low.Cylinder != s.order[2] {
		t.Errorf("cylinder %d is weak, drawn %d: %+v", low.Cylinder, s.order[2], run.Pulses)
	}
	m := s.meta()
	m.Columns[2].As = "ignore"
	run, _, _ = Crank(s.draw(), m)
	for _, p := range run.Pulses {
		if p.Cylinder != 0 {
			t.Errorf("without a sync a compression is put to cylinder %d", p.Cylinder)
		}
	}
}

// TestCrankRefuses: never a confident wrong number.
func TestCrankRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	noise := plainCrank().draw()
	ts := int64(0)
	for i := range noise.Time.Stamps {
		ts += int64(1e6 * (0.05 + rng.ExpFloat64()))
		noise.Time.Stamps[i] = ts
	}
	flat := plainCrank().draw()
	for i := range flat.Channels[0].Values {
		flat.Channels[0].Values[i] = 1
	}
	slow, fast := plainCrank(), plainCrank()
	slow.scale, fast.scale = 1000, 1e-3
	wrong := plainCrank()
	wrongMeta := wrong.meta()
	wrongMeta.Columns = []Column{{Channel: "cam", As: CrankEdges}, {Channel: "crank", As: "ignore"}, {Channel: "coil 1", As: "ignore"}}
	alone := plainCrank()
	alone.pitches, alone.missing = 24, nil
	aloneMeta := alone.meta()
	aloneMeta.Columns = []Column{{Channel: "crank", As: CrankEdges}, {Channel: "cam", As: "ignore"}, {Channel: "coil 1", As: "ignore"}}
	// With the number of teeth as a fact the same wheel is placed, and a fact that the
	// trace contradicts is told.
	for _, teeth := range []int{24, 12} {
		aloneMeta := aloneMeta
		aloneMeta.Known.CrankTeeth = teeth
		run, res, err := Crank(alone.draw(), aloneMeta)
		r, ok := find(res.Readings, "crank.speed")
		if err != nil || !ok || run.TeethPerTurn != teeth {
			t.Errorf("%d even teeth given: wheel %q, %v, %v", teeth, run.Wheel, res.NotMeasured, err)
		} else if teeth == 24 {
			truth, _, err := Crank(plainCrank().draw(), plainCrank().meta())
			if err != nil || math.Abs(r.Value.SI-truth.Speeds[len(truth.Speeds)/2].RPM) > 0.02*r.Value.SI {
				t.Errorf("24 even teeth given: %v, the marked wheel beside it turns at %.0f rpm", r.Value, truth.Speeds[len(truth.Speeds)/2].RPM)
			}
		}
	}
	told := plainCrank().meta()
	told.Known.CrankTeeth = 17
	if _, res, _ := Crank(plainCrank().draw(), told); !slices.ContainsFunc(res.Notes, func(n Note) bool { return n.Trouble && strings.Contains(n.Text, "the job says 17") }) {
		t.Errorf("17 teeth given for another wheel: %v", res.Notes)
	}
	whiteNoise := &trace.Recording{Time: trace.TimeBase{Num: 1e5, Den: 1, N: 60000}, Segments: []trace.Segment{{End: 60000}}, Channels: []trace.Channel{{Name: "crank"}}}
	for range 60000 {
		whiteNoise.Channels[0].Values = append(whiteNoise.Channels[0].Values, rng.NormFloat64())
	}
	for _, c := range []struct {
		name string
		rec  *trace.Recording
		meta Meta
		why  string
	}{
		{"edges at random", noise, plainCrank().meta(), ""},
		{"flat line", flat, plainCrank().meta(), "never changes"},
		{"time a thousand times too long", slow.draw(), slow.meta(), "would turn at"},
		{"time a thousand times too short", fast.draw(), fast.meta(), ""},
		{"the cam's channel", wrong.draw(), wrongMeta, ""},
		{"even teeth without a cam", alone.draw(), aloneMeta, "cannot be told without a cam"},
		{"white noise", whiteNoise, Meta{Engine: engineOf(4)}, ""},
	} {
		run, res, err := Crank(c.rec, c.meta)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if len(res.Readings) != 0 {
			t.Errorf("%s: gave %v %v (wheel %q)", c.name, res.Readings[0].Feature, res.Readings[0].Value, run.Wheel)
		}
		if why := refusal(res, "crank.speed"); why == "" || !strings.Contains(why, c.why) {
			t.Errorf("%s: refused with %q", c.name, why)
		}
	}
}

// TestDroppedBlocksDoNotMakeSpeeds: stretches lost from the recording are not
// bridged.
func TestDroppedBlocksDoNotMakeSpeeds(t *testing.T) {
	s := plainCrank()
	s.turns = 60
	rec := s.draw()
	keep := func(i int) bool { return i < 1000 || i > 1370 && i < 2600 || i > 2900 }
	cut := &trace.Recording{Time: trace.TimeBase{Resolution: 125}, Channels: make([]trace.Channel, 3)}
	for c := range cut.Channels {
		cut.Channels[c] = trace.Channel{Name: rec.Channels[c].Name, Edges: true}
	}
	for i, ts := range rec.Time.Stamps {
		if !keep(i) {
			continue
		}
		cut.Time.Stamps = append(cut.Time.Stamps, ts)
		for c := range cut.Channels {
			cut.Channels[c].Values = append(cut.Channels[c].Values, rec.Channels[c].Values[i])
		}
	}
	cut.Time.N = len(cut.Time.Stamps)
	cut.Segments = []trace.Segment{{First: 0, End: cut.Time.N}}
	run, res, err := Crank(cut, s.meta())
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range run.Speeds {
		if math.Abs(v.RPM/800-1) > 0.02 {
			t.Errorf("%.0f rpm at %.3f s, drawn at 800", v.RPM, v.Seconds)
		}
	}
	if run.Lost+run.Missing == 0 {
		t.Error("the lost stretches are not reported")
	}
	if len(run.Misfires) != 0 {
		t.Errorf("%d misfires where blocks are missing", len(run.Misfires))
	}
	_ = res
}

func BenchmarkCrank(b *testing.B) {
	s := plainCrank()
	s.pitches, s.missing, s.turns, s.jitter = 60, []int{58, 59}, 400, 2e-6
	rec, meta := s.draw(), s.meta()
	b.ReportMetric(float64(rec.Time.N), "edges")
	for b.Loop() {
		if _, _, err := Crank(rec, meta); err != nil {
			b.Fatal(err)
		}
	}
}

func ExampleCrank() {
	s := plainCrank()
	run, _, _ := Crank(s.draw(), s.meta())
	fmt.Println(run.Wheel, len(run.Misfires))
	// Output: 36-1 0
}
