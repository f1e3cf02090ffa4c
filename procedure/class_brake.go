package procedure

func f(kv ...string) Guard {
	m := map[string]string{}
	for i := 0; i < len(kv); i += 2 {
		m[kv[i]] = kv[i+1]
	}
	return Guard{Facts: m}
}

func allOf(gs ...Guard) Guard { return Guard{All: gs} }

func anyOf(gs ...Guard) Guard { return Guard{Any: gs} }

var (
	calipersOn = f("caliper.left", "fitted", "caliper.right", "fitted")
	pedalReady = f("pedal", "firm", "fluid", "set")
	discsHeld  = f("disc.left", "held", "disc.right", "held")
)

// untouched: nothing can have moved what was shown, because the brake is locked out,
// was not in service position, or is open (then the lock-out is confirmed again).
func untouched(closed, service Guard, parts string) Guard {
	return anyOf(f("lockout", "locked"), Guard{Not: &service}, Guard{Not: &closed}, f(parts+".left", "new"), f(parts+".right", "new"))
}

// pedalAmongHands: the pedal moves the pistons of every wheel at once (common practice,
// no source). A rule holds while its act is under way, so it is broken in either order:
// the pedal pressed among hands, and hands put in under the pedal.
var pedalAmongHands = Rule{ID: "pedal_among_hands", Text: "the pedal is never pressed while hands are at a brake, and hands never go there while it is: the pressure closes it on them", Acts: []string{"pedal"}, Unless: Guard{Not: &Guard{Busy: "hands"}}}

// caliperClass: a motor on each rear caliper drives a nut inside the hydraulic
// piston (trade.md 5.1, 5.4, 5.8; CORRECTIONS 1 to 4).
var caliperClass = Class{
	ID: "brake_electric_caliper", Title: "electric parking brake, motor on the caliper",
	Ask: []string{"architecture", "drive", "lift"},
	// Retracted but not locked out, work not begun: a touched switch may have moved it.
	Disturbs: away(Disturb{Facts: []string{"lockout"}}, Disturb{Facts: []string{"gear"}, Unless: Guard{Not: &Guard{Facts: map[string]string{"chocks": "placed"}}}},
		Disturb{Facts: []string{"actuator.left"}, Unless: untouched(calipersOn, f("actuator.left", "service"), "pads")},
		Disturb{Facts: []string{"actuator.right"}, Unless: untouched(calipersOn, f("actuator.right", "service"), "pads")}),
	Facts: []Fact{
		sides("clamped released service", "", map[string]string{"clamped": "the {side} brake is clamped", "released": "the {side} brake is released", "service": "the {side} actuator is retracted, shown in two ways"}, "actuator"),
		sides("fitted off", "fitted", map[string]string{"fitted": "the {side} caliper is bolted up", "off": "the {side} caliper is off"}, "caliper"),
		sides("old new", "old", map[string]string{"new": "the {side} pads are fitted", "old": "the {side} pads are the old ones"}, "pads"),
		sides("out back", "out", map[string]string{"back": "the {side} piston is pushed back", "out": "the {side} piston is not pushed back"}, "piston"),
		sides("held loose", "held", map[string]string{"held": "the {side} disc is held flat", "loose": "the {side} disc is loose"}, "disc"),
		one("soft firm", "", map[string]string{"firm": "the pedal is firm", "soft": "the pedal is soft"}, "pedal"),
		one("not_set set", "", map[string]string{"set": "the fluid stands between the marks", "not_set": "the fluid level is not set"}, "fluid"),
		one("open locked", "open", map[string]string{"locked": "the brake is locked out: key away, switch guarded", "open": "the brake is not locked out"}, "lockout"),
		one("held neutral", "", map[string]string{"held": "the gear is in P or engaged", "neutral": "the gear is in neutral"}, "gear"),
		one("no yes", "no", map[string]string{"yes": "the brake was shown to hold", "no": "the brake was not shown to hold"}, "holds"),
	},
	Acts: []Act{
		{ID: "apply", Critical: true, Command: true, Sets: []string{"actuator.left=clamped", "actuator.right=clamped"}, Means: 2, Rest: 5, Hazard: "WARNING"},
		{ID: "release", Critical: true, Command: true, Sets: []string{"actuator.left=released", "actuator.right=released"}, Means: 2, Rest: 5, Hazard: "WARNING"},
		{ID: "retract", Critical: true, Command: true, Sets: []string{"actuator.{side}=service"}, Spoils: []string{"function", "holds"}, Means: 2, Rest: 10, Hazard: "WARNING"},
		{ID: "extend", Critical: true, Command: true, Sets: []string{"actuator.{side}=clamped"}, Means: 2, Rest: 10, Hazard: "WARNING"},
		{ID: "unbolt", Hands: true, Sets: []string{"caliper.{side}=off"}, Spoils: []string{"pedal", "function", "holds", "pads.{side}", "piston.{side}"}, Hazard: "WARNING"},
		{ID: "push_piston", Critical: true, Hands: true, FailStops: true, Sets: []string{"piston.{side}=back"}, Spoils: []string{"pedal", "fluid"}, Hazard: "CAUTION"},
		{ID: "fit_pads", Hands: true, Figures: true, Sets: []string{"pads.{side}=new"}, Hazard: "CAUTION"},
		{ID: "measure_brake", Hands: true, Figures: true},
		{ID: "bolt_up", Critical: true, Hands: true, Figures: true, Sets: []string{"caliper.{side}=fitted"}},
		{ID: "hold_disc", Hands: true, Sets: []string{"disc.{side}=held"}},
		{ID: "wheels_off", Hands: true, Sets: []string{"wheels=off"}, Spoils: []string{"disc.left", "disc.right"}},
		{ID: "wheels_on", Hands: true, Sets: []string{"wheels=on"}},
		{ID: "pedal", Critical: true, Sets: []string{"pedal=firm"}, Hazard: "WARNING"},
		{ID: "set_fluid", Sets: []string{"fluid=set"}},
		{ID: "lock_out", Sets: []string{"lockout=locked"}, Means: 2, Doubts: []string{"actuator.left", "actuator.right"}},
		{ID: "unlock", Sets: []string{"lockout=open"}},
		{ID: "wheel_turn", Critical: true},
		{ID: "gear_neutral", Sets: []string{"gear=neutral"}, Hazard: "WARNING"},
		{ID: "gear_park", Sets: []string{"gear=held"}},
		{ID: "hold_test", Critical: true, Sets: []string{"holds=yes"}, Means: 2, Hazard: "WARNING"},
		{ID: "secure", Sets: []string{"vehicle=supported", "vehicle=floor", "chocks=placed", "tag=hung", "ignition=off", "lockout=locked", "caliper.{side}=fitted", "disc.{side}=held"}},
	},
	WatchFor: []WatchFloor{brakeSupply},
	Rules: []Rule{
		{ID: "push_before_retraction", Text: "a piston is never pushed before that side's retraction is shown in two ways", Acts: []string{"push_piston"}, Unless: f("actuator.{side}", "service")},
		{ID: "unbolt_before_retraction", Text: "a caliper never comes off before that side is retracted and the brake is locked out", Acts: []string{"unbolt"}, Unless: f("actuator.{side}", "service", "lockout", "locked")},
		{ID: "hands_without_support", Text: "hands are never in a caliper while the vehicle is not supported", Acts: []string{"hands"}, Unless: f("vehicle", "supported")},
		{ID: "hands_with_key_on", Text: "hands are never at a brake with the ignition on: it can close by itself", Acts: []string{"hands"}, Unless: f("ignition", "off")},
		{ID: "hands_without_lockout", Text: "hands are never in an open caliper while the brake is not locked out", Acts: []string{"unbolt", "push_piston", "fit_pads"}, Unless: f("lockout", "locked")},
		{ID: "pedal_with_caliper_off", Text: "the pedal is never pressed while any caliper is off", Acts: []string{"pedal"}, Unless: calipersOn},
		pedalAmongHands,
		{ID: "fit_pads_before_push", Text: "pads are never forced in before the piston is back", Acts: []string{"fit_pads"}, Unless: f("piston.{side}", "back")},
		{ID: "extend_with_hardware_off", Text: "no extend or apply command while hardware is off on either side", Acts: []string{"extend", "apply"}, Unless: calipersOn},
		{ID: "extend_with_disc_loose", Text: "no extend or apply command while a disc is not held flat", Acts: []string{"extend", "apply"}, Unless: discsHeld},
		{ID: "extend_before_pedal", Text: "no extend or apply command before a firm pedal and the fluid level set", Acts: []string{"extend", "apply"}, Unless: pedalReady},
		{ID: "command_without_chocks", Text: "the parking brake is never let go without chocks: gear P of a lifted axle holds nothing", Acts: []string{"release", "retract", "apply", "extend"}, Unless: f("chocks", "placed")},
		{ID: "neutral_without_chocks", Text: "the gear never goes into neutral without chocks", Acts: []string{"gear_neutral"}, Unless: f("chocks", "placed")},
		{ID: "tried_in_gear", Text: "the brake is never tried with the gear in P or engaged: the gearbox would hold what the brake does not", Acts: []string{"hold_test"}, Unless: f("gear", "neutral")},
		{ID: "service_without_tag", Text: "never in service position, and no caliper off, without the do-not-drive tag", Acts: []string{"retract", "unbolt"}, Unless: f("tag", "hung")},
		{ID: "unlock_with_caliper_off", Text: "the lock-out never comes off while a caliper is off", Acts: []string{"unlock"}, Unless: calipersOn},
		{ID: "key_on_with_caliper_off", Text: "the ignition never goes on while a caliper is off or the brake is locked out", Acts: []string{"ignition_on", "start_engine"}, Unless: allOf(calipersOn, Guard{Not: &Guard{Facts: map[string]string{"lockout": "locked"}}})},
		{ID: "wheel_before_pedal", Text: "no wheel turns before a firm pedal and the fluid level set", Acts: []string{"wheel_turn", "drive"}, Unless: allOf(pedalReady, calipersOn)},
		{ID: "chocks_away_unproven", Text: "the chocks never come away before the brake was shown to hold", Acts: []string{"remove_chocks"}, Unless: allOf(f("function", "yes", "holds", "yes", "actuator.left", "clamped", "actuator.right", "clamped"), pedalReady)},
		{ID: "untag_unproven", Text: "the tag never comes off before the brake was shown to work and is out of service position", Acts: []string{"untag"}, Unless: f("function", "yes", "actuator.left", "clamped|released", "actuator.right", "clamped|released")},
		{ID: "drive_unproven", Text: "never driven before the brake works, holds and is out of service position", Acts: []string{"drive"}, Unless: f("function", "yes", "holds", "yes", "actuator.left", "clamped|released", "actuator.right", "clamped|released")},
		{ID: "left_open", Text: "never left with a caliper off and the brake not locked out", Acts: []string{"hand_over"}, Unless: anyOf(calipersOn, f("lockout", "locked"))},
		{ID: "finished_in_service", Text: "never finished in service position", Acts: []string{"finish"}, Unless: f("actuator.left", "clamped|released", "actuator.right", "clamped|released")},
		{ID: "finished_before_pedal", Text: "never finished before a firm pedal and the fluid level set, both sides bolted up with new pads", Acts: []string{"finish"}, Unless: allOf(pedalReady, calipersOn, f("pads.left", "new", "pads.right", "new", "holds", "yes", "lockout", "open"))},
	},
}

// cableClass: one motor unit winds a cable to shoes in a drum inside the disc, or
// to levers on the calipers (trade.md 5.1, 5.4 variants).
var cableClass = Class{
	ID: "brake_electric_cable", Title: "electric parking brake, motor unit with cable",
	Ask: []string{"architecture", "drive", "lift"},
	Disturbs: away(Disturb{Facts: []string{"lockout"}}, Disturb{Facts: []string{"gear"}, Unless: Guard{Not: &Guard{Facts: map[string]string{"chocks": "placed"}}}},
		Disturb{Facts: []string{"cable"}, Unless: untouched(f("hardware.left", "fitted", "hardware.right", "fitted"), f("cable", "slack"), "linings")}),
	Facts: []Fact{
		one("clamped released slack", "", map[string]string{"clamped": "the cable is tight and both sides hold", "released": "the cable is released", "slack": "the cable is slack, shown in two ways"}, "cable"),
		sides("fitted off", "fitted", map[string]string{"fitted": "the {side} brake is assembled and bolted up", "off": "the {side} brake is open"}, "hardware"),
		sides("old new", "old", map[string]string{"new": "the {side} linings are fitted", "old": "the {side} linings are the old ones"}, "linings"),
		sides("not_set set", "", map[string]string{"set": "the {side} adjuster is set", "not_set": "the {side} adjuster is not set"}, "adjuster"),
		sides("held loose", "held", map[string]string{"held": "the {side} disc or drum is held flat", "loose": "the {side} disc or drum is loose"}, "disc"),
		one("soft firm", "", map[string]string{"firm": "the pedal is firm", "soft": "the pedal is soft"}, "pedal"),
		one("not_set set", "", map[string]string{"set": "the fluid stands between the marks", "not_set": "the fluid level is not set"}, "fluid"),
		one("open locked", "open", map[string]string{"locked": "the brake is locked out: key away, switch guarded", "open": "the brake is not locked out"}, "lockout"),
		one("held neutral", "", map[string]string{"held": "the gear is in P or engaged", "neutral": "the gear is in neutral"}, "gear"),
		one("no yes", "no", map[string]string{"yes": "the brake was shown to hold", "no": "the brake was not shown to hold"}, "holds"),
	},
	Acts: []Act{
		{ID: "apply", Critical: true, Command: true, Sets: []string{"cable=clamped"}, Means: 2, Rest: 5, Hazard: "WARNING"},
		{ID: "release", Critical: true, Command: true, Sets: []string{"cable=released"}, Means: 2, Rest: 5, Hazard: "WARNING"},
		{ID: "slacken", Critical: true, Command: true, Sets: []string{"cable=slack"}, Spoils: []string{"function", "holds"}, Means: 2, Rest: 10, Hazard: "WARNING"},
		{ID: "learn", Critical: true, Command: true, Sets: []string{"cable=clamped"}, Means: 2, Rest: 10, Hazard: "WARNING"},
		{ID: "open_brake", Hands: true, Sets: []string{"hardware.{side}=off"}, Spoils: []string{"pedal", "function", "holds", "adjuster.{side}", "linings.{side}"}, Hazard: "WARNING"},
		{ID: "push_piston", Critical: true, Hands: true, FailStops: true, Spoils: []string{"pedal", "fluid"}, Hazard: "CAUTION"},
		{ID: "fit_linings", Hands: true, Figures: true, Sets: []string{"linings.{side}=new"}, Hazard: "CAUTION"},
		{ID: "measure_brake", Hands: true, Figures: true},
		{ID: "close_brake", Critical: true, Hands: true, Figures: true, Sets: []string{"hardware.{side}=fitted"}},
		{ID: "adjust", Hands: true, Sets: []string{"adjuster.{side}=set"}},
		{ID: "hold_disc", Hands: true, Sets: []string{"disc.{side}=held"}},
		{ID: "wheels_off", Hands: true, Sets: []string{"wheels=off"}, Spoils: []string{"disc.left", "disc.right"}},
		{ID: "wheels_on", Hands: true, Sets: []string{"wheels=on"}},
		{ID: "pedal", Critical: true, Sets: []string{"pedal=firm"}, Hazard: "WARNING"},
		{ID: "set_fluid", Sets: []string{"fluid=set"}},
		{ID: "lock_out", Sets: []string{"lockout=locked"}, Means: 2, Doubts: []string{"cable"}},
		{ID: "unlock", Sets: []string{"lockout=open"}},
		{ID: "wheel_turn", Critical: true},
		{ID: "gear_neutral", Sets: []string{"gear=neutral"}, Hazard: "WARNING"},
		{ID: "gear_park", Sets: []string{"gear=held"}},
		{ID: "bed", Critical: true, Hazard: "WARNING"},
		{ID: "hold_test", Critical: true, Sets: []string{"holds=yes"}, Means: 2, Hazard: "WARNING"},
		{ID: "secure", Sets: []string{"vehicle=supported", "vehicle=floor", "chocks=placed", "tag=hung", "ignition=off", "lockout=locked", "hardware.{side}=fitted", "disc.{side}=held"}},
	},
	WatchFor: []WatchFloor{brakeSupply},
	Rules: []Rule{
		{ID: "open_before_slack", Text: "a brake is never opened before the cable is shown slack in two ways and the brake is locked out", Acts: []string{"open_brake"}, Unless: f("cable", "slack", "lockout", "locked")},
		{ID: "push_before_slack", Text: "a piston is never pushed or screwed back before the cable is shown slack in two ways", Acts: []string{"push_piston"}, Unless: f("cable", "slack")},
		{ID: "hands_without_support", Text: "hands are never in a brake while the vehicle is not supported", Acts: []string{"hands"}, Unless: f("vehicle", "supported")},
		{ID: "hands_with_key_on", Text: "hands are never at a brake with the ignition on: it can close by itself", Acts: []string{"hands"}, Unless: f("ignition", "off")},
		{ID: "hands_without_lockout", Text: "hands are never in an open brake while it is not locked out", Acts: []string{"open_brake", "fit_linings", "push_piston", "adjust"}, Unless: f("lockout", "locked")},
		{ID: "pedal_with_hardware_off", Text: "the pedal is never pressed while any brake is open", Acts: []string{"pedal"}, Unless: f("hardware.left", "fitted", "hardware.right", "fitted")},
		pedalAmongHands,
		{ID: "tension_with_hardware_off", Text: "the cable is never tightened while hardware is off on either side", Acts: []string{"learn", "apply"}, Unless: f("hardware.left", "fitted", "hardware.right", "fitted")},
		{ID: "tension_with_disc_loose", Text: "the cable is never tightened while a disc or drum is not held flat", Acts: []string{"learn", "apply"}, Unless: discsHeld},
		{ID: "tension_before_pedal", Text: "the cable is never tightened before a firm pedal and the fluid level set", Acts: []string{"learn", "apply"}, Unless: pedalReady},
		{ID: "learn_before_adjust", Text: "the cable is never learned before both adjusters or levers are on their stops", Acts: []string{"learn"}, Unless: f("adjuster.left", "set", "adjuster.right", "set")},
		{ID: "command_without_chocks", Text: "the parking brake is never let go without chocks: gear P of a lifted axle holds nothing", Acts: []string{"release", "slacken", "apply", "learn"}, Unless: f("chocks", "placed")},
		{ID: "neutral_without_chocks", Text: "the gear never goes into neutral without chocks", Acts: []string{"gear_neutral"}, Unless: f("chocks", "placed")},
		{ID: "tried_in_gear", Text: "the brake is never tried with the gear in P or engaged: the gearbox would hold what the brake does not", Acts: []string{"hold_test"}, Unless: f("gear", "neutral")},
		{ID: "service_without_tag", Text: "never in service position, and no brake open, without the do-not-drive tag", Acts: []string{"slacken", "open_brake"}, Unless: f("tag", "hung")},
		{ID: "unlock_with_hardware_off", Text: "the lock-out never comes off while a brake is open", Acts: []string{"unlock"}, Unless: f("hardware.left", "fitted", "hardware.right", "fitted")},
		{ID: "key_on_with_hardware_off", Text: "the ignition never goes on while a brake is open or locked out", Acts: []string{"ignition_on", "start_engine"}, Unless: allOf(f("hardware.left", "fitted", "hardware.right", "fitted"), Guard{Not: &Guard{Facts: map[string]string{"lockout": "locked"}}})},
		{ID: "wheel_before_pedal", Text: "no wheel turns before a firm pedal, the fluid level set and both brakes closed", Acts: []string{"wheel_turn", "drive", "bed"}, Unless: allOf(pedalReady, f("hardware.left", "fitted", "hardware.right", "fitted"))},
		{ID: "chocks_away_unproven", Text: "the chocks never come away before the brake was shown to hold", Acts: []string{"remove_chocks"}, Unless: allOf(f("function", "yes", "holds", "yes", "cable", "clamped"), pedalReady)},
		{ID: "untag_unproven", Text: "the tag never comes off before the brake was shown to work and the cable is out of service position", Acts: []string{"untag"}, Unless: f("function", "yes", "cable", "clamped|released")},
		{ID: "drive_unproven", Text: "never driven before the brake works, holds and is out of service position", Acts: []string{"drive", "bed"}, Unless: f("function", "yes", "holds", "yes", "cable", "clamped|released")},
		{ID: "left_open", Text: "never left with a brake open and not locked out", Acts: []string{"hand_over"}, Unless: anyOf(f("hardware.left", "fitted", "hardware.right", "fitted"), f("lockout", "locked"))},
		{ID: "finished_in_service", Text: "never finished in service position", Acts: []string{"finish"}, Unless: f("cable", "clamped|released")},
		{ID: "finished_before_pedal", Text: "never finished before a firm pedal and the fluid level set, both sides closed with new linings", Acts: []string{"finish"}, Unless: allOf(pedalReady, f("hardware.left", "fitted", "hardware.right", "fitted", "linings.left", "new", "linings.right", "new", "holds", "yes", "lockout", "open"))},
	},
}
