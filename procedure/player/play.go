package player

import (
	"fmt"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// Options shape a run.
type Options struct {
	Seed     uint64
	MaxTurns int  // 0 = 700
	Calm     bool // no faults, no interruptions: is there a way through at all?
	Trace    bool
}

// Result is what one run came to.
type Result struct {
	Finished    bool
	Turns       int
	Accepted    int
	Refused     int
	Interrupted int
	Harms       []string // the world: someone is hurt, something breaks
	Broken      []string // the machine: a never rule is broken
	Trace       []string
}

// rng is splitmix64 (Steele, Lea, Flood 2014): small, seeded, the same everywhere.
type rng uint64

func (r *rng) next() uint64 {
	*r += 0x9e3779b97f4a7c15
	z := uint64(*r)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

func (r *rng) n(n int) int { return int(r.next() % uint64(n)) }

func (r *rng) chance(percent int) bool { return r.n(100) < percent }

type play struct {
	m      *procedure.Machine
	run    *runner.Run
	w      *World
	rnd    rng
	opt    Options
	res    Result
	now    int64 // true time, ns
	boot   int
	booted int64        // true time of boot
	slept  int64        // time the monotonic clock lost in sleep since boot
	wall   int64        // error of the wall clock
	doing  map[int]bool // steps physically under way
	endAt  map[int]int64
	log    []runner.Entry
}

// Play plays one run.
func Play(m *procedure.Machine, opt Options) Result {
	if opt.MaxTurns == 0 {
		opt.MaxTurns = 700
	}
	p := &play{m: m, run: runner.Bare(m), w: NewWorld(), rnd: rng(opt.Seed*2654435761 + 1), opt: opt, now: 1e12, doing: map[int]bool{}, endAt: map[int]int64{}}
	for _, c := range m.Classes {
		p.w.isBrake = p.w.isBrake || c.ID == "brake_electric_caliper" || c.ID == "brake_electric_cable"
		p.w.isCable = p.w.isCable || c.ID == "brake_electric_cable"
	}
	if p.w.isBrake {
		p.w.restFloor = 30e9
	}
	if !opt.Calm {
		switch p.rnd.n(6) {
		case 0:
			p.w.fault = fault{kind: "dead", side: p.rnd.n(2)}
		case 1:
			p.w.fault = fault{kind: "slip", side: p.rnd.n(2)}
		case 2:
			p.w.fault = fault{kind: "dead", side: p.rnd.n(2), lie: []string{"reported", "heard", "measured", "felt"}[p.rnd.n(4)]}
		}
	}
	for p.res.Turns = 0; p.res.Turns < opt.MaxTurns && !p.run.Ended() && len(p.w.harms) == 0; p.res.Turns++ {
		p.turn()
	}
	p.res.Finished = p.run.Ended()
	if p.res.Finished {
		p.finished()
	}
	p.res.Harms = p.w.harms
	return p.res
}

// finished: the customer drives away.
func (p *play) finished() {
	if p.w.isBrake {
		p.w.drive("the customer")
	}
}

func (p *play) stamp() runner.Stamp {
	return runner.Stamp{Wall: p.now + p.wall, Mono: p.now - p.booted - p.slept, Boot: fmt.Sprint("b", p.boot)}
}

// offer gives an entry to the runner and tells whether it was taken.
func (p *play) offer(e runner.Entry) bool {
	e.Seq, e.At, e.Device, e.Who = p.run.Next(), p.stamp(), "d1", "player"
	if err := p.run.Take(e); err != nil {
		p.res.Refused++
		return false
	}
	p.res.Accepted++
	p.sync() // a wait may have ended a step on the way
	p.log = append(p.log, e)
	if p.opt.Trace {
		p.res.Trace = append(p.res.Trace, fmt.Sprintf("%.1f %s %s %s%s%s", float64(p.now)*1e-9, e.Kind, e.Step, e.How, e.What, e.Level))
	}
	if r, step := p.m.Broken(p.run.State()); r >= 0 {
		id := ""
		if step >= 0 {
			id = p.m.Steps[step].ID
		}
		p.res.Broken = append(p.res.Broken, p.m.Rules[r].ID+" "+id)
	}
	return true
}

func (p *play) pass(ns int64) {
	p.now += ns
	p.w.tick(p.now)
}

func (p *play) act(i int) (string, int) { return p.m.Steps[i].Act, sideOf(p.m.Steps[i].Side()) }

// turn is one thing that happens.
func (p *play) turn() {
	if !p.opt.Calm {
		switch p.rnd.n(100) {
		case 0, 1:
			p.interruption()
			return
		case 2:
			p.clock()
			return
		case 3:
			p.nonsense()
			return
		case 4:
			p.feed()
			return
		}
	}
	p.sync()
	active, open, safe := p.run.Choices(p.stamp())
	switch p.m.ModeOf(p.run.State()) {
	case procedure.Held, procedure.HeldKeepPower, procedure.Stopping:
		p.recover(active, safe)
	case procedure.HandedOver:
		p.pass(int64(p.rnd.n(3600)) * 1e9)
		if !p.opt.Calm && p.rnd.chance(50) {
			p.w.stranger(p.rnd.n(6))
		}
		p.offer(runner.Entry{Kind: runner.TakeUp})
	case procedure.Running:
		p.work(active, open)
	}
}

// sync: what the procedure put back is physically over too.
func (p *play) sync() {
	for i := range p.m.Steps {
		ph := p.m.PhaseOf(p.run.State(), i)
		if p.doing[i] && (ph == procedure.Done || ph == procedure.Idle && p.m.Steps[i].Origin() == "recovery") {
			p.physicalEnd(i) // an interrupted recovery step is owed, not idle
		}
		if p.doing[i] && ph != procedure.Doing && ph != procedure.Waiting && ph != procedure.Waited {
			delete(p.doing, i)
			delete(p.w.hands, p.m.Steps[i].ID) // hands come out
		}
	}
}

func (p *play) work(active, open []int) {
	for w := range p.m.Watches {
		if p.m.WatchOf(p.run.State(), w) != procedure.Good && (p.opt.Calm || p.rnd.chance(60)) {
			p.good(w)
		}
	}
	if len(active) > 0 && (len(open) == 0 || p.rnd.chance(70)) {
		p.goOn(active[p.rnd.n(len(active))])
		return
	}
	if len(open) > 0 {
		p.begin(open[p.rnd.n(len(open))])
		return
	}
	if !p.offer(runner.Entry{Kind: runner.Finished}) {
		p.pass(int64(1+p.rnd.n(40)) * 1e9)
	}
}

func (p *play) good(w int) {
	v := 13.4
	if lim, err := p.m.Watches[w].Limits(); err == nil && lim.Unit.Dim == "temperature" {
		v = 500
	}
	p.offer(runner.Entry{Kind: runner.WatchNow, Watch: p.m.Watches[w].ID, Level: "holding", Value: &v})
}

func (p *play) begin(i int) bool {
	id := p.m.Steps[i].ID
	supply := map[string]float64{}
	for _, w := range p.m.Watches {
		supply[w.ID] = 13.4
	}
	act, side := p.act(i)
	if !p.offer(runner.Entry{Kind: runner.Begin, Step: id, Supply: supply}) {
		return false
	}
	travel := int64(1+p.rnd.n(9)) * 1e9
	p.w.begin(id, act, side, p.now, travel)
	p.doing[i] = true
	p.endAt[i] = p.now + travel
	switch act {
	case "lock_out", "chock", "connect_supply":
		p.w.end(id, act, side) // done first, looked at after
	}
	return true
}

// goOn does the next thing in a step under way, as an honest person would.
func (p *play) goOn(i int) {
	st := &p.m.Steps[i]
	id := st.ID
	act, side := p.act(i)
	switch p.m.PhaseOf(p.run.State(), i) {
	case procedure.Doing:
		if p.now < p.endAt[i] {
			p.pass(p.endAt[i] - p.now)
		}
		if st.RestSeconds > 0 {
			p.offer(runner.Entry{Kind: runner.End, Step: id})
			return
		}
	case procedure.Waiting:
		if p.rnd.chance(50) {
			p.pass(int64(1e9 * (1 + float64(p.rnd.n(int(st.RestSeconds)+5)))))
		}
		if !p.opt.Calm && p.rnd.chance(2) && p.w.moving == "" && st.Command {
			if p.offer(runner.Entry{Kind: runner.Broken, Step: id}) {
				p.w.moved, p.w.movedEnd = true, p.now // it moved again by itself
			}
			return
		}
	}
	p.confirm(i, id, act, side)
}

func (p *play) confirm(i int, id, act string, side int) {
	st := &p.m.Steps[i]
	if p.m.MotorOf(p.run.State()) == procedure.Moving || p.w.moving != "" {
		p.pass(1e9)
	}
	given := p.m.GivenOf(p.run.State(), i)
	if len(st.Outcomes) > 0 && given != 0 {
		k := p.rnd.n(len(st.Outcomes))
		for n := 0; n < len(st.Outcomes) && st.Outcomes[k].Stop != "" && (p.opt.Calm || p.rnd.chance(95)); n++ {
			k = (k + 1) % len(st.Outcomes)
		}
		p.offer(runner.Entry{Kind: runner.Choose, Step: id, Outcome: st.Outcomes[k].ID})
		p.physicalEnd(i)
		return
	}
	var left []int
	for k := range st.Confirm.By {
		if given>>k&1 == 0 {
			left = append(left, k)
		}
	}
	if len(left) == 0 {
		p.pass(int64(1+p.rnd.n(20)) * 1e9)
		p.offer(runner.Entry{Kind: runner.Note, Text: "waiting"})
		p.physicalEnd(i)
		return
	}
	mean := st.Confirm.By[left[p.rnd.n(len(left))]]
	if !p.w.truth(act, side, mean.How) {
		if p.rnd.chance(40) { // an honest person says so; not always at once
			if p.offer(runner.Entry{Kind: runner.Fails, Step: id, What: "not_as_expected"}) {
				delete(p.doing, i)
				delete(p.w.hands, id)
			}
		} else {
			p.pass(2e9)
		}
		return
	}
	e := runner.Entry{Kind: runner.Confirm, Step: id, How: mean.How, Seen: p.run.Attempt(i)}
	if mean.Reading != "" {
		v := p.reading(mean)
		e.Value = &v
	}
	e.Figures = figures(mean)
	p.offer(e)
	p.physicalEnd(i)
}

// figures writes down what a means names, each as good as its limit.
func figures(mean procedure.Mean) map[string]procedure.Given {
	if len(mean.Figures) == 0 {
		return nil
	}
	out := map[string]procedure.Given{}
	for _, id := range mean.Figures {
		out[id] = procedure.Given{Value: 1, Limit: 1}
	}
	return out
}

// physicalEnd: when the procedure holds a step for done, the person has done it.
func (p *play) physicalEnd(i int) {
	ph := p.m.PhaseOf(p.run.State(), i)
	recovery := p.m.Steps[i].Origin() == "recovery"
	if !p.doing[i] || ph != procedure.Done && !(recovery && ph == procedure.Idle) {
		return
	}
	act, side := p.act(i)
	delete(p.doing, i)
	p.w.end(p.m.Steps[i].ID, act, side)
	if recovery {
		for fact, value := range p.m.Steps[i].Sets {
			p.w.secure(fact, value)
		}
	}
}

// reading is a number within the limit of a means.
func (p *play) reading(mean procedure.Mean) float64 {
	lo, hi := procedure.LimitsOf(mean)
	switch {
	case lo != nil && hi != nil:
		return (*lo + *hi) / 2
	case lo != nil:
		return *lo
	case hi != nil:
		return *hi
	}
	return 1
}
