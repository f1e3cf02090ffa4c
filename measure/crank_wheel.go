package measure

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"proveout/stats"
)

// Thresholds of the search for the wheel, our choice.
const (
	gapRatio      = 1.5  // an interval this much longer than its neighbours is a gap
	shortRatio    = 0.6  // this much shorter: an extra tooth
	longestPeriod = 130  // events of one repeat: 120 teeth and some
	enoughMatch   = 0.75 // share of gaps that must come back after one repeat
)

// wheel is the repeating pattern of edges found on a channel.
type wheel struct {
	events    int       // edges of one level in one repeat
	share     []float64 // of the repeat, from edge k to k+1; adds up to 1
	positions int       // equal pitches of one repeat that the gaps count in; 0 for an uneven wheel without one pitch
	gaps      []int     // teeth missing in each gap, in order
	extra     int       // teeth beyond the even ones
	coded     bool      // teeth are told apart by their width
	misfit    float64   // greatest difference of a share from whole pitches, in pitches
	repeats   int       // in one revolution; 0 until known
	went      string    // how the number of repeats was found
	guessed   bool      // that it turns once in its pattern rests on nothing
	listed    bool      // a wheel in common use
}

// commonWheels are wheels in common use, by name; from memory.
var commonWheels = []string{"60-2", "36-1", "36-2", "36-2-1", "36-2-2-2", "36-1-1", "60-2-2", "60-1", "48-2", "32-2", "30-2", "30-1", "24-1", "24-2", "12-1", "12-3", "8-1", "12+1", "24+1", "6+1", "4+1", "3+1"}

// name writes the wheel of one revolution: "36-2-1", "12+1", "24 coded by width".
func (w wheel) name() string {
	r := max(1, w.repeats)
	switch {
	case w.coded:
		return fmt.Sprintf("%d pulses, told apart by their width", r*w.events)
	case w.extra > 0:
		return fmt.Sprintf("%d+%d", r*w.positions, r*w.extra)
	case len(w.gaps) > 0:
		return w.nameOf(r)
	}
	if w.positions == 0 {
		return fmt.Sprintf("%d teeth, unevenly spaced", r*w.events)
	}
	return fmt.Sprintf("%d even teeth", r*w.events)
}

func (w wheel) nameOf(repeats int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d", repeats*w.positions)
	g := slices.Clone(w.gaps)
	slices.SortFunc(g, func(a, b int) int { return b - a })
	all := []int{}
	for range repeats {
		all = append(all, g...)
	}
	slices.SortFunc(all, func(a, b int) int { return b - a })
	for _, m := range all {
		fmt.Fprintf(&b, "-%d", m)
	}
	return b.String()
}

// findWheel looks for the pattern in the edges of one level. ok is false when
// nothing repeats. quality is the share of gaps (or of the width code) that come
// back, 1 at best.
func findWheel(s sensor, level int8) (w wheel, quality float64, ok bool) {
	ev := s.of(level)
	if len(ev) < fewestEdges/2 {
		return w, 0, false
	}
	d := intervals(ev)
	if w, q, ok := widthCode(s, level, d); ok {
		return w, q, true
	}
	if w, q, ok := gapPattern(d); ok {
		return w, q, true
	}
	return fewTeeth(d)
}

func intervals(ev []edge) []float64 {
	d := make([]float64, len(ev)-1)
	for i := range d {
		d[i] = ev[i+1].t - ev[i].t
	}
	return d
}

// stepScatter is the median step between neighbouring intervals, as a logarithm.
func stepScatter(d []float64) float64 {
	var r []float64
	for i := 1; i < len(d); i++ {
		if d[i] > 0 && d[i-1] > 0 {
			r = append(r, math.Abs(math.Log(d[i]/d[i-1])))
		}
	}
	if len(r) == 0 {
		return math.Inf(1)
	}
	return stats.Median(r)
}

// gapPattern looks for gaps and extra teeth that come back after the same number
// of edges.
func gapPattern(d []float64) (wheel, float64, bool) {
	n := len(d)
	class := make([]int8, n)
	specials := 0
	for i := range d {
		near := slices.Clone(d[max(0, i-4):min(n, i+5)])
		r := d[i] / stats.MedianInPlace(near)
		switch {
		case r > gapRatio:
			class[i] = 1
		case r < shortRatio:
			class[i] = -1
		}
		if class[i] != 0 {
			specials++
		}
	}
	if specials < 3 || specials > n/2 {
		return wheel{}, 0, false
	}
	score := make([]float64, min(longestPeriod, n-1)+1)
	best := 0.0
	for p := 3; p < len(score); p++ {
		match, of := 0, 0
		for i := 0; i+p < n; i++ {
			if class[i] != 0 || class[i+p] != 0 {
				of++
				if class[i] == class[i+p] {
					match++
				}
			}
		}
		if of >= 2 {
			score[p] = float64(match) / float64(of)
			best = math.Max(best, score[p])
		}
	}
	if best < 0.5 {
		return wheel{}, 0, false
	}
	for p := 3; p < len(score); p++ {
		if score[p] < 0.9*best {
			continue
		}
		if w, ok := shapeOf(d, class, p); ok {
			return w, score[p], true
		}
	}
	return wheel{}, 0, false
}

// shapeOf learns the shares of the intervals of a pattern of p edges, aligned at
// its specials, and reads gaps and extra teeth from them.
func shapeOf(d []float64, class []int8, p int) (wheel, bool) {
	n := len(d)
	turns := n / p
	// Stretches of one pattern in which the specials stand where most do.
	var want []int8
	var parts [][]float64
	for start := 0; start+p <= n; start++ {
		if class[start] == 0 || start+p < n && class[start+p] != class[start] {
			continue
		}
		if want == nil {
			want = commonest(class, p)
			if want == nil {
				return wheel{}, false
			}
		}
		if !slices.Equal(class[start:start+p], want) {
			continue
		}
		sum := 0.0
		for _, x := range d[start : start+p] {
			sum += x
		}
		part := make([]float64, p)
		// A change of speed over the pattern is taken off as a straight line.
		drift := 0.0
		if start+2*p <= n && slices.Equal(class[start+p:min(n, start+2*p)], want) {
			next := 0.0
			for _, x := range d[start+p : start+2*p] {
				next += x
			}
			drift = math.Log(next / sum)
		}
		for k := range part {
			part[k] = d[start+k] / sum * math.Exp(-drift*(float64(k)+0.5-float64(p)/2)/float64(p))
		}
		parts = append(parts, part)
	}
	if len(parts) < 2 && turns > 2 || len(parts) == 0 {
		return wheel{}, false
	}
	w := wheel{events: p, share: make([]float64, p)}
	total := 0.0
	col := make([]float64, len(parts))
	for k := range w.share {
		for j := range parts {
			col[j] = parts[j][k]
		}
		w.share[k] = stats.Median(col)
		total += w.share[k]
	}
	for k := range w.share {
		w.share[k] /= total
	}
	return w, w.snap(want)
}

// commonest is the arrangement of p classes, beginning at a special, that occurs
// most often.
func commonest(class []int8, p int) []int8 {
	count := map[string]int{}
	best, at := 0, -1
	for i := 0; i+p <= len(class); i++ {
		if class[i] == 0 {
			continue
		}
		b := make([]byte, p)
		for k := range b {
			b[k] = byte(class[i+k] + 1)
		}
		count[string(b)]++
		if c := count[string(b)]; c > best {
			best, at = c, i
		}
	}
	if at < 0 {
		return nil
	}
	return class[at : at+p]
}

// snap sets the shares to the whole pitches they stand for: a gap of two missing
// teeth is three pitches. It fails when the shares are no whole pitches.
func (w *wheel) snap(class []int8) bool {
	pitch := stats.Median(w.share)
	pitches := make([]int, w.events)
	extraShare, extras := 0.0, 0
	for k, s := range w.share {
		m := w.around(k, pitch)
		switch {
		case class[k] < 0 || s < 0.8*pitch:
			extraShare += s / pitch
			extras++
			pitches[k] = 0
		case class[k] > 0:
			pitches[k] = int(math.Round(s / m))
			if pitches[k] < 2 {
				return false
			}
			w.gaps = append(w.gaps, pitches[k]-1)
		default:
			pitches[k] = 1
		}
		w.positions += pitches[k]
	}
	if len(w.gaps) > 4 {
		return false
	}
	if extras > 0 {
		// Extra teeth share pitches with their neighbours: their place is learned.
		whole := int(math.Round(extraShare))
		if len(w.gaps) > 0 || extras != whole+1 || whole < 1 {
			return false
		}
		w.positions += whole
		w.extra = extras - whole
		left := float64(whole)
		for k := range w.share {
			if pitches[k] > 0 {
				w.misfit = math.Max(w.misfit, math.Abs(w.share[k]/pitch-1))
				w.share[k] = 1 / float64(w.positions)
			} else {
				w.share[k] = w.share[k] / pitch / extraShare * left / float64(w.positions)
			}
		}
		return true
	}
	for k := range w.share {
		whole := float64(pitches[k]) / float64(w.positions)
		w.misfit = math.Max(w.misfit, math.Abs(w.share[k]-whole)*float64(w.positions))
		w.share[k] = whole
	}
	return true
}

// around is the pitch beside place k: the mean of the nearest ordinary shares, so
// that a swing of speed within the revolution does not shrink a gap.
func (w *wheel) around(k int, pitch float64) float64 {
	sum, n := 0.0, 0
	for _, step := range []int{-1, 1} {
		for j := 1; j < w.events; j++ {
			s := w.share[((k+step*j)%w.events+w.events)%w.events]
			if s > 0.8*pitch && s < 1.3*pitch {
				sum += s
				n++
				break
			}
		}
	}
	if n == 0 {
		return pitch
	}
	return sum / float64(n)
}

// widthCode recognises wheels whose teeth differ in width: the share of high time
// falls into two groups, whose order repeats.
func widthCode(s sensor, level int8, d []float64) (wheel, float64, bool) {
	if stepScatter(d) > 0.12 {
		return wheel{}, 0, false
	}
	var high []float64
	for i := 0; i+2 < len(s.edges); i++ {
		if s.edges[i].level == level {
			high = append(high, (s.edges[i+1].t-s.edges[i].t)/(s.edges[i+2].t-s.edges[i].t))
		}
	}
	if len(high) < 16 {
		return wheel{}, 0, false
	}
	sorted := slices.Clone(high)
	slices.Sort(sorted)
	cut, widest := 0.0, 0.0
	for i := len(sorted) / 6; i < len(sorted)-len(sorted)/6; i++ {
		if g := sorted[i+1] - sorted[i]; g > widest {
			widest, cut = g, (sorted[i]+sorted[i+1])/2
		}
	}
	if widest < 0.12 {
		return wheel{}, 0, false
	}
	bit := func(i int) bool { return high[i] > cut }
	for p := 12; p <= min(64, len(high)*2/3); p++ {
		match, same := 0, true
		for i := 0; i+p < len(high); i++ {
			if bit(i) == bit(i+p) {
				match++
			}
			same = same && bit(i) == bit(0)
		}
		if q := float64(match) / float64(len(high)-p); q >= 0.95 && !same {
			return wheel{events: p, share: even(p), positions: p, coded: true}, q, true
		}
	}
	return wheel{}, 0, false
}

func even(p int) []float64 {
	out := make([]float64, p)
	for i := range out {
		out[i] = 1 / float64(p)
	}
	return out
}

// fewTeeth takes wheels without a mark: evenly spaced teeth, or two spacings in
// turn.
func fewTeeth(d []float64) (wheel, float64, bool) {
	u := stepScatter(d)
	if u < 0.15 {
		return wheel{events: 1, share: []float64{1}, positions: 1}, 1 - u, true
	}
	var second, steps []float64
	for i := 2; i < len(d); i++ {
		second = append(second, math.Abs(math.Log(d[i]/d[i-2])))
		steps = append(steps, math.Log(d[i]/d[i-1])*float64(1-2*(i%2)))
	}
	if len(second) < 6 || stats.Median(second) > 0.35*u {
		return wheel{}, 0, false
	}
	// Share of the first of each pair: log ratio of neighbours, seen in turn.
	r := math.Exp(stats.Median(steps) / 1)
	a := r / (1 + r) // share of the even-numbered intervals
	return wheel{events: 2, share: []float64{a, 1 - a}}, 1 - stats.Median(second), true
}
