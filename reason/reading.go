package reason

import (
	"fmt"
	"math"

	"proveout/evidence"
)

// slot is one test on one subject under one condition, with all the findings
// that answer it. Findings of one slot share the outcome of the part: they are
// averaged in their noise and never count past what the book grants the test.
type slot struct {
	test     int
	cond     evidence.Condition
	unsure   bool
	off      bool  // taken at another speed or load than those of the complaint
	findings []int // indices into Engine.findings
	lambda   []float64
	factor   *factor
	cover    []float64 // by row of the test
	tilt     []float64 // by row of the test
	ln       []float64 // by row: what the reading alone says of the fault; see share
	whole    float64   // exponent with which the reading counts beside others like it
	inChoir  float64   // of that: what its group leaves it; see share
	hands    []string  // what took the reading; see hand
	on       bool      // the factor is in the field
	carried  int       // index of the slot that carries the fact instead, -1 for none
	strength float64   // how far the reading can move a fault, in ln
	rep      int       // slot that stands for the fact; see share
	top      float64   // of that slot: strength of the strongest
	ofFact   float64   // of that slot: exponent of the fact
	capped   bool      // scratch of share
	shared   bool      // scratch of share
	fresh    bool
	changed  bool // whole has changed
}

// counts says whether a finding is counted, and if not why not.
func (e *Engine) counts(f *evidence.Finding) (test int, why string) {
	t, ok := e.m.byTest[testKey{f.Test, f.Subject}]
	switch {
	case f.SetAside:
		return -1, "set aside"
	case f.Test == "":
		return -1, "no test of the book reads it"
	case f.When == "after":
		return -1, "taken after the repair: it counts for the proof, not for the cause"
	case f.State == evidence.NotMeasured:
		return -1, "not measured"
	case f.State == evidence.NotJudged && f.Outcome == "":
		return -1, "no limit to judge it by"
	case !ok:
		return -1, fmt.Sprintf("the books have no test %q on %s of this engine", f.Test, f.Subject)
	}
	for _, fl := range f.Flags {
		if fl.Blocks() {
			return -1, string(fl) + ": not used to decide"
		}
	}
	tm := &e.m.tests[t]
	if f.Outcome != "" {
		if tm.outcome(f.Outcome) < 0 {
			return -1, fmt.Sprintf("test %q has no outcome %q", f.Test, f.Outcome)
		}
		return t, ""
	}
	if tm.from == nil {
		return -1, fmt.Sprintf("test %q wants one of its outcomes, not a number", f.Test)
	}
	if f.Of < 0 || f.Of > 0 && (f.Events < 0 || f.Events > f.Of || math.IsInf(f.Of, 0)) || math.IsNaN(f.Events) || math.IsNaN(f.Of) {
		return -1, fmt.Sprintf("%g events of %g cannot be", f.Events, f.Of)
	}
	if math.IsNaN(f.Effect) || math.IsInf(f.Effect, 0) || math.IsNaN(f.EffectSigma) || math.IsInf(f.EffectSigma, 0) || f.EffectSigma < 0 {
		return -1, "the value is not a number"
	}
	return t, ""
}

func (t *testModel) outcome(id string) int {
	for i := range t.at.Test.Outcomes {
		if t.at.Test.Outcomes[i].ID == id {
			return i
		}
	}
	return -1
}

// class is the outcome a finding stands for, and how sure that is (0 to 1, by
// the noise of the reading alone).
func (t *testModel) class(f *evidence.Finding) (int, float64) {
	if f.Outcome != "" {
		return t.outcome(f.Outcome), 1
	}
	lo, hi := t.from[0], t.to[len(t.to)-1]
	x := math.Min(math.Max(f.Effect, lo), hi)
	s := math.Max(f.EffectSigma, (hi-lo)/1e6)
	best, sure := 0, -1.0
	for c := range t.from {
		from, to := t.from[c], t.to[c]
		if c == 0 {
			from = math.Inf(-1)
		}
		if c == len(t.from)-1 {
			to = math.Inf(1)
		}
		if p := between((from-x)/s, (to-x)/s); p > sure {
			best, sure = c, p
		}
	}
	return best, sure
}

// lambdaOf fills dst with the joint likelihood of the findings of a slot under
// each outcome: the product over findings, each to the power 1/(1+(m-1) rho).
func (e *Engine) lambdaOf(s *slot, dst []float64) {
	t := &e.m.tests[s.test]
	for c := range dst {
		dst[c] = 1
	}
	m := float64(len(s.findings))
	w := 1 / (1 + (m-1)*t.rho)
	one := e.scratch[:len(dst)]
	for _, i := range s.findings {
		f := &e.findings[i]
		switch {
		case f.Outcome != "":
			pickedLikelihood(one, t.outcome(f.Outcome), e.u)
		case f.Of > 0:
			countLikelihood(one, t.from, t.to, f.Events, f.Of, e.u)
		default:
			classLikelihood(one, t.from, t.to, f.Effect, f.EffectSigma, e.u)
		}
		for c, v := range one {
			if w == 1 {
				dst[c] *= v
			} else {
				dst[c] *= math.Pow(v, w)
			}
		}
	}
}

// build makes the factor of a slot from its lambda, coverage, tilts and share.
func (e *Engine) build(s *slot) {
	t := &e.m.tests[s.test]
	fillFactor(s.factor, t, s.lambda, s.cover, s.tilt, e.m.limits.NotListedHealthy, e.scratch)
	s.factor.exponent, s.factor.share = s.whole, s.whole
	if t.tried != nil {
		s.factor.asTried(t, s.lambda, s.whole, e.triedCover(s.cond), &e.m.limits)
	}
}

// fillFactor computes the factor of a test for given likelihoods of its
// outcomes. cover and tilt weaken the rows: a covered share c of a row is
// c*row + (1-c)*healthy; a tilt e leaves of the row what raises its likelihood ratio
// to the power e (see tilted).
func fillFactor(f *factor, t *testModel, lambda, cover, tilt []float64, healthyShare float64, scratch []float64) {
	n := t.normal
	f.parents = f.parents[:0]
	f.normal, f.p0 = lambda[n], t.healthy[n]
	f.none, f.z0 = 0, 0
	f.least, f.most = math.Inf(1), floorL
	f.rest, f.even = lambda[(n+1)%len(lambda)], true
	flat := 0.0
	for c, l := range lambda {
		f.least, f.most = math.Min(f.least, l), math.Max(f.most, l)
		f.none += t.healthy[c] * l
		flat += l / float64(len(lambda))
		if c != n {
			f.z0 += t.healthy[c] * l
			f.even = f.even && l == f.rest
		}
	}
	f.least = math.Max(f.least, floorL)
	f.none, f.wrong = math.Max(f.none, floorL), math.Max(flat, floorL)
	f.other = math.Max(floorL, healthyShare*f.none+(1-healthyShare)*flat)
	for r := range t.rows {
		row := &t.rows[r]
		p := scratch[:len(lambda)]
		for c := range p {
			p[c] = cover[r]*row.p[c] + (1-cover[r])*t.healthy[c]
		}
		if tilt[r] != 1 {
			tilted(p, t.healthy, lambda, f.none, tilt[r])
		}
		same := true
		for c := range p {
			same = same && math.Abs(p[c]-t.healthy[c]) < 1e-12
		}
		if same {
			continue
		}
		q := parent{fault: row.fault, keep: 1, hold: 1}
		if p[n] <= f.p0 {
			if f.p0 > 0 {
				q.keep = p[n] / f.p0
			}
		} else if f.p0 < 1 {
			q.hold = (1 - p[n]) / (1 - f.p0)
		}
		x := q.keep * q.hold
		for c, l := range lambda {
			q.alone += p[c] * l
			if c == n {
				continue
			}
			if d := p[c] - t.healthy[c]*x; d > 0 {
				q.extra += d * l
				q.more += d
			}
		}
		q.alone = math.Max(q.alone, floorL)
		f.parents = append(f.parents, q)
	}
}

// tilted mixes a row with the healthy one so that its likelihood ratio against it, R,
// becomes R^e for e from 0 to 1: with share (R^e-1)/(R-1) of the row. (Tilting the
// outcomes and making them sum to one again gave several readings that agree less
// weight than one of them, or more than 1/rho.)
func tilted(p, healthy, lambda []float64, none, e float64) {
	like := 0.0
	for c, l := range lambda {
		like += p[c] * l
	}
	share := e // where R is 1
	if d := math.Max(like, floorL)/none - 1; math.Abs(d) > 1e-9 {
		share = math.Expm1(e*math.Log1p(d)) / d
	}
	for c := range p {
		p[c] = share*p[c] + (1-share)*healthy[c]
	}
}

// weaken tilts a row towards the healthy one before an outcome is known: healthy *
// (row/healthy)^e, made to sum to one.
func weaken(p, healthy []float64, e float64) {
	sum := 0.0
	for c := range p {
		if healthy[c] > 0 {
			p[c] = healthy[c] * math.Pow(p[c]/healthy[c], e)
		}
		sum += p[c]
	}
	for c := range p {
		p[c] /= sum
	}
}
