package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
)

// like copies a recording, with the main channel's values changed.
func (g goodCapture) like(change func(i int, v float64) float64) *trace.Recording {
	r := *g.rec
	r.Channels = slices.Clone(g.rec.Channels)
	v := slices.Clone(r.Channels[g.main].Values)
	for i := range v {
		v[i] = change(i, v[i])
	}
	r.Channels[g.main].Values = v
	return &r
}

// timed copies a recording with other time stamps.
func (g goodCapture) timed(at func(ns float64) float64) *trace.Recording {
	r := *g.rec
	r.Time.Stamps = make([]int64, r.Time.N)
	for i := range r.Time.Stamps {
		r.Time.Stamps[i] = int64(math.Round(at(float64(g.rec.Time.At(i)))))
	}
	return &r
}

// without drops samples. With told the pause stands in the time stamps and in the
// segments; without, the recorder has put the ends together.
func (g goodCapture) without(drop func(i int) bool, told bool) *trace.Recording {
	r := &trace.Recording{Time: g.rec.Time}
	r.Time.N = 0
	r.Channels = slices.Clone(g.rec.Channels)
	for c := range r.Channels {
		r.Channels[c].Values = nil
	}
	stamps := told || !g.rec.Time.Uniform()
	if stamps {
		r.Time.Stamps = []int64{}
	}
	skipped, first, lost := false, 0, int64(0)
	for i := range g.rec.Time.N {
		if drop(i) {
			skipped = true
			if i+1 < g.rec.Time.N {
				lost += g.rec.Time.At(i+1) - g.rec.Time.At(i)
			}
			continue
		}
		if skipped && told && r.Time.N > first {
			r.Segments = append(r.Segments, trace.Segment{First: first, End: r.Time.N})
			first = r.Time.N
		}
		skipped = false
		if stamps {
			at := g.rec.Time.At(i)
			if !told {
				at -= lost
			}
			r.Time.Stamps = append(r.Time.Stamps, at)
		}
		for c := range r.Channels {
			r.Channels[c].Values = append(r.Channels[c].Values, g.rec.Channels[c].Values[i])
		}
		r.Time.N++
	}
	r.Segments = append(r.Segments, trace.Segment{First: first, End: r.Time.N})
	return r
}

func shape(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sd += (x - mean) * (x - mean) / float64(len(v))
	}
	return mean, math.Sqrt(sd)
}

// isAbout lists the features that say how good the signal is: they are expected to
// change with it.
var isAbout = []string{"crank.signal_faults", "crank.edge_scatter", "log.dropouts", "crank.tooth_error", "cam.scatter"}

// wrongBy lists readings that are neither refused nor right. A reading is
// right when it lies within three of its own standard uncertainties (and those of
// the good capture's reading, which stands for the truth) of what one of the good
// captures gives. Only a flag that forbids deciding on it refuses it: any other
// flag leaves a number that somebody will believe. Where the values were multiplied
// by scale, the height of a pickup of unknown gain (the catalogue's amplitudes) is that
// many times as high, and compared with nothing but its like.
func wrongBy(scale float64, res Result, good ...Result) []string {
	var out []string
	for _, r := range res.Readings {
		if r.Blocked() || slices.Contains(isAbout, r.Feature) {
			continue
		}
		if f, _ := evidence.Lookup(r.Feature); f.Amplitude && r.Has(evidence.NotCalibrated) {
			r.Value.SI, r.Uncertainty = r.Value.SI/scale, r.Uncertainty/scale
		}
		right, near := false, math.Inf(1)
		for _, g := range good {
			for _, b := range g.Readings {
				same := b.Feature == r.Feature || r.Feature == "battery.lowest_seen" && b.Feature == "cranking.inrush_min"
				if !same || b.Subject != r.Subject {
					continue
				}
				if math.Abs(r.Value.SI-b.Value.SI) < math.Abs(r.Value.SI-near) {
					near = b.Value.SI
				}
				right = right || math.Abs(r.Value.SI-b.Value.SI) <= 3*math.Hypot(r.Uncertainty, b.Uncertainty)
			}
		}
		if !right {
			out = append(out, fmt.Sprintf("%s of %s = %v (u %.2g), good %.4g, flags %v", r.Feature, r.Subject, r.Value, r.Uncertainty, near, r.Flags))
		}
	}
	return out
}

// TestBadInput spoils a good capture of every kind in every way a bay does, and
// holds that no confident wrong number comes out: refused, flagged, or right.
func TestBadInput(t *testing.T) {
	cases := goodCaptures(t)
	for _, k := range sampled() {
		if !slices.ContainsFunc(cases, func(g goodCapture) bool { return g.kind == k.id }) {
			t.Errorf("kind %s has no capture here: add one to goodCaptures", k.id)
		}
	}
	for i, g := range cases {
		good, err := Capture(g.kind, g.rec, g.meta)
		if err != nil || len(good.Readings) == 0 {
			t.Errorf("%s: the good capture gives nothing: %v %+v", g.name, err, good.NotMeasured)
			continue
		}
		rng := rand.New(rand.NewPCG(uint64(i), 71))
		var others []Result // what is right when the main channel is refused
		if g.kind == BrakeMotorCurrent {
			silent, _ := Capture(g.kind, g.like(func(int, float64) float64 { return 0 }), g.meta)
			others = append(others, silent)
		}
		if g.sync >= 0 { // what is read where cylinders cannot be named
			m := g.meta
			m.Columns = append([]Column{{Channel: g.rec.Channels[g.sync].Name, As: "ignore"}}, m.Columns...)
			if nameless, err := Capture(g.kind, g.rec, m); err == nil {
				others = append(others, nameless)
			}
		}
		scale := 1.0
		try := func(damage string, rec *trace.Recording, meta Meta, more ...Result) {
			t.Helper()
			res, err := Capture(g.kind, rec, meta)
			if err != nil {
				return // refused as a whole
			}
			if wrong := wrongBy(scale, res, append(append(more, good), others...)...); len(wrong) > 0 {
				t.Errorf("%s, %s: neither refused nor right:\n   %s", g.name, damage, strings.Join(wrong, "\n   "))
			}
			if len(res.Readings) == 0 && len(res.NotMeasured) == 0 && len(res.Notes) == 0 {
				t.Errorf("%s, %s: nothing said", g.name, damage)
			}
		}
		mean, sd := shape(g.rec.Channels[g.main].Values)
		noise := g.like(func(int, float64) float64 { return mean + sd*rng.NormFloat64() })
		try("all noise", noise, g.meta)
		try("noise about zero", g.like(func(int, float64) float64 { return sd * rng.NormFloat64() }), g.meta)
		try("flat line", g.like(func(int, float64) float64 { return mean }), g.meta)
		try("flat at zero", g.like(func(int, float64) float64 { return 0 }), g.meta)
		for j, other := range cases {
			if other.kind == ParameterLog && other.main > 0 {
				continue // a temperature read as volts may be any number a battery has
			}
			if other.kind == BatteryKind && g.rec.Channels[g.main].Name == "Battery Voltage" {
				continue // it is what the column says
			}
			if j == i || other.kind == g.kind || j%4 != i%4 && os.Getenv("PROVEOUT_COVERAGE") == "" { // a fourth of the pairs will do
				continue
			}
			// Another kind's signal on this channel, as its own recorder took it.
			wrong := *other.rec
			wrong.Channels = slices.Clone(g.rec.Channels)
			for c := range wrong.Channels {
				src := other.rec.Channels[other.main]
				wrong.Channels[c].Values, wrong.Channels[c].Edges = src.Values, src.Edges
				if c != g.main { // nothing is on the others
					wrong.Channels[c].Values = make([]float64, len(src.Values))
				}
			}
			try("the channel of a "+other.name, &wrong, g.meta)
		}
		// A trim with its sign turned round is a trim like any other: trade.md 0 warns of
		// it, no program can see it.
		if g.name != "parameter log, LTFT B1" && g.name != "parameter log, STFT B1" {
			try("inverted", g.like(func(_ int, v float64) float64 { return -v }), g.meta)
		}
		for name, by := range map[string]float64{"times": 1000, "over": 0.001} {
			scale = by
			try("values "+name+" 1000", g.like(func(_ int, v float64) float64 { return by * v }), g.meta)
		}
		scale = 1
		try("time times 1000", g.timed(func(ns float64) float64 { return 1000 * ns }), g.meta)
		try("time over 1000", g.timed(func(ns float64) float64 { return ns / 1000 }), g.meta)
		for _, n := range []int{3, 5, 6, 8} {
			m := g.meta
			m.Engine.Cylinders = n
			m.Engine.FiringOrder = nil
			for c := range n {
				m.Engine.FiringOrder = append(m.Engine.FiringOrder, c+1)
			}
			try(fmt.Sprintf("%d cylinders said", n), g.rec, m)
		}
		if g.sync >= 0 {
			m := g.meta
			m.Columns = slices.Clone(m.Columns)
			shifted := *g.rec
			shifted.Channels = slices.Clone(g.rec.Channels)
			shifted.Channels[g.sync].Values = late(g.rec, g.sync, 60/800.0/2)
			res, err := Capture(g.kind, &shifted, m)
			named := slices.ContainsFunc(res.Readings, func(r evidence.Reading) bool { return r.Subject.Kind == evidence.Cylinder && !r.Blocked() })
			if err == nil && named && !slices.ContainsFunc(res.Notes, func(n Note) bool { return strings.Contains(n.Text, "the trace cannot show") }) {
				t.Errorf("%s, sync on another cylinder: cylinders are named, and it is not said that they rest on the sync: %+v", g.name, res.Notes)
			}
		}
		n := g.rec.Time.N
		blocks := func(i int) bool { return i%(n/5) > n/6 }
		try("dropped blocks", g.without(blocks, true), g.meta)
		// Time that a recorder leaves out without a trace makes a rest look shorter: it
		// cannot be seen, and asks for a longer rest, not a shorter one.
		if g.kind != BrakeMotorCurrent && g.name != "parasitic" { // the time until it sleeps, too
			try("dropped blocks, put together", g.without(blocks, false), g.meta)
		}
		half := float64(g.rec.Time.At(n / 2))
		if g.kind != ParameterLog && !g.rec.Channels[0].Edges {
			try("the recorder's rate changes in the middle", g.timed(func(ns float64) float64 {
				if ns < half {
					return ns
				}
				return half + (ns-half)/2.7
			}), g.meta)
		}
		if g.fast != nil {
			fast, err := Capture(g.kind, g.fast, g.meta)
			if err != nil {
				t.Fatal(g.name, err)
			}
			for _, share := range []float64{0.3, 0.5, 0.7} {
				try(fmt.Sprintf("another speed range from %.0f %% on", 100*share), g.joined(share), g.meta, fast)
			}
		}
	}
}

// joined is the first part of a capture and the rest of the one at another speed.
func (g goodCapture) joined(share float64) *trace.Recording {
	r := *g.rec
	r.Channels = slices.Clone(g.rec.Channels)
	for c := range r.Channels {
		a, b := g.rec.Channels[c].Values, g.fast.Channels[c].Values
		r.Channels[c].Values = append(slices.Clone(a[:int(share*float64(len(a)))]), b[int(share*float64(len(b))):]...)
		r.Time.N = len(r.Channels[c].Values)
	}
	r.Segments = []trace.Segment{{End: r.Time.N}}
	return &r
}

// late moves a channel later by s seconds, around the end.
func late(rec *trace.Recording, c int, s float64) []float64 {
	v := rec.Channels[c].Values
	out := make([]float64, len(v))
	j := 0
	for i := range v {
		for j+1 < len(v) && rec.Time.At(j+1) <= rec.Time.At(i)-int64(s*1e9) {
			j++
		}
		out[i] = v[j]
	}
	return out
}
