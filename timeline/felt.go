package timeline

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"proveout/stats"
)

// FeltOptions settle what "about a mark" means. A person says "now" after it
// happened: from memory half a second to two seconds, so the window lies mostly
// before the mark. Zero values take these.
type FeltOptions struct {
	Before, After float64 // seconds; 3 and 0.5
	Baseline      float64 // seconds on either side that a channel is held against; 12
	Level         float64 // 0.95
}

const (
	fewestMarks   = 3 // our choice: two may be chance, and one is a story
	fewestWindows = 15
	mostShifts    = 2000
)

// Answer is what one channel did about the marks.
type Answer struct {
	Channel string
	// Change is the mean over the marks of the largest departure within the window
	// from the channel's middle about it, in its usual departures in windows anywhere.
	Change float64
	// P is the chance of so much or more if the marks were anywhere (their spacing
	// kept), for this channel alone; PAll the same for the best of all channels.
	P, PAll     float64
	Established bool
	Marks       int // at which the channel was recorded
	Up          int // of them, departures upward
}

// Felt holds the marks against every channel on the line of time. For each channel
//
//	d(t) = largest |v - median about t| within the window at t
//
// is ranked among the d of windows all through the recording; the mean rank over
// the marks is the statistic, so that neither unit nor one wild moment counts. Its
// chance comes from shifting all marks together around the recording, in even
// steps: their spacing and each channel's own unrest stay what they are (rotation
// test). The chance for the best of all channels is read from the largest
// standardised statistic of each shift, which counts the number of channels and
// how they hang together (Westfall and Young 1993, step-down not used; from
// memory). Deterministic: no random numbers.
//
// It assumes that the marks could have been anywhere. Marks set on one stretch of
// road show whatever is peculiar to that stretch: what goes along with the mark is
// not thereby its cause.
func Felt(tracks []Track, marks []float64, o FeltOptions) ([]Answer, error) {
	if o.Before == 0 && o.After == 0 {
		o.Before, o.After = 3, 0.5
	}
	if o.Baseline == 0 {
		o.Baseline = 12
	}
	if o.Level == 0 {
		o.Level = 0.95
	}
	if len(tracks) == 0 {
		return nil, fmt.Errorf("no channel was recorded")
	}
	from, to := math.Inf(1), math.Inf(-1)
	for _, k := range tracks {
		from, to = math.Min(from, k.T[0]), math.Max(to, k.T[len(k.T)-1])
	}
	marks = slices.Clone(marks)
	sort.Float64s(marks)
	inside := marks[:0]
	for _, m := range marks {
		// Marks of one moment are one mark.
		if m >= from && m <= to && (len(inside) == 0 || m-inside[len(inside)-1] > o.Before+o.After) {
			inside = append(inside, m)
		}
	}
	marks = inside
	window := o.Before + o.After
	switch span := to - from; {
	case len(marks) < fewestMarks:
		return nil, fmt.Errorf("%s inside the recording: at least %d, more than %.3g s apart, are needed to tell what goes along with them from chance", manyMarks(len(marks)), fewestMarks, window)
	case span < fewestWindows*window:
		return nil, fmt.Errorf("the recording lasts %.3g s: at least %.3g s are needed to know what its channels do anywhere else", span, fewestWindows*window)
	case float64(len(marks))*window > span/3:
		return nil, fmt.Errorf("the marks cover more than a third of the recording: there is too little left to hold them against")
	}
	n := int((to - from) / math.Max((to-from)/mostShifts, window/8))
	step := (to - from) / float64(n)
	departures := make([][]float64, len(tracks))
	for c := range tracks {
		departures[c] = tracks[c].departures(from, step, n, o)
	}
	at := make([]int, len(marks))
	for i, m := range marks {
		at[i] = min(n-1, int((m-from)/step))
	}
	answers := make([]Answer, len(tracks))
	var z [][]float64 // by channel and shift, standardised; shift 0 is what was felt
	var who []int
	for c, k := range tracks {
		ranks := ranked(departures[c])
		a := Answer{Channel: k.Name, P: 1, PAll: 1}
		for i, m := range at {
			if !math.IsNaN(ranks[m]) {
				a.Marks++
				if k.departsUp(marks[i], o) {
					a.Up++
				}
			}
		}
		answers[c] = a
		if a.Marks < fewestMarks {
			continue
		}
		t := make([]float64, n)
		for shift := range t {
			sum, have := 0.0, 0.0
			for _, m := range at {
				if r := ranks[(m+shift)%n]; !math.IsNaN(r) {
					sum, have = sum+r, have+1
				}
			}
			t[shift] = 0.5
			if have > 0 {
				t[shift] = sum / have
			}
		}
		if s := spread(t); s > 0 {
			m := average(t)
			for i := range t {
				t[i] = (t[i] - m) / s
			}
			z, who = append(z, t), append(who, c)
			mid := stats.Median(finite(departures[c]))
			sum := 0.0
			for _, m := range at {
				if d := departures[c][m]; !math.IsNaN(d) {
					sum += d / math.Max(mid, 1e-300)
				}
			}
			answers[c].Change = sum / float64(answers[c].Marks)
		}
	}
	for i, t := range z {
		own, all := 0, 0
		for shift := range t {
			if t[shift] >= t[0] {
				own++
			}
			best := math.Inf(-1)
			for _, u := range z {
				best = math.Max(best, u[shift])
			}
			if best >= t[0] {
				all++
			}
		}
		a := &answers[who[i]]
		a.P, a.PAll = float64(own)/float64(n), float64(all)/float64(n)
		a.Established = a.PAll < 1-o.Level
	}
	sort.SliceStable(answers, func(i, j int) bool {
		return answers[i].PAll < answers[j].PAll || answers[i].PAll == answers[j].PAll && answers[i].P < answers[j].P
	})
	return answers, nil
}

func manyMarks(n int) string {
	switch n {
	case 0:
		return "no mark lies"
	case 1:
		return "one mark lies"
	}
	return fmt.Sprintf("%d marks lie", n)
}

// stretch is the samples from a to b.
func (k *Track) stretch(a, b float64) []float64 {
	return k.V[sort.SearchFloat64s(k.T, a):sort.SearchFloat64s(k.T, b)]
}

// departures is d at each of n moments; NaN where the channel was not recorded.
func (k *Track) departures(from, step float64, n int, o FeltOptions) []float64 {
	out := make([]float64, n)
	for i := range out {
		t := from + (float64(i)+0.5)*step
		out[i] = math.NaN()
		mid, ok := k.middle(t, o)
		w := k.stretch(t-o.Before, t+o.After)
		if !ok || len(w) == 0 {
			continue
		}
		d := 0.0
		for _, v := range w {
			d = math.Max(d, math.Abs(v-mid))
		}
		out[i] = d
	}
	return out
}

// middle is the median of the channel about t; false with too little of it.
func (k *Track) middle(t float64, o FeltOptions) (float64, bool) {
	w := k.stretch(t-o.Before-o.Baseline, t+o.After+o.Baseline)
	if len(w) < 5 {
		return 0, false
	}
	if len(w) > 400 { // a median of every tenth is as good here
		thin := make([]float64, 0, 401)
		for i := 0; i < len(w); i += len(w) / 400 {
			thin = append(thin, w[i])
		}
		w = thin
	}
	return stats.Median(w), true
}

func (k *Track) departsUp(t float64, o FeltOptions) bool {
	mid, _ := k.middle(t, o)
	up, down := 0.0, 0.0
	for _, v := range k.stretch(t-o.Before, t+o.After) {
		up, down = math.Max(up, v-mid), math.Max(down, mid-v)
	}
	return up > down
}

// ranked gives the mid-rank of each value among all, 0 to 1; NaN stays.
func ranked(x []float64) []float64 {
	s := finite(x)
	sort.Float64s(s)
	out := make([]float64, len(x))
	for i, v := range x {
		if math.IsNaN(v) {
			out[i] = v
			continue
		}
		lo := sort.SearchFloat64s(s, v)
		hi := sort.Search(len(s), func(j int) bool { return s[j] > v })
		out[i] = float64(lo+hi) / 2 / float64(len(s))
	}
	return out
}

func finite(x []float64) []float64 {
	var out []float64
	for _, v := range x {
		if !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	return out
}

func average(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func spread(x []float64) float64 {
	m, s := average(x), 0.0
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s / float64(len(x)))
}
