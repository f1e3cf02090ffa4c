package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Max(math.Abs(want), 1e-300) {
		t.Errorf("%s = %.12g, want %.12g", what, got, want)
	}
}

// testdata/stats_oracles.txt S1 and S2; reasoning.md R1.
func TestTrialsToShow(t *testing.T) {
	for _, c := range []struct {
		rel, conf float64
		r, n      int
	}{
		{.9, .9, 0, 22}, {.9, .95, 0, 29}, {.95, .9, 0, 45}, {.95, .95, 0, 59}, {.99, .9, 0, 230}, {.99, .95, 0, 299}, {.999, .95, 0, 2995},
		{.9, .9, 1, 38}, {.9, .9, 2, 52}, {.9, .9, 3, 65},
	} {
		if n := TrialsToShow(c.rel, c.conf, c.r); n != c.n {
			t.Errorf("R %v C %v r %d: %d, want %d", c.rel, c.conf, c.r, n, c.n)
		}
	}
	if TrialsToShow(1, .9, 0) != 0 || TrialsToShow(.9, .9, -1) != 0 {
		t.Error("outside the domain must be 0")
	}
}

// S3 and S4; reasoning.md R2 and R3.
func TestExactLimitsToNineDigits(t *testing.T) {
	near(t, "95", PoissonUpper(0, .95), 2.995732274, 1e-9)
	near(t, "90", PoissonUpper(0, .90), 2.302585093, 1e-9)
	for k, w := range [][2]float64{{0, 3.688879454}, {0.02531780798, 5.571643391}, {0.2422092785, 7.224687668}, {0.6186721229, 8.76727307}, {1.089865374, 10.24158868}, {1.62348639, 11.66833208}} {
		lo, hi := PoissonLimits(k, .95)
		near(t, "lo", lo, w[0], 1e-9)
		near(t, "hi", hi, w[1], 1e-9)
	}
	for _, c := range []struct {
		k, n       int
		lo, hi, up float64
	}{{0, 10, 0, 0.3084971078, 0.2588655509}, {1, 10, 0.002528578544, 0.445016117, 0.3941633024}, {3, 20, 0.03207093719, 0.3789268265, 0.3436638043}, {0, 59, 0, 0.06060890095, 0.04950760989}} {
		lo, hi := ClopperPearson(c.k, c.n, .95)
		near(t, "lo", lo, c.lo, 1e-9)
		near(t, "hi", hi, c.hi, 1e-9)
		near(t, "up", ClopperPearsonUpper(c.k, c.n, .95), c.up, 1e-9)
	}
}

// S5; reasoning.md R4, and R's help example of poisson.test (standards.md 10.2).
func TestCompareRates(t *testing.T) {
	for _, c := range []struct {
		x1        int
		t1        float64
		x2        int
		t2        float64
		p, lo, hi float64
	}{
		{8, 4, 0, 4, 0.00390625, 0, 0.5858331751}, {8, 4, 1, 4, 0.01953125, 0.002817050226, 0.9323541364}, {12, 10, 2, 10, 0.006469726562, 0.01811689689, 0.7486466028},
		{6, 3, 0, 1, 0.1779785156, 0, 2.547933583}, {6, 3, 0, 2, 0.046656, 0, 1.273966791}, {5, 100, 0, 100, 0.03125, 0, 1.091279105},
	} {
		r := CompareRates(c.x1, c.t1, c.x2, c.t2, .95)
		near(t, "p", r.Less, c.p, 1e-9)
		near(t, "lo", r.Low, c.lo, 1e-9)
		near(t, "hi", r.High, c.hi, 1e-9)
	}
	r := CompareRates(21, 3011, 11, 800, .95)
	near(t, "ratio", r.Ratio, 1.9714881, 1e-7)
	near(t, "lo", r.Low, 0.8584264, 1e-6)
	near(t, "hi", r.High, 4.2772659, 1e-7)
	near(t, "two-sided", r.TwoSided, 0.079668633, 1e-7)
	if r := CompareRates(0, 1, 0, 1, .95); !math.IsNaN(r.Less) {
		t.Error("no event at all says nothing")
	}
}

// S8; reasoning.md R5.
func TestSPRTExpectedTrials(t *testing.T) {
	for _, c := range []struct {
		p0, p1, a, b   float64
		clean          int
		under0, under1 float64
	}{{.01, .2, .05, .05, 14, 14.64045556, 6.181872874}, {.01, .1, .05, .05, 31, 37.1505607, 18.34168777}, {.05, .15, .05, .1, 21, 39.30734583, 33.82496219}} {
		s := SPRT{c.a, c.b}
		if n := s.PassesToAcceptH0(0, c.p0, c.p1); n != c.clean {
			t.Errorf("clean run %d, want %d", n, c.clean)
		}
		a, b := s.ExpectedTrials(c.p0, c.p1)
		near(t, "E under H0", a, c.under0, 1e-9)
		near(t, "E under H1", b, c.under1, 1e-9)
	}
}

// trade.md 3.2: counts needed in one cylinder for p < 0.01.
func TestIsOneCylinderReallyWorse(t *testing.T) {
	for _, row := range [][4]int{{5, 5, 5, 4}, {8, 7, 6, 5}, {10, 8, 7, 6}, {20, 12, 10, 9}, {50, 23, 18, 15}, {100, 39, 29, 24}} {
		for i, m := range []int{4, 6, 8} {
			k := 0
			for WorstOfEqual(k, row[0], m) >= 0.01 {
				k++
			}
			if k != row[i+1] {
				t.Errorf("T=%d, %d cylinders: %d, table says %d", row[0], m, k, row[i+1])
			}
		}
	}
}

// trade.md 3.4: placements for each coil, 80 % power, two-sided 5 %.
func TestPlacementTable(t *testing.T) {
	for _, c := range []struct {
		cv, d float64
		n     int
	}{{.10, .20, 4}, {.10, .30, 2}, {.15, .20, 9}, {.15, .30, 4}, {.15, .50, 2}, {.20, .30, 7}, {.20, .50, 3}, {.30, .30, 16}, {.30, .50, 6}} {
		if n := SampleSize(c.cv, c.d, 0.05, 0.80); n != c.n {
			t.Errorf("c=%v d=%v: %d, table says %d", c.cv, c.d, n, c.n)
		}
	}
	if SampleSize(0.2, 0, 0.05, 0.8) != 0 {
		t.Error("no difference has no sample size")
	}
}

// standards.md 10.1: R mad(c(1,2,3,4,100)) = 1.4826 (rounded constant there).
func TestRobustScale(t *testing.T) {
	near(t, "mad", MADSigma([]float64{1, 2, 3, 4, 100}), 1.482602219, 1e-9)
	near(t, "even median", Median([]float64{4, 1, 3, 2}), 2.5, 1e-15)
	near(t, "type 7", Quantile([]float64{1, 2, 3, 4}, 0.4), 2.2, 1e-12) // R quantile(1:4, .4) = 2.2
	if !math.IsNaN(Median(nil)) {
		t.Error("median of nothing")
	}
}

// MedianVariance against numerical integration of the order-statistic density.
func TestMedianVariance(t *testing.T) {
	phi := func(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }
	cdf := func(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }
	for _, n := range []int{1, 3, 5, 7, 9, 15} {
		r := (n - 1) / 2
		lg := func(k int) float64 { v, _ := math.Lgamma(float64(k + 1)); return v }
		c := math.Exp(lg(n) - 2*lg(r))
		sum, h := 0.0, 1e-3
		for x := -9.0; x <= 9; x += h {
			sum += h * x * x * c * math.Pow(cdf(x), float64(r)) * math.Pow(1-cdf(x), float64(r)) * phi(x)
		}
		near(t, "odd", MedianVariance(n), sum, map[bool]float64{true: 2e-6, false: 0.015}[n <= 8])
	}
	// Even n: Var of the mean of the two middle values, by their joint density
	// n!/((m-1)!^2) F(x)^(m-1) (1-F(y))^(m-1) f(x) f(y), x<y, m = n/2.
	for _, n := range []int{2, 4, 6, 8, 10} {
		m := n / 2
		lg := func(k int) float64 { v, _ := math.Lgamma(float64(k + 1)); return v }
		c := math.Exp(lg(n) - 2*lg(m-1))
		sum, h := 0.0, 0.02
		for x := -7.0 + h/2; x <= 7; x += h {
			fx := c * math.Pow(cdf(x), float64(m-1)) * phi(x)
			for y := x; y <= 7; y += h {
				w := h * h
				if y == x {
					w /= 2
				}
				sum += w * fx * math.Pow(1-cdf(y), float64(m-1)) * phi(y) * (x + y) * (x + y) / 4
			}
		}
		near(t, "even", MedianVariance(n), sum, map[bool]float64{true: 5e-4, false: 0.015}[n <= 8])
	}
}

func TestMedianAgreesWithSorting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-5, 5), 1, 60).Draw(t, "x")
		if got, want := Median(x), Quantile(x, 0.5); math.Abs(got-want) > 1e-12 {
			t.Fatalf("median %v, by sorting %v", got, want)
		}
	})
}

// Holm: worked example with four p-values (0.01, 0.04, 0.03, 0.005), as printed
// for R's p.adjust(method = "holm"): 0.03, 0.06, 0.06, 0.02 (from memory, recomputed by hand).
// TestSelectAgreesWithSorting: any place of noise, of few different values, of a rising
// and a falling series, and of one value alone; and what lies on either side belongs there.
func TestSelectAgreesWithSorting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		steps := rapid.SampledFrom([]float64{1e9, 20, 3, 1, 0}).Draw(t, "steps")
		slope := rapid.SampledFrom([]float64{0, 0, 0.1, -0.1}).Draw(t, "slope")
		x := make([]float64, rapid.IntRange(1, 700).Draw(t, "n"))
		for i := range x {
			x[i] = math.Round(steps*rng.NormFloat64()) + slope*float64(i)
		}
		x[rng.IntN(len(x))] = rapid.SampledFrom([]float64{0, math.Inf(1), math.Inf(-1), math.MaxFloat64, -math.MaxFloat64}).Draw(t, "one")
		k := rapid.IntRange(0, len(x)-1).Draw(t, "k")
		want := slices.Sorted(slices.Values(x))
		if got := selectKth(x, k); got != want[k] || x[k] != got {
			t.Fatalf("place %d of %d: %g and %g left there, want %g", k, len(x), got, x[k], want[k])
		}
		if a, b := slices.Max(x[:k+1]), slices.Min(x[k:]); a != want[k] || b != want[k] {
			t.Fatalf("place %d of %d: up to %g before it, from %g after it, it is %g", k, len(x), a, b, want[k])
		}
		slices.Sort(x)
		if !slices.Equal(x, want) {
			t.Fatal("values were lost")
		}
	})
}

func TestHolm(t *testing.T) {
	got := Holm([]float64{0.01, 0.04, 0.03, 0.005}, 0)
	for i, w := range []float64{0.03, 0.06, 0.06, 0.02} {
		near(t, "holm", got[i], w, 1e-12)
	}
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 20).Draw(t, "p")
		for i, v := range Holm(p, 0) {
			if v < p[i] || v > Bonferroni(p[i], len(p))+1e-15 {
				t.Fatalf("Holm %v must lie between p %v and Bonferroni", v, p[i])
			}
		}
	})
}

// The limits do what they promise: the tail beyond each equals the risk.
func TestLimitsInvertTheirTests(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(t, "n")
		k := rapid.IntRange(0, n).Draw(t, "k")
		lo, hi := ClopperPearson(k, n, 0.95)
		if k > 0 && math.Abs(BinomialAtLeast(k, n, lo)-0.025) > 1e-7 {
			t.Fatalf("low %v of %d/%d", lo, k, n)
		}
		if k < n && math.Abs(BinomialAtMost(k, n, hi)-0.025) > 1e-7 {
			t.Fatalf("high %v of %d/%d", hi, k, n)
		}
	})
}

func BenchmarkCompareRates(b *testing.B) {
	for b.Loop() {
		CompareRates(12, 10, 2, 10, 0.95)
	}
}
