package measure

import (
	"math"
	"slices"

	"proveout/stats"
)

// Costs of reading an edge as something else than the next tooth, in units of a
// squared deviation. Our choice; the running recordings with and without an
// added edge are the check.
const (
	speedScatter = 0.22 // of the logarithm of an interval about its local mean
	skipCost     = 6.0  // an edge that is no tooth
	lostCost     = 6.0  // a tooth without an edge
	worstFit     = 9.0  // no interval counts more than this
	jumpCost     = 30.0 // losing the place altogether
	chunkEdges   = 20000
)

// tooth is an edge that was read as a tooth: which of the wheel's, and how far
// the wheel has turned since the start, in repeats of the pattern.
type tooth struct {
	edge
	k      int     // place in the pattern
	turned float64 // repeats of the pattern since the first tooth, counting lost teeth
	fresh  bool    // the place was found anew here: what lies before is another stretch
}

// decoded is a wheel read along a recording.
type decoded struct {
	teeth   []tooth
	doubled []edge // an edge beside a tooth, less than a quarter of a pitch away
	stray   []edge // other edges that are no teeth
	lost    []edge // the tooth before a place where teeth are missing that the wheel has
	nLost   int
	jumps   int // places found anew after the first
	fit     float64
}

// decode reads the edges as teeth of the wheel: the cheapest path (Viterbi 1967)
// through pairs of (edge, place in the pattern), where the next edge is the next
// tooth, a later one (teeth lost), or an edge is passed over (no tooth). Time
// for one tooth is taken from the edges about it.
func decode(w wheel, ev []edge) decoded {
	var out decoded
	if len(ev) < 2 {
		return out
	}
	local := localPeriod(w, ev)
	var path []placed
	for from := 0; from < len(ev)-1; {
		to := min(from+chunkEdges, len(ev))
		start := -1
		if len(path) > 0 {
			start = path[len(path)-1].k
		}
		part := cheapest(w, ev[from:to], local[from:to], start)
		if start >= 0 {
			part = part[1:] // the edge both chunks share is on the path already
		}
		for _, p := range part {
			p.i += from
			path = append(path, p)
		}
		next := path[len(path)-1].i
		if next <= from {
			break
		}
		from = next
		if to == len(ev) {
			break
		}
	}
	out.read(w, ev, path, local)
	return out
}

// localPeriod is the time of one repeat of the pattern about each edge.
func localPeriod(w wheel, ev []edge) []float64 {
	d := intervals(ev)
	out := make([]float64, len(ev))
	if w.events >= 6 {
		pitch := stats.Median(w.share)
		buf := make([]float64, 0, 16)
		for i := range ev {
			buf = append(buf[:0], d[max(0, i-5):min(len(d), i+5)]...)
			out[i] = stats.MedianInPlace(buf) / pitch
		}
		return out
	}
	// Few teeth: the median of whole repeats about the edge.
	p := w.events
	buf := make([]float64, 0, 8)
	for i := range ev {
		buf = buf[:0]
		for j := max(0, i-p-1); j <= i+1 && j+p < len(ev); j++ {
			buf = append(buf, ev[j+p].t-ev[j].t)
		}
		if len(buf) == 0 && i >= p {
			buf = append(buf, ev[i].t-ev[i-p].t)
		}
		if len(buf) == 0 {
			buf = append(buf, (ev[len(ev)-1].t-ev[0].t)/float64(len(ev)-1)*float64(p))
		}
		out[i] = stats.MedianInPlace(buf)
	}
	return out
}

// placed is an edge on the path, with the place it takes and how it was reached.
type placed struct {
	i, k  int
	fresh bool
	moved int // teeth from the one before, 1 when none was lost
}

type back struct {
	skip, moved uint8 // edges passed over, teeth moved on; moved 0: start or jump
	from        int32 // place before, for a jump
}

func cheapest(w wheel, ev []edge, local []float64, start int) []placed {
	n, p := len(ev), w.events
	cost := make([]float64, n*p)
	ways := make([]back, n*p)
	ahead := make([][3]float64, p) // logarithm of the share from k to k+1, k+2, k+3
	for k := range ahead {
		sum := 0.0
		for m := range ahead[k] {
			sum += w.share[(k+m)%p]
			ahead[k][m] = math.Log(sum)
		}
	}
	for i := range cost {
		cost[i] = math.Inf(1)
	}
	for k := range p {
		if start < 0 || k == start {
			cost[k] = 0
		}
	}
	lowest := make([]float64, n)
	lowestK := make([]int32, n)
	for i := 0; i < n; i++ {
		best, at := math.Inf(1), 0
		for k := range p {
			if cost[i*p+k] < best {
				best, at = cost[i*p+k], k
			}
		}
		lowest[i], lowestK[i] = best, int32(at)
		if start < 0 || i > 0 {
			// Losing the place: any place at this edge, from the best before it.
			from, fk := 0.0, int32(-1)
			if i > 0 {
				from, fk = lowest[i-1], lowestK[i-1]
			}
			for k := range p {
				if c := from + jumpCost; c < cost[i*p+k] && i > 0 {
					cost[i*p+k] = c
					ways[i*p+k] = back{skip: 0, moved: 0, from: fk}
				}
			}
		}
		for j := i + 1; j <= min(i+3, n-1); j++ {
			dt := ev[j].t - ev[i].t
			skipped := float64(j-i-1) * skipCost
			unit := local[i]
			if i > 0 && j < n-1 {
				unit = math.Sqrt(local[i] * local[j])
			}
			passed := math.Log(dt / unit)
			for k := range p {
				base := cost[i*p+k] + skipped
				// Nothing dearer than losing the place can be on the path.
				if base > lowest[i]+jumpCost+skipped {
					continue
				}
				for m := 1; m <= 3; m++ {
					z := (passed - ahead[k][m-1]) / speedScatter
					fit := z * z
					if !(fit < worstFit) {
						fit = worstFit
					}
					c := base + fit + float64(m-1)*lostCost
					to := k + m
					if to >= p {
						to %= p
					}
					to += j * p
					if c < cost[to] {
						cost[to] = c
						ways[to] = back{skip: uint8(j - i - 1), moved: uint8(m)}
					}
				}
			}
		}
	}
	// The path may leave out up to two edges at the end.
	endI, endK, best := n-1, 0, math.Inf(1)
	for i := max(0, n-3); i < n; i++ {
		for k := range p {
			if c := cost[i*p+k] + float64(n-1-i)*skipCost; c < best {
				best, endI, endK = c, i, k
			}
		}
	}
	var path []placed
	for i, k := endI, endK; ; {
		b := ways[i*p+k]
		st := placed{i: i, k: k, moved: int(b.moved), fresh: b.moved == 0}
		path = append(path, st)
		if i == 0 {
			break
		}
		if b.moved == 0 {
			i, k = i-1, int(b.from)
			continue
		}
		i, k = i-1-int(b.skip), ((k-int(b.moved))%p+p)%p
	}
	slices.Reverse(path)
	return path
}

func (d *decoded) read(w wheel, ev []edge, path []placed, local []float64) {
	turned, bad := 0.0, 0
	since := 0 // teeth since the place was found
	pitch := stats.Median(w.share)
	for x, st := range path {
		if x == 0 || st.fresh {
			if x > 0 {
				d.jumps++
				turned = math.Ceil(turned) + 1
			}
			since = 0
		} else {
			prev := path[x-1]
			share := 0.0
			for m := range st.moved {
				share += w.share[(prev.k+m)%w.events]
			}
			turned += share
			for j := prev.i + 1; j < st.i; j++ {
				near := math.Min(ev[j].t-ev[prev.i].t, ev[st.i].t-ev[j].t)
				if near < 0.25*pitch*local[j] {
					d.doubled = append(d.doubled, ev[j])
				} else {
					d.stray = append(d.stray, ev[j])
				}
			}
			if st.moved > 1 && since > w.events/2 {
				d.lost = append(d.lost, ev[prev.i])
				d.nLost += st.moved - 1
			}
			if z := math.Abs(math.Log((ev[st.i].t - ev[prev.i].t) / (share * local[st.i]))); z > 3*speedScatter {
				bad++
			}
			since++
		}
		d.teeth = append(d.teeth, tooth{edge: ev[st.i], k: st.k, turned: turned, fresh: x == 0 || st.fresh})
	}
	if len(path) > 1 {
		d.fit = 1 - float64(bad+len(d.stray)+len(d.doubled)+d.nLost+5*d.jumps)/float64(len(path)-1)
	}
}
