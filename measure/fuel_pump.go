package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// Thresholds of the pump current. Our choice; ranges from memory.
const (
	pumpHz        = 5e3   // humps come at 0.3-2 kHz
	humpLow       = 150.0 // Hz
	humpHigh      = 2500.0
	pumpWindow    = 0.25 // s: the speed is steady that long
	mostWindows   = 12
	fewestBars    = 4
	mostBars      = 16
	patternStands = 6.0  // F ratio from which a pattern repeats with each turn
	pumpMostAmps  = 12.0 // trade.md 2.5: 4-9 A for port injection; the rest is room
	pumpSlowest   = 1500.0
	pumpFastest   = 15000.0
)

// pump reads the current of a brushed fuel pump. Each bar of the commutator makes
// one hump; the pattern of humps repeats with each turn where they differ. A worn
// or open segment makes one hump of each turn small or missing (trade.md 2.5).
func (g *fuel) pump(ch *trace.Channel) {
	v := signal{v: ch.Values}
	if allSame(v.v, g.clean) {
		g.refuse("fuel.pump_current", evidence.WrongChannel, "the trace is flat to the last digit", "check the clamp and its channel")
		return
	}
	level := stats.Median(thinned(v.v, g.clean))
	if level < 0 {
		g.note(evidence.Inverted, false, "%s: the current runs the other way through the clamp", ch.Name)
		g.flag(evidence.Inverted)
		v.down, level = true, -level
	}
	if g.sigma > 0.5*level {
		g.refuse("fuel.pump_current", evidence.WrongChannel, "nothing stands out of the noise", "check the clamp: zeroed, around the pump's wire or a loop in place of its fuse, pump running")
		return
	}
	m, at, size := g.means(v, 0.1)
	if len(m) < 3 {
		g.refuse("fuel.pump_current", evidence.TooFewEvents, "the recording is too short", "record a second or more with the pump running")
		return
	}
	level = stats.Median(m) // of means: humps are not alike above and below
	first, last := at[0], at[len(m)-1]+size-1
	skew := 0.0
	if size < 20 { // too few samples to average over the humps
		skew = math.Abs(stat.Mean(m, nil) - level)
	}
	n := math.Max(1, math.Min(float64(len(m)), float64(len(m)*size)/g.rate))
	if ch.Unit.Dim != unit.Current {
		g.refuse("fuel.pump_current", evidence.NotCalibrated, fmt.Sprintf("%s is in %s, not in ampere", ch.Name, orNothing(ch.Unit.Symbol)), "give the clamp's scale")
	} else if !g.emit("fuel.pump_current", "A", level, math.Sqrt(math.Pow(spreadOf(m), 2)/n+g.step*g.step/12+skew*skew), len(m), first, last) {
		return
	}
	place := len(g.res.Readings) - 1
	if level > pumpMostAmps && ch.Unit.Dim == unit.Current {
		g.res.Readings[place].Flags = uniqueFlags(append(g.res.Readings[place].Flags, evidence.ScaleUnsure))
		g.note(evidence.ScaleUnsure, true, "%s: %.3g A is more than a fuel pump draws (4-9 A usual): check the clamp's scale and its wire; it is not judged. If both are right, the pump is stiff", g.channel, level)
	}
	if g.rate < pumpHz {
		g.refuse("fuel.pump_hump", evidence.TooSlow, fmt.Sprintf("at %sS/s the commutator humps fall between samples", round3(g.rate)), "record at 20 kS/s or more")
		return
	}
	g.humps(v, first, last)
}

// pumpTurn is what one window of the current gave.
type pumpTurn struct {
	hz, ratio, f float64
	bars         int
}

func (g *fuel) humps(v signal, first, last int) {
	size := int(pumpWindow * g.rate)
	n := 1
	for 2*n <= size {
		n *= 2
	}
	room := pumpRoom{stats.NewFFT(n), make([]float64, n), make([]complex128, n/2+1)}
	var all []pumpTurn
	quiet := 0
	for _, r := range g.clean {
		for i := r.First; i+size <= r.End && len(all)+quiet < mostWindows; i += size {
			if t, ok := g.window(room, v.part(i, i+size)); ok {
				all = append(all, t)
			} else {
				quiet++
			}
		}
	}
	if len(all) < 2 || len(all) < quiet {
		g.refuse("fuel.pump_hump", evidence.Noisy, "no regular humps stand out of the current", "use a low-amp clamp at a range of 10 A, away from other wires; a pump driven by a chopper or without brushes has none")
		return
	}
	// All windows must agree on the number of bars before it is believed.
	bars, agree := 0, 0
	for _, t := range all {
		same := 0
		for _, o := range all {
			if o.bars == t.bars && t.bars > 0 {
				same++
			}
		}
		if same > agree {
			bars, agree = t.bars, same
		}
	}
	if 3*agree < 2*len(all) {
		bars = 0
	}
	var hz, ratio []float64
	for _, t := range all {
		hz = append(hz, t.hz)
		if bars == 0 || t.bars == bars {
			ratio = append(ratio, t.ratio)
		}
	}
	known := g.meta.Known.PumpBars
	if known > 0 && bars > 0 && known != bars {
		g.note("", true, "%s: %d bars are given, the humps repeat after %d", g.channel, known, bars)
	}
	if known == 0 {
		known = bars
	}
	h, _, se := middle(hz)
	if known == 0 {
		g.refuse("fuel.pump_speed", "", fmt.Sprintf("all humps are alike (%.0f a second): nothing marks a turn", h), "write the number of commutator bars of the pump (known: pump_bars)")
	} else if rpm := 60 * h / float64(known); rpm < pumpSlowest || rpm > pumpFastest {
		g.refuse("fuel.pump_speed", evidence.ScaleUnsure, fmt.Sprintf("%.0f rpm would be no fuel pump's speed", rpm), "check the time column and the number of bars")
	} else {
		g.emit("fuel.pump_speed", "rpm", rpm, rpm*math.Hypot(se/h, 1e-3), len(all), first, last)
	}
	m, _, sr := middle(ratio)
	g.emit("fuel.pump_hump", "x", m, math.Max(sr, 0.02), len(ratio), first, last)
	if m < 0.5 && bars > 0 {
		g.note("", true, "%s: one of %d humps of each turn is %s of the others: a worn or open commutator segment", g.channel, bars, percent(m))
	}
}

// pumpRoom is what each window needs and gives back.
type pumpRoom struct {
	fft *stats.FFT
	x   []float64
	c   []complex128
}

// window finds hump frequency, bars and the smallest hump of a turn in one stretch.
func (g *fuel) window(room pumpRoom, v []float64) (pumpTurn, bool) {
	x, n := room.x, len(room.x)
	if n < 4 {
		return pumpTurn{}, false
	}
	copy(x, v)
	mean := stats.MedianInPlace(x)
	for j := range x {
		x[j] = (v[j] - mean) * (0.5 - 0.5*math.Cos(2*math.Pi*float64(j)/float64(n)))
	}
	c := room.fft.Spectrum(room.c, x)
	df := g.rate / float64(n)
	mag := func(k int) float64 { return math.Hypot(real(c[k]), imag(c[k])) }
	best := 0
	var around []float64
	for k := int(humpLow/df) + 1; k < min(n/2-1, int(humpHigh/df)); k++ {
		if best == 0 || mag(k) > mag(best) {
			best = k
		}
		around = append(around, mag(k))
	}
	if best == 0 || mag(best) < 12*stats.Median(around) {
		return pumpTurn{}, false
	}
	// Parabola through the logarithms of three bins: exact for a Gaussian line, and
	// good to some hundredths of a bin for Hann.
	a, b, d := math.Log(mag(best-1)+1e-300), math.Log(mag(best)), math.Log(mag(best+1)+1e-300)
	shift := 0.0
	if q := a - 2*b + d; q < 0 {
		shift = math.Max(-0.5, math.Min(0.5, 0.5*(a-d)/q))
	}
	hz := (float64(best) + shift) * df
	phase := math.Atan2(imag(c[best]), real(c[best])) - math.Pi*shift // of the line at the start
	t := pumpTurn{hz: hz, ratio: 1}
	// Troughs lie where 2 pi f t + phase is an odd multiple of pi.
	start := (math.Pi - phase) / (2 * math.Pi * hz)
	for start < 0 {
		start += 1 / hz
	}
	var r []float64
	for k := 0; ; k++ {
		i, j := int((start+float64(k)/hz)*g.rate), int((start+float64(k+1)/hz)*g.rate)
		if j >= len(v) {
			break
		}
		r = append(r, humpHeight(v[i:j]))
	}
	if len(r) < 3*mostBars {
		return pumpTurn{}, false
	}
	// Which length of pattern explains the heights best.
	bestF, share := 0.0, make([]float64, mostBars+1)
	for bars := fewestBars; bars <= mostBars; bars++ {
		f, explained, _ := pattern(r, bars)
		share[bars] = explained
		if explained > share[t.bars] && f > patternStands {
			t.bars, bestF = bars, f
		}
	}
	// The shortest pattern that explains nearly as much is the turn.
	for bars := fewestBars; bars < t.bars; bars++ {
		if share[bars] > 0.9*share[t.bars] {
			t.bars = bars
			break
		}
	}
	t.f = bestF
	bars := t.bars
	if bars == 0 {
		if bars = g.meta.Known.PumpBars; bars < fewestBars || bars > mostBars {
			bars = 8
		}
	}
	_, _, means := pattern(r, bars)
	low := math.Inf(1)
	for _, m := range means {
		low = math.Min(low, m)
	}
	if mid := stats.Median(means); mid > 0 {
		t.ratio = math.Max(0, low) / mid
	}
	return t, true
}

// humpHeight is how far the middle of a stretch stands over its two ends: noise
// averages out of it, and it is 0 where a hump is missing.
func humpHeight(x []float64) float64 {
	n := len(x)
	q := max(1, n/4)
	mean := func(a, b int) float64 {
		s := 0.0
		for _, y := range x[a:b] {
			s += y
		}
		return s / float64(max(1, b-a))
	}
	if n < 4 {
		return 0
	}
	return mean(q, n-q) - (mean(0, q)+mean(n-q, n))/2
}

// pattern groups heights by place in a turn of so many bars: F ratio of the means,
// share of the variance they explain, and the means.
func pattern(r []float64, bars int) (f, explained float64, means []float64) {
	means = make([]float64, bars)
	count := make([]float64, bars)
	all := 0.0
	for i, x := range r {
		means[i%bars] += x
		count[i%bars]++
		all += x / float64(len(r))
	}
	between, within := 0.0, 0.0
	for j := range means {
		means[j] /= math.Max(1, count[j])
		between += count[j] * (means[j] - all) * (means[j] - all)
	}
	for i, x := range r {
		d := x - means[i%bars]
		within += d * d
	}
	if between+within == 0 {
		return 0, 0, means
	}
	df1, df2 := float64(bars-1), float64(len(r)-bars)
	return between / df1 / math.Max(within/df2, 1e-300), between / (between + within), means
}
