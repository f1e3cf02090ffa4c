package shop

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"proveout/intake"
)

const proven = "../examples/06-proven-on-the-hill"

// The example is proven the way its README says, and each figure that the answer
// gives follows from others in it.
func TestProveTheExample(t *testing.T) {
	a, err := Prove(proven, Options{Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if a.State != "proven" || a.By != "measured" || !a.NamedByPerson {
		t.Errorf("%s by %s: %s %v", a.State, a.By, a.Headline, a.Why)
	}
	if len(a.Causes) != 1 || a.Causes[0].Suspect != "plug_gap_wide@cyl4" || a.Causes[0].State != "shown" || a.Causes[0].Item == 0 {
		t.Errorf("causes %+v", a.Causes)
	}
	if !strings.Contains(a.Conditions.From, "freeze frame of P0304 (item 1)") || a.Conditions.KmhAt1000 == 0 || a.Conditions.Warm != "warm" {
		t.Errorf("conditions %+v", a.Conditions)
	}
	if a.Before.Episodes != 4 || a.After.Episodes != 0 || a.After.Outside != 0 {
		t.Errorf("episodes %d before, %d after", a.Before.Episodes, a.After.Episodes)
	}
	sum := struct{ before, need, counted float64 }{}
	for _, c := range a.Cells {
		sum.before += c.Before
		sum.need += c.Need
		sum.counted += c.Counted
		if c.Counted > c.Need || c.Counted > c.Driven {
			t.Errorf("a cell counts beyond its need: %+v", c)
		}
	}
	if math.Abs(sum.before-a.Before.Seconds) > 0.01 || sum.counted < sum.need-0.01 {
		t.Errorf("cells %+v, before %v", sum, a.Before.Seconds)
	}
	if want := math.Pow(sum.before/(sum.before+sum.counted), 4); a.CouldBeChance == nil || math.Abs(*a.CouldBeChance-want) > 1e-4 || want > 0.05 {
		t.Errorf("could be chance %v, want %v", a.CouldBeChance, want)
	}
	if a.RatioUpper == nil || *a.RatioUpper > 1 || *a.RatioUpper <= a.RatioLimit {
		t.Errorf("the drive alone improves and does not prove: upper bound %v", a.RatioUpper)
	}
	if len(a.Measured) == 0 || !a.Measured[0].Decides || !a.Measured[0].Passed || len(a.Measured[0].After) != 4 {
		t.Errorf("measured %+v", a.Measured)
	}
	if a.Codes.Before == nil || a.Codes.After == nil || len(a.Codes.Before.Confirmed.Codes) != 1 || len(a.Codes.After.Confirmed.Codes) != 0 || len(a.Codes.After.MonitorsOpen) != 1 {
		t.Errorf("codes %+v", a.Codes)
	}
	if !strings.Contains(strings.Join(a.NotTested, " "), "catalyst monitor") {
		t.Errorf("not tested: %v", a.NotTested)
	}
}

func TestProveGivesTheSameBytes(t *testing.T) {
	var first []byte
	for range 2 {
		a, err := Prove(proven, Options{Program: "test"})
		if err != nil {
			t.Fatal(err)
		}
		b, err := json.Marshal(a)
		if err != nil {
			t.Fatal(err)
		}
		if first != nil && string(first) != string(b) {
			t.Error("two runs differ")
		}
		first = b
	}
}

// variant copies the example with its job file changed.
func variant(t *testing.T, change func(job string) string) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(proven)); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "job.yaml")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	now := change(string(text))
	if now == string(text) {
		t.Fatal("the change changes nothing")
	}
	if err := os.WriteFile(file, []byte(now), 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

func replace(pairs ...string) func(string) string { return strings.NewReplacer(pairs...).Replace }

// Each variant takes one leg from under the proof.
func TestProveVariants(t *testing.T) {
	after4 := "  - feature: plug.gap\n    values: {1: 1.02 mm, 2: 1.02 mm, 3: 1.02 mm, 4: 1.08 mm}\n    uncertainty: 0.03 mm\n    when: after"
	for name, x := range map[string]struct {
		change func(string) string
		state  string
		says   string // in headline, why, notes or what is not tested
	}{
		"measured again, still wide": {replace(after4, strings.Replace(after4, "4: 1.08", "4: 1.60", 1)), "improved", "still off"},
		"named by road":              {replace("by: measured", "by: road"), "improved", "not the one named"},
		"nothing named":              {replace("  by: measured\n", ""), "proven", "Measured again"},
		"episode noticed after":      {replace("drive: {episodes: [], road: 62 min}", "drive: {episodes: [230 s], road: 62 min}"), "came_back", "showed again"},
		"before led to the cause":    {replace("drive: {as: before, road: 38 min}", "drive: {as: cause}"), "proven", "never the before"},
		"only found":                 {replace("drive: {as: before, road: 38 min}", "drive: {as: found}"), "proven", "clock starts at its first episode"},
		"not driven after":           {replace("    when: after\n    condition: {warm: warm, wet: dry}", "    set_aside: wrong vehicle\n    when: after\n    condition: {warm: warm, wet: dry}"), "proven", "not driven after"},
		"flashing lamp":              {replace("lamp: steady", "lamp: flashing"), "proven", "catalyst took harm"},
		"relative load":              {replace("  by: measured", "  by: measured\n  load_within: relative"), "proven", "20 % of the stored load"},
		"typed conditions":           {replace("  by: measured", "  by: measured\n  conditions: {rpm: 1800 to 2000, load_pct: 20 to 40}"), "not_known", ""},
		"old part back":              {replace("  by: measured", "  by: old_part_back\n  old_part_back: {came_back: yes, gone: yes}"), "proven", "came back with it"},
		"old part did not return it": {replace("  by: measured", "  by: old_part_back\n  old_part_back: {came_back: no, gone: yes}"), "improved", "not the cause"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			a, err := Prove(variant(t, x.change), Options{Program: "test"})
			if err != nil {
				t.Fatal(err)
			}
			text, err := json.Marshal(a)
			if err != nil {
				t.Fatal(err)
			}
			if name == "typed conditions" { // driven, but nowhere near: no episode inside
				if a.Before.Episodes != 0 || a.Before.Outside != 4 || a.State != "proven" {
					t.Errorf("%s: %d inside, %d outside", a.State, a.Before.Episodes, a.Before.Outside)
				}
				return
			}
			if a.State != x.state || !strings.Contains(string(text), x.says) {
				t.Errorf("%s: %s %v\n%v", a.State, a.Headline, a.Why, a.NotTested)
			}
		})
	}
}

// A code that is stored again after it was erased is the fault come back; one that
// nobody erased says nothing.
func TestCodesAfter(t *testing.T) {
	// The modules answer after the repair what they answered before it, five hours later.
	same := replace("captures/modules-after.log", "captures/again.log")
	again := func(change func(string) string) string {
		dir := variant(t, change)
		log, err := os.ReadFile(filepath.Join(dir, "captures", "modules-before.log"))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "captures", "again.log"), bytes.ReplaceAll(log, []byte("(17955936"), []byte("(17956116")), 0o644); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	a, err := Prove(again(same), Options{Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if a.State != "came_back" || fmt.Sprint(a.Codes.Back) != "[P0304]" {
		t.Errorf("%s %+v", a.State, a.Codes)
	}
	a, err = Prove(again(func(s string) string { return replace("  erased: \"2026-11-25T12:50:00Z\"\n", "")(same(s)) }), Options{Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	if a.State != "proven" || len(a.Codes.Back) != 0 || !strings.Contains(strings.Join(a.Codes.Notes, " "), "says nothing yet") {
		t.Errorf("%s %+v", a.State, a.Codes)
	}
}

// A log without which the cause would not be shown led to it, whatever is written
// beside it.
func TestLogThatLedToTheCauseIsFoundOut(t *testing.T) {
	dir := variant(t, replace("result: moves_and_returns", "result: moves_and_returns\n    set_aside: another hill"))
	folder, err := intake.OpenFolder(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer folder.Close()
	f, err := readJob(folder)
	if err != nil {
		t.Fatal(err)
	}
	p, err := prove(inFolder{folder}, f, Options{Program: "test"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if p.ledToCause(2) {
		t.Error("without the drive the gap still shows the cause")
	}
	gap := p.finding(p.causes[0].By)
	if gap == nil || !p.ledToCause(gap.Item) {
		t.Error("without the gaps nothing shows the cause: that item led to it")
	}
}
