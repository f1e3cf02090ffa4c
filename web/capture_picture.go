package web

import (
	"cmp"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"proveout/shop"
	"proveout/text"
	"proveout/unit"
)

// others are captures of the same kind, state and placement of the other cylinders:
// drawn thin, on the same scale.
func others(page *shop.JobView, item *shop.ItemView) []*shop.ItemView {
	type form struct {
		Kind      string
		Cylinder  int
		Condition struct{ State string }
		Probe     struct{ Placement string }
	}
	var mine form
	if json.Unmarshal(item.Form, &mine) != nil || mine.Cylinder == 0 {
		return nil
	}
	var out []*shop.ItemView
	had := map[int]bool{mine.Cylinder: true}
	for i := range page.Items {
		it := &page.Items[i]
		var f form
		if it.Kind != "capture" || it.SetAside != "" || it.Retaken != 0 || json.Unmarshal(it.Form, &f) != nil {
			continue
		}
		if f.Kind == mine.Kind && f.Condition == mine.Condition && f.Probe == mine.Probe && f.Cylinder > 0 && !had[f.Cylinder] {
			had[f.Cylinder] = true
			out = append(out, it)
		}
	}
	return out
}

// channelJSON is a channel as the element on the page wants it.
type channelJSON struct {
	Name    string       `json:"name"`
	URL     string       `json:"url"`
	Samples int          `json:"samples"`
	Knots   [][2]float64 `json:"knots"`
	Shift   float64      `json:"shift"`
	Unit    string       `json:"unit"`
	Factor  float64      `json:"factor"`
	Heavy   string       `json:"heavy"`

	draw func(from, to int64, px int) ([]float32, error)
}

type markJSON struct {
	Key     string `json:"key"`
	Letter  string `json:"letter"`
	Name    string `json:"name"`
	Channel int    `json:"channel"`
	From    int    `json:"from"`
	To      int    `json:"to"`

	feature string
}

// keyTo gives the features of the list the letters of their marks on the trace. What
// is measured at each firing is marked under its own name; what is made of several, in
// a condition, has that name and more ("burn time", "burn time at snap").
func (v *captureView) keyTo(marks []markJSON) {
	for i := range v.Features {
		for _, m := range marks {
			if strings.HasPrefix(v.Features[i].feature, m.feature) {
				v.Features[i].Key, v.Features[i].Mark = m.Letter, m.Key
				break
			}
		}
	}
}

func (s *Server) picture(r *http.Request, v *captureView, page *shop.JobView, item *shop.ItemView, c *shop.CaptureView, read *shop.CaptureReading, t *text.Printer) (*pictureView, error) {
	main := 0
	for i := range c.Channels {
		if a := c.Channels[i].As; a != "" && a != "ignore" && a != "sync" {
			main = i
			break
		}
	}
	heavy := "one"
	for _, f := range v.Features {
		if f.Odd {
			heavy = "odd"
		}
	}
	channels := []channelJSON{}
	name := cmp.Or(c.Channels[main].Label, c.Channels[main].Name)
	sibs := others(page, item)
	if len(sibs) > 0 {
		name = cylinderName(t, item)
	}
	add := func(it *shop.ItemView, c *shop.CaptureView, ch int, name, heavy string, first int) error {
		x, err := s.channelOf(r, v.Job, it, c, ch, t)
		if err != nil {
			return err
		}
		x.Name, x.Heavy = name, heavy
		if first >= 0 && len(x.Knots) > 0 {
			x.Shift = secondOf(x.Knots, first)
		}
		channels = append(channels, x)
		return nil
	}
	firstMark := func(read *shop.CaptureReading, ch string) int {
		for _, m := range read.Marks {
			if m.Channel == ch {
				return m.First
			}
		}
		return -1
	}
	// Captures of other cylinders were taken at other moments: each is lined up by the
	// first event that was found in it.
	line := -1
	if len(sibs) > 0 {
		line = firstMark(read, c.Channels[main].Name)
	}
	if err := add(item, c, main, name, heavy, line); err != nil {
		return nil, err
	}
	marks := marksOf(read, c, main)
	v.keyTo(marks)
	for _, it := range sibs {
		oc, err := s.bench.Capture(r.Context(), v.Job, it.Item)
		if err != nil || len(oc.Channels) <= main {
			continue // it is left out on its own page, with the reason
		}
		oread, err := s.bench.ReadCapture(r.Context(), v.Job, it.SHA256, it.File, it.Form)
		if err != nil {
			return nil, err
		}
		if f := firstMark(oread, oc.Channels[main].Name); f >= 0 && line >= 0 {
			if err := add(it, oc, main, cylinderName(t, it), "sib", f); err != nil {
				return nil, err
			}
		}
	}
	if len(sibs) == 0 {
		for i := range c.Channels {
			if i != main && c.Channels[i].As != "ignore" && c.Channels[i].SI == c.Channels[main].SI {
				if err := add(item, c, i, cmp.Or(c.Channels[i].Label, c.Channels[i].Name), "sib", -1); err != nil {
					return nil, err
				}
			}
		}
	}
	from, to := firstView(channels[0], marks)
	p := &pictureView{Label: t.T("capture.picture", name, strconv.Itoa(len(channels)-1))}
	trace, err := json.Marshal(map[string]any{"lang": t.Lang(), "from": from, "to": to, "channels": channels, "marks": marks, "words": traceWords(t, v.Item)})
	if err != nil {
		return nil, err
	}
	p.Trace = string(trace)
	return p, p.draw(t, channels, from, to)
}

func cylinderName(t *text.Printer, it *shop.ItemView) string {
	var f struct{ Cylinder int }
	if json.Unmarshal(it.Form, &f) != nil || f.Cylinder == 0 {
		return it.Name
	}
	return t.T("capture.cylinder_n", f.Cylinder)
}

// marksOf letters the marks by feature: the same letter for each firing.
func marksOf(read *shop.CaptureReading, c *shop.CaptureView, main int) []markJSON {
	out := []markJSON{}
	letters := map[string]string{}
	for _, m := range read.Marks {
		if m.Channel != c.Channels[main].Name {
			continue
		}
		if letters[m.Feature] == "" {
			letters[m.Feature] = string(rune('a' + len(letters)%26))
		}
		l := letters[m.Feature]
		out = append(out, markJSON{Key: l + strconv.Itoa(m.Event+1), Letter: l, Name: strings.TrimSpace(m.Name + " " + strconv.Itoa(m.Event+1) + ": " + m.Text), From: m.First, To: m.Last + 1, feature: m.Feature})
	}
	return out
}

// firstView shows the first event that was measured, large enough to be read, and the
// whole when there is none.
func firstView(c channelJSON, marks []markJSON) (from, to float64) {
	if len(c.Knots) == 0 {
		return 0, 1
	}
	from, to = c.Knots[0][1]-c.Shift, c.Knots[len(c.Knots)-1][1]-c.Shift
	if len(marks) > 0 {
		a, z := secondOf(c.Knots, marks[0].From)-c.Shift, secondOf(c.Knots, marks[0].To)-c.Shift
		if w := z - a; w > 0 && 5*w < to-from {
			return max(from, a-w), min(to, z+3*w)
		}
	}
	return from, to
}

func secondOf(k [][2]float64, sample int) float64 {
	for i := 1; i < len(k); i++ {
		if float64(sample) <= k[i][0] || i == len(k)-1 {
			span := k[i][0] - k[i-1][0]
			if span == 0 {
				return k[i-1][1]
			}
			return k[i-1][1] + (float64(sample)-k[i-1][0])*(k[i][1]-k[i-1][1])/span
		}
	}
	return k[0][1]
}

func (s *Server) channelOf(r *http.Request, job string, it *shop.ItemView, c *shop.CaptureView, ch int, t *text.Printer) (channelJSON, error) {
	x := channelJSON{URL: fmt.Sprintf("/api/v1/jobs/%s/items/%d/samples?channel=%d", url.PathEscape(job), it.Item, ch), Samples: c.Rows, Unit: c.Channels[ch].Unit, Factor: 1}
	if f := c.Channels[ch].Factor; f != 0 {
		x.Factor = 1 / f
	}
	if u, err := unit.Parse(x.Unit); err == nil {
		x.Unit = text.UnitWord(u)
	}
	x.draw = func(from, to int64, px int) ([]float32, error) {
		b, err := s.bench.ItemSamples(r.Context(), job, it.Item, ch, from, to, px)
		return pairsOf(b), err
	}
	if c.Rows == 0 {
		return x, nil
	}
	last := c.Rows - 1
	switch {
	case !c.HasTime:
		x.Knots = [][2]float64{{0, 0}, {float64(last), float64(last)}}
	case c.Uniform:
		x.Knots = [][2]float64{{0, float64(c.StartNS) * 1e-9}, {float64(last), (float64(c.StartNS) + float64(last)*c.StepNS) * 1e-9}}
	default:
		step := int64(max(1, c.Rows/500))
		times, err := s.bench.Times(r.Context(), it.SHA256, it.File, it.Form, 0, int64(c.Rows), step)
		if err != nil {
			return x, err
		}
		for i, ns := range times {
			x.Knots = append(x.Knots, [2]float64{float64(int64(i) * step), float64(ns) * 1e-9})
		}
		if end, err := s.bench.Times(r.Context(), it.SHA256, it.File, it.Form, int64(last), int64(c.Rows), 1); err == nil && len(end) == 1 {
			x.Knots = append(x.Knots, [2]float64{float64(last), float64(end[0]) * 1e-9})
		}
	}
	return x, nil
}

func sampleAt(k [][2]float64, second float64) float64 {
	for i := 1; i < len(k); i++ {
		if second <= k[i][1] || i == len(k)-1 {
			span := k[i][1] - k[i-1][1]
			if span == 0 {
				return k[i-1][0]
			}
			return k[i-1][0] + (second-k[i-1][1])*(k[i][0]-k[i-1][0])/span
		}
	}
	return 0
}

// draw makes the first view as paths and as a table.
func (p *pictureView) draw(t *text.Printer, channels []channelJSON, from, to float64) error {
	lo, hi := math.Inf(1), math.Inf(-1)
	var all [][]float32
	const rows = 20
	p.Rows = make([]pictureRow, rows)
	for i := range p.Rows {
		p.Rows[i].Span = t.Significant(1e3*(from+(to-from)*float64(i)/rows)) + " – " + t.Significant(1e3*(from+(to-from)*float64(i+1)/rows)) + " ms"
	}
	for _, c := range channels {
		if len(c.Knots) == 0 {
			all = append(all, nil)
			continue
		}
		a, z := int64(max(0, sampleAt(c.Knots, from+c.Shift))), int64(min(float64(c.Samples), sampleAt(c.Knots, to+c.Shift)+1))
		pairs, err := c.draw(a, z, 800)
		if err != nil {
			return err
		}
		all = append(all, pairs)
		l, h := spanOf(pairs)
		lo, hi = min(lo, l), max(hi, h)
		p.Head = append(p.Head, c.Name)
		thin, err := c.draw(a, z, rows)
		if err != nil {
			return err
		}
		for i := range p.Rows {
			cell := t.T("capture.missing")
			if 2*i+1 < len(thin) && thin[2*i] <= thin[2*i+1] {
				cell = t.Significant(float64(thin[2*i])*c.Factor) + " … " + t.Significant(float64(thin[2*i+1])*c.Factor) + " " + c.Unit
			}
			p.Rows[i].Cells = append(p.Rows[i].Cells, cell)
		}
	}
	for n := len(channels) - 1; n >= 0; n-- { // the one that matters on top
		p.Paths = append(p.Paths, pathView{D: pathIn(all[n], lo, hi, 1600, 800), Class: channels[n].Heavy, N: n})
	}
	if lo <= hi && len(channels) > 0 {
		f, u := channels[0].Factor, channels[0].Unit
		p.TopText, p.LowText = t.Significant(hi*f)+" "+u, t.Significant(lo*f)+" "+u
	}
	p.From, p.To = t.Significant(from*1e3)+" ms", t.Significant(to*1e3)+" ms"
	return nil
}

func traceWords(t *text.Printer, item int) map[string]string {
	out := map[string]string{"label": t.T("capture.trace.label", item)}
	for _, k := range []string{"role", "cursorA", "cursorB", "apart", "zoomIn", "zoomOut", "left", "right", "whole", "clear", "controls", "keys", "difference", "per", "none", "away"} {
		out[k] = t.T("capture.trace." + strings.ToLower(k))
	}
	return out
}

// svgDots draws the dots of a feature: text in page pixels, positions in percent.
func svgDots(f featureRow) template.HTML {
	if len(f.Dots) < 2 {
		return ""
	}
	tall := 34*len(f.Dots) + 8
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="plot dots" height="%d" role="img" aria-label="%s">`, tall, template.HTMLEscapeString(f.Label))
	for i, d := range f.Dots {
		y := 34*i + 21
		class := "in"
		if d.Odd {
			class = "odd"
		}
		fmt.Fprintf(&b, `<line x1="0" x2="100%%" y1="%d" y2="%d" class="grid"/><svg x="%s" y="%d" overflow="visible">`, y, y, d.X, y)
		if d.Odd {
			fmt.Fprintf(&b, `<path d="M0 -14L14 0L0 14L-14 0Z" class="%s"/>`, class)
		} else {
			fmt.Fprintf(&b, `<circle r="13" class="%s"/>`, class)
		}
		fmt.Fprintf(&b, `<text text-anchor="middle" y="6" class="n %s">%s</text><text x="20" y="6" class="halo">%s</text></svg>`, class, template.HTMLEscapeString(d.N), template.HTMLEscapeString(d.Value))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}
