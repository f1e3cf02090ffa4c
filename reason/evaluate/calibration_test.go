package evaluate

import (
	"fmt"
	"math"
	"testing"
)

// S9 of reasoning.md section 4 (testdata/stats_oracles.txt): Brier (1950), log
// loss, and calibration error with five equal bins.
func TestCalibrationExample(t *testing.T) {
	p := []float64{.9, .8, .7, .6, .4, .3, .2, .1, .95, .55}
	y := []bool{true, true, false, true, false, true, false, false, true, false}
	c := Calibrate(p, y, 5)
	for _, w := range []struct {
		what      string
		got, want float64
	}{{"Brier", c.Brier, .1705}, {"log loss", c.LogLoss, .4936405981}, {"ECE", c.ECE, .22}} {
		if math.Abs(w.got-w.want) > 5e-11 {
			t.Errorf("%s %.10f, want %.10f", w.what, w.got, w.want)
		}
	}
	if fmt.Sprint(c.Count) != "[1 2 2 2 3]" {
		t.Errorf("bins %v", c.Count)
	}
}
