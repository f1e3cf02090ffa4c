package reason

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason/bay"
)

// anyFinding draws a finding for any test of the instance, or for none.
func anyFinding(r *rapid.T, in *book.Instance, i int) evidence.Finding {
	at := &in.Tests[rapid.IntRange(0, len(in.Tests)-1).Draw(r, "test")]
	f := evidence.Finding{ID: fmt.Sprintf("f%d", i), Test: at.Test.ID, Subject: at.Subject, State: evidence.Abnormal,
		Condition: evidence.Condition{Warm: rapid.SampledFrom([]string{"", "cold", "warm", "hot"}).Draw(r, "warm")}}
	if at.Test.Reads != nil && rapid.Bool().Draw(r, "number") {
		f.Effect = rapid.Float64Range(-10, 10).Draw(r, "effect")
		f.EffectSigma = rapid.SampledFrom([]float64{0, 1e-9, 0.05, 0.5, 1e6, 1e200}).Draw(r, "sigma")
		return f
	}
	f.Outcome = at.Test.Outcomes[rapid.IntRange(0, len(at.Test.Outcomes)-1).Draw(r, "outcome")].ID
	return f
}

func sane(t interface{ Fatalf(string, ...any) }, e *Engine) {
	all, none, other := e.Chances()
	for i, p := range append([]float64{none, other}, all...) {
		if math.IsNaN(p) || p <= 0 || p >= 1 {
			t.Fatalf("chance %d is %g", i, p)
		}
	}
}

// Readings in any order and number never give NaN, 0 or 1; and taking readings
// back gives the odds of an engine that never had them.
func TestUndoGivesBackTheOdds(t *testing.T) {
	c := bayCase(t)
	c.Complaint.Warm = "hot"
	rapid.Check(t, func(r *rapid.T) {
		bound := rapid.IntRange(1, 3).Draw(r, "bound")
		e, err := NewEngine(c, Options{MaxFaults: bound})
		if err != nil {
			r.Fatal(err)
		}
		n := rapid.IntRange(1, 12).Draw(r, "n")
		keep := rapid.IntRange(0, n).Draw(r, "keep")
		var fs []evidence.Finding
		for i := range n {
			fs = append(fs, anyFinding(r, c.Instance, i))
			if err := e.Add(fs[i]); err != nil {
				r.Fatal(err)
			}
			sane(r, e)
		}
		for range n - keep {
			if ok, err := e.Undo(); !ok || err != nil {
				r.Fatal(ok, err)
			}
		}
		fresh, _ := NewEngine(c, Options{MaxFaults: bound})
		for _, f := range fs[:keep] {
			if err := fresh.Add(f); err != nil {
				r.Fatal(err)
			}
		}
		for i := range fresh.chance {
			if math.Abs(e.chance[i]-fresh.chance[i]) > 1e-10 {
				r.Fatalf("%s: %g after undo, %g fresh", c.Instance.Suspects[i].ID, e.chance[i], fresh.chance[i])
			}
		}
	})
}

// No reading moves the odds of a fault, against none, by more than the book's
// row allows in the outcome it favours most; for single faults and for sets.
func TestNoReadingBeatsTheBook(t *testing.T) {
	c := bayCase(t)
	rapid.Check(t, func(r *rapid.T) {
		e, err := NewEngine(c, Options{MaxFaults: 3})
		if err != nil {
			r.Fatal(err)
		}
		f := anyFinding(r, c.Instance, 1)
		for range rapid.IntRange(1, 10).Draw(r, "times") { // the same reading again and again
			if err := e.Add(f); err != nil {
				r.Fatal(err)
			}
		}
		for k := range e.slots {
			s := &e.slots[k]
			tm := &e.m.tests[s.test]
			for _, row := range tm.rows {
				lo, hi := math.Inf(1), 0.0
				for o := range row.p {
					q := row.p[o] / tm.healthy[o]
					lo, hi = math.Min(lo, q), math.Max(hi, q)
				}
				ratio := s.factor.set([]int{row.fault}) / math.Pow(s.factor.none, s.factor.exponent)
				if ratio > hi*(1+1e-9) || ratio < lo*(1-1e-9) {
					r.Fatalf("%s on %s moves %s by %g; the book allows %g to %g", f.Test, f.Subject, c.Instance.Suspects[row.fault].ID, ratio, lo, hi)
				}
			}
		}
	})
}

// A reading of no precision says nothing; a precise one in the middle of a class
// leaves the others only the share of wrong readings.
func TestClassLikelihoodLimits(t *testing.T) {
	from, to := []float64{0.5, 0.9, 1.1}, []float64{0.9, 1.1, 2}
	l := make([]float64, 3)
	for _, s := range []float64{1e300, math.Inf(1), 1e9} {
		classLikelihood(l, from, to, 1.0, s, 0.02)
		if math.IsNaN(l[0]+l[1]+l[2]) || l[0] <= 0 {
			t.Errorf("noise %g: %v", s, l)
		}
	}
	if math.Abs(l[0]/l[1]-1) > 1e-6 || math.Abs(l[2]/l[1]-1) > 1e-6 {
		t.Errorf("no precision, yet the classes differ: %v", l)
	}
	classLikelihood(l, from, to, 1.0, 0.001, 0.02)
	if math.Abs(l[1]-(0.98*1.5/0.2+0.02)) > 1e-9 || math.Abs(l[0]-0.02) > 1e-12 || math.Abs(l[2]-0.02) > 1e-12 {
		t.Errorf("in the middle: %v", l)
	}
	// Far beyond the stretch counts as at its end.
	classLikelihood(l, from, to, 1e12, 0.01, 0.02)
	if !(l[2] > 10*l[1]) {
		t.Errorf("beyond the end: %v", l)
	}
}

// The combination of faults gives the healthy row for none and the book's row
// for one, sums to one, and grows towards "not normal" with each fault.
func TestCombinationOfFaults(t *testing.T) {
	e, err := NewEngine(bayCase(t), Options{})
	if err != nil {
		t.Fatal(err)
	}
	scratch := make([]float64, 8)
	for k := range e.m.tests {
		tm := &e.m.tests[k]
		ones := make([]float64, len(tm.rows))
		for i := range ones {
			ones[i] = 1
		}
		for a := range tm.rows {
			for b := a + 1; b < len(tm.rows); b++ {
				sum, normal := 0.0, 0.0
				for o := range tm.healthy {
					lambda := make([]float64, len(tm.healthy))
					lambda[o] = 1
					var f factor
					fillFactor(&f, tm, lambda, ones, ones, 0.7, scratch)
					f.exponent = 1
					if got := f.set(nil); math.Abs(got-tm.healthy[o]) > 1e-9 {
						t.Fatalf("%s: none gives %g, healthy row %g", tm.at.ID, got, tm.healthy[o])
					}
					if got := f.set([]int{tm.rows[a].fault}); math.Abs(got-tm.rows[a].p[o]) > 1e-8 {
						t.Fatalf("%s: one fault gives %g, its row %g", tm.at.ID, got, tm.rows[a].p[o])
					}
					p := f.set([]int{tm.rows[a].fault, tm.rows[b].fault})
					sum += p
					if o == tm.normal {
						normal = p
					}
				}
				if math.Abs(sum-1) > 1e-7 {
					t.Fatalf("%s: two faults sum to %g", tm.at.ID, sum)
				}
				if n := tm.normal; normal > math.Min(tm.rows[a].p[n], tm.rows[b].p[n])+1e-8 && tm.rows[a].p[n] <= tm.healthy[n] && tm.rows[b].p[n] <= tm.healthy[n] {
					t.Fatalf("%s: two faults look more normal (%g) than either", tm.at.ID, normal)
				}
			}
		}
	}
}

// 500 contradictory readings, zero likelihoods, priors above one: defined, never
// NaN, never 0 or 1.
func TestBadInput(t *testing.T) {
	b := bay.Book()
	for i := range b.Faults {
		if i%3 == 0 {
			b.Faults[i].Rate.Value = 7 // more than one
		}
		if i%4 == 1 {
			b.Faults[i].Rate.Value = 0
		}
	}
	for i := range b.Tests {
		for id, r := range b.Tests[i].Given {
			for _, o := range b.Tests[i].Outcomes[1:] {
				r.P[o.ID] = 0 // impossible under every fault
			}
			r.P[b.Tests[i].Outcomes[0].ID] = 1
			b.Tests[i].Given[id] = r
		}
	}
	in, err := book.Instantiate(bay.Engine(), b)
	if err != nil {
		t.Fatal(err)
	}
	e, err := NewEngine(Case{Instance: in, Symptoms: []string{"misfire_load", "no such symptom"}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range 500 {
		at := &in.Tests[i%len(in.Tests)]
		f := evidence.Finding{ID: fmt.Sprint("f", i), Test: at.Test.ID, Subject: at.Subject, Outcome: at.Test.Outcomes[(i/len(in.Tests))%len(at.Test.Outcomes)].ID}
		if err := e.Add(f); err != nil {
			t.Fatal(err)
		}
		sane(t, e)
	}
	for _, f := range []evidence.Finding{
		{ID: "x1", Test: "counter", Subject: evidence.Cyl(7), Outcome: "abnormal"},
		{ID: "x2", Test: "no_such_test", Subject: evidence.Cyl(1), Outcome: "abnormal"},
		{ID: "x3", Test: "gap", Subject: evidence.Cyl(1), Effect: math.NaN(), State: evidence.High},
		{ID: "x4", Test: "gap", Subject: evidence.Cyl(1), Effect: math.Inf(1), State: evidence.High},
		{ID: "x5", Test: "counter", Subject: evidence.Cyl(1), Outcome: "purple"},
		{ID: "x6", Test: "counter", Subject: evidence.Cyl(1), Effect: 3, State: evidence.High},
		{ID: "x7", Test: "gap", Subject: evidence.Cyl(1), Effect: 1, State: evidence.High, Flags: []evidence.Flag{evidence.Clipped}},
		{ID: "x8", Test: "gap", Subject: evidence.Cyl(1), Effect: 1, State: evidence.Normal, When: "after"},
	} {
		before := e.chance[0]
		if err := e.Add(f); err != nil {
			t.Fatal(err)
		}
		if e.chance[0] != before {
			t.Errorf("%s moved the odds", f.ID)
		}
	}
	a, err := e.Answer()
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Uncounted) != 8 {
		t.Errorf("%d uncounted findings, want 8: %v", len(a.Uncounted), a.Uncounted)
	}
	if len(a.Notes) == 0 {
		t.Error("a prior above one was held without a word")
	}
	if _, err := Judge(Case{}, Options{}); err == nil {
		t.Error("a case without an instance passed")
	}
}

// The prediction of a test against full enumeration over all sets of the field.
func TestPredictionAgainstEnumeration(t *testing.T) {
	c := bayCase(t)
	e, err := NewEngine(c, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "capped", 3, "abnormal")} {
		if err := e.Add(f); err != nil {
			t.Fatal(err)
		}
	}
	if err := e.refresh(true); err != nil {
		t.Fatal(err)
	}
	p := e.predictor()
	p.ready()
	n := e.w.n
	for k := range e.m.tests {
		if e.done(k) {
			continue
		}
		tm := &e.m.tests[k]
		one := func(int) float64 { return 1 }
		a := p.look(tm, nil, 1, one)
		ko := len(tm.healthy)
		var factors []*factor
		for o := range ko {
			lambda, ones := make([]float64, ko), make([]float64, len(tm.rows))
			for c := range lambda {
				lambda[c] = e.u / float64(ko)
			}
			lambda[o] += 1 - e.u
			for i := range ones {
				ones[i] = 1
			}
			f := &factor{exponent: 1}
			fillFactor(f, tm, lambda, ones, ones, e.m.limits.NotListedHealthy, e.scratch)
			factors = append(factors, f)
		}
		pc, hc := make([]float64, ko), 0.0
		add := func(mass float64, given func(f *factor) float64) {
			for o, f := range factors {
				g := given(f)
				pc[o] += mass * g
				hc -= mass * g * math.Log2(g)
			}
		}
		sets := func(s ...int) {
			add(math.Exp(e.w.lnWeight(s)-e.w.lnRef)/p.z, func(f *factor) float64 { return f.set(s) })
		}
		for i := range n {
			sets(i)
			for j := i + 1; j < n; j++ {
				sets(i, j)
				for l := j + 1; l < n; l++ {
					sets(i, j, l)
				}
			}
		}
		add(e.w.zNone/p.z, func(f *factor) float64 { return f.none })
		add(p.otherM/p.z, func(f *factor) float64 { return f.other })
		h := 0.0
		for _, v := range pc {
			h -= v * math.Log2(v)
		}
		// The combination of already mixed rows and the mixture of the combination
		// differ for several faults by terms of the order of the share of wrong readings.
		if math.Abs(a.bits-(h-hc)) > 2e-3 {
			t.Errorf("%s: %.6f bits, enumeration %.6f", tm.at.ID, a.bits, h-hc)
		}
	}
}

// Counts with their denominator: the binomial chance against direct integration,
// and the weight of few and of many events.
func TestCountLikelihood(t *testing.T) {
	from, to := []float64{0, 0.5}, []float64{0.5, 1}
	l := make([]float64, 2)
	for _, w := range []struct{ k, n float64 }{{0, 0}, {3, 4}, {61, 64}, {0, 30}} {
		countLikelihood(l, from, to, w.k, w.n, 0)
		var area [2]float64
		const steps = 20000
		for s := range steps {
			p := (float64(s) + 0.5) / steps
			v := math.Exp(w.k*math.Log(p) + (w.n-w.k)*math.Log1p(-p))
			area[min(int(2*p), 1)] += v
		}
		if math.Abs(l[1]/(l[0]+l[1])-area[1]/(area[0]+area[1])) > 1e-6 {
			t.Errorf("%g of %g: %v, integration %v", w.k, w.n, l, area)
		}
	}
	countLikelihood(l, from, to, 0, 0, 0.02)
	if math.Abs(l[0]-l[1]) > 1e-12 {
		t.Errorf("none of none says something: %v", l)
	}
	few, many := make([]float64, 2), make([]float64, 2)
	countLikelihood(few, from, to, 2, 3, 0.02)
	countLikelihood(many, from, to, 20, 30, 0.02)
	if !(few[1]/few[0] > 1.5 && few[1]/few[0] < 4 && many[1]/many[0] > 10) {
		t.Errorf("2 of 3: %v, 20 of 30: %v", few, many)
	}
}
