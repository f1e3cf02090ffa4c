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
	// Label is Name without the unit in it: "Voltage" of "Voltage (kV)".
	Label string
	// Column is the 1-based column of the file, or channel of a WAV file.
	Column int
	// As is the role the mapping gave the column, empty without a mapping. Mapped
	// is the 1-based place of its entry in the mapping, 0 without one.
	As     string
	Mapped int
	// UpdateHz is how often the signal truly gets a new value where that is less
	// often than there are rows (a log in which each row updates one signal and
	// repeats the others); 0 means with every row.
	UpdateHz float64
}

// TimeBase gives the time of each sample in nanoseconds from the start of the
// recording. Uniform when Stamps is nil: sample i is at Start + i*Num/Den ns.
// Num is 0 when the file says nothing about time. Within a segment time never
// runs backwards; across segments it may (a log that was started again).
type TimeBase struct {
	Start  int64
	Num    int64 // ns
	Den    int64
	Stamps []int64
	N      int
	// Resolution is the step in which the file prints time, in ns; 0 if unknown.
	// A difference of two stamps is uncertain by that much.
	Resolution int64
	// Origin is what to add to get the file's own clock, in ns, counted from what
	// OriginOf names: "midnight", "1970-01-01 UTC", or "" for a column of numbers
	// that counts from its own zero.
	Origin   int64
	OriginOf string
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

// RateHz is the sample rate, 0 if unknown. For stamps it is the mean rate
// without pauses and steps backwards; of an edge list it says nothing about how
// finely the recorder looked.
func (t TimeBase) RateHz() float64 {
	if t.Uniform() {
		if t.Num == 0 {
			return 0
		}
		return 1e9 * float64(t.Den) / float64(t.Num)
	}
	if len(t.Stamps) < 2 {
		return 0
	}
	_, limit := pauseLimit(t.Stamps, max(1, t.Resolution))
	steps, sum := 0, 0.0
	for i := 1; i < len(t.Stamps); i++ {
		if d := t.Stamps[i] - t.Stamps[i-1]; d >= 0 && d <= limit {
			steps++
			sum += float64(d)
		}
	}
	if sum == 0 {
		return 0
	}
	return float64(steps) / (sum * 1e-9)
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
