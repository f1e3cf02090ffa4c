package evidence

import (
	"strings"
	"testing"
)

// Every feature of the catalogue has its sentence for the apprentice, one of its own,
// short enough to be read at the fender. That it is there in each language is held by
// the package text.
func TestEveryFeatureSaysWhyItMatters(t *testing.T) {
	seen := map[string]string{}
	for _, f := range Catalogue() {
		s := f.Matters()
		switch {
		case s == "":
			t.Errorf("%s: no sentence", f.ID)
		case !strings.HasSuffix(s, ".") || strings.Count(s, ".") != 1:
			t.Errorf("%s: not one sentence: %q", f.ID, s)
		case len(strings.Fields(s)) > 32:
			t.Errorf("%s: %d words", f.ID, len(strings.Fields(s)))
		case seen[s] != "":
			t.Errorf("%s says what %s says", f.ID, seen[s])
		}
		seen[s] = f.ID
	}
	for id := range matters {
		if _, ok := Lookup(id); !ok {
			t.Errorf("%s is no feature", id)
		}
	}
}
