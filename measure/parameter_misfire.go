package measure

import (
	"math"

	"proveout/evidence"
)

// burstGap joins misfires into one episode: events less than this apart belong
// together (trade.md 3.2: misfires burst, treat bursts as one; the length is our choice).
const burstGap = 10.0 // s

// burstLongest ends an episode however steadily the misfires go on: what holds for
// longer than one pull through the gears is not one event that could be chance, it is
// how the engine runs (our choice).
const burstLongest = 30.0 // s

// misfires reads the counters of each cylinder: events are the rises of the
// counter (a fall is a reset), opportunities the half revolutions of the engine
// over the time the counter was logged, episodes the bursts.
func (l *logView) misfires(res *Result) {
	rpm := l.col(EngineSpeed)
	for _, p := range l.all {
		if p.role.id != Misfires || len(p.V) == 0 {
			continue
		}
		events, episodes := p.V[0], 0
		if p.V[0] > 0 {
			episodes = 1
		}
		last, began := math.Inf(-1), math.Inf(-1)
		for i := 1; i < len(p.V); i++ {
			d := p.V[i] - p.V[i-1]
			if d < 0 {
				d = p.V[i] // reset: what it shows now is new
			}
			if d <= 0 {
				continue
			}
			events += d
			if p.T[i]-last > burstGap || p.T[i]-began > burstLongest {
				episodes++
				began = p.T[i]
			}
			last = p.T[i]
		}
		chances := 0.0
		if rpm != nil {
			for i, v := range l.g.v[p] {
				if !math.IsNaN(v) && rpm[i] > runsAbove {
					chances += rpm[i] / 60 * l.g.step / 2
				}
			}
		}
		var flags []evidence.Flag
		if chances < 50 && events == 0 {
			flags = append(flags, evidence.NoExposure)
		}
		if r := l.emit(res, "misfire.count", p.Subject, "count", events, 0, 1, "", nil, flags, p); r != nil {
			r.Opportunities, r.Episodes = math.Floor(chances), episodes
			r.From.Last = len(p.V) - 1
		}
		if chances >= 50 {
			k := events + 0.5
			l.emit(res, "misfire.rate", p.Subject, "%", 100*events/chances, 100*math.Sqrt(k)/chances, int(chances), "", nil, nil, p)
		}
	}
}
