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

// Whatever the samples: no panic, no NaN in a reading, sample indices inside the
// recording, and a refusal that says why and what to do.
func TestCaptureHoldsForAnything(t *testing.T) {
	names := []string{"pickup", "Engine RPM", "ECT", "STFT B1", "LTFT B1", "Vehicle Speed", "Battery Voltage", "Injector Pulse Width", "Throttle", "Misfire cyl 2", "MAF", "sync", "cylinder pressure", "O2 B1S1"}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 3000).Draw(t, "n")
		rec := &trace.Recording{Time: trace.TimeBase{N: n, Den: 1}}
		switch rapid.IntRange(0, 3).Draw(t, "time") {
		case 0:
			rec.Time.Num = rapid.SampledFrom([]int64{0, 1, 100, 1000, 20000, 1e6, 2e8, 1e9, 1e12}).Draw(t, "step")
		case 1:
			at := int64(0)
			for range n {
				rec.Time.Stamps = append(rec.Time.Stamps, at)
				at += rapid.SampledFrom([]int64{0, 1000, 1000, 1000, 5e8}).Draw(t, "dt")
			}
			if n == 0 {
				rec.Time.Stamps = []int64{}
			}
		default:
			rec.Time.Num = 1000
		}
		level := rapid.SampledFrom([]float64{0, 1, 1e-9, 1e12, -5}).Draw(t, "level")
		for c := range rapid.IntRange(1, 4).Draw(t, "channels") {
			ch := trace.Channel{Name: rapid.SampledFrom(names).Draw(t, "name"), Unit: rapid.SampledFrom([]unit.Unit{{}, unit.Must("V"), unit.Must("rpm"), unit.Must("%"), unit.Must("kPa")}).Draw(t, "unit")}
			kind := rapid.IntRange(0, 4).Draw(t, "kind")
			seed := rapid.IntRange(1, 997).Draw(t, "seed")
			for i := range n {
				v := level
				switch kind {
				case 1:
					v += float64((i*seed+c)%101) / 10
				case 2:
					if i%seed == 0 {
						v += 50
					}
				case 3:
					if i%seed < 3 {
						v = math.NaN()
					}
				case 4:
					if i%(seed+200) < 40 {
						v += 9 * math.Exp(-float64(i%(seed+200))/7)
					} else if i%97 == 0 {
						v = math.Inf(1)
					}
				}
				ch.Values = append(ch.Values, v)
			}
			rec.Channels = append(rec.Channels, ch)
		}
		for at := 0; at < n; {
			end := min(n, at+rapid.IntRange(1, 2000).Draw(t, "run"))
			rec.Segments = append(rec.Segments, trace.Segment{First: at, End: end})
			at = end
		}
		meta := Meta{Item: 1, Subject: evidence.Cyl(1), Engine: vehicle.Engine{Cylinders: 4, Fuel: "petrol", DisplacementL: 1.4, Ignition: rapid.SampledFrom([]vehicle.Ignition{"", vehicle.WasteSpark}).Draw(t, "ignition")}}
		meta.Condition.State = rapid.SampledFrom([]evidence.State{"", evidence.Idle, evidence.Snap, evidence.Load}).Draw(t, "state")
		for _, kind := range []string{"", IgnitionSecondary, ParameterLog, IgnitionParade, CylinderPressure} {
			res, err := Capture(kind, rec, meta)
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
					t.Fatalf("%s comes from samples %d to %d of %d", r.Feature, r.From.First, r.From.Last, n)
				}
			}
			for _, m := range res.NotMeasured {
				if m.Why == "" || m.Fix == "" {
					t.Fatalf("%+v", m)
				}
			}
			for _, m := range res.Marks {
				if m.First < 0 || m.Last > n || m.First > m.Last {
					t.Fatalf("%+v of %d", m, n)
				}
			}
			Judge(Task{Engine: meta.Engine, Readings: res.Readings, NotMeasured: res.NotMeasured})
		}
	})
}
