package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/vehicle"
)

// Good traces of several cylinders and of cylinder pressure, spoiled: holes, missing
// samples, clipping, a channel that ends early. Nothing panics, indices stay inside the
// recording, and what is still given stays near the truth.
func TestSpoiledTraces(t *testing.T) {
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 1))
		p := plainParade(1, 3, 4, 2)
		p.seconds, p.rate, p.seed = 2, 200e3, seed
		m := idleModel()
		m.seconds, m.seed = 2, seed
		for kind, c := range map[string]struct {
			rec   *trace.Recording
			meta  Meta
			about string
			truth float64
			rel   float64
		}{
			IgnitionParade:   {p.draw(), paradeMeta(vehicle.CoilOnPlug, 1, 3, 4, 2), "ignition.burn_time_idle", 1.3e-3, 0.1},
			CylinderPressure: {m.draw(), pressureMeta(evidence.Idle), "compression.running", math.NaN(), 0.03},
		} {
			if kind == CylinderPressure {
				m.cycle(m.intake)
				c.truth = m.peakTrue - m.ambient
			}
			n := c.rec.Time.N
			for range 1 + rng.IntN(3) {
				ch := &c.rec.Channels[rng.IntN(len(c.rec.Channels))]
				from := rng.IntN(n)
				to := min(len(ch.Values), from+rng.IntN(n/4))
				switch rng.IntN(4) {
				case 0:
					for i := from; i < to; i++ {
						ch.Values[i] = math.NaN()
					}
				case 1:
					c.rec.Segments = []trace.Segment{{First: 0, End: from}, {First: max(from, to), End: n}}
				case 2:
					for i := from; i < to; i++ {
						ch.Values[i] = 0
					}
				case 3:
					for i := range ch.Values {
						if i%977 == int(seed) {
							ch.Values[i] = math.Inf(1)
						}
					}
				}
			}
			res, err := Capture(kind, c.rec, c.meta)
			if err != nil {
				t.Fatal(err)
			}
			if len(res.Readings) == 0 && len(res.NotMeasured) == 0 {
				t.Errorf("seed %d: %s says nothing", seed, kind)
			}
			for _, r := range res.Readings {
				if math.IsNaN(r.Value.SI) || !(r.Uncertainty >= 0) || r.From.First < 0 || r.From.Last >= n || r.From.First > r.From.Last {
					t.Errorf("seed %d: %+v", seed, r)
				}
				if r.Feature == c.about && !r.Blocked() && math.Abs(r.Value.SI-c.truth) > math.Max(c.rel*c.truth, 3*r.Uncertainty) {
					t.Errorf("seed %d: %s of %s = %v, drawn %.4g", seed, r.Feature, r.Subject, r.Value, c.truth)
				}
			}
			for _, k := range res.Marks {
				if k.First < 0 || k.Last > n || k.First > k.Last {
					t.Errorf("seed %d: mark %+v of %d", seed, k, n)
				}
			}
		}
	}
}
