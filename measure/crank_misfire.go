package measure

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat"

	"proveout/stats"
)

// Thresholds of the misfire search, our choice unless said.
const (
	misfireSigmas = 5.0   // times the usual variation: one false alarm in three million firings
	misfireLeast  = 0.004 // of the speed: a wheel 0.1 mm out of centre on 75 mm makes 0.0017 by itself
	misfireMost   = 0.05  // where less than this would not be seen, single firings are not judged
	fewestFired   = 30    // firings before a rate is stated
	gridPerFiring = 6
	seamLeast     = 0.12 // of an interval between teeth
)

// Misfire is one firing after which the crank slowed.
type Misfire struct {
	Seconds  float64
	Degrees  float64 // crank degrees from the first tooth, in the middle of the slowing
	DipPct   float64 // how much slower after than before, percent
	Sigmas   float64 // against the usual variation: how sure
	Cylinder int     // 0: not known, without a sync of cylinder 1
	First    int     // samples
	Last     int
}

// misfireLook is what a running stretch showed.
type misfireLook struct {
	firings  int
	events   []Misfire
	sigmaPct float64 // usual variation of the change over one firing
	seenFrom float64 // a slowing of so many percent would be seen
	expected float64 // the least by which a missed firing slows the crank, percent
	rough    bool    // too uneven to tell
	first    int     // samples looked at
	last     int
	start    float64   // crank degrees of the first place of the grid
	place    []float64 // mean change of speed at each place of the cycle's grid, percent
	placeSE  []float64 // and its standard error from cycle to cycle
}

// misfires looks for firings after which the crank slows. The mean speed over the
// angle of one firing, 720/n degrees, is held against the mean over the firing
// before; the change that goes on all through the cycle about it (speeding up, slowing
// down) is taken off. A cylinder that does not fire leaves the crank slower by what
// the firing would have given. The cut between the two stretches is moved in
// sixths of a firing, so no top centre has to be known.
//
// The usual variation is the median deviation between one cycle and the next at the
// same place of the cycle, over the square root of two, at the quieter places (lower
// quartile): a cylinder that never fires does not carry it off, nor one that fires
// every other time. expected is the least that one missed firing would slow the crank
// (leastLoss), a fraction: half of it is no misfire. Principle: change of engine speed
// over the firing interval, as on-board monitors use it (trade.md 3.1); the thresholds
// are our choice.
func (tr *turn) misfires(n int, from, to, skipBelow float64, expected func(rpm float64) float64) misfireLook {
	f := 720 / float64(n)
	step := f / gridPerFiring
	per := n * gridPerFiring // grid points of a cycle
	start := math.Ceil(from/step) * step
	count := int((to - start) / step)
	var look misfireLook
	if count < 2*per {
		return look
	}
	times := make([]float64, count)
	for i := range times {
		t, ok := tr.timeAt(start + float64(i)*step)
		if !ok {
			t = math.NaN()
		}
		times[i] = t
	}
	for _, deg := range tr.seams(start, to) {
		if i := int((deg - start) / step); i >= 0 && i < count {
			times[i] = math.NaN() // nothing is measured across it
		}
	}
	change := make([]float64, count)
	usable := make([]bool, count)
	for i := range change {
		a, b := i-gridPerFiring, i+gridPerFiring
		c, d := i-per/2, i+per/2
		if a < 0 || c < 0 || b >= count || d >= count {
			continue
		}
		before, after, cycle := times[i]-times[a], times[b]-times[i], times[d]-times[c]
		if !(before > 0) || !(after > 0) || !(cycle > 0) || 120/cycle < skipBelow || !tr.unbroken(times[c:d+1]) {
			continue
		}
		// Speeds of the two firings over that of the cycle.
		change[i] = cycle/float64(n)/after - cycle/float64(n)/before
		usable[i] = true
	}
	// The mean change of the cycle about each point.
	sum := make([]float64, count+1)
	have := make([]int, count+1)
	for i := range change {
		sum[i+1], have[i+1] = sum[i], have[i]
		if usable[i] {
			sum[i+1] += change[i]
			have[i+1]++
		}
	}
	level := func(i int) float64 {
		a, b := max(0, i-per/2), min(count, i+per/2)
		return (sum[b] - sum[a]) / float64(max(1, have[b]-have[a]))
	}
	byPlace := make([][]float64, per)
	var cycles []float64
	first, last, points := -1, -1, 0
	for i := range change {
		if !usable[i] {
			continue
		}
		if first < 0 {
			first = i
		}
		last = i
		points++
		change[i] -= level(i)
		byPlace[i%per] = append(byPlace[i%per], change[i])
		cycles = append(cycles, times[i+per/2]-times[i-per/2])
	}
	look.firings = points / gridPerFiring
	if points < 2*per {
		return look
	}
	least := expected(120 / stats.Median(cycles))
	var sigma, limit float64
	var events []int
	for range 3 { // what stands out is no usual variation
		x, ok := usualChange(change, usable, events, per)
		if !ok {
			break
		}
		sigma, limit = x, math.Max(misfireSigmas*x, math.Max(misfireLeast, least/2))
		events = deepest(change, usable, limit)
	}
	if limit == 0 {
		look.firings = 0
		return look
	}
	look.sigmaPct, look.seenFrom, look.expected, look.rough = 100*sigma, 100*limit, 100*least, limit > misfireMost
	look.first, look.last = tr.sampleAt(times[first]), tr.sampleAt(times[last])
	look.start = start
	for _, d := range byPlace {
		m, sd := stat.MeanStdDev(d, nil)
		look.place = append(look.place, 100*m)
		look.placeSE = append(look.placeSE, 100*sd/math.Sqrt(float64(len(d))))
	}
	for _, i := range events {
		look.events = append(look.events, Misfire{
			Seconds: times[i], Degrees: start + float64(i)*step, DipPct: -100 * change[i], Sigmas: -change[i] / math.Max(sigma, 1e-6),
			First: tr.sampleAt(times[i-gridPerFiring/2]), Last: tr.sampleAt(times[i+gridPerFiring/2]),
		})
	}
	return look
}

// seams lists where one interval between teeth is longer or shorter than both beside
// it by far more than usual: a stretch that the recorder left out, or an edge at the
// wrong place. A cylinder slows the crank over many teeth, never over one.
func (tr *turn) seams(from, to float64) []float64 {
	pace := func(i int) float64 { return math.Log((tr.t[i] - tr.t[i-1]) / (tr.deg[i] - tr.deg[i-1])) }
	var odd, at []float64
	for i := 2; i+1 < len(tr.t); i++ {
		if tr.deg[i] < from || tr.deg[i] > to || tr.fresh[i-1] || tr.fresh[i] || tr.fresh[i+1] {
			continue
		}
		if d := pace(i) - (pace(i-1)+pace(i+1))/2; !math.IsNaN(d) && !math.IsInf(d, 0) {
			odd, at = append(odd, d), append(at, tr.deg[i])
		}
	}
	if len(odd) == 0 {
		return nil
	}
	limit := math.Max(seamLeast, 8*stats.MADSigma(odd))
	var out []float64
	for i, d := range odd {
		if math.Abs(d) > limit {
			out = append(out, at[i])
		}
	}
	return out
}

// oneCylinder reports whether nearly all events come within one firing of the cycle.
func (l misfireLook) oneCylinder(n int) bool {
	f := 720 / float64(n)
	most := 0
	for _, a := range l.events {
		near := 0
		for _, b := range l.events {
			if d := math.Abs(math.Remainder(b.Degrees-a.Degrees, 720)); d < f/2 {
				near++
			}
		}
		most = max(most, near)
	}
	return len(l.events) >= 5 && 10*most >= 9*len(l.events)
}

// usualChange is the usual variation of the change of speed from one cycle, of per
// places, to the next, away from events; not ok when too little is left.
func usualChange(change []float64, usable []bool, events []int, per int) (sigma float64, ok bool) {
	near := make([]bool, len(change))
	for _, e := range events {
		for j := max(0, e-gridPerFiring); j < min(len(near), e+2*gridPerFiring); j++ {
			near[j] = true
		}
	}
	steps := make([][]float64, per)
	for i := 0; i+per < len(change); i++ {
		if j := i + per; usable[i] && usable[j] && !near[i] && !near[j] {
			steps[i%per] = append(steps[i%per], (change[j]-change[i])/math.Sqrt2)
		}
	}
	var sigmas []float64
	for _, s := range steps {
		if len(s) >= 5 {
			sigmas = append(sigmas, stats.MADSigma(s))
		}
	}
	if len(sigmas) < per/4 {
		return 0, false
	}
	return stats.Quantile(sigmas, 0.25), true
}

// deepest lists the places where the change lies below -limit and nowhere within a
// firing lower.
func deepest(change []float64, usable []bool, limit float64) []int {
	var out []int
	for i, d := range change {
		// At the edge of what could be measured the deepest place may lie beyond.
		if i == 0 || i+1 >= len(change) || !usable[i-1] || !usable[i] || !usable[i+1] || d > -limit {
			continue
		}
		least := true
		for j := max(0, i-gridPerFiring+1); j < min(len(change), i+gridPerFiring); j++ {
			if e := change[j]; usable[j] && (e < d || e == d && j < i) {
				least = false
			}
		}
		if least {
			out = append(out, i)
		}
	}
	return out
}

// unbroken reports whether each time of the grid is known.
func (tr *turn) unbroken(times []float64) bool {
	for _, t := range times {
		if math.IsNaN(t) {
			return false
		}
	}
	return true
}

// sampleAt is the sample of the tooth at or after a time.
func (tr *turn) sampleAt(t float64) int {
	return tr.at[min(len(tr.at)-1, sort.SearchFloat64s(tr.t, t))]
}
