package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
)

// pooled is what all usable readings of one feature say about one subject, on
// the scale the comparison works on (log for ratios, SI for differences).
type pooled struct {
	subject    evidence.Subject
	mean       float64   // mean over placements
	places     []float64 // mean of each placement
	within     float64   // variance of one placement's mean from cycles, noise and resolution
	value      float64   // median over placements, SI, for people
	n          int       // events
	first      int       // lowest and highest item, for the drift check
	last       int
	firstValue float64
	lastValue  float64
	readings   []evidence.Reading
}

// pool joins the readings of one subject. Readings with one placement label are
// one placement: their average lowers cycle scatter, never placement scatter. An
// amplitude without a label counts as one and the same placement however often
// it was read; for other features each unlabelled reading is a repeat.
func pool(f evidence.Feature, rs []evidence.Reading, log bool) pooled {
	type place struct{ sum, n, variance float64 }
	var order []string
	places := map[string]*place{}
	p := pooled{subject: rs[0].Subject, first: rs[0].Item, last: rs[0].Item, readings: rs}
	at := func(v float64) float64 {
		if log {
			return math.Log(v)
		}
		return v
	}
	p.firstValue, p.lastValue = at(rs[0].Value.SI), at(rs[0].Value.SI)
	var values []float64
	for i, r := range rs {
		key := r.Placement
		if key == "" && !f.Amplitude {
			key = fmt.Sprintf("\x00%d", i)
		}
		pl := places[key]
		if pl == nil {
			pl = &place{}
			places[key] = pl
			order = append(order, key)
		}
		sd := r.Uncertainty // 0 for most typed readings: their scatter is that of repeats, see scatter
		if log {
			sd /= math.Abs(r.Value.SI)
		}
		pl.sum += at(r.Value.SI)
		pl.variance += sd * sd
		pl.n++
		values = append(values, r.Value.SI)
		p.n += max(r.N, 1)
		if r.Item <= p.first {
			p.first, p.firstValue = r.Item, at(r.Value.SI)
		}
		if r.Item >= p.last {
			p.last, p.lastValue = r.Item, at(r.Value.SI)
		}
	}
	for _, k := range order {
		pl := places[k]
		m := pl.sum / pl.n
		p.places = append(p.places, m)
		p.mean += m / float64(len(order))
		p.within += pl.variance / (pl.n * pl.n) / float64(len(order))
	}
	p.value = stats.Median(values)
	return p
}

// priorScatter is the scatter from one placement or repeat to the next that the
// catalogue expects, before any is seen, on the scale of the comparison. The
// repeat scatter of a typed reading counts where nobody stated an uncertainty.
func priorScatter(f evidence.Feature, rs []evidence.Reading, reference float64, log bool) float64 {
	t := traitsOf(f)
	prior := f.PlacementCV
	if onePickup(rs) {
		prior = t.repeatRel // not moved between the cylinders: only repeats scatter
	}
	for _, r := range rs {
		if r.Uncertainty == 0 && !f.Amplitude {
			prior = math.Hypot(prior, t.repeatRel)
			if ref := math.Abs(reference); ref > 0 {
				prior = math.Hypot(prior, t.repeatAbs/ref)
			} else if !log {
				return t.repeatAbs
			}
			break
		}
	}
	if !log {
		prior *= math.Abs(reference)
	}
	return prior
}

// onePickup reports whether all readings come from one trace of a pickup that sees
// every cylinder with the same gain.
func onePickup(rs []evidence.Reading) bool {
	for _, r := range rs {
		if !r.Has(evidence.OnePickup) || r.Item != rs[0].Item || r.From.Channel != rs[0].From.Channel {
			return false
		}
	}
	return len(rs) > 0
}

// scatter is the variance from one placement (or repeat) to the next, shrunk
// towards the prior: (priorDF*prior^2 + sum of squares seen)/(priorDF + df seen).
// Part of the spread seen is cycle scatter, which the rows carry themselves; it
// is taken off. df is priorDF plus the degrees of freedom seen. Without a prior
// (uncertainty stated by a person, no placement) the spread seen counts alone.
func scatter(rows []pooled, prior float64) (variance, df float64) {
	sum, nu := priorDF*prior*prior, float64(priorDF)
	if prior == 0 {
		sum, nu = 0, 0
	}
	for _, r := range rows {
		if len(r.places) < 2 {
			continue
		}
		ss := 0.0
		for _, v := range r.places {
			ss += (v - r.mean) * (v - r.mean)
		}
		k := float64(len(r.places) - 1)
		sum += max(0, ss-k*r.within)
		nu += k
	}
	if nu == 0 {
		return 0, math.Inf(1)
	}
	return sum / nu, nu
}

// bySubject groups readings by subject in order of subject number.
func bySubject(rs []evidence.Reading) [][]evidence.Reading {
	idx := map[evidence.Subject]int{}
	var out [][]evidence.Reading
	for _, r := range rs {
		i, ok := idx[r.Subject]
		if !ok {
			i = len(out)
			idx[r.Subject] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], r)
	}
	slices.SortStableFunc(out, func(a, b []evidence.Reading) int {
		x, y := a[0].Subject, b[0].Subject
		if x.Number != y.Number {
			return x.Number - y.Number
		}
		return x.Second - y.Second
	})
	return out
}
