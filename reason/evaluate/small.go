package evaluate

import (
	"fmt"

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
