package player

import "fmt"

// nut positions of a brake actuator, along its travel.
type nut int

const (
	clamped nut = iota
	released
	retracted
	partWay
	runOut // driven out with nothing against it
)

// side is 0 for left, 1 for right, -1 for none.
func sideOf(s string) int {
	switch s {
	case "left":
		return 0
	case "right":
		return 1
	}
	return -1
}

// World is the true state of the vehicle and the people round it.
type World struct {
	nuts       [2]nut
	caliperOn  [2]bool
	pistonBack [2]bool
	padsIn     [2]bool
	discHeld   [2]bool
	pumped     bool // pistons stand at the pads
	fluidOK    bool
	chocks     bool
	height     int // 0 floor, 1 lifted, 2 on locks
	wheels     bool
	key        bool
	supply     bool
	guard      bool // switch guarded, key away
	tag        bool
	geared     bool // the gearbox holds the driven wheels
	saved      bool
	hands      map[string]bool // steps in which hands are inside

	// a movement under way
	moving    string // act
	movingOn  []int
	movesTill int64
	movedEnd  int64 // true time at which the last movement ended
	moved     bool
	restFloor int64 // ns that must pass before the next

	// cable brake
	cable nut // clamped, released, retracted = slack

	// battery, high voltage, air, module
	negative, positive bool
	live               bool // high-voltage parts carry voltage
	hvDisconnect       bool // pulled
	lowVolt            bool
	ready              bool
	springs            bool // hold pressure
	lineOpen           bool
	jack               bool
	written            int // 0 old, 1 broken half, 2 new
	accumulator        bool
	bleederOpen        bool
	hot                bool
	engine             bool
	straight           bool

	isBrake, isCable bool

	fault fault
	harms []string
}

// fault is what is wrong with this vehicle. At most one thing is.
type fault struct {
	kind string // "", dead, slip
	side int
	lie  string // a kind of means that always says yes
}

// NewWorld is a vehicle as a customer leaves it: parking brake set, on the floor.
func NewWorld() *World {
	return &World{geared: true, caliperOn: [2]bool{true, true}, padsIn: [2]bool{true, true}, discHeld: [2]bool{true, true}, pumped: true, fluidOK: true,
		wheels: true, negative: true, positive: true, live: true, lowVolt: true, ready: true, springs: true, accumulator: true, straight: true, hands: map[string]bool{}}
}

func (w *World) harm(format string, a ...any) { w.harms = append(w.harms, fmt.Sprintf(format, a...)) }

func both(side int) []int {
	if side < 0 {
		return []int{0, 1}
	}
	return []int{side}
}

// held: something keeps the vehicle from rolling.
func (w *World) held() bool {
	return w.chocks || w.height > 0 || !w.isBrake || w.nuts == [2]nut{clamped, clamped} && w.cable == clamped
}

// begin is the moment a person begins to do it. step names the doing; act is what
// is done; now is true time in nanoseconds; travel how long a movement takes.
func (w *World) begin(step, act string, side int, now, travel int64) {
	switch act {
	case "apply", "release", "retract", "extend", "slacken", "learn", "pump_cycle", "vent", "fill", "move_closure", "close_and_hold", "pinch_test":
		w.command(act, side, now, travel)
	case "unbolt", "push_piston", "fit_pads", "bolt_up", "hold_disc", "measure_brake", "wheels_off", "wheels_on", "open_brake", "fit_linings", "close_brake", "adjust", "work_line", "base_bleed":
		w.hands[step] = true
		if w.moving != "" {
			w.harm("hands go in at %q while %q moves", step, w.moving)
		}
		if w.isBrake && w.key {
			w.harm("hands at a brake with the ignition on: it may close by itself (%s)", step)
		}
		if w.height == 1 {
			w.harm("a person works under a vehicle that is lifted and not on its locks (%s)", step)
		}
	}
	switch act {
	case "unbolt":
		w.pumped = false
	case "push_piston":
		for _, s := range both(side) {
			if w.nuts[s] != retracted && w.cable != retracted {
				w.harm("piston pushed against a nut that is not back (%s)", step)
			}
		}
		w.pumped = false
	case "open_brake":
		if w.cable != retracted {
			w.harm("brake opened under a tight cable (%s)", step)
		}
		w.pumped = false
	case "pedal":
		for s := range w.caliperOn {
			if !w.caliperOn[s] {
				w.harm("pedal pressed with a caliper off: the piston is thrown out (%s)", step)
			}
		}
		if w.bleederOpen {
			w.harm("pedal tested with a bleeder open (%s)", step)
		}
	case "lift":
		if !w.chocks {
			w.harm("lifted without chocks (%s)", step)
		}
		w.height = 1
	case "lower":
		w.lower(step)
	case "ignition_on", "start_engine":
		w.keyOn(step)
	case "ignition_off", "disconnect_supply", "stop_engine":
		if w.moving != "" {
			w.harm("power taken away while %q moves (%s)", w.moving, step)
		}
		if w.written == 1 {
			w.harm("key or supply taken away with a half-written module (%s)", step)
		}
	case "erase_codes", "clear_before":
		if !w.saved {
			w.harm("codes erased before they were saved (%s)", step)
		}
	case "hold_test":
		if w.isBrake && w.geared {
			w.harm("brake tried with the gearbox holding the vehicle (%s)", step)
		}
	case "drive", "bed":
		w.drive(step)
	case "remove_chocks":
		w.chocks = false
		w.roll(step)
	case "negative_off":
		if w.key || w.engine {
			w.harm("negative lead off with the vehicle awake (%s)", step)
		}
	case "positive_off", "positive_on":
		if w.negative {
			w.harm("spanner on the positive post while the negative lead is on (%s)", step)
		}
	case "swap_battery":
		if w.negative || w.positive {
			w.harm("battery lifted with a lead on (%s)", step)
		}
	case "pull_disconnect":
		if w.ready || w.lowVolt {
			w.harm("service disconnect pulled with the system awake (%s)", step)
		}
	case "hv_work":
		if w.live {
			w.harm("high-voltage parts touched while live (%s)", step)
		}
	case "work_line":
		if w.springs {
			w.harm("line opened under pressure (%s)", step)
		}
		w.lineOpen = true
	case "base_bleed":
		if w.accumulator {
			w.harm("bleeder opened with the accumulator charged (%s)", step)
		}
		w.bleederOpen, w.pumped, w.fluidOK = true, false, false
	case "write":
		if !w.supply || !w.key {
			w.harm("write begun without supply or key (%s)", step)
		}
		w.written = 1
	case "store_zero":
		if !w.straight {
			w.harm("zero stored with the wheels not straight (%s)", step)
		}
	case "regenerate":
		w.hot = true
	}
}

// command is a movement that someone's equipment starts.
func (w *World) command(act string, side int, now, travel int64) {
	if w.moving != "" {
		w.harm("second command %q while %q moves", act, w.moving)
	}
	if w.moved && now-w.movedEnd < w.restFloor {
		w.harm("command %q only %.1f s after the last movement ended", act, float64(now-w.movedEnd)*1e-9)
	}
	if len(w.hands) > 0 {
		w.harm("command %q while hands are inside", act)
	}
	switch act {
	case "apply", "extend", "learn":
		for _, s := range both(side) {
			if !w.caliperOn[s] || !w.caliperOn[1-s] {
				w.harm("%q with a caliper off", act)
			}
			if !w.discHeld[s] || !w.discHeld[1-s] {
				w.harm("%q with a loose disc", act)
			}
			if !w.padsIn[s] {
				w.harm("%q with no pads in", act)
			}
		}
		if !w.pumped || !w.fluidOK {
			w.harm("%q with the pistons away from the pads or the fluid not set", act)
		}
	case "vent":
		if w.height != 2 {
			w.harm("spring vented under a body that is not supported")
		}
	case "fill":
		if w.lineOpen {
			w.harm("filled through an open line")
		}
	case "pump_cycle":
		if w.bleederOpen || !w.fluidOK {
			w.harm("pump run dry or with an open bleeder")
		}
	}
	w.moving, w.movingOn, w.movesTill = act, both(side), now+travel
	for _, s := range w.movingOn {
		if w.works(s) {
			w.set(act, s, partWay)
		}
	}
}

// works: the motor of a side moves what it should; a cable unit has one motor.
func (w *World) works(s int) bool { return w.fault.kind == "" || w.fault.side != s && !w.isCable }

// set moves what a command moves to a place of its travel.
func (w *World) set(act string, s int, to nut) {
	switch act {
	case "apply", "release", "retract", "extend", "slacken", "learn":
		if w.isCable {
			w.cable = to
		} else {
			w.nuts[s] = to
		}
	case "vent":
		w.springs = to == partWay
	case "fill":
		w.springs = true
	case "pump_cycle":
		w.accumulator = true
	}
}

// ends is where a command leaves what it moves.
var ends = map[string]nut{"apply": clamped, "extend": clamped, "learn": clamped, "release": released, "retract": retracted, "slacken": retracted, "vent": released, "fill": clamped}

// tick lets true time pass.
func (w *World) tick(now int64) {
	if w.moving == "" || now < w.movesTill {
		return
	}
	for _, s := range w.movingOn {
		if t, ok := ends[w.moving]; ok && w.works(s) {
			w.set(w.moving, s, t)
		}
	}
	w.moving, w.movedEnd, w.moved = "", w.movesTill, true
	w.roll("the movement")
}

// cut: power is lost while it moves; it stops where it is.
func (w *World) cut(now int64) {
	if w.moving != "" {
		w.moving, w.movedEnd, w.moved = "", now, true
	}
	w.supply = false
}

// roll: nothing holds it any more.
func (w *World) roll(at string) {
	if !w.held() {
		w.harm("the vehicle rolls away after %s", at)
	}
}

func (w *World) keyOn(step string) {
	w.key = true
	if w.isBrake && len(w.hands) > 0 {
		w.harm("key on while someone works at a brake (%s)", step)
	}
	if w.isBrake && (!w.caliperOn[0] || !w.caliperOn[1]) {
		w.harm("key on with a caliper off: the module may run the nut out (%s)", step)
	}
}

func (w *World) lower(step string) {
	if len(w.hands) > 0 {
		w.harm("lowered while someone works at it (%s)", step)
	}
	if !w.wheels {
		w.harm("lowered without wheels (%s)", step)
	}
	if !w.springs {
		w.harm("lowered onto flat springs (%s)", step)
	}
	w.height = 0
	w.roll(step)
}

func (w *World) drive(step string) {
	bad := func(is bool, what string) {
		if is {
			w.harm("driven %s (%s)", what, step)
		}
	}
	bad(!w.pumped || !w.fluidOK || w.bleederOpen, "with no brakes on the first stop")
	bad(!w.caliperOn[0] || !w.caliperOn[1], "with a caliper off")
	bad(w.height != 0 || !w.wheels, "in the air or without wheels")
	bad(w.tag, "with the tag on")
	bad(w.nuts[0] == retracted || w.nuts[1] == retracted || w.nuts[0] == partWay || w.nuts[1] == partWay || w.cable == retracted || w.cable == partWay, "in service position")
	bad(w.chocks, "over its chocks")
	bad(w.written == 1, "with a half-written module")
	bad(!w.springs || w.jack, "on flat springs or in jack mode")
}
