package measure

import (
	"fmt"
	"math"
	"strings"

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
		if why := noTrim(short, long); why != "" {
			l.refuse(res, "trim.idle", evidence.BankNo(bank), evidence.ScaleUnsure, why, "check what the column holds and its unit; if the trims were cleared, drive until they are learned again")
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

// trimStep is the step of a trim byte, in percent (SAE J1979, standards.md 1.4).
const trimStep = 100.0 / 128

// noTrim says why a pair of columns cannot be short and long trim; empty when they can.
func noTrim(short, long *parameter) string {
	for _, p := range []*parameter{short, long} {
		name := strings.TrimSpace(p.Name)
		lo, hi := leastGreatest(p.V)
		most := math.Max(math.Abs(lo), math.Abs(hi))
		switch {
		case most == 0 && len(p.V) > 20:
			return name + " stands at 0 from beginning to end: the control was never closed, it was cleared just before, or the logger filled the column in"
		case most < 0.1*trimStep && len(p.V) > 20: // a tenth: some modules send finer steps
			return fmt.Sprintf("%s never leaves %.2g %%, less than a tenth of the step a trim has (0.78 %%): the scale is wrong", name, most)
		}
	}
	// Long trim is learned over seconds.
	if long.leapsAbout() && spreadOf(long.V) > trimStep/2 {
		return strings.TrimSpace(long.Name) + " leaps from sample to sample, as no long trim does"
	}
	return ""
}

// leapsAbout reports that each sample is new: the steps from one to the next are larger
// than the spread of all (by sqrt 2 for noise; our choice 1.2), as in no quantity that
// is learned, moved or pumped.
func (p *parameter) leapsAbout() bool {
	var steps []float64
	for i := 1; i < len(p.V); i++ {
		steps = append(steps, p.V[i]-p.V[i-1])
	}
	return len(steps) > 100 && spreadOf(steps) > 1.2*spreadOf(p.V)
}
