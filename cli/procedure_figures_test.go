package cli

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/procedure/runner"
	"proveout/unit"
)

func TestTwoNumbers(t *testing.T) {
	mm, err := unit.Parse("mm")
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		in           string
		value, limit float64 // mm; 0: refused
	}{
		{"12.3 10.4", 12.3, 10.4}, {"12,3 10,4", 12.3, 10.4}, {"12.3mm / 10.4mm", 12.3, 10.4}, {"12.3 mm 10.4 mm", 12.3, 10.4}, {"12.3;10.4", 12.3, 10.4}, {"1.2 cm 10.4", 12, 10.4},
		{"12.3", 0, 0}, {"12.3 10.4 1", 0, 0}, {"12.3 V 10.4", 0, 0},
	} {
		g, err := twoNumbers(tc.in, mm)
		if (err != nil) != (tc.value == 0) || err == nil && (math.Abs(g.Value-tc.value*1e-3) > 1e-12 || math.Abs(g.Limit-tc.limit*1e-3) > 1e-12) {
			t.Errorf("%q: %v, %v; want %g and %g mm", tc.in, g, err, tc.value, tc.limit)
		}
	}
}

// TestFiguresAreAskedFor: choosing a confirmation that names figures asks for each; one
// beyond its limit is said at once, "x" leaves it, and only the last one confirms.
func TestFiguresAreAskedFor(t *testing.T) {
	m, _, err := procedure.LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	term := &terminal{m: m, s: &runner.Session{Run: runner.New(m)}, out: &page{w: &out}}
	entry := runner.Entry{Kind: runner.Confirm, Step: "measure_before", How: "measured"}
	if !term.ask(entry) || len(term.asking.left) != 4 {
		t.Fatalf("asks %+v, want four figures", term.asking)
	}
	term.prompt()
	if !strings.Contains(out.String(), "WRITE DOWN: Thinnest old left pad") {
		t.Errorf("the prompt reads %q", out.String())
	}
	for _, line := range []string{"3.1 2.0", "hello", "x"} {
		heard, err := term.figure(line)
		if err != nil {
			t.Fatal(err)
		}
		if want := line != "hello"; heard != want {
			t.Errorf("%q heard as a figure: %v, want %v", line, heard, want)
		}
		if line == "hello" {
			term.ask(entry)
		}
	}
	if term.asking != nil {
		t.Error("x does not leave it")
	}
	term.ask(entry)
	for _, line := range []string{"3.1 2.0", "3.0 2.0"} {
		if _, err := term.figure(line); err != nil {
			t.Fatal(err)
		}
	}
	var r *runner.Refusal
	if _, err := term.figure("10.3 10.4"); !errors.As(err, &r) || !strings.Contains(r.Error(), "under the limit") {
		t.Errorf("a thin disc is taken: %v", err)
	}
	if term.ask(runner.Entry{Kind: runner.Confirm, Step: "tag_on", How: "photo"}) {
		t.Error("figures are asked for where none are named")
	}
}
