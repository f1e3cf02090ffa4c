package timeline

import (
	"math"
	"sort"

	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// Track is one channel over time.
type Track struct {
	Name string
	Dim  unit.Dimension // what kind of quantity; empty where the file gave no unit
	// T in seconds, rising; V without gaps in it: samples without a value are left
	// out.
	T, V []float64
	// Step is the usual time from one sample to the next, Resolution that in which
	// the file prints time, seconds.
	Step, Resolution float64
}

// mostKept bounds the samples kept of one track (our choice): more are averaged in
// equal stretches of time.
const mostKept = 1 << 16

// Tracks gives the channels of a recording that hold at least two values. Time
// counts from the recording's own zero. Only the part of which time runs forward
// is taken: after a step back the log was started anew.
func Tracks(rec *trace.Recording) []Track {
	var out []Track
	end := 0
	for end = 1; end < rec.Time.N && rec.Time.At(end) >= rec.Time.At(end-1); end++ {
	}
	for _, ch := range rec.Channels {
		k := Track{Name: ch.Name, Dim: ch.Unit.Dim, Resolution: float64(rec.Time.Resolution) * 1e-9}
		n := min(end, len(ch.Values))
		if n < 2 || rec.Time.Uniform() && rec.Time.Num == 0 {
			continue
		}
		from, span := rec.Time.At(0), float64(rec.Time.At(n-1)-rec.Time.At(0))*1e-9
		width := span / mostKept
		for i := 0; i < n; {
			// Samples of one stretch are averaged; below the bound each is its own.
			first := float64(rec.Time.At(i)-from) * 1e-9
			st, sv, c := 0.0, 0.0, 0.0
			for ; i < n; i++ {
				t := float64(rec.Time.At(i)-from) * 1e-9
				if c > 0 && (n <= mostKept || t >= first+width) {
					break
				}
				if v := ch.Values[i]; !math.IsNaN(v) {
					st, sv, c = st+t, sv+v, c+1
				}
			}
			if c > 0 && (len(k.T) == 0 || st/c > k.T[len(k.T)-1]) {
				k.T, k.V = append(k.T, st/c+float64(from)*1e-9), append(k.V, sv/c)
			}
		}
		if len(k.T) < 2 {
			continue
		}
		steps := make([]float64, len(k.T)-1)
		for i := range steps {
			steps[i] = k.T[i+1] - k.T[i]
		}
		k.Step = stats.MedianInPlace(steps)
		out = append(out, k)
	}
	return out
}

// Shift moves a track along the line of time.
func (k Track) Shift(seconds float64) Track {
	t := make([]float64, len(k.T))
	for i := range t {
		t[i] = k.T[i] + seconds
	}
	k.T = t
	return k
}

// thinned averages samples closer than width into one.
func (k Track) thinned(width float64) Track {
	if k.Step >= width/2 {
		return k
	}
	out := Track{Name: k.Name, Dim: k.Dim, Step: width, Resolution: k.Resolution}
	for i := 0; i < len(k.T); {
		j, st, sv := i, 0.0, 0.0
		for ; j < len(k.T) && k.T[j] < k.T[i]+width; j++ {
			st, sv = st+k.T[j], sv+k.V[j]
		}
		c := float64(j - i)
		out.T, out.V = append(out.T, st/c), append(out.V, sv/c)
		i = j
	}
	return out
}

// at is the value at t, on the straight line between samples; false outside, and in
// a pause of more than twenty usual steps.
func (k *Track) at(t float64) (float64, bool) {
	i := sort.SearchFloat64s(k.T, t)
	switch {
	case i == len(k.T) || i == 0 && t < k.T[0]:
		return 0, false
	case k.T[i] == t:
		return k.V[i], true
	}
	a, b := k.T[i-1], k.T[i]
	if b-a > 20*k.Step {
		return 0, false
	}
	return k.V[i-1] + (k.V[i]-k.V[i-1])*(t-a)/(b-a), true
}

// grid gives the mean over each cell of width h from start; false where no sample
// fell into it and it could not be bridged.
func (k *Track) grid(start, h float64, n int) (v []float64, ok []bool) {
	v, ok = make([]float64, n), make([]bool, n)
	count := make([]float64, n)
	for i, t := range k.T {
		if c := int(math.Floor((t - start) / h)); c >= 0 && c < n {
			v[c] += k.V[i]
			count[c]++
		}
	}
	for c := range v {
		if count[c] > 0 {
			v[c], ok[c] = v[c]/count[c], true
		} else {
			v[c], ok[c] = k.at(start + (float64(c)+0.5)*h)
		}
	}
	return v, ok
}
