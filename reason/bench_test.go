package reason

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/vehicle"
)

// bigInstance makes a book of n faults and tests, each test bearing on k faults
// drawn at random; k >= n makes tests that bear on all (a road test). It is made
// for speed, not for sense.
func bigInstance(tb testing.TB, n, tests, k int) *book.Instance {
	tb.Helper()
	rng := rand.New(rand.NewPCG(uint64(n), uint64(k)))
	num := func(v float64) book.Num { return book.Num{Value: v, Source: "made up"} }
	b := &book.Book{ID: "big", Symptoms: map[string]string{"s": "s"}, Settings: book.Settings{Unreliable: num(0.02)}}
	for i := range n {
		id := fmt.Sprintf("fault%03d", i)
		b.Components = append(b.Components, book.Component{ID: "c" + id, Name: id, Per: "engine"})
		b.Faults = append(b.Faults, book.Fault{ID: id, Component: "c" + id, Name: id, Rate: num(0.1 / float64(n)), Complaint: map[string]book.Num{"s": num(0.2 + 0.7*rng.Float64())}})
	}
	for i := range tests {
		t := book.Test{ID: fmt.Sprintf("test%03d", i), Name: "t", Per: "engine", Minutes: book.Minutes{Easy: num(5 + 20*rng.Float64())},
			Outcomes: []book.Outcome{{ID: "normal", Normal: true}, {ID: "high", Proves: true}, {ID: "low", Proves: true}},
			Healthy:  book.Row{P: map[string]float64{"normal": .94, "high": .03, "low": .03}}, Given: map[string]book.Row{}}
		for x, f := range rng.Perm(n)[:min(k, n)] {
			p := 0.5 + 0.45*rng.Float64()
			id := b.Faults[f].ID
			t.Given[id] = book.Row{P: map[string]float64{[]string{"high", "low"}[x%2]: p}}
			if x < 2 {
				t.Direct = append(t.Direct, id)
			}
		}
		b.Tests = append(b.Tests, t)
	}
	in, err := book.Instantiate(vehicle.Engine{Cylinders: 4, Fuel: "petrol"}, b)
	if err != nil {
		tb.Fatal(err)
	}
	return in
}

func bigEngine(tb testing.TB, n, bound, tests, k, readings int) *Engine {
	tb.Helper()
	e, err := NewEngine(Case{Instance: bigInstance(tb, n, tests, k), Symptoms: []string{"s"}}, Options{MaxFaults: bound})
	if err != nil {
		tb.Fatal(err)
	}
	for i := range readings {
		f := bigFinding(i)
		if err := e.Add(f); err != nil {
			tb.Fatal(err)
		}
	}
	return e
}

func bigFinding(i int) evidence.Finding {
	return evidence.Finding{ID: fmt.Sprint("f", i), Test: fmt.Sprintf("test%03d", i), Subject: evidence.WholeEngine, Outcome: []string{"normal", "normal", "high"}[i%3]}
}

// addAndUndo measures a reading added with all marginals, and taken back with
// all marginals, in turn.
func addAndUndo(b *testing.B, n, bound, k int) { addAndUndoOf(b, n, bound, k, "normal") }

func addAndUndoOf(b *testing.B, n, bound, k int, outcome string) {
	e := bigEngine(b, n, bound, 150, k, 25)
	f := bigFinding(30)
	f.Outcome = outcome
	if err := e.Add(f); err != nil { // makes the slot
		b.Fatal(err)
	}
	if _, err := e.Undo(); err != nil {
		b.Fatal(err)
	}
	b.Run("added", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if err := e.Add(f); err != nil {
				b.Fatal(err)
			}
			b.StopTimer()
			e.Undo()
			b.StartTimer()
		}
	})
	b.Run("undone", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			b.StopTimer()
			if err := e.Add(f); err != nil {
				b.Fatal(err)
			}
			b.StartTimer()
			if _, err := e.Undo(); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// Asked (DECISIONS, Figures): 300 faults with triples 10 ms added, 20 ms undone.
func BenchmarkReading300Triples(b *testing.B) { addAndUndo(b, 300, 3, 20) }

// Asked: 200 faults with pairs 1 ms added.
func BenchmarkReading200Pairs(b *testing.B) { addAndUndo(b, 200, 2, 20) }

// A road test or power balance bears on all faults.
func BenchmarkReading300TriplesRoadTest(b *testing.B) { addAndUndo(b, 300, 3, 300) }

// The same with one of two abnormal outcomes, whose likelihood is no longer linear.
func BenchmarkReading300TriplesRoadTestAbnormal(b *testing.B) { addAndUndoOf(b, 300, 3, 300, "high") }

// A road test correlated with another: both factors change. Asked: 100 ms.
func BenchmarkReading300TriplesRoadTestCorrelated(b *testing.B) {
	in := bigInstance(b, 300, 150, 300)
	in.Tests[29].Test.Group, in.Tests[30].Test.Group = "road", "road"
	e, err := NewEngine(Case{Instance: in, Symptoms: []string{"s"}}, Options{})
	if err != nil {
		b.Fatal(err)
	}
	if err := e.Add(bigFinding(29)); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		if err := e.Add(bigFinding(30)); err != nil {
			b.Fatal(err)
		}
		b.StopTimer()
		e.Undo()
		b.StartTimer()
	}
}

func ranking(b *testing.B, n, bound, k int) {
	e := bigEngine(b, n, bound, 150, k, 12)
	e.doubtNow = 4
	r := e.newRepairer()
	b.ReportAllocs()
	for b.Loop() {
		cands, _ := e.candidates()
		if err := e.rank(cands, r); err != nil {
			b.Fatal(err)
		}
		e.best(cands)
	}
}

// Asked: 100 ms for one step over 150 tests.
func BenchmarkRank300Triples(b *testing.B)         { ranking(b, 300, 3, 20) }
func BenchmarkRank300TriplesRoadTest(b *testing.B) { ranking(b, 300, 3, 300) }

// Asked: 10 ms.
func BenchmarkRank200Pairs(b *testing.B) { ranking(b, 200, 2, 20) }

// Asked: 1 s for two steps.
func BenchmarkLookAhead300Triples(b *testing.B) {
	e := bigEngine(b, 300, 3, 150, 20, 12)
	e.doubtNow = 4
	r := e.newRepairer()
	cands, _ := e.candidates()
	if err := e.rank(cands, r); err != nil {
		b.Fatal(err)
	}
	cands = e.best(cands)
	for b.Loop() {
		if err := e.lookAhead(cands, r); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkGrowth shows how time grows with the number of faults.
func BenchmarkGrowth(b *testing.B) {
	for _, n := range []int{25, 50, 100, 200, 300, 400} {
		e := bigEngine(b, n, 3, 40, 20, 12)
		f := bigFinding(30)
		b.Run(fmt.Sprint("faults ", n), func(b *testing.B) {
			for b.Loop() {
				if err := e.Add(f); err != nil {
					b.Fatal(err)
				}
				if _, err := e.Undo(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkAnswer is a whole answer on the bay book, as a job asks for it.
func BenchmarkAnswer(b *testing.B) {
	e, err := NewEngine(bayCase(b), Options{})
	if err != nil {
		b.Fatal(err)
	}
	for _, f := range []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "burn_time", 3, "abnormal"), said("f3", "balance", 3, "normal")} {
		if err := e.Add(f); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		if _, err := e.Answer(); err != nil {
			b.Fatal(err)
		}
	}
}

// The hot path allocates nothing once its slot is there.
func TestHotPathAllocatesNothing(t *testing.T) {
	e := bigEngine(t, 40, 3, 40, 10, 12)
	f := bigFinding(30)
	e.Add(f)
	e.Undo()
	if n := testing.AllocsPerRun(20, func() {
		e.Add(f)
		e.Undo()
	}); n > 0 {
		t.Errorf("a reading added and taken back allocates %g times", n)
	}
}

// An open job of 300 faults stays within 100 MB (DECISIONS, Figures).
func TestMemoryOf300Faults(t *testing.T) {
	in := bigInstance(t, 300, 150, 20)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	e, err := NewEngine(Case{Instance: in, Symptoms: []string{"s"}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	e.predictor()
	runtime.GC()
	runtime.ReadMemStats(&after)
	mb := float64(after.HeapAlloc-before.HeapAlloc) / 1e6
	runtime.KeepAlive(e)
	if mb < 30 || mb > 100 {
		t.Errorf("the engine holds %.0f MB", mb)
	} else {
		t.Logf("%.0f MB", mb)
	}
}
