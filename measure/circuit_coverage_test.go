package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
)

// trial is one simulated capture with its truth.
type trial struct {
	truth map[string]float64
	run   func() (Result, error)
}

// clampScale is the scale error of a low-amp clamp, one sigma: 1-3 % (trade.md 3.4).
const clampScale = 0.02

// trouble is one condition of the Monte Carlo. scale adds the clamp's scale error to
// the stated uncertainty, as the judge does against a limit; without it the stated
// uncertainty stands alone.
type trouble struct {
	name  string
	scale bool
	coil  func(*ramps, *rand.Rand)
	shot  func(*shots, *rand.Rand)
}

var troubles = []trouble{
	{"noise alone", false, func(*ramps, *rand.Rand) {}, func(*shots, *rand.Rand) {}},
	{"droop, 0.3-2 s", false,
		func(p *ramps, r *rand.Rand) { p.droop = 0.3 + 1.7*r.Float64() },
		func(p *shots, r *rand.Rand) { p.droop = 0.3 + 1.7*r.Float64() }},
	{"50 Hz hum, 1-3 % of the peak", false,
		func(p *ramps, r *rand.Rand) { p.hum = (0.01 + 0.02*r.Float64()) * 7 },
		func(p *shots, r *rand.Rand) { p.hum = 0.01 + 0.02*r.Float64() }},
	{"gain off by 2 % (one sigma)", true,
		func(p *ramps, r *rand.Rand) { p.gain = 1 + 0.02*r.NormFloat64() },
		func(p *shots, r *rand.Rand) { p.gain = 1 + 0.02*r.NormFloat64() }},
	{"zero off by up to 20 %", false,
		func(p *ramps, r *rand.Rand) { p.offset = 3 * (r.Float64() - 0.5) },
		func(p *shots, r *rand.Rand) { p.offset = 0.4 * (r.Float64() - 0.5) }},
	{"clipped at 70-90 % of the peak", false,
		func(p *ramps, r *rand.Rand) {
			p.clip = (0.7 + 0.2*r.Float64()) * p.volts / p.ohms * (1 - math.Exp(-p.dwell*p.ohms/p.henry))
		},
		func(p *shots, r *rand.Rand) { p.clip = (0.7 + 0.2*r.Float64()) * p.volts / p.ohms }},
}

// coilTrial and shotTrial draw parameters over the ranges of trade.md 2.3 and 2.4.
func coilTrial(c trouble, seed uint64) trial {
	r := rand.New(rand.NewPCG(seed, 101))
	p := plainRamps()
	p.seed = seed
	p.n = 6 + r.IntN(20)
	p.volts, p.ohms, p.henry = 12+2.5*r.Float64(), 0.4+0.6*r.Float64(), (2.5+3*r.Float64())*1e-3
	p.dwell, p.jitter = (1.8+1.7*r.Float64())*1e-3, 10e-6
	p.noise = 0.015 + 0.06*r.Float64()
	p.period = (23 + 14*r.Float64()) * 1e-3
	p.supplyOff, p.driverOff = 0.1*r.NormFloat64(), 0.1*r.NormFloat64()
	c.coil(&p, r)
	return trial{map[string]float64{"coil.dwell": p.dwell, "coil.inductance": p.henry, "coil.primary_resistance": p.ohms},
		func() (Result, error) { return p.capture(cyl2()) }}
}

func shotTrial(c trouble, seed uint64) trial {
	r := rand.New(rand.NewPCG(seed, 202))
	p := plainShots()
	p.seed = seed
	p.n = 6 + r.IntN(20)
	p.volts, p.ohms, p.henry = 12+2.5*r.Float64(), 11.5+4*r.Float64(), (10+6*r.Float64())*1e-3
	p.on = (2.2 + 2.5*r.Float64()) * 1e-3
	p.noise = 0.003 + 0.01*r.Float64()
	p.period = (23 + 14*r.Float64()) * 1e-3
	p.supplyOff, p.driverOff = 0.1*r.NormFloat64(), 0.1*r.NormFloat64()
	p.bent = r.Float64()
	c.shot(&p, r)
	return trial{map[string]float64{"injector.on_time": p.on, "injector.resistance": p.ohms},
		func() (Result, error) { return p.capture() }}
}

// cover counts how the stated 95 % intervals hold the truth.
type cover struct {
	n, in, refused int
	zz             float64 // squared errors in stated uncertainties, summed up
}

func (c cover) share() float64 { return float64(c.in) / math.Max(1, float64(c.n-c.refused)) }

func covered(runs int, draw func(uint64) trial, scale bool) map[string]*cover {
	out := map[string]*cover{}
	for i := range runs {
		tr := draw(uint64(1000 + i))
		res, err := tr.run()
		for f, want := range tr.truth {
			if out[f] == nil {
				out[f] = &cover{}
			}
			c := out[f]
			c.n++
			rd, ok := find(res.Readings, f)
			if err != nil || !ok || rd.Blocked() {
				c.refused++
				continue
			}
			u := rd.Uncertainty
			if scale && !strings.HasSuffix(f, "dwell") && !strings.HasSuffix(f, "on_time") { // times need no scale
				u = math.Hypot(u, clampScale*rd.Value.SI)
			}
			c.zz += (rd.Value.SI - want) * (rd.Value.SI - want) / (u * u)
			if math.Abs(rd.Value.SI-want) <= 1.959964*u {
				c.in++
			}
		}
	}
	return out
}

// TestCircuitCoverage checks the stated uncertainties by Monte Carlo. Few runs by
// default; PROVEOUT_COVERAGE=1000 with -v prints the table of docs/coverage.md.
func TestCircuitCoverage(t *testing.T) {
	runs, full := 10, false
	if s := os.Getenv("PROVEOUT_COVERAGE"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 10 {
			t.Fatalf("PROVEOUT_COVERAGE=%q is no number of runs", s)
		}
		runs, full = n, true
	}
	var table strings.Builder
	for _, kind := range []struct {
		draw     func(trouble, uint64) trial
		features []string
	}{
		{coilTrial, []string{"coil.dwell", "coil.inductance", "coil.primary_resistance"}},
		{shotTrial, []string{"injector.on_time", "injector.resistance"}},
	} {
		for i, c := range troubles {
			got := covered(runs, func(seed uint64) trial { return kind.draw(c, seed) }, c.scale)
			for _, f := range kind.features {
				k := got[f]
				fmt.Fprintf(&table, "| %s | %s | %.1f %% | %.1f %% |\n", f, c.name, 100*k.share(), 100*float64(k.refused)/float64(k.n))
				if i == 0 && 5*k.refused > k.n {
					t.Errorf("%s: %d of %d good traces were refused", f, k.refused, k.n)
				}
				// Four binomial standard deviations below 92 %.
				m := float64(k.n - k.refused)
				if i == 0 && m > 5 && tooWide(k.zz, m) {
					t.Errorf("%s: the stated uncertainty is %.1f times the errors' size", f, math.Sqrt(m/k.zz))
				}
				if least := 0.92 - 4*math.Sqrt(0.92*0.08/math.Max(1, m)); m > 5 && k.share() < least {
					t.Errorf("%s under %s: %d of %.0f intervals hold the truth", f, c.name, k.in, m)
				}
			}
		}
	}
	if full {
		fmt.Print(table.String())
	}
}
