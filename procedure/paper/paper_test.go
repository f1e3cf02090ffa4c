package paper

import (
	"bytes"
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"proveout/procedure"
)

// TestPaperIsWhole: whoever has only the paper has every step, caution, never rule,
// source and the sentence that the maker's procedure comes first.
func TestPaperIsWhole(t *testing.T) {
	for _, id := range procedure.Shipped() {
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := Checklist(&b, m); err != nil {
			t.Fatal(err)
		}
		flat := strings.Join(strings.Fields(b.String()), " ")
		has := func(what, s string) {
			if s = strings.Join(strings.Fields(s), " "); !strings.Contains(flat, s) {
				t.Errorf("%s: the paper lacks %s %q", id, what, s)
			}
		}
		has("the override", procedure.Overrides)
		for _, st := range m.Steps {
			has("step", st.Do)
			for _, h := range st.Hazards {
				if st.Origin() != "recovery" {
					has("caution", h.Word+": "+h.Text)
				}
			}
		}
		for _, r := range m.Rules {
			has("rule", r.Text[1:])
		}
		for _, s := range m.File.Sources {
			has("source", s.Text)
		}
	}
}

func TestGraphIsXML(t *testing.T) {
	for _, id := range procedure.Shipped() {
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		svg := Graph(m)
		d := xml.NewDecoder(bytes.NewReader(svg))
		boxes := 0
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", id, err)
			}
			if s, ok := tok.(xml.StartElement); ok && s.Name.Local == "g" {
				boxes++
			}
		}
		want := 0
		for i := range m.Steps {
			if m.Steps[i].Origin() != "recovery" {
				want++
			}
		}
		if ways := bytes.Count(svg, []byte("stroke-dasharray=\"3 3\"")); ways != len(waysBack(m)) || id == "epb_caliper_pads" && ways == 0 {
			t.Errorf("%s: %d ways back are drawn, there are %d", id, ways, len(waysBack(m)))
		}
		if boxes != want {
			t.Errorf("%s: %d boxes for %d steps", id, boxes, want)
		}
	}
}

// Nothing runs past the edge of the paper, and no text is squeezed into a column
// of single words.
func TestPaperKeepsItsWidth(t *testing.T) {
	for _, id := range procedure.Shipped() {
		m, _, err := procedure.LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := Checklist(&b, m); err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(b.String(), "\n") {
			indent := len(line) - len(strings.TrimLeft(line, " "))
			if len([]rune(line)) > width && strings.Contains(strings.TrimSpace(line), " ") || indent > width/2 {
				t.Errorf("%s line %d, %d wide, indented %d: %q", id, i+1, len([]rune(line)), indent, line)
			}
		}
	}
}
