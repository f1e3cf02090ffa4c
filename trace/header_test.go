package trace

import (
	"testing"

	"proveout/unit"
)

// TestUnitOfAHeading: units as people and recorders write them, and what only looks like one.
func TestUnitOfAHeading(t *testing.T) {
	for name, want := range map[string]string{
		"Voltage (kV)": "kV", "rpm [1/min]": "rpm", "U / V": "V", "t_ms": "ms",
		"t/us": "us", "t/s": "s", "Zeit/ms": "ms", "Crank Hall/V": "V", "Current/A": "A", // SI brochure 5.4.1: quantity over unit
		"km/h": "", "counts/s": "", "g/s": "", "clamp mV/A": "", "Ramp A/ms": "", "Misfires/s": "", "Speed km/h": "", // rates and scales
		"Coil current A": "A", "Drain mA": "mA", "Rail pressure kPa": "kPa", "Batteriespannung V": "V", "Elapsed time s": "s", "ENGINE_RPM": "rpm",
		"Channel A": "", "Bank A": "", "Channel V": "", "A": "", "mA": "", "Valves": "", "Cylinder s": "", "Sensor_A": "A", // "_A" was taken before
	} {
		h := splitHeading(name)
		u := h.unit
		if x, ok := unitInName(h); ok {
			u = x
		}
		switch {
		case want == "" && !u.IsZero():
			t.Errorf("%q: unit %s, but it names none", name, u.Symbol)
		case want != "" && (u.IsZero() || u.Dim != unit.Must(want).Dim || u.SI(1) != unit.Must(want).SI(1)):
			t.Errorf("%q: unit %q, want %s", name, u.Symbol, want)
		}
	}
}

// TestRateInThePreamble: the unit may stand in the key, behind the number or in a cell
// of its own; a decimal comma is none.
func TestRateInThePreamble(t *testing.T) {
	for _, c := range []struct {
		key, value string
		hz         float64
	}{
		{"Sample Interval", "1.0E-05,s", 1e5},
		{"Sample interval", "10 us", 1e5},
		{"Sample interval (us)", "10", 1e5},
		{"Sample rate", "50,kHz", 5e4},
		{"Sampling rate", "1 MS/s", 1e6},
		{"Sample interval", "1.0E-05,V", 0},
		{"Sample interval", "1,5", 1 / 1.5}, // seconds, not 1.5 Hz
		{"Operator", "10,s", 0},
	} {
		if got := preambleRate(c.key, c.value); got < 0.999*c.hz || got > 1.001*c.hz {
			t.Errorf("%s: %s: %g Hz, want %g", c.key, c.value, got, c.hz)
		}
	}
}
