package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// fewest firings for a reading that may decide something; below ten the
// uncertainty is widened by Student's t. The trade averages 20-50 on each
// placement (trade.md 3.4).
const (
	fewestFirings = 3
	fewestSnaps   = 3
)

// ignitionSecondary measures one coil or plug lead under a pickup: each channel
// that is not time, sync or set aside by the job is one cylinder.
func ignitionSecondary(rec *trace.Recording, meta Meta) (Result, error) {
	var res Result
	measured := 0
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		subject, use := ignitionChannel(ch, meta)
		if !use {
			continue
		}
		measured++
		one := measureIgnition(rec, ch, subject, meta)
		res.Readings = append(res.Readings, one.Readings...)
		res.NotMeasured = append(res.NotMeasured, one.NotMeasured...)
		res.Notes = append(res.Notes, one.Notes...)
		res.Marks = append(res.Marks, one.Marks...)
		if res.Condition.State == "" {
			res.Condition = one.Condition
		}
	}
	if measured == 0 {
		return res, fmt.Errorf("no channel is left to be the ignition trace; map one column with as: %s", IgnitionSecondary)
	}
	return res, nil
}

// ignitionChannel says whether a channel is measured, and for which subject.
func ignitionChannel(ch *trace.Channel, meta Meta) (evidence.Subject, bool) {
	subject := meta.Subject
	declared := false
	for _, c := range meta.Columns {
		declared = declared || c.As == IgnitionSecondary
	}
	if c, ok := meta.column(ch.Name); ok {
		if c.As != IgnitionSecondary && c.As != "" {
			return subject, false
		}
		if c.Subject.Kind != "" {
			subject = c.Subject
		}
		return subject, true
	}
	return subject, !declared && !ch.Edges
}

// ignition is the work on one channel.
type ignition struct {
	readout
	w       *wave
	ch      *trace.Channel
	subject evidence.Subject
	sparks  []spark
	sign    float64
	exhaust []spark // of the same lead, left out of sparks (waste spark)
	revs    float64 // revolutions from one spark to the next
	leapt   bool    // the speed leaps as no engine's does
	absent  int     // firings that were due and of which nothing was seen (parade)
}

func measureIgnition(rec *trace.Recording, ch *trace.Channel, subject evidence.Subject, meta Meta) Result {
	g := &ignition{readout: readout{meta: meta}, ch: ch, subject: subject}
	switch {
	case subject.Kind == "":
		g.note(evidence.Unplaced, true, "%s: no cylinder is given; the readings cannot be compared until it is", ch.Name)
	case subject.Kind == evidence.Cylinder && meta.Engine.Cylinders > 0 && subject.Number > meta.Engine.Cylinders:
		g.refuse("", evidence.Unplaced, fmt.Sprintf("cylinder %d is given, the engine has %d", subject.Number, meta.Engine.Cylinders), "correct the cylinder of the capture")
		return g.res
	}
	w, ok := newWave(rec, ch)
	g.w = w
	if !ok {
		g.refuse("", evidence.TooSlow, "the sample rate is not known", "give sample_rate or a time column")
		return g.res
	}
	if why, fix, flag := g.find(); why != "" {
		g.refuse("", flag, why, fix)
		return g.res
	}
	if why, fix := g.dropSmall(); why != "" {
		g.refuse("", evidence.ConditionUnsure, why, fix)
		return g.res
	}
	g.quality()
	if n := g.sharedBy(); n > 0 {
		g.flag(evidence.WrongChannel)
		g.note(evidence.WrongChannel, true, "%s: the firings repeat in a pattern of %d, as those of several cylinders in one trace do: this is not one cylinder; measure it as %s, with a sync beside it", ch.Name, n, IgnitionParade)
	}
	g.read()
	return g.res
}

// find looks for firings; the texts say why it is refused, empty when it is not.
func (g *ignition) find() (why, fix string, flag evidence.Flag) {
	w := g.w
	if why := g.switched(); why != "" {
		return why, "check the channel; map it with as: " + IgnitionPrimary + " or " + InjectorKind + " if it is one", evidence.WrongChannel
	}
	cl, why, fix, flag := g.pulses()
	if why != "" {
		return why, fix, flag
	}
	g.sign = w.polarity(cl)
	for i, c := range cl {
		limit := len(w.v)
		if i+1 < len(cl) {
			limit = cl[i+1].first * w.size
		}
		if s, ok := w.measureSpark(c, g.sign, limit); ok {
			g.sparks = append(g.sparks, s)
		}
	}
	g.cutOff()
	if why := g.shape(); why != "" {
		return why, notIgnition, evidence.WrongChannel
	}
	return "", "", ""
}

// switched says so when a channel in volts rests at a battery's voltage and is pulled
// to ground for a time: the switched side of a coil or an injector. Our choice of bounds.
func (g *ignition) switched() string {
	if g.ch.Unit.Dim != unit.Voltage {
		return ""
	}
	x := thinned(g.w.v, g.w.runs)
	rest := stats.Median(x)
	if rest < 9 || rest > 32 {
		return ""
	}
	low := 0
	for _, v := range x {
		if v < 0.3*rest && v > -0.1*rest {
			low++
		}
	}
	if float64(low) < 0.005*float64(len(x)) {
		return ""
	}
	return fmt.Sprintf("it rests at %.1f V and is pulled to ground between: the switched side of a coil or an injector, not its spark", rest)
}

// Chance of a pattern by luck, and relative spread of its places, from which firings
// are taken for those of several cylinders. Our choice.
const (
	patternByLuck = 1e-6
	patternSpread = 0.03
)

// sharedBy is the number of firings after which height or burn time comes back, where
// that is not chance: one pickup then sees so many cylinders, each with its own height.
// 0 without one. Two are left out: a waste-spark lead has them.
func (g *ignition) sharedBy() int {
	var heights, burns []float64
	for _, s := range g.sparks {
		if !s.cut && !s.missing && s.height > 0 && s.burn > 0 {
			heights, burns = append(heights, math.Log(s.height)), append(burns, math.Log(s.burn))
		}
	}
	for _, n := range []int{3, 4, 5, 6, 8} {
		for _, x := range [][]float64{heights, burns} {
			if len(x) < 6*n {
				continue
			}
			f, _, means := pattern(x, n)
			df1, df2 := float64(n-1), float64(len(x)-n)
			lo, hi := leastGreatest(means)
			if hi-lo > patternSpread && (distuv.F{D1: df1, D2: df2}).Survival(f) < patternByLuck {
				return n
			}
		}
	}
	return 0
}

const notIgnition = "check that this is the channel of the pickup, and its kind"

// pulses finds the clusters that may be firings, with hum taken away.
func (g *ignition) pulses() (cl []cluster, why, fix string, flag evidence.Flag) {
	w := g.w
	if w.rate < minIgnitionHz {
		return nil, perSecond(w.rate) + " cannot show a spark of one millisecond", "take it again at 1 MS/s or more (100 kS/s is enough for burn time)", evidence.TooSlow
	}
	span := 0.0
	for _, r := range w.runs {
		span += float64(r.End-r.First) / w.rate
	}
	if !(w.quiet > 0) && allFlat(w) {
		return nil, "the trace is flat", "check the pickup's lead, ground and channel, and that the engine runs", evidence.WrongChannel
	}
	cl = w.clusters()
	if len(cl) == 0 {
		return nil, "nothing stands out of the noise", "lay the pickup closer, on the flat face of the coil, and raise the sensitivity", evidence.WrongChannel
	}
	if why := w.plausible(cl, span); why != "" {
		return nil, why, notIgnition, evidence.WrongChannel
	}
	w.humBeside(cl)
	return cl, "", "", ""
}

// humBeside looks for hum in what lies between the firings.
func (w *wave) humBeside(cl []cluster) {
	busy := make([]bool, len(w.lo))
	wide := int(w.within(3e-3, 0.3)*w.rate) / w.size
	for _, c := range cl {
		for b := max(0, c.first-wide); b <= min(len(busy)-1, c.last+wide); b++ {
			busy[b] = true
		}
	}
	w.findHum(busy)
}

// allFlat reports whether no block moves at all.
func allFlat(w *wave) bool {
	lo, hi := math.Inf(1), math.Inf(-1)
	for b := range w.lo {
		if w.lo[b] <= w.hi[b] {
			lo, hi = math.Min(lo, w.lo[b]), math.Max(hi, w.hi[b])
		}
	}
	return !(hi > lo)
}

// plausible holds the pattern of clusters against that of sparks: short beside
// the time between them, at a rate an engine can fire at.
func (w *wave) plausible(cl []cluster, span float64) string {
	busy, long := 0, 0
	for _, c := range cl {
		d := float64((c.last-c.first+1)*w.size) / w.rate
		if d > longestCluster {
			long++
		}
		busy += (c.last - c.first + 1) * w.size
	}
	share := float64(busy) / w.rate / span
	switch {
	case 2*long > len(cl):
		return "it moves without the rest between pulses that an ignition trace has"
	case len(w.runs) == 1 && share > 0.6:
		return fmt.Sprintf("it moves %.0f %% of the time; an ignition trace rests between sparks", 100*share)
	}
	if len(w.runs) == 1 && len(cl) >= 5 && w.pace == 0 {
		var gaps []float64
		for i := 1; i < len(cl); i++ {
			gaps = append(gaps, float64((cl[i].top-cl[i-1].top)*w.size)/w.rate)
		}
		if t := stats.Median(gaps); t < 5e-3 {
			return fmt.Sprintf("pulses come %.2f ms apart; one cylinder cannot fire that fast", 1e3*t)
		}
	}
	return ""
}

// polarity is the direction of the firing lines: +1 up, -1 down. The crest is
// many times the opposite swing next to it.
func (w *wave) polarity(cl []cluster) float64 {
	var vote []float64
	for _, c := range cl {
		if v := w.leaning(c); v != 0 {
			vote = append(vote, v)
		}
	}
	if stats.Median(vote) < 0 {
		return -1
	}
	return 1
}

// leaning is how far one firing points up (towards 1) or down (towards -1).
func (w *wave) leaning(c cluster) float64 {
	from, to := max(0, (c.top-1)*w.size), min(len(w.v), (c.top+2)*w.size)
	rest := w.hum.at(w.seconds(c.top * w.size))
	up, down := 0.0, 0.0
	for _, v := range w.v[from:to] {
		up, down = math.Max(up, v-rest), math.Max(down, rest-v)
	}
	if up+down > 0 {
		return (up - down) / (up + down)
	}
	return 0
}

// shape holds the sparks found against what a spark looks like, and says what is
// wrong if most of them do not.
func (g *ignition) shape() string {
	n, sparks, narrow, cut, fallen, rung := 0, 0, 0, 0, 0, 0
	var burns, slopes []float64
	for _, s := range g.sparks {
		n++
		if s.cut {
			cut++
			continue
		}
		if s.rise/g.w.rate < 250e-6 {
			narrow++
		}
		if s.missing {
			// A spark that does not jump swings to the other side.
			if s.swung {
				sparks++
				fallen++
			}
			continue
		}
		if s.fallen || g.w.rate < 200e3 { // a slow trace misses the crest
			fallen++
		}
		if s.rings >= 1 {
			rung++
		}
		burns = append(burns, s.burn)
		slopes = append(slopes, math.Abs(s.slope))
		if s.level > 0 && (s.level < 0.8*s.height || g.w.rate < 200e3) {
			sparks++
		}
	}
	whole := n - cut
	switch {
	case n == 0:
		return "no pulse lies whole inside the recording"
	case whole == 0:
		return "no pulse ends inside the recording; each is cut off"
	case 2*narrow < whole:
		return "the pulses rise too slowly for a firing line"
	case 2*fallen < whole:
		return "the pulses do not fall off sharply, as a breakdown does"
	case 2*sparks < whole:
		return "the pulses are not followed by a spark line lower than their crest"
	case len(burns) > 0 && stats.Median(burns) > longestBurn:
		return "the pulses last too long for a spark"
	case len(burns) > 0 && stats.Median(burns) < 0.2e-3 && 2*rung < len(burns):
		return "the pulses die away without the ring that follows a spark"
	case len(slopes) > 0 && stats.Median(slopes) > 5:
		return "the pulses die away along a curve; a spark holds its line"
	}
	return ""
}

// quality sets the flags that hold for the whole capture.
func (g *ignition) quality() {
	w := g.w
	if g.sign < 0 && !g.meta.Inverted {
		g.flag(evidence.Inverted)
		g.note(evidence.Inverted, false, "%s: firing lines point down; the trace was turned over for measuring", g.ch.Name)
	}
	if g.sign > 0 && g.meta.Inverted {
		g.note(evidence.Inverted, false, "%s: the probe is declared inverted, but firing lines point up; measured as they are", g.ch.Name)
	}
	triggered := len(w.runs) > 1 && 2*len(w.runs) >= len(g.sparks)
	switch {
	case w.lost > 0 || len(w.runs) > 1 && !triggered:
		g.flag(evidence.Gap)
	case triggered:
		g.note("", false, "%s: recorded in %d stretches, one about each spark; a spark that did not trigger was not seen", g.ch.Name, len(w.runs))
	}
	if w.lost > 0 {
		g.note(evidence.Gap, true, "%s: %d samples have no value; firings that touch them were left out", g.ch.Name, w.lost)
	}
	var heights, levels []float64
	for _, s := range g.sparks {
		heights = append(heights, s.height)
		if !s.missing && !s.cut {
			levels = append(levels, s.level)
		}
	}
	h := stats.Median(heights)
	if a := w.hum.amplitude(); w.humFound && a > 0.02*h {
		g.flag(evidence.Hum)
		g.note(evidence.Hum, false, "%s: %.0f Hz hum of %.1f %% of the firing line was fitted and taken away", g.ch.Name, w.hum.hz, 100*a/h)
	}
	if l := stats.Median(levels); len(levels) > 0 && l < 4*w.sigma {
		g.flag(evidence.Noisy)
	}
	if !g.meta.Calibrated {
		g.flag(evidence.NotCalibrated)
	}
}

func (g *ignition) flag(f evidence.Flag) { g.flags = append(g.flags, f) }

func (g *ignition) note(f evidence.Flag, trouble bool, format string, args ...any) {
	g.readout.note(g.ch.Name, f, trouble, format, args...)
}

// refuse says that a feature, or with "" the whole trace, could not be measured.
func (g *ignition) refuse(feature string, flag evidence.Flag, why, fix string) {
	if feature == "" {
		feature = "ignition.burn_time_idle"
		switch g.meta.Condition.State {
		case evidence.Snap:
			feature = "ignition.burn_time_snap"
		case evidence.Load:
			feature = "ignition.burn_time_load"
		case evidence.Cruise, evidence.Raised:
			feature = "ignition.burn_time_cruise"
		}
	}
	g.readout.refuse(feature, g.ch.Name, g.subject, flag, why, fix)
}

// round3 writes a large number with k or M.
func round3(x float64) string {
	switch {
	case x >= 1e6:
		return fmt.Sprintf("%.3g M", x/1e6)
	case x >= 1e3:
		return fmt.Sprintf("%.3g k", x/1e3)
	}
	return fmt.Sprintf("%.3g", x)
}

// perSecond says a sample rate in words.
func perSecond(rate float64) string {
	if n := round3(rate); n != "1" {
		return n + " samples a second"
	}
	return "1 sample a second"
}
