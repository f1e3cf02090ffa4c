package reason

import (
	"proveout/book"
	"proveout/evidence"
)

// Case is everything the odds depend on.
type Case struct {
	Instance *book.Instance
	// Symptoms are complaint patterns by id; empty = no complaint stated.
	Symptoms []string
	// Complaint is the conditions in which the complaint shows.
	Complaint evidence.Condition
	States    []evidence.State // operating states in which it shows, if known
	Window    Window           // speeds and loads in which it shows, if known
	// Facts are context answers by id: "yes", "no"; anything else is unknown.
	Facts     map[string]string
	Findings  []evidence.Finding
	Tried     []Tried // parts replaced or changed, and what became of the complaint
	Overrules []Overrule
	Kept      []Kept    // items that disagree and are kept all the same
	Limits    []Limit   // figures given for this vehicle
	Disputes  []Dispute // pairs of readings pooled into one finding that cannot both be right
	// Equipment on hand by id; nil = all is on hand.
	Equipment []string
	// LampFlashing limits tests that load the engine.
	LampFlashing bool
	// Skip are ids of tests that make no sense now: a test against a limit that
	// nobody has given. They are not offered as next tests.
	Skip []string
	// EngineHot adds cooling time to tests that need it.
	EngineHot bool
}

// Limit is what the maker of this vehicle gives for a feature, in SI; an unset bound is
// nil. Subject "" holds for all.
type Limit struct {
	Feature  string
	Subject  evidence.Subject
	Min, Max *float64
	Source   string
}

// Overrule is a technician's decision with its reason.
type Overrule struct {
	Suspect, Reason, Who string
	State                State
}

// State of a suspect (PRODUCT.md).
type State string

// States. Repaired is a suspect that was shown and tried since, the complaint being
// gone; Proven is set from the record, never by reasoning.
const (
	Open      State = "open"
	Suspected State = "suspected"
	RuledOut  State = "ruled_out"
	Shown     State = "shown"
	Repaired  State = "repaired"
	Proven    State = "proven"
)

// Moved is one factor on the odds of a suspect.
type Moved struct {
	Finding string  // finding id, or "prior", "complaint", or "fact:ID"
	Factor  float64 // multiplies the odds
	// Also names further findings that carry the same fact and count as one line
	// with this one.
	Also   []string
	Source string // of a context factor
}

// SuspectAnswer is where one suspect stands.
type SuspectAnswer struct {
	Suspect   *book.Suspect
	Chance    float64 // marginal chance that this fault is present
	Before    float64 // the same before any finding: prior, complaint and context only
	State     State
	MovedBy   []Moved
	By        string // for ruled_out: finding id or "elimination"; for shown and repaired: the finding that shows it; ByWord when a person said so
	Reason    string // one sentence: why this state, what would settle it
	Overruled *Overrule
	// Stays is the finding that the complaint stays although the shown part was put
	// right: it is no end of the search. Empty otherwise.
	Stays string
}

// ByWord stands in By where the state is a person's word against the tests.
const ByWord = "overruled"

// WasShown reports whether a direct test showed the suspect, repaired since or not.
// A person's word is not a test.
func (s *SuspectAnswer) WasShown() bool {
	return (s.State == Shown || s.State == Repaired) && s.By != ByWord
}

// OutcomeAhead is one outcome a test may have, written before it is done.
type OutcomeAhead struct {
	Outcome *book.Outcome
	Chance  float64
	LeadsTo string // sentence: which suspect then leads, with its chance, and whether that ends it
}

// NextTest is a test worth doing.
type NextTest struct {
	Test     *book.TestAt
	Minutes  float64
	EndsIt   float64 // chance that its outcome ends the search
	Bits     float64 // doubt it is expected to remove
	Score    float64 // what the list is ordered by; see Options.Rank
	Cost     float64 // expected minutes to a finished repair when starting with it
	Outcomes []OutcomeAhead
	Missing  []string // equipment not on hand (only when asked for)
	Why      string
	// Repeat is how many more times a reading already begun should be taken (such
	// as a pickup placed anew); 0 for a new test.
	Repeat int
}

// Conflict is a small set of findings which no single or double fault explains.
type Conflict struct {
	Findings []string
	Doubtful string  // the finding that fits least
	Factor   float64 // how much better all others are explained without it
	Reason   string
	Settle   string
	// Retaken: the doubtful reading was taken again and still disagrees. The
	// conflict is still told, but no longer stands in the way.
	Retaken bool
	// Kept says by whom and why all of its readings are kept; empty: nobody said so.
	// It is still told, but no longer stands in the way.
	Kept string
	// Dispute is the place, from 1, in Case.Disputes of a pair that was handed in; 0
	// for one found here.
	Dispute int
}

// Settled reports whether a conflict no longer stands in the way.
func (c *Conflict) Settled() bool { return c.Retaken || c.Kept != "" }

// Kept are items that disagree, of which a person keeps all, with the reason.
type Kept struct {
	Items  []int
	Reason string
	Who    string
}

// Answer is the whole result.
type Answer struct {
	Suspects     []SuspectAnswer // most likely first; ties by id
	NothingWrong float64
	NotListed    float64
	Conflicts    []Conflict
	Next         []NextTest
	DoubtBits    float64 // entropy over hypotheses, in bits
	// Outside bounds the chance of more simultaneous faults than were considered.
	Outside   float64
	TwoOrMore float64 // chance of two or more faults at once
	// TwoOrMoreBefore is the same before any finding, given the complaint: 5-10 %
	// with a sane book.
	TwoOrMoreBefore float64
	// Ambiguous names suspects that the evidence cannot tell apart, best first, as
	// one group ("plug, boot or coil of cylinder 3, not yet separated").
	Group     []string
	GroupText string
	Stop      string // which stopping rule holds, or what is missing for it
	Stopped   bool   // the stopping rule holds: the search is over
	// Leader is the index in Suspects of the most likely suspect and RunnerUp of
	// the next; RunnerUp is -1 with a single suspect.
	Leader, RunnerUp int
	// Versus says item by item why the leader stands above the runner-up.
	Versus Comparison
	// ChangeMind are the outcomes of next tests which would put another suspect
	// first, the likeliest first.
	ChangeMind []string
	// Uncounted lists the findings that do not move the odds, with the reason.
	Uncounted []Uncounted
	// Extended is the share of the total held by sets of four and five of the
	// twelve leading faults, which lie beyond the bound.
	Extended float64
	// WithSetAside are the chances with the set-aside findings counted after all,
	// by suspect id; nil when none is set aside.
	WithSetAside map[string]float64
	// Replace says, with numbers, when replacing the leading part at once is
	// cheaper than testing first; empty otherwise.
	Replace string
	// CostNow is the expected minutes to a finished repair by repairing in the
	// best order without a further test.
	CostNow float64
	Limits  []Threshold // the figures in force
	Notes   []string    // what was held, weakened or could not be used
}

// Uncounted is a finding that does not move the odds.
type Uncounted struct {
	Finding, Why string
}

// Comparison is why one hypothesis stands above another. The logarithms of the
// items add up to LnRatio.
type Comparison struct {
	A, B    string
	LnRatio float64 // ln of the odds of A alone against B alone
	Items   []Moved // factor for A against B
}

// Rank is what the list of next tests is ordered by.
type Rank string

// Orders of the list of next tests.
const (
	ByEnding Rank = "ends" // chance that it ends the search, and doubt removed, per minute
	ByDoubt  Rank = "bits" // doubt removed per minute
	ByCost   Rank = "cost" // expected minutes to a finished repair
)

// Options are what the person may choose. The zero value is the usual.
type Options struct {
	MaxFaults int  // faults at once: 1, 2 or 3; 0 = 3
	Rank      Rank // "" = ByEnding
	// AnyEquipment lists tests whose equipment is not on hand too, with what is missing.
	AnyEquipment bool
	Tests        int  // how many next tests to list; 0 = 8, negative = none
	NoLookAhead  bool // rank by one step only
	// Limits replaces the figures of the table; nil = DefaultLimits.
	Limits *Limits
	// Open are ids of access (book) that is open already and need not be paid again.
	Open []string
}
