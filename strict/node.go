package strict

import (
	"fmt"
	"strconv"
)

// Kind is the kind of a node.
type Kind uint8

// Kinds of node. Null is an empty value or a written null or ~.
const (
	Null Kind = iota
	Scalar
	List
	Map
)

// String names the kind as an author would.
func (k Kind) String() string {
	return [...]string{"nothing", "a single value", "a list", "fields"}[k]
}

// Node is one value of a document with its place.
type Node struct {
	Kind         Kind
	Line, Column int
	Text         string  // of a scalar, unquoted
	Quoted       bool    // the scalar stood in quotes or in a block
	Pairs        []Pair  // of a map, as written
	Items        []*Node // of a list

	size int // nodes in it, aliases expanded
}

// Pair is one field of a map.
type Pair struct {
	Key          string
	Line, Column int
	Value        *Node
}

// Document is a parsed file.
type Document struct {
	Name string
	Root *Node
}

// Get finds a field of a map; nil when it is not there or n is no map.
func (n *Node) Get(key string) *Node {
	if n == nil {
		return nil
	}
	for i := range n.Pairs {
		if n.Pairs[i].Key == key {
			return n.Pairs[i].Value
		}
	}
	return nil
}

// Find walks down by field names (string) and list positions (int). When a step
// is not there it gives the last node that is: a place near by is better than
// none. Find of a nil node is nil.
func (n *Node) Find(steps ...any) *Node {
	for _, s := range steps {
		next := n.step(s)
		if next == nil {
			return n
		}
		n = next
	}
	return n
}

// Has reports whether all the steps are there, if only as an empty value.
func (n *Node) Has(steps ...any) bool {
	for _, s := range steps {
		if n = n.step(s); n == nil {
			return false
		}
	}
	return n != nil
}

func (n *Node) step(s any) *Node {
	switch s := s.(type) {
	case string:
		return n.Get(s)
	case int:
		if n != nil && s >= 0 && s < len(n.Items) {
			return n.Items[s]
		}
	}
	return nil
}

// PathOf writes steps as a field path: tests[3].given.plug_gap_wide.
func PathOf(steps ...any) string {
	p := ""
	for _, s := range steps {
		switch s := s.(type) {
		case int:
			p += "[" + strconv.Itoa(s) + "]"
		default:
			if p != "" {
				p += "."
			}
			p += fmt.Sprint(s)
		}
	}
	return p
}

// Get gives the node at exactly these steps, nil when it is not there or the
// document is nil.
func (d *Document) Get(steps ...any) *Node {
	if d == nil || !d.Root.Has(steps...) {
		return nil
	}
	return d.Root.Find(steps...)
}

// At makes a problem at a place in the document. The nearest node that exists
// gives line and column.
func (d *Document) At(sev Severity, text string, steps ...any) Problem {
	p := Problem{File: d.Name, Path: PathOf(steps...), Text: text, Severity: sev}
	if n := d.Root.Find(steps...); n != nil {
		p.Line, p.Column = n.Line, n.Column
	}
	return p
}
