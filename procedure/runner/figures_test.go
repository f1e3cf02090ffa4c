package runner_test

import (
	"testing"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// TestFiguresAreDemanded: a yes does not do where a value is asked for; a value
// without its limit, or beyond it, does not either; what is given is kept.
func TestFiguresAreDemanded(t *testing.T) {
	b := brake(t)
	b.upTo("measure_before")
	b.put(runner.Entry{Kind: runner.Begin, Step: "measure_before"})
	yes := runner.Entry{Kind: runner.Confirm, Step: "measure_before", How: "measured"}
	b.refused(yes, "Write it down: Thinnest old left pad")
	all := func(disc float64) map[string]procedure.Given {
		return map[string]procedure.Given{"pad_worn.left": {Value: .002, Limit: .003}, "pad_worn.right": {Value: .004, Limit: .003}, "disc.left": {Value: .0112, Limit: .0104}, "disc.right": {Value: disc, Limit: .0104}}
	}
	yes.Figures = all(.0112)
	delete(yes.Figures, "disc.right")
	b.refused(yes, "The right disc")
	yes.Figures = all(.0103)
	b.refused(yes, "under the limit of 10.40 mm")
	yes.Figures = all(.0105)
	yes.Figures["caliper_torque.left"] = procedure.Given{Value: 1, Limit: 1}
	b.refused(yes, "no figure of this confirmation")
	yes.Figures = all(.0105)
	b.put(yes)
	rec := b.r.Records()[len(b.r.Records())-1]
	if rec.Step != "measure_before" || !rec.Done || rec.Figures["disc.right"].Value != .0105 || rec.Figures["disc.right"].Limit != .0104 {
		t.Errorf("the record keeps %+v", rec)
	}
}
