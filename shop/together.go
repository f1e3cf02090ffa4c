package shop

import (
	"io"
	"strings"

	"proveout/intake"
	"proveout/timeline"
	"proveout/trace"
)

// TogetherOptions say how recordings of one drive are laid on one line of time.
type TogetherOptions struct {
	MeasureOptions
	Marks       []float64 // when it was felt, seconds on the first file's own time
	MarkChannel string    // or a channel that goes up at each mark, of any file
	Shared      string    // look for the shared signal among channels whose name holds this
}

// Together is several recordings on one line of time, that of the first, and what
// a person felt held against every channel of them.
type Together struct {
	Files []JoinedFile `json:"files"`
	Felt  []FeltAnswer `json:"felt"`
	// FeltNote is the sentence about all channels, or why they were not held against
	// the marks. Empty without marks.
	FeltNote string `json:"felt_note,omitempty"`
}

// JoinedFile is how one file lies on the line of time.
type JoinedFile struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	// Offset is what to add to the file's own time, seconds, with its standard
	// uncertainty; absent when it could not be joined.
	Offset      *float64  `json:"offset"`
	Uncertainty *float64  `json:"uncertainty"`
	Sentence    string    `json:"sentence"`
	LeftOut     []LeftOut `json:"left_out"`
}

// FeltAnswer is what one channel did about the marks.
type FeltAnswer struct {
	File     string  `json:"file"`
	Channel  string  `json:"channel"`
	P        float64 `json:"p"`     // for this channel alone
	PAll     float64 `json:"p_all"` // with the number of channels counted in
	Goes     bool    `json:"goes_along"`
	Sentence string  `json:"sentence"`
}

// JoinFiles lays recordings of one drive on one line of time.
func JoinFiles(names []string, stdin io.Reader, o TogetherOptions) Together {
	in := intake.Options{Limits: o.Limits, Progress: o.Progress, Text: trace.TextOptions{SampleRateHz: o.RateHz, Columns: o.Columns}, WAV: trace.WAVOptions{Columns: o.Columns}}
	out := Together{Felt: []FeltAnswer{}}
	var parts []*part
	for f := range intake.Each(names, stdin, in) {
		j := JoinedFile{File: f.Name, SHA256: f.SHA256, LeftOut: []LeftOut{}}
		switch {
		case f.Err != nil:
			j.LeftOut = append(j.LeftOut, LeftOut{File: f.Name, Why: strings.TrimPrefix(f.Err.Error(), f.Name+": ")})
		case f.Recording == nil:
			j.LeftOut = append(j.LeftOut, LeftOut{File: f.Name, Why: "diagnostic messages have no channels to lay beside others"})
		default:
			for _, n := range f.Recording.Notes {
				if n.Lost {
					j.LeftOut = append(j.LeftOut, LeftOut{File: f.Name, Line: n.Line, Why: n.Text})
				}
			}
			parts = append(parts, &part{file: f.Name, tracks: timeline.Tracks(f.Recording), at: len(out.Files)})
		}
		out.Files = append(out.Files, j)
		_ = f.Close() // the tracks are copies
	}
	join(parts, o.Shared)
	for _, p := range parts {
		j := &out.Files[p.at]
		j.Sentence = p.sentence
		if p.joined {
			j.Offset, j.Uncertainty = &p.offset, &p.sd
		}
	}
	marks := o.Marks
	if o.MarkChannel != "" {
		marks = append(marks, markTimes(parts, o.MarkChannel)...)
	}
	if len(marks) > 0 || o.MarkChannel != "" {
		out.Felt, out.FeltNote = felt(parts, marks)
	}
	return out
}
