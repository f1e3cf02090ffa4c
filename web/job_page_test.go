package web

import "testing"

// The headline is read across the bay: one sentence. What follows stands below it,
// and nothing of it is lost.
func TestFirstSentence(t *testing.T) {
	for _, c := range [][3]string{
		{"Shown by direct test: worn gap, cylinder 3.", "Shown by direct test: worn gap, cylinder 3.", ""},
		{"No suspect stands out yet. First: pump (≈ 8 %), then hose (≈ 7 %). Fuel, not spark.", "No suspect stands out yet.", "First: pump (≈ 8 %), then hose (≈ 7 %). Fuel, not spark."},
		{"Most likely: the leak (0.1 to 1.0 mm. so far), not shown yet.", "Most likely: the leak (0.1 to 1.0 mm. so far), not shown yet.", ""},
		{"Nothing. Ändern hilft nicht.", "Nothing.", "Ändern hilft nicht."},
		{"", "", ""},
		{"Ends in a stop. ", "Ends in a stop. ", ""},
	} {
		if first, rest := firstSentence(c[0]); first != c[1] || rest != c[2] {
			t.Errorf("%q: %q and %q", c[0], first, rest)
		}
	}
}
