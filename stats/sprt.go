package stats

import "math"

// Verdict of a sequential test.
type Verdict int

// Go on looking, or accept one of the two hypotheses.
const (
	GoOn Verdict = iota
	AcceptH0
	AcceptH1
)

// String says the verdict in words.
func (v Verdict) String() string {
	return [...]string{"go on", "accept H0", "accept H1"}[min(max(int(v), 0), 2)]
}

// SPRT is Wald's sequential test between two simple hypotheses. Alpha is the
// chance of accepting H1 when H0 is true, Beta of accepting H0 when H1 is true.
// Accept H1 when the log likelihood ratio reaches ln((1-Beta)/Alpha), H0 when it
// falls to ln(Beta/(1-Alpha)). Source: A. Wald, Ann. Math. Stat. 16 (1945) 117.
type SPRT struct{ Alpha, Beta float64 }

// Bounds gives the upper and the lower threshold.
func (s SPRT) Bounds() (upper, lower float64) {
	return math.Log((1 - s.Beta) / s.Alpha), math.Log(s.Beta / (1 - s.Alpha))
}

// Decide compares a log likelihood ratio with the thresholds.
func (s SPRT) Decide(llr float64) Verdict {
	up, lo := s.Bounds()
	switch {
	case llr >= up:
		return AcceptH1
	case llr <= lo:
		return AcceptH0
	}
	return GoOn
}

// BernoulliSteps gives what one failure adds to the log likelihood ratio of
// failure chance p1 (H1) against p0 (H0), and what one pass adds.
func BernoulliSteps(p0, p1 float64) (failure, pass float64) {
	return math.Log(p1 / p0), math.Log1p(-p1) - math.Log1p(-p0)
}

// PoissonStep is what a count of k in one window adds, for mean l1 (H1) against l0 (H0).
func PoissonStep(k int, l0, l1 float64) float64 {
	return float64(k)*math.Log(l1/l0) - (l1 - l0)
}

// PassesToAcceptH0 is the number of further passes that bring a Bernoulli test
// from the ratio llr down to the lower threshold.
func (s SPRT) PassesToAcceptH0(llr, p0, p1 float64) int {
	_, lo := s.Bounds()
	_, pass := BernoulliSteps(p0, p1)
	if !(pass < 0) || llr <= lo {
		return 0
	}
	return int(math.Ceil((llr - lo) / -pass))
}

// ExpectedTrials is Wald's approximation of the mean number of Bernoulli trials
// to a decision when the failure chance is p0 and when it is p1. It ignores
// overshoot of the thresholds.
func (s SPRT) ExpectedTrials(p0, p1 float64) (underH0, underH1 float64) {
	up, lo := s.Bounds()
	f, g := BernoulliSteps(p0, p1)
	underH0 = ((1-s.Alpha)*lo + s.Alpha*up) / (p0*f + (1-p0)*g)
	underH1 = (s.Beta*lo + (1-s.Beta)*up) / (p1*f + (1-p1)*g)
	return underH0, underH1
}
