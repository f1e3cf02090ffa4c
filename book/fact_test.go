package book

import (
	"math"
	"strings"
	"testing"
)

// The law of total probability: over vehicles for which a fact holds and others, the
// factors of yes and no average to 1, so that asking moves nothing by itself.
func TestAnswersAverageToTheRate(t *testing.T) {
	for _, share := range []float64{0.01, 0.1, 0.2, 0.5} {
		for _, times := range []float64{0.25, 1, 1.5, 4, 8} {
			f := Fact{Share: Num{share, "EST"}}
			no := f.No(times)
			if share*times > MostShare {
				if want := (1 - MostShare) / (1 - share); math.Abs(no-want) > 1e-12 {
					t.Errorf("share %g, times %g: no is %g, want the floor %g", share, times, no, want)
				}
				continue
			}
			if mean := share*times + (1-share)*no; math.Abs(mean-1) > 1e-12 {
				t.Errorf("share %g, times %g: the mean factor is %g", share, times, mean)
			}
		}
	}
	if no := (Fact{}).No(8); no != 1 {
		t.Errorf("without a share no moves by %g", no)
	}
}

// A fact may be a bare question or a question with its share.
func TestFactsAreRead(t *testing.T) {
	text := strings.Replace(small, "faults:\n", "context:\n  wet: Worse in rain?\n  hot: {ask: Worse hot?, share: [0.2, EST]}\nfaults:\n", 1)
	text = strings.Replace(text, "rate: [0.02, EST]", "rate: [0.02, EST], context: [{fact: hot, times: [3, EST]}, {fact: wet, times: [30, EST]}]", 1)
	b, ps := Load("facts.yaml", []byte(text))
	if ps = append(ps, Check(b)...); len(ps) > 0 {
		t.Fatal(ps)
	}
	if b.Context["wet"] != (Fact{Ask: "Worse in rain?"}) || b.Context["hot"] != (Fact{Ask: "Worse hot?", Share: Num{0.2, "EST"}}) {
		t.Errorf("%+v", b.Context)
	}
	for _, c := range []struct{ old, new, want string }{
		{"times: [3, EST]", "times: [4.5, EST]", "would make 90 % of this fault's rate come from them, more than 80 %"},
		{"share: [0.2, EST]", "share: [0.95, EST]", "0.95 is outside"},
		{"ask: Worse hot?, ", "", "write the question as one would ask it"},
		{"share: [0.2, EST]", "share: 0.2", "has no source"},
	} {
		b, ps := Load("facts.yaml", []byte(strings.Replace(text, c.old, c.new, 1)))
		said := ""
		for _, p := range append(ps, Check(b)...) {
			said += p.String() + "\n"
		}
		if !strings.Contains(said, c.want) {
			t.Errorf("%s: want %q in\n%s", c.new, c.want, said)
		}
	}
}
