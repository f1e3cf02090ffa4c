package strict

import (
	"fmt"
	"sort"
	"strings"
)

// Severity says how much a problem weighs.
type Severity string

// An Error makes the thing it stands at unusable. A Warning is usable but
// probably not meant so. A Note states something that was filled in or is worth
// knowing.
const (
	Error   Severity = "error"
	Warning Severity = "warning"
	Note    Severity = "note"
)

// Problem is one thing that is wrong at one place. Line and Column count from
// 1, in characters; both are 0 when the problem is about the file as a whole.
type Problem struct {
	File     string   `json:"file"`
	Line     int      `json:"line,omitempty"`
	Column   int      `json:"column,omitempty"`
	Path     string   `json:"path,omitempty"` // "readings[2].value"
	Text     string   `json:"text"`           // what is wrong; what to do
	Severity Severity `json:"severity"`
	// Excerpt is the line with a caret below the place, for errors of notation.
	Excerpt string `json:"excerpt,omitempty"`
}

// String is "file:line:column: path: text", with "warning: " or "note: " before
// the text where it is not an error, and the excerpt below.
func (p Problem) String() string {
	var b strings.Builder
	b.WriteString(p.File)
	if p.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", p.Line, p.Column)
	}
	b.WriteString(": ")
	if p.Path != "" {
		b.WriteString(p.Path + ": ")
	}
	if p.Severity != Error && p.Severity != "" {
		b.WriteString(string(p.Severity) + ": ")
	}
	b.WriteString(p.Text)
	if p.Excerpt != "" {
		b.WriteString("\n" + p.Excerpt)
	}
	return b.String()
}

// Errors keeps the problems that are errors.
func Errors(ps []Problem) []Problem {
	var out []Problem
	for _, p := range ps {
		if p.Severity == Error {
			out = append(out, p)
		}
	}
	return out
}

// Sort orders problems by file, line, column, then text.
func Sort(ps []Problem) {
	sort.SliceStable(ps, func(i, j int) bool {
		a, b := ps[i], ps[j]
		switch {
		case a.File != b.File:
			return a.File < b.File
		case a.Line != b.Line:
			return a.Line < b.Line
		case a.Column != b.Column:
			return a.Column < b.Column
		case a.Path != b.Path:
			return a.Path < b.Path
		}
		return a.Text < b.Text
	})
}
