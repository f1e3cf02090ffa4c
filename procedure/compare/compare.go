package compare

import (
	"fmt"
	"math"
	"sort"

	"proveout/procedure"
)

// Movement is one run of one motor, as measured. Times are in nanoseconds on the
// clock of the recording; currents in A, magnitude.
type Movement struct {
	Side       string // left, right, or "" for a unit that moves both
	Begin, End int64
	Inrush     float64 // highest in the first 100 ms
	FreeRun    float64 // median of the flat part
	Last       float64 // just before it was cut off
	// Toward is +1 for applying, -1 for releasing, 0 when the polarity is not known.
	Toward int
}

// Clamped reports whether the current rose against the clamp and was cut off: at
// the end at least twice the free run. Our choice: published cut-offs are 12 to 20 A
// against a free run of 2 to 5 A (trade.md 5.5).
func (m Movement) Clamped() bool { return m.FreeRun > 0 && m.Last >= 2*m.FreeRun }

// Supply is the supply voltage beside the movements.
type Supply struct {
	At     []int64
	Volts  []float64
	RateHz float64
}

// Finding is one thing held against the procedure.
type Finding struct {
	What  string `json:"what"`
	State string `json:"state"` // kept, broken, unknown
	Text  string `json:"text"`
}

// Against holds movements and supply against a procedure. The order of findings is
// fixed. An empty recording gives findings that are all unknown.
func Against(m *procedure.Machine, moves []Movement, supply *Supply) []Finding {
	moves = append([]Movement(nil), moves...)
	sort.SliceStable(moves, func(i, j int) bool { return moves[i].Begin < moves[j].Begin })
	var out []Finding
	add := func(what, state, format string, a ...any) {
		out = append(out, Finding{what, state, fmt.Sprintf(format, a...)})
	}
	out = append(out, cycles(m, moves), rests(m, moves), sidesMoved(m, moves), clamp(moves))
	out = append(out, balance(moves))
	lowest(m, moves, supply, add)
	return out
}

// wanted counts the commanded apply and release steps of the function test.
func wanted(m *procedure.Machine) int {
	n := 0
	for i := range m.Steps {
		if s := &m.Steps[i]; s.Command && s.Base() == "apply" {
			n++
		}
	}
	return n
}

func cycles(m *procedure.Machine, moves []Movement) Finding {
	want := wanted(m)
	if want == 0 {
		return Finding{"cycles", "unknown", "This procedure asks for no test cycles."}
	}
	if len(moves) == 0 {
		return Finding{"cycles", "unknown", "No movement is recorded."}
	}
	known, best := true, math.MaxInt
	for _, side := range sidesOf(moves) {
		n, released := 0, false
		for _, mv := range moves {
			if mv.Side != side {
				continue
			}
			switch mv.Toward {
			case 0:
				known = false
			case -1:
				released = true
			case 1:
				if released {
					n++
				}
				released = false
			}
		}
		best = min(best, n)
	}
	if !known {
		return Finding{"cycles", "unknown", fmt.Sprintf("%d movements are recorded; the polarity is not known, so apply cannot be told from release.", len(moves))}
	}
	text := fmt.Sprintf("%d full cycles of release and apply are recorded, the procedure asks for %d.", best, want)
	if best >= want {
		return Finding{"cycles", "kept", text}
	}
	return Finding{"cycles", "broken", text}
}

func sidesOf(moves []Movement) []string {
	seen := map[string]bool{}
	var out []string
	for _, m := range moves {
		if !seen[m.Side] {
			seen[m.Side] = true
			out = append(out, m.Side)
		}
	}
	sort.Strings(out)
	return out
}

// rests: the shortest time from the end of any movement to the begin of the next
// command. Left and right that move together under one command do not count.
func rests(m *procedure.Machine, moves []Movement) Finding {
	need := 0.0
	for i := range m.Steps {
		if m.Steps[i].Command {
			need = max(need, m.Steps[i].RestSeconds)
		}
	}
	if len(moves) < 2 {
		return Finding{"rests", "unknown", "Fewer than two movements are recorded."}
	}
	shortest, at := math.Inf(1), int64(0)
	end := moves[0].End
	for _, mv := range moves[1:] {
		if mv.Begin >= end {
			if rest := float64(mv.Begin-end) * 1e-9; rest < shortest {
				shortest, at = rest, mv.Begin
			}
		}
		end = max(end, mv.End)
	}
	if math.IsInf(shortest, 1) {
		return Finding{"rests", "unknown", "All movements overlap: no rest between them is recorded."}
	}
	text := fmt.Sprintf("The shortest rest from the end of a movement is %.1f s (before the one at %.1f s); %g s is asked for.", shortest, float64(at)*1e-9, need)
	if shortest < need {
		return Finding{"rests", "broken", text}
	}
	return Finding{"rests", "kept", text}
}

func sidesMoved(m *procedure.Machine, moves []Movement) Finding {
	both := false
	for i := range m.Steps {
		both = both || m.Steps[i].Side() == "right" && m.Steps[i].Command
	}
	n := map[string]int{}
	for _, mv := range moves {
		n[mv.Side]++
	}
	switch {
	case !both:
		return Finding{"sides", "unknown", "One unit moves both sides: a current shows the unit, not each side."}
	case n["left"]+n["right"] == 0:
		return Finding{"sides", "unknown", "No movement is marked left or right."}
	case n["left"] == 0 || n["right"] == 0:
		return Finding{"sides", "broken", fmt.Sprintf("Left moved %d times, right %d times.", n["left"], n["right"])}
	}
	return Finding{"sides", "kept", fmt.Sprintf("Left moved %d times, right %d times.", n["left"], n["right"])}
}

// clamp looks at the last applying movement of each side: that is how it is left.
func clamp(moves []Movement) Finding {
	last := map[string]Movement{}
	for _, mv := range moves {
		if mv.Toward > 0 {
			last[mv.Side] = mv
		}
	}
	if len(last) == 0 {
		return Finding{"clamp", "unknown", "No movement is known to apply the brake."}
	}
	f := Finding{What: "clamp", State: "kept"}
	for _, side := range sidesOf(moves) {
		mv, ok := last[side]
		if !ok {
			continue
		}
		name := side
		if name == "" {
			name = "the unit"
		}
		if f.Text != "" {
			f.Text += " "
		}
		f.Text += fmt.Sprintf("The last apply of %s ran free at %.1f A and ended at %.1f A.", name, mv.FreeRun, mv.Last)
		if !mv.Clamped() {
			f.State = "broken"
			f.Text += " That is no clamp: it must rise to at least twice the free run."
		}
	}
	return f
}

// balance compares the last apply of both sides; 20 % is a working figure of the
// trade note (5.4), not a maker's limit.
func balance(moves []Movement) Finding {
	var l, r float64
	for _, mv := range moves {
		if mv.Toward > 0 {
			switch mv.Side {
			case "left":
				l = mv.Last
			case "right":
				r = mv.Last
			}
		}
	}
	if l <= 0 || r <= 0 {
		return Finding{"balance", "unknown", "The last apply of both sides is not recorded."}
	}
	d := math.Abs(l-r) / max(l, r) * 100
	text := fmt.Sprintf("Left ended at %.1f A, right at %.1f A: %.0f %% apart (20 %% is a working figure).", l, r, d)
	if d > 20 {
		return Finding{"balance", "broken", text}
	}
	return Finding{"balance", "kept", text}
}

// lowest looks at the supply while something moved.
func lowest(m *procedure.Machine, moves []Movement, s *Supply, add func(what, state, format string, a ...any)) {
	w := -1
	for i := range m.Watches {
		if m.Watches[i].ID == "supply" {
			w = i
		}
	}
	if w < 0 {
		add("supply", "unknown", "This procedure watches no supply.")
		return
	}
	lim, err := m.Watches[w].Limits()
	if err != nil || s == nil || len(s.Volts) == 0 {
		add("supply", "unknown", "The supply was not recorded: it was not watched.")
		return
	}
	low, at := math.Inf(1), int64(0)
	beyond, since, worst, single := false, int64(0), 0.0, false
	covered := map[int]bool{}
	for i, v := range s.Volts {
		in := len(moves) == 0
		for k, mv := range moves {
			if s.At[i] >= mv.Begin && s.At[i] <= mv.End {
				in, covered[k] = true, true
			}
		}
		if !in || math.IsNaN(v) {
			beyond = false
			continue
		}
		if v < low {
			low, at = v, s.At[i]
		}
		if v < lim.Hold {
			if !beyond {
				beyond, since = true, s.At[i]
			}
			worst = max(worst, float64(s.At[i]-since)*1e-9)
			// No neighbour is near enough to tell an inrush from a sag.
			single = single || s.RateHz*lim.Debounce < 1
		} else {
			beyond = false
		}
	}
	if math.IsInf(low, 1) {
		add("supply", "unknown", "No supply sample lies inside a movement.")
		return
	}
	word := "Lowest"
	if s.RateHz < lim.RateHz {
		word = "Lowest seen (slow sampling: a shorter dip may have been missed)"
	}
	text := fmt.Sprintf("%s while something moved: %.2f V at %.1f s; longest stretch below %.2f V: %.2f s.", word, low, float64(at)*1e-9, lim.Hold, worst)
	switch {
	case worst >= lim.Debounce && worst > 0:
		add("supply", "broken", "%s That is a sag, not inrush.", text)
	case single:
		add("supply", "unknown", "%s From samples this slow the inrush of a motor cannot be told from a sag.", text)
	case len(covered) < len(moves):
		add("supply", "unknown", "%s %d of %d movements have no supply sample in them.", text, len(moves)-len(covered), len(moves))
	default:
		add("supply", "kept", "%s", text)
	}
}
