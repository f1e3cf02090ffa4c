package main

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"proveout/sim"
)

// onePlacement is example 02: the same kind of picture, milder, with the pickup
// laid on each coil once, and by chance a little closer on cylinder 2.
func onePlacement(seed uint64) (folder, error) {
	rng := rand.New(rand.NewPCG(seed, 152))
	v, err := sim.New(rng, sim.Layouts()[0], sim.Fault{Name: "wide plug gap", Cylinder: 2, Severity: 0.05})
	if err != nil {
		return nil, err
	}
	f := folder{}
	var captures strings.Builder
	drive := sim.RoadTest("warm", "dry")
	s := v.Session(rng, commute())
	f["captures/modules.txt"] = sim.HexLines(rng, v.Messages(rng, s))
	f["captures/drive.csv"] = v.ParameterCSV(v.ParameterLog(rng, drive, 1.0), false)
	for c, gain := range []float64{0.92, 1.05, 0.96, 1.02} {
		if err := placed(f, &captures, rng, v, c+1, 1, gain*pickup().Gain); err != nil {
			return nil, err
		}
	}
	kick, err := answers(rng, v, "injector.kick", 4)
	if err != nil {
		return nil, err
	}
	closing, err := answers(rng, v, "injector.closing_time", 4)
	if err != nil {
		return nil, err
	}
	f["job.yaml"] = []byte(fmt.Sprintf(`# Example 02: invented shop, people, vehicle and signals. See README.md.
schema: proveout/job/1
job: QL-0431
shop: Quarry Lane Garage
technician: Tom Aldous
opened: "2026-11-03"
vehicle:
  make: Torvane
  model: Brisk 1.6
  year: %d
  vin: %s
  odometer: %.0f km
  engine:
    cylinders: 4
    arrangement: inline
    firing_order: [1, 3, 4, 2]
    ignition: coil_on_plug
    injection: port
    boosted: false
    fuel: petrol
    displacement: 1.6 L
    access: easy
complaint:
  said: A light stumble when pulling in third. No lamp.
  symptoms: [misfire_load]
  conditions:
    state: [load]
    warm: warm
    wet: dry
    lamp: off
captures:
  - file: captures/modules.txt
    kind: diagnostic
    condition: {state: idle, warm: warm}
  - file: captures/drive.csv
    kind: parameter_log
    condition: {warm: warm, wet: dry}
%sreadings:
  - feature: injector.kick
    values: %s
    condition: {state: idle, warm: warm}
    instrument: back-probe and scope
  - feature: injector.closing_time
    values: %s
    condition: {state: idle, warm: warm}
    instrument: back-probe and scope
`, v.Year, v.VIN, v.Odometer, captures.String(), kick, closing))
	f["README.md"] = []byte(fmt.Sprintf(`# 02 - One placement only

Invented shop, people, make, model and signals. Made by
`+"`go run ./sim/cmd/makeexamples -out examples -seed %d`"+`; seed %d, stream 152.

A case of everyday practice (common practice, no source): no codes stored, monitor
counts unremarkable (%s this cycle, %s weighted), one cylinder's firing voltage
looks raised, its injector trace is normal and the pulse width follows the
throttle.

**The truth in the simulator:** %s, mild. The pickup was laid on each coil once.

**What the tool should find, and why.**

1. Cylinder 2 stands out in height by less than the 15 to 30 %% by which one placement
   differs from the next: **not established**, with the number of further
   placements that would settle it.
2. Injector traces are alike and the controller commands fuel: those suspects go
   down. What is left on top is an ignition part of a cylinder: plug, boot or coil,
   not yet separated; mixture and the others stay listed below.
3. Nothing is shown and nothing may be called shown.
4. Next: the test that separates, which looks at a part (gaps, a swap), before any part is
   bought; or place the pickup again.
`, seed, seed, ints(s.Counts), floats(s.Register), v.Faults[0]))
	return f, nil
}
