package figure

import "math"

// Point is a place in a drawing, mm from the top left.
type Point struct{ X, Y float64 }

// Drawing is a figure ready to be written.
type Drawing struct {
	W, H  float64 // mm
	Items []Item
	// Title and Text are read aloud where the picture cannot be seen: Text is one
	// sentence that carries the finding.
	Title, Text string
}

// Item is one thing drawn; exactly one of its parts is set.
type Item struct {
	Path *Path
	Text *Text
	Mark *Mark
}

// Path is a line or an area.
type Path struct {
	Points []Point
	Closed bool
	Width  float64 // of the line, mm; 0: none
	Dash   float64 // length of a dash, mm; 0: solid
	Fill   Fill
	Class  string // what it is, for a page's style: "line", "grid", "band"
}

// Fill is how an area is filled.
type Fill string

// Fills. Hatch is slanted lines, the sign of a band in which readings should fall.
const (
	NoFill Fill = ""
	Ink    Fill = "ink"
	Tint   Fill = "tint"
	Hatch  Fill = "hatch"
)

// Anchor is which end of a text its place is.
type Anchor string

// Anchors.
const (
	Start  Anchor = "start"
	Middle Anchor = "middle"
	End    Anchor = "end"
)

// Text is one line of text; At is on its base line.
type Text struct {
	At     Point
	S      string
	Size   float64 // mm of the letter's body
	Anchor Anchor
	Bold   bool
}

// Shape is the shape of a mark, with the meaning it has everywhere.
type Shape string

// Shapes: a solid diamond is the odd one or an episode, a hollow one how it was
// before, a square what is settled, a hollow square what is open.
const (
	Diamond       Shape = "diamond"
	HollowDiamond Shape = "hollow diamond"
	Square        Shape = "square"
	HollowSquare  Shape = "hollow square"
	Tick          Shape = "tick" // a short upright line
)

// Mark is a shape at a place; Size is its width in mm.
type Mark struct {
	At    Point
	Shape Shape
	Size  float64
}

// path gives the outline of a mark and whether it is filled.
func (m Mark) path() Path {
	r := m.Size / 2
	x, y := m.At.X, m.At.Y
	p := Path{Closed: true, Width: 0.3, Class: "mark"}
	switch m.Shape {
	case Square, HollowSquare:
		p.Points = []Point{{x - r, y - r}, {x + r, y - r}, {x + r, y + r}, {x - r, y + r}}
	case Tick:
		return Path{Points: []Point{{x, y - r}, {x, y + r}}, Width: 0.4, Class: "mark"}
	default:
		p.Points = []Point{{x, y - r}, {x + r, y}, {x, y + r}, {x - r, y}}
	}
	if m.Shape == Square || m.Shape == Diamond {
		p.Fill = Ink
	}
	return p
}

// hatching gives the slanted lines that fill the box around a closed path, gap mm
// apart. Only upright boxes are hatched here.
func hatching(p Path, gap float64) [][2]Point {
	lo, hi := Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
	for _, q := range p.Points {
		lo.X, lo.Y = min(lo.X, q.X), min(lo.Y, q.Y)
		hi.X, hi.Y = max(hi.X, q.X), max(hi.Y, q.Y)
	}
	w, h := hi.X-lo.X, hi.Y-lo.Y
	var out [][2]Point
	for d := gap; d < w+h; d += gap { // lines x+y = d from the top left corner
		a := Point{lo.X + min(d, w), lo.Y + max(0, d-w)}
		b := Point{lo.X + max(0, d-h), lo.Y + min(d, h)}
		out = append(out, [2]Point{a, b})
	}
	return out
}
