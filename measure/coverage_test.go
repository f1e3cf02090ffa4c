package measure

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"proveout/evidence"
	"proveout/stats"
	"proveout/trace"
	"proveout/unit"
)

// drawn is one simulated capture of a kind, with the truth of each feature. Features
// of one cylinder are written feature@cylinder.
type drawn struct {
	kind  string
	rec   *trace.Recording
	meta  Meta
	main  []int // channels that trouble is put on
	truth map[string]float64
	good  map[string]float64 // truths that are held on good traces only
}

// coverKind draws captures over the ranges of the trade.
type coverKind struct {
	name  string
	droop [2]float64 // s: time constants of a coupling that is usual for it; 0: none is
	draw  func(r *rand.Rand, seed uint64) drawn
}

var coverKinds = []coverKind{
	{"ignition secondary", [2]float64{0.1, 1}, func(r *rand.Rand, seed uint64) drawn {
		s := plainSynth()
		s.rate, s.seconds, s.seed = 500e3, 2+3*r.Float64(), seed
		rpm := 650 + 300*r.Float64()
		s.rpm = func(float64) float64 { return rpm }
		s.crest, s.burn, s.level = 5+6*r.Float64(), (0.8+1.0*r.Float64())*1e-3, 0.8+0.5*r.Float64()
		s.crestCV, s.burnCV, s.noise = 0.08+0.12*r.Float64(), 0.04+0.08*r.Float64(), 0.01+0.04*r.Float64()
		rec, _ := s.draw()
		return drawn{IgnitionSecondary, rec, onCylinder(1), []int{0}, map[string]float64{"ignition.burn_time_idle@1": s.burn, "ignition.firing_height_idle@1": s.crest},
			map[string]float64{"ignition.spark_line_level@1": s.level, "ignition.spark_line_ratio@1": s.level / s.crest, "ignition.spark_line_slope@1": s.slope, "ignition.ring_decay@1": 100 * (1 - math.Exp(-1/(s.ringHz*s.ringTau)))}}
	}},
	{"starter current", [2]float64{20, 60}, func(r *rand.Rand, seed uint64) drawn {
		s := plainStarter()
		s.seed, s.rpm, s.base, s.hump = seed, 170+110*r.Float64(), 90+60*r.Float64(), 40+50*r.Float64()
		s.noise, s.seconds = 1+2*r.Float64(), 3+3*r.Float64()
		s.weak = map[int]float64{r.IntN(4): 0.5 + 0.5*r.Float64()}
		d := drawn{CrankingCurrent, s.draw(), s.meta(), []int{0}, map[string]float64{"cranking.speed": s.rpm}, map[string]float64{}}
		for k, cyl := range s.order {
			share := 1.0
			if w, ok := s.weak[k]; ok {
				share = w
			}
			d.truth[fmt.Sprintf("cranking.ripple@%d", cyl)] = s.base + s.hump*share
			d.good[fmt.Sprintf("cranking.hump@%d", cyl)] = s.hump * share
		}
		return d
	}},
	{"crank sensor", [2]float64{}, func(r *rand.Rand, seed uint64) drawn {
		s := plainCrank()
		s.seed, s.rpm, s.jitter, s.turns = seed, 650+400*r.Float64(), (1+4*r.Float64())*1e-6, 80+r.IntN(80)
		s.misfire = map[int]float64{}
		share := 0.3 * r.Float64()
		for k := 9; k < 2*s.turns-12; k++ { // position 2 of the order
			if k%4 == 2 && r.Float64() < share {
				s.misfire[k] = 0.06
			}
		}
		return drawn{CrankEdges, s.draw(), s.meta(), nil, map[string]float64{"misfire.rate@4": 100 * share}, map[string]float64{"crank.teeth": 35}}
	}},
	{"brake motor", [2]float64{20, 60}, func(r *rand.Rand, seed uint64) drawn {
		a := 0.85 + 0.3*r.Float64()
		noise, at := 0.05+0.1*r.Float64(), 2+r.Float64()
		e := epb{seconds: 70, noise: noise, rest: 12.6, ohm: 0.01, left: []placedMove{{at, scaled(epbHealthy, a), 1}, {36, scaled(epbRelease, a), -1}}}
		e.right = []placedMove{{4, epbHealthy, 1}, {38, epbRelease, -1}}
		return drawn{BrakeMotorCurrent, e.draw(), Meta{Item: 1}, []int{0, 1}, map[string]float64{"brake.free_current@3": 3.5 * a, "brake.clamp_current@3": 18 * a, "brake.apply_time@3": float64(len(epbHealthy)) / 100, "brake.release_time@3": float64(len(epbRelease)) / 100},
			map[string]float64{"brake.inrush@3": 31 * a, "brake.cycles@3": 1, "brake.side_difference": 200 * math.Abs(a-1) / (a + 1), "brake.rest_shortest": 36 - at - float64(len(epbHealthy))/100}}
	}},
	{"battery, rested", [2]float64{}, func(r *rand.Rand, seed uint64) drawn {
		v := 11.9 + 0.9*r.Float64()
		x := pressures(8, 200, 0.003+0.01*r.Float64(), seed, func(float64) float64 { return v })
		return drawn{BatteryKind, sampledAt(200, channel("battery", "V", x)), Meta{Condition: evidence.Condition{State: evidence.Off}}, []int{0}, map[string]float64{"battery.rested": v}, nil}
	}},
	{"charging ripple", [2]float64{0.05, 0.5}, func(r *rand.Rand, seed uint64) drawn {
		hz, pp := 330+270*r.Float64(), 0.06+0.2*r.Float64()
		x := rectified(50e3, 0.6, hz, pp, 0.002+0.004*r.Float64(), false, seed)
		return drawn{BatteryKind, sampledAt(50e3, channel("battery", "V", x)), Meta{Condition: evidence.Condition{State: evidence.Raised, SpeedRPM: 1500}}, []int{0}, map[string]float64{"charging.ripple": pp, "charging.ripple_frequency": 6 * hz}, nil}
	}},
	{"fuel pressure", [2]float64{}, func(r *rand.Rand, seed uint64) drawn {
		p := 250e3 + 200e3*r.Float64()
		x := pressures(6+6*r.Float64(), 100, 1e3+3e3*r.Float64(), seed, func(t float64) float64 { return p + 4e3*math.Sin(2*math.Pi*13*t) })
		return drawn{FuelPressureKind, sampledAt(100, channel("rail", "Pa", x)), inState(evidence.Idle), []int{0}, map[string]float64{"fuel.pressure_idle": p}, nil}
	}},
	{"rest pressure", [2]float64{}, func(r *rand.Rand, seed uint64) drawn {
		p, tau := 300e3+100e3*r.Float64(), 500+3000*r.Float64()
		x := pressures(330, 20, 500+1e3*r.Float64(), seed, func(t float64) float64 { return p * math.Exp(-t/tau) })
		return drawn{FuelPressureKind, sampledAt(20, channel("rail", "Pa", x)), inState(evidence.Off), []int{0}, map[string]float64{"fuel.rest_loss": p * math.Exp(-restSettle/tau) * (1 - math.Exp(-300/tau)), "fuel.rest_loss_minute": p * math.Exp(-restSettle/tau) * (1 - math.Exp(-60/tau))}, nil}
	}},
	{"pump current", [2]float64{0.5, 3}, func(r *rand.Rand, seed uint64) drawn {
		rpm, bars := 4000+3000*r.Float64(), 8
		x := pumpCurrent(25e3, 1.5+r.Float64(), rpm, bars, 0.5+0.3*r.Float64(), 0.03+0.06*r.Float64(), seed)
		return drawn{FuelPressureKind, sampledAt(25e3, channel("pump", "A", x)), inState(evidence.Idle), []int{0}, map[string]float64{"fuel.pump_speed": rpm}, nil}
	}},
	{"cylinder pressure", [2]float64{2, 10}, func(r *rand.Rand, seed uint64) drawn {
		m := idleModel()
		m.seed, m.rpm, m.seconds = seed, 700+200*r.Float64(), 2.5
		m.ratio, m.intake, m.noise = 9+3*r.Float64(), 28e3+15e3*r.Float64(), 300+700*r.Float64()
		rec := m.draw()
		return drawn{CylinderPressure, rec, pressureMeta(evidence.Idle), []int{0}, map[string]float64{"compression.running@3": m.peakTrue - m.ambient},
			map[string]float64{"cylinder.tower_loss@3": 100 * m.lostTruth, "cylinder.exhaust_plateau@3": m.exhaust - m.ambient, "cylinder.intake_pressure@3": m.intake, "cylinder.exhaust_opening@3": m.opens, "cylinder.intake_closing@3": m.closes}}
	}},
	{"parameter log", [2]float64{}, func(r *rand.Rand, seed uint64) drawn {
		d := plainDrive()
		d.trims = [4]float64{-6 + 12*r.Float64(), -6 + 12*r.Float64(), -6 + 12*r.Float64(), -6 + 12*r.Float64()}
		d.ve, d.minutes = 0.7+0.25*r.Float64(), 6
		rec := &trace.Recording{Time: trace.TimeBase{Num: 2e8, Den: 1}}
		for _, s := range d.series(seed) {
			rec.Channels = append(rec.Channels, trace.Channel{Name: s.Name, Unit: s.Unit, Values: s.V})
			rec.Time.N = len(s.V)
		}
		rec.Segments = []trace.Segment{{End: rec.Time.N}}
		return drawn{ParameterLog, rec, petrol16, nil, map[string]float64{"trim.idle@b1": d.trims[0], "trim.raised@b1": d.trims[1], "trim.cruise@b1": d.trims[2], "air.volumetric_efficiency": 100 * d.ve},
			map[string]float64{"injector.follow_delay": d.pulseLag, "injector.follow_gain": 1e-3, "log.idle_speed": 780, "coolant.running": 90}}
	}},
	{"current with everything off", [2]float64{}, func(r *rand.Rand, seed uint64) drawn {
		asleep, until := 0.01+0.06*r.Float64(), float64(400+r.IntN(1200))
		x := pressures(2400, 1, 0.001+0.003*r.Float64(), seed, func(t float64) float64 {
			switch {
			case t < 120:
				return 3.4
			case t < until:
				return 0.45
			}
			return asleep
		})
		return drawn{BatteryKind, sampledAt(1, channel("clamp", "A", x)), Meta{Condition: evidence.Condition{State: evidence.Off}}, nil, map[string]float64{"battery.parasitic": asleep, "battery.sleep_time": until}, nil}
	}},
	{"injector, boosted", [2]float64{}, func(r *rand.Rand, seed uint64) drawn {
		b := plainBoosted((0.5 + 1.5*r.Float64()) * 1e-3)
		b.boost, b.peak, b.hold, b.noise = 55+15*r.Float64(), 8+4*r.Float64(), 2.3+0.6*r.Float64(), 0.2+0.5*r.Float64()
		for k := range b.every { // not locked to the recorder's clock
			b.every[k] += 20e-6 * r.Float64()
		}
		return drawn{InjectorKind, only(b.draw(seed), "injector voltage"), cyl2(), nil, map[string]float64{"injector.boost_voltage": b.boost, "injector.on_time": b.on}, nil}
	}},
}

// harm is trouble that no estimator models, put on the finished samples.
type harm struct {
	name string
	do   func(r *rand.Rand, k coverKind, rate float64, v []float64) bool // false: does not happen to this kind
}

var harms = []harm{
	{"noise alone", func(*rand.Rand, coverKind, float64, []float64) bool { return true }},
	{"droop", func(r *rand.Rand, k coverKind, rate float64, v []float64) bool {
		if k.droop[1] == 0 {
			return false
		}
		tau := k.droop[0] + (k.droop[1]-k.droop[0])*r.Float64()
		lost := 0.0
		if k.name == "charging ripple" || k.name == "pump current" {
			lost = v[0] // settled on its level
		}
		for i := range v {
			v[i] -= lost
			lost += v[i] / tau / rate
		}
		return true
	}},
	{"50 Hz hum of 1 to 3 % of the swing", func(r *rand.Rand, _ coverKind, rate float64, v []float64) bool {
		// Of the swing without what is rare: an inrush, a spark.
		a, ph := (0.01+0.02*r.Float64())*(stats.Quantile(v, 0.95)-stats.Quantile(v, 0.05)), 2*math.Pi*r.Float64()
		for i := range v {
			v[i] += a * math.Sin(2*math.Pi*50*float64(i)/rate+ph)
		}
		return true
	}},
	{"gain off by 2 % (one sigma)", func(r *rand.Rand, _ coverKind, _ float64, v []float64) bool {
		g := 1 + 0.02*r.NormFloat64()
		for i := range v {
			v[i] *= g
		}
		return true
	}},
	{"cut off at 70 to 90 % of the swing", func(r *rand.Rand, _ coverKind, _ float64, v []float64) bool {
		lo, hi := slices.Min(v), slices.Max(v)
		top := lo + (0.7+0.2*r.Float64())*(hi-lo)
		for i := range v {
			v[i] = math.Min(v[i], top)
		}
		return true
	}},
}

// scaleFree are features that the scale of the instrument does not touch: times,
// speeds, and the height of a pickup whose gain is free.
func scaleFree(feature string) bool {
	f, _ := evidence.Lookup(feature)
	return f.Dim == unit.Time || f.Dim == unit.EngineSpeed || f.Dim == unit.Frequency
}

// knownMisses are rows in which the stated interval does not hold the truth often
// enough, with the reason; docs/coverage.md lists them.
var knownMisses = map[string]string{
	"cranking.ripple, droop":                                          "a clamp that drifts lowers all crests alike, as a battery that runs down does; the ratio between cylinders, which is what is compared, holds",
	"brake.clamp_current, cut off at 70 to 90 % of the swing":         "where only the last one or two samples of the clamp are cut, nothing comes back often enough to tell; with the recorder's full scale known it is flagged",
	"fuel.rest_loss_minute, cut off at 70 to 90 % of the swing":       "a flat start is the pump still running: the minute begins where the fall does",
	"compression.running, droop":                                      "a charge amplifier that couples within 2 to 10 s lowers the crest by half a percent",
	"ignition.firing_height_idle, cut off at 70 to 90 % of the swing": "few are read at all: those whose firing lines hardly reach the cut",
	"charging.ripple, cut off at 70 to 90 % of the swing":             "few are read at all",
}

// wider are the features whose interval holds the truth in more than 98 of 100 of the
// drawn captures, and why that is meant: what the interval allows for and the closed
// forms do not draw. docs/coverage.md lists them.
var wider = map[string]string{
	"cranking.speed":            "a thousandth for the recorder's clock, which is drawn true",
	"fuel.pump_speed":           "a thousandth for the recorder's clock, which is drawn true",
	"crank.teeth":               "a count: it is right or wrong",
	"brake.cycles":              "a count: it is right or wrong",
	"brake.apply_time":          "one sample either way; the drawn movement begins and ends on a sample",
	"brake.release_time":        "one sample either way; the drawn movement begins and ends on a sample",
	"brake.rest_shortest":       "one sample; both movements that bound the rest are drawn on the grid",
	"brake.clamp_current":       "2 % for the clamp on this wire, the same in each movement, and the rise within one sample; drawn true",
	"brake.free_current":        "2 % for the clamp on this wire, the same in each movement; drawn true",
	"brake.inrush":              "a tenth for the top between two samples of a slow recorder; the drawn top lies on one",
	"brake.side_difference":     "3 points from 2 % on each side; drawn true",
	"battery.rested":            "a tenth of the noise: neighbouring samples of a real probe do not vary each by itself, the drawn ones do",
	"battery.sleep_time":        "the step of the search; the drawn step lies on it",
	"charging.ripple_frequency": "the resolution of the spectrum; the drawn line is pure",
	"fuel.pressure_idle":        "one value of its own in a second: a regulator wanders; the drawn one does not",
	"fuel.rest_loss_minute":     "a second of doubt about when the minute begins",
	"compression.running":       "2 kPa for the transducer's zero and 0.3 % of the peak, which are drawn true",
	"cylinder.exhaust_plateau":  "zero of the transducer and air pressure of the day, which are drawn true",
	"cylinder.intake_pressure":  "zero of the transducer and air pressure of the day, which are drawn true",
	"cylinder.tower_loss":       "0.8 points and 12 % of the loss for the gas and the form of the leak, which are drawn as assumed",
	"cylinder.exhaust_opening":  "zero, polytropic exponent and mark, which are drawn true",
	"cylinder.intake_closing":   "zero, polytropic exponent and mark, which are drawn true",
	"air.volumetric_efficiency": "5 % for airflow sensor and displacement, which are drawn true",
	"coolant.running":           "half a degree for the controller's steps; drawn on a full degree",
	"injector.follow_delay":     "half a row of the log; the drawn delay is full rows",
	"injector.follow_gain":      "one value of its own in a second: a foot moves no faster; the drawn rows are each on their own",
	"log.idle_speed":            "5 rpm for the controller's steps; drawn true",
	"trim.idle":                 "half a point for rounding and wandering; the drawn trim stands still",
	"trim.raised":               "half a point for rounding and wandering; the drawn trim stands still",
	"trim.cruise":               "half a point for rounding and wandering; the drawn trim stands still",
	"injector.boost_voltage":    "half a percent for the probe's attenuation, which is drawn true",
}

// widest is the mean square of errors, in stated uncertainties, of a 95 % interval that
// holds the truth in 98 % of cases: it is 2.33 true standard deviations wide, not 1.96.
const widest = (1.959964 / 2.326348) * (1.959964 / 2.326348)

// tooWide reports whether m errors are so small, squared and summed up, that the interval
// holds the truth in more than 98 % of cases; it errs once in 10,000. Six runs can show
// by the errors' size what the share alone could not with a thousand.
func tooWide(zz, m float64) bool { return zz < widest*distuv.ChiSquared{K: m}.Quantile(1e-4) }

// TestCoverage checks the stated uncertainties of all kinds but primary and injector
// (TestCircuitCoverage) by Monte Carlo. Few runs by default; PROVEOUT_COVERAGE=300
// with -v prints the table of docs/coverage.md.
func TestCoverage(t *testing.T) {
	runs, full := 6, false
	if s := os.Getenv("PROVEOUT_COVERAGE"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 6 {
			t.Fatalf("PROVEOUT_COVERAGE=%q is no number of runs", s)
		}
		runs, full = n, true
	}
	for _, k := range coverKinds {
		for h, harm := range harms {
			type sum struct {
				cover
				bias float64
			}
			got := map[string]*sum{}
			for i := range runs {
				seed := uint64(5000 + i)
				r := rand.New(rand.NewPCG(seed, 303))
				d := k.draw(r, seed)
				if h > 0 && len(d.main) == 0 {
					break
				}
				happens := true
				for _, c := range d.main {
					v := slices.Clone(d.rec.Channels[c].Values)
					happens = harm.do(rand.New(rand.NewPCG(seed, 404)), k, d.rec.Time.RateHz(), v)
					d.rec.Channels[c].Values = v
				}
				if !happens {
					break
				}
				res, err := Capture(d.kind, d.rec, d.meta)
				if h == 0 {
					maps.Copy(d.truth, d.good)
				}
				for key, want := range d.truth {
					feature, place, _ := strings.Cut(key, "@")
					s := got[feature]
					if s == nil {
						s = &sum{}
						got[feature] = s
					}
					s.n++
					rd, ok := readingAt(res, feature, place)
					if err != nil || !ok || rd.Blocked() {
						s.refused++
						continue
					}
					u := rd.Uncertainty
					if harm.name[:4] == "gain" && !scaleFree(feature) {
						u = math.Hypot(u, 0.02*math.Abs(rd.Value.SI))
					}
					s.bias += (rd.Value.SI - want) / math.Max(math.Abs(want), rd.Uncertainty)
					s.zz += (rd.Value.SI - want) * (rd.Value.SI - want) / (u * u)
					if math.Abs(rd.Value.SI-want) <= 1.959964*u {
						s.in++
					}
				}
			}
			var features []string
			for f := range got {
				features = append(features, f)
			}
			slices.Sort(features)
			for _, f := range features {
				s := got[f]
				m := float64(s.n - s.refused)
				share := fmt.Sprintf("%.1f %%", 100*s.share())
				if m < 20 && full {
					share = fmt.Sprintf("%d of %.0f read", s.in, m)
				}
				if full {
					fmt.Printf("| %s | %s | %s | %+.2f %% | %.1f %% |\n", f, harm.name, share, 100*s.bias/math.Max(1, m), 100*float64(s.refused)/float64(s.n))
				}
				if h == 0 && 5*s.refused > s.n {
					t.Errorf("%s: %d of %d good traces were refused", f, s.refused, s.n)
				}
				if h == 0 && m > 5 {
					_, listed := wider[f]
					switch {
					case !listed && tooWide(s.zz, m):
						t.Errorf("%s: the stated uncertainty is %.1f times the errors' size, which no reason is given for", f, math.Sqrt(m/s.zz))
					case listed && m >= 100 && s.zz > widest*m:
						t.Errorf("%s is listed as wider than it need be and is not any more", f)
					case listed && s.zz > (distuv.ChiSquared{K: m}).Quantile(0.9999):
						t.Errorf("%s is listed as wider than it need be; its errors are %.1f times what is stated", f, math.Sqrt(s.zz/m))
					}
				}
				if _, known := knownMisses[f+", "+harm.name]; known {
					continue
				}
				if least := 0.92 - 4*math.Sqrt(0.92*0.08/math.Max(1, m)); m > 5 && s.share() < least {
					t.Errorf("%s, %s: %d of %.0f intervals hold the truth", f, harm.name, s.in, m)
				}
			}
		}
	}
}

// readingAt finds a feature of a cylinder, corner or bank ("b1"); place empty: any.
func readingAt(res Result, feature, place string) (evidence.Reading, bool) {
	for _, r := range res.Readings {
		n := strconv.Itoa(r.Subject.Number)
		if r.Feature == feature && (place == "" || place == n || place == "b"+n) {
			return r, true
		}
	}
	return evidence.Reading{}, false
}
