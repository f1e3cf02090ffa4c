package web

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"proveout/book"
	"proveout/job"
	"proveout/shop"
	"proveout/text"
)

func init() {
	samples["job"] = sample{empty: &jobPage{Stage: stageStates{"open", "open", "open", "open", "open", "open", "open"}}, filled: func(t *testing.T) any { return filledJob(t) }}
	samples["board"] = sample{empty: &boardPage{}, filled: boardPageOf(sampleBoard(), text.For("en", text.SI), sampleNow)}
	samples["reception"] = sample{empty: &receptionPage{}, filled: func(t *testing.T) any { return filledReception(t) }}
	samples["reading"] = sample{empty: &readingPage{}, filled: &readingPage{ID: "j", Again: 3, Test: &readingTest{
		ID: "plug_gap", Name: "Plug gap", Do: "Measure all four.", Hazards: []shop.HazardAnswer{{Word: "NOTICE", Text: "Threads."}},
		Cells: []readingCell{{Key: "cyl1", Label: "Cylinder 1", Focus: true}}, Units: []unitKey{{"mm", "mm", true}, {"in", "in", false}}, States: []option{{Value: "idle", Label: "Idle", On: true}}}}}
	samples["own-procedure"] = sample{empty: &ownProcedurePage{}, filled: &ownProcedurePage{Text: "id: <x>", Problems: []string{"a.yaml:1:2: <b>"}, Broken: []brokenStory{{"t", []string{"s"}}}, States: "12"}}
	samples["library"] = sample{empty: &libraryPage{}, filled: &libraryPage{Own: []lineView{{Text: "x"}}, Procedures: []procedureView{{Title: "P", Steps: 3}, {Title: "O", Steps: 2, Version: 1, Added: "today", Entry: "e", Print: "0011"}},
		Books: []bookView{{ID: "b", Title: "B", Version: "1", Suspects: []lineView{{Text: "s", By: "w"}}, Tests: []bookTest{{Name: "t", Words: []string{"DANGER"}}}, Sources: []lineView{{Text: "EST", By: "e"}}}}}}
	samples["own"] = sample{empty: &ownPage{}, filled: &ownPage{Job: "j", Per: question{Title: "Per", Options: []option{{Value: "a", Label: "A"}}}}}
	samples["settings"] = sample{empty: &settingsPage{}, filled: &settingsPage{Equipment: []option{{Value: "a", Label: "A", On: true}}, Access: []accessView{{ID: "a", Name: "A"}}, Limits: []limitView{{ID: "supply_warn_v", Name: "R"}},
		Language: text.Languages(), Lang: "de", People: []shop.Person{{Name: "Ines", Gone: true}}}}
	samples["proof"] = sample{empty: &proofPage{Square: "open"}, filled: func(t *testing.T) any {
		a, err := shop.Prove("../examples/06-proven-on-the-hill", shop.Options{})
		if err != nil {
			t.Fatal(err)
		}
		return proofPageOf(filledView(t), a, text.For("en", text.SI))
	}}
	samples["report"] = sample{empty: &reportPage{Waiting: "nothing yet"}, filled: &reportPage{ID: "j", Sheet: "<article class=\"report\"><h1>Report</h1></article>"}}
	samples["who"] = sample{empty: whoPage{First: true}, filled: whoPage{People: []shop.Person{{ID: "p", Name: "Ines"}}, Held: "type=note", Then: "/jobs/1/entries", Wrong: true, Demo: "2468"}}
}

var sampleNow = time.Date(2026, 11, 25, 10, 42, 0, 0, time.UTC)

// example is the answer to an example of the repository, worked out once.
var example = func() func(t *testing.T) *shop.Answer {
	var once sync.Once
	var a *shop.Answer
	var err error
	return func(t *testing.T) *shop.Answer {
		t.Helper()
		once.Do(func() { a, err = shop.Diagnose("../examples/02-one-placement-only", shop.Options{}) })
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
}()

// filledView is a job's view with something in every field a page shows.
func filledView(t *testing.T) *shop.JobView {
	t.Helper()
	const wall = "2026-11-25T10:31:00Z"
	raw := func(s string) json.RawMessage { return json.RawMessage(s) }
	return &shop.JobView{
		Job: "j1", Rev: 7, Title: "2417", Kind: "diagnosis", Opened: wall,
		Board:     shop.BoardRow{Promised: "2026-11-26T16:00:00Z", MinutesLeft: -12, Bay: "Bay 2", Who: "Ines", In: []string{"p-ines"}},
		Vehicle:   shop.VehicleView{Plate: "QL 417 C", Words: "Torvane Brisk 1.6 2019", Form: raw(`{"make":"Torvane","year":2019,"engine":{"cylinders":4,"boosted":false}}`)},
		Complaint: raw(`{"said":"It \"stumbles\" <b>","symptoms":["misfire_load"],"conditions":{"lamp":"flashing","state":["load","idle"],"gear":3}}`),
		History:   raw(`{"facts":{"oil_use":"no"},"notes":["towed","car: driven: front"]}`),
		Stages:    []shop.Stage{{ID: "complaint", State: "done"}, {ID: "evidence", State: "done"}, {ID: "suspects", State: "now"}, {ID: "next_test", State: "open"}, {ID: "correction", State: "open"}, {ID: "proof", State: "open"}},
		Next:      shop.Action{ID: "test", Label: "Burn time", Href: "reading"},
		Items:     []shop.ItemView{{Item: 1, Kind: "capture", Name: "c.csv", Author: "p-ines", Wall: wall, SetAside: "wrong coil", Notes: []string{"a", "b", "c"}}, {Item: 2, Kind: "reading", Author: "p-ines", Wall: wall}},
		Answer:    example(t), Minutes: job.Minutes{Agreed: 90, Worked: 102},
		Choices:     []job.Choice{{Said: job.Said[job.TestChosen]{Wall: wall, What: job.TestChosen{Test: "burn_time_snap", Subject: "cyl2"}}}},
		Tests:       []job.TestDone{{Test: "burn_time_snap", Subject: "cyl2", Started: wall}},
		Parts:       []job.PartState{{Said: job.Said[job.PartUsed]{What: job.PartUsed{Name: "spark plug", Number: "TB-7714"}}, Fitted: true}},
		Corrections: []job.Said[job.Corrected]{{Author: "p-ines", Wall: wall, What: job.Corrected{Done: "plugs renewed"}}},
		Notes:       []job.Said[job.Note]{{Author: "p-tom", Wall: wall, What: job.Note{Text: "<script>alert(1)</script>"}}},
		Dangerous:   &job.Said[job.Dangerous]{What: job.Dangerous{Text: "rear brakes open"}},
		Interrupted: &job.Said[job.Interrupted]{Wall: wall, What: job.Interrupted{State: "s", Card: "c"}},
		Runs:        []job.Run{{ID: "r1", Procedure: "epb_caliper_pads"}},
		People:      map[string]string{"p-ines": "Ines Varga", "p-tom": "Tom Aldous"},
		Entries: []shop.EntryView{{ID: "e1", Type: job.NoteType, Author: "p-tom", Wall: wall, Payload: raw(`{"text":"x"}`)}, {ID: "e2", Type: "made_up@9", Author: "p-ines", Wall: "yesterday", Payload: raw(`{"item":3}`)},
			{ID: "e3", Type: job.SetAsideType, Undone: true, Payload: raw(`{"item":1,"reason":"r"}`)}},
		Count: 3,
	}
}

func filledJob(t *testing.T) *jobPage {
	return jobPageOf(filledView(t), text.For("en", text.SI), sampleNow, "p-ines")
}

func filledReception(t *testing.T) *receptionPage {
	t.Helper()
	built, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	g, err := reception(text.For("en", text.SI), built, []shop.ProcedureOffer{{ID: "own", Title: "Own", Own: true}}, knownOf(filledView(t)))
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func sampleBoard() *shop.BoardView {
	return &shop.BoardView{Rev: 9, Rows: []shop.BoardRow{
		{Job: "a", Title: "2407", Open: true, Stage: "procedure", Dangerous: "brakes open", Plate: "QL 407 B", Promised: "2026-11-25T14:30:00Z", Approved: 60, MinutesLeft: 30, WaitsForPart: "contactor", Next: shop.Action{ID: "make_safe"}},
		{Job: "b", Title: "2417", Open: true, Stage: "suspects", Complaint: "It <i>stumbles</i>", Promised: "2026-11-25T13:00:00Z", Approved: 60, MinutesLeft: 12, Next: shop.Action{ID: "test", Label: "Burn time", Href: "reading", Minutes: 10}, Stages: []shop.Stage{{ID: "complaint", State: "done"}}},
		{Job: "c", Open: true, Stage: "complaint", Erased: true, Practice: true, Interrupted: "x", ApprovalOpen: true, MinutesLeft: -3, Next: shop.Action{ID: "add_evidence", Href: "add"}},
		{Job: "d", Open: true, Stage: "made_up", Next: shop.Action{ID: "made_up", Label: "Do a thing"}},
	}}
}

// TestBoardPutsWhatMustNotBeLeftFirst, and says what is promised next.
func TestBoardPutsWhatMustNotBeLeftFirst(t *testing.T) {
	g := boardPageOf(sampleBoard(), text.For("en", text.SI), sampleNow)
	if len(g.Dangerous) != 1 || g.Dangerous[0].No != "2407" || !g.Dangerous[0].Solid {
		t.Fatalf("dangerous: %+v", g.Dangerous)
	}
	if want := "One must not be left. 2417 is promised first: 13:00. 12 min of approval left."; g.Headline != want {
		t.Errorf("headline %q, want %q", g.Headline, want)
	}
	n := 0
	for _, st := range g.Stages {
		n += len(st.Rows)
		for _, r := range st.Rows {
			if r.Href == "" || r.Label == "" {
				t.Errorf("job %s has no next action: %+v", r.Job, r)
			}
		}
	}
	if n != 3 {
		t.Errorf("%d of 3 other jobs are on the board", n)
	}
	if row := g.Stages[0].Rows[0]; row.Href != "/jobs/c/complaint" {
		t.Errorf("a job without a complaint is asked about, not measured: %s", row.Href)
	}
}

// TestLedgerFitsItsTable: as many cells as columns, bars inside their cells, every
// suspect either a row or in the rest.
func TestLedgerFitsItsTable(t *testing.T) {
	a := example(t)
	g := ledger(a, text.For("en", text.SI))
	if len(g.Columns) == 0 || len(g.Columns) > maxColumns || len(g.Rows) == 0 || len(g.Rows) > maxRows {
		t.Fatalf("%d columns, %d rows", len(g.Columns), len(g.Rows))
	}
	for _, r := range g.Rows {
		if len(r.Cells) != len(g.Columns) {
			t.Errorf("%s has %d cells under %d columns", r.ID, len(r.Cells), len(g.Columns))
		}
		for _, c := range append(r.Cells, r.Others) {
			if c.W < 0 || c.W > 50 || c.X < 0 || c.X+c.W > 100 {
				t.Errorf("%s: a bar from %.1f, %.1f wide, leaves its cell", r.ID, c.X, c.W)
			}
		}
	}
	if n := len(g.Rows) + g.Rest; n != len(a.Suspects) {
		t.Errorf("%d suspects on the page, %d in the answer", n, len(a.Suspects))
	}
}

func TestWeightsAndChances(t *testing.T) {
	p := text.For("en", text.SI)
	for f, want := range map[float64]string{5.94: "×5.9", 0.5: "÷2.0", 1.04: "even", 1 / 1.04: "even", 12.3: "×12", 0.01: "÷100", 0: "?", -1: "?", math.NaN(): "?"} {
		if got := weight(f, p); got != want {
			t.Errorf("weight of %v is %s, want %s", f, got, want)
		}
	}
	for x, want := range map[float64]string{0: "<0.1 %", 0.004: "0.4 %", 0.7: "70 %", 0.995: ">99 %", 1: ">99 %"} {
		if got := chance(x, p); got != want {
			t.Errorf("chance of %v is %s, want %s", x, got, want)
		}
	}
	if got := spans([]int{3, 5, 6, 7, 9, 10}, p); got != "3, 5 to 7, 9, 10" {
		t.Errorf("items are written %s", got)
	}
}

// TestEveryFindingIsOnThePage: a reading is in a row that speaks or in the quiet ones.
func TestEveryFindingIsOnThePage(t *testing.T) {
	a := example(t)
	speaking, quiet := evidenceRows(a, text.For("en", text.SI))
	if n := len(groups(a.Findings)); len(speaking)+len(quiet) != n {
		t.Errorf("%d and %d rows of %d groups", len(speaking), len(quiet), n)
	}
	for _, r := range quiet {
		if r.Odd {
			t.Errorf("%s stands out and is folded away", r.Name)
		}
	}
}

// TestTheFindingThatSaysMostSpeaks: four cylinders share a row, and its sentence is of
// the one that stands out or moved the odds most, wherever it stands.
func TestTheFindingThatSaysMostSpeaks(t *testing.T) {
	type f = shop.FindingAnswer
	moved := func(factors ...float64) []shop.SuspectAnswer {
		s := shop.SuspectAnswer{ID: "s", Text: "plug gap"}
		for i, x := range factors {
			s.MovedBy = append(s.MovedBy, shop.MovedAnswer{Finding: strconv.Itoa(i + 1), Factor: x})
		}
		return []shop.SuspectAnswer{s}
	}
	four := func(states ...string) (out []f) {
		for i, s := range states {
			id := strconv.Itoa(i + 1)
			out = append(out, f{ID: id, Item: 1, Test: "gap", State: s, Sentence: "cylinder " + id})
		}
		return out
	}
	aside := four("normal", "normal", "high", "normal")
	aside[2].SetAside = true
	for name, c := range map[string]struct {
		findings []f
		suspects []shop.SuspectAnswer
		want     string
	}{
		"the one that stands out":            {four("normal", "normal", "high", "normal"), moved(1.5, 1, 1.1, 1), "cylinder 3"},
		"of two that stand out, the heavier": {four("high", "normal", "low", "normal"), moved(1.2, 1, 6, 1), "cylinder 3"},
		"against weighs as for":              {four("normal", "normal", "normal", "normal"), moved(1.2, 1, 1, 0.1), "cylinder 4"},
		"nothing moved: the worst state":     {four("normal", "not_established", "normal", "normal"), nil, "cylinder 2"},
		"what is set aside does not speak":   {aside, moved(1, 1.3, 6, 1), "cylinder 2"},
		"all alike: the first":               {four("normal", "normal", "normal", "normal"), nil, "cylinder 1"},
	} {
		a := &shop.Answer{Findings: c.findings, Suspects: c.suspects}
		speaking, quiet := evidenceRows(a, text.For("en", text.SI))
		rows := append(speaking, quiet...)
		if len(rows) != 1 || rows[0].Sentence != c.want {
			t.Errorf("%s: %+v, want %s", name, rows, c.want)
		}
	}
}

// TestTimesOfTheRecord: today the clock, this week the day, otherwise the date; what
// is no time is nothing.
func TestTimesOfTheRecord(t *testing.T) {
	p := text.For("en", text.SI)
	for wall, want := range map[string]string{
		"2026-11-25T09:05:00Z": "09:05", "2026-11-26T16:00:00Z": "Thu\u00a016:00", "2026-10-01T08:00:00Z": "1 Oct 2026, 08:00", "yesterday": "", "": "",
	} {
		if got := moment(wall, sampleNow, p); got != want {
			t.Errorf("%s is written %q, want %q", wall, got, want)
		}
	}
	if got := minutesSince("2026-11-25T11:42:00Z", sampleNow); got != 0 {
		t.Errorf("a clock an hour ahead gives %v minutes", got)
	}
	if got := minutesSince("2026-11-25T10:27:00Z", sampleNow); got != 15 {
		t.Errorf("a quarter of an hour is %v minutes", got)
	}
}

func TestActionsStayOnThisServer(t *testing.T) {
	for href, want := range map[string]string{"": "/jobs/1", "#next": "/jobs/1#next", "add": "/jobs/1/add", "procedures/r1": "/jobs/1/procedures/r1", "/library": "/library"} {
		if got := actionHref("/jobs/1", href); got != want {
			t.Errorf("%q goes to %s, want %s", href, got, want)
		}
	}
	if got := slug("Hose, Charge-Air (ü)"); got != "hose_charge_air" || strings.Contains(slug("../x"), ".") {
		t.Errorf("slug is %s", got)
	}
}

// Every row of the ledger multiplies out: the odds at intake times all its cells are
// the odds now, and what stands under the other items is the product of the lines that
// have no column, those of parts tried and of no finding among them.
func TestLedgerMultipliesOut(t *testing.T) {
	a := example(t)
	// A line that belongs to no finding: it must not be dropped.
	a.Suspects[0].MovedBy = append(a.Suspects[0].MovedBy, shop.MovedAnswer{Finding: "tried 99", Factor: 1.7})
	a.Suspects[1].MovedBy = append(a.Suspects[1].MovedBy, shop.MovedAnswer{Finding: "overruled", Factor: 0.4})
	l, m := ledger(a, text.For("en", text.SI)), movedBy(a)
	if len(l.Rows) < 2 || !l.Together {
		t.Fatalf("%d rows, together %v", len(l.Rows), l.Together)
	}
	for _, r := range l.Rows {
		s := a.Suspects[slices.IndexFunc(a.Suspects, func(s shop.SuspectAnswer) bool { return s.ID == r.ID })]
		got, lines := math.Log(s.Before/(1-s.Before)), 0.0
		for _, mv := range s.MovedBy {
			if mv.Finding != "prior" && mv.Finding != "complaint" && !strings.HasPrefix(mv.Finding, "fact:") {
				lines += math.Log(mv.Factor)
			}
		}
		for _, c := range r.Cells {
			got += math.Log(c.F)
			lines -= math.Log(c.F)
		}
		if d := lines - math.Log(r.Others.F); math.Abs(d) > 1e-6 {
			t.Errorf("%s: the other items are off by %g", r.Text, d)
		}
		got += math.Log(r.Others.F) + math.Log(r.Together.F)
		if want := math.Log(s.Chance / (1 - s.Chance)); math.Abs(got-want) > 1e-6 {
			t.Errorf("%s: the cells give log odds %.7f, the chance is %.7f", r.Text, got, want)
		}
	}
	if m.of[a.Suspects[0].ID]["tried 99"] != 1.7 {
		t.Error("a line that belongs to no finding is dropped")
	}
}

// One panel a word, the gravest first, nothing left out.
func TestHazardsByWord(t *testing.T) {
	got := byWord([]shop.HazardAnswer{{Word: "NOTICE", Text: "a"}, {Word: "WARNING", Text: "b"}, {Word: "CAUTION", Text: "c"}, {Word: "WARNING", Text: "d"}})
	want := []hazardGroup{{"WARNING", []string{"b", "d"}}, {"CAUTION", []string{"c"}}, {"NOTICE", []string{"a"}}}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
}
