package measure

import (
	"math"
	"math/rand/v2"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
)

// synth draws ignition traces in closed form, with known truth. It shares
// nothing with the measuring code: linear rise to the crest, exponential settling
// to a straight spark line, optional spike, damped cosine afterwards.
type synth struct {
	rate    float64
	seconds float64
	rpm     func(t float64) float64
	crest   float64 // V
	crestCV float64
	level   float64 // spark line, V
	slope   float64 // relative change over the burn
	burn    float64 // s
	burnCV  float64
	rise    float64 // s
	dwell   float64
	ringHz  float64
	ringTau float64
	spike   float64 // end spike over the line, 0 = none
	spikeUp float64 // s it takes to rise; 0 = 50 us
	rough   float64 // turbulence over the line
	noise   float64
	gain    float64
	offset  float64
	hum     float64
	humHz   float64
	droop   float64 // time constant, 0 = none
	clip    float64
	step    float64
	snapUp  float64 // crest factor while rpm rises; 0 = none
	snapOf  func(t float64) bool
	missing float64          // share without a spark
	open    func(k int) bool // firings whose spark does not jump, at three times the crest; nil = none
	seed    uint64
}

func plainSynth() synth {
	return synth{rate: 1e6, seconds: 4, rpm: func(float64) float64 { return 800 }, crest: 8, crestCV: 0.12, level: 1.0, slope: -0.15,
		burn: 1.3e-3, burnCV: 0.07, rise: 30e-6, dwell: 2.5e-3, ringHz: 8e3, ringTau: 250e-6, noise: 0.02, gain: 1, seed: 1}
}

type synthTruth struct {
	n, missing    int
	burns, crests []float64
	at            []float64
}

func (s synth) draw() (*trace.Recording, synthTruth) {
	rng := rand.New(rand.NewPCG(s.seed, 77))
	n := int(s.seconds * s.rate)
	v := make([]float64, n)
	dt := 1 / s.rate
	var tr synthTruth
	t := 0.012 + 0.01*rng.Float64()
	for t < s.seconds-0.015 {
		crest := s.crest * (1 + s.crestCV*rng.NormFloat64())
		burn := s.burn * (1 + s.burnCV*rng.NormFloat64())
		if s.snapOf != nil && s.snapOf(t) {
			crest *= s.snapUp
			burn *= 0.62
		}
		miss := rng.Float64() < s.missing
		if s.open != nil && s.open(tr.n) {
			miss, crest = true, 3*crest
		}
		tr.n++
		tr.at = append(tr.at, t)
		if miss {
			tr.missing++
		} else {
			tr.burns = append(tr.burns, burn)
		}
		tr.crests = append(tr.crests, crest)
		for i := max(0, int((t-s.dwell)/dt)); i < min(n, int((t+9e-3)/dt)); i++ {
			x := float64(i)*dt - t // 0 at breakdown
			y := 0.0
			switch {
			case x < -s.dwell:
			case x < -s.rise: // dwell: turn-on ring the other way
				u := x + s.dwell
				y = -0.12 * s.crest * math.Exp(-u/1.2e-3) * (1 + 0.5*math.Exp(-u/90e-6)*math.Cos(2*math.Pi*15e3*u))
			case x < 0:
				y = crest * (x + s.rise) / s.rise
			case miss:
				y = crest * math.Exp(-x/600e-6) * math.Cos(2*math.Pi*4e3*x)
			case x < burn:
				y = s.level*(1+s.slope*(x/burn-0.5)) + 0.1*crest*math.Exp(-x/2e-6)
				if s.rough > 0 {
					y += s.level * s.rough * rng.NormFloat64()
				}
				up := s.spikeUp
				if up == 0 {
					up = 50e-6
				}
				if s.spike > 0 && burn-x < up {
					y += s.level * (s.spike - 1) * (1 - (burn-x)/up)
				}
			default:
				u := x - burn
				amp := s.level * (1 + s.slope*0.5)
				if s.spike > 0 {
					amp = s.level * s.spike
				}
				y = amp * math.Exp(-u/s.ringTau) * math.Cos(2*math.Pi*s.ringHz*u)
			}
			v[i] = y
		}
		t += 120 / s.rpm(t) * (1 + 0.003*rng.NormFloat64())
	}
	hp, prev := 0.0, 0.0
	keep := 1.0
	if s.droop > 0 {
		keep = math.Exp(-dt / s.droop)
	}
	// Normal noise from a table read at random: drawing each value anew would take
	// most of the time of the tests.
	at, stride := rng.IntN(len(noiseTable)), 2*rng.IntN(len(noiseTable)/2)+1
	for i := range v {
		at = (at + stride) & (len(noiseTable) - 1)
		if i&1023 == 0 {
			at, stride = rng.IntN(len(noiseTable)), 2*rng.IntN(len(noiseTable)/2)+1
		}
		hp = keep * (hp + v[i] - prev)
		prev = v[i]
		y := s.gain*hp + s.offset + s.noise*noiseTable[at]
		if s.hum != 0 {
			y += s.hum * math.Sin(2*math.Pi*s.humHz*float64(i)*dt+0.4)
		}
		if s.step > 0 {
			y = math.Round(y/s.step) * s.step
		}
		if s.clip > 0 {
			y = math.Max(-s.clip, math.Min(s.clip, y))
		}
		v[i] = y
	}
	return recording(s.rate, v), tr
}

var noiseTable = func() []float64 {
	rng := rand.New(rand.NewPCG(42, 43))
	t := make([]float64, 1<<16)
	for i := range t {
		t[i] = rng.NormFloat64()
	}
	return t
}()

func recording(rate float64, v []float64) *trace.Recording {
	return &trace.Recording{
		Time:     trace.TimeBase{Num: int64(math.Round(1e9 / rate * 1000)), Den: 1000, N: len(v)},
		Channels: []trace.Channel{{Name: "pickup", Unit: unit.Must("V"), Values: v}},
		Segments: []trace.Segment{{First: 0, End: len(v)}},
	}
}

func onCylinder(n int) Meta {
	return Meta{Item: n, Subject: evidence.Cyl(n), Placement: "1", Condition: evidence.Condition{State: evidence.Idle}}
}

func find(rs []evidence.Reading, feature string) (evidence.Reading, bool) {
	for _, r := range rs {
		if r.Feature == feature {
			return r, true
		}
	}
	return evidence.Reading{}, false
}
