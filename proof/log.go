package proof

import (
	"fmt"
	"math"
	"sort"
)

// Series is one logged value with its own times.
type Series struct {
	T []float64 // s from the start of the log, not decreasing
	V []float64
	// Every is the time between true updates in s, which a log that repeats its last
	// value hides; 0: taken from T.
	Every float64
}

// Counter is a counter of fault events: misfires of one cylinder.
type Counter struct {
	Of string // "cylinder 3"
	Series
}

// Log is one drive.
type Log struct {
	Name                        string
	Speed, Load, Coolant, RoadV Series // rpm, %, degC, km/h; the last two may be empty
	Warm                        Warmth // said for the whole drive; used where Coolant is empty
	Counters                    []Counter
	// Marks are times at which a person noticed the fault, in s from the start of the
	// log. Watched says that somebody paid attention: no marks then means none noticed.
	Marks   []float64
	Watched bool
	// RoadMinutes of the whole outing, way there and back; 0: the length of the log.
	RoadMinutes float64
}

// slowest is the longest time between two rows that a log may have. A gear change
// takes about a second and a short episode not much more (our choice).
const slowest = 2.0 // s

// Every is how often engine speed and load both get a new value.
func (l Log) Every() float64 { return max(l.Speed.every(), l.Load.every()) }

func (s Series) every() float64 {
	if s.Every > 0 {
		return s.Every
	}
	if len(s.T) < 2 {
		return 0
	}
	d := make([]float64, 0, len(s.T)-1)
	for i := 1; i < len(s.T); i++ {
		d = append(d, s.T[i]-s.T[i-1])
	}
	sort.Float64s(d)
	return d[len(d)/2]
}

// channel is a series with its name.
type channel struct {
	name string
	Series
}

func (l Log) channels() []channel {
	out := []channel{{"engine speed", l.Speed}, {"calculated load", l.Load}, {"coolant temperature", l.Coolant}, {"road speed", l.RoadV}}
	for _, c := range l.Counters {
		out = append(out, channel{"the counter of " + c.Of, c.Series})
	}
	return out
}

// uneven says what cannot be read at all: a mark without a time, a series whose
// times and values do not go together or whose time does not run forward.
func (l Log) uneven() error {
	for i, t := range l.Marks {
		if !(t >= 0) || math.IsInf(t, 1) {
			return fmt.Errorf("episode %d of the list has no time in the log", i+1)
		}
	}
	for _, x := range l.channels() {
		if len(x.T) != len(x.V) {
			return fmt.Errorf("%s has %d times and %d values", x.name, len(x.T), len(x.V))
		}
		for k := range x.T {
			if !(x.T[k] >= 0) || math.IsInf(x.T[k], 1) || k > 0 && x.T[k] < x.T[k-1] {
				return fmt.Errorf("%s runs backwards in time, or has no time, at value %d", x.name, k+1)
			}
		}
	}
	return nil
}

// Check says why a log cannot be used as a proof drive, nil when it can.
func (l Log) Check() error {
	if err := l.uneven(); err != nil {
		return err
	}
	for _, x := range l.channels()[:2] {
		if len(x.T) < 2 {
			return fmt.Errorf("%s is not logged: without it nobody can say when the fault conditions held; log it on the next drive", x.name)
		}
	}
	if e := l.Every(); e > slowest {
		return fmt.Errorf("engine speed and load are new only every %.1f s: a gear change or an episode fits between two values; log fewer values, at least one in %.0f s", e, slowest)
	}
	if len(l.Counters) == 0 && !l.Watched {
		return fmt.Errorf("nobody can tell from it whether the fault showed: no misfire counter is logged and no episode times are written; write episodes: [] if somebody watched and noticed none")
	}
	return nil
}

// held reads a series at a time: the last value, for as long as a few updates.
type held struct {
	s   Series
	age float64
	k   int
}

func holding(s Series) *held { return &held{s: s, age: max(2, 3*s.every()), k: -1} }

// at must be asked in order of time.
func (h *held) at(t float64) float64 {
	for h.k+1 < len(h.s.T) && h.s.T[h.k+1] <= t+1e-9 {
		h.k++
	}
	if h.k < 0 || t-h.s.T[h.k] > h.age {
		return math.NaN()
	}
	return h.s.V[h.k]
}

// row is the log at one time of its engine speed.
type row struct {
	t, rpm, load float64
	miss         Reason
}

// rows judges every row of a log against the conditions.
func (l Log) rows(c Conditions) []row {
	load, coolant, road := holding(l.Load), holding(l.Coolant), holding(l.RoadV)
	out := make([]row, len(l.Speed.T))
	for i, t := range l.Speed.T {
		m := Moment{RPM: l.Speed.V[i], LoadPct: load.at(t), CoolantC: coolant.at(t), Kmh: road.at(t), Warm: l.Warm}
		out[i] = row{t, m.RPM, m.LoadPct, c.Misses(m)}
	}
	return out
}
