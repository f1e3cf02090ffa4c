package measure

import (
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
)

// TestDeclaredAgainstShown: each kind says in a sentence when the trace speaks against the
// declared condition, and says nothing when it does not.
func TestDeclaredAgainstShown(t *testing.T) {
	coil := plainRamps()
	ramps := sampledAt(coil.rate, channel("clamp", "A", coil.draw()))
	shots := plainBoosted(1e-3).draw(1)
	pump := sampledAt(25e3, channel("pump", "A", pumpCurrent(25e3, 2, 5600, 8, 1, 0.05, 1)))
	still := sampledAt(200, channel("battery", "V", pressures(8, 200, 0.004, 1, func(float64) float64 { return 12.5 })))
	spark, _ := plainSynth().draw()
	for _, c := range []struct {
		kind     string
		rec      *trace.Recording
		declared evidence.State
		says     string // "" for nothing
	}{
		{IgnitionPrimary, ramps, evidence.Off, "declared off, but the coil fires"},
		{IgnitionPrimary, ramps, evidence.KeyOn, "but the coil fires"},
		{IgnitionPrimary, ramps, evidence.Idle, ""},
		{IgnitionSecondary, spark, evidence.Off, "declared off, but "},
		{IgnitionSecondary, spark, evidence.Idle, ""},
		{InjectorKind, shots, evidence.Off, "declared off, but the injector opens"},
		{InjectorKind, shots, evidence.Load, ""},
		{FuelPressureKind, pump, evidence.Off, "declared off, but the fuel pump runs"},
		{FuelPressureKind, pump, evidence.KeyOn, ""},
		{BatteryKind, still, evidence.Cranking, "declared cranking, but the voltage is that of a battery at rest"},
		{BatteryKind, still, evidence.Off, ""},
	} {
		m := onCylinder(1)
		m.Condition.State = c.declared
		res, err := Capture(c.kind, c.rec, m)
		if err != nil {
			t.Fatal(err)
		}
		var said []string
		for _, n := range res.Notes {
			if n.Flag == evidence.ConditionUnsure {
				said = append(said, n.Text)
			}
		}
		text := strings.Join(said, "; ")
		if (c.says == "") != (text == "") || !strings.Contains(text, c.says) {
			t.Errorf("%s declared %s: said %q, want %q", c.kind, c.declared, text, c.says)
		}
	}
}
