package shop

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A module that counts a code (service 01, parameter 01: SAE J1979) has it read
// before any test; any later capture that reads it settles that. A job without a
// symptom, with nothing found, has no test: every test of it is minutes for nothing.
func TestWhatComesBeforeAnyTest(t *testing.T) {
	const (
		counts = "7DF 02 01 01\n7E8 06 41 01 81 07 E5 00\n7DF 02 01 0C\n7E8 04 41 0C 0B B8\n"
		reads  = "7DF 01 03\n7E8 04 43 01 03 02\n7DF 02 01 0C\n7E8 04 41 0C 0B B8\n"
	)
	for _, c := range []struct {
		name, symptoms   string
		captures         []string
		codes, complaint bool
		notices          int
	}{
		{"codes not read", "[misfire_load]", []string{counts}, true, false, 1},
		{"counted in two captures, said once", "[misfire_load]", []string{counts, counts}, true, false, 1},
		{"read in another capture", "[misfire_load]", []string{counts, reads}, false, false, 0},
		{"no symptom, codes not read", "[]", []string{counts}, true, true, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			job := "schema: proveout/job/1\nvehicle:\n  engine: {cylinders: 4, ignition: coil_on_plug, injection: port, fuel: petrol}\ncomplaint: {said: the lamp is on, symptoms: " + c.symptoms + "}\ncaptures:\n"
			for i, text := range c.captures {
				name := string(rune('a'+i)) + ".txt"
				job += "  - {file: " + name + ", kind: diagnostic}\n"
				if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(job), 0o600); err != nil {
				t.Fatal(err)
			}
			a, err := Diagnose(dir, Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			first := strings.Join(a.First, "\n")
			if got := strings.Contains(first, "freeze frame of module 7E8"); got != c.codes {
				t.Errorf("codes come first: %v, want %v (%q)", got, c.codes, first)
			}
			if got := strings.Contains(first, "as symptoms"); got != c.complaint {
				t.Errorf("the complaint comes first: %v, want %v (%q)", got, c.complaint, first)
			}
			if got := len(a.Next) == 0; got != c.complaint {
				t.Errorf("no test is named: %v, want %v", got, c.complaint)
			}
			notices := 0
			for _, w := range a.Cautions {
				if strings.Contains(w.Text, "were not read") {
					notices++
				}
			}
			if notices != c.notices {
				t.Errorf("%d notices of unread codes, want %d", notices, c.notices)
			}
		})
	}
}
