package report

import (
	"encoding/json"
	"os"
	"regexp"
	"strings"
	"testing"

	"proveout/shop"
	"proveout/text"
)

// service is the report of a brake service with a voltage stop, as package shop tells it
// of a run that was driven through the workbench (its test writes the file).
func service(t *testing.T, lang string) Input {
	t.Helper()
	data, err := os.ReadFile("testdata/brake_service.json")
	if err != nil {
		t.Fatal(err)
	}
	in := Input{Printed: day, Text: text.For(lang, text.SI)}
	if err := json.Unmarshal(data, &in.Report); err != nil {
		t.Fatal(err)
	}
	return in
}

// flat is the text form in one line.
func flat(in Input) string { return strings.Join(strings.Fields(string(Text(Make(in)))), " ") }

func has(t *testing.T, said string, want ...string) {
	t.Helper()
	for _, w := range want {
		if !strings.Contains(said, w) {
			t.Errorf("it does not say %q:\n%s", w, said)
		}
	}
}

func hasNot(t *testing.T, said string, bad ...string) {
	t.Helper()
	for _, w := range bad {
		if strings.Contains(said, w) {
			t.Errorf("it says %q:\n%s", w, said)
		}
	}
}

// A service says on one page what was done in it, and nothing of faults and odds.
func TestServiceOnThePage(t *testing.T) {
	for lang, want := range map[string][]string{
		"en": {"Report · Service finished", "finished, 78 of 78 steps done", "version 2; by Ruben Tasker; 25 November 2026 09:00 to 09:09.",
			"Supply voltage at the battery: lowest seen 11.20 V", "a shorter dip may have been missed", "stop line 11.5 V",
			"Rest between movements: 14 rests of 31 to 47 s; asked is 30 s at least.", "the supply falls below its stop line", "Went on at 09:03.",
			"Function test: Three cycles done", "It does not move, pushed one way and pushed the other.", "The left disc, thinnest place 10 mm", "(the minimum stamped on the disc or from the maker: 10 mm)",
			"120 min at reception; 0 min worked, 120 min left", "Every step that applies to this vehicle was done."},
		"de": {"Bericht · Service abgeschlossen", "78 von 78 Schritten getan", "Fassung 2; von Ruben Tasker", "niedrigster gesehener Wert 11,20 V", "Stopplinie 11,5 V",
			"14 Ruhezeiten von 31 bis 47 s; verlangt sind mindestens 30 s.", "Weiter um 09:03.", "120 min bei Annahme; 0 min gearbeitet, 120 min übrig"},
	} {
		in := service(t, lang)
		said := flat(in)
		has(t, said, want...)
		hasNot(t, said, "⟨", "epb_caliper_pads", "ruben", "Nothing has been put right", "No cause is shown", "Not repaired", "proof.conditions", "Noch nicht repariert")
		page, err := HTML(Make(in))
		if err != nil {
			t.Fatal(err)
		}
		has(t, words(page), want[1:]...)
		for _, paper := range []Paper{A4, Letter} {
			pdf, err := PDF(Make(in), paper)
			if err != nil || pageCount(pdf) != 1 {
				t.Errorf("%s on %s: %d pages, %v", lang, paper, pageCount(pdf), err)
			}
			if s, err := fit(Make(in), paper, 1); err != nil || s.clip > 0 || !printed(s, "stops", "tested", "supply", "rests") {
				t.Errorf("%s on %s: clipped to %d, or a stop, a test, the supply or the rests are not printed (%v)", lang, paper, clips[s.clip], err)
			}
		}
	}
}

// printed reports whether every note of these kinds is on paper, and that there are some.
func printed(s Sheet, kinds ...string) bool {
	n := map[string]int{}
	for _, p := range s.Parts {
		for _, x := range p.Notes {
			if x.Unprinted {
				n[x.Kind] = -1 << 20
			}
			n[x.Kind]++
		}
	}
	for _, k := range kinds {
		if n[k] <= 0 {
			return false
		}
	}
	return true
}

// Each state a service can be in has its own words, and one that is dangerous to leave
// says that first.
func TestStateOfAService(t *testing.T) {
	for _, c := range []struct {
		name  string
		state string
		make  func(*shop.ReportAnswer)
		want  []string
	}{
		{"not begun", "Service not begun", func(r *shop.ReportAnswer) { r.Runs = nil }, []string{"No procedure was begun.", "The service asked for was not begun."}},
		{"under way", "Service not finished", func(r *shop.ReportAnswer) {
			r.Runs[0].State, r.Runs[0].Done, r.Runs[0].Ended = "running", 70, ""
			r.Runs[0].NotDone = []string{"One.", "Two. More.", "Three.", "Four."}
		}, []string{"not finished, 70 of 78 steps done", "Steps not done: One; Two; Three; and 1 more.", "All steps not done: One; Two; Three; Four."}},
		{"put down", "Service not finished", func(r *shop.ReportAnswer) { r.Runs[0].State, r.PutDown = "held", "Starts again at: chocks" }, []string{"interrupted and not taken up again", "Put down: Starts again at: chocks."}},
		{"handed over", "Service not finished", func(r *shop.ReportAnswer) { r.Runs[0].State, r.Runs[0].Holder = "handed_over", "Ida Holm" }, []string{"put down unfinished and handed over to Ida Holm"}},
		{"dangerous", "Do not leave or drive it", func(r *shop.ReportAnswer) {
			r.Runs[0].State, r.Dangers = "stopping", []string{"no brakes on the left."}
		}, []string{"WORK DONE Must not be left or driven as it stands: no brakes on the left."}},
		{"cannot be told", "Service not finished", func(r *shop.ReportAnswer) { r.Runs[0].State, r.Runs[0].Why = "unreadable", "another text" }, []string{"what was done in it cannot be told.", "Why: another text."}},
		{"no meter", "Service finished", func(r *shop.ReportAnswer) {
			r.Runs[0].Supply[0].Known, r.Runs[0].Unwatched = false, []string{"Apply."}
		}, []string{"Supply voltage at the battery: nothing was measured and noted.", "Not watched by a meter at some moment of: Apply."}},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := service(t, "en")
			c.make(&in.Report)
			if s := Make(in); s.State.Word != c.state {
				t.Errorf("the state is %q, want %q", s.State.Word, c.state)
			}
			has(t, flat(in), c.want...)
			hasNot(t, flat(in), "⟨")
			if c.name != "no meter" && Make(in).State.Square == Solid {
				t.Error("what is not finished has a full square")
			}
		})
	}
}

// Time agreed at reception is approved too; what was approved since is added to it.
func TestMinutesOnThePage(t *testing.T) {
	in := example(t)
	hasNot(t, flat(in), "min left") // a job folder has no minutes
	in.Report.Minutes = &shop.MinutesAnswer{Agreed: 150, Worked: 20, Left: 130}
	in.Report.Approvals = nil
	has(t, flat(in), "Approved: 150 min at reception; 20 min worked, 130 min left")
	in.Report.Minutes = &shop.MinutesAnswer{Agreed: 150, Approved: 60, Worked: 230, Left: -20}
	in.Report.Approvals = []shop.ApprovalAnswer{{What: "60 min, four plugs", How: "phone"}}
	has(t, flat(in), "Approved: 210 min in all: 150 min at reception; 60 min, four plugs, phone; 230 min worked, 20 min over")
	in.Report.Minutes, in.Report.Approvals = &shop.MinutesAnswer{}, nil
	has(t, flat(in), "Approved: not noted")
}

// A part that was fitted is named also where no correction is written, and then the job
// is not said to be as it came.
func TestFittedPartOnThePage(t *testing.T) {
	in := example(t)
	in.Report.Proof.Corrections, in.Report.Proof.State = nil, "not_yet"
	has(t, flat(in), "Nothing has been put right yet.", "Not repaired yet")
	in.Report.Fitted = []shop.FittedAnswer{{PartAnswer: shop.PartAnswer{Name: "spark plug", Number: "TB-7714", Count: 4}, Where: "cylinders 1 to 4", Who: "Ines Varga", At: "2026-11-25T12:00:00Z"}}
	said := flat(in)
	has(t, said, "Fitted: 4 × spark plug, part TB-7714, cylinders 1 to 4.", "Ines Varga 25 November 2026 12:00. Noted as fitted; no correction is written to it.")
	hasNot(t, said, "Nothing has been put right", "Not repaired yet")
}

// A job that was changed after it was closed says so, on paper too.
func TestChangedAfterClosingOnThePage(t *testing.T) {
	in := example(t)
	in.Report.ClosedAt = "2026-11-25T15:00:00Z"
	hasNot(t, flat(in), "Changed after closing")
	in.Report.Changed = []shop.ChangeAnswer{
		{What: "reopened", At: "2026-11-26T08:00:00Z", Who: "Noor Bekker", Reason: "it stumbles again"},
		{What: "taken_back", Entry: "correction", At: "2026-11-26T08:10:00Z", Who: "Ines Varga"},
		{What: "entered", Entry: "note", At: "2026-11-26T08:20:00Z", Who: "Ines Varga"},
	}
	has(t, flat(in), "Changed after closing: Closed 25 November 2026 15:00. Opened again (Noor Bekker 26 November 2026 08:00): it stumbles again. Correction: taken back (Ines Varga 26 November 2026 08:10). Note: added (Ines Varga 26 November 2026 08:20).")
	if s, err := fit(Make(in), Letter, screenShare); err != nil || !printed(s, "changed") {
		t.Errorf("it is not on paper: %v", err)
	}
	in.Text = text.For("de", text.SI)
	has(t, flat(in), "Geändert nach dem Abschluss: Abgeschlossen 25. November 2026 15:00. Wieder geöffnet")
}

// The text form says what the HTML says.
func TestTextSaysAll(t *testing.T) {
	for _, in := range []Input{example(t), service(t, "de")} {
		s := Make(in)
		said := flat(in)
		for _, p := range s.Parts {
			for _, n := range p.Notes {
				has(t, said, strings.Join(strings.Fields(n.Text), " "))
			}
			for _, e := range p.Items {
				has(t, said, strings.Join(strings.Fields(e.Text), " "))
			}
		}
		for _, l := range strings.Split(string(Text(s)), "\n") {
			if n := len([]rune(l)); n > textWidth && len(strings.Fields(l)) > 1 && !regexp.MustCompile(`^\s*\S+$`).MatchString(l) {
				t.Errorf("a line of %d letters: %s", n, l)
			}
		}
	}
}
