package evaluate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"proveout/book"
	"proveout/reason"
	"proveout/reason/bay"
	"proveout/stats"
)

func bayWorld(t testing.TB) func(rng *rand.Rand) *World {
	t.Helper()
	in, err := book.Instantiate(bay.Engine(), bay.Book())
	if err != nil {
		t.Fatal(err)
	}
	return func(rng *rand.Rand) *World { return NewWorld(in, "misfire_load", rng) }
}

// jobs is the size of a run: small in the ordinary tests, large by
// PROVEOUT_JOBS for the figures kept in docs.
func jobs(n int) int {
	if v, err := strconv.Atoi(os.Getenv("PROVEOUT_JOBS")); err == nil {
		return v
	}
	return n
}

func TestAdviceAgainstFixedAndRandomOrder(t *testing.T) {
	s, err := Run(Config{World: bayWorld(t), Jobs: jobs(20), Seed: 20261125, Options: reason.Options{}}, Advice, Fixed, Random)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + Text(s))
	a := s[0]
	if a.TrueRuledOut > 0 {
		t.Errorf("a true cause was ruled out in %d of %d jobs", a.TrueRuledOut, a.Jobs)
	}
	if a.Minutes >= s[1].Minutes || a.Minutes >= s[2].Minutes {
		t.Errorf("advice takes %.0f min, fixed order %.0f, random order %.0f: it should be the quickest", a.Minutes, s[1].Minutes, s[2].Minutes)
	}
}

// Planted wrong readings: 90 % of those that move the odds ten times and have two
// independent readings against them, under 5 % false alarms (DECISIONS, Figures).
// The small run of the ordinary tests has few of them; the full one is in
// docs/reasoning.md.
func TestPlantedWrongReadingsAreFound(t *testing.T) {
	p, err := Plant(Config{World: bayWorld(t), Jobs: jobs(80), Seed: 7}, 10, 6)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + p.Text())
	if p.Moving == 0 {
		t.Fatal("no planted reading moved the odds: the check cannot fail")
	}
	if p.Contested < 5 {
		t.Fatalf("only %d planted readings have two against them: the check can hardly fail", p.Contested)
	}
	// A small run cannot tell 90 % to the point: what it may not do is exclude it.
	if _, most := stats.ClopperPearson(p.Found, p.Contested, 0.80); most < 0.9 {
		t.Errorf("found %d of %d, at most %.0f %% with nine chances in ten", p.Found, p.Contested, 100*most)
	}
	// Two standard errors above 5 %, since the ordinary run is small.
	n := float64(p.Clean)
	if wrong := p.Alarms - p.Natural; float64(wrong) > 0.05*n+2*math.Sqrt(0.05*0.95*n) {
		t.Errorf("%d false alarms in %d clean jobs", wrong, p.Clean)
	}
}

// The chance asked of a part before it is called shown: asking more never shows
// more, and the table in docs/reasoning.md is this one.
func TestTradeOffOfShown(t *testing.T) {
	text, err := TradeOff(Config{World: bayWorld(t), Jobs: jobs(20), Seed: 314})
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + text)
	last := [2]int{1 << 30, 1 << 30}
	for _, line := range strings.Split(strings.TrimSpace(text), "\n")[1:] {
		var at, x, y float64
		var right, listed, wrong, all int
		if _, err := fmt.Sscanf(line, "%f %d of %d (%f %%) %d of %d (%f %%)", &at, &right, &listed, &x, &wrong, &all, &y); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		if right > last[0] || wrong > last[1] || right == 0 {
			t.Errorf("at %g: %d right, %d wrong, before %v", at, right, wrong, last)
		}
		last = [2]int{right, wrong}
	}
}
