package measure

import (
	"slices"
	"strings"
	"testing"
)

// headers are names as recorders and people write them, for each good capture and
// in the order of its channels: units in brackets, a workshop's own words, German,
// and names that say nothing ("Channel A"), where the signal alone must do.
var headers = map[string][][]string{
	"secondary":         {{"Secondary"}, {"Coil 3 pickup (V)"}, {"Zündung Zyl. 3"}, {"Sekundärspannung [V]"}, {"Channel A"}},
	"parade":            {{"Secondary all", "Sync cyl 1"}, {"Ignition (V)", "Trigger cyl 1 (V)"}, {"Zündung alle", "Trigger Zyl. 1"}, {"Sekundär [V]", "Sync Zylinder 1"}},
	"primary":           {{"Coil primary (A)"}, {"Primary current"}, {"Zündspule Strom [A]"}, {"CH1 (A)"}},
	"injector":          {{"Injector 2 current (A)"}, {"Einspritzventil 2 (A)"}, {"Inj amps"}, {"A"}},
	"crank edges":       {{"Crank sensor", "Cam sensor", ""}, {"CKP (V)", "CMP (V)"}, {"Kurbelwelle", "Nockenwelle"}, {"KW-Geber", "NW-Geber"}},
	"cranking":          {{"Starter current (A)", "Battery (V)", "Sync (V)"}, {"Anlasserstrom [A]", "Batteriespannung [V]", "Trigger Zyl 1"}, {"Starter", "Batt", "Cyl 1 coil"}, {"Current clamp", "Voltage", "Sync"}},
	"brake":             {{"Left motor (A)", "Right motor (A)", "Supply (V)"}, {"EPB left", "EPB right", "Battery"}, {"Motor links [A]", "Motor rechts [A]", "Bordnetz [V]"}, {"Feststellbremse links", "Feststellbremse rechts", "U Batt"}, {"Strom HL", "Strom HR", "Spannung"}, {"Caliper motor LH", "Caliper motor RH", "Voltage at posts"}},
	"battery start":     {{"Battery (V)"}, {"Batteriespannung"}, {"U_Batt [V]"}, {"VBAT"}, {"Akku (V)"}, {"Klemme 30"}},
	"battery ripple":    {{"Battery (V)"}, {"B+ at alternator"}, {"Generator B+ [V]"}, {"Lichtmaschine (V)"}},
	"cylinder pressure": {{"Cylinder 3 pressure (kPa)"}, {"Compression cyl 3"}, {"Zylinderdruck [kPa]"}, {"Kompression Zyl 3"}, {"In-cylinder"}},
	"rail pressure":     {{"Fuel pressure (kPa)"}, {"Rail"}, {"Kraftstoffdruck [kPa]"}, {"Raildruck"}, {"Benzindruck"}},
	"pump current":      {{"Fuel pump (A)"}, {"Pump current"}, {"Kraftstoffpumpe [A]"}, {"Pumpenstrom"}},
}

// TestRecognisesHeaders: each kind by the names people write and the signal behind
// them, without being told the kind.
func TestRecognisesHeaders(t *testing.T) {
	for _, g := range goodCaptures(t) {
		for _, names := range headers[g.name] {
			rec := *g.rec
			rec.Channels = slices.Clone(rec.Channels)
			for i := range rec.Channels {
				if i < len(names) && names[i] != "" {
					rec.Channels[i].Name = names[i]
				}
			}
			m := g.meta
			m.Columns, m.Inverted = nil, false
			kind, why := Recognise(&rec, m)
			if kind != g.kind {
				t.Errorf("%s as %s: recognised as %q: %s", g.name, strings.Join(names, " | "), kind, why)
			}
		}
	}
}

// TestSyncOfAnotherCylinder: a sync that says of which cylinder it is, is not taken for
// cylinder 1.
func TestSyncOfAnotherCylinder(t *testing.T) {
	rec := recording(1e5, make([]float64, 1000))
	for name, want := range map[string]int{"sync": 1, "sync cyl 3": 3, "Trigger Zyl. 2": 2, "Sync Zylinder 4 (V)": 4, "cyl 3 coil": 0, "trigger": 0} {
		rec.Channels[0].Name = name
		got := 0
		if tracks := syncTracks(rec, Meta{}); len(tracks) > 0 {
			got = tracks[0].cylinder
		}
		if got != want {
			t.Errorf("%q: cylinder %d, want %d", name, got, want)
		}
	}
}

// TestUnknownIsAsked: where neither names nor signal tell, the channels are named, and
// nothing is said of a spark that nobody recorded.
func TestUnknownIsAsked(t *testing.T) {
	rec := recording(200, make([]float64, 1000))
	rec.Channels[0].Name = "Channel 7"
	_, err := Capture("", rec, Meta{})
	if err == nil || !strings.Contains(err.Error(), `"Channel 7"`) || !strings.Contains(err.Error(), "write kind: with one of") || strings.Contains(err.Error(), "spark") {
		t.Errorf("%v", err)
	}
}
