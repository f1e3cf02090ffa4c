// Package bay is a small fault book built in Go from the seed matrix of
// trade.md 1.5 (marked EST there): rates, and P(test abnormal | cause) with a
// floor of 0.03 to 0.05. It lets the tests and the evaluation of package reason
// stand on their own, whatever the shipped books say.
package bay

import (
	"proveout/book"
	"proveout/vehicle"
)

func est(v float64) book.Num { return book.Num{Value: v, Source: "trade.md 1.5"} }

func fault(id, part, per string, rate, complaint float64) (book.Component, book.Fault) {
	return book.Component{ID: part, Name: part, Per: per},
		book.Fault{ID: id, Component: part, Name: id, Rate: est(rate), Complaint: map[string]book.Num{"misfire_load": est(complaint)},
			Repair: book.Repair{Minutes: est(20), Parts: est(20)}}
}

func test(id, per string, minutes, healthy float64, direct []string, abnormal map[string]float64) book.Test {
	t := book.Test{ID: id, Name: id, Per: per, Direct: direct,
		Outcomes: []book.Outcome{{ID: "normal", Text: "normal", Normal: true}, {ID: "abnormal", Text: "abnormal", Proves: true}},
		Healthy:  book.Row{P: map[string]float64{"normal": 1 - healthy, "abnormal": healthy}},
		Given:    map[string]book.Row{}, Minutes: book.Minutes{Easy: est(minutes), Buried: est(3 * minutes)}}
	for f, p := range abnormal {
		t.Given[f] = book.Row{P: map[string]float64{"abnormal": p, "normal": 1 - p}, Where: "own"}
	}
	return t
}

// Book builds the bay book.
func Book() *book.Book {
	b := &book.Book{ID: "bay", Settings: book.Settings{NothingWrong: est(0.04), NotListed: est(0.05), Unreliable: est(0.02), CoverageWarm: est(0.3), CoverageState: est(0.3), CoverageUnknown: est(0.7), CoverageWet: est(0.2)},
		Symptoms: map[string]string{"misfire_load": "misfire under load"}}
	add := func(id, part, per string, rate, complaint float64) {
		c, f := fault(id, part, per, rate, complaint)
		for _, have := range b.Components {
			if have.ID == c.ID {
				b.Faults = append(b.Faults, f)
				return
			}
		}
		b.Components = append(b.Components, c)
		b.Faults = append(b.Faults, f)
	}
	add("plug_gap", "plug", "cylinder", 0.020, 0.8)
	add("plug_crack", "plug", "cylinder", 0.007, 0.8)
	add("boot_track", "boot", "cylinder", 0.012, 0.8)
	add("coil_weak", "coil", "cylinder", 0.018, 0.85)
	add("primary", "coil feed", "cylinder", 0.004, 0.7)
	add("injector_lean", "injector", "cylinder", 0.006, 0.6)
	add("injector_leak", "injector", "cylinder", 0.002, 0.3)
	add("valve_leak", "valve", "cylinder", 0.004, 0.4)
	add("rings", "rings", "cylinder", 0.001, 0.2)
	add("lobe", "cam lobe", "cylinder", 0.002, 0.6)
	add("gasket", "head gasket", "neighbours", 0.001, 0.3)
	add("pressure", "fuel pump", "engine", 0.006, 0.6)
	add("false_count", "crank learn", "engine", 0.003, 0.1)
	b.Tests = []book.Test{
		test("counter", "cylinder", 4, 0.04, nil, map[string]float64{"plug_gap": .75, "plug_crack": .9, "boot_track": .9, "coil_weak": .9, "primary": .85, "injector_lean": .9, "injector_leak": .8, "valve_leak": .9, "rings": .8, "lobe": .85, "gasket": .4, "pressure": .15, "false_count": .3}),
		test("coil_swap", "cylinder", 9, 0.03, []string{"coil_weak"}, map[string]float64{"coil_weak": .92, "boot_track": .6, "primary": .10, "plug_gap": .05, "plug_crack": .05}),
		test("plug_swap", "cylinder", 18, 0.03, []string{"plug_gap", "plug_crack"}, map[string]float64{"plug_gap": .9, "plug_crack": .9, "boot_track": .15, "injector_leak": .1}),
		test("burn_time", "cylinder", 10, 0.04, nil, map[string]float64{"plug_gap": .8, "plug_crack": .15, "boot_track": .15, "coil_weak": .7, "primary": .6, "injector_lean": .5, "pressure": .5}),
		test("capped", "cylinder", 10, 0.03, nil, map[string]float64{"plug_crack": .8, "boot_track": .75, "coil_weak": .3, "valve_leak": .35, "rings": .25, "lobe": .3}),
		test("mist", "cylinder", 6, 0.03, []string{"boot_track"}, map[string]float64{"boot_track": .75, "plug_crack": .3, "coil_weak": .15}),
		test("ramp", "cylinder", 8, 0.03, []string{"primary"}, map[string]float64{"coil_weak": .55, "primary": .8}),
		test("balance", "cylinder", 25, 0.03, []string{"injector_lean", "injector_leak"}, map[string]float64{"injector_lean": .85, "injector_leak": .8, "pressure": .1}),
		test("ripple", "cylinder", 6, 0.03, nil, map[string]float64{"valve_leak": .85, "rings": .7, "gasket": .85, "lobe": .25}),
		test("leak", "cylinder", 30, 0.05, []string{"valve_leak", "rings", "gasket"}, map[string]float64{"valve_leak": .9, "rings": .85, "gasket": .9}),
		test("running", "cylinder", 13, 0.03, []string{"lobe"}, map[string]float64{"valve_leak": .8, "rings": .6, "gasket": .8, "lobe": .9}),
		test("fuel_pressure", "engine", 20, 0.03, []string{"pressure"}, map[string]float64{"pressure": .9, "injector_leak": .3}),
	}
	// What lets an outcome show its part: a swap is done there and back, the other
	// looks are held against the sound cylinders. The fuel pressure has neither a
	// neighbour nor a cited limit, as that of the shipped book.
	for i := range b.Tests {
		switch t := &b.Tests[i]; t.ID {
		case "coil_swap", "plug_swap":
			t.Outcomes[1].Returns = true
		case "mist", "ramp", "balance", "leak", "running":
			t.Neighbours = true
		}
	}
	// A numeric test: plug gap against the cited limit, as ratio.
	gap := book.Test{ID: "gap", Name: "plug gap measured", Per: "cylinder", Direct: []string{"plug_gap"}, Static: true, Neighbours: true,
		Reads: &book.Reads{Feature: "plug.gap", Versus: "limit"},
		Outcomes: []book.Outcome{{ID: "small", Text: "gap below the limit", From: 0.5, To: 0.9}, {ID: "normal", Text: "gap within the limit", From: 0.9, To: 1.1, Normal: true},
			{ID: "wide", Text: "gap above the limit", From: 1.1, To: 2, Proves: true}},
		Healthy: book.Row{P: map[string]float64{"small": .02, "normal": .95, "wide": .03}},
		Given:   map[string]book.Row{"plug_gap": {P: map[string]float64{"wide": .96, "normal": .03, "small": .01}}},
		Minutes: book.Minutes{Easy: est(12), Buried: est(60), More: est(4)}}
	b.Tests = append(b.Tests, gap)
	return b
}

// Engine is a four-cylinder port-injected engine with a coil on each plug.
func Engine() vehicle.Engine {
	return vehicle.Engine{Cylinders: 4, FiringOrder: []int{1, 3, 4, 2}, Ignition: vehicle.CoilOnPlug, Injection: vehicle.Port, Fuel: "petrol", Access: "easy"}
}
