package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"proveout/evidence"
	"proveout/stats"
)

// Placement and cycle variance are two things. Davies and Goldsmith (1972) 6.4,
// yield of dyestuff: six batches of five preparations each. Published: variance
// between batches 1764.05 (standard deviation 42.00), within 2451.25 (49.51); data
// as in the package documentation of lme4, estimates from memory and recomputed by
// hand from its mean squares (11271.5 - 2451.25)/5. A batch stands for a placement,
// a preparation for a firing.
func TestPlacementAndCycleVarianceOfAPublishedSet(t *testing.T) {
	batches := [][]float64{
		{1545, 1440, 1440, 1520, 1580}, {1540, 1555, 1490, 1560, 1495}, {1595, 1550, 1605, 1510, 1560},
		{1445, 1440, 1595, 1465, 1545}, {1595, 1630, 1515, 1635, 1625}, {1520, 1455, 1450, 1480, 1445},
	}
	var rs []evidence.Reading
	within := 0.0
	for i, b := range batches {
		m, ss := 0.0, 0.0
		for _, v := range b {
			m += v / 5
		}
		for _, v := range b {
			ss += (v - m) * (v - m)
		}
		within += ss / 4 / 6
		r := typed("compression.dry", "kPa", []float64{m})[0]
		r.Placement, r.Item, r.N, r.Uncertainty = fmt.Sprint(i), i+1, 5, 1e3*math.Sqrt(ss/4/5)
		rs = append(rs, r)
	}
	if math.Abs(within-2451.25) > 0.005 {
		t.Fatalf("the data are mistyped: within %.3f", within)
	}
	p := pool(feature(t, "compression.dry"), rs, false)
	if got := 5 * p.within / 1e6; math.Abs(got-2451.25) > 0.005 {
		t.Errorf("cycle variance %.3f, published 2451.25", got)
	}
	between, df := scatter([]pooled{p}, 0)
	if got := between / 1e6; math.Abs(got-1764.05) > 0.005 || df != 5 {
		t.Errorf("placement variance %.3f with %.0f degrees of freedom, published 1764.05 with 5", got, df)
	}
}

// The worst of eight: uranium set of Tietjen and Moore, NIST e-Handbook
// 1.3.5.17.1, of which the handbook says that the largest is an outlier (Grubbs
// 2.4687 against 2.0317). Held against the others with the worst-of-n correction,
// it is the only one found, and its yardstick is the median of the seven others.
func TestWorstOfThePublishedEight(t *testing.T) {
	set := []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	var per [][]float64
	for _, v := range set {
		per = append(per, []float64{v})
	}
	f := feature(t, "compression.dry")
	c, err := Compare(f, typed(f.ID, "psi", per...), CompareOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range c.Rows {
		if last := i == 7; r.Established != last || (r.State == evidence.High) != last {
			t.Errorf("%.2f: established %v, %s, chance %.3g", set[i], r.Established, r.State, r.PFamily)
		}
	}
	r := c.Rows[7]
	if want := 245.57 / 200.82; math.Abs(r.Effect-want) > 1e-9 {
		t.Errorf("ratio to the others %.6f, %.6f to the median of the seven", r.Effect, want)
	}
	if r.PFamily < r.P*7.99 || r.PFamily > r.P*8.01 {
		t.Errorf("chance %.3g alone and %.3g of the family: the worst of 8 counts 8 times (Holm)", r.P, r.PFamily)
	}
}

// However bad one cylinder is, it does not move its own yardstick.
func TestABadOneDoesNotMoveItsYardstick(t *testing.T) {
	f := feature(t, "compression.dry")
	for _, bad := range []float64{1100, 600, 150} {
		c, err := Compare(f, typed(f.ID, "kPa", []float64{1180}, []float64{bad}, []float64{1200}, []float64{1230}), CompareOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if got := c.Rows[1].Effect; math.Abs(got-bad/1200) > 1e-9 {
			t.Errorf("%g kPa: %.6f of the others, whose middle is 1200", bad, got)
		}
	}
}

// The drift check is Student's t with the scatter's degrees of freedom: the limit
// for 8 is 2.306 (NIST e-Handbook 1.3.6.7.2), and it calls a drift that is not
// there in 5 % of cases.
func TestDriftIsATTest(t *testing.T) {
	row := func(subject int, first, last int, change float64) pooled {
		return pooled{subject: evidence.Cyl(subject), first: first, last: last, lastValue: change, places: []float64{0}}
	}
	for _, c := range []struct {
		t    float64
		want bool
	}{{2.30, false}, {2.31, true}, {-2.31, true}, {-2.30, false}} {
		sd := math.Sqrt(2 * 0.03 * 0.03)
		d := driftOf([]pooled{row(1, 1, 5, c.t*sd), row(2, 2, 2, 0), row(3, 3, 3, 0), row(4, 4, 4, 0)}, 0.03*0.03, 8, false)
		if d == nil || d.Established != c.want {
			t.Errorf("t = %.2f with 8 degrees of freedom: %+v", c.t, d)
		}
	}
	if d := driftOf([]pooled{row(1, 1, 4, 1), row(2, 2, 5, 0), row(3, 3, 3, 0)}, 0.01, 8, false); d != nil {
		t.Errorf("the first was not measured last of all, but: %+v", d)
	}
	rng := rand.New(rand.NewPCG(1, 31))
	called := 0
	const n = 2000
	for range n {
		// The scatter is estimated with 8 degrees of freedom, as the catalogue's counts.
		s2 := 0.0
		for range 8 {
			x := 0.03 * rng.NormFloat64()
			s2 += x * x / 8
		}
		change := 0.03 * math.Sqrt2 * rng.NormFloat64()
		if d := driftOf([]pooled{row(1, 1, 5, change), row(2, 2, 2, 0), row(3, 3, 3, 0)}, s2, 8, false); d.Established {
			called++
		}
	}
	if lo, hi := stats.ClopperPearson(called, n, 0.999); lo > 0.05 || hi < 0.05 {
		t.Errorf("a drift is called in %d of %d where there is none, 5 %% promised", called, n)
	}
}
