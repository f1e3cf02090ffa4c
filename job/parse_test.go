package job

import (
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"proveout/evidence"
	"proveout/unit"
)

func TestLoadFindsTheOneJobFile(t *testing.T) {
	text := &fstest.MapFile{Data: []byte("schema: proveout/job/1\nvehicle: {engine: {cylinders: 4}}\n")}
	for _, tc := range []struct {
		files fstest.MapFS
		want  string // part of the error; empty = loads
	}{
		{fstest.MapFS{"job.yaml": text, "a.csv": text}, ""},
		{fstest.MapFS{"job.json": {Data: []byte(`{"schema": "proveout/job/1", "vehicle": {"engine": {"cylinders": 4}}}`)}}, ""},
		{fstest.MapFS{"job.yaml": text, "job.json": text}, "several job files here: job.yaml, job.json"},
		{fstest.MapFS{"a.csv": text}, "no job file here; write job.yaml, job.yml, job.json"},
		{fstest.MapFS{"job.yaml/x": text}, "job.yaml cannot be read"},
	} {
		f, ps, err := Load(tc.files)
		if tc.want == "" {
			if err != nil || len(ps) != 0 || f.Vehicle.Engine.Cylinders != 4 {
				t.Errorf("%v: %v %v", tc.files, ps, err)
			}
		} else if err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("error %v, want %q", err, tc.want)
		}
	}
	big := fstest.MapFS{"job.yml": {Data: []byte(strings.Repeat("#", MaxBytes+10))}}
	if f, ps, err := Load(big); f != nil || err != nil || len(ps) != 1 || !strings.Contains(ps[0].Text, "the most a job file may have") {
		t.Errorf("a huge file: %v %v", ps, err)
	}
}

// Exact factors: NIST SP 811 appendix B (psi, inch of mercury, inch).
func TestQuantitiesOfFeatures(t *testing.T) {
	pressure, _ := evidence.Lookup("fuel.pressure_load")
	gap, _ := evidence.Lookup("plug.gap")
	count, _ := evidence.Lookup("misfire.count")
	trim, _ := evidence.Lookup("trim.load")
	height, _ := evidence.Lookup("ignition.firing_height_snap")
	for _, tc := range []struct {
		text, apart string
		f           evidence.Feature
		si          float64
		err         string
	}{
		{"52 psi", "", pressure, 358527.3793, ""},
		{"3,6 bar", "", pressure, 360000, ""},
		{"0.056 in", "", gap, 0.0014224, ""},
		{"1.42", "mm", gap, 0.00142, ""},
		{"1,42", "mm", gap, 0.00142, ""},
		{"41", "", count, 41, ""},
		{"-3.5 %", "", trim, -3.5, ""},
		{"17 kV", "", height, 17000, ""},
		{"1.4", "", height, 1.4, ""},
		{"3.5", "", trim, 0, "has no unit"},
		{"1.42 mm", "in", gap, 0.00142, ""}, // the unit beside the number wins
		{"1.42 A", "", gap, 0, "A is a current"},
		{"inf mm", "", gap, 0, "is no number"},
		{"", "", gap, 0, "is no number"},
	} {
		q, err := of(tc.text, tc.apart, tc.f)
		if tc.err != "" {
			if err == nil || !strings.Contains(err.Error(), tc.err) {
				t.Errorf("%q: error %v, want %q", tc.text, err, tc.err)
			}
			continue
		}
		if err != nil || math.Abs(q.SI-tc.si) > 1e-9*math.Max(1, math.Abs(tc.si)) {
			t.Errorf("%q: %v %v, want %g", tc.text, q.SI, err, tc.si)
		}
	}
	temperature, _ := unit.New(90, unit.Must("degC"))
	if s, err := spread("9 degF", temperature); err != nil || math.Abs(s-5) > 1e-12 {
		t.Errorf("a step of 9 degF is 5 K: %v %v", s, err)
	}
}

func TestFactsFollowFromConditions(t *testing.T) {
	for _, tc := range []struct{ engine, conditions, want string }{
		{"", "wet: wet", "worse_wet=yes"},
		{"", "wet: damp", "worse_wet=yes"},
		{"", "wet: any", "worse_wet=no"},
		{"", "wet: unknown", ""},
		{"", "warm: hot", "worse_cold_start=no worse_hot=yes"},
		{"", "warm: cold", "worse_cold_start=yes worse_hot=no"},
		{"", "warm: warm", "worse_cold_start=no"},
		{"", "fuel_level: 20 %", "fuel_below_quarter=yes"},
		{"", "fuel_level: 1/4", "fuel_below_quarter=no"},
		{"", "fuel_level: 1/8", "fuel_below_quarter=yes"},
		{"", "fuel_level: reserve", "fuel_below_quarter=yes"},
		{"", "lamp: flashing", "lamp_flashing=yes"},
		{"", "lamp: steady", "lamp_flashing=no"},
		{", boosted: yes", "state: load", "boosted_load_only=yes"},
		{", boosted: yes", "state: [load, idle]", "boosted_load_only=no"},
		{", boosted: yes", "state: any", ""},
		{"", "recent_work: []", "recent_driveline_work=no recent_engine_work=no recent_plug_or_coil_work=no"},
		{"", "recent_work: none", "recent_driveline_work=no recent_engine_work=no recent_plug_or_coil_work=no"},
		{"", "recent_work: new plugs and coils", "recent_plug_or_coil_work=yes"},
		{"", "recent_work: [clutch, crank sensor]", "recent_driveline_work=yes recent_engine_work=yes"},
		{"", "recent_work: [came back from camping]", ""},
	} {
		text := "schema: proveout/job/1\nvehicle:\n  engine: {cylinders: 4, ignition: coil_on_plug, injection: port" + tc.engine + "}\ncomplaint:\n  conditions:\n    " + tc.conditions + "\n"
		r, all := resolved(t, "job.yaml", []byte(text))
		if r == nil || len(r.LeftOut()) > 0 {
			t.Fatal(all)
		}
		var got []string
		for _, id := range []string{BoostedLoadOnly, FuelBelowQuarter, LampFlashing, RecentDrivelineWork, RecentEngineWork, RecentPlugOrCoilWork, WorseColdStart, WorseHot, WorseWet} {
			if id == BoostedLoadOnly && tc.engine == "" {
				continue // always no
			}
			if a := r.Complaint.Facts[id]; a != "" {
				got = append(got, id+"="+a)
			}
		}
		if s := strings.Join(got, " "); s != tc.want {
			t.Errorf("%s%s: %q, want %q", tc.conditions, tc.engine, s, tc.want)
		}
	}
}
