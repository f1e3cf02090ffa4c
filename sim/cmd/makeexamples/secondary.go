package main

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"proveout/sim"
)

// pickup is the one used in the examples: 10 bit, +-5 V, about 0.11 V/kV.
func pickup() sim.Pickup {
	p := sim.GoodPickup()
	p.Gain, p.FullScale, p.Bits, p.NoiseV, p.HumV, p.RateHz = 0.11, 5, 10, 0.003, 0.003, 500e3
	return p
}

// placed lays the pickup on a coil, records some idle and one snap of the throttle
// without moving it, each firing triggered by itself with dead time between, and
// adds the two files and their entries.
func placed(f folder, job *strings.Builder, rng *rand.Rand, v *sim.Vehicle, cylinder, placement int, gain float64) error {
	p := pickup()
	p.Gain, p.Inverted = gain, v.Inverted(cylinder)
	idle, snap := 5, 7
	if v.Engine.Boosted { // smaller gaps, shorter rise: sampled faster, fewer kept
		p.RateHz, snap = 1e6, 6
	}
	// The throttle goes open just before a firing: about 15 ms + 7 turns of two.
	sparks, err := v.Secondary(rng, cylinder, sim.Under{State: "snap"}, sim.SnapProfile(780, 3200, 1.075), 1.7)
	if err != nil {
		return err
	}
	at := 0
	for at < len(sparks) && sparks[at].ManifoldPa < 60e3 {
		at++
	}
	if at < idle || len(sparks) < at+snap {
		return fmt.Errorf("cylinder %d: %d firings before the snap and %d after are too few", cylinder, at, len(sparks)-at)
	}
	for _, part := range []struct {
		state string
		kept  []sim.Spark
	}{{"idle", sparks[at-idle : at]}, {"snap", sparks[at-2 : at+snap-1]}} {
		file := fmt.Sprintf("captures/secondary-cyl%d-place%d-%s.csv.gz", cylinder, placement, part.state)
		rec := p.Triggered(rng, part.kept, 2.6e-3, 4.5e-3)
		f[file] = sim.Gzip(rec.CSV(sim.CSVStyle{TimeUnit: "us", Milli: true, Name: "Channel A"}))
		fmt.Fprintf(job, `  - file: %s
    kind: ignition_secondary
    cylinder: %d
    condition: {state: %s, warm: warm, wet: dry}
    probe: {name: capacitive pickup, calibrated: false, placement: "%d"}
    columns:
      - {column: Time (us), as: time, unit: us}
      - {column: Channel A (mV), as: ignition_secondary, unit: mV}
`, file, cylinder, part.state, placement)
	}
	return nil
}

// answers asks one question of several places and writes them as one reading.
func answers(rng *rand.Rand, v *sim.Vehicle, q string, places int) (string, error) {
	var b strings.Builder
	for c := 1; c <= places; c++ {
		a, err := v.Ask(rng, q, c, sim.Under{})
		if err != nil {
			return "", err
		}
		if c > 1 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%d: %s", c, a)
	}
	return "{" + b.String() + "}", nil
}

// one asks a question of the engine or one cylinder.
func one(rng *rand.Rand, v *sim.Vehicle, q string, place int) (sim.Answer, error) {
	return v.Ask(rng, q, place, sim.Under{})
}

// commute is a drive with little load: what the module counted before the visit.
func commute() []sim.Leg {
	leg := func(state string, s float64) sim.Leg {
		return sim.Leg{Under: sim.Under{State: state, Warm: "warm", Wet: "dry"}, Seconds: s}
	}
	return []sim.Leg{leg("idle", 90), leg("cruise", 400), leg("load", 14), leg("cruise", 300), leg("idle", 60)}
}
