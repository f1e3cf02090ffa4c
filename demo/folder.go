package demo

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"

	"github.com/goccy/go-yaml"
)

// folder is an example's job file as plain maps: what the commands carry on.
type folder struct {
	fsys fs.FS
	file map[string]any
}

func openFolder(fsys fs.FS, name string) (*folder, error) {
	sub, err := fs.Sub(fsys, name)
	if err != nil {
		return nil, err
	}
	data, err := fs.ReadFile(sub, "job.yaml")
	if err != nil {
		return nil, err
	}
	f := &folder{fsys: sub}
	if err := yaml.Unmarshal(data, &f.file); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return f, nil
}

// form gives a part of the job file as JSON, without the fields named.
func (f *folder) form(name string, without ...string) (json.RawMessage, error) {
	m, ok := f.file[name].(map[string]any)
	if !ok {
		return nil, nil
	}
	return formOf(m, without...)
}

func formOf(m map[string]any, without ...string) (json.RawMessage, error) {
	m = maps.Clone(m)
	for _, w := range without {
		delete(m, w)
	}
	body, err := json.Marshal(plain(m))
	if err != nil {
		return nil, fmt.Errorf("a form of the job file: %w", err)
	}
	return body, nil
}

// plain turns maps with other keys than text (cylinder numbers) into maps of text.
func plain(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for k := range v {
			v[k] = plain(v[k])
		}
		return v
	case map[any]any:
		out := map[string]any{}
		for k, e := range v {
			out[fmt.Sprint(k)] = plain(e)
		}
		return out
	case []any:
		for i := range v {
			v[i] = plain(v[i])
		}
		return v
	}
	return v
}

// list gives the entries of a list of the job file.
func (f *folder) list(name string) []map[string]any {
	items, _ := f.file[name].([]any)
	var out []map[string]any
	for _, it := range items {
		if m, ok := it.(map[string]any); ok {
			out = append(out, m)
		}
	}
	return out
}

// forms gives the entries of a list as JSON.
func (f *folder) forms(name string) ([]json.RawMessage, error) {
	var out []json.RawMessage
	for _, m := range f.list(name) {
		form, err := formOf(m)
		if err != nil {
			return nil, err
		}
		out = append(out, form)
	}
	return out, nil
}

// captureFiles are the files that a capture's pattern names, in order.
func (f *folder) captureFiles(pattern string) ([]string, error) {
	names, err := fs.Glob(f.fsys, pattern)
	if err == nil && len(names) == 0 {
		err = fmt.Errorf("no file fits %s", pattern)
	}
	slices.Sort(names)
	return names, err
}

func (f *folder) word(part, name string) string {
	m, _ := f.file[part].(map[string]any)
	s, _ := m[name].(string)
	return s
}

func base(name string) string { return path.Base(name) }
