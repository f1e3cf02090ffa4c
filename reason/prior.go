package reason

import (
	"fmt"
	"math"
	"sort"

	"proveout/book"
)

// prior is what is known of each suspect before any finding, item by item.
type prior struct {
	lnOdds []float64  // base rate and context
	base   []float64  // base odds
	facts  [][]Moved  // context factors of each suspect
	facto  []*factor  // one for each symptom
	tail   float64    // chance of more faults at once than the bound, given the complaint
	share  [2]float64 // prior shares of nothing wrong, not listed
}

// newPrior lays the prior down in an empty field: odds, complaint, and the two
// hypotheses outside the list.
//
//	w(S) = prod odds_i * prod_facts times * prod_symptoms P(symptom | S)^e
//
// with P(symptom | S) = 1 - (1-leak) prod (1 - q_i), and e = 1/(1+(m-1) rho)
// for the m symptoms of one complaint.
func (m *model) newPrior(w *field, c *Case) *prior {
	n := len(m.in.Suspects)
	p := &prior{lnOdds: make([]float64, n), base: make([]float64, n), facts: make([][]Moved, n)}
	held := 0
	for i := range m.in.Suspects {
		s := &m.in.Suspects[i]
		rate := s.Rate
		if !(rate > 1e-9) {
			rate = 1e-9
		}
		if rate > m.limits.MaxRate {
			rate = m.limits.MaxRate
			held++
		}
		p.base[i] = rate / (1 - rate)
		p.lnOdds[i] = math.Log(p.base[i])
		facts := append([]book.Factor(nil), s.Fault.Context...)
		sort.SliceStable(facts, func(a, b int) bool { return facts[a].Fact < facts[b].Fact })
		for _, f := range facts {
			times, source := f.Times.Value, f.Times.Source
			switch c.Facts[f.Fact] {
			case "yes":
			case "no":
				if outside(s.Fault.Only, c) {
					continue // the complaint's conditions say it already
				}
				fact := m.in.Fact(f.Fact)
				times, source = fact.No(times), fact.Share.Source
			default: // asked and unknown stays unknown
				continue
			}
			if !(times > 0) || times == 1 {
				continue
			}
			p.facts[i] = append(p.facts[i], Moved{Finding: "fact:" + f.Fact, Factor: times, Source: source})
			p.lnOdds[i] += math.Log(times)
		}
		w.a[i] += p.lnOdds[i]
	}
	if held > 0 {
		m.notes = append(m.notes, fmt.Sprintf("%d suspects have a prior rate above %s and were held at it", held, percent(m.limits.MaxRate)))
	}
	known := 0
	for _, sym := range c.Symptoms {
		f := &factor{or: true, p0: 1 - m.limits.Leak, none: m.limits.Leak, other: m.limits.Leak, least: m.limits.Leak, most: 1, exponent: 1}
		for i := range m.in.Suspects {
			fault := m.in.Suspects[i].Fault
			q := math.Min(fault.Complaint[sym].Value, 0.9999)
			if !(q > 0) {
				continue
			}
			if outside(fault.Only, c) {
				q *= m.limits.OnlyMismatch
			}
			f.parents = append(f.parents, parent{fault: i, keep: 1 - q, hold: 1, alone: 1 - f.p0*(1-q)})
		}
		if len(f.parents) == 0 {
			m.notes = append(m.notes, fmt.Sprintf("no fault of the books explains the symptom %q: it moves nothing", sym))
			continue
		}
		known++
		p.facto = append(p.facto, f)
	}
	for _, f := range p.facto {
		f.exponent = 1 / (1 + float64(known-1)*m.limits.RhoSymptom)
		f.put(w, 1)
	}
	w.other = math.Inf(-1)
	w.pass(false)
	// In the field everything is relative to the empty set; here the chance of the
	// complaint itself is wanted, so the constant goes back in.
	lnLeak := 0.0
	for _, f := range p.facto {
		lnLeak += f.exponent * math.Log(f.none)
	}
	after := w.z * math.Exp(w.lnRef+lnLeak)
	p.tail = tail(p.lnOdds, w.bound) / (tail(p.lnOdds, w.bound) + after)
	nothing := m.setting(func(s *book.Settings) book.Num { return s.NothingWrong }, m.limits.NothingWrong)
	other := m.setting(func(s *book.Settings) book.Num { return s.NotListed }, m.limits.NotListed)
	nothing, other = math.Min(math.Max(nothing, 1e-6), 0.9), math.Min(math.Max(other, m.limits.NotListedFloor), 0.9)
	if nothing+other > 0.95 {
		k := 0.95 / (nothing + other)
		nothing, other = nothing*k, other*k
	}
	p.share = [2]float64{nothing, other}
	sets := math.Log(w.z) + w.lnRef
	w.hasNone = true
	if len(c.Symptoms) > 0 {
		w.none = sets + math.Log(nothing/(1-nothing-other))
		w.other = sets + math.Log(other/(1-nothing-other))
	} else {
		// No complaint: nothing wrong keeps its own weight, one, the empty set.
		w.none = 0
		w.other = math.Log(other / (1 - other))
		w.other += math.Log(1 + math.Exp(sets))
	}
	return p
}

// outside reports whether a fault shows only in conditions the complaint excludes.
func outside(only string, c *Case) bool {
	switch only {
	case "hot":
		return c.Complaint.Warm == "cold"
	case "cold":
		return c.Complaint.Warm == "hot"
	case "wet":
		return c.Complaint.Wet == "dry"
	}
	return false
}

// tail is the sum of the odds products of all sets of more than bound faults:
// prod(1+o_i) - e_0 - ... - e_bound, added up term by term so that nothing
// cancels.
func tail(lnOdds []float64, bound int) float64 {
	const most = 12
	var e [most + 1]float64
	e[0] = 1
	for _, l := range lnOdds {
		o := math.Exp(math.Min(l, 50))
		for k := most; k >= 1; k-- {
			e[k] += e[k-1] * o
		}
	}
	sum := 0.0
	for k := bound + 1; k <= most; k++ {
		sum += e[k]
	}
	return sum
}
