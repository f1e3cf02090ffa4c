package trace

import "proveout/unit"

// Recording is what one file held: channels that share one time base.
type Recording struct {
	Time     TimeBase
	Channels []Channel
	// Segments are half-open sample ranges measured without interruption, in
	// order. Between them nothing was measured. Never empty for a non-empty
	// recording.
	Segments []Segment
	// Notes say what was found out about the file while reading it: delimiter,
	// decimal comma, header, encoding, rows that did not fit. They are shown.
	Notes []Note
}

// Segment is samples First..End-1.
type Segment struct{ First, End int }

// Note is one thing found out while reading, with its place.
type Note struct {
	Line int    // line in the file, 0 when it is about the whole file
	Byte int64  // byte offset, when known
	Text string // a sentence
	Lost bool   // true when data could not be used because of it
}

// Channel is one signal. Values are in the SI unit of Unit.Dim, NaN where the
// file had no value for the row.
type Channel struct {
	Name string // as in the file
	Unit unit.Unit
	// Edges is true for a logic channel of an edge list: each sample is the level
	// from its time stamp until the next one.
	Edges  bool
	Values []float64
	// FullScale is the largest magnitude the recorder can give, in SI, 0 if unknown.
	FullScale float64
}

// TimeBase gives the time of each sample in nanoseconds from the start of the
// recording. Uniform when Stamps is nil: sample i is at Start + i*Num/Den ns.
type TimeBase struct {
	Start  int64
	Num    int64 // ns
	Den    int64
	Stamps []int64
	N      int
}

// At gives the time of sample i in nanoseconds.
func (t TimeBase) At(i int) int64 {
	if t.Stamps != nil {
		return t.Stamps[i]
	}
	q, r := t.Num/t.Den, t.Num%t.Den
	return t.Start + int64(i)*q + int64(i)*r/t.Den
}

// Uniform reports whether samples are equally spaced.
func (t TimeBase) Uniform() bool { return t.Stamps == nil }

// RateHz is the sample rate; for stamps the mean rate, 0 if unknown.
func (t TimeBase) RateHz() float64 {
	if t.Uniform() {
		if t.Num == 0 {
			return 0
		}
		return 1e9 * float64(t.Den) / float64(t.Num)
	}
	if n := len(t.Stamps); n > 1 && t.Stamps[n-1] > t.Stamps[0] {
		return float64(n-1) / (float64(t.Stamps[n-1]-t.Stamps[0]) * 1e-9)
	}
	return 0
}

// Channel finds a channel by name.
func (r *Recording) Channel(name string) (*Channel, bool) {
	for i := range r.Channels {
		if r.Channels[i].Name == name {
			return &r.Channels[i], true
		}
	}
	return nil, false
}
