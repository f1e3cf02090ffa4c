package player

// end is the moment a person has finished doing it. It reports whether the doing
// reached what it was for; an honest technician says so.
func (w *World) end(step, act string, side int) {
	delete(w.hands, step)
	switch act {
	case "save_codes":
		w.saved = true
	case "chock":
		w.chocks = true
	case "connect_supply":
		w.supply = true
	case "disconnect_supply":
		w.supply = false
	case "ignition_off":
		w.key = false
	case "stop_engine":
		w.engine, w.key = false, false
	case "start_engine":
		w.engine = true
	case "support":
		w.height = 2
	case "wheels_off":
		w.wheels = false
		w.discHeld = [2]bool{}
	case "wheels_on":
		w.wheels = true
		w.discHeld = [2]bool{true, true}
	case "hold_disc":
		w.discHeld[side] = true
	case "unbolt", "open_brake":
		w.caliperOn[side], w.padsIn[side] = false, false
	case "push_piston":
		if side >= 0 {
			w.pistonBack[side] = true
		}
		w.fluidOK = false
	case "fit_pads", "fit_linings":
		w.padsIn[side] = true
	case "bolt_up", "close_brake":
		w.caliperOn[side] = true
	case "pedal":
		w.pumped = true
	case "set_fluid":
		w.fluidOK = true
	case "lock_out":
		w.guard = true
	case "unlock":
		w.guard = false
	case "gear_neutral":
		w.geared = false
	case "gear_park":
		w.geared = true
	case "tag":
		w.tag = true
	case "untag":
		w.tag = false
	case "negative_off":
		w.negative = false
	case "negative_on":
		w.negative = true
	case "positive_off":
		w.positive = false
	case "positive_on":
		w.positive = true
	case "ready_off":
		w.ready, w.key = false, false
	case "low_voltage_off":
		w.lowVolt = false
	case "pull_disconnect":
		w.hvDisconnect = true
	case "wait_discharge":
		if w.hvDisconnect {
			w.live = false
		}
	case "jack_on":
		w.jack = true
	case "jack_off":
		w.jack = false
	case "leak_check":
		w.lineOpen = false
	case "base_bleed", "shut_bleeders":
		w.bleederOpen = false
	case "depressurise":
		w.accumulator = false
	case "write":
		w.written = 2
	case "cool_down":
		w.hot = false
	case "straighten":
		w.straight = true
	}
}

// secure is what a recovery step does, told by the facts it sets: the person hangs
// a tag, places chocks and so on.
func (w *World) secure(fact, value string) {
	switch fact + "=" + value {
	case "chocks=placed":
		w.chocks = true
	case "tag=hung":
		w.tag = true
	case "vehicle=supported":
		w.height = 2
	case "vehicle=floor":
		w.height = 0
	case "ignition=off":
		w.key = false
	case "lockout=locked":
		w.guard, w.key = true, false
	case "caliper.left=fitted", "hardware.left=fitted":
		w.caliperOn[0], w.padsIn[0] = true, true
	case "caliper.right=fitted", "hardware.right=fitted":
		w.caliperOn[1], w.padsIn[1] = true, true
	case "disc.left=held":
		w.discHeld[0] = true
	case "disc.right=held":
		w.discHeld[1] = true
	case "bleeders=shut":
		w.bleederOpen = false
	case "support=on":
		w.supply = true
	case "jack_mode=on":
		w.jack = true
	case "cool=yes":
		w.hot = false
	case "engine=off":
		w.engine = false
	}
}

// truth says whether an honest person using this means would find what the step is
// for. It asks the world, never the procedure.
func (w *World) truth(act string, side int, how string) bool {
	if how == w.fault.lie {
		return true
	}
	// A slipping gear turns without moving the nut: it is heard to run all the same.
	slipHeard := w.fault.kind == "slip" && how == "heard"
	all := func(want ...nut) bool {
		for _, s := range both(side) {
			ok := slipHeard && w.fault.side == s
			for _, n := range want {
				ok = ok || w.nuts[s] == n && !w.isCable || w.cable == n && w.isCable
			}
			if !ok {
				return false
			}
		}
		return true
	}
	switch act {
	case "apply", "extend", "learn", "function_test", "hold_test":
		if !w.isBrake {
			return true
		}
		return all(clamped)
	case "release":
		return all(released)
	case "retract", "slacken":
		return all(retracted)
	case "push_piston":
		return w.isCable && w.cable == retracted || !w.isCable && (side < 0 || w.nuts[side] == retracted)
	case "lock_out":
		return w.guard && !w.key
	case "ignition_on":
		return w.supply || !w.isBrake || how != "measured" // measured is the supply's voltage
	case "connect_supply":
		return w.supply || !w.isBrake
	case "vent":
		return !w.springs
	case "verify_zero":
		return !w.live
	case "chock":
		return w.chocks
	case "save_codes", "clear_before", "read_before", "erase_codes", "read_codes":
		return w.key // modules that sleep do not answer
	}
	return true
}

// stranger: nobody was there, and someone touched something.
func (w *World) stranger(pick int) {
	switch pick {
	case 0:
		w.guard = false
	case 1:
		if w.height == 0 {
			w.chocks = false
		}
	case 2:
		w.supply = false
	case 3:
		w.key = !w.key
	case 4:
		w.geared = true
	case 5:
		// Guard off, switch touched with the key on: the module drives the nuts out.
		if w.isBrake && !w.isCable && w.key && !w.guard {
			for s := range w.nuts {
				if w.nuts[s] == retracted && w.works(s) {
					w.nuts[s] = runOut
				}
			}
		}
	}
}
