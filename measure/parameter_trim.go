package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
)

// trimWindows are the windows a trim is read in (trade.md 2.7).
var trimWindows = []struct {
	state   evidence.State
	feature string
	fix     string
}{
	{evidence.Idle, "trim.idle", "log half a minute of warm idle"},
	{evidence.Raised, "trim.raised", "hold 2500 rpm for half a minute, standing"},
	{evidence.Cruise, "trim.cruise", "log a minute at a steady speed above 30 km/h"},
	{evidence.Load, "trim.load", "log pulls of some seconds at wide throttle"},
}

// trims reads the total fuel trim, short plus long, of each bank in each window.
// + is fuel added. A step of a trim byte is 100/128 %: that is the floor of its
// uncertainty (SAE J1979, standards.md 1.4).
func (l *logView) trims(res *Result) {
	for bank := 1; bank <= 2; bank++ {
		var short, long *parameter
		for _, p := range l.all {
			if p.Subject == evidence.BankNo(bank) && len(p.V) > 0 {
				switch p.role.id {
				case ShortTrim:
					short = p
				case LongTrim:
					long = p
				}
			}
		}
		if short == nil && long == nil {
			continue
		}
		if !l.petrol() {
			continue // said once in fuelNotes
		}
		if short == nil || long == nil {
			l.refuse(res, "trim.idle", evidence.BankNo(bank), "", "only one of short and long trim was logged", "log both: a trim is their sum")
			continue
		}
		for _, w := range trimWindows {
			var x []float64
			var rows []int
			for _, i := range l.steps(w.state) {
				v := l.g.v[short][i] + l.g.v[long][i]
				if !math.IsNaN(v) {
					x = append(x, v)
					rows = append(rows, i)
				}
			}
			needs := windowNeeds
			if w.state == evidence.Load {
				needs = 5
			}
			if l.seconds(len(x)) < needs || len(x) < 5 {
				l.refuse(res, w.feature, evidence.BankNo(bank), evidence.TooFewEvents, fmt.Sprintf("the log holds only %.0f s of it, warm", l.seconds(len(x))), w.fix)
				continue
			}
			m, sd, n := l.settled(x, 100.0/128/math.Sqrt(12))
			l.emit(res, w.feature, evidence.BankNo(bank), "%", m, math.Hypot(sd, 0.5), n, w.state, rows, nil, short, long)
		}
	}
}
