package vehicle

import (
	"fmt"
	"slices"
)

// Ignition is how the spark is made and shared out.
type Ignition string

// The ignition layouts a fault book may ask for.
const (
	CoilOnPlug  Ignition = "coil_on_plug"
	WasteSpark  Ignition = "waste_spark"
	Distributor Ignition = "distributor"
	NoIgnition  Ignition = "none" // compression ignition
)

// Injection is where the fuel goes in.
type Injection string

// The injection layouts a fault book may ask for.
const (
	Port   Injection = "port"
	Direct Injection = "direct"
)

// MostCylinders is the most an engine may have (our choice: road vehicles end there).
const MostCylinders = 16

// Engine is the layout of one engine.
type Engine struct {
	Cylinders     int
	Arrangement   string // inline, vee, flat
	BankOf        []int  // BankOf[c-1] is the bank (1 or 2) of cylinder c
	FiringOrder   []int  // cylinder numbers in firing order; empty if unknown
	OrderAssumed  bool   // FiringOrder is a usual one, taken because none was given: good for coil pairs only
	Ignition      Ignition
	Injection     Injection
	Boosted       bool
	Fuel          string // petrol, diesel, lpg, cng, ethanol
	DisplacementL float64
	Access        string // easy or buried: how hard plugs and coils are to reach
}

// Validate says in one sentence what is wrong with the layout, or nil.
func (e Engine) Validate() error {
	if e.Cylinders < 1 || e.Cylinders > MostCylinders {
		return fmt.Errorf("engine has %d cylinders; write a number from 1 to %d", e.Cylinders, MostCylinders)
	}
	if len(e.BankOf) != 0 && len(e.BankOf) != e.Cylinders {
		return fmt.Errorf("banks name %d cylinders, the engine has %d", len(e.BankOf), e.Cylinders)
	}
	for i, b := range e.BankOf {
		if b < 1 || b > 4 {
			return fmt.Errorf("cylinder %d is put on bank %d; banks are numbered from 1", i+1, b)
		}
	}
	if len(e.FiringOrder) != 0 {
		seen := slices.Clone(e.FiringOrder)
		slices.Sort(seen)
		for i, c := range seen {
			if c != i+1 || len(seen) != e.Cylinders {
				return fmt.Errorf("firing order %v must name each of cylinders 1 to %d once", e.FiringOrder, e.Cylinders)
			}
		}
	}
	return nil
}

// Bank gives the bank of a cylinder; an engine without a bank table has one bank.
func (e Engine) Bank(cylinder int) int {
	if cylinder >= 1 && cylinder <= len(e.BankOf) {
		return e.BankOf[cylinder-1]
	}
	return 1
}

// Banks is the number of banks.
func (e Engine) Banks() int {
	n := 1
	for _, b := range e.BankOf {
		n = max(n, b)
	}
	return n
}

// Companions gives the pairs of cylinders that share a waste-spark coil: those
// half a firing order apart. Nil without a firing order or with an odd count.
func (e Engine) Companions() [][2]int {
	n := len(e.FiringOrder)
	if n == 0 || n%2 != 0 {
		return nil
	}
	var out [][2]int
	for i := 0; i < n/2; i++ {
		a, b := e.FiringOrder[i], e.FiringOrder[i+n/2]
		out = append(out, [2]int{min(a, b), max(a, b)})
	}
	slices.SortFunc(out, func(x, y [2]int) int { return x[0] - y[0] })
	return out
}

// Neighbours gives the pairs of cylinders that stand next to each other on one
// bank, where a head gasket can open between them. Cylinders of a bank are
// taken in number order, which holds for every numbering in common use.
func (e Engine) Neighbours() [][2]int {
	var out [][2]int
	last := map[int]int{}
	for c := 1; c <= e.Cylinders; c++ {
		b := e.Bank(c)
		if p, ok := last[b]; ok {
			out = append(out, [2]int{p, c})
		}
		last[b] = c
	}
	return out
}

// FiringsPerRevolution is cylinders/2: each cylinder of a four-stroke engine
// fires once in two revolutions (trade.md section 0, DER).
func (e Engine) FiringsPerRevolution() float64 { return float64(e.Cylinders) / 2 }
