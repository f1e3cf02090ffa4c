package shop

import "proveout/reason"

// AnswerSchema is the value of the "schema" field of an answer.
const AnswerSchema = "proveout/answer/1"

// Answer is what "diagnose --json" prints. Field names are stable; "proveout
// schema answer" prints their JSON Schema.
type Answer struct {
	Schema  string `json:"schema"`
	Program string `json:"program"`
	Job     string `json:"job"`
	// Vehicle as the job file gives it, with what the VIN says.
	Vehicle   VehicleAnswer   `json:"vehicle"`
	Complaint ComplaintAnswer `json:"complaint"`
	Books     []BookAnswer    `json:"books"`
	Headline  string          `json:"headline"`
	// Hint is for whoever writes the job file: no screen shows it.
	Hint      string           `json:"hint,omitempty"`
	Items     []ItemAnswer     `json:"items"`
	Findings  []FindingAnswer  `json:"findings"`
	Suspects  []SuspectAnswer  `json:"suspects"`
	RuledOut  []RuledOutAnswer `json:"ruled_out"`
	Conflicts []ConflictAnswer `json:"conflicts"`
	// First is what comes before any test, in order: what the tests rest on.
	First    []string        `json:"first"`
	Next     []NextAnswer    `json:"next"`
	LeftOut  []LeftOut       `json:"left_out"`
	Notes    []NoteAnswer    `json:"notes"`
	Cautions []CautionAnswer `json:"cautions"`
	// DoubtBits is the doubt left over all explanations, in yes-or-no questions.
	DoubtBits    float64 `json:"doubt_bits"`
	NothingWrong float64 `json:"nothing_wrong"`
	NotListed    float64 `json:"not_listed"`
	// TwoOrMore is the chance that two or more faults are there at once; Outside
	// bounds the chance of more faults than were tried.
	TwoOrMore float64      `json:"two_or_more"`
	Outside   float64      `json:"outside"`
	Group     *GroupAnswer `json:"group,omitempty"`
	// Stop says which stopping rule holds or what is missing for it; Stopped whether
	// it holds. Then there are no next tests: the repair comes next, and its proof.
	Stop    string `json:"stop"`
	Stopped bool   `json:"stopped"`
	// Order is what the next tests are ordered by: ends, bits or cost.
	Order string `json:"order"`
	// CostNow is the expected minutes to a finished repair when nothing more is
	// tested; Replace says, with the numbers, when that is cheaper than testing.
	CostNow float64 `json:"expected_minutes_without_testing"`
	Replace string  `json:"replace,omitempty"`
	// ChangeMind lists what would put another suspect first.
	ChangeMind []string `json:"change_mind"`
	// Versus is why the first suspect stands before the second: the factors of all
	// items multiply to the ratio of the two, each alone.
	Versus *VersusAnswer `json:"versus,omitempty"`
	// Limits are the figures in force by which odds become words.
	Limits []LimitAnswer `json:"limits"`
}

// VersusAnswer compares the first suspect with the second.
type VersusAnswer struct {
	First  string        `json:"first"`
	Second string        `json:"second"`
	Ratio  float64       `json:"ratio"`
	Items  []MovedAnswer `json:"items"`
}

// LimitAnswer is one figure of judgement with its source.
type LimitAnswer struct {
	Name   string  `json:"name"`
	Value  float64 `json:"value"`
	Says   string  `json:"says"`
	Source string  `json:"source"`
}

// VehicleAnswer is the vehicle of the job.
type VehicleAnswer struct {
	Make       string   `json:"make,omitempty"`
	Model      string   `json:"model,omitempty"`
	Year       int      `json:"year,omitempty"`
	VIN        string   `json:"vin,omitempty"`
	Plate      string   `json:"plate,omitempty"`
	OdometerKm float64  `json:"odometer_km,omitempty"`
	Engine     string   `json:"engine"`
	Cylinders  int      `json:"cylinders"`
	VINNotes   []string `json:"vin_notes,omitempty"`
}

// ComplaintAnswer is the complaint as it was taken into the odds.
type ComplaintAnswer struct {
	Said     string   `json:"said"`
	Symptoms []string `json:"symptoms"`
	States   []string `json:"states"`
	// Facts are the context facts that held, as the odds used them.
	Facts map[string]string `json:"facts"`
}

// BookAnswer pins the knowledge that was used.
type BookAnswer struct {
	ID      string `json:"id"`
	Version string `json:"version"`
	SHA256  string `json:"sha256,omitempty"`
}

// ItemAnswer is one numbered piece of evidence.
type ItemAnswer struct {
	Item     int      `json:"item"`
	Kind     string   `json:"kind"` // capture, reading, tried
	File     string   `json:"file,omitempty"`
	SHA256   string   `json:"sha256,omitempty"`
	Line     int      `json:"line,omitempty"`
	What     string   `json:"what"`
	SetAside string   `json:"set_aside,omitempty"`
	Notes    []string `json:"notes,omitempty"`
}

// SubjectAnswer names what was looked at.
type SubjectAnswer struct {
	Kind   string `json:"kind"`
	Number int    `json:"number,omitempty"`
	Second int    `json:"second,omitempty"`
}

// FindingAnswer is one judged reading.
type FindingAnswer struct {
	ID          string        `json:"id"`
	Item        int           `json:"item"`
	Test        string        `json:"test"`
	Name        string        `json:"name"` // of the test or feature, for people
	Feature     string        `json:"feature,omitempty"`
	Subject     SubjectAnswer `json:"subject"`
	Value       *float64      `json:"value"`
	Unit        string        `json:"unit"`
	Uncertainty *float64      `json:"uncertainty"` // standard uncertainty, in unit
	State       string        `json:"state"`
	Outcome     string        `json:"outcome,omitempty"`
	Sentence    string        `json:"sentence"`
	Why         string        `json:"why,omitempty"`     // how it was judged
	Matters     string        `json:"matters,omitempty"` // for the apprentice: what the feature is about
	More        int           `json:"more_placements,omitempty"`
	Flags       []string      `json:"flags,omitempty"`
	SetAside    bool          `json:"set_aside,omitempty"`
	When        string        `json:"when"`
	From        FromAnswer    `json:"from"`
}

// FromAnswer walks a finding back to its file.
type FromAnswer struct {
	File    string `json:"file"`
	Channel string `json:"channel,omitempty"`
	First   int    `json:"first,omitempty"`
	Last    int    `json:"last,omitempty"`
	Line    int    `json:"line,omitempty"`
}

// SuspectAnswer is one suspect with its chance and what moved it.
type SuspectAnswer struct {
	ID        string        `json:"id"`
	Component string        `json:"component"`
	Fault     string        `json:"fault"`
	Text      string        `json:"text"`
	Subject   SubjectAnswer `json:"subject"`
	Chance    float64       `json:"chance"`
	Before    float64       `json:"before"`
	State     string        `json:"state"`
	By        string        `json:"by,omitempty"`
	Reason    string        `json:"reason,omitempty"`
	MovedBy   []MovedAnswer `json:"moved_by"`
	Overruled string        `json:"overruled,omitempty"`
	// Stays is the finding that the complaint stays although the shown part was put right.
	Stays string `json:"complaint_stays,omitempty"`
	// WithSetAside is the chance with the set-aside items counted after all.
	WithSetAside *float64 `json:"chance_with_set_aside,omitempty"`
}

// ByWord reports whether a person ruled the suspect out against the readings.
func (r RuledOutAnswer) ByWord() bool { return r.By == reason.ByWord }

// ByWord reports whether the suspect is shown by a person's word alone.
func (s *SuspectAnswer) ByWord() bool {
	return s.State == string(reason.Shown) && s.By == reason.ByWord
}

// MovedAnswer is one factor on the odds of a suspect. Prior and context factors
// are listed like items.
type MovedAnswer struct {
	Finding string  `json:"finding"`
	Factor  float64 `json:"factor"`
}

// RuledOutAnswer is a suspect that is out, and by what: a finding id or
// "elimination".
type RuledOutAnswer struct {
	ID     string  `json:"id"`
	Text   string  `json:"text"`
	By     string  `json:"by"`
	Chance float64 `json:"chance"`
	Reason string  `json:"reason"`
}

// ConflictAnswer is a small set of findings that cannot all be right.
type ConflictAnswer struct {
	Findings []string `json:"findings"`
	Items    []int    `json:"items"`
	Doubtful string   `json:"doubtful"`
	Reason   string   `json:"reason"`
	Settle   string   `json:"settle"`
	// Kept says by whom and why all are kept: it no longer stands in the way.
	Kept string `json:"kept,omitempty"`
	// Sides is what each of two readings said by itself. A finding cannot say it: it
	// pools the readings of one thing, so that both would show their mean.
	Sides []ConflictSide `json:"sides,omitempty"`
}

// ConflictSide is one reading of a conflict.
type ConflictSide struct {
	Item int    `json:"item"`
	Text string `json:"text"`
}

// NextAnswer is a test worth doing, with what is expected of it.
type NextAnswer struct {
	Test        string          `json:"test"`
	Name        string          `json:"name"`
	Feature     string          `json:"feature,omitempty"` // what a numeric test reads
	Subject     SubjectAnswer   `json:"subject"`
	Minutes     float64         `json:"minutes"`
	EndsIt      float64         `json:"ends_it"`
	SettlesBits float64         `json:"settles_bits"`
	Cost        float64         `json:"expected_minutes_to_repair,omitempty"`
	Equipment   []string        `json:"equipment"`
	Hazards     []HazardAnswer  `json:"hazards"`
	Outcomes    []OutcomeAnswer `json:"outcomes"`
	Do          string          `json:"do,omitempty"`
	Says        string          `json:"says,omitempty"`
	Why         string          `json:"why,omitempty"`
	// Repeat is how many more times a reading already begun should be taken, such
	// as a pickup placed anew; 0 for a new test.
	Repeat int `json:"repeat,omitempty"`
}

// HazardAnswer is a caution with its signal word.
type HazardAnswer struct {
	Word string `json:"word"`
	Text string `json:"text"`
}

// OutcomeAnswer is one expected outcome, written before the test.
type OutcomeAnswer struct {
	ID      string  `json:"id"`
	Text    string  `json:"text"`
	Chance  float64 `json:"chance"`
	LeadsTo string  `json:"leads_to"`
}

// LeftOut is something that could not be used, with its place and what to do.
type LeftOut struct {
	File string `json:"file"`
	Line int    `json:"line,omitempty"`
	// Path is the place in the job file ("readings[2].value"), for whoever writes it; Item
	// is the item that stands there, by which a screen names it.
	Path string `json:"path,omitempty"`
	Item int    `json:"item,omitempty"`
	Why  string `json:"why"`
}

// NoteAnswer is something found out while reading, that left nothing out.
type NoteAnswer struct {
	File string `json:"file,omitempty"`
	Line int    `json:"line,omitempty"`
	Path string `json:"path,omitempty"` // as in LeftOut
	Text string `json:"text"`
}

// CautionAnswer is a warning about the job as a whole (a flashing lamp).
type CautionAnswer struct {
	Word string `json:"word"`
	Text string `json:"text"`
}

// GroupAnswer names suspects that the evidence cannot yet tell apart.
type GroupAnswer struct {
	Suspects []string `json:"suspects"`
	Text     string   `json:"text"`
	Chance   float64  `json:"chance"`
}
