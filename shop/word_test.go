package shop_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/shop"
)

// A person's word in a job file shows a part for the repair, and is told as a word
// everywhere: no test is claimed, the search does not stop, nothing is proven.
func TestShownByWord(t *testing.T) {
	dir := t.TempDir()
	job := `schema: proveout/job/1
vehicle:
  engine: {cylinders: 4, firing_order: [1, 3, 4, 2], ignition: coil_on_plug, injection: port, fuel: petrol}
complaint: {symptoms: [misfire_load]}
overrules:
  - {suspect: coil_weak@cyl3, state: shown, reason: heard it arc to the head, who: R. Haas}
`
	if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(job), 0o600); err != nil {
		t.Fatal(err)
	}
	a, err := shop.Diagnose(dir, shop.Options{Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(a.Headline, "Shown by word, by no direct test: ") || strings.Contains(a.Headline, "Shown by direct test") {
		t.Error(a.Headline)
	}
	if a.Stopped || !a.CorrectionOpens() {
		t.Errorf("stopped %t, correction opens %t", a.Stopped, a.CorrectionOpens())
	}
	for i := range a.Suspects {
		s := &a.Suspects[i]
		if (s.ID == "coil_weak@cyl3") != s.ByWord() {
			t.Errorf("%s: by word %t", s.ID, s.ByWord())
		}
		if s.ByWord() && (s.Overruled != "heard it arc to the head (R. Haas)" || !strings.Contains(s.Reason, "not by a test")) {
			t.Errorf("%q, %q", s.Overruled, s.Reason)
		}
	}
	p, err := shop.Prove(dir, shop.Options{Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range p.Causes {
		t.Errorf("the proof takes %s for a cause that is shown", c.Text)
	}
}
