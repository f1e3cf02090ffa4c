package stats

import "fmt"

// ReliabilityBin is one bin of a reliability diagram: chances told from From to
// below To, against what came true.
type ReliabilityBin struct {
	From float64 `json:"from"`
	To   float64 `json:"to"`
	N    int     `json:"n"`
	Told float64 `json:"told"` // mean chance told; 0 in an empty bin
	True float64 `json:"true"` // share that came true
}

// Reliability gathers chances of yes/no events into bins.
type Reliability []ReliabilityBin

// reliabilityEdges are finer at both ends, where most chances lie and decisions
// are made.
var reliabilityEdges = []float64{0, 0.01, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 1}

// NewReliability makes empty bins.
func NewReliability() Reliability {
	var r Reliability
	for b := 1; b < len(reliabilityEdges); b++ {
		r = append(r, ReliabilityBin{From: reliabilityEdges[b-1], To: reliabilityEdges[b]})
	}
	return r
}

// Add counts one chance and whether it came true. Chances outside 0 to 1, and
// those that are no number, are not counted.
func (r Reliability) Add(p float64, came bool) {
	for b := range r {
		k := &r[b]
		if !(p >= k.From && (p < k.To || b == len(r)-1 && p == k.To)) {
			continue
		}
		y := 0.0
		if came {
			y = 1
		}
		k.N++
		k.Told += (p - k.Told) / float64(k.N)
		k.True += (y - k.True) / float64(k.N)
		return
	}
}

// String prints the bins that are not empty, one line each.
func (r Reliability) String() string {
	s := ""
	for _, k := range r {
		if k.N > 0 {
			s += fmt.Sprintf("  %5.1f to %5.1f %%  told %5.1f %%  true %5.1f %%  n %d\n", 100*k.From, 100*k.To, 100*k.Told, 100*k.True, k.N)
		}
	}
	return s
}
