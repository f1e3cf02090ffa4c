package job

import (
	"reflect"
	"strings"
	"testing"

	"proveout/strict"
)

const knownHead = "schema: proveout/job/1\nvehicle:\n  engine: {cylinders: 4, ignition: coil_on_plug, injection: port}\n"

// Facts are read once, in SI; a capture's own stand in front of the job's.
func TestKnownFacts(t *testing.T) {
	r, _ := resolved(t, "job.yaml", []byte(knownHead+`known: {supply: 13.8 V, driver: 600 mV, ambient: 29 inHg, battery_temperature: 50 degF, pulley_ratio: 2.6, pole_pairs: 6, crank_teeth: 60}
captures:
  - {file: a.csv}
  - {file: b.csv, known: {supply: 12.1 V, pump_bars: 8, pulsed_order: [1, 3, 4, 2]}}
`))
	if errs := strict.Errors(r.Problems); len(errs) > 0 {
		t.Fatal(errs)
	}
	a, b := r.Captures[0].Known, r.Captures[1].Known
	if a.SupplyVolts != 13.8 || a.DriverVolts != 0.6 || a.AmbientPa < 98.1e3 || a.AmbientPa > 98.3e3 || *a.BatteryCelsius < 9.99 || *a.BatteryCelsius > 10.01 ||
		a.PulleyRatio != 2.6 || a.PolePairs != 6 || a.CrankTeeth != 60 || a.PumpBars != 0 || a.PulsedOrder != nil {
		t.Errorf("facts of the job: %+v", a)
	}
	if b.SupplyVolts != 12.1 || b.DriverVolts != 0.6 || b.PumpBars != 8 || !reflect.DeepEqual(b.PulsedOrder, []int{1, 3, 4, 2}) || b.CrankTeeth != 60 {
		t.Errorf("facts of the capture: %+v", b)
	}
}

// A fact that cannot be is named and left out; the others and the captures stand.
func TestKnownFactsThatCannotBe(t *testing.T) {
	for _, c := range []struct{ fact, says string }{
		{"supply: 13.8 kV", "cannot be"}, {"supply: 13.8 A", "is no voltage"}, {"supply: '13.8'", "no"}, {"ambient: 98 Pa", "cannot be"},
		{"battery_temperature: 800 degC", "cannot be"}, {"pulley_ratio: 26", "turns of the alternator"}, {"pole_pairs: -1", "cannot be"},
		{"pole_pairs: 600", "cannot be"}, {"crank_teeth: 9999", "cannot be"}, {"pulsed_order: [1, 3, 4, 5]", "each once"}, {"pulsed_order: [1, 1]", "each once"},
	} {
		r, _ := resolved(t, "job.yaml", []byte(knownHead+"known: {driver: 0.5 V, "+c.fact+"}\ncaptures:\n  - {file: a.csv}\n"))
		errs := strict.Errors(r.Problems)
		name, _, _ := strings.Cut(c.fact, ":")
		if len(errs) != 1 || !strings.Contains(errs[0].Text, c.says) || errs[0].Path != "known."+name {
			t.Errorf("%s: %v", c.fact, errs)
		}
		if len(r.Captures) != 1 || !reflect.DeepEqual(r.Captures[0].Known, Facts{DriverVolts: 0.5}) {
			t.Errorf("%s: %+v", c.fact, r.Captures)
		}
	}
}
