package measure

import (
	"fmt"
	"testing"
)

func TestLook(t *testing.T) {
	for _, rate := range []float64{50e3, 100e3, 200e3, 500e3, 1e6, 5e6} {
		s := plainSynth()
		s.rate = rate
		rec, tr := s.draw()
		res, err := Capture(IgnitionSecondary, rec, onCylinder(1))
		fmt.Println(rate, err, "truth", tr.n, mean(tr.burns)*1e3, mean(tr.crests))
		for _, r := range res.Readings {
			fmt.Printf("   %-32s %8.4g ± %.3g n=%d %v\n", r.Feature, r.Value.SI, r.Uncertainty, r.N, r.Flags)
		}
		for _, n := range res.NotMeasured {
			fmt.Println("   NOT", n.Feature, n.Why, n.Fix)
		}
		for _, n := range res.Notes {
			fmt.Println("   note", n.Text)
		}
	}
}

func mean(x []float64) float64 {
	m := 0.0
	for _, v := range x {
		m += v / float64(len(x))
	}
	return m
}
