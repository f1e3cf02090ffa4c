package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"proveout/evidence"
	"proveout/stats"
)

// Thresholds of alternator ripple. Our choice unless a source stands beside them.
const (
	rippleHz       = 10e3 // the ripple runs at 0.7-6 kHz
	electricalLow  = 12.0 // turns of the field for each engine turn: pulley 2 and 6 pole pairs
	electricalHigh = 26.0 // pulley 3.2 and 8 pole pairs (trade range, from memory)
	keepLine       = 5.0  // over the median of the noise: one false line in a million
	mostSpectra    = 16
	lineStandsOut  = 6.0 // over the median of the spectrum around
	deadDiode      = 1.0 // of the ripple line; testdata/spice/diode_*: 0.00 with six good ones, 34 with one open, 6 with one shorted
	shortedThird   = 0.5 // three times the line over the line; testdata/spice/diode_*: 0.17 open, 0.93 shorted
)

// charging emits charging voltage and ripple.
func (g *battery) charging(v signal, m []float64, at []int, size int) {
	level := stats.Median(m)
	// Where samples are too far apart to average over the ripple, their median is not
	// its mean.
	sd, skew := spreadOf(m), 0.0
	if size == 1 {
		skew = math.Abs(stat.Mean(m, nil) - level)
	}
	// Neighbouring blocks share slow movements: no more than one value a second counts.
	n := math.Max(1, math.Min(float64(len(m)), float64(len(m)*size)/g.rate))
	first, last := at[0], at[len(m)-1]+size-1
	g.emit("charging.voltage", "V", level, math.Hypot(math.Hypot(sd/math.Sqrt(n), skew), math.Max(g.step/math.Sqrt(12), 0.1*g.sigma)), len(m), first, last)
	g.ripple(v, first, last+1)
}

// ripple works out peak to peak, frequency and the line of a dead diode. A
// six-pulse rectifier ripples at six times the electrical frequency; one open diode
// takes a pulse out of each turn and adds a line at a sixth, a shorted one loads one
// phase and does the same. Source: standards.md 8.3; the shorted one by circuit
// (testdata/spice/diode_shorted.cir).
func (g *battery) ripple(v signal, first, end int) {
	if g.rate < rippleHz {
		g.refuse("charging.ripple", evidence.TooSlow, fmt.Sprintf("at %sS/s the ripple, some kilohertz fast, falls between samples", round3(g.rate)), "record one second at 50 kS/s or more, AC-coupled or at a range of 1 V around the level")
		return
	}
	size := 1
	for 2*size <= min(end-first, 1<<15) {
		size *= 2
	}
	if size < 1024 || float64(size)/g.rate < 0.04 {
		g.refuse("charging.ripple", evidence.TooFewEvents, "the stretch is too short for a spectrum", "record a second or more")
		return
	}
	fft := stats.NewFFT(size)
	amp := make([]float64, size/2)
	hann := make([]float64, size)
	for j := range hann {
		hann[j] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(j)/float64(size))
	}
	if cutOff(signal{v.v[first:end], v.down}, g.sigma) {
		g.flag(evidence.Clipped)
		g.note(evidence.Clipped, true, "%s: the top of the ripple is cut off; set the recorder to a wider range, or couple it AC", g.channel)
	}
	var starts []int
	x, c := make([]float64, size), make([]complex128, size/2+1)
	spectrum := func(i int) { // of the stretch from i on, into c
		for j := range x {
			x[j] = v.at(i + j)
		}
		mean := stats.MedianInPlace(x)
		for j := range x {
			x[j] = (v.at(i+j) - mean) * hann[j]
		}
		fft.Spectrum(c, x)
	}
	for _, r := range g.clean {
		for i := max(r.First, first); i+size <= min(r.End, end) && len(starts) < mostSpectra; i += size {
			spectrum(i)
			for k, z := range c[:size/2] {
				// A sine of amplitude A gives A*size/4 under a Hann window.
				amp[k] += 4 * math.Hypot(real(z), imag(z)) / float64(size)
			}
			starts = append(starts, i)
		}
	}
	if len(starts) == 0 {
		g.refuse("charging.ripple", evidence.Gap, "no stretch is long enough without a hole", "record a second or more")
		return
	}
	for k := range amp {
		amp[k] /= float64(len(starts))
	}
	df := g.rate / float64(size)
	floor := stats.Median(amp[size/4:]) // of noise alone, in the upper half of the spectrum
	// Noise widens the range of the samples. So only lines that stand out are kept,
	// and peak to peak is that of the wave they make, in windows of 20 ms.
	var spans []float64
	span := max(64, int(0.02*g.rate))
	lines := 0
	for _, i := range starts {
		spectrum(i) // once more: keeping them all takes more memory than the samples
		for k, z := range c {
			if k < int(20/df)+1 || 4*math.Hypot(real(z), imag(z))/float64(size) < keepLine*floor {
				c[k] = 0
			} else {
				lines++
			}
		}
		y := fft.Series(x, c)
		for i := size / 4; i+span <= size*3/4; i += span {
			lo, hi := math.Inf(1), math.Inf(-1)
			for j := i; j < i+span; j++ {
				q := y[j] / hann[j]
				lo, hi = math.Min(lo, q), math.Max(hi, q)
			}
			spans = append(spans, hi-lo)
		}
	}
	if lines == 0 || len(spans) == 0 {
		g.refuse("charging.ripple", evidence.Noisy, "the ripple does not stand out of the noise", "set the recorder to AC coupling and a range of 1 V")
		return
	}
	p, _, se := middle(spans)
	// What lies below the lines kept may sharpen its corners.
	g.emit("charging.ripple", "V", p, math.Hypot(se, 0.03*p+keepLine*floor), len(spans), first, end-1)
	g.lines(amp, p, df, floor, first, end)
}

// largeRipple is what a ripple of six pulses has from peak to peak at 0.1 V AC, above
// which one of the sources of standards.md 8.3 doubts the diodes. They disagree (0.05
// to 0.5 V AC): a hint, no limit.
const largeRipple = 0.3

// lines finds ripple frequency and diode line; high is the ripple, peak to peak.
func (g *battery) lines(amp []float64, high, df, floor float64, first, end int) {
	line := func(hz float64) float64 {
		k := int(math.Round(hz / df))
		best := 0.0
		w := max(1, int(0.01*hz/df)) // the engine's speed wanders
		for j := max(1, k-w); j <= min(len(amp)-1, k+w); j++ {
			best = math.Max(best, amp[j])
		}
		return best
	}
	rpm := g.cond.SpeedRPM
	for i := range g.rec.Channels {
		if ch := &g.rec.Channels[i]; g.meta.roleOf(ch, BatteryKind) == EngineSpeed {
			if m := stats.Median(ch.Values[first:min(end, len(ch.Values))]); m > 0 {
				rpm = m
			}
		}
	}
	lo, hi := 20.0, 0.0
	switch {
	case rpm > 0 && g.meta.Known.PulleyRatio > 0 && g.meta.Known.PolePairs > 0:
		e := rpm / 60 * g.meta.Known.PulleyRatio * float64(g.meta.Known.PolePairs)
		lo, hi = 0.93*e, 1.07*e
	case rpm > 0:
		lo, hi = electricalLow*rpm/60, electricalHigh*rpm/60
	default:
		best := max(1, int(200/df))
		for k := best; k < len(amp)-1; k++ {
			if amp[k] > amp[best] {
				best = k
			}
		}
		if amp[best] > lineStandsOut*floor {
			g.emit("charging.ripple_frequency", "Hz", float64(best)*df, math.Max(df, lineWidth(amp, float64(best), floor)*df), 1, first, end-1, evidence.ConditionUnsure)
		}
		if high > largeRipple {
			g.note(evidence.ConditionUnsure, true, "%s: a ripple of %.2f V from peak to peak is large: an open or shorted diode makes such a one, a weak battery or a loose post too (the limits in use lie anywhere from 0.05 to 0.5 V AC). With the engine speed the line of a dead diode can be looked for", g.channel, high)
		}
		g.refuse("charging.diode_line", evidence.ConditionUnsure, "without the engine speed the ripple and its sixth cannot be told apart", "note the engine speed (condition: rpm), or record it")
		return
	}
	e, score := 0.0, 0.0
	for k := max(1, int(lo/df)); k <= int(hi/df) && 6*k < len(amp); k++ {
		// A sixth of a bin moves the ripple line by a bin.
		for s := -3; s < 3; s++ {
			f := (float64(k) + float64(s)/6) * df
			at := func(h float64) float64 {
				j := int(math.Round(h / df))
				if j < 1 || j >= len(amp) {
					return 0
				}
				return amp[j]
			}
			if x := at(f) + at(6*f) + at(12*f); x > score {
				e, score = f, x
			}
		}
	}
	if e == 0 || 6*e > 0.45*g.rate {
		g.refuse("charging.diode_line", evidence.TooSlow, "the ripple lies above what the sample rate shows", "record at 50 kS/s or more")
		return
	}
	main, sixth := line(6*e), line(e)
	// A load that is switched makes lines of its own at multiples of its frequency, and the
	// strongest may be taken for the alternator's sixth. The ripple then still stands
	// elsewhere, at no multiple of it.
	if sixth > deadDiode*main {
		if other := strayLine(amp, e, df, lo, hi); other > 0 && amp[int(math.Round(other/df))] > lineStandsOut*floor {
			const why = "a load switched at this frequency (lamps, fan, blower), or a dead diode beside one: the ripple stands at another"
			if line(other/6) >= deadDiode*line(other) {
				g.refuse("charging.diode_line", evidence.ConditionUnsure, fmt.Sprintf("at %.0f Hz stands a line that may be %s", e, why), "switch lamps, blower and fan off, or take it at another engine speed: only the alternator's lines move with it")
				return
			}
			g.note("", false, "%s: a line at %.0f Hz is no sixth of the ripple at %.0f Hz: a load that is switched", g.channel, e, other)
			e = other / 6
			main, sixth = line(6*e), line(e)
		}
	}
	if half := line(3 * e); half > 1.5*main && half > 3*sixth {
		g.refuse("charging.ripple_frequency", evidence.ScaleUnsure, fmt.Sprintf("the strongest ripple is at %.0f Hz, outside what an alternator makes at %.0f rpm", 3*e, rpm), "check the engine speed given, and the unit of the time column")
		return
	}
	if math.Max(main, sixth) < lineStandsOut*floor {
		g.refuse("charging.diode_line", evidence.Noisy, fmt.Sprintf("no ripple line stands out between %.0f and %.0f Hz", 6*lo, 6*hi), "load the alternator (lamps, blower, 1500 rpm) and check the engine speed given")
		return
	}
	g.emit("charging.ripple_frequency", "Hz", 6*e, math.Max(df, lineWidth(amp, 6*e/df, floor)*df), 1, first, end-1)
	main = math.Max(main, floor)
	ratio := math.Sqrt(math.Max(0, sixth*sixth-floor*floor)) / main
	g.emit("charging.diode_line", "x", ratio, math.Hypot(floor/main, 0.1*ratio), 1, first, end-1)
	const unless = ", unless a load is switched at just this frequency: take it at another engine speed, where only the alternator's lines move with it"
	switch {
	case ratio < deadDiode:
	case line(3*e) > shortedThird*sixth:
		g.note("", true, "%s: at %.0f Hz, a sixth of the ripple, stands a line %.1f times as strong, and its third multiple with it: a diode is dead, by its look a shorted one, which also empties the battery at rest; measure the alternator's current and the rest current before it is changed%s", g.channel, e, ratio, unless)
	default:
		g.note("", true, "%s: at %.0f Hz, a sixth of the ripple, stands a line %.1f times as strong: a diode is dead, by its look an open one, or a phase is broken; measure the alternator's current under load before it is changed%s", g.channel, e, ratio, unless)
	}
}

// strayLine is the strongest line where the ripple may stand, six times lo to hi, that is
// no multiple of e; 0 without one that comes up to a fifth of those that are.
func strayLine(amp []float64, e, df, lo, hi float64) float64 {
	stray, own := 0, 0.0
	for k := max(1, int(6*lo/df)); k <= int(6*hi/df) && k < len(amp)-1; k++ {
		switch x := float64(k) * df / e; {
		case math.Abs(x-math.Round(x)) < 0.15:
			own = math.Max(own, amp[k])
		case amp[k] >= amp[k-1] && amp[k] >= amp[k+1] && (stray == 0 || amp[k] > amp[stray]):
			stray = k
		}
	}
	if stray == 0 || amp[stray] < 0.2*own {
		return 0
	}
	return float64(stray) * df
}

// lineWidth is how far the power of a line spreads about its place, in bins: a speed
// that wanders, or stretches that were joined, make more than one line of it. Over 1 %
// to either side, with the noise taken off.
func lineWidth(amp []float64, at, floor float64) float64 {
	w := math.Max(3, 0.01*at)
	sum, power := 0.0, 0.0
	for k := max(1, int(at-w)); k <= min(len(amp)-1, int(at+w)+1); k++ {
		p := math.Max(0, amp[k]*amp[k]-floor*floor)
		sum += p * (float64(k) - at) * (float64(k) - at)
		power += p
	}
	if !(power > 0) {
		return 0
	}
	return math.Sqrt(sum / power)
}
