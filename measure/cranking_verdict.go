package measure

import (
	"fmt"
	"math"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
)

// voltage reads the lowest battery voltage, after the inrush and at all.
func (c *cranked) voltage(rec *trace.Recording) {
	ch := c.amp.Name
	if c.volt == nil {
		c.refuse("cranking.voltage_min", ch, evidence.WholeEngine, evidence.WrongChannel, "no battery voltage was recorded beside the current", "record the voltage at the battery posts on a second channel")
		return
	}
	ch = c.volt.Name
	v := c.volt.Values
	a, b := c.bounds()
	from, to := c.sampleOf(float64(c.on)), min(len(v), c.sampleOf(float64(b)))
	start := c.sampleOf(float64(a))
	var rest []float64
	still := v[max(c.seg.First, from-int(2*c.rate)):max(c.seg.First, from-int(0.01*c.rate))]
	for i := 0; i < len(still); i += 1 + len(still)/levelBlocks {
		if x := still[i]; !math.IsNaN(x) {
			rest = append(rest, x)
		}
	}
	// A spike of one sample is no dip: the mean over about 2 ms counts.
	w := max(1, int(2e-3*c.rate))
	dip, low, lowAt := lowestMeans(v[from:max(from, to)], w, start+1-from)
	lowAt += from
	if math.IsInf(low, 1) {
		c.refuse("cranking.voltage_min", ch, evidence.WholeEngine, evidence.TooFewEvents, "no voltage was recorded while cranking", "record the voltage at the battery posts on a second channel")
		return
	}
	if low < 2 || dip > 40 {
		c.refuse("cranking.voltage_min", ch, evidence.WholeEngine, evidence.ScaleUnsure, fmt.Sprintf("%.3g V is no battery that cranks: scale or channel is wrong", low), "check the unit and the probe's factor")
		return
	}
	if r := stats.Median(rest); len(rest) > 0 && (r < leastRest || low > r) {
		c.refuse("cranking.voltage_min", ch, evidence.WholeEngine, evidence.WrongChannel, fmt.Sprintf("%.3g V before the starter and %.3g V while it turns is no battery: the drop of a cable, perhaps", r, low), "record the voltage at the battery posts, or map the column with as: "+RoleDrop)
		return
	}
	c.run.LowVolt, c.run.DipVolt = low, dip
	sigma := 0.05 // common meters and scopes at this range: our choice
	if len(rest) > 0 {
		c.run.RestVolt = stats.Median(rest)
	}
	limit := c.leastVolt()
	c.emit("cranking.voltage_min", ch, evidence.WholeEngine, low, sigma, 1, lowAt, lowAt+w-1)
	c.mark("cranking.voltage_min", ch, 0, lowAt, lowAt+w-1, "%.2f V", low)
	point := "measuring point not stated"
	if c.meta.Probe != "" {
		point = "measured with " + c.meta.Probe
	}
	if 1/c.rate > dipSeconds {
		c.note(ch, evidence.TooSlow, false, "%s: lowest seen %.1f V (%s); one sample every %.0f ms is too slow for the dip of the inrush, which may have been deeper", ch, dip, point, 1e3/c.rate)
	} else {
		c.note(ch, "", false, "%s: lowest %.1f V in the inrush, %.1f V while cranking (%s)", ch, dip, low, point)
	}
	if low < limit {
		c.note(ch, "", true, "%s: %.1f V while cranking is below %.1f V: see to the battery first, the comparison of cylinders is not valid until then", ch, low, limit)
	}
}

// lowestMeans is the lowest mean of about w values (missing ones left out), looked at
// each quarter of that length; and the lowest of those that begin at after or later,
// with where it begins. Infinite where there is none.
func lowestMeans(v []float64, w, after int) (lowest, low float64, at int) {
	step := max(1, w/4)
	sums, counts := make([]float64, w/step), make([]int, w/step)
	lowest, low = math.Inf(1), math.Inf(1)
	all, known, k := 0.0, 0, 0
	for end := step; end <= len(v); end += step {
		part := v[end-step : end]
		sum, n := sumOf(part), step
		if sum-sum != 0 {
			sum, n = 0, 0
			for _, x := range part {
				if x-x == 0 {
					sum += x
					n++
				}
			}
		}
		all, known = all+sum-sums[k], known+n-counts[k]
		sums[k], counts[k] = sum, n
		if k++; k == len(sums) {
			k = 0
		}
		from := end - step*len(sums)
		if from < 0 || known == 0 {
			continue
		}
		m := all / float64(known)
		if m < lowest {
			lowest = m
		}
		if m < low && from >= after {
			low, at = m, from
		}
	}
	return lowest, low, at
}

// leastVolt is what a good battery holds while cranking: twice as much where two
// stand in line.
func (c *cranked) leastVolt() float64 {
	if c.run.RestVolt > 18 {
		return 2 * lowestCranking
	}
	return lowestCranking
}

// verdict says in words how the cylinders compare, and parts drag from a weak
// supply.
func (c *cranked) verdict() {
	c.compared()
	ch := c.amp.Name
	if c.run.RPM == 0 {
		return
	}
	if c.sag {
		if c.run.RPM < slowCranking {
			c.note(ch, "", true, "%s: slow (%.0f rpm): drag, a weak battery and a bad cable cannot be told apart without the current; clamp it", ch, c.run.RPM)
		}
		return
	}
	least, most := 100.0, 200.0
	if c.n > 4 {
		least, most = 150, 250
	}
	if c.run.RPM >= slowCranking {
		return
	}
	limit := c.leastVolt()
	switch a := c.run.MeanAmp; {
	case a > most:
		c.run.Slow = "drag"
		c.note(ch, "", true, "%s: slow (%.0f rpm) at a high current (%.0f A): something drags: engine, oil, or the starter itself (%s)", ch, c.run.RPM, a, rangeSource)
	case a < least && c.run.LowVolt > 0 && c.run.LowVolt < limit:
		c.run.Slow = "weak battery"
		c.note(ch, "", true, "%s: slow (%.0f rpm) at a low current (%.0f A) with %.1f V at the battery: battery weak (%s)", ch, c.run.RPM, a, c.run.LowVolt, rangeSource)
	case a < least && c.run.LowVolt > 0:
		c.run.Slow = "connection or starter"
		c.note(ch, "", true, "%s: slow (%.0f rpm) at a low current (%.0f A) though the battery holds %.1f V: cable, ground or starter; measure the drop of each cable (%s)", ch, c.run.RPM, a, c.run.LowVolt, rangeSource)
	case a < least:
		c.note(ch, "", true, "%s: slow (%.0f rpm) at a low current (%.0f A): weak battery, cable or starter; the battery voltage would tell which (%s)", ch, c.run.RPM, a, rangeSource)
	default:
		c.note(ch, "", true, "%s: slow (%.0f rpm) at a usual current (%.0f A): drag and a weak supply cannot be told apart by this alone", ch, c.run.RPM, a)
	}
}

// looksLikeCranking recognises a starter's current safely: a channel in A that
// jumps from rest to what a starter takes, and then swings regularly.
func looksLikeCranking(rec *trace.Recording, meta Meta) (bool, string) {
	c := &cranked{readout: readout{meta: meta}, n: meta.Engine.Cylinders}
	if c.channels(rec) != "" || c.amp.Unit.Dim != "current" {
		return false, ""
	}
	if why, _, _ := c.find(rec); why != "" {
		return false, ""
	}
	if c.on == 0 || c.run.MeanAmp < 50 || c.run.InrushAmp < 1.2*c.run.MeanAmp {
		return false, ""
	}
	c.humps()
	if len(c.run.Peaks) < 6 {
		return false, ""
	}
	return true, fmt.Sprintf("channel %s is a current of %.0f A that swings with compressions", c.amp.Name, c.run.MeanAmp)
}
