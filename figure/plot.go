package figure

import (
	"fmt"
	"math"
	"strconv"
)

// MaxPoints is the most points a line may have: several for each dot of a wide
// screen or a page at 300 dots an inch.
const MaxPoints = 8000

// Axis is one axis of a plot.
type Axis struct {
	Label    string // with its unit: "Engine load, %"
	Min, Max float64
	// Ticks are drawn at multiples of Step; 0: a round step is chosen.
	Step float64
	// Show writes a tick; nil: as a plain number.
	Show func(v float64) string
}

// Line is a line or, with Hi set, an envelope between Y and Hi. A NaN lifts the pen.
type Line struct {
	X, Y, Hi []float64
	Width    float64 // mm; 0: 0.35
	Dash     float64
	Label    string // written at its last point
}

// Band is an upright or level stretch: over all of the other axis where its bounds
// are equal.
type Band struct {
	X0, X1, Y0, Y1 float64
	Fill           Fill
	Label          string
}

// Cursor is a line across the plot at X, with a label.
type Cursor struct {
	X     float64
	Label string
}

// Spot is a mark at a value.
type Spot struct {
	X, Y  float64
	Shape Shape
	Label string
}

// Plot is data with its axes.
type Plot struct {
	Title, Text string
	X, Y        Axis
	Bands       []Band
	Lines       []Line
	Cursors     []Cursor
	Spots       []Spot
}

// Letter sizes and distances, mm. 2.9 mm is 8.2 pt: readable on paper, and the
// margins follow from it.
const (
	letter    = 2.9
	leftEdge  = 10.0
	underEdge = 8.0
	tickLong  = 1.0
)

// Draw lays a plot out on w x h mm. It refuses axes without a span, lines of
// unequal length and lines that were not decimated.
func (p Plot) Draw(w, h float64) (Drawing, error) {
	for _, a := range []Axis{p.X, p.Y} {
		if !(a.Max > a.Min) || math.IsInf(a.Max-a.Min, 0) {
			return Drawing{}, fmt.Errorf("axis %q runs from %v to %v, which is no span", a.Label, a.Min, a.Max)
		}
	}
	if w < 25 || h < 15 {
		return Drawing{}, fmt.Errorf("%v x %v mm is too small for a plot with readable letters", w, h)
	}
	for _, l := range p.Lines {
		switch {
		case len(l.X) != len(l.Y) || l.Hi != nil && len(l.Hi) != len(l.Y):
			return Drawing{}, fmt.Errorf("line %q has %d, %d and %d values", l.Label, len(l.X), len(l.Y), len(l.Hi))
		case len(l.X) > MaxPoints:
			return Drawing{}, fmt.Errorf("line %q has %d points; decimate it to at most %d first (trace.Pyramid)", l.Label, len(l.X), MaxPoints)
		}
	}
	d := &layout{plot: p, out: Drawing{W: w, H: h, Title: p.Title, Text: p.Text}}
	d.x0, d.x1, d.y0, d.y1 = leftEdge, w-1.5, letter+2, h-underEdge
	d.bands()
	d.axes()
	for _, l := range p.Lines {
		d.line(l)
	}
	d.cursors()
	for _, s := range p.Spots {
		if s.X < p.X.Min || s.X > p.X.Max {
			continue
		}
		at := d.at(s.X, s.Y)
		d.add(Item{Mark: &Mark{at, s.Shape, 2.4}})
		if s.Label != "" {
			d.text(Point{at.X, at.Y - 2}, s.Label, Middle, true)
		}
	}
	if p.Title != "" {
		d.text(Point{d.x0, letter}, p.Title, Start, true)
	}
	return d.out, nil
}

// layout is a plot being drawn.
type layout struct {
	plot           Plot
	out            Drawing
	x0, x1, y0, y1 float64 // the frame
}

func (d *layout) add(i Item) { d.out.Items = append(d.out.Items, i) }

func (d *layout) text(at Point, s string, a Anchor, bold bool) {
	d.add(Item{Text: &Text{At: at, S: s, Size: letter, Anchor: a, Bold: bold}})
}

func (d *layout) path(class string, width float64, closed bool, fill Fill, ps ...Point) {
	d.add(Item{Path: &Path{Points: ps, Closed: closed, Width: width, Fill: fill, Class: class}})
}

// at places a value, held inside the frame.
func (d *layout) at(x, y float64) Point {
	share := func(v float64, a Axis) float64 { return max(0, min(1, (v-a.Min)/(a.Max-a.Min))) }
	return Point{d.x0 + share(x, d.plot.X)*(d.x1-d.x0), d.y1 - share(y, d.plot.Y)*(d.y1-d.y0)}
}

func (d *layout) bands() {
	for _, b := range d.plot.Bands {
		if b.X0 == b.X1 {
			b.X0, b.X1 = d.plot.X.Min, d.plot.X.Max
		}
		if b.Y0 == b.Y1 {
			b.Y0, b.Y1 = d.plot.Y.Min, d.plot.Y.Max
		}
		lo, hi := d.at(b.X0, b.Y0), d.at(b.X1, b.Y1)
		if hi.X-lo.X < 0.05 || lo.Y-hi.Y < 0.05 {
			continue
		}
		d.path("band", 0, true, b.Fill, Point{lo.X, hi.Y}, hi, Point{hi.X, lo.Y}, lo)
		if b.Label != "" {
			d.text(Point{lo.X + 1, hi.Y + letter}, b.Label, Start, false)
		}
	}
}

func (d *layout) axes() {
	d.path("frame", 0.25, true, NoFill, Point{d.x0, d.y0}, Point{d.x1, d.y0}, Point{d.x1, d.y1}, Point{d.x0, d.y1})
	for _, v := range d.plot.X.ticks((d.x1 - d.x0) / 12) {
		at := d.at(v, d.plot.Y.Min)
		d.path("tick", 0.25, false, NoFill, at, Point{at.X, at.Y + tickLong})
		d.text(Point{at.X, at.Y + tickLong + letter*0.9}, d.plot.X.show(v), Middle, false)
	}
	for _, v := range d.plot.Y.ticks((d.y1 - d.y0) / 6) {
		at := d.at(d.plot.X.Min, v)
		d.path("tick", 0.25, false, NoFill, at, Point{at.X - tickLong, at.Y})
		d.text(Point{at.X - tickLong - 0.6, at.Y + letter*0.35}, d.plot.Y.show(v), End, false)
	}
	if s := d.plot.X.Label; s != "" {
		d.text(Point{d.x1, d.out.H - 0.8}, s, End, false)
	}
	if s := d.plot.Y.Label; s != "" {
		d.text(Point{d.x1, letter}, s, End, false)
	}
}

func (d *layout) line(l Line) {
	width := l.Width
	if width == 0 {
		width = 0.35
	}
	var run []Point
	flush := func() {
		if len(run) > 1 {
			d.add(Item{Path: &Path{Points: run, Width: width, Dash: l.Dash, Class: "line"}})
		}
		run = nil
	}
	last := Point{}
	for i := range l.X {
		x, y := l.X[i], l.Y[i]
		if math.IsNaN(x) || math.IsNaN(y) || x < d.plot.X.Min || x > d.plot.X.Max {
			flush()
			continue
		}
		last = d.at(x, y)
		run = append(run, last)
		if l.Hi != nil && !math.IsNaN(l.Hi[i]) {
			run = append(run, d.at(x, l.Hi[i]))
		}
	}
	flush()
	if l.Label != "" {
		d.text(Point{last.X, last.Y - 1}, l.Label, End, false)
	}
}

func (d *layout) cursors() {
	for _, c := range d.plot.Cursors {
		if c.X < d.plot.X.Min || c.X > d.plot.X.Max {
			continue
		}
		at := d.at(c.X, d.plot.Y.Min)
		d.add(Item{Path: &Path{Points: []Point{{at.X, d.y0}, {at.X, d.y1}}, Width: 0.3, Dash: 1, Class: "cursor"}})
		if c.Label != "" {
			d.text(Point{at.X, d.y0 - 0.8}, c.Label, Middle, true)
		}
	}
}

// ticks gives the values at which an axis is marked, about n of them.
func (a Axis) ticks(n float64) []float64 {
	step := a.Step
	if step <= 0 {
		step = roundStep((a.Max - a.Min) / max(1, n))
	}
	first := math.Ceil(a.Min/step - 1e-9)
	var out []float64
	for k := first; k*step <= a.Max+1e-9*step && len(out) < 100; k++ {
		out = append(out, k*step)
	}
	return out
}

// roundStep is the least of 1, 2, 5 times a power of ten that is not below v.
func roundStep(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= v*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

func (a Axis) show(v float64) string {
	if a.Show != nil {
		return a.Show(v)
	}
	return strconv.FormatFloat(math.Round(v*1e6)/1e6+0, 'f', -1, 64) // +0: no minus before a zero
}
