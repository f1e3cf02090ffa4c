package play

import (
	"os"
	"reflect"
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
	games := All(Options{Jobs: n, Seed: 1, Dir: t.TempDir()})
	for j, g := range games {
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

// The number of workers changes nothing but the time.
func TestWorkersChangeNothing(t *testing.T) {
	o := Options{Jobs: 3, Seed: 9, MaxTests: 2, Dir: t.TempDir(), Workers: 1}
	one := All(o)
	o.Workers = 3
	told := 0
	o.Ended = func(Game, int) { told++ }
	three := All(o)
	if !reflect.DeepEqual(one, three) {
		t.Errorf("three workers played\n%+v\none played\n%+v", three, one)
	}
	if told != 3 {
		t.Errorf("told of %d games of 3", told)
	}
}

type testWriter struct{ t *testing.T }

func (w testWriter) Write(p []byte) (int, error) { w.t.Log(string(p)); return len(p), nil }
