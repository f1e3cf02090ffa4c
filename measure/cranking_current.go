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

// CrankingCurrent is the current in the battery cable while the starter turns the
// engine, with the battery voltage and a sync of cylinder 1 beside it where they
// were recorded. Columns: as: cranking_current, supply_voltage, sync.
const CrankingCurrent = "cranking_current"

// Limits of cranking; sources beside them.
const (
	fewestAmps           = 20.0                                                                // our choice: less does not turn an engine
	mostAmps             = 3000.0                                                              // our choice
	slowCranking         = 150.0                                                               // rpm; trade.md 2.6: below it compression readings are invalid
	lowestCranking       = 9.6                                                                 // V; trade.md 2.6: at least 9.5-9.6 V
	starterInrushSeconds = 0.30                                                                // our choice: by then the starter's inrush has died away
	dipSeconds           = 5e-3                                                                // a sample this often shows the dip of the inrush; our choice
	unevenPeak           = 0.12                                                                // of the crest; trade.md 2.6: 10-15 % low is to be confirmed
	unevenHump           = 0.20                                                                // of the hump; trade.md 2.6: 20-25 % low is a real loss
	doubtPeak            = 0.10                                                                // of either; trade.md 2.6: equal within 5-10 %
	cranksEven           = 0.30                                                                // from the first half to the second; our choice
	levelBlocks          = 1000                                                                // our choice: of the first look at the levels
	fewestPeaks          = 3                                                                   // of each cylinder
	rangeSource          = "usual: 100-200 A with four cylinders, 150-250 A with six or eight" // trade.md 2.6, common practice
)

// CurrentPeak is the crest of the current at one compression.
type CurrentPeak struct {
	Seconds  float64
	Amp      float64 // crest, zero of the clamp taken off
	Hump     float64 // over the mean of the valleys on either side
	Sample   int
	Cylinder int  // 0: not known
	guessed  bool // no top here: a cylinder without a hump
}

// CrankingRun is what a recording of cranking shows, beside its readings.
type CrankingRun struct {
	Channel   string
	Start     float64 // s, when the starter switched on
	Seconds   float64 // how long it cranked
	InrushAmp float64
	MeanAmp   float64 // after the inrush
	RPM       float64 // 0 when the number of cylinders is not known
	Peaks     []CurrentPeak
	Positions []float64 // mean crest at each place of the cycle, in the order of coming
	Humps     []float64 // the same of the humps alone, from foot to crest
	Synced    bool
	RestVolt  float64
	LowVolt   float64 // lowest after the inrush
	DipVolt   float64 // lowest seen at all
	Verdict   string  // of the cylinders: "even", "uneven", "" when it cannot be told
	Slow      string  // why it cranks slowly: "drag", "weak battery", "connection or starter", "" when it does not or cannot be told
}

func crankingCurrent(rec *trace.Recording, meta Meta) (Result, error) {
	_, res, err := Cranking(rec, meta)
	return res, err
}

// cranked is the work on one recording.
type cranked struct {
	readout
	run     CrankingRun
	amp     *trace.Channel
	volt    *trace.Channel
	sync    *trace.Channel
	rate    float64
	seg     trace.Segment
	y       []float64 // current in blocks, A
	hz      float64   // blocks a second
	size    int       // samples in a block
	zero    float64
	zeroSD  float64 // its standard uncertainty
	on, off int     // blocks: starter on, off
	period  float64
	n       int
	refuted bool // the humps or the sync speak against the number of cylinders
	tops    atPlaces
	feet    atPlaces // of the humps
	sag     bool     // the battery's sag stands for the current (cranking_voltage.go)
}

// Cranking measures the starter's current: a hump for each compression.
//
// Definitions. Crest: the top of a parabola through a quarter of a hump about its
// highest point. Relative compression: the crest of each cylinder, averaged over
// cycles after dividing by the mean of its own cycle, times the mean crest, so
// that a battery running down is not taken for a cylinder. Hump: the same of what
// stands between the crest and the feet on either side. The current that turns the
// engine is in the crest and not in the hump: a cylinder that has lost a quarter of
// its hump has a crest some 9 % low, less where the engine turns heavily, so the
// verdict goes by the hump. Cranking speed: 120/(cylinders x time between humps). A
// loss that is alike on all cylinders lowers all humps alike and is not seen.
// Source: trade.md 2.6.
func Cranking(rec *trace.Recording, meta Meta) (CrankingRun, Result, error) {
	c := &cranked{readout: readout{meta: meta}, n: meta.Engine.Cylinders}
	why := c.channels(rec)
	if c.amp == nil && c.volt != nil {
		// The voltage alone shows how the cylinders compare.
		c.turnedByVoltage(rec, c.volt, 0)
		return c.run, c.res, nil
	}
	if why != "" {
		return c.run, c.res, fmt.Errorf("%s; map one column with as: %s", why, CrankingCurrent)
	}
	c.run.Channel = c.amp.Name
	if why, fix, flag := c.find(rec); why != "" {
		c.refuse("cranking.ripple", c.amp.Name, evidence.WholeEngine, flag, why, fix)
		return c.run, c.res, nil
	}
	c.res.Condition = evidence.Condition{State: evidence.Cranking}
	if s := meta.Condition.State; s != "" && s != evidence.Cranking {
		c.flags = append(c.flags, evidence.ConditionUnsure)
		c.note(c.amp.Name, evidence.ConditionUnsure, true, "%s: declared as %s, but the starter turns the engine", c.amp.Name, spoken(s))
	}
	c.current()
	c.voltage(rec)
	c.compare(rec)
	return c.run, c.res, nil
}

// compare reads what stands on the humps: cylinders, speed and verdict.
func (c *cranked) compare(rec *trace.Recording) {
	if early, late := c.halves(); math.Max(early, late) > (1+cranksEven)*math.Min(early, late) && math.Abs(early-late)*c.run.Seconds/2 > 2.5 {
		// A swing more or less is what a weak cylinder makes at the edge of a half.
		for _, f := range []string{c.ripple(), "cranking.speed"} {
			c.refuse(f, c.amp.Name, evidence.WholeEngine, evidence.ConditionUnsure, fmt.Sprintf("the trace swings %.1f times a second at first and %.1f times later: the engine started, or this is not one cranking", early, late), "keep the engine from starting (fuel and spark disabled) and crank in one go for about five seconds")
		}
		return
	}
	c.humps()
	c.cylinders(rec)
	c.speed()
	c.verdict()
}

// ripple is the feature by which cylinders are compared first.
func (c *cranked) ripple() string {
	if c.sag {
		return "cranking.voltage_hump"
	}
	return "cranking.ripple"
}

// channels finds current, voltage and sync among the columns.
func (c *cranked) channels(rec *trace.Recording) string {
	named := false // the voltage by its name
	for i := range rec.Channels {
		ch := &rec.Channels[i]
		n := " " + foldName(ch.Name) + " "
		as := ""
		if col, ok := c.meta.column(ch.Name); ok {
			as = col.As
		}
		switch {
		case as == CrankingCurrent:
			c.amp = ch
		case as == Supply || as == RoleBattery:
			c.volt, named = ch, true
		case as == syncRole:
			c.sync = ch
		case as != "":
		case ch.Unit.Dim == unit.Current || strings.Contains(n, " current ") || strings.Contains(n, " amps "):
			if c.amp == nil {
				c.amp = ch
			}
		case strings.Contains(n, " sync "):
			c.sync = ch
		case ch.Unit.Dim == unit.Voltage:
			// The drop of a cable or a ground stands beside a starter's current as often as the
			// battery does; it is a few volts too.
			switch role := c.meta.roleOf(ch, CrankingCurrent); {
			case role == RoleBattery || role == Supply && !named:
				c.volt, named = ch, true
			case role == RoleVoltage && c.volt == nil:
				c.volt = ch
			}
		}
	}
	for i := range rec.Channels { // a declared one wins over a found one
		if col, ok := c.meta.column(rec.Channels[i].Name); ok && col.As == CrankingCurrent {
			c.amp = &rec.Channels[i]
		}
	}
	if len(rec.Channels) == 1 && !named && c.volt != nil && !(levelOf(c.volt.Values) > leastRest) {
		c.volt = nil // the output of a clamp without its scale, which is said below
	}
	switch {
	case c.amp == nil && c.volt == nil && len(rec.Channels) == 1:
		c.amp = &rec.Channels[0]
	case c.amp == nil:
		return "no channel is a current"
	}
	return ""
}

// find cuts the recording down to blocks, takes off the clamp's zero, and looks for
// the stretch in which the starter turns the engine and the time between humps.
func (c *cranked) find(rec *trace.Recording) (why, fix string, flag evidence.Flag) {
	runs := rec.Segments
	if len(runs) == 0 {
		runs = []trace.Segment{{First: 0, End: len(c.amp.Values)}}
	}
	c.rate = rateWithin(rec.Time, runs)
	const again = "record current at 1 kS/s or more from before the starter switches on"
	if !(c.rate > 0) {
		return "the sample rate is not known", "give sample_rate or a time column", evidence.TooSlow
	}
	if c.rate < 100 {
		return perSecond(c.rate) + " cannot show the humps of single compressions", again, evidence.TooSlow
	}
	for _, r := range runs {
		if r.End-r.First > c.seg.End-c.seg.First {
			c.seg = r
		}
	}
	if len(runs) > 1 {
		c.note(c.amp.Name, evidence.Gap, true, "%s: recorded in %d stretches; only the longest is measured", c.amp.Name, len(runs))
	}
	c.size = max(1, int(c.rate/1000))
	c.hz = c.rate / float64(c.size)
	lost := c.blocks()
	if lost > 0 {
		c.note(c.amp.Name, evidence.Gap, true, "%s: %d samples have no value", c.amp.Name, lost)
	}
	lo, hi := leastGreatest(c.y)
	if !(hi > lo) {
		return "the trace is flat", "check the clamp: zero, battery, range and channel", evidence.WrongChannel
	}
	if !c.sag {
		c.turnOver()
	}
	if why, fix, flag := c.starter(); why != "" {
		return why, fix, flag
	}
	if c.sag {
		return c.sagged()
	}
	level := c.run.MeanAmp
	switch {
	case level < fewestAmps:
		return fmt.Sprintf("%.3g A cannot turn an engine: the clamp's scale is wrong, or this is not the battery cable", level), "check the scale (mV for one A) and the unit of the column", evidence.ScaleUnsure
	case level > mostAmps:
		return fmt.Sprintf("%.3g A is more than any starter takes: the clamp's scale is wrong", level), "check the scale (mV for one A) and the unit of the column", evidence.ScaleUnsure
	}
	return c.between()
}

// blocks averages the current over about a millisecond. Blocks without a value are
// NaN; the count of lost samples is returned.
func (c *cranked) blocks() int {
	v := c.amp.Values[c.seg.First:min(c.seg.End, len(c.amp.Values))]
	lost := 0
	c.y = make([]float64, len(v)/c.size)
	for b := range c.y {
		part := v[b*c.size : (b+1)*c.size]
		if sum := sumOf(part); sum-sum == 0 { // neither NaN nor infinity in it
			c.y[b] = sum / float64(len(part))
			continue
		}
		sum, n := 0.0, 0
		for _, x := range part {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				lost++
				continue
			}
			sum += x
			n++
		}
		if n == 0 {
			c.y[b] = math.NaN()
		} else {
			c.y[b] = sum / float64(n)
		}
	}
	return lost
}

// sumOf adds up in four lanes, since each addition waits for the one before.
func sumOf(v []float64) float64 {
	var a, b, c, d float64
	for ; len(v) >= 4; v = v[4:] {
		a, b, c, d = a+v[0], b+v[1], c+v[2], d+v[3]
	}
	for _, x := range v {
		a += x
	}
	return (a + b) + (c + d)
}

// turnOver makes the current positive: a clamp put on the other way round.
func (c *cranked) turnOver() {
	up, down := 0.0, 0.0
	for _, x := range c.y {
		if x > 0 {
			up += x
		} else if x < 0 {
			down -= x
		}
	}
	if down <= 2*up {
		return
	}
	for i := range c.y {
		c.y[i] = -c.y[i]
	}
	if !c.meta.Inverted {
		c.flags = append(c.flags, evidence.Inverted)
		c.note(c.amp.Name, evidence.Inverted, false, "%s: the current is negative, the clamp sits the other way round; turned over for measuring", c.amp.Name)
	}
}

// starter finds where the starter switches on and off, and the clamp's zero before.
func (c *cranked) starter() (why, fix string, flag evidence.Flag) {
	const second = "less than a second is recorded"
	if float64(len(c.y)) < c.hz {
		return second, "crank for about five seconds", evidence.TooFewEvents
	}
	// Some of the blocks tell the levels, spread over all.
	stride := 1 + len(c.y)/levelBlocks
	have := make([]float64, 0, len(c.y)/stride+1)
	for i := 0; i < len(c.y); i += stride {
		if x := c.y[i]; !math.IsNaN(x) {
			have = append(have, x)
		}
	}
	if float64(len(have)*stride) < c.hz {
		return second, "crank for about five seconds", evidence.TooFewEvents
	}
	high := stats.Quantile(have, 0.75)
	low := stats.Quantile(have, 0.02)
	cut := low + 0.3*(high-low)
	// On: the longest stretch above the cut, gaps under 0.1 s bridged.
	gap := int(0.1 * c.hz)
	best, bestEnd, from, last := -1, -1, -1, -1
	for i, x := range c.y {
		if x > cut {
			if from < 0 || i-last > gap {
				from = i
			}
			last = i
			if best < 0 || last-from > bestEnd-best {
				best, bestEnd = from, last
			}
		}
	}
	c.on, c.off = best, bestEnd+1
	if best < 0 || float64(c.off-c.on) < 0.8*c.hz {
		return "the starter does not run for a second", "crank for about five seconds, with fuel and spark disabled", evidence.TooFewEvents
	}
	before := have[:0]
	for _, x := range c.y[max(0, c.on-int(2*c.hz)):max(0, c.on-int(0.01*c.hz))] {
		if !math.IsNaN(x) {
			before = append(before, x)
		}
	}
	if len(before) >= int(0.02*c.hz) && len(before) > 0 {
		c.zero = stats.Median(before)
		c.zeroSD = 1.25 * stats.MADSigma(before) / math.Sqrt(float64(len(before)))
	} else if !c.sag {
		c.note(c.amp.Name, evidence.ScaleUnsure, true, "%s: begins with the starter already on, so the clamp's zero is not known and taken for right", c.amp.Name)
	}
	for i := range c.y {
		c.y[i] -= c.zero
	}
	c.run.Start = float64(c.on) / c.hz
	c.run.Seconds = float64(c.off-c.on) / c.hz
	for _, x := range c.y[c.on:min(c.off, c.on+int(starterInrushSeconds*c.hz))] {
		c.run.InrushAmp = math.Max(c.run.InrushAmp, x)
	}
	sum, n := 0.0, 0
	for _, x := range c.steady() {
		if !math.IsNaN(x) {
			sum += x
			n++
		}
	}
	c.run.MeanAmp = sum / float64(max(1, n))
	return "", "", ""
}

// steady is the part after the inrush and before the starter lets go.
func (c *cranked) steady() []float64 {
	a, b := c.bounds()
	return c.y[a:b]
}

func (c *cranked) bounds() (int, int) {
	a := min(c.off, c.on+int(starterInrushSeconds*c.hz))
	return a, max(a, c.off-int(0.05*c.hz))
}

// between finds the time from one hump to the next by autocorrelation. Humps that
// differ repeat best after a whole cycle; the shortest part of that lag at which
// they still repeat is one hump.
func (c *cranked) between() (why, fix string, flag evidence.Flag) {
	const no = "no regular humps: the trace does not rise and fall with compressions"
	const crank = "crank with all plugs in, throttle open, fuel and spark disabled, for about five seconds"
	a, b := c.bounds()
	b = min(b, a+int(20*c.hz))
	x := smoothed(c.y[a:b], 0.6*c.hz)
	for i := range x {
		x[i] = c.y[a+i] - x[i]
		if math.IsNaN(x[i]) {
			x[i] = 0
		}
	}
	most := min(len(x)*2/3, int(2.2*c.hz))
	r := autocorrelation(x, most)
	if !(r[0] > 0) {
		return no, crank, evidence.WrongChannel
	}
	top := func(lag int) (int, float64) { // highest near a lag
		best := max(1, lag)
		for l := max(1, lag-lag/12-1); l <= min(most, lag+lag/12+1); l++ {
			if r[l] > r[best] {
				best = l
			}
		}
		return best, r[best]
	}
	least := max(2, int(c.hz/60))
	isTop := func(l int) bool { return l > 1 && l < most && r[l] > r[l-1] && r[l] >= r[l+1] }
	best := 0.0
	for l := least; l < most; l++ {
		if isTop(l) {
			best = math.Max(best, r[l])
		}
	}
	if best < 0.35*r[0] {
		return no, crank, evidence.WrongChannel
	}
	peak := least
	for !isTop(peak) || r[peak] < 0.9*best {
		peak++
	}
	lag := peak
	for m := 24; m >= 2; m-- {
		l, v := top(int(math.Round(float64(peak) / float64(m))))
		share := 0.3
		if c.n > 0 && m%c.n == 0 {
			share = 0.05 // a cylinder without any hump leaves little at one hump's lag
		}
		if l >= least && v >= share*r[peak] && isTop(l) && c.couldCrank(l) {
			lag = l
			break
		}
	}
	c.period = float64(lag) / c.hz
	if float64(lag) < 8 {
		return fmt.Sprintf("%s cannot show humps %.0f ms apart", perSecond(c.rate), 1e3*c.period), "record at 1 kS/s or more", evidence.TooSlow
	}
	swing := math.Sqrt(2 * r[lag]) // amplitude of the swing
	if swing < 0.02*c.run.MeanAmp {
		return no, crank, evidence.WrongChannel
	}
	return "", "", ""
}

// couldCrank reports whether humps so many blocks apart are a cranking speed.
func (c *cranked) couldCrank(lag int) bool {
	if c.n == 0 {
		return true
	}
	rpm := 120 * c.hz / float64(lag*c.n)
	return rpm < 600
}

// smoothed is the moving mean over a window of blocks; missing values are left out.
func smoothed(v []float64, window float64) []float64 {
	w := max(1, int(window/2))
	out := make([]float64, len(v))
	if len(v) > 2*w && allFinite(v) {
		smoothFinite(out, v, w)
		return out
	}
	sum, n := 0.0, 0
	for i := range min(w, len(v)) {
		if x := v[i]; x == x {
			sum += x
			n++
		}
	}
	for i := range v {
		if b := i + w; b < len(v) && v[b] == v[b] {
			sum += v[b]
			n++
		}
		if a := i - w - 1; a >= 0 && v[a] == v[a] {
			sum -= v[a]
			n--
		}
		out[i] = sum / float64(max(1, n))
	}
	return out
}

// smoothFinite is smoothed over w values to either side where none is missing and
// there are more than twice as many.
func smoothFinite(out, v []float64, w int) {
	sum := 0.0
	for _, x := range v[:w] {
		sum += x
	}
	for i := range w + 1 {
		sum += v[i+w]
		out[i] = sum / float64(i+w+1)
	}
	share := 1 / float64(2*w+1)
	in, gone, mid := v[2*w+1:], v[:len(v)-2*w-1], out[w+1:]
	for i, x := range in {
		sum += x - gone[i]
		mid[i] = sum * share
	}
	for i := len(v) - w; i < len(v); i++ {
		sum -= v[i-w-1]
		out[i] = sum / float64(len(v)-i+w)
	}
}

// autocorrelation is the mean of x(i) x(i+lag) for lags up to most, by way of the
// spectrum.
func autocorrelation(x []float64, most int) []float64 {
	n := 4
	for n < len(x)+most+1 {
		n *= 2
	}
	fft := stats.BorrowFFT(n)
	defer fft.GiveBack()
	r := make([]float64, n)
	copy(r, x)
	c := fft.Spectrum(nil, r)
	for i, z := range c {
		c[i] = complex(real(z)*real(z)+imag(z)*imag(z), 0)
	}
	r = fft.Series(r, c)[:most+1]
	for lag := range r {
		r[lag] /= float64(len(x) - lag)
	}
	return r
}

// sampleOf is the sample of the file at a block.
func (c *cranked) sampleOf(block float64) int {
	return min(len(c.amp.Values)-1, c.seg.First+int(block*float64(c.size)))
}
