package job

import (
	"fmt"
	"strings"

	"proveout/strict"
	"proveout/unit"
	"proveout/vehicle"
)

// usualOrder are firing orders taken when none is written. For four cylinders in
// line both orders in use pair 1-4 and 2-3; the others are the commonest
// (common practice, no source), and taking one is always stated.
var usualOrder = map[string][]int{
	"4 inline": {1, 3, 4, 2}, "6 inline": {1, 5, 3, 6, 2, 4}, "6 vee": {1, 2, 3, 4, 5, 6},
	"8 vee": {1, 8, 4, 3, 6, 5, 7, 2}, "4 flat": {1, 3, 2, 4}, "6 flat": {1, 6, 2, 4, 3, 5},
}

// VehicleEngine is the engine of the job. What the file leaves out is filled in
// and each such thing is stated as a note (or a warning where it matters for
// the answer). With an error the engine cannot be used: its layout decides which
// suspects exist.
func (f *File) VehicleEngine() (vehicle.Engine, []Problem) {
	var ps []Problem
	say := func(sev strict.Severity, field, format string, args ...any) {
		ps = append(ps, f.at(sev, fmt.Sprintf(format, args...), "vehicle", "engine", field))
	}
	w := f.Vehicle.Engine
	if w == nil {
		return vehicle.Engine{}, []Problem{f.at(strict.Error, "is missing; write at least cylinders, ignition and injection, for example engine: {cylinders: 4, ignition: coil_on_plug, injection: port}", "vehicle", "engine")}
	}
	e := vehicle.Engine{Cylinders: w.Cylinders, Boosted: w.Boosted, FiringOrder: w.FiringOrder}
	if !f.has("vehicle", "engine", "cylinders") && w.Cylinders == 0 {
		say(strict.Error, "cylinders", "is missing; write how many, for example 4")
		return e, ps
	}
	if e.Cylinders < 1 || e.Cylinders > vehicle.MostCylinders {
		say(strict.Error, "cylinders", "%d cylinders; write a number from 1 to %d", e.Cylinders, vehicle.MostCylinders)
		return e, ps
	}
	word := func(field, s string, words []string, otherwise string, sev strict.Severity) string {
		if strings.TrimSpace(s) == "" {
			if f.has("vehicle", "engine", field) {
				say(strict.Warning, field, "not readable: taken as %s", otherwise)
				return otherwise
			}
			say(sev, field, "not said: taken as %s", otherwise)
			return otherwise
		}
		v, err := pick(s, words)
		if err != nil {
			say(strict.Error, field, "%s", err)
			return otherwise
		}
		return v
	}
	e.Fuel = word("fuel", w.Fuel, fuelWords, "petrol", strict.Note)
	spark := "coil_on_plug"
	if e.Fuel == "diesel" {
		spark = "none"
	}
	e.Ignition = vehicle.Ignition(word("ignition", w.Ignition, sparkWords, spark, strict.Warning))
	inject := "port"
	if e.Fuel == "diesel" {
		inject = "direct"
	}
	e.Injection = vehicle.Injection(word("injection", w.Injection, injectWords, inject, strict.Warning))
	shape := "inline"
	if len(w.Banks) > 1 {
		shape = "vee"
	}
	e.Arrangement = word("arrangement", w.Arrangement, arrangeWords, shape, strict.Note)
	e.Access = word("access", w.Access, accessWords, "easy", strict.Note)
	if !f.has("vehicle", "engine", "boosted") && !f.has("vehicle", "engine", "turbo") {
		say(strict.Note, "boosted", "not said: taken as no")
	}
	ps = append(ps, f.banks(&e)...)
	if w.Displacement != "" {
		if q, err := unit.ParseQuantity(w.Displacement); err != nil {
			say(strict.Warning, "displacement", "%s; not used", err)
		} else if q.Unit.Dim != unit.Volume || q.SI <= 0 || q.SI > 0.1 {
			say(strict.Warning, "displacement", "%s is no engine displacement; write for example 1.6 L; not used", strict.Quote(w.Displacement))
		} else {
			e.DisplacementL = q.SI * 1000
		}
	}
	if len(e.FiringOrder) == 0 {
		if order := usualOrder[fmt.Sprintf("%d %s", e.Cylinders, e.Arrangement)]; e.Ignition == vehicle.WasteSpark && order != nil {
			sev := strict.Warning
			if e.Cylinders == 4 && e.Arrangement == "inline" {
				sev = strict.Note
			}
			e.FiringOrder, e.OrderAssumed = order, true
			say(sev, "firing_order", "not said: taken as %v; it decides which cylinders share a coil", order)
		} else if e.Ignition == vehicle.WasteSpark {
			say(strict.Warning, "firing_order", "not said: it is not known which cylinders share a coil, so coils are left out of the suspects; write the firing order")
		}
	} else if err := e.Validate(); err != nil {
		e.FiringOrder = nil
		say(strict.Error, "firing_order", "%s; not used", err)
	}
	if err := e.Validate(); err != nil {
		ps = append(ps, f.at(strict.Error, err.Error(), "vehicle", "engine"))
	}
	strict.Sort(ps)
	return e, ps
}

// banks fills in which bank each cylinder is on.
func (f *File) banks(e *vehicle.Engine) []Problem {
	written := f.Vehicle.Engine.Banks
	if len(written) == 0 {
		if e.Arrangement == "inline" || e.Cylinders < 2 {
			return nil
		}
		for c := 1; c <= e.Cylinders; c++ {
			e.BankOf = append(e.BankOf, 2-c%2)
		}
		return []Problem{f.at(strict.Warning, "not said: odd cylinders taken as bank 1, even ones as bank 2; write for example banks: [[1, 3, 5], [2, 4, 6]]", "vehicle", "engine", "banks")}
	}
	of := make([]int, e.Cylinders)
	var ps []Problem
	if len(written) > 4 {
		return []Problem{f.at(strict.Error, fmt.Sprintf("%d banks; no engine here has more than 4; not used", len(written)), "vehicle", "engine", "banks")}
	}
	for b, list := range written {
		for i, c := range list {
			switch {
			case c < 1 || c > e.Cylinders:
				ps = append(ps, f.at(strict.Error, fmt.Sprintf("cylinder %d: the engine has %d cylinders", c, e.Cylinders), "vehicle", "engine", "banks", b, i))
			case of[c-1] != 0:
				ps = append(ps, f.at(strict.Error, fmt.Sprintf("cylinder %d is named twice", c), "vehicle", "engine", "banks", b, i))
			default:
				of[c-1] = b + 1
			}
		}
	}
	for c, b := range of {
		if b == 0 && len(ps) == 0 {
			ps = append(ps, f.at(strict.Error, fmt.Sprintf("cylinder %d is on no bank; name each cylinder once", c+1), "vehicle", "engine", "banks"))
		}
	}
	if len(ps) == 0 && len(written) > 1 {
		e.BankOf = of
	}
	return ps
}
