package measure

import (
	"fmt"
	"slices"
	"strings"

	"proveout/evidence"
)

// saidOtherwise gives the sentence for a declared condition that the capture itself
// speaks against, where its kind has not said so: coils and injectors only fire while
// the engine turns, a pump's motor takes current only while it is fed, and a battery
// shows that it rests.
func saidOtherwise(kind string, declared evidence.State, res Result) []Note {
	if declared == "" || slices.ContainsFunc(res.Notes, func(n Note) bool { return n.Flag == evidence.ConditionUnsure && strings.Contains(n.Text, "declared") }) {
		return nil
	}
	have := func(feature string) *evidence.Reading {
		for i, r := range res.Readings {
			if (feature == "" || r.Feature == feature) && !r.Blocked() {
				return &res.Readings[i]
			}
		}
		return nil
	}
	still := declared == evidence.Off || declared == evidence.KeyOn
	shows := ""
	var r *evidence.Reading
	switch kind {
	case IgnitionPrimary, IgnitionSecondary, IgnitionParade:
		if r = have(""); still && r != nil {
			shows = "the coil fires, so the engine turned"
		}
	case InjectorKind:
		if r = have("injector.on_time"); still && r != nil {
			shows = "the injector opens, so the engine turned"
		}
	case FuelPressureKind:
		if r = have("fuel.pump_current"); declared == evidence.Off && r != nil {
			shows = "the fuel pump runs"
		}
	case BatteryKind:
		if r = have("battery.rested"); !still && r != nil {
			shows = "the voltage is that of a battery at rest"
		}
	}
	if shows == "" {
		return nil
	}
	return []Note{{Text: fmt.Sprintf("%s: declared %s, but %s", r.From.Channel, spoken(declared), shows), Flag: evidence.ConditionUnsure, Trouble: true, From: r.From}}
}
