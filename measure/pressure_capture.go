package measure

import (
	"fmt"
	"math"
	"strings"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// CylinderPressure is a pressure transducer in the plug hole of one cylinder that
// does not fire: cranking, idling on the others, or snapped.
const CylinderPressure = "cylinder_pressure"

// Thresholds of the pressure trace. Our choice unless a source stands beside them.
const (
	ambientPa       = 101325.0 // where the job says nothing (ISO 2533, sea level)
	ambientSD       = 3e3      // Pa: weather; height is another 12 kPa in 1000 m, and is to be given
	zeroSD          = 2e3      // Pa: zero of the transducer
	towerAt         = 0.15     // of the highest crest over the rest: above is a tower; idle is a quarter of a snap
	cyclePeak       = 120.0    // samples in a cycle below which no crest is read: 6 degrees each
	cycleShape      = 360.0    // and below which no shape is: 2 degrees each
	narrowTower     = 0.03     // of the cycle, width at half height: closed forms give 0.06-0.10
	wideTower       = 0.18
	snapOver        = 1.35 // a crest this much over those at idle belongs to a snap
	firstPuffs      = 2    // crests left out at the start of cranking: the starter still spins up
	fewestTowers    = 3
	exhaustFrom     = 220 // degrees after compression top centre: exhaust stroke, valve open
	exhaustTo       = 330
	intakeFrom      = -220 // degrees: end of the intake stroke
	intakeTo        = -185
	firesBelow      = -0.08 // a tower that gains so much between compression and expansion burns
	mostTowers      = 400   // used for the shape
	gaugeWithin     = 40e3  // Pa: an exhaust stroke this near to zero is a gauge transducer
	absoluteFrom    = 60e3
	absoluteTo      = 140e3
	markFar         = 12.0 // degrees from the crest: no top centre of this cylinder
	markScatter     = 1.5
	leakSystematic  = 0.12 // of the loss: gamma, form of the leak (test: orifice of known size)
	leakFloor       = 0.008
	angleSystematic = 4.0 // degrees: valves open slowly
)

// pressureCapture measures one transducer channel.
//
// Features. Pressures are over ambient as the trade's gauges show them, except
// where said; angles are crank degrees from the top centre of compression:
//
//	compression.dry             Pa   median crest in cranking, after the first two
//	compression.running         Pa   median crest at idle
//	compression.snap            Pa   median over snaps of their highest crest
//	cylinder.tower_loss         %    charge lost between compression and expansion
//	cylinder.exhaust_opening    deg  where expansion ends in the exhaust valve's opening
//	cylinder.intake_closing     deg  before top centre: where compression begins
//	cylinder.exhaust_plateau    Pa   median of the exhaust stroke
//	cylinder.intake_pressure    Pa   absolute, end of the intake stroke
//
// There need be no mark of top centre: see towerLoss. A channel as: top_centre makes
// it surer.
func pressureCapture(rec *trace.Recording, meta Meta) (Result, error) {
	var res Result
	used := 0
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		if meta.roleOf(ch, CylinderPressure) != RolePressure {
			if c, ok := meta.column(ch.Name); !ok || c.As != CylinderPressure {
				continue
			}
		}
		used++
		g := &pressure{sheet: newSheet(rec, meta), ch: ch}
		g.subject, g.channel = meta.subjectOf(ch), ch.Name
		g.work()
		res.Readings = append(res.Readings, g.res.Readings...)
		res.NotMeasured = append(res.NotMeasured, g.res.NotMeasured...)
		res.Notes = append(res.Notes, g.res.Notes...)
		res.Marks = append(res.Marks, g.res.Marks...)
		if res.Condition.State == "" {
			res.Condition = g.cond
		}
	}
	if used == 0 {
		return res, fmt.Errorf("no channel is a pressure; map one column with as: %s, or give its unit", CylinderPressure)
	}
	return res, nil
}

// looksLikePressure goes by the name of a pressure channel: a manifold and a rail
// have a pressure too.
func looksLikePressure(rec *trace.Recording, meta Meta) (bool, string) {
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		if ch.Unit.Dim != unit.Pressure || meta.roleOf(ch, CylinderPressure) != RolePressure {
			continue
		}
		name := " " + foldName(ch.Name) + " "
		for _, w := range []string{" cylinder ", " cyl ", " compression ", " in cylinder ", " zylinder "} {
			if strings.Contains(name, w) {
				return true, "channel " + ch.Name + " is named as cylinder pressure"
			}
		}
	}
	return false, ""
}

// tower is one compression stroke.
type tower struct {
	peak   int     // sample of the crest
	at     float64 // its time, s
	crest  float64 // Pa absolute
	period float64 // s of the cycle around it
}

func (t tower) rpm() float64 { return 120 / t.period }

// pressure is the work on one channel.
type pressure struct {
	*sheet
	ch      *trace.Channel
	clean   []trace.Segment
	v       []float64 // Pa as the transducer shows it
	lift    float64   // Pa: what to add to v to make it absolute; 0 before zero was settled
	sigma   float64
	ambient float64
	towers  []tower
}

func (g *pressure) work() {
	const main = "compression.running"
	if g.unplaced(main) {
		return
	}
	if !(g.rate > 0) {
		g.refuse(main, evidence.TooSlow, "the sample rate is not known", "give sample_rate or a time column")
		return
	}
	fix := "check the channel, its unit and the transducer's scale"
	var lost int
	g.clean, lost = finite(g.ch.Values, g.runs)
	if lost > 0 || len(g.runs) > 1 {
		g.flag(evidence.Gap)
		g.note(evidence.Gap, true, "%s: the recording has holes; strokes that touch them were left out", g.ch.Name)
	}
	if len(g.clean) == 0 || allSame(g.ch.Values, g.clean) {
		g.refuse(main, evidence.WrongChannel, "the trace is flat", fix)
		return
	}
	g.v = g.ch.Values
	g.sigma, _ = stepNoise(g.v, g.clean)
	if why := g.find(); why != "" {
		g.refuse(main, evidence.WrongChannel, why, fix)
		return
	}
	n := g.rate * stats.Median(periods(g.towers))
	if n < cyclePeak {
		g.refuse(main, evidence.TooSlow, fmt.Sprintf("%.0f samples fall on a cycle; the crest lies between them", n), fmt.Sprintf("take it at %s or more", perSecond(g.rate*1000/n)))
		return
	}
	if why, fix := g.zero(); why != "" {
		g.refuse(main, evidence.ScaleUnsure, why, fix)
		return
	}
	g.clipped()
	g.read(n)
}

// find looks for the towers; the text says what speaks against a pressure trace.
func (g *pressure) find() string {
	thin := thinned(g.v, g.clean)
	rest := stats.Median(thin)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range g.clean {
		for i := r.First + 1; i+1 < r.End; i++ {
			m := (g.v[i-1] + g.v[i] + g.v[i+1]) / 3
			lo, hi = math.Min(lo, m), math.Max(hi, m)
		}
	}
	switch {
	case hi-lo < 12*g.sigma:
		return "nothing stands out of the noise"
	case rest-lo > 2*(hi-rest):
		return "the strokes point down: the transducer or its scale is turned over"
	}
	level := rest + towerAt*(hi-rest)
	low := rest + 0.6*towerAt*(hi-rest)
	for _, r := range g.clean {
		var first = -1
		for i := r.First; i < r.End; i++ {
			switch {
			case first < 0 && g.v[i] > level:
				first = i
			case first >= 0 && g.v[i] < low:
				if first > r.First {
					g.towers = append(g.towers, g.crestOf(first, i))
				}
				first = -1
			}
		}
	}
	if len(g.towers) < fewestTowers {
		return fmt.Sprintf("%d compression strokes lie in the recording; %d are needed", len(g.towers), fewestTowers)
	}
	g.pace()
	if len(g.towers) < fewestTowers {
		return "the strokes do not come evenly enough to be those of one cylinder"
	}
	mid := stats.Median(periods(g.towers))
	if rpm := 120 / mid; rpm < slowestEngine || rpm > fastestEngine {
		return fmt.Sprintf("the time between strokes makes %.3g rpm: the time scale looks wrong", rpm)
	}
	var widths []float64
	for _, t := range g.towers {
		widths = append(widths, g.width(t, rest)/t.period)
	}
	if w := stats.Median(widths); w < narrowTower || w > wideTower {
		return fmt.Sprintf("the pulses are %.1f %% of a cycle wide; a compression stroke is %.0f to %.0f %%", 100*w, 100*narrowTower, 100*wideTower)
	}
	return ""
}

// crestOf finds the top of a stroke between two samples: the parabola through all
// samples within 4 % of the crest's height.
func (g *pressure) crestOf(first, end int) tower {
	k := first
	for i := first; i < end; i++ {
		if g.v[i] > g.v[k] {
			k = i
		}
	}
	base := g.v[first]
	bar := g.v[k] - math.Max(0.04*(g.v[k]-base), 4*g.sigma)
	a, b := k, k
	for a-1 >= first && g.v[a-1] >= bar {
		a--
	}
	for b+1 < end && g.v[b+1] >= bar {
		b++
	}
	a, b = min(a, k-1), max(b, k+1)
	if a < 0 || b >= len(g.v) {
		return tower{peak: k, at: g.seconds(k), crest: g.v[k]}
	}
	c0, c1, c2 := parabola(g.v[a:b+1], float64(k-a))
	t := tower{peak: k, at: g.seconds(k), crest: g.v[k]}
	if c2 < 0 {
		if x := -c1 / (2 * c2); math.Abs(x) <= float64(b-a) {
			t.at += x / g.rate
			t.crest = c0 - c1*c1/(4*c2)
		}
	}
	return t
}

// parabola fits c0 + c1 x + c2 x^2 by least squares to y at x = 0, 1, ... less zero.
func parabola(y []float64, zero float64) (c0, c1, c2 float64) {
	var s [5]float64
	var b [3]float64
	for i, v := range y {
		x, p := float64(i)-zero, 1.0
		for k := range s {
			s[k] += p
			if k < 3 {
				b[k] += p * v
			}
			p *= x
		}
	}
	det := s[0]*(s[2]*s[4]-s[3]*s[3]) - s[1]*(s[1]*s[4]-s[2]*s[3]) + s[2]*(s[1]*s[3]-s[2]*s[2])
	if det == 0 {
		return y[len(y)/2], 0, 0
	}
	c0 = (b[0]*(s[2]*s[4]-s[3]*s[3]) - s[1]*(b[1]*s[4]-s[3]*b[2]) + s[2]*(b[1]*s[3]-s[2]*b[2])) / det
	c1 = (s[0]*(b[1]*s[4]-b[2]*s[3]) - b[0]*(s[1]*s[4]-s[2]*s[3]) + s[2]*(s[1]*b[2]-s[2]*b[1])) / det
	c2 = (s[0]*(s[2]*b[2]-s[3]*b[1]) - s[1]*(s[1]*b[2]-s[2]*b[1]) + b[0]*(s[1]*s[3]-s[2]*s[2])) / det
	return c0, c1, c2
}

// pace gives each tower the length of its cycle and leaves out those without a
// neighbour at an even distance.
func (g *pressure) pace() {
	var gaps []float64
	for i := 1; i < len(g.towers); i++ {
		gaps = append(gaps, g.towers[i].at-g.towers[i-1].at)
	}
	// Against the gaps beside it, not against all: an idle between snaps comes at half
	// of the middle pace.
	like := func(i, j int) bool {
		return j >= 0 && j < len(gaps) && math.Max(gaps[i], gaps[j]) < 1.7*math.Min(gaps[i], gaps[j])
	}
	even := func(i int) bool { return i >= 0 && i < len(gaps) && (like(i, i-1) || like(i, i+1)) }
	var out []tower
	for i, t := range g.towers {
		var near []float64
		for _, k := range []int{i - 1, i} {
			if even(k) {
				near = append(near, gaps[k])
			}
		}
		if len(near) == 0 || len(near) == 2 && math.Max(near[0], near[1]) > 1.5*math.Min(near[0], near[1]) {
			continue
		}
		t.period = stats.Median(near)
		out = append(out, t)
	}
	g.towers = out
}

func periods(ts []tower) []float64 {
	out := make([]float64, len(ts))
	for i, t := range ts {
		out[i] = t.period
	}
	return out
}

// width is how long a stroke stays above half its height, s.
func (g *pressure) width(t tower, rest float64) float64 {
	half := rest + 0.5*(t.crest-rest)
	a, b := t.peak, t.peak
	for a > 0 && g.v[a] > half {
		a--
	}
	for b+1 < len(g.v) && g.v[b] > half {
		b++
	}
	return float64(b-a) / g.rate
}

// zero settles whether the transducer shows absolute pressure or that over ambient:
// with the exhaust valve open the cylinder is near ambient. From here on crests, and
// what sampleAt gives, are absolute.
func (g *pressure) zero() (why, fix string) {
	var open []float64
	for _, t := range g.towers {
		for deg := exhaustFrom; deg <= exhaustTo; deg += 10 {
			if p := g.sampleAt(t.at + float64(deg)/720*t.period); !math.IsNaN(p) {
				open = append(open, p)
			}
		}
	}
	if len(open) == 0 {
		return "no whole cycle lies in the recording", "record two seconds or more"
	}
	g.ambient = ambientPa
	if k := g.meta.Known.AmbientPressure; k > 0 {
		g.ambient = k
	}
	level := stats.Median(open)
	switch {
	case math.Abs(level) <= gaugeWithin:
		g.lift = g.ambient
		for i := range g.towers {
			g.towers[i].crest += g.ambient
		}
	case level < absoluteFrom || level > absoluteTo:
		return fmt.Sprintf("with the exhaust valve open it shows %.4g kPa: neither near zero nor near ambient", level/1e3),
			"check the unit and scale, and zero the transducer in open air"
	}
	return "", ""
}

// clipped flags crests that are cut off.
func (g *pressure) clipped() {
	cut := 0
	for _, t := range g.towers {
		same := 0
		for i := t.peak; i < len(g.ch.Values) && g.ch.Values[i] == g.ch.Values[t.peak]; i++ {
			same++
		}
		if g.ch.FullScale > 0 && g.ch.Values[t.peak] >= 0.995*g.ch.FullScale || float64(same) > math.Max(8, 0.02*t.period*g.rate) {
			cut++
		}
	}
	if cut*10 > len(g.towers) {
		g.flag(evidence.Clipped)
		g.note(evidence.Clipped, true, "%s: crests are cut off; use a transducer or range of 20 bar", g.ch.Name)
	}
}

// sampleAt is the pressure at a time, between samples by a straight line; NaN
// outside the clean runs.
func (g *pressure) sampleAt(t float64) float64 {
	x := t * g.rate
	i := int(math.Floor(x))
	for _, r := range g.clean {
		if i >= r.First && i+1 < r.End && len(g.clean) == 1 {
			return g.lift + g.v[i] + (x-float64(i))*(g.v[i+1]-g.v[i])
		}
		if len(g.clean) > 1 && i >= 0 {
			// With holes the sample's own time decides.
			if s := g.seconds(r.First); t >= s && t < g.seconds(r.End-1) {
				y := (t - s) * g.rate
				k := r.First + int(math.Floor(y))
				if k+1 < r.End {
					return g.lift + g.v[k] + (y-math.Floor(y))*(g.v[k+1]-g.v[k])
				}
			}
		}
	}
	return math.NaN()
}
