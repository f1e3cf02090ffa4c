package main

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"proveout/sim"
)

// leanInjector is example 03: a boosted direct-injection three whose cylinder 2
// gets too little fuel. It looks like a wide gap from far away.
func leanInjector(seed uint64) (folder, error) {
	rng := rand.New(rand.NewPCG(seed, 103))
	v, err := sim.New(rng, sim.Layouts()[4], sim.Fault{Name: "restricted injector", Cylinder: 2, Severity: 0.40})
	if err != nil {
		return nil, err
	}
	f := folder{}
	var captures strings.Builder
	drive := sim.RoadTest("warm", "dry")
	s := v.Session(rng, drive)
	f["captures/modules.log"] = sim.Candump(rng, v.Messages(rng, s), 1794300000)
	f["captures/drive.csv"] = v.ParameterCSV(v.ParameterLog(rng, drive, 0.7), true)
	for place := 1; place <= 2; place++ {
		for c := 1; c <= 3; c++ {
			if err := placed(f, &captures, rng, v, c, place, sim.PlacementGain(rng, pickup().Gain, 0.20)); err != nil {
				return nil, err
			}
		}
	}
	gaps, err := answers(rng, v, "plug.gap", 3)
	if err != nil {
		return nil, err
	}
	leaks, err := answers(rng, v, "cranking.ripple", 3)
	if err != nil {
		return nil, err
	}
	pressure, err := one(rng, v, "fuel.pressure_load", 0)
	if err != nil {
		return nil, err
	}
	coil, err := v.Ask(rng, "coil_boot_swap", 2, sim.Under{State: "load"})
	if err != nil {
		return nil, err
	}
	if coil.Word != "stays" {
		return nil, fmt.Errorf("the coil took the fault along: this example needs another seed")
	}
	fuel, err := v.Ask(rng, "enrichment", 0, sim.Under{State: "snap"})
	if err != nil {
		return nil, err
	}
	f["job.yaml"] = []byte(fmt.Sprintf(`# Example 03: invented shop, people, vehicle and signals. See README.md.
schema: proveout/job/1
job: QL-0446
shop: Quarry Lane Garage
technician: Ines Varga
opened: "2026-11-10"
vehicle:
  make: Pellan
  model: Dune 1.0 boosted
  year: %d
  vin: %s
  odometer: %.0f km
  engine:
    cylinders: 3
    arrangement: inline
    firing_order: [1, 3, 2]
    ignition: coil_on_plug
    injection: direct
    boosted: true
    fuel: petrol
    displacement: 1.0 L
    access: easy
complaint:
  said: It judders when accelerating on the motorway ramp. The lamp came on once.
  symptoms: [misfire_load]
  conditions:
    state: [load]
    warm: warm
    wet: dry
    lamp: steady
history:
  facts: {boosted_load_only: yes, worse_wet: no, recent_plug_or_coil_work: no}
limits:
  - feature: plug.gap
    min: 0.65 mm
    max: 0.85 mm
    source: invented service sheet of the Pellan Dune
  - feature: fuel.pressure_load
    nominal: 500 kPa
    source: invented service sheet of the Pellan Dune (low side)
captures:
  - file: captures/modules.log
    kind: diagnostic
    condition: {state: idle, warm: warm}
  - file: captures/drive.csv
    kind: parameter_log
    condition: {warm: warm, wet: dry}
    note: With the misfire counters of the module.
%sreadings:
  - feature: cranking.ripple
    values: %s
    condition: {state: cranking, warm: warm}
    instrument: starter clamp
  - feature: fuel.pressure_load
    value: %s
    condition: {state: load, warm: warm}
    instrument: live data
  - feature: plug.gap
    values: %s
    uncertainty: 0.03 mm
    condition: {state: "off"}
    instrument: wire gauge
  - test: coil_boot_swap
    cylinder: 2
    result: %s
    condition: {state: load, warm: warm, wet: dry}
    note: Coil with its boot from 2 to 3; the counts stayed on 2.
  - test: enrichment
    result: %s
    condition: {state: snap, warm: warm}
    note: Propane at the intake while the throttle was snapped.
`, v.Year, v.VIN, v.Odometer, captures.String(), leaks, pressure, gaps, coil, fuel))
	f["README.md"] = []byte(fmt.Sprintf(`# 03 - A lean cylinder that looks like a wide gap

Invented shop, people, make, model and signals. Made by
`+"`go run ./sim/cmd/makeexamples -out examples -seed %d`"+`; seed %d, stream 103.

**The truth in the simulator:** %s. Nothing else is wrong.

**What is in the folder.** A boosted direct-injection three: module messages (counts
%s this cycle), a drive with counters, two placements of the pickup on each coil at
idle and snap, starter current humps, fuel pressure under load, all three gaps, a
swap of coil with boot, and enrichment with propane (%s).

**What the tool should find, and why.**

1. Cylinder 2 burns short, as with a wide gap, but its spark line climbs and is rough,
   and the miss fades with more fuel: lean.
2. Gaps are alike and inside their limit, the coil with its boot does not take the fault
   along, the humps are alike, the pressure holds: what is left on top is the injector
   of cylinder 2, or air that only this cylinder draws.
3. It is **suspected at most**, never shown: no one has looked at the injector itself.
   Two placements leave heights "not established". The next tests are those that do look.
`, seed, seed, v.Faults[0], ints(s.Counts), fuel))
	return f, nil
}
