package measure

import (
	"fmt"
	"math"
	"slices"

	"proveout/evidence"
	"proveout/stats"
)

// Versus says what a reading is held against; the words are those of
// book.Reads.Versus.
type Versus string

// What a reading can be held against.
const (
	Others     Versus = "others"     // effect: ratio to the median of the other subjects
	Difference Versus = "difference" // effect: value minus the median of the others, SI
	VsLimit    Versus = "limit"      // effect: ratio to the nominal value or limit
	Absolute   Versus = "absolute"   // effect: the value itself, SI
	Count      Versus = "count"      // effect: share of all counts, 0 to 1
)

// CompareOptions settle how subjects are compared.
type CompareOptions struct {
	Versus Versus // Others or Difference
	// Level is the confidence over the whole family; 0 = 0.95.
	Level float64
	// Family is how many comparisons are looked at together (features x subjects);
	// 0 = the subjects of this call.
	Family int
	// Normal is the stretch of the effect that is not worth a word, around 1 for
	// ratios and 0 for differences (SI). Nil: the feature's own margin on both sides.
	Normal *Band
}

// Row is one subject against the others.
type Row struct {
	Subject    evidence.Subject
	Value      float64 // median over placements, SI
	ValueSD    float64 // its standard uncertainty, SI
	N          int     // events
	Placements int
	Effect     float64 // ratio, or difference in SI
	EffectSD   float64 // half of the 95 % interval over 1.96: heavy tails of few placements included
	Low, High  float64 // 95 % limits of Effect for this subject alone
	P          float64 // chance of an effect this far out if there were none, this subject alone
	PFamily    float64 // the same for the whole family (Holm)
	// Established: PFamily is below 1-Level.
	Established bool
	State       evidence.FindingState
	// More is how many further placements or repeats would settle it, 0 = settled, or
	// so many that repeating is no way to settle it.
	More int
	// WhichUnknown: a real difference, but too few subjects agree with each other to
	// say on which side of it the fault lies.
	WhichUnknown bool
	// Hidden is the smallest effect that this comparison could have established.
	Hidden   float64
	Readings []evidence.Reading
}

// Drift is the first subject measured again at the end.
type Drift struct {
	Subject     evidence.Subject
	Change      float64 // last over first minus 1, or last minus first in SI
	SD          float64
	Established bool
}

// Comparison is one feature over all subjects measured.
type Comparison struct {
	Feature   evidence.Feature
	Versus    Versus
	Level     float64
	Family    int
	Rows      []Row
	Scatter   float64 // from one placement or repeat to the next: a fraction, or SI for differences
	ScatterDF float64
	Drift     *Drift
	// Reference is the median of all subjects, SI.
	Reference float64
	shared    bool // one pickup saw all of them: its gain cancels
	normal    Band
	own       Band // normal by the feature's own margin, whatever the question asks
	all       bool // every subject there is was measured
}

// normal is the stretch not worth a word.
func (o CompareOptions) normal(t traits, reference float64) Band {
	none, margin := 0.0, t.margin
	if o.Versus == Others {
		none = 1
	} else if margin = t.marginAbs; margin == 0 {
		margin = t.margin * math.Abs(reference)
	}
	if margin == 0 {
		margin = plainTraits.margin
	}
	b := Band{none - margin, none + margin}
	if o.Normal != nil && o.Normal.From < none && o.Normal.To > none {
		b = *o.Normal
	}
	return b
}

// seen reports whether an effect lies outside the stretch not worth a word.
func (c *Comparison) seen(effect float64) bool { return c.beyond(c.normal, effect) }

func (c *Comparison) beyond(b Band, effect float64) bool {
	const tiny = 1e-12
	return effect >= b.To-tiny || effect <= b.From+tiny
}

// once: one placement is never enough to call an amplitude high.
// Nor is a crest that few samples saw.
func (c *Comparison) once(r *Row) bool {
	return c.Feature.Amplitude && r.Placements < 2 && !c.shared || r.coarse()
}

// coarse: a crest among the readings was seen by too few samples to be called high.
func (r *Row) coarse() bool {
	return slices.ContainsFunc(r.Readings, func(x evidence.Reading) bool { return x.Has(evidence.Undersampled) })
}

// Compare holds each subject against the median of the others (leave one out, so
// that a bad cylinder does not pollute its own yardstick). A subject that is
// established as off is taken out of the yardstick of the rest, worst first, as
// long as three are left: on a three-cylinder engine half of it would show on the
// two good ones.
//
// On the log scale (Others) or in SI (Difference), with m_i the mean of P_i
// placements of subject i:
//
//	effect_i  = m_i - median(m_j, j != i)
//	var(m_i)  = tau^2/P_i + w_i/P_i
//	var(eff)  = var(m_i) + c(k) mean(var(m_j)), c the variance of a median of k
//
// tau^2 is the placement scatter: the catalogue's value with 8 degrees of freedom,
// joined with what the placements show. w is cycle scatter, noise and resolution.
// Tested by Student's t with the joint degrees of freedom (Satterthwaite), and
// corrected over the family by Holm. With 3 or 4 cylinders an outlier table could
// not decide anything (DECISIONS, Odds).
//
// Blocked readings must have been taken out. An error says that nothing can be
// compared: fewer than two subjects, or ratios of values that are not positive.
func Compare(f evidence.Feature, readings []evidence.Reading, o CompareOptions) (Comparison, error) {
	if o.Level == 0 {
		o.Level = level
	}
	if o.Versus == "" {
		o.Versus = Others
	}
	groups := bySubject(readings)
	if len(groups) < 2 {
		return Comparison{}, fmt.Errorf("there is nothing to compare with: %s was read on one %s only", f.Name, f.Per)
	}
	logs := o.Versus == Others
	if logs {
		for _, r := range readings {
			if !(r.Value.SI > 0) {
				return Comparison{}, fmt.Errorf("%s of %s is %s: a ratio to the others has no meaning", f.Name, r.Subject, r.Value)
			}
			if r.Uncertainty > r.Value.SI {
				return Comparison{}, fmt.Errorf("%s of %s is less certain than it is large: a ratio to the others has no meaning", f.Name, r.Subject)
			}
		}
	}
	t := traitsOf(f)
	rows := make([]pooled, len(groups))
	means := make([]float64, len(groups))
	var values []float64
	for i, g := range groups {
		rows[i] = pool(f, g, logs)
		means[i] = rows[i].mean
		values = append(values, rows[i].value)
	}
	c := Comparison{Feature: f, Versus: o.Versus, Level: o.Level, Family: max(o.Family, len(groups)), Reference: stats.Median(values), shared: onePickup(readings)}
	prior := priorScatter(f, readings, c.Reference, logs)
	if logs && prior > 1 {
		return Comparison{}, fmt.Errorf("%s is smaller than its readings repeat: a ratio to the others has no meaning", f.Name)
	}
	tau2, df := scatter(rows, prior)
	c.Scatter, c.ScatterDF = math.Sqrt(tau2), df
	drift2 := 0.0
	if c.Drift = driftOf(rows, tau2, df, logs); c.Drift != nil && c.Drift.Established {
		d := c.Drift.Change
		if logs {
			d = math.Log1p(d)
		}
		drift2 = d * d / 12 // the change was somewhere along a line: uniform over it
	}
	c.normal = o.normal(t, c.Reference)
	c.own = CompareOptions{Versus: o.Versus}.normal(t, c.Reference)
	out := make([]bool, len(rows))
	for {
		c.Rows = c.Rows[:0]
		ps := make([]float64, len(rows))
		for i := range rows {
			c.Rows = append(c.Rows, c.row(rows, means, out, i, tau2, df, drift2))
			ps[i] = c.Rows[i].P
		}
		for i, p := range stats.Holm(ps, c.Family) {
			r := &c.Rows[i]
			r.PFamily = p
			r.Established = p < 1-o.Level
			c.settle(r, tau2)
		}
		worst := c.worst(out)
		if worst < 0 {
			return c, nil
		}
		out[worst] = true
	}
}

// evenly is the share of the largest effect from which one in the other direction
// counts as large. A single bad subject of three shows half of its effect on each
// of the two good ones; three in equal steps, or two against two, show all of it.
// Our choice, in the middle.
const evenly = 0.75

// worst is the subject that is established as off by most, of those still in the
// reference; -1 when there is none, or when it cannot be said which is off. The
// size of the effect decides, not its chance: a cylinder that was measured very
// closely would else be sent out for its neighbour's fault. One that is off in a
// direction the question takes for normal spoils the yardstick all the same.
//
// It cannot be said when only two are left, and when no two agree with the middle
// while the largest effects up and down are as large as each other: then either
// side may be the healthy one, unless the question takes one side for normal. All
// rows that stand out are marked so.
func (c *Comparison) worst(out []bool) int {
	left, agree := 0, 0
	type side struct {
		worst int
		size  float64
		seen  bool
	}
	up, down := side{worst: -1}, side{worst: -1}
	for i, r := range c.Rows {
		if out[i] {
			continue
		}
		left++
		seen := r.State == evidence.High || r.State == evidence.Low
		if !seen && !(r.Established && c.beyond(c.own, r.Effect) && !c.once(&r)) {
			if r.State == evidence.Normal {
				agree++
			}
			continue
		}
		s := &up
		if r.Effect < c.none() {
			s = &down
		}
		s.seen = s.seen || seen
		if size := c.size(r); s.worst < 0 || size > s.size {
			s.worst, s.size = i, size
		}
	}
	tie := agree < 2 && math.Min(up.size, down.size) > evenly*math.Max(up.size, down.size)
	switch {
	case left < 3 || tie && up.seen == down.seen:
		for i := range c.Rows {
			if r := &c.Rows[i]; !out[i] && (r.State == evidence.High || r.State == evidence.Low) {
				c.leaveOpen(r)
			}
		}
		return -1
	case tie && up.seen, up.size > down.size && !tie:
		return up.worst
	}
	return down.worst
}

// size is how far a row is off, up or down alike.
func (c *Comparison) size(r Row) float64 {
	if c.Versus == Others {
		return math.Abs(math.Log(r.Effect))
	}
	return math.Abs(r.Effect)
}

// leaveOpen marks a row of which it cannot be said whether it or its yardstick is
// off: the truth may be anything from no effect to the one seen, and its 95 %
// limits say so to whoever weighs it.
func (c *Comparison) leaveOpen(r *Row) {
	r.State, r.WhichUnknown, r.More = evidence.NotEstablished, true, 0
	r.Low, r.High = math.Min(r.Low, c.none()), math.Max(r.High, c.none())
	r.EffectSD = math.Max(r.EffectSD, math.Abs(r.Effect-c.none())/1.959964)
}

// row works out one subject against the others, without those that are out.
func (c *Comparison) row(rows []pooled, means []float64, out []bool, i int, tau2, df, drift2 float64) Row {
	own := rows[i]
	var others []float64
	otherPlace, otherWithin := 0.0, 0.0
	for j, r := range rows {
		if j == i || out[j] {
			continue
		}
		others = append(others, means[j])
		otherPlace += tau2 / float64(len(r.places))
		otherWithin += r.within / float64(len(r.places))
	}
	k := float64(len(others))
	share := stats.MedianVariance(len(others))
	place := tau2/float64(len(own.places)) + share*otherPlace/k
	within := own.within/float64(len(own.places)) + share*otherWithin/k + drift2
	variance := place + within
	nu := math.Inf(1)
	if place > 0 {
		nu = df * (variance / place) * (variance / place)
	}
	d := own.mean - stats.Median(others)
	se := math.Sqrt(variance)
	half := stats.TQuantile(0.975, nu) * se
	hidden := stats.TQuantile(1-(1-c.Level)/2/float64(c.Family), nu) * se
	r := Row{Subject: own.subject, Value: own.value, N: own.n, Placements: len(own.places), P: 1, Readings: own.readings}
	if se > 0 {
		r.P = stats.TTwoSided(d/se, nu)
	} else if d != 0 {
		r.P = 0
	}
	ownSD := math.Sqrt(tau2/float64(len(own.places)) + own.within/float64(len(own.places)))
	if c.Versus == Others {
		half, hidden = math.Min(half, 300), math.Min(hidden, 300) // of a logarithm
		d = math.Max(-300, math.Min(300, d))
		r.Effect, r.Low, r.High = math.Exp(d), math.Exp(d-half), math.Exp(d+half)
		r.EffectSD, r.Hidden = r.Effect*half/1.959964, math.Expm1(hidden)
		r.ValueSD = own.value * ownSD
	} else {
		r.Effect, r.Low, r.High = d, d-half, d+half
		r.EffectSD, r.Hidden = half/1.959964, hidden
		r.ValueSD = ownSD
	}
	return r
}

// settle names the state of a row and plans what would settle it.
func (c *Comparison) settle(r *Row, tau2 float64) {
	none := c.none()
	once := c.once(r)
	seen := c.seen(r.Effect)
	// Twice the stretch: so far may the interval reach for a reading to be called
	// like the others.
	within := r.Low >= none-2*(none-c.normal.From) && r.High <= none+2*(c.normal.To-none)
	switch {
	case seen && r.Established && len(c.Rows) == 2:
		c.leaveOpen(r)
		return
	case seen && r.Established && !once:
		r.State = evidence.High
		if r.Effect < none {
			r.State = evidence.Low
		}
		return
	case !seen && within:
		r.State = evidence.Normal
		return
	}
	r.State = evidence.NotEstablished
	r.More = c.more(r, math.Abs(r.Effect-none), seen, tau2)
}

// hopeless is the number of repeats from which it is better said that repeating
// will not settle it (our choice).
const hopeless = 20

// Placements is how many placements each coil needs so that a relative
// difference is found with 80 % power at two-sided 5 %, when placements scatter
// by cv (trade.md 3.4: cv 0.20 and 30 % need 7).
func Placements(cv, difference float64) int {
	return stats.SampleSize(cv, difference, 0.05, power)
}

// more is how many further placements (repeats) would settle the row: the
// trade's figure for a difference as large as the one seen (or for 30 % when none
// is seen), raised where the correction for the family would otherwise make it
// less likely than not to settle, less what has been done; at least 1.
func (c *Comparison) more(r *Row, off float64, seen bool, tau2 float64) int {
	sd2 := tau2
	if !c.Feature.Amplitude {
		sd2 = r.ValueSD * r.ValueSD * float64(r.Placements) // cycle scatter and resolution too
		if c.Versus == Others {
			sd2 /= r.Value * r.Value
		}
	}
	target := off
	if !seen {
		target = worthFinding
		if c.Versus == Difference {
			target *= math.Abs(c.Reference)
		}
	}
	if sd2 == 0 || target == 0 {
		return 1
	}
	onScale := target
	if c.Versus == Others {
		onScale = math.Log1p(target)
		if seen {
			onScale = math.Abs(math.Log(r.Effect))
		}
	}
	sd := math.Sqrt(sd2)
	own := stats.ContrastSize(sd, onScale, (1-c.Level)/float64(c.Family), 0.5, 1+stats.MedianVariance(len(c.Rows)-1))
	n := max(1, max(Placements(sd, target), own)-r.Placements)
	if n > hopeless {
		return 0
	}
	return n
}

// driftOf compares first and last reading when the subject measured first was
// measured again after all others.
func driftOf(rows []pooled, tau2, df float64, logs bool) *Drift {
	lowest, highest := math.MaxInt, math.MinInt
	for _, r := range rows {
		lowest, highest = min(lowest, r.first), max(highest, r.last)
	}
	for _, r := range rows {
		if r.first != lowest || r.last != highest || r.first == r.last {
			continue
		}
		for _, q := range rows {
			if q.subject != r.subject && (q.first < r.first || q.last > r.last || (q.first == lowest) || (q.last == highest)) {
				return nil
			}
		}
		// Placed again in between: the scatter of two placements hides that much drift.
		sd := math.Sqrt(2*tau2 + 2*r.within)
		change := r.lastValue - r.firstValue
		d := &Drift{Subject: r.subject, Change: change, SD: sd}
		d.Established = sd > 0 && stats.TTwoSided(change/sd, df) < 0.05
		if logs {
			d.Change = math.Expm1(change)
		}
		return d
	}
	return nil
}
