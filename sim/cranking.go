package sim

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
)

// CrankingRow is starter current, battery voltage and a cylinder-1 sync.
type CrankingRow struct{ Seconds, Amp, Volt, Sync float64 }

// CrankingCurrent records the starter with a clamp: inrush, then one hump for
// each compression in firing order, in proportion to the gas work of the
// cylinder; the sync is 5 V while cylinder 1 is near its top.
func (v *Vehicle) CrankingCurrent(rng *rand.Rand, seconds, rateHz float64) []CrankingRow {
	p := v.at(Under{State: "cranking"})
	order := v.Engine.FiringOrder
	if len(order) == 0 {
		for c := 1; c <= v.Engine.Cylinders; c++ {
			order = append(order, c)
		}
	}
	n := len(order)
	height := make([]float64, n)
	for k, c := range order {
		b := p.cyl[c-1].Bore
		height[k] = 60 * crankKPa(p, b, b.LeakShare) / crankKPa(p, Bore{}, 0.05)
	}
	rpm := v.running(Under{State: "cranking"}).rpm
	var out []CrankingRow
	for i := 0; i < int(seconds*rateHz); i++ {
		t := float64(i) / rateHz
		row := CrankingRow{Seconds: t, Volt: 12.55}
		if t >= 0.1 {
			u := t - 0.1
			cyc := u * rpm / 120 * float64(n) // in compressions
			k := int(cyc) % n
			hump := height[k] * math.Pow(math.Sin(math.Pi*(cyc-math.Floor(cyc))), 2)
			row.Amp = 105 + hump + 420*math.Exp(-u/0.06) + 1.5*rng.NormFloat64()
			if k == indexOf(order, 1) && math.Abs(cyc-math.Floor(cyc)-0.5) < 0.15 {
				row.Sync = 5
			}
		} else {
			row.Amp = 1.5 * rng.NormFloat64()
		}
		row.Volt += -row.Amp*(12.55-p.common.CrankVolt)/190 + 0.01*rng.NormFloat64()
		out = append(out, row)
	}
	return out
}

func indexOf(s []int, x int) int {
	for i, y := range s {
		if y == x {
			return i
		}
	}
	return 0
}

// CrankingCSV writes the recording as delimited text.
func CrankingCSV(rows []CrankingRow) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),Starter current (A),Battery (V),Sync cylinder 1 (V)\n")
	for _, r := range rows {
		fmt.Fprintf(&b, "%.4f,%.1f,%.2f,%.0f\n", r.Seconds, r.Amp, r.Volt, r.Sync)
	}
	return b.Bytes()
}
