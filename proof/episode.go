package proof

import (
	"math"
	"sort"
)

// EpisodeGap joins events into one episode: misfires burst, and a burst is one
// thing that happened (trade practice; the length is our choice).
const EpisodeGap = 10.0 // s

// reaction is how long a counter or a person may lag behind the fault: an event
// belongs to the conditions that held at it or shortly before (our choice).
const reaction = 5.0 // s

// Rule says what an episode is.
type Rule struct {
	Gap     float64 // s; 0: EpisodeGap
	AtLeast float64 // events a counted episode needs; 0: 1
}

func (r Rule) gap() float64 {
	if r.Gap > 0 {
		return r.Gap
	}
	return EpisodeGap
}

// Episode is a cluster of fault events close in time.
type Episode struct {
	At, To float64 // first and last event, s
	Events float64 // counted events, 0 when only marked
	Of     string  // which counter, or "noticed"
	// Inside is whether the fault conditions held at it or shortly before; I, J is
	// then its cell.
	Inside bool
	I, J   int
}

// event is one rise of a counter, or one mark.
type event struct {
	t, n float64
	of   string
}

// Noticed is the source of an episode that a person marked.
const Noticed = "noticed"

// Episodes finds the episodes of a log. Counters rise or, after a reset, show what
// is new; what a counter holds when the log begins happened before it. A mark is an
// episode by itself; counted ones need rule.AtLeast events.
func Episodes(l Log, c Conditions, rule Rule) []Episode {
	if l.uneven() != nil { // Check says so; what a person noticed stays noticed
		var out []Episode
		for _, t := range l.Marks {
			out = append(out, Episode{At: t, To: t, Of: Noticed})
		}
		return out
	}
	var all []event
	for _, k := range l.Counters {
		for i := 1; i < len(k.V); i++ {
			d := k.V[i] - k.V[i-1]
			if d < 0 {
				d = k.V[i]
			}
			if d > 0 {
				all = append(all, event{k.T[i], d, k.Of})
			}
		}
	}
	for _, t := range l.Marks {
		all = append(all, event{t: t, of: Noticed})
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].t < all[j].t })
	var out []Episode
	last := math.Inf(-1)
	for _, e := range all {
		if e.t-last > rule.gap() {
			out = append(out, Episode{At: e.t, Of: e.of})
		}
		last = e.t
		k := &out[len(out)-1]
		k.To = e.t
		k.Events += e.n
		if e.of == Noticed {
			k.Of = Noticed
		}
	}
	keep := out[:0]
	for _, e := range out {
		if e.Of == Noticed || e.Events >= rule.AtLeast {
			keep = append(keep, e)
		}
	}
	place(keep, l.rows(c), c)
	return keep
}

// place finds the cell of each episode: of the last moment inside the conditions
// shortly before it, else of the first one during it.
func place(es []Episode, rows []row, c Conditions) {
	for k := range es {
		e := &es[k]
		at := sort.Search(len(rows), func(i int) bool { return rows[i].t > e.At }) - 1
		in := -1
		for i := at; i >= 0 && e.At-rows[i].t <= reaction && in < 0; i-- {
			if rows[i].miss == Inside {
				in = i
			}
		}
		for i := max(0, at+1); i < len(rows) && rows[i].t <= e.To && in < 0; i++ {
			if rows[i].miss == Inside {
				in = i
			}
		}
		if in >= 0 {
			e.Inside = true
			e.I, e.J = c.cell(rows[in].rpm, rows[in].load)
		}
	}
}
