package text

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml"
)

//go:embed catalogue
var files embed.FS

// Source is the language that the others are translated from.
const Source = "en"

// languages in the order in which settings offer them, each with its own name.
var languages = []Language{{"en", "English"}, {"de", "Deutsch"}}

// Language is one that has a catalogue.
type Language struct {
	Code string // BCP 47: goes into the page's lang attribute
	Name string // in the language itself
}

// Languages lists those that have a catalogue.
func Languages() []Language { return slices.Clone(languages) }

var catalogues = mustLoad()

// mustLoad reads the embedded catalogues. They are part of the program: one that
// does not read is a fault of the build, found by the first test.
func mustLoad() map[string]map[string]string {
	out := map[string]map[string]string{}
	for _, l := range languages {
		c, err := load(files, path.Join("catalogue", l.Code))
		if err != nil {
			panic(err)
		}
		out[l.Code] = c
	}
	return out
}

// load reads the YAML files of one folder into one map. A key stands in one file
// only.
func load(fsys fs.FS, dir string) (map[string]string, error) {
	names, err := fs.Glob(fsys, dir+"/*.yaml")
	if err != nil {
		return nil, err
	}
	out, from := map[string]string{}, map[string]string{}
	for _, name := range names {
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, err
		}
		var m map[string]string
		if err := yaml.Unmarshal(data, &m); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		for k, v := range m {
			if was, twice := from[k]; twice {
				return nil, fmt.Errorf("%s: %s already stands in %s", name, k, was)
			}
			out[k], from[k] = v, name
		}
	}
	return out, nil
}

// Match chooses a language from an Accept-Language header: the first listed that
// has a catalogue. Quality values are not weighed: browsers list in order.
func Match(header string) string {
	for part := range strings.SplitSeq(header, ",") {
		tag, _, _ := strings.Cut(strings.TrimSpace(part), ";")
		base, _, _ := strings.Cut(strings.ToLower(tag), "-")
		if _, ok := catalogues[base]; ok {
			return base
		}
	}
	return Source
}

// Known reports whether a language has a catalogue.
func Known(code string) bool { _, ok := catalogues[code]; return ok }

// fill puts arguments in the places {1}, {2}, ... of a text. A place without an
// argument stays as it is, so that a mistake shows.
func fill(s string, args []string) string {
	if len(args) == 0 || !strings.Contains(s, "{") {
		return s
	}
	pairs := make([]string, 0, 2*len(args))
	for i, a := range args {
		pairs = append(pairs, "{"+strconv.Itoa(i+1)+"}", a)
	}
	return strings.NewReplacer(pairs...).Replace(s)
}
