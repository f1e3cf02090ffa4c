package proof

import (
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proveout/stats"
)

var nan = math.NaN()

// The multiples worked by hand from (t1/(t1+t2))^x = 0.05: 19, 3.4721, ...
func TestFactorOfTheRule(t *testing.T) {
	for x, want := range map[int]float64{1: 19, 2: 3.472136, 3: 1.714418, 5: 0.820564, 10: 0.349283} {
		if got := Factor(x, 0.95); math.Abs(got-want) > 5e-7 {
			t.Errorf("x=%d: %.6f, want %.6f", x, got, want)
		}
	}
	if got := Factor(1, 0.99); math.Abs(got-99) > 1e-9 {
		t.Errorf("one episode at 99 %%: %v, want 99", got)
	}
	if !math.IsInf(Factor(0, 0.95), 1) || !math.IsInf(Factor(3, 1), 1) {
		t.Error("no episode, or certainty, can never be driven")
	}
}

// Two Poisson counts over unequal exposures, R's poisson.test(c(11, 21), c(800,
// 3011)), the example of its help page (lung cancer in Fredericia against three
// other Danish cities, data of E. B. Andersen 1977): ratio 1.97, 95 % 0.858 to
// 4.277. CompareRates gives the second rate over the first.
func TestPublishedTwoRates(t *testing.T) {
	r := stats.CompareRates(21, 3011, 11, 800, 0.95)
	for _, c := range []struct{ got, want float64 }{{r.Ratio, 1.9714881}, {r.Low, 0.8584264}, {r.High, 4.2772659}, {r.TwoSided, 0.079668633}} {
		if math.Abs(c.got-c.want) > 2e-6 {
			t.Errorf("%.7f, want %.7f", c.got, c.want)
		}
	}
}

// The rule and the exact conditional test are the same thing: driven for Factor
// times t1 without an episode, the chance is 5 in 100 and the one-sided upper
// bound of the ratio 1; five times that, a fifth.
func TestRuleIsTheConditionalTest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.IntRange(1, 40).Draw(t, "x")
		t1 := rapid.Float64Range(1, 1e5).Draw(t, "t1")
		t2 := t1 * Factor(x, Level)
		if p := CouldBeChance(x, t1, t2); math.Abs(p-0.05) > 1e-9 {
			t.Fatalf("chance %v", p)
		}
		if p := stats.CompareRates(x, t1, 0, t2, Level).Less; math.Abs(p-0.05) > 1e-9 {
			t.Fatalf("conditional test %v", p)
		}
		if u := stats.CompareRates(x, t1, 0, t2, 2*Level-1).High; math.Abs(u-1) > 1e-6 {
			t.Fatalf("upper bound %v", u)
		}
		if u := stats.CompareRates(x, t1, 0, times*t2, 2*Level-1).High; math.Abs(u-RatioLimit) > 1e-6 {
			t.Fatalf("upper bound of the long drive %v", u)
		}
	})
}

// Cells are needed in proportion to the time before, rounded up, and hardly
// touched ones give their share to the others.
func TestNeedByCell(t *testing.T) {
	// The worked map of the proof screen: 192 s, five episodes, 0.82 of each cell.
	before := Grid{{12, 18, 12}, {18, 36, 18}, {12, 36, 30}}
	got := need(before, Grid{}, Factor(5, Level))
	if want := (Grid{{10, 15, 10}, {15, 30, 15}, {10, 30, 25}}); got != want {
		t.Errorf("%v, want %v", got, want)
	}
	before[0][0] = 0.4
	got = need(before, Grid{}, Factor(5, Level))
	if got[0][0] != 0 || got.Sum() < 180.4*Factor(5, Level) {
		t.Errorf("a touched cell must pass its share on: %v", got)
	}
	eps := Grid{}
	eps[0][0] = 1
	if got := need(before, eps, 1); got[0][0] == 0 {
		t.Error("a cell in which it showed must be driven")
	}
	if need(Grid{}, Grid{}, 1) != (Grid{}) || need(before, eps, math.Inf(1)) != (Grid{}) {
		t.Error("nothing before: nothing can be asked")
	}
}

// The figures that docs/proof.md teaches are those of the program.
func TestDocsFigures(t *testing.T) {
	text, err := os.ReadFile("../docs/proof.md")
	if err != nil {
		t.Fatal(err)
	}
	page := string(text)
	for _, x := range []int{1, 2, 3, 4, 5, 10} {
		if row := fmt.Sprintf("| %d | %.2f |", x, Factor(x, Level)); !strings.Contains(page, row) {
			t.Errorf("the page lacks %q", row)
		}
	}
	for _, want := range []string{
		fmt.Sprintf("192 × 0.82 = %.1f s", 192*Factor(5, Level)), fmt.Sprintf("(192/314)^5 = %.4f", CouldBeChance(5, 192, 122)),
		fmt.Sprintf("Four episodes in 102 s: %.0f s for improved, %.0f s for proven", 102*Factor(4, Level), 102*times*Factor(4, Level)),
		fmt.Sprintf("(%.0f s, our choice)", EpisodeGap), fmt.Sprintf("warm from %.0f °C", WarmFrom), fmt.Sprintf("(%.0f h, our choice)", workingDay/60.0),
		fmt.Sprintf("at most %.0f s with %.0f min between", LampSeconds, LampRest/60), fmt.Sprintf("at most %g.", RatioLimit), fmt.Sprintf("one value in %g s", slowest),
	} {
		if !strings.Contains(strings.Join(strings.Fields(page), " "), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	// "More than one in ten would pass": of drives kept for an episode at 0.1 a drive.
	pass, kept := 0.0, 1-math.Exp(-0.1)
	for x, p := 1, 0.1*math.Exp(-0.1); x < 20; x++ {
		pass += p * math.Exp(-0.1*Factor(x, Level))
		p *= 0.1 / float64(x+1)
	}
	if pass/kept < 0.10 {
		t.Errorf("%.3f of unrepaired vehicles pass; the page says more than one in ten", pass/kept)
	}
}
