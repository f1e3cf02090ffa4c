package figure

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"

	"codeberg.org/go-pdf/fpdf"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write golden files anew")

func small() Plot {
	return Plot{
		Title: "Before & after", Text: "it <held>",
		X: Axis{Label: "minutes", Max: 10}, Y: Axis{Label: "load, %", Max: 100, Step: 50},
		Bands:   []Band{{Y0: 60, Y1: 100, Fill: Hatch, Label: "fault conditions"}, {X0: 2, X1: 4, Y0: 0, Y1: 5, Fill: Ink}},
		Lines:   []Line{{X: []float64{0, 2, 4, math.NaN(), 6, 10}, Y: []float64{20, 80, 80, 1, 30, 20}, Dash: 1}, {X: []float64{1, 2}, Y: []float64{10, 10}, Hi: []float64{20, 15}}},
		Cursors: []Cursor{{3, "a"}},
		Spots:   []Spot{{3, 80, Diamond, "1"}, {5, 50, HollowSquare, ""}},
	}
}

// The drawing is what it was: run with -update after a change and look at the file.
func TestGolden(t *testing.T) {
	d, err := small().Draw(80, 30)
	if err != nil {
		t.Fatal(err)
	}
	got := d.SVG() + "\n"
	if *update {
		if err := os.WriteFile("testdata/small.svg", []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("testdata/small.svg")
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("the drawing differs from testdata/small.svg:\n%s", got)
	}
}

func TestSVGIsXML(t *testing.T) {
	p := small()
	p.Title, p.X.Label, p.Spots[0].Label = `"<script>alert(1)</script>`, "a & b", "</svg>"
	d, err := p.Draw(80, 30)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(d.SVG(), "<script") || strings.Count(d.SVG(), "</svg>") != 1 {
		t.Error("a text gets out of its place")
	}
	for dec := xml.NewDecoder(strings.NewReader(d.SVG())); ; {
		if _, err := dec.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

// SVG and PDF draw the same strokes, and the same drawing gives the same bytes.
func TestBothWritersDrawTheSame(t *testing.T) {
	d, err := small().Draw(80, 30)
	if err != nil {
		t.Fatal(err)
	}
	page := func() []byte {
		doc := fpdf.New("P", "mm", "A4", "")
		doc.SetCompression(false)
		doc.SetCatalogSort(true)
		doc.AddPage()
		d.PDF(doc, 10, 10, "Helvetica")
		var b bytes.Buffer
		if err := doc.Output(&b); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	out := page()
	svg := len(regexp.MustCompile(`M[-0-9]`).FindAllString(d.SVG(), -1))
	pdf := len(regexp.MustCompile(`[0-9] m[ \n]`).FindAll(out, -1))
	if svg != pdf || svg < 20 {
		t.Errorf("%d strokes in SVG, %d in PDF", svg, pdf)
	}
	if texts := strings.Count(d.SVG(), "<text"); texts != bytes.Count(out, []byte(") Tj")) {
		t.Errorf("%d texts in SVG, %d in PDF", texts, bytes.Count(out, []byte(") Tj")))
	}
}

// Whatever the data, nothing is drawn outside the drawing and no number is broken.
func TestNothingOutside(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64Range(-1e6, 1e6)
		xs, ys := rapid.SliceOfN(v, 0, 30).Draw(t, "x"), []float64{}
		for range xs {
			ys = append(ys, v.Draw(t, "y"))
		}
		lo := v.Draw(t, "lo")
		p := Plot{X: Axis{Min: lo, Max: lo + rapid.Float64Range(1e-3, 1e6).Draw(t, "span")}, Y: Axis{Min: -5, Max: 5},
			Lines: []Line{{X: xs, Y: ys}}, Bands: []Band{{X0: v.Draw(t, "b0"), X1: v.Draw(t, "b1"), Fill: Hatch}}}
		w, h := rapid.Float64Range(25, 300).Draw(t, "w"), rapid.Float64Range(15, 200).Draw(t, "h")
		d, err := p.Draw(w, h)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range d.Items {
			if i.Path == nil {
				continue
			}
			for _, q := range i.Path.Points {
				if !(q.X >= -0.01 && q.X <= w+0.01 && q.Y >= -0.01 && q.Y <= h+0.01) {
					t.Fatalf("%v is outside %v x %v", q, w, h)
				}
			}
		}
		if s := d.SVG(); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
			t.Fatal("a number is broken")
		}
	})
}

func TestRefuses(t *testing.T) {
	for name, spoil := range map[string]func(*Plot){
		"no span":        func(p *Plot) { p.X.Max = p.X.Min },
		"NaN axis":       func(p *Plot) { p.Y.Max = math.NaN() },
		"lengths":        func(p *Plot) { p.Lines[0].Y = p.Lines[0].Y[1:] },
		"hi lengths":     func(p *Plot) { p.Lines[1].Hi = []float64{1} },
		"not decimated":  func(p *Plot) { p.Lines[0].X, p.Lines[0].Y = make([]float64, MaxPoints+1), make([]float64, MaxPoints+1) },
		"infinite span":  func(p *Plot) { p.X.Max = math.Inf(1) },
		"axis backwards": func(p *Plot) { p.X.Min, p.X.Max = 3, 1 },
	} {
		p := small()
		spoil(&p)
		if _, err := p.Draw(80, 30); err == nil {
			t.Errorf("%s: drawn all the same", name)
		}
	}
	if _, err := small().Draw(10, 5); err == nil {
		t.Error("letters do not fit on 10 x 5 mm")
	}
}

func TestTicksAreRound(t *testing.T) {
	for _, c := range []struct {
		a    Axis
		n    float64
		want string
	}{
		{Axis{Max: 10}, 5, "0 2 4 6 8 10"}, {Axis{Max: 0.3}, 4, "0 0.1 0.2 0.3"}, {Axis{Min: -50, Max: 50, Step: 50}, 4, "-50 0 50"}, {Axis{Min: 1890, Max: 2110}, 3, "1900 2000 2100"},
	} {
		var got []string
		for _, v := range c.a.ticks(c.n) {
			got = append(got, c.a.show(v))
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%+v: %s, want %s", c.a, s, c.want)
		}
	}
}
