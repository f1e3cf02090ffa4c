package measure

import (
	"fmt"
	"math"
	"strings"

	"proveout/evidence"
	"proveout/stats"
	"proveout/unit"
)

// Limits of what a log can hold of a running engine (our choice).
const (
	coldestRunning = 20.0 // degC: after minutes of running; a thermostat that hangs open leaves 50 or more (from memory)
	moduleVolts    = 6.0  // V: modules drop out below, trade.md 5.3: 7.5-8.5 V
)

// warmth reads the coolant temperature once it has settled: it has been within 6
// degrees of its highest for two minutes, or it stands still lower than that (a
// thermostat stuck open). Until then the engine is still warming up.
func (l *logView) warmth(res *Result) {
	p := l.get(Coolant)
	rpm := l.col(EngineSpeed)
	if p == nil {
		return
	}
	c := l.g.v[p]
	var x []float64
	var rows []int
	for i := range c {
		if !math.IsNaN(c[i]) && (rpm == nil || rpm[i] > runsAbove) {
			x = append(x, c[i])
			rows = append(rows, i)
		}
	}
	const feature = "coolant.running"
	if l.seconds(len(x)) < 60 {
		l.refuse(res, feature, evidence.WholeEngine, evidence.TooFewEvents, "less than a minute of running was logged", "log ten minutes from a warm start")
		return
	}
	hot := stats.Quantile(x, 0.9)
	from := 0
	for from < len(x) && x[from] < hot-6 {
		from++
	}
	tail := min(len(x), int(180/l.g.step))
	last := x[len(x)-tail:]
	third := max(1, tail/3)
	rise := stats.Median(last[len(last)-third:]) - stats.Median(last[:third])
	if l.seconds(len(x)-from) < 120 || rise > 2 && l.seconds(len(x)-from) < 300 {
		l.refuse(res, feature, evidence.WholeEngine, "", fmt.Sprintf("the engine is still warming up: %.0f degC after %.0f min, %+.1f degC over the last %.0f min", x[len(x)-1], l.seconds(len(x))/60, rise, l.seconds(tail)/60), "log on until the temperature stands still")
		return
	}
	m, sd, n := l.settled(x[from:], 0.5)
	var flags []evidence.Flag
	if u := p.Unit; u.FromSI(m) < coldestRunning && p.Unit.Dim == unit.Temperature {
		flags = append(flags, evidence.ScaleUnsure)
		l.note(res, evidence.ScaleUnsure, true, p, "%s: stands at %s while the engine runs: no engine stays that cold; sensor, its plug, or the unit of the column", strings.TrimSpace(p.Name), p.shown(m))
	}
	l.emit(res, feature, evidence.WholeEngine, "degC", m, math.Hypot(sd, 0.5), n, "", rows[from:], flags, p)
	if x[0] < m-15 {
		for i, v := range x {
			if v >= 70 {
				l.note(res, "", false, p, "warm-up from %.0f to 70 degC in %.0f min of running", x[0], l.seconds(i)/60)
				break
			}
		}
	}
}

// voltage reads the lowest voltage seen and the voltage while running. A dip
// shorter than the update interval is not seen: the note says so, and the value
// is an upper bound of the true minimum.
func (l *logView) voltage(res *Result) {
	p := l.get(Supply)
	if p == nil {
		return
	}
	low, at, n := math.Inf(1), 0, 0
	for i, v := range p.V {
		if v > 1 { // 0 is a drop-out of the log, counted elsewhere
			n++
			if v < low {
				low, at = v, i
			}
		}
	}
	if n == 0 {
		return
	}
	var flags []evidence.Flag
	if low < moduleVolts {
		flags = append(flags, evidence.ScaleUnsure)
		l.note(res, evidence.ScaleUnsure, true, p, "%s: %.1f V is less than a module needs to answer: is this the supply, and is its unit right?", strings.TrimSpace(p.Name), low)
	}
	r := l.emit(res, "log.voltage_lowest", evidence.WholeEngine, "V", low, 0.05, n, "", nil, flags, p)
	if r != nil {
		r.From.First, r.From.Last = at, at
	}
	rpm := l.col(EngineSpeed)
	when := ""
	if rpm != nil {
		if v := rpm[min(len(rpm)-1, int(p.T[at]/l.g.step))]; v < runsAbove {
			when = ", engine not running or cranking"
		}
	}
	l.note(res, "", false, p, "lowest voltage seen %.1f V at %.0f s%s, one value each %.1f s: a shorter dip was not seen", low, p.T[at], when, p.interval)
	if rpm == nil {
		return
	}
	var x []float64
	var rows []int
	c := l.g.v[p]
	for i := range c {
		if rpm[i] > 600 && c[i] > 1 {
			x = append(x, c[i])
			rows = append(rows, i)
		}
	}
	if l.seconds(len(x)) >= 30 {
		m, sd, k := l.settled(x, 0.03)
		l.emit(res, "charging.voltage", evidence.WholeEngine, "V", m, math.Hypot(sd, 0.05), k, "", rows, nil, p)
	}
}

// idleSpeed reads the warm idle speed.
func (l *logView) idleSpeed(res *Result) {
	p := l.get(EngineSpeed)
	if p == nil {
		return
	}
	var x []float64
	rows := l.steps(evidence.Idle)
	for _, i := range rows {
		x = append(x, l.g.v[p][i])
	}
	if l.seconds(len(x)) < windowNeeds {
		return
	}
	m, sd, n := l.settled(x, 5)
	l.emit(res, "log.idle_speed", evidence.WholeEngine, "rpm", m, sd, n, evidence.Idle, rows, nil, p)
}
