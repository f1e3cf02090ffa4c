package measure

import (
	"math"
	"os"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
)

func TestFindRole(t *testing.T) {
	for word, want := range map[string]string{
		"voltage": "voltage", "Load": "engine_load", "short trim": "short_trim", "STFT": "short_trim", "ignition-secondary": "ignition_secondary",
		"rpm": "engine_speed", "map": "manifold_pressure", "sync": "sync", "ignore": "ignore", "cam_edges": "cam_edges",
	} {
		if got, ok := FindRole(word); !ok || got != want {
			t.Errorf("%s: %q, want %q", word, got, want)
		}
	}
	for _, word := range []string{"banana", "", "parameter_log", "bank"} {
		if got, ok := FindRole(word); ok {
			t.Errorf("%s is taken for %s", word, got)
		}
	}
	seen := map[string]string{}
	for _, r := range Roles() {
		for _, w := range append([]string{r.ID}, r.Also...) {
			if other, dup := seen[w]; dup {
				t.Errorf("%q means %s and %s", w, other, r.ID)
			}
			seen[w] = r.ID
		}
	}
}

// A column that is headed by our own word for a role is that role, with its unit and
// without.
func TestOwnWordsAreRecognised(t *testing.T) {
	for _, want := range roleTable {
		name := want.id
		if want.id == Misfires {
			name += " cylinder 2" // a total of misfires belongs to no cylinder
		}
		for _, u := range []unit.Unit{{}, unit.Must(want.unit)} {
			if r, _, ok := recogniseName(name, u); !ok || r.id != want.id {
				t.Errorf("%s in %q is taken for %q", name, u.Symbol, r.id)
			}
		}
	}
}

// The page that tells people the roles must have them all.
func TestRolesAreDocumented(t *testing.T) {
	page, err := os.ReadFile("../docs/job-folder.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range Roles() {
		for _, w := range append([]string{r.ID}, r.Also...) {
			if !strings.Contains(string(page), "`"+w+"`") {
				t.Errorf("docs/job-folder.md does not have %q", w)
			}
		}
	}
}

// Headers as logs write them, in English and German. Names of our own collection.
func TestNamesInHeaders(t *testing.T) {
	for name, want := range map[string]string{
		"BATT": Supply, "battery (V)": Supply, "Batteriespannung": Supply, "Motorlast": EngineLoad, "Kurzzeit-Trim Bank 1": ShortTrim,
		"Langzeit-Trim Bank 2 [%]": LongTrim, "Motordrehzahl": EngineSpeed, "Kühlmitteltemperatur": Coolant, "Ansauglufttemperatur": IntakeAir,
		"Fahrgeschwindigkeit": VehicleSpeed, "Saugrohrdruck": ManifoldPress, "Umgebungsdruck": Barometer, "Drosselklappenwinkel": Throttle,
		"Zündwinkel": Advance, "Einspritzdauer": PulseWidth, "Luftmassenstrom": Airflow, "LOAD": EngineLoad, "Zündaussetzer Zylinder 3": Misfires,
	} {
		r, s, ok := recogniseName(name, unit.Unit{})
		if !ok || r.id != want {
			t.Errorf("%s: %q, want %s", name, r.id, want)
		}
		if strings.Contains(name, "Bank 2") && s != evidence.BankNo(2) {
			t.Errorf("%s: %s", name, s)
		}
	}
	for _, name := range []string{"last value", "battery temperature", "Reifenluftdruck", "hybrid battery soc"} {
		if r, _, ok := recogniseName(name, unit.Unit{}); ok {
			t.Errorf("%s is taken for %s", name, r.id)
		}
	}
}

// A log whose names say nothing, wholly mapped: trims of both banks, load, voltage,
// temperature in Fahrenheit.
func TestEveryRoleOfALogCanBeMapped(t *testing.T) {
	rec := &trace.Recording{Time: trace.TimeBase{N: 400, Num: 1e9, Den: 5}}
	meta := Meta{Engine: four}
	add := func(as string, s evidence.Subject, u string, value func(int) float64) {
		ch := trace.Channel{Name: "P" + string(rune('A'+len(rec.Channels))), Unit: unit.Must(u), Values: make([]float64, 400)}
		for i := range ch.Values {
			ch.Values[i] = ch.Unit.SI(value(i))
		}
		rec.Channels = append(rec.Channels, ch)
		meta.Columns = append(meta.Columns, Column{Channel: ch.Name, As: as, Subject: s})
	}
	steady := func(v float64) func(int) float64 { return func(i int) float64 { return v + 0.01*float64(i%7) } }
	add(EngineSpeed, evidence.Subject{}, "rpm", steady(780))
	add(ShortTrim, evidence.BankNo(1), "%", steady(2))
	add(ShortTrim, evidence.BankNo(2), "%", steady(14))
	add(LongTrim, evidence.Subject{}, "%", steady(1))
	add(EngineLoad, evidence.Subject{}, "%", steady(22))
	add(RoleVoltage, evidence.Subject{}, "V", steady(13.9))
	add(Coolant, evidence.Subject{}, "F", steady(194))
	add(Misfires, evidence.Cyl(3), "count", steady(0))
	add(syncRole, evidence.Subject{}, "V", steady(0))
	series, rest := fromRecording(rec, meta)
	var got []string
	for _, s := range series {
		p, err := prepare(s)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, p.role.id+" "+p.Subject.String())
		if p.role.id == Coolant && math.Abs(p.V[0]-90) > 0.01 {
			t.Errorf("194 F is %v degC", p.V[0])
		}
	}
	want := "engine_speed engine,short_trim bank 1,short_trim bank 2,long_trim bank 1,engine_load engine,supply_voltage engine,coolant engine,misfire_count cylinder 3"
	if strings.Join(got, ",") != want {
		t.Errorf("\n%s, want\n%s", strings.Join(got, ","), want)
	}
	if len(rest) != 1 || !strings.Contains(rest[0], "no use for sync") {
		t.Errorf("rest: %v", rest)
	}
	// Misfires of nobody are refused, and said so.
	meta.Columns[7].Subject = evidence.Subject{}
	res, err := parameterLog(rec, meta)
	if err != nil {
		t.Fatal(err)
	}
	said := false
	for _, n := range res.Notes {
		said = said || n.Trouble && strings.Contains(n.Text, "not said of which cylinder")
	}
	if !said {
		t.Errorf("%v", res.Notes)
	}
}
