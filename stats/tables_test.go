package stats

import (
	"math"
	"proveout/published"
	"strings"
	"testing"
)

// printed fails unless got rounds to the printed text.
func printed(t *testing.T, what string, got float64, text string) {
	t.Helper()
	dec := 0
	if i := strings.IndexByte(text, '.'); i >= 0 {
		dec = len(text) - i - 1
	}
	want := published.Number(t, text)
	if math.IsNaN(got) || math.Abs(got-want) > 0.5000001*math.Pow(10, -float64(dec)) {
		t.Errorf("%s = %.9g, table says %s", what, got, text)
	}
}

func TestGrubbsTable(t *testing.T) {
	for _, r := range published.Rows(t, "stats_grubbs.csv", 10) {
		n := int(published.Number(t, r[0]))
		printed(t, "one-sided 0.05, n="+r[0], GrubbsCritical(n, 0.05, false), r[1])
		printed(t, "one-sided 0.01, n="+r[0], GrubbsCritical(n, 0.01, false), r[2])
		printed(t, "two-sided 0.05, n="+r[0], GrubbsCritical(n, 0.05, true), r[3])
		printed(t, "two-sided 0.01, n="+r[0], GrubbsCritical(n, 0.01, true), r[4])
	}
	// Uranium data of Tietjen and Moore, NIST e-Handbook 1.3.5.17.1 (standards.md 10.1).
	g, at := Grubbs([]float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57})
	if at != 7 || math.Abs(g-2.468765) > 5e-7 {
		t.Errorf("uranium set: G = %v at %d", g, at)
	}
	if g, at := Grubbs([]float64{5, 5, 5}); !math.IsNaN(g) || at != -1 {
		t.Errorf("equal values: %v %d", g, at)
	}
	if !math.IsNaN(GrubbsCritical(2, 0.05, true)) || !math.IsNaN(GrubbsCritical(5, 0, true)) {
		t.Error("outside the domain must be NaN")
	}
}

func TestPoissonTable(t *testing.T) {
	for _, r := range published.Rows(t, "stats_poisson.csv", 25) {
		k := int(published.Number(t, r[0]))
		lo, hi := PoissonLimits(k, 0.95)
		printed(t, "low95 of "+r[0], lo, r[1])
		printed(t, "high95 of "+r[0], hi, r[2])
		lo, hi = PoissonLimits(k, 0.99)
		printed(t, "low99 of "+r[0], lo, r[3])
		printed(t, "high99 of "+r[0], hi, r[4])
		printed(t, "one-sided 95 of "+r[0], PoissonUpper(k, 0.95), r[5])
	}
	// R poisson.test(137, 24.19893) (standards.md 10.2).
	lo, hi := PoissonLimits(137, 0.95)
	printed(t, "137 low", lo/24.19893, "4.753125")
	printed(t, "137 high", hi/24.19893, "6.692709")
}

func TestClopperPearsonTable(t *testing.T) {
	for _, r := range published.Rows(t, "stats_clopper_pearson.csv", 11) {
		lo, hi := ClopperPearson(int(published.Number(t, r[0])), int(published.Number(t, r[1])), 0.95)
		printed(t, r[0]+"/"+r[1]+" low", lo, r[2])
		printed(t, r[0]+"/"+r[1]+" high", hi, r[3])
	}
}

func TestFisherTable(t *testing.T) {
	for _, r := range published.Rows(t, "stats_fisher.csv", 5) {
		c := strings.FieldsFunc(r[0], func(r rune) bool { return r < '0' || r > '9' })
		f := FisherExact(int(published.Number(t, c[0])), int(published.Number(t, c[1])), int(published.Number(t, c[2])), int(published.Number(t, c[3])))
		printed(t, r[0]+" two-sided", f.TwoSided, r[1])
		printed(t, r[0]+" greater", f.Greater, r[2])
		printed(t, r[0]+" less", f.Less, r[3])
	}
}

func TestRuleOfThreeTable(t *testing.T) {
	for _, r := range published.Rows(t, "stats_rule_of_three.csv", 9) {
		exact, three := RuleOfThree(int(published.Number(t, r[0])), 0.95)
		printed(t, "exact, n="+r[0], exact, r[1])
		printed(t, "3/n, n="+r[0], three, r[2])
	}
}

func TestSPRTThresholds(t *testing.T) {
	for _, r := range published.Rows(t, "stats_sprt_thresholds.csv", 6) {
		up, lo := SPRT{published.Number(t, r[0]), published.Number(t, r[1])}.Bounds()
		printed(t, "upper", up, r[2])
		printed(t, "lower", lo, r[3])
	}
}

// Each row of stats_sprt_examples.csv is one case here, in the file's order.
func TestSPRTExamples(t *testing.T) {
	table := published.Rows(t, "stats_sprt_examples.csv", 9)
	s := SPRT{0.05, 0.10}
	fail, pass := BernoulliSteps(0.01, 0.05)
	has := func(row int, parts ...string) {
		t.Helper()
		for _, p := range parts {
			if !strings.Contains(table[row][1]+table[row][2], p) {
				t.Fatalf("row %d of the table does not say %q: %v", row, p, table[row])
			}
		}
	}
	has(0, "+1.609438", "-0.041243", "2.890372", "-2.251292")
	printed(t, "failure", fail, "1.609438")
	printed(t, "pass", pass, "-0.041243")

	has(1, "accept H0 at n = 55", "-2.268363", "-2.227120")
	n, llr := 0, 0.0
	for ; s.Decide(llr) == GoOn; n++ {
		llr += pass
	}
	if n != 55 || s.Decide(llr) != AcceptH0 || s.PassesToAcceptH0(0, 0.01, 0.05) != 55 {
		t.Errorf("all passes: %d, %v", n, s.Decide(llr))
	}
	printed(t, "LLR at 55", llr, "-2.268363")
	printed(t, "LLR at 54", 54*pass, "-2.227120")

	has(2, "3.218876", "accept H1 at n = 2")
	printed(t, "two failures", 2*fail, "3.218876")
	if s.Decide(fail) != GoOn || s.Decide(2*fail) != AcceptH1 {
		t.Error("two failures must decide, one must not")
	}

	has(3, "2.806446", "continue")
	printed(t, "fail, 10 passes, fail", 2*fail+10*pass, "2.806446")
	if s.Decide(2*fail+10*pass) != GoOn {
		t.Error("fail, 10 passes, fail must go on")
	}

	has(4, "94 passes", "-2.267400")
	if k := s.PassesToAcceptH0(fail, 0.01, 0.05); k != 94 {
		t.Errorf("passes after one failure: %d", k)
	}
	printed(t, "1 failure, 94 passes", fail+94*pass, "-2.267400")

	has(5, "1.386294 k - 6")
	printed(t, "per event", PoissonStep(1, 2, 8)-PoissonStep(0, 2, 8), "1.386294")
	printed(t, "empty window", PoissonStep(0, 2, 8), "-6")

	has(6, "-1.841117", "-5.068528 accept H0")
	a := PoissonStep(3, 2, 8)
	b := a + PoissonStep(2, 2, 8)
	printed(t, "3", a, "-1.841117")
	printed(t, "3,2", b, "-5.068528")
	if s.Decide(a) != GoOn || s.Decide(b) != AcceptH0 {
		t.Error("windows 3,2")
	}

	has(7, "3.704061")
	printed(t, "7", PoissonStep(7, 2, 8), "3.704061")
	if s.Decide(PoissonStep(7, 2, 8)) != AcceptH1 {
		t.Error("window 7")
	}

	has(8, "0.931472", "3.249238 accept H1")
	a = PoissonStep(5, 2, 8)
	b = a + PoissonStep(6, 2, 8)
	printed(t, "5", a, "0.931472")
	printed(t, "5,6", b, "3.249238")
	if s.Decide(a) != GoOn || s.Decide(b) != AcceptH1 {
		t.Error("windows 5,6")
	}
}
