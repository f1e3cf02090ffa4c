package play

import (
	"os"
	"strconv"
	"testing"
)

// TestPlayed plays a few vehicles through files, measurement and odds and holds
// what must never happen. PROVEOUT_PLAY=1000 plays more.
func TestPlayed(t *testing.T) {
	n := 6
	if s := os.Getenv("PROVEOUT_PLAY"); s != "" {
		n, _ = strconv.Atoi(s)
	}
	var games []Game
	for j := range n {
		g := Play(j, Options{Seed: 1, Dir: t.TempDir()})
		games = append(games, g)
		if g.Err != "" {
			t.Errorf("job %d (%v) ended with: %s", j, g.Truth, g.Err)
		}
		if len(g.RuledOut) > 0 {
			t.Errorf("job %d: the true cause was ruled out: %v, truth %v, tests %v", j, g.RuledOut, g.Truth, g.Tests)
		}
		t.Logf("job %d truth %v top %s %.2f first %t shown %v wrong %v stopped %t %.0f min %v", j, g.Truth, g.Top, g.Chance, g.First, g.Shown, g.WronglyShown, g.Stopped, g.Minutes, g.Tests)
	}
	s := Tally(1, games)
	if err := s.Write(testWriter{t}); err != nil {
		t.Fatal(err)
	}
	if s.WronglyShown > 0 {
		t.Errorf("a wrong cause was called shown in %d of %d", s.WronglyShown, s.Jobs)
	}
	if 2*s.First < s.Jobs {
		t.Errorf("right cause in first place in only %d of %d", s.First, s.Jobs)
	}
}

type testWriter struct{ t *testing.T }

func (w testWriter) Write(p []byte) (int, error) { w.t.Log(string(p)); return len(p), nil }
