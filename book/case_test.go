package book_test

import (
	"strings"
	"testing"

	"proveout/book"
	"proveout/strict"
)

func TestLoadCaseIsStrict(t *testing.T) {
	const good = "schema: proveout/case/1\nname: a\nwhy: b\nsource: c\nbook: petrol_misfire\n"
	for _, x := range []struct{ name, text, want string }{
		{"unknown field", good + "expct: {first: a}\n", "case.yaml:6:1: expct: there is no such field"},
		{"no source", strings.Replace(good, "source: c\n", "", 1), "source: is missing"},
		{"one suspect in above", good + "expect:\n  above:\n    - [a]\n", "case.yaml:8:7: expect.above[0]: wants two suspects"},
		{"both shown and none", good + "expect: {shown: [a], shown_none: true}\n", "keep one"},
	} {
		_, ps := book.LoadCase("case.yaml", []byte(x.text))
		if len(ps) == 0 || !strings.Contains(ps[0].String(), x.want) {
			t.Errorf("%s: problems %v, want %q", x.name, ps, x.want)
		}
	}
	if _, ps := book.LoadCase("case.yaml", []byte(good)); len(ps) != 0 {
		t.Errorf("problems in a good case: %v", ps)
	}
}

// TestFindingsSayWhatDoesNotFit: a reading that fits nothing is named with its line.
func TestFindingsSayWhatDoesNotFit(t *testing.T) {
	in, err := book.Instantiate(warmFour(), petrol(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ name, reading, want string }{
		{"no such test", "{test: tea_leaves, outcome: good}", `no test "tea_leaves"`},
		{"no such cylinder", "{test: mist, subject: cyl9, outcome: quiet}", `not done on cylinder 9`},
		{"no such outcome", "{test: mist, subject: cyl1, outcome: loud}", `no outcome "loud"`},
		{"two ways at once", "{test: mist, subject: cyl1, outcome: quiet, effect: 3}", "give one of outcome"},
		{"number for a word", "{test: mist, subject: cyl1, effect: 3}", "reads no number"},
		{"no subject", "{test: mist, subject: left, outcome: quiet}", "names no subject"},
	} {
		c, ps := book.LoadCase("case.yaml", []byte("schema: proveout/case/1\nname: a\nwhy: b\nsource: c\nbook: petrol_misfire\nreadings:\n  - "+x.reading+"\n"))
		if len(ps) != 0 {
			t.Errorf("%s: %v", x.name, ps)
			continue
		}
		_, err := c.Findings(in)
		if err == nil || !strings.Contains(err.Error(), x.want) || !strings.Contains(err.Error(), "case.yaml:7") {
			t.Errorf("%s: error %v, want %q in line 7", x.name, err, x.want)
		}
	}
}

// TestFindingsConvertUnits: effects of absolute and difference tests become SI.
func TestFindingsConvertUnits(t *testing.T) {
	in, err := book.Instantiate(warmFour(), petrol(t))
	if err != nil {
		t.Fatal(err)
	}
	const text = `schema: proveout/case/1
name: a
why: b
source: c
book: petrol_misfire
readings:
  - {test: vacuum_idle, effect: 20, sigma: 1}
  - {test: burn_time_snap, effects: {1: 0.6, cyl2: 1.0, 3: 1, 4: 1}, sigma: 0.04}
`
	c, ps := book.LoadCase("case.yaml", []byte(text))
	if len(ps) != 0 {
		t.Fatal(ps)
	}
	fs, err := c.Findings(in)
	if err != nil {
		t.Fatal(err)
	}
	// 1 inHg is 3386.389 Pa at 0 degree Celsius (NIST SP 811, appendix B).
	if f := fs[0]; f.Effect != 20*3386.389 || f.EffectSigma != 3386.389 || f.Unit != "inHg" || f.Value != 20 {
		t.Errorf("vacuum: effect %g, sigma %g, shown %g %s", f.Effect, f.EffectSigma, f.Value, f.Unit)
	}
	if f := fs[1]; len(fs) != 5 || f.Effect != 0.6 || !f.AllCompared || f.State == "normal" {
		t.Errorf("%d findings; burn time %+v", len(fs), f)
	}
}

func FuzzLoadCase(f *testing.F) {
	in, err := book.Instantiate(warmFour(), petrol(f))
	if err != nil {
		f.Fatal(err)
	}
	f.Add([]byte("schema: proveout/case/1\nreadings:\n  - {test: mist, subject: cyl1, outcome: quiet}\n"))
	f.Add([]byte("schema: proveout/case/1\nengine: {cylinders: -3, banks: [[9], [0]]}\nreadings:\n  - {test: vacuum_idle, effects: {1: 1e308}}\n"))
	f.Add([]byte("expect: {above: [[a], [b, c, d]]}"))
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > 1<<16 {
			t.Skip("longer than any case file: only the time to parse it would be tested")
		}
		c, ps := book.LoadCase("fuzz.yaml", text)
		if c == nil {
			if len(ps) == 0 {
				t.Fatal("no case and no problem")
			}
			return
		}
		for _, p := range strict.Errors(ps) {
			if p.Text == "" {
				t.Error("a problem without a text")
			}
		}
		if e := c.Layout(); e.Validate() == nil {
			_, _ = book.Instantiate(e, petrol(t))
		}
		if fs, err := c.Findings(in); err == nil && len(fs) < len(c.Readings) {
			t.Errorf("%d readings gave %d findings", len(c.Readings), len(fs))
		}
	})
}
