package measure

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
	"proveout/vehicle"
)

// parade draws all cylinders one after the other in closed form, with known truth:
// linear rise, flat spark line, damped cosine after it, turn-on of the dwell. It
// shares nothing with the measuring code.
type paradeSynth struct {
	rpm, seconds, rate float64
	order              []int
	crest, burn        []float64       // by cylinder, kV and s
	sign               []float64       // by cylinder
	waste              float64         // height of the exhaust spark of a coil's other lead, as a share of its own; 0 = none
	leads              map[int]bool    // waste spark: cylinders whose lead is seen; nil = both of each coil
	skip               map[int]float64 // share of firings of which nothing is seen
	sync               int             // cylinder of the sync
	every              float64         // syncs in a cycle: 1, or 2
	snaps              []float64       // times at which the throttle is snapped open
	snapUp             []float64       // by cylinder: firing line at snap over that at idle
	lead               float64         // sync before its firing, share of an interval
	seed               uint64
}

func plainParade(order ...int) paradeSynth {
	p := paradeSynth{rpm: 800, seconds: 4, rate: 500e3, order: order, sync: 1, every: 1, seed: 3, skip: map[int]float64{}}
	for range order {
		p.crest, p.burn, p.sign = append(p.crest, 8), append(p.burn, 1.3e-3), append(p.sign, 1)
	}
	return p
}

func (p paradeSynth) draw() *trace.Recording {
	rng := rand.New(rand.NewPCG(p.seed, 99))
	n := int(p.seconds * p.rate)
	v, s := make([]float64, n), make([]float64, n)
	fire := func(t, crest, burn float64) {
		for i := max(0, int((t-2.5e-3)*p.rate)); i < min(n, int((t+6e-3)*p.rate)); i++ {
			x := float64(i)/p.rate - t
			switch {
			case x < -30e-6:
				u := x + 2.5e-3
				v[i] += -0.08 * crest * math.Exp(-u/1e-3)
			case x < 0:
				v[i] += crest * (1 + x/30e-6)
			case x < burn:
				v[i] += crest * (0.12 + 0.2*math.Exp(-x/2e-6))
			default:
				v[i] += 0.12 * crest * math.Exp(-(x-burn)/250e-6) * math.Cos(2*math.Pi*8e3*(x-burn))
			}
		}
	}
	N := len(p.order)
	speed := func(t float64) (rpm float64, opening bool) {
		for _, s := range p.snaps {
			switch x := t - s; {
			case x >= 0 && x < 0.5: // throttle open
				return p.rpm * (1 + 5*x), true
			case x >= 0.5 && x < 1.2:
				return p.rpm * (1 + 2.5*(1.2-x)/0.7), false
			}
		}
		return p.rpm, false
	}
	k := 0
	interval := 0.0
	for t := 0.02; t < p.seconds-0.01; t, k = t+interval*(1+0.004*rng.NormFloat64()), k+1 {
		rpm, opening := speed(t)
		interval = 120 / rpm / float64(N)
		c := p.order[k%N]
		crest := p.crest[c-1] * (1 + 0.08*rng.NormFloat64())
		if opening {
			crest *= p.snapUp[c-1]
		}
		burn := p.burn[c-1] * (1 + 0.05*rng.NormFloat64())
		other := p.order[(k+N/2)%N]
		if rng.Float64() >= p.skip[c] && (p.leads == nil || p.leads[c]) {
			fire(t, p.sign[c-1]*crest, burn)
		}
		if p.waste > 0 && p.leads[other] {
			fire(t, p.sign[other-1]*p.waste*p.crest[other-1]*(1+0.08*rng.NormFloat64()), 1.2*burn)
		}
		if c == p.sync || p.every == 2 && other == p.sync {
			from := int((t - p.lead*interval) * p.rate)
			for i := max(0, from-25); i < min(n, from+25); i++ {
				s[i] = 5
			}
		}
	}
	for i := range v {
		v[i] += 0.02 * rng.NormFloat64()
		s[i] += 0.05 * rng.NormFloat64()
	}
	rec := recording(p.rate, v)
	rec.Channels[0].Name = "secondary"
	rec.Channels = append(rec.Channels, trace.Channel{Name: "sync", Unit: unit.Must("V"), Values: s})
	return rec
}

func paradeMeta(ignition vehicle.Ignition, order ...int) Meta {
	return Meta{Item: 1, Placement: "1", Condition: evidence.Condition{State: evidence.Idle},
		Engine: vehicle.Engine{Cylinders: len(order), FiringOrder: order, Ignition: ignition}}
}

func measureParade(t *testing.T, rec *trace.Recording, m Meta) Result {
	t.Helper()
	res, err := Capture(IgnitionParade, rec, m)
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// byCylinder is the value of a feature for each cylinder, not blocked.
func byCylinder(res Result, feature string) map[int]float64 {
	out := map[int]float64{}
	for _, r := range res.Readings {
		if r.Feature == feature && !r.Blocked() {
			out[r.Subject.Number] = r.Value.SI
		}
	}
	return out
}

func whys(res Result) string {
	var out []string
	for _, n := range res.NotMeasured {
		out = append(out, fmt.Sprintf("%s: %s. %s", n.Subject, n.Why, n.Fix))
	}
	return strings.Join(out, "\n")
}

// Each cylinder's own burn time and firing line come back under its own number, for
// every common firing order and from idle to a fast six.
func TestParadeDealsFiringsToCylinders(t *testing.T) {
	for _, c := range []struct {
		order []int
		rpm   float64
		state evidence.State
	}{
		{[]int{1, 2, 3}, 900, evidence.Idle}, {[]int{1, 3, 4, 2}, 800, evidence.Idle}, {[]int{1, 2, 4, 3}, 2500, evidence.Cruise},
		{[]int{1, 2, 4, 5, 3}, 750, evidence.Idle}, {[]int{1, 5, 3, 6, 2, 4}, 3000, evidence.Cruise}, {[]int{1, 8, 4, 3, 6, 5, 7, 2}, 700, evidence.Idle},
		{[]int{1, 8, 4, 3, 6, 5, 7, 2}, 2800, evidence.Load},
	} {
		p := plainParade(c.order...)
		p.rpm = c.rpm
		for i := range p.crest {
			p.crest[i] = 6 + 0.7*float64(i)
			p.burn[i] = (0.9 + 0.1*float64(i)) * 1e-3
		}
		m := paradeMeta(vehicle.Distributor, c.order...)
		m.Condition.State = c.state
		res := measureParade(t, p.draw(), m)
		suffix := suffixOf(c.state)
		burns, heights := byCylinder(res, "ignition.burn_time"+suffix), byCylinder(res, "ignition.firing_height"+suffix)
		for i := range c.order {
			if b := burns[i+1]; math.Abs(b-p.burn[i]) > 0.06*p.burn[i] {
				t.Errorf("%v at %g rpm: cylinder %d burns %.3g ms, drawn %.3g; %s", c.order, c.rpm, i+1, 1e3*b, 1e3*p.burn[i], whys(res))
			}
			if h := heights[i+1]; math.Abs(h-p.crest[i]) > 0.09*p.crest[i] {
				t.Errorf("%v at %g rpm: cylinder %d fires at %.3g, drawn %.3g", c.order, c.rpm, i+1, h, p.crest[i])
			}
		}
		if res.Condition.State != c.state || math.Abs(res.Condition.SpeedRPM-c.rpm) > 0.01*c.rpm {
			t.Errorf("%v: condition %+v, drawn %g rpm", c.order, res.Condition, c.rpm)
		}
		for _, r := range res.Readings {
			if r.From.Channel != "secondary" || r.From.Last <= r.From.First || !r.Has(evidence.OnePickup) {
				t.Errorf("%v: %s of %s is from %+v, flags %v", c.order, r.Feature, r.Subject, r.From, r.Flags)
			}
		}
	}
}

// What may not be dealt out is not: no reading of any cylinder, and why.
func TestParadeRefuses(t *testing.T) {
	order := []int{1, 3, 4, 2}
	cases := map[string]struct {
		set  func(*paradeSynth, *Meta)
		says string
	}{
		"no sync":            {func(p *paradeSynth, m *Meta) { m.Columns = []Column{{Channel: "sync", As: "ignore"}} }, "no sync"},
		"cylinders unknown":  {func(p *paradeSynth, m *Meta) { m.Engine = vehicle.Engine{} }, "number of cylinders"},
		"six declared":       {func(p *paradeSynth, m *Meta) { m.Engine = paradeMeta("", 1, 5, 3, 6, 2, 4).Engine }, "4 firings"},
		"three declared":     {func(p *paradeSynth, m *Meta) { m.Engine = paradeMeta("", 1, 2, 3).Engine }, "4 firings"},
		"five declared":      {func(p *paradeSynth, m *Meta) { m.Engine = paradeMeta("", 1, 2, 4, 5, 3).Engine }, "4 firings"},
		"two declared":       {func(p *paradeSynth, m *Meta) { m.Engine = paradeMeta("", 1, 2).Engine }, "4 firings"},
		"eight declared":     {func(p *paradeSynth, m *Meta) { m.Engine = paradeMeta("", 1, 8, 4, 3, 6, 5, 7, 2).Engine }, "every second"},
		"sync twice a cycle": {func(p *paradeSynth, m *Meta) { p.every = 2 }, "every second"},
		"injector sync":      {func(p *paradeSynth, m *Meta) { p.lead = 0.45 }, "belongs to neither"},
		"no sync pulse":      {func(p *paradeSynth, m *Meta) { p.sync = 9 }, "sync"},
		"sync of cylinder 9": {func(p *paradeSynth, m *Meta) {
			m.Columns = []Column{{Channel: "secondary", As: IgnitionParade}, {Channel: "sync", As: syncRole, Subject: evidence.Cyl(9)}}
		}, "cylinder 9"},
	}
	for name, c := range cases {
		p, m := plainParade(order...), paradeMeta(vehicle.CoilOnPlug, order...)
		c.set(&p, &m)
		res := measureParade(t, p.draw(), m)
		if len(res.Readings) != 0 || !strings.Contains(whys(res), c.says) {
			t.Errorf("%s: %d readings; said %q, want %q", name, len(res.Readings), whys(res), c.says)
		}
	}
}

// A sync on another cylinder cannot be seen in the trace; a second sync shows it.
func TestParadeSyncOnAnotherCylinder(t *testing.T) {
	order := []int{1, 3, 4, 2}
	p := plainParade(order...)
	p.burn[2] = 0.7e-3
	second := p
	p.sync, second.sync = 1, 3
	rec := p.draw()
	witness := second.draw().Channels[1]
	witness.Name = "trigger"
	rec.Channels = append(rec.Channels, witness)
	for given, want := range map[int]bool{3: true, 4: false, 2: false} {
		m := paradeMeta(vehicle.CoilOnPlug, order...)
		m.Columns = []Column{{Channel: "secondary", As: IgnitionParade}, {Channel: "sync", As: syncRole, Subject: evidence.Cyl(1)}, {Channel: "trigger", As: syncRole, Subject: evidence.Cyl(given)}}
		res := measureParade(t, rec, m)
		if got := len(res.Readings) > 0; got != want {
			t.Errorf("second sync given as of cylinder %d: measured %v; %s", given, got, whys(res))
		}
		if !want && !strings.Contains(whys(res), "do not lie as the firing order") {
			t.Errorf("second sync given as of cylinder %d: %s", given, whys(res))
		}
	}
	// The one sync is of cylinder 3 and given as such: the numbers turn with it.
	m := paradeMeta(vehicle.CoilOnPlug, order...)
	m.Columns = []Column{{Channel: "secondary", As: IgnitionParade}, {Channel: "sync", As: syncRole, Subject: evidence.Cyl(3)}}
	p.sync = 3
	if b := byCylinder(measureParade(t, p.draw(), m), "ignition.burn_time_idle")[3]; math.Abs(b-0.7e-3) > 0.05e-3 {
		t.Errorf("cylinder 3 by its own sync burns %.3g ms", 1e3*b)
	}
	// With one sync the notes say on whose word the cylinders rest.
	said := false
	for _, n := range measureParade(t, p.draw(), paradeMeta(vehicle.CoilOnPlug, order...)).Notes {
		said = said || strings.Contains(n.Text, "the trace cannot show")
	}
	if !said {
		t.Error("nothing says that the sync cannot be checked")
	}
}

// Without a firing order only the sync's cylinder is named; with an assumed one its
// companion too.
func TestParadeOrderUnknown(t *testing.T) {
	order := []int{1, 3, 4, 2}
	p := plainParade(order...)
	m := paradeMeta(vehicle.CoilOnPlug, order...)
	m.Engine.FiringOrder = nil
	if got := byCylinder(measureParade(t, p.draw(), m), "ignition.burn_time_idle"); len(got) != 1 || got[1] == 0 {
		t.Errorf("without an order: %v", got)
	}
	m = paradeMeta(vehicle.CoilOnPlug, order...)
	m.Engine.OrderAssumed = true
	if got := byCylinder(measureParade(t, p.draw(), m), "ignition.burn_time_idle"); len(got) != 2 || got[1] == 0 || got[4] == 0 {
		t.Errorf("with an assumed order: %v", got)
	}
}

// A dead cylinder is named as such, and one that misses now and then has its share.
func TestParadeMissing(t *testing.T) {
	p := plainParade(1, 3, 4, 2)
	p.skip[4], p.skip[2] = 1, 0.2
	p.seconds = 12
	p.rate = 200e3
	res := measureParade(t, p.draw(), paradeMeta(vehicle.CoilOnPlug, 1, 3, 4, 2))
	if b := byCylinder(res, "ignition.burn_time_idle"); b[4] != 0 || len(b) != 3 {
		t.Errorf("burn times %v", b)
	}
	if !strings.Contains(whys(res), "cylinder 4: at its place in the cycle nothing fires") {
		t.Errorf("said %q", whys(res))
	}
	share := byCylinder(res, "ignition.missing_share")
	if math.Abs(share[2]-20) > 10 || share[1] > 1 || share[3] > 1 {
		t.Errorf("shares %v, drawn 0, 20, 0 for cylinders 1, 2, 3", share)
	}
}

// Waste spark: the pickup on both leads shows each cylinder with its own polarity,
// the one on a single lead shows compression and exhaust of one.
func TestParadeWasteSpark(t *testing.T) {
	order := []int{1, 3, 4, 2}
	m := paradeMeta(vehicle.WasteSpark, order...)
	both := plainParade(order...)
	both.sign = []float64{-1, -1, 1, 1} // companions 1-4 and 3-2 the other way round
	both.burn = []float64{1.0e-3, 1.1e-3, 1.2e-3, 1.3e-3}
	both.waste = 0.25
	both.leads = map[int]bool{1: true, 2: true, 3: true, 4: true}
	for i, b := range byCylinder(measureParade(t, both.draw(), m), "ignition.burn_time_idle") {
		if math.Abs(b-both.burn[i-1]) > 0.1*both.burn[i-1] {
			t.Errorf("both leads: cylinder %d burns %.3g ms, drawn %.3g", i, 1e3*b, 1e3*both.burn[i-1])
		}
	}
	if n := len(byCylinder(measureParade(t, both.draw(), m), "ignition.burn_time_idle")); n != 4 {
		t.Errorf("both leads: %d cylinders", n)
	}
	one := both
	one.leads = map[int]bool{1: true, 3: true}
	one.waste = 0.35
	res := measureParade(t, one.draw(), m)
	if b := byCylinder(res, "ignition.burn_time_idle"); len(b) != 2 || b[1] == 0 || b[3] == 0 {
		t.Errorf("single leads: burn times %v; %s", b, whys(res))
	}
	for c, r := range byCylinder(res, "ignition.waste_ratio") {
		if math.Abs(r-0.35) > 0.03 || c != 1 && c != 3 {
			t.Errorf("cylinder %d: exhaust over compression %.3g, drawn 0.35", c, r)
		}
	}
	if len(byCylinder(res, "ignition.waste_ratio")) != 2 || !strings.Contains(whys(res), "exhaust stroke of cylinder 1") {
		t.Errorf("single leads: %s", whys(res))
	}
	lead := one
	lead.leads = map[int]bool{1: true}
	single := onCylinder(1)
	single.Engine = m.Engine
	if got := byCylinder(capture(t, recording(lead.rate, lead.draw().Channels[0].Values), single), "ignition.waste_ratio"); math.Abs(got[1]-0.35) > 0.03 {
		t.Errorf("one lead alone: exhaust over compression %v, drawn 0.35", got)
	}
	alike := one
	alike.waste = 0.8
	if res := measureParade(t, alike.draw(), m); len(byCylinder(res, "ignition.burn_time_idle")) != 0 || !strings.Contains(whys(res), "which is compression") {
		t.Errorf("strokes alike: %v; %s", byCylinder(res, "ignition.burn_time_idle"), whys(res))
	}
}

// One coil wired the other way round is told, and measured all the same.
func TestParadeReversedPolarity(t *testing.T) {
	p := plainParade(1, 3, 4, 2)
	p.sign = []float64{-1, -1, 1, -1}
	p.crest[2] = 10
	res := measureParade(t, p.draw(), paradeMeta(vehicle.CoilOnPlug, 1, 3, 4, 2))
	told := false
	for _, n := range res.Notes {
		told = told || n.Trouble && strings.Contains(n.Text, "cylinder 3 fires the other way round")
	}
	if h := byCylinder(res, "ignition.firing_height_idle"); !told || math.Abs(h[3]-10) > 0.7 || len(h) != 4 {
		t.Errorf("told %v, heights %v, notes %+v", told, h, res.Notes)
	}
}

// On a distributor one pickup sees all: a firing line 35 % up is called high from one
// placement. With a pickup for each coil it may not be.
func TestParadeOnePickupCancelsGain(t *testing.T) {
	for ignition, want := range map[vehicle.Ignition]evidence.FindingState{vehicle.Distributor: evidence.High, vehicle.CoilOnPlug: evidence.NotEstablished} {
		p := plainParade(1, 3, 4, 2)
		p.crest[2] *= 1.35
		res := measureParade(t, p.draw(), paradeMeta(ignition, 1, 3, 4, 2))
		var rs []evidence.Reading
		for _, r := range res.Readings {
			if r.Feature == "ignition.firing_height_idle" {
				rs = append(rs, r)
			}
		}
		f, _ := evidence.Lookup("ignition.firing_height_idle")
		c, err := Compare(f, rs, CompareOptions{Versus: Others})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range c.Rows {
			if r.Subject.Number == 3 && r.State != want {
				t.Errorf("%s: cylinder 3 is %s at %.2f of the others", ignition, r.State, r.Effect)
			}
		}
	}
}

// Idle and three snaps in one go: the ratio of each cylinder comes back, from any gain.
func TestParadeSnapRatio(t *testing.T) {
	p := plainParade(1, 3, 4, 2)
	p.seconds, p.snaps, p.snapUp = 9, []float64{2, 4.5, 7}, []float64{2.4, 2.4, 1.5, 2.4}
	p.crest = []float64{8, 5, 11, 7}
	m := paradeMeta(vehicle.CoilOnPlug, 1, 3, 4, 2)
	m.Condition.State = evidence.Snap
	res := measureParade(t, p.draw(), m)
	ratios := byCylinder(res, "ignition.snap_ratio")
	for i, up := range p.snapUp {
		if r := ratios[i+1]; math.Abs(r-up) > 0.08*up {
			t.Errorf("cylinder %d: snap over idle %.3g, drawn %.3g; %s", i+1, r, up, whys(res))
		}
	}
}

// A file with a channel named sync beside the secondary is recognised.
func TestParadeRecognised(t *testing.T) {
	rec := plainParade(1, 3, 4, 2).draw()
	if kind, why := Recognise(rec, paradeMeta(vehicle.CoilOnPlug, 1, 3, 4, 2)); kind != IgnitionParade {
		t.Errorf("recognised as %q: %s", kind, why)
	}
	m := onCylinder(3)
	if kind, _ := Recognise(rec, m); kind == IgnitionParade {
		t.Error("the trace of one cylinder was taken for all")
	}
}

func BenchmarkParade(b *testing.B) {
	p := plainParade(1, 3, 4, 2)
	p.rate, p.seconds = 1e6, 5
	rec, m := p.draw(), paradeMeta(vehicle.CoilOnPlug, 1, 3, 4, 2)
	b.ResetTimer()
	for b.Loop() {
		if res, err := Capture(IgnitionParade, rec, m); err != nil || len(res.Readings) == 0 {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(rec.Channels[0].Values))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}
