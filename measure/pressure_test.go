package measure

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// cylinderModel integrates one cylinder that does not fire, in crank degrees: an
// adiabatic gas (d ln p = gamma (d ln m - d ln V)), a gap that leaks by the orifice
// equation in mass, wall heat, valves that open in some degrees. Its constants and
// its form (mass, temperature, volume) are its own; nothing is shared with what
// measures.
type cylinderModel struct {
	gamma, ratio, rod   float64 // rod: crank radius over rod length
	intake, exhaust     float64 // Pa absolute
	closes, opens       float64 // intake closing before, exhaust opening after top centre, degrees
	gap                 float64 // share of the charge that a choked gap would take in a degree at 300 K
	heat                float64 // share of the excess over wall temperature that goes in a degree
	rpm                 float64
	swing               float64 // speed swings by this share: slowest at top centre
	rate, seconds       float64
	ambient             float64
	noise               float64
	absolute            bool
	snaps               []float64 // times of snaps
	snapIntake          float64
	mark                float64 // degrees by which the top centre channel is off; NaN: none
	seed                uint64
	lostTruth, peakTrue float64 // what the last cycle gave: mass lost over the tower, crest Pa absolute
}

func idleModel() cylinderModel {
	return cylinderModel{gamma: 1.38, ratio: 10, rod: 0.31, intake: 35e3, exhaust: 103e3, closes: 132, opens: 142, rpm: 800, rate: 20e3, seconds: 3,
		ambient: 101.325e3, noise: 500, mark: math.NaN(), seed: 4}
}

func crankingModel() cylinderModel {
	m := idleModel()
	m.intake, m.exhaust, m.rpm, m.seconds = 98e3, 101.5e3, 220, 6
	return m
}

func (m *cylinderModel) volume(deg float64) float64 {
	a := deg * math.Pi / 180
	x := 1 - math.Cos(a) + (1-math.Sqrt(1-m.rod*m.rod*math.Sin(a)*math.Sin(a)))/m.rod
	return 1 + (m.ratio-1)/2*x
}

// cycle gives the pressure at each half degree (ten steps) from -360 (overlap) to 360.
func (m *cylinderModel) cycle(intake float64) []float64 {
	const step = 0.05
	out := make([]float64, 0, 1441)
	p, mass, temp := intake, 1.0, 310.0
	lost, peak := 0.0, 0.0
	wall := 360.0
	for k := 0; k <= int(720/step); k++ {
		deg := -360 + float64(k)*step
		if k%10 == 0 {
			out = append(out, p)
		}
		switch {
		case deg < -m.closes: // intake open
			p = intake
			mass, temp = 1, 310
			lost, peak = 0, 0
		case deg < m.opens: // closed
			v0, v1 := m.volume(deg), m.volume(deg+step)
			r := m.ambient / p
			flow := 0.0
			if r < 1 {
				r = math.Max(r, math.Pow(2/(m.gamma+1), m.gamma/(m.gamma-1)))
				flow = p / math.Sqrt(temp) * math.Sqrt(math.Pow(r, 2/m.gamma)-math.Pow(r, (m.gamma+1)/m.gamma))
			}
			// At 300 K and ambient pressure a choked gap takes gap of the charge in a degree.
			rc := math.Pow(2/(m.gamma+1), m.gamma/(m.gamma-1))
			flow *= m.gap * intake / m.ambient / (intake / math.Sqrt(300) * math.Sqrt(math.Pow(rc, 2/m.gamma)-math.Pow(rc, (m.gamma+1)/m.gamma)))
			dm := math.Min(flow*step, 0.5*mass)
			dq := -m.heat * (temp - wall) * step
			before := mass
			mass -= dm
			lost = 1 - mass
			temp *= math.Pow(v0/v1, m.gamma-1) * math.Pow(mass/before, m.gamma-1)
			temp += dq
			p = intake * mass * temp / 310 * m.volume(-m.closes) / v1
			peak = math.Max(peak, p)
		default: // exhaust, then overlap into intake
			to := m.exhaust
			if deg > 345 {
				to = intake
			}
			p += (to - p) * step / 7
		}
	}
	m.lostTruth, m.peakTrue = lost, peak
	return out
}

func (m *cylinderModel) draw() *trace.Recording {
	rng := rand.New(rand.NewPCG(m.seed, 5))
	n := int(m.seconds * m.rate)
	v, tdc := make([]float64, n), make([]float64, n)
	high := m.cycle(math.Max(m.snapIntake, m.intake))
	base := m.cycle(m.intake)
	deg := -200.0 // over the cycle, and on
	for i := range v {
		t := float64(i) / m.rate
		rpm, c := m.rpm, base
		for _, s := range m.snaps {
			if x := t - s; x >= 0 && x < 0.6 {
				rpm *= 1 + 2*x
				c = high
			} else if x >= 0.6 && x < 1.4 {
				rpm *= 1 + 1.2*(1.4-x)/0.8
			}
		}
		rpm *= 1 - m.swing*math.Cos(2*deg*math.Pi/180)
		x := (deg + 360) * 2
		k := int(x)
		v[i] = c[k] + (x-float64(k))*(c[min(k+1, len(c)-1)]-c[k]) + m.noise*rng.NormFloat64()
		if !m.absolute {
			v[i] -= m.ambient
		}
		if math.Abs(deg-m.mark) < 2 {
			tdc[i] = 5
		}
		deg += 6 * rpm / m.rate
		if deg >= 360 {
			deg -= 720
		}
	}
	rec := recording(m.rate, v)
	rec.Channels[0].Name, rec.Channels[0].Unit = "cylinder 3", unit.Must("Pa")
	if !math.IsNaN(m.mark) {
		rec.Channels = append(rec.Channels, trace.Channel{Name: "mark", Unit: unit.Must("V"), Values: tdc})
	}
	return rec
}

func pressureMeta(s evidence.State) Meta {
	return Meta{Item: 3, Subject: evidence.Cyl(3), Condition: evidence.Condition{State: s}, Engine: vehicle.Engine{Cylinders: 4},
		Columns: []Column{{Channel: "cylinder 3", As: CylinderPressure}, {Channel: "mark", As: RoleTopCentre}}}
}

func measurePressure(t *testing.T, rec *trace.Recording, m Meta) Result {
	t.Helper()
	res, err := Capture(CylinderPressure, rec, m)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// The crest of a tight cylinder is that of the closed form p = p0 CR^gamma, over the
// whole table of standards.md 8.9.
func TestPressureCrestIsAdiabatic(t *testing.T) {
	f, err := os.Open("testdata/compression_adiabatic.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 9 {
		t.Fatal(len(rows), err)
	}
	for _, r := range rows[1:] {
		num := func(i int) float64 {
			x, err := strconv.ParseFloat(r[i], 64)
			if err != nil {
				t.Fatal(r)
			}
			return x
		}
		m := crankingModel()
		m.ratio, m.gamma, m.intake, m.closes, m.noise = num(0), num(1), 101.325e3, 180, 200
		want(t, fmt.Sprint(r), measurePressure(t, m.draw(), pressureMeta(evidence.Cranking)), "compression.dry", num(2)*1e3-101.325e3, 0.005)
	}
}

// The loss of a leak of known size comes back without a mark of top centre, at idle and
// in cranking, with a crank that slows at each compression, and a tight cylinder has none.
func TestPressureTowerLoss(t *testing.T) {
	for _, c := range []struct {
		name string
		set  func(*cylinderModel)
	}{
		{"tight", func(m *cylinderModel) {}},
		{"small leak", func(m *cylinderModel) { m.gap = 4e-4 }},
		{"leak", func(m *cylinderModel) { m.gap = 1e-3 }},
		{"large leak", func(m *cylinderModel) { m.gap = 2e-3 }},
		{"leak, uneven crank", func(m *cylinderModel) { m.gap, m.swing = 1e-3, 0.12 }},
		{"leak, absolute transducer", func(m *cylinderModel) { m.gap, m.absolute = 1e-3, true }},
		{"leak, other gear", func(m *cylinderModel) { m.gap, m.ratio, m.rod, m.gamma = 1e-3, 12, 0.27, 1.33 }},
		{"leak, noisy", func(m *cylinderModel) { m.gap, m.noise = 1e-3, 3000 }},
		{"leak with a mark", func(m *cylinderModel) { m.gap, m.mark = 1e-3, 0 }},
	} {
		for state, m := range map[evidence.State]cylinderModel{evidence.Idle: idleModel(), evidence.Cranking: crankingModel()} {
			c.set(&m)
			res := measurePressure(t, m.draw(), pressureMeta(state))
			r, ok := find(res.Readings, "cylinder.tower_loss")
			if !ok {
				t.Errorf("%s, %s: %s", c.name, state, whys(res))
				continue
			}
			t.Logf("%s, %s: lost %.2f ± %.2f %%, drawn %.2f", c.name, state, r.Value.SI, r.Uncertainty, 100*m.lostTruth)
			if d := math.Abs(r.Value.SI - 100*m.lostTruth); d > 2.2*r.Uncertainty || r.Uncertainty > 1.5+0.2*100*m.lostTruth {
				t.Errorf("%s, %s: lost %.2f ± %.2f %%, drawn %.2f", c.name, state, r.Value.SI, r.Uncertainty, 100*m.lostTruth)
			}
		}
	}
}

// Valve events, plateau and pocket come back where they were drawn; where the trace
// cannot show them, it says so.
func TestPressureValveEvents(t *testing.T) {
	for _, opens := range []float64{125, 140, 155} {
		for _, closes := range []float64{112, 125, 138} {
			m := idleModel()
			m.opens, m.closes, m.exhaust = opens, closes, 104e3
			res := measurePressure(t, m.draw(), pressureMeta(evidence.Idle))
			name := fmt.Sprintf("opens %g, closes %g", opens, closes)
			want(t, name, res, "cylinder.exhaust_opening", opens, 0.03)
			want(t, name, res, "cylinder.intake_closing", closes, 0.05)
			want(t, name, res, "cylinder.exhaust_plateau", 104e3-m.ambient, 0.05)
			want(t, name, res, "cylinder.intake_pressure", 35e3, 0.05)
		}
	}
	m := crankingModel()
	m.opens = 130 // as far from top centre as the intake closed: back at the pressure it came from
	res := measurePressure(t, m.draw(), pressureMeta(evidence.Cranking))
	if _, ok := find(res.Readings, "cylinder.exhaust_opening"); ok || !strings.Contains(whys(res), "opens without a step") {
		t.Errorf("cranking: exhaust opening was read from a trace that has no step; %s", whys(res))
	}
}

// Idle and snaps in one go: crests of both (trade.md 2.6: idle about half of
// cranking, snap about 80 %), and which state each is.
func TestPressureRunningAndSnap(t *testing.T) {
	m := idleModel()
	m.seconds, m.snaps, m.snapIntake = 9, []float64{2, 4.5, 7}, 90e3
	rec := m.draw()
	m.cycle(90e3)
	snap := m.peakTrue
	m.cycle(35e3)
	res := measurePressure(t, rec, pressureMeta(evidence.Snap))
	want(t, "running", res, "compression.running", m.peakTrue-m.ambient, 0.01)
	want(t, "snap", res, "compression.snap", snap-m.ambient, 0.01)
	if r, _ := find(res.Readings, "compression.snap"); r.N != 3 || r.Condition.State != evidence.Snap {
		t.Errorf("snaps: %d, %s", r.N, r.Condition.State)
	}
	if r, _ := find(res.Readings, "compression.running"); r.Condition.State != evidence.Idle || math.Abs(r.Condition.SpeedRPM-800) > 10 {
		t.Errorf("running under %+v", r.Condition)
	}
	// Snaps so close together that idle is the smaller part of the time.
	m.seconds, m.snaps = 8, []float64{0.9, 3.4, 5.9}
	close := measurePressure(t, m.draw(), pressureMeta(evidence.Snap))
	want(t, "running, snaps close together", close, "compression.running", m.peakTrue-m.ambient, 0.01)
	want(t, "snaps close together", close, "compression.snap", snap-m.ambient, 0.01)
	m.snaps, m.seconds = nil, 3
	if res := measurePressure(t, m.draw(), pressureMeta(evidence.Snap)); !strings.Contains(whys(res), "no stroke stands over") {
		t.Errorf("a snap that was none: %s", whys(res))
	}
}

// TestPressureZeroOfTheTransducer: one that stands off by a third of a bar shows it on
// the open strokes, and these are not handed out as if the exhaust were blocked.
func TestPressureZeroOfTheTransducer(t *testing.T) {
	for off, ok := range map[float64]bool{-35e3: false, 0: true, 35e3: false} {
		m := crankingModel()
		rec := m.draw()
		for i := range rec.Channels[0].Values {
			rec.Channels[0].Values[i] += off
		}
		res, err := Capture(CylinderPressure, rec, pressureMeta("cranking"))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range []string{"cylinder.exhaust_plateau", "cylinder.intake_pressure"} {
			if r, has := find(res.Readings, f); has && r.Blocked() == ok {
				t.Errorf("zero off by %g kPa: %s %v, blocked %v", off/1e3, f, r.Value, r.Blocked())
			}
		}
	}
}

// Heat lost to the walls looks like a small leak, of a size that stays below the one
// worth a word.
func TestPressureHeatIsNoLeak(t *testing.T) {
	for state, m := range map[evidence.State]cylinderModel{evidence.Idle: idleModel(), evidence.Cranking: crankingModel()} {
		m.heat = 5e-4
		res := measurePressure(t, m.draw(), pressureMeta(state))
		r, ok := find(res.Readings, "cylinder.tower_loss")
		if !ok || r.Value.SI > 6 || r.Value.SI < -1 {
			t.Errorf("%s: a tight cylinder with cool walls lost %.2f %%; %s", state, r.Value.SI, whys(res))
		}
	}
}

// What cannot be a pressure trace, or not be read, is refused with what would help.
func TestPressureRefuses(t *testing.T) {
	base := func() *trace.Recording { m := idleModel(); return m.draw() }
	scale := func(by float64) func() *trace.Recording {
		return func() *trace.Recording {
			r := base()
			r.Channels[0].Values = scaledBy(r.Channels[0].Values, by)
			return r
		}
	}
	filled := func(f func(i int) float64) func() *trace.Recording {
		return func() *trace.Recording {
			v := make([]float64, 60000)
			for i := range v {
				v[i] = f(i)
			}
			rec := recording(20e3, v)
			rec.Channels[0].Name, rec.Channels[0].Unit = "cylinder 3", unit.Must("Pa")
			return rec
		}
	}
	rng := rand.New(rand.NewPCG(1, 2))
	for name, draw := range map[string]func() *trace.Recording{
		"flat":          filled(func(int) float64 { return 2e3 }),
		"noise":         filled(func(int) float64 { return 1e4 * rng.NormFloat64() }),
		"sine":          filled(func(i int) float64 { return 5e5 * math.Sin(float64(i)*2*math.Pi/3000) }),
		"square":        filled(func(i int) float64 { return 5e5 * float64(i/1500%2) }),
		"narrow spikes": filled(func(i int) float64 { return 8e5 * b2f(i%3000 < 20) }),
		"a thousand up": scale(1000), "a thousand down": scale(1e-3), "turned over": scale(-1),
		"no numbers": filled(func(int) float64 { return math.NaN() }),
		"one stroke": func() *trace.Recording { m := idleModel(); m.seconds = 0.2; return m.draw() },
		"too slow":   func() *trace.Recording { m := idleModel(); m.rate = 500; return m.draw() },
		"psi written as kPa": func() *trace.Recording {
			r := base()
			v := shifted(r.Channels[0].Values, idleModel().ambient) // absolute, so that what hangs open reads near zero
			r.Channels[0].Values = scaledBy(v, 1/6.894757)
			return r
		},
		"zero is off": func() *trace.Recording {
			r := base()
			r.Channels[0].Values = shifted(r.Channels[0].Values, 250e3)
			return r
		},
	} {
		res := measurePressure(t, draw(), pressureMeta(evidence.Idle))
		for _, r := range res.Readings {
			if !r.Blocked() {
				t.Errorf("%s: %s = %v", name, r.Feature, r.Value)
			}
		}
		if len(res.NotMeasured) == 0 {
			t.Errorf("%s: nothing said", name)
		}
		for _, n := range res.NotMeasured {
			if n.Why == "" || n.Fix == "" {
				t.Errorf("%s: %s is refused without why or what to do: %+v", name, n.Feature, n)
			}
		}
	}
}

// Between the two limits of sampling the crest is read and the shape is not.
func TestPressureSlowSampling(t *testing.T) {
	m := idleModel()
	m.rate = 1500 // 225 samples in a cycle
	res := measurePressure(t, m.draw(), pressureMeta(evidence.Idle))
	m.cycle(m.intake)
	want(t, "slow", res, "compression.running", m.peakTrue-m.ambient, 0.02)
	if _, ok := find(res.Readings, "cylinder.tower_loss"); ok || !strings.Contains(whys(res), "samples fall on a cycle") {
		t.Errorf("shape at 225 samples a cycle: %s", whys(res))
	}
}

// A firing cylinder carries more in expansion; a mark that is not of this cylinder is
// not used.
func TestPressureFiringAndWrongMark(t *testing.T) {
	m := idleModel()
	rec := m.draw()
	v := rec.Channels[0].Values
	per := int(m.rate * 120 / m.rpm)
	top := 0
	for i := range v[:per] {
		if v[i] > v[top] {
			top = i
		}
	}
	for c := top; c < len(v); c += per {
		for i := c; i < min(len(v), c+per/6); i++ {
			v[i] += 600e3 * (float64(i-c) / 200) * math.Exp(1-float64(i-c)/200)
		}
	}
	res := measurePressure(t, rec, pressureMeta(evidence.Idle))
	if _, ok := find(res.Readings, "cylinder.tower_loss"); ok {
		t.Error("a firing cylinder was judged for leaks")
	}
	m = idleModel()
	m.gap, m.mark = 1e-3, 90
	res = measurePressure(t, m.draw(), pressureMeta(evidence.Idle))
	told := false
	for _, n := range res.Notes {
		told = told || strings.Contains(n.Text, "no mark of this cylinder's top centre") || strings.Contains(n.Text, "no pulse at the strokes")
	}
	r, _ := find(res.Readings, "cylinder.tower_loss")
	if !told || math.Abs(r.Value.SI-100*m.lostTruth) > 2.2*r.Uncertainty {
		t.Errorf("mark at 90 degrees: told %v, lost %.2f, drawn %.2f", told, r.Value.SI, 100*m.lostTruth)
	}
}

func BenchmarkCylinderPressure(b *testing.B) {
	m := idleModel()
	m.seconds = 60
	rec := m.draw()
	b.ResetTimer()
	for b.Loop() {
		if res, err := Capture(CylinderPressure, rec, pressureMeta(evidence.Idle)); err != nil || len(res.Readings) == 0 {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(rec.Channels[0].Values))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

func shifted(v []float64, by float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = x + by
	}
	return out
}
