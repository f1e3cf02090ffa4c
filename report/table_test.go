package report

import "testing"

// On a phone each value stands under its own of before: a line never mixes the two.
func TestTablePerLine(t *testing.T) {
	for places, want := range map[int]int{2: 2, 3: 3, 4: 4, 5: 5, 6: 6, 7: 7, 8: 4, 9: 3, 10: 5, 12: 6} {
		got := Table{Head: make([]string, 1+2*places)}.PerLine()
		if got != want || places%got != 0 {
			t.Errorf("%d cylinders: %d to a line, want %d", places, got, want)
		}
	}
}
