package procedure

// supplyWatch is the floor for work with a module on a 12 V network (trade.md 5.3, 7).
var supplyWatch = WatchFloor{ID: "supply", Unit: "V", Hold: 12.0, Stop: 11.5, High: 16}

// steeringClass: storing the zero of a steering angle sensor (trade.md 6.2).
var steeringClass = Class{
	ID: "steering_angle", Title: "steering angle sensor",
	Facts: []Fact{
		one("no yes", "", map[string]string{"yes": "the wheels and the steering wheel stand straight, shown in two ways", "no": "the wheels do not stand straight"}, "straight"),
		one("old stored verified", "old", map[string]string{"stored": "the zero is stored", "verified": "the sensor reads near zero", "old": "the zero is the old one"}, "zero"),
	},
	Acts: []Act{
		{ID: "straighten", Sets: []string{"straight=yes"}, Means: 2},
		{ID: "store_zero", Command: true, Sets: []string{"zero=stored"}, Rest: 1, Means: 1},
		{ID: "check_zero", Critical: true, Sets: []string{"zero=verified"}, Means: 2},
	},
	WatchFor: []WatchFloor{supplyWatch},
	Rules: []Rule{
		{ID: "store_when_not_straight", Text: "the zero is never stored when the wheels are not shown straight", Acts: []string{"store_zero"}, Unless: f("straight", "yes")},
		{ID: "store_in_the_air", Text: "the zero is never stored in the air or without chocks", Acts: []string{"store_zero"}, Unless: f("vehicle", "floor", "chocks", "placed")},
		{ID: "drive_before_zero", Text: "never driven before the sensor was read near zero: stability control acts on it", Acts: []string{"drive"}, Unless: f("zero", "verified")},
		{ID: "finished_before_zero", Text: "never finished before the sensor was read near zero", Acts: []string{"finish"}, Unless: f("zero", "verified")},
	},
}

// engineClass: relearns that move the throttle or run the engine (trade.md 6.2).
var engineClass = Class{
	ID: "engine_relearn", Title: "engine relearn",
	Disturbs: away(Disturb{Facts: []string{"clear", "held", "engine"}}),
	Facts: []Fact{
		one("no yes", "", map[string]string{"yes": "the exhaust is drawn off or the doors are open", "no": "the exhaust is not drawn off"}, "air"),
		one("no yes", "", map[string]string{"yes": "bonnet shut, nobody in front of or behind the vehicle, sleeves and tools out", "no": "the way round the vehicle is not clear"}, "clear"),
		one("no yes", "no", map[string]string{"yes": "the learning is finished", "no": "the learning is not finished"}, "learned"),
		one("no yes", "", map[string]string{"yes": "the parking brake is set and the gear is P or neutral", "no": "the parking brake is not set"}, "held"),
	},
	Acts: []Act{
		{ID: "clean_throttle", Hands: true, Hazard: "WARNING"},
		{ID: "clear_round", Sets: []string{"clear=yes"}},
		{ID: "draw_off", Sets: []string{"air=yes"}},
		{ID: "hold_vehicle", Sets: []string{"held=yes"}},
		{ID: "reset_learning", Command: true, Rest: 1},
		{ID: "key_cycle", Powers: true},
		{ID: "idle_run", Command: true, Sets: []string{"learned=yes"}, Rest: 1, Hazard: "WARNING"},
		{ID: "snap", Command: true, Sets: []string{"learned=yes"}, Rest: 1, Hazard: "WARNING"},
	},
	WatchFor: []WatchFloor{{ID: "supply", Unit: "V", Hold: 11.5, Stop: 10.5, High: 16}},
	Rules: []Rule{
		{ID: "run_without_chocks", Text: "the engine is never run or revved without chocks and the brake set", Acts: []string{"start_engine", "idle_run", "snap"}, Unless: f("chocks", "placed", "held", "yes")},
		{ID: "run_without_air", Text: "the engine is never run indoors without drawing off the exhaust", Acts: []string{"start_engine", "idle_run", "snap"}, Unless: f("air", "yes")},
		{ID: "rev_without_clear", Text: "the engine is never started or revved with people or tools in its way", Acts: []string{"start_engine", "snap"}, Unless: f("clear", "yes")},
		{ID: "throttle_with_key_on", Text: "fingers are never in a throttle with the ignition on", Acts: []string{"clean_throttle"}, Unless: f("ignition", "off", "engine", "off")},
		{ID: "learn_without_engine", Text: "never called learned without the engine having run", Acts: []string{"idle_run", "snap"}, Unless: f("engine", "running")},
		{ID: "left_running", Text: "never left with the engine running", Acts: []string{"hand_over"}, Unless: f("engine", "off")},
		{ID: "finished_unlearned", Text: "never finished before the learning is finished", Acts: []string{"finish"}, Unless: f("learned", "yes")},
	},
}

// hydraulicClass: bleeding a brake hydraulic unit (trade.md 6.2).
var hydraulicClass = Class{
	ID: "brake_hydraulic", Title: "brake hydraulic unit",
	Ask: []string{"drive", "lift"},
	Facts: []Fact{
		one("soft firm", "", map[string]string{"firm": "the pedal is firm", "soft": "the pedal is soft"}, "pedal"),
		one("not_set set", "", map[string]string{"set": "the fluid stands between the marks", "not_set": "the fluid level is not set"}, "fluid"),
		one("no yes", "", map[string]string{"yes": "the accumulator is empty", "no": "the accumulator may hold pressure"}, "depressurised"),
		one("open shut", "shut", map[string]string{"shut": "every bleeder is shut", "open": "a bleeder is open"}, "bleeders"),
		one("no first second", "no", map[string]string{"first": "the first base bleed is done", "second": "the second base bleed is done", "no": "no base bleed is done"}, "bled"),
		one("no yes", "no", map[string]string{"yes": "the pump and valves were cycled", "no": "the pump and valves were not cycled"}, "cycled"),
	},
	Acts: []Act{
		{ID: "depressurise", Sets: []string{"depressurised=yes"}, Hazard: "WARNING"},
		{ID: "set_fluid", Sets: []string{"fluid=set"}},
		{ID: "base_bleed", Critical: true, Hands: true, Sets: []string{"bled=first", "bled=second", "bleeders=open", "bleeders=shut"}, Spoils: []string{"pedal", "fluid", "bleeders", "function"}, Hazard: "CAUTION"},
		{ID: "shut_bleeders", Critical: true, Hands: true, Sets: []string{"bleeders=shut"}},
		{ID: "pump_cycle", Critical: true, Command: true, Sets: []string{"cycled=yes"}, Spoils: []string{"pedal", "function", "depressurised"}, Rest: 60, Hazard: "WARNING"},
		{ID: "pedal", Critical: true, Sets: []string{"pedal=firm"}, Hazard: "WARNING"},
		{ID: "wheel_turn", Critical: true},
		{ID: "secure", Sets: []string{"vehicle=supported", "vehicle=floor", "chocks=placed", "tag=hung", "bleeders=shut"}},
	},
	WatchFor: []WatchFloor{supplyWatch},
	Rules: []Rule{
		{ID: "bleed_under_pressure", Text: "a bleeder is never opened while the accumulator may hold pressure", Acts: []string{"base_bleed"}, Unless: f("depressurised", "yes")},
		{ID: "hands_without_support", Text: "hands are never under a vehicle that is not supported", Acts: []string{"hands"}, Unless: f("vehicle", "supported")},
		{ID: "pump_dry", Text: "the pump never runs unless the fluid is set: it draws air", Acts: []string{"pump_cycle"}, Unless: f("fluid", "set")},
		{ID: "pump_with_open_bleeder", Text: "the pump never runs with a bleeder open", Acts: []string{"pump_cycle"}, Unless: f("bleeders", "shut")},
		{ID: "pedal_with_open_bleeder", Text: "the pedal is never tested with a bleeder open", Acts: []string{"pedal"}, Unless: f("bleeders", "shut")},
		{ID: "drive_before_pedal", Text: "no wheel turns before a firm pedal, the fluid level set and every bleeder shut", Acts: []string{"drive", "wheel_turn"}, Unless: f("pedal", "firm", "fluid", "set", "bleeders", "shut")},
		{ID: "drive_untested", Text: "never driven before it was shown to work standing", Acts: []string{"drive"}, Unless: f("function", "yes")},
		{ID: "left_bleeding", Text: "never left with a bleeder open", Acts: []string{"hand_over"}, Unless: f("bleeders", "shut")},
		{ID: "untag_before_pedal", Text: "the tag never comes off before a firm pedal and the fluid level set", Acts: []string{"untag", "remove_chocks"}, Unless: f("pedal", "firm", "fluid", "set", "bleeders", "shut", "bled", "second")},
		{ID: "finished_before_pedal", Text: "never finished before a firm pedal, the fluid level set and the second base bleed", Acts: []string{"finish"}, Unless: f("pedal", "firm", "fluid", "set", "bleeders", "shut", "bled", "second", "cycled", "yes")},
	},
}

// heatClass: burning soot off at standstill: 550 to 700 degrees Celsius in the
// exhaust (trade.md 6.2).
var heatClass = Class{
	ID: "exhaust_heat", Title: "stationary particulate regeneration",
	Disturbs: away(Disturb{Facts: []string{"place", "attended", "held", "engine"}}),
	Facts: []Fact{
		one("no yes", "", map[string]string{"yes": "outdoors or with extraction made for the heat, nothing that burns within reach", "no": "the place is not safe for the heat"}, "place"),
		one("no yes", "", map[string]string{"yes": "someone stays with the vehicle, extinguisher at hand", "no": "nobody stays with the vehicle"}, "attended"),
		one("no yes", "", map[string]string{"yes": "oil level and condition are sound", "no": "the oil is over full or diluted"}, "oil"),
		one("no yes", "", map[string]string{"yes": "the parking brake is set and the gear is P or neutral", "no": "the parking brake is not set"}, "held"),
		one("no yes", "no", map[string]string{"yes": "the soot is burnt off", "no": "the soot is not burnt off"}, "burnt"),
		one("no yes", "yes", map[string]string{"yes": "the exhaust is cool", "no": "the exhaust is hot"}, "cool"),
	},
	Acts: []Act{
		{ID: "prepare_place", Sets: []string{"place=yes"}, Hazard: "WARNING"},
		{ID: "attend", Sets: []string{"attended=yes"}},
		{ID: "check_oil", Sets: []string{"oil=yes"}},
		{ID: "hold_vehicle", Sets: []string{"held=yes"}},
		{ID: "regenerate", Critical: true, Command: true, Sets: []string{"burnt=yes"}, Spoils: []string{"cool", "function"}, Rest: 600, Hazard: "WARNING"},
		{ID: "cool_down", Sets: []string{"cool=yes"}, Hazard: "WARNING"},
		{ID: "secure", Sets: []string{"vehicle=floor", "chocks=placed", "tag=hung", "cool=yes", "engine=off"}},
	},
	WatchFor: []WatchFloor{{ID: "exhaust", Unit: "degC", High: 800, Acts: []string{"regenerate"}}},
	Rules: []Rule{
		{ID: "burn_without_place", Text: "never a regeneration where people, walls or floors can burn", Acts: []string{"regenerate"}, Unless: f("place", "yes")},
		{ID: "burn_unattended", Text: "a regeneration never runs unattended", Acts: []string{"regenerate"}, Unless: f("attended", "yes")},
		{ID: "burn_with_bad_oil", Text: "never a regeneration with diluted or overfull oil: the engine can run away on it", Acts: []string{"regenerate"}, Unless: f("oil", "yes")},
		{ID: "burn_without_chocks", Text: "never a regeneration without chocks and the brake set", Acts: []string{"regenerate", "start_engine"}, Unless: f("chocks", "placed", "held", "yes")},
		{ID: "leave_hot", Text: "never finished, driven away or untagged while the exhaust is hot", Acts: []string{"finish", "untag", "drive"}, Unless: f("cool", "yes")},
		{ID: "left_hot", Text: "never left with the engine running or the exhaust hot", Acts: []string{"hand_over"}, Unless: f("engine", "off", "cool", "yes")},
		{ID: "finished_unburnt", Text: "never finished before the soot is shown to be burnt off", Acts: []string{"finish"}, Unless: f("burnt", "yes")},
	},
}

// batteryClass: replacing a 12 V battery (trade.md 6.2, 7, 10).
var batteryClass = Class{
	ID: "battery_12v", Title: "12 V battery",
	Facts: []Fact{
		one("on off", "on", map[string]string{"on": "the negative lead is on", "off": "the negative lead is off and tied back"}, "negative"),
		one("on off", "on", map[string]string{"on": "the positive lead is on", "off": "the positive lead is off and covered"}, "positive"),
		one("old new", "old", map[string]string{"new": "the new battery is in and clamped down", "old": "the old battery is in"}, "battery"),
		one("no yes", "no", map[string]string{"yes": "the battery is registered", "no": "the battery is not registered"}, "registered"),
		one("no yes", "", map[string]string{"yes": "the vehicle sleeps", "no": "the vehicle is awake"}, "asleep"),
	},
	Acts: []Act{
		{ID: "let_sleep", Sets: []string{"asleep=yes"}},
		{ID: "negative_off", Hands: true, Sets: []string{"negative=off"}, Hazard: "CAUTION", Powers: true},
		{ID: "positive_off", Hands: true, Sets: []string{"positive=off"}, Hazard: "CAUTION"},
		{ID: "swap_battery", Hands: true, Sets: []string{"battery=new"}, Hazard: "CAUTION"},
		{ID: "positive_on", Hands: true, Sets: []string{"positive=on"}, Hazard: "CAUTION"},
		{ID: "negative_on", Hands: true, Sets: []string{"negative=on"}, Spoils: []string{"asleep"}, Hazard: "CAUTION"},
		{ID: "register", Command: true, Sets: []string{"registered=yes"}, Rest: 1},
		{ID: "secure", Sets: []string{"vehicle=floor", "chocks=placed", "tag=hung"}},
	},
	Rules: []Rule{
		{ID: "off_awake", Text: "the negative lead never comes off with the ignition on or the vehicle awake", Acts: []string{"negative_off"}, Unless: f("ignition", "off", "engine", "off", "asleep", "yes")},
		{ID: "positive_first", Text: "the positive lead never comes off or goes on while the negative lead is on: a slipped spanner welds", Acts: []string{"positive_off", "positive_on"}, Unless: f("negative", "off")},
		{ID: "swap_connected", Text: "the battery is never lifted with a lead on", Acts: []string{"swap_battery"}, Unless: f("negative", "off", "positive", "off")},
		{ID: "negative_before_positive", Text: "the negative lead never goes on before the battery is clamped and the positive lead is on", Acts: []string{"negative_on"}, Unless: f("positive", "on")},
		{ID: "register_old", Text: "a battery is never registered before it is in", Acts: []string{"register"}, Unless: f("battery", "new", "negative", "on")},
		{ID: "finished_unregistered", Text: "never finished before the new battery is in, connected and registered", Acts: []string{"finish"}, Unless: f("battery", "new", "positive", "on", "negative", "on", "registered", "yes")},
	},
}

// writeClass: writing software or data to a module (trade.md 6.2, 7).
var writeClass = Class{
	ID: "module_write", Title: "module reprogramming",
	Disturbs: away(Disturb{Facts: []string{"link", "loads_off"}}),
	Facts: []Fact{
		one("no yes", "", map[string]string{"yes": "the file was matched to the vehicle and the module, in two ways", "no": "the file is not matched"}, "matched"),
		one("untouched verified", "untouched", map[string]string{"verified": "the module answers with the new software", "untouched": "nothing was sent to the module"}, "module"),
		one("no yes", "", map[string]string{"yes": "cables are secured, the computer is on mains power, sleep is off", "no": "the link is not secured"}, "link"),
		one("no yes", "", map[string]string{"yes": "lamps, blower, heaters are off, doors left alone", "no": "loads are on"}, "loads_off"),
		one("no yes", "no", map[string]string{"yes": "coding and relearns are done", "no": "coding and relearns are not done"}, "coded"),
	},
	Acts: []Act{
		{ID: "match_file", Sets: []string{"matched=yes"}, Means: 2},
		{ID: "secure_link", Sets: []string{"link=yes"}},
		{ID: "loads_off", Sets: []string{"loads_off=yes"}},
		{ID: "write", Critical: true, Command: true, KeepsPower: true, Sets: []string{"module=verified"}, Spoils: []string{"coded", "function"}, Means: 2, Rest: 1, Hazard: "NOTICE"},
		{ID: "key_cycle", Powers: true},
		{ID: "code_module", Command: true, Sets: []string{"coded=yes"}, Rest: 1},
		{ID: "secure", Sets: []string{"vehicle=floor", "chocks=placed", "tag=hung", "support=on", "link=yes"}},
	},
	WatchFor: []WatchFloor{{ID: "supply", Unit: "V", Hold: 12.0, Stop: 11.5, High: 16, Acts: []string{"write", "code_module"}}},
	Rules: []Rule{
		{ID: "write_unsupported", Text: "never a write without support supply, ignition on and loads off", Acts: []string{"write"}, Unless: f("support", "on", "ignition", "on", "loads_off", "yes")},
		{ID: "write_unmatched", Text: "never a write before the file is matched in two ways and the old data is saved", Acts: []string{"write"}, Unless: f("matched", "yes", "saved", "yes")},
		{ID: "write_loose", Text: "never a write over a link that is not secured", Acts: []string{"write"}, Unless: f("link", "yes")},
		{ID: "key_off_in_write", Text: "the key and the supply are never taken away while a write is open: keep power, keep the session, try again first", Acts: []string{"ignition_off", "disconnect_supply", "key_cycle", "stop_engine"}, Unless: f("module", "untouched|verified")},
		{ID: "code_before_verify", Text: "never coded before the module answers with the new software", Acts: []string{"code_module"}, Unless: f("module", "verified")},
		{ID: "left_open_write", Text: "never left with a write open and no support supply", Acts: []string{"hand_over"}, Unless: anyOf(f("module", "untouched|verified"), f("support", "on"))},
		{ID: "finished_uncoded", Text: "never finished before the module is verified, coded and relearned", Acts: []string{"finish"}, Unless: f("module", "verified", "coded", "yes")},
		{ID: "drive_open_write", Text: "never driven with a write open", Acts: []string{"drive"}, Unless: f("module", "untouched|verified")},
	},
}

// closureClass: windows and roofs without pinch protection while they learn (trade.md 6.2).
var closureClass = Class{
	ID: "power_closure", Title: "power window or roof",
	Disturbs: away(Disturb{Facts: []string{"opening"}}),
	Facts: []Fact{
		one("no yes", "", map[string]string{"yes": "the opening is clear, children and hands away", "no": "the opening is not clear"}, "opening"),
		one("no yes", "no", map[string]string{"yes": "the end positions are learned", "no": "the end positions are not learned: no pinch protection"}, "ends"),
		one("no yes", "no", map[string]string{"yes": "it turns back on a soft block", "no": "the pinch protection was not shown"}, "reversal"),
	},
	Acts: []Act{
		{ID: "clear_opening", Sets: []string{"opening=yes"}, Hazard: "WARNING"},
		{ID: "move_closure", Command: true, Spoils: []string{"ends", "reversal", "function"}, Rest: 1, Hazard: "WARNING"},
		{ID: "close_and_hold", Critical: true, Command: true, Sets: []string{"ends=yes"}, Spoils: []string{"reversal", "function"}, Rest: 1, Hazard: "WARNING", Means: 2},
		{ID: "pinch_test", Critical: true, Command: true, Sets: []string{"reversal=yes"}, Rest: 1, Hazard: "WARNING"},
		{ID: "mend_track", Hands: true, Hazard: "CAUTION"},
		{ID: "secure", Sets: []string{"vehicle=floor", "chocks=placed", "tag=hung"}},
	},
	Rules: []Rule{
		{ID: "move_unclear", Text: "a window or roof without pinch protection is never moved before the opening is clear", Acts: []string{"move_closure", "close_and_hold", "pinch_test"}, Unless: f("opening", "yes")},
		{ID: "hand_in_test", Text: "the pinch test is never done before the ends are learned, and with a soft block, never a hand", Acts: []string{"pinch_test"}, Unless: f("ends", "yes")},
		{ID: "finished_unprotected", Text: "never finished before the pinch protection was shown", Acts: []string{"finish"}, Unless: f("ends", "yes", "reversal", "yes")},
		{ID: "untag_unprotected", Text: "the tag never comes off before the pinch protection was shown", Acts: []string{"untag"}, Unless: f("reversal", "yes")},
	},
}

// airClass: air springs that can drop the body (trade.md 6.2: 220 psi class pressure).
var airClass = Class{
	ID: "air_suspension", Title: "air suspension",
	Facts: []Fact{
		one("off on", "", map[string]string{"on": "jack mode is on: the system moves nothing by itself", "off": "jack mode is off"}, "jack_mode"),
		one("full vented", "full", map[string]string{"vented": "the springs are vented, shown in two ways", "full": "the springs hold pressure"}, "springs"),
		one("no yes", "no", map[string]string{"yes": "the line is closed and leak free", "no": "the line was not checked"}, "tight"),
		one("no yes", "no", map[string]string{"yes": "the ride height is right", "no": "the ride height was not checked"}, "height"),
	},
	Acts: []Act{
		{ID: "jack_on", Sets: []string{"jack_mode=on"}, Means: 2},
		{ID: "jack_off", Sets: []string{"jack_mode=off"}},
		{ID: "vent", Critical: true, Command: true, Sets: []string{"springs=vented"}, Rest: 5, Means: 2, Hazard: "DANGER"},
		{ID: "work_line", Hands: true, Spoils: []string{"tight", "height", "function"}, Hazard: "WARNING"},
		{ID: "leak_check", Critical: true, Sets: []string{"tight=yes"}},
		{ID: "fill", Critical: true, Command: true, Sets: []string{"springs=full"}, Rest: 5, Hazard: "WARNING"},
		{ID: "check_height", Critical: true, Sets: []string{"height=yes"}},
		{ID: "secure", Sets: []string{"vehicle=supported", "vehicle=floor", "chocks=placed", "tag=hung", "jack_mode=on"}},
	},
	WatchFor: []WatchFloor{supplyWatch},
	Rules: []Rule{
		{ID: "vent_unsupported", Text: "a spring is never vented before the body stands on supports and jack mode is on", Acts: []string{"vent"}, Unless: f("vehicle", "supported", "jack_mode", "on")},
		{ID: "work_under_pressure", Text: "a line is never opened under pressure or under a vehicle that is not supported", Acts: []string{"work_line"}, Unless: f("springs", "vented", "vehicle", "supported", "jack_mode", "on")},
		{ID: "fill_open", Text: "never filled before the line is closed and leak checked, body still supported", Acts: []string{"fill"}, Unless: f("tight", "yes", "vehicle", "supported")},
		{ID: "lower_flat", Text: "never lowered onto springs that are not filled", Acts: []string{"lower"}, Unless: f("springs", "full", "tight", "yes")},
		{ID: "jack_off_in_the_air", Text: "jack mode never goes off while the vehicle is in the air", Acts: []string{"jack_off"}, Unless: f("vehicle", "floor")},
		{ID: "drive_flat", Text: "never driven in jack mode or on flat springs", Acts: []string{"drive"}, Unless: f("springs", "full", "jack_mode", "off", "tight", "yes")},
		{ID: "finished_flat", Text: "never finished in jack mode or before the ride height is right", Acts: []string{"finish"}, Unless: f("springs", "full", "jack_mode", "off", "tight", "yes", "height", "yes")},
	},
}

// zeroCeilings: above these a circuit is not called dead, whatever the maker's limit
// (vehicle maker's high-voltage safety page, S129).
var zeroCeilings = []Ceiling{{"zero_dc", "V", 60, "S129"}, {"zero_ac", "V", 30, "S129"}}

// highVoltageClass: isolating a high-voltage system. The book holds it as a
// skeleton for trained and authorised people; anything unexpected stops it
// (trade.md 6.2, 10).
var highVoltageClass = Class{
	ID: "high_voltage", Title: "high-voltage system",
	Disturbs: away(Disturb{Facts: []string{"ready", "low_voltage", "disconnect", "discharged", "zero"}}),
	Ask:      []string{"authorised"},
	// Codes are saved, never cleared: an insulation fault that led here is evidence for
	// whoever works on the system next. The vehicle stays isolated, lifted or not.
	Instead: []string{"finished_unsaved", "finished_unready", "work_before_codes"},
	Facts: []Fact{
		one("no yes", "", map[string]string{"yes": "the person is trained and authorised in writing, a second person is there", "no": "nobody authorised is there"}, "authorised"),
		one("no yes", "", map[string]string{"yes": "gloves, meter, glasses and hook are there, tested and in date", "no": "the protection is not complete"}, "protection"),
		one("on off", "", map[string]string{"off": "READY is off and the key is at least 0.4 m away", "on": "READY is on"}, "ready"),
		one("in off", "in", map[string]string{"off": "the 12 V battery is off and taped", "in": "the 12 V battery is on"}, "low_voltage"),
		one("in locked", "in", map[string]string{"locked": "the service disconnect is out and locked away", "in": "the service disconnect is in"}, "disconnect"),
		one("no yes", "no", map[string]string{"yes": "the waiting time is over", "no": "the waiting time is not over"}, "discharged"),
		one("not_shown shown", "not_shown", map[string]string{"shown": "zero is verified: known source, circuit, known source", "not_shown": "zero is not verified"}, "zero"),
	},
	Acts: []Act{
		{ID: "authorise", Sets: []string{"authorised=yes"}, Means: 2},
		{ID: "protect", Sets: []string{"protection=yes"}, Means: 2, Hazard: "DANGER"},
		{ID: "ready_off", FailStops: true, Sets: []string{"ready=off", "ignition=off"}, Means: 2, Hazard: "DANGER"},
		{ID: "low_voltage_off", FailStops: true, Hands: true, Sets: []string{"low_voltage=off"}, Hazard: "WARNING"},
		{ID: "pull_disconnect", Critical: true, FailStops: true, Hands: true, Sets: []string{"disconnect=locked"}, Means: 2, Hazard: "DANGER"},
		{ID: "wait_discharge", FailStops: true, Sets: []string{"discharged=yes"}, Rest: 600, Hazard: "DANGER"},
		{ID: "verify_zero", Figures: true, Ceilings: zeroCeilings, Critical: true, FailStops: true, Hands: true, Sets: []string{"zero=shown"}, Means: 2, Hazard: "DANGER"},
		{ID: "hv_work", Hands: true, Hazard: "DANGER"},
		{ID: "isolated", Sets: []string{"function=yes"}, Means: 2},
		{ID: "secure", Sets: []string{"tag=hung", "chocks=placed"}},
	},
	Rules: []Rule{
		{ID: "unauthorised", Text: "nobody touches a high-voltage system who is not trained and authorised, with a second person there", Acts: []string{"low_voltage_off", "pull_disconnect", "verify_zero", "hv_work"}, Unless: f("authorised", "yes", "protection", "yes")},
		{ID: "pull_live", Text: "the service disconnect never comes out with READY on or the 12 V battery on", Acts: []string{"pull_disconnect"}, Unless: f("ready", "off", "low_voltage", "off")},
		{ID: "verify_early", Text: "zero is never verified before the disconnect is locked away and the waiting time is over", Acts: []string{"verify_zero"}, Unless: f("disconnect", "locked", "discharged", "yes")},
		{ID: "touch_live", Text: "no high-voltage part is ever touched before zero is verified", Acts: []string{"hv_work"}, Unless: f("zero", "shown", "disconnect", "locked")},
		{ID: "finished_live", Text: "never finished before zero is verified, the disconnect locked away, the tag hung and codes saved: the vehicle stays isolated", Acts: []string{"finish"}, Unless: f("zero", "shown", "disconnect", "locked", "tag", "hung", "saved", "yes")},
		{ID: "called_isolated_live", Text: "never called isolated before zero is verified in two ways and the tag hangs", Acts: []string{"isolated"}, Unless: f("zero", "shown", "disconnect", "locked", "tag", "hung")},
	},
}
