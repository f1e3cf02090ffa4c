package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
)

// Switching of a zirconia oxygen sensor. Its voltage steps about lambda 1: some
// 0.1 V lean, 0.9 V rich, 0.45 V between (from memory; textbooks agree). The bars
// about the middle keep noise from counting as a switch: our choice.
const (
	stoichVolts  = 0.45
	richBar      = 0.55
	leanBar      = 0.35
	mostZirconia = 1.3  // V: a median above is no such sensor
	oxygenNeeds  = 15.0 // s of a window
	perPeriod    = 4.0  // updates in a period below which switches are lost
	slowestLog   = 0.30 // s between updates from which the period of a healthy sensor cannot be had
	oxygenSpan   = 10.0 // s: the stretch that switches are counted over
)

// oxygenWindows are where the sensor is hot and the mixture is controlled, best first.
var oxygenWindows = []evidence.State{evidence.Raised, evidence.Cruise, evidence.Idle}

// oxygen reads how the sensor before the catalyst switches, in the first window that
// the log holds long enough:
//
//	oxygen.switches    crossings of 0.45 V in ten seconds, with bars at 0.35 and 0.55 V
//	oxygen.period      median time from one switch to rich to the next, s
//	oxygen.amplitude   95th less 5th percentile of ten seconds, V; the median of those
//	oxygen.rich_share  share of the time above 0.45 V, %
//
// A log that updates less than four times in a period loses switches: amplitude and
// share then stand, switches and period are refused.
func (l *logView) oxygen(res *Result) {
	if !l.petrol() {
		return // a diesel's sensor does not switch
	}
	for _, p := range l.all {
		if p.role.id != Oxygen || len(p.V) == 0 {
			continue
		}
		name := p.Name
		if m := stats.Median(p.V); m > mostZirconia {
			l.refuse(res, "oxygen.switches", p.Subject, evidence.WrongChannel, fmt.Sprintf("%s stands at %.2f V: a switching sensor gives 0.1 to 0.9 V", name, m), "log lambda where the sensor is a wide-range one")
			continue
		}
		found := false
		for _, s := range oxygenWindows {
			if st := l.stretches(p, s); duration(st) >= oxygenNeeds {
				l.switching(res, p, s, st)
				found = true
				break
			}
		}
		if !found {
			l.refuse(res, "oxygen.switches", p.Subject, evidence.TooFewEvents, fmt.Sprintf("the log holds no %.0f s of a warm engine at one steady speed", oxygenNeeds), "hold 2500 rpm for half a minute, warm")
		}
	}
}

// stretch is the updates of a parameter in one unbroken piece of a window.
type stretch struct{ t, v []float64 }

// stretches are the pieces of a window, in the parameter's own updates.
func (l *logView) stretches(p *parameter, s evidence.State) []stretch {
	in := make([]bool, l.g.n)
	for _, i := range l.steps(s) {
		in[i] = true
	}
	var out []stretch
	open := false
	for i, t := range p.T {
		k := int(t / l.g.step)
		inside := k < len(in) && in[k] && (i == 0 || t-p.T[i-1] <= math.Max(2, 3*p.interval))
		if inside && p.held && i > 0 && p.V[i] == p.V[i-1] && t-p.T[i-1] < p.interval {
			continue // the file repeats the last value
		}
		if !inside {
			open = false
			if k >= len(in) || !in[k] {
				continue
			}
		}
		if !open {
			out = append(out, stretch{})
			open = true
		}
		c := &out[len(out)-1]
		c.t, c.v = append(c.t, t), append(c.v, p.V[i])
	}
	return out
}

func duration(st []stretch) float64 {
	sum := 0.0
	for _, s := range st {
		if n := len(s.t); n > 1 {
			sum += s.t[n-1] - s.t[0]
		}
	}
	return sum
}

// switching emits the four features of one sensor.
func (l *logView) switching(res *Result, p *parameter, s evidence.State, st []stretch) {
	var rises, amplitudes, shares []float64
	switches, updates := 0, 0
	rich, total := 0.0, 0.0
	for _, c := range st {
		updates += len(c.t)
		side, last := 0, math.NaN()
		for i, v := range c.v {
			if i > 0 {
				dt := c.t[i] - c.t[i-1]
				total += dt
				if c.v[i-1] > stoichVolts {
					rich += dt
				}
			}
			switch {
			case v > richBar && side <= 0:
				if side < 0 {
					switches++
					at := crossedAt(c, i)
					if !math.IsNaN(last) {
						rises = append(rises, at-last)
					}
					last = at
				}
				side = 1
			case v < leanBar && side >= 0:
				if side > 0 {
					switches++
				}
				side = -1
			}
		}
		for from := 0; from < len(c.t); {
			to := from
			for to < len(c.t) && c.t[to]-c.t[from] < oxygenSpan {
				to++
			}
			if part := c.v[from:to]; len(part) >= 8 && c.t[to-1]-c.t[from] > oxygenSpan/2 {
				amplitudes = append(amplitudes, stats.Quantile(part, 0.95)-stats.Quantile(part, 0.05))
				n := 0.0
				for _, v := range part {
					if v > stoichVolts {
						n++
					}
				}
				shares = append(shares, 100*n/float64(len(part)))
			}
			from = to
		}
	}
	rows := l.steps(s)
	sub := p.Subject
	if len(amplitudes) > 0 {
		m, _, se := middle(amplitudes)
		if len(amplitudes) == 1 {
			se = 0.1 * m
		}
		l.emit(res, "oxygen.amplitude", sub, "V", m, math.Hypot(se, 0.02), len(amplitudes), s, rows, nil, p)
		// The share of a sawtooth of k periods is uncertain by about a part of one.
		sd := math.Hypot(spreadOf(shares)/math.Sqrt(float64(len(shares)))*smallN(float64(len(shares))), 100/math.Sqrt(float64(updates)))
		l.emit(res, "oxygen.rich_share", sub, "%", 100*rich/total, sd, updates, s, rows, nil, p)
	}
	period := stats.Median(rises)
	if p.interval > slowestLog || len(rises) >= 3 && period < perPeriod*p.interval {
		for _, f := range []string{"oxygen.switches", "oxygen.period"} {
			l.refuse(res, f, sub, evidence.TooSlow, fmt.Sprintf("%s is updated every %.2g s: switches between two updates are not seen", p.Name, p.interval), "log the oxygen sensor alone, or take it with a scope")
		}
		return
	}
	n := float64(switches)
	l.emit(res, "oxygen.switches", sub, "count", oxygenSpan*n/total, oxygenSpan*math.Sqrt(n+0.25)/total, switches, s, rows, nil, p)
	if len(rises) < 3 {
		l.refuse(res, "oxygen.period", sub, evidence.TooFewEvents, fmt.Sprintf("it switched to rich %d times in %.0f s", len(rises), total), "hold 2500 rpm for a minute, warm; if it still does not switch, that is the finding")
		return
	}
	m, _, se := middle(rises)
	l.emit(res, "oxygen.period", sub, "s", m, math.Hypot(se, p.interval/math.Sqrt(6*float64(len(rises)))), len(rises), s, rows, nil, p)
}

// crossedAt is when the voltage last rose through the middle, at or before update i.
func crossedAt(c stretch, i int) float64 {
	for k := i; k > 0; k-- {
		if a, b := c.v[k-1], c.v[k]; a < stoichVolts && b >= stoichVolts {
			return c.t[k-1] + (stoichVolts-a)/(b-a)*(c.t[k]-c.t[k-1])
		}
	}
	return c.t[i]
}

// lambdaWindows are the windows lambda is held against what is commanded in.
var lambdaWindows = []struct {
	state   evidence.State
	feature string
	fix     string
	needs   float64
}{
	{evidence.Idle, "lambda.deviation_idle", "log half a minute of warm idle", windowNeeds},
	{evidence.Raised, "lambda.deviation_raised", "hold 2500 rpm for half a minute, standing", windowNeeds},
	{evidence.Cruise, "lambda.deviation_cruise", "log a minute at a steady speed above 30 km/h", windowNeeds},
	{evidence.Load, "lambda.deviation_load", "log pulls of some seconds at wide throttle", 3},
}

// lambda reads measured lambda over the commanded one, less one, in percent: the
// median over each window. Without the commanded value it is held against 1, which is
// right where the mixture is controlled; under load it may be rich on purpose, and
// nothing is said. Uncertainty: 1 % for the sensor (our choice) and the scatter of ten
// second stretches.
func (l *logView) lambda(res *Result) {
	if !l.petrol() {
		return
	}
	for _, p := range l.all {
		if p.role.id != Lambda || len(p.V) == 0 {
			continue
		}
		target := l.get(LambdaTarget)
		want := l.col(LambdaTarget)
		for _, w := range lambdaWindows {
			if w.state == evidence.Load && target == nil {
				if len(l.steps(w.state)) > 0 {
					l.refuse(res, w.feature, p.Subject, "", "under load the mixture may be rich on purpose, and what was commanded was not logged", "log the commanded lambda beside it")
				}
				continue
			}
			var x []float64
			var rows []int
			for _, i := range l.steps(w.state) {
				aim := 1.0
				if target != nil {
					aim = want[i]
				}
				if v := 100 * (l.g.v[p][i]/aim - 1); !math.IsNaN(v) && !math.IsInf(v, 0) {
					x = append(x, v)
					rows = append(rows, i)
				}
			}
			if l.seconds(len(x)) < w.needs || len(x) < 3 {
				l.refuse(res, w.feature, p.Subject, evidence.TooFewEvents, fmt.Sprintf("the log holds only %.0f s of it, warm", l.seconds(len(x))), w.fix)
				continue
			}
			m, sd, n := l.settled(x, 0.1)
			l.emit(res, w.feature, p.Subject, "%", m, math.Hypot(sd, 1), n, w.state, rows, nil, p, target)
		}
	}
}
