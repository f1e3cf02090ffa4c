package reason

import (
	"testing"

	"proveout/book"
	"proveout/evidence"
	"proveout/reason/bay"
)

func bayCase(t testing.TB) Case {
	t.Helper()
	in, err := book.Instantiate(bay.Engine(), bay.Book())
	if err != nil {
		t.Fatal(err)
	}
	return Case{Instance: in, Symptoms: []string{"misfire_load"}}
}

func said(id, test string, cyl int, outcome string) evidence.Finding {
	s := evidence.WholeEngine
	if cyl > 0 {
		s = evidence.Cyl(cyl)
	}
	return evidence.Finding{ID: id, Test: test, Subject: s, Outcome: outcome, State: evidence.Abnormal}
}

func read(id, test string, cyl int, effect, sigma float64) evidence.Finding {
	return evidence.Finding{ID: id, Test: test, Subject: evidence.Cyl(cyl), Effect: effect, EffectSigma: sigma, State: evidence.High}
}
