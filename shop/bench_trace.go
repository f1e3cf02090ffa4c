package shop

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"proveout/store"
	"proveout/trace"
)

// CaptureView is one capture of a job, to be drawn.
type CaptureView struct {
	Job      string          `json:"job"`
	Item     ItemView        `json:"item"`
	Rows     int             `json:"rows"`
	Seconds  float64         `json:"seconds"`
	RateHz   float64         `json:"rate_hz,omitempty"`
	HasTime  bool            `json:"has_time"`
	Uniform  bool            `json:"uniform"` // equally spaced: sample i is at StartNS + i*StepNS
	StartNS  int64           `json:"start_ns"`
	StepNS   float64         `json:"step_ns"`
	Channels []ChannelView   `json:"channels"`
	Segments []trace.Segment `json:"segments"` // measured without a pause
	Features []FeatureView   `json:"features"`
	Quality  []string        `json:"quality"` // flags and notes about how well it was measured
	LeftOut  []LeftOut       `json:"left_out"`
	Notes    []NoteAnswer    `json:"notes"`
	// Messages says what a log of diagnostic messages holds; it has no channels.
	Messages []string `json:"messages,omitempty"`
	// Working: measuring is still under way, features come with a change.
	Working bool `json:"working,omitempty"`
}

// ChannelView is one channel. Samples are in SI; Unit is the file's own:
// value in Unit = (SI - Shift) / Factor.
type ChannelView struct {
	Channel   int     `json:"channel"` // what Samples asks for
	Name      string  `json:"name"`
	Label     string  `json:"label"`
	As        string  `json:"as,omitempty"`
	Unit      string  `json:"unit"`
	SI        string  `json:"si"`
	Factor    float64 `json:"factor"`
	Shift     float64 `json:"shift"`
	Min       float64 `json:"min"` // in SI
	Max       float64 `json:"max"`
	Missing   int     `json:"missing"`
	Edges     bool    `json:"edges,omitempty"`
	FullScale float64 `json:"full_scale,omitempty"`
}

// FeatureView is a finding that was read from this capture, with the samples it
// was read from.
type FeatureView struct {
	Finding  string        `json:"finding"`
	Feature  string        `json:"feature"`
	Name     string        `json:"name"`
	Subject  SubjectAnswer `json:"subject"`
	Channel  string        `json:"channel,omitempty"`
	First    int           `json:"first"`
	Last     int           `json:"last"`
	Value    *float64      `json:"value"`
	Unit     string        `json:"unit"`
	State    string        `json:"state"`
	Sentence string        `json:"sentence"`
}

// Capture shows one capture of a job.
func (b *Bench) Capture(ctx context.Context, jobID string, item int) (*CaptureView, error) {
	page, err := b.Job(ctx, jobID)
	if err != nil {
		return nil, err
	}
	v := &CaptureView{Job: jobID, Channels: []ChannelView{}, Segments: []trace.Segment{}, Features: []FeatureView{}, Quality: []string{}, LeftOut: []LeftOut{}, Notes: []NoteAnswer{}}
	for _, it := range page.Items {
		if it.Item == item && it.Kind == "capture" {
			v.Item = it
		}
	}
	if v.Item.Item == 0 {
		return nil, fmt.Errorf("job %s has no capture with item number %d: %w", jobID, item, store.ErrNotFound)
	}
	v.Working = page.Working
	v.fromAnswer(page.Answer)
	m, _ := readMapping(v.Item.File, v.Item.Form)
	t, release, err := b.traces.use(v.Item.SHA256, m)
	switch {
	case errors.Is(err, errMessages):
		v.Messages = v.Item.Notes
		return v, nil
	case err != nil:
		v.LeftOut = append(v.LeftOut, LeftOut{File: v.Item.File, Why: err.Error()})
		return v, nil
	}
	defer release()
	v.Rows, v.Seconds, v.RateHz = t.head.Time.N, t.seconds(), t.rateHz()
	v.HasTime, v.Uniform, v.StartNS = t.head.Time.Stamps || t.head.Time.Num > 0, !t.head.Time.Stamps, t.head.Time.Start
	if v.Uniform && t.head.Time.Den > 0 {
		v.StepNS = float64(t.head.Time.Num) / float64(t.head.Time.Den)
	}
	v.Segments = append(v.Segments, t.head.Segments...)
	for i := range t.head.Channels {
		c := &t.head.Channels[i]
		v.Channels = append(v.Channels, ChannelView{
			Channel: i, Name: c.Name, Label: c.Label, As: c.As, Unit: c.Unit, SI: c.SI, Factor: c.Factor, Shift: c.Shift, Min: c.Min, Max: c.Max,
			Missing: c.Missing, Edges: c.Edges, FullScale: c.FullScale,
		})
	}
	return v, nil
}

func (v *CaptureView) fromAnswer(a *Answer) {
	if a == nil {
		return
	}
	flags := map[string]bool{}
	for _, f := range a.Findings {
		if f.From.File != v.Item.File {
			continue
		}
		v.Features = append(v.Features, FeatureView{
			Finding: f.ID, Feature: f.Feature, Name: f.Name, Subject: f.Subject, Channel: f.From.Channel, First: f.From.First, Last: f.From.Last,
			Value: f.Value, Unit: f.Unit, State: f.State, Sentence: f.Sentence,
		})
		for _, q := range f.Flags {
			if !flags[q] {
				flags[q] = true
				v.Quality = append(v.Quality, q)
			}
		}
	}
	for _, l := range a.LeftOut {
		if l.File == v.Item.File {
			v.LeftOut = append(v.LeftOut, l)
		}
	}
	for _, n := range a.Notes {
		if n.File == v.Item.File {
			v.Notes = append(v.Notes, n)
		}
	}
}

// Samples gives a part of a channel to be drawn px wide: pairs of least and
// greatest value as little-endian float32, NaN where all are missing. With fewer
// samples than px there is one pair for each sample. form is the capture's
// description, as the job has it.
func (b *Bench) Samples(ctx context.Context, sha, name string, form []byte, channel int, from, to int64, px int) ([]byte, error) {
	m, _ := readMapping(name, form)
	t, release, err := b.traces.use(sha, m)
	if err != nil {
		return nil, err
	}
	defer release()
	if channel < 0 || channel >= len(t.head.Channels) {
		return nil, fmt.Errorf("the capture has %d channels, none is %d: %w", len(t.head.Channels), channel, store.ErrNotFound)
	}
	v, err := t.view(channel, from, to, min(max(px, 1), maxPixels))
	if err != nil {
		return nil, err
	}
	out := make([]byte, 0, 4*len(v))
	for _, x := range v {
		out = binary.LittleEndian.AppendUint32(out, math.Float32bits(x))
	}
	return out, ctx.Err()
}

// maxPixels is the widest picture (our choice: two wide screens).
const maxPixels = 8192

// ItemSamples is Samples of an item of a job.
func (b *Bench) ItemSamples(ctx context.Context, jobID string, item, channel int, from, to int64, px int) ([]byte, error) {
	s, err := b.State(ctx, jobID)
	if err != nil {
		return nil, err
	}
	it, ok := s.Item(item)
	if !ok || it.Kind != "capture" {
		return nil, fmt.Errorf("job %s has no capture with item number %d: %w", jobID, item, store.ErrNotFound)
	}
	return b.Samples(ctx, it.SHA256, it.File, it.Form(), channel, from, to, px)
}

// Times gives the time of samples in nanoseconds from the start of the recording,
// for a recording whose samples are not equally spaced: every step-th of
// from..to-1.
func (b *Bench) Times(ctx context.Context, sha, name string, form []byte, from, to, step int64) ([]int64, error) {
	m, _ := readMapping(name, form)
	t, release, err := b.traces.use(sha, m)
	if err != nil {
		return nil, err
	}
	defer release()
	from, to, step = max(from, 0), min(to, int64(t.head.Time.N)), max(step, 1)
	var out []int64
	for i := from; i < to && len(out) < maxPixels; i += step {
		ns, err := t.at(i)
		if err != nil {
			return nil, err
		}
		out = append(out, ns)
	}
	return out, ctx.Err()
}

// at is the time of a sample in nanoseconds.
func (t *traceFile) at(i int64) (int64, error) {
	h := &t.head.Time
	if !h.Stamps {
		if h.Den == 0 {
			return 0, nil
		}
		return trace.TimeBase{Start: h.Start, Num: h.Num, Den: h.Den, N: h.N}.At(int(i)), nil
	}
	var buf [8]byte
	_, err := t.f.ReadAt(buf[:], t.data+h.Offset+8*i)
	return int64(binary.LittleEndian.Uint64(buf[:])), err
}

// seconds is how long the recording lasts, 0 if that is not known.
func (t *traceFile) seconds() float64 {
	if t.head.Time.N < 2 {
		return 0
	}
	a, err := t.at(0)
	z, err2 := t.at(int64(t.head.Time.N) - 1)
	if err != nil || err2 != nil {
		return 0
	}
	return float64(z-a) * 1e-9
}

func (t *traceFile) rateHz() float64 {
	if h := &t.head.Time; !h.Stamps && h.Num > 0 {
		return 1e9 * float64(h.Den) / float64(h.Num)
	}
	return 0
}

func (c *traceChannel) inUnit(si float64) float64 {
	if c.Factor == 0 {
		return si
	}
	return (si - c.Shift) / c.Factor
}

// jsonNumber is a value for JSON, which has none for "missing".
func jsonNumber(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
