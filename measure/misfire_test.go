package measure

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/obd"
	"proveout/published"
	"proveout/unit"
	"proveout/vehicle"
)

// standards.md 7.1: percent arithmetic over 200 and 1000 revolutions.
func TestMisfirePercentTable(t *testing.T) {
	for _, r := range published.Rows(t, "misfire_percent_examples.csv", 9) {
		c, rev, k := int(published.Number(t, r[0])), int(published.Number(t, r[1])), int(published.Number(t, r[2]))
		if got := FiringEvents(c, rev); got != published.Number(t, r[3]) {
			t.Errorf("%v: %v firing events", r, got)
		}
		if got := fmt.Sprintf("%.4f", MisfirePercent(k, c, rev)); got != r[4] {
			t.Errorf("%v: %s %%", r, got)
		}
	}
	if !math.IsNaN(MisfirePercent(1, 4, 0)) {
		t.Error("no revolutions have no percentage")
	}
}

// standards.md 7.1, 40 CFR 86.010-18 (h)(2)(i)(C).
func TestCylinderRuleTable(t *testing.T) {
	for _, r := range published.Rows(t, "misfire_cylinder_rule_examples.csv", 4) {
		_, list, ok := strings.Cut(r[0], ": ")
		if !ok {
			list = r[0]
		}
		var counts []float64
		for _, s := range strings.Split(list, ",") {
			counts = append(counts, published.Number(t, strings.TrimSpace(s)))
		}
		want := Undecided
		switch {
		case strings.Contains(r[2], "single-cylinder code allowed"):
			want = SingleCylinder
		case strings.Contains(r[2], "multiple-cylinder code required"):
			want = MultipleCylinder
		}
		if got, _ := JudgeCylinders(counts); got != want {
			t.Errorf("%v: %s, want %s", counts, got, want)
		}
	}
	if r, c := JudgeCylinders([]float64{46, 1, 1, 0}); r != SingleCylinder || c != 1 {
		t.Error("the cylinder must be named")
	}
}

// trade.md 3.1: one bad cycle of 100 counts adds 10; ten clean cycles leave 35 %.
func TestRegisterArithmetic(t *testing.T) {
	if got := obd.EWMA(0, 100); got != 10 {
		t.Errorf("one bad cycle: %v", got)
	}
	if got := RegisterAfterClean(10, 10); math.Abs(got-3.487) > 0.001 {
		t.Errorf("ten clean cycles leave %v", got)
	}
	if CountsBehindRegister(10) != 100 {
		t.Error("a register of 10 stands for at least 100 counts")
	}
}

func counts(feature string, n ...float64) []evidence.Reading {
	var out []evidence.Reading
	for i, v := range n {
		out = append(out, evidence.Reading{Item: 1, Feature: feature, Subject: evidence.Cyl(i + 1), Value: unit.Quantity{Typed: v, Unit: unit.Must("count"), SI: v}, N: 1, Typed: true})
	}
	return out
}

func judgeCounts(n ...float64) []evidence.Finding {
	return Judge(Task{Engine: vehicle.Engine{Cylinders: len(n)}, Readings: counts("misfire.count", n...)})
}

// trade.md 3.2 through the whole way: for each total the table's count is High,
// one less is not.
func TestCountTableThroughJudge(t *testing.T) {
	for _, row := range [][4]int{{5, 5, 5, 4}, {8, 7, 6, 5}, {10, 8, 7, 6}, {20, 12, 10, 9}, {50, 23, 18, 15}, {100, 39, 29, 24}} {
		for i, m := range []int{4, 6, 8} {
			for _, k := range []int{row[i+1], row[i+1] - 1} {
				n := make([]float64, m)
				n[1] = float64(k)
				rest := row[0] - k
				// The rest is spread evenly so that only the asked cylinder can stand out.
				for j := 0; rest > 0; j = (j + 1) % m {
					if j != 1 {
						n[j]++
						rest--
					}
				}
				fs := judgeCounts(n...)
				high := fs[1].State == evidence.High
				if high != (k == row[i+1]) {
					t.Errorf("T=%d, %d cylinders, %v: cylinder 2 high=%v", row[0], m, n, high)
				}
				if math.Abs(fs[1].Effect-float64(k)/float64(row[0])) > 1e-12 {
					t.Errorf("effect must be the share, is %v", fs[1].Effect)
				}
			}
		}
	}
}

// TestOneBurstOnOneCylinder: seventy misfires on one cylinder that came at one go settle
// nothing, but they are more than its share, and nobody may be told otherwise.
func TestOneBurstOnOneCylinder(t *testing.T) {
	rs := counts("misfire.count", 74, 0)
	for i := range rs {
		if rs[i].Value.SI > 0 {
			rs[i].Episodes = 1
		}
	}
	for _, c := range []struct {
		n     float64
		state evidence.FindingState
		says  string
	}{{74, evidence.NotEstablished, "they came in one burst, and a single one could be chance"}, {3, evidence.Normal, "so few that chance explains them"}} {
		rs[0].Value.SI = c.n
		f := Judge(Task{Engine: vehicle.Engine{Cylinders: 2}, Readings: rs})[0]
		if f.State != c.state || !strings.Contains(f.Sentence, c.says) {
			t.Errorf("%g: %s %s", c.n, f.State, f.Sentence)
		}
	}
}

func TestCountsSay(t *testing.T) {
	for _, c := range []struct {
		n    []float64
		high []int
		says string // in the finding of the first cylinder
	}{
		{[]float64{0, 0, 0, 0}, nil, "says nothing"},
		{[]float64{2, 1, 61, 0}, []int{3}, "no more than its share"},
		{[]float64{22, 20, 2, 1}, []int{1, 2}, "more than chance"},
		{[]float64{7, 9, 6, 8}, nil, "no more than its share"}, // appendix A, case 4: scattered
		{[]float64{1, 2, 0, 0}, nil, "no more than its share"},
		{[]float64{4, 1, 0, 0}, nil, "not established"},
		{[]float64{15, 379, 0}, []int{2}, "no more than its share"},
	} {
		fs := judgeCounts(c.n...)
		var high []int
		for _, f := range fs {
			if f.State == evidence.High {
				high = append(high, f.Subject.Number)
			}
			if !f.AllCompared {
				t.Errorf("%v: all cylinders were given", c.n)
			}
		}
		if fmt.Sprint(high) != fmt.Sprint(c.high) {
			t.Errorf("%v: high %v, want %v", c.n, high, c.high)
		}
		if !strings.Contains(fs[0].Sentence, c.says) {
			t.Errorf("%v: %q", c.n, fs[0].Sentence)
		}
	}
	// Zero with exposure is an answer: 0 in 3230 opportunities is under 0.1 % (appendix A).
	rs := counts("misfire.count", 0, 0, 0, 0)
	for i := range rs {
		rs[i].Opportunities = 3230
	}
	f := Judge(Task{Engine: vehicle.Engine{Cylinders: 4}, Readings: rs})[0]
	if f.State != evidence.Normal || !strings.Contains(f.Sentence, "under 0.093 %") {
		t.Errorf("zero with exposure: %s %q", f.State, f.Sentence)
	}
	// One burst of 44 is one episode: it does not single out a cylinder by itself.
	rs = counts("misfire.count", 0, 44, 0, 0)
	rs[1].Episodes = 1
	if f := Judge(Task{Engine: vehicle.Engine{Cylinders: 4}, Readings: rs})[1]; f.State == evidence.High || !strings.Contains(f.Sentence, "one burst") {
		t.Errorf("one burst: %s %q", f.State, f.Sentence)
	}
	// A register says what it is.
	rs = counts("misfire.ewma", 0, 0, 23, 0)
	fs := Judge(Task{Engine: vehicle.Engine{Cylinders: 4}, Readings: rs, Asks: []Ask{{Test: "register", Feature: "misfire.ewma", Versus: Count}}})
	if fs[2].State != evidence.High || !strings.Contains(fs[2].Sentence, "at least 230 counts") || !strings.Contains(fs[2].Why, "35 %") {
		t.Errorf("register: %s %q %q", fs[2].State, fs[2].Sentence, fs[2].Why)
	}
	// Typed shares are not counts: 90 % alone is not established.
	rs = nil
	for i, v := range []float64{3, 90, 4, 3} {
		rs = append(rs, evidence.Reading{Feature: "misfire.share", Subject: evidence.Cyl(i + 1), Value: unit.Quantity{Typed: v, Unit: unit.Must("%"), SI: v}, N: 1, Typed: true})
	}
	if f := Judge(Task{Engine: vehicle.Engine{Cylinders: 4}, Readings: rs})[1]; f.State != evidence.NotEstablished || f.Effect != 0.9 || !strings.Contains(f.Sentence, "Write the counts") {
		t.Errorf("typed share: %+v", f)
	}
	// One cylinder alone has no whole.
	if f := Judge(Task{Readings: counts("misfire.count", 9)})[0]; f.State != evidence.NotJudged {
		t.Errorf("one cylinder: %s", f.State)
	}
}

// Monitor results as bytes (standards.md 2.4 examples), decoded and measured.
func TestMonitorResults(t *testing.T) {
	block := func(b ...byte) obd.MonitorReading {
		r, err := obd.DecodeMonitor(b)
		if err != nil {
			t.Fatal(err)
		}
		return obd.MonitorReading{MonitorResult: r, Source: obd.Source{Record: 3, Line: 7}}
	}
	after := block(0xA2, 0x0C, 0x24, 0, 0, 0, 0, 0xFF, 0xFF)
	after.Clears = 1
	s := &obd.Session{Modules: []*obd.Module{{Address: "7E8", Monitors: []obd.MonitorReading{
		block(0xA2, 0x0B, 0x24, 0, 3, 0, 0, 0xFF, 0xFF),
		block(0xA2, 0x0C, 0x24, 0, 0x2A, 0, 0, 0xFF, 0xFF),
		block(0xA3, 0x0C, 0x24, 0, 0, 0, 0, 0xFF, 0xFF),
		block(0xA4, 0x0C, 0x24, 0, 0, 0, 0, 0, 0), // not run
		block(0xA1, 0x80, 0x2F, 1, 0x41, 0, 0, 1, 0xF4),
		after, // read after a clear: must not replace the 42
	}}}}
	res, err := Diagnostics(s, Meta{Item: 5, File: "modules.txt"})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Readings) != 3 || len(res.NotMeasured) != 1 || res.NotMeasured[0].Subject != evidence.Cyl(3) {
		t.Fatalf("%+v %+v", res.Readings, res.NotMeasured)
	}
	r, _ := find(res.Readings, "misfire.count")
	if r.Subject != evidence.Cyl(1) || r.Value.SI != 42 || r.From.Line != 7 || r.From.Channel != "7E8" {
		t.Errorf("%+v", r)
	}
	if e, ok := find(res.Readings, "misfire.ewma"); !ok || e.Value.SI != 3 || !e.Has(evidence.Diluted) {
		t.Errorf("%+v", e)
	}
	if len(res.Notes) != 1 || !strings.Contains(res.Notes[0].Text, "after the codes were cleared") {
		t.Errorf("%+v", res.Notes)
	}
	if _, err := Diagnostics(nil, Meta{}); err == nil {
		t.Error("no session must be an error")
	}
	s.MixedVehicles = true
	if res, _ := Diagnostics(s, Meta{}); len(res.Readings) != 0 || len(res.NotMeasured) == 0 {
		t.Error("two vehicles in one capture must not be measured")
	}
}
