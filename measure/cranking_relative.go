package measure

import (
	"fmt"
	"math"
	"strings"

	"proveout/evidence"
	"proveout/stats"
)

// atPlaces is a height of the humps at each place of the cycle, in the order of coming.
type atPlaces struct {
	value, sigma []float64
	n            []int
	mean         float64
}

// places reads a height of each hump at its place of the cycle: divided by the mean
// of the cycle about it, so that a change over the recording is no cylinder, and
// multiplied by the mean of all.
func (c *cranked) places(height func(CurrentPeak) float64) atPlaces {
	p := c.run.Peaks
	out := atPlaces{value: make([]float64, c.n), sigma: make([]float64, c.n), n: make([]int, c.n)}
	for _, x := range p {
		out.mean += height(x) / float64(len(p))
	}
	for k, rel := range c.relative(height) {
		m, _, se := middle(rel)
		out.value[k], out.sigma[k], out.n[k] = m*out.mean, se*math.Abs(out.mean), len(rel)
	}
	return out
}

// relative divides the height of each hump by the mean of the cycle about it, by
// place.
func (c *cranked) relative(height func(CurrentPeak) float64) [][]float64 {
	out := make([][]float64, c.n)
	p := c.run.Peaks
	for i := range p {
		from := i - (c.n-1)/2
		from = max(0, min(from, len(p)-c.n))
		// An even count reaches half a hump further to one side: the outer two count half.
		sum, weight := 0.0, 0.0
		if c.n%2 == 0 && from > 0 && from+c.n <= len(p)-1 && i-from == (c.n-1)/2 {
			for j := i - c.n/2; j <= i+c.n/2; j++ {
				w := 1.0
				if j == i-c.n/2 || j == i+c.n/2 {
					w = 0.5
				}
				if j >= 0 && j < len(p) {
					sum, weight = sum+w*height(p[j]), weight+w
				}
			}
		} else {
			for j := from; j < from+c.n; j++ {
				sum, weight = sum+height(p[j]), weight+1
			}
		}
		out[i%c.n] = append(out[i%c.n], height(p[i])/(sum/weight))
	}
	return out
}

// spread is greatest less least over the mean.
func (p atPlaces) spread() float64 {
	lo, hi := leastGreatest(p.value)
	return (hi - lo) / p.mean
}

func (p atPlaces) spreadSigma() float64 {
	return math.Sqrt2 * stats.Median(p.sigma) / p.mean
}

// twice reports whether heights that differ come back after half the places, each
// within three standard errors: that many cylinders there are. Our choice.
func (p atPlaces) twice(half int) bool {
	for k := range half {
		if math.Abs(p.value[k]-p.value[k+half]) > 3*math.Hypot(p.sigma[k], p.sigma[k+half]) {
			return false
		}
	}
	return p.spread() > unevenPeak/2 && p.spread() > 8*p.spreadSigma()
}

// lowest is the place that lies furthest below the others: how far, as a share of
// their mean, and with which standard uncertainty.
func (p atPlaces) lowest() (place int, low, sigma float64) {
	for k, v := range p.value {
		if v < p.value[place] {
			place = k
		}
	}
	n := float64(len(p.value))
	others := (p.mean*n - p.value[place]) / (n - 1)
	return place, 1 - p.value[place]/others, p.sigma[place] / others
}

func (p atPlaces) list(format string) string {
	var out []string
	for _, v := range p.value {
		out = append(out, fmt.Sprintf(format, v))
	}
	return strings.Join(out, ", ")
}

// compared says how the humps stand to each other. The hump is what compression
// makes; the crest adds the current that turns the engine, which hides a loss.
func (c *cranked) compared() {
	if len(c.run.Positions) == 0 {
		return
	}
	const blind = "a loss that is alike on all cylinders does not show in this test"
	ch := c.amp.Name
	worst, low, sigma := c.feet.lowest()
	_, crest, crestSigma := c.tops.lowest()
	// The lowest of n was picked: it must stand out by more than the least of n does.
	doubt := math.Sqrt2 * math.Erfinv(1-0.10/float64(c.n)) * sigma
	heights := fmt.Sprintf("%s: humps %s A on crests of %s A", ch, c.feet.list("%.0f"), c.tops.list("%.0f"))
	if c.sag {
		heights = fmt.Sprintf("%s: it sags by %s V at the compressions", ch, c.feet.list("%.3f"))
	}
	invalid := c.run.LowVolt > 0 && c.run.LowVolt < c.leastVolt() || c.run.RPM > 0 && c.run.RPM < slowCranking
	switch {
	case low > unevenHump && low > doubt || !c.sag && crest > unevenPeak && crest > 3*crestSigma:
		c.run.Verdict = "uneven"
		if !c.run.Synced {
			c.note(ch, evidence.Unplaced, true, "%s in the order of coming: one hump is %.0f %% below the others; which cylinder it is stays unknown without a sync; %s", heights, 100*low, blind)
			return
		}
		at := ""
		if !c.sag {
			at = fmt.Sprintf(" (%.1f %% at the crest)", 100*crest)
		}
		c.note(ch, "", true, "%s: the hump of cylinder %d is %.0f %% below the others%s: it makes less compression; confirm it with a compression or leak test", ch, c.run.Peaks[worst].Cylinder, 100*low, at)
	case low > doubtPeak && low > doubt:
		c.note(ch, "", true, "%s: the lowest hump is %.0f %% below the others, where it is to be confirmed (good ones are equal within 5 to 10 %%, 20 to 25 %% is a real loss): do a compression or leak test; %s", heights, 100*low, blind)
	case doubt > unevenHump:
		c.note(ch, evidence.Noisy, true, "%s: the humps scatter so much that one a fifth lower would not stand out: whether they are even cannot be said; crank longer, with a larger clamp range or less noise", heights)
	case invalid:
		c.note(ch, "", true, "%s: even within %.0f %%, which counts only when it is repeated with a good battery at a usual cranking speed; %s", heights, 100*c.feet.spread(), blind)
	default:
		c.run.Verdict = "even"
		c.note(ch, "", false, "%s: even within %.0f %%; %s", heights, 100*c.feet.spread(), blind)
	}
}
