package sim

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"

	"proveout/vehicle"
)

// Row is the live parameters of one moment, as a module reports them.
type Row struct {
	Seconds   float64
	State     string // what the engine is doing (the truth, not a parameter)
	RPM       float64
	LoadPct   float64
	Throttle  float64 // %
	CoolantC  float64
	SpeedKmh  float64
	ShortPct  []float64 // short fuel trim by bank
	LongPct   []float64
	AirGS     float64
	IntakeKPa float64
	IntakeC   float64
	PulseMs   float64
	Misfires  []int // counts since the start of the log
}

// ParameterLog drives the legs and samples the parameters every period seconds
// (0.5 to 1 s is what a request-and-answer link gives for a dozen of them).
// Between legs speed and load move over about three seconds. Module resolution
// is kept: rpm in quarters, percent in 1/255 and 1/128, whole kelvin.
func (v *Vehicle) ParameterLog(rng *rand.Rand, legs []Leg, period float64) []Row {
	n, banks := v.Engine.Cylinders, v.Engine.Banks()
	var rows []Row
	counts := make([]int, n)
	long := make([]float64, banks)
	settled := false
	t, coolant := 0.0, 88.0
	now := v.runs(v.at(legs0(legs)), legs0(legs))
	for _, l := range legs {
		p := v.at(l.Under)
		miss := make([]float64, n)
		for i := range miss {
			miss[i] = float64(v.misfires(rng, p, i+1, l.Under, 120)) / 120
		}
		f := v.fuelling(p, l.Under, miss)
		if !settled { // the long trims were learned before the log began
			for b := range long {
				long[b] = 0.8 * f.trim[b]
			}
			settled = true
		}
		want := v.runs(p, l.Under)
		if l.RPM > 0 { // in the same gear
			want.speedKmh *= l.RPM / want.rpm
			want.rpm = l.RPM
		}
		meter := 1 + p.common.AirflowError*(0.2+0.8*v.loadPct(want)/100)
		per := make([]int, n)
		for i := range per {
			per[i] = v.MisfireCounts(rng, []Leg{l})[i]
		}
		done := make([]int, n)
		for start := t; t < start+l.Seconds; t += period {
			k := 1 - math.Exp(-period/1.1)
			now.rpm += k * (want.rpm - now.rpm)
			now.manifoldPa += math.Min(1, 2*k) * (want.manifoldPa - now.manifoldPa)
			now.throttlePct += math.Min(1, 2.2*k) * (want.throttlePct - now.throttlePct)
			now.speedKmh += 0.4 * k * (want.speedKmh - now.speedKmh)
			coolant += 0.02 * (91 - coolant)
			leak := 1 / (1 + p.common.PlenumLeak)
			if l.State != "idle" && l.State != "" {
				leak = 1
			}
			r := Row{Seconds: t, State: l.State, RPM: math.Round(4*(now.rpm+8*rng.NormFloat64())) / 4,
				LoadPct: grid(v.loadPct(now)*(1+0.01*rng.NormFloat64()), 255), Throttle: grid(now.throttlePct, 255),
				CoolantC: math.Round(coolant + p.common.CoolantKelvin), SpeedKmh: math.Round(math.Max(0, now.speedKmh)), IntakeC: 31, IntakeKPa: math.Round(now.manifoldPa/1e3 + 0.4*rng.NormFloat64()),
				AirGS:    math.Round(100*v.airGramPerSecond(now)*meter*leak*(1+0.015*rng.NormFloat64())) / 100,
				ShortPct: make([]float64, banks), LongPct: make([]float64, banks), Misfires: make([]int, n)}
			for b := range banks {
				long[b] += 0.004 * period * (f.trim[b] - long[b])
				r.LongPct[b] = grid128(100 * long[b])
				r.ShortPct[b] = grid128(100*(f.trim[b]-long[b]) + 1.2*math.Sin(2*math.Pi*t/2.3) + 0.8*rng.NormFloat64())
			}
			base := 1.6
			if v.Engine.Injection == vehicle.Direct {
				base = 0.75
			}
			r.PulseMs = math.Round(1000*(0.6+base*now.manifoldPa/32e3*(1+f.trim[0]))) / 1000
			share := math.Min(1, (t-start+period)/l.Seconds)
			for i := range counts {
				if add := int(math.Round(share*float64(per[i]))) - done[i]; add > 0 {
					done[i] += add
					counts[i] += add
				}
				r.Misfires[i] = counts[i]
			}
			rows = append(rows, r)
		}
	}
	return rows
}

func legs0(legs []Leg) Under {
	if len(legs) == 0 {
		return Under{}
	}
	return legs[0].Under
}

func grid(pct, steps float64) float64 {
	return math.Round(math.Max(0, math.Min(100, pct))*steps/100) / steps * 100
}

func grid128(pct float64) float64 {
	return math.Round(math.Max(-100, math.Min(99.2, pct))*1.28) / 1.28
}

// ParameterCSV writes rows as delimited text with the unit in each header.
// misfires adds the counters, which not every vehicle gives.
func (v *Vehicle) ParameterCSV(rows []Row, misfires bool) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),Engine speed (rpm),Calculated load (%),Throttle position (%),Coolant temperature (degC),Vehicle speed (km/h)")
	for k := 1; k <= v.Engine.Banks(); k++ {
		fmt.Fprintf(&b, ",Short fuel trim bank %d (%%),Long fuel trim bank %d (%%)", k, k)
	}
	b.WriteString(",Mass air flow (g/s),Manifold pressure (kPa),Intake air temperature (degC),Injector pulse width (ms)")
	if misfires {
		for c := 1; c <= v.Engine.Cylinders; c++ {
			fmt.Fprintf(&b, ",Misfires cylinder %d (count)", c)
		}
	}
	b.WriteByte('\n')
	for _, r := range rows {
		fmt.Fprintf(&b, "%.2f,%.2f,%.1f,%.1f,%.0f,%.0f", r.Seconds, r.RPM, r.LoadPct, r.Throttle, r.CoolantC, r.SpeedKmh)
		for k := range r.ShortPct {
			fmt.Fprintf(&b, ",%.1f,%.1f", r.ShortPct[k], r.LongPct[k])
		}
		fmt.Fprintf(&b, ",%.2f,%.0f,%.0f,%.3f", r.AirGS, r.IntakeKPa, r.IntakeC, r.PulseMs)
		if misfires {
			for _, c := range r.Misfires {
				fmt.Fprintf(&b, ",%d", c)
			}
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// RoadTest is the usual drive: idle, raised, cruise, a hill twice, idle again.
func RoadTest(warm, wet string) []Leg {
	leg := func(state string, s float64) Leg {
		return Leg{Under: Under{State: state, Warm: warm, Wet: wet}, Seconds: s}
	}
	return []Leg{leg("idle", 60), leg("raised", 25), leg("idle", 10), leg("cruise", 90), leg("load", 45), leg("cruise", 40), leg("overrun", 8), leg("load", 60), leg("cruise", 60), leg("idle", 40)}
}
