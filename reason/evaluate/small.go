package evaluate

import (
	"fmt"
	"math"
	"math/rand/v2"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason"
	"proveout/reason/plan"
	"proveout/vehicle"
)

// SmallBook writes a sequencing problem as a fault book: one fault for each
// state, perfect yes/no tests, costs as minutes. It is small enough for the best
// plan to be known exactly.
func SmallBook(q plan.Sequencing) (*book.Instance, error) {
	num := func(v float64) book.Num { return book.Num{Value: v, Source: "given"} }
	b := &book.Book{ID: "small", Symptoms: map[string]string{"s": "s"}, Settings: book.Settings{NothingWrong: num(1e-6), NotListed: num(1e-6), Unreliable: num(1e-8)}}
	for s, p := range q.P {
		id := fmt.Sprintf("state%d", s)
		b.Components = append(b.Components, book.Component{ID: id, Name: id, Per: "engine"})
		b.Faults = append(b.Faults, book.Fault{ID: id, Component: id, Name: id, Rate: num(p * 1e-3), Complaint: map[string]book.Num{"s": num(0.9)}})
	}
	for t, c := range q.Cost {
		x := book.Test{ID: fmt.Sprintf("t%d", t), Name: fmt.Sprintf("t%d", t), Per: "engine", Minutes: book.Minutes{Easy: num(c)}, Static: true,
			Outcomes: []book.Outcome{{ID: "no", Text: "no", Normal: true}, {ID: "yes", Text: "yes"}}, Healthy: book.Row{P: map[string]float64{"no": 1 - 1e-7, "yes": 1e-7}}, Given: map[string]book.Row{}}
		for s := range q.P {
			if q.Signature[s][t] != 0 {
				x.Given[fmt.Sprintf("state%d", s)] = book.Row{P: map[string]float64{"no": 1e-7, "yes": 1 - 1e-7}}
			}
		}
		b.Tests = append(b.Tests, x)
	}
	return book.Instantiate(vehicle.Engine{Cylinders: 4, Fuel: "petrol"}, b)
}

// AdviceCost is the expected minutes until one state is left when each
// next test is the tool's first.
func AdviceCost(q plan.Sequencing, o reason.Options) (float64, error) {
	in, err := SmallBook(q)
	if err != nil {
		return 0, err
	}
	l := reason.DefaultLimits()
	l.NotListedFloor, l.GroupRatio, l.SuspectedAt = 1e-6, 1e-3, 1e-3
	o.Limits, o.MaxFaults, o.Tests = &l, 1, 8
	total := 0.0
	for s, p := range q.P {
		e, err := reason.NewEngine(reason.Case{Instance: in, Symptoms: []string{"s"}}, o)
		if err != nil {
			return 0, err
		}
		for range len(q.Cost) + 1 {
			a, err := e.Answer()
			if err != nil {
				return 0, err
			}
			if a.Suspects[1].Chance < 2e-3 || len(a.Next) == 0 {
				break
			}
			n := a.Next[0]
			total += p * n.Minutes
			var t int
			if _, err := fmt.Sscanf(n.Test.Test.ID, "t%d", &t); err != nil {
				return 0, err
			}
			if err := e.Add(evidence.Finding{ID: n.Test.ID, Test: n.Test.Test.ID, Subject: n.Test.Subject, Outcome: []string{"no", "yes"}[min(q.Signature[s][t], 1)]}); err != nil {
				return 0, err
			}
		}
	}
	return total, nil
}

// OnSmallBooks is what the advice costs against the best plan there is.
type OnSmallBooks struct {
	Books            int
	OneStep, TwoStep float64 // mean minutes over those of the optimum
}

// AgainstOptimum plays random books of six faults and five perfect tests of
// different cost, for each of which dynamic programming knows the best plan.
func AgainstOptimum(books int, seed uint64) (OnSmallBooks, error) {
	rng := rand.New(rand.NewPCG(seed, 12))
	var one, two, best float64
	for range books {
		q := randomSequencing(rng)
		a, err := AdviceCost(q, reason.Options{Rank: reason.ByDoubt, NoLookAhead: true})
		if err != nil {
			return OnSmallBooks{}, err
		}
		b, err := AdviceCost(q, reason.Options{Rank: reason.ByDoubt})
		if err != nil {
			return OnSmallBooks{}, err
		}
		one, two, best = one+a, two+b, best+q.Optimal()
	}
	return OnSmallBooks{Books: books, OneStep: one / best, TwoStep: two / best}, nil
}

func randomSequencing(rng *rand.Rand) plan.Sequencing {
	q := plan.Sequencing{Cost: make([]float64, 5)}
	for i := range q.Cost {
		q.Cost[i] = 1 + float64(rng.IntN(20))
	}
	sum := 0.0
	for s := range 6 {
		q.P = append(q.P, math.Exp(1.5*rng.NormFloat64()))
		q.Signature = append(q.Signature, []int{s & 1, s >> 1 & 1, s >> 2 & 1, rng.IntN(2), rng.IntN(2)})
		sum += q.P[s]
	}
	for i := range q.P {
		q.P[i] /= sum
	}
	return q
}

// String says it in a line.
func (o OnSmallBooks) String() string {
	return fmt.Sprintf("minutes over the optimum by dynamic programming, %d small books: one step %.3f, two steps %.3f", o.Books, o.OneStep, o.TwoStep)
}
