package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// parameterLog measures a recording of named parameters.
func parameterLog(rec *trace.Recording, meta Meta) (Result, error) {
	series, rest := fromRecording(rec, meta)
	if len(series) == 0 {
		return Result{}, fmt.Errorf("no channel is named like a parameter; map the columns with as: %s, %s and so on", EngineSpeed, ShortTrim)
	}
	res, err := Parameters(series, meta)
	if len(rest) > 0 {
		res.Notes = append(res.Notes, Note{Text: "not used: " + strings.Join(rest, ", "), From: evidence.Source{File: meta.File}})
	}
	if !(rec.Time.RateHz() > 0) {
		res.Notes = append(res.Notes, Note{Text: "no time base; one row was taken as one second. Give sample_rate or a time column", Trouble: true, From: evidence.Source{File: meta.File}})
	}
	return res, err
}

// Parameters measures logged parameters given as time series, from a file or
// from decoded module answers. Each series keeps its own time stamps.
//
// Readings: fuel trims at idle, 2500 rpm, cruise and load for each bank;
// volumetric efficiency; how the oxygen sensors switch, and lambda against what is
// commanded; whether injector pulse width follows the throttle;
// coolant temperature once warmed up; idle speed; lowest and charging voltage;
// misfire counts with their denominators; drop-outs and impossible jumps. What
// the log cannot give is listed with what would give it, as far as the channels
// for it are there.
func Parameters(series []Series, meta Meta) (Result, error) {
	l := &logView{meta: meta}
	res := Result{Kind: ParameterLog}
	var known []string
	for _, s := range series {
		p, err := prepare(s)
		if err != nil {
			res.Notes = append(res.Notes, Note{Text: "not used: " + err.Error(), Trouble: true, From: s.From})
			continue
		}
		for i := 1; i < len(p.T); i++ {
			if p.T[i] < p.T[i-1] {
				return res, fmt.Errorf("parameter %q runs backwards in time at sample %d (%.3f s after %.3f s); sort the log or split it", s.Name, i, p.T[i], p.T[i-1])
			}
		}
		for _, q := range l.all {
			if q.role.id == p.role.id && q.Subject == p.Subject {
				res.Notes = append(res.Notes, Note{Text: fmt.Sprintf("%s and %s are both %s of %s: %s is used; map the other as ignore, or say where it belongs", strings.TrimSpace(q.Name), strings.TrimSpace(p.Name), p.role.id, p.Subject, strings.TrimSpace(q.Name)), Trouble: true, From: p.From})
				break
			}
		}
		l.all = append(l.all, p)
		known = append(known, strings.TrimSpace(p.Name)+" = "+p.role.id)
	}
	if len(l.all) == 0 {
		return res, fmt.Errorf("no parameter could be used")
	}
	l.dropStuck(&res)
	settleRates(l.all)
	l.g = newGrid(l.all)
	l.settleFuel()
	l.windows()
	res.Notes = append(res.Notes, Note{Text: "taken as: " + strings.Join(known, ", "), From: evidence.Source{File: meta.File}})
	l.fuelNotes(&res)
	l.quality(&res)
	l.trims(&res)
	l.air(&res)
	l.oxygen(&res)
	l.lambda(&res)
	l.follow(&res)
	l.warmth(&res)
	l.voltage(&res)
	l.idleSpeed(&res)
	l.misfires(&res)
	return res, nil
}

// dropStuck takes out what does not move at all while the engine does: a sensor
// that hangs, or a column the logger filled up. No number may rest on it.
func (l *logView) dropStuck(res *Result) {
	moves := func(p *parameter) bool {
		lo, hi := leastGreatest(p.V)
		return hi-lo > 0.3*math.Max(math.Abs(hi), math.Abs(lo))
	}
	mover := slices.IndexFunc(l.all, func(p *parameter) bool {
		return slices.Contains([]string{EngineLoad, Airflow, ManifoldPress, EngineSpeed, Throttle}, p.role.id) && len(p.V) > 20 && moves(p)
	})
	if mover < 0 {
		return
	}
	by := l.all[mover]
	l.all = slices.DeleteFunc(l.all, func(p *parameter) bool {
		watched := slices.Contains([]string{EngineSpeed, Airflow, ManifoldPress}, p.role.id) || p.role.id == PulseWidth && by.role.id != Throttle
		if !watched || len(p.V) < 20 {
			return false
		}
		lo, hi := leastGreatest(p.V)
		if hi > lo {
			return false
		}
		l.note(res, evidence.Stale, true, p, "%s: does not move while %s does: the signal hangs, or the logger filled it in; it is not used", strings.TrimSpace(p.Name), strings.TrimSpace(by.Name))
		return true
	})
}

// emit appends a reading of the log. ps are the parameters it rests on: one that
// jumps blocks it.
func (l *logView) emit(res *Result, feature string, s evidence.Subject, u string, si, sd float64, n int, state evidence.State, rows []int, flags []evidence.Flag, ps ...*parameter) *evidence.Reading {
	un := unit.Must(u)
	q, err := unit.New(un.FromSI(si), un)
	if err != nil {
		return nil
	}
	c := l.meta.Condition
	if state != "" {
		c.State = state
	}
	if rpm := l.col(EngineSpeed); rpm != nil && len(rows) > 0 && state != "" {
		var x []float64
		for _, i := range rows {
			if !math.IsNaN(rpm[i]) {
				x = append(x, rpm[i])
			}
		}
		if len(x) > 0 {
			c.SpeedRPM = math.Round(stats.Median(x))
		}
	}
	from := evidence.Source{File: l.meta.File}
	var names []string
	for _, p := range ps {
		if p == nil {
			continue
		}
		names = append(names, strings.TrimSpace(p.Name))
		if p.jumps > 0 {
			flags = append(flags, evidence.Jump)
		}
		if float64(p.outside) > 0.01*float64(len(p.V)) {
			flags = append(flags, evidence.ScaleUnsure)
		}
	}
	from.Channel = strings.Join(names, " + ")
	if len(rows) > 0 && len(ps) > 0 && ps[0] != nil {
		from.First, from.Last = l.sample(ps[0], rows[0]), l.sample(ps[0], rows[len(rows)-1])
	}
	res.Readings = append(res.Readings, evidence.Reading{
		Item: l.meta.Item, Feature: feature, Subject: s, Value: q, Uncertainty: sd, N: n, Instrument: l.meta.Probe,
		Condition: c, When: l.meta.When, Flags: uniqueFlags(flags), From: from,
	})
	return &res.Readings[len(res.Readings)-1]
}

// sample is the index into the series at a grid step.
func (l *logView) sample(p *parameter, step int) int {
	t := float64(step) * l.g.step
	lo, hi := 0, len(p.T)
	for lo < hi {
		if m := (lo + hi) / 2; p.T[m] <= t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return max(0, lo-1)
}

func (l *logView) refuse(res *Result, feature string, s evidence.Subject, flag evidence.Flag, why, fix string) {
	res.NotMeasured = append(res.NotMeasured, NotMeasured{Feature: feature, Subject: s, Why: why, Fix: fix, Flag: flag, Item: l.meta.Item, When: l.meta.When, From: evidence.Source{File: l.meta.File}})
}

func (l *logView) note(res *Result, flag evidence.Flag, trouble bool, p *parameter, format string, args ...any) {
	n := Note{Text: fmt.Sprintf(format, args...), Flag: flag, Trouble: trouble, From: evidence.Source{File: l.meta.File}}
	if p != nil {
		n.From.Channel = p.Name
	}
	res.Notes = append(res.Notes, n)
}

func (l *logView) fuelNotes(res *Result) {
	switch {
	case l.fuel == "" && l.diesel:
		l.note(res, evidence.FuelUnknown, true, nil, "the engine idles with an open throttle at atmospheric intake pressure, like a diesel; the job does not say the fuel, so petrol rules are not used")
	case l.fuel == "":
		l.note(res, evidence.FuelUnknown, true, nil, "the job does not say the fuel; trims, volumetric efficiency and injector pulse width are judged for petrol only, and are left out")
	case l.fuel != "diesel" && l.diesel:
		l.note(res, evidence.FuelUnknown, true, nil, "the job says %s, but the log idles with an open throttle at atmospheric intake pressure, like a diesel: check whose log this is. Petrol rules are not used", l.fuel)
	}
}

// settled is the median of a window with its standard uncertainty: neighbouring
// values of a log are not independent, so the scatter of the means of 10 s
// stretches counts, with the recorder's step below it.
func (l *logView) settled(x []float64, floor float64) (median, sd float64, n int) {
	median = stats.Median(x)
	per := max(1, int(math.Round(10/l.g.step)))
	var means []float64
	for i := 0; i+per/2 < len(x); i += per {
		part := x[i:min(i+per, len(x))]
		m := 0.0
		for _, v := range part {
			m += v / float64(len(part))
		}
		means = append(means, m)
	}
	sd = math.Hypot(floor, spreadOf(x)) // one stretch: its own scatter must do
	if len(means) >= 2 {
		sd = math.Hypot(floor, spreadOf(means)/math.Sqrt(float64(len(means)))*smallN(float64(len(means))))
	}
	return median, sd, len(means)
}

// Logged is one parameter of a log as the measuring sees it: recognised, in SI,
// with its own times and the time between true updates.
type Logged struct {
	Series
	Every   float64 // s
	Blocked bool    // jumps or values that cannot be: it is not used to judge anything
}

// LogSeries gives the parameters of a recording by role, the first of each role
// and subject. It is for those who need the course of a log, not its readings.
func LogSeries(rec *trace.Recording, meta Meta) []Logged {
	series, _ := fromRecording(rec, meta)
	var ps []*parameter
	for _, s := range series {
		p, err := prepare(s)
		if err != nil || slices.ContainsFunc(ps, func(q *parameter) bool { return q.role.id == p.role.id && q.Subject == p.Subject }) {
			continue
		}
		ps = append(ps, p)
	}
	settleRates(ps)
	out := make([]Logged, 0, len(ps))
	for _, p := range ps {
		p.Series.Role = p.role.id
		out = append(out, Logged{p.Series, p.interval, p.blocked})
	}
	return out
}
