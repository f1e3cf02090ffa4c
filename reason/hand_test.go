package reason

import (
	"fmt"
	"math"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/vehicle"
)

// apart is an engine over tests of no group, each on the faults of its row, with the
// abnormal outcome from 1 V up.
func apart(t *testing.T, versus string, rows ...map[string]float64) *Engine {
	t.Helper()
	num := func(v float64) book.Num { return book.Num{Value: v, Source: "made up"} }
	b := &book.Book{ID: "apart", Symptoms: map[string]string{"s": "s"}}
	for _, id := range []string{"a", "b"} {
		b.Components = append(b.Components, book.Component{ID: id, Name: id, Per: "engine"})
		b.Faults = append(b.Faults, book.Fault{ID: id, Component: id, Name: id, Rate: num(0.02), Complaint: map[string]book.Num{"s": num(0.8)}})
	}
	for i, row := range rows {
		at := book.Test{ID: fmt.Sprint("t", i), Name: "t", Per: "engine", Minutes: book.Minutes{Easy: num(5)},
			Reads:    &book.Reads{Feature: "supply.drop", Versus: versus, Unit: "V"},
			Outcomes: []book.Outcome{{ID: "normal", Normal: true, From: 0, To: 1}, {ID: "abnormal", From: 1, To: 2}},
			Healthy:  book.Row{P: map[string]float64{"normal": 0.95, "abnormal": 0.05}}, Given: map[string]book.Row{}}
		for f, p := range row {
			at.Given[f] = book.Row{P: map[string]float64{"abnormal": p}}
		}
		b.Tests = append(b.Tests, at)
	}
	in, err := book.Instantiate(vehicle.Engine{Cylinders: 4, Fuel: "petrol"}, b)
	if err != nil {
		t.Fatal(err)
	}
	e, err := NewEngine(Case{Instance: in, Symptoms: []string{"s"}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func value(test int, hand func(*evidence.Finding)) evidence.Finding {
	f := evidence.Finding{ID: fmt.Sprint("f", test), Test: fmt.Sprint("t", test), Subject: evidence.WholeEngine, Effect: 1.5, EffectSigma: 0.01}
	if hand != nil {
		hand(&f)
	}
	return f
}

func by(name string) func(*evidence.Finding) {
	return func(f *evidence.Finding) { f.Instruments = []string{name} }
}

// lnA is by how much, in ln, the findings moved fault a alone against no fault.
func lnA(t *testing.T, e *Engine, findings ...evidence.Finding) float64 {
	t.Helper()
	before := e.w.a[0]
	for _, f := range findings {
		if err := e.Add(f); err != nil {
			t.Fatal(err)
		}
	}
	return e.w.a[0] - before
}

// Readings of different tests by one instrument count as m/(1+(m-1) rho) (DECISIONS,
// Odds: repeats), whatever the case of its name; by instruments of their own, or
// where none was named, as m.
func TestOneInstrumentIsNotManyWitnesses(t *testing.T) {
	rows := make([]map[string]float64, 10)
	for i := range rows {
		rows[i] = map[string]float64{"a": 0.5}
	}
	rho := DefaultLimits().RhoHand
	one := lnA(t, apart(t, "absolute", rows...), value(0, nil))
	for name, c := range map[string]struct {
		versus string
		hand   func(i int) func(*evidence.Finding)
		shares bool
	}{
		"one gauge":                    {"absolute", func(i int) func(*evidence.Finding) { return by([]string{"Gauge 3", " gauge 3"}[i%2]) }, true},
		"one gauge against a limit":    {"limit", func(int) func(*evidence.Finding) { return by("gauge 3") }, true},
		"a gauge each":                 {"absolute", func(i int) func(*evidence.Finding) { return by(fmt.Sprint("gauge ", i)) }, false},
		"no gauge named":               {"absolute", func(int) func(*evidence.Finding) { return nil }, false},
		"compared with the neighbours": {"others", func(int) func(*evidence.Finding) { return by("gauge 3") }, false},
		"one signal of one recording": {"others", func(int) func(*evidence.Finding) {
			return func(f *evidence.Finding) { f.From = []evidence.Source{{File: "a.csv", Channel: "current"}} }
		}, true},
		"signals of their own": {"others", func(i int) func(*evidence.Finding) {
			return func(f *evidence.Finding) { f.From = []evidence.Source{{File: "a.csv", Channel: fmt.Sprint(i)}} }
		}, false},
		"one person's eye": {"absolute", func(int) func(*evidence.Finding) {
			return func(f *evidence.Finding) { f.Outcome, f.Operator = "abnormal", "ines" }
		}, true},
		"one person at the gauges": {"absolute", func(int) func(*evidence.Finding) {
			return func(f *evidence.Finding) { f.Operator = "ines" }
		}, false},
	} {
		single := one
		e := apart(t, c.versus, rows...)
		var all []evidence.Finding
		for m := 1; m <= 10; m++ {
			all = append(all, value(m-1, c.hand(m-1)))
			if m == 1 {
				single = lnA(t, apart(t, c.versus, rows...), all[0])
			}
			want := float64(m)
			if c.shares {
				want /= 1 + float64(m-1)*rho
			}
			if got := lnA(t, apart(t, c.versus, rows...), all...) / single; math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: %d readings count as %.6f of one, want %.6f", name, m, got, want)
			}
			if got := lnA(t, e, all[m-1]); m == 1 && math.Abs(got-single) > 1e-12 {
				t.Errorf("%s: the first moves by %g, alone %g", name, got, single)
			}
		}
		// Reading by reading it comes to the same, and taken back nothing is left.
		if got := e.w.a[0]; math.Abs(got-refill(t, apart(t, c.versus, rows...), all)) > 1e-9 {
			t.Errorf("%s: added one by one it comes to %g", name, got)
		}
		for range all {
			if _, err := e.Undo(); err != nil {
				t.Fatal(err)
			}
		}
		if got, want := e.w.a[0], apart(t, c.versus, rows...).w.a[0]; math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: taken back, %g is left", name, got-want)
		}
	}
}

func refill(t *testing.T, e *Engine, all []evidence.Finding) float64 {
	lnA(t, e, all...)
	return e.w.a[0]
}

// A gauge that read something of another fault takes nothing from a reading, and a
// weak reading next to nothing from a strong one.
func TestOneInstrumentOnOtherFaults(t *testing.T) {
	rows := []map[string]float64{{"a": 0.9}, {"b": 0.9}, {"a": 0.06}}
	alone := lnA(t, apart(t, "absolute", rows...), value(0, by("g")))
	if got := lnA(t, apart(t, "absolute", rows...), value(0, by("g")), value(1, by("g"))); math.Abs(got-alone) > 1e-12 {
		t.Errorf("beside a reading of another fault it counts %.6f, alone %.6f", got, alone)
	}
	e := apart(t, "absolute", rows...)
	lnA(t, e, value(0, by("g")), value(2, by("g")))
	if w := e.slots[0].whole; w < 0.99 || w == 1 {
		t.Errorf("a strong reading counts %.4f beside a weak one", w)
	}
	if w, want := e.slots[1].whole, 1/(1+DefaultLimits().RhoHand); math.Abs(w-want) > 1e-12 {
		t.Errorf("the weak one counts %.4f, want %.4f", w, want)
	}
}
