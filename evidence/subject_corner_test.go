package evidence

import "testing"

// A corner is named as people name it, and reads back from its own words.
func TestCornersByName(t *testing.T) {
	for text, want := range map[string]int{"front left": 1, "Front Right": 2, "rear_left": 3, "left rear": 3, " rear  right ": 4, "corner 2": 2} {
		if s, err := ParseSubject(text); err != nil || s != (Subject{Kind: Corner, Number: want}) {
			t.Errorf("%q: %v %v", text, s, err)
		}
	}
	for n := 1; n <= 4; n++ {
		s := Subject{Kind: Corner, Number: n}
		if back, err := ParseSubject(s.String()); err != nil || back != s {
			t.Errorf("corner %d is written %q and read as %v, %v", n, s, back, err)
		}
	}
	for _, text := range []string{"left", "rear", "left right", "middle left"} {
		if s, err := ParseSubject(text); err == nil {
			t.Errorf("%q is taken as %v", text, s)
		}
	}
}
