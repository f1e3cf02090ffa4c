package obd

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const savedFirst = `# codes, freeze frame, monitors and readiness, then the clear
>03
7E8 06 43 02 03 01 01 71
>07
7E8 04 47 01 03 00
>0A
7E8 04 4A 01 03 01
>020200
7E8 05 42 02 00 03 01
>020C00
7E8 05 42 0C 00 20 80
>0600
7E8 06 46 00 00 00 00 01
>0680
7E8 06 46 80 00 00 00 01
>06A0
7E8 06 46 A0 C0 00 00 00
>06A1
7E8 10 0A 46 A1 0B 24 00 03
7E8 21 00 00 FF FF
>06A2
7E8 10 0A 46 A2 0C 24 00 2A
7E8 21 00 00 FF FF
>0101
7E8 06 41 01 82 07 65 04
>0131
7E8 04 41 31 01 00
>04
7E8 01 44
>03
7E8 02 43 00
>0101
7E8 06 41 01 00 07 65 65
`

// Saved before erased: everything was read, nothing is lost.
func TestClearAfterSaving(t *testing.T) {
	s := session(t, savedFirst)
	if len(s.Clears) != 1 || len(s.Notes) != 0 {
		t.Fatalf("%+v %v", s.Clears, s.Notes)
	}
	c := s.Clears[0]
	want := []string{"saved first: confirmed codes P0301, P0171 (line 3)", "saved first: pending codes P0300 (line 5)", "kept: permanent codes, which a clear does not erase",
		"saved first: freeze frame of P0301 with 1 value", "saved first: 2 monitor results", "saved first: readiness (not complete: evaporative system)", "saved first: 1 counter since the last clear"}
	var got []string
	for _, d := range c.Items {
		got = append(got, string(d.Fate)+": "+d.Text)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if !c.SavedFirst() || c.Module != "7E8" || c.Source.Line != 29 {
		t.Errorf("%+v", c)
	}
	m := s.Module("7E8")
	if m.Clears != 1 || m.Codes[0].Clears != 0 || m.Codes[3].Clears != 1 || m.Readiness[1].Clears != 1 || m.Readiness[0].Clears != 0 {
		t.Errorf("what was read before and after the clear is not told apart: %+v", m.Codes)
	}
	if r := m.Monitors[1]; r.Cylinder != 1 || r.Misfire != "current" || r.RawValue != 42 || r.Source.Line != 22 || r.Source.LastLine != 23 {
		t.Errorf("%+v", r)
	}
}

// Nothing was read first: each loss is named.
func TestClearWithoutSaving(t *testing.T) {
	s := session(t, ">0101\n7E8 06 41 01 82 07 65 04\n>04\n7E8 01 44\n")
	c := s.Clears[0]
	var lost []string
	for _, d := range c.Items {
		if d.Fate == Lost {
			lost = append(lost, d.What)
		}
	}
	if d := cmp.Diff([]string{"confirmed codes", "pending codes", "freeze frame", "monitor results", "counters since the last clear"}, lost); d != "" {
		t.Error(d)
	}
	if c.SavedFirst() || !strings.Contains(c.Sentence(), "2 confirmed codes, whose numbers were never read") || !strings.HasPrefix(c.Sentence(), "line 4: 7E8 erased codes.") {
		t.Error(c.Sentence())
	}
}

// Counters read before an earlier clear were not read before this one.
func TestCountersOfAnEarlierClear(t *testing.T) {
	s := session(t, ">0131\n7E8 04 41 31 01 00\n>04\n7E8 01 44\n>04\n7E8 01 44\n")
	if a, b := s.Clears[0].Items[6], s.Clears[1].Items[6]; a.Fate != Saved || a.From.Line != 2 || b.Fate != Lost {
		t.Errorf("%+v %+v", a, b)
	}
}

func TestClearVariants(t *testing.T) {
	for _, c := range []struct {
		name, text string
		outcome    []ClearOutcome
		fates      string // of the first clear: confirmed, pending, permanent, frame, ...
		sentence   string
	}{
		{"nothing stored", ">03\n7E8 02 43 00\n>07\n7E8 02 47 00\n>04\n7E8 01 44\n", []ClearOutcome{Accepted},
			"nothing stored,nothing stored,kept,nothing stored,lost,lost,lost", ""},
		{"no freeze frame", ">020200\n7E8 05 42 02 00 00 00\n>04\n7E8 01 44\n", []ClearOutcome{Accepted}, "lost,lost,kept,nothing stored,lost,lost,lost", ""},
		{"freeze frame known, not read", ">020200\n7E8 05 42 02 00 03 01\n>04\n7E8 01 44\n", []ClearOutcome{Accepted}, "lost,lost,kept,lost,lost,lost,lost", "the freeze frame of P0301, of which no value was read"},
		{"monitors partly", ">06A0\n7E8 06 46 A0 C0 00 00 00\n>06A1\n7E8 10 0A 46 A1 0B 24 00 03\n7E8 21 00 00 FF FF\n>04\n7E8 01 44\n", []ClearOutcome{Accepted},
			"lost,lost,kept,lost,partly saved,lost,lost", "results of 1 monitor (1 other monitor was saved)"},
		{"refused", ">04\n7E8 03 7F 04 22\n", []ClearOutcome{Refused}, "", "refused to erase codes: conditions not correct (22). Nothing was erased."},
		{"pending, then done", ">04\n7E8 03 7F 04 78\n7E8 01 44\n", []ClearOutcome{Accepted}, "lost,lost,kept,lost,lost,lost,lost", ""},
		{"no answer", ">04\n", []ClearOutcome{Unanswered}, "", "whether anything was erased is not known"},
		{"two modules", "7DF 01 04 00 00 00 00 00 00\n7E8 01 44\n7E9 03 7F 04 22\n", []ClearOutcome{Accepted, Refused}, "lost,lost,kept,lost,lost,lost,lost", ""},
		{"all groups", "7E0 04 14 FF FF FF\n7E8 01 54\n", []ClearOutcome{Accepted}, "lost,lost,kept,lost,lost,lost,lost", ""},
		{"one group, codes by status saved", "7E0 03 19 02 0C\n7E8 10 0B 59 02 FF 03 01 00\n7E8 21 2F 01 71 00 24\n7E0 04 14 00 00 33\n7E8 01 54\n", []ClearOutcome{Accepted},
			"saved first,saved first,kept,lost", "erased code group 000033"},
		{"answer without request", "7E8 01 54\n", []ClearOutcome{Accepted}, "lost,lost,kept,lost,lost,lost,lost", ""},
		{"saved before an earlier clear does not count", ">03\n7E8 04 43 01 03 01\n>04\n7E8 01 44\n>04\n7E8 01 44\n", []ClearOutcome{Accepted, Accepted}, "saved first,lost,kept,lost,lost,lost,lost", ""},
		{"29-bit", "18DB33F1 01 04 00 00 00 00 00 00\n18DAF110 01 44\n", []ClearOutcome{Accepted}, "lost,lost,kept,lost,lost,lost,lost", ""},
	} {
		s := session(t, c.text)
		var got []ClearOutcome
		for _, x := range s.Clears {
			got = append(got, x.Outcome)
		}
		if d := cmp.Diff(c.outcome, got); d != "" {
			t.Errorf("%s: %s", c.name, d)
			continue
		}
		var fates []string
		for _, d := range s.Clears[0].Items {
			fates = append(fates, string(d.Fate))
		}
		if f := strings.Join(fates, ","); f != c.fates {
			t.Errorf("%s: %s, want %s", c.name, f, c.fates)
		}
		if text := s.Clears[0].Sentence(); !strings.Contains(text, c.sentence) {
			t.Errorf("%s: %s", c.name, text)
		}
		if len(s.Clears) == 2 && s.Clears[1].Outcome == Accepted && s.Clears[1].Items[0].Fate != Lost {
			t.Errorf("%s: the second clear counts the first one's saving: %+v", c.name, s.Clears[1].Items)
		}
	}
}

// Many clears cost no more than many other answers.
func TestManyClears(t *testing.T) {
	s := session(t, strings.Repeat("7E0 01 04\n7E8 01 44\n7E8 05 42 0C 00 20 80\n7E0 04 14 FF FF FF\n", 20_000))
	if n := len(s.Clears); n != 40_000 || s.Clears[0].Outcome != Accepted || s.Clears[1].Outcome != Unanswered {
		t.Errorf("%d clears", n)
	}
	if f := s.Clears[2].Items[3]; f.Fate != Saved {
		t.Errorf("%+v", f)
	}
}
