package table_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/procedure/runner"
)

var update = flag.Bool("update", false, "write the golden traces anew")

// traced are the procedures with golden traces: every hazard class is among them, and
// every recovery class, only_if, wording, figures, cycles, outcomes and wall-clock waits.
var traced = []string{"air_suspension_service", "battery_replacement", "crank_variation_relearn", "epb_cable_drum", "epb_cable_lever", "epb_caliper_pads", "high_voltage_isolation",
	"hydraulic_unit_bleed", "module_reprogramming", "particulate_regeneration", "steering_angle_zero", "throttle_idle_relearn", "window_initialisation"}

// trace is one run, as entries and what each came to.
type trace struct {
	Procedure string `json:"procedure"`
	Seed      uint64 `json:"seed"`
	Lines     []line `json:"lines"`
}

// line is one entry: why it was refused, if it was, and the state at its moment, with
// what is open, under way and making safe.
type line struct {
	Entry    runner.Entry `json:"entry"`
	Reasons  []string     `json:"reasons,omitempty"`
	Digest   string       `json:"digest"`
	Open     []string     `json:"open"`
	Active   []string     `json:"active"`
	MakeSafe []string     `json:"make_safe"`
}

// rng is splitmix64 (Steele, Lea, Flood 2014).
type rng uint64

func (r *rng) n(n int) int {
	*r += 0x9e3779b97f4a7c15
	z := uint64(*r)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return int((z ^ z>>31) % uint64(n))
}

// digest writes a state out as the page does.
func digest(m *procedure.Machine, s procedure.State) string {
	var phase, watch, timer strings.Builder
	var given, fact []string
	for i := range m.Steps {
		fmt.Fprint(&phase, int(m.PhaseOf(s, i)))
		given = append(given, fmt.Sprint(m.GivenOf(s, i)))
	}
	for i := range m.Facts {
		fact = append(fact, fmt.Sprint(m.FactOf(s, i)))
	}
	for i := range m.Watches {
		fmt.Fprint(&watch, int(m.WatchOf(s, i)))
	}
	for i := range m.Timers {
		if m.TimerOf(s, i) {
			timer.WriteByte('1')
		} else {
			timer.WriteByte('0')
		}
	}
	return fmt.Sprintf("%d|%d|%s|%s|%s|%s|%s", m.ModeOf(s), m.MotorOf(s), phase.String(), strings.Join(given, ","), strings.Join(fact, ","), watch.String(), timer.String())
}

// after looks at a run at the moment of an entry.
func after(t *testing.T, r *runner.Run, e runner.Entry, reasons []string) line {
	c := r.Clone()
	if err := c.Take(runner.Entry{Seq: c.Next(), At: e.At, Kind: runner.Note}); err != nil {
		t.Fatal(err)
	}
	v := r.At(e.At)
	l := line{Entry: e, Reasons: reasons, Digest: digest(r.Machine(), c.State()), Open: v.Open, Active: v.Active, MakeSafe: v.MakeSafe}
	for _, list := range []*[]string{&l.Open, &l.Active, &l.MakeSafe} {
		if *list == nil {
			*list = []string{}
		}
	}
	return l
}

// take offers an entry and gives the reasons against it.
func take(t *testing.T, r *runner.Run, e runner.Entry) []string {
	err := r.Take(e)
	if err == nil {
		return nil
	}
	refusal, ok := err.(*runner.Refusal)
	if !ok {
		t.Fatal(err)
	}
	return refusal.Reasons
}

// player makes entries up: mostly what a person would do next, sometimes what is not
// their turn, an interruption, a jumping clock, a meter read or a feed that changes.
type player struct {
	m   *procedure.Machine
	r   *runner.Run
	rnd rng
	now runner.Stamp
	// typedOnly: no feed ever speaks, the meter is read and typed.
	typedOnly bool
}

func (p *player) pass(s int) { p.now.Mono += int64(s) * 1e9; p.now.Wall += int64(s) * 1e9 }

func pick[T any](p *player, list []T) T { return list[p.rnd.n(len(list))] }

func (p *player) entry() runner.Entry {
	p.pass(1 + p.rnd.n(4))
	var watch string
	if len(p.m.Watches) > 0 {
		watch = p.m.Watches[0].ID
	}
	switch p.rnd.n(40) {
	case 0:
		return runner.Entry{Kind: runner.Happens, What: pick(p, procedure.Kinds[:4])}
	case 1:
		p.now.Wall += int64(p.rnd.n(7200)-3600) * 1e9
	case 2:
		p.now.Boot += "x"
		p.now.Mono = int64(p.rnd.n(90)) * 1e9
		return runner.Entry{Kind: runner.Opened}
	case 3:
		return runner.Entry{Kind: pick(p, []string{runner.StopNow, runner.GoOn, runner.AtRest, runner.TakeUp, runner.Finished, runner.HandOver}), To: pick(p, []string{"", "bay 3"})}
	case 4, 5:
		i := p.rnd.n(len(p.m.Steps))
		kind := pick(p, []string{runner.Begin, runner.Begin, runner.End, runner.Broken, runner.Confirm})
		e := runner.Entry{Kind: kind, Step: p.m.Steps[i].ID, Supply: p.supply()}
		if kind == runner.Confirm {
			e = p.confirm(i, pick(p, p.m.Steps[i].Confirm.By))
			e.Seen = p.rnd.n(3)
		}
		return e
	case 10:
		v := pick(p, []float64{-1, 3, 20, 45})
		return runner.Entry{Kind: runner.MakerRest, Step: p.m.Steps[p.rnd.n(len(p.m.Steps))].ID, Value: &v, Text: pick(p, []string{"", "maker's book"})}
	case 8:
		p.pass(70) // a typed reading is too old now
	case 6, 9:
		if watch != "" {
			v := pick(p, []float64{11, 12.1, 12.9, 13.4, 600})
			return runner.Entry{Kind: runner.Typed, Watch: watch, Value: &v}
		}
	case 7:
		if watch != "" && !p.typedOnly {
			v := 13.4
			return runner.Entry{Kind: runner.WatchNow, Watch: watch, Level: pick(p, []string{"not watched", "holding", "sagging", "lowest seen", "below the line", "stop"}), Value: &v}
		}
	}
	// Making safe is interrupted more often than work: less is said about it in between.
	if v := p.r.At(p.now); v.Mode != "running" && len(v.Active) > 0 && p.rnd.n(5) == 0 {
		return runner.Entry{Kind: runner.Happens, What: pick(p, procedure.Kinds[:4])}
	}
	return p.sensible(watch)
}

func (p *player) supply() map[string]float64 {
	out := map[string]float64{}
	for _, w := range p.m.Watches {
		out[w.ID] = pick(p, []float64{13.4, 13.4, 13.4, 12.5})
	}
	return out
}

func (p *player) sensible(watch string) runner.Entry {
	v := p.r.At(p.now)
	if watch != "" && v.Mode == "running" && v.Watches[0].Word != "holding" && p.rnd.n(4) == 0 {
		x := 13.4
		if p.typedOnly {
			return runner.Entry{Kind: runner.Typed, Watch: watch, Value: &x}
		}
		return runner.Entry{Kind: runner.WatchNow, Watch: watch, Level: "holding", Value: &x}
	}
	if v.Motor == "moving" && v.Mode != "running" {
		return runner.Entry{Kind: runner.AtRest}
	}
	if len(v.Active) > 0 && (len(v.Open) == 0 || p.rnd.n(3) > 0) {
		i, _ := p.m.StepIndex(pick(p, v.Active))
		return p.goOn(i, v)
	}
	switch {
	case len(v.Open) > 0:
		return runner.Entry{Kind: runner.Begin, Step: pick(p, v.Open), Supply: p.supply()}
	case len(v.MakeSafe) > 0 && p.rnd.n(4) > 0:
		return runner.Entry{Kind: runner.Begin, Step: pick(p, v.MakeSafe)}
	case v.Mode == "held" || v.Mode == "held_keep_power":
		return runner.Entry{Kind: runner.GoOn}
	case v.Mode == "stopping":
		return runner.Entry{Kind: runner.HandOver, To: "bay 3"}
	case v.Mode == "handed_over":
		return runner.Entry{Kind: runner.TakeUp}
	}
	p.pass(30)
	return runner.Entry{Kind: runner.Finished}
}

func (p *player) goOn(i int, v runner.View) runner.Entry {
	st := &p.m.Steps[i]
	sv := v.Steps[i]
	switch {
	case sv.Phase == "under way" && st.RestSeconds > 0:
		return runner.Entry{Kind: runner.End, Step: st.ID}
	case p.rnd.n(25) == 0:
		return runner.Entry{Kind: runner.Fails, Step: st.ID, What: pick(p, procedure.Kinds[5:])}
	case len(st.Outcomes) > 0 && len(sv.Given) > 0:
		return runner.Entry{Kind: runner.Choose, Step: st.ID, Outcome: pick(p, append(st.Outcomes, st.Outcomes[0], st.Outcomes[0])).ID}
	case sv.Missing == 0:
		p.pass(int(st.RestSeconds) + p.rnd.n(2))
		return runner.Entry{Kind: runner.Note, Text: "waiting"}
	}
	return p.confirm(i, pick(p, st.Confirm.By))
}

func (p *player) confirm(i int, mean procedure.Mean) runner.Entry {
	e := runner.Entry{Kind: runner.Confirm, Step: p.m.Steps[i].ID, How: mean.How}
	if mean.Reading != "" && p.rnd.n(8) > 0 {
		lo, hi := procedure.LimitsOf(mean)
		x := 1.0
		if lo != nil {
			x = *lo
		} else if hi != nil {
			x = *hi
		}
		x += pick(p, []float64{0, 0, 0, 0.25, -0.5})
		e.Value = &x
	}
	for _, id := range mean.Figures {
		if e.Figures == nil {
			e.Figures = map[string]procedure.Given{}
		}
		if p.rnd.n(12) > 0 {
			e.Figures[id] = procedure.Given{Value: pick(p, []float64{0.011, 0.011, 0.011, 0.011, 0.011, 0.0109, 0}), Limit: 0.011}
			if f, _ := p.m.FigureByID(id); f.Most > 0 && p.rnd.n(4) == 0 {
				e.Figures[id] = procedure.Given{Value: e.Figures[id].Value, Limit: 2 * f.Most}
			}
		}
	}
	return e
}

// play makes one trace.
func play(t *testing.T, id string, seed uint64, n int) trace {
	m, _, err := procedure.LoadShipped(id)
	if err != nil {
		t.Fatal(err)
	}
	p := &player{m: m, r: runner.New(m), rnd: rng(seed), typedOnly: seed%2 == 0, now: runner.Stamp{Wall: 1_700_000_000e9, Mono: 5e12, Boot: "a"}}
	tr := trace{Procedure: id, Seed: seed}
	for len(tr.Lines) < n && !p.r.Ended() {
		e := p.entry()
		e.Seq, e.At, e.Device, e.Who = p.r.Next(), p.now, "tablet", "Ruben"
		tr.Lines = append(tr.Lines, after(t, p.r, e, take(t, p.r, e)))
	}
	return tr
}

// golden reads the traces that are kept.
func golden(t *testing.T) []trace {
	files, err := filepath.Glob("testdata/*.json")
	if err != nil || len(files) == 0 {
		t.Fatalf("no traces: %v", err)
	}
	sort.Strings(files)
	var out []trace
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		var tr trace
		if err := json.Unmarshal(data, &tr); err != nil {
			t.Fatalf("%s: %v", f, err)
		}
		out = append(out, tr)
	}
	return out
}

// TestTracesDriveTheRunner: the kept traces, entry by entry, bring the Go runner to the
// states, the open steps and the refusals that are written down. With -update they are
// made anew.
func TestTracesDriveTheRunner(t *testing.T) {
	if *update {
		for k, id := range traced {
			data, err := json.Marshal(play(t, id, uint64(1000+k), 90))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile("testdata/"+id+".json", append(data, '\n'), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	refused, interrupted := 0, 0
	for _, tr := range golden(t) {
		m, _, err := procedure.LoadShipped(tr.Procedure)
		if err != nil {
			t.Fatal(err)
		}
		r := runner.New(m)
		for k, l := range tr.Lines {
			got := after(t, r, l.Entry, take(t, r, l.Entry))
			if !reflect.DeepEqual(got, l) {
				t.Fatalf("%s, line %d (%s %s): the runner comes to\n%+v\nwritten down is\n%+v", tr.Procedure, k, l.Entry.Kind, l.Entry.Step, got, l)
			}
			if l.Reasons != nil {
				refused++
			} else if l.Entry.Kind == runner.Happens {
				interrupted++
			}
		}
	}
	if refused < 50 || interrupted < 10 {
		t.Errorf("%d refusals and %d interruptions in the traces: too few to show anything", refused, interrupted)
	}
}
