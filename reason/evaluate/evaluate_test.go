package evaluate

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"proveout/book"
	"proveout/reason"
	"proveout/reason/bay"
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
	s, err := Run(Config{World: bayWorld(t), Jobs: jobs(60), Seed: 20261125, Options: reason.Options{}}, Advice, Fixed, Random)
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

func TestPlantedWrongReadingsAreFound(t *testing.T) {
	p, err := Plant(Config{World: bayWorld(t), Jobs: jobs(80), Seed: 7}, 10)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + p.Text())
}

func TestAdviceAlone(t *testing.T) {
	if os.Getenv("PROVEOUT_JOBS") == "" {
		t.Skip("long run: set PROVEOUT_JOBS")
	}
	s, err := Run(Config{World: bayWorld(t), Jobs: jobs(100), Seed: 20261125}, Advice)
	if err != nil {
		t.Fatal(err)
	}
	t.Log("\n" + Text(s))
}
