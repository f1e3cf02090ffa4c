package measure

import (
	"math"
	"slices"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
)

// withOnly keeps the channels of these names.
func withOnly(rec *trace.Recording, names ...string) *trace.Recording {
	r := *rec
	r.Channels = nil
	for _, ch := range rec.Channels {
		if slices.Contains(names, ch.Name) {
			r.Channels = append(r.Channels, ch)
		}
	}
	return &r
}

// Without a clamp the battery's sag compares the cylinders: by Ohm's law each hump is
// that of the current times the resistance of battery and cable.
func TestCrankingByVoltage(t *testing.T) {
	for _, e := range []struct {
		n     int
		order []int
		weak  map[int]float64
		ohm   float64
	}{
		{4, []int{1, 3, 4, 2}, nil, 0.012},
		{4, []int{1, 3, 4, 2}, map[int]float64{2: 0.4}, 0.006},
		{6, []int{1, 5, 3, 6, 2, 4}, map[int]float64{1: 0.5}, 0.012},
		{3, []int{1, 3, 2}, map[int]float64{0: 0.3}, 0.02},
	} {
		s := plainStarter()
		s.cylinders, s.order, s.weak, s.ohm, s.seconds = e.n, e.order, e.weak, e.ohm, 5
		rec := withOnly(s.draw(), "Battery (V)", "Sync (V)")
		for _, kind := range []string{CrankingCurrent, BatteryKind} {
			m := s.meta()
			m.Columns = []Column{{Channel: "Sync (V)", As: syncRole}}
			res, err := Capture(kind, rec, m)
			if err != nil {
				t.Fatal(kind, err)
			}
			seen := 0
			for _, r := range res.Readings {
				switch {
				case r.Feature == "cranking.voltage_hump":
					seen++
					share := 1.0
					if w, ok := e.weak[slices.Index(e.order, r.Subject.Number)]; ok {
						share = w
					}
					// Between two full humps a weak one stands on feet of its own; half a percent of the
					// hump is what feet are lifted by smoothing.
					want := 60 * share * e.ohm
					if math.Abs(r.Value.SI-want) > math.Max(4*r.Uncertainty, 0.03*60*e.ohm) {
						t.Errorf("%s, %d cylinders: cylinder %d sags by %.3f +- %.3f V, drawn %.3f", kind, e.n, r.Subject.Number, r.Value.SI, r.Uncertainty, want)
					}
				case r.Feature == "cranking.speed":
					if math.Abs(r.Value.SI/s.rpm-1) > 0.01 {
						t.Errorf("%s: %.1f rpm, drawn %.0f", kind, r.Value.SI, s.rpm)
					}
				case strings.HasPrefix(r.Feature, "cranking.") && r.Value.Unit.Symbol == "A":
					t.Errorf("%s: %s of %v without a current", kind, r.Feature, r.Value)
				}
			}
			if seen != e.n {
				t.Errorf("%s, %d cylinders: %d sags, %v", kind, e.n, seen, res.NotMeasured)
			}
			if e.weak == nil && !said(res, "even within") || e.weak != nil && !said(res, "makes less compression") {
				t.Errorf("%s, weak %v: %v", kind, e.weak, res.Notes)
			}
			n := 0
			for _, r := range res.Readings {
				if r.Feature == "cranking.voltage_min" {
					n++
				}
			}
			if n != 1 {
				t.Errorf("%s: the lowest voltage is given %d times", kind, n)
			}
		}
	}
}

// What is no battery beside a starter is not taken for one, and a start as in everyday
// use is too short to compare cylinders by.
func TestCrankingVoltageRefused(t *testing.T) {
	s := plainStarter()
	rec := s.draw()
	drop := slices.Clone(rec.Channels[1].Values)
	for i := range drop {
		drop[i] = 12.6 - drop[i] + 0.02
	}
	rec.Channels[1].Values = drop
	for _, name := range []string{"Voltage drop (V)", "Channel B (V)", "Battery (V)"} {
		rec.Channels[1].Name = name
		_, res, err := Cranking(rec, s.meta())
		if err != nil {
			t.Fatal(err)
		}
		if r, ok := reading(res, "cranking.voltage_min"); ok {
			t.Errorf("%s: the drop of a cable gives a battery of %v", name, r.Value)
		}
		if _, ok := reading(res, "cranking.hump"); !ok {
			t.Errorf("%s: the current beside it is lost", name)
		}
	}
	rec.Channels[1].Name = "Battery (V)"
	if _, res, err := Cranking(withOnly(rec, "Battery (V)", "Sync (V)"), s.meta()); err != nil || len(res.Readings) > 0 || len(res.NotMeasured) == 0 {
		t.Errorf("a drop alone: %v, %+v", err, res)
	}
	s.seconds = 0.7
	quick := withOnly(s.draw(), "Battery (V)")
	res, err := Capture(BatteryKind, quick, s.meta())
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range res.NotMeasured {
		if n.Feature == "cranking.voltage_hump" {
			t.Errorf("a start of everyday use: %+v", n)
		}
	}
	m := s.meta()
	m.Condition = evidence.Condition{State: evidence.Cranking}
	if res, _ = Capture(BatteryKind, quick, m); !slices.ContainsFunc(res.NotMeasured, func(n NotMeasured) bool { return n.Feature == "cranking.voltage_hump" }) {
		t.Error("declared as cranking: that it is too short is not said")
	}
}

// A clamp recorded without its scale is no battery: what to do about the scale is said.
func TestLoneClampWithoutScale(t *testing.T) {
	s := plainStarter()
	s.gain, s.sync, s.volt0 = 1e-3, false, 0
	rec := s.draw()
	rec.Channels[0].Name, rec.Channels[0].Unit = "Channel A (mV)", unit.Must("V")
	_, res, err := Cranking(rec, s.meta())
	if err != nil || len(res.NotMeasured) == 0 || !strings.Contains(res.NotMeasured[0].Why, "clamp's scale") {
		t.Errorf("%v %+v", err, res.NotMeasured)
	}
}

// A battery that falls too far makes an even comparison one to be repeated, by the sag
// as by the current.
func TestSagOfAWeakBatteryIsRepeated(t *testing.T) {
	s := plainStarter()
	s.volt0, s.ohm, s.seconds = 10.8, 0.02, 5
	for _, kind := range []string{CrankingCurrent, BatteryKind} {
		m := s.meta()
		m.Columns = []Column{{Channel: "Sync (V)", As: syncRole}}
		res, err := Capture(kind, withOnly(s.draw(), "Battery (V)", "Sync (V)"), m)
		if err != nil {
			t.Fatal(err)
		}
		if !said(res, "counts only when it is repeated") {
			t.Errorf("%s: %+v", kind, res.Notes)
		}
	}
}
