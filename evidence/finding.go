package evidence

// FindingState is how a reading stands.
type FindingState string

// States of a finding. NotEstablished: a difference is seen but the spread of
// placement, noise or count does not allow it to be called one. NotMeasured: the
// feature could not be measured, the sentence says why and what would do it.
const (
	Normal         FindingState = "normal"
	High           FindingState = "high"
	Low            FindingState = "low"
	Abnormal       FindingState = "abnormal"
	NotEstablished FindingState = "not_established"
	NotMeasured    FindingState = "not_measured"
	NotJudged      FindingState = "not_judged" // a fact without a limit, shown as it is
)

// Finding is a reading judged.
type Finding struct {
	ID       string
	Item     int
	Test     string // id of the book test it answers; empty when no test reads the feature
	Feature  string
	Subject  Subject
	State    FindingState
	Value    float64 // in Unit, for people and JSON
	Unit     string
	Sigma    float64 // standard uncertainty of Value, in Unit
	Sentence string  // what a technician would say
	Why      string  // one sentence for the apprentice
	More     int     // further placements or repeats that would settle it; 0 = does not apply
	Flags    []Flag
	From     []Source
	// Instruments name what the value was read with, Operator who picked the outcome,
	// as far as they were stated: what is wrong with one of them is wrong with every
	// reading it took.
	Instruments []string
	Operator    string
	// Effect is what the comparison is about: for "versus others" the ratio to the
	// others, for "versus limit" the ratio to the limit, for "absolute" the SI value.
	// EffectSigma is its standard uncertainty; both feed the odds.
	Effect      float64
	EffectSigma float64
	// Events of Of is a count with its denominator (misfires of one cylinder of all
	// misfires, or of its firings). With Of above zero the odds use the binomial
	// chance of the count instead of Effect and EffectSigma.
	Events, Of float64
	// Outcome is the outcome id of the book test when the result is a word
	// (moved, stayed, seen, not seen); empty for numbers.
	Outcome string
	// AllCompared reports whether each of the other cylinders was measured too:
	// "shown" needs its healthy neighbours.
	AllCompared bool
	Condition   Condition
	When        string // before or after the repair
	SetAside    bool
}
