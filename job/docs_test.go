package job

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/strict"
	"proveout/unit"
)

// Every job file printed in docs/ must be taken without an error with the books
// in the program, every fault book must pass the check.
func TestDocsExamplesWork(t *testing.T) {
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	tried := 0
	for _, name := range []string{"job-folder.md", "fault-book.md"} {
		text := doc(t, name)
		for n, block := range blocks(text) {
			at := fmt.Sprintf("%s example %d", name, n+1)
			switch {
			case strings.Contains(block, SchemaID):
				tried++
				f, ps := Parse(at, []byte(block))
				if f == nil {
					t.Fatal(ps)
				}
				e, ps := f.VehicleEngine()
				chosen, more := f.ChooseBooks(books, e)
				in, err := book.Instantiate(e, chosen...)
				if err != nil {
					t.Fatal(err)
				}
				ps = append(append(ps, more...), f.Check(in)...)
				for _, p := range strict.Errors(ps) {
					t.Error(p)
				}
			case strings.Contains(block, book.SchemaID):
				tried++
				b, ps := book.Load(at, []byte(block))
				if b == nil {
					t.Fatal(ps)
				}
				for _, p := range strict.Errors(append(ps, book.Check(b)...)) {
					t.Error(p)
				}
			}
		}
	}
	if tried < 5 {
		t.Errorf("only %d examples were found", tried)
	}
}

func doc(t *testing.T, name string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("../docs", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// blocks gives the yaml examples of a page.
func blocks(page string) []string {
	var out []string
	for _, part := range strings.Split(page, "```yaml\n")[1:] {
		block, _, _ := strings.Cut(part, "```")
		out = append(out, block)
	}
	return out
}

// The lists of features and units in the page are those of the program.
func TestDocsListFeaturesAndUnits(t *testing.T) {
	var features, units strings.Builder
	features.WriteString("\n| id | what | unit | measured per |\n| --- | --- | --- | --- |\n")
	for _, f := range evidence.Catalogue() {
		fmt.Fprintf(&features, "| `%s` | %s | %s | %s |\n", f.ID, f.Name, f.Unit, f.Per)
	}
	units.WriteString("\n| of | write |\n| --- | --- |\n")
	seen := map[unit.Dimension]bool{}
	for _, s := range unit.Symbols() {
		u := unit.Must(s)
		if seen[u.Dim] {
			continue
		}
		seen[u.Dim] = true
		var all []string
		for _, v := range unit.Of(u.Dim) {
			all = append(all, "`"+v.Symbol+"`")
		}
		name := string(u.Dim)
		if u.Dim == unit.None {
			name = "ratios (may be left out)"
		}
		fmt.Fprintf(&units, "| %s | %s |\n", name, strings.Join(all, " "))
	}
	page := doc(t, "job-folder.md")
	want := between(t, between(t, page, "features", features.String()), "units", units.String())
	settle(t, "job-folder.md", page, want)
}

// between puts text between the markers of a name.
func between(t *testing.T, page, name, text string) string {
	t.Helper()
	start := strings.Index(page, "<!-- "+name+":")
	end := strings.Index(page, "<!-- /"+name+" -->")
	if start < 0 || end < start {
		t.Fatalf("the page has no place for %s", name)
	}
	start += strings.Index(page[start:], "-->") + len("-->\n")
	return page[:start] + text + "\n" + page[end:]
}

func settle(t *testing.T, name, have, want string) {
	t.Helper()
	if have == want {
		return
	}
	if *update {
		if err := os.WriteFile(filepath.Join("../docs", name), []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	t.Errorf("docs/%s is behind the program; run go test ./job -run Docs -update", name)
}

// The page of a built-in book names every id that a job file can be given; its
// words may be behind the book until the page is written anew with -update.
func TestDocsListBuiltinBook(t *testing.T) {
	books, err := book.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range books {
		name := strings.ReplaceAll(b.ID, "_", "-") + ".md"
		if *update {
			settle(t, name, "", listing(b))
		}
		page := doc(t, name)
		var ids []string
		for _, m := range []map[string]string{b.Symptoms, b.Equipment} {
			ids = append(ids, slices.Sorted(maps.Keys(m))...)
		}
		ids = append(ids, slices.Sorted(maps.Keys(b.Context))...)
		for _, x := range b.Tests {
			ids = append(ids, x.ID)
			for _, o := range x.Outcomes {
				ids = append(ids, o.ID)
			}
		}
		for _, id := range ids {
			if !strings.Contains(page, "`"+id+"`") {
				t.Errorf("docs/%s does not name %s; run go test ./job -run Docs -update", name, id)
			}
		}
	}
}

// listing is what a job file may say in the words of a book.
func listing(b *book.Book) string {
	var w strings.Builder
	fmt.Fprintf(&w, "# What a job file can say with the fault book `%s`\n\n%s, version %s. Written by `go test ./job -run Docs -update`; `proveout book show` prints\nall of the book, with chances and sources. How to write a job file: [job-folder.md](job-folder.md).\n", b.ID, b.Title, b.Version)
	table := func(title, head string, m map[string]string) {
		fmt.Fprintf(&w, "\n## %s\n\n| id | %s |\n| --- | --- |\n", title, head)
		for _, id := range slices.Sorted(maps.Keys(m)) {
			fmt.Fprintf(&w, "| `%s` | %s |\n", id, cell(m[id]))
		}
	}
	table("Symptoms (`complaint.symptoms`)", "what it means", b.Symptoms)
	table("Facts (`history.facts`)", "question", questions(b))
	table("Equipment (`equipment`)", "what it is", b.Equipment)
	fmt.Fprint(&w, "\n## Tests (`readings`, `test:`)\n\n*Where* says what to write beside the test: `cylinder: 3`, `cylinders: [1, 4]` (a coil pair or two neighbours), `bank: 1`, or nothing\nfor the whole engine. *Answer* is a `value:` in a unit of the kind named, or a `result:`, one of the words; a measured test takes\neither.\n\n| test | what | where | answer |\n| --- | --- | --- | --- |\n")
	for _, t := range b.Tests {
		var words []string
		for _, o := range t.Outcomes {
			words = append(words, fmt.Sprintf("`%s` (%s)", o.ID, cell(o.Text)))
		}
		answer := "`result:` " + strings.Join(words, ", ")
		if t.Reads != nil {
			if f, ok := book.FindFeature(t.Reads.Feature, b); ok {
				u := f.Unit
				if f.Dim == unit.None || f.Dim == unit.Count {
					u = "no unit"
				}
				if f.Amplitude {
					u = "kV, or any one unit"
				}
				answer = fmt.Sprintf("`value:` (%s), or %s", u, answer)
			}
		}
		fmt.Fprintf(&w, "| `%s` | %s | %s | %s |\n", t.ID, cell(t.Name), t.Per, answer)
	}
	fmt.Fprint(&w, "\n## Suspects (fault: `overrules`, before the `@`; part: `tried`)\n\n| fault | part | what |\n| --- | --- | --- |\n")
	parts := map[string]string{}
	for _, c := range b.Components {
		parts[c.ID] = fmt.Sprintf("`%s`: %s, %s", c.ID, c.Name, c.Per)
	}
	for _, f := range b.Faults {
		fmt.Fprintf(&w, "| `%s` | %s | %s |\n", f.ID, cell(parts[f.Component]), cell(f.Name))
	}
	return w.String()
}

func cell(s string) string {
	return strings.ReplaceAll(strings.Join(strings.Fields(s), " "), "|", "/")
}

// The defaults of settings in docs/fault-book.md are those of the program.
func TestDocsListSettings(t *testing.T) {
	page := doc(t, "fault-book.md")
	d := reflect.ValueOf(book.DefaultSettings())
	for i := range d.NumField() {
		name := d.Type().Field(i).Tag.Get("yaml")
		n := d.Field(i).Interface().(book.Num)
		want := fmt.Sprintf(" | %g |", n.Value)
		row := ""
		for line := range strings.Lines(page) {
			if strings.HasPrefix(line, "| `"+name+"` |") {
				row = strings.TrimSpace(line)
			}
		}
		if !strings.HasSuffix(row, want) {
			t.Errorf("the row of %s is %q; it must end in %q", name, row, want)
		}
	}
}

// Every field of the two formats is named in its page.
func TestDocsNameEveryField(t *testing.T) {
	for page, root := range map[string]reflect.Type{"job-folder.md": reflect.TypeFor[File](), "fault-book.md": reflect.TypeFor[book.Book]()} {
		text := doc(t, page)
		seen := map[reflect.Type]bool{}
		var walk func(reflect.Type)
		walk = func(rt reflect.Type) {
			switch rt.Kind() {
			case reflect.Pointer, reflect.Slice, reflect.Map:
				walk(rt.Elem())
				return
			case reflect.Struct:
			default:
				return
			}
			if seen[rt] || page == "job-folder.md" && rt == reflect.TypeFor[book.Book]() {
				return
			}
			seen[rt] = true
			for i := range rt.NumField() {
				f := rt.Field(i)
				name, opts, _ := strings.Cut(f.Tag.Get("yaml"), ",")
				if name != "" && !strings.Contains(text, name) {
					t.Errorf("docs/%s does not name %s of %s", page, name, rt)
				}
				if name != "" || opts == "inline" {
					walk(f.Type)
				}
			}
		}
		walk(root)
	}
}

// questions are what a book asks at reception, by fact.
func questions(b *book.Book) map[string]string {
	out := map[string]string{}
	for id, f := range b.Context {
		out[id] = f.Ask
	}
	return out
}
