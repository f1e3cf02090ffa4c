package procedure

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"sort"
	"strings"

	"proveout/strict"
)

//go:embed data/*.yaml
var shipped embed.FS

// Shipped lists the ids of the procedures that come with the program.
func Shipped() []string {
	names, err := fs.Glob(shipped, "data/*.yaml")
	if err != nil {
		panic("procedure: " + err.Error()) // the pattern is a constant
	}
	var out []string
	for _, n := range names {
		out = append(out, strings.TrimSuffix(path.Base(n), ".yaml"))
	}
	sort.Strings(out)
	return out
}

// ShippedText gives the file of a shipped procedure as it is written.
func ShippedText(id string) ([]byte, error) {
	if strings.ContainsAny(id, "/\\.") {
		return nil, fmt.Errorf("procedure %q is not a name", id)
	}
	b, err := shipped.ReadFile("data/" + id + ".yaml")
	if err != nil {
		return nil, fmt.Errorf("there is no procedure %q; there are: %s", id, strings.Join(Shipped(), ", "))
	}
	return b, nil
}

// LoadShipped loads a shipped procedure.
func LoadShipped(id string) (*Machine, []strict.Problem, error) {
	b, err := ShippedText(id)
	if err != nil {
		return nil, nil, err
	}
	m, ps := Load(id+".yaml", b)
	if m == nil {
		var lines []string
		for _, p := range strict.Errors(ps) {
			lines = append(lines, p.String())
		}
		return nil, ps, fmt.Errorf("procedure %s does not load:\n%s", id, strings.Join(lines, "\n"))
	}
	return m, ps, nil
}
