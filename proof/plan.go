package proof

import (
	"fmt"
	"math"
)

// workingDay is the most road time a proof may ask for: above it, it is not
// practicable by road (our choice; to be tried in a shop).
const workingDay = 8 * 60.0 // min

// Target is how much is left to drive for one aim.
type Target struct {
	Seconds     float64 // inside the fault conditions
	Climbs      int
	RoadMinutes float64
	Practicable bool
}

// Plan is the drive to plan before the repair, or what is left of it after.
type Plan struct {
	Way    Way    // the one to name before driving
	WayWhy string // a sentence
	// Improve is what is left until no episode could be chance 5 times in 100, Prove
	// until proven by road. Left and LeftFar say in which cells.
	Improve, Prove Target
	Left, LeftFar  Grid
	ClimbSeconds   float64 // inside the conditions in one climb
	RoadPerClimb   float64 // min
	Possible       bool    // false: there is nothing to plan from; Why says what
	Why            string
}

// Plan works out the drive for a case, given its verdict.
func (c Case) Plan(v Verdict) Plan {
	p := Plan{}
	if v.NamedByPerson {
		p.Way, p.WayWhy = v.Named, "It is the one written down before driving."
	} else {
		p.Way, p.WayWhy = c.name(v)
	}
	switch {
	case c.Conditions.Check() != nil:
		p.Why = "No drive can be planned: " + c.Conditions.Check().Error() + ". Read the freeze frame, or write engine speed and load in which it showed."
		return p
	case v.Before.Total == 0:
		p.Why = "No episode before the repair is on record inside the fault conditions. Drive the before first, with the old part in: until it has shown at least twice, better five times."
		return p
	}
	p.Possible = true
	p.ClimbSeconds, p.RoadPerClimb = c.climb(v)
	p.Left, p.LeftFar = left(v.Counted, v.Need), left(v.CountedFar, v.Far)
	p.Improve, p.Prove = p.target(p.Left.Sum()), p.target(p.LeftFar.Sum())
	return p
}

// climb says how long one climb is inside the conditions and on the road, from the
// drives that were used.
func (c Case) climb(v Verdict) (seconds, road float64) {
	n, s, r := 0, 0.0, 0.0
	for _, list := range [][]Tally{v.Before.Drives, v.After.Drives} {
		for _, t := range list {
			if t.Used && len(t.Climbs) > 0 {
				n += len(t.Climbs)
				s += t.Seconds
				r += t.RoadMinutes
			}
		}
		if n > 0 {
			break
		}
	}
	if n == 0 {
		return 0, 0
	}
	seconds, road = s/float64(n), r/float64(n)
	if c.LampFlashing {
		seconds = min(seconds, LampSeconds)
		road = max(road, (seconds+LampRest)/60)
	}
	return seconds, road
}

func (p *Plan) target(seconds float64) Target {
	t := Target{Seconds: seconds, Practicable: true}
	if seconds > 0 && p.ClimbSeconds > 0 {
		t.Climbs = int(math.Ceil(seconds/p.ClimbSeconds - 1e-9))
		t.RoadMinutes = float64(t.Climbs) * p.RoadPerClimb
		t.Practicable = t.RoadMinutes <= workingDay
	}
	return t
}

// name picks the one way to prove the repair from what was known before it, so
// that no result can have chosen it.
func (c Case) name(v Verdict) (Way, string) {
	if c.CanMeasure {
		return Measured, "A direct test showed the cause: repeated on the part and on its neighbours it answers in minutes. The drive informs."
	}
	q := Plan{}
	q.ClimbSeconds, q.RoadPerClimb = c.climb(v)
	far := q.target(v.Far.Sum())
	switch {
	case v.Before.Total > 0 && far.Practicable:
		return Road, fmt.Sprintf("No direct test showed the cause, so nothing can be measured again; %.0f s inside the fault conditions can be driven.", v.Far.Sum())
	case v.Before.Total > 0:
		return OldPartBack, "The road would take more than a working day and no direct test showed the cause: put the old part back, see the fault come back, and go again with the new one."
	}
	return Road, "Nothing else is known yet."
}
