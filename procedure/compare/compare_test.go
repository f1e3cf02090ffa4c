package compare

import (
	"math"
	"testing"

	"proveout/procedure"
)

// trace draws a signed current: apply rises from 4 A to a cut-off, release has a
// break-away spike and a free run (figures of trade.md 5.5).
type trace struct {
	at   []int64
	amps []float64
	now  int64
}

const step = int64(5e6) // 200 Hz

func (t *trace) put(a float64) {
	t.at, t.amps, t.now = append(t.at, t.now), append(t.amps, a), t.now+step
}

func (t *trace) rest(sec float64) {
	for n := int(sec / 0.005); n > 0; n-- {
		t.put(0.05 * math.Sin(float64(n)))
	}
}

func (t *trace) apply(cut float64) {
	for i := 0; i < 200; i++ { // 1 s
		v := 4.0
		switch {
		case i < 10:
			v = 25 - 2*float64(i)
		case i > 140:
			v = 4 + (cut-4)*float64(i-140)/59
		}
		t.put(v)
	}
}

func (t *trace) release() {
	for i := 0; i < 180; i++ {
		v := -3.7
		if i < 20 {
			v = -14
		}
		t.put(v)
	}
}

func machine(t *testing.T) *procedure.Machine {
	t.Helper()
	m, _, err := procedure.LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func service(rest, cutLeft, cutRight float64, cycles int) []Movement {
	var all []Movement
	for side, cut := range map[string]float64{"left": cutLeft, "right": cutRight} {
		var tr trace
		tr.rest(1)
		for i := 0; i < cycles; i++ {
			tr.release()
			tr.rest(rest)
			tr.apply(cut)
			tr.rest(rest)
		}
		all = append(all, Movements(side, tr.at, tr.amps)...)
	}
	return all
}

func state(fs []Finding, what string) string {
	for _, f := range fs {
		if f.What == what {
			return f.State
		}
	}
	return "missing"
}

func TestAgainst(t *testing.T) {
	m := machine(t)
	for _, tc := range []struct {
		name  string
		moves []Movement
		want  map[string]string
	}{
		{"as it should be", service(31, 18, 17, 3), map[string]string{"cycles": "kept", "rests": "kept", "sides": "kept", "clamp": "kept", "balance": "kept"}},
		{"two cycles only", service(31, 18, 17, 2), map[string]string{"cycles": "broken"}},
		{"rest of 5 s", service(5, 18, 17, 3), map[string]string{"rests": "broken", "cycles": "kept"}},
		{"stripped gear on the left", service(31, 4.2, 17, 3), map[string]string{"clamp": "broken", "balance": "broken"}},
		{"one side much stronger", service(31, 12, 18, 3), map[string]string{"clamp": "kept", "balance": "broken"}},
		{"nothing recorded", nil, map[string]string{"cycles": "unknown", "rests": "unknown", "clamp": "unknown", "supply": "unknown"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got := Against(m, tc.moves, nil)
			for what, want := range tc.want {
				if s := state(got, what); s != want {
					t.Errorf("%s is %s, want %s: %v", what, s, want, got)
				}
			}
		})
	}
}

func TestOneSideOnly(t *testing.T) {
	var left []Movement
	for _, mv := range service(31, 18, 17, 3) {
		if mv.Side == "left" {
			left = append(left, mv)
		}
	}
	if s := state(Against(machine(t), left, nil), "sides"); s != "broken" {
		t.Errorf("only the left moved: sides are %s, want broken", s)
	}
}

// TestSupplyInrushAndSag: 50 ms below the line is inrush, 1 s is a sag.
func TestSupplyInrushAndSag(t *testing.T) {
	moves := service(31, 18, 17, 3)
	for _, tc := range []struct {
		name string
		dip  int64
		want string
	}{{"inrush", 50e6, "kept"}, {"sag", 900e6, "broken"}} {
		s := &Supply{RateHz: 100}
		for at := int64(0); at < 220e9; at += 10e6 {
			v := 13.3
			for _, mv := range moves {
				if at >= mv.Begin && at < mv.Begin+tc.dip {
					v = 11.0
				}
			}
			s.At, s.Volts = append(s.At, at), append(s.Volts, v)
		}
		if got := state(Against(machine(t), moves, s), "supply"); got != tc.want {
			t.Errorf("%s: %s, want %s (%v)", tc.name, got, tc.want, Against(machine(t), moves, s))
		}
	}
}

func TestMovementsFound(t *testing.T) {
	moves := service(31, 18, 18, 3)
	if len(moves) != 12 {
		t.Fatalf("%d movements, want 12", len(moves))
	}
	for _, mv := range moves {
		if mv.Toward > 0 && (math.Abs(mv.Last-18) > 0.5 || math.Abs(mv.FreeRun-4) > 0.3) {
			t.Errorf("apply: free run %.2f, last %.2f; drawn 4 and 18", mv.FreeRun, mv.Last)
		}
	}
}

// TestSupplySampledSlowly: at 1 Hz one sample below the line is no verdict, two in a
// row are.
func TestSupplySampledSlowly(t *testing.T) {
	moves := []Movement{{Side: "left", Begin: 10e9, End: 16e9}, {Side: "right", Begin: 50e9, End: 56e9}}
	for _, tc := range []struct {
		low  int64
		want string
	}{{0, "kept"}, {1, "unknown"}, {2, "broken"}} {
		s := &Supply{RateHz: 1}
		for at := int64(0); at < 70; at++ {
			v := 13.3
			if at >= 10 && at < 10+tc.low {
				v = 11.0
			}
			s.At, s.Volts = append(s.At, at*1e9), append(s.Volts, v)
		}
		if got := state(Against(machine(t), moves, s), "supply"); got != tc.want {
			t.Errorf("%d low samples: %s, want %s", tc.low, got, tc.want)
		}
	}
}

// TestMovementsOfASmallMotor: a ball-screw actuator draws 0.75 A out, holds with
// 0.36 A and draws 0.97 A back (means of the published rig recordings at 20 kg, 25 Hz):
// two movements, not many, also with the noise of its sensor. A trace that only rests
// or only runs shows none.
func TestMovementsOfASmallMotor(t *testing.T) {
	var at []int64
	var amps, rest, run []float64
	noise := func(i int) float64 { return 0.08 * math.Sin(float64(i)*2.7) }
	for i := 0; i < 324; i++ {
		v := 0.75
		switch {
		case i > 200:
			v = 0.97
		case i > 145:
			v = 0.36
		}
		at = append(at, int64(i)*40e6)
		amps = append(amps, v+noise(i))
		rest, run = append(rest, 0.05*math.Sin(float64(i))), append(run, 3+noise(i))
	}
	got := Movements("left", at, amps)
	if len(got) != 2 || math.Abs(float64(got[0].End)*1e-9-145*0.04) > 0.2 || math.Abs(float64(got[1].Begin)*1e-9-201*0.04) > 0.2 {
		t.Errorf("movements %+v, want 0 to 5.8 s and 8.04 s to the end", got)
	}
	for name, trace := range map[string][]float64{"rest": rest, "run": run} {
		if got := Movements("", at, trace); len(got) != 0 {
			t.Errorf("only %s: %d movements, want none to be told", name, len(got))
		}
	}
}
