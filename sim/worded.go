package sim

import (
	"math"
	"math/rand/v2"

	"proveout/vehicle"
)

// seenAbove is the share of failed firings a good technician sees or feels.
const seenAbove = 0.004

// share draws the misfire share of a cylinder over 1200 firings, a minute of hill.
func (a asked) share(p parts, cylinder int) float64 {
	return float64(a.v.misfires(a.rng, p, cylinder, a.u, 1200)) / 1200
}

// total is the mean misfire share over the cylinders.
func (a asked) total(p parts) float64 {
	sum := 0.0
	for c := range p.cyl {
		sum += a.share(p, c+1) / float64(len(p.cyl))
	}
	return sum
}

// swap exchanges one part with a donor far in the firing order, drives, puts the
// parts back and drives again.
func (a asked) swap(exchange func(x, y *Cylinder)) string {
	n := a.v.Engine.Cylinders
	donor := (a.i+n/2)%n + 1
	before := a.share(a.p, a.i+1)
	if before < seenAbove {
		return ""
	}
	base := a.share(a.p, donor)
	q := a.p.copy()
	exchange(&q.cyl[a.i], &q.cyl[donor-1])
	here, there := a.share(q, a.i+1), a.share(q, donor)
	if there-base > 0.4*before && here < 0.5*before {
		if a.share(a.p, a.i+1) < seenAbove {
			return "moves"
		}
		return "moves_and_returns"
	}
	return "stays"
}

// cures repairs something, drives, and puts it back.
func (a asked) cures(repair func(p *parts), cured, stays string) string {
	before := a.total(a.p)
	if before < seenAbove/2 {
		return ""
	}
	q := a.p.copy()
	repair(&q)
	return pick(a.total(q) < 0.4*before, cured, stays)
}

// there changes a part for a sound one, drives, puts the old one back and drives again.
// One time in thirty the moving about has cured it for good (from memory).
func (a asked) there(change func(p *parts)) string {
	seen := func(p parts) float64 { return a.total(p) + (p.common.CrankNoise+p.common.LearnMissing)/1000 }
	before := seen(a.p)
	if before < seenAbove/2 {
		return ""
	}
	q := a.p.copy()
	change(&q)
	if seen(q) >= 0.4*before {
		return "stays"
	}
	return pick(a.often(true, 0.97), "returned", "stays_gone")
}

// exchanged is the question of a part changed there and back.
func exchanged(per, at string, change func(v *Vehicle, p *parts)) question {
	return question{per: per, at: at, word: func(a asked) string {
		return a.there(func(p *parts) { change(a.v, p) })
	}}
}

func (a asked) often(b bool, p float64) bool { return b && a.rng.Float64() < p }

func (a asked) anyOf(f func(c Cylinder) bool) bool {
	for _, c := range a.p.cyl {
		if f(c) {
			return true
		}
	}
	return false
}

func (a asked) allOf(f func(c Cylinder) bool) bool {
	return !a.anyOf(func(c Cylinder) bool { return !f(c) })
}

// gapLimit is the wear limit in the invented service sheets.
func (a asked) gapLimit() float64 {
	if a.v.Engine.Boosted {
		return 0.90e-3
	}
	return 1.25e-3
}

func (a asked) wornGap(c Cylinder) bool {
	return c.Plug.GapMetre+0.02e-3*a.rng.NormFloat64() > a.gapLimit()
}

func isDirect(e vehicle.Engine) bool      { return e.Injection == vehicle.Direct }
func isWaste(e vehicle.Engine) bool       { return e.Ignition == vehicle.WasteSpark }
func isDistributor(e vehicle.Engine) bool { return e.Ignition == vehicle.Distributor }
func isBoosted(e vehicle.Engine) bool     { return e.Boosted }

func swapOf(f func(x, y *Cylinder)) func(a asked) string {
	return func(a asked) string { return a.swap(f) }
}

// worded are the tests that end in a word.
var worded = map[string]question{
	"coil_swap": {per: "cylinder", at: "load", fits: hasOwnCoil, word: swapOf(func(x, y *Cylinder) { x.Coil, y.Coil = y.Coil, x.Coil })},
	"boot_swap": {per: "cylinder", at: "load", word: swapOf(func(x, y *Cylinder) { x.Boot, y.Boot = y.Boot, x.Boot })},
	"coil_boot_swap": {per: "cylinder", at: "load", fits: hasOwnCoil, word: swapOf(func(x, y *Cylinder) {
		x.Coil, y.Coil, x.Boot, y.Boot = y.Coil, x.Coil, y.Boot, x.Boot
	})},
	"plug_swap":     {per: "cylinder", at: "load", word: swapOf(func(x, y *Cylinder) { x.Plug, y.Plug = y.Plug, x.Plug })},
	"injector_swap": {per: "cylinder", at: "load", word: swapOf(func(x, y *Cylinder) { x.Injector, y.Injector = y.Injector, x.Injector })},
	"coil_pair_swap": {per: "cylinder", at: "load", fits: isWaste, word: func(a asked) string {
		before := a.share(a.p, a.i+1)
		if before < seenAbove {
			return ""
		}
		q := a.p.copy()
		q.cyl[a.i].Coil = StreetCoil()
		return pick(a.share(q, a.i+1) < 0.5*before, "moves_and_returns", "stays")
	}},
	"coil_one_substitute": {per: "engine", at: "load", fits: isDistributor, word: func(a asked) string {
		return a.cures(func(p *parts) {
			for i := range p.cyl {
				p.cyl[i].Coil = StreetCoil()
			}
		}, "cured_and_returns", "stays")
	}},
	"coil_ramp": {per: "cylinder", at: "idle", word: func(a asked) string {
		switch w := a.c.Wiring; {
		case a.c.Coil.ShortedStep > 0.5:
			return "step"
		case w.FeedOhm+w.GroundOhm > 0.3:
			return "shallow"
		case w.DwellFactor < 0.85:
			return "cut"
		}
		return "normal"
	}},
	"coil_supply_drop": {per: "engine", at: "idle", word: func(a asked) string {
		return pick(a.allOf(func(c Cylinder) bool { return c.Wiring.FeedOhm > 0.1 }), "high", "normal")
	}},
	"connector_wiggle": {per: "cylinder", at: "idle", word: func(a asked) string {
		w := a.c.Wiring
		return pick(a.often(w.FeedOhm > 0.3 || w.GroundOhm > 0.3, 0.6), "provoked", "steady")
	}},
	"plug_gap_set": {per: "engine", word: func(a asked) string {
		switch {
		case a.allOf(a.wornGap):
			return "all_over"
		case a.anyOf(a.wornGap):
			return "some_over"
		}
		return "none_over"
	}},
	"plug_look": {per: "cylinder", at: "off", word: func(a asked) string {
		switch {
		case a.often(a.c.Plug.CrackVolt > 0, 0.85):
			return "crack_or_track"
		case a.c.Bore.LeakInto == "crankcase" && a.c.Bore.LeakShare > 0.35:
			return "oily_or_wet"
		case a.c.Injector.Dead:
			return "normal"
		case a.c.Injector.Drip > 0.2:
			return pick(a.rng.Float64() < 0.5, "oily_or_wet", "carbon_fouled")
		case a.c.Plug.Fouling > 0.3:
			return "carbon_fouled"
		}
		return "normal"
	}},
	"boot_look": {per: "cylinder", at: "off", word: func(a asked) string { return pick(a.often(a.c.Boot.LeakVolt > 0, 0.9), "track", "clean") }},
	"cap_look":  {per: "engine", at: "off", fits: isDistributor, word: func(asked) string { return "sound" }},
	// Water on the boot at idle: the idle needs too little voltage to jump a mild
	// track, so the share of leaks it provokes comes out of the physics.
	"mist": {per: "cylinder", at: "idle", word: func(a asked) string {
		q := a.p.copy()
		if l := q.cyl[a.i].Boot.LeakVolt; l > 0 {
			q.cyl[a.i].Boot.LeakVolt = 0.5 * l
		}
		return pick(a.share(q, a.i+1)-a.share(a.p, a.i+1) > seenAbove, "provoked", "quiet")
	}},
	"injector_current": {per: "cylinder", at: "idle", word: func(a asked) string { return pick(a.c.Injector.Dead, "none_or_low", "normal") }},
	"injector_quantity": {per: "cylinder", word: func(a asked) string {
		return band(a.c.Injector.Flow+0.3*a.c.Injector.Drip+0.02*a.rng.NormFloat64(), a.c.Injector.Dead)
	}},
	"injector_drip": {per: "cylinder", at: "off", word: func(a asked) string { return pick(a.often(a.c.Injector.Drip > 0.1, 0.95), "drips", "dry") }},
	"cranking_vacuum": {per: "engine", at: "cranking", word: func(a asked) string {
		switch {
		case a.p.common.CamLateDegree > 8:
			return "all_weak"
		case a.anyOf(func(c Cylinder) bool {
			return c.Bore.LeakShare > 0.25 && c.Bore.LeakInto != "crankcase" || c.Bore.Lift < 0.7
		}):
			return "one_weak"
		}
		return "even"
	}},
	"leak_where": {per: "cylinder", at: "off", word: func(a asked) string {
		if a.c.Bore.LeakShare < 0.18 {
			return "nowhere"
		}
		return map[string]string{"intake": "throttle", "exhaust": "tailpipe", "crankcase": "filler", "neighbour": "neighbour"}[a.c.Bore.LeakInto]
	}},
	"cylinder_pressure": {per: "cylinder", at: "idle", word: func(a asked) string {
		switch b := a.c.Bore; {
		case b.LeakShare > 0.22:
			return "leaking"
		case b.Lift < 0.85 || a.u.State == "snap" && b.Pinch > 0.2:
			return "poor_filling"
		case a.p.common.CamLateDegree > 8:
			return "timing_off"
		}
		return "normal"
	}},
	"lifter_press":    {per: "cylinder", at: "off", word: func(asked) string { return "firm" }},
	"spring_look":     {per: "cylinder", at: "off", word: func(a asked) string { return pick(a.often(a.c.Bore.SpringRPM > 0, 0.9), "weak_or_broken", "sound") }},
	"valve_borescope": {per: "cylinder", at: "off", fits: isDirect, word: func(a asked) string { return pick(a.c.Bore.DepositsNo > 0.2, "crusted", "clean") }},
	"vacuum_needle": {per: "engine", at: "idle", word: func(a asked) string {
		switch {
		case a.anyOf(func(c Cylinder) bool { return c.Bore.LeakShare > 0.3 && c.Bore.LeakInto != "crankcase" }):
			return "regular_flick"
		case a.p.common.Backpressure > 15:
			return "falls_at_2500"
		case a.anyOf(func(c Cylinder) bool { return c.Bore.SpringRPM > 0 }):
			return "swing_grows"
		}
		return "steady"
	}},
	"coolant_gas":            {per: "engine", at: "idle", word: func(asked) string { return "none" }},
	"pressure_before_filter": {per: "engine", at: "load", word: func(asked) string { return "alike" }}, // low pressure here is the pump
	"pump_current":           {per: "engine", at: "key_on", word: func(a asked) string { return pick(a.often(a.p.common.FuelLossLoad > 0.2, 0.85), "pump_fails", "good") }},
	"regulator_check":        {per: "engine", at: "idle", word: func(asked) string { return "regulates" }},
	"fuel_sample":            {per: "engine", word: func(a asked) string { return pick(a.often(a.p.common.Spoiled > 0.3, 0.9), "bad", "clean") }},
	// Enriching by 12 %: a lean misfire fades; any other does not. Where nothing
	// misfires in the state it is tried in, nothing changes.
	"enrichment": {per: "engine", at: "snap", word: func(a asked) string {
		before := a.total(a.p)
		q := a.p.copy()
		q.common.Enrich = 0.12
		return pick(before > seenAbove/2 && a.total(q) < 0.5*before, "clears", "no_change")
	}},
	"smoke_runner":        {per: "cylinder", at: "off", word: func(a asked) string { return pick(a.often(a.c.Bore.Runner > 0.1, 0.9), "leaks", "tight") }},
	"smoke_system":        {per: "engine", at: "off", word: func(a asked) string { return pick(a.often(a.p.common.PlenumLeak > 0.05, 0.93), "leaks", "tight") }},
	"charge_air_test":     {per: "engine", at: "off", fits: isBoosted, word: func(asked) string { return "tight" }},
	"airflow_substitute":  {per: "engine", at: "load", word: func(a asked) string { return pick(a.p.common.AirflowError < -0.1, "cured_and_returns", "stays") }},
	"lambda_sensor_check": {per: "bank", at: "idle", word: func(asked) string { return "follows" }},
	"egr_block":           {per: "engine", at: "idle", word: func(a asked) string { return pick(a.p.common.Dilution > 0.05, "cured", "stays") }},
	"purge_pinch":         {per: "engine", at: "idle", word: func(a asked) string { return pick(a.p.common.PurgeFuel > 0.05, "cured", "stays") }},
	"cam_crank":           {per: "engine", at: "idle", word: func(a asked) string { return pick(a.p.common.CamLateDegree > 6, "off", "matches") }},
	"phaser_command":      {per: "bank", at: "idle", word: func(asked) string { return "follows" }},
	"exhaust_pattern": {per: "engine", at: "idle", word: func(a asked) string {
		f := a.v.fuelling(a.p, a.u, nil)
		lean, rich := 0.0, 1.0
		for _, l := range f.lambda {
			lean, rich = math.Max(lean, l), math.Min(rich, l)
		}
		miss := a.total(a.p) > 0.02
		switch {
		case miss && lean > 1.2:
			return "lean_miss"
		case rich < 0.88:
			return "rich_pattern"
		case miss:
			return "unburnt"
		}
		return "clean"
	}},
	"felt_at_tailpipe": {per: "engine", at: "idle", word: func(a asked) string { return pick(a.total(a.p) > seenAbove, "felt", "not_felt") }},
	"counts_elsewhere": {per: "engine", at: "load", word: func(a asked) string {
		c := a.p.common
		switch {
		case c.RoughRoad > 0 && a.total(a.p) < seenAbove/2:
			return "gone"
		case c.CrankNoise+c.LearnMissing > 0 || a.total(a.p) > seenAbove/2:
			return "still"
		}
		return ""
	}},
	"converter_open": {per: "engine", at: "cruise", word: func(a asked) string {
		if c := a.p.common; c.CrankNoise+c.LearnMissing+c.RoughRoad > 0 || a.total(a.p) > seenAbove/2 {
			return "still"
		}
		return ""
	}},
	// Parts changed there and back. The simulator's low fuel pressure is the pump, and its
	// caps and oxygen sensors are sound: to change those alters nothing.
	"there_and_back_plug_set": exchanged("engine", "load", func(v *Vehicle, p *parts) {
		for i := range p.cyl {
			p.cyl[i].Plug = v.healthy.cyl[i].Plug
		}
	}),
	"there_and_back_egr":          exchanged("engine", "idle", func(_ *Vehicle, p *parts) { p.common.Dilution = 0 }),
	"there_and_back_purge":        exchanged("engine", "idle", func(_ *Vehicle, p *parts) { p.common.PurgeFuel = 0 }),
	"there_and_back_crank_sensor": exchanged("engine", "load", func(_ *Vehicle, p *parts) { p.common.CrankNoise = 0 }),
	"there_and_back_fuel_pump": exchanged("engine", "load", func(v *Vehicle, p *parts) {
		p.common.FuelLossLoad, p.common.FuelKPa = v.healthy.common.FuelLossLoad, v.healthy.common.FuelKPa
	}),
	"there_and_back_fuel_filter":   exchanged("engine", "load", func(*Vehicle, *parts) {}),
	"there_and_back_regulator":     exchanged("engine", "load", func(*Vehicle, *parts) {}),
	"there_and_back_cap_rotor":     {per: "engine", at: "load", fits: isDistributor, word: func(a asked) string { return a.there(func(*parts) {}) }},
	"there_and_back_lambda_sensor": exchanged("bank", "load", func(*Vehicle, *parts) {}),
	"crank_trace":                  {per: "engine", at: "raised", word: func(a asked) string { return pick(a.often(a.p.common.CrankNoise > 0, 0.9), "noisy", "clean") }},
	"relearn_effect":               {per: "engine", at: "cruise", word: func(a asked) string { return pick(a.p.common.LearnMissing > 0, "gone", "stays") }},
	"learn_status":                 {per: "engine", word: func(a asked) string { return pick(a.p.common.LearnMissing > 0, "not_learnt", "learnt") }},
	"visual_round": {per: "engine", at: "off", word: func(a asked) string {
		switch {
		case a.often(a.p.common.PlenumLeak > 0.1, 0.45):
			return "hose"
		case a.often(a.anyOf(func(c Cylinder) bool { return c.Wiring.FeedOhm > 0.3 || c.Wiring.GroundOhm > 0.3 }), 0.35):
			return "wiring"
		case a.often(a.anyOf(func(c Cylinder) bool { return c.Boot.LeakVolt > 0 }), 0.2):
			return "wet_wells"
		}
		return "nothing"
	}},
}

// band says how an injector's quantity stands to its siblings.
func band(flow float64, dead bool) string {
	switch {
	case dead || flow < 0.92:
		return "low"
	case flow > 1.08:
		return "high"
	}
	return "normal"
}

func pick(b bool, yes, no string) string {
	if b {
		return yes
	}
	return no
}

// Felt says in which conditions a driver would feel it: 0.4 % or more of the
// firings of one cylinder lost. Each state is tried warm and dry, then hot, cold and
// wet where it shows only there. Empty for a vehicle whose counters lie, or that
// is only down on power.
func (v *Vehicle) Felt(rng *rand.Rand) []Under {
	feel := func(u Under) bool {
		for c := 1; c <= v.Engine.Cylinders; c++ {
			if v.MisfireShare(rng, c, u, 800) >= seenAbove {
				return true
			}
		}
		return false
	}
	var out []Under
	for _, s := range []string{"idle", "cruise", "load"} {
		if feel(Under{State: s, Warm: "warm", Wet: "dry"}) {
			out = append(out, Under{State: s, Warm: "warm", Wet: "dry"})
			continue
		}
		for _, u := range []Under{{s, "hot", "dry"}, {s, "cold", "dry"}, {s, "warm", "wet"}} {
			if feel(u) {
				out = append(out, u)
			}
		}
	}
	return out
}
