package book

import (
	"fmt"
	"io/fs"
	"maps"
	"path"
	"slices"
	"sort"
	"strings"

	"proveout/evidence"
	"proveout/strict"
	"proveout/unit"
	"proveout/vehicle"
)

// CaseSchemaID is the value of the "schema" field of a case.
const CaseSchemaID = "proveout/case/1"

// Case is a worked example beside a fault book: readings in, expected answer
// out. Cases are the specification of a book in a form that runs; the format is
// described in book/data/cases/README.md.
type Case struct {
	Schema string `yaml:"schema"`
	Name   string `yaml:"name"`
	// Why is what the case teaches, in one or two sentences.
	Why    string `yaml:"why"`
	Source string `yaml:"source"`
	// Book is the id of the fault book the case belongs to.
	Book   string     `yaml:"book"`
	Engine CaseEngine `yaml:"engine"`
	// Symptoms are complaint pattern ids; empty = no complaint stated.
	Symptoms []string `yaml:"symptoms"`
	// Conditions in which the complaint shows.
	Conditions CaseConditions    `yaml:"conditions"`
	Facts      map[string]string `yaml:"facts"` // context fact to yes, no or unknown
	Readings   []CaseReading     `yaml:"readings"`
	Expect     Expect            `yaml:"expect"`

	File string           // where it was read from
	doc  *strict.Document // for line numbers
}

// CaseEngine is the layout, as in a job file.
type CaseEngine struct {
	Cylinders   int               `yaml:"cylinders"`
	Arrangement string            `yaml:"arrangement"`
	Banks       [][]int           `yaml:"banks"` // cylinders of bank 1, bank 2; empty = one bank
	FiringOrder []int             `yaml:"firing_order"`
	Ignition    vehicle.Ignition  `yaml:"ignition"`
	Injection   vehicle.Injection `yaml:"injection"`
	Boosted     bool              `yaml:"boosted"`
	Fuel        string            `yaml:"fuel"`   // petrol by default
	Access      string            `yaml:"access"` // easy by default
}

// CaseConditions are the conditions of the complaint.
type CaseConditions struct {
	State []evidence.State `yaml:"state"`
	Warm  string           `yaml:"warm"` // cold, warm, hot
	Wet   string           `yaml:"wet"`  // dry, damp, wet
}

// CaseReading is one test done: on one subject (Subject with Outcome or Effect),
// or on several (Outcomes or Effects by subject key: "cyl1", or just "1").
type CaseReading struct {
	Test    string `yaml:"test"`
	Subject string `yaml:"subject"` // evidence.Subject key: cyl3, pair2-3, bank1, engine; engine when empty
	// Outcome is the id of a picked outcome; Effect is the number the test reads:
	// a ratio, a share from 0 to 1 for versus: count, or a value in the unit of the
	// test for absolute and difference.
	Outcome  string             `yaml:"outcome"`
	Effect   *float64           `yaml:"effect"`
	Outcomes map[string]string  `yaml:"outcomes"`
	Effects  map[string]float64 `yaml:"effects"`
	Sigma    float64            `yaml:"sigma"` // standard uncertainty of the effects, same unit
	// State, Warm, Wet: the condition in which the test was done.
	State evidence.State `yaml:"state"`
	Warm  string         `yaml:"warm"`
	Wet   string         `yaml:"wet"`
	// NotEstablished: a difference was seen, but too few placements to call it one.
	NotEstablished bool `yaml:"not_established"`
}

// Expect is what the answer must look like. Suspects are named by id
// ("boot_leak@cyl3").
type Expect struct {
	First          string   `yaml:"first"`           // leading suspect
	FirstComponent string   `yaml:"first_component"` // component of the leading suspect, where only that can be told
	NotRuledOut    []string `yaml:"not_ruled_out"`   // the true causes, above all
	RuledOut       []string `yaml:"ruled_out"`       // these must be ruled out
	// Shown lists the suspects that are shown, all of them; ShownIncludes some of
	// them; ShownNone says that nothing may be shown.
	Shown         []string   `yaml:"shown"`
	ShownIncludes []string   `yaml:"shown_includes"`
	ShownNone     bool       `yaml:"shown_none"`
	Above         [][]string `yaml:"above"` // each [a, b]: a is likelier than b
	// ChanceAtLeast and ChanceAtMost bound the chance of suspects, 0 to 1; the words
	// "nothing_wrong" and "not_listed" name the two hypotheses outside the list.
	ChanceAtLeast map[string]float64 `yaml:"chance_at_least"`
	ChanceAtMost  map[string]float64 `yaml:"chance_at_most"`
	// Group: these suspects are named together as not yet separated.
	Group []string `yaml:"group"`
	// Conflict: readings disagree and the answer must say so.
	Conflict bool `yaml:"conflict"`
}

// LoadCase reads a case strictly: unknown fields are problems. The case is nil
// when the text is no YAML at all.
func LoadCase(name string, text []byte) (*Case, []Problem) {
	doc, ps := strict.Parse(name, text)
	if doc == nil {
		return nil, ps
	}
	c := &Case{File: name, doc: doc}
	ps = append(ps, strict.Decode(doc, doc.Root, c)...)
	bad := func(text string, steps ...any) { ps = append(ps, doc.At(strict.Error, text, steps...)) }
	if c.Schema != CaseSchemaID {
		bad(fmt.Sprintf("is %q; a case begins with schema: %s", c.Schema, CaseSchemaID), "schema")
	}
	for _, f := range []struct{ field, value string }{{"name", c.Name}, {"why", c.Why}, {"source", c.Source}, {"book", c.Book}} {
		if strings.TrimSpace(f.value) == "" {
			bad("is missing; write it", f.field)
		}
	}
	for i, p := range c.Expect.Above {
		if len(p) != 2 {
			bad("wants two suspects, the likelier first: [a, b]", "expect", "above", i)
		}
	}
	if c.Expect.ShownNone && len(c.Expect.Shown)+len(c.Expect.ShownIncludes) > 0 {
		bad("says that nothing is shown, yet shown names something; keep one", "expect", "shown_none")
	}
	return c, ps
}

// BuiltinCases gives the cases inside the program in order of file name.
func BuiltinCases() ([]*Case, error) {
	names, err := fs.Glob(data, "data/cases/*.yaml")
	if err != nil {
		return nil, err
	}
	sort.Strings(names)
	var out []*Case
	for _, n := range names {
		text, err := data.ReadFile(n)
		if err != nil {
			return nil, err
		}
		c, ps := LoadCase(path.Join("book", n), text)
		if errs := strict.Errors(ps); len(errs) > 0 {
			return nil, fmt.Errorf("built-in case: %s (%d problems in all)", errs[0], len(errs))
		}
		out = append(out, c)
	}
	return out, nil
}

// Layout gives the engine of the case. A cylinder in no bank, or an engine of
// impossible size, is left for vehicle.Engine.Validate to refuse.
func (c *Case) Layout() vehicle.Engine {
	e := vehicle.Engine{Cylinders: c.Engine.Cylinders, Arrangement: c.Engine.Arrangement, FiringOrder: c.Engine.FiringOrder,
		Ignition: c.Engine.Ignition, Injection: c.Engine.Injection, Boosted: c.Engine.Boosted, Fuel: c.Engine.Fuel, Access: c.Engine.Access}
	if e.Fuel == "" {
		e.Fuel = "petrol"
	}
	if e.Access == "" {
		e.Access = "easy"
	}
	if len(c.Engine.Banks) > 0 && e.Cylinders > 0 && e.Cylinders <= 16 {
		e.BankOf = make([]int, e.Cylinders)
		for b, cyls := range c.Engine.Banks {
			for _, n := range cyls {
				if n >= 1 && n <= e.Cylinders {
					e.BankOf[n-1] = b + 1
				}
			}
		}
	}
	return e
}

// Findings turns the readings of a case into findings on the instance, in
// order, with ids f1, f2 and so on. Effects given in the unit of the test become
// SI. The error names the line of the reading that fits no test, subject or
// outcome.
func (c *Case) Findings(in *Instance) ([]evidence.Finding, error) {
	var out []evidence.Finding
	for i, r := range c.Readings {
		fail := func(format string, args ...any) error {
			return fmt.Errorf("%s", c.doc.At(strict.Error, fmt.Sprintf(format, args...), "readings", i))
		}
		subs, err := r.subjects()
		if err != nil {
			return nil, fail("%s", err)
		}
		of := 0
		for _, t := range in.Tests {
			if t.Test.ID == r.Test {
				of++
			}
		}
		if of == 0 {
			return nil, fail("the books have no test %q on this engine", r.Test)
		}
		for _, s := range subs {
			k := slices.IndexFunc(in.Tests, func(t TestAt) bool { return t.Test.ID == r.Test && t.Subject == s.subject })
			if k < 0 {
				return nil, fail("test %q is not done on %s", r.Test, s.subject)
			}
			f, err := r.finding(in.Tests[k].Test, s)
			if err != nil {
				return nil, fail("%s", err)
			}
			f.ID, f.Item, f.AllCompared = fmt.Sprintf("f%d", len(out)+1), i+1, len(subs) == of
			out = append(out, f)
		}
	}
	return out, nil
}

// reading is the result on one subject.
type reading struct {
	subject evidence.Subject
	outcome string
	effect  *float64
}

// subjects lists the results of a reading in order of subject key.
func (r *CaseReading) subjects() ([]reading, error) {
	ways := 0
	for _, has := range []bool{r.Outcome != "", r.Effect != nil, len(r.Outcomes) > 0, len(r.Effects) > 0} {
		if has {
			ways++
		}
	}
	if ways != 1 {
		return nil, fmt.Errorf("give one of outcome, effect, outcomes and effects, not %d of them", ways)
	}
	subject := func(key string) (evidence.Subject, error) {
		switch {
		case key == "":
			return evidence.WholeEngine, nil
		case strings.Trim(key, "0123456789") == "":
			key = "cyl" + key
		}
		return evidence.ParseSubject(key)
	}
	var out []reading
	add := func(key, outcome string, effect *float64) error {
		s, err := subject(key)
		out = append(out, reading{s, outcome, effect})
		return err
	}
	if len(r.Outcomes)+len(r.Effects) == 0 {
		err := add(r.Subject, r.Outcome, r.Effect)
		return out, err
	}
	for _, k := range slices.Sorted(maps.Keys(r.Outcomes)) {
		if err := add(k, r.Outcomes[k], nil); err != nil {
			return nil, err
		}
	}
	for _, k := range slices.Sorted(maps.Keys(r.Effects)) {
		v := r.Effects[k]
		if err := add(k, "", &v); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// finding judges one result against the outcomes of its test.
func (r *CaseReading) finding(t *Test, s reading) (evidence.Finding, error) {
	f := evidence.Finding{Test: t.ID, Subject: s.subject, Condition: evidence.Condition{State: r.State, Warm: r.Warm, Wet: r.Wet}}
	var o *Outcome
	if s.effect == nil {
		k := slices.IndexFunc(t.Outcomes, func(x Outcome) bool { return x.ID == s.outcome })
		if k < 0 {
			return f, fmt.Errorf("test %q has no outcome %q", t.ID, s.outcome)
		}
		o, f.Outcome = &t.Outcomes[k], s.outcome
	} else {
		if t.Reads == nil {
			return f, fmt.Errorf("test %q reads no number; give an outcome", t.ID)
		}
		f.Feature, f.Value, f.Unit, f.Sigma = t.Reads.Feature, *s.effect, t.Reads.Unit, r.Sigma
		f.Effect, f.EffectSigma = *s.effect, r.Sigma
		switch t.Reads.Versus {
		case "absolute", "difference":
			u, err := unit.Parse(t.Reads.Unit)
			if err != nil {
				return f, err
			}
			f.Effect, f.EffectSigma = u.SI(*s.effect), u.StepSI(r.Sigma)
			if t.Reads.Versus == "difference" {
				f.Effect = u.StepSI(*s.effect)
			}
		}
		for j := range t.Outcomes {
			if x := &t.Outcomes[j]; o == nil || *s.effect >= x.From {
				o = x
			}
		}
	}
	switch {
	case r.NotEstablished:
		f.State = evidence.NotEstablished
	case o.Normal:
		f.State = evidence.Normal
	default:
		f.State = evidence.Abnormal
	}
	f.Sentence = t.Name + ", " + s.subject.String() + ": " + o.Text
	return f, nil
}
