package shop

import (
	"strings"
	"testing"
)

// The diagnosis calls a suspect proven exactly when the proof does, and only the one
// that a direct test showed and the corrections answer.
func TestDiagnosisCarriesTheProof(t *testing.T) {
	gap := "plug_gap_wide@cyl4"
	for name, x := range map[string]struct {
		change func(string) string
		state  string
	}{
		"as it is":               {replace("by: measured", "by:  measured"), "proven"},
		"still wide":             {replace("4: 1.08 mm", "4: 1.60 mm"), "shown"},
		"an episode after":       {replace("drive: {episodes: [], road: 62 min}", "drive: {episodes: [230 s], road: 62 min}"), "shown"},
		"put right another part": {replace("cause: "+gap, "cause: coil_weak@cyl4"), "shown"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := variant(t, x.change)
			a, err := Diagnose(dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			p, err := Prove(dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			if name == "as it is" != (p.State == "proven" && len(p.Causes) == 1 && p.Causes[0].Suspect == gap) {
				t.Fatalf("the variant does not do what its name says: %s %+v", p.State, p.Causes)
			}
			for _, s := range a.Suspects {
				if s.ID == gap && s.State != x.state {
					t.Errorf("%s is %s, want %s", gap, s.State, x.state)
				}
				if s.ID != gap && s.State == "proven" {
					t.Errorf("%s is called proven", s.ID)
				}
			}
			if strings.Contains(a.Headline, "proven:") != (x.state == "proven") {
				t.Errorf("headline %q", a.Headline)
			}
		})
	}
}
