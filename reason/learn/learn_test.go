package learn

import (
	"math"
	"testing"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// Beta shrinkage, S12 of reasoning.md section 5 (conjugate beta-binomial).
func TestShrinkage(t *testing.T) {
	p := Beta{2, 18}
	near(t, "3 of 4", p.After(3, 4).Mean(), .208333, 5e-7)
	near(t, "0 of 10", p.After(0, 10).Mean(), .066667, 5e-7)
	near(t, "30 of 40", p.After(30, 40).Mean(), .533333, 5e-7)
	near(t, "weight of 4", p.Weight(4), .1666666667, 5e-11)
	near(t, "weight of 40", p.Weight(40), .6666666667, 5e-11)
}

// Pooled prior by beta-binomial maximum likelihood, S12 of reasoning.md section 5.
func TestPooledPrior(t *testing.T) {
	k, n := []float64{3, 0, 5, 1, 8, 2}, []float64{20, 15, 25, 30, 40, 10}
	b, err := Pool(k, n)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "a", b.A, 5.476486633, 1e-3)
	near(t, "b", b.B, 35.86125425, 1e-2)
	near(t, "mean", b.Mean(), .1324815173, 1e-6)
	for i, w := range []float64{.13819366, .09720813, .15792649, .09078626, .16568553, .14563334} {
		near(t, "shrunk", b.After(k[i], n[i]).Mean(), w, 2e-6)
	}
	for _, bad := range [][2][]float64{{{1}, {2}}, {{3, 1}, {2, 4}}, {{1, 1}, {0, 4}}} {
		if _, err := Pool(bad[0], bad[1]); err == nil {
			t.Errorf("%v passed", bad)
		}
	}
}

// EM of Dempster, Laird & Rubin 1977: 125, 18, 20, 34 from 0.5.
func TestLinkageEM(t *testing.T) {
	x := .5
	for i, w := range []float64{.608247423, .624321050, .626488879, .626777322, .626815632, .626820719, .626821394, .626821484} {
		x = Linkage([4]float64{125, 18, 20, 34}, x)
		near(t, "step "+string(rune('1'+i)), x, w, 5e-10)
	}
	for range 50 {
		x = Linkage([4]float64{125, 18, 20, 34}, x)
	}
	near(t, "limit", x, .6268214979, 1e-9)
}

// EM of Do & Batzoglou 2008: heads 5, 9, 8, 4, 7 of 10 from .6 and .5.
func TestTwoCoinsEM(t *testing.T) {
	a, b := .6, .5
	heads := []float64{5, 9, 8, 4, 7}
	a, b = Mixture(heads, 10, a, b)
	near(t, "step 1 a", a, .7130122354, 5e-11)
	near(t, "step 1 b", b, .5813393083, 5e-11)
	for range 9 {
		a, b = Mixture(heads, 10, a, b)
	}
	near(t, "step 10 a", a, .7967441495, 5e-11)
	near(t, "step 10 b", b, .5196586622, 5e-11)
}
