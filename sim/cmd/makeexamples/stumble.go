package main

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"proveout/sim"
)

// stumble is example 01: a wide plug gap on cylinder 3, three placements, then
// the gaps of all four and a swap there and back.
func stumble(seed uint64) (folder, error) {
	rng := rand.New(rand.NewPCG(seed, 101))
	v, err := sim.New(rng, sim.Layouts()[0], sim.Fault{Name: "wide plug gap", Cylinder: 3, Severity: 0.40})
	if err != nil {
		return nil, err
	}
	f := folder{}
	var captures strings.Builder
	drive := sim.RoadTest("warm", "dry")
	s := v.Session(rng, commute())
	f["captures/modules.log"] = sim.Candump(rng, v.Messages(rng, s), 1792832400)
	f["captures/drive.csv"] = v.ParameterCSV(v.ParameterLog(rng, drive, 0.8), false)
	// Each coil is visited in turn, three rounds: a placement is a new laying-on.
	for place := 1; place <= 3; place++ {
		for c := 1; c <= 4; c++ {
			if err := placed(f, &captures, rng, v, c, place, sim.PlacementGain(rng, pickup().Gain, 0.20)); err != nil {
				return nil, err
			}
		}
	}
	gaps, err := answers(rng, v, "plug.gap", 4)
	if err != nil {
		return nil, err
	}
	humps, err := answers(rng, v, "cranking.ripple", 4)
	if err != nil {
		return nil, err
	}
	ohms, err := answers(rng, v, "injector.resistance", 4)
	if err != nil {
		return nil, err
	}
	drops, err := answers(rng, v, "injector.balance_drop", 4)
	if err != nil {
		return nil, err
	}
	pressure, err := one(rng, v, "fuel.pressure_load", 0)
	if err != nil {
		return nil, err
	}
	swap, err := v.Ask(rng, "plug_swap", 3, sim.Under{State: "load"})
	if err != nil {
		return nil, err
	}
	f["job.yaml"] = []byte(fmt.Sprintf(`# Example 01: invented shop, people, vehicle and signals. See README.md.
schema: proveout/job/1
job: QL-0417
shop: Quarry Lane Garage
technician: Ines Varga
opened: "2026-10-24"
vehicle:
  make: Torvane
  model: Brisk 1.6
  year: %d
  vin: %s
  plate: QL 204 T
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
  said: It stumbles slightly when it pulls up the quarry hill. Idle is fine.
  symptoms: [misfire_load]
  conditions:
    state: [load]
    rpm: 2000 to 2800
    gear: third
    hill: yes
    warm: warm
    wet: dry
    lamp: off
history:
  facts: {plugs_beyond_interval: unknown, worse_wet: no, recent_engine_work: no}
  notes:
    - Plugs renewed about two years ago, says the customer; no invoice.
limits:
  - feature: plug.gap
    min: 0.95 mm
    max: 1.15 mm
    source: invented service sheet of the Torvane Brisk
  - feature: fuel.pressure_load
    nominal: 350 kPa
    source: invented service sheet of the Torvane Brisk
captures:
  - file: captures/modules.log
    kind: diagnostic
    condition: {state: idle, warm: warm}
    note: Read before anything was touched.
  - file: captures/drive.csv
    kind: parameter_log
    condition: {warm: warm, wet: dry}
    note: Idle, 2500, cruise and the hill twice.
%sreadings:
  - feature: cranking.ripple
    values: %s
    condition: {state: cranking, warm: warm}
    instrument: starter clamp
  - feature: injector.resistance
    values: %s
    condition: {state: "off"}
    instrument: multimeter
  - feature: injector.balance_drop
    values: %s
    condition: {state: key_on, warm: warm}
    instrument: gauge and timed pulse
  - feature: fuel.pressure_load
    value: %s
    condition: {state: load, warm: warm}
    instrument: gauge
  # The direct test: all four, not one.
  - feature: plug.gap
    values: %s
    uncertainty: 0.03 mm
    condition: {state: "off"}
    instrument: wire gauge
  # Plug 3 to cylinder 1 and back again, on the same hill the same afternoon.
  - test: plug_swap
    cylinder: 3
    result: %s
    condition: {state: load, warm: warm, wet: dry}
    note: The stumble went with the plug to cylinder 1 and came back with it to cylinder 3.
`, v.Year, v.VIN, v.Odometer, captures.String(), humps, ohms, drops, pressure, gaps, swap))
	f["README.md"] = []byte(fmt.Sprintf(`# 01 - It stumbles on the hill

Invented shop, people, make, model and signals. Made by
`+"`go run ./sim/cmd/makeexamples -out examples -seed %d`"+`; seed %d, stream 101.

**The truth in the simulator:** %s. Nothing else is wrong.

**What is in the folder.** Module messages read before anything was touched (no
codes; counts of cylinders 1 to 4 this cycle %s, weighted over ten drives %s), a
drive with the hill, the secondary of each coil at idle and at snap with an
uncalibrated pickup laid on three times, starter current humps, injector
resistance and balance, fuel pressure under load, the gaps of all four plugs,
and a plug swap there and back.

**What the tool should find, and why.**

1. The firing line of cylinder 3 at snap is high and its burn short and level,
   without a spike at the end: a wide gap or an open path, not a lean cylinder.
   One placement could not have said so (the gain of a placement varies by about
   20 %%); three can.
2. Injectors, fuel pressure, trims and compression humps are alike: those suspects
   go down or are ruled out by those readings.
3. The gap of plug 3 is measured and differs from its three neighbours and from
   the limit: **plug, wide gap, cylinder 3 is shown** by a direct test. The swap
   there and back agrees.
4. Next: fit plugs as a set, measure the gaps before fitting, drive the same hill.
`, seed, seed, v.Faults[0], ints(s.Counts), floats(s.Register)))
	return f, nil
}

func ints(x []int) string {
	s := make([]string, len(x))
	for i, v := range x {
		s[i] = fmt.Sprint(v)
	}
	return strings.Join(s, "/")
}

func floats(x []float64) string {
	s := make([]string, len(x))
	for i, v := range x {
		s[i] = fmt.Sprintf("%.0f", v)
	}
	return strings.Join(s, "/")
}
