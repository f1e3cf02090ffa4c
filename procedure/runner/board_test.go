package runner_test

import (
	"strings"
	"testing"

	"proveout/procedure"
	"proveout/procedure/runner"
)

// stored runs a session over a bench, so that what is stored can be read by the board.
type stored struct {
	*bench
	s   *runner.Session
	buf *memory
}

func storedRun(t *testing.T, id string) *stored {
	b := begin(t, id)
	var buf memory
	s, err := runner.Open(b.m, header(id), nil, &buf)
	if err != nil {
		t.Fatal(err)
	}
	return &stored{b, s, &buf}
}

// say stores what the bench did since, and one more entry.
func (x *stored) say(e runner.Entry) error {
	for _, old := range x.log[x.s.Run.Next()-1:] {
		if err := x.s.Put(old); err != nil {
			return err
		}
	}
	if e.Kind == "" {
		return nil
	}
	e.At, e.Device, e.Who = x.now, "d1", "Ruben"
	if err := x.s.Put(e); err != nil {
		return err
	}
	x.put(e)
	return nil
}

func (x *stored) board() runner.Row {
	x.t.Helper()
	if err := x.say(runner.Entry{}); err != nil {
		x.t.Fatal(err)
	}
	return runner.Board(map[string][]byte{"record/a-001": x.buf.Bytes()})[0]
}

// TestFailedBrakeStaysOnTheBoard: one side dead at the first apply, when nothing has
// been taken apart yet: stopped, made safe and handed over it must not be driven, and
// the board says so from the record alone until it is resolved or shown right.
func TestFailedBrakeStaysOnTheBoard(t *testing.T) {
	x := storedRun(t, "epb_caliper_pads")
	x.feed()
	x.upTo("baseline_apply")
	if r := x.board(); r.Dangerous() || r.State != "open" {
		t.Fatalf("before anything failed: %+v", r)
	}
	x.put(runner.Entry{Kind: runner.Begin, Step: "baseline_apply", Supply: x.supply()})
	x.put(runner.Entry{Kind: runner.Fails, Step: "baseline_apply", What: "not_as_expected"})
	x.put(runner.Entry{Kind: runner.StopNow})
	x.put(runner.Entry{Kind: runner.AtRest})
	x.refused(runner.Entry{Kind: runner.Resolved, Text: "looked at it"}, "Not now")
	x.pass(31)
	x.put(runner.Entry{Kind: runner.HandOver, To: "bay 3"})
	if !x.r.At(x.now).MayLeave {
		t.Error("in its resting state it may be left")
	}
	r := x.board()
	if !r.Dangerous() || r.State != "handed over" || r.Holder != "bay 3" || !strings.Contains(strings.Join(r.Dangers, " "), `Do not drive: step "baseline_apply" failed`) {
		t.Fatalf("handed over: %+v", r)
	}
	x.refused(runner.Entry{Kind: runner.Resolved}, "Say what was done")
	before := len(x.log)
	x.put(runner.Entry{Kind: runner.Resolved, Text: "left actuator replaced, both sides held on the slope"})
	if r := x.board(); r.Dangerous() {
		t.Errorf("resolved: %+v", r)
	}
	// The other way: taken up again, and the step shown right.
	y := storedRun(t, "epb_caliper_pads")
	for _, e := range x.log[:before] {
		y.now = e.At
		y.put(e)
	}
	y.pass(3600)
	y.put(runner.Entry{Kind: runner.TakeUp})
	if r := y.board(); !r.Dangerous() || r.State != "open" {
		t.Errorf("taken up: %+v", r)
	}
	y.put(runner.Entry{Kind: runner.GoOn})
	y.feed()
	y.upTo("baseline_release")
	for _, d := range y.board().Dangers {
		if strings.Contains(d, "baseline_apply") {
			t.Errorf("shown right, and still: %s", d)
		}
	}
}

// TestBoardOfARunThatCannotBeRead: nothing can be said of it, so it is dangerous; a
// finished run of the same procedure shows what an earlier one left open, practice
// shows nothing.
func TestBoardOfARunThatCannotBeRead(t *testing.T) {
	x := storedRun(t, "epb_caliper_pads")
	x.feed()
	x.upTo("retract.left")
	if err := x.say(runner.Entry{}); err != nil {
		t.Fatal(err)
	}
	open := append([]byte{}, x.buf.Bytes()...)
	changed := append([]byte{}, open...)
	changed[len(changed)-10] ^= 1
	told, err := procedureDone(t, "epb_caliper_pads", false)
	if err != nil {
		t.Fatal(err)
	}
	practice, err := procedureDone(t, "epb_caliper_pads", true)
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name    string
		records map[string][]byte
		want    int // dangerous rows
	}{
		{"open in the middle", map[string][]byte{"a": open}, 1},
		{"changed", map[string][]byte{"a": changed}, 1},
		{"finished later", map[string][]byte{"a": open, "b": told}, 0},
		{"finished before", map[string][]byte{"b": open, "a": told}, 1},
		{"practised later", map[string][]byte{"a": open, "b": practice}, 1},
		{"changed, finished later", map[string][]byte{"a": changed, "b": told}, 1},
	} {
		n := 0
		for _, r := range runner.Board(tc.records) {
			if r.Dangerous() {
				n++
			}
		}
		if n != tc.want {
			t.Errorf("%s: %d dangerous, want %d", tc.name, n, tc.want)
		}
	}
}

// procedureDone gives the record of a run that was finished.
func procedureDone(t *testing.T, id string, practice bool) ([]byte, error) {
	m, _, err := procedure.LoadShipped(id)
	if err != nil {
		return nil, err
	}
	var buf memory
	h := header(id)
	h.Practice = practice
	s, err := runner.Open(m, h, nil, &buf)
	if err != nil {
		return nil, err
	}
	for _, e := range script(t, m) {
		if err := s.Put(e); err != nil {
			return nil, err
		}
	}
	return buf.Bytes(), nil
}
