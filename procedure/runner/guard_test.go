package runner_test

import (
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/procedure/checker"
	"proveout/procedure/runner"
)

// TestGuardsAsData: a reading with its unit, time elapsed since a step, and by how
// many means a step was confirmed, from the file to the words on the screen.
func TestGuardsAsData(t *testing.T) {
	text, err := procedure.ShippedText("window_initialisation")
	if err != nil {
		t.Fatal(err)
	}
	const old = "    do: \"One touch up and down works, it stops at both ends.\"\n"
	if !strings.Contains(string(text), old) {
		t.Fatal("the file has changed")
	}
	s := strings.Replace(string(text), old, old+"    interlock: {all: [{reading: battery_now, at_least: 12.6 V}, {elapsed: pinch, at_least: 10 s}, {confirmed: close, by: 2}]}\n", 1)
	// The reading must be within the precondition's own limit, 12.4 V, or it stops
	// there; between 12.4 and 12.6 V the interlock would never hold.
	s = strings.Replace(s, "at_least: \"12.4 V\"", "at_least: \"12.6 V\"", 1)
	s = strings.Replace(s, "at_least: 12.4 V", "at_least: 12.6 V", 1)
	m, ps := procedure.Load("guards", []byte(s))
	if m == nil {
		t.Fatal(ps)
	}
	if r := checker.Check(m, checker.Options{}); !r.Passed {
		t.Fatalf("does not pass: %+v", r.Problems)
	}
	i, _ := m.StepIndex("function")
	for _, want := range []string{"at least 12.6 V", "at least 10 s have passed since step \"pinch\"", "confirmed in two ways"} {
		if !strings.Contains(m.SayInterlock(i), want) {
			t.Errorf("the interlock reads %q, want %q in it", m.SayInterlock(i), want)
		}
	}
	b := &bench{t: t, m: m, r: runner.New(m), now: runner.Stamp{Wall: 1e18, Mono: 1e12, Boot: "a"}}
	b.upTo("pinch")
	p, _ := m.StepIndex("pinch")
	b.put(runner.Entry{Kind: runner.Begin, Step: "pinch"})
	b.finish(p)
	begin := runner.Entry{Kind: runner.Begin, Step: "function"}
	b.pass(9)
	b.refused(begin, "10 s have passed")
	b.pass(1.1)
	b.put(begin)
}

// TestCheckerSeesAReadingThatCannotBeMet: the same interlock with a precondition that
// lets less through is stuck, and the checker says where.
func TestCheckerSeesAReadingThatCannotBeMet(t *testing.T) {
	text, err := procedure.ShippedText("window_initialisation")
	if err != nil {
		t.Fatal(err)
	}
	const old = "    do: \"One touch up and down works, it stops at both ends.\"\n"
	s := strings.Replace(string(text), old, old+"    interlock: {reading: battery_now, at_least: 12.6 V}\n", 1)
	m, ps := procedure.Load("guards", []byte(s))
	if m == nil {
		t.Fatal(ps)
	}
	r := checker.Check(m, checker.Options{})
	if r.Passed || !strings.Contains(r.Problems[0].Text, "at least 12.6 V") {
		t.Errorf("passed %v, %+v", r.Passed, r.Problems)
	}
}

// TestTooHighIsToldFromTooLow: both hold a start, but the hand that mends them turns the
// other way.
func TestTooHighIsToldFromTooLow(t *testing.T) {
	m, _, err := procedure.LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		kind  string
		level string
		volts float64
		told  bool
	}{
		{runner.WatchNow, "below the line", 15.7, true},
		{runner.WatchNow, "stop", 16.4, true},
		{runner.WatchNow, "below the line", 11.8, false},
		{runner.WatchNow, "holding", 13.4, false},
		{runner.Typed, "", 134, true},
		{runner.Typed, "", 11.9, false},
		{runner.Typed, "", 13.4, false},
	} {
		b := &bench{t: t, m: m, r: runner.New(m), now: runner.Stamp{Wall: 1e18, Mono: 1e12, Boot: "a"}}
		b.put(runner.Entry{Kind: tc.kind, Watch: "supply", Level: tc.level, Value: &tc.volts})
		if ask := b.r.At(b.now).Watches[0].Ask; strings.Contains(ask, "too high, over 15.5 V") != tc.told {
			t.Errorf("%s %s at %g V: the screen adds %q", tc.kind, tc.level, tc.volts, ask)
		}
	}
}
