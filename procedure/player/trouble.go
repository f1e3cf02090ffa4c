package player

import (
	"proveout/procedure"
	"proveout/procedure/runner"
)

// interruption: something happens to the vehicle, and it is told to the procedure.
func (p *play) interruption() {
	kind := procedure.Kinds[p.rnd.n(5)]
	if kind == "injury_or_fire" && p.rnd.chance(70) {
		kind = "operator_leaves"
	}
	switch kind {
	case "power_loss":
		p.w.cut(p.now)
		p.w.key = p.w.key && p.rnd.chance(50)
	case "low_supply":
		p.w.supply = p.w.supply && p.rnd.chance(50)
	case "operator_leaves", "injury_or_fire":
		for id := range p.w.hands {
			delete(p.w.hands, id)
		}
		p.pass(int64(p.rnd.n(7200)) * 1e9)
		if p.rnd.chance(60) {
			p.w.stranger(p.rnd.n(6))
		}
	case "device_dies":
		p.kill()
	}
	p.res.Interrupted++
	p.offer(runner.Entry{Kind: runner.Happens, What: kind})
}

// kill: the device dies; what was stored is replayed, and the device may have been
// started again. A run that comes back different is an error.
func (p *play) kill() {
	before := p.run.State()
	again, err := runner.ReplayBare(p.m, p.log)
	if err != nil {
		p.w.harm("the record cannot be replayed: %v", err)
		return
	}
	if again.State() != before {
		p.w.harm("the run came back different after the device died")
	}
	p.run = again
	if p.rnd.chance(50) {
		p.pass(int64(p.rnd.n(90)) * 1e9)
		p.boot++
		p.booted, p.slept = p.now, 0
	}
	p.offer(runner.Entry{Kind: runner.Opened})
}

// clock: the wall clock is set, or the device sleeps.
func (p *play) clock() {
	switch p.rnd.n(3) {
	case 0:
		p.wall += int64(p.rnd.n(7200)-3600) * 1e9
	case 1:
		d := int64(p.rnd.n(300)) * 1e9
		p.pass(d)
		p.slept += d
	case 2:
		p.pass(int64(p.rnd.n(60)) * 1e9)
	}
}

// feed: what is watched goes bad, is lost, or comes back.
func (p *play) feed() {
	if len(p.m.Watches) == 0 {
		return
	}
	w := p.rnd.n(len(p.m.Watches))
	id := p.m.Watches[w].ID
	v := 11.0
	switch p.rnd.n(4) {
	case 0:
		p.offer(runner.Entry{Kind: runner.WatchNow, Watch: id, Level: "not watched"})
	case 1:
		p.offer(runner.Entry{Kind: runner.WatchNow, Watch: id, Level: "below the line", Value: &v})
	case 2:
		p.offer(runner.Entry{Kind: runner.WatchNow, Watch: id, Level: "stop", Value: &v})
	case 3:
		v = 13.2
		p.offer(runner.Entry{Kind: runner.Typed, Watch: id, Value: &v})
	}
}

// nonsense: a hurried hand presses what is not its turn. What the runner takes all
// the same is done to the world.
func (p *play) nonsense() {
	i := p.rnd.n(len(p.m.Steps))
	id := p.m.Steps[i].ID
	switch p.rnd.n(5) {
	case 0:
		p.begin(i)
	case 1:
		if p.now >= p.endAt[i] { // "it has ended" is not said of what still moves
			p.offer(runner.Entry{Kind: runner.End, Step: id})
		}
	case 2:
		p.offer(runner.Entry{Kind: runner.Confirm, Step: id, How: "seen", Seen: p.run.Attempt(i) + 1})
	case 3:
		p.offer(runner.Entry{Kind: runner.Finished})
	case 4:
		p.offer(runner.Entry{Kind: runner.StopNow})
	}
}

// recover: held or stopping. Look, make safe, go on; or stop and hand over.
func (p *play) recover(active, safe []int) {
	stopping := p.m.ModeOf(p.run.State()) == procedure.Stopping
	if p.m.MotorOf(p.run.State()) == procedure.Moving {
		if p.w.moving != "" {
			p.pass(p.w.movesTill - p.now)
		}
		if p.offer(runner.Entry{Kind: runner.AtRest}) {
			return
		}
	}
	for _, i := range active {
		if p.m.Steps[i].Origin() == "recovery" {
			act, side := p.act(i)
			p.confirm(i, p.m.Steps[i].ID, act, side)
			return
		}
	}
	if len(safe) > 0 && (p.rnd.chance(60) || stopping) && p.begin(safe[p.rnd.n(len(safe))]) {
		return
	}
	if !stopping {
		if !p.offer(runner.Entry{Kind: runner.GoOn}) {
			p.pass(5e9)
		}
		return
	}
	if !p.offer(runner.Entry{Kind: runner.HandOver, To: "the next shift"}) {
		p.pass(5e9)
	} else if !p.w.held() {
		p.w.harm("handed over with nothing to hold the vehicle")
	}
}
