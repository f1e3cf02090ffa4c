package book

import (
	"testing"

	"proveout/strict"
)

const small = `schema: proveout/book/1
id: small
version: "1"
title: Two faults
sources: {EST: our estimate}
components:
  - {id: plug, name: spark plug, per: cylinder}
faults:
  - {id: gap_wide, component: plug, name: gap too wide, rate: [0.02, EST]}
tests:
  - id: plug_gap
    name: plug gap
    per: cylinder
    reads: {feature: plug.gap, versus: limit, unit: mm}
    outcomes:
      - {id: normal, text: as it should be, from: 0.5, to: 1.2, normal: true, src: EST}
      - {id: wide, text: wide, from: 1.2, to: 3, proves: true, src: EST}
    healthy: {normal: 0.97, wide: 0.03, src: EST}
    given:
      gap_wide: {wide: 0.9, src: EST}
    static: true
    direct: [gap_wide]
    minutes: {easy: [12, EST], buried: [60, EST]}
`

func TestLoadReadsNumbersWithSources(t *testing.T) {
	b, ps := Load("small.yaml", []byte(small))
	if len(ps) != 0 {
		t.Fatalf("problems: %v", ps)
	}
	if got := b.Faults[0].Rate; got != (Num{0.02, "EST"}) {
		t.Errorf("rate = %+v", got)
	}
	row := b.Tests[0].Given["gap_wide"]
	if row.P["wide"] != 0.9 || row.Source != "EST" || row.Where != "" {
		t.Errorf("row = %+v", row)
	}
	if got := b.Line("tests", 0, "given", "gap_wide"); got != 20 {
		t.Errorf("line of the row = %d, want 20", got)
	}
}

func TestBuiltinBooksLoad(t *testing.T) {
	books, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, b := range books {
		if text, ok := BuiltinText(b.ID); !ok || len(text) == 0 {
			t.Errorf("book %s has no text", b.ID)
		}
	}
}

var _ strict.Reader = (*Num)(nil)
