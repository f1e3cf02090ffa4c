package stats

import (
	"math"
	"testing"
)

// Critical values of Student's t: NIST/SEMATECH e-Handbook 1.3.6.7.2, three
// decimals; the column is the upper tail. The entry 318.313 of 1 and 0.001 is
// 318.309 by the closed form tan(pi (0.5 - 0.001)) and is left out.
func TestStudentTable(t *testing.T) {
	tails := []float64{0.10, 0.05, 0.025, 0.01, 0.005}
	for nu, row := range map[float64][]float64{
		1: {3.078, 6.314, 12.706, 31.821, 63.657}, 2: {1.886, 2.920, 4.303, 6.965, 9.925}, 3: {1.638, 2.353, 3.182, 4.541, 5.841},
		5: {1.476, 2.015, 2.571, 3.365, 4.032}, 8: {1.397, 1.860, 2.306, 2.896, 3.355}, 10: {1.372, 1.812, 2.228, 2.764, 3.169},
		20: {1.325, 1.725, 2.086, 2.528, 2.845}, 30: {1.310, 1.697, 2.042, 2.457, 2.750}, 100: {1.290, 1.660, 1.984, 2.364, 2.626},
		math.Inf(1): {1.282, 1.645, 1.960, 2.326, 2.576},
	} {
		for i, want := range row {
			got := TQuantile(1-tails[i], nu)
			if math.Abs(got-want) > 0.00051 {
				t.Errorf("t(%g, %g) = %.4f, table %.3f", 1-tails[i], nu, got, want)
			}
			if p := TTwoSided(got, nu); math.Abs(p-2*tails[i]) > 1e-9 {
				t.Errorf("both tails beyond %.4f with %g: %.10f, want %g", got, nu, p, 2*tails[i])
			}
		}
	}
}
