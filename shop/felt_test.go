package shop

import "testing"

// Two figures of 100 % once read "1e+02 %".
func TestProbabilityInWords(t *testing.T) {
	for p, want := range map[float64]string{0.0004: "under 0.1 %", 0.012: "1.2 %", 0.14: "14 %", 0.996: "100 %", 1: "100 %"} {
		if got := probability(p); got != want {
			t.Errorf("%v: %q, want %q", p, got, want)
		}
	}
}
