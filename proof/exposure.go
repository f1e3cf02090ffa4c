package proof

import "sort"

// Side of the repair a drive lies on.
type Side bool

// Before counts a stretch between two rows when either is inside, After only when
// both are: a second in doubt never makes the proof easier.
const (
	Before Side = false
	After  Side = true
)

// Missed is time that did not count, and why.
type Missed struct {
	Reason  Reason
	Seconds float64
}

// Span is a stretch of a log inside the conditions, in s.
type Span struct{ From, To float64 }

// Exposure is the time of one log inside the fault conditions.
type Exposure struct {
	Name    string
	Cells   Grid
	Seconds float64 // sum of Cells
	Doubt   float64 // seconds between a row inside and one outside
	Logged  float64 // length of the log
	Every   float64 // seconds between true updates
	Climbs  []Span
	// Missed lists what did not count, longest first; its sum and Seconds are Logged.
	Missed []Missed
	// GearChecked is false when the gear of the fault is not known or the log has no
	// road speed.
	GearChecked bool
	RoadMinutes float64
}

// climbGap joins stretches inside the conditions into one climb: a gear held, a
// corner taken (our choice).
const climbGap = 10.0 // s

// climbLeast is the shortest stretch that is called a climb (our choice).
const climbLeast = 3.0 // s

// Expose counts the seconds of a log inside the conditions from a time on (0: the
// whole log). The log must have passed Check, the conditions too.
func Expose(l Log, c Conditions, which Side, from float64) Exposure {
	e := Exposure{Name: l.Name, Every: l.Every(), GearChecked: c.KmhPer1000 > 0 && len(l.RoadV.T) > 1, RoadMinutes: l.RoadMinutes}
	rows := l.rows(c)
	missed := map[Reason]float64{}
	hole := max(2, 3*e.Every) // longer than this between two rows nothing was logged
	for i := 0; i+1 < len(rows); i++ {
		a, b := rows[i], rows[i+1]
		start := max(a.t, from)
		dt := b.t - start
		if dt <= 0 {
			continue
		}
		e.Logged += dt
		in := a
		switch {
		case b.t-a.t > hole:
			missed[NotLogged] += dt
			continue
		case a.miss == Inside && b.miss == Inside:
		case a.miss != Inside && b.miss != Inside:
			missed[a.miss] += dt
			continue
		default:
			e.Doubt += dt
			if a.miss != Inside {
				in = b
			}
			if which == After {
				missed[AtTheEdge] += dt
				continue
			}
		}
		x, y := c.cell(in.rpm, in.load)
		e.Cells[x][y] += dt
		if k := len(e.Climbs) - 1; k >= 0 && start-e.Climbs[k].To <= climbGap {
			e.Climbs[k].To = b.t
		} else {
			e.Climbs = append(e.Climbs, Span{start, b.t})
		}
	}
	e.Seconds = e.Cells.Sum()
	long := e.Climbs[:0]
	for _, s := range e.Climbs {
		if s.To-s.From >= climbLeast {
			long = append(long, s)
		}
	}
	e.Climbs = long
	for r, s := range missed {
		e.Missed = append(e.Missed, Missed{r, s})
	}
	sort.Slice(e.Missed, func(i, j int) bool {
		a, b := e.Missed[i], e.Missed[j]
		return a.Seconds > b.Seconds || a.Seconds == b.Seconds && a.Reason < b.Reason
	})
	if e.RoadMinutes <= 0 {
		e.RoadMinutes = e.Logged / 60
	}
	return e
}
