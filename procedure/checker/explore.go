package checker

import (
	"proveout/procedure"
)

// graph holds the explored states, their first parents, and all transitions.
type graph struct {
	states []procedure.State
	parent []int32
	by     []procedure.Event // the event that led here from parent
	table  []int32           // open addressing, index+1
	mask   uint64
	// edges in compressed rows: targets of state i are to[row[i]:row[i+1]].
	row   []uint32
	to    []int32
	quiet []bool // the edge belongs to stopping and making safe
}

func hash(s *procedure.State) uint64 {
	h := uint64(0x9E3779B97F4A7C15)
	for _, w := range s {
		h ^= w
		h *= 0xff51afd7ed558ccd
		h ^= h >> 32
	}
	return h
}

func newGraph() *graph {
	g := &graph{}
	g.grow(1 << 12)
	return g
}

func (g *graph) grow(n int) {
	g.table = make([]int32, n)
	g.mask = uint64(n - 1)
	for i := range g.states {
		h := hash(&g.states[i])
		for g.table[h&g.mask] != 0 {
			h++
		}
		g.table[h&g.mask] = int32(i + 1)
	}
}

// add gives the index of a state and whether it is new.
func (g *graph) add(s procedure.State, parent int32, by procedure.Event) (int32, bool) {
	h := hash(&s)
	for {
		i := g.table[h&g.mask]
		if i == 0 {
			break
		}
		if g.states[i-1] == s {
			return i - 1, false
		}
		h++
	}
	i := int32(len(g.states))
	g.states = append(g.states, s)
	g.parent = append(g.parent, parent)
	g.by = append(g.by, by)
	g.table[h&g.mask] = i + 1
	if uint64(len(g.states))*2 > g.mask {
		g.grow(len(g.table) * 2)
	}
	return i, true
}

// story lists the events from the beginning to state i.
func (g *graph) story(i int32) []procedure.Event {
	var rev []procedure.Event
	for g.parent[i] >= 0 {
		rev = append(rev, g.by[i])
		i = g.parent[i]
	}
	out := make([]procedure.Event, len(rev))
	for k, e := range rev {
		out[len(rev)-1-k] = e
	}
	return out
}

// reaches marks every state from which a goal can be reached, over all edges or
// over the quiet ones only.
func (g *graph) reaches(goal func(i int) bool, quietOnly bool) []bool {
	n := len(g.states)
	count := make([]uint32, n+1)
	for e, t := range g.to {
		if !quietOnly || g.quiet[e] {
			count[t+1]++
		}
	}
	for i := 0; i < n; i++ {
		count[i+1] += count[i]
	}
	from := make([]int32, count[n])
	fill := append([]uint32{}, count...)
	for i := 0; i < n; i++ {
		for e := g.row[i]; e < g.row[i+1]; e++ {
			if !quietOnly || g.quiet[e] {
				t := g.to[e]
				from[fill[t]] = int32(i)
				fill[t]++
			}
		}
	}
	ok := make([]bool, n)
	var queue []int32
	for i := 0; i < n; i++ {
		if goal(i) {
			ok[i] = true
			queue = append(queue, int32(i))
		}
	}
	for len(queue) > 0 {
		i := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		for k := count[i]; k < count[i+1]; k++ {
			if j := from[k]; !ok[j] {
				ok[j] = true
				queue = append(queue, j)
			}
		}
	}
	return ok
}
