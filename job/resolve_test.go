package job

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/strict"
)

var update = flag.Bool("update", false, "write golden files anew")

// resolved reads a job against the bench book; all problems as lines.
func resolved(t *testing.T, name string, data []byte) (*Resolved, string) {
	t.Helper()
	var lines []string
	add := func(ps []Problem) {
		for _, p := range ps {
			lines = append(lines, p.String())
		}
	}
	f, ps := Parse(name, data)
	if f == nil {
		add(ps)
		return nil, strings.Join(lines, "\n") + "\n"
	}
	e, ps := f.VehicleEngine()
	add(ps)
	if e.Validate() != nil {
		add(f.problems)
		return nil, strings.Join(lines, "\n") + "\n"
	}
	text, err := os.ReadFile("testdata/book.yaml")
	if err != nil {
		t.Fatal(err)
	}
	bench, ps := book.Load("bench.yaml", text)
	if len(ps) > 0 {
		t.Fatal(ps)
	}
	books, ps := f.ChooseBooks([]*book.Book{bench}, e)
	add(ps)
	in, err := book.Instantiate(e, books...)
	if err != nil {
		t.Fatal(err)
	}
	r := f.Resolve(in)
	add(r.Problems)
	return r, strings.Join(lines, "\n") + "\n"
}

func TestBenchBookIsSound(t *testing.T) {
	text, err := os.ReadFile("testdata/book.yaml")
	if err != nil {
		t.Fatal(err)
	}
	b, ps := book.Load("bench.yaml", text)
	for _, p := range strict.Errors(append(ps, book.Check(b)...)) {
		t.Error(p)
	}
}

// Good jobs give no errors; their notes and warnings are golden, so that nothing
// is filled in without being said.
func TestGoodJobs(t *testing.T) { golden(t, "testdata/good/*.yaml", false) }

// Each bad job has its messages beside it.
func TestBadJobs(t *testing.T) {
	golden(t, "testdata/bad/*.yaml", true)
	golden(t, "testdata/bad/*.json", true)
}

func golden(t *testing.T, pattern string, bad bool) {
	files, err := filepath.Glob(pattern)
	if err != nil || len(files) == 0 {
		t.Fatalf("no files %s", pattern)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			r, got := resolved(t, filepath.Base(file), data)
			errors := r == nil || len(r.LeftOut()) > 0 || strings.Contains(got, ": engine")
			if !bad && errors {
				t.Errorf("a good job has errors:\n%s", got)
			}
			want := file + ".txt"
			if *update {
				if err := os.WriteFile(want, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			text, err := os.ReadFile(want)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(text) {
				t.Errorf("got:\n%s\nwant:\n%s", got, text)
			}
		})
	}
}

func TestFullJobIsResolved(t *testing.T) {
	data, err := os.ReadFile("testdata/good/full.yaml")
	if err != nil {
		t.Fatal(err)
	}
	r, _ := resolved(t, "job.yaml", data)
	byID := map[string]TypedReading{}
	for _, x := range r.Readings {
		byID[x.ID] = x
	}
	if len(r.Readings) != 5+1+1+1+3+2 {
		t.Errorf("%d readings", len(r.Readings))
	}
	if g := byID["r2.cyl3"]; g.Feature != "plug.gap" || g.Value.Typed != 1.42 || g.Value.Unit.Symbol != "mm" || g.From.Line != 62 {
		t.Errorf("gap of cylinder 3: %+v", g)
	}
	if c := byID["r3"]; c.Test != "coil_swap" || c.Outcome != "stayed" || c.Subject != evidence.PairOf(3, 6) || c.Condition.State != evidence.Load {
		t.Errorf("coil swap: %+v", c)
	}
	if p := byID["r5"]; p.Subject != evidence.WholeEngine || p.Value.SI < 358500 || p.Value.SI > 358600 || p.Uncertainty < 7170 || p.Uncertainty > 7171 {
		t.Errorf("52 psi is 358527 Pa (NIST SP 811), 2 %% of it 7171: %+v", p)
	}
	c := r.Captures[0]
	if c.Item != 7 || !c.Pattern || c.RateHz != 1e6 || c.Delimiter != ';' || c.Decimal != ',' || c.Columns[1].Scale != 10 || c.Columns[1].Unit.Symbol != "V" {
		t.Errorf("capture: %+v", c)
	}
	k := r.Complaint
	if k.RpmLow != 1800 || k.RpmHigh != 2600 || k.Condition.SpeedRPM != 2200 || k.Facts[WorseWet] != "yes" || k.Facts[FuelBelowQuarter] != "no" || k.Facts[RecentPlugOrCoilWork] != "" || k.Facts["plugs_beyond_interval"] != "no" {
		t.Errorf("complaint: %+v", k)
	}
}

// A word for a column that nobody knows is an error that lists the words.
func TestUnknownRole(t *testing.T) {
	const text = `schema: proveout/job/1
vehicle: {engine: {cylinders: 4, ignition: coil_on_plug, injection: port}}
captures:
  - {file: a.csv, columns: [{column: 1, as: banana}]}
  - {file: b.csv, columns: [{column: 1, as: RPM, scale: 100 mV/A}]}
`
	f, ps := Parse("job.yaml", []byte(text))
	if f == nil {
		t.Fatal(ps)
	}
	e, _ := f.VehicleEngine()
	in, err := book.Instantiate(e)
	if err != nil {
		t.Fatal(err)
	}
	r := f.ResolveWith(in, Vocabulary{Roles: []string{"engine_speed", "ignore"}, Role: func(w string) (string, bool) { return "engine_speed", w == "rpm" }})
	if len(r.Captures) != 1 || r.Captures[0].Columns[0].As != "engine_speed" || r.Captures[0].Columns[0].Probe != "100 mV/A" {
		t.Errorf("%+v", r.Captures)
	}
	said := false
	for _, p := range strict.Errors(r.Problems) {
		said = said || p.Line == 4 && strings.Contains(p.Text, "banana") && strings.Contains(p.Text, "engine_speed, ignore")
	}
	if !said {
		t.Errorf("%v", r.Problems)
	}
}
