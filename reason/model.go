package reason

import (
	"fmt"
	"math"
	"slices"

	"proveout/book"
	"proveout/evidence"
	"proveout/unit"
)

// model is an instance of the books in the form the engine works with: faults
// and tests by number, rows of chances by outcome.
type model struct {
	in     *book.Instance
	limits Limits
	tests  []testModel
	byTest map[testKey]int
	notes  []string
}

type testKey struct {
	test    string
	subject evidence.Subject
}

// testModel is one test on one subject.
type testModel struct {
	at       *book.TestAt
	normal   int       // index of the normal outcome
	from, to []float64 // stretch of each outcome, nil for a picked outcome
	healthy  []float64 // P(outcome | no fault bears on it)
	rows     []row     // faults that bear on it, by fault number
	cluster  int       // tests with the same number may carry the same fact
	fact     int       // tests with the same number and a positive one carry the same fact
	rho      float64
	same     int // number shared by all subjects of one test
	// A part tried in the search, told as a test: see Tried.
	tried  *triedPart
	inPart []float64 // P(outcome | the cause lies in the part alone)
	// The bound below or above the normal outcome is one given for this vehicle.
	madeLow, madeHigh bool
}

// row is P(outcome | fault) of one fault that bears on a test.
type row struct {
	fault int
	p     []float64
	wide  bool // one reading of this test on another subject tells the same of this fault
	own   bool
}

// rowOf finds the row of a fault; rows are in order of the faults.
func (t *testModel) rowOf(fault int) (r int, ok bool) {
	return slices.BinarySearchFunc(t.rows, fault, func(r row, f int) int { return r.fault - f })
}

// MaxFaults is the largest number of suspects for which sets of three are held
// in at most 100 MB; above it the bound falls to two and the answer says so.
const MaxFaults = 420

func newModel(in *book.Instance, l Limits, given []Limit) (*model, error) {
	if in == nil {
		return nil, fmt.Errorf("no book instance given: nothing to reason about")
	}
	if len(in.Suspects) == 0 {
		return nil, fmt.Errorf("no fault of the books fits this engine; add suspects to the job itself")
	}
	m := &model{in: in, limits: l, byTest: make(map[testKey]int, len(in.Tests))}
	clusters, facts, same := map[string]int{}, map[string]int{}, map[string]int{}
	number := func(in map[string]int, key string) int {
		if _, ok := in[key]; !ok {
			in[key] = len(in) + 1
		}
		return in[key]
	}
	for i := range in.Tests {
		at := &in.Tests[i]
		t, err := m.test(at)
		if err != nil {
			return nil, err
		}
		t.given(given)
		sub := "|" + at.Subject.Key()
		switch {
		case at.Test.Group != "":
			t.cluster = number(clusters, "group|"+at.Test.Group+sub)
		case at.Test.Fact != "":
			t.cluster = number(clusters, "fact|"+at.Test.Fact+sub)
		default:
			t.cluster = number(clusters, "test|"+at.Test.ID+sub)
		}
		if at.Test.Fact != "" {
			t.fact = number(facts, at.Test.Fact+sub)
		}
		t.rho = at.Test.Rho.Value
		if at.Test.Rho.Source == "" && t.rho == 0 {
			t.rho = l.RhoRepeat
		}
		t.rho = math.Min(math.Max(t.rho, 0), 1)
		t.same = number(same, at.Test.ID)
		m.byTest[testKey{at.Test.ID, at.Subject}] = len(m.tests)
		m.tests = append(m.tests, t)
	}
	return m, nil
}

// test reads one test of the book. A book that book.Check passes gives no error.
func (m *model) test(at *book.TestAt) (testModel, error) {
	b := at.Test
	t := testModel{at: at, normal: -1}
	if len(b.Outcomes) < 2 {
		return t, fmt.Errorf("test %q has %d outcomes; it needs at least two", b.ID, len(b.Outcomes))
	}
	for i, o := range b.Outcomes {
		if o.Normal {
			t.normal = i
		}
	}
	if t.normal < 0 {
		return t, fmt.Errorf("test %q has no outcome marked normal", b.ID)
	}
	if b.Reads != nil {
		if err := t.stretch(b); err != nil {
			return t, err
		}
	}
	healthy, err := chances(b, b.Healthy, nil)
	if err != nil {
		return t, fmt.Errorf("test %q, healthy row: %w", b.ID, err)
	}
	t.healthy = healthy
	for i := range m.in.Suspects {
		s := &m.in.Suspects[i]
		r, ok := b.Given[s.Fault.ID]
		if !ok {
			continue
		}
		rel := m.in.Bears(s.Subject, at.Subject)
		want := r.Where
		if want == "" {
			want = "own"
		}
		if want != "any" && want != rel {
			continue
		}
		p, err := chances(b, r, healthy)
		if err != nil {
			return t, fmt.Errorf("test %q, row of fault %q: %w", b.ID, s.Fault.ID, err)
		}
		wide := rel == "other" || s.Subject != at.Subject && (s.Subject.Kind == evidence.Engine || s.Subject.Kind == evidence.Vehicle || s.Subject.Kind == evidence.Bank)
		t.rows = append(t.rows, row{fault: i, p: p, wide: wide, own: rel == "own"})
	}
	return t, nil
}

// stretch converts the outcome bounds to the unit of Finding.Effect.
func (t *testModel) stretch(b *book.Test) error {
	conv := func(v float64) float64 { return v }
	if b.Reads.Unit != "" && (b.Reads.Versus == "absolute" || b.Reads.Versus == "difference") {
		u, err := unit.Parse(b.Reads.Unit)
		if err != nil {
			return fmt.Errorf("test %q: %w", b.ID, err)
		}
		conv = u.SI
		if b.Reads.Versus == "difference" {
			conv = u.StepSI
		}
	}
	any := false
	for _, o := range b.Outcomes {
		any = any || o.From != 0 || o.To != 0
	}
	if !any { // a feature to look at, with picked outcomes
		return nil
	}
	for i, o := range b.Outcomes {
		from, to := conv(o.From), conv(o.To)
		if !(to > from) || math.IsInf(to-from, 0) {
			return fmt.Errorf("test %q, outcome %q: runs from %g to %g; give it a finite, positive stretch", b.ID, o.ID, o.From, o.To)
		}
		if i > 0 && math.Abs(from-t.to[i-1]) > 1e-9*(to-from) {
			return fmt.Errorf("test %q, outcome %q: begins at %g where the one before ends at %g; let them join, lowest first", b.ID, o.ID, o.From, b.Outcomes[i-1].To)
		}
		t.from, t.to = append(t.from, from), append(t.to, to)
	}
	return nil
}

// chances lays a row out over the outcomes: what is not named takes what is left
// in proportion to base (evenly without one), and the row is made to sum to one.
func chances(b *book.Test, r book.Row, base []float64) ([]float64, error) {
	p := make([]float64, len(b.Outcomes))
	named := make([]bool, len(p))
	sum := 0.0
	for i, o := range b.Outcomes {
		v, ok := r.P[o.ID]
		if !ok {
			continue
		}
		if math.IsNaN(v) || v < 0 || v > 1+1e-9 {
			return nil, fmt.Errorf("outcome %q has chance %g; a chance is from 0 to 1", o.ID, v)
		}
		p[i], named[i] = v, true
		sum += v
	}
	left, share := math.Max(0, 1-sum), 0.0
	weight := func(i int) float64 {
		if base == nil {
			return 1
		}
		return base[i] + 1e-9
	}
	for i := range p {
		if !named[i] {
			share += weight(i)
		}
	}
	total := 0.0
	for i := range p {
		if !named[i] {
			p[i] = left * weight(i) / share
		}
		total += p[i]
	}
	if !(total > 0) {
		return nil, fmt.Errorf("all chances are zero")
	}
	for i := range p {
		p[i] /= total
	}
	return p, nil
}

// setting is a number of the book, or the fallback where no book gives one.
func (m *model) setting(get func(*book.Settings) book.Num, fallback float64) float64 {
	for _, b := range m.in.Books {
		if n := get(&b.Settings); n.Source != "" {
			return n.Value
		}
	}
	return fallback
}

// unreliable is the share of readings that are simply wrong.
func (m *model) unreliable() float64 {
	u := m.setting(func(s *book.Settings) book.Num { return s.Unreliable }, m.limits.Unreliable)
	return math.Min(math.Max(u, 1e-8), 0.5)
}
