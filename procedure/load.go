package procedure

import (
	"fmt"
	"strings"

	"proveout/strict"
)

// Load reads a procedure and compiles it. When any problem is an error the
// machine is nil. A loaded procedure is well formed; only the checker says
// whether it may be started.
func Load(name string, data []byte) (*Machine, []strict.Problem) {
	doc, problems := strict.Parse(name, data)
	if doc == nil {
		return nil, problems
	}
	var file File
	problems = append(problems, strict.Decode(doc, doc.Root, &file)...)
	if len(strict.Errors(problems)) > 0 {
		return nil, problems
	}
	m, ps := compile(&file, doc)
	problems = append(problems, ps...)
	strict.Sort(problems)
	if len(strict.Errors(problems)) > 0 {
		return nil, problems
	}
	return m, problems
}

// Compile builds the machine of a file made by a program, such as a mutation.
// The error lists everything that does not fit.
func Compile(file *File) (*Machine, error) {
	m, ps := compile(file, &strict.Document{Name: file.ID})
	if bad := strict.Errors(ps); len(bad) > 0 {
		var lines []string
		for _, p := range bad {
			lines = append(lines, p.Text)
		}
		return nil, fmt.Errorf("procedure %s: %s", file.ID, strings.Join(lines, "; "))
	}
	return m, nil
}
