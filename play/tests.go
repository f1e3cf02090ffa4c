package play

import (
	"errors"
	"fmt"
	"strings"

	"proveout/sim"
)

// errNoWay is a test that the simulator cannot answer.
var errNoWay = errors.New("the simulator has no answer to this test")

// do carries a test out and writes what came of it into the job. places is how
// many subjects the feature or test has on this engine.
func (b *bench) do(test, feature string) error {
	if strings.HasPrefix(feature, "ignition.") {
		return b.traces()
	}
	q, field, key := test, "results", "test: "+test
	if feature != "" {
		q, field, key = feature, "values", "feature: "+feature
	}
	per := sim.Per(q)
	if per == "" {
		return errNoWay
	}
	u := b.under
	u.State = ""
	cond := fmt.Sprintf("condition: {warm: %s, wet: %s}", u.Warm, u.Wet)
	if per == "engine" {
		a, err := b.v.Ask(b.rng, q, 0, u)
		if err != nil {
			return err
		}
		b.readings = append(b.readings, fmt.Sprintf("{%s, %s: %s, %s}", key, strings.TrimSuffix(field, "s"), quoted(a), cond))
		return b.write()
	}
	n := b.v.Engine.Cylinders
	if per == "bank" {
		n = b.v.Engine.Banks()
	}
	var parts []string
	for i := 1; i <= n; i++ {
		a, err := b.v.Ask(b.rng, q, i, u)
		if errors.Is(err, sim.ErrNothingToSee) {
			continue
		}
		if err != nil {
			return err
		}
		parts = append(parts, fmt.Sprintf("%d: %s", i, quoted(a)))
	}
	if len(parts) == 0 {
		return sim.ErrNothingToSee
	}
	b.readings = append(b.readings, fmt.Sprintf("{%s, %s: {%s}, %s}", key, field, strings.Join(parts, ", "), cond))
	return b.write()
}

// quoted guards the words that YAML would take for something else.
func quoted(a sim.Answer) string {
	if a.Word != "" {
		return `"` + a.Word + `"`
	}
	return a.String()
}

// traces lays the pickup on every coil once more, at idle and at snap.
func (b *bench) traces() error {
	b.pickups++
	if b.pickups > 4 {
		return errNoWay
	}
	p := sim.GoodPickup()
	nominal := 0.11
	p.FullScale, p.Bits, p.NoiseV, p.HumV, p.RateHz = 5, 10, 0.003, 0.003, 1e6
	for c := 1; c <= b.v.Engine.Cylinders; c++ {
		p.Gain, p.Inverted = sim.PlacementGain(b.rng, nominal, 0.20), b.v.Inverted(c)
		for _, part := range []struct {
			state string
			prof  sim.Profile
			end   float64
		}{{"idle", sim.IdleProfile(780), 2.2}, {"snap", sim.SnapsProfile(780, 3200, 1.2), 3.0}} {
			u := b.under
			u.State = part.state
			sparks, err := b.v.Secondary(b.rng, c, u, part.prof, part.end)
			if err != nil {
				return err
			}
			name := fmt.Sprintf("captures/c%d-p%d-%s.csv", c, b.pickups, part.state)
			rec := p.Triggered(b.rng, sparks, 1.0e-3, 4.0e-3)
			if err := b.file(name, rec.CSV(sim.CSVStyle{TimeUnit: "us", Milli: true, Name: "Channel A"})); err != nil {
				return err
			}
			b.captures = append(b.captures, fmt.Sprintf(`{file: %s, kind: ignition_secondary, cylinder: %d, condition: {state: %s, warm: %s, wet: %s}, probe: {name: pickup, placement: "%d"}, columns: [{column: Time (us), as: time, unit: us}, {column: Channel A (mV), as: ignition_secondary, unit: mV}]}`,
				name, c, part.state, u.Warm, u.Wet, b.pickups))
		}
	}
	return b.write()
}
