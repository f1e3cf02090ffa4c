// Package schema holds the JSON Schemas (draft 2020-12) of Proveout's public
// formats, for editors and for programs that write job folders.
//
// job.json and book.json are made from the Go types by a test of this package,
// descriptions from their comments, and the test fails when they differ. The
// program itself reads a little more than the schemas allow (other spellings of
// words, see docs/job-folder.md) and checks much that a schema cannot say.
package schema

import (
	"embed"
	"io/fs"
	"strings"
)

//go:embed *.json
var files embed.FS

// Get gives the text of a schema by its name: "job", "book".
func Get(name string) ([]byte, bool) {
	text, err := files.ReadFile(name + ".json")
	return text, err == nil
}

// Names lists the schemas in alphabetical order.
func Names() []string {
	found, _ := fs.Glob(files, "*.json") // the pattern is sound, so there is no error
	for i, f := range found {
		found[i] = strings.TrimSuffix(f, ".json")
	}
	return found
}
