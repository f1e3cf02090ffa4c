package measure

import (
	"math"
	"sort"

	"proveout/stats"
)

// Thresholds of the misfire search, our choice unless said.
const (
	misfireLeast  = 0.02 // of the speed: a healthy engine at idle varies by 1 %
	misfireMost   = 0.05 // where less than this would not be seen, single firings are not judged
	misfireSigmas = 6.0  // times the usual variation
	fewestFired   = 30   // firings before a rate is stated
	gridPerFiring = 6
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
	rough    bool    // too uneven to tell
	first    int     // samples looked at
	last     int
	slot     []float64 // mean change of speed over each firing of the cycle, percent
}

// misfires looks for firings after which the crank slows. The mean speed over the
// angle of one firing, 720/n degrees, is held against the mean over the firing
// before; the change that goes on all through the cycle about it (speeding up, slowing
// down) is taken off. A cylinder that does not fire leaves the crank slower by what
// the firing would have given. The cut between the two stretches is moved in
// sixths of a firing, so no top centre has to be known.
//
// The usual variation is the median deviation between one cycle and the next at the
// same place of the cycle, over the square root of two: a cylinder that never fires
// does not carry it off. Principle: change of engine speed over the firing interval,
// as on-board monitors use it (trade.md 3.1); the thresholds are our choice.
func (tr *turn) misfires(n int, from, to, skipBelow float64) misfireLook {
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
	var steps []float64
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
		if j := i + per; j < count && usable[j] {
			steps = append(steps, (change[j]-level(j)-change[i]+level(i))/math.Sqrt2)
		}
	}
	look.firings = points / gridPerFiring
	if len(steps) < per {
		return look
	}
	sigma := stats.MADSigma(steps)
	limit := math.Max(misfireLeast, misfireSigmas*sigma)
	look.sigmaPct, look.seenFrom, look.rough = 100*sigma, 100*limit, limit > misfireMost
	look.first, look.last = tr.sampleAt(times[first]), tr.sampleAt(times[last])
	sums, counts := make([]float64, n), make([]int, n)
	for i := range change {
		if !usable[i] {
			continue
		}
		d := change[i] - level(i)
		at := start + float64(i)*step
		slot := int(math.Floor(math.Mod(at, 720)/f)) % n
		sums[slot] += d
		counts[slot]++
		if d > -limit {
			continue
		}
		least := true
		for j := max(0, i-gridPerFiring+1); j < min(count, i+gridPerFiring); j++ {
			if e := change[j] - level(j); usable[j] && (e < d || e == d && j < i) {
				least = false
			}
		}
		if least {
			look.events = append(look.events, Misfire{
				Seconds: times[i], Degrees: at, DipPct: -100 * d, Sigmas: -d / math.Max(sigma, 1e-6),
				First: tr.sampleAt(times[i-gridPerFiring/2]), Last: tr.sampleAt(times[i+gridPerFiring/2]),
			})
		}
	}
	look.slot = make([]float64, n)
	for s := range sums {
		look.slot[s] = 100 * sums[s] / float64(max(1, counts[s]))
	}
	return look
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
