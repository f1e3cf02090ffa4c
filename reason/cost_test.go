package reason

import (
	"slices"
	"strings"
	"testing"

	"proveout/book"
	"proveout/evidence"
)

// One repair clears every fault it covers, and a referral finds what is left, which is
// then repaired at its own cost. The figures are worked by hand from
// ECR = sum_k c_k (1 - sum_{j<k} p_j) + (1 - sum p) refer + sum_{j left} p_j c_j.
func TestExpectedMinutesOfRepairs(t *testing.T) {
	for _, c := range []struct {
		name      string
		p, cost   []float64
		part      []string // component of each fault
		refer     float64
		want      float64
		firstPart string // empty: refer at once
	}{
		// 40 + 0.5 x 120: the hose is renewed once, whichever way it failed.
		{"two failures of one hose", []float64{.3, .2, .5}, []float64{40, 40, 120}, []string{"hose", "hose", "vanes"}, 1e4, 100, "hose"},
		// 40 + 0.7 x 120 + 0.2 x 60: another repair of the same part is paid for.
		{"two repairs of one hose", []float64{.3, .2, .5}, []float64{40, 60, 120}, []string{"hose", "hose", "vanes"}, 1e4, 136, "hose"},
		// 40 + 0.91 x 520: a repair dearer than a referral is still its own price.
		{"a dear repair", []float64{.91, .09}, []float64{520, 40}, []string{"vanes", "hose"}, 180, 513.2, "hose"},
		// 60 to find it + 0.5 x 500 + 0.5 x 500: guessing would cost 500 + 0.5 x 500.
		{"a specialist is cheaper", []float64{.5, .5}, []float64{500, 500}, []string{"a", "b"}, 60, 560, ""},
	} {
		b := oneOf(c.p, c.cost)
		for i, part := range c.part {
			b.Faults[i].Component = part
			for j := range b.Components {
				if b.Components[j].ID == b.Faults[i].ID {
					b.Components[j].ID, b.Components[j].Name = part, part
				}
			}
		}
		b.Components = uniqueParts(b.Components)
		e := engineOf(t, b, Options{MaxFaults: 1, Limits: exactLimits()}, "s")
		got, first := e.newRepairer().expected(e.chance, e.none, c.refer)
		closeTo(t, c.name, got, c.want, 2e-3*c.want)
		part := ""
		if first >= 0 {
			part = e.m.in.Suspects[first].Component.ID
		}
		if part != c.firstPart {
			t.Errorf("%s begins with %q, want %q", c.name, part, c.firstPart)
		}
	}
}

// What a person has ruled out leads nowhere in what is advised: not in the outcomes
// written ahead, not as the part to replace.
func TestOverruledIsPassedByInTheAdvice(t *testing.T) {
	c := bayCase(t)
	c.Findings = []evidence.Finding{said("f1", "counter", 3, "abnormal"), said("f2", "coil_swap", 3, "abnormal")}
	top := judge(t, c, Options{}).Suspects[0]
	told := func() int {
		n := 0
		a := judge(t, c, Options{})
		for _, next := range a.Next {
			for _, o := range next.Outcomes {
				if strings.Contains(o.LeadsTo, phrase(&top)) {
					n++
				}
			}
		}
		if strings.Contains(a.Replace, phrase(&top)) {
			n++
		}
		return n
	}
	if told() == 0 {
		t.Fatal("the leader leads nowhere even before")
	}
	c.Overrules = []Overrule{{Suspect: top.Suspect.ID, State: RuledOut, Reason: "new last week", Who: "R. Haas"}}
	if n := told(); n != 0 {
		t.Errorf("what was ruled out is told %d times in the advice", n)
	}
}

func uniqueParts(list []book.Component) []book.Component {
	seen := map[string]bool{}
	return slices.DeleteFunc(list, func(c book.Component) bool {
		was := seen[c.ID]
		seen[c.ID] = true
		return was
	})
}
