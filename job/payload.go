package job

import "encoding/json"

// Types of entries this program writes. A type it does not know is kept, shown
// and exported as it is.
const (
	ReceivedType         = "received@1"
	VehicleChangedType   = "vehicle_changed@1"
	CaptureAddedType     = "capture_added@1"
	CaptureDescribedType = "capture_described@1"
	ReadingTypedType     = "reading_typed@1"
	SetAsideType         = "set_aside@1"
	CountedAgainType     = "counted_again@1"
	RetakenType          = "retaken@1"
	LimitGivenType       = "limit_given@1"
	TestChosenType       = "test_chosen@1"
	TestDeclinedType     = "test_declined@1"
	TestStartedType      = "test_started@1"
	TestEndedType        = "test_ended@1"
	OverruledType        = "overruled@1"
	ReadingsKeptType     = "readings_kept@1"
	SuspectAddedType     = "suspect_added@1"
	TestAddedType        = "test_added@1"
	ProcedureAddedType   = "procedure_added@1"
	PartOrderedType      = "part_ordered@1"
	PartArrivedType      = "part_arrived@1"
	PartFittedType       = "part_fitted@1"
	CorrectionType       = "correction@1"
	ProofPlannedType     = "proof_planned@1"
	ProcedureStartedType = "procedure_started@1"
	ProcedureEventType   = "procedure_event@1"
	ProcedureEndedType   = "procedure_ended@1"
	DangerousType        = "dangerous@1"
	MadeSafeType         = "made_safe@1"
	DriveAddedType       = "drive_added@1"
	NoteType             = "note@1"
	PhotoAddedType       = "photo_added@1"
	ApprovalAskedType    = "approval_asked@1"
	ApprovalGivenType    = "approval_given@1"
	TimePunchType        = "time_punch@1"
	HandOverType         = "hand_over@1"
	InterruptedType      = "interrupted@1"
	ResumedType          = "resumed@1"
	ClosedType           = "closed@1"
	ReopenedType         = "reopened@1"
	UndoType             = "undo@1"
	ConclusionType       = "conclusion@1"
	SettingsChangedType  = "settings_changed@1"
)

// Form is a piece of a job file in JSON, with the job file's own field names: see
// docs/job-folder.md. It is kept as it came, so that "not said" stays apart from
// "no".
type Form = json.RawMessage

// Received opens a job. No personal data: VIN, plate, names and telephone lie
// beside the chain, under the customer's key.
type Received struct {
	Title         string   `json:"title,omitempty"` // the shop's number for the job
	Kind          string   `json:"kind,omitempty"`  // diagnosis (default) or service
	Customer      string   `json:"customer,omitempty"`
	VehicleID     string   `json:"vehicle_id,omitempty"`
	Vehicle       Form     `json:"vehicle,omitempty"`   // "vehicle" of a job file without vin and plate
	Complaint     Form     `json:"complaint,omitempty"` //
	History       Form     `json:"history,omitempty"`
	Equipment     []string `json:"equipment,omitempty"`
	Books         []string `json:"books,omitempty"`
	Known         Form     `json:"known,omitempty"`
	Limits        []Form   `json:"limits,omitempty"`
	Overrules     []Form   `json:"overrules,omitempty"`
	Kept          []Form   `json:"kept,omitempty"`
	Own           Form     `json:"own,omitempty"`
	Approvals     []Form   `json:"approvals,omitempty"`
	Corrections   []Form   `json:"corrections,omitempty"`
	Proof         Form     `json:"proof,omitempty"`
	HandedOver    Form     `json:"handed_over,omitempty"`
	Opened        string   `json:"opened,omitempty"`
	Technician    string   `json:"technician,omitempty"` // opaque id of a person
	Promised      string   `json:"promised,omitempty"`   // RFC 3339
	AgreedMinutes float64  `json:"agreed_minutes,omitempty"`
	Bay           string   `json:"bay,omitempty"`
	Procedure     string   `json:"procedure,omitempty"` // of a service job
}

// VehicleChanged puts right or adds what is known of vehicle, complaint and terms;
// an empty field leaves as it is.
type VehicleChanged struct {
	Vehicle       Form     `json:"vehicle,omitempty"`
	Complaint     Form     `json:"complaint,omitempty"`
	History       Form     `json:"history,omitempty"`
	Known         Form     `json:"known,omitempty"` // a fact set to "" or 0 is not known any more
	Equipment     []string `json:"equipment,omitempty"`
	Books         []string `json:"books,omitempty"`
	Technician    string   `json:"technician,omitempty"`
	Promised      string   `json:"promised,omitempty"`
	AgreedMinutes float64  `json:"agreed_minutes,omitempty"`
	Bay           string   `json:"bay,omitempty"`
}

// CaptureAdded cites a capture that lies whole in the store. Form is an entry of
// "captures" of a job file without file, item and set_aside.
type CaptureAdded struct {
	Item   int    `json:"item"` // 0 in a command: the next free number
	SHA256 string `json:"sha256"`
	Name   string `json:"name"` // as the person's file was called
	Size   int64  `json:"size"`
	Form   Form   `json:"form,omitempty"`
}

// CaptureDescribed replaces the description of a capture: columns, kind, where.
type CaptureDescribed struct {
	Item int  `json:"item"`
	Form Form `json:"form"`
}

// ReadingTyped is an entry of "readings" of a job file without item and set_aside.
type ReadingTyped struct {
	Item int  `json:"item"` // 0 in a command: the next free number
	Form Form `json:"form"`
}

// SetAside shows an item and does not count it; CountedAgain takes that back.
type SetAside struct {
	Item   int    `json:"item"`
	Reason string `json:"reason"`
}

// Retaken says that an item was read anew as another item: the old one is shown
// and not counted.
type Retaken struct {
	Item int `json:"item"`
	By   int `json:"by"`
}

// LimitGiven is an entry of "limits" of a job file. The last one of a feature at a place
// stands.
type LimitGiven struct {
	Form Form `json:"form"`
}

// Offered is a test as it stood in the list when a choice was made: learning
// needs what was on offer, not only what was taken.
type Offered struct {
	Test        string  `json:"test"`
	Subject     string  `json:"subject,omitempty"` // key: cyl3, bank1; empty: engine
	Minutes     float64 `json:"minutes"`
	EndsIt      float64 `json:"ends_it"`
	SettlesBits float64 `json:"settles_bits"`
}

// TestChosen and TestDeclined record a choice, why, and what else was on offer.
type TestChosen struct {
	Test    string    `json:"test"`
	Subject string    `json:"subject,omitempty"`
	Minutes float64   `json:"minutes,omitempty"` // as estimated
	Reason  string    `json:"reason,omitempty"`  // needed for a decline
	Offered []Offered `json:"offered,omitempty"`
}

// TestDeclined is TestChosen the other way.
type TestDeclined = TestChosen

// TestStarted begins a test's own time; TestEnded gives the real minutes.
type TestStarted struct {
	Test    string `json:"test"`
	Subject string `json:"subject,omitempty"`
}

// TestEnded ends a test.
type TestEnded struct {
	Test    string  `json:"test"`
	Subject string  `json:"subject,omitempty"`
	Minutes float64 `json:"minutes"` // real
	Done    bool    `json:"done"`    // false: given up
}

// Overruled is the technician's own decision on a suspect.
type Overruled struct {
	Suspect string `json:"suspect"`
	State   string `json:"state"` // open, suspected, ruled_out, shown (by word)
	Reason  string `json:"reason"`
}

// ReadingsKept keeps readings that disagree, all of them, with the reason.
type ReadingsKept struct {
	Items  []int  `json:"items"`
	Reason string `json:"reason"`
}

// SuspectAdded and TestAdded are overlays on the fault books: they add, and never
// change a figure of a book. Scope shop keeps them for later jobs.
type SuspectAdded struct {
	Scope     string `json:"scope,omitempty"`     // job (default), shop
	Component Form   `json:"component,omitempty"` // entry of "components" of a fault book
	Fault     Form   `json:"fault"`               // entry of "faults"
	Symptoms  Form   `json:"symptoms,omitempty"`  // map of symptom ids
}

// TestAdded adds a test of the shop's own.
type TestAdded struct {
	Scope string `json:"scope,omitempty"`
	Test  Form   `json:"test"` // entry of "tests" of a fault book
}

// PartUsed is a part ordered or fitted.
type PartUsed struct {
	Name    string `json:"name"`
	Number  string `json:"number,omitempty"`
	Lot     string `json:"lot,omitempty"`
	Where   string `json:"where,omitempty"` // cyl3, rear_left
	Count   int    `json:"count,omitempty"`
	Suspect string `json:"suspect,omitempty"` // what it is meant to put right
	Due     string `json:"due,omitempty"`     // RFC 3339, of an order
}

// PartArrived says that an ordered part is here.
type PartArrived struct {
	Entry string `json:"entry"` // id of the part_ordered@1
	Note  string `json:"note,omitempty"`
}

// Corrected is what was done to put the complaint right.
type Corrected struct {
	Done   string     `json:"done"`            // in words
	Cause  string     `json:"cause,omitempty"` // suspect id it answers
	Parts  []PartUsed `json:"parts,omitempty"`
	Reused string     `json:"reused,omitempty"` // what was put back in, and where
}

// ProofPlanned is "proof" of a job file: how the repair is to be proven, and under
// which conditions. The last one stands.
type ProofPlanned struct {
	Form Form `json:"form"`
}

// ProcedureStarted begins a run of a procedure.
type ProcedureStarted struct {
	Run       string `json:"run"`
	Procedure string `json:"procedure"`
	Version   string `json:"version,omitempty"`
	SHA256    string `json:"sha256,omitempty"` // of the procedure's file
	// Text is the file itself where it is the shop's own: the run goes on with that very
	// text, whatever the shop keeps later, and in another shop too.
	Text string `json:"text,omitempty"`
}

// ProcedureAdded keeps a procedure of the shop's own, once the checker has passed it. It
// stands in the record of the shop itself; a later one of the same id replaces it for
// runs to come.
type ProcedureAdded struct {
	Procedure   string `json:"procedure"`
	Title       string `json:"title"`
	Version     int    `json:"version"`
	SHA256      string `json:"sha256"` // of Text
	Text        string `json:"text"`   // the file as it was given
	States      int    `json:"states"` // that the checker went through
	Transitions int    `json:"transitions"`
	Rules       int    `json:"rules"`
	Program     string `json:"program"` // that checked it
}

// ProcedureEvent is one line of the runner's own record, kept as bytes.
type ProcedureEvent struct {
	Run  string `json:"run"`
	Step string `json:"step,omitempty"`
	Line string `json:"line"`
}

// ProcedureEnded ends a run.
type ProcedureEnded struct {
	Run string `json:"run"`
	End string `json:"end"` // finished, stopped, made_safe
}
