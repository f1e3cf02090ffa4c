package procedure

// Class is a hazard class: the vocabulary of one system and the rules that hold
// for it whatever a file says. A file names its classes in "systems"; class
// "vehicle" is always there.
type Class struct {
	ID    string
	Title string
	Facts []Fact
	// Acts are the words a step's "act" may use.
	Acts []Act
	// Rules hold in every state the procedure can reach.
	Rules []Rule
	// Ask lists the questions a file must ask ("identify"), by id.
	Ask []string
	// Disturbs lists by interruption what must be confirmed again, whatever the file
	// says. A file may add to it.
	Disturbs map[string][]Disturb
	// Instead lists rules of class "vehicle" that this class replaces with its own,
	// because it ends otherwise: an isolated vehicle keeps its tag.
	Instead []string
	// WatchFor names what must be watched during commands: the id of the watch
	// and its loosest limits.
	WatchFor []WatchFloor
}

// Act is one kind of deed, as the hazard class sees it.
type Act struct {
	ID string
	// Command: the technician's equipment makes a module move something. Only one
	// at a time, each followed by its rest.
	Command bool
	// Hands: someone's hands or body are where a command would hurt.
	Hands bool
	// Sets lists what the act may make true, "fact=value"; {side} is allowed. A
	// fact of a class can be set by no other act.
	Sets []string
	// Spoils lists the facts that are no longer known once the act has begun.
	Spoils []string
	// Means is how many independent means must confirm it (0 = 1).
	Means int
	// Rest is the least rest after it in seconds that even a cited maker's figure
	// may not be assumed below at load; 0 = none. Without a citation it is RestDefault.
	Rest float64
	// Hazard is the least severe signal word the step must carry, "" = none.
	Hazard string
	// Figures: it cannot be confirmed without figures, each with its limit.
	Figures bool
	// Ceilings are figures it cannot be confirmed without, by id, and the highest limit
	// that may be typed beside each.
	Ceilings []Ceiling
	// Doubts lists facts that are in doubt when the step finds things not as
	// expected: its recovery must go back to where they were shown, or stop.
	Doubts []string
	// Critical: when it is not as expected the vehicle must not be driven until it was
	// shown right, whatever the facts say.
	Critical bool
	// FailStops: when it is not as expected there is one way: stop and hand over.
	FailStops bool
	// KeepsPower: any interruption of it must keep power and session (R4).
	KeepsPower bool
	// Powers: it takes away or gives power or the key; not startable while keeping
	// power after an interruption (class R4).
	Powers bool
}

// Ceiling is the highest limit a figure of an act may be held against.
type Ceiling struct {
	ID, Unit string
	Most     float64
	Source   string
}

// RestDefault is the rest after a commanded movement, in seconds, counted from
// its end, unless the maker's figure is cited (DECISIONS "Judgement and safety";
// common practice, no source).
const RestDefault = 30.0

// WatchFloor is the loosest a watch may be for a class. A file may be stricter.
type WatchFloor struct {
	ID   string
	Unit string
	Hold float64 // hold must be at or above
	Stop float64 // stop must be at or above
	High float64 // stop_high must be given and at or below; 0 = not asked
	Acts []string
}

// Supply limits our choice, above the 10.5 V cliff (trade.md 5.3): the least a
// file may ask for. 16 V is the upper end of every 12 V code of ISO 16750-2
// (standards.md 8.4).
var brakeSupply = WatchFloor{ID: "supply", Unit: "V", Hold: 12.0, Stop: 11.5, High: 16}

// Classes are all hazard classes, "vehicle" first.
var Classes = []Class{vehicleClass, caliperClass, cableClass, steeringClass, engineClass, hydraulicClass, heatClass, batteryClass, writeClass, closureClass, airClass, highVoltageClass}

// ClassByID finds a class.
func ClassByID(id string) (Class, bool) {
	for _, c := range Classes {
		if c.ID == id {
			return c, true
		}
	}
	return Class{}, false
}

// away makes the disturbs of a class for when nobody was there to see.
func away(ds ...Disturb) map[string][]Disturb {
	return map[string][]Disturb{"operator_leaves": ds, "injury_or_fire": ds}
}

func sides(values, initial string, say map[string]string, id string) Fact {
	return Fact{ID: id, Sides: true, Values: fields(values), Initial: initial, Say: say}
}

func one(values, initial string, say map[string]string, id string) Fact {
	return Fact{ID: id, Values: fields(values), Initial: initial, Say: say}
}

func fields(s string) []string {
	var out []string
	start := -1
	for i := 0; i <= len(s); i++ {
		if i < len(s) && s[i] != ' ' {
			if start < 0 {
				start = i
			}
		} else if start >= 0 {
			out = append(out, s[start:i])
			start = -1
		}
	}
	return out
}

// vehicleClass holds for every procedure: codes, lifting, rolling away, the tag.
var vehicleClass = Class{
	ID: "vehicle", Title: "any vehicle in a bay",
	Disturbs: map[string][]Disturb{
		// A support supply that is off and away cannot be lost.
		"power_loss":      {{Facts: []string{"ignition"}}, {Facts: []string{"support"}, Unless: f("support", "off")}},
		"low_supply":      {{Facts: []string{"support"}, Unless: f("support", "off")}},
		"operator_leaves": {{Facts: []string{"chocks", "ignition"}}, {Facts: []string{"support"}, Unless: f("support", "off")}},
		"injury_or_fire":  {{Facts: []string{"chocks", "ignition"}}, {Facts: []string{"support"}, Unless: f("support", "off")}},
	},
	Facts: []Fact{
		one("no yes", "no", map[string]string{"yes": "codes and data are saved", "no": "codes and data are not saved"}, "saved"),
		one("no yes", "no", map[string]string{"yes": "the saved codes were cleared before the work", "no": "the saved codes were not cleared before the work"}, "cleared"),
		one("no yes", "no", map[string]string{"yes": "codes were read again after clearing and before the work", "no": "codes were not read again before the work"}, "reread"),
		one("open clean", "", map[string]string{"clean": "codes were read again and none is left that the service caused", "open": "codes were not read again"}, "codes"),
		one("off on", "", map[string]string{"on": "the ignition is on", "off": "the ignition is off"}, "ignition"),
		one("off on", "off", map[string]string{"on": "the support supply is connected", "off": "the support supply is not connected"}, "support"),
		one("off running", "off", map[string]string{"running": "the engine runs", "off": "the engine is off"}, "engine"),
		one("floor lifted supported", "floor", map[string]string{"floor": "the vehicle stands on its wheels", "lifted": "the vehicle is lifted, not yet supported", "supported": "the vehicle is lifted and supported"}, "vehicle"),
		one("none placed", "none", map[string]string{"placed": "the chocks are placed", "none": "no chocks are placed"}, "chocks"),
		one("on off", "on", map[string]string{"on": "the wheels are on", "off": "the wheels are off"}, "wheels"),
		one("none hung", "none", map[string]string{"hung": "the do-not-drive tag is hung", "none": "no tag is hung"}, "tag"),
		one("no yes", "no", map[string]string{"yes": "it was shown to work", "no": "it was not shown to work"}, "function"),
	},
	Acts: []Act{
		{ID: "look"}, {ID: "note"}, {ID: "measure"}, {ID: "torque_wheels", Figures: true},
		{ID: "save_codes", Sets: []string{"saved=yes"}},
		{ID: "clear_before", Sets: []string{"cleared=yes"}, Hazard: "NOTICE"},
		{ID: "read_before", Sets: []string{"reread=yes"}},
		{ID: "erase_codes", Spoils: []string{"codes"}},
		{ID: "read_codes", Sets: []string{"codes=open", "codes=clean"}},
		{ID: "ignition_on", Sets: []string{"ignition=on"}, Powers: true},
		{ID: "ignition_off", Sets: []string{"ignition=off", "engine=off"}, Powers: true},
		{ID: "connect_supply", Sets: []string{"support=on"}},
		{ID: "disconnect_supply", Sets: []string{"support=off"}, Powers: true},
		{ID: "start_engine", Sets: []string{"engine=running", "ignition=on"}, Powers: true, Hazard: "WARNING"},
		{ID: "stop_engine", Sets: []string{"engine=off", "ignition=off"}, Powers: true},
		{ID: "chock", Sets: []string{"chocks=placed"}},
		{ID: "remove_chocks", Sets: []string{"chocks=none"}, Hazard: "WARNING"},
		{ID: "lift", Sets: []string{"vehicle=lifted"}, Hazard: "WARNING"},
		{ID: "support", Sets: []string{"vehicle=supported"}, Hazard: "WARNING"},
		{ID: "lower", Sets: []string{"vehicle=floor"}, Hazard: "WARNING"},
		{ID: "wheels_off", Sets: []string{"wheels=off"}},
		{ID: "wheels_on", Sets: []string{"wheels=on"}},
		{ID: "tag", Sets: []string{"tag=hung"}},
		{ID: "untag", Sets: []string{"tag=none"}},
		{ID: "function_test", Critical: true, Sets: []string{"function=yes"}, Means: 2},
		{ID: "drive", Critical: true, Hazard: "WARNING"},
		{ID: "secure", Sets: []string{"vehicle=supported", "vehicle=floor", "chocks=placed", "tag=hung"}},
	},
	Rules: []Rule{
		{ID: "erase_before_save", Text: "codes are never erased before they are saved", Acts: []string{"erase_codes", "clear_before"}, Unless: f("saved", "yes")},
		{ID: "codes_without_power", Text: "codes are never saved, cleared or read with the ignition off: modules that sleep do not answer", Acts: []string{"save_codes", "clear_before", "read_before", "erase_codes", "read_codes"}, Unless: f("ignition", "on")},
		{ID: "read_before_clear", Text: "codes are never called read again before they were saved and cleared", Acts: []string{"read_before"}, Unless: f("saved", "yes", "cleared", "yes")},
		{ID: "work_before_codes", Text: "no command is sent and nothing is touched before codes were saved, cleared and read again", Acts: []string{"command", "hands"}, Unless: f("saved", "yes", "reread", "yes")},
		{ID: "erase_unknown", Text: "codes are never erased after the work unless they were read before it: what the service caused could not be told", Acts: []string{"erase_codes"}, Unless: f("reread", "yes")},
		{ID: "lift_without_chocks", Text: "a vehicle is never lifted without chocks: gear P holds nothing when the driven axle is off the floor", Acts: []string{"lift"}, Unless: Guard{Facts: map[string]string{"chocks": "placed"}}},
		{ID: "lower_without_chocks", Text: "a vehicle is never lowered without chocks and wheels on", Acts: []string{"lower"}, Unless: Guard{Facts: map[string]string{"chocks": "placed", "wheels": "on"}}},
		{ID: "wheels_off_unsupported", Text: "wheels never come off a vehicle that is not supported", Acts: []string{"wheels_off"}, Unless: Guard{Facts: map[string]string{"vehicle": "supported"}}},
		{ID: "chocks_away_in_the_air", Text: "chocks never come away while the vehicle is not on its wheels", Acts: []string{"remove_chocks"}, Unless: Guard{Facts: map[string]string{"vehicle": "floor", "wheels": "on"}}},
		{ID: "drive_unready", Text: "a vehicle is never driven off its chocks, without its wheels or with the tag on", Acts: []string{"drive"}, Unless: Guard{Facts: map[string]string{"vehicle": "floor", "wheels": "on", "tag": "none", "chocks": "none"}}},
		{ID: "finished_unsaved", Text: "never finished without codes saved, cleared and read before the work and read again after", Acts: []string{"finish"}, Unless: f("saved", "yes", "reread", "yes", "codes", "clean")},
		{ID: "finished_unready", Text: "never finished with the vehicle in the air, wheels off or the tag on", Acts: []string{"finish"}, Unless: Guard{Facts: map[string]string{"vehicle": "floor", "wheels": "on", "tag": "none"}}},
		{ID: "finished_unproven", Text: "never finished before it was shown to work", Acts: []string{"finish"}, Unless: Guard{Facts: map[string]string{"function": "yes"}}},
		{ID: "left_unsafe", Text: "never left lifted without support, nor without chocks and tag once it was touched", Acts: []string{"hand_over"}, Unless: allOf(f("vehicle", "floor|supported"), anyOf(f("tag", "hung", "chocks", "placed"), f("tag", "none", "chocks", "none")))},
		{ID: "command_among_hands", Text: "no command is ever sent while hands are where it moves", Acts: []string{"command"}, Unless: Guard{Not: &Guard{Busy: "hands"}}},
		{ID: "hands_in_command", Text: "hands never go in while a command is under way or its rest is not over", Acts: []string{"hands"}, Unless: Guard{Not: &Guard{Busy: "command"}}},
		{ID: "key_off_in_movement", Text: "the key and the supply are never taken away during a movement", Acts: []string{"ignition_off", "disconnect_supply", "stop_engine"}, Unless: Guard{Not: &Guard{Busy: "command"}}},
	},
}
