package procedure

import (
	"strings"
	"testing"
)

// change replaces text in a shipped procedure.
func change(t *testing.T, id string, pairs ...string) []byte {
	t.Helper()
	b, err := ShippedText(id)
	if err != nil {
		t.Fatal(err)
	}
	s := string(b)
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(s, pairs[i]) {
			t.Fatalf("%s does not contain %q any more", id, pairs[i])
		}
		s = strings.Replace(s, pairs[i], pairs[i+1], 1)
	}
	return []byte(s)
}

// TestLoadRefuses: what a hazard class asks of every file, and what makes no sense.
// Each refusal names the place and says what to do.
func TestLoadRefuses(t *testing.T) {
	const brake = "epb_caliper_pads"
	for _, tc := range []struct {
		name, id string
		pairs    []string
		want     string
	}{
		{"no hazard class", brake, []string{"systems: [brake_electric_caliper]", "systems: []"}, "without a hazard class"},
		{"unknown class", brake, []string{"systems: [brake_electric_caliper]", "systems: [brakes]"}, "no hazard class"},
		{"the sentence on the maker is changed", brake, []string{"overrides this one wherever", "may differ from this one where"}, "write exactly: override"},
		{"lift not asked", brake, []string{"  - id: lift\n    ask", "  - id: hoist\n    ask"}, "must ask the question \"lift\""},
		{"drive not asked", brake, []string{"  - id: drive\n    ask", "  - id: axle\n    ask"}, "must ask the question \"drive\""},
		{"rest cut to 5 s without the maker's figure", brake, []string{"wait: {rest: 30 s, at_most: 30 s, why: \"Typical", "wait: {rest: 5 s, at_most: 30 s, why: \"Typical"}, "needs the maker's figure"},
		{"rest zeroed with a citation is still below the floor", brake, []string{"wait: {rest: 30 s, at_most: 30 s, why: \"Typical", "wait: {rest: 0 s, maker: \"their book\", at_most: 30 s, why: \"Typical"}, "at least 10 s"},
		{"one means for a retraction", brake, []string{"      need: 2\n      by:\n        - {how: reported, text: \"The module reports the {side} side in service", "      need: 1\n      by:\n        - {how: reported, text: \"The module reports the {side} side in service"}, "2 independent means"},
		{"two means of one kind", brake, []string{"{how: heard, text: \"The {side} motor was heard to run", "{how: reported, text: \"The {side} motor was heard to run"}, "not independent"},
		{"movement not watched", brake, []string{"    watch: [supply]\n", ""}, "must be watched"},
		{"stop line below the floor", brake, []string{"stop: 11.5 V", "stop: 10.0 V"}, "looser"},
		{"no caution on a retraction", brake, []string{"    hazards: [{word: WARNING, text: \"Pads and nut move with kilonewtons and without notice.\", do: \"Hands and tools out of both calipers.\"}]\n", ""}, "hazard of at least WARNING"},
		{"an act renamed", brake, []string{"    act: push_piston\n", "    act: look\n"}, "comes about only by"},
		{"unknown signal word", brake, []string{"word: WARNING", "word: BEWARE"}, "ANSI Z535"},
		{"a limit in the wrong unit", brake, []string{"at_least: 12.4 V", "at_least: 12.4 A"}, "is a current"},
		{"limits out of order", brake, []string{"warn: 12.2 V", "warn: 11.0 V"}, "in the order"},
		{"nothing said for an interruption", brake, []string{"  overdue: {class: R1", "  # overdue: {class: R1"}, "what to do when it takes longer"},
		{"going on when someone is hurt", brake, []string{"  injury_or_fire: {class: R5", "  injury_or_fire: {class: R0"}, "R5: stop"},
		{"a lock-out that failed goes on", brake, []string{"class: R3, first: [safe_key, refit], from: guard_check, text: \"The lock-out", "class: R1, text: \"The lock-out"}, "in doubt"},
		{"a piston that does not go is pushed again", brake, []string{"not_as_expected: {class: R5, text: \"The piston does not go back", "not_as_expected: {class: R1, text: \"The piston does not go back"}, "one way, R5"},
		{"unknown step needed", brake, []string{"needs: [tag_on]", "needs: [tag_onn]"}, "no step of this procedure"},
		{"a circle", brake, []string{"    needs: [save_codes]\n", "    needs: [last_scan]\n"}, "circle"},
		{"unknown field", brake, []string{"summary:", "sumary:"}, "sumary"},
		{"a source not listed", brake, []string{"from: [S92, S97]", "from: [S92, S9999]"}, "S9999"},
		{"a write that does not keep power", "module_reprogramming", []string{"power_loss: {class: R4", "power_loss: {class: R1"}, "keep power"},
		{"no wait for the capacitors", "high_voltage_isolation", []string{"rest: 600 s", "rest: 60 s"}, "at least 600 s"},
		{"hold test by eye, pads", "epb_caliper_pads", []string{"    confirm:\n      need: 2\n      by:\n        - {how: seen, text: \"It does not move", "    confirm:\n      by:\n        - {how: seen, text: \"It does not move"}, "takes 2 independent means"},
		{"hold test by eye, drum", "epb_cable_drum", []string{"    confirm:\n      need: 2\n      by:\n        - {how: seen, text: \"It does not move", "    confirm:\n      by:\n        - {how: seen, text: \"It does not move"}, "takes 2 independent means"},
		{"hold test by eye, lever", "epb_cable_lever", []string{"    confirm:\n      need: 2\n      by:\n        - {how: seen, text: \"It does not move", "    confirm:\n      by:\n        - {how: seen, text: \"It does not move"}, "takes 2 independent means"},
		{"zero as a yes", "high_voltage_isolation", []string{", figures: [zero_dc, zero_ac]}", "}"}, "cannot be confirmed without the figure \"zero_dc\""},
		{"zero without AC", "high_voltage_isolation", []string{"figures: [zero_dc, zero_ac]", "figures: [zero_dc]"}, "cannot be confirmed without the figure \"zero_ac\""},
		{"zero by the other means", "high_voltage_isolation", []string{"    confirm:\n      need: 2\n      by:\n        - {how: measured", "    confirm:\n      need: 2\n      by:\n        - {how: seen, text: Meter looked at}\n        - {how: measured"}, "cannot be confirmed without the figure"},
		{"DC ceiling raised", "high_voltage_isolation", []string{"ceiling: 60 V", "ceiling: 61 V"}, "ceiling at or below 60 V (S129)"},
		{"AC ceiling gone", "high_voltage_isolation", []string{", ceiling: 30 V", ""}, "ceiling at or below 30 V (S129)"},
		{"zero held to no limit", "high_voltage_isolation", []string{"limit: at_most", "limit: beside"}, "goes with limit at_most"},
		{"authorisation not asked", "high_voltage_isolation", []string{"  - id: authorised\n    ask", "  - id: allowed\n    ask"}, "must ask the question \"authorised\""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			m, ps := Load(tc.id+".yaml", change(t, tc.id, tc.pairs...))
			if m != nil {
				t.Fatal("it loads")
			}
			for _, p := range ps {
				if strings.Contains(p.String(), tc.want) {
					if p.Line == 0 && !strings.Contains(tc.want, "circle") {
						t.Errorf("no line: %s", p)
					}
					return
				}
			}
			t.Errorf("no problem with %q in it: %v", tc.want, ps)
		})
	}
}

// TestShippedAreComplete: each has sources, the override and a source on every main
// step, and every figure of the supply watch keeps the floors of the issue.
func TestShippedAreComplete(t *testing.T) {
	if n := len(Shipped()); n < 11 {
		t.Errorf("%d procedures are shipped, the issue names 11 kinds", n)
	}
	for _, id := range Shipped() {
		m, _, err := LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		for i := range m.Steps {
			if s := &m.Steps[i]; s.Origin() == "step" && len(s.From) == 0 {
				t.Errorf("%s: step %q has no source", id, s.ID)
			}
		}
		for i := range m.Watches {
			l, err := m.Watches[i].Limits()
			if err != nil {
				t.Errorf("%s: %v", id, err)
			}
			if m.Watches[i].ID == "supply" && (l.Stop < 10.5 || l.StopHigh > 16) {
				t.Errorf("%s: supply stops at %g and %g V; 10.5 V is the cliff, 16 V the end of ISO 16750-2", id, l.Stop, l.StopHigh)
			}
		}
	}
}

// TestBandsOfAReading: a value on a limit belongs to the side the limit allows.
func TestBandsOfAReading(t *testing.T) {
	m, _, err := LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	i, _ := m.StepIndex("support_on")
	mean := &m.Steps[i].means[0]
	for v, want := range map[float64]bool{12.99: false, 13.0: true, 13.5: true, 14.2: true, 14.5: true, 14.51: false} {
		b, ok := m.BandOfReading("supply_now", v)
		if !ok {
			t.Fatal("no such reading")
		}
		if got := mean.pass>>b&1 == 1; got != want {
			t.Errorf("%g V within 13.0 to 14.5: %v, want %v", v, got, want)
		}
	}
}

// TestUnsureMeetsNothing: while a step changes a fact, and after it is interrupted,
// the fact meets no condition.
func TestUnsureMeetsNothing(t *testing.T) {
	m, _, err := LoadShipped("epb_caliper_pads")
	if err != nil {
		t.Fatal(err)
	}
	s := m.Initial()
	i, _ := m.StepIndex("unbolt.left")
	f, _ := m.FactIndex("caliper.left")
	if m.Facts[f].Values[m.FactOf(s, f)] != "fitted" {
		t.Fatalf("the caliper starts as %s", m.Facts[f].Values[m.FactOf(s, f)])
	}
	m.unsettle(&s, &m.Steps[i])
	for v := 1; v < len(m.Facts[f].Values); v++ {
		n := node{op: opFact, f: m.Facts[f].f, set: 1 << v}
		if m.eval(&n, &s) {
			t.Errorf("an unsure caliper counts as %s", m.Facts[f].Values[v])
		}
	}
	p, _ := m.FactIndex("pedal")
	if m.FactOf(s, p) != 0 {
		t.Error("the pedal is still known firm with a caliper coming off")
	}
}

func FuzzLoad(f *testing.F) {
	for _, id := range []string{"window_initialisation"} {
		b, err := ShippedText(id)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("schema: proveout/procedure/1\nsteps: [{id: a, for: [left], cycle: [{id: b}], times: 3}]\n"))
	f.Fuzz(func(t *testing.T, in []byte) {
		if len(in) > 1<<16 {
			return
		}
		m, ps := Load("fuzz", in)
		if m == nil {
			if len(ps) == 0 {
				t.Fatal("refused without a reason")
			}
			return
		}
		s := m.Initial()
		for _, e := range m.Events(s, nil) {
			m.Apply(s, e)
			if m.Tell(e) == "" {
				t.Fatal("an event without words")
			}
		}
	})
}

// TestCodesInTheirOrder: save, clear, read again, work, erase, read again, with the
// ignition on and (where there is one) the support supply connected, in the order in
// which a calm run goes. An isolated high-voltage system keeps its codes.
func TestCodesInTheirOrder(t *testing.T) {
	for _, id := range Shipped() {
		m, _, err := LoadShipped(id)
		if err != nil {
			t.Fatal(err)
		}
		first, last := map[string]int{}, map[string]int{}
		for i := range m.Steps {
			st := &m.Steps[i]
			if st.Origin() != "step" {
				continue
			}
			if _, seen := first[st.Act]; !seen {
				first[st.Act] = i
			}
			last[st.Act] = i
			if st.Command || st.Hands {
				if _, seen := first["work"]; !seen {
					first["work"] = i
				}
			}
		}
		order := []string{"ignition_on", "save_codes", "clear_before", "read_before", "work", "erase_codes"}
		if _, has := first["connect_supply"]; has {
			order = append([]string{"connect_supply"}, order...)
		}
		if id == "high_voltage_isolation" {
			order = []string{"ignition_on", "save_codes", "work"}
			if _, has := first["clear_before"]; has {
				t.Errorf("%s clears codes: they are evidence for whoever works on it next", id)
			}
		}
		for k := 0; k+1 < len(order); k++ {
			a, okA := first[order[k]]
			b, okB := first[order[k+1]]
			if !okA || !okB || !contains(m.Steps[a].after, b) {
				t.Errorf("%s: %s does not come before %s in every order", id, order[k], order[k+1])
			}
		}
		if e, ok := first["erase_codes"]; ok && !contains(m.Steps[e].after, last["read_codes"]) {
			t.Errorf("%s: codes are not read after they were erased", id)
		}
	}
}
