package sim

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
)

// Shudder is a converter clutch (or a clutch, or a mount) that sticks and slips:
// the driveline swings at its own frequency, whatever the engine turns, and
// carries the crank with it in spells. From memory: 8 to 20 Hz, a few percent of
// the speed.
type Shudder struct {
	Hz    float64 // 0 = none
	Share float64 // amplitude over the engine speed
}

// CrankEdge is one change of level of a square crank signal or of the sync pulse.
type CrankEdge struct {
	Seconds     float64
	Crank, Sync int
}

// work of one firing at full load over what the crank and what turns with it hold
// at 2450 rpm: 300 J into 0.25 kg m2 (from memory) slow the crank by about 2 % for
// each missed firing; the rest of the driveline is behind the flywheel's springs.
const (
	firingJoule = 300.0
	crankKgM2   = 0.25
)

// CrankEdges records a 60-2 wheel and a pulse at the firing of cylinder 1 while
// the engine is driven in condition u. Each firing swings the speed; one that
// fails leaves the crank slower by W/(J w^2), which the driver and the other
// cylinders make up over the next five. It returns how many firings of each
// cylinder failed: the truth.
func (v *Vehicle) CrankEdges(rng *rand.Rand, u Under, rpm, seconds float64, sh Shudder) ([]CrankEdge, []int) {
	p := v.at(u)
	n := v.Engine.Cylinders
	order := v.Engine.FiringOrder
	if len(order) == 0 {
		for c := 1; c <= n; c++ {
			order = append(order, c)
		}
	}
	chance := make([]float64, n)
	for c := range chance {
		chance[c] = v.missChance(rng, p, c+1, u)
	}
	omega := rpm * math.Pi / 30
	loss := firingJoule * v.loadPct(v.running(u)) / 100 / (crankKgM2 * omega * omega)
	f := 720 / float64(n)
	failed := make([]int, n)
	var out []CrankEdge
	t, slow, next, lost, phase := 0.0, 0.0, 0.0, 0.0, 0.0
	spell := 1.0
	const step = 3.0 // half a pitch of 60 teeth
	for k := 0; t < seconds; k++ {
		deg := float64(k) * step
		if deg >= next { // a firing begins
			cyl := order[int(math.Round(next/f))%n]
			lost = 0
			if rng.Float64() < chance[cyl-1] {
				failed[cyl-1]++
				lost = loss
			}
			lost += 0.002 * rng.NormFloat64() // no two firings are alike: 0.2 %
			if rng.Float64() < 0.02 {         // spells come and go
				spell = 0.4 + 0.9*rng.Float64()
			}
			next += f
		}
		slow += (lost - slow/5) * step / f
		phase += 2 * math.Pi * sh.Hz * (1 + 0.01*rng.NormFloat64()) * step / (6 * rpm)
		speed := rpm * (1 - slow - 0.004*math.Cos(2*math.Pi*deg/f) + spell*sh.Share*math.Sin(phase) + 0.003*math.Sin(0.7*t))
		t += step / (6 * speed)
		if tooth := (k / 2) % 60; tooth >= 58 {
			continue
		}
		e := CrankEdge{Seconds: t + 1e-6*rng.NormFloat64(), Crank: 1 - k%2}
		if math.Mod(deg, 720) < 12 {
			e.Sync = 1
		}
		out = append(out, e)
	}
	return out, failed
}

// CrankCSV writes the edges as delimited text: one row for each change.
func CrankCSV(edges []CrankEdge) []byte {
	var b bytes.Buffer
	b.WriteString("Time (us),Crank,Coil 1\n")
	for _, e := range edges {
		fmt.Fprintf(&b, "%.0f,%d,%d\n", e.Seconds*1e6, e.Crank, e.Sync)
	}
	return b.Bytes()
}
