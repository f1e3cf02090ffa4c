package measure

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"

	"proveout/stats"
)

// Thresholds of the compression ripple, our choice. The recordings with plugs in
// (12 % of the speed) and plugs out (under 2 %) lie well on either side.
const (
	rippleShare     = 0.03 // of the mean speed: less is no compression
	rippleOver      = 3.0  // times the other orders
	teethPerPulse   = 5    // teeth that must pass in one compression
	fewestCycles    = 3
	leastToothError = 0.05 // deg: smaller ones do not matter to a firing
	evenDifference  = 0.15 // trade.md 2.6: >10-15 % low is to be confirmed
)

// Order is a swing of the crank's speed that comes so many times a revolution.
type Order struct {
	PerTurn float64
	RPM     float64 // amplitude
	Phase   float64 // crank degrees of its first crest, within its period
}

// ripple splits the speed of whole cycles (two revolutions) into orders of the
// crank: amplitude A of order q from the Fourier sum over teeth intervals,
//
//	c(q) = 2/720 sum of w_j d_j exp(-i q a_j) / sinc(q d_j/2)
//
// with mean speed w_j over the interval of d_j degrees about angle a_j, after a
// straight line was taken off each cycle. The sinc undoes the averaging over the
// interval. Cycles are averaged with their phase. cycles lists where each begins.
func (tr *turn) ripple(from, to float64) (orders []Order, mean float64, cycles []float64) {
	most := math.Min(12, float64(tr.per)/2.5)
	var qs []float64
	for q := 0.5; q <= most; q += 0.5 {
		qs = append(qs, q)
	}
	re, im := make([]float64, len(qs)), make([]float64, len(qs))
	speed := 0.0
	for start := from; start+720 <= to+1e-6; start += 720 {
		a := sort.SearchFloat64s(tr.deg, start-1e-6)
		b := sort.SearchFloat64s(tr.deg, start+720-1e-6)
		if b >= len(tr.deg) || !tr.whole(a, b) || math.Abs(tr.deg[a]-start) > 1 || math.Abs(tr.deg[b]-start-720) > 1 {
			continue
		}
		var w, at, wide []float64
		s0, s1, s2, t0, t1 := 0.0, 0.0, 0.0, 0.0, 0.0
		for i := a + 1; i <= b; i++ {
			d := tr.deg[i] - tr.deg[i-1]
			dt := tr.t[i] - tr.t[i-1]
			if d <= 0 || dt <= 0 {
				continue
			}
			v, x := d/6/dt, (tr.deg[i]+tr.deg[i-1])/2-start-360
			w, at, wide = append(w, v), append(at, x), append(wide, d)
			s0, s1, s2 = s0+d, s1+d*x, s2+d*x*x
			t0, t1 = t0+d*v, t1+d*v*x
		}
		slope := (t1 - s1/s0*t0) / (s2 - s1*s1/s0)
		level := t0/s0 - slope*s1/s0
		for k, q := range qs {
			for j := range w {
				half := q * wide[j] * math.Pi / 360
				sinc := math.Sin(half) / half
				if sinc < 0.3 {
					continue // the interval is too wide to show this order
				}
				c := 2.0 / 720 * (w[j] - level - slope*at[j]) * wide[j] / sinc
				sn, cs := math.Sincos(q * (at[j] + start + 360) * math.Pi / 180)
				re[k] += c * cs
				im[k] += c * sn
			}
		}
		speed += level
		cycles = append(cycles, start)
	}
	n := float64(len(cycles))
	if n == 0 {
		return nil, 0, nil
	}
	for k, q := range qs {
		x, y := re[k]/n, im[k]/n
		phase := math.Mod(math.Atan2(y, x)*180/math.Pi/q+360/q, 360/q)
		orders = append(orders, Order{PerTurn: q, RPM: math.Hypot(x, y), Phase: phase})
	}
	return orders, speed / n, cycles
}

// dominant is the strongest order from 1 up; over is how many times stronger it
// is than the strongest that is no multiple of it.
func dominant(orders []Order) (best Order, over float64) {
	for _, o := range orders {
		if o.PerTurn >= 1 && o.RPM > best.RPM {
			best = o
		}
	}
	rest := 0.0
	for _, o := range orders {
		m := o.PerTurn / best.PerTurn
		if o.PerTurn < 1 || math.Abs(m-math.Round(m)) < 1e-9 {
			continue
		}
		rest = math.Max(rest, o.RPM)
	}
	if rest == 0 {
		return best, math.Inf(1)
	}
	return best, best.RPM / rest
}

// otherCount looks for the swing of another number of cylinders than the n that
// are declared: an order that stands out of its neighbours threefold, while that of
// n is less than a third of it and does not. 0 when there is none. Misfires of
// single cylinders fill the low orders, without standing out of one.
func otherCount(orders []Order, n int) float64 {
	over := func(q float64) float64 { // times its neighbours
		return orderOf(orders, q).RPM / math.Max(1e-12, (orderOf(orders, q-0.5).RPM+orderOf(orders, q+0.5).RPM)/2)
	}
	own := orderOf(orders, float64(n)/2)
	if over(own.PerTurn) >= 3 {
		return 0
	}
	for _, o := range orders {
		if o.PerTurn >= 1.5 && o.PerTurn != own.PerTurn && over(o.PerTurn) >= 3 && o.RPM > 3*own.RPM {
			return o.PerTurn
		}
	}
	return 0
}

func orderOf(orders []Order, q float64) Order {
	for _, o := range orders {
		if o.PerTurn == q {
			return o
		}
	}
	return Order{PerTurn: q}
}

// Pulse is one of the compressions of a cycle, in the order in which they come.
// Which cylinder it is stays unknown without a sync.
type Pulse struct {
	Start    float64 // crank degrees from the first tooth, within the cycle
	DipRPM   float64 // how far the speed falls below its two crests, median over cycles
	Sigma    float64 // standard uncertainty of DipRPM
	Cylinder int     // 0: not known
}

// pulses measures the dip of speed at each compression, from crest to crest.
func (tr *turn) pulses(cycles []float64, crest Order, n int) []Pulse {
	f := 720 / float64(n)
	out := make([]Pulse, n)
	for s := range out {
		out[s].Start = math.Mod(crest.Phase, f) + float64(s)*f
	}
	for s := range out {
		var dips []float64
		for _, c := range cycles {
			from := c - math.Mod(c, 720) + out[s].Start
			for from < c-1e-6 {
				from += 720
			}
			if dip, ok := tr.dip(from, from+f); ok {
				dips = append(dips, dip)
			}
		}
		if len(dips) == 0 {
			out[s].DipRPM = math.NaN()
			continue
		}
		out[s].DipRPM, _, out[s].Sigma = middle(dips)
	}
	return out
}

// dip is the mean of the speeds at both ends less the least between. Speeds are
// taken over a sixth of the stretch.
func (tr *turn) dip(from, to float64) (float64, bool) {
	w := (to - from) / 6
	speedAt := func(a float64) (float64, bool) {
		t0, ok0 := tr.timeAt(a - w/2)
		t1, ok1 := tr.timeAt(a + w/2)
		if !ok0 || !ok1 || t1 <= t0 {
			return 0, false
		}
		return w / 6 / (t1 - t0), true
	}
	first, ok1 := speedAt(from)
	last, ok2 := speedAt(to)
	if !ok1 || !ok2 {
		return 0, false
	}
	least := math.Inf(1)
	for a := from + w/2; a < to; a += w / 2 {
		v, ok := speedAt(a)
		if !ok {
			return 0, false
		}
		least = math.Min(least, v)
	}
	return (first+last)/2 - least, true
}

// toothError learns which teeth stand out of place, from many turns.
//
// A tooth in the wrong place comes early or late every turn, by e_i degrees
// against the straight line through its two neighbours in time. The median of e_i
// over turns holds the tooth's error and the engine's own swing; harmonics up to
// `engine` times a turn are taken for the engine's. Errors that swing as slowly
// around the wheel cannot be told from the engine and stay. scatter is what is
// left from turn to turn: the jitter of one edge, the spread of e over sqrt(3/2).
// unseen is one sigma of what all teeth may stand off without any standing out.
func (tr *turn) toothError(engine int) (errs []float64, unseen, scatter float64, turns int, ok bool) {
	p := tr.per
	if p < 4 {
		return nil, 0, 0, 0, false
	}
	byTooth := make([][]float64, p)
	place, gap := make([]float64, p), make([]float64, p)
	for i := 1; i+1 < len(tr.t); i++ {
		if tr.fresh[i] || tr.fresh[i+1] || tr.t[i+1] <= tr.t[i-1] {
			continue
		}
		if (tr.k[i-1]+1)%p != tr.k[i] || (tr.k[i]+1)%p != tr.k[i+1] {
			continue
		}
		f := (tr.t[i] - tr.t[i-1]) / (tr.t[i+1] - tr.t[i-1])
		// Turned angle at that time, if it turned evenly, less where the wheel says.
		e := tr.deg[i-1] + f*(tr.deg[i+1]-tr.deg[i-1]) - tr.deg[i]
		byTooth[tr.k[i]] = append(byTooth[tr.k[i]], e)
		place[tr.k[i]] = tr.deg[i]
		gap[tr.k[i]] = (tr.deg[i] - tr.deg[i-1]) / (tr.deg[i+1] - tr.deg[i-1])
	}
	mean := make([]float64, p)
	var left []float64
	turns = math.MaxInt
	for k, es := range byTooth {
		turns = min(turns, len(es))
		if len(es) < 2 {
			return nil, 0, 0, 0, false
		}
		mean[k] = stats.Median(es)
		for _, e := range es {
			left = append(left, e-mean[k])
		}
	}
	scatter = stats.MADSigma(left) / math.Sqrt(1.5) * math.Sqrt(float64(turns)/float64(turns-1))
	if p < 4*engine {
		return nil, 0, scatter, turns, false
	}
	errs, unseen = displaced(mean, place, gap, engine)
	return errs, unseen, scatter, turns, errs != nil
}

// displaced finds single teeth out of place: the tooth whose deviation stands out
// most is moved until none does. e is what each tooth deviates from the line
// through its neighbours, so a tooth off by d makes e = d at itself and draws its
// neighbours by their part of the way. The engine's own swing, harmonics 0..engine,
// is fitted each time without the teeth that were moved and their neighbours. Nil
// when it cannot be fitted. unseen is the spread of what is left: a wheel all of whose
// teeth stand off a little shows no single one.
func displaced(e, place, gap []float64, engine int) (errs []float64, unseen float64) {
	p, cols := len(e), 2*engine+1
	row := func(k int) []float64 {
		r := make([]float64, cols)
		r[0] = 1
		for q := 1; q <= engine; q++ {
			r[2*q], r[2*q-1] = math.Sincos(float64(q) * place[k] * math.Pi / 180)
		}
		return r
	}
	errs = make([]float64, p)
	left := make([]float64, p)
	moved := make([]bool, p)
	for range max(2, p/8) + 1 {
		a, y := mat.NewDense(p, cols, nil), mat.NewVecDense(p, nil)
		rows := 0
		for k := range p {
			if !moved[(k+p-1)%p] && !moved[k] && !moved[(k+1)%p] {
				a.SetRow(rows, row(k))
				y.SetVec(rows, e[k])
				rows++
			}
		}
		var x mat.VecDense
		if rows < cols+2 || x.SolveVec(a.Slice(0, rows, 0, cols), y.SliceVec(0, rows)) != nil {
			break
		}
		worst := 0
		for k := range p {
			before, after := (k+p-1)%p, (k+1)%p
			left[k] = e[k] - errs[k] + errs[before]*(1-gap[k]) + errs[after]*gap[k]
			for j, v := range row(k) {
				left[k] -= v * x.AtVec(j)
			}
			if math.Abs(left[k]) > math.Abs(left[worst]) {
				worst = k
			}
		}
		if math.Abs(left[worst]) < math.Max(leastToothError, 5*stats.MADSigma(left)) {
			// The fit takes its share of the spread with it.
			return errs, stats.MADSigma(left) * math.Sqrt(float64(rows)/float64(rows-cols))
		}
		errs[worst] += left[worst]
		moved[worst] = true
	}
	return nil, 0
}
