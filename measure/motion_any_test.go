package measure

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// anyRecording draws recordings of every bad kind: no samples, missing and infinite
// values, times that stand still or run backwards between segments, edge lists, steps,
// bursts, huge and tiny levels.
func anyRecording(t *rapid.T, names []string) *trace.Recording {
	n := rapid.IntRange(0, 2500).Draw(t, "n")
	rec := &trace.Recording{Time: trace.TimeBase{N: n, Den: 1, Resolution: rapid.SampledFrom([]int64{0, 1000}).Draw(t, "grain")}}
	step := rapid.SampledFrom([]int64{1, 1000, 100000, 1e6, 1e7, 4e7, 1e9, 1e12}).Draw(t, "step")
	switch rapid.IntRange(0, 3).Draw(t, "time") {
	case 0:
		rec.Time.Num = rapid.SampledFrom([]int64{0, step}).Draw(t, "num")
	case 1:
		at := int64(0)
		rec.Time.Stamps = []int64{}
		for range n {
			rec.Time.Stamps = append(rec.Time.Stamps, at)
			at += rapid.SampledFrom([]int64{0, step, step, 2 * step, 50 * step}).Draw(t, "dt")
		}
	default:
		rec.Time.Num = step
	}
	for range rapid.IntRange(1, 4).Draw(t, "channels") {
		ch := trace.Channel{Name: rapid.SampledFrom(names).Draw(t, "name"), Unit: rapid.SampledFrom([]unit.Unit{{}, unit.Must("V"), unit.Must("A")}).Draw(t, "unit"), Edges: rapid.Bool().Draw(t, "edges")}
		kind := rapid.IntRange(0, 6).Draw(t, "kind")
		period := rapid.IntRange(1, 400).Draw(t, "period")
		level := rapid.SampledFrom([]float64{0, 1, 12, 150, 1e-9, 1e12, -20}).Draw(t, "level")
		for i := range n {
			v := 0.0
			switch kind {
			case 0:
				v = level
			case 1:
				v = level * float64(i/max(1, period/2)%2)
			case 2:
				v = level * math.Sin(float64(i)/float64(period))
			case 3:
				v = level + float64((i*7919+period)%101)
			case 4:
				if i%period < 3 {
					v = math.NaN()
				} else if i%97 == 0 {
					v = math.Inf(1)
				}
			case 5: // a wheel with a gap
				if k := i % (2 * period); k < period && i%(period*24) > 2*period {
					v = 1
				}
			case 6: // starter or motor: a block with swings
				if i > n/5 && i < n*4/5 {
					v = level * (1 + 0.4*math.Sin(float64(i)*6.3/float64(period)))
				}
			}
			ch.Values = append(ch.Values, v)
		}
		rec.Channels = append(rec.Channels, ch)
	}
	for at := 0; at < n; {
		end := min(n, at+rapid.IntRange(1, 3000).Draw(t, "run"))
		rec.Segments = append(rec.Segments, trace.Segment{First: at, End: end})
		at = end
	}
	return rec
}

// Whatever the samples: no panic, no number that is none, sample indices inside the
// recording, and a refusal that says why and what to do.
func TestMotionHoldsForAnything(t *testing.T) {
	names := []string{"crank", "cam", "sync", "Starter current", "Battery", "EPB left", "EPB right", "Connector", "x"}
	rapid.Check(t, func(t *rapid.T) {
		rec := anyRecording(t, names)
		n := rec.Time.N
		meta := Meta{Item: 1, Subject: evidence.Subject{}, Engine: vehicle.Engine{Cylinders: rapid.IntRange(0, 8).Draw(t, "cylinders")}}
		if rapid.Bool().Draw(t, "order") {
			for c := range meta.Engine.Cylinders {
				meta.Engine.FiringOrder = append(meta.Engine.FiringOrder, c+1)
			}
		}
		meta.Condition.State = rapid.SampledFrom([]evidence.State{"", evidence.Idle, evidence.Cranking}).Draw(t, "state")
		Recognise(rec, meta)
		for _, kind := range []string{CrankEdges, CrankingCurrent, BrakeMotorCurrent} {
			m := meta
			if rapid.Bool().Draw(t, "declared") {
				m.Columns = []Column{{Channel: rec.Channels[0].Name, As: kind}}
			}
			res, err := Capture(kind, rec, m)
			if err != nil {
				if len(err.Error()) < 20 {
					t.Fatalf("an error without words: %v", err)
				}
				continue
			}
			for _, r := range res.Readings {
				if math.IsNaN(r.Value.SI) || math.IsInf(r.Value.SI, 0) || math.IsNaN(r.Uncertainty) || r.Uncertainty < 0 {
					t.Fatalf("%+v", r)
				}
				if r.From.First < 0 || r.From.Last >= max(1, n) || r.From.First > r.From.Last {
					t.Fatalf("%s: %s comes from samples %d to %d of %d", kind, r.Feature, r.From.First, r.From.Last, n)
				}
			}
			for _, x := range res.NotMeasured {
				if x.Why == "" || x.Fix == "" || x.Feature == "" {
					t.Fatalf("%+v", x)
				}
			}
			for _, x := range res.Marks {
				if x.First < 0 || x.Last >= max(1, n) || x.First > x.Last {
					t.Fatalf("%s: %+v of %d", kind, x, n)
				}
			}
			if len(res.Readings)+len(res.NotMeasured) == 0 {
				t.Fatalf("%s: neither a reading nor a reason", kind)
			}
			Judge(Task{Engine: meta.Engine, Readings: res.Readings, NotMeasured: res.NotMeasured})
		}
	})
}
