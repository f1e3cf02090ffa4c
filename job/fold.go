package job

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"proveout/strict"
)

// Line is one stored line of a record with the entry it holds. Parse it once.
type Line struct {
	Bytes []byte // as stored, without a line end
	Entry Entry
	// Order is the place of the entry in the shop: the server orders the chains of
	// the devices.
	Order int64
}

// Fold derives the state of a job from its entries in the shop's order. An entry
// that cannot be used is listed under Problems and changes nothing else; one of an
// unknown type is counted.
func Fold(lines []Line) *State {
	s := &State{Kind: "diagnosis", Heads: map[string]Head{}, In: map[string]string{}, head: newFields(), own: newFields()}
	undone := Undone(lines)
	for i := range lines {
		e := &lines[i].Entry
		s.Entries++
		s.Heads[e.Device] = Head{e.Sequence, Digest(lines[i].Bytes)}
		s.noteItem(e)
		if undone[e.ID] {
			continue
		}
		apply, known := appliers[e.Type]
		if !known {
			s.Unknown++
			continue
		}
		if err := apply(s, e); err != nil {
			s.Problems = append(s.Problems, Problem{File: "record", Line: i + 1, Severity: strict.Error, Text: e.Type + ": " + err.Error()})
		}
	}
	slices.SortStableFunc(s.Items, func(a, b Item) int { return a.Number - b.Number })
	return s
}

// Undone finds what undo entries took back. The last word counts: an undo
// that was itself undone takes nothing back.
func Undone(lines []Line) map[string]bool {
	out := map[string]bool{}
	for i := len(lines) - 1; i >= 0; i-- {
		e := &lines[i].Entry
		if e.Type != UndoType || out[e.ID] {
			continue
		}
		var u Undo
		if json.Unmarshal(e.Payload, &u) == nil && u.Entry != "" {
			out[u.Entry] = true
		}
	}
	return out
}

// MayUndo reports whether an entry of a type can be taken back. What opened a job, what
// a procedure did (its lines are a chain of their own) and what was concluded stay; a
// danger is taken away by saying what made it safe, an interruption by going on.
func MayUndo(entryType string) bool {
	switch entryType {
	case ReceivedType, ConclusionType, ProcedureStartedType, ProcedureEventType, ProcedureEndedType, DangerousType, MadeSafeType, InterruptedType, ResumedType, SettingsChangedType:
		return false
	}
	return true
}

func (s *State) noteItem(e *Entry) {
	if e.Type != CaptureAddedType && e.Type != ReadingTypedType {
		return
	}
	var p struct{ Item int }
	if json.Unmarshal(e.Payload, &p) == nil {
		s.topItem = max(s.topItem, p.Item)
	}
}

// said reads the payload of an entry.
func said[T any](e *Entry) (Said[T], error) {
	out := Said[T]{Entry: e.ID, Author: e.Author, Wall: e.Wall}
	if err := json.Unmarshal(e.Payload, &out.What); err != nil {
		return out, fmt.Errorf("the payload cannot be read: %w", err)
	}
	return out, nil
}

// on makes an applier from a function of the payload.
func on[T any](f func(*State, Said[T]) error) func(*State, *Entry) error {
	return func(s *State, e *Entry) error {
		p, err := said[T](e)
		if err != nil {
			return err
		}
		return f(s, p)
	}
}

// appliers say what each type of entry does to the state.
var appliers map[string]func(*State, *Entry) error

func init() { // refers to itself through the functions
	appliers = map[string]func(*State, *Entry) error{
		ReceivedType:         received,
		VehicleChangedType:   on((*State).vehicleChanged),
		CaptureAddedType:     on((*State).captureAdded),
		CaptureDescribedType: on((*State).captureDescribed),
		ReadingTypedType:     on((*State).readingTyped),
		SetAsideType:         on((*State).setAside),
		CountedAgainType:     on((*State).countedAgain),
		RetakenType:          on((*State).retaken),
		LimitGivenType:       on((*State).limitGiven),
		TestChosenType:       on(func(s *State, p Said[TestChosen]) error { s.Choices = append(s.Choices, Choice{Said: p}); return nil }),
		TestDeclinedType: on(func(s *State, p Said[TestDeclined]) error {
			s.Choices = append(s.Choices, Choice{Said: p, Declined: true})
			return nil
		}),
		TestStartedType:      on((*State).testStarted),
		TestEndedType:        on((*State).testEnded),
		OverruledType:        on((*State).overruled),
		ReadingsKeptType:     on((*State).readingsKept),
		SuspectAddedType:     on((*State).suspectAdded),
		TestAddedType:        on((*State).testAdded),
		ProcedureAddedType:   on(keep(func(s *State) *[]Said[ProcedureAdded] { return &s.Procedures })),
		PartOrderedType:      on(func(s *State, p Said[PartUsed]) error { s.Parts = append(s.Parts, PartState{Said: p}); return nil }),
		PartArrivedType:      on((*State).partArrived),
		PartFittedType:       on((*State).partFitted),
		CorrectionType:       on(keep(func(s *State) *[]Said[Corrected] { return &s.Corrections })),
		ProofPlannedType:     on((*State).proofPlanned),
		ProcedureStartedType: on((*State).procedureStarted),
		ProcedureEventType:   on((*State).procedureEvent),
		ProcedureEndedType:   on((*State).procedureEnded),
		DangerousType:        on(func(s *State, p Said[Dangerous]) error { s.Dangerous = &p; return nil }),
		MadeSafeType:         on(func(s *State, _ Said[MadeSafe]) error { s.Dangerous = nil; return nil }),
		DriveAddedType:       on(keep(func(s *State) *[]Said[DriveAdded] { return &s.Drives })),
		NoteType:             on(keep(func(s *State) *[]Said[Note] { return &s.Notes })),
		PhotoAddedType:       on(keep(func(s *State) *[]Said[PhotoAdded] { return &s.Photos })),
		ApprovalAskedType:    on(func(s *State, p Said[Agreed]) error { return s.approval(p, false) }),
		ApprovalGivenType:    on(func(s *State, p Said[Agreed]) error { return s.approval(p, true) }),
		TimePunchType:        on((*State).timePunch),
		HandOverType:         on((*State).handOver),
		InterruptedType:      on(func(s *State, p Said[Interrupted]) error { s.Interrupted = &p; return nil }),
		ResumedType:          on(func(s *State, _ Said[Resumed]) error { s.Interrupted = nil; return nil }),
		ClosedType:           on(func(s *State, p Said[Closed]) error { s.Closed = &p; return nil }),
		ReopenedType:         on(func(s *State, _ Said[Reopened]) error { s.Closed = nil; return nil }),
		UndoType:             func(*State, *Entry) error { return nil }, // done in Undone
		ConclusionType:       on(keep(func(s *State) *[]Said[Conclusion] { return &s.Conclusions })),
		SettingsChangedType:  on(func(s *State, p Said[Settings]) error { s.Settings = p.What; return nil }),
	}
}

// keep appends what was said to a list of the state.
func keep[T any](list func(*State) *[]Said[T]) func(*State, Said[T]) error {
	return func(s *State, p Said[T]) error {
		l := list(s)
		*l = append(*l, p)
		return nil
	}
}

func (s *State) timePunch(p Said[TimePunch]) error {
	since, in := s.In[p.Author]
	switch p.What.What {
	case "in":
		if !in {
			s.In[p.Author] = p.Wall
		}
	case "out":
		if !in {
			return fmt.Errorf("%s was not punched in", p.Author)
		}
		delete(s.In, p.Author)
		if m, ok := minutesBetween(since, p.Wall); ok {
			s.Minutes.Worked += m
		}
	default:
		return fmt.Errorf("%q; write in or out", p.What.What)
	}
	return nil
}

// minutesBetween two wall times; false when the clock ran backwards or cannot be
// read: such time is not counted, and never as less than nothing.
func minutesBetween(from, to string) (float64, bool) {
	a, err := time.Parse(time.RFC3339Nano, from)
	b, err2 := time.Parse(time.RFC3339Nano, to)
	if err != nil || err2 != nil || b.Before(a) {
		return 0, false
	}
	return b.Sub(a).Minutes(), true
}

func (s *State) approval(p Said[Agreed], given bool) error {
	if p.What.Minutes < 0 {
		return fmt.Errorf("%g minutes; an approval is of time to come", p.What.Minutes)
	}
	s.Approvals = append(s.Approvals, ApprovalState{p, given})
	if given {
		s.Minutes.Approved += p.What.Minutes
	}
	return nil
}

func (s *State) handOver(p Said[HandOver]) error {
	s.HandOvers = append(s.HandOvers, p)
	if to := strings.TrimSpace(p.What.To); to != "" {
		s.Person = to
	}
	return nil
}
