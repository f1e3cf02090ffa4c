package measure

import (
	"bytes"
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"proveout/evidence"
	"proveout/trace"
	"proveout/unit"
)

// The trace set of trade.md, appendix A (100 Hz, A): written there as synthetic.
func repeatAmps(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }

func joined(parts ...[]float64) []float64 { return slices.Concat(parts...) }

var (
	epbHealthy  = joined([]float64{31, 24, 16, 9, 5, 3.8}, repeatAmps(3.5, 55), []float64{4.2, 6, 8.5, 11, 13.6, 15.8, 17.4, 18})
	epbSeized   = joined([]float64{30, 27, 25}, repeatAmps(24, 22))
	epbStripped = joined([]float64{28, 15, 6, 2.5}, repeatAmps(1.9, 480))
	epbResist   = joined([]float64{17, 14, 10, 6, 4}, repeatAmps(3.6, 95), []float64{5, 7, 9, 10.8, 11.6, 11.9}, repeatAmps(11.9, 10))
	epbBinding  = joined([]float64{31, 24, 17, 11, 8, 7.2}, repeatAmps(7.4, 20), repeatAmps(8, 10), repeatAmps(9, 12), []float64{11, 13.5, 15.8, 17.4, 18})
	// Release after trade.md 5.5: break-away 8-20 A for 50-150 ms, then free run.
	epbRelease = joined([]float64{30, 22, 17, 15, 14, 13, 12, 12, 11, 10, 7, 5}, repeatAmps(3.4, 60))
	epbRetract = joined([]float64{30, 20, 12, 7, 4.5}, repeatAmps(3.5, 500))
	// A usual free run, then an early and slow rise; and an early one as steep as usual.
	epbEarly   = joined([]float64{31, 24, 16, 9, 5, 3.8}, repeatAmps(3.5, 20), climb(3.5, 18, 45))
	epbNear    = joined([]float64{31, 24, 16, 9, 5, 3.8}, repeatAmps(3.5, 20), []float64{4.2, 6, 8.5, 11, 13.6, 15.8, 17.4, 18})
	epbMissing = joined([]float64{30, 22, 14, 8, 5}, repeatAmps(3.7, 480))
)

// epb lays movements on a 100 Hz time line: what, at which second, sign.
type epb struct {
	seconds  float64
	noise    float64
	left     []placedMove
	right    []placedMove
	rest     float64 // supply at rest, V; 0: none
	ohm      float64 // of the supply
	name     string  // of the supply channel
	plugOhm  float64 // further, to the connector; 0: no connector channel
	unsigned bool    // clamp on the feed: never negative
	every    int     // keep each so manyth sample
	zero     float64
}

type placedMove struct {
	at   float64
	amps []float64
	sign float64
}

func (e epb) draw() *trace.Recording {
	rng := rand.New(rand.NewPCG(4, 4))
	n := int(e.seconds * 100)
	side := func(ms []placedMove) []float64 {
		v := make([]float64, n)
		for _, m := range ms {
			sign := m.sign
			if sign == 0 || e.unsigned {
				sign = 1
			}
			for i, a := range m.amps {
				if k := int(m.at*100) + i; k < n {
					v[k] = sign * a
				}
			}
		}
		return v
	}
	l, r := side(e.left), side(e.right)
	supply, plug := make([]float64, n), make([]float64, n)
	for i := range n {
		a := math.Abs(l[i]) + math.Abs(r[i])
		supply[i] = e.rest - a*e.ohm
		plug[i] = supply[i] - math.Abs(l[i])*e.plugOhm
		l[i] += e.noise*rng.NormFloat64() + e.zero
		r[i] += e.noise*rng.NormFloat64() + e.zero
	}
	every := max(1, e.every)
	thin := func(v []float64) []float64 {
		var out []float64
		for i := 0; i < len(v); i += every {
			out = append(out, v[i])
		}
		return out
	}
	rec := &trace.Recording{Time: trace.TimeBase{Num: int64(1e7) * int64(every), Den: 1}}
	add := func(name, u string, v []float64) {
		rec.Channels = append(rec.Channels, trace.Channel{Name: name, Unit: unit.Must(u), Values: thin(v)})
	}
	if e.left != nil {
		add("EPB left (A)", "A", l)
	}
	if e.right != nil {
		add("EPB right (A)", "A", r)
	}
	if e.rest > 0 {
		name := e.name
		if name == "" {
			name = "Battery (V)"
		}
		add(name, "V", supply)
	}
	if e.plugOhm > 0 {
		add("Connector left (V)", "V", plug)
	}
	rec.Time.N = len(rec.Channels[0].Values)
	rec.Segments = []trace.Segment{{First: 0, End: rec.Time.N}}
	return rec
}

func sideOf(run BrakeRun, side string) BrakeSide {
	for _, s := range run.Sides {
		if s.Side == side {
			return s
		}
	}
	return BrakeSide{}
}

// TestBrakeVerdicts: each row of the trace set gives its own verdict, and rows that
// share a trace are not told apart.
func TestBrakeVerdicts(t *testing.T) {
	healthy := []placedMove{{2, epbHealthy, 1}, {35, epbRelease, -1}}
	for _, c := range []struct {
		name    string
		e       epb
		verdict string // of the left side
	}{
		{"healthy", epb{left: healthy, rest: 12.8, ohm: 0.01}, "healthy"},
		{"healthy, one polarity", epb{left: healthy, unsigned: true, rest: 12.8, ohm: 0.01}, "healthy"},
		{"seized", epb{left: []placedMove{{2, epbSeized, 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "seized"},
		{"applied twice", epb{left: []placedMove{{2, epbHealthy, 1}, {20, epbSeized, 1}}, rest: 12.8, ohm: 0.01}, "cannot tell"},
		{"stripped", epb{left: []placedMove{{2, epbStripped, 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "stripped"},
		{"open", epb{left: []placedMove{}, right: healthy, rest: 12.8, ohm: 0.01}, "open"},
		{"open, one spike", epb{left: []placedMove{{2, []float64{3}, 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "open"},
		{"high resistance, connector seen", epb{left: []placedMove{{2, epbResist, 1}}, right: healthy, rest: 12.6, ohm: 0.025, plugOhm: 0.3}, "high resistance"},
		{"high resistance, battery seen", epb{left: []placedMove{{2, epbResist, 1}}, right: healthy, rest: 12.6, ohm: 0.02}, "high resistance"},
		{"high resistance by the other side", epb{left: []placedMove{{2, epbResist, 1}}, right: healthy}, "high resistance"},
		{"stopped early, nothing held it back", epb{left: []placedMove{{2, stoppedAt(epbHealthy, 11), 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "cannot tell"},
		{"weak battery", epb{left: []placedMove{{2, epbResist, 1}}, right: []placedMove{{2, epbResist, 1}}, rest: 12.1, ohm: 0.06}, "weak battery"},
		{"weak on both sides, no voltage", epb{left: []placedMove{{2, epbResist, 1}}, right: []placedMove{{2, epbResist, 1}}}, "cannot tell"},
		{"weak, alone, no voltage", epb{left: []placedMove{{2, epbResist, 1}}}, "cannot tell"},
		{"binding", epb{left: []placedMove{{2, epbBinding, 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "binding"},
		{"nothing to clamp, direction known", epb{left: []placedMove{{2, epbHealthy, 1}, {20, epbRelease, -1}, {40, epbMissing, 1}}, rest: 12.8, ohm: 0.01}, "no load"},
		{"nothing to clamp, direction not known", epb{left: []placedMove{{2, epbMissing, 1}}, rest: 12.8, ohm: 0.01}, "cannot tell"},
		{"service retract", epb{left: []placedMove{{2, epbHealthy, 1}, {30, epbRetract, -1}}, rest: 12.8, ohm: 0.01}, "healthy"},
		{"release only", epb{left: []placedMove{{2, epbRelease, -1}}, rest: 12.8, ohm: 0.01}, "cannot tell"},
		{"binds at a usual free run", epb{left: []placedMove{{2, epbEarly, 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "binding"},
		{"short way to the pad", epb{left: []placedMove{{2, epbNear, 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "healthy"},
		{"collapse in mid-stroke", epb{left: []placedMove{{2, epbHealthy, 1}, {20, epbRelease, -1}, {40, epbHealthy[:30], 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "collapse"},
		{"collapse, no voltage", epb{left: []placedMove{{2, epbHealthy, 1}, {20, epbRelease, -1}, {40, epbHealthy[:30], 1}}, right: healthy}, "collapse"},
		{"stopped in mid-stroke by a low supply", epb{left: []placedMove{{2, epbHealthy, 1}, {20, epbRelease, -1}, {40, epbHealthy[:30], 1}}, rest: 11.2, ohm: 0.01}, "low supply"},
		{"slow by a low supply", epb{left: []placedMove{{2, slowed(epbHealthy, 4), 1}}, rest: 11.2, ohm: 0.01}, "low supply"},
		{"stopped and moved again", epb{left: []placedMove{{2, epbHealthy, 1}, {10, epbRelease, -1}, {20, epbHealthy[:30], 1}, {24, epbHealthy, 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "cannot tell"},
		{"both stopped at once", epb{left: []placedMove{{2, epbHealthy, 1}, {20, epbRelease, -1}, {40, epbHealthy[:30], 1}}, right: []placedMove{{2, epbHealthy, 1}, {20, epbRelease, -1}, {40, epbHealthy[:30], 1}}, rest: 12.8, ohm: 0.01}, "cannot tell"},
		{"slow, the other side is not", epb{left: []placedMove{{2, slowed(epbHealthy, 4), 1}}, right: healthy, rest: 11.5, ohm: 0.01}, "cannot tell"},
		{"slow at a good supply", epb{left: []placedMove{{2, slowed(epbHealthy, 4), 1}}, rest: 12.8, ohm: 0.01}, "cannot tell"},
		{"worn brushes", epb{left: []placedMove{{2, withHoles(epbHealthy, 15, 4), 1}}, right: healthy, rest: 12.8, ohm: 0.01}, "worn brushes"},
	} {
		for _, noise := range []float64{0, 0.05} {
			c.e.seconds, c.e.noise = 50, noise
			run, res, err := BrakeMotor(c.e.draw(), Meta{})
			if err != nil {
				t.Fatal(c.name, err)
			}
			if s := sideOf(run, "left"); s.Verdict != c.verdict {
				t.Errorf("%s, noise %g: %q (%s) %v", c.name, noise, s.Verdict, s.Why, res.NotMeasured)
				for _, m := range run.Movements {
					t.Logf("   %+v", m)
				}
			}
			if c.e.right != nil && c.name != "weak battery" && !strings.HasPrefix(c.name, "weak on both") && !strings.HasPrefix(c.name, "both stopped") {
				if s := sideOf(run, "right"); s.Verdict != "healthy" {
					t.Errorf("%s, noise %g: the healthy right side is called %q (%s)", c.name, noise, s.Verdict, s.Why)
				}
			}
		}
	}
}

// climb rises evenly in n steps.
func climb(from, to float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = from + (to-from)*float64(i+1)/float64(n)
	}
	return out
}

// slowed stretches the free run of a movement.
func slowed(v []float64, times int) []float64 {
	return joined(v[:10], repeatAmps(v[12], times*len(v)), v[12:])
}

// stoppedAt cuts a movement off where it reaches a current after its inrush.
func stoppedAt(v []float64, amps float64) []float64 {
	for i := 10; i < len(v); i++ {
		if v[i] >= amps {
			return append(slices.Clone(v[:i]), amps)
		}
	}
	return v
}

// withHoles lets the current drop out now and then within the free run.
func withHoles(v []float64, from, n int) []float64 {
	out := slices.Clone(v)
	for k := range n {
		out[from+8*k] = 0
	}
	return out
}

// TestBrakeFigures against the drawn values.
func TestBrakeFigures(t *testing.T) {
	e := epb{seconds: 60, noise: 0.05, rest: 12.9, ohm: 0.02, zero: 0.3,
		left:  []placedMove{{2, epbHealthy, 1}, {33.5, epbRelease, -1}},
		right: []placedMove{{2.05, epbHealthy, 1}, {33.5, epbRelease, -1}}}
	run, res, err := BrakeMotor(e.draw(), Meta{Probe: "battery posts"})
	if err != nil {
		t.Fatal(err)
	}
	if len(run.Movements) != 4 {
		t.Fatalf("%d movements, drawn 4: %+v", len(run.Movements), run.Movements)
	}
	m := run.Movements[0]
	if m.Side != "left" || m.Kind != Apply || m.Toward != 1 {
		t.Errorf("%+v", m)
	}
	close := func(what string, got, want, tol float64) {
		t.Helper()
		if math.Abs(got-want) > tol {
			t.Errorf("%s: %.3f, drawn %.3f", what, got, want)
		}
	}
	close("start", m.Start, 2, 0.011)
	close("end", m.End, 2.69, 0.011)
	close("inrush", m.Inrush, 31, 0.3)
	close("free run", m.Free, 3.5, 0.1)
	close("cut-off", m.Final, 17.7, 0.5)
	close("contact", m.Contact, 0.62, 0.02)
	close("rise rate", m.RiseRate, 200, 40) // 6 to 18 A in 60 ms
	// Both motors draw their inrush together 50 ms apart.
	close("supply", m.Supply, 12.9-0.02*(31+5), 0.6)
	if m.SupplySeen {
		t.Error("100 Hz is called too slow")
	}
	if r := run.Movements[2]; r.Kind != Release || r.Toward != -1 {
		t.Errorf("%+v", r)
	}
	// Rest counts from the end of the movement: 33.5 - 2.69.
	if len(run.Rests) != 2 || math.Abs(run.Rests[0].Seconds-30.81) > 0.02 {
		t.Errorf("rests %+v", run.Rests)
	}
	if s := sideOf(run, "left"); s.Cycles != 1 {
		t.Errorf("%d cycles", s.Cycles)
	}
	for feature, want := range map[string]float64{"brake.clamp_current": 17.7, "brake.free_current": 3.45, "brake.apply_time": 0.69, "brake.release_time": 0.72, "brake.cycles": 1, "brake.inrush": 30.5, "brake.side_difference": 0, "brake.rest_shortest": 30.76} {
		r, ok := reading(res, feature)
		if !ok || math.Abs(r.Value.SI-want) > math.Max(3*r.Uncertainty, 0.02) {
			t.Errorf("%s: %v +- %v, drawn %v", feature, r.Value, r.Uncertainty, want)
		}
	}
	if r, _ := reading(res, "brake.clamp_current"); r.Subject != (evidence.Subject{Kind: evidence.Corner, Number: 3}) {
		t.Errorf("subject %v", r.Subject)
	}
}

// TestBrakeThreeCycles: run out and back three times (common practice, no source), the
// third rest too short; the shortest is found.
func TestBrakeThreeCycles(t *testing.T) {
	var ms []placedMove
	at := 2.0
	for k := range 3 {
		ms = append(ms, placedMove{at, epbHealthy, 1})
		at += 0.69 + 30
		ms = append(ms, placedMove{at, epbRelease, -1})
		at += 0.72 + []float64{31, 12, 30}[k]
	}
	run, res, err := BrakeMotor(epb{seconds: 200, left: ms, rest: 13, ohm: 0.01}.draw(), Meta{})
	if err != nil {
		t.Fatal(err)
	}
	s := sideOf(run, "left")
	if s.Cycles != 3 || len(run.Movements) != 6 || s.Verdict != "healthy" {
		t.Errorf("%d cycles, %d movements, %q", s.Cycles, len(run.Movements), s.Verdict)
	}
	if r, ok := reading(res, "brake.rest_shortest"); !ok || math.Abs(r.Value.SI-12) > 0.05 {
		t.Errorf("shortest rest %v, drawn 12 s", r.Value)
	}
	if !said(res, "common practice, no source") {
		t.Error("the short rest is not said")
	}
}

// TestBrakeSidesApart: one side far weaker is said.
func TestBrakeSidesApart(t *testing.T) {
	weak := joined([]float64{31, 24, 16, 9, 5, 3.8}, repeatAmps(3.5, 55), []float64{4.2, 5.5, 7.5, 9.5, 11, 12.2, 13, 13.2})
	_, res, err := BrakeMotor(epb{seconds: 10, left: []placedMove{{2, epbHealthy, 1}}, right: []placedMove{{2, weak, 1}}}.draw(), Meta{})
	if err != nil {
		t.Fatal(err)
	}
	if r, ok := reading(res, "brake.side_difference"); !ok || math.Abs(r.Value.SI-30) > 3 || !said(res, "apart") {
		t.Errorf("%v", r.Value)
	}
}

// TestBrakeSlowSampling: at 25 Hz movement, cut-off and rest are seen, inrush and the
// deepest dip are not, and that is said.
func TestBrakeSlowSampling(t *testing.T) {
	e := epb{seconds: 50, every: 4, rest: 12.9, ohm: 0.01, left: []placedMove{{2, epbHealthy, 1}, {35, epbRelease, -1}}}
	run, res, err := BrakeMotor(e.draw(), Meta{})
	if err != nil {
		t.Fatal(err)
	}
	if len(run.Movements) != 2 || run.Movements[0].Kind != Apply || !run.Movements[0].SupplySeen {
		t.Fatalf("%+v", run.Movements)
	}
	if !strings.Contains(refusal(res, "brake.inrush"), "too slow") || !said(res, "lowest seen supply") {
		t.Errorf("%q %v", refusal(res, "brake.inrush"), res.Notes)
	}
	if r, ok := reading(res, "brake.supply_lowest"); !ok || !r.Has(evidence.TooSlow) {
		t.Errorf("a supply that may have dipped deeper clears it: %v", r.Flags)
	}
}

// TestBrakeRefuses: never a confident wrong number.
func TestBrakeRefuses(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	one := epb{seconds: 20, left: []placedMove{{2, epbHealthy, 1}, {12, epbRelease, -1}}, noise: 0.02}
	for _, c := range []struct {
		name  string
		alter func([]float64) []float64
		every int
		why   string
	}{
		{"flat", func(v []float64) []float64 { return make([]float64, len(v)) }, 1, "no movement"},
		{"noise", func(v []float64) []float64 {
			for i := range v {
				v[i] = 5 * rng.NormFloat64()
			}
			return v
		}, 1, ""},
		{"scale 1/1000", func(v []float64) []float64 {
			for i := range v {
				v[i] /= 1000
			}
			return v
		}, 1, "scale is wrong"},
		{"scale 1000", func(v []float64) []float64 {
			for i := range v {
				v[i] *= 1000
			}
			return v
		}, 1, "scale is wrong"},
		{"a sine", func(v []float64) []float64 {
			for i := range v {
				v[i] = 10 * math.Sin(float64(i)/7)
			}
			return v
		}, 1, ""},
		{"always on", func(v []float64) []float64 {
			for i := range v {
				v[i] = 6 + 0.1*rng.NormFloat64()
			}
			return v
		}, 1, ""},
		{"all missing", func(v []float64) []float64 {
			for i := range v {
				v[i] = math.NaN()
			}
			return v
		}, 1, "hardly any"},
		{"5 Hz", func(v []float64) []float64 { return v }, 20, "cannot show a clamp rise"},
	} {
		e := one
		e.every = c.every
		rec := e.draw()
		rec.Channels[0].Values = c.alter(rec.Channels[0].Values)
		run, res, err := BrakeMotor(rec, Meta{})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if r, ok := reading(res, "brake.clamp_current"); ok {
			t.Errorf("%s: clamp current %v", c.name, r.Value)
		}
		for _, s := range run.Sides {
			if s.Verdict != "cannot tell" {
				t.Errorf("%s: %q", c.name, s.Verdict)
			}
		}
		if why := refusal(res, "brake.clamp_current"); why == "" || !strings.Contains(why, c.why) {
			t.Errorf("%s: refused with %q", c.name, why)
		}
	}
	// The voltage taken for the motor.
	v := epb{seconds: 20, left: []placedMove{{2, epbHealthy, 1}}, rest: 12.9, ohm: 0.02}.draw()
	_, res, err := BrakeMotor(v, Meta{Columns: []Column{{Channel: "Battery (V)", As: BrakeMotorCurrent}, {Channel: "EPB left (A)", As: "ignore"}}})
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := reading(res, "brake.clamp_current"); ok {
		t.Error("a voltage gave a clamp current")
	}
	// A movement cut off by the end of the recording decides nothing.
	cut := epb{seconds: 2.4, left: []placedMove{{2, epbHealthy, 1}}}.draw()
	run, res, err := BrakeMotor(cut, Meta{})
	if err != nil || len(run.Movements) != 1 || !run.Movements[0].CutShort || run.Sides[0].Verdict != "cannot tell" {
		t.Errorf("%v %+v %v", err, run, res.NotMeasured)
	}
	// Lost samples: two segments, a movement across the gap is cut short on both sides.
	gap := epb{seconds: 20, left: []placedMove{{2, epbHealthy, 1}}}.draw()
	gap.Segments = []trace.Segment{{First: 0, End: 230}, {First: 230, End: gap.Time.N}}
	run, _, err = BrakeMotor(gap, Meta{})
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range run.Movements {
		if !m.CutShort || m.Verdict != "cannot tell" {
			t.Errorf("a movement across lost samples is judged: %+v", m)
		}
	}
}

// TestBrakeIsRecognised only where it is named so.
func TestBrakeIsRecognised(t *testing.T) {
	e := epb{seconds: 50, left: []placedMove{{2, epbHealthy, 1}, {35, epbRelease, -1}}, rest: 12.8, ohm: 0.01}
	rec := e.draw()
	if kind, why := Recognise(rec, Meta{}); kind != BrakeMotorCurrent {
		t.Errorf("%q %s", kind, why)
	}
	rec.Channels[0].Name = "clamp (A)"
	if kind, _ := Recognise(rec, Meta{}); kind == BrakeMotorCurrent {
		t.Error("a clamp that is not named is taken for a brake motor")
	}
}

// TestSharedActuatorCurrent: real currents of a ball screw actuator, healthy and with
// seeded faults (../shared/data/actuator-ballscrew, its PROVENANCE.md). The flat level
// while extending, with the baseline learnt from the healthy runs, rises beyond 6
// standard deviations with lack of lubrication and with smaller balls and not with
// spalling. It holds its current at rest and is no brake motor: that is refused.
func TestSharedActuatorCurrent(t *testing.T) {
	root := "../../shared/data/actuator-ballscrew/20kg"
	level := func(name string) (float64, []float64) {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var all, extend []float64
		last := math.Inf(-1)
		for _, r := range rows[1:] {
			set, _ := strconv.ParseFloat(r[0], 64)
			amp, _ := strconv.ParseFloat(r[2], 64)
			if set > last {
				extend = append(extend, amp)
			}
			last = set
			all = append(all, amp)
		}
		return freeRun(extend), all
	}
	if _, err := os.Stat(root); err != nil {
		t.Skip("../shared/data is not here")
	}
	levels := func(kind string) []float64 {
		files, _ := filepath.Glob(filepath.Join(root, kind, "*.csv"))
		var out []float64
		for _, f := range files {
			l, _ := level(f)
			out = append(out, l)
		}
		return out
	}
	base := levels("normal")
	m, sd := 0.0, 0.0
	for _, x := range base {
		m += x / float64(len(base))
	}
	for _, x := range base {
		sd += (x - m) * (x - m) / float64(len(base)-1)
	}
	sd = math.Sqrt(sd)
	for kind, raised := range map[string]bool{"lackLubrication2": true, "backlash2": true, "spalling1": false, "spalling4": false} {
		sum := 0.0
		ls := levels(kind)
		for _, x := range ls {
			sum += x / float64(len(ls))
		}
		if z := (sum - m) / sd; raised != (z > 6) {
			t.Errorf("%s: %.3f A against %.3f +- %.3f: %.1f standard deviations", kind, sum, m, sd, z)
		}
	}
	files, _ := filepath.Glob(filepath.Join(root, "normal", "*.csv"))
	_, v := level(files[0])
	rec := &trace.Recording{Time: trace.TimeBase{Num: 4e7, Den: 1, N: len(v)}, Segments: []trace.Segment{{First: 0, End: len(v)}},
		Channels: []trace.Channel{{Name: "current (A)", Unit: unit.Must("A"), Values: v}}}
	run, res, err := BrakeMotor(rec, Meta{})
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := reading(res, "brake.clamp_current"); ok || slices.ContainsFunc(run.Sides, func(s BrakeSide) bool { return s.Verdict != "cannot tell" }) {
		t.Errorf("an actuator that is no brake motor is judged: %+v", run.Sides)
	}
}

func BenchmarkBrakeMotor(b *testing.B) {
	e := epb{seconds: 600, noise: 0.05, rest: 13, ohm: 0.01}
	for at := 2.0; at < 580; at += 62 {
		e.left = append(e.left, placedMove{at, epbHealthy, 1}, placedMove{at + 31, epbRelease, -1})
		e.right = append(e.right, placedMove{at, epbHealthy, 1}, placedMove{at + 31, epbRelease, -1})
	}
	rec := e.draw()
	b.SetBytes(int64(8 * 3 * rec.Time.N))
	for b.Loop() {
		if _, _, err := BrakeMotor(rec, Meta{}); err != nil {
			b.Fatal(err)
		}
	}
}
