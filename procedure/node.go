package procedure

import (
	"fmt"
	"math/bits"
	"sort"

	"proveout/unit"
)

type nodeOp uint8

const (
	opTrue nodeOp = iota
	opAll
	opAny
	opNot
	opFact  // fact value in set
	opDone  // step done or skipped
	opMeans // step done with at least n means
	opHands
	opCommand
	opTimer
)

// node is a compiled guard.
type node struct {
	op   nodeOp
	kids []node
	f    field
	set  uint64
	idx  int
	n    int
	text string // the guard in words, for leaves
}

func (m *Machine) eval(n *node, s *State) bool {
	switch n.op {
	case opTrue:
		return true
	case opAll:
		for i := range n.kids {
			if !m.eval(&n.kids[i], s) {
				return false
			}
		}
		return true
	case opAny:
		for i := range n.kids {
			if m.eval(&n.kids[i], s) {
				return true
			}
		}
		return false
	case opNot:
		return !m.eval(&n.kids[0], s)
	case opFact:
		return n.set>>n.f.get(s)&1 == 1
	case opDone:
		return m.isDone(s, n.idx)
	case opMeans:
		st := &m.Steps[n.idx]
		// A step that is done was confirmed by one means at least; a step that has only
		// one keeps no list of them.
		return Phase(st.phase.get(s)) == Done && (n.n <= 1 || bits.OnesCount64(st.given.get(s)) >= n.n)
	case opHands:
		for _, i := range m.handSteps {
			if m.active(s, i) {
				return true
			}
		}
		return false
	case opCommand:
		return Motor(m.motor.get(s)) != Quiet
	case opTimer:
		return m.Timers[n.idx].f.get(s) == 1
	}
	return false
}

// compileGuard turns a guard into a node, or says what in it is unknown.
func (c *compiler) guard(g Guard) (node, error) {
	var kids []node
	for _, k := range g.All {
		n, err := c.guard(k)
		if err != nil {
			return node{}, err
		}
		kids = append(kids, n)
	}
	if len(g.Any) > 0 {
		any := node{op: opAny}
		for _, k := range g.Any {
			n, err := c.guard(k)
			if err != nil {
				return node{}, err
			}
			any.kids = append(any.kids, n)
		}
		kids = append(kids, any)
	}
	if g.Not != nil {
		n, err := c.guard(*g.Not)
		if err != nil {
			return node{}, err
		}
		kids = append(kids, node{op: opNot, kids: []node{n}})
	}
	for _, id := range sortedKeys(g.Facts) {
		n, err := c.factNode(id, g.Facts[id])
		if err != nil {
			return node{}, err
		}
		kids = append(kids, n)
	}
	if g.Reading != "" {
		n, err := c.readingNode(g.Reading, g.AtLeast, g.AtMost)
		if err != nil {
			return node{}, err
		}
		kids = append(kids, n)
	}
	if g.Done != "" {
		for _, id := range c.groupOf(g.Done) {
			i, ok := c.stepIndex[id]
			if !ok {
				return node{}, fmt.Errorf("condition \"done: %s\": there is no such step", g.Done)
			}
			kids = append(kids, node{op: opDone, idx: i, text: fmt.Sprintf("step %q is done", c.plain[i].ID)})
		}
	}
	if g.Confirmed != "" {
		i, ok := c.stepIndex[g.Confirmed]
		if !ok {
			return node{}, fmt.Errorf("condition \"confirmed: %s\": there is no such step", g.Confirmed)
		}
		kids = append(kids, node{op: opMeans, idx: i, n: max(g.By, 1), text: fmt.Sprintf("step %q is confirmed in %s", c.plain[i].ID, ways(max(g.By, 1)))})
	}
	if g.Elapsed != "" {
		i, ok := c.stepIndex[g.Elapsed]
		if !ok {
			return node{}, fmt.Errorf("condition \"elapsed: %s\": there is no such step", g.Elapsed)
		}
		sec, err := seconds(g.AtLeast)
		if err != nil {
			return node{}, fmt.Errorf("condition \"elapsed: %s\": %w", g.Elapsed, err)
		}
		kids = append(kids, node{op: opTimer, idx: c.timer(i, sec), text: fmt.Sprintf("at least %s have passed since step %q", g.AtLeast, g.Elapsed)})
	}
	switch g.Busy {
	case "":
	case "hands":
		kids = append(kids, node{op: opHands, text: "hands are where it moves"})
	case "command":
		kids = append(kids, node{op: opCommand, text: "a movement is under way or its rest is not over"})
	default:
		return node{}, fmt.Errorf("condition \"busy: %s\": write hands or command", g.Busy)
	}
	switch len(kids) {
	case 0:
		return node{op: opTrue}, nil
	case 1:
		return kids[0], nil
	}
	return node{op: opAll, kids: kids}, nil
}

func (c *compiler) factNode(id, values string) (node, error) {
	i, ok := c.factIndex[id]
	if !ok {
		return node{}, fmt.Errorf("fact %q is not known to this procedure or its hazard classes", id)
	}
	fact := &c.m.Facts[i]
	var set uint64
	for _, v := range splitBar(values) {
		k := indexOf(fact.Values, v)
		if k < 1 {
			return node{}, fmt.Errorf("fact %q has no value %q; it has: %v", id, v, fact.Values[1:])
		}
		set |= 1 << k
	}
	return node{op: opFact, f: fact.f, idx: i, set: set, text: fact.phrase(set)}, nil
}

func (c *compiler) readingNode(id, atLeast, atMost string) (node, error) {
	i, ok := c.factIndex["reading:"+id]
	if !ok {
		return node{}, fmt.Errorf("reading %q is not listed under readings", id)
	}
	set, err := c.bandSet(id, atLeast, atMost)
	if err != nil {
		return node{}, err
	}
	return node{op: opFact, f: c.m.Facts[i].f, idx: i, set: set, text: limitText(c.readingAsk(id), atLeast, atMost)}, nil
}

func limitText(what, atLeast, atMost string) string {
	switch {
	case atLeast != "" && atMost != "":
		return fmt.Sprintf("%s is from %s to %s", what, atLeast, atMost)
	case atLeast != "":
		return fmt.Sprintf("%s is at least %s", what, atLeast)
	case atMost != "":
		return fmt.Sprintf("%s is at most %s", what, atMost)
	}
	return what + " is known"
}

// cut is one threshold of a reading: bands lie between cuts. A value on a cut
// belongs to the band above it for at_least, below it for at_most, hence upper.
type cut struct {
	si    float64
	upper bool // at_most: the cut lies just above the value
}

func cutLess(a, b cut) bool {
	if a.si != b.si {
		return a.si < b.si
	}
	return !a.upper && b.upper
}

// addCut notes a limit used anywhere in the procedure, before bands are made.
func (c *compiler) addCut(id, limit string, upper bool) error {
	q, err := c.limit(id, limit)
	if err != nil {
		return err
	}
	k := cut{q, upper}
	for _, old := range c.cuts[id] {
		if old == k {
			return nil
		}
	}
	c.cuts[id] = append(c.cuts[id], k)
	sort.Slice(c.cuts[id], func(i, j int) bool { return cutLess(c.cuts[id][i], c.cuts[id][j]) })
	return nil
}

func (c *compiler) limit(id, limit string) (float64, error) {
	def, ok := c.readings[id]
	if !ok {
		return 0, fmt.Errorf("reading %q is not listed under readings", id)
	}
	q, err := unit.ParseQuantity(limit)
	if err != nil {
		return 0, fmt.Errorf("limit of reading %q: %w", id, err)
	}
	if q.Unit.Dim != def.Dim {
		return 0, fmt.Errorf("limit %q of reading %q is a %s; the reading is in %s", limit, id, q.Unit.Dim, def.Symbol)
	}
	return q.SI, nil
}

// bandSet gives the values (band+1) of a reading fact that meet the limits.
func (c *compiler) bandSet(id, atLeast, atMost string) (uint64, error) {
	lo, hi := -1, len(c.cuts[id])+1
	find := func(limit string, upper bool) (int, error) {
		q, err := c.limit(id, limit)
		if err != nil {
			return 0, err
		}
		for i, k := range c.cuts[id] {
			if k == (cut{q, upper}) {
				return i, nil
			}
		}
		return 0, fmt.Errorf("reading %q: limit %s was not noted", id, limit)
	}
	if atLeast != "" {
		i, err := find(atLeast, false)
		if err != nil {
			return 0, err
		}
		lo = i
	}
	if atMost != "" {
		i, err := find(atMost, true)
		if err != nil {
			return 0, err
		}
		hi = i
	}
	var set uint64
	for band := 0; band <= len(c.cuts[id]); band++ {
		if band > lo && band <= hi {
			set |= 1 << (band + 1)
		}
	}
	return set, nil
}

// bandOf gives the band of a value.
func bandOf(cuts []cut, si float64) int {
	b := 0
	for _, k := range cuts {
		if si > k.si || si == k.si && !k.upper {
			b++
		}
	}
	return b
}

func seconds(s string) (float64, error) {
	q, err := unit.ParseQuantity(s)
	if err != nil {
		return 0, err
	}
	if q.Unit.Dim != unit.Time {
		return 0, fmt.Errorf("%q is not a time; write for example \"30 s\"", s)
	}
	if q.SI < 0 {
		return 0, fmt.Errorf("%q is negative", s)
	}
	return q.SI, nil
}
