package strict

import (
	"fmt"

	"github.com/goccy/go-yaml/token"
)

// tooMuch bounds what the parser is given, before it sees it: the parser is
// recursive, and its time grows with the square of the entries in one place. It
// finds nesting deeper than MaxDepth, more than MaxEntries fields or list entries
// in one place, and a second document. Nesting by indentation costs a line for
// each step and is bounded when the tree is converted.
func tooMuch(tokens token.Tokens) (*token.Token, string) {
	var flow []int    // entries so far in each open bracket
	var block []level // open block lists and maps, by column
	line, onLine, headers := 0, 0, 0
	deep := fmt.Sprintf("nested more than %d deep; nothing in this format is", MaxDepth)
	for i, tk := range tokens {
		n := 0
		switch tk.Type {
		case token.DocumentHeaderType:
			if headers++; headers > 1 {
				return tk, "a second document starts here (---); write one document in a file"
			}
		case token.SequenceStartType, token.MappingStartType:
			if flow = append(flow, 1); len(flow) > MaxDepth {
				return tk, deep
			}
		case token.SequenceEndType, token.MappingEndType:
			if len(flow) > 0 {
				flow = flow[:len(flow)-1]
			}
		case token.CollectEntryType:
			if len(flow) > 0 {
				flow[len(flow)-1]++
				n = flow[len(flow)-1]
			}
		case token.MappingValueType:
			if len(flow) == 0 && i > 0 {
				block, n = enter(block, tokens[i-1].Position.Column, false)
			}
		case token.SequenceEntryType, token.MappingKeyType, token.AnchorType, token.TagType:
			if tk.Position.Line != line {
				line, onLine = tk.Position.Line, 0
			}
			if onLine++; onLine > MaxDepth && len(flow) == 0 {
				return tk, deep
			}
			if onLine > MaxEntries {
				return tk, "too many anchors or tags on one line"
			}
			if tk.Type == token.SequenceEntryType {
				if i+1 < len(tokens) && swallows(tk, tokens[i+1]) {
					return tk, "the entry is empty; fill it in or delete the \"-\""
				}
				block, n = enter(block, tk.Position.Column, true)
			}
		}
		if n > MaxEntries {
			return tk, fmt.Sprintf("more than %d entries in one place; nothing in this format has so many", MaxEntries)
		}
	}
	return nil, ""
}

// swallows reports whether an empty list entry stands before something at its
// own column or left of it: the parser would take that for the entry's value.
func swallows(entry, next *token.Token) bool {
	return next.Position.Line > entry.Position.Line && next.Position.Column <= entry.Position.Column && next.Type != token.SequenceEntryType &&
		next.Type != token.CommentType && next.Type != token.DocumentEndType && next.Type != token.DocumentHeaderType
}

// level is one open block list or map.
type level struct {
	column  int
	list    bool
	entries int
}

// enter counts an entry that stands at a column and gives how many its list or
// map has by now. A list may stand at the column of the field that holds it.
func enter(open []level, column int, list bool) ([]level, int) {
	for len(open) > 0 {
		top := open[len(open)-1]
		if top.column < column || top.column == column && (top.list == list || !top.list) {
			break
		}
		open = open[:len(open)-1]
	}
	if len(open) > 0 && open[len(open)-1].column == column && open[len(open)-1].list == list {
		open[len(open)-1].entries++
	} else {
		open = append(open, level{column, list, 1})
	}
	return open, open[len(open)-1].entries
}
