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

// placed lays the pickup on a coil, records a second of idle and one snap of the
// throttle, each firing triggered by itself with dead time between, and adds the
// file and its entry.
func placed(f folder, job *strings.Builder, rng *rand.Rand, v *sim.Vehicle, cylinder, placement int, gain float64) error {
	p := pickup()
	p.Gain, p.Inverted = gain, v.Inverted(cylinder)
	style := sim.CSVStyle{TimeUnit: "us", Milli: true, Name: "Channel A"}
	if v.Engine.Boosted { // smaller gaps, shorter rise: sampled faster
		p.RateHz, style.TimeUnit = 625e3, "ms"
	}
	sparks, err := v.Secondary(rng, cylinder, sim.Under{State: "snap"}, sim.SnapProfile(780, 3200, 0.93), 1.43)
	if err != nil {
		return err
	}
	file := fmt.Sprintf("captures/secondary-cyl%d-place%d.csv.gz", cylinder, placement)
	rec := p.Triggered(rng, sparks, 2.6e-3, 4.5e-3)
	f[file] = sim.Gzip(rec.CSV(style))
	fmt.Fprintf(job, `  - file: %s
    kind: ignition_secondary
    cylinder: %d
    condition: {state: snap, warm: warm, wet: dry}
    probe: {name: capacitive pickup, calibrated: false, placement: "%d"}
    columns:
      - {column: Time (%[4]s), as: time, unit: %[4]s}
      - {column: Channel A (mV), as: ignition_secondary, unit: mV}
`, file, cylinder, placement, style.TimeUnit)
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
