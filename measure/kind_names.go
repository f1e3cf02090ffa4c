package measure

import (
	"fmt"
	"strings"

	"proveout/trace"
	"proveout/unit"
)

// kindName are words by which people and recorders name the channel that makes a
// capture what it is, with the quantity it must then be of. Words are whole words of
// the name, or its beginning where they end in a star (German runs words together).
type kindName struct {
	kind string
	dim  unit.Dimension
	all  [][]string // one word of each list
	not  []string
}

// kindNames is tried in this order: what a capture is of comes before what is recorded
// beside it (the battery beside a starter, the supply beside a brake motor).
var kindNames = []kindName{
	{CrankingCurrent, unit.Current, [][]string{{"starter", "cranking", "anlasser*", "starterstrom"}}, nil},
	{BrakeMotorCurrent, unit.Current, [][]string{{"epb", "parking", "caliper", "feststellbrems*", "parkbrems*", "handbrems*", "bremsmotor"}}, nil},
	{BrakeMotorCurrent, unit.Current, [][]string{{"motor"}, {"left", "right", "rear", "links", "rechts", "lh", "rh", "rl", "rr", "hl", "hr"}}, []string{"pump", "blower", "fan", "wiper", "seat", "window"}},
	{BrakeMotorCurrent, unit.Current, [][]string{{"hl", "hr"}}, nil}, // rear left, rear right in German
	{FuelPressureKind, unit.Current, [][]string{{"pump", "pumpe", "kraftstoffpump*", "pumpenstrom", "benzinpump*"}}, []string{"water", "oil", "abs", "vacuum", "coolant"}},
	{InjectorKind, unit.Current, [][]string{{"inj", "injector", "injektor*", "einspritz*"}}, nil},
	{InjectorKind, unit.Voltage, [][]string{{"inj", "injector", "injektor*", "einspritz*"}}, nil},
	{IgnitionPrimary, unit.Current, [][]string{{"coil", "primary", "ignition", "zund*", "primar*", "spulenstrom"}}, nil},
	{IgnitionPrimary, unit.Voltage, [][]string{{"primary", "primar*"}}, nil},
	{CylinderPressure, unit.Pressure, [][]string{{"cylinder", "cyl", "compression", "zylinder*", "kompression*"}}, nil},
	{FuelPressureKind, unit.Pressure, [][]string{{"fuel", "rail", "kraftstoff*", "benzin*", "raildruck"}}, nil},
	{CrankEdges, unit.Voltage, [][]string{{"ckp", "crankshaft", "kurbelwell*", "kw"}}, []string{"kw h"}},
	{CrankEdges, unit.Voltage, [][]string{{"crank"}, {"sensor", "hall", "wheel", "pickup", "signal"}}, nil},
	{BatteryKind, unit.Current, [][]string{{"drain", "parasitic", "ruhestrom", "battery", "batteriestrom"}}, nil},
	{BatteryKind, unit.Voltage, [][]string{{"battery", "batt", "vbat", "ubat", "batterie*", "akku", "alternator", "generator", "lichtmaschine", "ubatt", "klemme 30"}}, nil},
}

// fits reports whether a channel is named so and of that quantity. A column without a
// unit has none that speaks against its name.
func (k *kindName) fits(ch *trace.Channel) bool {
	if ch.Edges || ch.Unit.Dim != k.dim && !ch.Unit.IsZero() {
		return false
	}
	words := strings.Fields(foldName(ch.Name))
	has := func(list []string) bool {
		for _, want := range list {
			if strings.Contains(want, " ") && strings.Contains(" "+strings.Join(words, " ")+" ", " "+want+" ") {
				return true
			}
			start, open := strings.CutSuffix(want, "*")
			for _, w := range words {
				if w == want || open && strings.HasPrefix(w, start) {
					return true
				}
			}
		}
		return false
	}
	for _, list := range k.all {
		if !has(list) {
			return false
		}
	}
	return !has(k.not)
}

// byName finds the kind of a recording by the names of its channels. A sure name is
// enough: what the signal lacks is then told by that kind's own measuring, and not by
// what it would lack as a spark.
func byName(rec *trace.Recording, meta Meta) (kind, why string) {
	for i := range kindNames {
		k := &kindNames[i]
		for c := range rec.Channels {
			ch := &rec.Channels[c]
			if _, told := meta.column(ch.Name); !told && k.fits(ch) {
				return k.kind, fmt.Sprintf("channel %s is named as %s", ch.Name, strings.ReplaceAll(k.kind, "_", " "))
			}
		}
	}
	return "", ""
}

// namesOf lists channels with their units, for the question what they are.
func namesOf(rec *trace.Recording) string {
	var out []string
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		name := fmt.Sprintf("%q", ch.Name)
		if ch.Unit.IsZero() {
			name += " without a unit"
		} else if !strings.Contains(ch.Name, ch.Unit.Symbol) {
			name += " in " + ch.Unit.Symbol
		}
		out = append(out, name)
	}
	return strings.Join(out, ", ")
}
