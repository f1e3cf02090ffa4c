package main

import (
	"fmt"
	"math/rand/v2"

	"proveout/sim"
)

// hill is a drive up the same hill several times in third gear, at the engine
// speeds given, with the way back between.
func hill(pull, back float64, rpm ...float64) []sim.Leg {
	leg := func(state string, s, rpm float64) sim.Leg {
		return sim.Leg{Under: sim.Under{State: state, Warm: "warm", Wet: "dry"}, Seconds: s, RPM: rpm}
	}
	out := []sim.Leg{leg("idle", 45, 0), leg("cruise", 150, 0)}
	for _, n := range rpm {
		out = append(out, leg("load", pull, n), leg("overrun", 6, 0), leg("cruise", back, 0))
	}
	return append(out, leg("idle", 40, 0))
}

// proven is example 06: the cause shown, a drive to be the before, new plugs as a
// set, the gaps of all four again, the hill again, codes and monitors again.
func proven(seed uint64) (folder, error) {
	rng := rand.New(rand.NewPCG(seed, 106))
	v, err := sim.New(rng, sim.Layouts()[0], sim.Fault{Name: "wide plug gap", Cylinder: 4, Severity: 1.25})
	if err != nil {
		return nil, err
	}
	f := folder{}
	before := hill(30, 70, 2400, 2500, 2350, 2550)
	log := v.ParameterLog(rng, before, 0.5)
	s := v.Session(rng, before)
	steady := 0.0 // since when it pulls: the gear must be in and the road speed settled
	for i := 1; i < len(log) && s.Frozen == nil; i++ {
		r := &log[i]
		if r.State != "load" || log[i-1].State != "load" {
			steady = r.Seconds
		}
		if r.State == "load" && r.Seconds-steady > 18 && r.Misfires[3] > log[i-1].Misfires[3] {
			s.Frozen = r
		}
	}
	if len(s.Confirmed) == 0 || s.Frozen == nil {
		return nil, fmt.Errorf("seed %d stores no code: choose another severity", seed)
	}
	f["captures/modules-before.log"] = sim.Candump(rng, v.Messages(rng, s), 1795593600)
	f["captures/drive-before.csv"] = v.ParameterCSV(log, true)
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
	swap, err := v.Ask(rng, "plug_swap", 4, sim.Under{State: "load"})
	if err != nil {
		return nil, err
	}

	wrong := v.Faults[0]
	v.Faults = nil // the repair
	after := hill(34, 70, 2400, 2500, 2350, 2550, 2450, 2300, 2600)
	f["captures/drive-after.csv"] = v.ParameterCSV(v.ParameterLog(rng, after, 0.5), true)
	now := sim.Session{Counts: v.MisfireCounts(rng, after), Register: make([]float64, 4), Row: log[0], NotReady: 0x01}
	f["captures/modules-after.log"] = sim.Candump(rng, v.Messages(rng, now), 1795617000)
	gapsAfter, err := answers(rng, v, "plug.gap", 4)
	if err != nil {
		return nil, err
	}
	humpsAfter, err := answers(rng, v, "cranking.ripple", 4)
	if err != nil {
		return nil, err
	}
	f["job.yaml"] = []byte(fmt.Sprintf(`# Example 06: invented shop, people, vehicle, parts and signals. See README.md.
schema: proveout/job/1
job: QL-0431
shop: Quarry Lane Garage
technician: Ines Varga
opened: "2026-11-25"
customer: {name: Tam Ostrey, phone: 0555 0177}
approvals:
  - {what: finding up to 1.5 h, at: "2026-11-25T08:10:00Z", how: signed, who: Ines Varga}
  - {what: four plugs and the drives, at: "2026-11-25T10:40:00Z", how: phone, who: Ines Varga}
vehicle:
  make: Torvane
  model: Brisk 1.6
  year: %d
  vin: %s
  plate: QL 431 T
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
  said: It shudders pulling up the quarry hill, and now the light is on. In town it is fine.
  symptoms: [misfire_load]
  conditions: {state: [load], gear: third, hill: yes, warm: warm, wet: dry, lamp: steady}
history:
  facts: {plugs_beyond_interval: yes, worse_wet: no, recent_engine_work: no}
limits:
  - {feature: plug.gap, min: 0.95 mm, max: 1.15 mm, source: invented service sheet of the Torvane Brisk}
captures:
  - file: captures/modules-before.log
    kind: diagnostic
    condition: {state: idle, warm: warm}
    taken: "2026-11-25T08:20:00Z"
    note: Read and saved before anything was touched.
  - file: captures/drive-before.csv
    kind: parameter_log
    condition: {warm: warm, wet: dry}
    drive: {as: before, road: 38 min}
    taken: "2026-11-25T11:00:00Z"
    note: Driven after the plug was shown, old plugs back in their places.
  - file: captures/drive-after.csv
    kind: parameter_log
    when: after
    condition: {warm: warm, wet: dry}
    drive: {episodes: [], road: 62 min}
    taken: "2026-11-25T13:30:00Z"
  - file: captures/modules-after.log
    kind: diagnostic
    when: after
    condition: {state: idle, warm: warm}
    taken: "2026-11-25T14:50:00Z"
readings:
  - feature: cranking.ripple
    values: %s
    condition: {state: cranking, warm: warm}
    instrument: starter clamp
  - feature: injector.resistance
    values: %s
    condition: {state: "off"}
    instrument: multimeter
  - feature: plug.gap
    values: %s
    uncertainty: 0.03 mm
    condition: {state: "off"}
    instrument: wire gauge
  - test: plug_swap
    cylinder: 4
    result: %s
    condition: {state: load, warm: warm, wet: dry}
    note: Plug 4 to cylinder 2 and back; the shudder went along and came back.
  # After the repair: the same test on all four again.
  - feature: plug.gap
    values: %s
    uncertainty: 0.03 mm
    when: after
    condition: {state: "off"}
    instrument: wire gauge
  - feature: cranking.ripple
    values: %s
    when: after
    condition: {state: cranking, warm: warm}
    instrument: starter clamp
corrections:
  - done: Four spark plugs renewed as a set, head cold, 23 Nm
    cause: plug_gap_wide@cyl4
    at: "2026-11-25T12:15:00Z"
    who: Ines Varga
    parts: [{name: spark plug, number: TB-7714, lot: "2609", count: 4}]
    reused: coils and boots, each in its own place
proof:
  by: measured
  erased: "2026-11-25T12:50:00Z"
handed_over: {at: "2026-11-25T15:20:00Z", odometer: %.0f km, ask_again: at 500 km}
`, v.Year, v.VIN, v.Odometer, humps, ohms, gaps, swap, gapsAfter, humpsAfter, v.Odometer+94))
	f["README.md"] = []byte(fmt.Sprintf(`# 06 - Proven on the hill

Invented shop, people, make, model, parts and signals. Made by
`+"`go run ./sim/cmd/makeexamples -out examples -seed %d`"+`; seed %d, stream 106.

**The truth in the simulator:** %s before the repair, nothing after it.

**What is in the folder.** Module messages with a stored code and its freeze frame
(%.0f rpm, load %.0f %%), the gaps of all four plugs, a plug swap there and back, and a
drive up the hill four times *after* the cause was shown, to be the before. Then four
new plugs, the gaps again, the same hill seven times, and the modules again.

**What the tool should find, and why.** `+"`go run . prove examples/06-proven-on-the-hill`"+`

1. The fault conditions come from the freeze frame: engine speed, load, gear (road
   speed over engine speed) and warm-up.
2. The first log counts as the before, since the cause is shown without it.
3. **Proven by measuring the part again:** the gap that was off is now like its
   neighbours. That was the proof named before driving.
4. The drive informs: clean in every cell, so by itself it says *improved*. Proven by
   road would take five times as long.
5. The catalyst monitor has not run since the codes were erased: said, not hidden.

`+"`go run . report examples/06-proven-on-the-hill --out report.pdf`"+` prints it on one page.
`, seed, seed, wrong, s.Frozen.RPM, s.Frozen.LoadPct))
	return f, nil
}
