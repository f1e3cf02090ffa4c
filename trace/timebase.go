package trace

import (
	"fmt"
	"math"
	"slices"
)

// timeBase settles the time of each sample and cuts the recording into segments.
func (a *assembly) timeBase(rec *Recording) {
	n := a.rows
	rec.Segments = []Segment{{0, n}}
	rec.Time = TimeBase{Num: 0, Den: 1, N: n}
	if a.time < 0 || (a.form == timeCount && a.rateHz == 0) {
		rec.Time.Num, rec.Time.Den = rational(a.rateHz)
		rec.Segments = a.brokenSegments()
		if a.time >= 0 {
			a.noteCounterJumps()
		}
		return
	}
	s := a.stamps
	if a.form == timeCount {
		a.countToTime()
	}
	if a.form == timeClock {
		a.passMidnight()
	}
	rec.Time.Resolution = a.resolution()
	a.rebase(rec)
	rec.Segments = a.segments()
	if len(rec.Segments) == 1 {
		if start, num, den, ok := uniform(s, a.tolerance()); ok {
			rec.Time.Start, rec.Time.Num, rec.Time.Den = start, num, den
			a.stamps = nil
			if n > 1 {
				a.note(0, "samples are equally spaced, %s (%.6g Hz)", span(float64(num)/float64(den)), rec.Time.RateHz())
			}
		}
	}
	if a.stamps != nil {
		rec.Time.Start, rec.Time.Stamps = s[0], s
		a.noteRepeats(rec)
		switch step, ok := a.stepWithin(rec.Segments); {
		case a.edges:
		case ok:
			a.note(0, "samples are equally spaced within each of %d segments, %s", len(rec.Segments), span(step))
		default:
			a.note(0, "samples are not equally spaced; each keeps its time")
		}
	}
	hz := rec.Time.RateHz()
	switch {
	case hz > maxRateHz:
		a.notes = append(a.notes, Note{Text: fmt.Sprintf("a sample rate of %.3g Hz cannot be right: check the unit of the time column", hz), Lost: true})
	case hz == 0 && n > 1:
		a.notes = append(a.notes, Note{Text: "time does not advance from the first row to the last: check the unit of the time column", Lost: true})
	}
}

// stepWithin gives the common step of segments that are each equally spaced.
func (a *assembly) stepWithin(segs []Segment) (float64, bool) {
	step := 0.0
	if len(segs) < 2 {
		return 0, false
	}
	for _, g := range segs {
		if g.End-g.First < 3 {
			continue
		}
		_, num, den, ok := uniform(a.stamps[g.First:g.End], a.tolerance())
		d := float64(num) / float64(den)
		if !ok || (step != 0 && math.Abs(d-step) > 0.01*step) {
			return 0, false
		}
		if step == 0 {
			step = d
		}
	}
	return step, step > 0
}

// brokenSegments cuts a recording without stamps where lines could not be
// used: how much time they stand for is not known.
func (a *assembly) brokenSegments() []Segment {
	var out []Segment
	start := 0
	for _, row := range a.breaks {
		if row > start && row < a.rows {
			out = append(out, Segment{start, row})
			start = row
		}
	}
	return append(out, Segment{start, a.rows})
}

// rational gives the step of a rate as a fraction of nanoseconds.
func rational(hz float64) (num, den int64) {
	if hz <= 0 {
		return 0, 1
	}
	if hz == math.Trunc(hz) {
		return second, int64(hz)
	}
	if ns := 1e9 / hz; ns < 1e15 && ns > 1e3 && math.Abs(ns-math.Round(ns)) < 1e-6 {
		return int64(math.Round(ns)), 1
	}
	if hz < 1e6 {
		return second * 1000, max(1, int64(math.Round(hz*1000)))
	}
	return second, int64(math.Round(hz))
}

func (a *assembly) countToTime() {
	num, den := rational(a.rateHz)
	first := a.stamps[0]
	for i, v := range a.stamps {
		d := float64(v-first) * (float64(num) / float64(den))
		if math.Abs(d) < 1<<53 {
			a.stamps[i] = (TimeBase{Num: num, Den: den}).At(int(v - first))
		} else {
			a.stamps[i] = int64(math.Max(-9e18, math.Min(9e18, d)))
		}
	}
}

func (a *assembly) noteCounterJumps() {
	for i := 1; i < len(a.stamps); i++ {
		if d := a.stamps[i] - a.stamps[i-1]; d != 1 {
			i := i
			a.book.add(oddDead, a.lineOf(i), 0, func() string { return fmt.Sprintf("the row counter goes from %d to %d", a.stamps[i-1], a.stamps[i]) })
		}
	}
}

// passMidnight adds a day where a time of day starts again at 0:00.
func (a *assembly) passMidnight() {
	add := int64(0)
	for i := 1; i < len(a.stamps); i++ {
		a.stamps[i] += add
		if a.stamps[i]+day/2 < a.stamps[i-1] && a.stamps[i-1] < 10*365*day {
			add += day
			a.stamps[i] += day
			a.note(a.lineOf(i), "the clock passes midnight")
		}
	}
}

// resolution is the printed step of time in ns, at least 1.
func (a *assembly) resolution() int64 {
	if a.form == timeCount {
		return 1
	}
	return max(1, int64(math.Round(a.printedStep())))
}

func (a *assembly) printedStep() float64 {
	ns := 1e9
	if a.form == timeNumber {
		ns = float64(a.unitNs)
		if a.scaleNs != 0 {
			ns = math.Abs(a.scaleNs)
		}
	}
	return ns * math.Pow(10, -float64(max(-9, min(a.maxFrac, 30))))
}

// tolerance is how wide the band around a straight line may be that holds all
// stamps of a uniform recording: one printed step, and one nanosecond for our
// own rounding.
func (a *assembly) tolerance() int64 {
	if a.form == timeCount {
		return 1
	}
	return int64(math.Min(a.printedStep(), 1e15)) + 1
}

// far is from when on a column of numbers is taken to count from 1970 rather
// than from the start of the recording: 10^7 s, a third of a year (our choice).
const far = 1e7 * 1e9

// rebase makes clock times count from the first row and remembers the clock.
func (a *assembly) rebase(rec *Recording) {
	first := a.stamps[0]
	switch {
	case a.form == timeClock:
		rec.Time.OriginOf = "midnight"
	case a.form == timeStamp, first > far:
		rec.Time.OriginOf = "1970-01-01 UTC"
	default:
		return
	}
	rec.Time.Origin = first
	for i := range a.stamps {
		a.stamps[i] -= first
	}
}

// Steps that mean a pause, as multiples of the usual step: in a recording with
// nearly equal steps anything above 1.5 is a missing sample; in an irregular
// one, above 10 (our choice).
const (
	pauseRegular   = 1.5
	pauseIrregular = 10
)

// segments cuts where the recording paused or the clock ran backwards. Of an
// edge list only the latter can be told: no change is not a pause.
func (a *assembly) segments() []Segment {
	s := a.stamps
	n := len(s)
	limit := int64(math.MaxInt64)
	usual := int64(0)
	if !a.edges && n > 3 {
		usual, limit = pauseLimit(s, a.resolution())
	}
	var out []Segment
	start := 0
	for i := 1; i < n; i++ {
		d := s[i] - s[i-1]
		if d >= 0 && d <= limit {
			continue
		}
		out = append(out, Segment{start, i})
		start = i
		if d < 0 {
			a.book.add(oddBack, a.lineOf(i), 0, func() string {
				return fmt.Sprintf("time runs backwards by %s; a new segment starts here", span(float64(-d)))
			})
		} else {
			a.book.add(oddDead, a.lineOf(i), 0, func() string {
				return fmt.Sprintf("pause of %s (usual step %s): nothing was measured in it", span(float64(d)), span(float64(usual)))
			})
		}
	}
	return append(out, Segment{start, n})
}

// pauseLimit gives the usual step and the longest that is not a pause. It
// looks at up to 20,000 steps spread over the recording.
func pauseLimit(s []int64, resolution int64) (usual, limit int64) {
	const most = 20000
	stride := max(1, (len(s)-1)/most)
	steps := make([]int64, 0, most+1)
	repeats := 0
	for i := 1; i < len(s); i += stride {
		switch d := s[i] - s[i-1]; {
		case d > 0:
			steps = append(steps, d)
		case d == 0:
			repeats++
		}
	}
	if len(steps) == 0 {
		return 0, math.MaxInt64
	}
	slices.Sort(steps)
	usual = steps[len(steps)/2]
	lo, hi := steps[(len(steps)-1)/10], steps[(len(steps)-1)*8/10]
	coarse := 10*repeats > len(steps) // a clock slower than the rows
	if !coarse && float64(hi-lo) <= 0.02*float64(usual)+2*float64(resolution) && usual > 4*resolution {
		return usual, int64(pauseRegular * float64(usual))
	}
	if usual > math.MaxInt64/pauseIrregular {
		return usual, math.MaxInt64
	}
	return usual, max(pauseIrregular*usual, pauseIrregular*resolution)
}

// noteRepeats notes rows with the time of the row before. Where these are many
// the clock is slower than the rows, and its true resolution is its least step.
func (a *assembly) noteRepeats(rec *Recording) {
	s := a.stamps
	repeats, least := 0, int64(math.MaxInt64)
	for _, g := range rec.Segments {
		for i := g.First + 1; i < g.End; i++ {
			if d := s[i] - s[i-1]; d > 0 {
				least = min(least, d)
				continue
			}
			repeats++
			a.book.add(oddRepeat, a.lineOf(i), 0, func() string { return "the same time as the row before" })
		}
	}
	if 10*repeats > len(s) && least < math.MaxInt64 {
		rec.Time.Resolution = max(rec.Time.Resolution, least)
		a.note(0, "the clock advances in steps of %s, slower than the rows: times within a step are not known", span(float64(least)))
	}
}

// span writes a duration for people.
func span(ns float64) string {
	for _, u := range []struct {
		ns   float64
		name string
	}{{1e9, "s"}, {1e6, "ms"}, {1e3, "us"}} {
		if math.Abs(ns) >= u.ns {
			return fmt.Sprintf("%.4g %s", ns/u.ns, u.name)
		}
	}
	return fmt.Sprintf("%.4g ns", ns)
}
