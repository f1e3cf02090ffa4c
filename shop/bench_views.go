package shop

import (
	"encoding/json"
	"time"

	"proveout/job"
)

// BoardView is the shop's board.
type BoardView struct {
	Rev  int64      `json:"rev"` // order of the newest entry shown
	Rows []BoardRow `json:"rows"`
}

// BoardRow is one job on the board. Dangerous ones stand first.
type BoardRow struct {
	Job       string  `json:"job"`
	Title     string  `json:"title,omitempty"`
	Kind      string  `json:"kind"` // diagnosis, service
	Practice  bool    `json:"practice,omitempty"`
	Open      bool    `json:"open"`
	Plate     string  `json:"plate,omitempty"`
	Erased    bool    `json:"erased,omitempty"` // the customer's data was erased on request
	Vehicle   string  `json:"vehicle"`
	Complaint string  `json:"complaint"`
	Stage     string  `json:"stage"`  // name of the stage that is now
	Stages    []Stage `json:"stages"` // the squares
	Bay       string  `json:"bay,omitempty"`
	Person    string  `json:"person,omitempty"` // opaque id
	Who       string  `json:"who,omitempty"`    // the person's name
	Promised  string  `json:"promised,omitempty"`
	// MinutesLeft is approved and not yet worked; below zero: over.
	MinutesLeft  float64  `json:"minutes_left"`
	Approved     float64  `json:"approved_minutes"`
	ApprovalOpen bool     `json:"approval_open,omitempty"` // asked and not answered
	Dangerous    string   `json:"dangerous,omitempty"`     // why it must not be left or driven
	Corner       string   `json:"corner,omitempty"`
	Interrupted  string   `json:"interrupted,omitempty"`
	WaitsForPart string   `json:"waits_for_part,omitempty"`
	PartHere     string   `json:"part_here,omitempty"` // it came and is not fitted
	Disagree     []string `json:"disagree,omitempty"`  // items that cannot all be right: "7+8"
	Next         Action   `json:"next"`
	Ended        string   `json:"ended,omitempty"`  // of a closed job
	Result       string   `json:"result,omitempty"` // proven, improved, not_proven
	Rev          int64    `json:"rev"`
	Updated      string   `json:"updated"`
	In           []string `json:"in,omitempty"` // persons punched in
}

// Action is the next thing to do with a job. ID is stable and is what a catalogue
// of texts translates; Label is English; Href is relative to the job's page.
type Action struct {
	ID      string  `json:"id"`
	Label   string  `json:"label"`
	Href    string  `json:"href"`
	Test    string  `json:"test,omitempty"`
	Subject string  `json:"subject,omitempty"`
	Minutes float64 `json:"minutes,omitempty"`
}

// Stage is one square of a job's way to the proof: open, now or done.
type Stage struct {
	ID    string `json:"id"` // complaint, evidence, suspects, next_test, correction, procedure, proof
	State string `json:"state"`
}

// JobView is everything one job's page shows.
type JobView struct {
	Job       string          `json:"job"`
	Rev       int64           `json:"rev"` // order of the job's newest entry
	Title     string          `json:"title,omitempty"`
	Kind      string          `json:"kind"`
	Practice  bool            `json:"practice,omitempty"`
	Opened    string          `json:"opened"`
	Board     BoardRow        `json:"board"`
	Customer  CustomerView    `json:"customer"`
	Vehicle   VehicleView     `json:"vehicle"`
	Complaint json.RawMessage `json:"complaint"` // as the job file has it
	History   json.RawMessage `json:"history"`
	Known     json.RawMessage `json:"known"`
	Stages    []Stage         `json:"stages"`
	Next      Action          `json:"next"`
	Items     []ItemView      `json:"items"`

	// Answer is the newest one worked out; nil when there is none yet or nothing can
	// be answered, and AnswerError then says why. Working: a newer one is on its way
	// and comes as a change.
	Answer      *Answer `json:"answer,omitempty"`
	AnswerError string  `json:"answer_error,omitempty"`
	Working     bool    `json:"working,omitempty"`

	Minutes     job.Minutes                `json:"minutes"`
	Tests       []job.TestDone             `json:"tests"`
	Choices     []job.Choice               `json:"choices"`
	Parts       []job.PartState            `json:"parts"`
	Corrections []job.Said[job.Corrected]  `json:"corrections"`
	Drives      []job.Said[job.DriveAdded] `json:"drives"`
	Notes       []job.Said[job.Note]       `json:"notes"`
	Photos      []job.Said[job.PhotoAdded] `json:"photos"`
	Approvals   []job.ApprovalState        `json:"approvals"`
	HandOvers   []job.Said[job.HandOver]   `json:"hand_overs"`
	Runs        []job.Run                  `json:"runs"`
	Conclusions []job.Said[job.Conclusion] `json:"conclusions"`
	Dangerous   *job.Said[job.Dangerous]   `json:"dangerous,omitempty"`
	Interrupted *job.Said[job.Interrupted] `json:"interrupted,omitempty"`
	Closed      *job.Said[job.Closed]      `json:"closed,omitempty"`
	People      map[string]string          `json:"people"`  // names of the persons named here
	Entries     []EntryView                `json:"entries"` // the newest last, at most 50
	Count       int                        `json:"count"`   // of all entries
	Conflicts   []job.Conflict             `json:"entry_conflicts"`
	Unknown     int                        `json:"unknown,omitempty"` // entries of a type this program does not know
	Problems    []string                   `json:"problems,omitempty"`
}

// CustomerView is the customer, from beside the chain.
type CustomerView struct {
	ID     string `json:"id,omitempty"`
	Name   string `json:"name,omitempty"`
	Phone  string `json:"phone,omitempty"`
	Email  string `json:"email,omitempty"`
	Note   string `json:"note,omitempty"`
	Erased bool   `json:"erased,omitempty"`
}

// VehicleView is the vehicle; VIN and plate come from beside the chain.
type VehicleView struct {
	ID    string          `json:"id,omitempty"`
	VIN   string          `json:"vin,omitempty"`
	Plate string          `json:"plate,omitempty"`
	Form  json.RawMessage `json:"form"` // "vehicle" of the job file
	Words string          `json:"words"`
}

// ItemView is one numbered piece of evidence.
type ItemView struct {
	Item     int             `json:"item"`
	Kind     string          `json:"kind"` // capture, reading
	Entry    string          `json:"entry"`
	Author   string          `json:"author"`
	Wall     string          `json:"wall"`
	SHA256   string          `json:"sha256,omitempty"`
	Name     string          `json:"name,omitempty"`
	File     string          `json:"file,omitempty"`
	Size     int64           `json:"size,omitempty"`
	SetAside string          `json:"set_aside,omitempty"`
	Retaken  int             `json:"retaken_as,omitempty"`
	Form     json.RawMessage `json:"form"`
	// What and Notes are from the answer, empty until it is there.
	What  string   `json:"what,omitempty"`
	Notes []string `json:"notes,omitempty"`
}

// EntryView is one line of the record for people.
type EntryView struct {
	ID       string          `json:"id"`
	Order    int64           `json:"order"`
	Type     string          `json:"type"`
	Known    bool            `json:"known"` // this program knows the type
	Author   string          `json:"author"`
	Device   string          `json:"device"`
	Wall     string          `json:"wall"`
	Attested string          `json:"attested,omitempty"`
	Digest   string          `json:"digest"`
	Undone   bool            `json:"undone,omitempty"`
	Payload  json.RawMessage `json:"payload"`
}

// Change says that something is new.
type Change struct {
	Job  string `json:"job"`
	Rev  int64  `json:"rev"`
	What string `json:"what"` // entry, answer, personal, settings
	Type string `json:"type,omitempty"`
}

// Command is what a device asks to have written.
type Command struct {
	Key    string `json:"key"` // the same key again gets the same answer
	Device string `json:"device"`
	N      int64  `json:"n,omitempty"` // the device's own counter; 0: not kept
	// Settled is the highest counter up to which the device has had an answer for all it
	// sent, taken or refused: there is nothing earlier to wait for.
	Settled int64           `json:"settled,omitempty"`
	Author  string          `json:"author"` // person id
	Type    string          `json:"type"`
	Payload json.RawMessage `json:"payload"`
	Parents []string        `json:"parents,omitempty"`
	// Seen is the rev of the job the person was looking at: what others wrote about
	// the same thing after it is a conflict. 0: not known, nothing is.
	Seen        int64     `json:"seen,omitempty"`
	Wall        time.Time `json:"wall"`
	MonotonicNS int64     `json:"monotonic_ns"`
	Boot        string    `json:"boot"`
	Attested    string    `json:"attested,omitempty"` // what was shown for it; set by who checked it
	Practice    bool      `json:"practice,omitempty"` // of a received@1
}

// Receipt says that an entry is written and safe.
type Receipt struct {
	Job      string   `json:"job"`
	Entry    string   `json:"entry"`
	Digest   string   `json:"digest"`
	Sequence int64    `json:"sequence"`           // order in the shop
	Item     int      `json:"item,omitempty"`     // the number an item got
	Again    bool     `json:"again,omitempty"`    // the command was carried out before
	Late     bool     `json:"late,omitempty"`     // earlier commands of the device are missing
	Conflict []string `json:"conflict,omitempty"` // entries of others about the same thing
}
