package job

import (
	"fmt"
	"slices"
)

// State is a job as its entries leave it. It is derived: it can be thrown away and
// folded again at any time.
type State struct {
	Job, Shop string
	Practice  bool
	Kind      string // diagnosis, service
	Title     string
	Customer  string // opaque id; the name lies beside the chain
	VehicleID string
	Bay       string
	Person    string // who has the job: opaque id
	Opened    string
	Promised  string
	Minutes   Minutes
	Procedure string // the procedure of a service job

	Items       []Item // by number
	Tests       []TestDone
	Choices     []Choice
	Parts       []PartState
	Corrections []Said[Corrected]
	Drives      []Said[DriveAdded]
	Notes       []Said[Note]
	Photos      []Said[PhotoAdded]
	Approvals   []ApprovalState
	HandOvers   []Said[HandOver]
	Runs        []Run
	Conclusions []Said[Conclusion]
	Dangerous   *Said[Dangerous]   // nil when safe
	Interrupted *Said[Interrupted] // nil when going on
	Closed      *Said[Closed]      // nil when open
	Settings    Settings
	Procedures  []Said[ProcedureAdded] // of the shop's own, as they were added
	In          map[string]string      // person to the time they are punched in since

	// Entries counts the entries folded; Unknown those of a type this program does
	// not know; Problems are entries that could not be used, which stay in the record.
	Entries  int
	Unknown  int
	Problems []Problem
	Heads    map[string]Head // by device

	head      *fields // the job file so far, without captures and readings
	overrules []any
	kept      []any
	limits    []any
	before    []any // corrections that stood in the job file it was made from
	approved  []any // approvals likewise
	own       *fields
	topItem   int // highest item number ever given, of undone entries too
}

// Head is the end of a device's chain.
type Head struct {
	Sequence int    `json:"sequence"`
	Digest   string `json:"digest"`
}

// PutRight reports whether anything was done to the vehicle: a correction, also one that
// stood in the job file it was made from, or a part fitted.
func (s *State) PutRight() bool {
	return len(s.Corrections)+len(s.before) > 0 || slices.ContainsFunc(s.Parts, func(p PartState) bool { return p.Fitted })
}

// Minutes of the job: what was agreed, what was approved since, what was worked.
type Minutes struct {
	Agreed   float64 `json:"agreed"`
	Approved float64 `json:"approved"`
	Worked   float64 `json:"worked"`
}

// Said is a payload with who said it and when.
type Said[T any] struct {
	Entry  string `json:"entry"`
	Author string `json:"author"`
	Wall   string `json:"wall"`
	What   T      `json:"what"`
}

// Item is one numbered piece of evidence.
type Item struct {
	Number   int
	Kind     string // capture, reading
	Entry    string
	Author   string
	Wall     string
	SHA256   string // of a capture
	Name     string // as the person's file was called
	File     string // its path in the job folder
	Size     int64
	SetAside string // reason; empty: counted
	Retaken  int    // number of the item that replaces it
	form     *fields
}

// TestDone is one test with its real minutes.
type TestDone struct {
	Test    string  `json:"test"`
	Subject string  `json:"subject,omitempty"`
	Author  string  `json:"author"`
	Started string  `json:"started"`
	Ended   string  `json:"ended,omitempty"`
	Minutes float64 `json:"minutes,omitempty"`
	Done    bool    `json:"done"`
}

// Choice is a test chosen or declined, with what was on offer.
type Choice struct {
	Said[TestChosen]
	Declined bool `json:"declined,omitempty"`
}

// PartState is a part ordered, here or fitted.
type PartState struct {
	Said[PartUsed]
	Arrived string `json:"arrived,omitempty"` // when it came; empty: not yet, or from the shelf
	Fitted  bool   `json:"fitted"`
}

// ApprovalState is minutes asked for or given.
type ApprovalState struct {
	Said[Agreed]
	Given bool `json:"given"`
}

// Run is a procedure run with the lines of its own record.
type Run struct {
	ID        string           `json:"id"`
	Procedure string           `json:"procedure"`
	Version   string           `json:"version,omitempty"`
	SHA256    string           `json:"sha256,omitempty"`
	Started   string           `json:"started"`
	Author    string           `json:"author"`
	End       string           `json:"end,omitempty"` // empty: running
	Text      string           `json:"-"`             // of a procedure of the shop's own
	Lines     []ProcedureEvent `json:"-"`
}

// Item gives an item by its number.
func (s *State) Item(n int) (*Item, bool) {
	for i := range s.Items {
		if s.Items[i].Number == n {
			return &s.Items[i], true
		}
	}
	return nil, false
}

// NextItem is the number the next item gets. Numbers are never used twice, not
// even when an item was undone.
func (s *State) NextItem() int {
	return s.topItem + 1
}

// Run gives a procedure run by its id.
func (s *State) Run(id string) (*Run, bool) {
	for i := range s.Runs {
		if s.Runs[i].ID == id {
			return &s.Runs[i], true
		}
	}
	return nil, false
}

// MinutesLeft is what is approved and not yet worked.
func (s *State) MinutesLeft() float64 {
	return s.Minutes.Agreed + s.Minutes.Approved - s.Minutes.Worked
}

// Form gives a part of the job file ("vehicle", "complaint", "history") as JSON.
func (s *State) Form(name string) Form {
	f, ok := s.head.values[name].(*fields)
	if !ok {
		return Form("{}")
	}
	out, err := f.MarshalJSON()
	if err != nil {
		return Form("{}") // cannot be: it was read from JSON
	}
	return out
}

// Word gives a field of a part of the job file that is text or a number, or "".
func (s *State) Word(part, name string) string {
	f, ok := s.head.values[part].(*fields)
	if !ok || f.values[name] == nil || !isScalar(f.values[name]) {
		return ""
	}
	return fmt.Sprint(f.values[name])
}

// Form gives the item's description as JSON, the way it came.
func (it *Item) Form() Form {
	if it.form == nil {
		return Form("{}")
	}
	out, err := it.form.MarshalJSON()
	if err != nil {
		return Form("{}")
	}
	return out
}
