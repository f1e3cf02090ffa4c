package measure

import (
	"fmt"
	"math"
	"strings"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// Series is one logged parameter with its own time stamps: from a column of a
// recording, or from decoded module answers.
type Series struct {
	Name    string
	Role    string // one of the role constants; empty: found out from the name
	Subject evidence.Subject
	Unit    unit.Unit // unit of the file; values are SI of its dimension
	T       []float64 // s, not decreasing; series of one file may share it
	V       []float64
	From    evidence.Source
}

// parameter is a series with role, true update interval and troubles found.
type parameter struct {
	Series
	role     role
	interval float64 // s between true updates
	held     bool    // the file repeats the last value between updates
	jumps    int
	outside  int
	drops    int
	blocked  bool
}

// fromRecording makes series of the channels that have a role. names of the rest
// are returned so that they can be shown.
func fromRecording(rec *trace.Recording, meta Meta) (out []Series, rest []string) {
	n := rec.Time.N
	t := make([]float64, 0, n)
	timed := rec.Time.RateHz() > 0
	for i := range n {
		if timed {
			t = append(t, float64(rec.Time.At(i)-rec.Time.At(0))*1e-9)
		} else {
			t = append(t, float64(i))
		}
	}
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		s := Series{Name: ch.Name, Unit: ch.Unit, From: evidence.Source{File: meta.File, Channel: ch.Name}}
		c, _ := meta.column(ch.Name)
		r, subject, known := recogniseName(ch.Name, ch.Unit)
		if c.As != "" {
			if r, known = logRole(c.As); known {
				subject = r.subjectIn(foldName(ch.Name))
			}
		}
		if !known {
			what := strings.TrimSpace(ch.Name)
			if c.As != "" {
				what += " (a log has no use for " + c.As + ")"
			}
			rest = append(rest, what)
			continue
		}
		s.Role, s.Subject = r.id, subject
		if c.Subject.Kind != "" {
			s.Subject = c.Subject
		}
		values := ch.Values[:min(len(ch.Values), n)]
		if allFinite(values) { // most columns: nothing is left out, so nothing is copied
			s.T, s.V = t[:len(values)], values
			out = append(out, s)
			continue
		}
		for k, v := range values {
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				s.T = append(s.T, t[k])
				s.V = append(s.V, v)
			}
		}
		out = append(out, s)
	}
	return out, rest
}

// prepare settles role and unit of a series, finds its true rate and looks for
// values and steps that cannot be.
func prepare(s Series) (*parameter, error) {
	p := &parameter{Series: s}
	if s.Role == "" {
		r, subject, ok := recogniseName(s.Name, s.Unit)
		if !ok {
			return nil, fmt.Errorf("%q is named like no parameter", s.Name)
		}
		p.role = r
		if s.Subject.Kind == "" {
			p.Subject = subject
		}
	} else if r, ok := roleByID(s.Role); ok {
		p.role = r
	} else {
		return nil, fmt.Errorf("role %q is not known", s.Role)
	}
	want := unit.Must(p.role.unit)
	if p.Subject.Kind == "" {
		return nil, fmt.Errorf("%q is %s, but it is not said of which cylinder; write the cylinder at the column", s.Name, p.role.says)
	}
	if u := asTemperature(s.Unit, want.Dim); u != s.Unit {
		p.V = make([]float64, len(s.V))
		for i, v := range s.V {
			p.V[i] = u.SI(s.Unit.FromSI(v))
		}
		p.Unit, s.Unit = u, u
	}
	switch {
	case s.Unit.Dim == want.Dim && s.Unit.Symbol != "":
	case s.Unit.Symbol == "" || s.Unit.Dim == unit.None:
		// No unit in the file: the usual one of the parameter.
		p.V = make([]float64, len(s.V))
		for i, v := range s.V {
			p.V[i] = want.SI(v)
		}
	default:
		return nil, fmt.Errorf("%q is in %s, %s is a %s", s.Name, s.Unit.Symbol, p.role.id, want.Dim)
	}
	p.trueRate()
	return p, nil
}

// settleRates gives all channels of a log that repeats values the update
// interval of its fastest one: a slow quantity changes less often than it is
// read. Then the troubles are looked for.
func settleRates(ps []*parameter) {
	fastest := math.Inf(1)
	for _, p := range ps {
		if p.held {
			fastest = math.Min(fastest, p.interval)
		}
	}
	for _, p := range ps {
		if p.held {
			p.interval = fastest
		}
		p.troubles()
	}
}

// trueRate finds out how often the value is really updated: a log that repeats
// the last value changes at most once in several rows.
func (p *parameter) trueRate() {
	if len(p.T) < 2 {
		return
	}
	row := stats.MedianInPlace(stepsOf(p.T))
	p.interval = row
	changes := 0
	for i := 1; i < len(p.V); i++ {
		if p.V[i] != p.V[i-1] {
			changes++
		}
	}
	stride := max(1, changes/stepSamples)
	between := make([]float64, 0, changes/stride+1)
	last := -1
	for i := 1; i < len(p.V); i++ {
		if p.V[i] != p.V[i-1] {
			if last >= 0 && changes%stride == 0 {
				between = append(between, p.T[i]-p.T[last])
			}
			last = i
			changes--
		}
	}
	if len(between) >= 20 {
		// The shortest times between changes, leaving out the odd one.
		if q := stats.Quantile(between, 0.10); q > 1.6*row {
			p.interval, p.held = q, true
		}
	}
}

// stepsOf are the times from one row to the next; of very many rows, those of some,
// spread over all.
func stepsOf(t []float64) []float64 {
	stride := max(1, len(t)/stepSamples)
	out := make([]float64, 0, len(t)/stride+1)
	for i := 1; i < len(t); i += stride {
		out = append(out, t[i]-t[i-1])
	}
	return out
}

// stepSamples is how many rows the usual step is taken from: a log of five hours at
// ten rows a second whole. Our choice.
const stepSamples = 200_000

// troubles counts impossible values, steps and drop-outs.
//
// A step is impossible when it is larger than stepMin and steeper than rate over
// the time since the last update. A drop-out is a fall to exactly zero and back
// within three updates of a quantity that cannot do so.
func (p *parameter) troubles() {
	r := p.role
	lastT := math.Inf(-1)
	for i, v := range p.V {
		if r.high > r.low && (v < r.low || v > r.high) {
			p.outside++
		}
		if i == 0 || v == p.V[i-1] {
			continue
		}
		d := math.Abs(v - p.V[i-1])
		dt := math.Max(p.T[i]-math.Max(lastT, p.T[i]-3*p.interval), p.interval)
		dt = math.Max(dt, p.T[i]-p.T[i-1])
		if r.rate > 0 && d > r.stepMin && d > r.rate*dt {
			p.jumps++
		}
		lastT = p.T[i]
	}
	switch r.id {
	case Coolant, Supply, ManifoldPress, Barometer:
		for i := 1; i+1 < len(p.V); i++ {
			if p.V[i] != 0 && !(r.id == Coolant && p.V[i] <= -39.5) || p.V[i-1] == p.V[i] {
				continue
			}
			for j := i + 1; j < len(p.V) && p.T[j]-p.T[i] <= 3*p.interval; j++ {
				if math.Abs(p.V[j]-p.V[i-1]) < 0.2*math.Abs(p.V[i-1]) && p.V[i-1] > 5 {
					p.drops++
					break
				}
			}
		}
	}
	p.blocked = p.jumps > 0 || float64(p.outside) > 0.01*float64(len(p.V))
}

// grid is all parameters on one time grid, last value held for at most a few
// updates: beyond that it is NaN, not known.
type grid struct {
	step float64
	n    int
	v    map[*parameter][]float64
}

func newGrid(ps []*parameter) grid {
	step, end := 1.0, 0.0
	for _, p := range ps {
		if len(p.T) == 0 {
			continue
		}
		if p.interval > 0 {
			step = math.Min(step, p.interval)
		}
		end = math.Max(end, p.T[len(p.T)-1])
	}
	step = math.Max(step, 0.1)
	for end/step > 2e6 {
		step *= 2
	}
	g := grid{step: step, n: int(end/step) + 1, v: map[*parameter][]float64{}}
	for _, p := range ps {
		col := make([]float64, g.n)
		age := math.Max(2, 3*p.interval)
		k := -1
		for i := range col {
			t := float64(i) * step
			for k+1 < len(p.T) && p.T[k+1] <= t+1e-9 {
				k++
			}
			if k < 0 || t-p.T[k] > age {
				col[i] = math.NaN()
				continue
			}
			col[i] = p.V[k]
		}
		g.v[p] = col
	}
	return g
}

// gaps lists stretches in which no parameter at all was updated for longer than
// three times the usual row spacing and at least 3 s.
func gaps(ps []*parameter) (out [][2]float64) {
	var best *parameter
	for _, p := range ps {
		if best == nil || len(p.T) > len(best.T) {
			best = p
		}
	}
	if best == nil || len(best.T) < 3 {
		return nil
	}
	bar := math.Max(3, 5*stats.MedianInPlace(stepsOf(best.T)))
	for i := 1; i < len(best.T); i++ {
		if best.T[i]-best.T[i-1] > bar {
			out = append(out, [2]float64{best.T[i-1], best.T[i]})
		}
	}
	return out
}
