package book

import (
	"math"
	"strings"
	"testing"

	"proveout/strict"
)

func TestSmallBookHasNoErrors(t *testing.T) {
	b, ps := Load("small.yaml", []byte(small))
	ps = append(ps, Check(b)...)
	for _, p := range strict.Errors(ps) {
		t.Error(p)
	}
}

// Each case changes one thing in a good book and names what must be found.
func TestCheckFinds(t *testing.T) {
	for _, tc := range []struct{ name, old, new, want string }{
		{"source missing", "rate: [0.02, EST]", "rate: 0.02", "small.yaml:9:63: faults[0].rate: has no source; write the tag of one of the book's sources with it, for example [0.25, EST] or src: EST"},
		{"source unknown", "rate: [0.02, EST]", "rate: [0.02, ETS]", `small.yaml:9:63: faults[0].rate: source "ETS" is not in the book's sources; there are: EST`},
		{"component unknown", "component: plug,", "component: plugg,", `small.yaml:9:31: faults[0].component: component "plugg" is in no book; did you mean "plug"?`},
		{"fault unknown", "      gap_wide: {wide", "      gap_widee: {wide", `small.yaml:20:18: tests[0].given.gap_widee: fault "gap_widee" is in no book; did you mean "gap_wide"?`},
		{"row above one", "gap_wide: {wide: 0.9,", "gap_wide: {wide: 0.9, normal: 0.2,", `small.yaml:20:17: tests[0].given.gap_wide: the chances sum to 1.1, more than 1`},
		{"chance above one", "gap_wide: {wide: 0.9,", "gap_wide: {wide: 1.9,", `small.yaml:20:24: tests[0].given.gap_wide.wide: 1.9 is no chance; write a number from 0 to 1`},
		{"certainty", "gap_wide: {wide: 0.9,", "gap_wide: {wide: 1,", `small.yaml:20:17: tests[0].given.gap_wide: leaves a chance of 0 for outcome "normal"; no reading may make certainty: leave at least 0.01`},
		{"false alarm floor", "normal: 0.97, wide: 0.03", "normal: 0.995, wide: 0.005", `small.yaml:18:36: tests[0].healthy.wide: a false alarm of 0.005 for "wide" is less than 0.01; no reading may make certainty: write at least 0.01`},
		{"healthy sum", "normal: 0.97, wide: 0.03", "normal: 0.9, wide: 0.03", `small.yaml:18:14: tests[0].healthy: the chances sum to 0.93; they must sum to 1`},
		{"hole", "from: 1.2, to: 3", "from: 1.3, to: 3", `small.yaml:17:9: tests[0].outcomes[1]: between 1.2 and 1.3 no outcome holds; let "wide" begin where "normal" ends`},
		{"overlap", "from: 1.2, to: 3", "from: 1.1, to: 3", `small.yaml:17:9: tests[0].outcomes[1]: "normal" and "wide" overlap from 1.1 to 1.2; let one begin where the other ends`},
		{"empty bounds", "from: 1.2, to: 3", "from: 3, to: 3", `small.yaml:17:9: tests[0].outcomes[1]: from 3 to 3 is empty; from must be below to`},
		{"no normal", "normal: true,", "", `small.yaml:16:7: tests[0].outcomes: 0 outcomes are normal; exactly one must be`},
		{"direct without row", "direct: [gap_wide]", "direct: [gap_wide, other]", `tests[0].direct[1]: fault "other" is in no book`},
		{"direct that proves nothing", "proves: true, ", "", `small.yaml:22:13: tests[0].direct: a direct test needs an outcome with proves: true`},
		{"feature unknown", "feature: plug.gap", "feature: plug.gapp", `feature "plug.gapp" is neither in the catalogue nor in a book; did you mean "plug.gap"?`},
		{"unit of another kind", "versus: limit, unit: mm", "versus: absolute, unit: kPa", `tests[0].reads.unit: kPa is a pressure, "plug.gap" is a length; write for example mm`},
		{"minutes missing", "minutes: {easy: [12, EST], buried: [60, EST]}", "minutes: {easy: [12, EST]}", `tests[0].minutes.buried: is missing; write for example [40, EST]`},
		{"layout matches nothing", "rate: [0.02, EST]", "rate: [0.02, EST], when: {min_cylinders: 9}", `faults[0]: fault "gap_wide" exists on no engine: its layout, or that of component "plug", matches nothing`},
		{"no test at a layout", "    static: true\n", "    static: true\n    when: {ignition: [coil_on_plug]}\n", `faults[0]: no test bears on fault "gap_wide" on 40 of 60 engines, for example 3 cylinders, waste spark, port injection`},
		{"id twice", "  - {id: plug, name: spark plug, per: cylinder}\n", "  - {id: plug, name: spark plug, per: cylinder}\n  - {id: plug, name: spark plug, per: cylinder}\n", `small.yaml:8:10: components[1].id: component "plug" is defined twice in this book; give it another id`},
		{"unknown field", "    static: true\n", "    statik: true\n", `small.yaml:21:5: tests[0].statik: there is no such field; did you mean "static"?`},
		{"schema of another version", "proveout/book/1", "proveout/book/9", `small.yaml:1:9: schema: is "proveout/book/9"; this program reads "proveout/book/1"`},
		{"hazard word", "components:\n", "hazards: {hot: {word: HOT, text: Hot parts burn. Let them cool.}}\ncomponents:\n", `small.yaml:6:23: hazards.hot.word: "HOT" is not one of: DANGER, WARNING, CAUTION, NOTICE`},
		{"access unknown", "    static: true\n", "    access: plugs\n", `tests[0].access: access "plugs" is in no book; none is defined`},
		{"complaint of certainty", "rate: [0.02, EST]", "rate: [0.02, EST], complaint: {rough: [1, EST]}", `a chance of exactly 1 makes certainty of one observation`},
		{"symptom unknown", "rate: [0.02, EST]", "rate: [0.02, EST], complaint: {rough: [0.4, EST]}", `faults[0].complaint.rough: symptom "rough" is in no book; none is defined`},
		{"not finite", "rate: [0.02, EST]", "rate: [.nan, EST]", `faults[0].rate: ".nan" is not a number that can be measured`},
		{"too large", "rate: [0.02, EST]", "rate: [1e999, EST]", `faults[0].rate: "1e999" is too large for a number`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if !strings.Contains(small, tc.old) {
				t.Fatalf("the good book has no %q", tc.old)
			}
			b, ps := Load("small.yaml", []byte(strings.Replace(small, tc.old, tc.new, 1)))
			if b != nil {
				ps = append(ps, Check(b)...)
			}
			var all []string
			for _, p := range strict.Errors(ps) {
				if strings.Contains(p.String(), tc.want) {
					return
				}
				all = append(all, p.String())
			}
			t.Errorf("want %s\ngot:\n%s", tc.want, strings.Join(all, "\n"))
		})
	}
}

func TestOverlayAddsAndNeverChanges(t *testing.T) {
	base, _ := Load("small.yaml", []byte(small))
	over := func(text string) []string {
		t.Helper()
		b, ps := Load("shop.yaml", []byte("schema: proveout/book/1\nid: shop\nversion: \"1\"\ntitle: shop\nsources: {EST: our estimate}\n"+text))
		if len(ps) > 0 {
			t.Fatal(ps)
		}
		var out []string
		for _, p := range CheckOverlay(b, base) {
			if p.File != "shop.yaml" {
				t.Errorf("a problem of another book: %v", p)
			}
			if p.Severity == strict.Error {
				out = append(out, p.Text)
			}
		}
		return out
	}
	// A test of its own may speak of a fault of the base.
	if errs := over(`tests:
  - id: gap_by_eye
    name: gap by eye
    per: cylinder
    outcomes: [{id: fine, text: fine, normal: true}, {id: wide, text: wide}]
    healthy: {fine: 0.9, wide: 0.1, src: EST}
    given: {gap_wide: {wide: 0.6, src: EST}}
    minutes: {easy: [5, EST], buried: [5, EST]}
`); len(errs) > 0 {
		t.Errorf("errors: %q", errs)
	}
	for text, want := range map[string]string{
		"components: [{id: plug, name: plug, per: cylinder}]\n":                          `component "plug" is already in book "small"`,
		"faults: [{id: gap_wide, component: plug, name: wide, rate: [0.2, EST]}]\n":      `fault "gap_wide" is already in book "small"`,
		"faults: [{id: gap_closed, component: plug, name: closed, rate: [0.01, EST]}]\n": `no test bears on fault "gap_closed"`,
		"features: {plug.gap: {name: gap, unit: mm, per: cylinder}}\n":                   `feature "plug.gap" is already in the catalogue`,
		"settings: {nothing_wrong: [0.9, EST]}\n":                                        "must be above 0 and at most 0.5",
		"applies: {min_cylinders: 12}\n":                                                 "fits none of the engines",
		"access: {plugs: {name: plugs out, easy: [10, EST]}}\n":                          "is missing; write for example [60, EST]",
	} {
		errs := over(text)
		if len(errs) == 0 || !strings.Contains(strings.Join(errs, "\n"), want) {
			t.Errorf("%s: errors %q, want %q", text, errs, want)
		}
	}
	if _, err := Instantiate(Layouts()[0], base, base); err == nil {
		t.Error("a book beside itself was taken")
	}
}

// By hand: two faults on the whole engine, rates 0.02 and 0.01, symptom chances
// 0.5 and 0.4. Odds a = 2/98, b = 1/99. One: 0.5a + 0.4b. Two: ab(1 - 0.5*0.6).
func TestSeveralFaultsByHand(t *testing.T) {
	b := &Book{
		ID:         "hand",
		Components: []Component{{ID: "c", Per: "engine"}},
		Faults: []Fault{
			{ID: "f", Component: "c", Rate: Num{0.02, "X"}, Complaint: map[string]Num{"s": {0.5, "X"}}},
			{ID: "g", Component: "c", Rate: Num{0.01, "X"}, Complaint: map[string]Num{"s": {0.4, "X"}}},
		},
		Settings: Settings{NothingWrong: Num{0.04, "X"}, NotListed: Num{0.06, "X"}},
	}
	in, err := Instantiate(Layouts()[0], b)
	if err != nil {
		t.Fatal(err)
	}
	a, g := 2.0/98, 1.0/99
	two := a * g * 0.7
	want := 0.9 * two / (0.5*a + 0.4*g + two)
	if got := SeveralFaults(in, "s"); math.Abs(got-want) > 1e-12 {
		t.Errorf("got %g, want %g", got, want)
	}
}

// A part that can be exchanged is tested there and back on every engine: its faults
// need no other test, and those of a part that cannot do.
func TestExchangeablePartNeedsNoOtherTest(t *testing.T) {
	for exchange, want := range map[string]bool{", exchange: true": false, "": true} {
		text := strings.Replace(small, "faults:\n", "  - {id: gateway, name: gateway, per: engine"+exchange+"}\nfaults:\n  - {id: gateway_dies, component: gateway, name: restarts by itself, rate: [0.003, EST]}\n", 1)
		b, ps := Load("small.yaml", []byte(text))
		said := ""
		for _, p := range append(ps, Check(b)...) {
			said += p.String() + "\n"
		}
		for _, part := range []string{`no test bears on fault "gateway_dies"`, `no direct test looks at fault "gateway_dies"`} {
			if strings.Contains(said, part) != want {
				t.Errorf("exchange %q: %q said %v, want %v", exchange, part, !want, want)
			}
		}
	}
}
