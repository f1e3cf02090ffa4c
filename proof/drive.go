package proof

import "fmt"

// Drive is what the drive for permanent codes is judged by.
type Drive struct {
	SinceStart    float64 // s
	FastEnough    float64 // s at or above 40 km/h
	LongestIdling float64 // s of continuous idle
}

// Met reports whether the drive counts (at least 600 s since start, 300 s at 40
// km/h or more, 30 s of continuous idle; 40 CFR 86.010-18 (d)(4)(ii)) and, if
// not, what is missing.
func (d Drive) Met() (bool, string) {
	switch {
	case d.SinceStart < 600:
		return false, fmt.Sprintf("time: %.0f s of 600 s", d.SinceStart)
	case d.FastEnough < 300:
		return false, fmt.Sprintf("25 mph time: %.0f s of 300 s at 40 km/h or more", d.FastEnough)
	case d.LongestIdling < 30:
		return false, fmt.Sprintf("idle: no continuous 30 s idle (longest %.0f s)", d.LongestIdling)
	}
	return true, ""
}

// idleBelow and standing are what counts as idle here: standing still, engine
// running below this speed. The regulation says at most 200 rpm above normal idle
// with the pedal released; the normal idle is not known here (our choice).
const (
	runsFrom  = 420.0  // rpm
	idleBelow = 1100.0 // rpm
	standing  = 1.6    // km/h, 1 mph
	fastFrom  = 40.0   // km/h
)

// GeneralDrive measures a log for the drive of permanent codes. ok is false when
// the log has no road speed.
func GeneralDrive(l Log) (d Drive, ok bool) {
	if len(l.RoadV.T) < 2 || len(l.Speed.T) < 2 {
		return d, false
	}
	road, idling, hole := holding(l.RoadV), 0.0, max(2, 3*l.Every())
	for i := 0; i+1 < len(l.Speed.T); i++ {
		t := l.Speed.T[i]
		dt, v, rpm := l.Speed.T[i+1]-t, road.at(t), l.Speed.V[i]
		if dt > hole || rpm < runsFrom {
			idling = 0
			continue
		}
		d.SinceStart += dt
		if v >= fastFrom {
			d.FastEnough += dt
		}
		if v <= standing && rpm < idleBelow {
			idling += dt
			d.LongestIdling = max(d.LongestIdling, idling)
		} else {
			idling = 0
		}
	}
	return d, true
}
