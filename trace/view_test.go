package trace

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// bruteBounds is the oracle: look at every sample.
func bruteBounds(v []float64, first, end int) (lo, hi float64) {
	lo, hi = math.NaN(), math.NaN()
	for i := max(first, 0); i < min(end, len(v)); i++ {
		if x := v[i]; x == x {
			if !(x >= lo) {
				lo = x
			}
			if !(x <= hi) {
				hi = x
			}
		}
	}
	return lo, hi
}

// TestExtremes: every value of a short run in turn, of each sign and of the bounds of
// the floats, against looking at each; zero of either sign is zero.
func TestExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		one := rapid.OneOf(rapid.Float64(), rapid.Just(math.Inf(1)), rapid.Just(math.Inf(-1)), rapid.Just(0.0),
			rapid.Just(math.Copysign(0, -1)), rapid.Just(math.SmallestNonzeroFloat64), rapid.Just(-math.MaxFloat64))
		v := rapid.SliceOfN(one, 1, 20).Draw(t, "v")
		switch rapid.IntRange(0, 2).Draw(t, "sign") {
		case 1:
			for i, x := range v {
				v[i] = math.Abs(x)
			}
		case 2:
			for i, x := range v {
				v[i] = -math.Abs(x)
			}
		}
		lo, hi := Extremes(v)
		if wlo, whi := bruteBounds(v, 0, len(v)); lo != wlo || hi != whi {
			t.Fatalf("%v: %v to %v, want %v to %v", v, lo, hi, wlo, whi)
		}
		v[rapid.IntRange(0, len(v)-1).Draw(t, "hole")] = math.Copysign(math.NaN(), rapid.SampledFrom([]float64{1, -1}).Draw(t, "of"))
		if lo, hi := Extremes(v); lo == lo || hi == hi {
			t.Fatalf("%v: %v to %v, want NaN", v, lo, hi)
		}
	})
}

func TestPyramidAgreesWithBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 70000).Draw(t, "n")
		seed := rapid.Uint64().Draw(t, "seed")
		holes := rapid.IntRange(1, 50).Draw(t, "holes")
		v := make([]float64, n)
		for i := range v { // xorshift: cheap numbers for long channels
			seed ^= seed << 13
			seed ^= seed >> 7
			seed ^= seed << 17
			v[i] = float64(int64(seed)) / 1e15
			if seed%100 < uint64(holes) {
				v[i] = math.NaN()
			}
		}
		p := NewPyramid(v)
		for range 20 {
			first := rapid.IntRange(-5, n+5).Draw(t, "first")
			end := rapid.IntRange(first, n+10).Draw(t, "end")
			lo, hi := p.Bounds(first, end)
			wlo, whi := bruteBounds(v, first, end)
			if !sameFloat(lo, wlo) || !sameFloat(hi, whi) {
				t.Fatalf("samples %d to %d of %d: %v to %v, want %v to %v", first, end, n, lo, hi, wlo, whi)
			}
			points := rapid.IntRange(0, 300).Draw(t, "points")
			at := max(first, 0)
			view := p.View(first, end, points)
			if 2*len(view) > points {
				t.Fatalf("%d buckets for %d points", len(view), points)
			}
			for _, b := range view {
				wlo, whi := bruteBounds(v, b.First, b.End)
				if b.First != at || b.End <= b.First || !sameFloat(b.Min, wlo) || !sameFloat(b.Max, whi) {
					t.Fatalf("bucket %+v after sample %d, want %v to %v", b, at, wlo, whi)
				}
				at = b.End
			}
			if len(view) > 0 && at != min(end, n) {
				t.Fatalf("view of %d to %d ends at %d", first, end, at)
			}
		}
	})
}

func TestViewOfFewSamplesShowsEachOne(t *testing.T) {
	v := []float64{3, 1, math.NaN(), 2}
	got := NewPyramid(v).View(0, 4, 100)
	for i, b := range got {
		if b.First != i || b.End != i+1 || !sameFloat(b.Min, v[i]) || !sameFloat(b.Max, v[i]) {
			t.Errorf("sample %d drawn as %+v", i, b)
		}
	}
	if len(got) != 4 {
		t.Errorf("%d buckets for 4 samples", len(got))
	}
}

// BenchmarkView draws parts of a channel of 100 million samples from 4,000
// points; the aim is under 5 ms.
func BenchmarkView(b *testing.B) {
	const n = 100_000_000
	v := make([]float64, n)
	for i := range v {
		v[i] = float64(i*2654435761%1000003) * 1e-3
	}
	p := NewPyramid(v)
	for _, c := range []struct {
		name       string
		first, end int
	}{{"all", 0, n}, {"half", n / 3, n/3 + n/2}, {"hundredth", n / 7, n/7 + n/100}, {"unaligned", 12345, n - 54321}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				if len(p.View(c.first, c.end, 4000)) != 2000 {
					b.Fatal("wrong number of buckets")
				}
			}
		})
	}
	b.Run("build", func(b *testing.B) {
		b.SetBytes(8 * n)
		for b.Loop() {
			NewPyramid(v)
		}
	})
}

// BenchmarkViewOf100Million draws views of all widths out of 100 million samples at
// 4,000 points each: the goal is under 5 ms for any of them. It takes 830 MB, and is
// left out with -short.
func BenchmarkViewOf100Million(b *testing.B) {
	if testing.Short() {
		b.Skip("takes 830 MB")
	}
	v := make([]float64, 100_000_000)
	x := uint64(1)
	for i := range v {
		x ^= x << 13
		x ^= x >> 7
		x ^= x << 17
		v[i] = float64(x>>40) / (1 << 24)
	}
	p := NewPyramid(v)
	rng := rand.New(rand.NewPCG(7, 8))
	worst := time.Duration(0)
	for b.Loop() {
		width := int(math.Exp(math.Log(4e3) + rng.Float64()*math.Log(1e8/4e3)))
		first := rng.IntN(len(v) - width + 1)
		begin := time.Now()
		if got := p.View(first, first+width, 4000); len(got) > 2000 {
			b.Fatalf("%d buckets for 4000 points", len(got))
		}
		worst = max(worst, time.Since(begin))
	}
	b.ReportMetric(float64(worst.Microseconds())/1e3, "ms-worst")
}
