package measure

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proveout/evidence"
	"proveout/unit"
	"proveout/vehicle"
)

func engineReading(feature, u string, v, sd float64) evidence.Reading {
	q, err := unit.New(v, unit.Must(u))
	if err != nil {
		panic(err)
	}
	return evidence.Reading{Item: 1, Feature: feature, Subject: evidence.WholeEngine, Value: q, Uncertainty: unit.Must(u).StepSI(sd), N: 1, Typed: true}
}

func f64(x float64) *float64 { return &x }

// A limit is held against the value with its uncertainty; equal to it is inside.
func TestLimits(t *testing.T) {
	for _, c := range []struct {
		v      float64
		lim    Limit
		state  evidence.FindingState
		effect float64
		says   string
	}{
		{350, Limit{Min: f64(300e3), Max: f64(400e3)}, evidence.Normal, 1, "inside"},
		{300, Limit{Min: f64(300e3)}, evidence.Normal, 1, "at least 300 kPa"},
		{296, Limit{Min: f64(300e3)}, evidence.NotEstablished, 296.0 / 300, "Not established"},
		{250, Limit{Min: f64(300e3)}, evidence.Low, 250.0 / 300, "too low"},
		{450, Limit{Max: f64(400e3)}, evidence.High, 450.0 / 400, "at most 400 kPa"},
		{250, Limit{Nominal: f64(350e3)}, evidence.Low, 250.0 / 350, "nominal 350 kPa"},
		{345, Limit{Nominal: f64(350e3)}, evidence.Normal, 345.0 / 350, "inside"},
	} {
		c.lim.Feature, c.lim.Source = "fuel.pressure_load", "handbook"
		fs := Judge(Task{Engine: four, Readings: []evidence.Reading{engineReading("fuel.pressure_load", "kPa", c.v, 3)}, Limits: []Limit{c.lim}})
		if len(fs) != 1 || fs[0].State != c.state || math.Abs(fs[0].Effect-c.effect) > 1e-12 || !strings.Contains(fs[0].Sentence, c.says) || !strings.Contains(fs[0].Sentence, "handbook") {
			t.Errorf("%v kPa: %+v", c.v, fs)
		}
		if (c.state == evidence.NotEstablished) != (fs[0].More > 0) {
			t.Errorf("%v kPa: %d more", c.v, fs[0].More)
		}
	}
	// Without any limit it is a fact, not a judgement.
	fs := Judge(Task{Readings: []evidence.Reading{engineReading("fuel.pressure_load", "kPa", 350, 3)}, Asks: []Ask{{Test: "p", Feature: "fuel.pressure_load", Versus: VsLimit}}})
	if fs[0].State != evidence.NotJudged || fs[0].Test != "p" || !strings.Contains(fs[0].Sentence, "no limit") {
		t.Errorf("%+v", fs[0])
	}
	// The book's nominal stands in, the job's limit goes before it.
	ask := []Ask{{Test: "p", Feature: "fuel.pressure_load", Versus: VsLimit, Nominal: f64(500e3)}}
	r := []evidence.Reading{engineReading("fuel.pressure_load", "kPa", 350, 3)}
	if fs := Judge(Task{Readings: r, Asks: ask}); fs[0].Effect != 0.7 || fs[0].State != evidence.Low {
		t.Errorf("%+v", fs[0])
	}
	if fs := Judge(Task{Readings: r, Asks: ask, Limits: []Limit{{Feature: "fuel.pressure_load", Nominal: f64(350e3)}}}); fs[0].Effect != 1 {
		t.Errorf("%+v", fs[0])
	}
	// A limit for one cylinder goes before the one for all.
	gaps := typed("plug.gap", "mm", []float64{1.1}, []float64{1.1})
	fs = Judge(Task{Engine: four, Readings: gaps, Limits: []Limit{{Feature: "plug.gap", Nominal: f64(1.1e-3)}, {Feature: "plug.gap", Subject: evidence.Cyl(2), Nominal: f64(0.7e-3)}}})
	if fs[0].State != evidence.Normal || fs[1].State != evidence.High || fs[1].AllCompared {
		t.Errorf("%s %s, all compared %v with two of four", fs[0].State, fs[1].State, fs[1].AllCompared)
	}
	gaps = typed("plug.gap", "mm", []float64{1.1}, []float64{1.1}, []float64{1.6}, []float64{1.1})
	for _, f := range Judge(Task{Engine: four, Readings: gaps, Limits: []Limit{{Feature: "plug.gap", Max: f64(1.2e-3)}}}) {
		if !f.AllCompared {
			t.Errorf("all four gaps were measured: %+v", f)
		}
	}
}

func TestAbsolute(t *testing.T) {
	ask := func(from, to float64) []Ask {
		return []Ask{{Test: "t", Feature: "trim.idle", Versus: Absolute, Normal: &Band{from, to}}}
	}
	r := engineReading("trim.idle", "%", 17, 1)
	r.Subject = evidence.BankNo(1)
	fs := Judge(Task{Readings: []evidence.Reading{r}, Asks: ask(-10, 10)})
	if fs[0].State != evidence.High || fs[0].Effect != 17 || math.Abs(fs[0].EffectSigma-1) > 1e-9 {
		t.Errorf("%+v", fs[0])
	}
	fs = Judge(Task{Readings: []evidence.Reading{r}, Asks: ask(-16, 16)})
	if fs[0].State != evidence.NotEstablished {
		t.Errorf("%+v", fs[0])
	}
	// An uncalibrated height has no absolute value.
	h := typed("ignition.firing_height_idle", "x", []float64{12})
	h[0].Flags = []evidence.Flag{evidence.NotCalibrated}
	for _, v := range []Versus{Absolute, VsLimit} {
		fs = Judge(Task{Engine: four, Readings: h, Asks: []Ask{{Test: "kv", Feature: h[0].Feature, Versus: v, Normal: &Band{5, 9}, Nominal: f64(8)}}})
		if fs[0].State != evidence.NotJudged || !strings.Contains(fs[0].Sentence, "uncalibrated") {
			t.Errorf("%s: %+v", v, fs[0])
		}
	}
}

// Blocked readings never decide; a good one on the same cylinder is used.
func TestBlockedReadingsDoNotDecide(t *testing.T) {
	rs := typed("compression.dry", "kPa", []float64{1200}, []float64{1190}, []float64{600}, []float64{1210})
	rs[2].Flags = []evidence.Flag{evidence.Stale}
	for _, f := range Judge(Task{Engine: four, Readings: rs}) {
		if f.Subject.Number == 3 && (f.State != evidence.NotMeasured || !strings.Contains(f.Sentence, "read it again")) {
			t.Errorf("%+v", f)
		}
		if f.Subject.Number != 3 && f.State != evidence.Normal {
			t.Errorf("%+v", f)
		}
	}
	good := rs[2]
	good.Flags, good.Item = nil, 7
	for _, f := range Judge(Task{Engine: four, Readings: append(rs, good)}) {
		if f.Subject.Number == 3 && f.State != evidence.Low {
			t.Errorf("%+v", f)
		}
	}
}

// What was recorded too short is said in that feature's own events: only an ignition
// capture lacks firings.
func TestTooFewOfItsOwnEvents(t *testing.T) {
	for feature, want := range map[string]string{
		"ignition.burn_time_idle": "too few firings were recorded. To do: record longer: 20 to 50 firings",
		"brake.clamp_current":     "too little of it was recorded. To do: record more movements",
		"battery.parasitic":       "too little of it was recorded. To do: record for longer",
		"compression.dry":         "too little of it was recorded. To do: record more strokes",
		"circuit.voltage_drop":    "too little of it was recorded. To do: record for longer",
	} {
		f, ok := evidence.Lookup(feature)
		if !ok {
			t.Fatal(feature)
		}
		r := engineReading(feature, f.Unit, 1, 0.01)
		r.Flags = []evidence.Flag{evidence.TooFewEvents}
		if strings.HasPrefix(feature, "ignition") || strings.HasPrefix(feature, "compression") {
			r.Subject = evidence.Cyl(2)
		}
		fs := Judge(Task{Engine: four, Readings: []evidence.Reading{r}, Asks: []Ask{{Test: "one", Feature: feature, Versus: Others}}})
		if len(fs) != 1 || fs[0].State != evidence.NotMeasured || !strings.Contains(fs[0].Sentence, want) {
			t.Errorf("%s: %+v", feature, fs)
		}
	}
}

func TestNotMeasuredBecomesAFinding(t *testing.T) {
	n := NotMeasured{Feature: "ignition.burn_time_idle", Subject: evidence.Cyl(2), Why: "the trace is flat", Fix: "check the pickup", Flag: evidence.WrongChannel, Item: 4}
	task := Task{Engine: four, NotMeasured: []NotMeasured{n}, Asks: []Ask{{Test: "burn", Feature: n.Feature, Versus: Others}}}
	fs := Judge(task)
	if len(fs) != 1 || fs[0].State != evidence.NotMeasured || fs[0].Test != "burn" || fs[0].Item != 4 || !strings.Contains(fs[0].Sentence, "flat") || !strings.Contains(fs[0].Sentence, "check the pickup") {
		t.Errorf("%+v", fs)
	}
	// A later capture that could measure it settles the matter.
	task.Readings = typed("ignition.burn_time_idle", "ms", []float64{1.2}, []float64{1.2}, []float64{1.2})
	for _, f := range Judge(task) {
		if f.State == evidence.NotMeasured {
			t.Errorf("%+v", f)
		}
	}
}

// Before and after the repair, and different conditions, are never mixed.
func TestBeforeAndAfterStayApart(t *testing.T) {
	a := typed("compression.dry", "kPa", []float64{1200}, []float64{700}, []float64{1190})
	b := typed("compression.dry", "kPa", []float64{1200}, []float64{1195}, []float64{1190})
	for i := range b {
		b[i].When = "after"
	}
	got := map[string]evidence.FindingState{}
	for _, f := range Judge(Task{Engine: vehicle.Engine{Cylinders: 3}, Readings: append(a, b...)}) {
		got[f.ID] = f.State
	}
	if got["compression.dry@cyl2"] != evidence.Low || got["compression.dry@cyl2/after"] != evidence.Normal || len(got) != 6 {
		t.Errorf("%v", got)
	}
	b[0].When, b[1].When, b[2].When = "", "", ""
	for i := range b {
		b[i].Condition.Warm = "cold"
	}
	n := 0
	for _, f := range Judge(Task{Engine: vehicle.Engine{Cylinders: 3}, Readings: append(a, b...)}) {
		if f.Subject.Number == 2 && f.State == evidence.Low {
			n++
		}
	}
	if n != 1 {
		t.Errorf("warm and cold were mixed: %d findings low", n)
	}
}

// Whatever the readings: no panic, no NaN, a sentence with a full stop and a
// reason in each finding, the same answer twice, JSON that can be written.
func TestJudgeHoldsForAnything(t *testing.T) {
	features := evidence.Catalogue()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 14).Draw(t, "n")
		var rs []evidence.Reading
		for range n {
			f := features[rapid.IntRange(0, len(features)-1).Draw(t, "feature")]
			u := unit.Must(f.Unit)
			v := rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(-5, 50), rapid.Float64Range(-1e9, 1e9)).Draw(t, "v")
			q, err := unit.New(v, u)
			if err != nil {
				continue
			}
			rs = append(rs, evidence.Reading{
				Item: rapid.IntRange(0, 4).Draw(t, "item"), Feature: f.ID, Value: q,
				Subject:     rapid.SampledFrom([]evidence.Subject{{}, evidence.WholeEngine, evidence.Cyl(0), evidence.Cyl(1), evidence.Cyl(2), evidence.Cyl(3), evidence.Cyl(9), evidence.BankNo(1), evidence.PairOf(1, 2)}).Draw(t, "subject"),
				Uncertainty: rapid.SampledFrom([]float64{0, 0, 0.1, 1e-6}).Draw(t, "sd"), N: rapid.IntRange(0, 40).Draw(t, "events"),
				Placement: rapid.SampledFrom([]string{"", "1", "2"}).Draw(t, "placement"), Typed: rapid.Bool().Draw(t, "typed"),
				Opportunities: rapid.SampledFrom([]float64{0, 500}).Draw(t, "opportunities"),
			})
		}
		var asks []Ask
		for _, r := range rs {
			if rapid.Bool().Draw(t, "asked") {
				asks = append(asks, Ask{Test: "t", Feature: r.Feature, Versus: rapid.SampledFrom([]Versus{Others, Difference, VsLimit, Absolute, Count}).Draw(t, "versus")})
				break
			}
		}
		task := Task{Engine: vehicle.Engine{Cylinders: 4}, Readings: rs, Asks: asks}
		a, b := Judge(task), Judge(task)
		ja, err := json.Marshal(a)
		if err != nil {
			t.Fatalf("findings cannot be written: %v\n%+v", err, a)
		}
		jb, _ := json.Marshal(b)
		if string(ja) != string(jb) {
			t.Fatal("two answers to one question")
		}
		if len(rs) > 0 && len(a) == 0 {
			t.Fatal("a reading without a finding")
		}
		ids := map[string]bool{}
		for _, f := range a {
			if f.Sentence == "" || f.Why == "" || !strings.HasSuffix(strings.TrimSpace(f.Sentence), ".") && !strings.Contains(f.Sentence, ".") {
				t.Fatalf("a finding without words: %+v", f)
			}
			if ids[f.ID] {
				t.Fatalf("two findings called %s", f.ID)
			}
			ids[f.ID] = true
			if strings.Contains(f.Sentence, "NaN") || strings.Contains(f.Sentence, "Inf") {
				t.Fatalf("%s", f.Sentence)
			}
			if f.State == "" || f.EffectSigma < 0 || f.More < 0 {
				t.Fatalf("%+v", f)
			}
		}
	})
}
