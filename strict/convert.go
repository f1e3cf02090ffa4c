package strict

import (
	"fmt"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// converter turns the parser's tree into ours and keeps what it finds wrong.
type converter struct {
	name     string
	problems []Problem
	anchors  map[string]*Node
	open     map[string]bool // anchors whose value is being read: an alias to one is a circle
	full     bool
}

func (c *converter) fail(tk *token.Token, format string, args ...any) {
	p := Problem{File: c.name, Text: fmt.Sprintf(format, args...), Severity: Error}
	if tk != nil && tk.Position != nil {
		p.Line, p.Column = tk.Position.Line, tk.Position.Column
	}
	c.problems = append(c.problems, p)
}

// node converts one node. The result is never nil; what cannot be used becomes
// Null with a problem.
func (c *converter) node(n ast.Node, depth int) *Node {
	tk := n.GetToken()
	out := &Node{}
	if tk != nil && tk.Position != nil {
		out.Line, out.Column = tk.Position.Line, max(tk.Position.Column, 1)
	}
	size := 1
	if depth > MaxDepth {
		if !c.full {
			c.fail(tk, "nested more than %d deep; nothing in this format is", MaxDepth)
		}
		c.full = true
		return out
	}
	switch n := n.(type) {
	case *ast.NullNode:
	case *ast.MappingNode:
		out.Kind = Map
		for _, v := range n.Values {
			size += c.pair(out, v, depth)
		}
		place(out)
	case *ast.MappingValueNode:
		out.Kind = Map
		size += c.pair(out, n, depth)
		place(out)
	case *ast.SequenceNode:
		out.Kind = List
		for _, v := range n.Values {
			item := c.node(v, depth+1)
			out.Items = append(out.Items, item)
			size += item.size
		}
	case *ast.LiteralNode:
		out.Kind, out.Text, out.Quoted = Scalar, n.Value.Value, true
	case *ast.StringNode:
		out.Kind, out.Text = Scalar, n.Value
		out.Quoted = tk.Type == token.SingleQuoteType || tk.Type == token.DoubleQuoteType
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		out.Kind, out.Text = Scalar, tk.Value
	case *ast.AnchorNode:
		name := n.Name.GetToken().Value
		if _, again := c.anchors[name]; again || c.open[name] {
			c.fail(tk, "anchor &%s is set twice; give each its own name", name)
			return out
		}
		c.open[name] = true
		out = c.node(n.Value, depth)
		delete(c.open, name)
		c.anchors[name] = out
		return out
	case *ast.AliasNode:
		name := n.Value.GetToken().Value
		target := c.anchors[name]
		switch {
		case c.open[name]:
			c.fail(tk, "alias *%s stands inside the very thing it names; write the value out", name)
		case target == nil:
			c.fail(tk, "alias *%s names nothing above; write the value out, or put it into quotes if the star is meant", name)
		default:
			return target
		}
	case *ast.TagNode:
		c.fail(tk, "tag %s: tags are not used in this format; leave it out", tk.Value)
	case *ast.CommentGroupNode:
	default:
		c.fail(tk, "%s is not used in this format; write fields, lists and single values", n.Type())
	}
	out.size = size
	if size > MaxNodes && !c.full {
		c.full = true
		c.fail(tk, "more than %d values once aliases are expanded; write fewer or shorter", MaxNodes)
	}
	return out
}

func (c *converter) pair(m *Node, v *ast.MappingValueNode, depth int) int {
	if v.Key.IsMergeKey() {
		c.fail(v.Key.GetToken(), "merge key <<: not used in this format; write the fields out")
		return 0
	}
	key := v.Key.GetToken()
	if k, ok := v.Key.(*ast.MappingKeyNode); ok {
		s, plain := k.Value.(ast.ScalarNode)
		if !plain {
			c.fail(key, "a field name must be a single word; write name: value")
			return 0
		}
		key = s.GetToken()
	}
	switch v.Key.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		c.fail(key, "a field name must be a single word; write name: value")
		return 0
	}
	val := c.node(v.Value, depth+1)
	m.Pairs = append(m.Pairs, Pair{Key: key.Value, Line: key.Position.Line, Column: max(key.Position.Column, 1), Value: val})
	return val.size
}

// place puts a block map at its first field: the parser gives the colon.
func place(n *Node) {
	if len(n.Pairs) > 0 && (n.Pairs[0].Line < n.Line || n.Pairs[0].Line == n.Line && n.Pairs[0].Column < n.Column) {
		n.Line, n.Column = n.Pairs[0].Line, n.Pairs[0].Column
	}
}
