package play

import (
	"proveout/evidence"
	"proveout/sim"
	"proveout/vehicle"
)

// inBook says which faults of the petrol book are the right name for a fault of
// the simulator. More than one where the simulator does not tell apart what the
// book does. A simulator fault that is missing here is in no book: the honest
// answer is then "something not listed".
var inBook = map[string][]string{
	"wide plug gap": {"plug_gap_wide"}, "all plugs worn": {"plug_set_worn"}, "cracked plug": {"plug_cracked"}, "fouled plug": {"plug_fouled"},
	"boot leak": {"boot_leak"}, "corroded boot spring": {"boot_resistance"}, "open boot": {"secondary_open"},
	"weak coil": {"coil_weak"}, "weak shared coil": {"coil_pair_weak", "coil_one_weak"}, "shorted coil turns": {"coil_primary_short", "coil_pair_short"},
	"poor coil feed": {"coil_feed"}, "poor coil ground": {"coil_feed"}, "poor shared coil feed": {"coil_supply_shared", "pair_feed"}, "short dwell": {"coil_driver"},
	"restricted injector": {"injector_restricted"}, "leaking injector": {"injector_leaking"}, "dead injector": {"injector_electrical"},
	"low fuel pressure": {"fuel_pump_weak", "fuel_filter_restricted", "pressure_regulator", "hp_pump_weak"}, "spoiled fuel": {"fuel_contaminated", "fuel_ethanol_high"},
	"runner air leak": {"runner_leak"}, "plenum air leak": {"intake_leak_global"}, "airflow reads low": {"maf_under_reports"},
	"purge stuck open": {"purge_over_delivery"}, "recirculation stuck open": {"egr_over_delivery"}, "cam timing late": {"cam_timing_off", "phaser_stuck"},
	"exhaust blocked": {"exhaust_restricted"}, "leaking valve": {"valve_leaking"}, "worn rings": {"rings_worn"}, "gasket leak between cylinders": {"head_gasket_between"},
	"worn lobe": {"cam_lobe_worn", "lifter_collapsed"}, "weak valve spring": {"valve_spring_weak"}, "intake deposits": {"intake_valve_deposits"},
	"noisy crank signal": {"crank_signal_noise"}, "crank learn missing": {"crank_learn_missing"}, "rough road": {"false_detection"},
}

// right reports whether suspect fault id on subject s names fault f of the truth.
func right(f sim.Fault, id string, s evidence.Subject, e vehicle.Engine) bool {
	named := false
	for _, b := range inBook[f.Name] {
		named = named || b == id
	}
	switch {
	case !named:
		return false
	case s.Kind == evidence.Engine:
		return true
	case f.Bank > 0 && s.Kind == evidence.Bank:
		return f.Bank == s.Number
	case f.Cylinder > 0:
		return s.Covers(f.Cylinder, e.Bank)
	}
	return true
}
