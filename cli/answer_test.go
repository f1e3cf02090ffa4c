package cli

import (
	"bytes"
	"strings"
	"testing"

	"proveout/shop"
)

// Factors of one name and item are one word with their product, worked out
// before rounding and before the weak ones are dropped.
func TestMovedLineMergesLikeFactors(t *testing.T) {
	names := map[string]string{"g1": "plug gap (item 31)", "g2": "plug gap (item 31)", "g3": "plug gap (item 31)", "g4": "plug gap (item 32)", "s": "swap (item 9)"}
	for _, c := range []struct {
		why   string
		moved []shop.MovedAnswer
		want  string
	}{
		{"1/1.6 cubed is 1/4.096, not three times 1.6", []shop.MovedAnswer{{Finding: "g1", Factor: 0.625}, {Finding: "s", Factor: 2}, {Finding: "g2", Factor: 0.625}, {Finding: "g3", Factor: 0.625}}, "÷4.1 plug gap (item 31, 3 readings); ×2.0 swap (item 9)"},
		{"for and against cancel", []shop.MovedAnswer{{Finding: "g1", Factor: 4}, {Finding: "g2", Factor: 0.25}, {Finding: "s", Factor: 2}}, "×2.0 swap (item 9)"},
		{"three factors even by themselves are not even together", []shop.MovedAnswer{{Finding: "g1", Factor: 1.04}, {Finding: "g2", Factor: 1.04}, {Finding: "g3", Factor: 1.04}}, "×1.1 plug gap (item 31, 3 readings)"},
		{"another item stays apart", []shop.MovedAnswer{{Finding: "g1", Factor: 3}, {Finding: "g4", Factor: 2}}, "×3.0 plug gap (item 31); ×2.0 plug gap (item 32)"},
		{"prior and complaint are told elsewhere", []shop.MovedAnswer{{Finding: "prior", Factor: 0.01}, {Finding: "complaint", Factor: 9}, {Finding: "fact:old_plugs", Factor: 3}}, "×3.0 old plugs"},
	} {
		if got := movedLine(shop.SuspectAnswer{MovedBy: c.moved}, names); got != c.want {
			t.Errorf("%s: %q, want %q", c.why, got, c.want)
		}
	}
}

// The note on sums stands where the printed percentages would not add up, and
// nowhere else.
func TestChancesAboveAHundredAreExplained(t *testing.T) {
	for _, c := range []struct {
		chances []float64
		want    bool
	}{{[]float64{0.7, 0.5}, true}, {[]float64{0.7, 0.2}, false}} {
		a := &shop.Answer{NothingWrong: 0.01, NotListed: 0.05}
		for _, p := range c.chances {
			a.Suspects = append(a.Suspects, shop.SuspectAnswer{Chance: p, State: "suspected"})
		}
		var b bytes.Buffer
		writeLeft(&page{w: &b}, a, nil, false)
		if got := strings.Count(b.String(), "more than 100"); got != map[bool]int{true: 1}[c.want] {
			t.Errorf("%v: the note stands %d times in\n%s", c.chances, got, b.String())
		}
	}
}
