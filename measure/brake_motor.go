package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// BrakeMotorCurrent is the current of the motors of an electric parking brake, left
// or right or both, with the supply voltage beside it where it was recorded. Columns:
// as: brake_motor with corner: rear_left or rear_right, as: battery_voltage (at the
// posts), as: voltage (at the motor's connector).
const BrakeMotorCurrent = "brake_motor"

// Limits of a brake motor's current. trade.md 5.5 and 5.6 give the ranges; most of
// them are marked there as from memory or estimated.
const (
	leastBrakeHz       = 20.0 // our choice: a clamp rise lasts 100-400 ms
	motorInrushHz      = 80.0 // our choice: the inrush dies away in 20-60 ms
	moveAmps           = 0.4  // our choice: less is no movement
	moveSigmas         = 8.0
	shortestMove       = 0.06 // s; our choice: a seized one is cut within 0.3 s (trade.md 5.6)
	bridgeSeconds      = 0.15 // our choice: a shorter zero is a drop-out within one movement
	motorSettleSeconds = 0.08 // after the start: inrush over (trade.md 5.5: 20-60 ms)
	breakSeconds       = 0.20 // break-away of a release: 50-150 ms
	freeLow            = 2.0  // A: free run 2-5 A flat (trade.md 5.5)
	freeHigh           = 5.5  // A: 5-8 A when cold or stiff
	cutLow             = 12.0 // A: cut-off 12-20 A by make
	mostBrakeAmps      = 80.0 // our choice: beyond, the scale is wrong
	stallSeconds       = 0.5  // seized: cut within 0.3 s
	longSeconds        = 2.5  // our choice: an apply takes 0.6-1.5 s, a service retract 3-8 s
	sideDifference     = 0.20 // left against right: 15-20 % (EST)
	restDefault        = 30.0 // s; common practice, no source
	lowSupply          = 11.5 // V: abort to safe (trade.md 5.3, EST)
	earlyRise          = 0.6  // of the other side's way to the pad; our choice
	slowRise           = 0.5  // of the other side's rise; our choice
	slowSeconds        = 2.0  // our choice: an apply of 0.6-1.5 s (trade.md 5.5) that takes longer
)

// Kinds of movement.
const (
	Apply   = "apply"   // the current rises against the clamp
	Release = "release" // breaks away, then runs free
	FreeRun = "run"     // runs without a rise: release, service retract, or an apply that finds nothing
	Stalled = "stalled" // no free run at all
)

// BrakeMovement is one run of one motor. Times are seconds from the start of the
// recording; currents are magnitudes in A.
type BrakeMovement struct {
	Side       string  // "left", "right", "" when not known
	Kind       string  // apply, release, run, stalled
	Toward     int     // +1 towards the clamp, -1 away, 0 not known
	Start, End float64 // when current began and ended
	First      int     // samples
	Last       int
	Inrush     float64 // highest in the first 80 ms; 0 when sampled too slowly
	Free       float64 // level of the flat part; 0 when there is none
	Peak       float64 // highest after the inrush
	Final      float64 // just before it was cut off
	Contact    float64 // s after the start at which the rise begins; 0 without a rise
	RiseRate   float64 // A/s from contact to the end; 0 without a rise
	Shelf      bool    // the end of the rise flattens out: it ran into a limit, not into a cut-off
	Dropouts   int     // breaks of the current within the movement
	CutShort   bool    // begins or ends outside the recording
	// Supply is the lowest voltage during the movement, 0 when not recorded.
	// SupplySeen says that the sampling is too slow for the inrush: lowest seen.
	Supply     float64
	SupplySeen bool
	Connector  float64 // the same at the motor's connector, where that was recorded
	// EndSupply and EndConnector are the voltages over the last 50 ms, while the
	// current is at its end: what the clamp was made with.
	EndSupply, EndConnector float64
	Verdict                 string // see BrakeSide
	Why                     string
	motor                   int // place among the channels
}

// BrakeRest is the time from the end of a movement to the next of the same motor.
type BrakeRest struct {
	Side     string
	From, To float64 // s
	Seconds  float64
	motor    int
}

// BrakeSide is what the movements of one motor say together.
type BrakeSide struct {
	Side   string
	Cycles int // apply and release, both seen whole
	// Verdict: "healthy", "open", "seized", "stripped", "no load" (missing pad or
	// disc, loose caliper), "no rise" (stripped or no load, cannot be told), "high
	// resistance", "weak battery", "binding", "worn brushes", "collapse" (in mid-stroke),
	// "low supply" (slow, or stopped in mid-stroke by it),
	// "cannot tell".
	Verdict string
	Why     string
}

// BrakeRun is what a recording of brake motors shows, beside its readings.
type BrakeRun struct {
	RateHz    float64
	Movements []BrakeMovement // in order of start
	Rests     []BrakeRest
	Sides     []BrakeSide
	Point     string // where the supply was measured, as the file or the job says
}

func brakeMotor(rec *trace.Recording, meta Meta) (Result, error) {
	_, res, err := BrakeMotor(rec, meta)
	return res, err
}

// brake is the work on one recording.
type brake struct {
	readout
	run    BrakeRun
	rec    *trace.Recording
	rate   float64
	supply *trace.Channel // at the battery, or where it was not said
	plug   *trace.Channel // at the motor's connector
	sides  []brakeChannel
}

type brakeChannel struct {
	ch      *trace.Channel
	side    string
	subject evidence.Subject
	zero    float64
	sigma   float64
	silent  bool
	refused bool
	cut     bool // the recorder cut the highest currents off
}

// BrakeMotor measures the motors of a parking brake.
//
// Definitions. A movement begins when the current leaves rest (more than 0.4 A and
// eight times the noise) and ends when it comes back; a break under 0.15 s is a
// drop-out within it. Inrush: highest in the first 80 ms. Free run: median of the flattest half of
// what follows. Contact: the last point at which the current stands within a fifth
// of the whole rise above the free run. Rise rate: slope of a straight line from contact to the
// end. Rest: from the end of a movement to the start of the next. Sources: trade.md
// 5.5 and 5.6; the error is for a recording that cannot be worked on at all.
func BrakeMotor(rec *trace.Recording, meta Meta) (BrakeRun, Result, error) {
	b := &brake{readout: readout{meta: meta}, rec: rec}
	if len(rec.Channels) == 0 {
		return b.run, b.res, fmt.Errorf("the recording has no channels; check the column mapping")
	}
	if why := b.channels(); why != "" {
		return b.run, b.res, fmt.Errorf("%s; map a column with as: %s and its corner", why, BrakeMotorCurrent)
	}
	b.rate = rateWithin(rec.Time, rec.Segments)
	b.run.RateHz = b.rate
	if b.rate < leastBrakeHz {
		why, fix := "the sample rate is not known", "give sample_rate or a time column"
		if b.rate > 0 {
			why, fix = perSecond(b.rate)+" cannot show a clamp rise of 0.1-0.4 s", "record at 100 samples a second or more"
		}
		b.refuse("brake.clamp_current", b.sides[0].ch.Name, b.sides[0].subject, evidence.TooSlow, why, fix)
		return b.run, b.res, nil
	}
	for i := range b.sides {
		b.find(i)
	}
	slices.SortStableFunc(b.run.Movements, func(x, y BrakeMovement) int {
		switch {
		case x.Start < y.Start:
			return -1
		case x.Start > y.Start:
			return 1
		}
		return strings.Compare(x.Side, y.Side)
	})
	b.directions()
	b.voltages()
	b.rests()
	b.judge()
	b.read()
	return b.run, b.res, nil
}

// channels finds the motors and the supply among the columns.
func (b *brake) channels() string {
	declared := false
	for _, c := range b.meta.Columns {
		declared = declared || c.As == BrakeMotorCurrent
	}
	for i := range b.rec.Channels {
		ch := &b.rec.Channels[i]
		col, has := b.meta.column(ch.Name)
		n := " " + foldName(ch.Name) + " "
		switch {
		case has && col.As == BrakeMotorCurrent, !declared && (!has || col.As == "") && ch.Unit.Dim == unit.Current:
			s := brakeChannel{ch: ch, subject: b.meta.Subject}
			if has && col.Subject.Kind != "" {
				s.subject = col.Subject
			}
			if s.subject.Kind == evidence.Corner {
				s.side = map[int]string{1: "left", 2: "right", 3: "left", 4: "right"}[s.subject.Number]
			}
			if s.subject.Kind == "" {
				switch {
				case sideWord(n, "left", "lh", "rl", "links", "hl"):
					s.side, s.subject = "left", evidence.Subject{Kind: evidence.Corner, Number: 3}
				case sideWord(n, "right", "rh", "rr", "rechts", "hr"):
					s.side, s.subject = "right", evidence.Subject{Kind: evidence.Corner, Number: 4}
				default:
					s.subject = evidence.Subject{Kind: evidence.Vehicle}
					b.note(ch.Name, evidence.Unplaced, true, "%s: which side's motor this is is not given", ch.Name)
				}
			}
			b.sides = append(b.sides, s)
		case has && col.As == RoleVoltage:
			b.plug = ch
		case has && (col.As == Supply || col.As == RoleBattery):
			b.supply = ch
		case (!has || col.As == "") && ch.Unit.Dim == unit.Voltage:
			if strings.Contains(n, " connector ") || strings.Contains(n, " plug ") || strings.Contains(n, " motor ") || strings.Contains(n, " caliper ") {
				b.plug = ch
			} else if b.supply == nil {
				b.supply = ch
			}
		}
	}
	if b.supply != nil {
		b.run.Point = strings.TrimSpace(b.supply.Name)
	}
	switch {
	case len(b.sides) == 0 && len(b.rec.Channels) == 1 && !declared:
		b.sides = append(b.sides, brakeChannel{ch: &b.rec.Channels[0], subject: evidence.Subject{Kind: evidence.Vehicle}})
	case len(b.sides) == 0:
		return "no channel is a motor current"
	}
	return ""
}

// find cuts a channel into movements.
func (b *brake) find(motor int) {
	s := &b.sides[motor]
	v := s.ch.Values
	have := 0
	for _, x := range v {
		if !math.IsNaN(x) && !math.IsInf(x, 0) {
			have++
		}
	}
	refuse := func(flag evidence.Flag, why, fix string) {
		s.refused = true
		b.refuse("brake.clamp_current", s.ch.Name, s.subject, flag, why, fix)
	}
	if have < 20 {
		refuse(evidence.TooFewEvents, "hardly any samples have a value", "record again")
		return
	}
	s.zero, s.sigma = restOf(v, have)
	most := 0.0
	for _, x := range v {
		if d := math.Abs(x - s.zero); d > most && !math.IsInf(d, 0) {
			most = d
		}
	}
	threshold := math.Max(moveAmps, moveSigmas*s.sigma)
	switch {
	case most > mostBrakeAmps:
		refuse(evidence.ScaleUnsure, fmt.Sprintf("%.3g A is more than a brake motor can take: the scale is wrong", most), "check the clamp's scale and the unit of the column")
		return
	case most < moveAmps && most > 50*s.sigma && s.sigma > 0:
		refuse(evidence.ScaleUnsure, fmt.Sprintf("the current moves, but by %.3g A at most: the scale is wrong, or this is not the motor", most), "check the clamp's scale and the unit of the column")
		return
	case most < threshold:
		s.silent = true
		return
	}
	n := len(b.run.Movements)
	runs := b.rec.Segments
	if len(runs) == 0 {
		runs = []trace.Segment{{First: 0, End: len(v)}}
	}
	for _, r := range runs {
		b.movements(motor, v, r, threshold)
	}
	found := b.run.Movements[n:]
	if spikes := len(found); spikes > 0 && spikes <= 3 && !slices.ContainsFunc(found, func(m BrakeMovement) bool { return m.End-m.Start > 3.5/b.rate }) {
		// A spike at switch-on is all that an open brush lets through.
		b.run.Movements = b.run.Movements[:n]
		s.silent = true
		return
	}
	// Noise, hum or some other signal: moving most of the time, or in bits.
	busy, bits := 0.0, 0
	for _, m := range found {
		busy += m.End - m.Start
		if m.End-m.Start < 3/b.rate || m.Dropouts > 20 {
			bits++
		}
	}
	span := float64(have) / b.rate
	var lasts []float64
	for _, m := range found {
		lasts = append(lasts, m.End-m.Start)
	}
	if d := stats.Median(lasts); len(lasts) > 0 && d < shortestMove && b.rate > 3/shortestMove {
		b.run.Movements = b.run.Movements[:n]
		refuse(evidence.WrongChannel, fmt.Sprintf("the current flows for %s ms at a time; a brake motor runs for a second or so", round3(1e3*d)), "check the time column or sample rate, and that this is the clamp on the motor's lead")
		return
	}
	if len(found) == 0 || 2*bits > len(found) || busy > 0.97*span || b.alwaysOn(found) {
		b.run.Movements = b.run.Movements[:n]
		refuse(evidence.WrongChannel, "the current does not rise from rest and come back to it as a motor's does", "check that this is the clamp on the motor's lead, and record from before the first movement until after the last")
		return
	}
	// The current of a motor that runs both ways may be cut off on either side.
	if s.cut = cutOff(signal{v: v}, s.sigma) || cutOff(signal{v, true}, s.sigma); s.cut {
		b.note(s.ch.Name, evidence.Clipped, true, "%s: the current is cut off at the end of the recorder's range; inrush and cut-off are higher", s.ch.Name)
	}
	if full := s.ch.FullScale; full > 0 && most >= 0.995*(full-math.Abs(s.zero)) {
		b.note(s.ch.Name, evidence.Clipped, true, "%s: the current reaches the end of the recorder's range; inrush and cut-off may be higher", s.ch.Name)
	}
}

// alwaysOn reports movements that are cut off at both ends of the recording.
func (b *brake) alwaysOn(found []BrakeMovement) bool {
	return len(found) == 1 && found[0].CutShort && found[0].Start <= 1.5/b.rate
}

// restSamples is how many samples the level at rest is taken from: a recording of five
// minutes at 100 S/s whole. Our choice.
const restSamples = 30000

// restOf is the level at rest and its noise: the densest tenth of the values, by
// the shortest interval that holds a quarter of them. have is how many of the values
// are finite; of many, some are looked at, spread over all.
func restOf(v []float64, have int) (level, sigma float64) {
	x := make([]float64, 0, min(have, 2*restSamples))
	seen, stride := 0, max(1, have/restSamples)
	for _, y := range v {
		if math.IsNaN(y) || math.IsInf(y, 0) {
			continue
		}
		if seen%stride == 0 {
			x = append(x, y)
		}
		seen++
	}
	slices.Sort(x)
	k := max(5, len(x)/4)
	best, width := 0, math.Inf(1)
	for i := 0; i+k <= len(x); i++ {
		// Of intervals alike in width, the one nearest to zero current is rest.
		w := x[i+k-1] - x[i]
		if w < width-1e-12 || w <= width+1e-12 && math.Abs(x[i]) < math.Abs(x[best]) {
			best, width = i, w
		}
	}
	in := x[best : best+k]
	level = stats.Median(in)
	// Noise: what lies within four times the median distance of the level.
	var d []float64
	for _, y := range x {
		d = append(d, math.Abs(y-level))
	}
	near := 4 * stats.Quantile(d, 0.15)
	if near == 0 {
		near = 4 * stats.Median(d) * 0.1
	}
	var keep []float64
	for _, y := range x {
		if math.Abs(y-level) <= math.Max(near, 0.05) {
			keep = append(keep, y)
		}
	}
	return level, stats.MADSigma(keep)
}

// blip reports a stretch of noise: one or two samples hardly over the threshold.
func blip(v []float64, zero, threshold float64) bool {
	for _, x := range v {
		if math.Abs(x-zero) > 2*threshold {
			return false
		}
	}
	return len(v) <= 2
}

// movements finds the stretches of current in one uninterrupted run.
func (b *brake) movements(motor int, v []float64, r trace.Segment, threshold float64) {
	s := &b.sides[motor]
	bridge := max(1, int(bridgeSeconds*b.rate))
	first, last, sign, drops := -1, -1, 0.0, 0
	flush := func(end bool) {
		if first >= 0 && !blip(v[first:last+1], s.zero, threshold) {
			m := b.shape(s, v, first, last, drops, first == r.First || end && last == r.End-1)
			m.motor = motor
			b.run.Movements = append(b.run.Movements, m)
		}
		first, drops = -1, 0
	}
	for i := r.First; i < min(r.End, len(v)); i++ {
		x := v[i] - s.zero
		if !(math.Abs(x) > threshold) {
			if first >= 0 && i-last > bridge {
				flush(false)
			}
			continue
		}
		if first >= 0 && x*sign < 0 { // the other way: another movement
			flush(false)
		}
		if first < 0 {
			first, sign = i, x
		} else if i-last > 1 {
			drops++
		}
		last = i
	}
	flush(true)
}

// sideWord reports whether a folded name, with a space at each end, has one of the words
// by which a side is named, in English or German.
func sideWord(name string, words ...string) bool {
	for _, w := range words {
		if strings.Contains(name, " "+w+" ") {
			return true
		}
	}
	return false
}
