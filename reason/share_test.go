package reason

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"proveout/book"
	"proveout/evidence"
	"proveout/vehicle"
)

// groupOf is an engine over tests of one group with the correlation rho. Each row
// gives, by fault, the chance of the abnormal outcome; it is 0.05 on a sound part.
func groupOf(t *testing.T, rho float64, rows []map[string]float64) *Engine {
	t.Helper()
	num := func(v float64) book.Num { return book.Num{Value: v, Source: "made up"} }
	b := &book.Book{ID: "group", Symptoms: map[string]string{"s": "s"}}
	for _, id := range []string{"a", "b", "c"} {
		b.Components = append(b.Components, book.Component{ID: id, Name: id, Per: "engine"})
		b.Faults = append(b.Faults, book.Fault{ID: id, Component: id, Name: id, Rate: num(0.02), Complaint: map[string]book.Num{"s": num(0.8)}})
	}
	for i, row := range rows {
		at := book.Test{ID: fmt.Sprint("t", i), Name: "t", Per: "engine", Group: "g", Rho: num(rho), Minutes: book.Minutes{Easy: num(5)},
			Outcomes: []book.Outcome{{ID: "normal", Normal: true}, {ID: "abnormal"}},
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

// moved adds readings of the tests named and gives by how much, in ln, each fault
// alone moved against no fault.
func moved(t *testing.T, e *Engine, outcome string, tests ...int) []float64 {
	t.Helper()
	before := append([]float64(nil), e.w.a...)
	for i, k := range tests {
		if err := e.Add(evidence.Finding{ID: fmt.Sprint("f", i), Test: fmt.Sprint("t", k), Subject: evidence.WholeEngine, Outcome: outcome}); err != nil {
			t.Fatal(err)
		}
	}
	for i := range before {
		before[i] = e.w.a[i] - before[i]
	}
	return before
}

// A reading of one fault is not weakened by a reading of its group that speaks of
// another fault.
func TestReadingsOfDifferentFaultsDoNotShare(t *testing.T) {
	rows := []map[string]float64{{"a": 0.9}, {"b": 0.9}, {"a": 0.8, "c": 0.8}}
	alone := moved(t, groupOf(t, 0.6, rows), "abnormal", 0)[0]
	both := moved(t, groupOf(t, 0.6, rows), "abnormal", 0, 1)
	if math.Abs(both[0]-alone) > 1e-12 || math.Abs(both[1]-alone) > 1e-12 {
		t.Errorf("beside a reading of another fault it counts %.4f and %.4f, alone %.4f", both[0], both[1], alone)
	}
	// A reading of two faults shares with the first, which speaks of one of them; the
	// reading of the other fault stays out of it.
	third := moved(t, groupOf(t, 0.6, rows), "abnormal", 2)
	all := moved(t, groupOf(t, 0.6, rows), "abnormal", 0, 1, 2)
	x, y := alone*alone, third[0]*third[0] // shared by the square, 2/(1+0.6) in all
	if want := 2 / 1.6 * (x*alone + y*third[0]) / (x + y); math.Abs(all[0]-want) > 1e-9 || math.Abs(all[1]-alone) > 1e-12 {
		t.Errorf("a %.6f (want %.6f), b %.6f (want %.6f)", all[0], want, all[1], alone)
	}
	// Two suspects of which a reading says the same are not told apart by it, however
	// many readings each has besides.
	rows = []map[string]float64{{"a": 0.8, "c": 0.8}, {"a": 0.9}, {"a": 0.7}, {"a": 0.9}}
	e := groupOf(t, 0.6, rows)
	moved(t, e, "abnormal", 0, 1, 2, 3)
	if f := e.slots[0].factor; math.Abs(math.Log(f.set([]int{0})/f.set([]int{2}))) > 1e-12 {
		t.Errorf("a reading that says the same of two faults moves one against the other by %g", f.set([]int{0})/f.set([]int{2}))
	}
}

// Ten repeats of one doubtful reading do not make certainty: as ten tests of one
// group they count at most 1/rho, as one test done ten times no more than the
// book grants the test.
func TestTenRepeatsAreNoCertainty(t *testing.T) {
	rows := make([]map[string]float64, 10)
	var all, same []int
	for i := range rows {
		rows[i] = map[string]float64{"a": 0.15}
		all, same = append(all, i), append(same, 0)
	}
	const rho = 0.5
	one := moved(t, groupOf(t, rho, rows), "abnormal", 0)[0]
	for m := 1; m <= 10; m++ {
		got := moved(t, groupOf(t, rho, rows), "abnormal", all[:m]...)[0] / one
		if want := float64(m) / (1 + float64(m-1)*rho); math.Abs(got-want) > 1e-9 || got > 1/rho {
			t.Errorf("%d like readings count as %.6f, want %.6f", m, got, want)
		}
	}
	e := groupOf(t, rho, rows)
	if got := moved(t, e, "abnormal", same...)[0]; got > math.Log(0.15/0.05) || got < one {
		t.Errorf("ten repeats move by %.4f, one by %.4f, the book allows %.4f", got, one, math.Log(3))
	}
	if p := e.chance[0]; p > 0.9 {
		t.Errorf("ten repeats of a reading of likelihood ratio three leave chance %.3f", p)
	}
}

// However readings agree, what they say of a fault together is not above 1/rho of
// what the strongest says of any.
func TestSharesOfAgreeingReadings(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		rho := rapid.Float64Range(0.05, 1).Draw(r, "rho")
		var rows []map[string]float64
		var all []int
		for i := range rapid.IntRange(1, 6).Draw(r, "n") {
			rows = append(rows, map[string]float64{"a": rapid.Float64Range(0.06, 0.95).Draw(r, "a"), "b": rapid.Float64Range(0.06, 0.95).Draw(r, "b")})
			all = append(all, i)
		}
		strongest := 0.0
		for i := range rows {
			one := moved(t, groupOf(t, rho, rows), "abnormal", i)
			strongest = math.Max(strongest, math.Max(one[0], one[1]))
		}
		got := moved(t, groupOf(t, rho, rows), "abnormal", all...)
		if m := float64(len(rows)) / (1 + float64(len(rows)-1)*rho); got[0] > m*strongest+1e-6 || got[1] > m*strongest+1e-6 || m > 1/rho+1e-9 && len(rows) > 1 {
			r.Fatalf("%g and %g in all, the strongest says %g, rho %g", got[0], got[1], strongest, rho)
		}
	})
}

// For and against weigh alike, however loud.
func TestOpposedReadingsWeighAlike(t *testing.T) {
	rows := []map[string]float64{{"a": 0.95}, {"a": 0.005}} // for; against: a tenth of what a sound part gives
	e := groupOf(t, 0.5, rows)
	moved(t, e, "abnormal", 0, 1)
	if a, b := e.slots[0].top, e.slots[1].top; e.slots[1].ln[0] > -opposed || a != b {
		t.Errorf("ln %.2f and %.2f share as %.4f and %.4f", e.slots[0].ln[0], e.slots[1].ln[0], a, b)
	}
}
