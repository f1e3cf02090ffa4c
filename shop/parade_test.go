package shop

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// paradeCSV draws the firings of a distributor engine one after the other on one trace,
// with the sync of cylinder 1: rise, spark line with a slope, damped swings. Heights in
// kV and burn times in ms by cylinder, as in trade.md 4.3.
func paradeCSV(rpm float64, order []int, height, burn map[int]float64, seed uint64) []byte {
	const rate, seconds = 100e3, 3.0
	rng := rand.New(rand.NewPCG(seed, 8))
	n := int(seconds * rate)
	v, sync := make([]float64, n), make([]float64, n)
	every := 120 / rpm / float64(len(order))
	for k := 0; ; k++ {
		at := 0.01 + float64(k)*every
		if at > seconds-0.01 {
			break
		}
		cyl := order[k%len(order)]
		top, last := height[cyl]*(1+0.06*rng.NormFloat64()), burn[cyl]*1e-3*(1+0.05*rng.NormFloat64())
		for i := int((at - 3e-3) * rate); i < int((at+6e-3)*rate); i++ {
			x := float64(i)/rate - at
			line := 1.0 + 0.15*height[cyl]/8
			switch {
			case x < -2.5e-3:
			case x < -60e-6:
				v[i] = -0.6 * math.Exp(-(x+2.5e-3)/1e-3)
			case x < 0:
				v[i] = top * (x + 60e-6) / 60e-6
			case x < last:
				v[i] = line * (1 + 0.1*x/last)
			default:
				v[i] = line * math.Exp(-(x-last)/300e-6) * math.Cos(2*math.Pi*5e3*(x-last))
			}
			if cyl == 1 && x > -0.1e-3 && x < 1e-3 {
				sync[i] = 5
			}
		}
	}
	var b bytes.Buffer
	b.WriteString("Time (ms),Parade (kV),Sync (V)\n")
	for i := range v {
		fmt.Fprintf(&b, "%.2f,%.3f,%.2f\n", 1e3*float64(i)/rate, v[i]+0.03*rng.NormFloat64(), sync[i]+0.02*rng.NormFloat64())
	}
	return b.Bytes()
}

// TestParadeFolderToOdds: a folder whose captures are whole-engine traces comes all the
// way to odds: the cylinder with the high, short firings leads, and with sound firings
// none does.
func TestParadeFolderToOdds(t *testing.T) {
	order := []int{1, 3, 4, 2}
	odds := func(wide int) *Answer {
		dir := t.TempDir()
		job := `schema: proveout/job/1
vehicle:
  engine: {cylinders: 4, firing_order: [1, 3, 4, 2], ignition: distributor, injection: port, fuel: petrol}
complaint: {text: misfire, state: load}
captures:
`
		for p := 1; p <= 3; p++ {
			height, burn := map[int]float64{}, map[int]float64{}
			for _, c := range order {
				height[c], burn[c] = 7.5, 1.3
			}
			if wide > 0 {
				height[wide], burn[wide] = 11.5, 0.85
			}
			name := fmt.Sprintf("parade%d.csv", p)
			if err := os.WriteFile(filepath.Join(dir, name), paradeCSV(800, order, height, burn, uint64(p)), 0o644); err != nil {
				t.Fatal(err)
			}
			job += fmt.Sprintf(`  - file: %s
    condition: {state: idle, warm: warm}
    probe: {name: clip on the coil lead, calibrated: false, placement: "%d"}
    columns: [{column: 2, as: ignition_parade}, {column: 3, as: sync}]
`, name, p)
		}
		if err := os.WriteFile(filepath.Join(dir, "job.yaml"), []byte(job), 0o644); err != nil {
			t.Fatal(err)
		}
		a, err := Diagnose(dir, Options{Program: "test"})
		if err != nil {
			t.Fatal(err)
		}
		sane(t, a)
		return a
	}
	of := func(a *Answer, cyl int) float64 {
		sum := 0.0
		for _, s := range a.Suspects {
			if strings.HasSuffix(s.ID, fmt.Sprintf("@cyl%d", cyl)) {
				sum += s.Chance
			}
		}
		return sum
	}
	a, sound := odds(3), odds(0)
	burns := 0
	for _, f := range a.Findings {
		if f.Feature == "ignition.burn_time_idle" {
			burns++
		}
	}
	if burns != 4 {
		t.Errorf("%d burn times from three whole-engine traces of four cylinders", burns)
	}
	if !slices.ContainsFunc(a.Suspects[:3], func(s SuspectAnswer) bool { return strings.HasSuffix(s.ID, "@cyl3") }) || of(a, 3) < 1.5*of(sound, 3) {
		t.Errorf("cylinder 3 stands at %.2f with high and short firings, at %.2f with sound ones; first %s", of(a, 3), of(sound, 3), a.Suspects[0].ID)
	}
	for _, c := range []int{1, 2, 4} {
		if of(a, c) >= of(a, 3) {
			t.Errorf("cylinder %d stands at %.2f, the bad one at %.2f", c, of(a, c), of(a, 3))
		}
		if d := of(sound, c) - of(sound, 3); math.Abs(d) > 0.05 {
			t.Errorf("all sound: cylinder %d differs from 3 by %.2f", c, d)
		}
	}
}
