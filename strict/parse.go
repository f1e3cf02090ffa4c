package strict

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits on what is read (our choice). A large fault book has about 200 kB and
// 40 000 nodes, seven deep.
const (
	MaxBytes    = 4 << 20
	MaxDepth    = 32
	MaxNodes    = 400_000 // with aliases expanded
	MaxEntries  = 2_000   // fields or list entries in one place
	MaxProblems = 200     // reported by Decode; the last says that there are more
)

// Parse reads one YAML or JSON document. The document is nil when there are
// errors of notation. An empty file is an error.
func Parse(name string, data []byte) (doc *Document, problems []Problem) {
	fail := func(line, col int, format string, args ...any) []Problem {
		p := Problem{File: name, Line: line, Column: col, Text: fmt.Sprintf(format, args...), Severity: Error}
		if line > 0 {
			p.Excerpt = excerpt(data, line, col)
		}
		return []Problem{p}
	}
	if len(data) > MaxBytes {
		return nil, fail(0, 0, "the file has %d bytes; the most that is read is %d", len(data), MaxBytes)
	}
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	if line, col, what := notText(data); what != "" {
		p := Problem{File: name, Line: line, Column: col, Text: what, Severity: Error}
		return nil, []Problem{p}
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, fail(0, 0, "the file is empty; see docs/job-folder.md or docs/fault-book.md for what it should hold")
	}
	// The parser below is somebody else's: should it panic on some input, that is
	// one unreadable file, not the end of the program.
	defer func() {
		if r := recover(); r != nil {
			doc, problems = nil, fail(0, 0, "the file cannot be read as YAML or JSON (%v); look for an unclosed quote or bracket", r)
		}
	}()
	tokens := lexer.Tokenize(string(data))
	if tk, what := tooMuch(tokens); what != "" {
		return nil, fail(tk.Position.Line, tk.Position.Column, "%s", what)
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		if e, ok := err.(interface {
			GetToken() *token.Token
			GetMessage() string
		}); ok && e.GetToken() != nil {
			pos := e.GetToken().Position
			return nil, fail(pos.Line, pos.Column, "%s", tidy(e.GetMessage(), data, pos.Line))
		}
		return nil, fail(0, 0, "%s", err.Error())
	}
	c := &converter{name: name, anchors: map[string]*Node{}, open: map[string]bool{}}
	var root *Node
	docs := 0
	for _, d := range file.Docs {
		if d.Body == nil {
			continue
		}
		if _, comment := d.Body.(*ast.CommentGroupNode); comment {
			continue
		}
		if docs++; docs > 1 {
			pos := d.Body.GetToken().Position
			return nil, fail(pos.Line, 1, "a second document starts here (after ---); write one document in a file")
		}
		root = c.node(d.Body, 1)
	}
	if root == nil {
		return nil, fail(0, 0, "the file holds nothing but comments; see docs/job-folder.md or docs/fault-book.md for what it should hold")
	}
	if len(c.problems) > 0 {
		return nil, c.problems
	}
	return &Document{Name: name, Root: root}, nil
}

// notText finds bytes that no text file has.
func notText(data []byte) (line, col int, what string) {
	if bytes.HasPrefix(data, []byte{0xff, 0xfe}) || bytes.HasPrefix(data, []byte{0xfe, 0xff}) {
		return 0, 0, "the file is in UTF-16; save it as UTF-8"
	}
	line = 1
	start := 0
	for i := 0; i < len(data); {
		b := data[i]
		if b == '\n' {
			line++
			start = i + 1
		}
		if b < 0x20 && b != '\n' && b != '\r' && b != '\t' || b == 0x7f {
			return line, utf8.RuneCount(data[start:i]) + 1, fmt.Sprintf("byte 0x%02X is no text; is this the right file? it must be YAML or JSON in UTF-8", b)
		}
		if b < utf8.RuneSelf {
			i++
			continue
		}
		r, n := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && n == 1 {
			return line, utf8.RuneCount(data[start:i]) + 1, fmt.Sprintf("byte 0x%02X is not UTF-8; save the file as UTF-8", b)
		}
		i += n
	}
	return 0, 0, ""
}

// tidy turns the parser's message into a sentence that says what to do.
func tidy(msg string, data []byte, line int) string {
	msg = strings.TrimSpace(msg)
	text := lineOf(data, line)
	switch {
	case strings.Contains(msg, "end character of double-quoted") || strings.Contains(msg, "end character of single-quoted"):
		return "a quote is opened here and never closed; close it, or put text that holds quotes into the other kind of quotes"
	case strings.Contains(msg, "cannot start any token") && strings.Contains(text, "\t"):
		return "a tab is used to indent; YAML indents with spaces only"
	case strings.Contains(msg, "mapping value is not allowed"):
		return "a second \": \" on this line; put text that holds a colon and a space into quotes"
	case strings.Contains(msg, "value is not allowed in this context"):
		return "this does not line up with what is above it; give fields of one thing the same indent"
	case strings.Contains(msg, "must be specified"):
		return "a bracket is opened before this place and not closed; close it with " + strings.ReplaceAll(strings.TrimSuffix(msg, " must be specified"), "'", "\"")
	case strings.Contains(msg, "reserved character"):
		return msg + "; put the text into quotes"
	case strings.Contains(msg, "directive"):
		return "a value may not begin with %; put it into quotes"
	}
	return msg + "; see the line below"
}

func lineOf(data []byte, line int) string {
	for i := 1; i < line; i++ {
		_, rest, ok := bytes.Cut(data, []byte("\n"))
		if !ok {
			return ""
		}
		data = rest
	}
	l, _, _ := bytes.Cut(data, []byte("\n"))
	return strings.TrimRight(string(l), "\r")
}

// excerpt is the line with a caret under the column, cut to 76 characters
// around it.
func excerpt(data []byte, line, col int) string {
	r := []rune(strings.ReplaceAll(lineOf(data, line), "\t", " "))
	if len(r) == 0 || col < 1 {
		return ""
	}
	from := 0
	if col > 60 {
		from = min(col-40, len(r))
	}
	to := min(len(r), from+76)
	return "    " + string(r[from:to]) + "\n    " + strings.Repeat(" ", max(0, min(col-1-from, to-from))) + "^"
}
