package cli

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"proveout/job"
	"proveout/unit"
	"proveout/vehicle"
)

// knownFlags are what a person knows of the engine and the circuit and no trace
// shows: what known: and engine: say in a job file.
type knownFlags struct {
	known              job.Known
	order, pulsed      string
	displacement, fuel string
	cylinders          int
	rpm                float64
}

func (k *knownFlags) add(f *pflag.FlagSet) {
	f.IntVar(&k.cylinders, "cylinders", 0, "cylinders of the engine, where it matters")
	f.StringVar(&k.order, "order", "", "firing order, for example 1-3-4-2")
	f.StringVar(&k.displacement, "displacement", "", `of the engine, for example "1.6 L"`)
	f.StringVar(&k.fuel, "fuel", "", "petrol, diesel, lpg, cng or ethanol, where it matters")
	f.Float64Var(&k.rpm, "rpm", 0, "engine speed while it was recorded")
	f.StringVar(&k.known.Supply, "supply", "", `at the feed of coil or injector while it is switched off, for example "13.8 V"`)
	f.StringVar(&k.known.Driver, "driver", "", `left across the closed driver at full current, for example "0.6 V"`)
	f.StringVar(&k.known.Ambient, "ambient", "", `pressure of the air outside, for example "98 kPa"`)
	f.StringVar(&k.known.BatteryTemperature, "battery-temperature", "", `for example "8 degC"`)
	f.Float64Var(&k.known.PulleyRatio, "pulley-ratio", 0, "turns of the alternator for one of the crank")
	f.IntVar(&k.known.PolePairs, "pole-pairs", 0, "of the alternator")
	f.IntVar(&k.known.PumpBars, "pump-bars", 0, "commutator bars of the fuel pump motor")
	f.IntVar(&k.known.CrankTeeth, "crank-teeth", 0, "teeth of the crank wheel in one turn, missing ones counted")
	f.StringVar(&k.pulsed, "pulsed-order", "", "cylinders in the order in which their injectors were pulsed, for example 1-2-3-4")
}

// check gives engine and facts; the error names the flag and what to write.
func (k *knownFlags) check() (vehicle.Engine, job.Facts, error) {
	e := vehicle.Engine{Cylinders: k.cylinders, Fuel: k.fuel}
	var err error
	if e.FiringOrder, err = cylinderList("order", k.order); err != nil {
		return e, job.Facts{}, err
	}
	if e.Cylinders == 0 {
		e.Cylinders = len(e.FiringOrder)
	}
	if e.Cylinders != 0 || len(e.FiringOrder) > 0 {
		if err := e.Validate(); err != nil {
			return e, job.Facts{}, err
		}
	}
	if k.displacement != "" {
		q, err := unit.ParseQuantity(k.displacement)
		if err != nil {
			return e, job.Facts{}, fmt.Errorf("--displacement %q: %w", k.displacement, err)
		}
		if q.Unit.Dim != unit.Volume || q.SI <= 0 || q.SI > 0.1 {
			return e, job.Facts{}, fmt.Errorf("--displacement %q is no engine displacement; write for example 1.6 L", k.displacement)
		}
		e.DisplacementL = 1000 * q.SI
	}
	if k.rpm < 0 || k.rpm > 20000 {
		return e, job.Facts{}, fmt.Errorf("--rpm %g cannot be; write for example 1500", k.rpm)
	}
	if k.known.PulsedOrder, err = cylinderList("pulsed-order", k.pulsed); err != nil {
		return e, job.Facts{}, err
	}
	cylinders := e.Cylinders
	if cylinders == 0 {
		cylinders = len(k.known.PulsedOrder)
	}
	facts, err := k.known.Check(cylinders)
	if err != nil {
		return e, facts, fmt.Errorf("--%s", strings.ReplaceAll(err.Error(), "_", "-"))
	}
	return e, facts, nil
}

// cylinderList reads 1-3-4-2, also with commas or spaces.
func cylinderList(flag, text string) ([]int, error) {
	var out []int
	for _, w := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune("-, ", r) }) {
		n, err := strconv.Atoi(w)
		if err != nil {
			return nil, fmt.Errorf("--%s %q: %q is no cylinder; write for example 1-3-4-2", flag, text, w)
		}
		out = append(out, n)
	}
	return out, nil
}
