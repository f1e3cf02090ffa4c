package web

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"

	"proveout/procedure"
	"proveout/shop"
	"proveout/text"
)

// runPageView is one run of a procedure on the screen.
type runPageView struct {
	Job, Run    string
	Key         string // stem of the idempotency keys: the run and how far it was
	Practice    bool
	S           shop.Screen
	Head        string
	HeadEngine  bool // the head is in the procedure's own words
	Hazards     []procedure.Hazard
	Now         []cardView
	Finish      bool
	MeterNeeded bool // nothing can begin before the meter is read
	CardSolid   bool // a card has the one solid button
	Controls    bool // stop and interrupted are live
	Tag         bool
	Keep        []keepView
	Way         []wayView
	Line        *lineDrawing
	SupplyPlot  template.HTML
	Told        []toldView
	Clock       string
	Refused     []string
	Meter       *meterView
	Words       string // texts for the script, as JSON
}

// meterView is how a meter sends what it reads.
type meterView struct{ Path, Token string }

// cardView is one step that is under way or may begin, with its buttons.
type cardView struct {
	shop.RunStep
	Show     bool // its hazards are not at the top of the page already
	Controls []controlView
}

// controlView is one button and what it says to the run.
type controlView struct {
	N       int
	Kind    string // entry of the run, or look: begin and confirm in one
	How     string
	Outcome string
	Lead    string // how it is known: seen, felt, measured
	Label   string
	Engine  bool // the label is in the procedure's own words
	Ask     string
	Figures []shop.RunFigure
	Limits  string
	Unit    string
	Danger  string // the word that must be typed
	Solid   bool
	Off     bool // opens when the timer is over
}

type keepView struct {
	Text   string
	Engine bool
}

type wayView struct {
	N    int
	Text string
}

type toldView struct{ At, Who, Text string }

// viewOfRun makes the view from the screen of a run.
func viewOfRun(t *text.Printer, job, run string, s shop.Screen, now time.Time) runPageView {
	v := runPageView{Job: job, Run: run, Key: fmt.Sprintf("%s-%d", run, s.Seq), S: s, Clock: t.ClockSeconds(now)}
	solid := false
	for _, k := range s.Now {
		c := cardView{RunStep: s.Steps[k]}
		c.Show = !c.Active
		if c.Active {
			v.Hazards = addHazards(v.Hazards, c.Hazards)
		}
		c.Controls = controlsOf(t, &s, &c.RunStep)
		for i := range c.Controls {
			c.Controls[i].N = k*100 + i
			if x := &c.Controls[i]; !solid && !x.Off && x.Kind != "fails" && x.Kind != "broken" {
				x.Solid, solid = true, true
			}
		}
		if len(c.Controls) > 0 || c.Active {
			v.Now = append(v.Now, c)
		}
	}
	v.CardSolid = solid
	v.Finish = s.Mode == "running" && s.Done == s.Of && s.Motor == "quiet" && !solid
	v.Controls = s.Mode == "running" || strings.HasPrefix(s.Mode, "held")
	v.Tag = len(s.Dangers) > 0 || s.Tag != ""
	v.Head, v.HeadEngine = headOf(t, &s, &v)
	for _, k := range s.KeepOff {
		if k.Text != "" {
			v.Keep = append(v.Keep, keepView{k.Text, true})
		} else {
			v.Keep = append(v.Keep, keepView{t.T("procedure.keep." + k.Key), false})
		}
	}
	v.Way = append(v.Way, wayView{1, t.T("procedure.way.first")})
	for i, w := range s.WayOut {
		v.Way = append(v.Way, wayView{i + 2, w})
	}
	v.Line = drawLine(t, &s)
	if len(s.Supply) > 0 {
		v.SupplyPlot = supplyPlot(t, &s.Supply[0])
	}
	for _, l := range s.Told {
		v.Told = append(v.Told, toldView{t.ClockSeconds(time.UnixMilli(l.At).In(now.Location())), l.Who, l.Text})
	}
	return v
}

func addHazards(to, more []procedure.Hazard) []procedure.Hazard {
	for _, h := range more {
		same := false
		for _, x := range to {
			same = same || x == h
		}
		if !same {
			to = append(to, h)
		}
	}
	return to
}

// headOf is the one sentence: what to do now.
func headOf(t *text.Printer, s *shop.Screen, v *runPageView) (string, bool) {
	switch s.Mode {
	case "held", "held_keep_power", "stopping", "handed_over", "finished":
		return t.T("procedure.head." + s.Mode), false
	}
	if len(s.Overdue) > 0 {
		return t.T("procedure.head.overdue"), false
	}
	if s.Timer != nil && s.Motor != "moving" {
		return t.T("procedure.head.resting"), false
	}
	if s.Motor == "moving" {
		return t.T("procedure.head.moving"), false
	}
	if v.Finish {
		return t.T("procedure.head.finish"), false
	}
	for _, c := range v.Now {
		if c.Kind == "question" {
			return t.T("procedure.head.question"), false
		}
		if c.Kind == "precondition" {
			return t.T("procedure.head.before"), false
		}
	}
	if len(v.Now) > 0 {
		return t.T("procedure.head.step", v.Now[0].Number), false
	}
	for _, w := range s.Supply {
		if w.Word == "unwatched" && w.Typed {
			v.MeterNeeded = true
			return t.T("procedure.head.meter"), false
		}
	}
	return t.T("procedure.head.nothing"), false
}

// controlsOf lists what a step may be answered with now.
func controlsOf(t *text.Printer, s *shop.Screen, x *shop.RunStep) []controlView {
	var out []controlView
	if !x.Active {
		if !x.Begins {
			return nil
		}
		if x.Kind == "question" || x.Kind == "precondition" {
			return lookControls(t, x)
		}
		c := controlView{Kind: "begin", Label: t.T("procedure.begin")}
		if x.Command {
			c.Label = t.T("procedure.begin_command")
		}
		if x.Danger {
			c.Danger = t.T("procedure.danger_word")
		}
		return append(out, c)
	}
	moving := x.Phase == procedure.Doing.Text() && x.Rest > 0
	if moving {
		out = append(out, controlView{Kind: "ended", Label: t.T("procedure.ended")})
	} else {
		for _, m := range x.Means {
			if m.Given {
				continue
			}
			out = append(out, meanControl(t, "confirm", m))
		}
		if x.Missing == 0 {
			for _, o := range x.Outcomes {
				out = append(out, controlView{Kind: "choose", Outcome: o.ID, Label: o.Text, Engine: true})
			}
		}
	}
	if x.Phase == procedure.Waiting.Text() {
		out = append(out, controlView{Kind: "broken", Label: t.T("procedure.broken")})
	}
	if x.Kind != "recovery" {
		out = append(out, controlView{Kind: "fails", Label: t.T("procedure.fails")})
	}
	return out
}

// lookControls: to look at a precondition or to answer a question is to begin it and
// to confirm it, in one tap.
func lookControls(t *text.Printer, x *shop.RunStep) []controlView {
	var out []controlView
	if len(x.Means) == 0 {
		return nil
	}
	for _, o := range x.Outcomes {
		out = append(out, controlView{Kind: "look", How: x.Means[0].How, Outcome: o.ID, Label: o.Text, Engine: true})
	}
	if len(out) > 0 {
		return out
	}
	out = append(out, meanControl(t, "look", x.Means[0]))
	return append(out, controlView{Kind: "look_fails", Label: t.T("procedure.look_fails")})
}

func meanControl(t *text.Printer, kind string, m shop.RunMean) controlView {
	c := controlView{Kind: kind, How: m.How, Lead: t.T("procedure.how." + m.How), Label: m.Text, Engine: true, Ask: m.Ask, Unit: m.Unit, Figures: m.Figures}
	switch {
	case m.Least != "" && m.Most != "":
		c.Limits = t.T("procedure.between", m.Least, m.Most)
	case m.Least != "":
		c.Limits = t.T("procedure.at_least", m.Least)
	case m.Most != "":
		c.Limits = t.T("procedure.at_most", m.Most)
	}
	return c
}

// lineDrawing is the step line: squares, and boxes where stopping is unsafe.
type lineDrawing struct {
	Width, Height int
	Label         string
	Boxed         bool
	Rows          []lineRow
	Boxes         []lineBox
	Marks         []lineMark
}

type lineRow struct{ X1, X2, Y int }
type lineBox struct{ X, Y, W int }
type lineMark struct {
	X, BX, BY, TY, N int
	Now              bool
	Look             string
}

// perRow squares stand in a row, so that the line is read on a phone without shrinking.
const perRow, cellWide, cellTall = 11, 30, 56

func drawLine(t *text.Printer, s *shop.Screen) *lineDrawing {
	l := &lineDrawing{}
	n, at := 0, 0
	for i := range s.Steps {
		st := &s.Steps[i]
		if st.Number == 0 {
			continue
		}
		row, col := n/perRow, n%perRow
		x, y := col*cellWide+cellWide/2+4, row*cellTall+28
		m := lineMark{X: x, BX: x - 6, BY: y - 6, N: st.Number, Look: st.Look}
		if st.Look == "now" || at == 0 && st.Look == "open" && st.Begins {
			m.Now, m.BX, m.BY, m.TY = true, x-15, y-15, y+6
			if at == 0 {
				at = st.Number
			}
		}
		l.Marks = append(l.Marks, m)
		n++
	}
	if n == 0 {
		return nil
	}
	rows := (n + perRow - 1) / perRow
	l.Width, l.Height = perRow*cellWide+8, rows*cellTall+4
	for r := range rows {
		last := min(perRow, n-r*perRow)
		l.Rows = append(l.Rows, lineRow{cellWide/2 + 4, (last-1)*cellWide + cellWide/2 + 4, r*cellTall + 28})
	}
	var said []string
	for _, b := range s.Boxes {
		l.Boxed = true
		if b.From == b.To {
			said = append(said, t.T("procedure.line.box_at", b.From))
		} else {
			said = append(said, t.T("procedure.line.box", b.From, b.To))
		}
		for r := (b.From - 1) / perRow; r <= (b.To-1)/perRow; r++ {
			from, to := max(b.From-1, r*perRow), min(b.To-1, r*perRow+perRow-1)
			l.Boxes = append(l.Boxes, lineBox{X: (from-r*perRow)*cellWide + 4, Y: r*cellTall + 6, W: (to - from + 1) * cellWide})
		}
	}
	l.Label = strings.TrimSpace(t.T("procedure.line.at", at, n) + " " + strings.Join(said, " "))
	return l
}

// supplyPlot draws the last five minutes with the three lines; nil without a feed.
// Text is set in page pixels and never shrinks.
func supplyPlot(t *text.Printer, w *shop.RunWatch) template.HTML {
	if w.Feed == nil || len(w.Feed.Pairs) < 4 || w.Warn == 0 {
		return ""
	}
	lo, hi := math.Min(w.Stop-0.5, w.Feed.Lowest-0.2), w.Start+1.4
	y := func(v float64) float64 { return 100 * (hi - math.Max(lo, math.Min(hi, v))) / (hi - lo) }
	pc := func(v float64) string { return strconv.FormatFloat(y(v), 'f', 1, 64) + "%" }
	var path strings.Builder
	for i := 0; i+1 < len(w.Feed.Pairs); i += 2 {
		c := byte('L')
		if i == 0 {
			c = 'M'
		}
		fmt.Fprintf(&path, "%c%.0f %.0f", c, 1600*(1-math.Min(300, w.Feed.Pairs[i])/300), 8*y(w.Feed.Pairs[i+1]))
	}
	line := func(v float64, width, dash, key string, x int) string {
		return fmt.Sprintf(`<line x1="0" x2="100%%" y1="%s" y2="%s" stroke="var(--ink)" stroke-width="%s"%s/><text class="halo" x="%d" y="%s" dy="-6">%s</text>`, pc(v), pc(v), width, dash, x, pc(v), template.HTMLEscapeString(t.T(key, t.Number(v, 1))))
	}
	label := t.T("procedure.plot", t.Number(w.Value, 2), t.Number(w.Feed.Lowest, 2), t.Number(w.Warn, 1), t.Number(w.Hold, 1), t.Number(w.Stop, 1))
	return template.HTML(fmt.Sprintf(`<svg class="plot" height="132" role="img" aria-label="%s"><svg width="100%%" height="100%%" viewBox="0 0 1600 800" preserveAspectRatio="none"><path class="tr one" d="%s"/></svg>%s%s%s</svg>`,
		template.HTMLEscapeString(label), path.String(),
		line(w.Warn, "2", ` stroke-dasharray="6 6"`, "procedure.plot_warn", 8), line(w.Hold, "2", "", "procedure.plot_hold", 120), line(w.Stop, "4", "", "procedure.plot_stop", 8)))
}

// minsec writes a time to be read from across the bay: 0:18, 12:05, 1:30:00.
func minsec(s float64) string {
	n := int(math.Ceil(s - 1e-9))
	if n >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", n/3600, n/60%60, n%60)
	}
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}

func drain(left, total float64) float64 {
	if total <= 0 {
		return 100
	}
	return math.Round(1000*(1-math.Min(1, left/total))) / 10
}
