package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/unit"
)

// repeated joins the readings of one subject into a value with its standard
// uncertainty: scatter of repeats or the stated uncertainty, and the instrument's
// own scale error, which does not average out.
func repeated(f evidence.Feature, rs []evidence.Reading) (value, sd float64) {
	tr := traitsOf(f)
	var values []float64
	within := 0.0
	for _, r := range rs {
		values = append(values, r.Value.SI)
		u := r.Uncertainty
		if u == 0 {
			u = math.Hypot(tr.repeatAbs, tr.repeatRel*math.Abs(r.Value.SI))
		}
		within += u * u
	}
	n := float64(len(values))
	value = stats.Median(values)
	within /= n
	if len(values) > 1 {
		if s := spreadOf(values); s*s > within {
			within = s * s
		}
	}
	scale := tr.scale
	if f.PlacementCV > 0 {
		scale = math.Hypot(scale, f.PlacementCV)
	}
	return value, math.Hypot(math.Sqrt(within/n), math.Hypot(scale*value, tr.scaleAbs))
}

// versusLimit holds one subject against its limit.
//
// Effect is the ratio to the nominal value; without one to the limit that is
// given; with both limits and no nominal to the middle between them.
func (t Task) versusLimit(f evidence.Feature, a Ask, rs []evidence.Reading) evidence.Finding {
	fd := base(f, a, rs)
	value, sd := repeated(f, rs)
	fd.Value, fd.Sigma = fromSI(value, f), step(sd, f)
	lim := t.limitFor(f.ID, rs[0].Subject)
	if lim == nil && a.Nominal == nil {
		fd.State = evidence.NotJudged
		fd.Sentence = sentence(fmt.Sprintf("%s: %s %s; no limit is given for this vehicle, so it is not judged.", spokenSubject(rs[0].Subject), f.Name, show(value, f)))
		fd.Why = "Without the maker's figure a number is only a number; look it up and write it to the job."
		return fd
	}
	if f.Amplitude && hasFlag(fd.Flags, evidence.NotCalibrated) {
		fd.State = evidence.NotJudged
		fd.Sentence = sentence(fmt.Sprintf("%s: %s comes from an uncalibrated pickup; it can be held against the other cylinders, not against a limit.", spokenSubject(rs[0].Subject), f.Name))
		fd.Why = "The gain of a pickup laid on a coil is not known: its numbers are not kilovolts."
		return fd
	}
	if lim == nil {
		lim = &Limit{Feature: f.ID, Nominal: a.Nominal, Source: "the fault book"}
	}
	ref, name := reference(lim)
	if ref == 0 {
		// A ratio to nothing has no meaning: the difference decides, the effect stays 1.
		fd.Effect, fd.EffectSigma = 1, 0
	} else {
		fd.Effect, fd.EffectSigma = value/ref, math.Abs(sd/ref)
	}
	low, high := limitBounds(lim, f, a, ref)
	fd.State, fd.More = place(value, sd, low, high)
	fd.Sentence = limitSentence(f, rs, value, sd, low, high, lim, name, fd.State, fd.More)
	fd.Why = "A limit from service information is held against the value with its uncertainty: outside by less than that is not outside yet."
	return fd
}

// reference is what the ratio is taken to.
func reference(l *Limit) (float64, string) {
	switch {
	case l.Nominal != nil:
		return *l.Nominal, "nominal"
	case l.Min != nil && l.Max != nil:
		return (*l.Min + *l.Max) / 2, "middle of the limits"
	case l.Min != nil:
		return *l.Min, "lower limit"
	case l.Max != nil:
		return *l.Max, "upper limit"
	}
	return 0, ""
}

// limitBounds are the limits in SI; where only a nominal value is given, the normal
// band of the question or the feature's margin about it.
func limitBounds(l *Limit, f evidence.Feature, a Ask, ref float64) (low, high float64) {
	low, high = math.Inf(-1), math.Inf(1)
	if l.Min != nil {
		low = *l.Min
	}
	if l.Max != nil {
		high = *l.Max
	}
	if l.Min == nil && l.Max == nil {
		if a.Normal != nil {
			return math.Min(a.Normal.From*ref, a.Normal.To*ref), math.Max(a.Normal.From*ref, a.Normal.To*ref)
		}
		tr := traitsOf(f)
		m := tr.margin * math.Abs(ref)
		if m == 0 {
			m = tr.marginAbs
		}
		return ref - m, ref + m
	}
	return low, high
}

// place says where a value with its uncertainty lies: outside only when it is
// outside by more than 1.96 of it. More is the repeats that would settle it.
func place(value, sd, low, high float64) (evidence.FindingState, int) {
	over := math.Max(value-high, low-value)
	if over <= 0 {
		return evidence.Normal, 0
	}
	if over >= 1.959964*sd {
		if value > high {
			return evidence.High, 0
		}
		return evidence.Low, 0
	}
	need := 1.959964 * sd / over
	if need *= need; need > hopeless {
		return evidence.NotEstablished, 0
	}
	return evidence.NotEstablished, max(1, int(math.Ceil(need))-1)
}

func limitSentence(f evidence.Feature, rs []evidence.Reading, value, sd, low, high float64, l *Limit, name string, st evidence.FindingState, more int) string {
	who, v := spokenSubject(rs[0].Subject), fmt.Sprintf("%s %s", f.Name, plusMinus(value, 1.96*sd, f))
	src := ""
	if l.Source != "" {
		src = " (" + l.Source + ")"
	}
	var lim string
	switch {
	case l.Min == nil && l.Max == nil:
		lim = fmt.Sprintf("nominal %s", show(*l.Nominal, f))
	case math.IsInf(low, -1):
		lim = "limit at most " + show(high, f)
	case math.IsInf(high, 1):
		lim = "limit at least " + show(low, f)
	default:
		lim = fmt.Sprintf("limits %s to %s", show(low, f), show(high, f))
	}
	switch st {
	case evidence.Normal:
		return fmt.Sprintf("%s: %s, inside; %s%s.", who, v, lim, src)
	case evidence.High:
		return fmt.Sprintf("%s: %s, too high; %s%s.", who, v, lim, src)
	case evidence.Low:
		return fmt.Sprintf("%s: %s, too low; %s%s.", who, v, lim, src)
	}
	if more == 0 {
		return fmt.Sprintf("%s: %s, outside by far less than it can be trusted to; %s%s. Not established, and repeating it will not settle it; another kind of test may.", who, v, lim, src)
	}
	return fmt.Sprintf("%s: %s, outside by less than it can be trusted to; %s%s. Not established: measure it %s.", who, v, lim, src, moreTimes(more))
}

// leastVolts is from where a height of a trusted probe is told in kilovolts (our choice):
// less is no volt of an ignition, but a bare number.
const leastVolts = 50

// absolute shows one subject's value as it is, and judges it where a limit or a
// normal band is given.
func (t Task) absolute(f evidence.Feature, a Ask, rs []evidence.Reading) evidence.Finding {
	fd := base(f, a, rs)
	value, sd := repeated(f, rs)
	fd.Value, fd.Sigma = fromSI(value, f), step(sd, f)
	fd.Effect, fd.EffectSigma = value, sd
	if f.Amplitude && hasFlag(fd.Flags, evidence.NotCalibrated) {
		fd.State = evidence.NotJudged
		fd.Sentence = sentence(fmt.Sprintf("%s: %s comes from an uncalibrated pickup; it can only be held against the other cylinders.", spokenSubject(rs[0].Subject), f.Name))
		fd.Why = "The gain of a pickup laid on a coil is not known: its numbers are not kilovolts."
		return fd
	}
	lim := t.limitFor(f.ID, rs[0].Subject)
	if lim != nil && (lim.Min != nil || lim.Max != nil) {
		low, high := limitBounds(lim, f, a, 0)
		fd.State, fd.More = place(value, sd, low, high)
		_, name := reference(lim)
		fd.Sentence = limitSentence(f, rs, value, sd, low, high, lim, name, fd.State, fd.More)
		fd.Why = "A limit from service information is held against the value with its uncertainty: outside by less than that is not outside yet."
		return fd
	}
	if a.Normal != nil {
		fd.State, fd.More = place(value, sd, a.Normal.From, a.Normal.To)
		l := &Limit{Min: &a.Normal.From, Max: &a.Normal.To, Source: "usual values of the fault book"}
		fd.Sentence = limitSentence(f, rs, value, sd, a.Normal.From, a.Normal.To, l, "", fd.State, fd.More)
		fd.Why = "Usual values hold for most vehicles; the maker's own figure for this one overrides them."
		return fd
	}
	fd.State = evidence.NotJudged
	said := f
	if f.Amplitude && math.Abs(value) >= leastVolts {
		said.Dim, said.Unit = unit.Voltage, "kV" // heights of a probe whose scale is trusted are volts
	}
	fd.Sentence = sentence(fmt.Sprintf("%s: %s %s.", spokenSubject(rs[0].Subject), f.Name, plusMinus(value, 1.96*sd, said)))
	fd.Why = "A fact without a limit: it is kept and shown, and judged when a limit is known."
	return fd
}

func hasFlag(fs []evidence.Flag, f evidence.Flag) bool {
	for _, x := range fs {
		if x == f {
			return true
		}
	}
	return false
}
