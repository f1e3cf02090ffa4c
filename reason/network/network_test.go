package network

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// asia is the network of Lauritzen & Spiegelhalter 1988.
func asia() Network {
	yn := []string{"yes", "no"}
	b := func(p ...float64) (t [][]float64) {
		for _, v := range p {
			t = append(t, []float64{v, 1 - v})
		}
		return t
	}
	return Network{
		{"asia", yn, nil, b(.01)}, {"tub", yn, []int{0}, b(.05, .01)}, {"smoke", yn, nil, b(.5)}, {"lung", yn, []int{2}, b(.1, .01)}, {"bronc", yn, []int{2}, b(.6, .3)},
		{"either", yn, []int{1, 3}, b(1, 1, 1, 0)}, {"xray", yn, []int{5}, b(.98, .05)}, {"dysp", yn, []int{4, 5}, b(.9, .8, .7, .1)},
	}
}

// Every row of the Asia posteriors, which two independent engines agree on
// (reasoning.md section 3; ../testdata/asia_posteriors.csv).
func TestAsiaPosteriors(t *testing.T) {
	f, err := os.Open("../testdata/asia_posteriors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	n, checked := asia(), 0
	for _, r := range rows[1:] {
		if r[0] != "asia" {
			continue
		}
		e := Evidence{}
		for _, kv := range strings.FieldsFunc(r[2], func(c rune) bool { return c == ';' || c == ',' || c == ' ' }) {
			k, v, _ := strings.Cut(kv, "=")
			e[k] = v
		}
		pe, m, err := n.Judge(e)
		if err != nil {
			t.Fatalf("%v: %v", r, err)
		}
		wantE, _ := strconv.ParseFloat(r[3], 64)
		want, _ := strconv.ParseFloat(r[6], 64)
		if math.Abs(pe-wantE) > 1e-12 {
			t.Errorf("P(%v) = %.15g, want %.15g", e, pe, wantE)
		}
		for i := range n {
			for s := range n[i].States {
				if n[i].Name == r[4] && n[i].States[s] == r[5] {
					checked++
					if math.Abs(m[i][s]-want) > 1e-12 {
						t.Errorf("P(%s=%s | %v) = %.15g, want %.15g", r[4], r[5], e, m[i][s], want)
					}
				}
			}
		}
	}
	if checked < 50 {
		t.Fatalf("only %d rows were checked", checked)
	}
	t.Logf("%d rows", checked)
}

// Conflict values on Asia in bits, S11 of reasoning.md section 4.
func TestAsiaConflict(t *testing.T) {
	for _, w := range []struct {
		e    Evidence
		conf float64
	}{
		{Evidence{"xray": "yes", "dysp": "yes"}, -.5555666803},
		{Evidence{"xray": "yes", "dysp": "no"}, .6508463406},
		{Evidence{"asia": "yes", "smoke": "no", "xray": "yes"}, .0663176259},
		{Evidence{"bronc": "no", "dysp": "yes", "xray": "no"}, 2.09594361},
		{Evidence{"smoke": "no", "bronc": "yes", "dysp": "no"}, 2.095448127},
	} {
		got, err := asia().Conflict(w.e)
		if err != nil || math.Abs(got-w.conf) > 5e-10 {
			t.Errorf("%v: %.10f (%v), want %.10f", w.e, got, err, w.conf)
		}
	}
	if _, err := asia().Conflict(Evidence{"xray": "maybe"}); err == nil {
		t.Error("an unknown state passed")
	}
}
