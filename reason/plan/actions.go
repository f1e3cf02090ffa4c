package plan

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// Action repairs the faults in Fixes for Cost.
type Action struct {
	Name  string
	Fixes []int
	Cost  float64
}

// OrderCost is the expected cost of doing actions in an order until the fault is
// gone, each checked at once: ECR = sum_k c_k (1 - P(fixed by an earlier one)).
func OrderCost(p []float64, actions []Action, order []int) float64 {
	fixed := make([]bool, len(p))
	left, sum := 1.0, 0.0
	for _, k := range order {
		sum += left * actions[k].Cost
		for _, f := range actions[k].Fixes {
			if !fixed[f] {
				fixed[f] = true
				left -= p[f]
			}
		}
	}
	return sum
}

// tie is the difference below which two costs count as the same.
const tie = 1e-9

// BestOrders finds the cheapest orders that repair every fault, all of them
// where several tie, in order of their indices. It tries every permutation and
// is meant for up to nine actions.
func BestOrders(p []float64, actions []Action) (cost float64, orders [][]int) {
	cost = math.Inf(1)
	var walk func(order []int, used uint)
	walk = func(order []int, used uint) {
		if repairsAll(p, actions, order) {
			c := OrderCost(p, actions, order)
			if c < cost-tie {
				cost, orders = c, nil
			}
			if c < cost+tie {
				orders = append(orders, slices.Clone(order))
			}
			return
		}
		for k := range actions {
			if used&(1<<k) == 0 {
				walk(append(order, k), used|1<<k)
			}
		}
	}
	walk(nil, 0)
	return cost, orders
}

func repairsAll(p []float64, actions []Action, order []int) bool {
	fixed := make([]bool, len(p))
	for _, k := range order {
		for _, f := range actions[k].Fixes {
			fixed[f] = true
		}
	}
	for f, ok := range fixed {
		if !ok && p[f] > 0 {
			return false
		}
	}
	return true
}

// Greedy orders actions by the chance they fix, as things stand, over their
// cost, best first; ties go to the lower index. It is optimal when each action
// fixes one fault of its own (Kadane & Simon 1977), and can be beaten when two
// actions fix the same fault.
func Greedy(p []float64, actions []Action) []int {
	fixed, used := make([]bool, len(p)), make([]bool, len(actions))
	var order []int
	for {
		best, at := 0.0, -1
		for k, a := range actions {
			gain := 0.0
			for _, f := range a.Fixes {
				if !fixed[f] {
					gain += p[f]
				}
			}
			if !used[k] && gain > 0 && gain/a.Cost > best+tie {
				best, at = gain/a.Cost, k
			}
		}
		if at < 0 {
			return order
		}
		used[at] = true
		for _, f := range actions[at].Fixes {
			fixed[f] = true
		}
		order = append(order, at)
	}
}

// Component is looked at for Observe and repaired for Repair if found faulty.
type Component struct {
	P, Observe, Repair float64
}

// ObserveRepair is the expected cost of an order of components, then a service
// call for the rest (Heckerman, Breese & Rommelse 1995):
//
//	ECR = sum_k [(1 - sum_{j<k} p_j) Observe_k + p_k Repair_k] + (1 - sum p) service.
func ObserveRepair(cs []Component, order []int, service float64) float64 {
	left, sum := 1.0, 0.0
	for _, k := range order {
		sum += left*cs[k].Observe + cs[k].P*cs[k].Repair
		left -= cs[k].P
	}
	return sum + math.Max(0, left)*service
}

// BestObserveRepair finds the cheapest choice of components to look at, in order
// of P/Observe, before a service call for the rest; a service cost of +Inf asks
// for all. It tries every subset and is meant for up to 15 components. (Trying
// only prefixes of the order of all components can miss the best: a cheap but
// unlikely one may be worth leaving to the service.)
func BestObserveRepair(cs []Component, service float64) (cost float64, order []int) {
	all := make([]int, len(cs))
	for i := range all {
		all[i] = i
	}
	slices.SortStableFunc(all, func(a, b int) int {
		return cmp.Compare(cs[b].P/cs[b].Observe, cs[a].P/cs[a].Observe)
	})
	if math.IsInf(service, 1) {
		return ObserveRepair(cs, all, 0), all
	}
	cost = math.Inf(1)
	for set := range 1 << len(all) {
		var some []int
		for x, k := range all {
			if set>>x&1 == 1 {
				some = append(some, k)
			}
		}
		if c := ObserveRepair(cs, some, service); c < cost-tie {
			cost, order = c, some
		}
	}
	return cost, order
}

// Postponed finds the cheapest plan of single-fault repairs in blocks, with one
// system check of cost check after each block: everything in a block is paid
// before it is known whether the fault is gone.
func Postponed(p, cost []float64, check float64) (best float64, blocks [][]int) {
	n := len(p)
	all := 1<<n - 1
	value, choice := make([]float64, all+1), make([]int, all+1)
	for done := all; done >= 0; done-- {
		if done == all {
			continue
		}
		left := 0.0
		for i := range n {
			if done&(1<<i) == 0 {
				left += p[i]
			}
		}
		rest := all &^ done
		value[done] = math.Inf(1)
		for b := rest; b > 0; b = (b - 1) & rest {
			c := check
			for i := range n {
				if b&(1<<i) != 0 {
					c += cost[i]
				}
			}
			if v := left*c + value[done|b]; v < value[done]-tie {
				value[done], choice[done] = v, b
			}
		}
	}
	for done := 0; done != all; done |= choice[done] {
		var block []int
		for b := choice[done]; b != 0; b &= b - 1 {
			block = append(block, bits.TrailingZeros(uint(b)))
		}
		blocks = append(blocks, block)
	}
	return value[0], blocks
}
