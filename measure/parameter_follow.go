package measure

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"gonum.org/v1/gonum/stat"

	"proveout/evidence"
	"proveout/stats"
)

// follow measures whether the injector pulse width follows the throttle: "does
// the controller command fuel?". The pulse width is held against throttle (or
// load) at lags from 0 to 2 s; the reading is the greatest rank correlation, the
// delay its lag. Ranks, because pulse width rises with throttle but not along a
// line. Overrun, where fuel is cut on purpose, is left out.
//
// Standard uncertainty of a rank correlation r over m independent stretches:
// (1-r^2)/sqrt(m-1), m counted in seconds of log (our choice: a second is about
// how long a foot movement lasts).
func (l *logView) follow(res *Result) {
	pw := l.get(PulseWidth)
	if pw == nil || !l.petrol() {
		return
	}
	const feature = "injector.follows_throttle"
	lead := l.get(Throttle)
	if lead == nil {
		lead = l.get(Pedal)
	}
	if lead == nil {
		l.refuse(res, feature, evidence.WholeEngine, "", "no throttle or pedal position was logged beside the pulse width", "log both together")
		return
	}
	a, b := l.g.v[lead], l.g.v[pw]
	moves := 0.0
	var rows []int
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range a {
		if l.state[i] == evidence.Overrun || l.state[i] == evidence.Off || l.state[i] == evidence.Cranking || math.IsNaN(a[i]) || math.IsNaN(b[i]) {
			continue
		}
		rows = append(rows, i)
		lo, hi = math.Min(lo, a[i]), math.Max(hi, a[i])
	}
	moves = hi - lo
	if l.seconds(len(rows)) < 15 || len(rows) < 10 || moves < 5 {
		l.refuse(res, feature, evidence.WholeEngine, evidence.TooFewEvents, fmt.Sprintf("the throttle moves only %.1f points in %.0f s of log", math.Max(0, moves), l.seconds(len(rows))), "log half a minute with the throttle opened and closed several times")
		return
	}
	if most := stats.Quantile(pw.V, 0.95); most > 0 && most < shortestOn {
		l.refuse(res, feature, evidence.WholeEngine, evidence.ScaleUnsure, fmt.Sprintf("pulse widths of %.2g ms at most open no injector", 1e3*most), "check the unit of the column")
		return
	}
	best, lag := math.Inf(-1), 0
	var along []float64 // by lag
	for k := 0; k <= int(2/l.g.step); k++ {
		var x, y []float64
		for _, i := range rows {
			if i+k < len(b) && !math.IsNaN(b[i+k]) && l.state[i+k] != evidence.Overrun {
				x = append(x, a[i])
				y = append(y, b[i+k])
			}
		}
		along = append(along, rankCorrelation(x, y))
		if along[k] > best {
			best, lag = along[k], k
		}
	}
	near := 0.0 // farthest lag that goes along as well, to half a percent
	for k, r := range along {
		if r > best-0.005 {
			near = math.Max(near, math.Abs(float64(k-lag)))
		}
	}
	if best < goesAlong && pw.leapsAbout() && spreadOf(pw.V) > 0.1*math.Abs(stats.Median(pw.V)) {
		l.refuse(res, feature, evidence.WholeEngine, evidence.WrongChannel, strings.TrimSpace(pw.Name)+" leaps from sample to sample, as no pulse width does", "check what the column holds")
		return
	}
	if best < goesAlong {
		for _, id := range []string{EngineLoad, Airflow, ManifoldPress} {
			if w := l.get(id); w != nil && l.alike(lead, w, rows) < goesAlong {
				l.refuse(res, feature, evidence.WholeEngine, evidence.WrongChannel, fmt.Sprintf("%s goes along neither with the pulse width nor with %s: it does not look like a throttle", strings.TrimSpace(lead.Name), strings.TrimSpace(w.Name)), "check which column is the throttle")
				return
			}
		}
	}
	if best < goesAlong {
		lag = 0 // of a lag at which nothing goes along nothing can be said
	}
	m := math.Max(4, l.seconds(len(rows)))
	sd := math.Max(0.02, (1-best*best)/math.Sqrt(m-1))
	l.emit(res, feature, evidence.WholeEngine, "x", best, sd, len(rows), "", rows, nil, pw, lead)
	if best > 0.5 {
		l.emit(res, "injector.follow_delay", evidence.WholeEngine, "s", float64(lag)*l.g.step, math.Hypot(math.Max(l.g.step, math.Max(pw.interval, lead.interval))/2, near*l.g.step/2), len(rows), "", rows, nil, pw, lead)
	}
	// A gain of nothing is a figure too: the controller does not command fuel.
	gain, sg := followGain(a, b, rows, lag, m)
	l.emit(res, "injector.follow_gain", evidence.WholeEngine, "s", 10*gain, 10*sg, len(rows), "", rows, nil, pw, lead)
	if best > 0.5 {
		if rising, sr, n := monotonic(a, b, rows, lag); n > 0 {
			l.emit(res, "injector.follow_monotonic", evidence.WholeEngine, "%", 100*rising, 100*sr, n, "", rows, nil, pw, lead)
		}
	}
	delay := "so no delay can be told"
	if best >= goesAlong {
		delay = fmt.Sprintf("delay %.1f s", float64(lag)*l.g.step)
	}
	per := 1e3 * gain
	if math.Abs(per) < 0.005 {
		per = 0 // not "-0.00"
	}
	l.note(res, "", best < goesAlong, pw, "pulse width against throttle: rank correlation %.2f (1 is: more throttle is always more fuel), %.2f ms for a point of throttle, %s", best, per, delay)
}

// goesAlong is the rank correlation from which two parameters go along with each
// other (our choice).
const goesAlong = 0.3

// alike is the rank correlation of two parameters over grid steps.
func (l *logView) alike(p, q *parameter, rows []int) float64 {
	var x, y []float64
	for _, i := range rows {
		if a, b := l.g.v[p][i], l.g.v[q][i]; !math.IsNaN(a) && !math.IsNaN(b) {
			x, y = append(x, a), append(y, b)
		}
	}
	return rankCorrelation(x, y)
}

// rankCorrelation is Spearman's: the correlation of ranks, ties at their mean.
// NaN-free input; 0 when one side does not move.
func rankCorrelation(x, y []float64) float64 {
	if len(x) < 3 {
		return 0
	}
	rx, ry := ranks(x), ranks(y)
	m := float64(len(x)-1) / 2
	sxy, sxx, syy := 0.0, 0.0, 0.0
	for i := range rx {
		a, b := rx[i]-m, ry[i]-m
		sxy += a * b
		sxx += a * a
		syy += b * b
	}
	if sxx == 0 || syy == 0 {
		return 0
	}
	return sxy / math.Sqrt(sxx*syy)
}

func ranks(x []float64) []float64 {
	idx := make([]int, len(x))
	for i := range idx {
		idx[i] = i
	}
	sort.SliceStable(idx, func(a, b int) bool { return x[idx[a]] < x[idx[b]] })
	out := make([]float64, len(x))
	for i := 0; i < len(idx); {
		j := i
		for j < len(idx) && x[idx[j]] == x[idx[i]] {
			j++
		}
		for k := i; k < j; k++ {
			out[idx[k]] = float64(i+j-1) / 2
		}
		i = j
	}
	return out
}

// throttleSteps are the parts of equal time that the throttle's range is cut into, to
// see whether more throttle is always more fuel. Our choice.
const throttleSteps = 8

// risesBy is the change of pulse width that counts as none: what a recorder's step and
// a breath of load leave. Our choice.
const risesBy = 0.01

// monotonic is the share of steps of the throttle at which the pulse width, lag steps
// later, does not fall: 1 when more throttle is always more fuel. Its standard error is that of a share
// of so few steps.
func monotonic(a, b []float64, rows []int, lag int) (share, se float64, n int) {
	type pair struct{ throttle, width float64 }
	var all []pair
	for _, i := range rows {
		if i+lag < len(b) && !math.IsNaN(b[i+lag]) {
			all = append(all, pair{a[i], b[i+lag]})
		}
	}
	if len(all) < 10*throttleSteps {
		return 0, 0, 0
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].throttle < all[j].throttle })
	var level, width []float64
	for k := range throttleSteps {
		var x, y []float64
		for _, p := range all[k*len(all)/throttleSteps : (k+1)*len(all)/throttleSteps] {
			x, y = append(x, p.throttle), append(y, p.width)
		}
		level, width = append(level, stats.Median(x)), append(width, stats.Median(y))
	}
	up := 0
	for k := 1; k < throttleSteps; k++ {
		if level[k] <= level[k-1] { // the throttle rests here: no step
			continue
		}
		n++
		if width[k] > (1-risesBy)*width[k-1] {
			up++
		}
	}
	if n == 0 {
		return 0, 0, 0
	}
	p := (float64(up) + 0.5) / (float64(n) + 1)
	return float64(up) / float64(n), math.Sqrt(p * (1 - p) / float64(n)), n
}

// followGain is the least-squares slope of the pulse width, lag steps later, over the
// throttle, with its standard error for m independent values: s for a point of throttle.
func followGain(a, b []float64, rows []int, lag int, m float64) (gain, se float64) {
	var x, y []float64
	for _, i := range rows {
		if i+lag < len(b) && !math.IsNaN(b[i+lag]) {
			x, y = append(x, a[i]), append(y, b[i+lag])
		}
	}
	if len(x) < 3 {
		return 0, 0
	}
	c, slope := stat.LinearRegression(x, y, nil, false)
	left := 0.0
	for i := range x {
		d := y[i] - c - slope*x[i]
		left += d * d / float64(len(x))
	}
	return slope, math.Sqrt(left / math.Max(1, m-2) / stat.PopVariance(x, nil))
}
