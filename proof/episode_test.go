package proof

import (
	"fmt"
	"strings"
	"testing"
)

func contains(s, part string) bool { return strings.Contains(s, part) }

// Bursts are one episode each; the counter's first value happened before the log.
func TestEpisodesOfACounter(t *testing.T) {
	l := drive(1, stretch{300, 2400, 80})
	v := map[int]float64{1: 2, 2: 3, 3: 1, 30: 4, 31: 1, 200: 1}
	k := Counter{Of: "cylinder 3"}
	n := 17.0
	for i := range 300 {
		n += v[i]
		k.T, k.V = append(k.T, float64(i)), append(k.V, n)
	}
	l.Counters = []Counter{k}
	var got []string
	for _, e := range Episodes(l, conditions(), Rule{}) {
		got = append(got, fmt.Sprintf("%g-%g:%g", e.At, e.To, e.Events))
	}
	if s := strings.Join(got, " "); s != "1-3:6 30-31:5 200-200:1" {
		t.Errorf("%s", s)
	}
	if es := Episodes(l, conditions(), Rule{AtLeast: 2}); len(es) != 2 {
		t.Errorf("at least two events: %d episodes", len(es))
	}
	if es := Episodes(l, conditions(), Rule{Gap: 60}); len(es) != 2 {
		t.Errorf("a longer gap joins more: %d episodes", len(es))
	}
	// A reset shows what is new, and is no event by itself.
	l.Counters = []Counter{{"cylinder 3", Series{T: []float64{0, 1, 2, 3, 50, 51}, V: []float64{9, 9, 0, 0, 2, 2}}}}
	if es := Episodes(l, conditions(), Rule{}); len(es) != 1 || es[0].Events != 2 || es[0].At != 50 {
		t.Errorf("%+v", es)
	}
	// A mark beside a burst is the same episode, seen twice.
	l.Marks = []float64{52}
	if es := Episodes(l, conditions(), Rule{AtLeast: 100}); len(es) != 1 || es[0].Of != Noticed {
		t.Errorf("a mark needs no count: %+v", es)
	}
}

// A counter lags: an event just after the climb belongs to it, one long after not.
func TestEpisodeBelongsToItsConditions(t *testing.T) {
	l := drive(0.5, stretch{30, 2100, 40}, stretch{40, 2400, 80}, stretch{60, 2100, 40})
	for at, inside := range map[float64]bool{10: false, 40: true, 72: true, 90: false, 29: false} {
		l.Marks = []float64{at}
		if e := Episodes(l, conditions(), Rule{})[0]; e.Inside != inside {
			t.Errorf("noticed at %v s: inside %v", at, e.Inside)
		}
	}
	// One that begins before the conditions and goes on into them counts.
	l.Marks = []float64{22, 31, 35}
	if es := Episodes(l, conditions(), Rule{}); len(es) != 1 || !es[0].Inside {
		t.Errorf("%+v", es)
	}
}

// A log that cannot be read does not hide what a person noticed on it.
func TestBrokenLogKeepsItsMarks(t *testing.T) {
	c := base(5, 0)
	l := climbs(5, 85)
	l.Load.V = l.Load.V[1:]
	c.After = []Log{l}
	if v := Judge(c); v.State != CameBack || v.After.Outside != 1 {
		t.Errorf("%s, %d outside", v.State, v.After.Outside)
	}
}
