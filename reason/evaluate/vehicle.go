package evaluate

import (
	"math"
	"math/rand/v2"

	"proveout/book"
	"proveout/evidence"
)

// Truth is what is hidden in one simulated vehicle.
type Truth struct {
	Causes   []int // suspects of the instance that are present; empty if nothing wrong or unlisted
	Unlisted bool
	Nothing  bool
	rows     map[rowKey][]float64
	hidden   map[string][]float64 // unlisted cause: row by test@subject
	done     map[string]int       // last outcome by test@subject
}

type rowKey struct {
	test  string
	fault string // "" = healthy
}

// World draws vehicles for an instance.
type World struct {
	In       *book.Instance
	Symptom  string
	Unlisted float64 // share of causes the book lacks
	Nothing  float64 // share of vehicles with nothing wrong
	Second   float64 // share of vehicles with a second fault
	Off      float64 // factor by which outcome odds are off; 2 = doubled or halved
	weights  []float64
}

// NewWorld prepares a world with its own, disturbed rates.
func NewWorld(in *book.Instance, symptom string, rng *rand.Rand) *World {
	w := &World{In: in, Symptom: symptom, Unlisted: 0.10, Nothing: 0.04, Second: 0.06, Off: 2}
	w.disturb(rng)
	return w
}

// disturb draws the true rates anew around the book's.
func (w *World) disturb(rng *rand.Rand) {
	w.weights = w.weights[:0]
	byFault := map[string]float64{}
	for i := range w.In.Suspects {
		s := &w.In.Suspects[i]
		if _, ok := byFault[s.Fault.ID]; !ok {
			byFault[s.Fault.ID] = math.Exp(rng.NormFloat64() * math.Log(2))
		}
		q := s.Fault.Complaint[w.Symptom].Value
		w.weights = append(w.weights, s.Rate*math.Max(q, 0.005)*byFault[s.Fault.ID])
	}
}

// Draw hides a truth.
func (w *World) Draw(rng *rand.Rand) *Truth {
	t := &Truth{rows: map[rowKey][]float64{}, hidden: map[string][]float64{}, done: map[string]int{}}
	switch u := rng.Float64(); {
	case u < w.Nothing:
		t.Nothing = true
	case u < w.Nothing+w.Unlisted:
		t.Unlisted = true
		w.hide(t, rng)
	default:
		t.Causes = []int{pick(rng, w.weights)}
		if rng.Float64() < w.Second {
			if k := pick(rng, w.weights); k != t.Causes[0] {
				t.Causes = append(t.Causes, k)
			}
		}
	}
	return t
}

// hide makes up a cause that the book lacks: on one cylinder, a quarter of the
// tests turn abnormal.
func (w *World) hide(t *Truth, rng *rand.Rand) {
	cyl := evidence.Cyl(1 + rng.IntN(w.In.Engine.Cylinders))
	for i := range w.In.Tests {
		at := &w.In.Tests[i]
		if w.In.Bears(cyl, at.Subject) != "own" || rng.Float64() > 0.25 {
			continue
		}
		row := make([]float64, len(at.Test.Outcomes))
		for c := range row {
			row[c] = rng.Float64()
			if at.Test.Outcomes[c].Normal {
				row[c] *= 0.3
			}
		}
		t.hidden[at.ID] = normalise(row)
	}
}

func pick(rng *rand.Rand, weights []float64) int {
	sum := 0.0
	for _, v := range weights {
		sum += v
	}
	u := rng.Float64() * sum
	for i, v := range weights {
		if u -= v; u < 0 {
			return i
		}
	}
	return len(weights) - 1
}

func normalise(p []float64) []float64 {
	sum := 0.0
	for _, v := range p {
		sum += v
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

// row is the true P(outcome | fault), or under no fault for "".
func (w *World) row(t *Truth, rng *rand.Rand, test *book.Test, fault string) []float64 {
	key := rowKey{test.ID, fault}
	if p, ok := t.rows[key]; ok {
		return p
	}
	src := test.Healthy
	if fault != "" {
		src = test.Given[fault]
	}
	p := make([]float64, len(test.Outcomes))
	left, open := 1.0, 0
	for c, o := range test.Outcomes {
		if v, ok := src.P[o.ID]; ok {
			p[c] = v
			left -= v
		} else {
			p[c] = -1
			open++
		}
	}
	for c := range p {
		if p[c] < 0 {
			p[c] = math.Max(0, left) / float64(open)
		}
		f := w.Off
		if rng.IntN(2) == 0 {
			f = 1 / f
		}
		v := math.Min(math.Max(p[c], 0.002), 0.998)
		o := v / (1 - v) * f
		p[c] = o / (1 + o)
	}
	t.rows[key] = normalise(p)
	return p
}

// Do carries a test out and gives the finding.
func (w *World) Do(t *Truth, rng *rand.Rand, at *book.TestAt, id string, c evidence.Condition) evidence.Finding {
	o := w.outcome(t, rng, at)
	t.done[at.ID] = o
	return finding(at, o, id, c, rng)
}

func (w *World) outcome(t *Truth, rng *rand.Rand, at *book.TestAt) int {
	if o, ok := t.done[at.ID]; ok && rng.Float64() < 0.8 {
		return o
	}
	normal := 0
	for c := range at.Test.Outcomes {
		if at.Test.Outcomes[c].Normal {
			normal = c
		}
	}
	best := -1
	for _, i := range t.Causes {
		s := &w.In.Suspects[i]
		r, ok := at.Test.Given[s.Fault.ID]
		if !ok {
			continue
		}
		where := r.Where
		if where == "" {
			where = "own"
		}
		if where != "any" && where != w.In.Bears(s.Subject, at.Subject) {
			continue
		}
		o := pick(rng, w.row(t, rng, at.Test, s.Fault.ID))
		if best < 0 || o != normal {
			best = o
		}
	}
	if best >= 0 {
		return best
	}
	if row, ok := t.hidden[at.ID]; ok {
		return pick(rng, row)
	}
	return pick(rng, w.row(t, rng, at.Test, ""))
}

// finding writes an outcome as the finding a technician would bring.
func finding(at *book.TestAt, o int, id string, c evidence.Condition, rng *rand.Rand) evidence.Finding {
	f := evidence.Finding{ID: id, Test: at.Test.ID, Subject: at.Subject, Condition: c, State: evidence.Abnormal}
	out := &at.Test.Outcomes[o]
	if out.Normal {
		f.State = evidence.Normal
	}
	if at.Test.Reads == nil || out.From == 0 && out.To == 0 {
		f.Outcome = out.ID
		return f
	}
	w := out.To - out.From
	sigma := w / 12
	x := out.From + w*(rng.Float64()+rng.Float64())/2
	f.Effect, f.EffectSigma = x+1.3*sigma*studentT4(rng), sigma
	return f
}

// studentT4 draws from Student's t with 4 degrees of freedom.
func studentT4(rng *rand.Rand) float64 {
	chi := 0.0
	for range 4 {
		z := rng.NormFloat64()
		chi += z * z
	}
	return rng.NormFloat64() / math.Sqrt(chi/4)
}
