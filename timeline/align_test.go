package timeline

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// shared is a quantity with ups and downs of many sizes, as engine speed has on a
// drive, in closed form.
func shared(seed uint64) func(float64) float64 {
	rng := rand.New(rand.NewPCG(seed, 5))
	type bump struct{ at, size, wide float64 }
	var list []bump
	for range 40 {
		list = append(list, bump{rng.Float64()*160 - 20, 400 * rng.NormFloat64(), 0.7 + 3*rng.Float64()})
	}
	return func(t float64) float64 {
		v := 1500.0
		for _, b := range list {
			v += b.size / (1 + math.Exp(-(t-b.at)/b.wide*4))
		}
		return v
	}
}

// take samples f from start for seconds; the clock shows zero at start and runs
// fast by ppm.
func take(rng *rand.Rand, f func(float64) float64, start, seconds, rate, noise, ppm float64) Track {
	k := Track{Name: "speed", Step: 1 / rate}
	for i := 0; float64(i) < seconds*rate; i++ {
		t := float64(i) / rate
		k.T = append(k.T, t*(1+ppm*1e-6))
		k.V = append(k.V, f(start+t)+noise*rng.NormFloat64())
	}
	return k
}

// TestAlignFindsTheOffset, and its stated uncertainty holds the truth in 92 to
// 100 % of 200 draws of known offset (rates of a module log against a recorder).
func TestAlignFindsTheOffset(t *testing.T) {
	hit, n, refused := 0, 0, 0
	worst := 0.0
	for seed := range uint64(200) {
		rng := rand.New(rand.NewPCG(seed, 6))
		f := shared(seed)
		truth := 40*rng.Float64() - 20
		a := take(rng, f, 0, 120, 2, 4, 0)
		b := take(rng, func(t float64) float64 { return 0.02 * f(t) }, truth, 100, 50, 1, 0)
		fit, err := Align(a, b)
		if err != nil {
			refused++
			continue
		}
		n++
		off := math.Abs(fit.Offset - truth)
		worst = math.Max(worst, off)
		if off <= 1.96*fit.SD {
			hit++
		}
		if fit.OneEvent || fit.SD > 0.5 || off > 1 {
			t.Errorf("seed %d: offset %.3f +- %.3f, drawn %.3f; by one event: %v", seed, fit.Offset, fit.SD, truth, fit.OneEvent)
		}
	}
	if share := float64(hit) / float64(n); share < 0.92 {
		t.Errorf("the stated uncertainty held the truth in %.1f %% of %d", 100*share, n)
	}
	if refused > 10 { // 5 %
		t.Errorf("%d of 200 refused", refused)
	}
	t.Logf("%d of %d within the stated 95 %%, worst %.3f s at 2 samples a second", hit, n, worst)
}

// A clock that runs fast is stated, and the error grows with it.
func TestAlignSeesAFastClock(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 8))
	f := shared(3)
	a := take(rng, f, 0, 120, 50, 1, 0)
	b := take(rng, f, 10, 100, 50, 1, 2000)
	fit, err := Align(a, b)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(fit.ClockPPM-2000) > 4*fit.ClockSD+200 {
		t.Errorf("clock fast by %.0f +- %.0f ppm, drawn 2000", fit.ClockPPM, fit.ClockSD)
	}
	if fit.SD < 0.02 { // 2000 ppm over 100 s is 0.2 s from end to end
		t.Errorf("stated to %.4f s though the clocks part by 0.2 s", fit.SD)
	}
}

// TestAlignRefuses: what cannot be aligned is not.
func TestAlignRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 9))
	constant := func(float64) float64 { return 12 }
	sine := func(t float64) float64 { return math.Sin(2 * math.Pi * t / 7) }
	for _, c := range []struct {
		name string
		a, b Track
		why  string
	}{
		{"noise of two instruments", take(rng, constant, 0, 100, 10, 1, 0), take(rng, constant, 0, 100, 10, 1, 0), "do not move together"},
		{"two different drives", take(rng, shared(1), 0, 100, 10, 5, 0), take(rng, shared(2), 0, 100, 10, 5, 0), "do not move together"},
		{"a signal that repeats", take(rng, sine, 0, 100, 10, 0.01, 0), take(rng, sine, 3, 80, 10, 0.01, 0), "repeats itself"},
		{"flat", take(rng, constant, 0, 100, 10, 0, 0), take(rng, shared(1), 0, 100, 10, 5, 0), "does not move"},
		{"a few samples", take(rng, shared(1), 0, 2, 10, 0, 0), take(rng, shared(1), 0, 100, 10, 0, 0), "too few samples"},
	} {
		fit, err := Align(c.a, c.b)
		if err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: %+v, %v", c.name, fit, err)
		}
	}
}

// One step in each: it is aligned, and said that this rests on one event.
func TestAlignByOneStepSaysSo(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	step := func(t float64) float64 {
		if t > 31.4 {
			return 14.2
		}
		return 12.4
	}
	a := take(rng, step, 0, 80, 20, 0.02, 0)
	b := take(rng, step, 12, 60, 50, 0.02, 0)
	fit, err := Align(a, b)
	if err != nil {
		t.Fatal(err)
	}
	if !fit.OneEvent || math.Abs(fit.Offset-12) > 3*fit.SD || fit.SD > 0.1 {
		t.Errorf("offset %.3f +- %.3f, drawn 12; by one event: %v", fit.Offset, fit.SD, fit.OneEvent)
	}
}
