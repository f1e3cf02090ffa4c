package browser

import (
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"proveout/shop"
)

// tapNext taps the first thing that leads on, filling in what is asked for, and says
// what it was; empty when nothing does.
const tapNext = `(() => {
  const want = ['look', 'begin', 'ended', 'confirm', 'choose', 'finish', 'at_rest', 'resume'];
  const forms = [...document.querySelectorAll('#run .card form, #run .held form, #run .step > form')].filter((f) => want.includes(f.querySelector('[name=kind]').value) && f.querySelector('button').getAttribute('aria-disabled') !== 'true');
  const f = forms.sort((a, b) => want.indexOf(a.dataset.event) === -1 ? 1 : 0)[0];
  if (!f) return '';
  f.querySelectorAll('input:not([type=hidden])').forEach((i) => { i.value = i.name === 'danger' ? 'DANGER' : i.name.startsWith('value') || i.name.startsWith('limit') ? (i.name === 'value' ? '13.4' : '10.5') : 'x'; });
  const said = (f.querySelector('[name=step]') || {value: ''}).value + ' ' + f.querySelector('[name=kind]').value;
  f.querySelector('button').click();
  return said;
})()`

func (b *tablet) startBrakes() (job, run string) {
	b.t.Helper()
	job = b.received()
	b.open("/jobs/" + job + "/procedures")
	js[bool](b, `(document.querySelector('[name=procedure][value=epb_caliper_pads]').form.querySelector('button').click(), true)`)
	b.until("the run's page", `document.getElementById('run')`)
	return job, js[string](b, `document.getElementById('run').dataset.run`)
}

func (b *tablet) screen(job, run string) *shop.Screen {
	b.t.Helper()
	s, err := b.bench.Procedure(b.t.Context(), job, run, "looking on")
	if err != nil {
		b.t.Fatal(err)
	}
	return s
}

// meter sends what it reads five times a second until the test ends.
func (b *tablet) meter(job, run string) *atomic.Int64 {
	millivolts := &atomic.Int64{}
	millivolts.Store(13400)
	stop, ended := make(chan bool), make(chan bool)
	go func() {
		defer close(ended)
		for {
			select {
			case <-stop:
				return
			case <-time.After(200 * time.Millisecond):
				if v := millivolts.Load(); v > 0 {
					_ = b.bench.Supply(b.t.Context(), job, run, "supply", []float64{float64(v) / 1000}) // the test ends it
				}
			}
		}
	}()
	b.t.Cleanup(func() { close(stop); <-ended })
	return millivolts
}

// work taps on until done says so. A wait is passed by moving the clocks on.
func (b *tablet) work(job, run string, most int, done func(*shop.Screen) bool) {
	b.t.Helper()
	for range most {
		s := b.screen(job, run)
		if done(s) {
			return
		}
		if s.Timer != nil {
			b.skip(time.Duration(s.Timer.Left*float64(time.Second)) + 300*time.Millisecond)
			b.heard(job, run)
		}
		was := b.screen(job, run).Seq
		said := js[string](b, tapNext)
		for end := time.Now().Add(5 * time.Second); time.Now().Before(end) && b.screen(job, run).Seq == was; {
			time.Sleep(20 * time.Millisecond)
		}
		if s := b.screen(job, run); said != "" && s.Seq > was {
			b.until("the page to show "+said, fmt.Sprintf("+document.getElementById('run').dataset.seq >= %d", s.Seq))
		}
	}
	b.shot("stuck")
	b.t.Fatalf("not done after %d taps: %q, %q", most, b.text("h1"), b.text(".kept-note"))
}

// heard waits until a meter is heard again after the clocks were moved; where none is,
// no longer than two of its samples.
func (b *tablet) heard(job, run string) {
	for end := time.Now().Add(500 * time.Millisecond); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if !slices.ContainsFunc(b.screen(job, run).Supply, func(s shop.RunWatch) bool { return s.Word == "unwatched" }) {
			return
		}
	}
}

func begins(step string) func(*shop.Screen) bool {
	return func(s *shop.Screen) bool {
		for _, k := range s.Now {
			if s.Steps[k].ID == step && s.Steps[k].Begins {
				return true
			}
		}
		return false
	}
}

// TestBrakeServiceWithAVoltageStop: by taps alone, from the first question to the end,
// with the supply under its stop line while a side is driven home.
func TestBrakeServiceWithAVoltageStop(t *testing.T) { atEachWidth(t, brakeService) }

func brakeService(b *tablet) {
	t := b.t
	job, run := b.startBrakes()
	volts := b.meter(job, run)
	b.work(job, run, 150, begins("extend.left"))
	b.shot("before")
	js[bool](b, `(document.querySelector('[data-step="extend.left"] form[data-event=begin] button').click(), true)`)
	b.until("the movement", `document.querySelector('[data-step="extend.left"] form[data-event=ended]')`)
	volts.Store(11200)
	b.until("the stop", `document.getElementById('run').dataset.mode.startsWith('held')`)
	b.until("the word", `document.querySelector('.supply .far').textContent === 'Stop'`)
	b.shot("stop")
	if !js[bool](b, `document.querySelector('.far').getBoundingClientRect().height >= 50 && parseFloat(getComputedStyle(document.querySelector('.far')).fontSize) >= 54`) {
		t.Error("the supply word is smaller than 54 px")
	}
	// Silenced, the tone ends and the word stays.
	js[bool](b, `(document.querySelector('[data-silence]').click(), true)`)
	if b.text(".supply .far") != "Stop" {
		t.Error("silencing took the word away")
	}
	if v, err := b.bench.Job(t.Context(), job); err != nil || v.Dangerous == nil {
		t.Errorf("the board says nothing of it: %v", err)
	}
	volts.Store(13400)
	b.work(job, run, 200, func(s *shop.Screen) bool { return s.Mode == "finished" })
	b.until("the end on the page", `document.getElementById('run').dataset.mode === 'finished'`)
	if v, err := b.bench.Job(t.Context(), job); err != nil || v.Dangerous != nil || v.Runs[0].End != "finished" {
		t.Errorf("after the end: %+v, %v", v.Dangerous, err)
	}
}

// TestTwoMinutesWithoutTheServer: the network goes while the brake moves. Its end, the
// rest, both confirmations and the next steps are tapped without it; two minutes later
// all of it is in the record, in order, at the moments it was done.
func TestTwoMinutesWithoutTheServer(t *testing.T) {
	b := openShop(t).tablet()
	job, run := b.startBrakes()
	b.meter(job, run).Store(0)
	b.work(job, run, 60, func(s *shop.Screen) bool { return len(s.Now) == 0 && s.Mode == "running" })
	typed := func() {
		b.t.Helper()
		js[bool](b, `(document.querySelector('.typein input[name=value]').value = '13.4', document.querySelector('.typein button').click(), true)`)
	}
	typed()
	b.until("the first command", `document.querySelector('[data-step=baseline_apply] form[data-event=begin]')`)
	js[bool](b, `(document.querySelector('[data-step=baseline_apply] form[data-event=begin] button').click(), true)`)
	b.until("the movement", `document.querySelector('[data-step=baseline_apply] form[data-event=ended]')`)
	before := b.screen(job, run).Seq
	b.pull()
	tap := func(step, kind string) {
		b.t.Helper()
		b.until(step+" "+kind, fmt.Sprintf(`document.querySelector('[data-step="%s"] form[data-event=%s] button')`, step, kind))
		js[bool](b, fmt.Sprintf(`(document.querySelector('[data-step="%s"] form[data-event=%s] button').click(), true)`, step, kind))
	}
	b.skip(3 * time.Second)
	tap("baseline_apply", "ended")
	b.until("the page to go on alone", `document.querySelector('#tier').classList.contains('away') && document.querySelector('.timer')`)
	b.shot("away")
	if left := js[float64](b, `+document.querySelector('.timer').dataset.left`); left < 28 || left > 30.1 {
		t.Errorf("the rest counts from %g s", left)
	}
	// The rest holds here too: a confirmation of a movement may come, its end may not.
	b.skip(31 * time.Second)
	for range 2 {
		tap("baseline_apply", "confirm")
		time.Sleep(300 * time.Millisecond)
	}
	b.until("the step to be done", `!document.querySelector('[data-step=baseline_apply]')`)
	// The next command needs the meter read: without it the page says why.
	typed()
	tap("baseline_release", "begin")
	b.skip(4 * time.Second)
	tap("baseline_release", "ended")
	b.skip(82 * time.Second) // two minutes in all
	for end := time.Now().Add(10 * time.Second); js[int](b, waits) < 6 && time.Now().Before(end); {
		time.Sleep(20 * time.Millisecond)
	}
	waiting := js[int](b, waits)
	if waiting != 6 {
		t.Errorf("%d taps wait on the device, want 6: %v", waiting, js[[]string](b, `new Promise((ok) => { const q = indexedDB.open('proveout'); q.onsuccess = () => { const r = q.result.transaction('outbox').objectStore('outbox').getAll(); r.onsuccess = () => ok(r.result.map((x) => x.body.payload.kind + ' ' + (x.body.payload.step || '') + ' ' + (x.body.payload.how || ''))); }; })`))
	}
	if s := b.screen(job, run); s.Seq != before {
		t.Fatalf("the server has heard of it: %d, then %d", before, s.Seq)
	}
	b.plug()
	js[bool](b, `(dispatchEvent(new Event('online')), true)`)
	b.until("everything to be sent", `document.getElementById('waiting').hidden && !document.getElementById('tier').classList.contains('away')`)
	b.until("the server's page", fmt.Sprintf("+document.getElementById('run').dataset.seq > %d", before))
	s := b.screen(job, run)
	b.shot("back")
	var told []string
	for i := len(s.Told) - 1; i >= 0; i-- {
		if s.Told[i].Seq > before && s.Told[i].Who != "bench" {
			told = append(told, strings.SplitN(s.Told[i].Text, ":", 2)[0])
		}
	}
	if got := strings.Join(told, " | "); got != "Came to its end | Confirmed, heard | Confirmed, reported | Typed from a meter | Begun | Came to its end" {
		t.Errorf("the record has: %s", got)
	}
	// The release came to its end 82 s before: its rest is over, and not counted again.
	if s.Timer != nil {
		t.Errorf("after two minutes %+v is still to wait", s.Timer)
	}
	b.noErrors()
}

// TestTimerAfterSleep: the tablet sleeps through the rest; its own clock stood still.
// Awake again it shows what the server knows, at once.
func TestTimerAfterSleep(t *testing.T) {
	b := openShop(t).tablet()
	job, run := b.startBrakes()
	b.meter(job, run)
	b.work(job, run, 60, begins("baseline_apply"))
	js[bool](b, `(document.querySelector('[data-step=baseline_apply] form[data-event=begin] button').click(), true)`)
	b.until("the movement", `document.querySelector('[data-step=baseline_apply] form[data-event=ended]')`)
	js[bool](b, `(document.querySelector('[data-step=baseline_apply] form[data-event=ended] button').click(), true)`)
	b.until("the timer", `document.querySelector('.timer') && document.querySelector('.timer').textContent.startsWith('0:2')`)
	if size := js[float64](b, `parseFloat(getComputedStyle(document.querySelector('.timer')).fontSize)`); size < 112 || size > 200 {
		t.Errorf("the timer is set in %g px, want 112 to 200", size)
	}
	b.shot("resting")
	b.ahead.Add(int64(40 * time.Second)) // the shop's clock goes on
	js[bool](b, `(window.__sleep(40000), true)`)
	shown := js[string](b, `document.querySelector('.timer').textContent`)
	js[bool](b, `(document.dispatchEvent(new Event('visibilitychange')), true)`)
	b.until("the wait to be over on the page", `!document.querySelector('.timer')`)
	t.Logf("before it looked it showed %s", shown)
	b.noErrors()
}

// TestASecondTabletConfirmsTheSameStep: what the first confirmed shows on the second by
// itself; a tap made before that is refused, and the page says why.
func TestASecondTabletConfirmsTheSameStep(t *testing.T) {
	w := openShop(t)
	one, two := w.tablet(), w.tablet()
	job, run := one.startBrakes()
	at := "/jobs/" + job + "/procedures/" + run
	two.open(at)
	js[string](one, tapNext)
	one.until("the first answer", `+document.getElementById('run').dataset.seq >= 3`)
	two.until("the other's answer to show", `+document.getElementById('run').dataset.seq >= 3`)
	refusal := js[int](two, `fetch(document.getElementById('run').dataset.post, {method: 'POST', headers: {'Content-Type': 'application/json', Accept: 'application/json'}, body: JSON.stringify({key: 'late', type: 'procedure_event@1', payload: {kind: 'look', step: 'architecture', how: 'attested', outcome: 'motor_on_caliper'}})}).then((r) => r.status)`)
	if refusal != 409 {
		t.Errorf("a confirmation of a step that is done: %d", refusal)
	}
	if got := one.screen(job, run).Seq; got != 3 {
		t.Errorf("the record has %d entries, want 3", got)
	}
	one.noErrors()
	two.noErrors()
}

// TestInterruptedInOneTap: the card is there, and the board says what is dangerous.
func TestInterruptedInOneTap(t *testing.T) {
	b := openShop(t).tablet()
	job, run := b.startBrakes()
	b.work(job, run, 20, begins("support_on"))
	js[bool](b, `(document.querySelector('form.intr button').click(), true)`)
	b.until("the card", `location.pathname.endsWith('/card') && document.querySelector('.card-print')`)
	b.shot("card")
	v, err := b.bench.Job(t.Context(), job)
	if err != nil || v.Interrupted == nil || v.Interrupted.What.Run != run {
		t.Errorf("the record has %+v, %v", v.Interrupted, err)
	}
}
