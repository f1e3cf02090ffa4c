package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"proveout/published"
	"slices"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %g, want %g +- %g", what, got, want, tol)
	}
}

// Source: testdata/rl_coil_examples.csv (20 rows, R 0.6 ohm, L 3.5 mH) and the
// times to 7.5 A printed under it.
func TestRiseCurrentAgainstTable(t *testing.T) {
	for _, r := range published.Rows(t, "rl_coil_examples.csv", 20) {
		i := RiseCurrent(published.Number(t, r[0]), 0.6, 3.5e-3, published.Number(t, r[1])*1e-3)
		near(t, "current "+r[0]+" V "+r[1]+" ms", i, published.Number(t, r[2]), 6e-6)
		near(t, "energy "+r[0]+" V "+r[1]+" ms", 1e3*InductiveEnergy(3.5e-3, i), published.Number(t, r[3]), 6e-5)
	}
	for v, ms := range map[float64]float64{12: 2.74169, 14: 2.26197, 10: 3.48738} {
		near(t, fmt.Sprint("time to 7.5 A at ", v), 1e3*RiseTime(v, 0.6, 3.5e-3, 7.5), ms, 5e-6)
	}
}

// Source: trade.md 4.2 (DER): dwell to 7 A of 3 mH and 0.5 ohm over battery
// voltage, current and energy lost to series resistance, open-circuit voltages,
// energy taken by breakdown.
func TestCoilFiguresOfTheTrade(t *testing.T) {
	c := StreetCoil()
	for v, ms := range map[float64]float64{14: 1.73, 12: 2.07, 11: 2.30, 10: 2.58, 9: 2.95} {
		near(t, fmt.Sprint("dwell at ", v), 1e3*c.Dwell(v), ms, 0.006)
	}
	_, full := c.Charge(14, 0, c.Dwell(14))
	for _, r := range []struct{ ohm, amp, loss float64 }{{0.2, 6.6, 0.10}, {0.5, 6.1, 0.23}, {1.0, 5.4, 0.41}} {
		a, e := c.Charge(14, r.ohm, c.Dwell(14))
		near(t, fmt.Sprint("current with ", r.ohm), a, r.amp, 0.06)
		near(t, fmt.Sprint("loss with ", r.ohm), 1-e/full, r.loss, 0.015)
	}
	near(t, "60 mJ into 80 pF", OpenVoltage(60e-3, 80e-12), 38.7e3, 60)
	near(t, "30 mJ into 80 pF", OpenVoltage(30e-3, 80e-12), 27.4e3, 60)
	near(t, "60 mJ into 50 pF", OpenVoltage(60e-3, 50e-12), 49e3, 60)
	for kv, mj := range map[float64]float64{8: 2.6, 15: 9, 20: 16, 25: 25, 30: 36, 35: 49} {
		near(t, fmt.Sprint("cost of ", kv), 1e3*CapacitiveEnergy(80e-12, kv*1e3), mj, 0.06)
	}
}

// Source: testdata/air_breakdown.csv: the formula to its printed digits, and the
// published sphere-gap values of IEC 60052 within 7 %.
func TestBreakdownAgainstTable(t *testing.T) {
	for _, r := range published.Rows(t, "air_breakdown.csv", 9) {
		near(t, "gap "+r[0], Breakdown(published.Number(t, r[0])/100, 101325, 293.15)/1e3, published.Number(t, r[1]), 6e-4)
	}
	for cm, kv := range map[float64]float64{0.5: 16.9, 1: 31.4, 1.5: 45, 2: 57.7} {
		near(t, fmt.Sprint("sphere gap ", cm), Breakdown(cm/100, 101325, 293.15)/1e3, kv, 0.07*kv)
	}
	// standards.md 8.8: 0.8 mm at 1013 kPa and 600 K gives 13.26 kV.
	near(t, "plug gap", Breakdown(0.8e-3, 1013e3, 600)/1e3, 13.26, 0.02)
	near(t, "least voltage of air", Breakdown(0, 1e5, 300), 327, 0)
}

// Source: trade.md 4.1 table (DER), uniform field, +-3 % (it uses 1 bar where
// the formula of standards.md 8.8 uses 101.325 kPa).
func TestBreakdownAtThePlug(t *testing.T) {
	gaps := []float64{0.7, 0.8, 1.0, 1.1, 1.3, 1.6}
	for _, r := range []struct {
		mapPa float64
		kv    []float64
	}{
		{32e3, []float64{4.9, 5.5, 6.5, 7.1, 8.1, 9.6}},
		{48e3, []float64{6.7, 7.5, 9.0, 9.8, 11.3, 13.5}},
		{98e3, []float64{13.8, 15.5, 18.8, 20.5, 23.8, 28.6}},
		{180e3, []float64{22.1, 24.9, 30.4, 33.2, 38.6, 46.6}},
	} {
		g := GasAtSpark(r.mapPa, 1, 1)
		for i, kv := range r.kv {
			near(t, fmt.Sprint(gaps[i], " mm at ", g.PressurePa), Breakdown(gaps[i]*1e-3, g.PressurePa, g.Kelvin)/1e3, kv, 0.03*kv)
		}
	}
}

// Source: testdata/compression_adiabatic.csv.
func TestAdiabatic(t *testing.T) {
	for _, r := range published.Rows(t, "compression_adiabatic.csv", 10) {
		p, k := Adiabatic(101325, 293.15, published.Number(t, r[0]), published.Number(t, r[1]))
		near(t, "p "+r[0], p/1e3, published.Number(t, r[2]), 0.01)
		near(t, "T "+r[0], k, published.Number(t, r[5]), 0.01)
	}
}

type looks struct {
	kv, burn, line, slope, end float64 // medians: kV, ms, kV, relative, end spike over line
	cvKV, cvBurn, outside      float64
}

// look fires 400 times and takes medians.
func look(s Secondary, g Gas) looks {
	rng := rand.New(rand.NewPCG(1, 2))
	var kv, bt, line, slope, end []float64
	var l looks
	for range 400 {
		sp := s.Fire(rng, g, 14)
		kv, bt = append(kv, sp.Peak/1e3), append(bt, sp.Burn*1e3)
		if sp.Outside {
			l.outside++
		}
		if n := len(sp.line); n > 20 {
			a, m, b := mean(sp.line[n/10:n/4]), mean(sp.line[2*n/5:3*n/5]), mean(sp.line[3*n/4:9*n/10])
			line, slope, end = append(line, m/1e3), append(slope, (b-a)/m), append(end, sp.ringAmp/m)
		}
	}
	l.kv, l.burn, l.line, l.slope, l.end = med(kv), med(bt), med(line), med(slope), med(end)
	l.cvKV, l.cvBurn, l.outside = cv(kv), cv(bt), l.outside/400
	return l
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func cv(x []float64) float64 {
	m, s := mean(x), 0.0
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s/float64(len(x)-1)) / m
}

func med(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	y := slices.Clone(x)
	slices.Sort(y)
	return y[len(y)/2]
}

// Source: trade.md 4.3 worked signatures ("scale, don't copy"): each figure
// within 25 % and, stricter, each direction against the healthy cylinder. 3.4:
// scatter of firing kV 10-20 %, of burn time 5-15 % at idle.
func TestSignatures(t *testing.T) {
	idle, snap := GasAtSpark(32e3, 1, 1), GasAtSpark(96e3, 1, 1)
	thin := func(g Gas, f float64) Gas { g.PressurePa *= f; return g }
	lean := func(g Gas, l float64) Gas { g.Lambda = l; return g }
	healthy := HealthySecondary(1.1e-3)
	with := func(f func(*Secondary)) Secondary { s := healthy; f(&s); return s }
	cases := []struct {
		name                           string
		s                              Secondary
		idle, snap                     Gas
		kvIdle, btIdle, kvSnap, btSnap float64
	}{
		{"healthy", healthy, idle, snap, 7.5, 1.3, 19, 0.83},
		{"wide gap", with(func(s *Secondary) { s.GapMetre = 1.55e-3 }), idle, snap, 10.5, 1.14, 27, 0.54},
		{"series", with(func(s *Secondary) { s.SeriesOhm = 30e3 }), idle, snap, 8.5, 0.80, 20, 0.56},
		{"low compression", healthy, thin(idle, 0.7), thin(snap, 0.65), 5.5, 1.47, 13, 1.04},
		{"lean", healthy, lean(idle, 1.18), lean(snap, 1.18), 9, 1.03, 22, 0.58},
		{"weak coil", with(func(s *Secondary) { s.Coil.Efficiency /= 2 }), idle, snap, 7.5, 1.03, 19, 0.54},
		{"fouled", with(func(s *Secondary) { s.Fouling = 0.9 }), idle, snap, 4, 1.64, 0, 0},
		{"boot leak", with(func(s *Secondary) { s.LeakVolt, s.LeakSpread = 15e3, 0.15 }), idle, snap, 7.5, 1.3, 16, 1.4},
	}
	out := map[string][2]looks{}
	for _, c := range cases {
		i, n := look(c.s, c.idle), look(c.s, c.snap)
		out[c.name] = [2]looks{i, n}
		t.Logf("%-16s idle %5.1f kV %.2f ms line %.2f slope %+.2f end %.1f cv %.2f/%.2f | snap %5.1f kV %.2f ms line %.2f slope %+.2f end %.1f cv %.2f/%.2f out %.2f", c.name,
			i.kv, i.burn, i.line, i.slope, i.end, i.cvKV, i.cvBurn, n.kv, n.burn, n.line, n.slope, n.end, n.cvKV, n.cvBurn, n.outside)
		near(t, c.name+" idle kV", i.kv, c.kvIdle, 0.25*c.kvIdle)
		near(t, c.name+" idle burn", i.burn, c.btIdle, 0.25*c.btIdle)
		if c.kvSnap > 0 {
			near(t, c.name+" snap kV", n.kv, c.kvSnap, 0.25*c.kvSnap)
			near(t, c.name+" snap burn", n.burn, c.btSnap, 0.3*c.btSnap)
		}
	}
	h := out["healthy"]
	if h[0].cvKV < 0.10 || h[0].cvKV > 0.20 || h[0].cvBurn < 0.05 || h[0].cvBurn > 0.15 {
		t.Errorf("scatter at idle: kV %.2f, burn %.2f; want 0.10-0.20 and 0.05-0.15", h[0].cvKV, h[0].cvBurn)
	}
	below := func(what string, a, b float64) {
		t.Helper()
		if !(a < b) {
			t.Errorf("%s: %g is not below %g", what, a, b)
		}
	}
	below("wide gap burns shorter at snap", out["wide gap"][1].burn, h[1].burn)
	below("wide gap fires higher at snap", h[1].kv*1.2, out["wide gap"][1].kv)
	below("wide gap line is high", h[1].line, out["wide gap"][1].line)
	below("series slopes down", out["series"][0].slope, h[0].slope-0.3)
	below("lean line rises", h[1].slope+0.1, out["lean"][1].slope)
	below("lean ends in a spike", h[1].end*1.5, out["lean"][1].end)
	below("wide gap has no spike", out["wide gap"][1].end, 2)
	below("fouled line is low", out["fouled"][0].line, h[0].line)
	below("leak is normal at idle", out["boot leak"][0].outside, 0.02)
	below("leak jumps at snap", 0.6, out["boot leak"][1].outside)
	below("leak does not rise", out["boot leak"][1].kv/out["boot leak"][0].kv, h[1].kv/h[0].kv)
	below("low compression fires low", out["low compression"][0].kv, h[0].kv)
	below("low compression burns long", h[0].burn, out["low compression"][0].burn)
}

func TestFailedSparks(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	s := HealthySecondary(1.1e-3)
	s.Open = true
	sp := s.Fire(rng, GasAtSpark(32e3, 1, 1), 14)
	if sp.Arced || sp.Burn != 0 || !sp.Misfire {
		t.Errorf("open secondary: %+v", sp)
	}
	near(t, "peak of an open secondary", sp.Peak/1e3, 38.7, 3)
	// A worn gap behind a tired coil fails under boost only.
	s = HealthySecondary(1.5e-3)
	s.Coil.Efficiency *= 0.5
	fails := func(mp float64) (n int) {
		for range 200 {
			if sp := s.Fire(rng, GasAtSpark(mp, 1, 1), 14); sp.Misfire {
				n++
			}
		}
		return n
	}
	if i, b := fails(32e3), fails(98e3); i != 0 || b < 60 {
		t.Errorf("misfires of 200: idle %d, full load %d", i, b)
	}
}

// The trace must hold what the spark says: peak within 5 % through 300 kHz and
// 1 MS/s, burn time from the samples within 3 %, ring frequency as sqrt(LC).
func TestTraceShowsTheSpark(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	s, p := HealthySecondary(1.1e-3), GoodPickup()
	p.RateHz, p.Bits, p.NoiseV, p.HumV, p.DroopSeconds = 1e6, 0, 0, 0, 0
	for range 50 {
		sp := s.Fire(rng, GasAtSpark(32e3, 1, 1), 14)
		sp.At = 5e-3
		v := p.Record(rng, []Spark{sp}, 0, 12e-3).Blocks[0].Volts
		peak := slices.Max(v)
		near(t, "peak", peak/p.Gain*1e3, sp.Peak, 0.05*sp.Peak)
		at, low := slices.Index(v, peak), slices.Min(v)
		if low >= 0 {
			t.Fatal("no turn-on ring")
		}
		// The end of burn: first crossing to below zero after the peak.
		end := at
		for v[end] > 0 {
			end++
		}
		near(t, "burn", float64(end-at)*1e-6, sp.Burn, 0.03*sp.Burn+0.5/sp.ringHz)
	}
}

func TestPickupClipsQuantisesInverts(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	sp := HealthySecondary(1.1e-3).Fire(rng, GasAtSpark(98e3, 1, 1), 14)
	sp.At = 4e-3
	p := GoodPickup()
	p.FullScale, p.Gain, p.Inverted = 2, 0.5, true
	v := p.Record(rng, []Spark{sp}, 0, 8e-3).Blocks[0].Volts
	if slices.Min(v) != -2 {
		t.Errorf("an inverted spark of %.0f V must clip at -2 V, lowest is %g", sp.Peak, slices.Min(v))
	}
	lsb := 4.0 / 256
	for _, x := range v {
		if r := x / lsb; r != math.Round(r) {
			t.Fatalf("%g is not on the grid of an 8 bit converter", x)
		}
	}
	if p.DroopSeconds = 0.2; len(v) != 4000 {
		t.Errorf("%d samples in 8 ms at 500 kS/s", len(v))
	}
}

func TestTriggeredBlocksDoNotOverlap(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	sparks := []Spark{}
	for _, m := range SteadyProfile(6000, 98e3).Moments(rng, 0.3, true) {
		sp := HealthySecondary(1e-3).Fire(rng, GasAtSpark(m.ManifoldPa, 1, 1), m.Battery)
		sp.At = m.At
		sparks = append(sparks, sp)
	}
	s := GoodPickup().Triggered(rng, sparks, 3e-3, 9e-3)
	end := -1.0
	for _, b := range s.Blocks {
		if b.Start <= end {
			t.Fatalf("block at %g starts before %g", b.Start, end)
		}
		end = b.Start + float64(len(b.Volts)-1)/s.RateHz
	}
	if len(s.Blocks) < 20 {
		t.Errorf("%d blocks", len(s.Blocks))
	}
}

func BenchmarkFire(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	s, g := HealthySecondary(1.1e-3), GasAtSpark(32e3, 1, 1)
	for b.Loop() {
		s.Fire(rng, g, 14)
	}
}
