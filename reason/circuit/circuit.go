// Package circuit is consistency-based diagnosis of small circuits after de
// Kleer & Williams 1987 (GDE) and Reiter 1987: which sets of broken components
// are consistent with what is measured, when a broken component may give any
// output, and where to measure next. It is a yardstick for the reasoning about
// several faults in package reason and carries the published examples in its
// tests.
package circuit

import (
	"math"
	"math/bits"
	"slices"
	"sort"
)

// Gate computes Out from In when it is sound. Broken, it says nothing of Out.
type Gate struct {
	Name string
	In   []string
	Out  string
	F    func(in []int) int
	// Back, if set, gives input i from the output and the other inputs (an adder);
	// ok is false when it does not follow.
	Back func(i, out int, in []int, known []bool) (v int, ok bool)
}

// Circuit is gates with known values on some lines.
type Circuit struct {
	Gates []Gate
	Known map[string]int
}

// Predict propagates what is known through the sound gates, forwards and
// backwards, given the set of broken ones (bit i for gate i). ok is false on a
// contradiction: the set is no diagnosis.
func (c *Circuit) Predict(broken uint64) (values map[string]int, ok bool) {
	values = map[string]int{}
	for k, v := range c.Known {
		values[k] = v
	}
	for changed := true; changed; {
		changed = false
		set := func(line string, v int) bool {
			if old, have := values[line]; have {
				return old == v
			}
			values[line], changed = v, true
			return true
		}
		for g := range c.Gates {
			if broken>>g&1 == 1 {
				continue
			}
			gate := &c.Gates[g]
			in, known, all := make([]int, len(gate.In)), make([]bool, len(gate.In)), true
			for i, line := range gate.In {
				in[i], known[i] = values[line], false
				if _, have := values[line]; have {
					known[i] = true
				}
				all = all && known[i]
			}
			if all && !set(gate.Out, gate.F(in)) {
				return nil, false
			}
			out, have := values[gate.Out]
			if gate.Back == nil || !have {
				continue
			}
			for i := range in {
				if known[i] {
					continue
				}
				if v, ok := gate.Back(i, out, in, known); ok && !set(gate.In[i], v) {
					return nil, false
				}
			}
		}
	}
	return values, true
}

// consistent decides exactly for circuits of gates with outputs 0 and 1: it
// tries both values for every broken output. Predict alone may overlook a
// contradiction that needs a case distinction.
func (c *Circuit) consistent(broken uint64) bool {
	var outs []string
	for g := range c.Gates {
		if broken>>g&1 == 1 {
			if _, have := c.Known[c.Gates[g].Out]; !have {
				outs = append(outs, c.Gates[g].Out)
			}
		}
	}
	for v := range 1 << len(outs) {
		d := Circuit{Gates: c.Gates, Known: map[string]int{}}
		for k, x := range c.Known {
			d.Known[k] = x
		}
		for i, line := range outs {
			d.Known[line] = v >> i & 1
		}
		if _, ok := d.Predict(broken); ok {
			return true
		}
	}
	return false
}

// Diagnoses lists the minimal sets of broken gates that are consistent, smallest
// first, each as sorted names. logic marks circuits of 0 and 1, which are decided
// exactly.
func (c *Circuit) Diagnoses(logic bool) [][]string {
	n := len(c.Gates)
	sets := make([]uint64, 0, 1<<n)
	for s := range uint64(1) << n {
		sets = append(sets, s)
	}
	sort.SliceStable(sets, func(a, b int) bool { return bits.OnesCount64(sets[a]) < bits.OnesCount64(sets[b]) })
	var minimal []uint64
	for _, s := range sets {
		if slices.ContainsFunc(minimal, func(m uint64) bool { return m&s == m }) {
			continue
		}
		if c.ok(s, logic) {
			minimal = append(minimal, s)
		}
	}
	return c.names(minimal)
}

func (c *Circuit) ok(s uint64, logic bool) bool {
	if logic {
		return c.consistent(s)
	}
	_, ok := c.Predict(s)
	return ok
}

// Conflicts lists the minimal sets of gates that cannot all be sound: the
// minimal hitting sets of the minimal diagnoses (Reiter 1987).
func (c *Circuit) Conflicts(logic bool) [][]string {
	n := len(c.Gates)
	all := uint64(1)<<n - 1
	var minimal []uint64
	var sets []uint64
	for s := range uint64(1) << n {
		sets = append(sets, s)
	}
	sort.SliceStable(sets, func(a, b int) bool { return bits.OnesCount64(sets[a]) < bits.OnesCount64(sets[b]) })
	for _, s := range sets {
		if slices.ContainsFunc(minimal, func(m uint64) bool { return m&s == m }) {
			continue
		}
		// The gates of s cannot all be sound when breaking all others does not help.
		if !c.ok(all&^s, logic) {
			minimal = append(minimal, s)
		}
	}
	return c.names(minimal)
}

func (c *Circuit) names(sets []uint64) [][]string {
	var out [][]string
	for _, s := range sets {
		var names []string
		for g := range c.Gates {
			if s>>g&1 == 1 {
				names = append(names, c.Gates[g].Name)
			}
		}
		sort.Strings(names)
		out = append(out, names)
	}
	sort.SliceStable(out, func(a, b int) bool {
		if len(out[a]) != len(out[b]) {
			return len(out[a]) < len(out[b])
		}
		return slices.Compare(out[a], out[b]) < 0
	})
	return out
}

// Odds are the chances of all consistent sets when each gate is broken with
// chance p, and a consistent set has likelihood one.
type Odds struct {
	Mass   float64 // prior mass of the consistent sets
	Sets   map[uint64]float64
	Single []float64 // marginal chance of each gate
}

// Judge weighs every consistent set.
func (c *Circuit) Judge(p float64) Odds {
	n := len(c.Gates)
	o := Odds{Sets: map[uint64]float64{}, Single: make([]float64, n)}
	for s := range uint64(1) << n {
		if _, ok := c.Predict(s); !ok {
			continue
		}
		k := bits.OnesCount64(s)
		w := math.Pow(p, float64(k)) * math.Pow(1-p, float64(n-k))
		o.Sets[s] = w
		o.Mass += w
	}
	for s, w := range o.Sets {
		o.Sets[s] = w / o.Mass
	}
	for s := range uint64(1) << n {
		for g := range n {
			if s>>g&1 == 1 {
				o.Single[g] += o.Sets[s]
			}
		}
	}
	return o
}

// Probe is what measuring a line is expected to show: the chance of each value,
// of none predicted, and the entropy -sum p ln p over the predicted values. The
// mass without a prediction is left out of the entropy; GDE's own score spreads
// it over the values the line could have.
type Probe struct {
	Line    string
	Chance  map[int]float64
	Unknown float64
	Nats    float64
}

// Probe weighs a measurement of a line.
func (c *Circuit) Probe(o Odds, line string) Probe {
	out := Probe{Line: line, Chance: map[int]float64{}}
	for s := range uint64(1) << len(c.Gates) {
		w, ok := o.Sets[s]
		if !ok {
			continue
		}
		values, _ := c.Predict(s)
		if v, have := values[line]; have {
			out.Chance[v] += w
		} else {
			out.Unknown += w
		}
	}
	var vs []int
	for v := range out.Chance {
		vs = append(vs, v)
	}
	sort.Ints(vs)
	for _, v := range vs {
		out.Nats -= out.Chance[v] * math.Log(out.Chance[v])
	}
	return out
}
