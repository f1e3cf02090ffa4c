package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// mayImport is the import table of ARCHITECTURE.md: the left never imports the
// right. A package that is not listed here fails the test, so that adding one
// is a decision.
var mayImport = map[string][]string{
	"unit":              {},
	"stats":             {},
	"strict":            {},
	"published":         {},
	"schema":            {},
	"vehicle":           {"unit"},
	"evidence":          {"unit", "vehicle"},
	"trace":             {"unit"},
	"timeline":          {"unit", "trace", "stats"},
	"obd/canlog":        {},
	"obd/isotp":         {"obd/canlog"},
	"obd":               {"unit", "vehicle", "obd/isotp", "obd/canlog"},
	"measure":           {"unit", "vehicle", "evidence", "trace", "stats", "obd"},
	"book":              {"unit", "vehicle", "evidence", "strict"},
	"reason":            {"reason/bay", "unit", "book", "evidence", "vehicle", "stats"},
	"reason/bay":        {"book", "vehicle"},
	"reason/evaluate":   {"reason", "reason/bay", "reason/plan", "book", "evidence", "vehicle", "stats"},
	"reason/plan":       {},
	"reason/network":    {},
	"reason/circuit":    {},
	"reason/learn":      {},
	"play":              {"evidence", "shop", "sim", "stats", "vehicle"},
	"job":               {"unit", "vehicle", "evidence", "book", "strict"},
	"intake":            {"unit", "trace", "obd/canlog"},
	"sim":               {"unit", "vehicle"},
	"procedure":         {"unit", "strict"},
	"procedure/checker": {"procedure"},
	"procedure/watch":   {"procedure", "unit"},
	"procedure/runner":  {"procedure", "procedure/watch", "unit"},
	"procedure/player":  {"procedure", "procedure/checker", "procedure/runner", "procedure/watch"},
	"procedure/table":   {"procedure", "unit"},
	"procedure/paper":   {"procedure"},
	"procedure/compare": {"procedure", "unit"},
	"store":             {"job"},
	"store/files":       {"store"},
	"store/sqlite":      {"job", "store", "store/files"},
	"store/storetest":   {"job", "store"},
	"lan":               {},
	"text":              {"unit"},
	"web":               {"unit", "vehicle", "evidence", "strict", "store", "book", "procedure", "procedure/runner", "procedure/table", "job", "shop", "proof", "figure", "report", "text", "lan"},
	"proof":             {"stats"},
	"examples":          {},
	"demo":              {"job", "shop"},
	"figure":            {},
	"report":            {"shop", "figure", "text", "unit"},
	"main":              {"cli"},
	"shop":              nil, // nil: everything but cli, web and report
	"cli":               nil,
}

func TestImportsKeepToTheTable(t *testing.T) {
	for dir, imports := range packageImports(t) {
		allowed, known := mayImport[dir]
		if !known {
			t.Errorf("package %s is not in the import table: add it here and in ARCHITECTURE.md", dir)
			continue
		}
		for _, imp := range imports {
			switch {
			case allowed == nil && dir == "shop" && (imp == "cli" || imp == "web" || imp == "report"):
				t.Errorf("shop imports %s: the left never imports the right", imp)
			case allowed == nil || imp == dir || slices.Contains(allowed, imp):
			default:
				t.Errorf("%s imports %s, which the import table does not allow", dir, imp)
			}
		}
	}
}

// TestPureCoreOpensNothing holds the rule that the core has no files, clock,
// randomness of its own, or logging.
func TestPureCoreOpensNothing(t *testing.T) {
	pure := []string{"unit", "vehicle", "evidence", "stats", "trace", "timeline", "obd", "measure", "book", "reason", "procedure", "proof", "job"}
	for _, dir := range pure {
		for _, path := range goFiles(t, dir) {
			if strings.HasSuffix(path, "_test.go") || strings.Contains(path, "/cmd/") {
				continue
			}
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
			if err != nil {
				t.Fatal(err)
			}
			for _, imp := range f.Imports {
				p := strings.Trim(imp.Path.Value, `"`)
				switch p {
				case "os", "log", "log/slog", "net", "net/http", "os/exec", "path/filepath", "math/rand", "crypto/rand":
					t.Errorf("%s imports %s: the core takes values in and gives values out", path, p)
				case "time":
					src, err := os.ReadFile(path)
					if err != nil {
						t.Fatal(err)
					}
					if regexp.MustCompile(`\btime\.(Now|Since|Sleep|After|Tick|NewTimer)\(`).Match(src) {
						t.Errorf("%s asks for the time: the clock is passed in", path)
					}
				}
			}
		}
	}
}

// TestEveryPackageIsExplainedOnce: exactly one file of a package carries the
// package comment.
func TestEveryPackageIsExplainedOnce(t *testing.T) {
	for dir := range packageImports(t) {
		if dir == "main" {
			continue
		}
		n := 0
		for _, path := range goFiles(t, dir) {
			if filepath.ToSlash(filepath.Dir(path)) != dir || strings.HasSuffix(path, "_test.go") {
				continue
			}
			f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.PackageClauseOnly|parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			if f.Doc != nil {
				n++
			}
		}
		if n != 1 {
			t.Errorf("package %s has %d package comments, want 1 (in doc.go)", dir, n)
		}
	}
}

// TestNoMachineInTheTree: no path of a machine, no registry host, no unfinished
// mark stands in a committed text file.
func TestNoMachineInTheTree(t *testing.T) {
	// In pieces, so that this file names none of them.
	bad := regexp.MustCompile("/wo" + `rk/(main|shared)|pro` + `xy\.golang|regis` + `try\.npmjs|de` + `b\.debian`)
	todo := regexp.MustCompile(`\b(TO` + `DO|FIX` + `ME|XX` + `X|HA` + `CK)\b`)
	walk(t, ".", func(path string, d fs.DirEntry) {
		switch filepath.Ext(path) {
		case ".go", ".md", ".yaml", ".yml", ".json", ".sh", ".html", ".css", ".js", "":
		default:
			return
		}
		src, err := os.ReadFile(path)
		if err != nil || len(src) > 2<<20 {
			return
		}
		if m := bad.Find(src); m != nil {
			t.Errorf("%s names a machine's path or a registry: %s", path, m)
		}
		if strings.HasSuffix(path, ".go") {
			if m := todo.Find(src); m != nil {
				t.Errorf("%s has an unfinished mark: %s", path, m)
			}
		}
	})
}

// TestFilesStayReadable: a Go file past 500 lines wants to be two.
func TestFilesStayReadable(t *testing.T) {
	walk(t, ".", func(path string, d fs.DirEntry) {
		if filepath.Ext(path) != ".go" {
			return
		}
		src, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(string(src), "\n"); n > 600 {
			t.Errorf("%s has %d lines; split it by idea", path, n)
		}
	})
}

func packageImports(t *testing.T) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, path := range goFiles(t, ".") {
		if strings.HasSuffix(path, "_test.go") || strings.Contains(filepath.ToSlash(path), "/cmd/") || strings.HasPrefix(path, "tools/") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		dir := filepath.ToSlash(filepath.Dir(path))
		if dir == "." {
			dir = "main"
		}
		if out[dir] == nil {
			out[dir] = []string{}
		}
		for _, imp := range f.Imports {
			if p, ok := strings.CutPrefix(strings.Trim(imp.Path.Value, `"`), "proveout/"); ok && !slices.Contains(out[dir], p) {
				out[dir] = append(out[dir], p)
			}
		}
	}
	return out
}

func goFiles(t *testing.T, dir string) []string {
	t.Helper()
	var out []string
	walk(t, dir, func(path string, d fs.DirEntry) {
		if filepath.Ext(path) == ".go" {
			out = append(out, path)
		}
	})
	return out
}

func walk(t *testing.T, dir string, f func(string, fs.DirEntry)) {
	t.Helper()
	if _, err := os.Stat(dir); err != nil {
		return
	}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == ".git" || d.Name() == "node_modules") {
			return filepath.SkipDir
		}
		if !d.IsDir() {
			f(filepath.ToSlash(path), d)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
