package evidence

import "proveout/unit"

// Flag is a warning about how well something was measured.
type Flag string

// Quality flags. A reading that carries one of the blocking flags (see
// Flag.Blocks) may not rule anything out or be called high or low.
const (
	Clipped         Flag = "clipped"
	TooSlow         Flag = "sample rate too slow"
	Inverted        Flag = "polarity inverted"
	Undersampled    Flag = "crest seen by few samples" // the value stands, with its bias in the uncertainty; it is not called high or low
	TooFewEvents    Flag = "too few events"
	Hum             Flag = "hum"
	PlacedOnce      Flag = "placed once"
	NotCalibrated   Flag = "not calibrated"
	Gap             Flag = "dead time inside"
	Jump            Flag = "impossible jump"
	Stale           Flag = "stale"
	ConditionUnsure Flag = "condition unsure"
	Noisy           Flag = "noisy"
	WrongChannel    Flag = "does not look like this kind of signal"
	Unplaced        Flag = "no cylinder given"
	Drifted         Flag = "drifted between first and last"
	ScaleUnsure     Flag = "scale or unit looks wrong"
	NoExposure      Flag = "no exposure behind the count"
	FuelUnknown     Flag = "fuel not known"
	OnePickup       Flag = "one pickup for all cylinders" // the gain is common: it cancels between them
	Diluted         Flag = "weighted register, not a count"
)

// Blocks reports whether a reading with the flag must not be used to decide.
func (f Flag) Blocks() bool {
	switch f {
	case Clipped, TooSlow, TooFewEvents, Stale, WrongChannel, Jump, ScaleUnsure, NoExposure:
		return true
	}
	return false
}

// Source says where a reading came from, so that it can be walked back.
type Source struct {
	File    string `json:"file,omitempty"`    // path inside the job folder
	Channel string `json:"channel,omitempty"` // column or module
	First   int    `json:"first,omitempty"`   // first and last sample, frame or line used
	Last    int    `json:"last,omitempty"`
	Line    int    `json:"line,omitempty"` // line of the job file for a typed reading
}

// Reading is one value, measured or typed.
type Reading struct {
	ID          string        // stable within the job: "r12"
	Item        int           // number of the item (evidence) it belongs to
	Feature     string        // id in the feature catalogue
	Subject     Subject       //
	Value       unit.Quantity // SI inside
	Uncertainty float64       // standard uncertainty (one sigma) in SI of the value's dimension; 0 = not stated
	N           int           // events or samples behind the value; 1 for a typed reading
	Placement   string        // which placement of the pickup ("1", "2"), empty if it does not matter
	Instrument  string        // which instrument or probe, as the user names it
	Condition   Condition
	When        string // "before" or "after" the repair; empty = before
	Flags       []Flag
	From        Source
	Typed       bool // by a person, not measured from a capture
	// For counts: firing opportunities of this subject behind the count (0 = not
	// known), and in how many separate episodes the events came (0 = not known).
	Opportunities float64
	Episodes      int
}

// Blocked reports whether a flag forbids deciding on the reading.
func (r Reading) Blocked() bool {
	for _, f := range r.Flags {
		if f.Blocks() {
			return true
		}
	}
	return false
}

// Has reports whether the reading carries the flag.
func (r Reading) Has(f Flag) bool {
	for _, g := range r.Flags {
		if g == f {
			return true
		}
	}
	return false
}
