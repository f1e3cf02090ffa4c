package sim

import (
	"math"
	"math/rand/v2"
)

// Pickup is a capacitive pickup laid on a coil, with the recorder behind it. It
// is not calibrated: Gain is whatever this placement happens to give.
type Pickup struct {
	Gain      float64 // recorder volts per kilovolt
	Inverted  bool
	OffsetV   float64
	HumV      float64 // amplitude
	HumHz     float64
	NoiseV    float64 // standard deviation of the recorder's noise
	FullScale float64 // the recorder clips at +-FullScale
	Bits      int     // of the converter; 0 = not quantised
	RateHz    float64
	// BandwidthHz is the first-order low pass of pickup and cable.
	BandwidthHz float64
	// DroopSeconds is the time constant of the coupling; 0 = direct.
	DroopSeconds float64
}

// GoodPickup is a usual one: 8 bit over +-10 V, 0.25 V/kV, 500 kS/s.
func GoodPickup() Pickup {
	return Pickup{Gain: 0.25, HumHz: 50, HumV: 0.01, NoiseV: 0.015, FullScale: 10, Bits: 8, RateHz: 500e3, BandwidthHz: 300e3, DroopSeconds: 0.2}
}

// PlacementGain draws the gain of a fresh placement around nominal with
// relative spread cv (15 to 30 % in the bay: trade.md 3.4).
func PlacementGain(rng *rand.Rand, nominal, cv float64) float64 { return nominal * lognormal(rng, cv) }

// Block is samples without interruption.
type Block struct {
	Start float64 // s
	Volts []float64
}

// Samples is a recording: blocks with dead time between them.
type Samples struct {
	RateHz float64
	Blocks []Block
}

// N is the number of samples.
func (s Samples) N() int {
	n := 0
	for _, b := range s.Blocks {
		n += len(b.Volts)
	}
	return n
}

// Record records sparks as one block from start to end, s. Sparks must be in
// order of time.
func (p Pickup) Record(rng *rand.Rand, sparks []Spark, start, end float64) Samples {
	return Samples{RateHz: p.RateHz, Blocks: []Block{p.block(rng, sparks, start, end)}}
}

// Triggered records a block around each spark, from before to after seconds
// about its turn-off. A block that would overlap the one before starts where
// that ended.
func (p Pickup) Triggered(rng *rand.Rand, sparks []Spark, before, after float64) Samples {
	out := Samples{RateHz: p.RateHz}
	last := math.Inf(-1)
	for i := range sparks {
		a, b := max(sparks[i].At-before, last), sparks[i].At+after
		if b <= a {
			continue
		}
		a = math.Round(a*p.RateHz) / p.RateHz
		out.Blocks = append(out.Blocks, p.block(rng, sparks[i:i+1], a, b))
		last = b + 1/p.RateHz
	}
	return out
}

func (p Pickup) block(rng *rand.Rand, sparks []Spark, start, end float64) Block {
	n := int(math.Round((end - start) * p.RateHz))
	out := make([]float64, n)
	// Internal steps of at most a quarter microsecond so that the few microseconds
	// of a firing line are drawn before they are sampled.
	dt := 1 / p.RateHz
	sub := max(1, int(math.Ceil(dt/0.25e-6)))
	step := dt / float64(sub)
	low := 1.0
	if p.BandwidthHz > 0 {
		low = -math.Expm1(-2 * math.Pi * p.BandwidthHz * step)
	}
	keep := 1.0
	if p.DroopSeconds > 0 {
		keep = math.Exp(-step / p.DroopSeconds)
	}
	sign := 1.0
	if p.Inverted {
		sign = -1
	}
	lp, hp, prev, cur := 0.0, 0.0, 0.0, 0
	for i := range out {
		base := start + float64(i)*dt
		for k := range sub {
			t := base + float64(k)*step
			for cur < len(sparks) && t > sparks[cur].At+sparks[cur].Tail()+2e-3 {
				cur++
			}
			x := 0.0
			if cur < len(sparks) {
				x = sparks[cur].Voltage(t - sparks[cur].At)
			}
			lp += low * (x - lp)
			hp = keep * (hp + lp - prev)
			prev = lp
			if lp == 0 && hp < 1e-9 && hp > -1e-9 {
				hp = 0
			}
		}
		y := sign*p.Gain*hp/1000 + p.OffsetV + p.HumV*math.Sin(2*math.Pi*p.HumHz*base) + p.NoiseV*rng.NormFloat64()
		out[i] = p.convert(y)
	}
	return Block{Start: start, Volts: out}
}

// convert clips and quantises.
func (p Pickup) convert(y float64) float64 {
	if p.FullScale > 0 {
		y = math.Max(-p.FullScale, math.Min(p.FullScale, y))
		if p.Bits > 0 {
			lsb := 2 * p.FullScale / math.Exp2(float64(p.Bits))
			return math.Round(y/lsb) * lsb
		}
	}
	return y
}
