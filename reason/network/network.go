// Package network holds small discrete Bayes networks, answered by enumeration:
// exact, slow, and simple enough to be believed. It checks the measure of
// conflict that package reason uses against the published Asia network.
package network

import (
	"fmt"
	"math"
)

// Node is a variable with its states; Table[r][s] is P(state s | parents in
// combination r), where the last parent turns fastest.
type Node struct {
	Name    string
	States  []string
	Parents []int
	Table   [][]float64
}

// Network lists nodes, parents before children.
type Network []Node

// Evidence gives the state of some variables by name.
type Evidence map[string]string

// states resolves evidence to state numbers, -1 for unknown.
func (n Network) states(e Evidence) ([]int, error) {
	out := make([]int, len(n))
	used := 0
	for i, node := range n {
		out[i] = -1
		want, ok := e[node.Name]
		if !ok {
			continue
		}
		used++
		for s, name := range node.States {
			if name == want {
				out[i] = s
			}
		}
		if out[i] < 0 {
			return nil, fmt.Errorf("%s has no state %q; it has %v", node.Name, want, node.States)
		}
	}
	if used != len(e) {
		return nil, fmt.Errorf("evidence %v names a variable that the network lacks", e)
	}
	return out, nil
}

// Judge gives P(evidence) and the marginals of all variables given it. Marginals
// are nil when the evidence is impossible.
func (n Network) Judge(e Evidence) (pe float64, marginals [][]float64, err error) {
	given, err := n.states(e)
	if err != nil {
		return 0, nil, err
	}
	sums := make([][]float64, len(n))
	for i := range n {
		sums[i] = make([]float64, len(n[i].States))
	}
	at := make([]int, len(n))
	var walk func(i int, p float64)
	walk = func(i int, p float64) {
		if p == 0 {
			return
		}
		if i == len(n) {
			pe += p
			for k, s := range at {
				sums[k][s] += p
			}
			return
		}
		r := 0
		for _, q := range n[i].Parents {
			r = r*len(n[q].States) + at[q]
		}
		for s := range n[i].States {
			if given[i] >= 0 && given[i] != s {
				continue
			}
			at[i] = s
			walk(i+1, p*n[i].Table[r][s])
		}
	}
	walk(0, 1)
	if pe == 0 {
		return 0, nil, nil
	}
	for i := range sums {
		for s := range sums[i] {
			sums[i][s] /= pe
		}
	}
	return pe, sums, nil
}

// Conflict is log2( prod P(e_i) / P(e) ): above zero the pieces of evidence
// speak against each other (Jensen, Chamberlain, Nordahl & Jensen 1990).
func (n Network) Conflict(e Evidence) (float64, error) {
	pe, _, err := n.Judge(e)
	if err != nil {
		return 0, err
	}
	c := -math.Log2(pe)
	for _, node := range n {
		if s, ok := e[node.Name]; ok {
			p, _, err := n.Judge(Evidence{node.Name: s})
			if err != nil {
				return 0, err
			}
			c += math.Log2(p)
		}
	}
	return c, nil
}
