package job

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"proveout/strict"
)

// tape makes entries for tests.
type tape struct {
	t     *testing.T
	lines []Line
	heads map[string]Head
}

func newTape(t *testing.T) *tape { return &tape{t: t, heads: map[string]Head{}} }

// say adds an entry of a device and gives its id.
func (p *tape) say(device, author, entryType string, payload any, more ...func(*Entry)) string {
	p.t.Helper()
	body, ok := payload.(json.RawMessage)
	if !ok {
		var err error
		if body, err = json.Marshal(payload); err != nil {
			p.t.Fatal(err)
		}
	}
	n := len(p.lines) + 1
	h := p.heads[device]
	e := Entry{
		Schema: EntrySchemaID, ID: fmt.Sprint("e", n), Shop: "shop", Job: "j1", Author: author, Device: device, Sequence: h.Sequence + 1, Previous: h.Digest,
		Wall: fmt.Sprintf("2026-11-25T08:%02d:00+01:00", n), Type: entryType, Parents: []string{}, Payload: body,
	}
	for _, f := range more {
		f(&e)
	}
	line, err := json.Marshal(e)
	if err != nil {
		p.t.Fatal(err)
	}
	p.heads[device] = Head{e.Sequence, Digest(line)}
	p.lines = append(p.lines, Line{Bytes: line, Entry: e, Order: int64(n)})
	return e.ID
}

func (p *tape) fold() *State { return Fold(p.lines) }

const wren = `{"make":"Alder","model":"Wren 1.6","engine":{"cylinders":4,"ignition":"coil_on_plug","injection":"port"}}`

func (p *tape) received() {
	p.say("d1", "ines", ReceivedType, Received{Title: "QL-1", Vehicle: Form(wren), Complaint: Form(`{"said":"stumbles","symptoms":["misfire_load"]}`), AgreedMinutes: 60, Promised: "2026-11-25T17:00:00+01:00"})
}

// Every type that can be written can be folded, and the other way round: a type in
// one table only would be written and then not understood, or never written.
func TestTypesAreKnownOnBothSides(t *testing.T) {
	a, b := slices.Sorted(maps.Keys(payloads)), slices.Sorted(maps.Keys(appliers))
	if strings.Join(a, " ") != strings.Join(b, " ") {
		t.Errorf("written: %v\nfolded:  %v", a, b)
	}
}

func TestWhatEntriesComeTo(t *testing.T) {
	gap := Form(`{"feature":"plug.gap","value":"1.0 mm","cylinder":3}`)
	for _, c := range []struct {
		name string
		tell func(*tape)
		want func(*State) string // empty: as it should be
	}{
		{"received", func(*tape) {}, func(s *State) string {
			return is(s.Title == "QL-1" && s.Person == "ines" && s.Minutes.Agreed == 60 && s.Kind == "diagnosis" && s.Word("vehicle", "make") == "Alder", s)
		}},
		{"received twice", func(p *tape) { p.received() }, func(s *State) string { return is(len(s.Problems) == 1, s) }},
		{"the vehicle is put right, the rest of it stays", func(p *tape) {
			p.say("d1", "ines", VehicleChangedType, VehicleChanged{Vehicle: Form(`{"model":"Wren 2.0","engine":{"displacement":"2.0 L"}}`), Bay: "2"})
		}, func(s *State) string {
			return is(s.Word("vehicle", "make") == "Alder" && s.Word("vehicle", "model") == "Wren 2.0" && strings.Contains(string(s.Form("vehicle")), `"cylinders":4`) && s.Bay == "2", s)
		}},
		{"items by number", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 2, Form: gap})
			p.say("d2", "tom", CaptureAddedType, CaptureAdded{Item: 1, SHA256: strings.Repeat("a", 64), Name: "C:\\My Scope\\coil 3.csv"})
		}, func(s *State) string {
			return is(len(s.Items) == 2 && s.Items[0].Kind == "capture" && s.Items[0].File == "captures/coil-3.csv" && s.Items[1].Author == "ines" && s.NextItem() == 3, s)
		}},
		{"a number is given once", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 1, Form: gap})
			p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 1, Form: gap})
		}, func(s *State) string { return is(len(s.Items) == 1 && len(s.Problems) == 1, s) }},
		{"set aside, counted again", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 1, Form: gap})
			p.say("d1", "ines", SetAsideType, SetAside{Item: 1, Reason: "clamp slipped"})
		}, func(s *State) string { return is(s.Items[0].SetAside == "clamp slipped", s) }},
		{"set aside without a reason changes nothing", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 1, Form: gap})
			p.say("d1", "ines", SetAsideType, SetAside{Item: 1, Reason: "  "})
		}, func(s *State) string { return is(s.Items[0].SetAside == "" && len(s.Problems) == 1, s) }},
		{"retaken", func(p *tape) {
			p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 1, Form: gap})
			p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 2, Form: gap})
			p.say("d1", "ines", RetakenType, Retaken{Item: 1, By: 2})
			p.say("d1", "ines", RetakenType, Retaken{Item: 2, By: 9})
		}, func(s *State) string {
			return is(s.Items[0].Retaken == 2 && s.Items[0].SetAside != "" && s.Items[1].SetAside == "" && len(s.Problems) == 1, s)
		}},
		{"undone, and the undoing undone", func(p *tape) {
			a := p.say("d1", "ines", NoteType, Note{Text: "a"})
			b := p.say("d1", "ines", NoteType, Note{Text: "b"})
			u := p.say("d1", "ines", UndoType, Undo{Entry: a})
			p.say("d1", "ines", UndoType, Undo{Entry: u})
			p.say("d1", "ines", UndoType, Undo{Entry: b})
		}, func(s *State) string { return is(len(s.Notes) == 1 && s.Notes[0].What.Text == "a", s) }},
		{"the number of an undone item is not used again", func(p *tape) {
			p.say("d1", "ines", UndoType, Undo{Entry: p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 5, Form: gap})})
		}, func(s *State) string { return is(len(s.Items) == 0 && s.NextItem() == 6, s) }},
		{"time on the job", func(p *tape) {
			p.say("d1", "ines", TimePunchType, TimePunch{What: "in"})
			p.say("d1", "tom", TimePunchType, TimePunch{What: "in"})
			p.say("d1", "ines", TimePunchType, TimePunch{What: "in"})
			p.say("d1", "ines", TimePunchType, TimePunch{What: "out"})
		}, func(s *State) string { return is(s.Minutes.Worked == 3 && len(s.In) == 1 && s.MinutesLeft() == 57, s) }},
		{"a clock that runs backwards takes no time away", func(p *tape) {
			p.say("d1", "ines", TimePunchType, TimePunch{What: "in"})
			p.say("d1", "ines", TimePunchType, TimePunch{What: "out"}, func(e *Entry) { e.Wall = "2026-11-25T07:00:00+01:00" })
		}, func(s *State) string { return is(s.Minutes.Worked == 0 && len(s.In) == 0, s) }},
		{"approvals", func(p *tape) {
			p.say("d1", "ines", ApprovalAskedType, Agreed{Minutes: 30})
			p.say("d1", "ines", ApprovalGivenType, Agreed{Minutes: 30, How: "phone"})
			p.say("d1", "ines", ApprovalGivenType, Agreed{Minutes: -90})
		}, func(s *State) string {
			return is(s.Minutes.Approved == 30 && len(s.Approvals) == 2 && len(s.Problems) == 1, s)
		}},
		{"a test and its real minutes", func(p *tape) {
			p.say("d1", "ines", TestStartedType, TestStarted{Test: "gap", Subject: "cyl3"})
			p.say("d1", "ines", TestEndedType, TestEnded{Test: "gap", Subject: "cyl3", Minutes: 12, Done: true})
			p.say("d1", "ines", TestEndedType, TestEnded{Test: "swap", Minutes: 5})
			p.say("d1", "ines", TestStartedType, TestStarted{Test: "look"})
			p.say("d1", "ines", TestEndedType, TestEnded{Test: "look", Done: true})
			p.say("d1", "ines", TestDeclinedType, TestDeclined{Test: "leak", Reason: "no air today", Offered: []Offered{{Test: "leak", Minutes: 20}}})
		}, func(s *State) string {
			return is(len(s.Tests) == 3 && s.Tests[2].Minutes == 1 && s.Tests[0].Minutes == 12 && s.Tests[0].Done && s.Tests[1].Started == "" && s.Choices[0].Declined && s.Choices[0].What.Offered[0].Test == "leak", s)
		}},
		{"a part ordered and fitted is one part", func(p *tape) {
			p.say("d1", "ines", PartOrderedType, PartUsed{Name: "coil", Where: "cyl3"})
			p.say("d1", "ines", PartFittedType, PartUsed{Name: "coil", Where: "cyl3"})
			p.say("d1", "ines", PartFittedType, PartUsed{Name: "coil", Where: "cyl4"})
		}, func(s *State) string { return is(len(s.Parts) == 2 && s.Parts[0].Fitted && s.Parts[1].Fitted, s) }},
		{"an ordered part comes and is fitted", func(p *tape) {
			order := p.say("d1", "ines", PartOrderedType, PartUsed{Name: "coil", Where: "cyl3"})
			p.say("d1", "ines", PartArrivedType, PartArrived{Entry: order})
			p.say("d1", "ines", PartOrderedType, PartUsed{Name: "plug"})
			p.say("d1", "ines", PartFittedType, PartUsed{Name: "coil", Where: "cyl3"})
		}, func(s *State) string {
			return is(len(s.Parts) == 2 && s.Parts[0].Fitted && s.Parts[0].Arrived != "" && s.Parts[1].Arrived == "" && !s.Parts[1].Fitted, s)
		}},
		{"dangerous until made safe", func(p *tape) {
			p.say("d1", "ines", DangerousType, Dangerous{Text: "piston is out", Corner: "rear_left"})
		}, func(s *State) string { return is(s.Dangerous != nil && s.Dangerous.What.Corner == "rear_left", s) }},
		{"made safe", func(p *tape) {
			p.say("d1", "ines", DangerousType, Dangerous{Text: "piston is out"})
			p.say("d1", "ines", MadeSafeType, MadeSafe{Text: "pads in, tried twice"})
		}, func(s *State) string { return is(s.Dangerous == nil, s) }},
		{"interrupted and handed over", func(p *tape) {
			p.say("d1", "ines", InterruptedType, Interrupted{State: "plugs out", Card: "cylinder 3 next"})
			p.say("d1", "ines", HandOverType, HandOver{To: "tom", Card: "cylinder 3 next"})
			p.say("d1", "tom", ResumedType, Resumed{})
		}, func(s *State) string {
			return is(s.Interrupted == nil && s.Person == "tom" && len(s.HandOvers) == 1, s)
		}},
		{"a procedure run", func(p *tape) {
			p.say("d1", "ines", ProcedureStartedType, ProcedureStarted{Run: "r1", Procedure: "epb_caliper_pads"})
			p.say("d1", "ines", ProcedureEventType, ProcedureEvent{Run: "r1", Step: "open", Line: `{"a":1}`})
			p.say("d1", "ines", ProcedureEventType, ProcedureEvent{Run: "r2", Line: "x"})
			p.say("d1", "ines", ProcedureEndedType, ProcedureEnded{Run: "r1", End: "finished"})
		}, func(s *State) string {
			r, ok := s.Run("r1")
			return is(ok && len(r.Lines) == 1 && r.End == "finished" && len(s.Problems) == 1, s)
		}},
		{"closed and reopened", func(p *tape) {
			p.say("d1", "ines", ClosedType, Closed{Result: "proven"})
			p.say("d1", "ines", ReopenedType, Reopened{Because: "came back"})
		}, func(s *State) string { return is(s.Closed == nil, s) }},
		{"a type of the future is counted and kept", func(p *tape) {
			p.say("d1", "ines", "weighed@3", json.RawMessage(`{"kg":1200}`))
		}, func(s *State) string { return is(s.Unknown == 1 && s.Entries == 2 && len(s.Problems) == 0, s) }},
		{"a payload that is no payload", func(p *tape) {
			p.say("d1", "ines", NoteType, json.RawMessage(`[1,2]`))
		}, func(s *State) string { return is(len(s.Problems) == 1 && len(s.Notes) == 0, s) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := newTape(t)
			p.received()
			c.tell(p)
			s := p.fold()
			if bad := c.want(s); bad != "" {
				t.Error(bad)
			}
			if s.Heads["d1"] != p.heads["d1"] {
				t.Errorf("head %v, want %v", s.Heads["d1"], p.heads["d1"])
			}
		})
	}
}

func is(ok bool, s *State) string {
	if ok {
		return ""
	}
	return fmt.Sprintf("came to %+v", s)
}

// The same entries give the same state and the same job file, and what the file
// says is read back as it was meant.
func TestTextIsReadBack(t *testing.T) {
	p := newTape(t)
	p.received()
	p.say("d1", "ines", CaptureAddedType, CaptureAdded{Item: 1, SHA256: strings.Repeat("a", 64), Name: "coil 3.csv", Form: Form(`{"kind":"ignition_secondary","cylinder":3,"columns":[{"column":"t (us)","as":"time","unit":"us"}],"note":"a: b # c"}`)})
	p.say("d1", "ines", ReadingTypedType, ReadingTyped{Item: 2, Form: Form(`{"feature":"plug.gap","values":{"1":"1.0 mm","3":"1.6 mm"},"operator":"yes"}`)})
	p.say("d1", "ines", SetAsideType, SetAside{Item: 2, Reason: "no"})
	p.say("d1", "ines", OverruledType, Overruled{Suspect: "plug_gap_wide@cyl3", State: "open", Reason: "gauge \"doubtful\"\n\tsee note"})
	p.say("d1", "ines", CorrectionType, Corrected{Done: "plug renewed", Cause: "plug_gap_wide@cyl3", Parts: []PartUsed{{Name: "plug", Count: 4}}})
	s := p.fold()
	text := s.Text(Private{VIN: "1M8GDM9AXKP042788", Plate: "007"})
	if again := p.fold().Text(Private{VIN: "1M8GDM9AXKP042788", Plate: "007"}); string(again) != string(text) {
		t.Error("two folds give two texts")
	}
	f, problems := Parse("job.yaml", text)
	if errs := strict.Errors(problems); f == nil || len(errs) > 0 {
		t.Fatalf("%v in\n%s", errs, text)
	}
	switch {
	case f.Vehicle.Plate != "007", f.Vehicle.VIN != "1M8GDM9AXKP042788", f.Vehicle.Engine.Cylinders != 4:
		t.Errorf("vehicle %+v", f.Vehicle)
	case len(f.Captures) != 1 || f.Captures[0].File != "captures/coil-3.csv" || f.Captures[0].Cylinder != 3 || f.Captures[0].Note != "a: b # c" || f.Captures[0].Columns[0].Column != "t (us)":
		t.Errorf("captures %+v", f.Captures)
	case f.Readings[0].Values["3"] != "1.6 mm" || f.Readings[0].Operator != "yes" || f.Readings[0].SetAside != "no":
		t.Errorf("readings %+v", f.Readings)
	case f.Overrules[0].Reason != "gauge \"doubtful\"\n\tsee note" || f.Overrules[0].Who != "ines":
		t.Errorf("overrules %+v", f.Overrules)
	case f.Corrections[0].Parts[0].Count != 4 || f.Corrections[0].Who != "ines":
		t.Errorf("corrections %+v", f.Corrections)
	}
}

// Overlays of the shop come before the job's, and one that is in both stands once.
func TestOverlaysAreLaidTogether(t *testing.T) {
	suspect := func(id string) SuspectAdded {
		return SuspectAdded{Component: Form(`{"id":"loom","name":"loom","per":"engine"}`), Fault: Form(`{"id":"` + id + `","component":"loom","name":"x","rate":0.01}`)}
	}
	shop := newTape(t)
	shop.say("d1", "ines", SuspectAddedType, suspect("a"))
	shop.say("d1", "ines", SuspectAddedType, suspect("b"))
	p := newTape(t)
	p.received()
	p.say("d1", "ines", SuspectAddedType, suspect("b"))
	p.say("d1", "ines", SuspectAddedType, suspect("c"))
	text := string(p.fold().Text(Private{}, shop.fold()))
	for _, id := range []string{"id: a\n", "id: b\n", "id: c\n", "id: loom\n"} {
		if n := strings.Count(text, id); n != 1 {
			t.Errorf("%q stands %d times in\n%s", id, n, text)
		}
	}
	if strings.Index(text, "id: a\n") > strings.Index(text, "id: c\n") {
		t.Error("the job's own stand before the shop's")
	}
	again := newTape(t)
	again.received()
	again.say("d1", "ines", SuspectAddedType, suspect("b"))
	again.say("d1", "ines", SuspectAddedType, suspect("b"))
	if s := again.fold(); len(s.Problems) != 1 {
		t.Errorf("the same suspect twice: %v", s.Problems)
	}
}

// Nothing a chain can hold makes the fold panic, and order of folding in parts
// does not matter: the state is a function of the entries.
func TestFoldTakesAnything(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	types := slices.Sorted(maps.Keys(appliers))
	bodies := []string{`{}`, `null`, `[]`, `"x"`, `{"item":1}`, `{"item":-1,"form":{"feature":"plug.gap"}}`, `{"entry":"e2"}`, `{"run":"r","line":"l","procedure":"p"}`,
		`{"item":1,"by":1}`, `{"vehicle":[1]}`, `{"form":7}`, `{"fault":{"id":1}}`, `{"what":"out"}`, `{"item":1,"reason":"r"}`, `{"own":{"faults":{}},"vehicle":{"engine":3}}`}
	for range 300 {
		p := newTape(t)
		for range r.IntN(12) {
			p.say(fmt.Sprint("d", r.IntN(2)), "ines", types[r.IntN(len(types))], json.RawMessage(bodies[r.IntN(len(bodies))]))
		}
		s := p.fold()
		if a, b := string(s.Text(Private{})), string(p.fold().Text(Private{})); a != b {
			t.Fatal("two folds differ")
		}
		Conflicts(p.lines)
	}
}
