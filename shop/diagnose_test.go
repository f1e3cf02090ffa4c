package shop

import (
	"encoding/json"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// expectation is what a job must come to. Empty fields are not checked.
type expectation struct {
	dir     string
	why     string
	first   []string // one of these leads
	shown   []string // exactly these are shown; nil: nothing is
	alive   []string // must not be ruled out
	says    []string // in the headline or in a finding's sentence
	nothing bool     // "nothing wrong" or no suspect above one half
	quarrel bool     // a conflict is raised
}

// Sources: trade.md appendix A (worked cases), issue "The main job" (the
// situations the product is judged on), PRODUCT.md (nothing is shown by
// elimination).
var expectations = []expectation{
	{dir: "testdata/jobs/lean", why: "appendix A case 2: balance drop and swap there and back", first: []string{"injector_restricted@cyl2"}, shown: []string{"injector_restricted@cyl2"}},
	{dir: "testdata/jobs/lobe", why: "appendix A case 3: lift 6.1 of 9.8 mm, cranking compression even", first: []string{"cam_lobe_worn@cyl4"}, shown: []string{"cam_lobe_worn@cyl4"}},
	{dir: "testdata/jobs/gaps-equal", why: "four gaps alike and no limit known: nothing about one cylinder follows", alive: []string{"plug_set_worn@engine", "coil_weak@cyl1", "plug_gap_wide@cyl4"}},
	{dir: "testdata/jobs/gaps-equal-limit", why: "four gaps alike and over the limit: the set, not one plug", first: []string{"plug_set_worn@engine"}, shown: []string{"plug_set_worn@engine"}, alive: []string{"coil_weak@cyl1"}},
	{dir: "testdata/jobs/boot", why: "appendix A case 1: boot track on cylinder 3, plugs wide as well", first: []string{"boot_leak@cyl3"}, shown: []string{"boot_leak@cyl3"}, alive: []string{"plug_set_worn@engine"}},
	{dir: "testdata/jobs/crank-learn", why: "appendix A case 4: scattered counts after clutch work, nothing felt", first: []string{"crank_learn_missing@engine", "false_detection@engine"}, alive: []string{"crank_learn_missing@engine", "false_detection@engine", "crank_signal_noise@engine"}},
	{dir: "testdata/jobs/nothing", why: "everything in line", nothing: true},
	{dir: "testdata/jobs/liar", why: "fuel pressure 250 kPa on one gauge and 380 kPa on another", quarrel: true, alive: []string{"fuel_pump_weak@engine", "maf_under_reports@engine"}},
	{dir: "testdata/jobs/two", why: "injector 2 and coil 3 each proven by a swap there and back", shown: []string{"injector_restricted@cyl2", "coil_weak@cyl3"}, alive: []string{"injector_restricted@cyl2", "coil_weak@cyl3", "coil_primary_short@cyl3"}},
	{dir: "testdata/jobs/no-limits", why: "one cylinder of three down, 45 % out of the tailpipe", first: []string{"valve_leaking@cyl3"}, shown: []string{"valve_leaking@cyl3"}},
	{dir: "../examples/01-stumble-on-the-hill", why: "its README", first: []string{"plug_gap_wide@cyl3"}, shown: []string{"plug_gap_wide@cyl3"}},
	{dir: "../examples/02-one-placement-only", why: "its README: one placement establishes nothing", says: []string{"not established"}, alive: []string{"plug_gap_wide@cyl2", "coil_weak@cyl2", "boot_leak@cyl2", "injector_restricted@cyl2"}},
	{dir: "../examples/03-lean-injector", why: "its README", alive: []string{"injector_restricted@cyl2"}},
}

func TestJobsComeToTheirEnd(t *testing.T) {
	for _, e := range expectations {
		t.Run(filepath.Base(e.dir), func(t *testing.T) {
			a, err := Diagnose(e.dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			e.check(t, a)
			sane(t, a)
		})
	}
}

func (e expectation) check(t *testing.T, a *Answer) {
	var shown, out []string
	for _, s := range a.Suspects {
		switch s.State {
		case "shown":
			shown = append(shown, s.ID)
		case "ruled_out":
			out = append(out, s.ID)
		}
	}
	if len(e.first) > 0 && !slices.Contains(e.first, a.Suspects[0].ID) {
		t.Errorf("%s: %s leads at %.2f, want one of %v", e.why, a.Suspects[0].ID, a.Suspects[0].Chance, e.first)
	}
	if strings.Join(shown, " ") != strings.Join(e.shown, " ") {
		t.Errorf("%s: shown %v, want %v", e.why, shown, e.shown)
	}
	for _, id := range append(e.alive, e.first...) {
		if slices.Contains(out, id) {
			t.Errorf("%s: %s is ruled out", e.why, id)
		}
	}
	if e.nothing && a.Suspects[0].Chance > 0.5 {
		t.Errorf("%s: %s stands at %.2f", e.why, a.Suspects[0].ID, a.Suspects[0].Chance)
	}
	if e.quarrel && len(a.Conflicts) == 0 {
		t.Errorf("%s: no conflict is raised", e.why)
	}
	text := a.Headline
	for _, f := range a.Findings {
		text += "\n" + f.Sentence
	}
	for _, s := range e.says {
		if !strings.Contains(text, s) {
			t.Errorf("%s: %q is not said", e.why, s)
		}
	}
}

// sane holds what every answer keeps: chances are chances, nothing is certain,
// every factor and every ruled-out suspect has its reason, and the words shown
// and ruled out are never earned by elimination alone.
func sane(t *testing.T, a *Answer) {
	t.Helper()
	findings := map[string]bool{}
	for _, f := range a.Findings {
		if findings[f.ID] {
			t.Errorf("finding %s stands twice", f.ID)
		}
		findings[f.ID] = true
		if f.Sentence == "" {
			t.Errorf("finding %s says nothing", f.ID)
		}
	}
	for _, s := range a.Suspects {
		if !(s.Chance > 0 && s.Chance < 1) {
			t.Errorf("%s has chance %v", s.ID, s.Chance)
		}
		if s.State == "shown" && !findings[s.By] {
			t.Errorf("%s is shown by %q, which is no finding", s.ID, s.By)
		}
		if s.State == "ruled_out" && s.By != "elimination" && !findings[s.By] {
			t.Errorf("%s is ruled out by %q, which is no finding", s.ID, s.By)
		}
		for _, m := range s.MovedBy {
			if !(m.Factor > 0) || math.IsInf(m.Factor, 0) {
				t.Errorf("%s is moved by %s with factor %v", s.ID, m.Finding, m.Factor)
			}
		}
	}
	if _, err := json.Marshal(a); err != nil {
		t.Error(err)
	}
}

// The same folder gives the same bytes.
func TestSameFolderSameBytes(t *testing.T) {
	var first []byte
	for range 3 {
		a, err := Diagnose("../examples/01-stumble-on-the-hill", Options{Program: "test"})
		if err != nil {
			t.Fatal(err)
		}
		out, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = out
		} else if string(first) != string(out) {
			t.Fatal("two runs on one folder differ")
		}
	}
}
